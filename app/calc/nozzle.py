"""Flow through the nozzle: isentropic relations, thrust coefficient, separation and best expansion.

One-dimensional flow of a gas with constant ratio of specific heats k. Losses are explicit factors on the
momentum term, so that ambient pressure acts on the exit area and on nothing else.
"""

from math import cos, pi, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from app.calc.constants import R_UNIVERSAL, Floats, finite_array, positive, within
from app.calc.errors import OutOfRange

SEPARATION_RATIO = 0.4
"""Flow leaves the wall where its pressure falls below this share of ambient [-]: Summerfield's rule (from
memory: Sutton & Biblarz, who give 0.25 to 0.4)."""

_K_REMEDY = "Take k from the blend's state; these gases lie near 1.04 to 1.25."


def _k(k: float) -> float:
    return within("gamma", k, 1.005, 1.7, _K_REMEDY)


def flow_function(k: float) -> float:
    """Give Gamma, the constant of choked flow: c* = sqrt(R T) / Gamma.

    Parameters
    ----------
    k : float
        Ratio of specific heats [-].

    Returns
    -------
    float
        sqrt(k) (2/(k+1))**((k+1)/(2(k-1))) [-].

    Raises
    ------
    OutOfRange
        k outside 1.005 to 1.7.

    Notes
    -----
    Ideal gas, isentropic.

    References
    ----------
    Sutton & Biblarz, Rocket Propulsion Elements, eq. for c*.

    Examples
    --------
    >>> round(flow_function(1.4), 4)
    0.6847
    """
    _k(k)
    return float(sqrt(k) * (2 / (k + 1)) ** ((k + 1) / (2 * (k - 1))))


def characteristic_velocity(k: float, temperature: float, molar_mass: float) -> float:
    """Give c* of a gas from its state in the chamber.

    Parameters
    ----------
    k : float
        Ratio of specific heats [-].
    temperature : float
        Chamber temperature [K].
    molar_mass : float
        Of the whole system, condensed part included [kg/mol].

    Returns
    -------
    float
        c* [m/s].

    Raises
    ------
    OutOfRange
        A value that is not positive, or k outside 1.005 to 1.7.

    Notes
    -----
    Ideal gas, frozen.

    References
    ----------
    Sutton & Biblarz, Rocket Propulsion Elements.

    Examples
    --------
    >>> round(characteristic_velocity(1.137, 1600.0, 0.0399))
    908
    """
    positive("temperature", temperature, "Give the chamber temperature in kelvin.")
    positive("molar_mass", molar_mass, "Give it in kg/mol, for example 0.0399.")
    return sqrt(R_UNIVERSAL / molar_mass * temperature) / flow_function(k)


def critical_pressure_ratio(k: float) -> float:
    """Give the ratio of throat to chamber pressure when the throat is choked.

    Parameters
    ----------
    k : float
        Ratio of specific heats [-].

    Returns
    -------
    float
        (2/(k+1))**(k/(k-1)) [-].

    Raises
    ------
    OutOfRange
        k outside 1.005 to 1.7.

    Notes
    -----
    A throat is choked while ambient pressure is below this share of the chamber's.

    References
    ----------
    NACA Report 1135 (1953), eq. 44 for M = 1.

    Examples
    --------
    >>> round(critical_pressure_ratio(1.4), 4)
    0.5283
    """
    _k(k)
    return float((2 / (k + 1)) ** (k / (k - 1)))


def pressure_ratio(mach: ArrayLike, k: float) -> Floats:
    """Give static over stagnation pressure at a Mach number.

    Parameters
    ----------
    mach : array_like
        Mach number [-], any shape.
    k : float
        Ratio of specific heats [-].

    Returns
    -------
    ndarray
        p/p0 [-], same shape.

    Raises
    ------
    OutOfRange
        k outside 1.005 to 1.7.

    Notes
    -----
    Isentropic flow of an ideal gas.

    References
    ----------
    NACA Report 1135 (1953), eq. 44.

    Examples
    --------
    >>> round(float(pressure_ratio(2.0, 1.4)), 4)
    0.1278
    """
    _k(k)
    M = finite_array("mach", mach)
    return np.asarray((1 + (k - 1) / 2 * M**2) ** (-k / (k - 1)))


def area_ratio(mach: ArrayLike, k: float) -> Floats:
    """Give the area over the throat's area where the flow has a Mach number.

    Parameters
    ----------
    mach : array_like
        Mach number above zero [-], any shape.
    k : float
        Ratio of specific heats [-].

    Returns
    -------
    ndarray
        A/A* [-], same shape.

    Raises
    ------
    OutOfRange
        k outside 1.005 to 1.7, or a Mach number that is not positive.

    Notes
    -----
    Isentropic flow of an ideal gas.

    References
    ----------
    NACA Report 1135 (1953), eq. 80.

    Examples
    --------
    >>> round(float(area_ratio(2.0, 1.4)), 4)
    1.6875
    """
    _k(k)
    M = finite_array("mach", mach)
    if (M <= 0).any():
        raise OutOfRange("mach", "must be above zero.", "Gas at rest passes no throat.")
    return np.asarray((2 / (k + 1) * (1 + (k - 1) / 2 * M**2)) ** ((k + 1) / (2 * (k - 1))) / M)


def supersonic_mach(ratio: ArrayLike, k: ArrayLike) -> Floats:
    """Give the Mach number at an area ratio on the supersonic side.

    Parameters
    ----------
    ratio : array_like
        A/A*, at least 1 [-]; shapes broadcast.
    k : array_like
        Ratio of specific heats [-].

    Returns
    -------
    ndarray
        Mach number [-].

    Raises
    ------
    OutOfRange
        A ratio below 1, where no supersonic flow exists.

    Notes
    -----
    Newton's method on ln(A/A*); the result gives the ratio back within 1e-10.

    References
    ----------
    NACA Report 1135 (1953), eq. 80, inverted.

    Examples
    --------
    >>> round(float(supersonic_mach(4.2346, 1.4)), 3)
    3.0
    """
    eps = finite_array("area_ratio", ratio)
    if (eps < 1).any():
        raise OutOfRange("area_ratio", "is below 1: the exit is narrower than the throat.", "Swap or re-measure.")
    gamma = np.asarray(k, dtype=np.float64)
    power = (gamma + 1) / (2 * (gamma - 1))
    goal = np.log(eps)
    mach = 1 + np.sqrt(goal * (gamma + 1) / 4) * (1 + goal / 4)
    for _ in range(60):
        swell = 1 + (gamma - 1) / 2 * mach**2
        gap = power * np.log(2 / (gamma + 1) * swell) - np.log(mach) - goal
        slope = (mach**2 - 1) / (mach * swell)
        change = gap / np.maximum(slope, 1e-9)
        mach = np.maximum(mach - np.clip(change, -0.5, 0.5), 1.0)
        if (np.abs(gap) < 1e-12).all():
            break
    return np.asarray(mach)


def exit_pressure_ratio(ratio: ArrayLike, k: ArrayLike) -> Floats:
    """Give exit over chamber pressure for an area ratio, flow attached.

    Parameters
    ----------
    ratio : array_like
        Exit over throat area, at least 1 [-].
    k : array_like
        Ratio of specific heats [-].

    Returns
    -------
    ndarray
        pe/pc [-].

    Raises
    ------
    OutOfRange
        A ratio below 1.

    Notes
    -----
    Full, supersonic flow.

    References
    ----------
    NACA Report 1135 (1953), eqs. 44 and 80.

    Examples
    --------
    >>> round(float(exit_pressure_ratio(4.2346, 1.4)), 5)
    0.02722
    """
    gamma = np.asarray(k, dtype=np.float64)
    mach = supersonic_mach(ratio, gamma)
    return np.asarray((1 + (gamma - 1) / 2 * mach**2) ** (-gamma / (gamma - 1)))


def area_ratio_at_pressure(ratio: ArrayLike, k: ArrayLike) -> Floats:
    """Give the area ratio at which the flow has expanded to a share of chamber pressure.

    Parameters
    ----------
    ratio : array_like
        p/pc, above 0 and at most the critical ratio [-].
    k : array_like
        Ratio of specific heats [-].

    Returns
    -------
    ndarray
        A/A* [-]; 1 where the ratio is critical or above (the flow leaves at the throat).

    Raises
    ------
    OutOfRange
        A ratio that is not above zero.

    Notes
    -----
    Isentropic flow of an ideal gas.

    References
    ----------
    Sutton & Biblarz, Rocket Propulsion Elements, eq. for the nozzle area ratio.

    Examples
    --------
    >>> round(float(area_ratio_at_pressure(0.02722, 1.4)), 3)
    4.235
    """
    pr = finite_array("pressure_ratio", ratio)
    if (pr <= 0).any():
        raise OutOfRange("pressure_ratio", "must be above zero.", "No nozzle expands to nothing.")
    gamma = np.asarray(k, dtype=np.float64)
    critical = (2 / (gamma + 1)) ** (gamma / (gamma - 1))
    share = np.minimum(pr, critical)
    mach_sq = np.maximum((share ** (-(gamma - 1) / gamma) - 1) * 2 / (gamma - 1), 1.0)
    swell = 2 / (gamma + 1) * (1 + (gamma - 1) / 2 * mach_sq)
    return np.asarray(swell ** ((gamma + 1) / (2 * (gamma - 1))) / np.sqrt(mach_sq))


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
    g = np.asarray(k, dtype=np.float64)
    front = 2 * g**2 / (g - 1) * (2 / (g + 1)) ** ((g + 1) / (g - 1))
    return np.asarray(np.sqrt(front * (1 - np.asarray(exit_ratio) ** ((g - 1) / g))))


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
    k: ArrayLike,
    p_c: ArrayLike,
    p_a: ArrayLike,
    ratio: ArrayLike,
    efficiency: ArrayLike = 1.0,
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
    k: ArrayLike,
    p_c: ArrayLike,
    p_a: ArrayLike,
    ratio: ArrayLike,
    attached: ArrayLike,
    efficiency: ArrayLike = 1.0,
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
    ambient = np.asarray(p_a, dtype=np.float64) / np.asarray(p_c, dtype=np.float64)
    exit_ratio = np.asarray(attached, dtype=np.float64)
    eps = np.asarray(ratio, dtype=np.float64)
    leaves = SEPARATION_RATIO * ambient
    parted = exit_ratio < leaves
    if parted.any():
        gamma = np.asarray(k, dtype=np.float64)
        critical = (2 / (gamma + 1)) ** (gamma / (gamma - 1))
        exit_ratio = np.where(parted, np.minimum(leaves, critical), exit_ratio)
        eps = np.where(parted, area_ratio_at_pressure(np.where(parted, exit_ratio, critical), gamma), eps)
    momentum = np.asarray(efficiency) * momentum_coefficient(k, exit_ratio)
    return np.asarray(momentum + (exit_ratio - ambient) * eps)


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
    _k(k)
    positive("p_a", p_a, "In a vacuum a longer nozzle always gives more.")
    positive("p_mean", p_mean, "Give the mean chamber pressure.")
    if p_a / p_mean >= critical_pressure_ratio(k):
        raise OutOfRange("p_mean", "would not choke the throat.", "Use a smaller throat or more burning area.")
    return float(area_ratio_at_pressure(p_a / p_mean, k))
