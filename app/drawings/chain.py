"""The chain of the book: what a thing came from and what it became, as boxes in stages, each a way to its page.

Wide, the stages stand beside each other and lines lead from box to box; narrow, they stand below each other. The box
that the page is about has a thick edge and leads nowhere.

>>> batch, grain = Box("2611P", "Marram", "/review/2611P"), Box("2611P-01", "", "", here=True)
>>> print(chain([Stage("Batch", [batch]), Stage("Grain", [grain])], [(0, 0, 0)], "2611P-01"))  # doctest: +ELLIPSIS
<div class="drawing chain"><svg role="group" ...
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from app.drawings.sheet import Drawn, box, clipped, drawing, em, pc, put
from app.pens import line, tag

HEAD, HIGH, APART = 1.7, 2.75, 0.5
"""Heights of a stage's name and of a box, and the room between two boxes [em]."""

MOST = 13.0
"""A box is at most so wide [em]."""

LEAST = 10.0
"""A box that stands beside others is at least so wide [em]."""

FORMS = {"beside": 66.0, "twos": 20.0, "ones": 10.0}
"""The least width that each form is shown at [em], as static/css/drawings.css has it."""


@dataclass(frozen=True)
class Box:
    """One thing, or some that went the same way: its name, a word on it, and its page; `here` is the page's own."""

    name: str
    below: str
    href: str
    here: bool = False


@dataclass(frozen=True)
class Stage:
    """A stage with its boxes, and how many more there are than are drawn."""

    name: str
    boxes: Sequence[Box]
    more: int = 0


def chain(stages: Sequence[Stage], links: Sequence[tuple[int, int, int]], title: str) -> Markup:
    """Stages with their boxes; a link is the number of a stage, the place of a box in it, and that in the next one."""

    def form(name: str, width: float) -> Drawn:
        return _beside(stages, links, width) if name == "beside" else _below(stages, width)

    return drawing("chain", title, _in_words(stages), form, FORMS, role="group")


def _in_words(stages: Sequence[Stage]) -> str:
    said = []
    for stage in stages:
        names = [one.name for one in stage.boxes] + ([f"{stage.more} more"] if stage.more else [])
        said.append(f"{stage.name}: {', '.join(names) or 'none yet'}.")
    return " ".join(said)


def _beside(stages: Sequence[Stage], links: Sequence[tuple[int, int, int]], width: float) -> Drawn:
    """In columns; each column's boxes stand in the middle of its height."""
    column = 1 / len(stages)
    wide = min(MOST, column * width - 1.7) / width
    rows = max(1, *(len(stage.boxes) + bool(stage.more) for stage in stages))
    high = rows * (HIGH + APART)
    parts: list[Markup] = []

    def top(i: int, place: int) -> float:
        count = len(stages[i].boxes) + bool(stages[i].more)
        return HEAD + (high - count * (HIGH + APART)) / 2 + place * (HIGH + APART)

    def left(i: int) -> float:
        return i * (1 - wide) / (len(stages) - 1)

    for i, a, b in links:
        start, end = top(i, a) + HIGH / 2, top(i + 1, b) + HIGH / 2
        parts.append(line(pc(left(i) + wide), em(start), pc(left(i + 1)), em(end), "thin"))
    for i, stage in enumerate(stages):
        parts.append(put(stage.name, pc(left(i)), HEAD / 2, "muted"))
        for place, one in enumerate(stage.boxes):
            parts.append(_box(one, left(i), top(i, place), wide, width))
        if stage.more or not stage.boxes:
            words = f"and {stage.more} more" if stage.more else "none yet"
            parts.append(
                put(words, pc(left(i)), top(i, len(stage.boxes)) + (HIGH / 2 if stage.boxes else -0.1), "muted")
            )
    return Drawn(parts, HEAD + high)


def _below(stages: Sequence[Stage], width: float) -> Drawn:
    """In lines, as many boxes beside each other as there is room for."""
    parts: list[Markup] = []
    across = int(width // LEAST)
    step = 1 / across
    wide = step - (0.6 / width if across > 1 else 0)
    level = 0.0
    for i, stage in enumerate(stages):
        if i:
            parts.append(line(em(1.0), em(level - APART), em(1.0), em(level + 0.3), "thin"))
            level += 0.3
        words = stage.name + (f", and {stage.more} more" if stage.more else "" if stage.boxes else ": none yet")
        parts.append(put(words, "0", level + HEAD / 2, "muted"))
        level += HEAD
        for place, one in enumerate(stage.boxes):
            row, column = divmod(place, across)
            parts.append(_box(one, column * step, level + row * (HIGH + APART), wide, width))
        level += -(-len(stage.boxes) // across) * (HIGH + APART)
    return Drawn(parts, level)


def _box(one: Box, left: float, top: float, wide: float, width: float) -> Markup:
    """A box with its words; the whole of it leads to its page."""
    within = wide * width - 1.0
    parts = [box(pc(left), em(top), pc(wide), em(HIGH), "here" if one.here else "station")]
    parts += _words(one, left + 0.5 / width, top, within)
    inner = Markup("").join(parts)
    return tag("a", inner, href=one.href) if one.href else inner


def _words(one: Box, left: float, top: float, within: float) -> Iterator[Markup]:
    css = "strong" if one.here else "to"
    if not one.below:
        yield put(clipped(one.name, within, bold=one.here), pc(left), top + HIGH / 2, css)
        return
    yield put(clipped(one.name, within, bold=one.here), pc(left), top + 0.85, css)
    yield put(clipped(one.below, within), pc(left), top + 1.9, "muted")
