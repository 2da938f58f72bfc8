"""How sure the figures of a burn are: what a stand does to a record, carried through to a range for each figure."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import hypot, pi, sqrt
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike

from app.calc.base.constants import Floats, finite_array
from app.calc.motor.impulse import BURN_SHARE, CLASS_LIMITS, threshold_times
from app.calc.record.load_cell import Ringing, running_impulse
from app.calc.record.zero import Zeroed

COVERAGE = 1.645
"""Standard uncertainties to either side that nine in ten lie within [-]: JCGM 100:2008, table G.1."""

_ENOUGH = 2**16  # readings that the step of a converter is looked for in
_LOW = 0.002  # of the peak: below this no time is looked for


@dataclass(frozen=True)
class Doubts:
    """What a record may be off by: standard uncertainties of each reading (`noise`), of the `zero` of all together [N]
    and of their `scale` [-]; how far the zero went during the burn in a way that is not known (`gone`) and the step
    between readings (`quantum`) [N]; ringing left in the thrust; the length that it was smoothed over [s]."""

    noise: float
    zero: float
    gone: float = 0.0
    quantum: float = 0.0
    scale: float = 0.0
    tone: Ringing | None = None
    smoothed: float = 0.0


@dataclass(frozen=True)
class Interval:
    """Nine in ten lie from `low` to `high`, in the figure's own unit; None where that end cannot be known.

    `own` is the standard uncertainty over the figure, without the scale's, which is the same in all of a stand's
    firings [-]; `parts` are the squares that it is made of, by what they come from, scale included.
    """

    low: float | None
    high: float | None
    own: float
    parts: Mapping[str, float]


@dataclass(frozen=True)
class Intervals:
    """The ranges of impulse [N s], burn time [s], mean and peak thrust [N], and the classes that the impulse may be."""

    total_impulse: Interval
    burn_time: Interval
    mean_thrust: Interval
    peak_thrust: Interval
    classes: tuple[str, ...]


def quantum(readings: Floats) -> float:
    """Give the smallest step between two readings of a converter.

    Parameters
    ----------
    readings : ndarray
        Readings [N], shape (N,).

    Returns
    -------
    float
        Step [N]; zero where all are the same.

    Notes
    -----
    Of the first 65,536 readings; steps below a ten-millionth of their range are rounding.

    References
    ----------
    Definition of resolution.

    Examples
    --------
    >>> quantum(np.array([0.0, 0.5, 2.0, 3.5, 3.0]))
    0.5
    """
    values = np.unique(readings[:_ENOUGH])
    steps = np.diff(values)
    steps = steps[steps > 1e-7 * float(np.ptp(values))] if steps.size else steps
    return float(steps.min()) if steps.size else 0.0


def doubts(
    zero: Zeroed, step: float = 0.0, scale: float = 0.0, tone: Ringing | None = None, smoothed: bool = False
) -> Doubts:
    """Give what a record may be off by, from what was found in it.

    Parameters
    ----------
    zero : Zeroed
        The zero as it was taken off.
    step : float
        Step between readings [N].
    scale : float
        Standard uncertainty of the stand's scale [-].
    tone : Ringing, optional
        The ringing that was found.
    smoothed : bool
        Whether it was smoothed out [-].

    Returns
    -------
    Doubts
        Noise, zero [N] and the rest.

    Notes
    -----
    The zero: the median of n noisy readings, 1.2533 σ/√n; a rectangle as wide as it wanders within a quiet stretch
    (creep); half a reading's step where there is less noise than that. Where a line was taken for the way of the zero,
    it may have jumped at any moment instead; where the level before was kept, by up to twice as much to one side. Where
    a jump was chosen only its moment is left, which the sampling covers.

    References
    ----------
    JCGM 100:2008, 4.3.7 (rectangle a/√3), F.2.2.1 (resolution 0.29 δx), 5.1.2 (sum of squares). Variance of a
    median, π σ²/(2n) for many samples: Cramér, Mathematical Methods of Statistics (1946) (from memory).

    Examples
    --------
    >>> found = doubts(Zeroed(np.zeros(9), 0.0, 6.0, True, 0.0, step=6.0))
    >>> found.zero, found.gone
    (0.0, 6.0)
    """
    parts = [1.2533 * zero.noise / sqrt(zero.samples), zero.wanders / sqrt(12)]
    if zero.noise < step / 2:
        parts.append(step / sqrt(12))
    gone = abs(zero.step or 0.0) * {"line": 1.0, "level": 2.0}.get(zero.way, 0.0)
    left = None if smoothed else tone
    return Doubts(
        zero.noise,
        float(np.sqrt(np.sum(np.square(parts)))),
        gone,
        step,
        scale,
        left,
        1 / tone.frequency if tone is not None and smoothed else 0.0,
    )


def calibration_error(readings: ArrayLike, loads: ArrayLike) -> float | None:
    """Give how sure the slope is that was fitted to known loads.

    Parameters
    ----------
    readings, loads : array_like
        What the cell said [-] under each load [N], shape (N,).

    Returns
    -------
    float or None
        Standard uncertainty over the slope [-]; None of fewer than three loads, which say nothing of it.

    Notes
    -----
    Of the residuals, with N - 2 degrees of freedom. That the loads themselves are right is taken for granted.

    References
    ----------
    JCGM 100:2008, H.3.2, equations H.13d and H.13f.

    Examples
    --------
    >>> calibration_error([0.0, 1.0, 2.0], [0.0, 10.0, 20.0])
    0.0
    """
    x, y = finite_array("calibration", readings), finite_array("calibration", loads)
    if x.size < 3:
        return None
    spread = x - x.mean()
    slope = float((spread * (y - y.mean())).sum() / (spread**2).sum())
    rest = y - y.mean() - slope * spread
    return sqrt(float((rest**2).sum()) / (x.size - 2) / float((spread**2).sum())) / abs(slope)


def intervals(time: Floats, thrust: Floats, off: Doubts, begins: bool = False, ends: bool = False) -> Intervals:
    """Carry what a record may be off by through to the figures of its burn.

    Parameters
    ----------
    time, thrust : ndarray
        The burn alone, to the last measurable thrust [s], [N], shape (N,).
    off : Doubts
        What it may be off by [N], [-].
    begins, ends : bool
        Whether the record begins, or ends, while the motor burns [-].

    Returns
    -------
    Intervals
        Of impulse [N s], burn time [s], mean and peak thrust [N].

    Raises
    ------
    CalcError
        The curve is none.

    Notes
    -----
    First order, squares added; k = 1.645. Impulse: trapezoid weights times noise and step; the length times the zero,
    which over the burn may be off by a rectangle as wide as it went; half a wave of a tone at each end, as the burn may
    be cut at any part of it. Between two samples the thrust may turn anywhere: each change of it may be early or late
    by half a sample, as far as its neighbours do not go on the same way. Burn time: the zero moves both ends outward
    or inward together, noise and step (a triangle) each end by itself, as far as the curve then crosses 5 % elsewhere;
    the first sample below it comes early by up to the expected largest of the noisy ones about there; a tone moves them
    by half a wave; the crossing lies anywhere between its two samples, as far as the curve bends there. Peak: the
    highest of n noisy samples is high by up to the expected largest of n, less where the peak is pointed; a tone raises
    it by its amplitude or, where it dies away, twice that; between samples it may reach to where the lines of both
    sides meet. Mean: impulse
    over burn time, taken as independent, which is wide. What was cut off cannot be known: that end is left open. A
    clock's error is not in it.

    References
    ----------
    JCGM 100:2008, eq. 10 (propagation), 4.3.7 and 4.3.8 (rectangles, also lopsided), F.2.2.1 (resolution), G.1 (k).
    Largest of n normal values: Blom, Statistical Estimates (1958) (from memory).

    Examples
    --------
    >>> t = np.linspace(0.0, 2.0, 2001)
    >>> found = intervals(t, 100 * np.sin(np.pi * t / 2), Doubts(0.0, zero=0.5))
    >>> round(found.total_impulse.own * 400 / np.pi, 2)  # half a newton over the 1.97 s from 5 % of the peak on
    0.98
    """
    edge = threshold_times(time, thrust, BURN_SHARE)
    start, stop = (float(t) for t in edge)
    total = _impulse(time, thrust, start, off)
    lasted = _burn_time(time, thrust, (start, stop), off)
    peak = _peak(thrust, off)
    mean = _Figure(
        total.value / lasted.value,
        total.middle / lasted.middle,
        {"burn time": (lasted.own * total.middle / lasted.middle**2) ** 2, "impulse": (total.own / lasted.middle) ** 2},
    )
    whole = not (begins or ends)
    impulse = total.interval(off.scale, open_above=not whole)
    return Intervals(
        impulse,
        lasted.interval(0.0, open_above=not whole),
        mean.interval(off.scale, open_above=not whole, open_below=not whole),
        peak.interval(off.scale, open_above=not whole),
        _classes(impulse),
    )


@dataclass(frozen=True)
class _Figure:
    """A figure as computed, the middle of what it may be, and the squares of its own standard uncertainty by source."""

    value: float
    middle: float
    parts: Mapping[str, float]

    @property
    def own(self) -> float:
        return sqrt(sum(self.parts.values()))

    def interval(self, scale: float, open_above: bool = False, open_below: bool = False) -> Interval:
        """Nine in ten; the figure itself always lies inside."""
        wide = COVERAGE * hypot(self.own, scale * self.middle)
        low, high = min(self.middle - wide, self.value), max(self.middle + wide, self.value)
        parts = {**self.parts, "scale": (scale * self.middle) ** 2} if scale else dict(self.parts)
        off = hypot(self.own, self.middle - self.value)
        return Interval(
            None if open_below else max(low, 0.0), None if open_above else high, off / abs(self.value), parts
        )


def _impulse(time: Floats, thrust: Floats, start: float, off: Doubts) -> _Figure:
    inside = time >= start
    t, f = time[inside], thrust[inside]
    first = float(np.interp(start, time, thrust))
    t, f = np.r_[start, t], np.r_[first, f]
    total = float(running_impulse(t, f)[-1])
    steps = np.diff(t)
    weights = np.r_[steps, 0.0] / 2 + np.r_[0.0, steps] / 2
    change = np.diff(f)
    turns = np.maximum(np.abs(np.diff(change, prepend=0.0)), np.abs(np.diff(change, append=0.0)))
    parts = {
        "noise": off.noise**2 * float((weights**2).sum()),
        "steps of the converter": off.quantum**2 / 12 * float((weights**2).sum()),
        "zero": (off.zero**2 + off.gone**2 / 12) * float(t[-1] - t[0]) ** 2,
        "sampling": float(((np.minimum(np.abs(change), turns) * steps) ** 2).sum()) / 12,
    }
    if off.tone is not None:
        parts["ringing"] = (2 * off.tone.amplitude / (pi * off.tone.frequency)) ** 2
    return _Figure(total, total, parts)


def _burn_time(time: Floats, thrust: Floats, edges: tuple[float, float], off: Doubts) -> _Figure:
    peak = float(thrust.max())
    alone = _moved(time, thrust, 4 * off.noise / peak)  # of four times the noise, which bends that less
    steps = _moved(time, thrust, off.quantum / peak)
    zero = _moved(time, thrust, sqrt(off.zero**2 + off.gone**2 / 12) / peak)
    (start, before), (end, after) = (_crossing(time, thrust, edge) for edge in edges)
    usual = float(time[-1] - time[0]) / (time.size - 1)
    early = sum(_extreme(moved / 4, moved / 2 / usual) for moved in alone)
    parts = {
        "noise": (alone[0] ** 2 + alone[1] ** 2) / 16 + early**2 / 3,
        "steps of the converter": (steps[0] ** 2 + steps[1] ** 2) / 6,
        "zero": (zero[0] + zero[1]) ** 2,
        "sampling": (before**2 + after**2) / 12,
    }
    if off.tone is not None:
        parts["ringing"] = (min(1.0, off.tone.amplitude / (BURN_SHARE * peak)) / (2 * off.tone.frequency)) ** 2
    if off.smoothed:
        parts["smoothing"] = off.smoothed**2 / 6
    return _Figure(edges[1] - edges[0], end - start + early / 2, parts)


def _moved(time: Floats, thrust: Floats, share: float) -> tuple[float, float]:
    """How far each end moves if the thrust is off by a share of its peak, to the side where it moves more [s]."""
    if share == 0:
        return 0.0, 0.0
    low, mid, high = (
        threshold_times(time, thrust, level)
        for level in (max(_LOW, BURN_SHARE - share), BURN_SHARE, min(0.9, BURN_SHARE + share))
    )
    starts, stops = (max(abs(float(low[i] - mid[i])), abs(float(high[i] - mid[i]))) for i in (0, 1))
    return starts, stops


def _crossing(time: Floats, thrust: Floats, moment: float) -> tuple[float, float]:
    """The middle and length of where a curve may cross a level between two samples, as far as it bends there [s]."""
    at = int(np.clip(np.searchsorted(time, moment), 1, time.size - 1))
    near = thrust[[max(at - 2, 0), at - 1, at, min(at + 1, thrust.size - 1)]]
    before, change, after = (float(step) for step in np.diff(near))
    bends = max(abs(change - before), abs(after - change))
    share = min(1.0, bends / abs(change)) if change else 1.0
    between = (float(time[at - 1]) + float(time[at])) / 2
    abrupt = share * min(1.0, 2 * abs(change) / float(thrust.max()))  # of a step a straight line tells nothing
    return moment + abrupt * (between - moment), share * float(time[at] - time[at - 1])


def _extreme(sigma: float, many: float) -> float:
    """How far the largest of some normal values lies above their middle."""
    return sigma * NormalDist().inv_cdf((many - 0.375) / (many + 0.25)) if many > 1 else 0.0


def _peak(thrust: Floats, off: Doubts) -> _Figure:
    top = int(thrust.argmax())
    peak = float(thrust[top])
    around = np.interp(np.arange(top - 2, top + 3), np.arange(thrust.size), thrust, left=0.0, right=0.0)
    usual = off.quantum + 3 * off.noise  # squares, as noise adds: a slope well above it is hardly bent by it
    rise = sqrt(max(0.0, max(0.0, float(np.diff(around[:3]).max())) ** 2 - usual**2))
    fall = sqrt(max(0.0, max(0.0, -float(np.diff(around[2:]).min())) ** 2 - usual**2))
    missed = rise * fall / (rise + fall) if rise and fall else 0.0
    many = int((thrust > peak - 4 * off.noise).sum()) if off.noise > 0 else 1
    raised = _extreme(off.noise, many)
    rings = off.tone.amplitude if off.tone is not None else 0.0
    middle = peak - raised / 2 - rings + missed / 2
    parts = {
        "noise": off.noise**2 + raised**2 / 12,
        "steps of the converter": off.quantum**2 / 12,
        "zero": off.zero**2 + off.gone**2 / 4,
        "sampling": missed**2 / 12,
    }
    if off.tone is not None:
        parts["ringing"] = (2 * rings) ** 2 / 12
    return _Figure(peak, middle, parts)


def _classes(impulse: Interval) -> tuple[str, ...]:
    """The letters whose range the interval touches; those above an open end are not told."""
    low = impulse.low if impulse.low is not None else 0.0
    high = impulse.high if impulse.high is not None else low
    limits = list(CLASS_LIMITS.items())
    below = [0.0, *(limit for _, limit in limits[:-1])]
    return tuple(letter for (letter, limit), under in zip(limits, below, strict=True) if low <= limit and high > under)
