"""The pan's temperature over time, with the step's band, the limit, and what happened at its moment on the curve."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from itertools import pairwise

from markupsafe import Markup

from app import clock
from app.drawings.marks import Kind, mark
from app.drawings.sheet import Drawn, Lane, box, drawing, em, hatched, pc, put, room, scaled, trace
from app.pens import line, tag


@dataclass(frozen=True)
class Level:
    """A temperature with its words in the reader's degrees, such as “121 °C”: a number, a space, the degrees."""

    temperature_k: float
    words: str

    @property
    def number(self) -> str:
        """The words without the degrees."""
        return self.words.partition(" ")[0]


@dataclass(frozen=True)
class Reading(Level):
    """A temperature read at a moment."""

    at: datetime


@dataclass(frozen=True)
class Event:
    """A step or a note at its moment."""

    kind: Kind
    at: datetime
    words: str = ""


@dataclass(frozen=True)
class Pan:
    """What the strip shows: readings, the band of the step at hand (or none), the workshop's limit, notes and steps."""

    readings: Sequence[Reading]
    limit: Level
    now: datetime
    low: Level | None = None
    high: Level | None = None
    events: Sequence[Event] = field(default=())
    old_after: timedelta = timedelta(minutes=15)
    window: timedelta | None = timedelta(hours=2)
    """How far back the strip goes; what was read before is left out, but for the newest reading."""
    plot_em: float = 6.6
    """Height of the curve's field, in letters' sizes."""
    over: bool = False
    """Whether the evening is over: then the newest reading is none of now."""
    headed: bool = True
    """Whether the newest reading is written above the curve; a page that shows it larger does not need that."""

    @property
    def last(self) -> Reading | None:
        """The newest reading."""
        return max(self.readings, key=lambda r: r.at, default=None)

    @property
    def begin(self) -> datetime:
        """Where the strip begins: at the first reading in view, ten minutes ago at the latest."""
        first = min((r.at for r in self.readings), default=self.now)
        if self.window is not None:
            first = max(first, self.now - self.window)
        return min(first, self.now - timedelta(minutes=10))

    @property
    def in_view(self) -> "Pan":
        """The same without what lies off the strip."""
        seen = [r for r in self.readings if r.at >= self.begin or r is self.last]
        return replace(self, readings=seen, events=[e for e in self.events if self.begin <= e.at <= self.now])

    @property
    def band(self) -> list[Level]:
        """The ends of the step's band, where there are any."""
        return [level for level in (self.low, self.high) if level]

    @property
    def too_hot(self) -> bool:
        """Whether the newest reading lies above the limit."""
        return self.last is not None and self.last.temperature_k > self.limit.temperature_k + 1e-3

    @property
    def has_head(self) -> bool:
        """Whether anything is written above the curve: too hot always is."""
        return self.headed or self.too_hot

    @property
    def old(self) -> bool:
        """Whether the newest reading was taken too long ago to go by."""
        return self.last is not None and not self.over and self.now - self.last.at > self.old_after

    @property
    def age(self) -> str:
        """How long ago the newest reading was taken, in words; of an evening that is over its clock time."""
        if self.over and self.last:
            return f"last at {clock.local(self.last.at):%H:%M}"
        minutes = int((self.now - self.last.at).total_seconds() // 60) if self.last else 0
        return f"{minutes} min ago" if minutes < 120 else f"{minutes // 60} h ago"


def pan_strip(pan: Pan, title: str = "The pan's temperature") -> Markup:
    """The strip; the newest reading also stands as a stem, as in a thermometer."""
    pan = pan.in_view
    css = f"pan-strip{' too-hot' if pan.too_hot else ''}"
    return drawing(css, title, _in_words(pan), lambda name, width: _form(pan, name, width))


def _in_words(pan: Pan) -> str:
    if pan.last is None:
        said = ["The pan was not read yet."]
    else:
        when = pan.age if pan.over else f"at {clock.local(pan.last.at):%H:%M}, {pan.age}"
        said = [f"{pan.last.words} {when}{'; read it again' if pan.old else ''}."]
        said += ["Above the limit."] if pan.too_hot else []
        earlier = sorted((r for r in pan.readings if r is not pan.last), key=lambda r: r.at)
        if earlier:
            said.append("Before: " + ", ".join(f"{r.words} at {clock.local(r.at):%H:%M}" for r in earlier) + ".")
    if pan.low and pan.high:
        said.append(f"Band of this step: {pan.low.words} to {pan.high.words}.")
    said.append(f"Limit: {pan.limit.words}.")
    if pan.events:
        said.append("On it: " + ", ".join(f"{e.words or e.kind} {clock.local(e.at):%H:%M}" for e in pan.events) + ".")
    return " ".join(said)


# --- One form ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Field:
    """Where times and temperatures lie: shares of the width, em from the top."""

    left: float
    right: float
    top: float
    plot: float
    first: datetime
    last: datetime
    cold_k: float
    hot_k: float

    @property
    def foot(self) -> float:
        """The height of the axis [em]."""
        return self.top + self.plot

    def x(self, moment: datetime) -> float:
        """Where a moment lies along."""
        whole = (self.last - self.first).total_seconds()
        share = (moment - self.first).total_seconds() / whole if whole else 1.0
        return self.left + min(max(share, 0.0), 1.0) * (self.right - self.left)

    def y(self, temperature_k: float) -> float:
        """The height of a temperature; what lies off the field stands at its edge."""
        share = (temperature_k - self.cold_k) / (self.hot_k - self.cold_k)
        return self.top + self.plot * (1 - min(max(share, 0.0), 1.0))


def _form(pan: Pan, name: str, width: float) -> Drawn:
    beside = name in ("wide", "mid")
    cold_k, hot_k = _span(pan)
    above_limit = pan.plot_em * (hot_k - pan.limit.temperature_k) / (hot_k - cold_k)
    lines = len(_names(pan, beside)[0][1])
    top = 1.2 * pan.has_head + max(1.1 * lines - 0.5 - above_limit, 0.2)
    stem = max(room(words, bold=True) for _, lines, _ in _names(pan, beside) for words in lines) + 0.7
    readings = sorted(pan.readings, key=lambda r: r.at)
    field = _Field((stem + 1.0) / width, 1 - 0.6 / width, top, pan.plot_em, pan.begin, pan.now, cold_k, hot_k)
    parts = [*_levels(pan, field), *_stem(pan, field, stem / width), *_curve(readings, pan, field, width)]
    parts += [*_events(readings, pan, field, width, beside), *_times(field, width)]
    return Drawn([*parts, *_named(pan, field, beside), *_head(pan, width)], field.foot + 1.5)


def _span(pan: Pan) -> tuple[float, float]:
    """Least and greatest temperature drawn [K]: the band is never less than a third of the field."""
    low = pan.low.temperature_k if pan.low else pan.limit.temperature_k - 20
    top = max([pan.limit.temperature_k, *(r.temperature_k for r in pan.readings)])
    band = pan.limit.temperature_k - low
    hot = min(top, pan.limit.temperature_k + band) + band * 0.3
    cold = max(min([low - band * 0.6, *(r.temperature_k for r in pan.readings)]), low - band * 1.4)
    return cold, hot


def _levels(pan: Pan, field: _Field) -> Iterator[Markup]:
    """The band hatched between its two lines, and the limit as long dashes; what lies above it when the pan does."""
    left, right, span = pc(field.left), pc(field.right), pc(field.right - field.left)
    limit = field.y(pan.limit.temperature_k)
    if pan.too_hot:
        yield box(left, em(field.top), span, em(limit - field.top), "above-limit")
    if pan.low and pan.high:
        upper, lower = field.y(pan.high.temperature_k), field.y(pan.low.temperature_k)
        yield hatched(left, em(upper), span, em(lower - upper))
        for y in (upper, lower):
            yield line(left, em(y), right, em(y), "band-edge")
    yield line(left, em(limit), right, em(limit), "limit")
    yield line(left, em(field.foot), right, em(field.foot), "axis")


def _names(pan: Pan, beside: bool) -> list[tuple[Level, list[str], str]]:
    """What stands at the height of the limit and of the band's ends, line by line, the lowest line at its height."""
    if beside:
        limit = [f"limit {pan.limit.words}"]
        return [(pan.limit, limit, "limit-name"), *((level, [level.words], "") for level in pan.band)]
    limit = ["limit", pan.limit.number]
    return [(pan.limit, limit, "limit-name"), *((level, [level.number], "") for level in pan.band)]


def _named(pan: Pan, field: _Field, beside: bool) -> Iterator[Markup]:
    lane = Lane(field.foot + 1)
    for level, lines, css in _names(pan, beside):
        y, high = field.y(level.temperature_k), 1.1 * len(lines)
        if lane.centred(y + 0.55 - high / 2, high):
            for number, words in enumerate(reversed(lines)):
                yield put(words, "0", y - 1.1 * number, css)


def _times(field: _Field, width: float) -> Iterator[Markup]:
    """When the strip begins, and now."""
    start, end = (f"{clock.local(moment):%H:%M}" for moment in (field.first, field.last))
    yield put(end, pc(field.right), field.foot + 0.85, "end strong")
    if (field.right - field.left) * width > room(start) + room(end, bold=True) + 0.6:
        yield put(start, pc(field.left), field.foot + 0.85, "muted")


def _stem(pan: Pan, field: _Field, x: float) -> Iterator[Markup]:
    """A thermometer filled to the newest reading; hollow when that is old."""
    foot = field.foot
    y = field.y(pan.last.temperature_k) if pan.last else foot
    css = "stem old" if pan.old else "stem"
    inner = [box(em(-0.25), em(field.top), em(0.5), em(field.plot), "glass", rx=em(0.25))]
    if pan.last:
        inner.append(box(em(-0.25), em(y), em(0.5), em(max(foot - y, 0.3)), css, rx=em(0.25)))
    yield tag("svg", *inner, x=pc(x), overflow="visible")
    if pan.last:
        yield line(pc(x), em(y), pc(field.x(pan.last.at)), em(y), "link")


def _curve(readings: Sequence[Reading], pan: Pan, field: _Field, width: float) -> Iterator[Markup]:
    """The trace, a dot at each reading that has room for one, the newest large; one above the limit is a triangle."""
    lane = Lane(width)
    yield from trace([(field.x(r.at), field.y(r.temperature_k)) for r in readings], "trace")
    for r in reversed(readings):
        last, x = r is pan.last, field.x(r.at) * width
        if not last and not lane.free(x - 0.2, x + 0.2):
            continue
        lane.take(x - 0.2, x + 0.2)
        hot = r.temperature_k > pan.limit.temperature_k + 1e-3
        css = "reading" + (" last" if last else "") + (" old" if last and pan.old else "") + (" hot" if hot else "")
        shape = "M0,-10L10,9H-10Z" if hot else "M-7,0A7,7 0 1,1 7,0A7,7 0 1,1 -7,0Z"
        mark = scaled(shape, css, 0.85 if last else 0.55)
        yield tag("svg", mark, x=pc(field.x(r.at)), y=em(field.y(r.temperature_k)), overflow="visible")


def _events(readings: Sequence[Reading], pan: Pan, field: _Field, width: float, beside: bool) -> Iterator[Markup]:
    """Steps and notes on the curve at their moments, with their clock at the foot where there is room."""
    lane = Lane(width)
    foot = field.foot
    for end in (field.first, field.last):
        edge, wide = field.x(end) * width, room("00:00", bold=True) + 0.4
        lane.take(*((edge - 1, edge + wide) if end == field.first else (edge - wide, edge + 1)))
    for event in sorted(pan.events, key=lambda e: e.at, reverse=True):
        x, y = field.x(event.at), _height(readings, event.at, field)
        yield line(pc(x), em(y), pc(x), em(foot), "link")
        yield mark(event.kind, "done", pc(x), y, side=0.6)
        words = f"{clock.local(event.at):%H:%M}"
        if beside and lane.centred(x * width, room(words) + 0.4):
            yield put(words, pc(x), foot + 0.85, "muted middle")


def _height(readings: Sequence[Reading], moment: datetime, field: _Field) -> float:
    """Where the trace is at a moment [em]: between two readings on its straight line, outside them at the nearest."""
    if not readings:
        return field.foot
    for before, after in pairwise(readings):
        if before.at <= moment <= after.at and after.at > before.at:
            share = (moment - before.at) / (after.at - before.at)
            low, high = field.y(before.temperature_k), field.y(after.temperature_k)
            return low + share * (high - low)
    return field.y((readings[0] if moment < readings[0].at else readings[-1]).temperature_k)


def _head(pan: Pan, width: float) -> Iterator[Markup]:
    """What must be said of it, above the curve."""
    if not pan.has_head:
        return
    if pan.last is None:
        yield put("not read yet", "0", 0.6, "muted")
        return
    words = pan.last.words
    css, said = "strong", [f"{words}, {pan.age}", words]
    if pan.too_hot:
        css, said = "hot-words", [f"▲ {words}: above the limit", "▲ above the limit", "▲ too hot"]
    elif pan.old:
        css, said = "old-words", [f"? {words}, {pan.age}: read again", f"? {pan.age}: read", "? read again"]
    yield put(next((text for text in said if room(text, bold=True) <= width), said[-1]), "0", 0.6, css)
