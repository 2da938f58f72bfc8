"""What a motor consists of, in metres, and its parts as they are drawn when it is cut along its axis.

What the book holds no size of, such as the closure and the nozzle's body, is dashed.

>>> grain = CutGrain(0.0345, 0.010, 0.055)
>>> motor = MotorCut(0.0353, 0.0381, 0.18, (grain,) * 3, CutNozzle(0.00803, 0.019), gap_m=0.002)
>>> [round(start * 1e3, 1) for _, start in motor.places]
[11.0, 68.0, 125.0]
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from markupsafe import Markup

from app.drawings.to_scale import Point, hatch_gap, outline, rectangle, solid, strokes

CONVERGENT = math.radians(45)
"""Between the axis and the inside of a nozzle's entry, as drawn [rad]: the book does not hold it."""

DIVERGENT = math.radians(15)
"""Between the axis and the exit cone where the book does not hold it [rad]."""


@dataclass(frozen=True)
class CutGrain:
    """A grain's propellant [m], its name, its share of ideal density and that in words; its tube's outside [m].

    With a state it is filled for ready or dashed for one to cast, and not hatched.
    """

    outer_d_m: float
    core_d_m: float
    length_m: float
    serial: str = ""
    share: float | None = None
    share_words: str = ""
    length_words: str = ""
    tube_d_m: float | None = None
    state: Literal["", "ready", "to cast"] = ""


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


@dataclass(frozen=True)
class Plan:
    """Where metres lie on the sheet [em], and the lengths that are drawn of what the book does not hold [m]."""

    scale: float
    left: float
    axis: float
    closure_m: float
    entry_m: float
    cone_m: float

    @classmethod
    def of(cls, motor: MotorCut, scale: float = 1.0, left: float = 0.0, axis: float = 0.0) -> "Plan":
        """The plan of a motor at a scale [em/m], from a left edge and with its axis at a height [em]."""
        nozzle = motor.nozzle
        entry = max(motor.inner_d_m * 0.94 - nozzle.throat_d_m, 0.0) / 2 / math.tan(CONVERGENT)
        cone = (nozzle.exit_d_m - nozzle.throat_d_m) / 2 / math.tan(nozzle.half_angle_rad or DIVERGENT)
        return cls(scale, left, axis, 0.28 * motor.inner_d_m, entry, cone)

    def long(self, motor: MotorCut) -> float:
        """The motor's length with closure and nozzle, as drawn [em]."""
        return (self.closure_m + motor.room_m + self.entry_m + self.cone_m) * self.scale

    def x(self, along_m: float) -> float:
        """From the closure's face."""
        return self.left + (along_m + self.closure_m) * self.scale

    def band(self, start_m: float, end_m: float, inner_d_m: float, outer_d_m: float, side: int) -> list[Point]:
        """The corners of a part on one side of the axis: between two places along, and two diameters."""
        near, far = (self.axis + side * d * self.scale / 2 for d in (inner_d_m, outer_d_m))
        return rectangle(self.x(start_m), near, self.x(end_m), far)


def cut_parts(motor: MotorCut, plan: Plan) -> Iterator[Markup]:
    """All parts, those further out first, and the axis."""
    closure = [c for side in (-1, 1) for c in plan.band(-plan.closure_m, 0.0, 0.0, motor.inner_d_m, side)[2:][::side]]
    yield outline([closure], "unsized")
    for side in (-1, 1):
        yield from _side(motor, plan, side)
    for grain, start in motor.places:  # both edges of the core, end to end
        edge = grain.core_d_m * plan.scale / 2
        ends = [plan.x(start), plan.x(start + grain.length_m)]
        yield strokes([[(x, plan.axis - edge), (x, plan.axis + edge)] for x in ends], "thin")
    start, end = plan.x(-plan.closure_m), plan.x(-plan.closure_m) + plan.long(motor)
    yield strokes([[(start - 0.5, plan.axis), (end + 0.5, plan.axis)]], "centre-line")


def _side(motor: MotorCut, plan: Plan, side: int) -> Iterator[Markup]:
    """What lies on one side of the axis."""
    inner, end = motor.inner_d_m, motor.room_m
    back = end + plan.entry_m + min(plan.cone_m, 0.1 * inner)
    yield solid(plan.band(-plan.closure_m - 0.06 * inner, back, inner, motor.outer_d_m, side), "case")
    if motor.liner_d_m:
        yield solid(plan.band(0.0, end, motor.liner_d_m, inner, side), "tube")
    at = motor.free_m
    for length in motor.spacers_m:
        yield solid(plan.band(at, at + length, inner * 0.8, motor.liner_d_m or inner, side), "spacer", gap=0.25)
        at += length
    for number, (grain, start) in enumerate(motor.places):
        stop = start + grain.length_m
        gap = hatch_gap(grain.share) if grain.share is not None and not grain.state else None
        css = {"": "grain", "ready": "grain ready", "to cast": "grain to-cast"}[grain.state]
        yield solid(plan.band(start, stop, grain.core_d_m, grain.outer_d_m, side), css, gap)
        if grain.tube_d_m and grain.state != "to cast":
            yield solid(plan.band(start, stop, grain.outer_d_m, grain.tube_d_m, side), "tube")
        if number and motor.gap_m * plan.scale > 0.12:
            yield outline([plan.band(start - motor.gap_m, start, inner * 0.8, inner, side)], "unsized")
    yield from _nozzle(motor, plan, side)


def _nozzle(motor: MotorCut, plan: Plan, side: int) -> Iterator[Markup]:
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
