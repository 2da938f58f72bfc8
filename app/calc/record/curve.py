"""Measured thrust and pressure curves: where thrust ends, missing samples, and figures by named definitions."""

from dataclasses import dataclass

import numpy as np

from app.calc.base.constants import STANDARD_GRAVITY, Floats, positive
from app.calc.motor.impulse import ACTION_SHARE, BURN_SHARE, burn_time, impulse_class, threshold_times
from app.calc.record.load_cell import running_impulse

MEASURABLE = 0.005
"""Share of the peak below which thrust is not measurable, nor is it below twice the noise [-]: this book's choice."""

_AT_ONCE = 50_000  # samples that are looked through at a time

GAP = 10.0
"""Steps of time this many times the usual one are a gap [-]."""


@dataclass(frozen=True)
class Figures:
    """The figures of a burn, SI; those that need mass, throat or pressure are None without."""

    total_impulse: float
    burn_time: float
    action_time: float
    mean_thrust: float
    peak_thrust: float
    start: float
    end: float
    impulse_class: str
    specific_impulse: float | None = None
    peak_pressure: float | None = None
    mean_pressure: float | None = None
    c_star: float | None = None
    thrust_coefficient: float | None = None


def measurable(thrust: Floats, first: int, last: int, noise: float, gone: float = 0.0) -> tuple[int, int]:
    """Widen a burn to where thrust is no longer measurable.

    Parameters
    ----------
    thrust : ndarray
        Zeroed thrust [N], shape (N,).
    first, last : int
        The burn above 5 % [-].
    noise : float
        Standard deviation of the zero [N].
    gone : float
        What the reading has changed by after the burn, because weight is gone [N].

    Returns
    -------
    first, last : tuple of int
        The nearest samples outside that lie below 0.5 % of the peak or twice the noise, or the record's ends [-].

    Notes
    -----
    'Measurable' is not defined by the source of the rule; this is this book's definition.

    References
    ----------
    Impulse until the last measurable thrust: NFPA 1125 (second hand).

    Examples
    --------
    >>> measurable(np.array([0, 0, 4, 50, 100, 50, 4, 0, 0.0]), 3, 5, 0.0)
    (1, 7)
    """
    low = max(MEASURABLE * float(thrust[first : last + 1].max()), 2 * noise)
    before, after = _first_below(thrust[:first][::-1], low), _first_below(thrust[last + 1 :], low + gone)
    return (0 if before is None else first - 1 - before, thrust.size - 1 if after is None else last + 1 + after)


def _first_below(thrust: Floats, low: float) -> int | None:
    """The first sample below a level: mostly it is near."""
    for start in range(0, thrust.size, _AT_ONCE):
        below = np.flatnonzero(thrust[start : start + _AT_ONCE] < low)
        if below.size:
            return start + int(below[0])
    return None


def gaps(time: Floats) -> list[int]:
    """Find where samples are missing.

    Parameters
    ----------
    time : ndarray
        Times of a burn [s], shape (N,).

    Returns
    -------
    list of int
        Samples after a step of more than ten usual ones, from 0 [-].

    Notes
    -----
    The usual step is the median.

    Examples
    --------
    >>> gaps(np.array([0.0, 1.0, 2.0, 30.0, 31.0]))
    [3]
    """
    steps = np.diff(time)
    return [int(i) + 1 for i in np.flatnonzero(steps > GAP * np.median(steps))] if steps.size else []


def figures(
    time: Floats,
    thrust: Floats,
    propellant_mass: float | None = None,
    pressure: Floats | None = None,
    throat_area: float | None = None,
) -> Figures:
    """Give the figures of a burn.

    Parameters
    ----------
    time, thrust : ndarray
        The burn alone, to the last measurable thrust [s], [N], shape (N,).
    propellant_mass : float, optional
        Propellant of the motor [kg].
    pressure : ndarray, optional
        Chamber pressure, absolute, at the same times [Pa].
    throat_area : float, optional
        Mean area of the throat during the burn [m2].

    Returns
    -------
    Figures
        Impulse [N s], times [s], thrust [N], pressure [Pa], specific impulse [s], c* [m/s].

    Raises
    ------
    CalcError
        The curve is none, or its impulse is beyond class O.

    Notes
    -----
    Impulse from first above 5 % of the peak to the last sample; burn time above 5 %, action time above 10 %; mean
    thrust is impulse over burn time. Specific impulse I/(m g). c* = A_t ∫P dt / m and C_F = I / (A_t ∫P dt) over the
    same time as the impulse, so that c* C_F / g is the specific impulse.

    References
    ----------
    NFPA 1125 (second hand); Sutton & Biblarz, Rocket Propulsion Elements, eq. 2-1, 3-30, 3-32 (from memory).

    Examples
    --------
    >>> found = figures(np.array([0.0, 1.0, 2.0]), np.array([0.0, 100.0, 0.0]), propellant_mass=0.1)
    >>> round(found.total_impulse, 3), round(found.burn_time, 3), round(found.specific_impulse, 1)
    (99.875, 1.9, 101.8)
    """
    start, burned = (float(t) for t in threshold_times(time, thrust, BURN_SHARE))
    total = _from(time, thrust, start)
    duration = burned - start
    positive("burn_time", duration, "Check the times.")
    found = Figures(
        total_impulse=total,
        burn_time=duration,
        action_time=burn_time(time, thrust, ACTION_SHARE),
        mean_thrust=total / duration,
        peak_thrust=float(thrust.max()),
        start=start,
        end=burned,
        impulse_class=impulse_class(total),
        specific_impulse=None if propellant_mass is None else total / (propellant_mass * STANDARD_GRAVITY),
    )
    if pressure is None:
        return found
    pushed = _from(time, pressure, start)
    more: dict[str, float] = {"peak_pressure": float(pressure.max())}
    more["mean_pressure"] = (pushed - _from(time, pressure, burned)) / duration
    if throat_area is not None:
        more["thrust_coefficient"] = total / (throat_area * pushed)
        if propellant_mass is not None:
            more["c_star"] = throat_area * pushed / propellant_mass
    return Figures(**{**found.__dict__, **more})


def _from(time: Floats, values: Floats, start: float) -> float:
    """Integral of a curve from a moment between two samples to its end."""
    impulse = running_impulse(time, values)
    i = int(np.clip(np.searchsorted(time, start, side="right"), 1, time.size - 1))
    at = float(np.interp(start, time, values))
    return float(impulse[-1] - impulse[i] + (at + values[i]) / 2 * (time[i] - start))


def mean_throat_area(before_d: float, after_d: float | None) -> float:
    """Give the throat's mean area during a burn.

    Parameters
    ----------
    before_d : float
        Throat diameter before [m].
    after_d : float or None
        Throat diameter measured afterwards, if it was [m].

    Returns
    -------
    float
        Area [m2].

    Raises
    ------
    OutOfRange
        A diameter that is not above zero.

    Notes
    -----
    Of a diameter that grows evenly; without the second one, the first.

    References
    ----------
    Mean of π d²/4 over d from one to the other.

    Examples
    --------
    >>> round(mean_throat_area(0.0127, None) * 1e6, 2)
    126.68
    """
    first = positive("throat", before_d, "Measure the throat.")
    last = positive("throat", before_d if after_d is None else after_d, "Measure the throat.")
    return float(np.pi / 12 * (first**2 + first * last + last**2))
