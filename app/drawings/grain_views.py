"""A grain from the side and from its end, to scale, with all it lacks of its ideal mass as one bubble beside them.

The sizes are those of `grain_section`, which draws it for the bench; this one is for a page at the desk.

>>> grain = GrainCut(0.04445, 0.01905, 0.0762, 96.5e-6, 0.963, 0.95, outer_words="Ø 44.45", length_words="76.2")
>>> print(grain_views(grain))  # doctest: +ELLIPSIS
<div class="drawing to-scale grain-views"><svg ...
"""

from collections.abc import Iterator, Sequence

from markupsafe import Markup

from app.drawings.grain_section import COAT, GrainCut, bubble, bubble_words, in_words
from app.drawings.sheet import Drawn, at, drawing, em, room
from app.drawings.to_scale import (
    FORMS,
    LINE,
    Paper,
    Piece,
    circle,
    hatch_gap,
    in_rows,
    outline,
    rectangle,
    solid,
    together,
)

TALL = {"broad": 11.0, "wide": 8.0, "mid": 6.0, "slim": 5.0}
"""The most height for the grain in each form [em]."""


def grain_views(grain: GrainCut, title: str = "The grain to scale") -> Markup:
    """Section along the axis, end view with the core where it was measured, and the bubble in the ring of the limit."""
    return drawing("to-scale grain-views", title, in_words(grain), lambda name, width: _form(grain, name, width), FORMS)


def _form(grain: GrainCut, name: str, width: float) -> Drawn:
    about = room(grain.outer_words) + 2.4
    words = list(bubble_words(grain))
    largest = max(grain.bubble_d_m, grain.allowed_d_m)
    column = max(room(text, bold=True) for text, _ in words)
    long, wide = grain.length_m, grain.outer_d_m
    scale = min(TALL[name] / wide, (width - about) / long)
    if name in ("broad", "wide"):  # all three in one row
        scale = min(scale, (width - about - column - 5.0) / (long + wide))
    side = Paper(long * scale + about)
    _side(side, grain, scale, about - 0.6)
    end = Paper(wide * scale + 1.2)
    _end(end, grain, scale)
    high = side.taken[0][3] + 2.8
    pieces = [Piece(side.width, high, [*side.ink, *side.words]), Piece(end.width, high, [*end.ink, *end.words])]
    bubble_height = largest * scale + LINE * len(words) + 0.6
    beside = max(column, largest * scale)
    pieces.append(Piece(beside, bubble_height, [at(em(beside / 2), "0", *bubble(grain, scale, words))]))
    rows = in_rows(pieces, width)
    below = Paper(width)
    core = f"core {grain.core_words}" if grain.core_words and not _inside(grain, scale) else ""
    askew = f"core off centre {grain.offset_words}" if grain.offset_words else ""
    inhibited = "▬ inhibited" if grain.inhibited and grain.key else ""
    below.note(together((core, askew, inhibited)))
    notes = below.drawn(rows.height + 0.4)
    return Drawn([*rows.parts, *notes.parts], notes.height)


def _inside(grain: GrainCut, scale: float) -> bool:
    """Whether the core's words have room in it."""
    return grain.core_d_m * scale >= 1.2 and grain.length_m * scale >= room(grain.core_words) + 0.8


def _side(paper: Paper, grain: GrainCut, scale: float, left: float) -> None:
    """The section along the axis, with its dimension lines."""
    long, radius, core = grain.length_m * scale, grain.outer_d_m * scale / 2, grain.core_d_m * scale / 2
    top, axis, right = 0.8, 0.8 + radius, left + long
    foot = axis + radius
    paper.keep(left, top, right, foot)
    offsets = [(left, grain.offset_a_m * scale), (right, grain.offset_b_m * scale)]
    gap = hatch_gap(grain.share)
    for edge, sign in ((top, -1), (foot, 1)):
        inner = [(x, axis + off + sign * core) for x, off in offsets]
        paper.add(solid([(left, edge), (right, edge), *inner[::-1]], "grain", gap))
    for x, off in offsets:
        paper.add(outline([[(x, axis + off - core), (x, axis + off + core)]], "thin", closed=False))
    paper.centre_line((left - 0.5, axis), (right + 0.5, axis))
    for corners in _coats(grain, left, top, right, foot):
        paper.add(outline([corners], "coat"))
    if _inside(grain, scale):
        paper.taken.clear()
        paper.write(grain.core_words, ((left + right) / 2, axis, "middle"))
        paper.taken.insert(0, (left, top, right, foot))
    x = left - 1.0
    paper.upright(top, foot, x, grain.outer_words, (x - 0.4, axis, "end"), edge=left - COAT)
    fits = long >= room(grain.length_words) + 1.5
    paper.along(left, right, foot + 1.2, grain.length_words if fits else "", edge=foot + COAT)
    if not fits:
        paper.write(grain.length_words, ((left + right) / 2, foot + 2.2, "middle"))


def _coats(
    grain: GrainCut, left: float, top: float, right: float, foot: float
) -> Iterator[Sequence[tuple[float, float]]]:
    """The inhibited faces, as thick as an inhibitor is drawn, outside them."""
    if not grain.burns_outer:
        yield rectangle(left, top - COAT, right, top)
        yield rectangle(left, foot, right, foot + COAT)
    for x in [right, left - COAT][: 2 - grain.burning_ends]:
        yield rectangle(x, top - COAT, x + COAT, foot + COAT)


def _end(paper: Paper, grain: GrainCut, scale: float) -> None:
    """The grain from its end: the core where it stands there, dashed where it stands at the far end."""
    radius, core = grain.outer_d_m * scale / 2, grain.core_d_m * scale / 2
    x, axis = radius + 0.6, 0.8 + radius
    near, far = grain.offset_a_m * scale, grain.offset_b_m * scale
    paper.add(solid(circle(x, axis, radius), "grain", hatch_gap(grain.share), [circle(x, axis + near, core)]))
    if far != near:
        paper.add(outline([circle(x, axis + far, core)], "hidden"))
    if not grain.burns_outer:
        paper.add(outline([circle(x, axis, radius + COAT), circle(x, axis, radius)], "coat"))
    paper.centre_line((x - radius - 0.6, axis), (x + radius + 0.6, axis))
    paper.centre_line((x, axis - radius - 0.6), (x, axis + radius + 0.6))
