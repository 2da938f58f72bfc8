"""A season laid on its calendar, and written as the parts of the program: spans, floors, ceilings, limits."""

from bisect import bisect_right
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from app.calc.base.errors import NoSolution, OutOfRange
from app.calc.season.grains_needed import Targets
from app.calc.season.melt_loads import Load, full_loads, least_melts, some_loads
from app.calc.season.program_parts import Bound, Setup, Span, Supply, Window
from app.calc.season.season import Season

DAY = timedelta(days=1)


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
        stands = {evening.on: len(evening.melts) for evening in season.promised}
        alike: dict[tuple[int, int, int], list[date]] = {}
        found = []
        for day in sorted(season.evenings):
            place, most = self.place(day), season.melts_on.get(day, season.bench.melts_per_evening)
            if self._over_full(day):
                continue
            if day in stands:
                found.append(Span(place, (day,), max(most - stands[day], 0), free=True))
            elif self.singly:
                found.append(Span(place, (day,), most))
            else:
                alike.setdefault((place, most, season.cure(day)), []).append(day)
        found += [Span(place, tuple(days), most) for (place, most, _), days in alike.items()]
        if extra:
            most = season.bench.melts_per_evening
            found += [Span(place, (), most, extra=True) for place in range(len(self.cuts))]
        return sorted(found, key=lambda span: (span.place, span.extra, span.days))

    def ready(self, span: Span) -> date:
        """The first day on which all that is cast in a span may be flown."""
        if span.days:
            return self.season.ready(span.days[-1])
        return self.cuts[span.place] - DAY + timedelta(days=self.season.bench.cure_days)

    def room(self, day: date) -> float:
        """What may be cast up to an evening [kg]: the limit, less what lies there, is promised and not flown before."""
        season = self.season
        lies = sum(season.patterns[one.pattern].mass_kg * one.count for one in season.shelf)
        lies += sum(season.weight(evening.grains) for evening in season.promised if evening.on <= day)
        lies += season.bench.held_besides_kg
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
    cures = {season.bench.cure_days, *season.cure_days_on.values()}
    cuts = {flight.by - timedelta(days=cure) + DAY for flight in season.flights for cure in cures}
    cuts |= {flight.by + DAY for flight in season.flights if flight.test}
    cuts |= {delivery.on for delivery in season.deliveries}
    if season.bench.most_held_kg is not None:
        cuts |= {flight.by + DAY for flight in season.flights}
        cuts |= {evening.on for evening in season.promised}
    return Frame(season, tuple(sorted(cuts)), singly or season.bench.tube_held_h > 0)


def setup(
    laid: Frame, targets: Targets, extra: bool = False, elastic: Collection[str] = (), bare: bool = False
) -> Setup | None:
    """Write a season's casting as the parts of the program.

    Parameters
    ----------
    laid : Frame
        The season on its calendar [-].
    targets : Targets
        Grains to cast by each day [-].
    extra : bool
        Whether evenings may be added that the maker does not have.
    elastic : collection of str
        What may be stretched: "supplies", "held" or both [-].
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
    spans = laid.spans(extra)
    floors = []
    for day, counts in targets.by.items():
        in_time = tuple(i for i, span in enumerate(spans) if laid.ready(span) <= day)
        for pattern, count in counts.items():
            stands = sum(e.grains.get(pattern, 0) for e in season.promised if season.ready(e.on) <= day)
            if count > stands:
                floors.append(Bound(in_time, pattern, count - stands))
    total: dict[str, int] = {}
    for bound in floors:
        total[bound.pattern] = max(total.get(bound.pattern, 0), bound.grains)
    if not total:
        return None
    for pattern in total:
        sets = season.bench.most_sets(pattern)
        if sets is not None and sets < 1:
            raise OutOfRange("tools", f"there is no tube and rod for {pattern}.", "Make one set at least.")
    loads, complete = _loads(season, total, targets)
    return Setup(
        spans=spans,
        patterns=season.patterns,
        pan=season.bench.pan,
        loads=loads,
        tools=season.bench.tools,
        complete=complete,
        total=total,
        floors=floors,
        ceilings=_ceilings(laid, spans, targets, loads),
        held=() if bare else _held(laid, spans),
        supplies=() if bare else _supplies(laid, spans, total),
        remelt_kg=season.remelt_kg,
        remelt_limit=season.bench.remelt_limit,
        windows=_windows(season, spans, total),
        elastic=frozenset(elastic),
    )


def _loads(
    season: Season, total: dict[str, int], targets: Targets
) -> tuple[dict[str, tuple[tuple[str, ...], list[Load]]], bool]:
    """The full loads of each formula, and whether none is left out; where there are too many, those that matter."""
    found, complete = {}, True
    pan, tools = season.bench.pan, season.bench.tools
    for formula in sorted({season.patterns[p].formula for p in total}):
        mine = {p: season.patterns[p] for p in sorted(total) if season.patterns[p].formula == formula}
        try:
            loads = full_loads(mine, pan, total, tools)
        except NoSolution:
            complete = False
            days = sorted(targets.by)
            loads = some_loads(
                mine, pan, total, tools, [total, *(targets.by[day] for day in days[:: len(days) // 8 + 1])]
            )
        found[formula] = tuple(mine), loads
    return found, complete


def _up_to(spans: Sequence[Span], place: int) -> tuple[int, ...]:
    return tuple(i for i, span in enumerate(spans) if span.place <= place)


def _ceilings(
    laid: Frame, spans: Sequence[Span], targets: Targets, loads: Mapping[str, tuple[tuple[str, ...], list[Load]]]
) -> list[tuple[tuple[int, ...], str, int]]:
    """Up to a test, no more melts of its formula than take what is due by then; they may be filled up."""
    season, found = laid.season, []
    for test in (flight for flight in season.flights if flight.test):
        stands = [evening for evening in season.promised if evening.on <= test.by]
        for formula in season.formulas(test) & set(loads):
            names, full = loads[formula]
            due = {
                p: targets.by[test.by].get(p, 0) - sum(evening.grains.get(p, 0) for evening in stands) for p in names
            }
            most = least_melts(names, full, {p: max(count, 0) for p, count in due.items()}, exact=True)
            found.append((_up_to(spans, laid.place(test.by)), formula, most))
    return found


def _held(laid: Frame, spans: Sequence[Span]) -> list[tuple[tuple[int, ...], float]]:
    if laid.season.bench.most_held_kg is None:
        return []
    last = {span.place: span.days[-1] for span in spans if span.days}
    ends = {span.place: laid.end(span.place) for span in spans}
    return [(_up_to(spans, place), laid.room(last.get(place) or ends[place] or date.max)) for place in sorted(ends)]


def _supplies(laid: Frame, spans: Sequence[Span], total: dict[str, int]) -> list[Supply]:
    """Up to the last span before each further delivery, no more is used than has come."""
    season, found = laid.season, []
    formulas = {season.patterns[p].formula for p in total}
    places = sorted({span.place for span in spans})
    for ingredient in sorted({delivery.ingredient for delivery in season.deliveries}):
        shares = {f: season.blends.get(f, {ingredient: 1.0}).get(ingredient, 0.0) for f in formulas}
        shares = {formula: share for formula, share in shares.items() if share > 0}
        mine = [delivery for delivery in season.deliveries if delivery.ingredient == ingredient]
        there = {place: sum(d.kg for d in mine if laid.place(d.on) <= place) for place in places}
        for place in places if shares else ():
            if place == places[-1] or there[place] != there[places[places.index(place) + 1]]:
                found.append(Supply(_up_to(spans, place), place, ingredient, there[place], shares))
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
        for patterns, sets in season.bench.tools:
            here = patterns & set(total)
            if here and together:
                taken = sum(one.grains.get(p, 0) for one in season.promised if busy(one.on) for p in patterns)
                found.append(Window(together, tuple(sorted(here)), max(sets - taken, 0)))
    return found
