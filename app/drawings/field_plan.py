"""A field from above, to scale, with where flights come down; beside it the height they reach under the ceiling.

East lies right and north up. A landing outside the field has another shape, not another colour alone.

>>> field = FieldPlan("Marram pasture", length_m=900, width_m=500, axis_rad=1.2, wind_from_rad=4.71,
...     wind_words="4 m/s, W", rings=(Ring(61, "persons 61 m"),), along_m=(180, 371, 640), size_words="900 × 500 m")
>>> [field.inside(*place) for place in field.landings]
[True, True, False]
>>> heights = Heights(460, 533, 596, ceiling_m=900, words="533 m", range_words="460 to 596")
>>> print(field_plan(field, heights))  # doctest: +ELLIPSIS
<div class="drawing to-scale field-plan"><svg ...
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from app.drawings.sheet import Drawn, at, drawing, em, room, scaled
from app.drawings.to_scale import (
    FORMS,
    LINE,
    Paper,
    Piece,
    Point,
    Spot,
    arrow,
    circle,
    folded,
    hatch,
    in_rows,
    outline,
    rectangle,
    sized,
    strokes,
    together,
)
from app.pens import ticks

SIDES = {"broad": (36.0, 17.0), "wide": (19.0, 14.0), "mid": (18.0, 14.0), "slim": (8.2, 9.0)}
"""The most room for the field in each form, along and upright [em]; the broad ones have the heights beside it."""

SPOT, CROSS = "M-8,0A8,8 0 1,1 8,0A8,8 0 1,1 -8,0Z", "M-8,-8L8,8M8,-8L-8,8"
"""A landing inside the field, and one outside."""

LIMIT = "limit-name"
PROFILE = 11.0
"""Height of the heights' axis [em]."""


@dataclass(frozen=True)
class Ring:
    """A distance round the pad [m] with its words, such as the least one of persons."""

    radius_m: float
    words: str = ""


@dataclass(frozen=True)
class FieldPlan:
    """A field: a radius round the pad, or a rectangle with the pad in its middle, its length at a bearing from north.

    `along_m` are landings of drawn flights, how far down the wind from the pad [m]; `across_m` how far to its right,
    where that was worked out. A wind without a direction is drawn to blow east, and said so.
    The bar of the scale is in units of `unit_m`.
    """

    name: str = ""
    radius_m: float | None = None
    length_m: float | None = None
    width_m: float | None = None
    axis_rad: float | None = None
    wind_from_rad: float | None = None
    wind_words: str = ""
    rings: tuple[Ring, ...] = ()
    along_m: Sequence[float] = ()
    across_m: Sequence[float] = ()
    size_words: str = ""
    landing_words: str = ""
    outside_words: str = ""
    unit_m: float = 1.0
    unit_words: str = "m"

    @property
    def down_wind(self) -> Point:
        """Where the wind blows to: east and north, of length one."""
        bearing = (self.wind_from_rad if self.wind_from_rad is not None else 1.5 * math.pi) + math.pi
        return math.sin(bearing), math.cos(bearing)

    @property
    def landings(self) -> list[Point]:
        """East and north of the pad [m]."""
        east, north = self.down_wind
        across = self.across_m or [0.0] * len(self.along_m)
        return [(a * east + c * north, a * north - c * east) for a, c in zip(self.along_m, across, strict=True)]

    @property
    def corners(self) -> list[Point]:
        """Its edge, east and north of the pad [m]; none where its size is not known."""
        if self.radius_m:
            return circle(0.0, 0.0, self.radius_m, 96)
        if not self.length_m or not self.width_m:
            return []
        bearing, long, wide = self.axis_rad or 0.0, self.length_m / 2, self.width_m / 2
        along, across = (math.sin(bearing), math.cos(bearing)), (math.cos(bearing), -math.sin(bearing))
        sides = [(long, wide), (long, -wide), (-long, -wide), (-long, wide)]
        return [(a * along[0] + c * across[0], a * along[1] + c * across[1]) for a, c in sides]

    def inside(self, east_m: float, north_m: float) -> bool | None:
        """Whether a place lies in the field; None where its size is not known."""
        if self.radius_m:
            return math.hypot(east_m, north_m) <= self.radius_m
        if not self.length_m or not self.width_m:
            return None
        bearing = self.axis_rad or 0.0
        along = east_m * math.sin(bearing) + north_m * math.cos(bearing)
        across = east_m * math.cos(bearing) - north_m * math.sin(bearing)
        return abs(along) <= self.length_m / 2 and abs(across) <= self.width_m / 2


@dataclass(frozen=True)
class Heights:
    """The height a flight reaches: the low mark, the middle and the high mark of its range, and the ceiling [m].

    Without a flight that is expected there is no middle and no range. `flown_m` are heights that flights
    before it reached; the axis is in units of `unit_m`.
    """

    low_m: float | None = None
    mid_m: float | None = None
    high_m: float | None = None
    ceiling_m: float | None = None
    words: str = ""
    range_words: str = ""
    ceiling_words: str = ""
    flown_m: tuple[float, ...] = ()
    flown_words: str = ""
    unit_m: float = 1.0
    unit_words: str = "m"


def field_plan(field: FieldPlan, heights: Heights | None = None, title: str = "The field from above") -> Markup:
    """The field with pad, wind, distances and landings; the heights in profile beside it."""
    return drawing(
        "to-scale field-plan",
        title,
        _in_words(field, heights),
        lambda name, width: _form(field, heights, name, width),
        FORMS,
    )


def _in_words(field: FieldPlan, heights: Heights | None) -> str:
    size = field.size_words or ("size not in the book" if not field.corners else "")
    said = [", ".join(words for words in (field.name, size) if words)]
    said += [f"wind {field.wind_words}"] if field.wind_words else []
    said += [ring.words for ring in field.rings]
    outside = sum(field.inside(*place) is False for place in field.landings)
    if field.landings:
        said.append(f"landings of {len(field.landings)} drawn flights, {outside} of them outside the field")
    said += [field.landing_words, field.outside_words, _unknown(field)]
    if heights:
        said += [f"height {heights.words}, {heights.range_words}".strip(", ")] if heights.words else []
        said += [heights.ceiling_words]
        said += [f"flown {heights.flown_words}"] if heights.flown_words else []
    return " ".join(f"{words[:1].upper()}{words[1:].rstrip('.')}." for words in said if words)


def _unknown(field: FieldPlan) -> str:
    if field.along_m and field.wind_from_rad is None:
        return "The wind's direction is unknown: drawn as if it blew east."
    return ""


# --- One form ------------------------------------------------------------------------------------


def _form(field: FieldPlan, heights: Heights | None, name: str, width: float) -> Drawn:
    pieces = [_above(field, name, width)]
    if heights:
        pieces.append(_profile(heights, min(width, 17.0 if name == "broad" else 16.0)))
    rows = in_rows(pieces, width, 2.0)
    below = Paper(width)
    outside = any(field.inside(*place) is False for place in field.landings)
    spot = "●" if field.across_m else "│"
    marks = f"{spot} lands inside · × lands outside" if outside else f"{spot} lands"
    marks = marks if field.landings else ""
    across = "across the wind not worked out" if field.along_m and not field.across_m else ""
    below.note(field.landing_words)
    below.note(field.outside_words, css="strong over")
    below.note(together((marks, across)), _unknown(field), css="muted")
    notes = below.drawn(rows.height + 0.4)
    return Drawn([*rows.parts, *notes.parts], notes.height)


@dataclass(frozen=True)
class _Map:
    """From metres east and north of the pad to the sheet [em]."""

    scale: float
    x: float
    y: float

    def at(self, east_m: float, north_m: float) -> Point:
        """Where a place lies."""
        return self.x + east_m * self.scale, self.y - north_m * self.scale


def _above(field: FieldPlan, name: str, width: float) -> Piece:
    room_along, room_up = SIDES[name]
    corners = field.corners
    seen = [*corners, *field.landings, (0.0, 0.0)]
    seen += [
        place for ring in field.rings for place in ((ring.radius_m, ring.radius_m), (-ring.radius_m, -ring.radius_m))
    ]
    if len(seen) == 1:
        seen += [(50.0, 50.0), (-50.0, -50.0)]
    west, east = min(e for e, _ in seen), max(e for e, _ in seen)
    south, north = min(n for _, n in seen), max(n for _, n in seen)
    scale = min(room_along / (east - west), room_up / (north - south))
    margin, head = 0.8, 3.2
    wide = min(max((east - west) * scale + 2 * margin, 9.5), width)
    plan = _Map(scale, (wide - (east - west) * scale) / 2 - west * scale, head + north * scale)
    paper = Paper(wide)
    _ground(paper, field, plan, corners)
    _pad(paper, field, plan)
    foot = head + (north - south) * scale
    _head(paper, field, wide)
    _scale_bar(paper, field, plan, foot + 1.1, (east - west), margin)
    size = ", ".join(
        words for words in (field.name, field.size_words or ("" if corners else "size not in the book")) if words
    )
    lines = 0
    for words in [size] if room(size) <= wide else [field.name, field.size_words]:
        if words:
            paper.write(words, (wide / 2, foot + 2.6 + LINE * lines, "middle"))
            lines += 1
    return Piece(wide, foot + 2.1 + LINE * lines, [*paper.ink, *paper.words])


def _ground(paper: Paper, field: FieldPlan, plan: _Map, corners: list[Point]) -> None:
    """The field's edge, the rings, and the landings, which are kept clear of words."""
    if corners:
        paper.add(outline([[plan.at(*corner) for corner in corners]], "field"))
    x, y = plan.at(0.0, 0.0)
    for ring in field.rings:
        paper.add(outline([circle(x, y, ring.radius_m * plan.scale)], "hidden"))
    for place in field.landings:
        east, north = plan.at(*place)
        out = field.inside(*place) is False
        if field.across_m or out:
            shape = scaled(CROSS if out else SPOT, "landing out" if out else "landing", 0.36)
            paper.add(at(em(east), em(north), shape))
        else:
            a, b = field.down_wind
            stroke = [(east + side * 0.45 * b, north + side * 0.45 * a) for side in (-1, 1)]
            paper.add(strokes([stroke], "landing across"))
        paper.keep(east - 0.25, north - 0.25, east + 0.25, north + 0.25)


def _pad(paper: Paper, field: FieldPlan, plan: _Map) -> None:
    """The pad with its name, and the rings' words."""
    css = "on-field" if field.corners else ""
    x, y = plan.at(0.0, 0.0)
    paper.add(at(em(x), em(y), scaled("M0,-9L9,8H-9Z", "mark done", 0.7)))
    paper.keep(x - 0.4, y - 0.4, x + 0.4, y + 0.4)
    paper.write(
        "pad", (x, y + 1.0, "middle"), (x, y - 1.0, "middle"), (x - 0.6, y, "end"), (x + 0.6, y, ""), css="on-field"
    )
    for ring in field.rings:
        reach = ring.radius_m * plan.scale
        spots = [(x, y + side * (reach + 0.7), "middle") for side in (1, -1)]
        spots += [(x - reach - 0.3, y + d, "end") for d in (0.0, 1.2, -1.2)] + [
            (x + reach + 0.3, y + d, "") for d in (0.0, 1.2, -1.2)
        ]
        if ring.words and not paper.write(ring.words, *spots, css=css):
            paper.note(ring.words)


def _head(paper: Paper, field: FieldPlan, wide: float) -> None:
    """North, and the wind with its words."""
    north = wide - 0.7
    paper.add(arrow((north, 2.4), (north, 0.4)))
    paper.write("N", (north - 0.5, 0.9, "end"), css="strong")
    if field.wind_words or field.along_m:
        east, up = field.down_wind
        middle = (1.3, 1.3)
        start = (middle[0] - 1.1 * east, middle[1] + 1.1 * up)
        end = (middle[0] + 1.1 * east, middle[1] - 1.1 * up)
        paper.add(arrow(start, end, "wind", 0.8))
        words = f"wind {field.wind_words}".strip()
        left = wide - 5.0
        paper.write(words if room(words) <= left else field.wind_words, (2.8, 1.3, ""))


def _scale_bar(paper: Paper, field: FieldPlan, plan: _Map, level: float, span_m: float, margin: float) -> None:
    """A round length."""
    length = ticks(0.0, span_m / field.unit_m, 4)[1]
    end = margin + length * field.unit_m * plan.scale
    paper.along(margin, end, level, "")
    paper.write(f"{length:g} {field.unit_words}", (end + 0.4, level, ""), (margin, level + LINE, ""))


# --- The heights ---------------------------------------------------------------------------------


def _profile(heights: Heights, width: float) -> Piece:
    """An axis of height from the ground, the range as a thick pale bar, flights before it, the ceiling over all."""
    paper = Paper(width)
    top = max(heights.high_m or 0.0, heights.mid_m or 0.0, heights.ceiling_m or 0.0, *heights.flown_m, 1.0)
    head = 1.8 if heights.ceiling_m is not None and heights.ceiling_m >= top * 0.97 else 0.8
    foot = head + PROFILE
    left = room(f"{top / heights.unit_m:.0f}") + 0.8

    def at_height(height_m: float) -> float:
        return foot - height_m / top * PROFILE

    paper.add(strokes([[(left, head - 0.3), (left, foot), (width - 0.2, foot)]], "outline"))
    if heights.ceiling_m is not None:
        level = at_height(heights.ceiling_m)
        band = rectangle(left, level - 0.7, width - 0.2, level)
        paper.add(strokes(hatch([band], 0.35), "hatch"), outline([band[2:]], "ceiling", closed=False))
        paper.keep(left, level - 0.8, width, level + 0.1)
    x = left + 1.6
    if heights.low_m is not None and heights.high_m is not None:
        bar = rectangle(x - 0.35, at_height(heights.high_m), x + 0.35, at_height(heights.low_m))
        paper.add(outline([bar], "range"))
        paper.keep(x - 0.5, bar[0][1], x + 0.5, bar[2][1])
    if heights.mid_m is not None:
        paper.add(at(em(x), em(at_height(heights.mid_m)), scaled(SPOT, "reading last", 0.62)))
    if heights.ceiling_m is not None:
        paper.write(
            heights.ceiling_words, (width - 0.3, level + 0.8, "end"), (width - 0.3, level - 1.3, "end"), css=LIMIT
        )
    flown = x + 1.3
    for height in heights.flown_m:
        paper.add(at(em(flown), em(at_height(height)), scaled(CROSS, "landing out", 0.5)))
        paper.keep(flown - 0.4, at_height(height) - 0.4, flown + 0.4, at_height(height) + 0.4)
    beside = (flown if heights.flown_m else x) + 0.8
    middle = at_height(heights.mid_m if heights.mid_m is not None else max(heights.flown_m, default=top / 2))
    levels = sorted((head + 0.3 * i for i in range(int((PROFILE + 0.5) / 0.3))), key=lambda y: abs(y - middle))
    spots: list[Spot] = [(beside, y, "") for y in (middle, *levels)]
    paper.write(heights.words, *spots, css="strong")
    below = [spot for spot in spots if spot[1] > middle]
    paper.write(heights.range_words, *below, *spots)
    if heights.flown_words:
        lines = folded(f"× {heights.flown_words}", width - beside - 0.2)
        for words in lines:
            paper.write(words, *below, *spots)
    for value in ticks(0.0, top / heights.unit_m, 4):
        y = at_height(value * heights.unit_m)
        paper.add(strokes([[(left - 0.25, y), (left, y)]], "outline"))
        paper.write(f"{value:g}", (left - 0.45, y, "end"), css="muted")
    paper.write(f"height, {heights.unit_words}", (left, foot + 0.9, ""), css="muted")
    return Piece(width, foot + 1.6, sized(paper.ink) + paper.words)
