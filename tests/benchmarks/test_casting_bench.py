"""How fast a season is planned: 40 flights, 60 evenings, to a proven optimum. Time of the processor, not of the clock.

python -m pytest tests/benchmarks/test_casting_bench.py --benchmark-only
"""

import time
from dataclasses import replace
from datetime import date, timedelta
from random import Random

import pytest

from app.calc.season.casting import plan
from app.calc.season.melt_loads import Pan, Pattern
from app.calc.season.rejects import rejects_in_all
from app.calc.season.season import Bench, CastPlan, Season, WantedFlight
from tests.benchmarks.bench import Benchmark

FIRST = date(2026, 11, 30)

LIMIT_S = 3.0


def large(seed: int, bench: Bench, patterns: int = 6) -> Season:
    """40 flights of six or nine patterns of three formulas, every fifth with two patterns in a motor; 60 evenings."""
    r = Random(seed)
    names = [f"pattern {i}" for i in range(patterns)]
    of = {name: Pattern(r.choice([0.07, 0.12, 0.17, 0.22]), f"formula {i % 3}") for i, name in enumerate(names)}
    evenings = sorted(FIRST + timedelta(days=day) for day in r.sample(range(150), 60))
    flights = []
    for i in range(40):
        name = r.choice(names)
        grains = {name: r.randint(1, 5)}
        if r.random() < 0.2:
            other = r.choice([one for one in names if of[one].formula == of[name].formula])
            grains[other] = grains.get(other, 0) + r.randint(1, 2)
        by = FIRST + timedelta(days=r.randint(60, 220))
        flights.append(WantedFlight(f"flight {i}", r.choice([1, 1, 1, 2]), grains, by))
    sets = {name: r.choice([4, 6, 8]) for name in names}
    rejects = {name: rejects_in_all(r.randint(0, 6), 60, 4) for name in names}
    return Season(flights, of, replace(bench, sets=sets), evenings, rejects=rejects)


BENCH = Bench(Pan(0.8, 0.05, 0.02), melts_per_evening=2)
SEASONS = {
    "six patterns": large(3, BENCH),
    "nine patterns": large(5, BENCH, 9),
    "what may lie there": large(6, replace(BENCH, most_held_kg=22.0)),
    "tubes held a day": large(3, replace(BENCH, tube_held_h=20.0)),
    "one melt an evening": large(4, replace(BENCH, melts_per_evening=1)),
}


@pytest.mark.promise(
    "A season of 40 flights and 60 evenings is planned to a proven optimum within 3 s of the processor",
    figure="5 seasons, 3 times each",
)
@pytest.mark.benchmark(timer=time.process_time)
@pytest.mark.parametrize("name", SEASONS)
def test_a_large_season_is_planned_to_a_proven_optimum(benchmark: Benchmark, name: str) -> None:
    found: list[CastPlan] = []

    def once() -> None:
        found.append(plan(SEASONS[name], 30.0))

    benchmark.pedantic(once, rounds=3)
    assert all(made.feasible and made.gap == 0.0 for made in found)
    assert all(min(made.chance.values()) >= 0.9 for made in found)
    assert benchmark.stats.stats.median < LIMIT_S
    benchmark.extra_info["evenings, melts"] = len(found[0].evenings), found[0].melt_count
