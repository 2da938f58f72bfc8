"""Where the burns are in a record of a test stand, and what else rises in it: a weight left on, a knock."""

from dataclasses import dataclass

import numpy as np

from app.calc.base.constants import Floats
from app.calc.base.errors import CalcError
from app.calc.motor.impulse import BURN_SHARE
from app.calc.record.load_cell import running_impulse

PAUSE = 1.0
"""A pause shorter than this belongs to the burn, until somebody says otherwise [s]: common practice, no source."""

CHUFF = 0.2
"""A pause shorter than this is never asked about [s]: a choice."""

KNOCK = 0.05
"""What lasts no longer is a knock, where something else with more impulse stands in the record [s]: a choice."""

RESTS = 3.0
"""What stands still for this long is a weight, where something else does not [s]: a choice."""

_FEW = 5  # samples that a level needs at least
_STRAY = 0.005  # a bump with less than this share of the burn's impulse is none of it
_ANOTHER = 0.02  # share of the largest burn's impulse that makes another one
_ABOVE_NOISE = 8.0  # times the noise that a burn's peak must reach
_STRAYS = 3  # samples in a row that may be stray ones, whatever impulse they would have
_STILL = 0.01  # of its height that a weight's reading moves by at most
_QUIET, _TARED = 0.3, 5.0  # share of a record that is quiet at least; how much nearer it lies to two levels than a line
_MOSTLY = 0.9  # of a weight's readings


@dataclass(frozen=True)
class Pulse:
    """A stretch of a record above its zero: first and last sample, from 0, impulse [N s], and whether it stands still,
    as a weight does and no motor."""

    first: int
    last: int
    impulse: float
    still: bool = False


def find_burn(time: Floats, force: Floats) -> tuple[int, int]:
    """Find the burn in a record: the first and the last sample above 5 % of the rise.

    Parameters
    ----------
    time, force : ndarray
        Record [s], [N], shape (N,), thrust upwards, any zero.

    Returns
    -------
    first, last : tuple of int
        Samples, from 0 [-].

    Raises
    ------
    CalcError
        The force stands still, or nothing rises out of its noise.

    Notes
    -----
    The stretch above 5 % with the most impulse, joined with others less than a second apart; bumps with less than
    0.5 % of its impulse, or of one or two samples, are left out, and so are knocks and weights (`find_pulses`). Of
    several motors in one record the largest is found.

    References
    ----------
    5 %: NFPA 1125 (second hand). Joining: common practice, no source.

    Examples
    --------
    >>> find_burn(np.arange(15.0), np.array([0, 0, 0, 0, 0, 0, 50, 100, 50, 0, 0, 0, 0, 0, 0.0]))
    (6, 8)
    """
    return largest(find_pulses(time, force, PAUSE))


def largest(pulses: list[Pulse]) -> tuple[int, int]:
    """Choose the pulse that is taken for the burn until somebody says otherwise.

    Parameters
    ----------
    pulses : list of Pulse
        From `find_pulses`.

    Returns
    -------
    first, last : tuple of int
        Samples, from 0 [-].

    Notes
    -----
    The one with the most impulse [N s] of those that do not stand still, if there is one.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> largest([Pulse(2, 9, 5.0), Pulse(20, 90, 50.0, still=True)])
    (2, 9)
    """
    found = max(pulses, key=lambda pulse: (not pulse.still, pulse.impulse))
    return found.first, found.last


def burns(time: Floats, force: Floats) -> list[tuple[int, int]]:
    """Find all burns in a record, where several motors were fired into one file.

    Parameters
    ----------
    time, force : ndarray
        Record [s], [N], shape (N,), thrust upwards, any zero.

    Returns
    -------
    list of tuple of int
        First and last sample of each, from 0 [-], in order of time.

    Raises
    ------
    CalcError
        As `find_burn`.

    Notes
    -----
    As `find_burn`; a stretch with less than 2 % of the largest one's impulse is no motor. What stays below 5 % of the
    largest motor's peak is not seen.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> force = np.array([0, 0, 0, 0, 0, 0, 50, 90, 50, 0, 0, 0, 0, 0, 0, 40, 80, 40, 0, 0, 0, 0, 0, 0.0])
    >>> burns(np.arange(24.0), force)
    [(6, 8), (15, 17)]
    """
    return [(pulse.first, pulse.last) for pulse in motors(find_pulses(time, force, PAUSE))]


def motors(pulses: list[Pulse]) -> list[Pulse]:
    """Give the pulses that may each be a motor's.

    Parameters
    ----------
    pulses : list of Pulse
        From `find_pulses`.

    Returns
    -------
    list of Pulse
        Those with 2 % of the largest impulse [N s] at least that do not stand still; all that stand still, where
        nothing else is there.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> [pulse.first for pulse in motors([Pulse(2, 9, 5.0), Pulse(12, 13, 0.05), Pulse(20, 90, 50.0, still=True)])]
    [2]
    """
    moving = [pulse for pulse in pulses if not pulse.still] or pulses
    most = max(pulse.impulse for pulse in moving)
    return [pulse for pulse in moving if pulse.impulse >= _ANOTHER * most]


def find_pulses(time: Floats, force: Floats, pause: float = CHUFF) -> list[Pulse]:
    """Find all that rises above the zero of a record for more than a knock.

    Parameters
    ----------
    time, force : ndarray
        Record [s], [N], shape (N,), thrust upwards, any zero.
    pause : float
        What is less than this apart is one pulse [s].

    Returns
    -------
    list of Pulse
        In order of time, each with the impulse of its largest stretch [N s].

    Raises
    ------
    CalcError
        The force stands still, or nothing rises out of its noise.

    Notes
    -----
    Stretches above 5 % of the highest. Where that one is over within 0.05 s and something with more impulse lies below,
    it was a knock, and where it is three samples at most and something longer does, a stray one: it is left out, and
    the next highest counts. A pulse stands still if nine tenths
    of its middle stay within 1 % of its height, or four times the noise of the zero, for three seconds at least.

    References
    ----------
    5 %: NFPA 1125 (second hand). The rest: common practice, no source.

    Examples
    --------
    >>> force = np.array([0, 0, 0, 0, 0, 0, 50, 90, 50, 0, 0, 0, 0, 0, 0, 40, 80, 40, 0, 0, 0, 0, 0, 0.0])
    >>> [(pulse.first, pulse.last) for pulse in find_pulses(np.arange(24.0), force)]
    [(6, 8), (15, 17)]
    """
    return _grouped(time, force, _stretches(time, force), pause)


def pulses_and_burn(time: Floats, force: Floats) -> tuple[list[Pulse], tuple[int, int]]:
    """Find all pulses of a record and the burn in it, with one look at it.

    Parameters
    ----------
    time, force : ndarray
        Record [s], [N], shape (N,), thrust upwards, any zero.

    Returns
    -------
    pulses : list of Pulse
        As `find_pulses` gives them [N s].
    first, last : tuple of int
        As `find_burn` gives them [-].

    Raises
    ------
    CalcError
        As both.

    References
    ----------
    As both.

    Examples
    --------
    >>> force = np.array([0, 0, 0, 0, 0, 0, 50, 90, 50, 0, 0, 0, 0, 0, 0, 40, 80, 40, 0, 0, 0, 0, 0, 0.0])
    >>> pulses_and_burn(np.arange(24.0), force)[1]
    (6, 8)
    """
    found = _stretches(time, force)
    return _grouped(time, force, found, CHUFF), largest(_grouped(time, force, found, PAUSE))


@dataclass(frozen=True)
class _Stretches:
    """First and last sample of each stretch above 5 %, its impulse [N s]; the record's noise and zero [N]."""

    starts: np.ndarray
    stops: np.ndarray
    area: Floats
    noise: float
    zero: float


def _stretches(time: Floats, force: Floats) -> _Stretches:
    few = int(np.clip(time.size // 50, _FEW, 2000))
    ends = force[:few], force[-few:]
    levels = [float(np.median(end)) for end in ends]
    noise = min(float(np.std(end)) for end in ends)
    rise = _risen(time, force, levels, noise)
    peak = float(rise.max())
    if -float(rise.min()) > 3 * peak:
        raise CalcError("force_column", "falls where it should rise.", "Turn the sign.")
    if peak < _ABOVE_NOISE * noise:
        raise CalcError(
            "force_column",
            "never rises out of its noise.",
            "Choose another column, or a record with a quiet stretch before or after the burn.",
        )
    starts, stops, area = _without_knocks(time, rise, noise)
    kept = (area >= _STRAY * area.max()) & ((stops - starts >= 2) | (stops - starts == (stops - starts).max()))
    starts, stops, area = starts[kept], stops[kept], area[kept]
    return _Stretches(starts, stops, area, noise, min(levels))


def _grouped(time: Floats, force: Floats, found: _Stretches, pause: float) -> list[Pulse]:
    starts, stops = found.starts, found.stops
    apart = np.flatnonzero(time[starts[1:]] - time[stops[:-1]] >= pause) + 1
    pulses = []
    for group in np.split(np.arange(starts.size), apart):
        first, last = int(starts[group[0]]), int(stops[group[-1]])
        still = _rests(time, force, first, last, found.noise, found.zero)
        pulses.append(Pulse(first, last, float(found.area[group].max()), still))
    return pulses


def _risen(time: Floats, force: Floats, levels: list[float], noise: float) -> Floats:
    """A record over its zero, as far as its two ends tell it."""
    if not float(np.ptp(force)) > 0:
        raise CalcError("force_column", "stands still: every reading is the same.", "Choose another column.")
    rough = min(levels)
    if abs(levels[1] - levels[0]) < 0.2 * (float(force.max()) - rough):  # both quiet: the zero may drift between
        jumps = _jumps(time, force, levels, noise)
        if jumps is not None:
            return np.asarray(force - np.interp(time, time[jumps], levels))
        slope = (levels[1] - levels[0]) / (time[-1] - time[0])
        return np.asarray(force - (levels[0] + slope * (time - time[0])))
    return np.asarray(force - rough)


def _jumps(time: Floats, force: Floats, levels: list[float], noise: float) -> list[int] | None:
    """Between which samples a record goes from its first level to its last, if it keeps to either before and after."""
    some = slice(None, None, max(1, force.size // 4000))
    line = np.abs(force[some] - np.interp(time[some], (time[0], time[-1]), levels))
    steps = np.minimum(*(np.abs(force[some] - level) for level in levels))
    if float(np.quantile(line, _QUIET)) <= _TARED * float(np.quantile(steps, _QUIET)):
        return None
    near = [np.abs(force - level) <= 4 * noise for level in levels]
    leaves, comes = (np.flatnonzero(one[:-2] & one[1:-1] & one[2:]) for one in near)
    if not leaves.size or not comes.size:
        return None
    last = int(leaves[-1]) + 2
    comes = comes[comes >= last]
    return [last, int(comes[0])] if comes.size and comes[0] > last else None


def _above(time: Floats, rise: Floats) -> tuple[np.ndarray, np.ndarray, Floats]:
    """First and last sample of each stretch above 5 % of the highest, and its impulse."""
    above = np.r_[False, rise >= BURN_SHARE * float(rise.max()), False]
    edges = np.flatnonzero(above[1:] != above[:-1])
    starts, stops = edges[::2], edges[1::2] - 1
    impulse = running_impulse(time, np.maximum(rise, 0.0, out=rise))
    return starts, stops, impulse[np.minimum(stops + 1, time.size - 1)] - impulse[np.maximum(starts - 1, 0)]


def _without_knocks(time: Floats, rise: Floats, noise: float) -> tuple[np.ndarray, np.ndarray, Floats]:
    found = _above(time, rise)
    for _ in range(4):
        starts, stops, area = found
        stray = stops - starts < _STRAYS
        short = stray | (time[stops] - time[starts] <= KNOCK)
        if not short[int(np.searchsorted(starts, int(rise.argmax()), side="right")) - 1]:
            break
        rest = rise.copy()
        for a, b, few in zip(starts[short], stops[short], stray[short], strict=True):
            aside = 1 if few else max(1, int(np.searchsorted(time, time[b] + KNOCK / 2)) - b)
            rest[max(0, a - aside) : b + 1 + aside] = 0.0
        if float(rest.max()) <= _ABOVE_NOISE * noise:
            break
        below = _above(time, rest)
        lasts = (below[1] - below[0])[int(below[2].argmax())] > 3 * _STRAYS
        knocks = area[short & ~stray]
        if not lasts or (knocks.size and below[2].max() <= knocks.max()):
            break
        found, rise = below, rest
    return found


def _rests(time: Floats, force: Floats, first: int, last: int, noise: float, zero: float) -> bool:
    """Whether a stretch stands still on one level."""
    if time[last] - time[first] < RESTS:
        return False
    aside = (last - first) // 20
    middle = force[first + aside : last + 1 - aside]
    level = float(np.median(middle))
    return bool(np.mean(np.abs(middle - level) <= max(_STILL * abs(level - zero), 4 * noise)) >= _MOSTLY)
