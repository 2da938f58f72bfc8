"""What stands in the way of a plan, and what would lift it: evenings, pan, tools, supplies, or what may lie there."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from datetime import date, timedelta

from app.calc.base.errors import OutOfRange
from app.calc.base.notes import Amount, Note, joined
from app.calc.season.calendar_frame import Frame, frame, setup
from app.calc.season.casting import plan
from app.calc.season.grains_needed import Chances, Targets
from app.calc.season.program import NO_TIME, OutOfTime, Program, Solved, Stopwatch
from app.calc.season.season import CastPlan, Season, WantedFlight, day_words

LARGEST_PAN = 4.0
"""A larger pan is proposed up to so many times the one there is [-]."""

EVENING = 1e4
"""What an evening more weighs against a kilogram more [kg]."""

SMALL = 1e-6
"""Less is none [kg]."""

MORE_MELTS = 3
"""So many melts more in an evening are thought of [-]."""


def why_not(season: Season, targets: Targets | date, watch: Stopwatch) -> Note | str:
    """Say why a season cannot be cast, and what would make it possible.

    Parameters
    ----------
    season : Season
        A season without a plan [-].
    targets : Targets or date
        Grains to cast by each day, or the day for which no number is enough [-].
    watch : Stopwatch
        What is left of the time [-].

    Returns
    -------
    Note or str
        A sentence with what stands in the way and each single thing that would lift it, as far as time allows; where
        none does, what would together [-].

    Notes
    -----
    The least number of further evenings, mass of supplies and propellant over its limit are those of the same program
    with these stretched at a cost; pan, melts an evening and tools are tried one by one, pan and melts in pairs where
    neither does alone.

    References
    ----------
    Elastic programs: J. W. Chinneck, E. W. Dravnieks, ORSA J. Computing 3 (1991) 157, from memory.

    Examples
    --------
    >>> from app.calc.season.melt_loads import Pan, Pattern
    >>> from app.calc.season.season import Bench
    >>> flights = [WantedFlight("Dunlin", 3, {"A": 4}, date(2027, 5, 9))]
    >>> lacking = Season(flights, {"A": Pattern(0.17, "sorbitol")}, Bench(Pan(0.76)), [date(2027, 4, 1)])
    >>> str(plan(lacking).why_not).split(", or ")[0]
    'It needs 2 more evenings by 2 May 2027 (for Dunlin)'
    """
    if isinstance(targets, date):
        return (
            f"With so many rejects, no number of grains is enough by {day_words(targets)} with a chance of "
            f"{season.confidence:.0%}. Ask for less certainty, or find out what spoils the melts first."
        )
    watch = Stopwatch(max(watch.left, 1.5))
    laid = frame(season)
    try:
        if _tried(laid, targets, watch, bare=True) is not None:
            return _not_there(laid, targets, watch)
        return _too_few(laid, targets, watch)
    except OutOfRange as error:
        return error.sentence
    except OutOfTime:
        return NO_TIME


BOTH = ("supplies", "held")
"""What may be stretched: what is there of an ingredient, and what may lie there."""


def _tried(
    laid: Frame,
    targets: Targets,
    watch: Stopwatch,
    extra: bool = False,
    elastic: Collection[str] = (),
    bare: bool = False,
) -> tuple[Program, Solved] | None:
    """A plan of the season as it is, or stretched as little as can be; fewer evenings come before less else."""
    parts = setup(laid, targets, extra, elastic, bare)
    if parts is None:
        return None
    program = Program(parts)
    cost = {program.evening[i]: EVENING if elastic else 1.0 for i, span in enumerate(parts.spans) if span.extra}
    cost |= dict.fromkeys(program.stretch.values(), 1.0)
    found = program.least(cost, watch.left)
    if found is None:
        return None
    if extra or elastic:  # as late as it may be
        program.hold(cost, found.costs(cost))
        late = {program.evening[i]: -float(span.place) for i, span in enumerate(parts.spans) if span.extra}
        late |= {column: -float(place) for (_, place), column in program.stretch.items()}
        found = program.least(late, watch.left) or found
    return program, found


def _possible(season: Season, watch: Stopwatch, bare: bool) -> bool:
    """Whether there is any plan; `bare`: supplies and what may lie there left aside."""
    if watch.left < 0.1:
        return False
    targets = Chances(season).targets({})
    if isinstance(targets, date):
        return False
    try:
        return _tried(frame(season), targets, watch, bare=bare) is not None
    except (OutOfRange, OutOfTime):
        return False


# --- Too few evenings ----------------------------------------------------------------------------


def _too_few(laid: Frame, targets: Targets, watch: Stopwatch) -> Note | str:
    season, bare = laid.season, False
    found, besides = _tried(laid, targets, watch, extra=True), list[Note | str]()
    if found is None:  # evenings alone do not do: what else it takes with them
        found, bare = _tried(laid, targets, watch, extra=True, elastic=BOTH), True
        besides = _stretched(laid, found) if found else []
    if found is None:
        return "However many evenings there were, the pan, the tools and the tests leave no plan. Give up a wish."
    program, solved = found
    asked: list[tuple[int, str]] = []
    too_soon: list[str] = []
    for i, span in enumerate(program.setup.spans):
        count, end = solved.evenings[i], laid.end(span.place)
        if not span.extra or not count or end is None:
            continue
        mine = [f for f in season.flights if f.by - timedelta(days=season.bench.cure_days) == end]
        if season.today is not None and end < season.today:
            too_soon += [f"{f.name} by {day_words(f.by)}" for f in mine] or [f"melts by {day_words(end)}"]
            continue
        names = sorted({f.name for f in mine})
        said = f"by {day_words(end)}" + (f" (for {', '.join(names[:3])})" if names else "")
        if season.evenings and end < min(season.evenings):
            said += f", which is before the first evening there is, {day_words(min(season.evenings))}"
        asked.append((count, said))
    none = "There is no evening on which to cast. " if not season.evenings else ""
    if too_soon and season.today is not None:
        none += (
            f"Too soon: {', '.join(dict.fromkeys(too_soon))}. What is cast today is cured on "
            f"{day_words(season.ready(season.today))}; give it a day from then on. "
        )
        if not asked:
            return none.rstrip()
    whole = sum(count for count, _ in asked)
    first = f"{whole} more {'evening' if whole == 1 else 'evenings'}"
    if len(asked) == 1:
        first += f" {asked[0][1]}"
    else:
        first += ": " + ", ".join(f"{count} {said}" for count, said in asked)
    larger, more = list(_larger_pan(season, watch, bare)), list(_more(season, watch, bare))
    ways: list[Note | str] = [first, *larger, *more]
    if not larger and not more:
        ways += _larger_pan_and_more(season, watch, bare)
    if besides:
        none += "No single thing is enough. "
    return _sentence(none, ways, besides)


def _sentence(before: str, ways: Sequence[Note | str], besides: Sequence[Note | str] = ()) -> Note:
    whole = joined(f"{before}It needs", joined(*ways, between=", or "))
    if besides:
        whole = joined(whole, joined(*besides, between=" and "), between="; and together with that ")
    return replace(whole, words=f"{whole.words}.")


def _stretched(laid: Frame, found: tuple[Program, Solved]) -> list[Note | str]:
    """What it takes more of an ingredient, and of what may lie there."""
    stretch, limit = found[1].stretch, laid.season.bench.most_held_kg
    said: list[Note | str] = []
    for (what, place), kg in sorted(stretch.items()):
        if kg <= SMALL or what == "held":
            continue
        end = laid.end(place)
        by = f" by {day_words(end)}" if end else ""
        said.append(joined(Note("{kg}", {"kg": Amount(kg, "mass")}), f"more of {what}{by}"))
    over = sum(kg for (what, _), kg in stretch.items() if what == "held")
    if over > SMALL and limit is not None:
        least = {"limit": Amount(limit, "mass"), "least": Amount(limit + over, "mass")}
        said.append(Note("room for {least} to lie there at once, where {limit} may", least))
    return said


def _larger_pan(season: Season, watch: Stopwatch, bare: bool) -> Iterator[Note]:
    """The least pan, of those that hold one grain more of some pattern, with which there is a plan."""
    pan = season.bench.pan
    wanted = season.wanted(max(season.dates))
    sizes = sorted(
        {
            round(pan.melt_kg(count * season.patterns[name].mass_kg) + 5e-7, 6)
            for name, most in wanted.items()
            for count in range(1, 1 + min(most, int(LARGEST_PAN * pan.holds_kg / season.patterns[name].mass_kg)))
        }
    )
    sizes = [size for size in sizes if pan.holds_kg < size <= LARGEST_PAN * pan.holds_kg]

    def does(size: float) -> bool:
        return _possible(replace(season, bench=replace(season.bench, pan=replace(pan, holds_kg=size))), watch, bare)

    if not season.evenings or not sizes or not does(sizes[-1]):
        return
    low, high = -1, len(sizes) - 1
    while high - low > 1 and watch.left > 0.1:
        middle = (low + high) // 2
        low, high = (low, middle) if does(sizes[middle]) else (middle, high)
    yield Note("a pan that holds {pan}", {"pan": Amount(sizes[high], "mass")})


def _larger_pan_and_more(season: Season, watch: Stopwatch, bare: bool) -> Iterator[Note]:
    """A larger pan and more melts an evening together, where neither is enough alone."""
    for more in range(1, MORE_MELTS + 1) if season.evenings else ():
        melts = season.bench.melts_per_evening + more
        wider = replace(
            season,
            bench=replace(season.bench, melts_per_evening=melts),
            melts_on={day: most + more for day, most in season.melts_on.items()},
        )
        for pan in _larger_pan(wider, watch, bare):
            yield joined(pan, f"together with {melts} melts an evening instead of {season.bench.melts_per_evening}")
            return


def _more(season: Season, watch: Stopwatch, bare: bool) -> Iterator[str]:
    """More melts an evening, or one set of tools more, where that alone is enough."""
    if not season.evenings:
        return
    bench = season.bench
    for more in range(1, MORE_MELTS + 1):
        melts = bench.melts_per_evening + more
        if _possible(replace(season, bench=replace(bench, melts_per_evening=melts)), watch, bare):
            yield f"{melts} melts an evening instead of {bench.melts_per_evening}"
            break
    for i, (patterns, sets) in enumerate(bench.shared):
        for more in (1, 2, 4):
            wider_shared = [*bench.shared[:i], (patterns, sets + more), *bench.shared[i + 1 :]]
            if _possible(replace(season, bench=replace(bench, shared=wider_shared)), watch, bare):
                yield f"{sets + more} rods for {', '.join(sorted(patterns))} instead of {sets}"
                break
    for pattern, sets in bench.sets.items():
        for more in (1, 2, 4):
            wider = {**bench.sets, pattern: sets + more}
            if _possible(replace(season, bench=replace(bench, sets=wider)), watch, bare):
                yield f"tubes and rods for {sets + more} {pattern} instead of {sets}"
                break


# --- What is not there, or too much of it -----------------------------------------------------


def _not_there(laid: Frame, targets: Targets, watch: Stopwatch) -> Note | str:
    season, limit = laid.season, laid.season.bench.most_held_kg
    found = _tried(laid, targets, watch, elastic=("supplies",)) if season.deliveries else None
    if found is not None:
        told = _sentence("The supplies are not there in time. ", [joined(*_stretched(laid, found), between=" and ")])
        unknown = sorted({p.formula for p in season.patterns.values()} - set(season.blends))
        if unknown:
            told = joined(told, f"Of {', '.join(unknown)} no blend is told: all of it was counted as each ingredient.")
        return told
    found = _tried(laid, targets, watch, elastic=("held",)) if limit is not None else None
    if found is not None and limit is not None:
        over = sum(found[1].stretch.values())
        return Note(
            "What may lie there at once, {limit}, stands in the way: the least that this takes is {least}. "
            "Fly earlier, cast later, or ask for less.",
            {"limit": Amount(limit, "mass"), "least": Amount(limit + over, "mass")},
        )
    found = _tried(laid, targets, watch, elastic=BOTH) if limit is not None and season.deliveries else None
    if found is not None:
        together = joined(*_stretched(laid, found), between=", and together with that ")
        return _sentence("No single thing is enough. ", [together])
    return Note(
        "More lies there already than the {limit} that may, until something is flown.",
        {"limit": Amount(limit or 0.0, "mass")},
    )


# --- What matters most ---------------------------------------------------------------------------


def plan_what_matters(season: Season, seconds: float = 3.0) -> CastPlan:
    """Plan a season; where not everything can be, give up what matters least.

    Parameters
    ----------
    season : Season
        Flights with their priorities, and the rest [-].
    seconds : float
        Time for the search [s].

    Returns
    -------
    CastPlan
        The plan of all [-]; or, not feasible, why not, with the plan of what can be and the flights given up, where
        flights matter differently.

    Raises
    ------
    CalcError
        A pattern is not told of, or a number cannot be.

    Notes
    -----
    Flights are taken in by priority, then by date, each with all that came before it and as many of its number as there
    is a plan for. This is not the most flights there can be: none is exchanged for two others.

    References
    ----------
    Lexicographic choice by priority: common practice, no source.

    Examples
    --------
    >>> from app.calc.season.melt_loads import Pan, Pattern
    >>> from app.calc.season.season import Bench
    >>> wanted = [WantedFlight("Knot", 2, {"A": 4}, date(2027, 5, 9), priority=2)]
    >>> wanted += [WantedFlight("Dunlin", 1, {"A": 4}, date(2027, 5, 9))]
    >>> few = Season(wanted, {"A": Pattern(0.17, "sorbitol")}, Bench(Pan(0.76)), [date(2027, 4, 1)])
    >>> plan_what_matters(few).given_up
    ('Knot',)
    """
    whole = plan(season, seconds)
    if whole.feasible or len({flight.priority for flight in season.flights}) < 2:
        return whole
    watch = Stopwatch(seconds)
    taken: list[WantedFlight] = []
    left: list[str] = []
    for flight in sorted(season.flights, key=lambda f: (f.priority, f.by)):
        count = _most_flown(season, taken, flight, watch)
        if count:
            taken.append(replace(flight, count=count))
        if count < flight.count:
            left.append(f"{flight.count - count} of {flight.count} {flight.name}" if count else flight.name)
    part = plan(replace(season, flights=taken), seconds)
    if not part.feasible or not taken:
        return whole
    return replace(part, feasible=False, why_not=whole.why_not, given_up=tuple(left))


def _most_flown(season: Season, taken: list[WantedFlight], flight: WantedFlight, watch: Stopwatch) -> int:
    """How many of a flight's number can be cast for beside those that were taken in before."""
    low, high = 0, flight.count + 1
    trial = flight.count  # all of them first
    while high - low > 1:
        if _fits(replace(season, flights=[*taken, replace(flight, count=trial)]), watch):
            low = trial
        else:
            high = trial
        trial = (low + high) // 2
    return low


def _fits(season: Season, watch: Stopwatch) -> bool:
    if watch.left < 0.1:
        return False
    targets = Chances(season).targets({})
    if isinstance(targets, date):
        return False
    try:
        parts = setup(frame(season), targets)
        return parts is None or Program(parts).least({}, watch.left) is not None
    except (OutOfRange, OutOfTime):
        return False
