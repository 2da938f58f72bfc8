"""The time line of an evening: the pan on top, each set of grains below it, every act at its clock time."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from markupsafe import Markup

from app import clock
from app.drawings.marks import WORDS, Kind, State, mark
from app.drawings.sheet import Drawn, Lane, at, box, clipped, drawing, em, pc, put, room
from app.drawings.time_axis import TimeAxis, time_axis
from app.pens import line

MOST = 6
"""Rows that a screen at the bench has room for below what is in front."""

ABOUT = "≈"
"""Before a clock time that is an estimate."""


@dataclass(frozen=True)
class Act:
    """Something done at a moment: done, due now, to come (next) or passed over.

    `label` is a short word for it; without one it is the kind's own.
    """

    kind: Kind
    at: datetime
    state: State
    estimate: bool = False
    label: str = ""

    @property
    def words(self) -> str:
        """What it is called."""
        return self.label or WORDS[self.kind].capitalize()

    @property
    def clock(self) -> str:
        """When, by the bench's clock."""
        return f"{ABOUT if self.estimate else ''}{clock.local(self.at):%H:%M}"


@dataclass(frozen=True)
class Row:
    """A line of the evening, such as the pan or a set; its acts in runs, one for each melt that was in the pan."""

    name: str
    runs: Sequence[Sequence[Act]]
    pan: bool = False

    @property
    def acts(self) -> list[Act]:
        """All of them, in order of time."""
        return sorted((act for run in self.runs for act in run), key=lambda act: act.at)


def evening_line(rows: Sequence[Row], now: datetime | None, title: str = "Time line of the evening") -> Markup:
    """Everything that was done, is due and comes, in one picture with a line for now; none where it is over.

    A set is joined to the row of a pan above it at its pour. What comes hours later stands behind a break of the axis.
    With more than `MOST` rows the sets of which only the bagging is left share one. ValueError without act or now.
    """
    drawn = _folded(rows) if len(rows) > MOST else rows
    return drawing("evening-line", title, _in_words(rows, now), lambda name, width: _form(drawn, now, name, width))


def _folded(rows: Sequence[Row]) -> list[Row]:
    """The rows, those that wait for their bagging or are bagged as one; what is due of it now is not hidden there."""
    quiet = [row for row in rows if not row.pan and row.acts and all(_waits(act) for act in row.acts)]
    if len(quiet) < 2:
        return list(rows)
    left = sum(any(act.state == "next" for act in row.acts) for row in quiet)
    one = Row(f"{left} to bag" if left else f"{len(quiet)} bagged", [run for row in quiet for run in row.runs])
    at = next(i for i, row in enumerate(rows) if row is quiet[0])
    return [*rows[:at], one, *(row for row in rows[at:] if not any(row is other for other in quiet))]


def _waits(act: Act) -> bool:
    return act.state in ("done", "skipped") or (act.kind == "bag" and act.state == "next")


def _in_words(rows: Sequence[Row], now: datetime | None) -> str:
    said = [f"It is {clock.local(now):%H:%M}."] if now else []
    for row in rows:
        acts = row.acts
        done = [f"{a.words.lower()} {a.clock}" for a in acts if a.state == "done"]
        due = [f"{a.words.lower()} {a.clock}, {_late(a, now)}".removesuffix(", ") for a in acts if a.state == "now"]
        to_come = [f"{a.words.lower()} {a.clock}" for a in acts if a.state == "next"]
        left = [f"{a.words.lower()} {a.clock}" for a in acts if a.state == "skipped"]
        parts = [("done", done), ("now", due), ("next", to_come), ("passed over", left)]
        told = "; ".join(f"{name}: {', '.join(found)}" for name, found in parts if found)
        said.append(f"{row.name}: {told or 'nothing yet'}.")
    if any(act.estimate for row in rows for act in row.acts):
        said.append(f"{ABOUT} is an estimate.")
    return " ".join(said)


def _told(act: Act, now: datetime | None) -> list[str]:
    """What is said beside an act, the shorter the less room there is."""
    if act.state == "done":
        return [act.clock]
    if late := _late(act, now):
        return [f"{act.words} {late}", late, act.words, "late"]
    if act.state == "now":
        return [f"{act.words} {act.clock}", act.words, act.clock]
    return [f"{act.words} {act.clock}", act.clock]


def _late(act: Act, now: datetime | None) -> str:
    """How late what is due now is, in words; nothing within its minute."""
    minutes = int((now - act.at).total_seconds() // 60) if now and act.state == "now" else 0
    if minutes < 1:
        return ""
    return f"{minutes} min late" if minutes < 120 else f"{minutes // 60} h late"


# --- One form ------------------------------------------------------------------------------------

ASIDE = timedelta(minutes=30)
"""Bagging so long after now and all else stands behind a break."""

CLOSE = 4
"""With more rows their lines are closer together."""

FEW = 2
"""So many rows have their names above their lines where the drawing is not wide."""


@dataclass(frozen=True)
class _Plan:
    """The measures of a form [em]: its width, the room for names, a row's height and a mark's side."""

    width: float
    names: float
    row: float
    side: float
    named_above: bool
    tail_words: bool

    def level(self, number: int) -> float:
        """The height of a row's line."""
        return self.row * number + (self.row - 0.6 if self.named_above else self.row / 2)

    def beside_names(self, rows: int, foot: float) -> list[tuple[float, float]]:
        """Where a line through all rows runs: down to the foot, and not through what stands above a row's line."""
        if not self.named_above:
            return [(0.0, foot)]
        levels = [self.level(number) for number in range(rows)]
        return [(at - 0.55, at + 0.55) for at in levels[:-1]] + [(at - 0.55, foot) for at in levels[-1:]]


def _plan(rows: Sequence[Row], name: str, width: float) -> _Plan:
    above = name in ("slim", "small") or (name == "mid" and len(rows) <= FEW)
    names = 0.0 if above else min(max((room(row.name) for row in rows), default=0.0) + 0.6, width * 0.27)
    side = {"wide": 0.8, "mid": 0.75, "small": 0.7, "slim": 0.62}[name]
    row = 2.3 if above else 1.35 if len(rows) <= CLOSE else 1.15
    return _Plan(width, names, row, side, above, tail_words=name == "wide")


def _form(rows: Sequence[Row], now: datetime | None, name: str, width: float) -> Drawn:
    plan = _plan(rows, name, width)
    axis = _axis(rows, now, plan)
    foot = plan.row * len(rows) + 0.2
    parts = [*_foot(axis, now, foot, plan, 30 if name == "wide" else 60), *_pours(rows, axis, plan)]
    if now:
        x = pc(axis.at(now))
        parts += [line(x, em(top), x, em(end), "now-line") for top, end in plan.beside_names(len(rows), foot)]
    for number, row in enumerate(rows):
        parts += _row(row, axis, plan, plan.level(number), now)
    return Drawn(parts, foot + 1.6)


def _axis(rows: Sequence[Row], now: datetime | None, plan: _Plan) -> TimeAxis:
    acts = [act for row in rows for act in row.acts]
    sure = [*([now] if now else []), *(act.at for act in acts if act.kind != "bag")] or [act.at for act in acts]
    aside = [act for act in acts if act.at > max(sure) + ASIDE]
    near = [*sure, *(act.at for act in acts if act.at <= max(sure) + ASIDE)]
    waits = plan.tail_words or all(act in aside or act.state in ("done", "skipped") for act in acts)
    words = [room(f"{act.words} {act.clock}") for act in aside] if waits and not plan.named_above else []
    tail = max(words) + 1.3 if words else 0.3
    edge = 0.6 / plan.width
    begin = plan.names / plan.width + edge
    return time_axis(near, [act.at for act in aside], begin, 1 - edge, 1.3 / plan.width, tail / plan.width)


def _foot(axis: TimeAxis, now: datetime | None, foot: float, plan: _Plan, minutes: int) -> Iterator[Markup]:
    """The axis with its clock times and breaks, and now's own."""
    lane = Lane(plan.width)
    if now:
        yield _clock_of_now(axis.at(now), f"{clock.local(now):%H:%M}", foot, lane)
    yield line(pc(axis.stretches[0].start), em(foot), "100%", em(foot), "axis")
    for place in axis.breaks:
        strokes = [line(em(d - 0.35), em(0.3), em(d + 0.05), em(-0.3), "axis") for d in (0.0, 0.3)]
        yield at(pc(place), em(foot), *strokes)
    for place, label in axis.ticks(minutes):
        yield line(pc(place), em(foot), pc(place), em(foot + 0.2), "axis")
        if lane.centred(place * plan.width, room(label) + 0.3):
            yield put(label, pc(place), foot + 0.85, "muted middle")


def _clock_of_now(place: float, words: str, foot: float, lane: Lane) -> Markup:
    """The clock at the foot of now's line; it stays on the sheet where that stands at an edge."""
    wide, x = room(words, bold=True) + 0.5, place * lane.width
    middle = min(max(x, wide / 2), lane.width - wide / 2)
    lane.take(middle - wide / 2 - 0.2, middle + wide / 2 + 0.2)
    tab = box(em(middle - x - wide / 2), em(foot + 0.2), em(wide), em(1.3), "now-box")
    return at(pc(place), "0", tab, put(words, em(middle - x), foot + 0.85, "on-now middle"))


def _pours(rows: Sequence[Row], axis: TimeAxis, plan: _Plan) -> Iterator[Markup]:
    """Where a set leaves the pan: from the pan's row above it down to its pour."""
    pan = None
    for number, row in enumerate(rows):
        if row.pan:
            pan = number
            continue
        pour = next((act for act in row.acts if act.kind == "pour"), None)
        if pan is not None and pour is not None and len(row.runs) == 1:
            x = pc(axis.at(pour.at))
            yield line(x, em(plan.level(pan)), x, em(plan.level(number)), "link")


def _row(row: Row, axis: TimeAxis, plan: _Plan, level: float, now: datetime | None) -> Iterator[Markup]:
    for run in row.runs:
        yield from _run(run, axis, level, now, row.pan)
    acts = row.acts
    yield from _marks(acts, axis, plan, level)
    if plan.named_above:
        yield from _above(row, plan, level - 1.15, now)
        return
    yield put(clipped(row.name, plan.names - 0.4), "0", level, "name")
    lane = Lane(plan.width)
    lane.take(0.0, plan.names)
    for act in acts:
        x = axis.at(act.at) * plan.width
        lane.take(x - plan.side * 0.65, x + plan.side * 0.65)
    for place in [axis.at(now)] if now else []:
        lane.take(place * plan.width - 0.1, place * plan.width + 0.1)
    for place in axis.breaks:
        lane.take(place * plan.width - 0.1, place * plan.width + 0.1)
    if not acts:
        yield put("nothing yet", pc((plan.names + 1.2) / plan.width), level, "muted")
    for act in _worth_telling(row):
        if act.state != "done" or act is acts[0]:
            yield from _label(act, now, axis, lane, plan, level)


def _marks(acts: Sequence[Act], axis: TimeAxis, plan: _Plan, level: float) -> Iterator[Markup]:
    """The marks of a row; where they would cover each other the lesser is a short stroke alone."""
    lane = Lane(plan.width)
    drawn = []
    for act in sorted(acts, key=_rank):
        x = axis.at(act.at)
        half = plan.side * (0.7 if act.state == "now" else 0.3)
        if lane.free(x * plan.width - half, x * plan.width + half):
            lane.take(x * plan.width - half, x * plan.width + half)
            drawn.append(mark(act.kind, act.state, pc(x), level, act.estimate, plan.side))
        else:
            yield line(pc(x), em(level - 0.3), pc(x), em(level + 0.3), f"lesser {act.state}")
    yield from reversed(drawn)


_WEIGHT: dict[Kind, int] = {"pour": 0, "pull": 1, "bag": 1, "core": 2, "compact": 3}


def _rank(act: Act) -> tuple[bool, int, datetime]:
    """What is drawn before another act where there is room for one: what is due, then by its kind."""
    return act.state != "now", _WEIGHT.get(act.kind, 4), act.at


def _worth_telling(row: Row) -> list[Act]:
    """Which acts get words: what is due, what comes next, then the ends of what comes, then when a set was poured."""
    acts = row.acts
    due = [act for act in acts if act.state == "now"]
    to_come = [act for act in acts if act.state == "next" and not (row.pan and act.kind == "pour")]
    later = [act for act in to_come[1:] if act.kind in ("pull", "bag")]
    poured = [act for act in acts if act.kind == "pour" and act.state == "done" and not row.pan]
    return [*due, *to_come[:1], *later, *poured]


def _label(act: Act, now: datetime | None, axis: TimeAxis, lane: Lane, plan: _Plan, level: float) -> Iterator[Markup]:
    """Words beside a mark where there is room; of what is done only before it, of what is due also behind now."""
    places = [(axis.at(act.at), plan.side * 0.9), *([(axis.at(now), 0.4)] if now else [])]
    for words in _told(act, now):
        for x, gap in places if act.state == "now" else places[:1]:
            found = lane.beside(x * plan.width, room(words, act.state == "now") + 0.15, gap, act.state == "done")
            if found:
                place, css = found
                yield at(pc(x), "0", put(words, em(place - x * plan.width), level, f"{act.state} {css}".strip()))
                return


def _above(row: Row, plan: _Plan, level: float, now: datetime | None) -> Iterator[Markup]:
    """The name, and what is due or comes next in the row, above its line."""
    acts = row.acts
    act = next((a for a in acts if a.state == "now"), next((a for a in acts if a.state == "next"), None))
    left = plan.width - room(row.name) - 1.0
    told = _told(act, now) if act else ["" if acts else "nothing yet"]
    said = next((words for words in told if room(words, bold=True) <= left), told[-1])
    yield put(clipped(row.name, plan.width - room(said, bold=True) - 1.0), "0", level, "name")
    if said:
        yield put(said, "100%", level, f"{act.state if act else 'muted'} end")


def _run(run: Sequence[Act], axis: TimeAxis, level: float, now: datetime | None, pan: bool) -> Iterator[Markup]:
    """The line of a run: thick as far as it has come, thin ahead."""
    acts = sorted(run, key=lambda act: act.at)
    if not acts:
        return
    done = [act for act in acts if act.state in ("done", "skipped")]
    until = acts[0].at
    if done:
        until = done[-1].at if len(done) == len(acts) else max(done[-1].at, min(now or done[-1].at, acts[-1].at))
        yield from _stroke(axis, acts[0].at, until, level, "past pan" if pan else "past")
    yield from _stroke(axis, until, acts[-1].at, level, "ahead")


def _stroke(axis: TimeAxis, start: datetime, end: datetime, level: float, css: str) -> Iterator[Markup]:
    """A line along the row, left out where the axis is broken."""
    for number, stretch in enumerate(axis.stretches):
        low, high = max(start, stretch.first), min(end, stretch.last)
        goes_on = number + 1 < len(axis.stretches) and start <= stretch.last < end
        if low < high or goes_on:
            stop = axis.breaks[number] - 0.006 if goes_on else stretch.at(high)
            yield line(pc(stretch.at(low)), em(level), pc(stop), em(level), css)
