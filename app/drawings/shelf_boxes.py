"""The shelf by place: each box with its grains seen end-on, to one scale, by lot and by what they wait for.

Filled is ready; a dashed edge is not ready yet, filled as far round as its cure has come; a stroke across is held.

>>> lot = ShelfRow("26L1", tuple(ShelfGrain(0.0345, 0.010, "ready") for _ in range(7)), "7 ready, 31 days old")
>>> young = ShelfRow("27A2", (ShelfGrain(0.0345, 0.010, "curing", 0.6),) * 4, "4 cure until Sun 8 Feb")
>>> print(shelf_boxes([ShelfBox("Tin 1", (lot, young))]))  # doctest: +ELLIPSIS
<div class="drawing to-scale shelf-boxes"><svg ...
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from markupsafe import Markup

from app.drawings.sheet import Drawn, clipped, drawing, room
from app.drawings.to_scale import (
    FORMS,
    LINE,
    Paper,
    Piece,
    Point,
    folded,
    in_rows,
    outline,
    rectangle,
    ringed,
    strokes,
    together,
)

State = Literal["ready", "curing", "to cast", "held"]

LARGEST = {"broad": 2.2, "wide": 2.0, "mid": 1.8, "slim": 1.6}
"""The widest grain on the shelf as drawn in each form [em]."""

BESIDE = {"broad": 3, "wide": 2, "mid": 1, "slim": 1}
"""How many boxes stand in a row of each form."""

KEY: dict[State, str] = {
    "ready": "filled: ready",
    "curing": "dashed: cures",
    "to cast": "dashed, empty: to cast",
    "held": "struck: held",
}


@dataclass(frozen=True)
class ShelfGrain:
    """A grain's diameters [m], its state, and the share of its cure that is over, 0 to 1."""

    outer_d_m: float
    core_d_m: float
    state: State = "ready"
    cured: float = 1.0


@dataclass(frozen=True)
class ShelfRow:
    """Grains that belong together, such as those of a lot, with what is said of them: how many, how old, ready when."""

    name: str
    grains: tuple[ShelfGrain, ...]
    words: str = ""


@dataclass(frozen=True)
class ShelfBox:
    """A place and what lies there."""

    place: str
    rows: tuple[ShelfRow, ...]

    @property
    def grains(self) -> list[ShelfGrain]:
        """All of them."""
        return [grain for row in self.rows for grain in row.grains]


def shelf_boxes(boxes: Sequence[ShelfBox], title: str = "The shelf by place") -> Markup:
    """A box for each place, all grains at one scale."""
    return drawing(
        "to-scale shelf-boxes", title, _in_words(boxes), lambda name, width: _form(boxes, name, width), FORMS
    )


def _in_words(boxes: Sequence[ShelfBox]) -> str:
    said = []
    for box in boxes:
        rows = "; ".join(f"{row.name}, {row.words or _counted(row)}" for row in box.rows)
        said.append(f"{box.place}: {rows or 'nothing'}.")
    return " ".join(said) or "Nothing is on the shelf."


def _counted(row: ShelfRow) -> str:
    states = [grain.state for grain in row.grains]
    return ", ".join(f"{states.count(state)} {state}" for state in KEY if state in states) or "no grain"


def _form(boxes: Sequence[ShelfBox], name: str, width: float) -> Drawn:
    every = [grain for box in boxes for grain in box.grains]
    if not boxes:
        paper = Paper(width)
        paper.note("nothing on the shelf", css="muted")
        return paper.drawn(0.3, flush=True)
    scale = LARGEST[name] / max((grain.outer_d_m for grain in every), default=1.0)
    number = min(BESIDE[name], len(boxes))
    column = (width - 1.2 * (number - 1)) / number
    rows = in_rows([_box(box, column, scale, LARGEST[name]) for box in boxes], width, 1.2, level=0.0, flush=True)
    below = Paper(width)
    states = {grain.state for grain in every}
    below.note(together(words for state, words in KEY.items() if state in states), css="muted")
    notes = below.drawn(rows.height + 0.4, flush=True)
    return Drawn([*rows.parts, *notes.parts], notes.height)


def _box(box: ShelfBox, width: float, scale: float, side: float) -> Piece:
    paper, level = Paper(width), 2.0
    paper.write(clipped(box.place, width - 1.2, bold=True), (0.5, 0.9, ""), css="strong")
    names = max((room(row.name) for row in box.rows), default=0.0)
    beside = names + 0.9 + side * 4 <= width
    for row in box.rows:
        left = 0.5 + (names + 0.5 if beside else 0.0)
        if not beside:
            paper.write(clipped(row.name, width - 1.0), (0.5, level + 0.2, ""))
            level += LINE
        elif row.name:
            paper.write(row.name, (0.5, level + side / 2, ""))
        x = left
        for number, grain in enumerate(row.grains):
            if x + side > width - 0.3 and number:
                x, level = left, level + side + 0.2
            _grain(paper, grain, (x + side / 2, level + side / 2), scale)
            x += side + 0.2
        paper.keep(left, level, x, level + side)
        words = row.words or _counted(row)
        if paper.write(words, (x + 0.3, level + side / 2, "")):
            level += side + 0.4
            continue
        level += side + 0.2
        for text in folded(words, width - left - 0.3):
            paper.write(text, (left, level + 0.5, ""))
            level += LINE
        level += 0.2
    if not box.rows:
        paper.write("nothing", (0.5, level + 0.4, ""), css="muted")
        level += LINE
    edge = rectangle(0.0, 0.1, width, level + 0.2)
    return Piece(width, level + 0.4, [outline([edge], "outline"), *paper.ink, *paper.words])


def _grain(paper: Paper, grain: ShelfGrain, middle: Point, scale: float) -> None:
    """A grain end-on."""
    outer, core = grain.outer_d_m * scale / 2, grain.core_d_m * scale / 2
    rings = (outer, core)
    if grain.state in ("curing", "to cast"):
        if grain.state == "curing" and grain.cured > 0:
            paper.add(outline([_sector(middle, outer, core, min(grain.cured, 1.0))], "part-cured"))
        paper.add(ringed(*middle, rings, "end-on dashed"))
        return
    paper.add(ringed(*middle, rings, f"end-on {grain.state}"))
    if grain.state == "held":
        x, y = middle
        reach = outer * 1.1
        paper.add(strokes([[(x - reach, y + reach), (x + reach, y - reach)]], "inside"))


def _sector(middle: Point, outer: float, core: float, share: float) -> list[Point]:
    """A part of the ring, clockwise from the top."""
    turns = [2 * math.pi * share * i / 24 for i in range(25)]
    x, y = middle
    edge = [(x + outer * math.sin(turn), y - outer * math.cos(turn)) for turn in turns]
    return edge + [(x + core * math.sin(turn), y - core * math.cos(turn)) for turn in reversed(turns)]
