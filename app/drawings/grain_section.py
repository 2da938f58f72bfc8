"""A grain cut along its axis, to scale, and what it lacks of its ideal mass as one bubble at the same scale."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from markupsafe import Markup

from app.drawings.sheet import Drawn, at, box, dimension, drawing, em, hatched, put, room
from app.pens import line, tag

SIDE_BY_SIDE = {"wide": (20.0, 9.0), "mid": (11.0, 7.0)}
"""The most room for the section, along and upright [em]; in the narrowest form the bubble stands below it."""

BELOW = (8.0, 6.0)


@dataclass(frozen=True)
class GrainCut:
    """Sizes of a grain [m], its propellant's volume [m³], its share of ideal density, and words at dimension lines.

    `offset_a_m` and `offset_b_m` say how far the core stands off the axis at its two ends, where that was measured;
    `key`, whether words tell what marks an inhibited face.
    """

    outer_d_m: float
    core_d_m: float
    length_m: float
    volume_m3: float
    share: float
    limit_share: float
    burning_ends: int = 2
    burns_outer: bool = False
    offset_a_m: float = 0.0
    offset_b_m: float = 0.0
    outer_words: str = ""
    core_words: str = ""
    length_words: str = ""
    missing_words: str = ""
    bubble_words: str = ""
    limit_words: str = ""
    offset_words: str = ""
    key: bool = True

    @property
    def bubble_d_m(self) -> float:
        """Diameter of the bubble that is missing [m]."""
        return bubble_diameter(self.volume_m3, self.share)

    @property
    def allowed_d_m(self) -> float:
        """Diameter of the largest bubble that the limit allows [m]."""
        return bubble_diameter(self.volume_m3, self.limit_share)

    @property
    def inhibited(self) -> list[str]:
        """The faces that do not burn, in words."""
        ends = {0: ["both ends"], 1: ["one end"]}.get(self.burning_ends, [])
        return ends if self.burns_outer else [*ends, "the outer face"]


def bubble_diameter(volume_m3: float, share: float) -> float:
    """Diameter of the one sphere [m] that holds all a grain lacks, from its volume [m³] and share of ideal density.

    The sphere's volume is V (1 − share): exact for voids without mass. Nought where nothing is missing.

    >>> round(bubble_diameter(100e-6, 0.95) * 1000, 2)
    21.22
    """
    return math.cbrt(6 * volume_m3 * max(1 - share, 0.0) / math.pi)


def grain_section(grain: GrainCut, title: str = "The grain in section") -> Markup:
    """The section with its dimension lines; beside it the bubble within the ring of the largest allowed one."""
    return drawing("grain-section", title, in_words(grain), lambda name, width: _form(grain, name, width))


def in_words(grain: GrainCut) -> str:
    """What a drawing of the grain tells."""
    sizes = (("outer diameter", grain.outer_words), ("core", grain.core_words), ("length", grain.length_words))
    said = [", ".join(f"{name} {words}" for name, words in sizes if words)]
    said += [f"core off centre: {grain.offset_words}"] if grain.offset_words else []
    said.append(f"inhibited: {' and '.join(grain.inhibited)}" if grain.inhibited else "no face is inhibited")
    if grain.bubble_d_m > 0:
        larger = grain.bubble_d_m > grain.allowed_d_m
        bubble = ", ".join(words for words in (grain.missing_words, grain.bubble_words) if words)
        said.append(f"all that is missing as one bubble: {bubble}")
        said.append(f"{'larger' if larger else 'no larger'} than the largest allowed ({grain.limit_words})")
    else:
        said.append("nothing is missing")
    return " ".join(f"{words[:1].upper()}{words[1:]}." for words in said if words)


# --- One form ------------------------------------------------------------------------------------


def _form(grain: GrainCut, name: str, width: float) -> Drawn:
    room_along, room_up = SIDE_BY_SIDE.get(name, BELOW)
    scale = min(room_along / grain.length_m, room_up / grain.outer_d_m)
    long, wide = grain.length_m * scale, grain.outer_d_m * scale
    words = [*bubble_words(grain)]
    column = max(*(room(text, bold=True) for text, _ in words), grain.allowed_d_m * scale, grain.bubble_d_m * scale)
    lines = _lines(grain, scale, name in SIDE_BY_SIDE, width)
    section = [*_section(grain, scale, lines)]
    height = wide + 4.0 + 1.25 * len(lines)
    beside = [*bubble(grain, scale, words)]
    bubble_height = max(grain.allowed_d_m, grain.bubble_d_m) * scale + 1.25 * len(words) + 0.6
    if name in SIDE_BY_SIDE:
        whole = 1.4 + long + 1.6 + column
        left = at("50%", "0", at(em(-whole / 2), "0", *section))
        right = at("50%", em(max((wide + 2.8 - bubble_height) / 2, 0.0)), at(em(whole / 2 - column / 2), "0", *beside))
        return Drawn([left, right], max(height, bubble_height))
    centred = at("50%", "0", at(em(-long / 2 - 0.7), "0", *section))
    return Drawn([centred, at("50%", em(height), *beside)], height + bubble_height)


def _core_inside(grain: GrainCut, scale: float) -> bool:
    """Whether the core's words have room in it."""
    return grain.core_d_m * scale >= 1.3 and grain.length_m * scale >= room(grain.core_words) + 0.6


def _lines(grain: GrainCut, scale: float, wide: bool, width: float) -> list[str]:
    """What is said below the length, line by line."""
    lines = [f"core {grain.core_words}"] if grain.core_words and not _core_inside(grain, scale) else []
    if grain.offset_words:
        whole = f"core {grain.offset_words}"
        lines.append(whole if room(whole) <= width else grain.offset_words)
    return [*lines, "▬ inhibited"] if wide and grain.inhibited and grain.key else lines


def _section(grain: GrainCut, scale: float, lines: list[str]) -> Iterator[Markup]:
    """The section with its nought at the left of the dimension of the outer diameter."""
    left, top = 1.4, 1.6
    long, wide = grain.length_m * scale, grain.outer_d_m * scale
    middle, foot = top + wide / 2, top + wide
    yield hatched(em(left), em(top), em(long), em(wide), "hatched grain")
    yield _core(grain, scale, left, middle)
    yield line(em(left - 0.4), em(middle), em(left + long + 0.4), em(middle), "centre-line")
    for x, y, w, h in _coated(grain, left, top, long, wide):
        yield box(em(x), em(y), em(w), em(h), "inhibited")
    for y in (top, foot):
        yield line(em(0.2), em(y), em(left), em(y), "thin")
    yield from dimension(top, foot, 0.5, upright=True)
    yield put(grain.outer_words, "0", 0.6, "")
    level = foot + 0.9
    for x in (left, left + long):
        yield line(em(x), em(foot), em(x), em(level + 0.3), "thin")
    yield from dimension(left, left + long, level)
    yield put(grain.length_words, em(left + long / 2), level + 0.85, "middle")
    for number, words in enumerate(lines):
        yield put(words, em(left + long / 2), level + 2.1 + 1.25 * number, "middle")
    if _core_inside(grain, scale):
        yield put(grain.core_words, em(left + long / 2), middle, "middle")


def _core(grain: GrainCut, scale: float, left: float, middle: float) -> Markup:
    """The core as it stands, askew where its ends are off the axis by different amounts; 10 units to the em."""
    half = grain.core_d_m * scale * 5
    a, b = grain.offset_a_m * scale * 10, grain.offset_b_m * scale * 10
    long = grain.length_m * scale * 10
    shape = f"M0,{a - half:.2f}L{long:.2f},{b - half:.2f}V{b + half:.2f}L0,{a + half:.2f}Z"
    drawn = tag("path", d=shape, class_="core")
    inner = tag("svg", drawn, width=em(10), height=em(10), viewBox="0 0 100 100", overflow="visible")
    return at(em(left), em(middle), inner)


COAT = 0.24
"""How thick an inhibitor is drawn, outside its face [em]."""


def _coated(grain: GrainCut, left: float, top: float, long: float, wide: float) -> Iterator[tuple[float, ...]]:
    """The inhibited faces as bars: place and size [em]."""
    if not grain.burns_outer:
        yield left, top - COAT, long, COAT
        yield left, top + wide, long, COAT
    edges = [left + long, left - COAT][: 2 - grain.burning_ends]
    for x in edges:
        yield x, top - COAT, COAT, wide + 2 * COAT


def bubble_words(grain: GrainCut) -> Iterator[tuple[str, str]]:
    """What stands round the bubble, from the top: its words and their class; the bubble follows the first ones."""
    if grain.bubble_d_m > 0:
        yield "missing", ""
        yield grain.missing_words, "strong"
        over = grain.bubble_d_m > grain.allowed_d_m
        yield f"{'▲ ' if over else ''}{grain.bubble_words}", "over" if over else ""
    else:
        yield "nothing missing", "strong"
    yield grain.limit_words, "limit-name"


def bubble(grain: GrainCut, scale: float, words: list[tuple[str, str]]) -> Iterator[Markup]:
    """The bubble with its nought above its middle."""
    over = words[:2] if grain.bubble_d_m > 0 else words[:1]
    under = words[len(over) :]
    for number, (text, css) in enumerate(over):
        yield put(text, "0", 0.6 + 1.25 * number, f"{css} middle".strip())
    radius = max(grain.allowed_d_m, grain.bubble_d_m) * scale / 2
    middle = 1.25 * len(over) + 0.3 + radius
    for diameter, css in ((grain.bubble_d_m, "bubble"), (grain.allowed_d_m, "allowed")):
        if diameter > 0:
            yield tag("circle", cx="0", cy=em(middle), r=em(diameter * scale / 2), class_=css)
    for number, (text, css) in enumerate(under):
        yield put(text, "0", middle + radius + 0.9 + 1.25 * number, f"{css} middle".strip())
