"""The motors for a wish: all designs looked at, put in an order, and ranged from the best on.

The order is this book's own rule (`RULE`): nobody's height is worth a motor that is not understood, and metal does not
grow back.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np

from app.calc.base.constants import Floats, within
from app.calc.base.errors import CalcError
from app.calc.season.designs import Designs, designs_of
from app.calc.season.expected import Expected, look_at_all
from app.calc.season.hardware import Hardware
from app.calc.season.launch import Launch
from app.calc.season.ranged import Ranged, range_one
from app.calc.season.screening import Fault
from app.calc.season.tables import Ints

RULE = (
    "First what is expected within the heights wished, then what lies nearest to them; of those a formula that was "
    "fired here before one that was not; a nozzle as it is before one to be drilled, the least metal off first; then "
    "less propellant, and the lower share of the case's limit."
)
"""How motors are ranked, in words."""

WANTED = 50
"""Possible motors from which on no more are ranged [-]."""

MOST_RANGED = 150
"""Motors ranged in one search at most [-]: what is left says so."""

DEFER = 1.1
"""First estimate of the 95 % mark over the limit from which on a design is ranged after the others [-]."""


class Standing(IntEnum):
    """Where a design stands."""

    NOT_SEEN = 0
    SCREENED = 1
    REFUSED = 2
    NOT_RANGED = 3
    REFUSED_IN_RANGE = 4
    POSSIBLE = 5


@dataclass(frozen=True)
class Effort:
    """How much is done: possible motors wanted, motors ranged at most, motors and flights drawn of each, and seed."""

    wanted: int = WANTED
    most_ranged: int = MOST_RANGED
    samples: int = 128
    flights: int = 128
    seed: int = 20

    def __post_init__(self) -> None:
        within("wanted", self.wanted, 1, 1000, "Fifty give a choice.")
        within("most_ranged", self.most_ranged, 0, 10_000, "Some hundred are enough.")
        within("samples", self.samples, 16, 4096, "A few hundred give steady marks.")
        within("flights", self.flights, 16, 4096, "A few hundred give steady marks.")


@dataclass(frozen=True)
class Progress:
    """How far a search is: what is being done, how much of it is done, and of how much."""

    doing: str
    done: int
    total: int


@dataclass(frozen=True, eq=False)
class Choices:
    """All designs for a wish.

    Attributes
    ----------
    designs : Designs
        All, with what was left out.
    launch : Launch or None
        Where they fly.
    expected : Expected
        Figures of each.
    ranged : dict of int to Ranged
        By the design's place.
    order : ndarray of int
        All designs by the rule, best first, whatever speaks against them [-].
    best : tuple of int
        Places of the possible ones, best first.
    stopped : bool
        Whether somebody stopped it before its end.
    effort : Effort
        What was asked.
    """

    designs: Designs
    launch: Launch | None
    expected: Expected
    ranged: dict[int, Ranged]
    order: Ints
    best: tuple[int, ...]
    stopped: bool
    effort: Effort = field(default_factory=Effort)

    def faults(self, index: int) -> Fault:
        """What speaks against a design as far as it was looked at."""
        found = self.ranged.get(index)
        return found.faults if found is not None else Fault(int(self.expected.faults[index]))

    def standing(self, index: int) -> Standing:
        """Where a design stands."""
        if not self.expected.seen[index]:
            return Standing.NOT_SEEN
        if index in self.ranged:
            return Standing.REFUSED_IN_RANGE if self.ranged[index].faults else Standing.POSSIBLE
        if not self.expected.faults[index]:
            return Standing.NOT_RANGED
        marched = np.isfinite(self.expected.peak_pressure[index])
        return Standing.REFUSED if marched else Standing.SCREENED

    def counts(self) -> dict[Standing, int]:
        """How many stand where."""
        found = dict.fromkeys(Standing, 0)
        for index in range(len(self.designs)):
            found[self.standing(index)] += 1
        return found


def choose(
    hardware: Hardware,
    launch: Launch | None = None,
    effort: Effort | None = None,
    tell: Callable[[Progress], bool] | None = None,
) -> Choices:
    """Find the motors for a wish.

    Parameters
    ----------
    hardware : Hardware
        What there is.
    launch : Launch, optional
        Rocket, field and wish; without it motors are held against their cases alone, as for a static test.
    effort : Effort, optional
        How much is done.
    tell : callable, optional
        Asked now and then with the progress; where it answers no, the search ends with what it has.

    Returns
    -------
    Choices
        Every design with its figures, faults and place.

    Raises
    ------
    CalcError
        More designs than are looked at, or a rocket, rail or weather that cannot be.

    Notes
    -----
    Figures of designs that are ranged are those of the motor run alone; of the others they agree with that to about a
    thousandth. Designs whose 95 % mark of pressure would by a first estimate pass the limit by a tenth or more are
    ranged last. What is not ranged is not said to be possible.

    References
    ----------
    `screening`, `expected`, `ranged`.

    Examples
    --------
    >>> from app.calc.season.example import example_hardware
    >>> found = choose(example_hardware(), effort=Effort(samples=32))
    >>> len(found.best) > 0, found.standing(found.best[0]).name
    (True, 'POSSIBLE')
    """
    effort, asked = effort or Effort(), tell or (lambda _: True)
    designs = designs_of(hardware)
    expected = Expected.nothing(len(designs))
    going = asked(Progress("looking at designs", 0, len(designs)))
    looked = look_at_all(designs, launch, expected)
    while going and (done := next(looked, None)) is not None:
        going = asked(Progress("looking at designs", done, len(designs)))
    order = _order(designs, expected, launch)
    ranged: dict[int, Ranged] = {}
    best: list[int] = []
    waiting = _to_range(designs, expected, order)
    for count, index in enumerate(waiting[: effort.most_ranged]):
        if not going or len(best) >= effort.wanted:
            break
        try:
            found = range_one(designs, int(index), launch, effort.samples, effort.flights, effort.seed)
        except CalcError:
            expected.faults[index] |= int(Fault.ODD)
        else:
            ranged[int(index)] = found
            if not found.faults:
                best.append(int(index))
        going = asked(Progress("drawing each many times", count + 1, min(len(waiting), effort.most_ranged)))
    place = np.empty(len(order), dtype=np.int32)
    place[order] = np.arange(len(order))
    best.sort(key=lambda index: int(place[index]))
    return Choices(designs, launch, expected, ranged, order, tuple(best), not going, effort)


def misses(height: Floats, wish: tuple[float, float] | None) -> Floats:
    """Give by how much heights miss a wish.

    Parameters
    ----------
    height : ndarray
        [m], any shape.
    wish : tuple of float or None
        Lowest and highest height wished [m].

    Returns
    -------
    ndarray
        Zero within the wish, and where there is none [m].

    Notes
    -----
    Heights that are not known miss by more than any other.

    References
    ----------
    Subtraction.

    Examples
    --------
    >>> misses(np.array([400.0, 550.0, 700.0]), (500.0, 600.0)).tolist()
    [100.0, 0.0, 100.0]
    """
    if wish is None:
        return np.zeros(np.shape(height))
    low, high = wish
    off = np.maximum(np.maximum(low - height, height - high), 0.0)
    return np.where(np.isfinite(off), off, np.inf)


def _order(designs: Designs, expected: Expected, launch: Launch | None) -> Ints:
    """All designs by the rule."""
    t = designs.tables
    fired = np.array([f.fired > 0 for f in designs.hardware.formulas], dtype=bool)
    unfired = ~fired[designs.formula] if len(fired) else np.zeros(0, dtype=bool)
    share = expected.peak_pressure / t.limit[designs.case] if len(designs) else np.zeros(0)
    missed = misses(expected.apogee, launch.wish if launch is not None else None)
    keys = (np.nan_to_num(share, nan=np.inf), designs.propellant_mass, designs.drilled.round(6), unfired, missed)
    return np.lexsort(keys).astype(np.int32)


def _to_range(designs: Designs, expected: Expected, order: Ints) -> Ints:
    """Those that are possible as expected, in order, with those that the first estimate is against last."""
    waiting = order[(expected.faults[order] == 0) & expected.seen[order]]
    late = expected.high_pressure[waiting] > DEFER * designs.tables.limit[designs.case[waiting]]
    return np.concatenate([waiting[~late], waiting[late]])
