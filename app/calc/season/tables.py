"""What stacks of grains, cases, nozzles and formulas bring to the arrays of many designs: read off once."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.calc.base.areas import ring_area
from app.calc.base.constants import Floats
from app.calc.grain.tabulated_grain import ShapedGrain
from app.calc.motor.arrays import law_arrays
from app.calc.motor.nozzle import divergence_factor
from app.calc.season.hardware import Formula, Hardware, Pattern

Ints = NDArray[np.int32]


@dataclass(frozen=True)
class Stack:
    """Grains of one motor, forward end first: pattern's place and how many, of one pattern or of two."""

    parts: tuple[tuple[int, int], ...]

    @property
    def count(self) -> int:
        """How many grains."""
        return sum(count for _, count in self.parts)

    def grains(self) -> Iterator[int]:
        """The pattern's place of each grain, forward end first."""
        for pattern, count in self.parts:
            yield from [pattern] * count

    def words(self, patterns: tuple[Pattern, ...]) -> str:
        """As '3 Gull 54'."""
        return " and ".join(f"{count} {patterns[pattern].name}" for pattern, count in self.parts)


@dataclass(frozen=True, eq=False)
class Tables:
    """What stacks (S, K: kinds of grain), cases, nozzles and formulas bring to the arrays [SI]."""

    kinds: Ints
    grains: Floats
    count: Floats
    unit_mass: Floats
    shape: Floats
    shapes: tuple[ShapedGrain, ...]
    port: Floats
    slender: Floats
    volume: Floats
    blocked: NDArray[np.bool_]
    tube_volume: Floats
    tube_mass: Floats
    chamber_volume: Floats
    case_mass: Floats
    limit: Floats
    throat_growth: Floats
    exit_d: Floats
    divergence: Floats
    density: Floats
    nozzle_efficiency: Floats
    rate_scale: Floats
    laws: dict[str, Floats]
    states: tuple[tuple[Floats, Floats, Floats, Floats], ...]

    @classmethod
    def of(cls, house: Hardware, stacks: tuple[Stack, ...]) -> "Tables":
        """Read off the hardware once."""
        widest = max((len(stack.parts) for stack in stacks), default=1)
        grains, count = np.zeros((len(stacks), widest, 7)), np.zeros((len(stacks), widest))
        unit_mass = np.zeros((len(stacks), widest))
        shape, shapes = np.full((len(stacks), widest), -1.0), []
        for row, stack in enumerate(stacks):
            for column, (place, many) in enumerate(stack.parts):
                pattern = house.patterns[place]
                g = pattern.grain
                count[row, column] = many
                unit_mass[row, column] = many * pattern.share * g.volume
                if isinstance(g, ShapedGrain):
                    if g not in shapes:
                        shapes.append(g)
                    shape[row, column] = shapes.index(g)
                    grains[row, column] = (g.outer_d / 2, 0.0, 0.0, g.length, g.burning_ends, 0.0, 0.0)
                    continue
                faces = (g.burning_ends, g.burns_core, g.burns_outer)
                grains[row, column] = (g.outer_d / 2, g.core_d / 2, g.core_offset, g.length, *faces)
        listed = [[house.patterns[place] for place in stack.grains()] for stack in stacks]
        day = house.day
        return cls(
            kinds=np.array([len(stack.parts) for stack in stacks], dtype=np.int32),
            grains=grains,
            count=count,
            unit_mass=unit_mass,
            shape=shape,
            shapes=tuple(shapes),
            port=np.array([_port(one) for one in listed]),
            slender=np.array([sum(p.grain.length / p.grain.outer_d for p in one) for one in listed]),
            volume=np.array([sum(p.grain.volume for p in one) for one in listed]),
            blocked=np.array([any(p.grain.port <= 0 and not p.grain.burns_outer for p in one[1:]) for one in listed]),
            tube_volume=np.array([sum(p.tube_volume for p in one) for one in listed]),
            tube_mass=np.array([sum(p.tube_mass for p in one) for one in listed]),
            chamber_volume=np.array([ring_area(c.inner_d) * c.chamber_length + c.extra_volume for c in house.cases]),
            case_mass=np.array([c.empty_mass for c in house.cases]),
            limit=np.array([c.limit for c in house.cases]),
            throat_growth=np.array([n.throat_growth for n in house.nozzles]),
            exit_d=np.array([n.exit_d for n in house.nozzles]),
            divergence=np.array([divergence_factor(n.half_angle) for n in house.nozzles]),
            density=np.array([f.ideal_density for f in house.formulas]),
            nozzle_efficiency=np.array([f.nozzle_efficiency for f in house.formulas]),
            rate_scale=np.array(
                [f.law.temperature_factor(day.initial_temperature) * (1 + day.extra_area) for f in house.formulas]
            ),
            laws=law_arrays([f.law for f in house.formulas]) if house.formulas else {},
            states=tuple(_states(f) for f in house.formulas),
        )

    def at(self, formula: Ints, log_pressure: Floats) -> tuple[Floats, Floats, Floats]:
        """Delivered c* [m/s], gamma [-] and flow function [-] of formulas at pressures [ln Pa]."""
        found = np.empty((3, len(formula)))
        for place, (at, *columns) in enumerate(self.states):
            rows = formula == place
            if rows.any():
                found[:, rows] = [np.interp(log_pressure[rows], at, column) for column in columns]
        return found[0], found[1], _flow(found[1])


def _flow(gamma: Floats) -> Floats:
    """Flow function of a choked throat [-], as `isentropic.flow_function` over an array."""
    return np.asarray(np.sqrt(gamma) * (2 / (gamma + 1)) ** ((gamma + 1) / (2 * (gamma - 1))))


def _states(formula: Formula) -> tuple[Floats, Floats, Floats, Floats]:
    at, c_star, gamma = formula.over_pressure
    return at, c_star * formula.c_star_efficiency, gamma, gamma


def _port(patterns: list[Pattern]) -> float:
    """Narrowest port that gas passes [m2]; infinite where it passes none."""
    ports = [p.grain.port for p in patterns if p.grain.port > 0 and not p.grain.burns_outer]
    return min(ports, default=float("inf"))
