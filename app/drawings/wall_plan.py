"""A season's weeks as one picture for the wall: a row to each week, Monday to Sunday, with what is on each day.

Evenings, tests, field days and deliveries are marks with their words; cures are shaded bars under the days they last;
days off are hatched. Where the place is narrow the words stand under their week.

>>> from datetime import date, timedelta
>>> monday = date(2026, 11, 30)
>>> melt = WallMark("melt", "5 Gull 54")
>>> week = [WallDay(monday + timedelta(days=n), marks=(melt,) if n == 1 else ()) for n in range(7)]
>>> print(wall_plan([week], [WallCure(date(2026, 12, 1), date(2026, 12, 7))], "Winter"))  # doctest: +ELLIPSIS
<div class="drawing to-scale wall-plan"><svg ...
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from markupsafe import Markup

from app.drawings.season_line import SHAPES
from app.drawings.sheet import Drawn, at, box, clipped, drawing, em, hatched, pc, put, room, scaled
from app.drawings.to_scale import FORMS, folded, together
from app.pens import line

MarkKind = Literal["melt", "test", "flight", "delivery"]

MARKS: dict[MarkKind, tuple[str, str, str]] = {
    "melt": (SHAPES["melt"], "pan", "cast"),
    "test": (SHAPES["test"], "diamond", "static test"),
    "flight": (SHAPES["flight"], "rocket", "field day"),
    "delivery": ("M-8,-6H8V7H-8ZM-8,-1H8", "box", "delivery"),
}
"""The shape of each mark in a box of 20 × 20, what it looks like, and what it is."""

WALL_FORMS = FORMS | {"poster": 78.0}
"""The least width that each form is shown at [em], as static/css/wall.css has it."""

ROOMY = 60.0
"""From this width on words stand in their days' own cells [em]."""

SIDE, DATE, WORDS, BAR = 0.95, 1.35, 1.2, 1.3
"""Side of a mark, and heights of a date, a line of words and a cure's bar [em]."""

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


@dataclass(frozen=True)
class WallMark:
    """Something on a day, its words, and whether it is done."""

    kind: MarkKind
    words: str
    done: bool = False


@dataclass(frozen=True)
class WallDay:
    """A day: whether it lies in the season, is today or free for casting, why it is off (said where `off_begins`)."""

    on: date
    marks: tuple[WallMark, ...] = ()
    inside: bool = True
    today: bool = False
    free: bool = False
    off: str = ""
    off_begins: bool = False


@dataclass(frozen=True)
class WallCure:
    """Grains that cure from the evening of a day until the end of another."""

    first: date
    last: date


def wall_plan(weeks: Sequence[Sequence[WallDay]], cures: Sequence[WallCure], title: str, least: float = 1.7) -> Markup:
    """The picture; `least` is the least height of a week [em]."""

    def form(_name: str, width: float) -> Drawn:
        return _Plan(weeks, cures, width, least).drawn()

    return drawing("to-scale wall-plan", title, _in_words(weeks), form, WALL_FORMS)


def height(weeks: Sequence[Sequence[WallDay]], cures: Sequence[WallCure], least: float = 1.7) -> float:
    """How high the picture is in its widest form [em]."""
    return _Plan(weeks, cures, WALL_FORMS["poster"], least).drawn().height


def _in_words(weeks: Sequence[Sequence[WallDay]]) -> str:
    said = [
        f"{_day(day.on)}: {MARKS[mark.kind][2]}, {mark.words}{', done' if mark.done else ''}."
        for week in weeks
        for day in week
        for mark in day.marks
    ]
    return " ".join([f"{len(weeks)} weeks from {_day(weeks[0][0].on)} {weeks[0][0].on.year}.", *said])


def _day(day: date) -> str:
    return f"{day.day} {day:%b}"


class _Plan:
    """The picture at one width [em]."""

    def __init__(
        self, weeks: Sequence[Sequence[WallDay]], cures: Sequence[WallCure], width: float, least: float
    ) -> None:
        self.weeks, self.width, self.least = weeks, width, least
        self.in_cells, self.dated = width >= ROOMY, width >= 20
        self.left = 4.3 if self.in_cells else 3.4 if self.dated else 2.4
        self.cell = (width - self.left) / 7
        self.lanes: list[list[WallCure]] = []
        for cure in sorted(cures, key=lambda one: (one.first, one.last)):
            free = next((lane for lane in self.lanes if lane[-1].last < cure.first), None)
            if free is None:
                free = []
                self.lanes.append(free)
            free.append(cure)

    def x(self, place: float) -> float:
        """So many days into a week, as a share of the width."""
        return (self.left + place * self.cell) / self.width

    def drawn(self) -> Drawn:
        """All weeks below each other, and the key."""
        ground: list[Markup] = []
        ink: list[Markup] = []
        for number, name in enumerate(DAYS):
            words = name if self.dated else name[0]
            ink.append(at(pc(self.x(number)), "0", put(words, em(0.3 if self.dated else 0.15), 0.7, "muted")))
        level = 1.4
        for number, week in enumerate(self.weeks):
            level = self._week(number, week, level, ground, ink)
        ground += self._grid(1.4, level) if self.in_cells else ()
        ink.append(line(pc(self.x(0)), em(level), "100%", em(level), "axis"))
        told = [f"{shape}: {what}" for _, shape, what in MARKS.values()]
        key = folded(
            together([*told, "shade: cure", "small pan: free evening", "hatched: off", "filled: done"]), self.width
        )
        ink += [put(text, "0", level + 0.9 + WORDS * n, "muted") for n, text in enumerate(key)]
        return Drawn([*ground, *ink], level + 0.4 + WORDS * len(key))

    def _week(self, number: int, week: Sequence[WallDay], top: float, ground: list[Markup], ink: list[Markup]) -> float:
        """Draw a week from a level on; where it ends [em]."""
        told = [list(self._told(day)) for day in week]
        lines = max((sum(len(words) for _, words, _ in one) for one in told), default=0)
        under = [] if self.in_cells else self._under(week)
        bars = self._bars(week)
        marks = any(day.marks or day.free for day in week) and not self.in_cells
        head = DATE if self.dated else 0.25
        depth = max((place + 1 for place, _, _, _ in bars), default=0) * BAR
        high = head + (lines * WORDS if self.in_cells else 1.2 * marks) + depth + 0.15
        bottom = top + max(high, self.least)
        for place, day in enumerate(week):
            self._ground(place, day, top, bottom, ground)
            ink += self._edges(number, place, day, top, bottom)
        ground.append(line(pc(self.x(0)), em(top), "100%", em(top), "axis"))
        ground += self._grid(top, bottom) if not self.in_cells else ()
        for lane, start, end, until in bars:
            y = top + head + (lines * WORDS if self.in_cells else 1.2 * marks) + lane * BAR
            wide = self.x(end) - self.x(start)
            ground.append(box(pc(self.x(start)), em(y), pc(wide), em(BAR - 0.15), "cure"))
            words = f"cures until {_day(until)}"
            if self.in_cells and room(words) + 0.6 < wide * self.width:
                ink.append(at(pc(self.x(start)), "0", put(words, em(0.3), y + (BAR - 0.15) / 2, "muted on-bar")))
        for place, (day, one) in enumerate(zip(week, told, strict=True)):
            ink += self._cell(place, day, one, top)
        ink += self._label(number, week, top)
        for words in under:
            ink.append(at(pc(self.x(0)), "0", put(words, em(0.3), bottom + 0.55, "")))
            bottom += WORDS
        return bottom + 0.2 * bool(under)

    def _told(self, day: WallDay) -> Iterator[tuple[WallMark | None, list[str], str]]:
        """What stands in a day's cell: a mark, its words in lines, how they are written."""
        if not self.in_cells:
            return
        wide = self.cell - 0.4
        for mark in day.marks:
            css = "strong" if mark.kind in ("melt", "flight") else ""
            words = folded(mark.words, wide - SIDE - 0.2, bold=bool(css))
            yield mark, [clipped(one, wide - SIDE - 0.2, bold=bool(css)) for one in words], css
        if day.off and day.off_begins:
            yield None, [clipped(one, wide) for one in folded(day.off, wide)], "muted"

    def _under(self, week: Sequence[WallDay]) -> list[str]:
        """A week's words below it, where its cells have no room for them."""
        wide = self.width - self.left - 0.5
        said = [f"{day.on:%a} {day.on.day}: {'; '.join(one.words for one in day.marks)}" for day in week if day.marks]
        said += [day.off for day in week if day.off and day.off_begins]
        return [clipped(line_, wide) for one in said for line_ in folded(one, wide)]

    def _bars(self, week: Sequence[WallDay]) -> list[tuple[int, float, float, date]]:
        """Lane, start and end within the week [days], and last day of each cure in it."""
        first, last = week[0].on, week[-1].on
        return [
            (lane, max((cure.first - first).days + 0.6, 0.0), min((cure.last - first).days + 1.0, 7.0), cure.last)
            for lane, cures in enumerate(self.lanes)
            for cure in cures
            if cure.first <= last and cure.last >= first and (cure.last > cure.first)
        ]

    def _ground(self, place: int, day: WallDay, top: float, bottom: float, ground: list[Markup]) -> None:
        where = pc(self.x(place)), em(top), pc(self.cell / self.width), em(bottom - top)
        if day.off:
            ground.append(hatched(*where, "hatched"))
        elif not day.inside:
            ground.append(box(*where, "outside"))
        elif day.on.isoweekday() > 5:
            ground.append(box(*where, "stripe"))
        if any(mark.kind == "flight" for mark in day.marks):
            ground.append(box(*where, "field-day"))

    def _grid(self, top: float, bottom: float) -> Iterator[Markup]:
        """Thin lines between the days."""
        for place in range(8):
            yield line(pc(self.x(place)), em(top), pc(self.x(place)), em(bottom), "axis")

    def _edges(self, number: int, place: int, day: WallDay, top: float, bottom: float) -> Iterator[Markup]:
        """Strong lines where a month begins; a frame round today."""
        left, right = pc(self.x(place)), pc(self.x(place + 1))
        if number and (day.on - timedelta(days=7)).month != day.on.month:
            yield line(left, em(top), right, em(top), "month")
        if place and day.on.day == 1:
            yield line(left, em(top), left, em(bottom), "month")
        if day.today:
            yield box(left, em(top), pc(self.cell / self.width), em(bottom - top), "today")

    def _cell(
        self, place: int, day: WallDay, told: Sequence[tuple[WallMark | None, list[str], str]], top: float
    ) -> Iterator[Markup]:
        x = pc(self.x(place))
        if self.dated:
            words = _day(day.on) if self.in_cells and day.on.day == 1 else f"{day.on.day}"
            yield at(x, "0", put(words, em(0.3), top + 0.75, "now" if day.today else "muted"))
        if self.in_cells and day.free and not any(mark.kind == "melt" for mark in day.marks):
            corner = at(
                pc(self.x(place + 1)), em(top + 0.7), at(em(-0.75), "0", scaled(SHAPES["melt"], "mark free", 0.7))
            )
            yield corner
        level = top + DATE
        for mark, lines, css in told:
            start = 0.3
            if mark is not None:
                yield at(x, em(level + WORDS / 2), at(em(0.3 + SIDE / 2), "0", self._mark(mark)))
                start += SIDE + 0.2
            for number, words in enumerate(lines):
                yield at(x, "0", put(words, em(start), level + WORDS * (number + 0.5), css))
            level += WORDS * len(lines)
        middle = pc(self.x(place + 0.5)), em(top + (DATE if self.dated else 0.25) + 0.6)
        if not self.in_cells and day.marks:
            yield at(*middle, self._mark(day.marks[0], 0.8))
        elif not self.in_cells and day.free:
            yield at(*middle, scaled(SHAPES["melt"], "mark free", 0.6))

    def _mark(self, mark: WallMark, side: float = SIDE) -> Markup:
        return scaled(MARKS[mark.kind][0], f"mark {'done' if mark.done else 'next'}", side)

    def _label(self, number: int, week: Sequence[WallDay], top: float) -> Iterator[Markup]:
        """The month that begins in a week, and the week's number."""
        first = next((day.on for day in week if day.on.day == 1), week[0].on if number == 0 else None)
        if first is not None:
            yield put(f"{first:%b}", "0", top + 0.75, "strong")
        if self.in_cells:
            yield put(str(week[0].on.isocalendar().week), em(self.left - 0.3), top + 0.75, "muted end")
