"""A rocket from the side, to scale: where its motor sits, its middle of mass and of pressure, and its parachutes.

Centres are told in words with arrows. What the book holds no size of, such as nose and fins, is dashed.

>>> rocket = RocketOutline(0.066, 1.32, 0.038, 0.26, mass_m=0.812, pressure_m=0.98, guides_m=0.9,
...     mass_words="812", pressure_words="980", guides_words="900", length_words="1320",
...     chutes=(Parachute("main", 1.2, "Ø 1200"), Parachute("drogue", 0.3, "Ø 300")))
>>> round(rocket.calibres, 2)
2.55
>>> print(rocket_outline(rocket))  # doctest: +ELLIPSIS
<div class="drawing to-scale rocket-outline"><svg ...
"""

import math
from dataclasses import dataclass

from markupsafe import Markup

from app.drawings.sheet import Drawn, at, drawing, em, room
from app.drawings.to_scale import (
    FORMS,
    LINE,
    Paper,
    Piece,
    Point,
    arrow,
    in_rows,
    outline,
    rectangle,
    solid,
    strokes,
    together,
)

SLENDER = 14.0
"""Length over diameter that is drawn where the length is not known [-]: an assumption, and dashed."""

NOSE = 4.0
"""Length of the nose over the diameter, as drawn [-]."""

SAGITTA = 0.08
"""Height of a canopy over its diameter, as drawn [-]; its lines are drawn as short."""

FROM_TIP = "Places are from the tip."

TALL = {"broad": 6.0, "wide": 5.0, "mid": 4.0, "slim": 3.5}
"""The most height for the body in each form [em]."""


@dataclass(frozen=True)
class Parachute:
    """A parachute by its name, its diameter laid flat or open [m], and that in words."""

    name: str
    diameter_m: float
    words: str = ""


@dataclass(frozen=True)
class RocketOutline:
    """Sizes and places from the tip of the nose [m], each with its words; None for what the book does not hold.

    `guides_m` is the middle between the rail guides. `stability_words` say how far pressure lies behind mass.
    """

    diameter_m: float
    length_m: float | None = None
    motor_d_m: float | None = None
    motor_length_m: float | None = None
    mass_m: float | None = None
    pressure_m: float | None = None
    guides_m: float | None = None
    chutes: tuple[Parachute, ...] = ()
    diameter_words: str = ""
    length_words: str = ""
    motor_words: str = ""
    mass_words: str = ""
    pressure_words: str = ""
    guides_words: str = ""
    stability_words: str = ""

    @property
    def drawn_length_m(self) -> float:
        """Its length, or the one it is drawn with [m]."""
        furthest = max(filter(None, (self.mass_m, self.pressure_m, self.guides_m)), default=0.0)
        return self.length_m or max(SLENDER * self.diameter_m, furthest * 1.1, (self.motor_length_m or 0.0) * 2)

    @property
    def calibres(self) -> float | None:
        """How far pressure lies behind mass, in diameters [-]."""
        if self.mass_m is None or self.pressure_m is None:
            return None
        return (self.pressure_m - self.mass_m) / self.diameter_m

    @property
    def told(self) -> list[tuple[str, str, float]]:
        """What is told at a place along it, in many words and in few, from the tip on [m]."""
        places = [
            ("centre of mass", "mass", self.mass_words, self.mass_m),
            ("centre of pressure", "pressure", self.pressure_words, self.pressure_m),
            ("middle of the rail guides", "guides", self.guides_words, self.guides_m),
        ]
        known = [(f"{n} {words}".strip(), f"{s} {words}".strip(), at) for n, s, words, at in places if at is not None]
        return sorted(known, key=lambda place: place[2])


def rocket_outline(rocket: RocketOutline, title: str = "The rocket to scale") -> Markup:
    """The outline with words at its centres, and below it its parachutes to the same scale."""
    return drawing(
        "to-scale rocket-outline", title, _in_words(rocket), lambda name, width: _form(rocket, name, width), FORMS
    )


def _missing(rocket: RocketOutline) -> str:
    length = "" if rocket.length_m else "its length, "
    return f"Dashed: not in the book ({length}nose, fins)."


def _in_words(rocket: RocketOutline) -> str:
    sizes = (("diameter", rocket.diameter_words), ("length", rocket.length_words), ("motor", rocket.motor_words))
    said = [", ".join(f"{name} {words}" for name, words in sizes if words)]
    said += ["from the tip: " + ", ".join(words for words, _, _ in rocket.told)] if rocket.told else []
    said.append(rocket.stability_words)
    said += ["; ".join(f"{c.name} parachute {c.words}" for c in rocket.chutes) or "no parachute in the book"]
    return " ".join(f"{words[:1].upper()}{words[1:].rstrip('.')}." for words in (*said, _missing(rocket)) if words)


# --- One form ------------------------------------------------------------------------------------


def _form(rocket: RocketOutline, name: str, width: float) -> Drawn:
    roomy = name in ("broad", "wide")
    margin = room(rocket.diameter_words) + 1.6 if roomy else 1.0
    longest = rocket.drawn_length_m
    scale = min(
        (width - margin - 0.6) / longest,
        TALL[name] / rocket.diameter_m,
        (width - 1.0) / max((c.diameter_m for c in rocket.chutes), default=longest),
    )
    paper = Paper(width)
    left = max((width - margin - longest * scale) / 2, 0.3)
    span = 0.9 * rocket.diameter_m * scale
    radius = rocket.diameter_m * scale / 2
    axis = radius + max(span + 0.3, 1.4 + LINE * len(rocket.told))
    _body(paper, rocket, scale, left, axis)
    height = _dimensions(paper, rocket, scale, left, axis, roomy)
    _places(paper, rocket, scale, left, axis)
    paper.note(f"{rocket.stability_words} {FROM_TIP if rocket.told else ''}".strip())
    paper.note(_missing(rocket), css="muted")
    return _with_chutes(paper, rocket, scale, height)


def _body(paper: Paper, rocket: RocketOutline, scale: float, left: float, axis: float) -> None:
    """Nose, tube and fins, and the motor in its place at the tail."""
    radius, end = rocket.diameter_m * scale / 2, left + rocket.drawn_length_m * scale
    nose = left + min(NOSE * rocket.diameter_m, rocket.drawn_length_m * 0.4) * scale
    bow = [(i / 16, math.sin(math.pi / 2 * i / 16) ** 0.8) for i in range(17)]
    tip: list[Point] = [(nose - (nose - left) * (1 - share), axis - radius * high) for share, high in bow]
    paper.add(outline([[*tip, *[(x, 2 * axis - y) for x, y in tip[::-1]]]], "unsized bare", closed=False))
    root, span = min(2.2 * rocket.diameter_m * scale, (end - nose) * 0.4), 0.9 * rocket.diameter_m * scale
    for side in (-1, 1):
        edge = axis + side * radius
        fin = [(end - root, edge), (end - root * 0.35, edge + side * span), (end, edge + side * span), (end, edge)]
        paper.add(outline([fin], "unsized bare"))
    tube = rectangle(nose, axis - radius, end, axis + radius)
    paper.add(outline([tube], "cut body" if rocket.length_m else "unsized bare"))
    if rocket.motor_length_m and rocket.motor_d_m:
        half = rocket.motor_d_m * scale / 2
        motor = rectangle(end - rocket.motor_length_m * scale, axis - half, end, axis + half)
        paper.add(solid(motor, "motor", gap=0.35))
    if rocket.guides_m is not None:
        x = left + rocket.guides_m * scale
        paper.add(strokes([[(x, axis - radius), (x, axis + radius)]], "hidden"))
    paper.centre_line((left - 0.3, axis), (end + 0.5, axis))


def _dimensions(paper: Paper, rocket: RocketOutline, scale: float, left: float, axis: float, roomy: bool) -> float:
    """Length, diameter and motor below the body; where they end."""
    radius, end = rocket.diameter_m * scale / 2, left + rocket.drawn_length_m * scale
    level = axis + radius + 0.9 * rocket.diameter_m * scale + 0.9
    rest = []
    if rocket.motor_length_m and rocket.motor_words:
        start = end - rocket.motor_length_m * scale
        words = f"motor {rocket.motor_words}"
        if not paper.along(start, end, level, words, edge=axis + (rocket.motor_d_m or 0.0) * scale / 2):
            rest.append(words)
        level += 1.4
    if rocket.length_m and rocket.length_words:
        if not paper.along(left, end, level, rocket.length_words, edge=axis):
            rest.append(f"length {rocket.length_words}")
        level += 0.9
    if rocket.diameter_words:
        x = end + 1.0
        spots = [(x + 0.4, axis, "")] if roomy else []
        if not roomy or not paper.upright(axis - radius, axis + radius, x, rocket.diameter_words, *spots, edge=end):
            rest.append(rocket.diameter_words)
    paper.note(together(rest))
    return level


def _places(paper: Paper, rocket: RocketOutline, scale: float, left: float, axis: float) -> None:
    """Words above the body, one line each, with an arrow from each down to its place."""
    radius = rocket.diameter_m * scale / 2
    for number, (long, short, along) in enumerate(reversed(rocket.told)):
        x = left + along * scale
        level = 0.8 + LINE * number
        for words in (long, short):
            wide = room(words)
            over = max(0.1, min(x - wide / 2, paper.width - wide - 0.1))
            if paper.write(words, (x - 0.4, level, "end"), (x + 0.4, level, ""), (over, level, "")):
                break
        else:
            paper.note(long)
            continue
        a, _, c, bottom = paper.taken[-1]
        end = (x, axis - radius - 0.05)
        if a < x < c:
            paper.add(arrow((x, bottom), end))
        else:
            paper.add(strokes([[(min(max(x, a), c), level), (x, level)]], "pointer"), arrow((x, level), end))
            paper.keep(x - 0.15, level, x + 0.15, axis - radius)


def _with_chutes(paper: Paper, rocket: RocketOutline, scale: float, height: float) -> Drawn:
    """The sheet with the parachutes below the rocket, open as seen from the side."""
    pieces = []
    for chute in rocket.chutes:
        wide, words = chute.diameter_m * scale, f"{chute.name} {chute.words}".strip()
        column = max(wide, room(words)) + 0.4
        high = SAGITTA * wide
        part, middle = Paper(column), column / 2
        dome = [
            (middle + wide / 2 * math.cos(math.pi * i / 48), high * (1 - math.sin(math.pi * i / 48)) + 0.2)
            for i in range(49)
        ]
        part.add(outline([dome], "cut chute"))
        lines = [
            [(middle + wide / 2 * k, high + 0.2), (middle, high + 0.2 + SAGITTA * wide)] for k in (-1.0, -0.4, 0.4, 1.0)
        ]
        part.add(strokes(lines, "thin"))
        level = 2 * high + 1.1
        part.write(words, (middle, level, "middle"))
        pieces.append(Piece(column, level + 0.6, [*part.ink, *part.words]))
    if not pieces:
        return paper.drawn(height)
    rows = in_rows(pieces, paper.width, 1.2)
    whole = paper.drawn(height + rows.height + 0.8)
    return Drawn([*whole.parts, at("0", em(height + 0.5), *rows.parts)], whole.height)
