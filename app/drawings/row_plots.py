"""Pictures in the cells of a table, all rows on one scale: a lot's grains, what motors delivered, a range that shrank.

Each cell is as wide as its column, so the marks of all rows stand under each other; the words are in the table beside.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

from markupsafe import Markup

from app.drawings.sheet import CAP, em, pc
from app.pens import tag, text_at, ticks, written

ROW = 1.9
"""Height of a cell [em]."""

HEAD = 2.3
"""Height of the cell that numbers the scale [em]."""

FAR = 3.0
"""Values farther from the middle half than so many of its widths are arrows at the edge (Tukey's outer fences)."""


@dataclass(frozen=True)
class Span:
    """What a column of cells goes from and to, in the unit it shows."""

    low: float
    high: float

    def at(self, value: float) -> float:
        """Where a value lies, 0 to 1 in sight."""
        return (value - self.low) / (self.high - self.low)

    def place(self, value: float) -> str:
        """Where a value lies, as a length; what lies beyond stands at the edge."""
        return pc(min(1.0, max(0.0, self.at(value))))

    @property
    def ticks(self) -> list[float]:
        """Round values along it."""
        return ticks(self.low, self.high, 5)

    @property
    def decimals(self) -> int:
        """What the round values need behind the point."""
        found = self.ticks
        return max(0, -math.floor(math.log10(found[1] - found[0]) + 1e-9)) if len(found) > 1 else 0


def span_of(values: Iterable[float], keep: Iterable[float] = (), least: float = 1.0) -> Span:
    """A span that holds the values but for far ones, and all of `keep`; nothing to hold leaves 0 to 1.

    >>> span_of([95.0, 96.0, 96.5, 97.0, 60.0], keep=[95.0]).low > 90
    True
    """
    known, wanted = sorted(values), list(keep)
    if known:
        first, third = known[len(known) // 4], known[(3 * len(known)) // 4]
        reach = FAR * (third - first) or least
        wanted += [v for v in known if first - reach <= v <= third + reach]
    if not wanted:
        return Span(0.0, 1.0)
    low, high = min(wanted), max(wanted)
    pad = max((high - low) * 0.05, (least - (high - low)) / 2)
    return Span(low - pad, high + pad)


@dataclass(frozen=True)
class Level:
    """An upright line through all rows: where, its CSS class, and its name at the head of the column."""

    value: float
    css: str
    name: str = ""
    numbered: bool = False
    """Whether its number stands among those of the scale."""


def scale_head(span: Span, levels: Sequence[Level] = ()) -> Markup:
    """The head of a column: the scale's numbers, and above them the lines that have a name."""
    parts: list[str] = []
    for level in levels:
        if level.name and 0 <= span.at(level.value) <= 1:
            end = span.at(level.value) > 0.5
            parts.append(text_at(level.name, span.place(level.value), em(0.5 + CAP), f"{level.css}-name{' end' * end}"))
    own = [level for level in levels if level.numbered and 0 <= span.at(level.value) <= 1]
    numbers = [(level.value, f"{level.css}-name middle") for level in own]
    numbers += [(tick, "tick middle") for tick in span.ticks if 0.03 < span.at(tick) < 0.97]
    for value, css in numbers:
        if css.startswith("tick") and any(abs(span.at(value) - span.at(level.value)) < 0.09 for level in own):
            continue  # the line's own number stands there
        words = f"{value:g}" if css.endswith("-name middle") else written(value, span.decimals)
        parts.append(text_at(words, span.place(value), em(1.65 + CAP), css))
    return tag("svg", *parts, class_="row-plot head", aria_hidden="true", height=em(HEAD))


@lru_cache(maxsize=64)
def _ground(span: Span, levels: tuple[Level, ...]) -> Markup:
    """The lines behind every row of a column."""
    lines = [*(Level(tick, "grid") for tick in span.ticks), *levels]
    return Markup("").join(_upright(span.place(one.value), one.css) for one in lines if 0 <= span.at(one.value) <= 1)


def _upright(x: str, css: str, top: str = "0", foot: str = "100%") -> Markup:
    return _made(f'<line x1="{x}" x2="{x}" y1="{top}" y2="{foot}" class="{css}"/>')


def _dot(x: str, css: str) -> Markup:
    return _made(f'<circle cx="{x}" cy="50%" r="4" class="{css}"/>')


def _made(element: str) -> Markup:
    """An element of numbers and names of classes alone: a page of lots has a thousand of them."""
    return Markup(element)  # noqa: S704 - nothing in it was typed by anybody


def _beyond(span: Span, values: Iterable[float]) -> list[Markup]:
    """Arrows at the edges where something lies beyond them, with the farthest value beside."""
    parts: list[Markup] = []
    found = list(values)
    if low := [v for v in found if v < span.low]:
        words = text_at(f"{min(low):.0f}", em(-1.0), em(ROW / 2 + CAP), "tick end")
        parts += [_mark("0%", "M-3,-5l-8,5l8,5Z", "beyond"), words]
    if high := [v for v in found if v > span.high]:
        words = text_at(f"{max(high):.0f}", "100%", em(ROW / 2 + CAP), "tick")
        parts += [_mark("100%", "M3,-5l8,5l-8,5Z", "beyond"), tag("svg", words, x=em(1.0), overflow="visible")]
    return parts


def _bar(low: float, high: float, middle: float, tall: float, css: str) -> Markup:
    place = f'x="{pc(low)}" width="{pc(high - low)}" y="{pc(middle - tall / 2)}" height="{pc(tall)}"'
    return _made(f'<rect {place} class="{css}"/>')


def _mark(x: str, path: str, css: str, y: str = "50%") -> Markup:
    return _made(f'<svg x="{x}" y="{y}" overflow="visible"><path d="{path}" class="{css}"/></svg>')


CROSS = "M-4.5,-4.5l9,9M-4.5,4.5l9,-9"
DIAMOND = "M0,-9l9,9l-9,9l-9,-9Z"


def grains_row(
    span: Span,
    grains: Sequence[tuple[float, bool]],
    mean: float | None,
    words: str,
    levels: Sequence[Level] = (),
    good: tuple[float, float] | None = None,
) -> Markup:
    """A lot's grains as dots, filled where they are on the shelf, and its mean as a stroke; `good` is shaded."""
    parts: list[Markup] = []
    if good is not None:
        low, high = (min(1.0, max(0.0, span.at(end))) for end in good)
        parts.append(_bar(low, high, 0.5, 1.0, "shade"))
    parts.append(_ground(span, tuple(levels)))
    for share, on_shelf in grains:
        if span.low <= share <= span.high:
            parts.append(_dot(span.place(share), "dot shelf" if on_shelf else "dot"))
    parts += _beyond(span, [share for share, _ in grains])
    if mean is not None and span.low <= mean <= span.high:
        parts.append(_upright(span.place(mean), "mean", "12%", "88%"))
    return _cell(parts, words)


@dataclass(frozen=True)
class Fired:
    """What one motor delivered and the range it was to lie in; what is not known is None."""

    value: float | None
    low: float | None
    high: float | None

    @property
    def outside(self) -> bool:
        """Whether it lies outside its range."""
        return None not in (self.value, self.low, self.high) and not self.low <= self.value <= self.high  # type: ignore[operator]


def fired_row(
    span: Span, motors: Sequence[Fired], words: str, levels: Sequence[Level] = (), unknown: str = ""
) -> Markup:
    """Motors below each other in one cell: a thick pale bar where nine of ten were expected, × where it lay.

    A motor outside its range is × in a diamond; `unknown` is written where nothing was measured.
    """
    parts = [_ground(span, tuple(levels))]
    n = max(1, len(motors))
    for i, motor in enumerate(motors):
        middle = (i + 0.5) / n
        tall = min(0.5, 0.7 / n)
        if motor.low is not None and motor.high is not None:
            low, high = (min(1.0, max(0.0, span.at(end))) for end in (motor.low, motor.high))
            parts.append(_bar(low, high, middle, tall, "expected"))
        if motor.value is not None and span.low <= motor.value <= span.high:
            if motor.outside:
                parts.append(_mark(span.place(motor.value), DIAMOND, "outside", pc(middle)))
            parts.append(_mark(span.place(motor.value), CROSS, "fired", pc(middle)))
    parts += _beyond(span, [m.value for m in motors if m.value is not None])
    if unknown and all(m.value is None for m in motors):
        parts.append(text_at(unknown, "1%", em(ROW / 2 + CAP), "tick"))
    return _cell(parts, words)


def mean_row(
    span: Span,
    fired: Sequence[float],
    mean: float | None,
    ends: tuple[float, float] | None,
    words: str,
    levels: Sequence[Level] = (),
) -> Markup:
    """Motors of one kind as ×, and above them their mean as a stroke with the ends between which it is known."""
    parts = [_ground(span, tuple(levels))]
    parts += [_mark(span.place(v), CROSS, "fired", "62%") for v in fired if span.low <= v <= span.high]
    if ends is not None:
        low, high = (span.place(end) for end in ends)
        parts.append(tag("line", x1=low, x2=high, y1="20%", y2="20%", class_="known"))
        parts += [_upright(x, "known", "10%", "30%") for x in (low, high)]
    if mean is not None:
        parts.append(_upright(span.place(mean), "mean", "2%", "38%"))
    parts += _beyond(span, fired)
    return _cell(parts, words)


def shrunk_row(span: Span, value: float, now: tuple[float, float], before: tuple[float, float], words: str) -> Markup:
    """A range as it was before, hollow, and what it shrank to: a thick pale bar with its dot."""
    parts = [_ground(span, (Level(1.0, "centre"),))]
    for (low, high), css, tall in ((before, "before", 0.62), (now, "expected", 0.42)):
        start, end = (min(1.0, max(0.0, span.at(v))) for v in (low, high))
        parts.append(_bar(start, end, 0.5, tall, css))
    parts.append(_dot(span.place(value), "dot shelf"))
    parts += _beyond(span, [value])
    return _cell(parts, words)


def _cell(parts: Sequence[Markup], words: str) -> Markup:
    return tag("svg", tag("title", words), *parts, class_="row-plot", role="img", height=em(ROW))


RESULTS = {
    "well": "M-8,0A8,8 0 1,1 8,0A8,8 0 1,1 -8,0ZM-4,0l3,3.5l5,-7",
    "partly": "M-8,0A8,8 0 1,1 8,0A8,8 0 1,1 -8,0ZM0,-8V8",
    "weak": "M-8,0A8,8 0 1,1 8,0A8,8 0 1,1 -8,0ZM-4.5,0h9",
    "rough": "M-9,4l3,-8l4,9l4,-10l4,9l3,-7",
    "failed": "M-8,-8H8V8H-8ZM-3,-8l4,5l-4,4l4,7",
    "other": "M-7,-7H7V7H-7Z",
    "unlit": "M-8,0A8,8 0 1,1 8,0A8,8 0 1,1 -8,0ZM-5.5,5.5L5.5,-5.5",
    "none": "M-8,0A8,8 0 1,1 8,0A8,8 0 1,1 -8,0Z",
}
"""Shapes of what came of a lot: disc ticked, ring halved, ring with a bar, a ragged line, a case split, a square, ring
struck through, dotted ring."""


def result_mark(kind: str) -> Markup:
    """The mark of what came of a lot; its words stand beside it."""
    return tag(
        "svg", tag("path", d=RESULTS[kind]), class_=f"result {kind}", viewBox="-11 -11 22 22", aria_hidden="true"
    )
