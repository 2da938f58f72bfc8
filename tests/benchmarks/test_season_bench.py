"""How fast a search for motors is: 10,000 designs marched and flown, fifty possible ones ranged; time of the processor.

python -m pytest tests/benchmarks/test_season_bench.py --benchmark-only
"""

import time
import tracemalloc
from dataclasses import replace

import numpy as np
import pytest

from app.calc.flight.launch import Pad, Rocket
from app.calc.flight.recovery import Parachute, Recovery
from app.calc.grain.geometry import Grain
from app.calc.propellant.burn_laws import published_law
from app.calc.season.choosing import Choices, Progress, choose
from app.calc.season.designs import designs_of
from app.calc.season.example import example_hardware
from app.calc.season.expected import Expected, look_at_all
from app.calc.season.hardware import Case, Hardware, Nozzle, Pattern
from app.calc.season.launch import Launch
from tests.benchmarks.bench import Benchmark

SECONDS = 6.0
"""What a search of that size may take of one processor."""

LAUNCH = Launch(
    Rocket(2.5, 0.1, 0.5, recovery=Recovery(Parachute(0.9, 0.75))),
    Pad(3.0, wind=2.0, turning=0.5),
    ceiling=1500.0,
    edges=(400.0, 400.0),
    wish=(500.0, 800.0),
)


def hardware(throats: int) -> Hardware:
    """Three cases, three nozzles with so many drills, three formulas, two patterns and their mixtures."""
    usual = example_hardware().formulas[0]
    names = ("sorbitol", "dextrose", "sucrose")
    return Hardware(
        cases=tuple(
            Case(name, 0.0472, long, 7e6, empty_mass=0.6) for name, long in (("a", 0.24), ("b", 0.32), ("c", 0.48))
        ),
        nozzles=(Nozzle("a", 0.0105, 0.033), Nozzle("b", 0.0127, 0.036), Nozzle("c", 0.014, 0.04)),
        patterns=(
            Pattern("narrow", Grain(0.04445, 0.0205, 0.0762, 0.17), 0.95),
            Pattern("open", Grain(0.04445, 0.023, 0.0762, 0.17), 0.95),
        ),
        formulas=tuple(replace(usual, name=name, law=published_law(name)) for name in names),
        drills=tuple(np.linspace(0.0106, 0.0158, throats).tolist()),
        least_port=1.2,
    )


@pytest.mark.benchmark(timer=time.process_time)
def test_ten_thousand_designs_marched_flown_and_the_best_ranged(benchmark: Benchmark) -> None:
    told: list[Progress] = []
    found: list[Choices] = []

    def search() -> None:
        found.append(choose(hardware(53), LAUNCH, tell=lambda progress: told.append(progress) or True))  # type: ignore[func-returns-value]

    benchmark.pedantic(search, rounds=3, warmup_rounds=1)
    flown = int(np.isfinite(found[-1].expected.apogee).sum())
    assert flown > 10_000
    assert len(found[-1].best) == 50
    assert len(told) > 3 * 60
    benchmark.extra_info["designs marched and flown"] = flown
    benchmark.extra_info["ranged"] = len(found[-1].ranged)
    assert benchmark.stats.stats.median < SECONDS


@pytest.mark.parametrize("throats", [7, 14, 28])
@pytest.mark.benchmark(timer=time.process_time)
def test_cost_is_linear_in_designs_and_memory_flat(benchmark: Benchmark, throats: int) -> None:
    """Designs as expected alone; the peak of memory is that of a thousand designs, whatever their number."""
    designs = designs_of(hardware(throats))
    found = Expected.nothing(len(designs))

    def look() -> None:
        for _ in look_at_all(designs, LAUNCH, found):
            pass

    benchmark.pedantic(look, rounds=3, warmup_rounds=1)
    tracemalloc.start()
    look()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    flown = int(np.isfinite(found.apogee).sum())
    benchmark.extra_info["designs marched and flown"] = flown
    benchmark.extra_info["ms a design"] = 1e3 * benchmark.stats.stats.median / flown
    benchmark.extra_info["peak memory, MB"] = peak / 1e6
    assert peak < 120e6
