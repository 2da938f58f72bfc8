"""Why a design is refused, in words, and the nearest change that would lift each reason.

A change is worked out in closed form from the design's own figures: steady pressure over the throat's area, Newton's
second law along the rail, drift in proportion to the wind. It lifts its own reason and may meet another.
"""

from dataclasses import dataclass
from math import ceil, floor, sqrt

import numpy as np

from app.calc.base.constants import STANDARD_GRAVITY
from app.calc.base.errors import CalcError
from app.calc.base.notes import Amount, Note
from app.calc.flight.each_motor import ascend
from app.calc.flight.launch import HARDEST
from app.calc.flight.wind import at_the_rail
from app.calc.motor.arrays import choking_pressure
from app.calc.motor.impulse import CLASS_LIMITS, impulse_class
from app.calc.motor.motor_flags import SLENDER
from app.calc.season.changes import mass_for, throat_for
from app.calc.season.choosing import Choices
from app.calc.season.expected import heavier_by
from app.calc.season.launch import Launch
from app.calc.season.screening import KINDS

_NINTH = 1.2816 / 1.6449
"""The normal distribution's 90 % mark over its 95 % mark [-]: nine in ten must stay below."""

_LONGER = 0.5
"""A rail is told longer by at most this share of itself [-]: farther on thrust is another."""

_STEP = 1e-4
"""Throats and cores are changed by whole steps of this [m]."""


@dataclass(frozen=True)
class Refusal:
    """One reason: its kind, what it is, and the nearest change that would lift it, or nothing where there is none."""

    kind: str
    words: Note
    change: Note | None = None


def refusals(choices: Choices, index: int) -> tuple[Refusal, ...]:
    """Tell why a design is refused.

    Parameters
    ----------
    choices : Choices
        A search.
    index : int
        Which design [-].

    Returns
    -------
    tuple of Refusal
        Gravest first; none where nothing speaks against it as far as it was looked at [-].

    Notes
    -----
    A design screened out before its march is told by the bound that did it.

    References
    ----------
    Beside each rule.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from app.calc.season.choosing import choose
    >>> from app.calc.season.example import example_hardware
    >>> hardware = example_hardware(drills=())
    >>> weak = replace(hardware, cases=(replace(hardware.cases[0], limit=3e6),))
    >>> found = choose(weak)
    >>> [[one.kind for one in refusals(found, i)] for i in range(len(found.designs))]
    [[], [], ['over the case'], ['over the case']]
    """
    here, faults = _Design(choices, index), choices.faults(index)
    return tuple(Refusal(KINDS[fault], *getattr(here, str(fault.name).lower())()) for fault in KINDS if fault in faults)


Said = tuple[Note, Note | None]


def _few(count: int) -> str:
    return "one grain" if count == 1 else f"{count} grains"


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %" if share >= 0.005 else "less than 1 %"


def _tenth_up(value: float) -> float:
    """Up to the next tenth of a metre, or of a metre a second."""
    return ceil(10 * value) / 10


def _up(size: float) -> float:
    """Up to the next step [m]."""
    return ceil(size / _STEP - 1e-6) * _STEP


class _Design:
    """One design and what is known of it, with a method for each fault."""

    def __init__(self, choices: Choices, index: int) -> None:
        designs = choices.designs
        house = designs.hardware
        self.designs, self.index, self.house = designs, index, house
        self.expected, self.launch = choices.expected, choices.launch
        self.case, self.nozzle = house.cases[designs.case[index]], house.nozzles[designs.nozzle[index]]
        self.formula, self.stack = house.formulas[designs.formula[index]], designs.stacks[designs.stack[index]]
        self.throat = float(designs.throat_d[index])
        self.ranged = choices.ranged.get(index)

    def _where(self) -> Launch:
        assert self.launch is not None, "a flight is refused only where one was asked for"
        return self.launch

    def _fewer(self, most: float) -> Note | None:
        """As many grains fewer as bring the count down to so many."""
        count = self.stack.count - floor(most + 1e-9)
        return Note(f"{_few(count)} fewer") if 0 < count < self.stack.count else None

    def parts(self) -> Said:
        """What the motor itself refuses."""
        try:
            self.designs.motor(self.index)
        except CalcError as error:
            return error.sentence, None
        return Note("It cannot be put together."), None

    def port(self) -> Said:
        """Narrowest port over throat."""
        least, ratio = max(self.house.least_port, 1.0), float(self.designs.port_to_throat[self.index])
        wider = _up(self.throat * sqrt(least) * (1 - sqrt(ratio / least)))
        words = f"Port over throat is {ratio:.2f}; {least:g} is the workshop's mark, for gas rushes along the cores."
        return Note(words), Note("{wider} wider core", {"wider": Amount(wider, "length", 1)})

    def slender(self) -> Said:
        """Length of the propellant over its diameter."""
        long = float(self.designs.slenderness[self.index])
        words = f"The propellant is {long:.1f} times as long as wide; from {SLENDER:g} on that is a concern."
        each = long / self.stack.count
        return Note(words), self._fewer(ceil(SLENDER / each - 1e-9) - 1)

    def low(self) -> Said:
        """Pressure that does not choke the throat."""
        if self.ranged is not None:
            share = _percent(self.ranged.range.stays_low)
            return Note(f"In {share} of the drawn motors the pressure does not choke the throat."), None
        a = self.designs.arrays(np.array([self.index], dtype=np.int32))
        best, needed = float(self.expected.steady_pressure[self.index]), float(choking_pressure(a)[0])
        amounts = {"best": Amount(best, "pressure")}
        too_little = Note("The pressure would not rise above {best}, too little to choke the throat.", amounts)
        narrow = self.throat - throat_for(self.formula.law, best, needed, self.throat)
        return too_little, Note("{narrow} narrower throat", {"narrow": Amount(_up(narrow), "length", 1)})

    def over(self) -> Said:
        """Peak pressure against what the case is held to."""
        limit = self.case.limit
        amounts = {"limit": Amount(limit, "pressure")}
        if self.ranged is not None:
            peak = max(self.ranged.run.peak_pressure, self.ranged.range.peak_pressure.high)
            words = f"One motor in twenty would pass {{peak}}; {self.case.limit_words} is {{limit}}."
        else:
            peak = float(np.fmax(self.expected.high_pressure[self.index], self.expected.peak_pressure[self.index]))
            expected = float(self.expected.peak_pressure[self.index])
            if not np.isfinite(expected):
                words = f"Whatever happens in between, so much propellant passes {{limit}}, {self.case.limit_words}."
                return Note(words, amounts), self._fewer(self.stack.count - 1)
            amounts["peak"] = Amount(expected, "pressure")
            words = f"{{peak}} is expected at the peak; {self.case.limit_words} is {{limit}}."
        amounts.setdefault("peak", Amount(peak, "pressure"))
        return Note(words, amounts), self._relieved(peak, limit)

    def _relieved(self, peak: float, limit: float) -> Note | None:
        """A wider throat, where the cores and the exit allow it, else fewer grains."""
        wanted = throat_for(self.formula.law, peak, limit, self.throat)
        widest = self.throat * sqrt(float(self.designs.port_to_throat[self.index]) / max(self.house.least_port, 1.0))
        wider = _up(wanted - self.throat)
        if self.throat + wider <= min(widest, self.nozzle.exit_d):
            return Note("{wider} wider throat", {"wider": Amount(wider, "length", 1)})
        return self._fewer(self.stack.count * (self.throat / wanted) ** 2)

    def odd(self) -> Said:
        """What could not be computed."""
        if self.ranged is not None and self.ranged.odd is not None:
            return self.ranged.odd, None
        push, mass = float(self.expected.peak_thrust[self.index]), float(self.expected.liftoff_mass[self.index])
        if push > HARDEST * STANDARD_GRAVITY * (mass - float(self.designs.propellant_mass[self.index])):
            return Note(f"It pushes more than {HARDEST:.0f} times the rocket's weight, which nothing stands."), None
        return Note("This motor or its flight could not be computed with its spread."), None

    def rail(self) -> Said:
        """Speed off the rail."""
        where = self._where()
        wanted, rail = where.least_speed, where.pad.rail_length
        speed = float(self.expected.rail_exit_speed[self.index])
        amounts = {"wanted": Amount(wanted, "speed")}
        if self.ranged is not None and self.ranged.flight is not None and self.ranged.flights is not None:
            speed = min(self.ranged.flight.rail_exit_speed, self.ranged.flights.rail_exit_speed.low)
            words = "Nineteen in twenty leave the rail at {speed} or more; {wanted} are asked for."
        elif not np.isfinite(speed):
            return Note("Whatever it does in between, it cannot leave the rail at {wanted}.", amounts), None
        elif speed <= 0:
            heavy, push = float(self.expected.liftoff_mass[self.index]), float(self.expected.mean_thrust[self.index])
            lighter = heavy - push / (wanted**2 / (2 * rail) + STANDARD_GRAVITY)
            change = {"lighter": Amount(lighter, "heavy_mass", 0)}
            return Note("It does not leave the rail."), Note("{lighter} lighter", change) if lighter > 0 else None
        else:
            words = "It leaves the rail at {speed}; {wanted} are asked for."
        mass = float(self.expected.liftoff_mass[self.index])
        lighter = mass - mass_for(speed, wanted, rail, mass)
        longer = _tenth_up(rail * ((wanted / speed) ** 2 - 1))
        told = {"lighter": Amount(lighter, "heavy_mass", 0), "longer": Amount(longer, "altitude", 1)}
        said = Note("{lighter} lighter, or a rail {longer} longer", told)
        if longer > _LONGER * rail:  # the burn may be over by then
            said = Note("{lighter} lighter", {"lighter": told["lighter"]})
        return Note(words, amounts | {"speed": Amount(speed, "speed")}), said if lighter > 0 else None

    def wind(self) -> Said:
        """The air that meets it as it leaves the rail, in the gust."""
        where = self._where()
        angle, speed = float(self.expected.gust_angle[self.index]), float(self.expected.rail_exit_speed[self.index])
        if self.ranged is not None and self.ranged.rail is not None and self.ranged.flight is not None:
            angle, speed = self.ranged.rail.gust_angle, self.ranged.flight.rail_exit_speed
            if self.ranged.flights is not None:
                speed = min(speed, self.ranged.flights.rail_exit_speed.low)
        pad = where.still_pad
        met = at_the_rail(
            speed,
            pad.rail_length,
            float(np.asarray(pad.tilt)),
            where.blows,
            where.gusts,
            pad.wind_height,
            where.largest_angle,
        )
        less = where.blows * (1 - met.limit / where.gusts) if where.gusts else 0.0
        words = Note(
            "In a gust the air meets it {angle} off its nose as it leaves the rail; {most} is the mark.",
            {"angle": Amount(angle, "angle", 0), "most": Amount(where.largest_angle, "angle", 0)},
        )
        return words, Note("{less} less wind", {"less": Amount(_tenth_up(less), "speed", 1)}) if less > 0 else None

    def ceiling(self) -> Said:
        """Height against the field's ceiling."""
        where = self._where()
        height = float(self.expected.apogee[self.index])
        amounts = {"ceiling": Amount(where.ceiling or 0.0, "altitude")}
        words = "{height} is expected; the field's ceiling is {ceiling}."
        if self.ranged is not None and self.ranged.flight is not None and self.ranged.flights is not None:
            height = self.ranged.flight.highest
            share = self.ranged.flights.above_ceiling or 0.0
            words = f"{_percent(share)} of the drawn flights pass the field's ceiling of {{ceiling}}; one in ten may."
        few = self._lower_neighbour(where)
        return Note(words, amounts | {"height": Amount(height, "altitude")}), few or self._heavier(where)

    def _lower_neighbour(self, where: Launch) -> Note | None:
        """The nearest design with fewer of the same grains that is expected to stay below, if there is one."""
        designs, i = self.designs, self.index
        if len(self.stack.parts) > 1:
            return None
        same = (designs.case == designs.case[i]) & (designs.nozzle == designs.nozzle[i])
        same &= (designs.formula == designs.formula[i]) & (designs.throat_d == designs.throat_d[i])
        pattern, count = self.stack.parts[0]
        for other in np.flatnonzero(same)[::-1]:
            parts = designs.stacks[designs.stack[other]].parts
            fewer = count - parts[0][1]
            if len(parts) == 1 and parts[0][0] == pattern and fewer == 1:
                low = float(self.expected.apogee[other]) < (where.ceiling or 0.0) * 0.95
                return Note("one grain fewer") if low and not self.expected.faults[other] else None
        return None

    def _heavier(self, where: Launch) -> Note | None:
        """Ballast with which nine in ten would stay below: height goes with a power of the mass, as flown."""
        height = high = float(self.expected.apogee[self.index])
        if self.ranged is not None and self.ranged.flight is not None and self.ranged.flights is not None:
            marks = self.ranged.flights.highest
            high = max(self.ranged.flight.highest, marks.mid + (marks.high - marks.mid) * _NINTH)
        power, mass = self._mass_power(where), float(self.expected.liftoff_mass[self.index])
        burns = float(self.designs.propellant_mass[self.index])
        dry = mass - burns
        heavy = (
            dry * (where.ceiling or 0.0) ** (1 / power) / high ** (1 / power) if power < 0 and height > 0 else np.inf
        )
        speed = float(self.expected.rail_exit_speed[self.index])
        if not heavy + burns < mass_for(speed, where.least_speed, where.pad.rail_length, mass):
            return None
        return Note("{more} heavier", {"more": Amount(heavy - dry, "heavy_mass", 0)})

    def _mass_power(self, where: Launch) -> float:
        """How the height goes with the dry mass, as flown when it was expected above, else flown now."""
        known = float(self.expected.mass_power[self.index])
        if np.isfinite(known) or self.ranged is None:
            return known
        run = self.ranged.run
        dry = float(self.expected.liftoff_mass[self.index]) - run.propellant_mass
        marks = self.ranged.flights
        high = marks.highest.high if marks is not None else float(self.expected.apogee[self.index])
        heavier = float(heavier_by(np.array([high / (where.ceiling or high)]))[0])
        flown = ascend([run.time] * 2, [run.thrust] * 2, [run.propellant_mass] * 2, [dry, heavier * dry], *where.flown)
        return float(np.log(flown.apogee[1] / flown.apogee[0]) / np.log(heavier)) if flown.flies.all() else 0.0

    def field(self) -> Said:
        """Where it lands against the field's edge along the wind."""
        where, ranged = self._where(), self.ranged
        assert ranged is not None and ranged.flights is not None and where.edges is not None  # noqa: PT018
        landed = ranged.flights.landings
        outside = ranged.flights.outside_field or 0.0
        side = landed > 0
        far, edge = float(np.quantile(landed, 0.95)), where.edges[1]
        if (landed[side] > where.edges[1]).sum() < (landed[~side] < -where.edges[0]).sum():
            far, edge = -float(np.quantile(landed, 0.05)), where.edges[0]
        words = Note(
            f"{_percent(outside)} of the drawn flights land outside: the field reaches {{edge}} there; one in ten may.",
            {"edge": Amount(edge, "altitude")},
        )
        less = where.blows * (1 - edge / far) if far > edge else 0.0
        change = Note("{less} less wind, or the main parachute lower", {"less": Amount(_tenth_up(less), "speed", 1)})
        return words, change if less > 0 else None

    def delay(self) -> Said:
        """Ejection delays that can be made against the ideal one."""
        where, ideal = self._where(), float(self.expected.coast_time[self.index])
        if self.ranged is not None and self.ranged.flight is not None:
            ideal = self.ranged.flight.coast_time
        wanted = {"ideal": Amount(ideal, "time", 1)}
        if not where.delays:
            return Note("Its parachute needs the motor's delay, and none is given.", {}), Note(
                "a delay of {ideal}", wanted
            )
        nearest = min(where.delays, key=lambda one: abs(one - ideal))
        words = Note(
            "The nearest delay is {nearest}; {ideal} pass from burnout to the top.",
            wanted | {"nearest": Amount(nearest, "time", 1)},
        )
        return words, Note("a delay of {ideal}", wanted)

    def distance(self) -> Said:
        """Least distance of persons against the field's size."""
        where, impulse = self._where(), float(self.expected.total_impulse[self.index])
        if self.ranged is not None:
            impulse = max(self.ranged.run.total_impulse, self.ranged.range.total_impulse.high)
        near = where.nearest_edge or 0.0
        allowed = [CLASS_LIMITS[c] for c in CLASS_LIMITS if where.distances.get(c, 0.0) <= near]
        below = max((limit for limit in allowed if limit < impulse), default=0.0)
        change = Note("{less} less impulse", {"less": Amount(impulse - below, "impulse")}) if below else None
        if impulse > max(CLASS_LIMITS.values()):
            return Note("It is above the last class of the table.", {}), change
        letter = impulse_class(impulse)
        words = Note(
            f"Persons stand {{far}} away from a motor of class {letter}; the field reaches {{near}}.",
            {"far": Amount(where.distances.get(letter, 0.0), "altitude"), "near": Amount(near, "altitude")},
        )
        return words, change
