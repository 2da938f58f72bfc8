"""A season's casting against every plan there is, against a published example, and against what it promises."""

from dataclasses import replace
from datetime import date, timedelta
from itertools import combinations_with_replacement, product
from math import prod
from random import Random

import pytest

from app.calc.season.calendar_frame import frame, setup
from app.calc.season.casting import plan
from app.calc.season.grains_needed import Chances, Targets
from app.calc.season.melt_loads import Pan, Pattern
from app.calc.season.obstacles import plan_what_matters
from app.calc.season.program import OutOfTime, Program, Solved
from app.calc.season.rejects import rejects_in_all
from app.calc.season.season import Bench, CastPlan, Delivery, EveningPlan, Lying, MeltPlan, Season, WantedFlight
from tests.published import published

FIRST = date(2027, 2, 1)


def on(day: int) -> date:
    return FIRST + timedelta(days=day)


# --- Every plan there is -------------------------------------------------------------------------


def small(seed: int) -> Season:
    """A season small enough that every plan of it can be tried; every kind of limit comes up."""
    r = Random(seed)
    names = ["A", "B", "C"][: r.choice([1, 2, 2, 3])]
    patterns = {name: Pattern(r.choice([0.1, 0.15, 0.2]), r.choice(["f", "f", "g"])) for name in names}
    flights = [
        WantedFlight(
            f"w{i}",
            r.choice([1, 1, 2]),
            {name: r.choice([1, 1, 2]) for name in r.sample(names, r.choice([1, 1, min(2, len(names))]))},
            on(r.randint(10, 34)),
            test=r.random() < 0.12,
        )
        for i in range(r.randint(1, 3))
    ]
    deliveries = []
    if r.random() < 0.25:
        deliveries = [
            Delivery("sorbitol", r.choice([0.05, 0.15]), on(-9)),
            Delivery("sorbitol", 0.3, on(r.randint(1, 20))),
        ]
    bench = Bench(
        Pan(r.choice([0.25, 0.35, 0.45]), r.choice([0.0, 0.05]), r.choice([0.0, 0.02])),
        {name: r.choice([1, 2, 3]) for name in names if r.random() < 0.7},
        r.choice([1, 1, 2]),
        r.choice([0, 7, 7]),
        tube_held_h=r.choice([0.0, 0.0, 12.0, 60.0]),
        most_held_kg=r.choice([None, None, None, 0.5, 0.8]),
        shared=[(frozenset(names[:2]), r.choice([2, 3]))] if r.random() < 0.2 else [],
    )
    return Season(
        flights,
        patterns,
        bench,
        sorted(on(day) for day in r.sample(range(-12, 26), r.randint(2, 5))),
        shelf=[Lying(r.choice(names), r.randint(1, 2), on(r.randint(-5, 25)))] if r.random() < 0.5 else [],
        deliveries=deliveries,
        blends={"f": {"sorbitol": 0.35, "potassium_nitrate": 0.65}, "g": {"sucrose": 1.0}},
        remelt_kg={"f": 0.05} if r.random() < 0.3 else {},
        melts_on={on(day): 3 for day in range(-12, 26, 5)} if r.random() < 0.2 else {},
        cure_days_on={on(day): 10 for day in range(-4, 4)} if r.random() < 0.2 and bench.cure_days else {},
    )


def melts_of(season: Season) -> list[MeltPlan]:
    """Every melt that the pan and the tools allow."""
    found, bench = [], season.bench
    for formula in sorted({pattern.formula for pattern in season.patterns.values()}):
        names = [name for name, pattern in season.patterns.items() if pattern.formula == formula]
        for counts in product(*(range(bench.sets.get(name, 4) + 1) for name in names)):
            grains = {name: n for name, n in zip(names, counts, strict=True) if n}
            rods = all(sum(grains.get(p, 0) for p in of) <= sets for of, sets in bench.shared)
            if grains and rods and bench.pan.melt_kg(season.weight(grains)) <= bench.pan.holds_kg + 1e-9:
                found.append(MeltPlan(formula, grains))
    return found


def fewest(melts: list[MeltPlan], need: dict[str, int]) -> int:
    """Of these melts, by trying one number after the other."""
    need = {p: n for p, n in need.items() if n > 0}
    if any(all(not melt.grains.get(p) for melt in melts) for p in need):
        return 99
    for count in range(20):
        for chosen in combinations_with_replacement(melts, count):
            if all(sum(melt.grains.get(p, 0) for melt in chosen) >= n for p, n in need.items()):
                return count
    return 99


def allowed(season: Season, evenings: tuple[EveningPlan, ...]) -> bool:
    """Whether what was cast up to the last of these evenings keeps every limit; written anew, by the words alone."""
    bench, last = season.bench, evenings[-1].on
    lies = season.weight({p: season.lying(p) for p in season.patterns})
    cast = sum(season.weight(evening.grains) for evening in evenings)
    flown = sum(season.weight(f.grains) * f.count for f in season.flights if f.by < last)
    if bench.most_held_kg is not None and lies + cast - flown > bench.most_held_kg + 1e-9:
        return False
    if bench.tube_held_h > 0:
        for first in evenings:
            busy = [e for e in evenings if 0 <= (e.on - first.on).days * 24 < bench.tube_held_h]
            for patterns, sets in [*(([p], n) for p, n in bench.sets.items()), *bench.shared]:
                if sum(evening.grains.get(p, 0) for evening in busy for p in patterns) > sets:
                    return False
    for test in season.flights:
        if test.test and last <= test.by:
            for formula in season.formulas(test):
                due = [d for d in season.dates if d <= test.by]
                need = {
                    p: max(season.wanted(d).get(p, 0) - season.lying(p, d) for d in due)
                    for p, of in season.patterns.items()
                    if of.formula == formula
                }
                lists = [melt for melt in melts_of(season) if melt.formula == formula]
                if sum(m.formula == formula for e in evenings for m in e.melts) > fewest(lists, need):
                    return False
    return _supplied(season, evenings)


def _supplied(season: Season, evenings: tuple[EveningPlan, ...]) -> bool:
    """Remelt goes in as late as sorbitol lacks, which is when it helps: as much as the rule lets it, from the start."""
    if not season.deliveries:
        return True
    used, left = 0.0, season.remelt_kg.get("f", 0.0)
    for evening in evenings:
        for melt in evening.melts:
            if melt.formula == "f":
                mass = season.bench.pan.melt_kg(season.weight(melt.grains))
                again = min(season.bench.remelt_limit * mass, left)
                left -= again
                used += 0.35 * (mass - again)
        if used > sum(d.kg for d in season.deliveries if d.on <= evening.on) + 1e-9:
            return False
    return True


def least_of_all(season: Season) -> tuple[int, int, int] | None:
    """Evenings, melts and days of the best of all plans, by trying each; nothing where there is none."""
    need = {
        p: max([0] + [season.wanted(d).get(p, 0) - season.lying(p, d) for d in season.dates]) for p in season.patterns
    }
    days = sorted(season.evenings)
    choices = {
        day: [
            melts
            for count in range(1, season.melts_on.get(day, season.bench.melts_per_evening) + 1)
            for melts in combinations_with_replacement(melts_of(season), count)
        ]
        for day in days
    }

    def enough(cast: tuple[EveningPlan, ...], before: date | None) -> bool:
        """For each day whose grains can be cast no more."""
        for day in season.dates:
            if before is None or day < before + timedelta(days=season.bench.cure_days):
                for p in season.patterns:
                    good = sum(e.grains.get(p, 0) for e in cast if season.ready(e.on) <= day)
                    if good + season.lying(p, day) < season.wanted(day).get(p, 0):
                        return False
        return True

    best: list[tuple[int, int, int]] = []

    def further(number: int, cast: tuple[EveningPlan, ...]) -> None:
        if not enough(cast, days[number] if number < len(days) else None):
            return
        if number == len(days):
            late = [(e.on - days[0]).days for e in cast for _ in e.melts]
            best.append((len(cast), len(late), sum(late)))
            return
        further(number + 1, cast)
        if best and len(cast) + 1 > min(best)[0]:
            return
        for melts in choices[days[number]]:
            more = (*cast, EveningPlan(days[number], melts))
            if all(sum(e.grains.get(p, 0) for e in more) <= need[p] for p in need) and allowed(season, more):
                further(number + 1, more)

    further(0, ())
    return min(best, default=None)


def judged(season: Season, made: CastPlan) -> tuple[int, int, int] | None:
    """Evenings, melts and days of a plan, after looking that it keeps every limit and gives what is wanted."""
    if not made.feasible:
        assert made.why_not
        return None
    lists = melts_of(season)
    for number, evening in enumerate(made.evenings):
        assert evening.on in season.evenings
        assert 1 <= len(evening.melts) <= season.melts_on.get(evening.on, season.bench.melts_per_evening)
        assert all(any(melt.grains == one.grains for one in lists) for melt in evening.melts), evening
        assert allowed(season, made.evenings[: number + 1])
    for day in season.dates:
        for pattern, count in season.wanted(day).items():
            good = sum(e.grains.get(pattern, 0) for e in made.evenings if season.ready(e.on) <= day)
            assert good + season.lying(pattern, day) >= count
    days = [(e.on - min(season.evenings)).days for e in made.evenings for _ in e.melts]
    return len(made.evenings), len(days), sum(days)


def _contradicts(season: Season) -> bool:
    """Whether a flight asks for grains of a formula before its first test, beyond what lies on the shelf."""
    flown = [flight for flight in season.flights if not flight.test]
    for pattern, of in season.patterns.items():
        tests = [flight.by for flight in season.flights if flight.test and of.formula in season.formulas(flight)]
        for day in season.dates:
            if tests and day <= min(tests) and season.wanted(day, flown).get(pattern, 0) > season.lying(pattern, day):
                return True
    return False


@pytest.mark.promise("A season's plan is the best of all plans there are", figure="240 small seasons")
@pytest.mark.parametrize("seeds", [range(120), range(120, 240)], ids=["some", "more"])
def test_no_plan_is_better(seeds: range) -> None:
    """Fewest evenings, then melts, then the earliest: every plan of each small season is tried."""
    found = 0
    for seed in seeds:
        season = small(seed)
        best = None if _contradicts(season) else least_of_all(season)
        made = plan(season)
        assert judged(season, made) == best, seed
        assert made.gap == 0.0
        found += best is not None
    assert found > 40


# --- A published example -------------------------------------------------------------------------


def published_lots() -> tuple[float, list[int]]:
    """The cost and the lots of the best plan for Wagner and Whitin's twelve months, by the program.

    A month is an evening, a set-up its cost; what is made is flown in the same month or kept.
    """
    rows = published("lot_sizing.csv")
    months = [date(1958, int(row["month"]), 1) for row in rows]
    flights = [
        WantedFlight(row["month"], int(row["demand"]), {"A": 1}, month) for row, month in zip(rows, months, strict=True)
    ]
    season = Season(flights, {"A": Pattern(1.0, "f")}, Bench(Pan(1000.0, 0.0), cure_days=0), months)
    targets = Chances(season).targets({})
    assert isinstance(targets, Targets)
    parts = setup(frame(season, singly=True), targets)
    assert parts is not None
    program = Program(parts)
    cost = {program.evening[i]: float(row["set_up_cost"]) for i, row in enumerate(rows)}
    cost |= {program.grain["A"][i]: float(len(rows) - i) for i in range(len(rows))}
    found = program.least(cost, 5.0)
    assert found is not None
    flown = sum(int(row["demand"]) * (len(rows) - i) for i, row in enumerate(rows))
    return found.costs(cost) - flown, found.grains["A"]


def test_lots_over_time_as_published() -> None:
    """Where evenings cost and grains keep, the program finds Wagner and Whitin's plan of 1958 and its cost."""
    cost, lots = published_lots()
    assert cost == pytest.approx(864)
    assert lots == [int(row["lot"]) for row in published("lot_sizing.csv")]


# --- What it promises ----------------------------------------------------------------------------

GULL, PLOVER = Pattern(0.17, "sorbitol"), Pattern(0.066, "sucrose")
BENCH = Bench(Pan(0.76, 0.05, 0.01), {"Gull": 6, "Plover": 8}, 1, 7)
THURSDAYS = [date(2027, 2, 18) + timedelta(days=7 * week) for week in range(12)]
WANTED = [
    WantedFlight("Dunlin", 2, {"Plover": 3}, date(2027, 5, 9)),
    WantedFlight("Knot", 4, {"Gull": 3}, date(2027, 6, 6)),
    WantedFlight("Turnstone", 1, {"Gull": 4}, date(2027, 6, 20)),
]


def season(**changes: object) -> Season:
    rejects = {"Gull": rejects_in_all(4, 89, 4), "Plover": rejects_in_all(1, 40, 8)}
    whole = Season(WANTED, {"Gull": GULL, "Plover": PLOVER}, BENCH, THURSDAYS, rejects=rejects)
    return replace(whole, **changes)  # type: ignore[arg-type]


def test_on_each_day_all_patterns_are_enough_together_nine_times_in_ten() -> None:
    """The melts as they came out, counted anew; with a grain less of either pattern it would be less than nine in ten.

    The pair of patterns is what matters: each alone at nine in ten would be 0.88 of both.
    """
    whole = season()
    made = plan(whole)
    chances = Chances(whole)
    assert made.feasible
    for day, chance in made.chance.items():
        each = chances.of(made.evenings, day)
        assert chance == pytest.approx(prod(each.values()))
        assert chance >= 0.9
    assert made.cast["Gull"] > 16
    assert made.cast["Plover"] > 6
    targets = chances.targets({})
    assert isinstance(targets, Targets)
    for pattern in made.cast:
        lowest = []
        for day, cast in targets.by.items():
            fewer = {**cast, pattern: cast.get(pattern, 0) - 1}
            lowest.append(prod(chances._odds[p].at_least(n, fewer[p]) for p, n in whole.needed(day).items()))
        assert min(lowest) < 0.9, pattern


def test_grains_are_taken_off_the_shelf_once_they_are_ready() -> None:
    """By hand: 10 Gull ready in time leave 6 of 16; what is ready too late for some does not count for them."""
    made = plan(season(rejects={}, shelf=[Lying("Gull", 10, date(2027, 1, 1))]))
    assert made.cast == {"Gull": 6, "Plover": 6}
    late = plan(season(rejects={}, shelf=[Lying("Gull", 10, date(2027, 6, 10))]))
    assert late.cast["Gull"] == 12


def test_what_is_promised_counts_and_its_evening_is_used_first() -> None:
    stands = [EveningPlan(THURSDAYS[3], (MeltPlan("sorbitol", {"Gull": 4}),))]
    two = replace(BENCH, melts_per_evening=2)
    made = plan(season(rejects={}, promised=stands, bench=two))
    assert made.cast == {"Gull": 12, "Plover": 6}
    assert [one.on for one in made.evenings] == [THURSDAYS[0], THURSDAYS[1]]
    assert made.melt_count == 4
    four = replace(BENCH, melts_per_evening=4)
    beside = plan(season(rejects={}, flights=WANTED[1:], promised=stands, bench=four, evenings=THURSDAYS[2:]))
    assert [(one.on, len(one.melts)) for one in beside.evenings] == [(THURSDAYS[3], 3)]


def test_a_spare_set_lies_ready_on_each_field_day_and_is_kept_for_the_next() -> None:
    """By hand: 16 Gull flown, 3 more on the first day and 4 on the last: 20 in all, not 23."""
    spare = {date(2027, 6, 6): {"Gull": 3}, date(2027, 6, 20): {"Gull": 4}}
    made = plan(season(rejects={}, spare=spare))
    assert made.cast == {"Gull": 20, "Plover": 6}


def test_a_test_comes_before_further_melts_of_its_formula() -> None:
    test = WantedFlight("throat 13.1", 2, {"Gull": 3}, date(2027, 3, 13), test=True)
    made = plan(season(rejects={}, flights=[*WANTED, test]))
    assert made.feasible
    assert sum(one.grains.get("Gull", 0) for one in made.evenings if one.on <= test.by) == 8
    assert len(made.evenings) == 7  # 6 + 16 Gull fill six melts only if the test's second melt is filled up
    early = WantedFlight("early Knot", 1, {"Gull": 3}, date(2027, 3, 10))
    against = plan(season(rejects={}, flights=[*WANTED, test, early]))
    assert "early Knot by 10 March 2027 takes 3 Gull" in str(against.why_not)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"evenings": THURSDAYS[:3]}, "It needs 2 more evenings: 1 by 30 May 2027 (for Knot), 1 by 13 June 2027 (for"),
        (
            {"evenings": THURSDAYS[:3], "bench": replace(BENCH, sets={"Gull": 9})},
            "(for Turnstone), or a pan that holds",
        ),
        ({"evenings": []}, "There is no evening on which to cast. It needs"),
        ({"evenings": THURSDAYS[:3]}, "or 2 melts an evening instead of 1"),
        ({"bench": replace(BENCH, pan=Pan(0.15))}, "One Gull alone takes a melt of"),
        ({"bench": replace(BENCH, sets={"Gull": 0})}, "There is no tube and rod for Gull"),
        ({"bench": replace(BENCH, most_held_kg=1.0)}, "What may lie there at once"),
        ({"deliveries": [Delivery("sorbitol", 0.5, date(2027, 1, 1))]}, "more of sorbitol"),
        ({"evenings": [date(2027, 6, 19)]}, "by 2 May 2027 (for Dunlin), which is before the first evening there is"),
        (
            {"evenings": [date(2027, 5, 8)], "today": date(2027, 5, 6)},
            "Too soon: Dunlin by 9 May 2027. What is cast today is cured on 13 May 2027; give it a day from then on. "
            "It needs",
        ),
        ({"evenings": [date(2027, 6, 19)], "today": date(2027, 6, 18)}, "give it a day from then on."),
    ],
)
def test_where_there_is_no_plan_it_says_what_stands_in_the_way(changes: dict[str, object], said: str) -> None:
    made = plan(season(rejects={}, **changes))
    assert not made.feasible
    assert said in str(made.why_not)


def test_what_is_said_to_lift_it_does() -> None:
    """Two more evenings, and no fewer; the larger pan by itself: each way is tried."""
    wide = replace(BENCH, sets={"Gull": 9})
    few = season(rejects={}, evenings=THURSDAYS[:3], bench=wide)
    assert not plan(replace(few, evenings=THURSDAYS[:4])).feasible
    assert plan(replace(few, evenings=THURSDAYS[:5])).feasible
    pan = next(amount.value for amount in plan(few).why_not.amounts.values())  # type: ignore[union-attr]
    assert plan(replace(few, bench=replace(wide, pan=replace(BENCH.pan, holds_kg=pan)))).feasible
    smaller = replace(BENCH.pan, holds_kg=pan - 0.002)
    assert not plan(replace(few, bench=replace(wide, pan=smaller))).feasible


def test_where_no_single_thing_lifts_it_those_that_do_together_are_named() -> None:
    """Evenings and supplies; a larger pan with more melts an evening: together there is a plan, and with none alone."""
    late = [Delivery("sorbitol", 0.5, date(2027, 1, 1))]
    short = season(rejects={}, evenings=THURSDAYS[:3], deliveries=late)
    why = plan(short).why_not
    assert "No single thing is enough. It needs 2 more evenings" in str(why)
    assert "; and together with that" in str(why)
    more = Delivery("sorbitol", next(iter(why.amounts.values())).value, date(2027, 1, 1))  # type: ignore[union-attr]
    assert not plan(replace(short, evenings=THURSDAYS[:5])).feasible
    assert not plan(replace(short, deliveries=[*late, more])).feasible
    assert plan(replace(short, evenings=THURSDAYS[:5], deliveries=[*late, more])).feasible
    held = plan(season(rejects={}, bench=replace(BENCH, most_held_kg=1.0), deliveries=late)).why_not
    assert "more of sorbitol by 9 May 2027, and together with that room for" in str(held)
    one = season(rejects={}, evenings=THURSDAYS[:1])
    pair = plan(one).why_not
    assert "together with 4 melts an evening instead of 1" in str(pair)
    pan = replace(BENCH.pan, holds_kg=next(iter(pair.amounts.values())).value)  # type: ignore[union-attr]
    for bench, enough in (
        (replace(BENCH, pan=pan), False),
        (replace(BENCH, melts_per_evening=4), False),
        (replace(BENCH, pan=pan, melts_per_evening=4), True),
    ):
        assert plan(replace(one, bench=bench)).feasible is enough


def test_with_too_many_rejects_no_number_is_enough() -> None:
    made = plan(season(rejects={"Gull": rejects_in_all(88, 89, 4)}))
    assert "no number of grains is enough by 6 June 2027" in str(made.why_not)


def test_what_matters_less_is_given_up_first() -> None:
    wanted = [replace(WANTED[0], priority=3), replace(WANTED[1], priority=1), replace(WANTED[2], priority=2)]
    made = plan_what_matters(season(rejects={}, flights=wanted, evenings=THURSDAYS[:4]))
    assert not made.feasible
    assert made.given_up == ("Dunlin",)
    assert made.cast == {"Gull": 16}
    assert len(made.evenings) == 4
    fewer = plan_what_matters(season(rejects={}, flights=wanted, evenings=THURSDAYS[:2]))
    assert fewer.given_up == ("2 of 4 Knot", "Turnstone", "Dunlin")
    assert fewer.cast == {"Gull": 6}


def test_more_rods_are_proposed_where_they_are_enough() -> None:
    """Two Gull a melt take eight evenings and there are seven; with three a melt six do."""
    few = replace(BENCH, sets={}, shared=[(frozenset({"Gull"}), 2)])
    made = plan(season(rejects={}, flights=WANTED[1:], evenings=THURSDAYS[:7], bench=few))
    assert "or 3 rods for Gull instead of 2" in str(made.why_not)


def test_with_too_many_ways_to_fill_a_melt_it_says_how_far_it_may_be_from_the_best() -> None:
    """Six patterns of one formula, a dozen in a melt: some of the loads, and a bound that no plan goes below."""
    of = {f"P{i}": Pattern(mass, "f") for i, mass in enumerate([0.05, 0.06, 0.07, 0.08, 0.09, 0.1])}
    flights = [
        WantedFlight(f"w{i}", 2, {f"P{i}": 3, f"P{(i + 1) % 6}": 2}, date(2027, 5, 9) + timedelta(days=9 * i))
        for i in range(6)
    ]
    made = plan(Season(flights, of, Bench(Pan(0.8)), THURSDAYS))
    assert made.feasible
    assert sum(made.cast.values()) == 60
    grains = sum(of[p].mass_kg * n for p, n in made.cast.items())
    assert made.melt_count >= grains * 1.05 / 0.8
    assert 0 <= made.gap < 0.2
    assert all(Pan(0.8).melt_kg(sum(of[p].mass_kg * n for p, n in e.grains.items())) <= 0.8 for e in made.evenings)


def test_a_search_that_its_time_ended_is_named_with_its_gap(monkeypatch: pytest.MonkeyPatch) -> None:
    """The second of two searches ends with its time, knowing that no plan has less than half of its days."""
    whole, least = plan(season(rejects={})), Program.least
    assert (whole.stopped, whole.gap) == ((), 0.0)
    days = sum((one.on - THURSDAYS[0]).days * len(one.melts) for one in whole.evenings)
    asked: list[float] = []

    def late(self: Program, cost: dict[int, float], seconds: float) -> Solved | None:
        asked.append(seconds)
        if len(asked) == 2:
            raise OutOfTime(0.5 * days)
        return least(self, cost, seconds)

    monkeypatch.setattr(Program, "least", late)
    made = plan(season(rejects={}))
    assert made.feasible
    assert made.stopped == ("the earliest evenings",)
    assert made.gap >= 0.5
    assert len(made.evenings) == len(whole.evenings)


# --- Planned again -------------------------------------------------------------------------------


def test_a_rain_day_moves_that_evening_alone() -> None:
    """What was promised stays where it can: one evening goes, one comes, the others keep their grains."""
    before = plan(season())
    gone = before.evenings[1].on
    left = season(evenings=[day for day in THURSDAYS if day != gone], kept=before.evenings)
    after = plan(left)
    kept = {one.on: one.grains for one in after.evenings}
    same = [one.on for one in before.evenings if kept.get(one.on) == one.grains]
    assert len(same) == len(before.evenings) - 1
    assert len(after.evenings) == len(before.evenings)


def test_more_grains_leave_the_others_where_they_are() -> None:
    before = plan(season(rejects={}))
    more = [*WANTED, WantedFlight("one more", 1, {"Plover": 2}, date(2027, 6, 20))]
    after = plan(season(rejects={}, flights=more, kept=before.evenings))
    was = {one.on: one.grains for one in before.evenings}
    moved = sum(
        abs(one.grains.get(p, 0) - was.get(one.on, {}).get(p, 0)) for one in after.evenings for p in ("Gull", "Plover")
    )
    assert moved == 2


def test_the_same_season_again_is_the_same_plan() -> None:
    before = plan(season())
    assert plan(season(kept=before.evenings)).evenings == before.evenings
