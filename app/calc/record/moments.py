"""Times of samples out of what a logger's clock wrote: restarts, clocks that roll over, stamps repeated or mixed."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.calc.base.constants import Floats
from app.calc.base.errors import CalcError
from app.calc.record.columns import TIME_UNITS

FEW = 10
"""A stretch of fewer rows, apart from the others, is another table [-]: this book's choice."""

_APART = 10.0  # usual steps that part a stretch from the others
_STRAY = 3  # samples out of order at one place that are mixed lines; more are a clock that began again
_RARE = 0.1  # share of repeated stamps below which they are single lines written twice
_DAY, _HOUR = 86_400.0, 3600.0
_ALONE, _FAR = 3, 0.25  # rows that stand alone, over a hole of this share of the others' time
_MOST_FALLS = 200
_BACKWARDS = 0.8  # share of the steps that fall where the newest row comes first
_ENOUGH = 100_000  # steps that tell the usual one


@dataclass(frozen=True)
class Stretch:
    """A part of a record with one clock: its rows in the table, shape (N,), and seconds from its first one [s]."""

    rows: NDArray[np.intp]
    time: Floats


@dataclass(frozen=True)
class Moments:
    """The parts of a record in order, and what was done to its clock.

    `rolled` are rows at which the clock began at zero again because its number was full; `restarts` those at which it
    began again; `strays` rows out of order and `others` rows of another table, both left out; `repeated` counts
    stamps that stood in more than one row and were spread evenly; `backwards` tells that the newest row came first.
    """

    parts: tuple[Stretch, ...]
    rolled: tuple[int, ...] = ()
    restarts: tuple[int, ...] = ()
    strays: tuple[int, ...] = ()
    others: tuple[int, ...] = ()
    repeated: int = 0
    backwards: bool = False


def moments(column: Floats, unit: str, breaks: NDArray[np.int64] | None = None, clock: bool = False) -> Moments:
    """Give the times of samples from a column of them.

    Parameters
    ----------
    column : ndarray
        Times in the file's unit, shape (N,) [-].
    unit : str
        A key of `TIME_UNITS` [-].
    breaks : ndarray, optional
        Rows before which other lines stand [-].
    clock : bool
        Whether they are times of day [-].

    Returns
    -------
    Moments
        Parts, each with times that rise [s].

    Raises
    ------
    CalcError
        No time is later than another, or times fall again and again.

    Notes
    -----
    A fall from the top of a number of 32 or 16 bits (milliseconds or microseconds, in whatever unit they were written),
    of a day or of an hour, to its bottom joins; any other one begins a new part, except for at most three rows that
    fell out of order. Stamps that stand in several rows are those of a coarse clock: the rows between two of them are
    spread evenly over the step, those of the first and the last by the usual share of it. Fewer than ten rows behind
    other lines whose times do not go on are none of the record, nor are at most three at either end that a quarter of
    its time parts from the rest: totals, or a line that was cut at its beginning. Where nearly all times fall, the rows
    are turned round.

    References
    ----------
    Common practice of clocks that count in 32 bits, no source.

    Examples
    --------
    >>> found = moments(np.array([4294967290.0, 4294967294.0, 2.0, 6.0]), "ms")
    >>> (found.parts[0].time * 1000).round(6).tolist(), found.rolled
    ([0.0, 4.0, 8.0, 12.0], (2,))
    """
    scale = TIME_UNITS["s" if clock else unit]
    steps = np.diff(column)
    if column.size >= 2 * FEW and int((steps < 0).sum()) > _BACKWARDS * steps.size:
        return _turned(moments(column[::-1], unit, None, clock), column.size)
    if column.size < 2 or not (steps > 0).any():
        raise CalcError("time_column", "does not rise: every time in it is the same.", "Choose another column.")
    usual = _usual(steps)
    others = np.union1d(_other_tables(column, breaks, usual), _alone(column, usual)).astype(np.intp)
    if not (steps <= 0).any() and not others.size:
        return Moments((Stretch(np.arange(column.size), (column - column[0]) * scale),))
    rows = np.delete(np.arange(column.size), others)
    if int((steps < 0).sum()) > _MOST_FALLS + others.size:
        raise CalcError("time_column", "falls again and again, which no clock does.", "Choose another column.")
    values, rolled = _rolled(column[rows], usual, scale, clock)
    strays = _strays(values)
    rows, values = np.delete(rows, strays), np.delete(values, strays)
    falls = np.flatnonzero(np.diff(values) < 0) + 1
    parts, repeated = list[Stretch](), 0
    for some in np.split(np.arange(values.size), falls):
        time, spread = _spread(values[some])
        repeated += spread
        parts.append(Stretch(rows[some], (time - time[0]) * scale))
    at = np.delete(np.arange(column.size), others)
    return Moments(
        tuple(parts),
        rolled=tuple(int(at[i]) for i in rolled),
        restarts=tuple(int(rows[i]) for i in falls),
        strays=tuple(int(at[i]) for i in strays),
        others=tuple(int(i) for i in others),
        repeated=repeated,
    )


def milliseconds_of(clock: Floats, column: Floats) -> bool:
    """Tell whether a column holds the milliseconds of a clock of whole seconds.

    Parameters
    ----------
    clock, column : ndarray
        Times of day [s], and what stands beside them [-], shape (N,).

    Returns
    -------
    bool
        Whether it runs from 0 to below 1000, and begins again wherever the clock goes on, and only there.

    Notes
    -----
    Three whole seconds at least must show it.

    Examples
    --------
    >>> milliseconds_of(np.array([7.0, 7.0, 8.0, 8.0, 9.0, 9.0]), np.array([250.0, 750.0] * 3))
    True
    """
    goes_on, falls = np.diff(clock) != 0, np.diff(column) < 0
    whole = column.min() >= 0 and column.max() < 1000 and (clock == np.round(clock)).all()
    return bool(whole and goes_on.sum() >= 2 and (goes_on == falls).all() and np.ptp(column) > 300)


def _other_tables(column: Floats, breaks: NDArray[np.int64] | None, usual: float) -> NDArray[np.intp]:
    """Rows of short stretches behind other lines whose times do not go on from the rest."""
    if breaks is None or len(breaks) < 2:
        return np.empty(0, np.intp)
    edges = np.r_[breaks, column.size]
    lengths = np.diff(edges)
    main = int(lengths.argmax())
    if lengths[main] < 2 * FEW:
        return np.empty(0, np.intp)
    out: list[int] = []
    before = main
    for i in [*range(main - 1, -1, -1), *range(main + 1, len(lengths))]:
        before = main if i == main + 1 else before
        near, far = (edges[before], edges[i + 1] - 1) if i < main else (edges[i], edges[before + 1] - 1)
        step = column[near] - column[far]
        if lengths[i] < FEW and not -_APART * usual <= step <= _APART * usual:
            out += range(edges[i], edges[i + 1])
        else:
            before = i
    return np.array(sorted(out), np.intp)


def _turned(found: Moments, size: int) -> Moments:
    """What was found in rows that were turned round, by their own numbers."""

    def own(rows: tuple[int, ...]) -> tuple[int, ...]:
        return tuple(size - 1 - row for row in rows)

    return Moments(
        tuple(Stretch(size - 1 - part.rows, part.time) for part in found.parts),
        rolled=own(found.rolled),
        restarts=own(found.restarts),
        strays=own(found.strays),
        others=own(found.others),
        repeated=found.repeated,
        backwards=True,
    )


def _usual(steps: Floats) -> float:
    """The usual step of a clock, of those that rise."""
    some = steps[:: max(1, steps.size // _ENOUGH)]
    some = some[some > 0]
    return float(np.median(some if some.size else steps[steps > 0]))


def _alone(column: Floats, usual: float) -> NDArray[np.intp]:
    """Rows at either end that stand alone, far from all others."""
    if column.size < 2 * FEW:
        return np.empty(0, np.intp)
    ends = np.arange(_ALONE)
    out: list[int] = []
    for rows, to_others in ((ends[::-1], 1), (column.size - 1 - ends[::-1], -1)):
        for row in rows:
            inner = column[row + to_others :: to_others] if to_others > 0 else column[:row]
            hole = (column[row + to_others] - column[row]) * to_others
            if hole > max(_APART * usual, _FAR * abs(float(inner[-1] - inner[0]))):
                out += range(row + 1) if to_others > 0 else range(row, column.size)
                break
    return np.array(sorted(out), np.intp)


def _rolled(values: Floats, usual: float, scale: float, clock: bool) -> tuple[Floats, list[int]]:
    """Values without the falls of a number that was full, and where these were."""
    full = [_DAY, _HOUR] if clock else [2.0**32 / shift for shift in (1.0, 1e3, 1e6)]
    full += [2.0**16] if not clock and 100 * usual + 1 / scale < 2.0**13 else []
    out, at = values, list[int]()
    for i in np.flatnonzero(np.diff(values) < 0) + 1:
        near = 100 * usual + 1 / scale  # a hole of a second may lie across it
        last = values.size - i <= _ALONE  # as totals do, a few rows at the end must go on at once
        for size in full:
            goes_on = not last or values[i] + size - values[i - 1] < _APART * usual
            if goes_on and 0 <= values[i] < near and size - near < values[i - 1] <= size:
                if out is values:
                    out = values.copy()
                out[i:] += size
                at.append(int(i))
                break
    return out, at


def _strays(values: Floats) -> NDArray[np.intp]:
    """Rows that fell behind the one before them, where at most three of them stand together and the clock goes on."""
    out: list[int] = []
    for i in np.flatnonzero(np.diff(values) < 0) + 1:
        later = np.flatnonzero(values[i : i + _STRAY + 1] >= values[i - 1])
        if later.size:
            out += range(int(i), int(i + later[0]))
    return np.array(sorted(set(out)), np.intp)


def _spread(values: Floats) -> tuple[Floats, int]:
    """Times with repeated ones spread over the step to the next, and how many were repeated."""
    first = np.flatnonzero(np.r_[True, np.diff(values) > 0])
    repeated = values.size - first.size
    if not repeated or first.size < 2:
        return (values if first.size > 1 else np.arange(values.size) * 0.0 + values[0]), repeated
    stamps = values[first]
    step = float(np.median(np.diff(stamps)))
    counts = np.diff(np.r_[first, values.size])
    share = step / max(float(np.median(counts[1:-1])) if counts.size > 2 else float(counts.max()), 1.0)
    if counts[0] > 1 and repeated >= _RARE * values.size:
        stamps = np.r_[stamps[1] - counts[0] * share, stamps[1:]]
    # Over a hole the rows keep their usual distance and the hole stays one.
    reach = np.where(np.diff(stamps) > 1.5 * step, counts[:-1] * share, np.diff(stamps))
    pace = np.r_[reach / counts[:-1], share]
    return stamps.repeat(counts) + (np.arange(values.size) - first.repeat(counts)) * pace.repeat(counts), repeated
