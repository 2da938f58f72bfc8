"""How many grains to cast by each day: what is wanted, less the shelf, more for rejects, jointly for all patterns."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from math import prod

from app.calc.season.melt_loads import most_of
from app.calc.season.rejects import GoodGrains, cast_for
from app.calc.season.season import EveningPlan, Season, WantedFlight, day_words


@dataclass(frozen=True)
class Targets:
    """Grains of each pattern to be cast so that they are cured on each day, promised ones included."""

    by: Mapping[date, Mapping[str, int]]

    @property
    def total(self) -> dict[str, int]:
        """Over the whole season."""
        return dict(self.by[max(self.by)]) if self.by else {}


class Chances:
    """The chances of a season's grains, pattern by pattern, each worked out once."""

    def __init__(self, season: Season) -> None:
        self._season = season
        bench = season.bench
        self._odds = {
            name: GoodGrains(season.belief(name), most_of(pattern, bench.pan, bench.most_sets(name)))
            for name, pattern in season.patterns.items()
        }

    def targets(self, at_least: Mapping[date, Mapping[str, int]]) -> Targets | date:
        """What to cast by each day, no less than so many; the day for which no number is enough where there is one."""
        season, found, before = self._season, {}, dict[str, int]()
        mass = {name: pattern.mass_kg for name, pattern in season.patterns.items()}
        for day in season.dates:
            need = season.needed(day)
            least = {p: max(before.get(p, 0), at_least.get(day, {}).get(p, 0)) for p in need}
            cast = cast_for(need, self._odds, season.confidence, least, mass)
            if cast is None:
                return day
            before = {**before, **cast}
            found[day] = before
        return Targets(found)

    def of(self, evenings: Sequence[EveningPlan], day: date) -> dict[str, float]:
        """Of each pattern, the chance that what these evenings and the promised ones give is enough on a day."""
        season = self._season
        ready = [e for e in (*season.promised, *evenings) if season.ready(e.on) <= day]
        sizes: dict[str, list[int]] = {}
        for evening in ready:
            for melt in evening.melts:
                for pattern, count in melt.grains.items():
                    sizes.setdefault(pattern, []).append(count)
        return {
            pattern: self._odds[pattern].at_least_of(need, sizes.get(pattern, []))
            for pattern, need in season.needed(day).items()
        }

    def short(self, evenings: Sequence[EveningPlan]) -> tuple[dict[date, float], dict[date, str]]:
        """The joint chance on each day; and where it is below what is wanted, the pattern that lacks most."""
        chance, lacking = {}, {}
        for day in self._season.dates:
            each = self.of(evenings, day)
            chance[day] = prod(each.values())
            if chance[day] < self._season.confidence - 1e-9:
                lacking[day] = min(each, key=lambda p: each[p])
        return chance, lacking


def before_a_test(season: Season) -> str:
    """Find a flight that asks for melts which wait for a test of their formula on a later day.

    Parameters
    ----------
    season : Season
        Flights, tests, shelf and promised melts [-].

    Returns
    -------
    str
        The contradiction in words; empty where there is none [-].

    Notes
    -----
    The first test of a formula comes before every melt that is not for it. What lies on the shelf or is promised may be
    flown before.

    References
    ----------
    Definition.

    Examples
    --------
    >>> from app.calc.season.melt_loads import Pan, Pattern
    >>> from app.calc.season.season import Bench, WantedFlight
    >>> test = WantedFlight("throat 13.1", 1, {"A": 4}, date(2027, 5, 9), test=True)
    >>> flight = WantedFlight("Dunlin", 1, {"A": 4}, date(2027, 5, 2))
    >>> before_a_test(Season([test, flight], {"A": Pattern(0.17, "sorbitol")}, Bench(Pan(0.76)), []))[:47]
    'Dunlin by 2 May 2027 takes 4 A that are neither'
    """
    first: dict[str, WantedFlight] = {}
    for test in sorted((flight for flight in season.flights if flight.test), key=lambda f: f.by):
        for formula in season.formulas(test):
            first.setdefault(formula, test)
    flown_alone = [flight for flight in season.flights if not flight.test]
    for flight in flown_alone:
        for pattern in flight.grains:
            formula = season.patterns[pattern].formula
            if formula not in first or flight.by > first[formula].by:
                continue
            test = first[formula]
            ready = (e.grains.get(pattern, 0) for e in season.promised if season.ready(e.on) <= flight.by)
            short = season.wanted(flight.by, flown_alone)[pattern] - season.lying(pattern, flight.by) - sum(ready)
            if short > 0:
                return (
                    f"{flight.name} by {day_words(flight.by)} takes {short} {pattern} that are neither on the shelf "
                    f"nor planned, and further melts of {formula} wait for the test {test.name} by "
                    f"{day_words(test.by)}. Test earlier, or fly later."
                )
    return ""
