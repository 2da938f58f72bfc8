"""A motor cut along its axis, to scale: case, grains in their tubes, nozzle, and the length left free.

What the book holds no size of, such as the closure and the nozzle's body, is dashed.

>>> grain = CutGrain(0.0345, 0.010, 0.055, "25L1-04", 0.963, "96.3 %")
>>> nozzle = CutNozzle(0.00803, 0.019, throat_words="Ø 8.03", exit_words="Ø 19.0")
>>> motor = MotorCut(0.0353, 0.0381, 0.18, (grain,) * 3, nozzle, gap_m=0.002, port_words="Port 1.55 × throat")
>>> round(motor.free_m * 1e3, 1)
11.0
>>> print(motor_section(motor))  # doctest: +ELLIPSIS
<div class="drawing to-scale motor-section"><svg ...
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from markupsafe import Markup

from app.drawings.sheet import Drawn, drawing, room
from app.drawings.to_scale import (
    FORMS,
    LINE,
    Paper,
    Point,
    Spot,
    circle,
    hatch_gap,
    outline,
    rectangle,
    solid,
    strokes,
    together,
)

CONVERGENT = math.radians(45)
"""Between the axis and the inside of a nozzle's entry, as drawn [rad]: the book does not hold it."""

DIVERGENT = math.radians(15)
"""Between the axis and the exit cone where the book does not hold it [rad]."""

TALL = {"broad": 11.0, "wide": 8.0, "mid": 5.0, "slim": 4.0}
"""The most height for the case in each form [em]."""


@dataclass(frozen=True)
class CutGrain:
    """A grain's propellant [m], its name, its share of ideal density and that in words; its tube's outside [m]."""

    outer_d_m: float
    core_d_m: float
    length_m: float
    serial: str = ""
    share: float | None = None
    share_words: str = ""
    length_words: str = ""
    tube_d_m: float | None = None


@dataclass(frozen=True)
class CutNozzle:
    """A nozzle's throat and exit [m], and the half angle of its exit cone [rad] where it is known."""

    throat_d_m: float
    exit_d_m: float
    half_angle_rad: float | None = None
    throat_words: str = ""
    exit_words: str = ""


@dataclass(frozen=True)
class MotorCut:
    """A case's diameters and its room for grains [m], what is in it from the closure on, and words for its figures.

    `gap_m` lies between each two grains; `spacers_m` are lengths of spacers before the first; what is left over lies
    before them. `port_words` is what is said at the last core's end, `port_doubt` whether that is to be looked at.
    """

    inner_d_m: float
    outer_d_m: float
    room_m: float
    grains: tuple[CutGrain, ...]
    nozzle: CutNozzle
    gap_m: float = 0.0
    spacers_m: tuple[float, ...] = ()
    liner_d_m: float | None = None
    outer_words: str = ""
    room_words: str = ""
    free_words: str = ""
    core_words: str = ""
    port_words: str = ""
    port_doubt: bool = False

    @property
    def free_m(self) -> float:
        """What grains, gaps and spacers leave of the room; negative where they are too long [m]."""
        gaps = self.gap_m * max(len(self.grains) - 1, 0)
        return self.room_m - sum(grain.length_m for grain in self.grains) - gaps - sum(self.spacers_m)

    @property
    def places(self) -> list[tuple[CutGrain, float]]:
        """Each grain with where it begins, from the closure's face [m]; the last ends at the nozzle."""
        found, at = [], self.free_m + sum(self.spacers_m)
        for grain in self.grains:
            found.append((grain, at))
            at += grain.length_m + self.gap_m
        return found


def motor_section(motor: MotorCut, title: str = "The motor in section") -> Markup:
    """The section with its dimension lines; the denser a grain, the closer its hatching."""
    return drawing(
        "to-scale motor-section", title, _in_words(motor), lambda name, width: _form(motor, name, width), FORMS
    )


def _in_words(motor: MotorCut) -> str:
    sizes = (("case, outer diameter", motor.outer_words), ("room for grains", motor.room_words))
    said = [", ".join(f"{name} {words}" for name, words in sizes if words)]
    grains = []
    for number, grain in enumerate(motor.grains, start=1):
        parts = (
            grain.serial or f"grain {number}",
            grain.share_words,
            grain.length_words and f"{grain.length_words} long",
        )
        grains.append(", ".join(part for part in parts if part))
    said.append(f"from the closure: {'; '.join(grains) or 'no grain'}")
    said += [f"core {motor.core_words}"] if motor.core_words else []
    said += [f"left free: {motor.free_words}"] if motor.free_words else []
    nozzle = (("throat", motor.nozzle.throat_words), ("exit", motor.nozzle.exit_words))
    said.append(", ".join(f"{name} {words}" for name, words in nozzle if words))
    said.append(motor.port_words)
    said.append("dashed: size not in the book; closer hatching: denser grain")
    return " ".join(f"{words[:1].upper()}{words[1:].rstrip('.')}." for words in said if words)


# --- One form ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Plan:
    """Where metres lie on the sheet [em], and the lengths that are drawn of what the book does not hold [m]."""

    scale: float
    left: float
    axis: float
    closure_m: float
    entry_m: float
    cone_m: float

    def x(self, along_m: float) -> float:
        """From the closure's face."""
        return self.left + (along_m + self.closure_m) * self.scale

    def band(self, start_m: float, end_m: float, inner_d_m: float, outer_d_m: float, side: int) -> list[Point]:
        """The corners of a part on one side of the axis: between two places along, and two diameters."""
        near, far = (self.axis + side * d * self.scale / 2 for d in (inner_d_m, outer_d_m))
        return rectangle(self.x(start_m), near, self.x(end_m), far)


def _form(motor: MotorCut, name: str, width: float) -> Drawn:
    paper = Paper(width)
    nozzle = motor.nozzle
    closure = 0.28 * motor.inner_d_m
    entry = max(motor.inner_d_m * 0.94 - nozzle.throat_d_m, 0.0) / 2 / math.tan(CONVERGENT)
    cone = (nozzle.exit_d_m - nozzle.throat_d_m) / 2 / math.tan(nozzle.half_angle_rad or DIVERGENT)
    whole = closure + motor.room_m + entry + cone
    exit_words = f"exit {nozzle.exit_words}" if nozzle.exit_words else ""
    roomy = name in ("broad", "wide")
    right = 1.8 + (room(exit_words) if roomy else 0.0)
    left = 1.6 + (room(motor.outer_words) if roomy else 0.0)
    widest = max(motor.outer_d_m, nozzle.exit_d_m)
    scale = min((width - left - right) / whole, TALL[name] / widest)
    left += max(width - left - right - whole * scale, 0.0) / 2
    radius = widest * scale / 2
    inside = all(grain.core_d_m * scale >= 1.15 for grain in motor.grains)
    rows = 1 + (not inside) + bool(motor.core_words) + bool(motor.port_words)
    plan = _Plan(scale, left, LINE * rows + 0.7 + radius, closure, entry, cone)
    closure_corners = [
        corner for side in (-1, 1) for corner in plan.band(-closure, 0.0, 0.0, motor.inner_d_m, side)[2:][::side]
    ]
    paper.add(outline([closure_corners], "unsized"))
    for side in (-1, 1):
        _side(paper, motor, plan, side)
    for grain, start in motor.places:  # both edges of the core, end to end
        for x in (start, start + grain.length_m):
            edge = grain.core_d_m * scale / 2
            paper.add(strokes([[(plan.x(x), plan.axis - edge), (plan.x(x), plan.axis + edge)]], "thin"))
    end = plan.x(motor.room_m + entry + cone)
    paper.centre_line((plan.x(-closure) - 0.5, plan.axis), (end + 0.5, plan.axis))
    height = _words(paper, motor, plan, exit_words)
    paper.note("Closer hatching: denser grain. Dashed: size not in the book.", css="muted")
    return paper.drawn(height)


def _side(paper: Paper, motor: MotorCut, plan: _Plan, side: int) -> None:
    """What lies on one side of the axis."""
    inner, end = motor.inner_d_m, motor.room_m
    back = end + plan.entry_m + min(plan.cone_m, 0.1 * inner)
    paper.add(solid(plan.band(-plan.closure_m - 0.06 * inner, back, inner, motor.outer_d_m, side), "case"))
    if motor.liner_d_m:
        paper.add(solid(plan.band(0.0, end, motor.liner_d_m, inner, side), "tube"))
    at = motor.free_m
    for length in motor.spacers_m:
        paper.add(solid(plan.band(at, at + length, inner * 0.8, motor.liner_d_m or inner, side), "spacer", gap=0.25))
        at += length
    for number, (grain, start) in enumerate(motor.places):
        stop = start + grain.length_m
        gap = hatch_gap(grain.share) if grain.share is not None else None
        paper.add(solid(plan.band(start, stop, grain.core_d_m, grain.outer_d_m, side), "grain", gap))
        if grain.tube_d_m:
            paper.add(solid(plan.band(start, stop, grain.outer_d_m, grain.tube_d_m, side), "tube"))
        if number and motor.gap_m * plan.scale > 0.12:
            paper.add(outline([plan.band(start - motor.gap_m, start, inner * 0.8, inner, side)], "unsized"))
    paper.add(*_nozzle(motor, plan, side))


def _nozzle(motor: MotorCut, plan: _Plan, side: int) -> Iterator[Markup]:
    """The nozzle's half: its body dashed, its inside as far as the book holds it in full lines."""
    inner, nozzle = motor.inner_d_m, motor.nozzle
    throat_at = motor.room_m + plan.entry_m
    exit_at = throat_at + plan.cone_m
    back = throat_at + min(plan.cone_m, 0.1 * inner)
    wall = 0.09 * inner

    def point(along_m: float, d_m: float) -> Point:
        return plan.x(along_m), plan.axis + side * d_m * plan.scale / 2

    grown = nozzle.throat_d_m + (nozzle.exit_d_m - nozzle.throat_d_m) * (back - throat_at) / (plan.cone_m or 1.0)
    body = [
        point(motor.room_m, inner),
        point(motor.room_m, max(inner * 0.94, nozzle.throat_d_m)),
        point(throat_at, nozzle.throat_d_m),
        point(exit_at, nozzle.exit_d_m),
        point(exit_at, nozzle.exit_d_m + 2 * wall),
        point(back, min(grown + 2 * wall, inner)),
        point(back, inner),
    ]
    yield outline([body], "unsized nozzle")
    cone = [point(throat_at, nozzle.throat_d_m), point(exit_at, nozzle.exit_d_m)]
    yield outline([cone], "inside" if nozzle.half_angle_rad else "inside dashed", closed=False)
    mouth = nozzle.exit_d_m, nozzle.exit_d_m + 2 * wall
    yield outline([[point(exit_at, d) for d in mouth]], "inside", closed=False)


# --- Its words -----------------------------------------------------------------------------------


def _words(paper: Paper, motor: MotorCut, plan: _Plan, exit_words: str) -> float:
    """All words round the section; what has no room at its place is said below. Where the last line ends [em]."""
    half = max(motor.outer_d_m, motor.nozzle.exit_d_m) * plan.scale / 2
    row, foot = plan.axis - half - 0.8, plan.axis + half
    left_out = [words for words in (_throat(paper, motor, plan, row),) if words]
    grains = _grains(paper, motor, plan, row)
    above = row - LINE * (1 if _inside(motor, plan) else 2)
    left_out += _core(paper, motor, plan, above)
    _port(paper, motor, plan, above - LINE * bool(motor.core_words))
    left_out += _exit(paper, motor, plan, exit_words)
    left_out += _case(paper, motor, plan)
    height, below = _below(paper, motor, plan, foot)
    paper.note(together(grains), together([*below, *left_out]))
    return height


def _inside(motor: MotorCut, plan: _Plan) -> bool:
    """Whether words have room in every core."""
    return all(grain.core_d_m * plan.scale >= 1.15 for grain in motor.grains)


def _grains(paper: Paper, motor: MotorCut, plan: _Plan, row: float) -> list[str]:
    """Names above the grains, shares in their cores or above them; with numbers instead, the names to be listed."""
    places = motor.places
    widest = max((max(room(g.serial, bold=True), room(g.share_words)) + 0.5 for g, _ in places), default=0.0)
    fits = all(widest <= grain.length_m * plan.scale for grain, _ in places)
    level = plan.axis if _inside(motor, plan) else row - LINE
    listed = []
    for number, (grain, start) in enumerate(places, start=1):
        middle = plan.x(start + grain.length_m / 2)
        paper.write(grain.serial if fits else str(number), (middle, row, "middle"), css="strong")
        if not fits:
            listed.append(" ".join(part for part in (str(number), grain.serial, grain.share_words) if part))
        elif not paper.write(grain.share_words, (middle, level, "middle")):
            listed.append(f"{grain.serial} {grain.share_words}")
    return listed


def _led(paper: Paper, words: str, to: Point, spots: list[Spot]) -> bool:
    """Words with a line from below them down to what they tell of."""
    if not words or not paper.write(words, *spots):
        return False
    left, _, right, bottom = paper.taken[-1]
    start = min(max(to[0], left + 0.2), right - 0.2)
    paper.add(strokes([[(start, bottom + 0.1), to]], "leader"))
    return True


def _throat(paper: Paper, motor: MotorCut, plan: _Plan, row: float) -> str:
    """The throat's words above it; those that had no room."""
    words = f"throat {motor.nozzle.throat_words}" if motor.nozzle.throat_words else ""
    x = plan.x(motor.room_m + plan.entry_m)
    to = x, plan.axis - motor.nozzle.throat_d_m * plan.scale / 2
    return "" if _led(paper, words, to, [(x - 0.4, row, ""), (paper.width, row, "end")]) else words


def _core(paper: Paper, motor: MotorCut, plan: _Plan, row: float) -> list[str]:
    """The core's words above the first grain, led to its edge."""
    words = f"core {motor.core_words}" if motor.core_words else ""
    if not words or not motor.grains:
        return []
    grain, start = motor.places[0]
    x = plan.x(start) + 0.5
    to = x, plan.axis - grain.core_d_m * plan.scale / 2
    return [] if _led(paper, words, to, [(x - 0.4, row, ""), (0.1, row, "")]) else [words]


def _exit(paper: Paper, motor: MotorCut, plan: _Plan, words: str) -> list[str]:
    end = plan.x(motor.room_m + plan.entry_m + plan.cone_m)
    edge = motor.nozzle.exit_d_m * plan.scale / 2
    written = paper.upright(plan.axis - edge, plan.axis + edge, end + 1.0, words, (end + 1.4, plan.axis, ""), edge=end)
    return [] if written else [words]


def _case(paper: Paper, motor: MotorCut, plan: _Plan) -> list[str]:
    x, edge, half = plan.x(-plan.closure_m) - 1.0, plan.x(-plan.closure_m), motor.outer_d_m * plan.scale / 2
    spot = (x - 0.35, plan.axis, "end")
    written = paper.upright(plan.axis - half, plan.axis + half, x, motor.outer_words, spot, edge=edge)
    return [] if written else [f"case {motor.outer_words}"]


def _port(paper: Paper, motor: MotorCut, plan: _Plan, level: float) -> None:
    """What is said of the port, hung at the end of the last core."""
    if not motor.port_words or not motor.grains:
        return
    grain, start = motor.places[-1]
    words = f"? {motor.port_words}" if motor.port_doubt else motor.port_words
    css = "strong over" if motor.port_doubt else "strong"
    x, low = plan.x(start + grain.length_m), plan.axis - grain.core_d_m * plan.scale / 2
    wide = room(words, bold=True)
    if not paper.write(words, (x - 0.8, level, "end"), (max(x - wide * 0.8, 0.1), level, ""), css=css):
        paper.note(words, css=css)
        return
    end = paper.taken[-1][2]
    line = [(end, level), (x, level), (x, low)] if end < x else [(x, level + 0.6), (x, low)]
    css = "leader doubt" if motor.port_doubt else "leader"
    paper.add(strokes([line], css), outline([circle(x, low, 0.2, 12)], f"{css} tip"))


def _below(paper: Paper, motor: MotorCut, plan: _Plan, foot: float) -> tuple[float, list[str]]:
    """Dimension lines below the case: where the last of them ends, and the words that had no room."""
    wall, level = plan.axis + motor.outer_d_m * plan.scale / 2, foot + 0.9
    left_out: list[str] = []
    free = f"free {motor.free_words}" if motor.free_words else ""
    for grain, start in motor.places:
        words = grain.length_words
        if words and room(words) + 1.5 > grain.length_m * plan.scale:
            left_out += [told for told in (f"grains {words} long",) if told not in left_out]
            words = ""
        paper.along(plan.x(start), plan.x(start + grain.length_m), level, words, edge=wall)
    if motor.free_m * plan.scale > 0.05 and free:
        if not paper.along(plan.x(0.0), plan.x(motor.free_m), level, free, edge=wall):
            left_out.append(free)
    elif free:
        left_out.append(free)
    level += 1.4
    room_words = f"room {motor.room_words}" if motor.room_words else ""
    if not paper.along(plan.x(0.0), plan.x(motor.room_m), level, room_words, edge=wall):
        left_out.append(room_words)
    return level + 0.8, left_out
