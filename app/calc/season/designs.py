"""Every design that hardware allows, and many of them as arrays for the march.

A design is a case, a nozzle as it is or drilled out, a formula, and grains of one pattern or of two of one outer
diameter. What cannot be put together at all (too long, too wide) is no design; why is told once, in words.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

import numpy as np

from app.calc.base.areas import ring_area
from app.calc.base.constants import Floats
from app.calc.base.errors import CalcError
from app.calc.base.notes import Amount, Note
from app.calc.motor.arrays import Arrays, webs
from app.calc.motor.assembly import Motor
from app.calc.motor.law_lines import Lines
from app.calc.motor.own_pressure import USUAL_PRESSURE, at_its_own_pressure
from app.calc.propellant.thermochem import BlendState
from app.calc.season.hardware import Hardware, Pattern
from app.calc.season.tables import Ints, Stack, Tables

ONE_DIAMETER = 0.2e-3
"""Two patterns whose outer diameters differ by no more are of one diameter [m]: callipers and tubes."""

SAME_THROAT = 0.05e-3
"""A drill wider than the throat by no more takes nothing away that callipers would see [m]."""


@dataclass(frozen=True, eq=False)
class Designs:
    """Designs as places in the hardware's lists, shape (N,), with throats [m] and what drilling takes off them [m]."""

    hardware: Hardware
    stacks: tuple[Stack, ...]
    case: Ints
    nozzle: Ints
    formula: Ints
    stack: Ints
    throat_d: Floats
    drilled: Floats
    left_out: tuple[Note | str, ...]

    def __len__(self) -> int:
        return len(self.case)

    @cached_property
    def tables(self) -> Tables:
        """What each stack, case, nozzle and formula brings to the arrays."""
        return Tables.of(self.hardware, self.stacks)

    @cached_property
    def propellant_mass(self) -> Floats:
        """Of each design [kg]."""
        t = self.tables
        return np.asarray(t.unit_mass.sum(axis=1)[self.stack] * t.density[self.formula])

    @cached_property
    def empty_mass(self) -> Floats:
        """What flies of each design besides propellant and rocket: case and tubes [kg]."""
        return np.asarray(self.tables.case_mass[self.case] + self.tables.tube_mass[self.stack])

    @cached_property
    def port_to_throat(self) -> Floats:
        """Narrowest port over throat; infinite where no gas passes a grain [-]."""
        return np.asarray(self.tables.port[self.stack] / ring_area(1.0) / self.throat_d**2)

    @cached_property
    def slenderness(self) -> Floats:
        """Length of all propellant over its diameter [-]."""
        return self.tables.slender[self.stack]

    def motor(self, index: int) -> Motor:
        """One design as a motor by itself, its blend at the motor's own pressure.

        Raises
        ------
        CalcError
            It cannot be put together or marched.
        """
        return self.motor_and_state(index)[0]

    def motor_and_state(self, index: int) -> tuple[Motor, BlendState]:
        """As `motor`, with the state of its blend."""
        house = self.hardware
        case, nozzle = house.cases[self.case[index]], house.nozzles[self.nozzle[index]]
        formula, stack = house.formulas[self.formula[index]], self.stacks[self.stack[index]]
        patterns = [house.patterns[place] for place in stack.grains()]

        def make(state: BlendState) -> Motor:
            return Motor(
                grains=tuple(pattern.of(formula.ideal_density) for pattern in patterns),
                propellant=formula.propellant(state),
                throat_d=float(self.throat_d[index]),
                exit_d=nozzle.exit_d,
                case_inner_d=case.inner_d,
                chamber_length=case.chamber_length,
                ambient_pressure=house.day.ambient_pressure,
                c_star_efficiency=formula.c_star_efficiency,
                nozzle_efficiency=formula.nozzle_efficiency,
                half_angle=nozzle.half_angle,
                throat_growth=nozzle.throat_growth,
                free_volume_extra=case.extra_volume - sum(pattern.tube_volume for pattern in patterns),
                igniter_pressure=house.day.igniter_pressure,
                initial_temperature=house.day.initial_temperature,
                extra_area=house.day.extra_area,
            )

        return at_its_own_pressure(make, formula.states)

    def arrays(self, rows: Ints) -> Arrays:
        """Some designs laid out for the march, each blend read at the pressure of the closed form.

        That is the steady pressure of the mean burning area, near the mean pressure that a march alone reads it at; c*
        moves so little with pressure that figures agree to a thousandth.
        """
        t = self.tables
        first = self._at(rows, np.full(len(rows), np.log(USUAL_PRESSURE)))
        web = webs(first)[0].max(axis=1)
        drain = ring_area(1.0) * (first.throat_d + first.throat_growth / 2) ** 2 / first.c_star
        mean = Lines.of(first).steady_at(np.log(first.mass.sum(axis=1) / web / drain))
        c_star, gamma, flow = t.at(self.formula[rows], mean)
        return first.changed(c_star=c_star, gamma=gamma, flow_function=flow)

    def _at(self, rows: Ints, log_pressure: Floats) -> Arrays:
        t, day = self.tables, self.hardware.day
        stack, case, nozzle, formula = self.stack[rows], self.case[rows], self.nozzle[rows], self.formula[rows]
        widest = int(t.kinds[stack].max())
        grains = t.grains[stack, :widest]
        c_star, gamma, flow = t.at(formula, log_pressure)
        full = np.ones(len(rows))
        return Arrays(
            outer_r=grains[:, :, 0],
            core_r=grains[:, :, 1],
            offset=grains[:, :, 2],
            length=grains[:, :, 3],
            mass=t.unit_mass[stack, :widest] * t.density[formula][:, None],
            count=t.count[stack, :widest],
            ends=grains[:, :, 4],
            burns_core=grains[:, :, 5],
            burns_outer=grains[:, :, 6],
            chamber_volume=t.chamber_volume[case] - t.tube_volume[stack],
            throat_d=self.throat_d[rows],
            throat_growth=t.throat_growth[nozzle],
            exit_d=t.exit_d[nozzle],
            c_star=c_star,
            gamma=gamma,
            flow_function=flow,
            nozzle_efficiency=t.nozzle_efficiency[formula] * t.divergence[nozzle],
            ambient=day.ambient_pressure * full,
            igniter=day.igniter_pressure * full,
            rate_scale=t.rate_scale[formula],
            **{name: values[formula] for name, values in t.laws.items()},
            shape=t.shape[stack, :widest],
            shapes=t.shapes,
        )


def designs_of(hardware: Hardware) -> Designs:
    """Give every design that hardware allows.

    Parameters
    ----------
    hardware : Hardware
        What there is.

    Returns
    -------
    Designs
        In the order of cases, formulas, grains, nozzles and throats; and what was left out, in words.

    Raises
    ------
    CalcError
        More designs than are looked at in one search.

    Notes
    -----
    A drill counts where it is wider than a nozzle's throat and narrower than its exit; a nozzle goes into a case that
    is as wide as its exit. Of two patterns in one motor the wider cores stand aft, where more gas passes.

    References
    ----------
    Counting; what goes into a case as in `assembly.Motor`.

    Examples
    --------
    >>> len(designs_of(Hardware((), (), (), ())))
    0
    """
    stacks: dict[Stack, int] = {}
    rows: list[tuple[int, int, int, int, float, float]] = []
    left_out: list[Note | str] = []
    throats = [(n, throat, drilled) for n in range(len(hardware.nozzles)) for throat, drilled in _throats(hardware, n)]
    for c, case in enumerate(hardware.cases):
        into = [one for one in throats if hardware.nozzles[one[0]].exit_d <= case.inner_d * (1 + 1e-9)]
        if hardware.nozzles and not into:
            left_out.append(f"No nozzle goes into {case.name}: every exit is wider than its bore.")
        of = [f for f, formula in enumerate(hardware.formulas) if formula.cases is None or c in formula.cases]
        fitting, goes_in = [], False
        for stack in _stacks(hardware, c, left_out):
            goes_in = True
            fitting += [(f, stack) for f in of if all(_is_of(hardware.patterns[place], f) for place, _ in stack.parts)]
            if len(rows) + len(fitting) * max(len(into), 1) > hardware.most_designs:
                raise CalcError(
                    "drills",
                    f"make more than {hardware.most_designs} designs with all cases, nozzles, formulas and patterns, "
                    "and no more are looked at.",
                    "Leave out drills, or patterns and formulas that you would not use for this.",
                )
        if hardware.patterns and not goes_in:
            left_out.append(f"No grain goes into {case.name}.")
        for f, stack in sorted(fitting, key=lambda one: one[0]):
            place = stacks.setdefault(stack, len(stacks))
            rows += [(c, f, place, *throat) for throat in into]
    columns = list(zip(*rows, strict=True)) if rows else [()] * 6
    places = [np.array(column, dtype=np.int32) for column in columns[:4]]
    return Designs(
        hardware=hardware,
        stacks=tuple(stacks),
        case=places[0],
        formula=places[1],
        stack=places[2],
        nozzle=places[3],
        throat_d=np.array(columns[4], dtype=np.float64),
        drilled=np.array(columns[5], dtype=np.float64),
        left_out=tuple(left_out),
    )


def _is_of(pattern: Pattern, formula: int) -> bool:
    return pattern.formulas is None or formula in pattern.formulas


def _throats(hardware: Hardware, place: int) -> Iterator[tuple[float, float]]:
    """A nozzle's throat as it is, and each that a drill makes of it, with what that takes off [m]."""
    nozzle = hardware.nozzles[place]
    yield nozzle.throat_d, 0.0
    for drill in sorted(set(hardware.drills)):
        if nozzle.throat_d + SAME_THROAT < drill < nozzle.exit_d:
            yield drill, drill - nozzle.throat_d


def _stacks(hardware: Hardware, place: int, left_out: list[Note | str]) -> Iterator[Stack]:
    """All grains that go into a case, of one pattern and of two of one outer diameter."""
    case, gap = hardware.cases[place], hardware.day.gap
    wide: list[int] = []
    for p, pattern in enumerate(hardware.patterns):
        if pattern.cases is not None and place not in pattern.cases:
            continue
        if pattern.width > case.inner_d * (1 + 1e-9):
            left_out.append(
                Note(
                    f"{pattern.name} is {{much}} too wide for {case.name}.",
                    {"much": Amount(pattern.width - case.inner_d, "length")},
                )
            )
        elif pattern.grain.length > case.chamber_length * (1 + 1e-9):
            left_out.append(
                Note(
                    f"{pattern.name} is {{much}} too long for {case.name}.",
                    {"much": Amount(pattern.grain.length - case.chamber_length, "length")},
                )
            )
        else:
            wide.append(p)

    def goes(parts: tuple[tuple[int, int], ...]) -> bool:
        count = sum(n for _, n in parts)
        length = sum(n * hardware.patterns[p].grain.length for p, n in parts) + (count - 1) * gap
        return count <= hardware.most_grains and length <= case.chamber_length * (1 + 1e-9)

    def most(p: int) -> int:
        there = hardware.patterns[p].most
        return hardware.most_grains if there is None else min(there, hardware.most_grains)

    for p in wide:
        yield from (Stack(((p, n),)) for n in range(1, most(p) + 1) if goes(((p, n),)))
    for pair in combinations(wide, 2):
        one, other = (hardware.patterns[p] for p in pair)
        if abs(one.grain.outer_d - other.grain.outer_d) > ONE_DIAMETER:
            continue
        a, b = sorted(pair, key=lambda p: hardware.patterns[p].core_d)
        for n in range(1, most(a) + 1):
            for m in range(1, most(b) + 1):
                if goes(((a, n), (b, m))):
                    yield Stack(((a, n), (b, m)))
