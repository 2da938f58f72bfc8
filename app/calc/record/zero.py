"""The zero of a stand: taken off a record, where it jumps, and each way that it may have gone during the burn."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from app.calc.base.constants import Floats
from app.calc.base.errors import CalcError

ZEROS = ("line", "level", "lit", "out", "seen")
"""How a zero goes from before the burn to after it [-]: along a straight line; nowhere, as the one before stays; in one
jump at ignition; in one at burn-out; in one that is seen in the burn."""

ASKED_FROM = 0.02
"""Change of the zero over peak thrust from which a person is asked how it went [-]: this book's choice."""

_FEW = 5  # samples that a level needs
_FARTHER = 4.0  # lengths of the burn that a quiet stretch is looked for in, where something else stands beside it
_TARE, _TRIED = 8.0, 20  # times its noise that a level jumps by when a cell is tared; jumps that are looked at
_ENOUGH = 100_000  # readings that tell a level
_LIKE = 0.35  # a jump's size may differ by this share from that of the zero's change


@dataclass(frozen=True)
class Zeroed:
    """Thrust with the stand's zero taken off [N]; the zero before and after [N]; its noise [N]; whether drift came off.

    `step` is how far the zero went during the burn, the lost weight not counted, None where one of the two is not
    known; `wanders` the most that it went within one of the quiet stretches [N]; `samples` how many these have at
    least; `way` a name of `ZEROS`, and `jump` the first sample after the zero's jump, if it jumped.
    """

    thrust: Floats
    before: float | None
    after: float | None
    drifted: bool
    noise: float
    step: float | None = None
    wanders: float = 0.0
    samples: int = 1
    way: str = "line"
    jump: int | None = None


@dataclass(frozen=True)
class _Level:
    """A quiet stretch: its times [s] and readings [N], thinned where there are many, with their medians `at` and
    `value`; `size` is how many there are."""

    time: Floats
    readings: Floats
    at: float
    value: float
    size: int

    def less(self, slope: float) -> Floats:
        """Its readings less their level and a slope [N/s]."""
        return np.asarray(self.readings - self.value - slope * (self.time - self.at))


def zeroed(
    time: Floats,
    force: Floats,
    first: int,
    last: int,
    lost_weight: float = 0.0,
    way: str = "line",
    others: Sequence[tuple[int, int]] = (),
) -> Zeroed:
    """Take the stand's zero off a record, as it went from before the burn to after it.

    Parameters
    ----------
    time, force : ndarray
        Record [s], [N], shape (N,).
    first, last : int
        The burn, from `find_burn` [-].
    lost_weight : float
        What an upright stand's reading has changed by when the propellant is gone [N]; zero on a level stand.
    way : str
        How the zero went, a name of `ZEROS` [-].
    others : sequence of tuple of int
        First and last sample of what else stands in the record: no zero is taken there [-].

    Returns
    -------
    Zeroed
        Thrust and levels [N].

    Raises
    ------
    CalcError
        There is no quiet stretch before or after the burn to take the zero from, or no jump is seen in the burn.

    Notes
    -----
    Levels are medians over at most one burn's length, from 5 % of it before the start backwards, and from 25 % after
    the end onwards, or up to four lengths away where less than a third of that is free of others; the line goes
    through both. With one of them only, that is the zero. At ignition the zero jumps where the reading leaves the
    level before, at burn-out where it comes to stay at the level after, both to three times the noise or half a per
    cent of the peak. Where a quiet stretch jumps itself, by eight times its noise, the cell was tared: what lies on the
    burn's side of that counts.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> t = np.arange(0.0, 5.0, 0.1)
    >>> thrust = np.where((t > 1.95) & (t < 3.05), 100.0, 0.0)
    >>> found = zeroed(t, thrust + 2.0 + 0.5 * t, 20, 30)
    >>> bool(np.allclose(found.thrust, thrust))
    True
    """
    length = max(float(time[last] - time[first]), 10 * float(time[-1] - time[0]) / time.size)
    ahead = _level(time, force, time[first] - 1.05 * length, time[first] - 0.05 * length, -length, others)
    behind = _level(time, force, time[last] + 0.25 * length, time[last] + 1.25 * length, length, others)
    quiet = ahead or behind
    if quiet is None:
        raise CalcError(
            "force_column",
            "has no quiet stretch before or after the burn to take the zero from.",
            "Record longer; here, type its zero as an offset in the file.",
        )
    both = [spot for spot in (ahead, behind) if spot is not None]
    samples = min(spot.size for spot in both)
    before, after = (spot.value if spot else None for spot in (ahead, behind))
    step = behind.value - lost_weight - ahead.value if ahead and behind else None
    slope = step / (behind.at - ahead.at) if ahead and behind and step is not None and way == "line" else 0.0
    noise = _spread(quiet.less(slope))
    wanders = max(min(_wander(spot.less(off)) for off in {0.0, slope}) for spot in both)  # along neither is creep
    if ahead is None or step is None:
        level = quiet.value - (0.0 if ahead else lost_weight)
        return Zeroed(force - level, before, after, False, noise, None, wanders, samples, "level")
    if way == "line":
        thrust = np.subtract(time, ahead.at)
        thrust *= -slope  # in place: there may be ten million
        thrust += force
        thrust -= ahead.value
        return Zeroed(thrust, before, after, True, noise, step, wanders, samples)
    thrust = force - ahead.value
    if way == "level":
        return Zeroed(thrust, before, after, False, noise, step, wanders, samples, way)
    jump = _jumps_at(force, (first, last), (ahead.value, ahead.value + step + lost_weight), step, noise, way)
    thrust[jump:] -= step
    return Zeroed(thrust, before, after, True, noise, step, wanders, samples, way, jump)


def _level(
    time: Floats, force: Floats, start: float, end: float, length: float, others: Sequence[tuple[int, int]]
) -> _Level | None:
    """The level of a quiet stretch from start to end, free of others; farther away if need be."""
    low, high = (int(np.searchsorted(time, t)) for t in (start, end))
    at = np.arange(low, high)
    if others:
        free = _free(time, at, others)
        if free.size < at.size / 3:
            reach = (_FARTHER - 1) * abs(length)
            start, end = (start - reach, end) if length < 0 else (start, end + reach)
            low, high = (int(np.searchsorted(time, t)) for t in (start, end))
            free = _free(time, np.arange(low, high), others)
        at = free
    if at.size < _FEW:
        return None
    size, at = at.size, at[:: max(1, at.size // _ENOUGH)]
    kept = _since_tare(at, force[at], length < 0)
    time, readings = time[kept], force[kept]
    return _Level(time, readings, float(np.median(time)), float(np.median(readings)), size * kept.size // at.size)


def _since_tare(at: np.ndarray, quiet: Floats, ahead: bool) -> np.ndarray:
    """What of a quiet stretch lies on the burn's side of the last jump in it, as of a cell that was tared."""
    if at.size < 4 * _FEW:
        return at
    steps = np.diff(quiet)
    jumps = np.flatnonzero(np.abs(steps) > _TARE * _spread(steps))
    for i in (jumps[::-1] if ahead else jumps)[:_TRIED]:
        near, far = (quiet[i + 1 :], quiet[: i + 1]) if ahead else (quiet[: i + 1], quiet[i + 1 :])
        if min(near.size, far.size) < _FEW:
            continue
        gone = float(np.median(near[: 2 * _FEW] if ahead else near[-2 * _FEW :]))
        gone -= float(np.median(far[-2 * _FEW :] if ahead else far[: 2 * _FEW]))
        if abs(gone) > _TARE * max(_spread(near), _spread(far)) and abs(gone) > 0.5 * abs(steps[i]):
            return at[i + 1 :] if ahead else at[: i + 1]
    return at


def _wander(quiet: Floats) -> float:
    """How far a quiet stretch goes from its one end to the other, as its halves tell [N]; nothing where noise would."""
    half = quiet.size // 2
    gone = 2 * abs(float(np.median(quiet[half:]) - np.median(quiet[:half])))
    return gone if gone > 4 * 1.2533 * _spread(quiet) * np.sqrt(2 / half) else 0.0


def _free(time: Floats, at: np.ndarray, others: Sequence[tuple[int, int]]) -> np.ndarray:
    for first, last in others:
        aside = 0.05 * float(time[last] - time[first])
        low, high = np.searchsorted(time, (time[first] - aside, time[last] + aside), side="right")
        at = at[(at < low - 1) | (at > high)]
    return at


def _spread(quiet: Floats) -> float:
    """Standard deviation of a quiet stretch, which a stray sample does not raise."""
    usual = 1.4826 * float(np.median(np.abs(quiet - np.median(quiet))))
    return usual or float(np.std(quiet))


def _jumps_at(
    force: Floats, burn: tuple[int, int], levels: tuple[float, float], step: float, noise: float, way: str
) -> int:
    """The first sample after the jump of the zero."""
    (first, last), (before, after) = burn, levels
    near = max(3 * noise, 0.005 * (float(force[first : last + 1].max()) - max(before, after)))
    if way == "lit":
        still = np.flatnonzero(np.abs(force[:first] - before) <= near)
        return int(still[-1]) + 1 if still.size else first
    if way == "out":
        quiet = np.abs(force[last + 1 :] - after) <= near
        stays = quiet[:-2] & quiet[1:-1] & quiet[2:]
        at = np.flatnonzero(stays)
        return last + 1 + (int(at[0]) if at.size else 0)
    seen = seen_jump(force, first, last, step)
    if seen is None:
        raise CalcError("zero", "does not jump where it can be seen in the burn.", "Choose another way for the zero.")
    return seen


def seen_jump(force: Floats, first: int, last: int, step: float) -> int | None:
    """Find where in a burn the zero jumped, if the curve shows it.

    Parameters
    ----------
    force : ndarray
        Record [N], shape (N,).
    first, last : int
        The burn [-].
    step : float
        How far the zero went [N].

    Returns
    -------
    int or None
        The first sample after the jump, from 0 [-]; None where none is seen, or several.

    Notes
    -----
    One step from sample to sample, less the usual one of the four to either side, that is within 35 % of the zero's
    change, six times as large as such steps are there, and is not taken back within four samples. The first and last
    twentieth of the burn are left out: there the thrust itself jumps.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> seen_jump(np.r_[np.linspace(100, 90, 50), np.linspace(150, 140, 50)], 0, 99, 60.0)
    50
    """
    aside = max(4, (last - first) // 20)
    low, high = first + aside, last - aside
    if step == 0 or high - low < 12:
        return None
    diff = np.diff(force[low : high + 1])
    at = np.flatnonzero(np.abs(diff - step) < _LIKE * abs(step))
    at = at[(at >= 4) & (at < diff.size - 4)]
    found = []
    for i in at[:1000]:
        around = np.r_[diff[i - 4 : i], diff[i + 1 : i + 5]]
        usual = float(np.median(around))
        scatter = float(np.median(np.abs(around - usual)))
        stays = float(np.median(force[low + i + 1 : low + i + 5]) - np.median(force[low + i - 3 : low + i + 1]))
        if (
            abs(diff[i] - usual - step) < _LIKE * abs(step)
            and abs(step) > 6 * scatter
            and abs(stays - 4 * usual - step) < _LIKE * abs(step)
        ):
            found.append(int(low + i + 1))
    return found[0] if len(found) == 1 else None
