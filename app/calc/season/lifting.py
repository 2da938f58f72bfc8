"""What would make a refused design possible: its reasons' nearest changes made together, and marched and flown anew.

A refusal's own change is worked out in closed form and lifts its own reason. Here the changed design is looked at as
closely as any other, what then speaks against it is changed as well, a few times, and only what was seen to work is
told.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from app.calc.base.errors import CalcError
from app.calc.base.notes import Amount, Note
from app.calc.grain.geometry import Grain
from app.calc.season.choosing import Choices
from app.calc.season.designs import designs_of
from app.calc.season.expected import Expected, look_at_all
from app.calc.season.launch import Launch
from app.calc.season.ranged import range_one
from app.calc.season.refusals import Refusal, refusals
from app.calc.season.screening import KINDS, Fault
from app.calc.season.tables import Stack

MOST_ROUNDS = 4
"""How often a design is changed and looked at again [-]."""


@dataclass(frozen=True)
class Changes:
    """Changes made together: throat and core wider [m], rocket heavier [kg], less wind [m/s], another delay [s]."""

    throat: float = 0.0
    core: float = 0.0
    mass: float = 0.0
    calmer: float = 0.0
    delay: float | None = None

    def with_one(self, one: Refusal) -> "Changes | None":
        """With the change of one refusal as well; nothing where it is none of these."""
        told = {name: amount.value for name, amount in (one.change.amounts if one.change else {}).items()}
        if one.kind == KINDS[Fault.PORT]:
            return replace(self, core=self.core + told["wider"]) if "wider" in told else None
        if one.kind == KINDS[Fault.DELAY]:
            return replace(self, delay=told["ideal"])
        if one.kind in (KINDS[Fault.WIND], KINDS[Fault.FIELD]):
            return replace(self, calmer=self.calmer + told["less"]) if "less" in told else None
        if "wider" in told or "narrow" in told:
            return replace(self, throat=self.throat + told.get("wider", 0.0) - told.get("narrow", 0.0))
        if "lighter" in told or "more" in told:
            return replace(self, mass=self.mass - told.get("lighter", 0.0) + told.get("more", 0.0))
        return None

    def notes(self) -> Iterator[Note]:
        """Each in words."""
        if self.throat:
            words = "{throat} wider throat" if self.throat > 0 else "{throat} narrower throat"
            yield Note(words, {"throat": Amount(abs(self.throat), "length", 1)})
        if self.core:
            yield Note("{core} wider core", {"core": Amount(self.core, "length", 1)})
        if self.mass:
            words = "{mass} heavier" if self.mass > 0 else "{mass} lighter"
            yield Note(words, {"mass": Amount(abs(self.mass), "heavy_mass", 0)})
        if self.calmer:
            yield Note("{calmer} less wind", {"calmer": Amount(self.calmer, "speed", 1)})
        if self.delay is not None:
            yield Note("a delay of {delay}", {"delay": Amount(self.delay, "time", 1)})


def lifted(choices: Choices, index: int) -> tuple[Note, ...]:
    """Tell what, all together, makes a refused design possible.

    Parameters
    ----------
    choices : Choices
        A search.
    index : int
        Which design [-].

    Returns
    -------
    tuple of Note
        Changes of throat, core, mass, wind and delay, looked at together: nothing speaks against the design then; none
        where no such change was found [-].

    Notes
    -----
    Each round makes the changes that what still speaks against it asks for. Grains are not taken away: fewer of them
    are another design of the search.

    References
    ----------
    As `refusals`.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from app.calc.season.choosing import Effort, choose
    >>> from app.calc.season.example import example_hardware
    >>> hardware = example_hardware(drills=())
    >>> weak = replace(hardware, cases=(replace(hardware.cases[0], limit=3e6),))
    >>> found = choose(weak, effort=Effort(samples=16))
    >>> [note.words for note in lifted(found, 2)]
    ['{throat} wider throat']
    """
    changes, seen, at = Changes(), choices, index
    for _ in range(MOST_ROUNDS):
        against = refusals(seen, at)
        if not against:
            return tuple(changes.notes())
        for one in against:
            more = changes.with_one(one)
            if more is None:
                return ()
            changes = more
        try:
            seen, at = _changed(choices, index, changes)
        except CalcError:
            return ()
    return () if refusals(seen, at) else tuple(changes.notes())


def _changed(choices: Choices, index: int, changes: Changes) -> tuple[Choices, int]:
    """One design, changed, looked at by itself.

    Raises
    ------
    CalcError
        It cannot be put together so.
    """
    designs, house = choices.designs, choices.designs.hardware
    nozzle, parts = house.nozzles[designs.nozzle[index]], designs.stacks[designs.stack[index]].parts
    throat = float(designs.throat_d[index]) + changes.throat
    if throat > nozzle.exit_d:
        raise CalcError("throat_d", "is wider than the exit.", "Take another nozzle.")
    as_measured = not changes.throat and not designs.drilled[index]
    known = nozzle.throat_spread if as_measured else house.drilled_spread
    patterns = []
    for place, count in parts:
        pattern = replace(house.patterns[place], formulas=None, cases=None, most=count)
        if changes.core:
            if not isinstance(pattern.grain, Grain) or len(parts) > 1:
                raise CalcError("core_d", "is of another shape.", "Change it by hand.")
            pattern = replace(pattern, grain=replace(pattern.grain, core_d=pattern.grain.core_d + changes.core))
        patterns.append(pattern)
    one = replace(
        house,
        cases=(house.cases[designs.case[index]],),
        nozzles=(replace(nozzle, throat_d=throat, throat_spread=known),),
        patterns=tuple(patterns),
        formulas=(replace(house.formulas[designs.formula[index]], cases=None),),
        drills=(),
    )
    made, launch = designs_of(one), None if choices.launch is None else _launched(choices.launch, changes)
    wanted = Stack(tuple((place, count) for place, (_, count) in enumerate(parts)))
    if wanted not in made.stacks:
        raise CalcError("grains", "do not go into the case so.", "Take fewer.")
    at = made.stacks.index(wanted)
    expected, effort = Expected.nothing(len(made)), choices.effort
    for _ in look_at_all(made, launch, expected):
        pass
    ranged = {}
    if not expected.faults[at]:
        ranged[at] = range_one(made, at, launch, effort.samples, effort.flights, effort.seed)
    order = np.arange(len(made), dtype=np.int32)
    return Choices(made, launch, expected, ranged, order, (), stopped=False, effort=effort), at


def _launched(launch: Launch, changes: Changes) -> Launch:
    rocket = replace(launch.rocket, dry_mass=float(np.asarray(launch.rocket.dry_mass)) + changes.mass)
    wind = max(launch.blows - changes.calmer, 0.0)
    gust = None if launch.gust is None else launch.gust * (wind / launch.blows if launch.blows else 1.0)
    delays = launch.delays if changes.delay is None else (changes.delay,)
    return replace(launch, rocket=rocket, pad=replace(launch.pad, wind=wind), gust=gust, delays=delays)
