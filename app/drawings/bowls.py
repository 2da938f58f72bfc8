"""Weighing out as a picture: a bowl fills to what the scale reads over its target; the other bowls stand below it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from markupsafe import Markup

from app.drawings.sheet import Drawn, at, clipped, em, picture, put, room, scaled
from app.pens import line, tag

WIDTH = 10.0
DEPTH, TOP, FOOT = 4.6, 8.2, 3.4
"""Of the drawing; the bowl's depth, its width at the rim and at the foot [em]."""

LINE = 0.72
"""Where the target stands, as a share of the depth; above it there is room for too much."""


@dataclass(frozen=True)
class OtherBowl:
    """Another thing to weigh: its name and amount in words, and whether it is done."""

    name: str
    words: str
    done: bool


@dataclass(frozen=True)
class Bowl:
    """What is weighed: target, what the scale reads (nothing yet: None) and what it may be off by [kg]."""

    name: str
    target_kg: float
    tolerance_kg: float
    reading_kg: float | None = None
    target_words: str = ""
    reading_words: str = ""
    verdict: str = ""

    @property
    def state(self) -> Literal["open", "under", "good", "over"]:
        """How the reading stands to the target."""
        if self.reading_kg is None:
            return "open"
        off = self.reading_kg - self.target_kg
        if abs(off) <= self.tolerance_kg + 1e-9:
            return "good"
        return "over" if off > 0 else "under"

    @property
    def filling(self) -> float:
        """How deep it is filled, as a share of the bowl's depth; never above its rim."""
        share = max(self.reading_kg or 0.0, 0.0) / self.target_kg if self.target_kg > 0 else 0.0
        return min(share * LINE, 1.0)


def bowl(one: Bowl, others: Sequence[OtherBowl] = (), title: str = "") -> Markup:
    """The bowl at hand, large, with a line to fill to; the others below it, small."""
    rows = [*_others(others)]
    top = 1.3
    drawn = Drawn(
        [at("0", em(top), *_large(one)), *rows_at(rows, top + DEPTH + 1.0)], top + DEPTH + 1.0 + 1.5 * len(rows)
    )
    return picture("bowl", title or f"Bowl for {one.name}", _in_words(one, others), drawn, WIDTH)


def rows_at(rows: Sequence[Markup], top: float) -> Iterator[Markup]:
    """Rows of small bowls under each other."""
    for number, row in enumerate(rows):
        yield at("0", em(top + 1.5 * number), row)


def _in_words(one: Bowl, others: Sequence[OtherBowl]) -> str:
    state = {
        "open": "nothing on the scale yet",
        "under": "below the line",
        "good": "at the line",
        "over": "above the line",
    }
    said = [f"{one.name}: {state[one.state]}"]
    said += [f"the scale reads {one.reading_words}"] if one.reading_words else []
    said += [f"to fill to {one.target_words}"] if one.target_words else []
    said += [one.verdict] if one.verdict else []
    words = ", ".join(said) + "."
    for other in others:
        words += f" {other.name}: {'done' if other.done else 'open'}{', ' + other.words if other.words else ''}."
    return words


_SHAPE = f"M{-TOP * 5},0C{-TOP * 4.6},{DEPTH * 7} {-FOOT * 5.6},{DEPTH * 10} {-FOOT * 5},{DEPTH * 10}H{FOOT * 5}" + (
    f"C{FOOT * 5.6},{DEPTH * 10} {TOP * 4.6},{DEPTH * 7} {TOP * 5},0"
)
"""The bowl's outline from rim to rim; 10 to the em."""

_STANDS = {"open": "to the line", "under": "below the line", "good": "✓ at the line", "over": "▲ above the line"}


def _large(one: Bowl) -> Iterator[Markup]:
    middle, level = WIDTH / 2, DEPTH * (1 - LINE)
    empty = DEPTH * (1 - one.filling)
    if one.filling > 0:  # the whole bowl, of which only what lies below the level is seen
        whole = at(em(middle), em(-empty), _outline("content"))
        yield tag("svg", whole, y=em(empty), width=em(WIDTH), height=em(DEPTH - empty), class_="clip")
    yield at(em(middle), "0", _outline("vessel"))
    half = TOP / 2 + 0.4
    tolerance = max(one.tolerance_kg / one.target_kg * LINE * DEPTH if one.target_kg > 0 else 0.0, 0.09)
    for off in (-tolerance, tolerance):
        yield line(em(middle - half), em(level + off), em(middle + half), em(level + off), "tolerance")
    yield line(em(middle - half), em(level), em(middle + half), em(level), "target")
    yield put(_STANDS[one.state], em(middle), -0.75, f"middle {one.state}")


def _outline(css: str) -> Markup:
    shape = tag("path", d=_SHAPE, class_=css)
    return tag("svg", shape, width=em(10), height=em(10), viewBox="0 0 100 100", overflow="visible")


def _others(others: Sequence[OtherBowl]) -> Iterator[Markup]:
    for other in others:
        sign = "✓" if other.done else other.words
        content = [scaled("M-7,0H7L5,7H-5Z", "content done")] if other.done else []
        small = at(em(0.6), em(0.6), *content, scaled("M-9,-6L-5,7H5L9,-6", "vessel"))
        name = clipped(other.name, WIDTH - 1.5 - room(sign) - 0.4)
        yield Markup("").join(
            [small, put(name, em(1.5), 0.6, "muted" if other.done else ""), put(sign, em(WIDTH), 0.6, "end")]
        )
