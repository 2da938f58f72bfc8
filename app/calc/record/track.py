"""The height of a flight over time, as an altimeter logged it: launch, apogee, descents, landing; spikes told apart."""

from dataclasses import dataclass

import numpy as np

from app.calc.base.constants import STANDARD_GRAVITY, Floats, finite_array
from app.calc.base.errors import CalcError

SPIKE_WINDOW = 1.0
"""Span of the running median that spikes are measured from [s]: this book's choice; longer ones are not seen."""

SPIKE_LEAST = 5.0
"""Least distance from the running median that is a spike [m], and eight times the noise: this book's choice."""

STILL = 0.5
"""Speed below which a rocket that was up lies on the ground [m/s]: this book's choice."""

TOP = 2.0
"""Seconds up to the highest reading that the parabola of the apogee is laid through, four steps at least [s].

What comes after the top is left out: a parachute may open there."""

_BINS = 300  # medians that the descent is judged by
_LEAST_RISE = 10.0  # a flight, not a gust on the pad [m]


@dataclass(frozen=True)
class Spike:
    """Readings that leave the track for less than half a second: first and last sample, moment [s], size [m]."""

    first: int
    last: int
    time: float
    size: float


@dataclass(frozen=True)
class Descent:
    """A stretch of steady descent: from and to [s after launch], and its speed downwards [m/s]."""

    start: float
    end: float
    rate: float


@dataclass(frozen=True)
class Track:
    """What a flight's heights say; times after launch, heights above the pad, SI.

    `launch` is the moment in the record; `before` tells whether the record shows the pad before the launch, `topped`
    whether it goes on past the apogee. `landing_time` and `ground` (the landing place above the pad) are None when the
    record ends in the air.
    """

    launch: float
    pad: float
    noise: float
    before: bool
    topped: bool
    apogee: float
    apogee_time: float
    landing_time: float | None
    ground: float | None
    descents: tuple[Descent, ...]
    spikes: tuple[Spike, ...]


def find_spikes(time: Floats, height: Floats) -> tuple[Spike, ...]:
    """Find readings that leave the track and come back within half a second, as an ejection's pressure makes them.

    Parameters
    ----------
    time, height : ndarray
        Record [s], [m], shape (N,).

    Returns
    -------
    tuple of Spike
        In order of time; sizes in [m], upwards above zero.

    Raises
    ------
    CalcError
        A number that is none.

    Notes
    -----
    Distance from the running median over one second (five samples at least) of more than 5 m, eight times the noise,
    and twice what free fall bends a track by over half that span. A median follows any rise or fall and ignores what is
    shorter than half its span; it is taken a second time without the spikes, which pull it beside them.

    References
    ----------
    Hampel's identifier: Davies and Gather, J. Am. Stat. Assoc. 88 (1993) 782 (from memory); the limits are this book's.

    Examples
    --------
    >>> t = np.arange(0.0, 5.0, 0.05)
    >>> [round(s.size) for s in find_spikes(t, 100 - 5 * t + np.where(abs(t - 2) < 0.06, 30.0, 0.0))]
    [30]
    """
    from scipy.ndimage import median_filter  # here: it would cost a tenth of the program's start

    height = finite_array("height", height)
    step = float(np.median(np.diff(time)))
    size = max(5, 2 * round(min(SPIKE_WINDOW / step, time.size) / 2) + 1)
    bend = STANDARD_GRAVITY * (step * (size - 1) / 2) ** 2
    middle = median_filter(height, size=size, mode="nearest")
    for _ in range(2):  # the second time without the spikes, which pull the median beside them
        away = height - middle
        noise = 1.4826 * float(np.median(np.abs(away)))
        apart = np.abs(away) > max(SPIKE_LEAST, 8 * noise, bend)
        middle = median_filter(np.where(apart, middle, height), size=size, mode="nearest")
    far = np.flatnonzero(apart)
    if not far.size:
        return ()
    groups = np.split(far, np.flatnonzero(np.diff(far) > 3) + 1)
    peaks = [int(group[np.abs(away[group]).argmax()]) for group in groups]
    return tuple(
        Spike(int(group[0]), int(group[-1]), float(time[peak]), float(away[peak]))
        for group, peak in zip(groups, peaks, strict=True)
    )


def robust_slope(time: Floats, height: Floats) -> float:
    """Give the slope of a straight stretch as the median slope of all pairs of its samples.

    Parameters
    ----------
    time, height : ndarray
        Stretch [s], [m], shape (N,), N at least 2 and small, for all pairs are made.

    Returns
    -------
    float
        Slope, downwards below zero [m/s].

    Raises
    ------
    CalcError
        Fewer than two samples.

    Notes
    -----
    Up to 29 % of the samples may be wrong without moving it far.

    References
    ----------
    Theil, Proc. Kon. Ned. Akad. Wetensch. A 53 (1950); Sen, J. Am. Stat. Assoc. 63 (1968) 1379 (from memory).

    Examples
    --------
    >>> robust_slope(np.array([0.0, 1, 2, 3]), np.array([9.0, 7, 50, 3]))
    -2.0
    """
    if time.size < 2:
        raise CalcError("time", "has no two samples to take a slope from.", "Record longer.")
    first, second = np.triu_indices(time.size, 1)
    return float(np.median((height[second] - height[first]) / (time[second] - time[first])))


def analyse(time: Floats, height: Floats, pad: float | None = None) -> Track:
    """Find launch, apogee, descents and landing in a record of heights.

    Parameters
    ----------
    time, height : ndarray
        Record, times rising [s], heights over any zero [m], shape (N,).
    pad : float, optional
        The pad in the record's own heights [m]; without it, the median before the launch.

    Returns
    -------
    Track
        Times [s], heights [m], speeds [m/s].

    Raises
    ------
    CalcError
        The heights never rise out of their noise.

    Notes
    -----
    Spikes are left out of all that follows. Launch: heights up to a tenth of the apogee grow as a t²/2, so their roots
    lie on a line; launch is where it meets zero. Apogee: vertex of the parabola through the readings of the last two
    seconds up to the highest one, if it lies within half a second of it, or that reading itself. Ground: median of the
    last three seconds, if they are still (below 0.5 m/s). Descents: median heights of up to 300 equal bits of time
    from apogee to ground; two stretches where two lines leave less than 0.3 of the squares that one leaves and one is
    half as fast again as the other, else one; each speed is the median slope of its middle four fifths. Landing: where
    the last stretch meets the ground.

    References
    ----------
    Kinematics; Theil and Sen for the slopes; the rule for two stretches is this book's own.

    Examples
    --------
    >>> t = np.arange(0.0, 60.0, 0.1)
    >>> s = np.clip(t - 2, 0, 10)
    >>> found = analyse(t, 98 * s - 4.9 * s**2 - np.clip(35 * (t - 12), 0, 490))
    >>> round(found.apogee), round(found.descents[0].rate), round(found.landing_time)
    (490, 35, 24)
    """
    time, height = finite_array("time", time), finite_array("height", height)
    spikes = find_spikes(time, height)
    good = np.ones(time.size, bool)
    for spike in spikes:
        good[spike.first : spike.last + 1] = False
    t, h = time[good], height[good]
    top = int(h.argmax())
    level, noise, left = _pad(h, top, pad)
    if not h[top] - level > max(_LEAST_RISE, 8 * noise):
        raise CalcError("height_column", "never rises out of its noise.", "Choose another column or unit.")
    launch = _launch(t, h - level, left, top)
    at, apogee = _apogee(t, h, top)
    ground, landed = _landing(t, h, top, noise)
    end = landed if landed is not None else t.size - 1
    descents = _descents(t[top : end + 1], h[top : end + 1], at, noise)
    landing = None
    if landed is not None and ground is not None:
        landing = _meets(t, h, descents, ground, float(t[landed]))
    return Track(
        launch=launch,
        pad=level,
        noise=noise,
        before=left >= 0,
        topped=top < h.size - 1,
        apogee=apogee - level,
        apogee_time=at - launch,
        landing_time=None if landing is None else landing - launch,
        ground=None if ground is None else ground - level,
        descents=tuple(Descent(d.start - launch, d.end - launch, d.rate) for d in descents),
        spikes=spikes,
    )


def _pad(h: Floats, top: int, given: float | None) -> tuple[float, float, int]:
    """The pad's height, its noise, and the last sample on it before the launch; -1 where the record begins later."""
    few = h[: max(1, min(5, top))]
    level = float(np.median(few)) if given is None else given
    for _ in range(2):  # the first few samples find the stretch, the stretch gives level and noise
        quiet = np.abs(np.diff(h[: top + 1]))
        rough = float(np.median(quiet[: max(1, few.size - 1)])) if quiet.size else 0.0
        low = np.flatnonzero(h[:top] <= level + max(2.0, 5 * rough))
        left = int(low[-1]) if low.size else -1
        if given is None and left >= 0:
            level = float(np.median(h[: left + 1]))
    noise = 1.4826 * float(np.median(np.abs(h[: left + 1] - level))) if left >= 5 else 0.0
    return level, noise, left


def _launch(t: Floats, h: Floats, left: int, top: int) -> float:
    """The moment of launch: where the roots of the first heights meet zero, or the last sample on the pad."""
    if left < 0:
        return float(t[0])
    rising = np.arange(left + 1, top + 1)
    rising = rising[(h[rising] > 2.0) & (h[rising] < 0.1 * h[top])]
    if rising.size >= 3:
        slope, root = np.polyfit(t[rising] - t[left], np.sqrt(h[rising]), 1)
        if slope > 0 and -2.0 <= -root / slope <= t[left + 1] - t[left]:
            return float(t[left] - root / slope)
    return float(t[left])


def _apogee(t: Floats, h: Floats, top: int) -> tuple[float, float]:
    """Moment and height of the vertex of a parabola through the last readings up to the highest one."""
    span = max(TOP, 4 * float(np.median(np.diff(t))))
    near = (t <= t[top]) & (t >= t[top] - span - 1e-9)
    if near.sum() >= 4 and top < h.size - 1:
        a, b, c = np.polyfit(t[near] - t[top], h[near] - h[top], 2)
        if a < 0 and abs(b / (2 * a)) <= span / 4:
            return float(t[top] - b / (2 * a)), float(h[top] + c - b * b / (4 * a))
    return float(t[top]), float(h[top])


def _landing(t: Floats, h: Floats, top: int, noise: float) -> tuple[float | None, int | None]:
    """The ground's height and the first sample after which all lie on it; None while the record ends in the air."""
    last = np.flatnonzero(t >= t[-1] - 3.0)
    last = last if last.size >= 5 else np.arange(max(0, t.size - 5), t.size)
    some = last[:: max(1, last.size // _BINS)]
    if last[0] <= top or abs(robust_slope(t[some], h[some])) > STILL:
        return None, None
    ground = float(np.median(h[last]))
    above = np.flatnonzero(np.abs(h[top:] - ground) > max(2.0, 5 * noise))
    return ground, min(top + int(above[-1]) + 1, t.size - 1) if above.size else top


def _descents(t: Floats, h: Floats, apogee_at: float, noise: float) -> list[Descent]:
    """One or two stretches of steady descent."""
    down = t >= apogee_at
    t, h = t[down], h[down]
    if t.size < 8 or t[-1] - t[0] < 2.0:
        return []
    edges = np.linspace(t[0], t[-1], min(_BINS, t.size // 2) + 1)
    places = np.clip(np.searchsorted(edges, t, side="right") - 1, 0, edges.size - 2)
    bits = [np.flatnonzero(places == i) for i in range(edges.size - 1)]
    t, h = (np.array([float(np.median(v[bit])) for bit in bits if bit.size]) for v in (t, h))
    least = max(4, t.size // 20)
    one = max(0.0, _squares(t, h))
    breaks = range(least, t.size - least)
    both = [_squares(t[:i], h[:i]) + _squares(t[i:], h[i:]) for i in breaks]
    if both and min(both) < 0.3 * one and np.sqrt(one / t.size) > max(1.0, 2 * noise):
        i = breaks[int(np.argmin(both))]
        pair = [_stretch(t[:i], h[:i]), _stretch(t[i:], h[i:])]
        slow, fast = sorted(d.rate for d in pair)
        if fast > 0 and fast >= 1.5 * slow:
            return pair
    whole = _stretch(t, h)
    return [whole] if whole.rate > 0 else []


def _stretch(t: Floats, h: Floats) -> Descent:
    tenth = t.size // 10
    middle = slice(tenth, t.size - tenth)
    return Descent(float(t[0]), float(t[-1]), -robust_slope(t[middle], h[middle]))


def _squares(t: Floats, h: Floats) -> float:
    """Sum of squares that a straight line leaves."""
    x, y = t - t.mean(), h - h.mean()
    return float((y * y).sum() - (x * y).sum() ** 2 / (x * x).sum())


def _meets(t: Floats, h: Floats, descents: list[Descent], ground: float, landed: float) -> float:
    """Where the last stretch of the descent meets the ground, if that is near the first sample on it."""
    if not descents:
        return landed
    last = descents[-1]
    inside = (t >= last.start) & (t <= last.end)
    meets = float(np.median(t[inside] + (h[inside] - ground) / last.rate))
    return meets if abs(meets - landed) <= 5.0 else landed
