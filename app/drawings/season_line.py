"""A season as a time line of weeks: melts with their cures, static tests, flights, and today.

Filled is done, an outline is planned. A day is one of the bench's calendar.

>>> from datetime import date
>>> season = [
...     Happening("melt", date(2027, 2, 18), "melt 1, 4 Gull", until=date(2027, 2, 25)),
...     Happening("test", date(2027, 3, 13), "static test"),
...     Happening("flight", date(2027, 5, 9), "Dunlin"),
... ]
>>> print(season_line(season, date(2027, 2, 8)))  # doctest: +ELLIPSIS
<div class="drawing to-scale season-line"><svg ...
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from typing import Literal

from markupsafe import Markup

from app.drawings.sheet import Drawn, Lane, at, box, clipped, drawing, em, pc, put, room, scaled
from app.drawings.to_scale import FORMS, LINE, folded, together
from app.pens import line

Kind = Literal["melt", "test", "flight", "limit"]

SHAPES: dict[Kind, str] = {
    "melt": "M-9,-7H9L6,8H-6Z",
    "test": "M0,-9L9,0L0,9L-9,0Z",
    "flight": "M0,-10C4,-6 4,-2 4,3L8,10H-8L-4,3C-4,-2 -4,-6 0,-10Z",
    "limit": "",
}
"""A pan, a diamond and a rocket, in a box of 20 × 20; a limit is a line through all."""

WORDS: dict[Kind, str] = {"melt": "melt", "test": "static test", "flight": "flight", "limit": "limit"}

KEY = (("melt", "pan: melt"), ("cure", "shade: cure"), ("test", "diamond: static test"), ("flight", "rocket: flight"))

NARROW = 1.0
"""Narrower weeks than this are drawn as months [em]."""

ROW, SIDE = 1.7, 0.95
"""Height of a row and side of a mark [em]."""


@dataclass(frozen=True)
class Happening:
    """Something on a day: what, the words beside it, whether it is done, and until when what it began cures."""

    kind: Kind
    on: date
    words: str = ""
    done: bool = False
    until: date | None = None


def season_line(happenings: Sequence[Happening], today: date, title: str = "Time line of the season") -> Markup:
    """Melts in as many rows as their cures need, tests and flights below, weeks or months along, today as a line."""

    def form(_name: str, width: float) -> Drawn:
        return _form(happenings, today, width)

    return drawing("to-scale season-line", title, _in_words(happenings, today), form, FORMS)


def _day(day: date) -> str:
    return f"{day.day} {day:%b}"


def _in_words(happenings: Sequence[Happening], today: date) -> str:
    said = [f"Today is {_day(today)} {today.year}."]
    for one in sorted(happenings, key=lambda h: h.on):
        cure = f", cures until {_day(one.until)}" if one.until else ""
        state = "" if one.kind == "limit" else ", done" if one.done else ", planned"
        said.append(f"{_day(one.on)}: {one.words or WORDS[one.kind]}{cure}{state}.")
    return " ".join(said) if happenings else f"{said[0]} Nothing is planned yet."


# --- One form ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Days:
    """Days along the drawing, as shares of its width."""

    first: date
    last: date
    width: float

    def at(self, day: date) -> float:
        """Where a day begins."""
        inset = 0.7 / self.width
        return inset + (1 - 2 * inset) * (day - self.first).days / (self.last - self.first).days

    def em(self, day: date) -> float:
        """The same in letters' sizes."""
        return self.at(day) * self.width


def _form(happenings: Sequence[Happening], today: date, width: float) -> Drawn:
    days = [today, *(one.on for one in happenings), *(one.until for one in happenings if one.until)]
    first = min(days) - timedelta(days=min(days).weekday())
    last = max(max(days) + timedelta(days=7 - max(days).weekday()), first + timedelta(days=28))
    axis = _Days(first, last, width)
    rows = _rows(happenings, axis)
    foot = 1.6 + ROW * max(len(rows), 1) + 0.2
    parts = [*_weeks(axis, foot)]
    limits = [one for one in happenings if one.kind == "limit"]
    for one in limits:
        parts.append(line(pc(axis.at(one.on)), em(1.4), pc(axis.at(one.on)), em(foot), "limit"))
    parts.append(line(pc(axis.at(today)), em(1.4), pc(axis.at(today)), em(foot + 0.3), "now-line"))
    left_out: list[tuple[date, str]] = []
    lines = [axis.em(day) for day in (today, *(one.on for one in limits))]
    for number, row in enumerate(rows):
        lane = Lane(width)
        for x in lines:
            lane.take(x - 0.12, x + 0.12)
        drawn, more = _row(row, axis, lane, lines, 1.6 + ROW * (number + 0.5))
        parts += drawn
        left_out += more
    parts += _foot(axis, today, limits, foot)
    level = foot + 1.6
    rest = folded(together(words for _, words in sorted(left_out)), width) if left_out else []
    parts += [put(text, "0", level + 0.5 + LINE * number, "") for number, text in enumerate(rest)]
    level += LINE * len(rest)
    seen = {one.kind for one in happenings}
    cures = any(one.until for one in happenings)
    told = [words for kind, words in KEY if kind in seen or (kind == "cure" and cures)]
    key = folded(together([*told, "filled: done"]), width)
    key = key if happenings else folded("nothing is planned yet", width)
    parts += [put(text, "0", level + 0.5 + LINE * number, "muted") for number, text in enumerate(key)]
    return Drawn(parts, level + LINE * len(key) + 0.2)


def _rows(happenings: Sequence[Happening], axis: _Days) -> list[list[Happening]]:
    """Melts in as few rows as keep mark, cure and words apart, then tests, then flights."""
    rows: list[list[Happening]] = []
    for kinds, most in ((("melt",), 4), (("test",), 1), (("flight",), 2)):
        mine: list[tuple[float, list[Happening]]] = []
        for one in sorted((h for h in happenings if h.kind in kinds), key=lambda h: h.on):
            x, wide = axis.em(one.on), SIDE + room(one.words)
            at_edge = x + wide > axis.width  # its words stand before it
            start = x - wide if at_edge else x - SIDE / 2
            end = max(axis.em(one.until or one.on), x + (SIDE / 2 if at_edge else wide)) + 0.4
            free = next((i for i, (taken, _) in enumerate(mine) if taken <= start), None)
            if free is None and len(mine) < most:
                mine.append((0.0, []))
                free = len(mine) - 1
            if free is None:
                free = min(range(len(mine)), key=lambda i: mine[i][0])
            mine[free] = (max(end, mine[free][0]), [*mine[free][1], one])
        rows += [row for _, row in mine]
    return rows


def _row(
    row: Sequence[Happening], axis: _Days, lane: Lane, lines: Sequence[float], level: float
) -> tuple[list[Markup], list[tuple[date, str]]]:
    """A row's cures, marks and words, and what had no room for its words."""
    parts, left_out = [], []
    for one in row:
        x = axis.em(one.on)
        lane.take(x - SIDE / 2, x + SIDE / 2)
        if one.until and one.until > one.on:
            wide = axis.at(one.until) - axis.at(one.on)
            parts.append(box(pc(axis.at(one.on)), em(level - 0.6), pc(wide), em(1.2), "cure"))
    for one in row:
        place = pc(axis.at(one.on))
        parts.append(at(place, em(level), scaled(SHAPES[one.kind], f"mark {'done' if one.done else 'next'}", SIDE)))
        found = _beside(axis.em(one.on), one.words, lane, lines) if one.words else None
        if found:
            anchor, x, css = found
            parts.append(at(pc(anchor / axis.width), "0", put(one.words, em(x - anchor), level, css)))
        elif one.words:
            left_out.append((one.on, f"{_day(one.on)}: {one.words}"))
    return parts, left_out


def _beside(x: float, words: str, lane: Lane, lines: Sequence[float]) -> tuple[float, float, str] | None:
    """Where a mark's words have room, beside it or behind a line in their way: by what, where, which end."""
    wide = room(words) + 0.1
    after = [at_line for at_line in lines if x < at_line < x + wide]
    places = [(x, SIDE / 2 + 0.25), *((at_line, 0.35) for at_line in after)]
    for anchor, gap in places:
        start = anchor + gap
        if anchor != x and not lane.free(start, start + wide + 1.2):
            continue  # they would be read as the next mark's
        if found := lane.beside(anchor, wide, gap):
            return anchor, *found
    return None


def _weeks(axis: _Days, foot: float) -> Iterator[Markup]:
    """Weeks as a ground of stripes with their first days above, or months where weeks are too narrow."""
    weeks = [axis.first + timedelta(days=7 * number) for number in range((axis.last - axis.first).days // 7 + 1)]
    by_month = axis.width / len(weeks) < NARROW
    starts = _months(axis) if by_month else weeks
    lane = Lane(axis.width)
    for number, (start, end) in enumerate(pairwise(starts)):
        if number % 2:
            yield box(pc(axis.at(start)), em(1.4), pc(axis.at(end) - axis.at(start)), em(foot - 1.4), "stripe")
        words = (
            f"{start:%b} {start.year}" if by_month and start.month == 1 else f"{start:%b}" if by_month else _day(start)
        )
        x, wide = axis.em(start), room(words)
        if lane.free(x, x + wide):
            lane.take(x, x + wide + 0.7)
            yield put(words, pc(axis.at(start)), 0.7, "muted")
            yield line(pc(axis.at(start)), em(1.2), pc(axis.at(start)), em(1.4), "axis")
    yield line("0", em(1.4), "100%", em(1.4), "axis")
    yield line("0", em(foot), "100%", em(foot), "axis")


def _months(axis: _Days) -> list[date]:
    """Where months begin on the axis, with its two ends."""
    first = axis.first.year * 12 + axis.first.month - (axis.first.day == 1)
    last = axis.last.year * 12 + axis.last.month - 1
    begun = {date(month // 12, month % 12 + 1, 1) for month in range(first, last + 1)}
    return sorted({axis.first, *begun, axis.last})


def _foot(axis: _Days, today: date, limits: Sequence[Happening], foot: float) -> Iterator[Markup]:
    """Today and the limits by name, at the foot of their lines."""
    lane = Lane(axis.width)
    named = [
        (today, "today", "now"),
        *((one.on, f"{one.words} {_day(one.on)}".strip(), "limit-name") for one in limits),
    ]
    for day, words, css in named:
        words = clipped(words, axis.width * 0.6, bold=True)
        wide, x = room(words, bold=True), axis.em(day)
        middle = min(max(x, wide / 2 + 0.1), axis.width - wide / 2 - 0.1)
        if lane.centred(middle, wide + 0.4) or lane.centred(min(x + 0.3 + wide / 2, axis.width - wide / 2), wide):
            start = lane.taken[-1]
            yield at(pc(axis.at(day)), "0", put(words, em(sum(start) / 2 - x), foot + 0.9, f"{css} middle"))
