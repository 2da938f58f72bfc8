"""From flights to a plan: grains with their rejects, melts that fit, as few evenings as there can be."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from app.calc.base.errors import CalcError, OutOfRange
from app.calc.season.grains_needed import Chances, Targets, before_a_test
from app.calc.season.melt_loads import Load, full_loads
from app.calc.season.program import Bound, Cost, Program, Setup, Solved, Span, Stopwatch, Supply, Window
from app.calc.season.season import CastPlan, EveningPlan, MeltPlan, Season

DAY = timedelta(days=1)

MOST_ROUNDS = 12
"""How often grains are added where the melts as they came out leave a day short of its chance."""

NEW_EVENING = 25.0
"""An evening that was not in the plan kept weighs as much as so many grains that moved: Grainbook's own choice."""


@dataclass(frozen=True)
class Frame:
    """A season laid on its calendar: the days on which something changes, and the evenings between them."""

    season: Season
    cuts: tuple[date, ...]
    singly: bool

    def place(self, day: date) -> int:
        """The place in the order of spans that a day lies in."""
        return bisect_right(self.cuts, day)

    def end(self, place: int) -> date | None:
        """The last day of a place; nothing after the last change."""
        return self.cuts[place] - DAY if place < len(self.cuts) else None

    def spans(self, extra: bool = False) -> list[Span]:
        """The evenings, alike ones together; with places for evenings that the maker does not have, if asked."""
        season = self.season
        most = season.bench.melts_per_evening
        stands = {evening.on: len(evening.melts) for evening in season.promised}
        open_days: dict[int, list[date]] = {}
        found = []
        for day in sorted(season.evenings):
            place = self.place(day)
            if self._over_full(day):
                continue
            if day in stands:
                found.append(Span(place, (day,), max(most - stands[day], 0), free=True))
            elif self.singly:
                found.append(Span(place, (day,), most))
            else:
                open_days.setdefault(place, []).append(day)
        found += [Span(place, tuple(days), most) for place, days in open_days.items()]
        if extra:
            found += [Span(place, (), most, extra=True) for place in range(len(self.cuts))]
        return sorted(found, key=lambda span: (span.place, span.extra, span.days))

    def room(self, day: date) -> float:
        """What may be cast up to an evening [kg]: the limit, less what lies there, is promised and not flown before."""
        season = self.season
        lies = sum(season.patterns[one.pattern].mass_kg * one.count for one in season.shelf)
        lies += sum(season.weight(evening.grains) for evening in season.promised if evening.on <= day)
        return (season.bench.most_held_kg or 0.0) + season.weight(season.wanted(day - DAY)) - lies

    def _over_full(self, day: date) -> bool:
        return self.season.bench.most_held_kg is not None and self.room(day) < 0


def frame(season: Season, singly: bool = False) -> Frame:
    """Find the days on which something changes for a caster.

    Parameters
    ----------
    season : Season
        Flights, evenings, deliveries and the rest [-].
    singly : bool
        Whether each evening stands alone: where days between evenings matter.

    Returns
    -------
    Frame
        The season on its calendar [-].

    Notes
    -----
    A change falls after the last day for a flight's grains, after a test, on a delivery, and, where what may lie there
    is limited, after a flight. Any dates.

    References
    ----------
    H. M. Wagner, T. M. Whitin, Management Science 5 (1958) 89: between two demands, no day is unlike another.

    Examples
    --------
    >>> from app.calc.season.melt_loads import Pan, Pattern
    >>> from app.calc.season.season import Bench, WantedFlight
    >>> may = WantedFlight("Dunlin", 1, {"A": 2}, date(2027, 5, 9))
    >>> frame(Season([may], {"A": Pattern(0.1, "f")}, Bench(Pan(1.0)), [date(2027, 4, 1)])).end(0)
    datetime.date(2027, 5, 2)
    """
    cuts = {flight.by - season.cure + DAY for flight in season.flights}
    cuts |= {flight.by + DAY for flight in season.flights if flight.test}
    cuts |= {delivery.on for delivery in season.deliveries}
    if season.bench.most_held_kg is not None:
        cuts |= {flight.by + DAY for flight in season.flights}
        cuts |= {evening.on for evening in season.promised}
    return Frame(season, tuple(sorted(cuts)), singly or season.bench.tube_held_h > 0)


def setup(laid: Frame, targets: Targets, extra: bool = False, elastic: str = "", bare: bool = False) -> Setup | None:
    """Write a season's casting as the parts of the program.

    Parameters
    ----------
    laid : Frame
        The season on its calendar [-].
    targets : Targets
        Grains to cast by each day [-].
    extra : bool
        Whether evenings may be added that the maker does not have.
    elastic : str
        What may be stretched: "supplies" or "held" [-].
    bare : bool
        Whether supplies and what may lie there are left out.

    Returns
    -------
    Setup or None
        The parts [-]; nothing where nothing is to be cast.

    Raises
    ------
    OutOfRange
        A grain alone is more than the pan takes, or there are no tubes or rods for it.

    Notes
    -----
    Promised grains are taken off what is wanted by the day on which they are cured.

    References
    ----------
    H. M. Wagner, T. M. Whitin 1958 (cumulated demand), from memory.

    Examples
    --------
    >>> from app.calc.season.melt_loads import Pan
    >>> from app.calc.season.season import Bench
    >>> setup(frame(Season([], {}, Bench(Pan(1.0)), [])), Targets({})) is None
    True
    """
    season = laid.season
    floors = [
        Bound(laid.place(day - season.cure), pattern, count - _promised(season, pattern, day - season.cure))
        for day, counts in targets.by.items()
        for pattern, count in counts.items()
    ]
    floors = [bound for bound in floors if bound.grains > 0]
    total: dict[str, int] = {}
    for bound in floors:
        total[bound.pattern] = max(total.get(bound.pattern, 0), bound.grains)
    if not total:
        return None
    for pattern in total:
        if season.bench.sets.get(pattern, 1) < 1:
            raise OutOfRange("tools", f"there is no tube and rod for {pattern}.", "Make one set at least.")
    spans = laid.spans(extra)
    return Setup(
        spans=spans,
        patterns=season.patterns,
        pan=season.bench.pan,
        loads=_loads(season, total),
        total=total,
        floors=floors,
        ceilings=_ceilings(laid, targets, total),
        held=() if bare else _held(laid, spans),
        supplies=() if bare else _supplies(laid, spans, total),
        remelt_kg=season.remelt_kg,
        remelt_limit=season.bench.remelt_limit,
        windows=_windows(season, spans, total),
        elastic=elastic,
    )


def _promised(season: Season, pattern: str, up_to: date) -> int:
    return sum(evening.grains.get(pattern, 0) for evening in season.promised if evening.on <= up_to)


def _loads(season: Season, total: dict[str, int]) -> dict[str, tuple[tuple[str, ...], list[Load]]]:
    found = {}
    for formula in sorted({season.patterns[p].formula for p in total}):
        mine = {p: season.patterns[p] for p in sorted(total) if season.patterns[p].formula == formula}
        most = {p: min(total[p], season.bench.sets.get(p, total[p])) for p in mine}
        found[formula] = tuple(mine), full_loads(mine, season.bench.pan, most)
    return found


def _ceilings(laid: Frame, targets: Targets, total: dict[str, int]) -> list[Bound]:
    """Up to a test, no more of its formula is cast than for what is due by then."""
    season, found = laid.season, []
    for test in (flight for flight in season.flights if flight.test):
        for pattern in total:
            if season.patterns[pattern].formula in season.formulas(test):
                due = targets.by[test.by].get(pattern, 0) - _promised(season, pattern, test.by)
                found.append(Bound(laid.place(test.by), pattern, max(due, 0)))
    return found


def _held(laid: Frame, spans: Sequence[Span]) -> list[tuple[int, float]]:
    if laid.season.bench.most_held_kg is None:
        return []
    last = {span.place: span.days[-1] for span in spans if span.days}
    ends = {span.place: laid.end(span.place) for span in spans}
    return [(place, laid.room(last.get(place) or ends[place] or date.max)) for place in sorted(ends)]


def _supplies(laid: Frame, spans: Sequence[Span], total: dict[str, int]) -> list[Supply]:
    season, found = laid.season, []
    formulas = {season.patterns[p].formula for p in total}
    for ingredient in sorted({delivery.ingredient for delivery in season.deliveries}):
        shares = {f: season.blends.get(f, {ingredient: 1.0}).get(ingredient, 0.0) for f in formulas}
        shares = {formula: share for formula, share in shares.items() if share > 0}
        came = sorted({laid.place(d.on) for d in season.deliveries if d.ingredient == ingredient})
        places = sorted({span.place for span in spans})
        for start, end in zip([-1, *came], [*came, len(laid.cuts) + 1], strict=True):
            within = [place for place in places if start <= place < end]
            there = sum(
                d.kg for d in season.deliveries if d.ingredient == ingredient and laid.place(d.on) <= max(start, -1)
            )
            if within and shares:
                found.append(Supply(within[-1], ingredient, there, shares))
    return found


def _windows(season: Season, spans: Sequence[Span], total: dict[str, int]) -> list[Window]:
    """For each evening, those that come before its tubes are free again, itself among them."""
    hours = season.bench.tube_held_h
    if hours <= 0:
        return []
    found = []
    for first in sorted({span.days[0] for span in spans if span.days} | {one.on for one in season.promised}):

        def busy(day: date, since: date = first) -> bool:
            return 0 <= (day - since).days * 24 < hours

        together = tuple(i for i, span in enumerate(spans) if span.days and busy(span.days[0]))
        for pattern in total:
            if pattern in season.bench.sets and together:
                taken = sum(one.grains.get(pattern, 0) for one in season.promised if busy(one.on))
                found.append(Window(together, pattern, max(season.bench.sets[pattern] - taken, 0)))
    return found


# --- Solved --------------------------------------------------------------------------------------


def plan(season: Season, seconds: float = 3.0) -> CastPlan:
    """Plan a season's casting: fewest evenings, then fewest melts, then the earliest.

    Parameters
    ----------
    season : Season
        Flights, shelf, bench, evenings and the rest [-].
    seconds : float
        Time for the search [s].

    Returns
    -------
    CastPlan
        What to cast and when, with its chances and its gap [-]; or in words what stands in the way.

    Raises
    ------
    CalcError
        A pattern is not told of, or a number cannot be.

    Notes
    -----
    Grains are counted so that on each day all patterns are enough together with the season's confidence, for melts that
    are full but for the last; where the melts come out otherwise, that is worked out anew and more is cast. "Earliest"
    is the least sum over melts of their days; with a plan kept, the least change of it comes before that. Three
    programs are solved one after the other, each holding the last one's answer fast.

    References
    ----------
    H. M. Wagner, T. M. Whitin, Management Science 5 (1958) 89 (lots over time); HiGHS: Q. Huangfu, J. A. J. Hall, Math.
    Prog. Comp. 10 (2018) 119, by way of scipy.optimize.milp.

    Examples
    --------
    >>> from app.calc.season.melt_loads import Pan, Pattern
    >>> from app.calc.season.season import Bench, WantedFlight
    >>> flights = [WantedFlight("Dunlin", 3, {"A": 4}, date(2027, 5, 9))]
    >>> days = [date(2027, 4, day) for day in (1, 8, 15, 22)]
    >>> made = plan(Season(flights, {"A": Pattern(0.17, "sorbitol")}, Bench(Pan(0.76)), days))
    >>> [(one.on.day, one.grains) for one in made.evenings]
    [(1, {'A': 4}), (8, {'A': 4}), (15, {'A': 4})]
    """
    from app.calc.season.obstacles import why_not

    _checked(season)
    watch, chances = Stopwatch(seconds), Chances(season)
    if contradiction := before_a_test(season):
        return CastPlan(False, {}, why_not=contradiction, seconds=watch.spent)
    more: dict[date, dict[str, int]] = {}
    best: CastPlan | None = None
    for _ in range(MOST_ROUNDS):
        targets = chances.targets(more)
        found = None if isinstance(targets, date) else _solved(season, targets, watch)
        if found is None or isinstance(targets, date):
            break
        chance, lacking = chances.short(found.evenings)
        best = replace(found, chance=chance)
        if not lacking or watch.left < 0.1:
            break
        for day, pattern in lacking.items():
            more.setdefault(day, {})[pattern] = targets.by[day][pattern] + 1
    if best is not None:
        return replace(best, seconds=watch.spent)
    known = {} if isinstance(targets, date) else targets.total
    return CastPlan(False, known, why_not=why_not(season, targets, watch), seconds=watch.spent)


def _checked(season: Season) -> None:
    for flight in season.flights:
        for pattern in flight.grains:
            if pattern not in season.patterns:
                raise CalcError("flights", f"{flight.name} names a pattern {pattern} that is not told.", "Add it.")
    for one in season.shelf:
        if one.pattern not in season.patterns:
            raise CalcError("shelf", f"the pattern {one.pattern} is not told.", "Add it to the patterns.")


def _solved(season: Season, targets: Targets, watch: Stopwatch) -> CastPlan | None:
    laid = frame(season)
    try:
        parts = setup(laid, targets)
    except OutOfRange:
        return None  # told by what looks for the obstacle
    if parts is None:
        return CastPlan(True, {})
    program = Program(parts)
    first = min(season.evenings, default=date.min)
    costs = [program.evenings_cost(), program.melts_cost()]
    answer = program.in_turn(costs if season.kept else [*costs, program.days_cost(first)], watch)
    if answer is None:
        return None
    if not season.kept:
        return CastPlan(True, dict(parts.total), _read(parts, answer.solved), gap=answer.gap)
    close = _near(season, targets, [answer.solved.costs(cost) for cost in costs], watch)
    return replace(close, gap=max(close.gap, answer.gap)) if close else None


def _near(season: Season, targets: Targets, most: Sequence[float], watch: Stopwatch) -> CastPlan | None:
    """Of the plans with so few evenings and melts, the one nearest to the plan kept; then the earliest."""
    parts = setup(frame(season, singly=True), targets)
    assert parts is not None
    program = Program(parts)
    program.hold(program.evenings_cost(), most[0])
    program.hold(program.melts_cost(), most[1])
    kept = {evening.on: evening.grains for evening in season.kept}
    change: Cost = {}
    for i, span in enumerate(parts.spans):
        was = kept.get(span.days[0], {})
        change |= {program.changed(pattern, i, was.get(pattern, 0)): 1.0 for pattern in parts.total}
        if not was and not span.free:
            change[program.evening[i]] = NEW_EVENING
    answer = program.in_turn([change, program.days_cost(min(season.evenings))], watch)
    return CastPlan(True, dict(parts.total), _read(parts, answer.solved), gap=answer.gap) if answer else None


def _read(parts: Setup, solved: Solved) -> tuple[EveningPlan, ...]:
    """Evenings out of counts: the days of a span from its first on, melts filled in turn, the fullest first."""
    found: list[EveningPlan] = []
    for i, span in enumerate(parts.spans):
        melts: list[MeltPlan] = []
        for formula, (names, loads) in parts.loads.items():
            left = {name: solved.grains[name][i] for name in names}
            for load in loads:
                for _ in range(solved.melts[formula, load][i]):
                    grains = {name: min(n, left[name]) for name, n in zip(names, load, strict=True)}
                    left = {name: left[name] - grains[name] for name in names}
                    if any(grains.values()):
                        melts.append(MeltPlan(formula, {name: n for name, n in grains.items() if n}))
        for number, day in enumerate(span.days):
            mine = melts[number * span.melts_each : (number + 1) * span.melts_each]
            if mine:
                found.append(EveningPlan(day, tuple(mine)))
    return tuple(sorted(found, key=lambda evening: evening.on))
