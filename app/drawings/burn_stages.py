"""The burn as small pictures of one scale: what is left of the grains at shares of the web, with its surface and Kn.

Every burning face has moved inwards along its normal by the same depth, as `calc.grain.geometry` has it.

>>> grain = BurningGrain(0.0345, 0.010, 0.055)
>>> [round(d * 1e3, 2) for d in grain.left_at(0.006)]
[34.5, 22.0, 43.0]
>>> stages = [Stage(0.0, 0.0, 190.0, "Kn 190", "96 cm²"), Stage(0.5, 0.006, 230.0, "Kn 230", "118 cm²")]
>>> print(burn_stages([grain] * 3, stages))  # doctest: +ELLIPSIS
<div class="drawing to-scale burn-stages"><svg ...
"""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from app.drawings.sheet import Drawn, drawing, room
from app.drawings.to_scale import FORMS, LINE, Paper, Piece, in_rows, outline, rectangle, solid, strokes

BESIDE = {"broad": 4, "wide": 4, "mid": 2, "slim": 1}
"""How many pictures stand in a row of each form."""

GAP = 1.4
"""Between two pictures [em]."""

BAR = 0.5
"""Height of the bar of Kn [em]."""


@dataclass(frozen=True)
class BurningGrain:
    """A grain's sizes before it is lit [m], and which of its faces burn."""

    outer_d_m: float
    core_d_m: float
    length_m: float
    burns_end_a: bool = True
    burns_end_b: bool = True
    burns_outer: bool = False
    burns_core: bool = True

    def left_at(self, depth_m: float) -> tuple[float, float, float] | None:
        """Outer diameter, core and length at a depth burned [m]; nothing where none is left."""
        outer = self.outer_d_m - 2 * depth_m * self.burns_outer
        core = self.core_d_m + 2 * depth_m * self.burns_core
        length = self.length_m - depth_m * (self.burns_end_a + self.burns_end_b)
        return (outer, core, length) if outer > core and length > 0 else None


@dataclass(frozen=True)
class Stage:
    """A moment of the burn: its share of the web [-], the depth burned [m], its Kn [-], words for Kn and surface."""

    web_share: float
    depth_m: float
    kn: float
    kn_words: str
    surface_words: str = ""

    @property
    def name(self) -> str:
        """Which moment it is."""
        return f"{self.web_share * 100:.0f} % of the web" if self.web_share else "as it lights"


def burn_stages(
    grains: Sequence[BurningGrain], stages: Sequence[Stage], gap_m: float = 0.0, title: str = "The burn in steps"
) -> Markup:
    """The grains from the closure on, at each stage: what is left hatched, burning faces thick, what is gone dotted."""
    words = _in_words(stages)
    return drawing(
        "to-scale burn-stages", title, words, lambda name, width: _form(grains, stages, gap_m, name, width), FORMS
    )


def _in_words(stages: Sequence[Stage]) -> str:
    said = []
    for stage in stages:
        told = ", ".join(
            words for words in (stage.surface_words and f"surface {stage.surface_words}", stage.kn_words) if words
        )
        said.append(f"{stage.name[:1].upper()}{stage.name[1:]}: {told}.")
    return " ".join([*said, "Bars: Kn on one scale."])


def _form(grains: Sequence[BurningGrain], stages: Sequence[Stage], gap_m: float, name: str, width: float) -> Drawn:
    number = min(BESIDE[name], max(len(stages), 1))
    words = max((room(text, bold=True) for stage in stages for text in (stage.name, stage.kn_words)), default=0.0)
    while number > 1 and (width - GAP * (number - 1)) / number < words:
        number //= 2
    column = (width - GAP * (number - 1)) / number
    long = sum(grain.length_m for grain in grains) + gap_m * max(len(grains) - 1, 0)
    scale = min(column / long, 5.0 / max(grain.outer_d_m for grain in grains))
    most = max(stage.kn for stage in stages)
    pieces = [_piece(grains, stage, gap_m, scale, column, most) for stage in stages]
    rows = in_rows(pieces, width, GAP, level=0.0)
    below = Paper(width)
    below.note("Thick: burning faces. Dotted: burned away. Bar: Kn, one scale.", css="muted")
    notes = below.drawn(rows.height + 0.3)
    return Drawn([*rows.parts, *notes.parts], notes.height)


def _piece(
    grains: Sequence[BurningGrain], stage: Stage, gap_m: float, scale: float, column: float, most: float
) -> Piece:
    paper = Paper(column)
    paper.write(stage.name, (0.1, 0.6, ""), css="strong")
    widest = max(grain.outer_d_m for grain in grains) * scale
    axis, start = 1.4 + widest / 2, 0.0
    for grain in grains:
        _grain(paper, grain, stage.depth_m, scale, start, axis)
        start += (grain.length_m + gap_m) * scale
    paper.centre_line((0.0, axis), (start - gap_m * scale, axis))
    level = axis + widest / 2 + 0.6
    paper.add(outline([rectangle(0.0, level, column * stage.kn / most, level + BAR)], "bar"))
    paper.write(stage.kn_words, (0.1, level + BAR + 0.7, ""))
    surface = f"surface {stage.surface_words}" if stage.surface_words else ""
    if surface and not paper.write(surface, (column - 0.1, level + BAR + 0.7, "end")):
        paper.write(surface, (0.1, level + BAR + 0.7 + LINE, ""))
    lines = 1 if not surface or paper.taken[-1][1] < level + BAR + 0.9 else 2
    return Piece(column, level + BAR + 0.3 + LINE * lines, [*paper.ink, *paper.words])


def _grain(paper: Paper, grain: BurningGrain, depth_m: float, scale: float, start: float, axis: float) -> None:
    """One grain with its middle on the axis: as it was, what is left of it, and the faces that burn."""
    left = grain.left_at(depth_m)
    end = start + grain.length_m * scale
    for side in (-1, 1):
        near, far = (axis + side * d * scale / 2 for d in (grain.core_d_m, grain.outer_d_m))
        paper.add(outline([rectangle(start, near, end, far)], "gone"))
    if left is None:
        return
    outer, core, length = left
    first = start + depth_m * scale * grain.burns_end_a
    last = first + length * scale
    for side in (-1, 1):
        near, far = (axis + side * d * scale / 2 for d in (core, outer))
        paper.add(solid(rectangle(first, near, last, far), "grain", gap=0.35))
        faces = [
            (grain.burns_core, [(first, near), (last, near)]),
            (grain.burns_outer, [(first, far), (last, far)]),
            (grain.burns_end_a, [(first, near), (first, far)]),
            (grain.burns_end_b, [(last, near), (last, far)]),
        ]
        paper.add(strokes([face for burns, face in faces if burns], "burning"))
