"""Clock times along a drawing. Where nothing happens for hours the axis is broken, and says so."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise

from app import clock

BREAK = timedelta(hours=2)
"""A longer time without anything is left out of the axis."""

QUARTER_S = 900


@dataclass(frozen=True)
class Stretch:
    """An unbroken part of the axis: its moments, and where they lie as shares of the width."""

    first: datetime
    last: datetime
    start: float
    end: float

    def at(self, moment: datetime) -> float:
        """Where a moment lies."""
        whole = (self.last - self.first).total_seconds()
        share = (moment - self.first).total_seconds() / whole if whole else 0.0
        return self.start + share * (self.end - self.start)


@dataclass(frozen=True)
class TimeAxis:
    """Stretches in order of time, with a break between each two."""

    stretches: Sequence[Stretch]

    def at(self, moment: datetime) -> float:
        """Where a moment lies as a share of the width; one between two stretches in the break."""
        for stretch in self.stretches:
            if moment <= stretch.last:
                return max(stretch.at(moment), stretch.start)
        return self.stretches[-1].end

    @property
    def breaks(self) -> list[float]:
        """The middle of each break, as a share of the width."""
        return [(a.end + b.start) / 2 for a, b in pairwise(self.stretches)]

    def ticks(self, minutes: int) -> list[tuple[float, str]]:
        """Round clock times of the bench with their places, so many minutes apart."""
        found = []
        for stretch in self.stretches:
            begin, end = stretch.first.timestamp(), stretch.last.timestamp()
            if stretch.start == stretch.end:
                continue
            for quarter in range(-int(-begin // QUARTER_S), int(end // QUARTER_S) + 1):
                moment = datetime.fromtimestamp(quarter * QUARTER_S, UTC)
                local = clock.local(moment)
                if (local.hour * 60 + local.minute) % minutes == 0:
                    found.append((stretch.at(moment), f"{local:%H:%M}"))
        return found


def time_axis(
    moments: Iterable[datetime], aside: Iterable[datetime], left: float, right: float, gap: float, tail: float
) -> TimeAxis:
    """An axis from `left` to `right` with the moments on it, broken where nothing happens for hours.

    Those set aside stand in one column behind a break, with `tail` for it and its words; `gap` is a break's width. All
    are shares of the drawing's width. Raises ValueError without a moment.

    >>> evening = [datetime(2026, 11, 26, h, tzinfo=UTC) for h in (19, 20, 21)]
    >>> axis = time_axis(evening, [datetime(2026, 11, 27, 2, tzinfo=UTC)], 0.1, 0.9, 0.05, 0.15)
    >>> [round(axis.at(moment), 2) for moment in evening], [round(at, 3) for at in axis.breaks]
    ([0.1, 0.4, 0.7], [0.725])
    """
    ordered, column = sorted(set(moments)), sorted(set(aside))
    if not ordered:
        raise ValueError("an axis of time needs a moment")
    parts: list[list[datetime]] = [[ordered[0]]]
    for before, moment in pairwise(ordered):
        if moment - before > BREAK:
            parts.append([])
        parts[-1].append(moment)
    breaks = len(parts) - 1 + bool(column)
    widths = _shared(right - left - gap * breaks - tail * bool(column), parts, 2 * gap)
    stretches, start = [], left
    for part, width in zip(parts, widths, strict=True):
        stretches.append(Stretch(part[0], part[-1], start, start + width))
        start += width + gap
    if column:
        stretches.append(Stretch(column[0], column[-1], start, start))
    return TimeAxis(stretches)


def _shared(whole: float, parts: Sequence[Sequence[datetime]], least: float) -> list[float]:
    """A width shared out by lengths of time, each with a least width before that."""
    lengths = [(part[-1] - part[0]).total_seconds() for part in parts]
    rest, total = whole - least * len(parts), sum(lengths)
    return [least + (rest * length / total if total else rest / len(parts)) for length in lengths]
