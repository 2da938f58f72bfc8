"""One mark for each act of an evening: its shape says what, its filling whether it is done."""

from functools import cache
from typing import Literal

from markupsafe import Markup

from app.drawings.sheet import at, em, scaled
from app.pens import Place

Kind = Literal["weigh", "heat", "add", "pour", "core", "compact", "pull", "bag", "note", "other"]
State = Literal["done", "now", "next", "skipped"]

SHAPES: dict[Kind, str] = {
    "weigh": "M-9,-6H9L5,7H-5Z",
    "heat": "M0,-9C6,-3 7,1 6,4C5,8 2,9 0,9C-2,9 -5,8 -6,4C-7,1 -3,-1 0,-9Z",
    "add": "M-5,0A5,5 0 1,1 5,0A5,5 0 1,1 -5,0Z",
    "pour": "M-9,-7H9L0,9Z",
    "core": "M-3,-9H3V9H-3Z",
    "compact": "M-7,-7H7V7H-7Z",
    "pull": "M-9,7H9L0,-9Z",
    "bag": "M-5,-10H5L3,-5C9,-4 9,0 9,9H-9C-9,0 -9,-4 -3,-5Z",
    "note": "M-6,-9H3L7,-5V9H-6Z",
    "other": "M0,-8L8,0L0,8L-8,0Z",
}
"""Each in a box of 20 × 20: triangle down, rod, block, triangle up and pouch are pour, core, compact, pull and bag."""

WORDS: dict[Kind, str] = {
    "weigh": "weigh out",
    "heat": "melt",
    "add": "add",
    "pour": "pour",
    "core": "core",
    "compact": "compact",
    "pull": "pull",
    "bag": "bag",
    "note": "note",
    "other": "step",
}

RING = "M-14,0A14,14 0 1,1 14,0A14,14 0 1,1 -14,0Z"
STROKE = "M-11,9L11,-9"


def mark(kind: Kind, state: State, x: Place, y: float, estimate: bool = False, side: float = 0.8) -> Markup:
    """A mark with its middle at a place: filled done, ringed now, outline next, dotted where its moment is an estimate.

    >>> print(mark("pour", "done", "43%", 1.5))  # doctest: +ELLIPSIS
    <svg x="43%" y="1.5em" overflow="visible"><svg ...><path d="M-9,-7H9L0,9Z" class="mark done"></path></svg></svg>
    """
    return at(x, em(y), _shape(kind, state, estimate, side))


@cache
def _shape(kind: Kind, state: State, estimate: bool, side: float) -> Markup:
    parts = [scaled(SHAPES[kind], f"mark {state}{' estimate' if estimate else ''}", side)]
    if state == "now":
        parts.insert(0, scaled(RING, "ring", side))
    if state == "skipped":
        parts.append(scaled(STROKE, "mark", side))
    return Markup("").join(parts)
