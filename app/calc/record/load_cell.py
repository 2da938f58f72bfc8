"""What a test stand does to a thrust curve: calibration, a cell at its end, lost mass, ringing; and how to undo it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from app.calc.base.constants import STANDARD_GRAVITY, Floats, finite_array, positive
from app.calc.base.errors import CalcError

FIXED_POINT_STEPS = 50
STILL = 5
"""Readings in a row at the highest value that say a cell stood at its end [-]: common practice, no source."""

RINGS_FROM = 0.02
"""Amplitude of ringing over peak thrust that is worth telling [-]: this book's choice."""

STANDS = {"level": 0.0, "presses": -1.0, "lifts": 1.0}
"""Which way the reading moves as propellant leaves [-]: not at all on a level stand, down where the weight presses the
way that thrust does (nozzle up), up where thrust lifts against it (nozzle down)."""

_SPECTRUM = 2**16  # samples that a spectrum is made of at most
_SLOW = 8.0  # periods in a burn below which a wave is the burn's own shape
_OWN_SHARE = 0.5  # of the power within an octave to either side that a ringing line holds


@dataclass(frozen=True)
class Calibration:
    """A straight line from reading to force [N per reading, N] and the largest distance of a point from it [N]."""

    slope: float
    offset: float
    residual: float


@dataclass(frozen=True)
class Ringing:
    """A tone in the curve: frequency [Hz] and amplitude [N]."""

    frequency: float
    amplitude: float


def calibrate(readings: ArrayLike, loads: ArrayLike) -> Calibration:
    """Fit the line from a cell's readings to known loads.

    Parameters
    ----------
    readings : array_like
        What the cell said under each load [-].
    loads : array_like
        The loads as forces, in the same order [N].

    Returns
    -------
    Calibration
        Slope, offset and largest residual [N].

    Raises
    ------
    CalcError
        Fewer than two loads, arrays that do not match, or readings that are all the same.

    Notes
    -----
    Two loads give no residual that means anything; three or more show whether the cell is straight.

    References
    ----------
    Least squares; a test compares with scipy.stats.linregress.

    Examples
    --------
    >>> calibrate([1000, 2000], [0.0, 98.0665]).slope
    0.0980665
    """
    x, y = finite_array("calibration", readings), finite_array("calibration", loads)
    if x.shape != y.shape or x.size < 2:
        raise CalcError("calibration", "needs two known loads at least.", "An empty cell counts as one, of no load.")
    spread = x - x.mean()
    if not (spread**2).sum() > 0:
        raise CalcError("calibration", "has the same reading for every load.", "Check the readings.")
    slope = float((spread * (y - y.mean())).sum() / (spread**2).sum())
    if slope == 0:
        raise CalcError("calibration", "gives the same force for every reading.", "Check the loads.")
    offset = float(y.mean() - slope * x.mean())
    return Calibration(slope, offset, float(np.abs(y - offset - slope * x).max()))


def standing_still(readings: ArrayLike) -> tuple[int, int] | None:
    """Find where a cell or its amplifier stood at its end: many readings in a row at the highest value.

    Parameters
    ----------
    readings : array_like
        What the cell said, thrust upwards, shape (N,) [-].

    Returns
    -------
    tuple of int or None
        First and last sample of the longest such run, from 0 [-].

    Raises
    ------
    CalcError
        Readings that are no numbers.

    Notes
    -----
    At least five in a row, and three times as many as stand still anywhere else above half: coarse readings
    repeat everywhere, a cell at its end only at the top.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> standing_still([0, 1, 4, 7, 9, 9, 9, 9, 9, 9, 6, 3, 0])
    (4, 9)
    """
    y = finite_array("readings", readings)
    starts = np.flatnonzero(np.r_[True, y[1:] != y[:-1]])
    lengths = np.diff(np.r_[starts, y.size])
    values = y[starts]
    top = values == values.max()
    upper = values > (values.max() + np.median(y[: max(1, y.size // 50)])) / 2
    longest = int(np.where(top, lengths, 0).argmax())
    elsewhere = lengths[upper & ~top].max(initial=1)
    if lengths[longest] < STILL or lengths[longest] < 3 * elsewhere:
        return None
    return int(starts[longest]), int(starts[longest] + lengths[longest] - 1)


def running_impulse(time: Floats, thrust: Floats) -> Floats:
    """Give the impulse from the first sample to each.

    Parameters
    ----------
    time, thrust : ndarray
        Curve [s], [N], shape (N,).

    Returns
    -------
    ndarray
        Impulse [N s], shape (N,), zero first.

    Notes
    -----
    Trapezoids.

    References
    ----------
    Definition: the integral of thrust over time.

    Examples
    --------
    >>> running_impulse(np.array([0.0, 1.0, 2.0]), np.array([0.0, 100.0, 0.0])).tolist()
    [0.0, 50.0, 100.0]
    """
    steps = np.empty(time.size)
    steps[0] = 0.0
    np.add(thrust[1:], thrust[:-1], out=steps[1:])
    steps[1:] *= np.diff(time)
    steps *= 0.5
    return np.cumsum(steps, out=steps)


def weight_change(stand: str, propellant_mass: float) -> float:
    """Give what a cell's reading has changed by when the propellant is gone.

    Parameters
    ----------
    stand : str
        A key of `STANDS` [-].
    propellant_mass : float
        Propellant of the motor [kg].

    Returns
    -------
    float
        Change of the zeroed reading [N].

    Raises
    ------
    KeyError
        A motor stands in no such way.

    References
    ----------
    Statics of the stand: weight m g.

    Examples
    --------
    >>> weight_change("presses", 2.0)
    -19.6133
    """
    return STANDS[stand] * propellant_mass * STANDARD_GRAVITY


def without_lost_weight(time: Floats, reading: Floats, lost_weight: float) -> Floats:
    """Give thrust from the readings of an upright test, during which the cell's load changes as propellant leaves.

    Parameters
    ----------
    time, reading : ndarray
        Burn [s] and zeroed reading [N], shape (N,); nothing burns before the first or after the last sample.
    lost_weight : float
        What the reading has changed by when all propellant is gone [N], from `weight_change`.

    Returns
    -------
    ndarray
        Thrust [N], shape (N,).

    Raises
    ------
    CalcError
        The impulse is not above zero, or the lost weight is as large as the thrust.

    Notes
    -----
    Propellant is taken to leave in proportion to impulse: reading = F + lost_weight · I(t)/I(end), solved by
    repeating, which gains a factor of about specific impulse over burn time with each step.

    References
    ----------
    Statics of the stand; exhaust speed taken as constant.

    Examples
    --------
    >>> t = np.linspace(0.0, 1.0, 101)
    >>> thrust = np.full(101, 100.0)
    >>> found = without_lost_weight(t, thrust - 5.0 * t, -5.0)
    >>> bool(np.allclose(found, thrust))
    True
    """
    thrust: Floats = reading
    halves = np.diff(time) * 0.5
    for _ in range(FIXED_POINT_STEPS):
        impulse = np.r_[0.0, np.cumsum((thrust[1:] + thrust[:-1]) * halves)]
        if not impulse[-1] > 0:
            raise CalcError("thrust", "has no impulse above zero.", "Check the sign and how the motor stands.")
        better = reading - (lost_weight / float(impulse[-1])) * impulse
        moved = float(np.abs(better - thrust).max())
        thrust = better
        if moved <= 1e-12 * abs(lost_weight):
            return thrust
    raise CalcError("thrust", "is no larger than the propellant's weight.", "Check the unit of force.")


def even_samples(time: Floats, thrust: Floats, most: int) -> tuple[float, Floats]:
    """Give a curve as evenly spaced mean values, with its impulse kept.

    Parameters
    ----------
    time, thrust : ndarray
        Curve [s], [N], shape (N,).
    most : int
        How many values at most [-].

    Returns
    -------
    step : float
        Time from value to value [s].
    means : ndarray
        Mean thrust of each step [N].

    Notes
    -----
    Differences of the running impulse, so step times sum is the impulse to rounding.

    References
    ----------
    Definition of a mean.

    Examples
    --------
    >>> even_samples(np.array([0.0, 1.0, 2.0]), np.array([0.0, 100.0, 0.0]), 2)
    (1.0, array([50., 50.]))
    """
    count = min(most, time.size - 1)
    edges = np.linspace(time[0], time[-1], count + 1)
    step = float((time[-1] - time[0]) / count)
    return step, np.diff(np.interp(edges, time, running_impulse(time, thrust))) / step


def ringing(time: Floats, thrust: Floats) -> Ringing | None:
    """Look for the tone of a ringing stand in a burn.

    Parameters
    ----------
    time, thrust : ndarray
        The burn alone [s], [N], shape (N,).

    Returns
    -------
    Ringing or None
        The strongest tone, if it is more than 2 % of the peak and stands out from its neighbours.

    Notes
    -----
    Spectrum of the burn less its running mean, through a Hann window. Below eight waves in a burn nothing can be
    told from the burn's own shape. Amplitude is √2 of the tone's effective value over the burn, so a ring that dies
    away counts with its mean; a tone near half the sampling rate is damped by the means it is computed from.

    References
    ----------
    Harris, Proc. IEEE 66 (1978) 51: the Hann window's mean square is 3/8 (from memory).

    Examples
    --------
    >>> t = np.linspace(0.0, 1.0, 2001)
    >>> found = ringing(t, 200 + 20 * np.sin(2 * np.pi * 90 * t))
    >>> round(found.frequency), round(found.amplitude)
    (90, 20)
    """
    if time.size < 64:
        return None
    step, even = even_samples(time, thrust, _SPECTRUM)
    span = step * even.size
    width = max(2, round(even.size / _SLOW))
    rest = even - _running_mean(even, width)
    window = np.hanning(rest.size)
    power = np.abs(np.fft.rfft(rest * window)) ** 2
    frequency = np.arange(power.size) / span
    tones = frequency >= 1.5 * _SLOW / span
    if not tones.any() or not power[tones].max() > 0:
        return None
    at = int(np.where(tones, power, 0.0).argmax())
    if power[at] < power[at - 1] or (at + 1 < power.size and power[at] < power[at + 1]):
        return None
    f = frequency[at]
    near = np.abs(frequency - f) <= max(0.1 * f, 3 / span)
    around = (frequency >= f / 2) & (frequency <= 2 * f)
    if power[near].sum() < _OWN_SHARE * power[around].sum():
        return None
    amplitude = float(np.sqrt(2 * 2 * power[near].sum() / (rest.size**2 * 3 / 8)))
    centre = float((power[near] * frequency[near]).sum() / power[near].sum())
    return Ringing(centre, amplitude) if amplitude >= RINGS_FROM * thrust.max() else None


def _running_mean(values: Floats, width: int) -> Floats:
    """Mean over `width` neighbours, fewer at the ends."""
    total = np.r_[0.0, np.cumsum(values)]
    middle = np.arange(values.size)
    low, high = np.maximum(middle - width // 2, 0), np.minimum(middle + width // 2 + 1, values.size)
    return np.asarray((total[high] - total[low]) / (high - low))


def smoothed(time: Floats, thrust: Floats, period: float) -> tuple[Floats, Floats]:
    """Take a tone out of a burn by a running mean over one period of it; the impulse stays.

    Parameters
    ----------
    time, thrust : ndarray
        The burn alone [s], [N], shape (N,).
    period : float
        Length of one wave [s].

    Returns
    -------
    time, thrust : tuple of ndarray
        The smoothed burn, evenly spaced, longer by half a period at each end [s], [N].

    Raises
    ------
    CalcError
        A period that is not above zero, or as long as the burn.

    Notes
    -----
    (J(t + T/2) − J(t − T/2))/T with the running impulse J: a tone of period T and its overtones vanish. J is taken
    straight between even times, so the sum over all of them is the whole impulse to rounding, whatever T.

    References
    ----------
    Moving average, its zeros at multiples of 1/T: any text on digital filters.

    Examples
    --------
    >>> t = np.linspace(0.0, 1.0, 1001)
    >>> at, mean = smoothed(t, np.full(1001, 50.0), 0.1)
    >>> round(float(np.trapezoid(mean, at)), 9)
    50.0
    """
    positive("period", period, "Give the length of one wave in seconds.")
    span = float(time[-1] - time[0])
    if period >= span:
        raise CalcError("period", "is as long as the burn.", "Smooth over less.")
    count = time.size - 1
    step = span / count
    beyond = int(np.ceil(period / 2 / step)) + 1
    grid = time[0] + step * np.arange(-beyond, count + beyond + 1)
    impulse = np.interp(grid, time, running_impulse(time, thrust))
    ahead, behind = (np.interp(grid + shift, grid, impulse) for shift in (period / 2, -period / 2))
    return grid, (ahead - behind) / period
