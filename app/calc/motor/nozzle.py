"""The nozzle's thrust: coefficient, losses, separation and best expansion.

Losses are explicit factors on the momentum term, so that ambient pressure acts on the exit area and on nothing
else. The isentropic relations that this stands on come along with it.
"""

from math import cos, pi

import numpy as np
from numpy.typing import ArrayLike, NDArray

from app.calc.base.constants import Floats, positive, within
from app.calc.base.errors import OutOfRange
from app.calc.motor.isentropic import (
    area_ratio,
    area_ratio_at_pressure,
    characteristic_velocity,
    critical_pressure_ratio,
    exit_pressure_ratio,
    flow_function,
    pressure_ratio,
    ratio_of_heats,
    supersonic_mach,
)

__all__ = [
    "SEPARATION_RATIO",
    "area_ratio",
    "area_ratio_at_pressure",
    "best_area_ratio",
    "characteristic_velocity",
    "coefficient_from_exit",
    "critical_pressure_ratio",
    "divergence_factor",
    "exit_pressure_ratio",
    "flow_function",
    "is_separated",
    "momentum_coefficient",
    "pressure_ratio",
    "supersonic_mach",
    "thrust_coefficient",
]

SEPARATION_RATIO = 0.4
"""Flow leaves the wall where its pressure falls below this share of ambient [-]: Summerfield's rule (from
memory: Sutton & Biblarz, who give 0.25 to 0.4)."""


def momentum_coefficient(k: ArrayLike, exit_ratio: ArrayLike) -> Floats:
    """Give the part of the thrust coefficient that is the momentum of the gas.

    Parameters
    ----------
    k : array_like
        Ratio of specific heats [-].
    exit_ratio : array_like
        Exit over chamber pressure [-].

    Returns
    -------
    ndarray
        Momentum term [-].

    Raises
    ------
    CalcError
        Nothing is checked here; `thrust_coefficient` does.

    Notes
    -----
    No losses.

    References
    ----------
    Sutton & Biblarz, Rocket Propulsion Elements, eq. for the thrust coefficient.

    Examples
    --------
    >>> round(float(momentum_coefficient(1.04, 4 / 68)), 4)
    1.4261
    """
    g = np.asarray(k, dtype=np.float64)[()]
    front = 2 * g * g / (g - 1) * (2 / (g + 1)) ** ((g + 1) / (g - 1))
    return np.asarray(np.sqrt(-front * np.expm1((g - 1) / g * np.log(exit_ratio))))


def divergence_factor(half_angle: float) -> float:
    """Give the share of momentum that a conical exit sends straight back.

    Parameters
    ----------
    half_angle : float
        Of the cone [rad], 0 to pi/3.

    Returns
    -------
    float
        (1 + cos(half_angle)) / 2 [-].

    Raises
    ------
    OutOfRange
        An angle that no nozzle has.

    Notes
    -----
    Conical exits.

    References
    ----------
    Sutton & Biblarz, Rocket Propulsion Elements, on conical nozzles; 15 degrees gives 0.983.

    Examples
    --------
    >>> round(divergence_factor(0.2618), 3)
    0.983
    """
    within("half_angle", half_angle, 0.0, pi / 3, "Give half the cone's angle; 12 to 15 degrees is usual.")
    return (1 + cos(half_angle)) / 2


def thrust_coefficient(
    k: ArrayLike, p_c: ArrayLike, p_a: ArrayLike, ratio: ArrayLike, efficiency: ArrayLike = 1.0
) -> Floats:
    """Give thrust over chamber pressure times throat area.

    Parameters
    ----------
    k : array_like
        Ratio of specific heats [-]; all shapes broadcast.
    p_c, p_a : array_like
        Chamber and ambient pressure [Pa].
    ratio : array_like
        Exit over throat area [-].
    efficiency : array_like
        Factor on the momentum term: divergence times two-phase and friction losses [-].

    Returns
    -------
    ndarray
        C_F [-].

    Raises
    ------
    OutOfRange
        An area ratio below 1.

    Notes
    -----
    Where the exit pressure would be below `SEPARATION_RATIO` of ambient the flow is taken to leave the wall at
    that pressure and the rest of the cone to carry ambient pressure: thrust is that of the shorter nozzle. The
    throat must be choked (`critical_pressure_ratio`).

    References
    ----------
    Sutton & Biblarz, Rocket Propulsion Elements, eq. for the thrust coefficient and section on separation.

    Examples
    --------
    >>> round(float(thrust_coefficient(1.2, 5e6, 101325.0, 8.0)), 3)
    1.551
    """
    attached = exit_pressure_ratio(ratio, k)
    return coefficient_from_exit(k, p_c, p_a, ratio, attached, efficiency)


def coefficient_from_exit(
    k: ArrayLike, p_c: ArrayLike, p_a: ArrayLike, ratio: ArrayLike, attached: ArrayLike, efficiency: ArrayLike = 1.0
) -> Floats:
    """Give the thrust coefficient when the attached exit pressure ratio is known already.

    Parameters
    ----------
    k, p_c, p_a, ratio, efficiency : array_like
        As `thrust_coefficient` ([-], [Pa], [Pa], [-], [-]).
    attached : array_like
        `exit_pressure_ratio(ratio, k)` [-].

    Returns
    -------
    ndarray
        C_F [-].

    Raises
    ------
    OutOfRange
        A pressure ratio that is not above zero.

    Notes
    -----
    As `thrust_coefficient`; spares solving for the Mach number again at every instant of a burn.

    References
    ----------
    As `thrust_coefficient`.

    Examples
    --------
    >>> pe = exit_pressure_ratio(4.0, 1.2)
    >>> round(float(coefficient_from_exit(1.2, 5e6, 101325.0, 4.0, pe)), 3)
    1.526
    """
    gamma, eta, exit_ratio, eps = map(_plain, (k, efficiency, attached, ratio))
    ambient = _plain(p_a) / _plain(p_c)
    found = np.asarray(eta * momentum_coefficient(gamma, exit_ratio) + (exit_ratio - ambient) * eps)
    leaves = SEPARATION_RATIO * ambient
    parted = np.broadcast_to(exit_ratio < leaves, found.shape)
    if parted.any():  # as a nozzle that ends where the flow leaves the wall
        gamma, eta, leaves, ambient = (
            values if np.ndim(values) == 0 else np.broadcast_to(values, found.shape)[parted]
            for values in (gamma, eta, leaves, ambient)
        )
        exit_ratio = np.minimum(leaves, (2 / (gamma + 1)) ** (gamma / (gamma - 1)))
        eps = area_ratio_at_pressure(exit_ratio, gamma)
        found[parted] = eta * momentum_coefficient(gamma, exit_ratio) + (exit_ratio - ambient) * eps
    return found


def _plain(values: ArrayLike) -> Floats:
    """As an array, but one of a single value as a number: quicker, and it broadcasts alike."""
    array = np.asarray(values, dtype=np.float64)
    return array.reshape(())[()] if array.size == 1 else array


def is_separated(k: ArrayLike, p_c: ArrayLike, p_a: ArrayLike, ratio: ArrayLike) -> NDArray[np.bool_]:
    """Tell whether the flow leaves the wall before the exit.

    Parameters
    ----------
    k : array_like
        Ratio of specific heats [-].
    p_c, p_a : array_like
        Chamber and ambient pressure [Pa].
    ratio : array_like
        Exit over throat area [-].

    Returns
    -------
    ndarray of bool
        True where the exit pressure is below 0.4 of ambient [-].

    Raises
    ------
    OutOfRange
        An area ratio below 1.

    Notes
    -----
    The criterion is a rule of thumb; real nozzles part between 0.25 and 0.4 of ambient.

    References
    ----------
    Summerfield's criterion (from memory: Sutton & Biblarz, Rocket Propulsion Elements).

    Examples
    --------
    >>> bool(is_separated(1.2, 1e6, 101325.0, 12.0))
    True
    """
    return np.asarray(exit_pressure_ratio(ratio, k) < SEPARATION_RATIO * np.divide(p_a, p_c))


def best_area_ratio(k: float, p_mean: float, p_a: float) -> float:
    """Give the expansion that makes the most thrust at a steady pressure.

    Parameters
    ----------
    k : float
        Ratio of specific heats [-].
    p_mean : float
        Mean chamber pressure [Pa].
    p_a : float
        Ambient pressure [Pa].

    Returns
    -------
    float
        Exit over throat area at which exit pressure equals ambient [-].

    Raises
    ------
    OutOfRange
        The chamber pressure would not choke the throat, or there is no ambient pressure to expand to.

    Notes
    -----
    For the lossless nozzle. With losses on the momentum term the best ratio is a little smaller; the top is flat.

    References
    ----------
    Sutton & Biblarz, Rocket Propulsion Elements: optimum expansion, pe = pa.

    Examples
    --------
    >>> round(best_area_ratio(1.2, 5e6, 101325.0), 2)
    6.98
    """
    ratio_of_heats(k)
    positive("p_a", p_a, "In a vacuum a longer nozzle always gives more.")
    positive("p_mean", p_mean, "Give the mean chamber pressure.")
    if p_a / p_mean >= critical_pressure_ratio(k):
        raise OutOfRange("p_mean", "would not choke the throat.", "Use a smaller throat or more burning area.")
    return float(area_ratio_at_pressure(p_a / p_mean, k))
