"""From flights to a plan: grains with their rejects, melts that fit, as few evenings as there can be."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from app.calc.base.errors import CalcError, OutOfRange
from app.calc.season.calendar_frame import frame, setup
from app.calc.season.grains_needed import Chances, Targets, before_a_test
from app.calc.season.program import NO_TIME, Cost, OutOfTime, Program, Solved, Stopwatch
from app.calc.season.program_parts import Setup
from app.calc.season.rejects import MOST_GRAINS
from app.calc.season.season import CastPlan, EveningPlan, MeltPlan, Season

MOST_ROUNDS = 12
"""How often grains are added where the melts as they came out leave a day short of its chance."""

FEWEST, EARLIEST = "the fewest evenings and melts", "the earliest evenings"
NEAREST = "the least change of the plan before"
"""What is searched for, in words."""

NEW_EVENING = 25.0
"""An evening that was not in the plan kept weighs as much as so many grains that moved: Grainbook's own choice."""


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
        try:
            found = None if isinstance(targets, date) else _solved(season, targets, watch)
        except OutOfTime:
            if best is None:
                return CastPlan(False, {}, why_not=NO_TIME, gap=1.0, seconds=watch.spent)
            break
        if found is None or isinstance(targets, date):
            known = {} if isinstance(targets, date) else targets.total
            return CastPlan(False, known, why_not=why_not(season, targets, watch), seconds=watch.spent)
        chance, lacking = chances.short(found.evenings)
        best = replace(found, chance=chance)
        if not lacking or watch.left < 0.1:
            break
        for day, pattern in lacking.items():
            more.setdefault(day, {})[pattern] = targets.by[day][pattern] + 1
    assert best is not None
    return replace(best, seconds=watch.spent)


def _checked(season: Season) -> None:
    for flight in season.flights:
        for pattern in flight.grains:
            if pattern not in season.patterns:
                raise CalcError("flights", f"{flight.name} names a pattern {pattern} that is not told.", "Add it.")
    for one in season.shelf:
        if one.pattern not in season.patterns:
            raise CalcError("shelf", f"the pattern {one.pattern} is not told.", "Add it to the patterns.")
    grains = sum(flight.count * sum(flight.grains.values()) for flight in season.flights)
    if grains > MOST_GRAINS:
        raise CalcError("flights", f"{grains} grains are wanted and at most {MOST_GRAINS} planned.", "Ask for fewer.")


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
    fast = [program.evenings_cost(), program.melts_cost()]
    costs: list[tuple[str, Cost, list[Cost]]] = [(FEWEST, program.evenings_then_melts(), fast)]
    answer = program.in_turn(costs if season.kept else [*costs, (EARLIEST, program.days_cost(first), [])], watch)
    if answer is None:
        return None
    gap = answer.gap if parts.complete else max(answer.gap, _apart(parts, program, answer.solved, watch))
    if not season.kept:
        return CastPlan(True, dict(parts.total), _read(parts, answer.solved), gap=gap, stopped=answer.stopped)
    close = _near(season, targets, [answer.solved.costs(cost) for cost in fast], watch)
    return replace(close, gap=max(close.gap, gap), stopped=answer.stopped + close.stopped) if close else None


def _apart(parts: Setup, program: Program, solved: Solved, watch: Stopwatch) -> float:
    """How far a plan made of some of the loads may lie above the least, by what mass and tools alone ask for."""
    bulk = Program(replace(parts, loads={formula: (names, []) for formula, (names, _) in parts.loads.items()}))
    value = solved.costs(program.evenings_then_melts())
    try:
        least = bulk.least(bulk.evenings_then_melts(), max(watch.left, 0.5))
        bound = least.bound if least else 0.0
    except OutOfTime as late:
        bound = late.bound
    return max(value - bound, 0.0) / value if value > bound + 1e-6 else 0.0


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
    days = program.days_cost(min(season.evenings))
    answer = program.in_turn([(NEAREST, change, [change]), (EARLIEST, days, [])], watch)
    if answer is None:
        return None
    return CastPlan(True, dict(parts.total), _read(parts, answer.solved), gap=answer.gap, stopped=answer.stopped)


def _read(parts: Setup, solved: Solved) -> tuple[EveningPlan, ...]:
    """Evenings out of counts: the days of a span from its first on, melts of one pattern even, others in turn."""
    found: list[EveningPlan] = []
    for i, span in enumerate(parts.spans):
        melts: list[MeltPlan] = []
        for formula, (names, loads) in parts.loads.items():
            left = {name: solved.grains[name][i] for name in names}
            full = [load for load in loads for _ in range(solved.melts[formula, load][i])]
            for number, load in enumerate(full):
                most = zip(names, load, strict=True)
                if len(names) == 1:  # alike melts share their grains evenly
                    most = zip(names, [-(-left[names[0]] // (len(full) - number))], strict=True)
                grains = {name: min(n, left[name]) for name, n in most}
                left = {name: left[name] - grains[name] for name in names}
                if any(grains.values()):
                    melts.append(MeltPlan(formula, {name: n for name, n in grains.items() if n}))
        for number, day in enumerate(span.days):
            mine = melts[number * span.melts_each : (number + 1) * span.melts_each]
            if mine:
                found.append(EveningPlan(day, tuple(mine)))
    return tuple(sorted(found, key=lambda evening: evening.on))
