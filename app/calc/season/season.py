"""What a season is worked out from, and what comes out: plain records of flights, grains, melts and evenings."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from app.calc.base.notes import Note
from app.calc.season.melt_loads import Pan, Pattern
from app.calc.season.rejects import NO_REJECTS, RejectBelief


def day_words(day: date) -> str:
    """Write a day in words.

    Parameters
    ----------
    day : date
        A day [-].

    Returns
    -------
    str
        Day, month and year [-].

    Notes
    -----
    Any day.

    Examples
    --------
    >>> day_words(date(2027, 4, 30))
    '30 April 2027'
    """
    return f"{day.day} {day:%B %Y}"


@dataclass(frozen=True)
class WantedFlight:
    """Flights or static tests wanted by a day, all with the same grains: how many of each pattern in one motor.

    A test comes before any melt of its formula that is not needed for it or for what is due before it. `priority` 1
    matters most; where not everything can be, the highest numbers are given up first.
    """

    name: str
    count: int
    grains: Mapping[str, int]
    by: date
    test: bool = False
    priority: int = 1


@dataclass(frozen=True)
class Lying:
    """Good grains of a pattern that lie on the shelf, cured and dry from a day on."""

    pattern: str
    count: int
    ready: date


@dataclass(frozen=True)
class MeltPlan:
    """One melt: its formula and how many grains of each pattern."""

    formula: str
    grains: Mapping[str, int]


@dataclass(frozen=True)
class EveningPlan:
    """The melts of an evening."""

    on: date
    melts: tuple[MeltPlan, ...]

    @property
    def grains(self) -> dict[str, int]:
        """Grains of each pattern over its melts."""
        found: dict[str, int] = {}
        for melt in self.melts:
            for pattern, count in melt.grains.items():
                found[pattern] = found.get(pattern, 0) + count
        return found


@dataclass(frozen=True)
class Delivery:
    """So much of an ingredient that is there from a day on [kg]; what is there already is one of the first day."""

    ingredient: str
    kg: float
    on: date


@dataclass(frozen=True)
class Bench:
    """What the workshop casts with.

    `sets` are the tubes and rods of each pattern, as grains in a melt; `tube_held_h` is how long a poured grain keeps
    them [h]: above nought, they serve one melt of an evening. `most_held_kg` is the propellant that may lie there at
    once [kg], each grain from its melt until it is flown.
    """

    pan: Pan
    sets: Mapping[str, int] = field(default_factory=dict)
    melts_per_evening: int = 1
    cure_days: int = 7
    tube_held_h: float = 0.0
    most_held_kg: float | None = None
    remelt_limit: float = 0.15
    held_besides_kg: float = 0.0
    shared: Sequence[tuple[frozenset[str], int]] = ()

    @property
    def tools(self) -> list[tuple[frozenset[str], int]]:
        """Patterns that are cast with the same tools, and how many grains of them a melt takes for that."""
        return [*((frozenset([pattern]), sets) for pattern, sets in self.sets.items()), *self.shared]

    def most_sets(self, pattern: str) -> int | None:
        """How many grains of a pattern a melt takes for its tools; nothing where they do not limit."""
        return min((sets for patterns, sets in self.tools if pattern in patterns), default=None)


@dataclass(frozen=True)
class Season:
    """All that a plan is made from.

    `blends` are the mass fractions of formulas; a formula without one counts as if all of it were each ingredient that
    `deliveries` names, which is safe whatever it is made of. `promised` are melts that stand already: planned, or cast
    and not yet weighed. `kept` is the plan that was made before, from which as little as can be is changed.
    `melts_on` and `cure_days_on` are of evenings that take other numbers of melts, or whose grains cure longer, than
    the bench says.
    """

    flights: Sequence[WantedFlight]
    patterns: Mapping[str, Pattern]
    bench: Bench
    evenings: Sequence[date]
    shelf: Sequence[Lying] = ()
    rejects: Mapping[str, RejectBelief] = field(default_factory=dict)
    confidence: float = 0.9
    deliveries: Sequence[Delivery] = ()
    blends: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    remelt_kg: Mapping[str, float] = field(default_factory=dict)
    promised: Sequence[EveningPlan] = ()
    kept: Sequence[EveningPlan] = ()
    spare: Mapping[date, Mapping[str, int]] = field(default_factory=dict)
    """Grains that are to lie ready beside those flown on a day; what is not used stays for the next one."""
    melts_on: Mapping[date, int] = field(default_factory=dict)
    cure_days_on: Mapping[date, int] = field(default_factory=dict)
    today: date | None = None
    """Nothing can be cast before it; where it is not told, no evening is too early to ask for."""

    def cure(self, evening: date) -> int:
        """How long grains cast that day cure [days]."""
        return self.cure_days_on.get(evening, self.bench.cure_days)

    def ready(self, evening: date) -> date:
        """The first day on which grains cast on an evening may be flown."""
        return evening + timedelta(days=self.cure(evening))

    @property
    def dates(self) -> list[date]:
        """The days on which something is wanted, in order."""
        return sorted({flight.by for flight in self.flights})

    def belief(self, pattern: str) -> RejectBelief:
        """What is believed of a pattern's rejects; none is counted on where nothing is said."""
        return self.rejects.get(pattern, NO_REJECTS)

    def wanted(self, by: date, flights: Sequence[WantedFlight] | None = None) -> dict[str, int]:
        """Grains of each pattern that are flown up to a day and on it."""
        found: dict[str, int] = {}
        for flight in self.flights if flights is None else flights:
            if flight.by <= by:
                for pattern, count in flight.grains.items():
                    found[pattern] = found.get(pattern, 0) + flight.count * count
        return found

    def lying(self, pattern: str, by: date | None = None) -> int:
        """Grains of a pattern on the shelf that are ready by a day, or all of them."""
        return sum(one.count for one in self.shelf if one.pattern == pattern and (by is None or one.ready <= by))

    def needed(self, by: date) -> dict[str, int]:
        """Good grains of each pattern that are still to come by a day, with the shelf used first."""
        spare = self.spare.get(by, {})
        wanted = {pattern: count + spare.get(pattern, 0) for pattern, count in self.wanted(by).items()}
        return {pattern: max(count - self.lying(pattern, by), 0) for pattern, count in wanted.items()}

    def weight(self, grains: Mapping[str, int]) -> float:
        """Of so many grains of each pattern [kg]."""
        return sum(self.patterns[pattern].mass_kg * count for pattern, count in grains.items())

    def formulas(self, flight: WantedFlight) -> set[str]:
        """What a flight's grains are cast of."""
        return {self.patterns[pattern].formula for pattern in flight.grains}


@dataclass(frozen=True)
class CastPlan:
    """What to cast, when, and how sure it is that all of it is enough.

    `cast` counts what is still to be cast beside what is promised; `chance` is, for each day, that of all that is
    wanted by then; `gap` is how far evenings, melts or days may lie above the least there can be (0: proven).
    """

    feasible: bool
    cast: Mapping[str, int]
    evenings: tuple[EveningPlan, ...] = ()
    why_not: Note | str = ""
    chance: Mapping[date, float] = field(default_factory=dict)
    gap: float = 0.0
    seconds: float = 0.0
    given_up: tuple[str, ...] = ()
    """Flights that were left out for those that matter more."""
    stopped: tuple[str, ...] = ()
    """What was searched for when its time was over: better may be found of it."""

    @property
    def melt_count(self) -> int:
        """Melts over all evenings."""
        return sum(len(evening.melts) for evening in self.evenings)
