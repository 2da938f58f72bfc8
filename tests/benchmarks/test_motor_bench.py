"""How fast the march is, with SciPy's stiff solver in the same process as the yardstick.

python -m pytest tests/benchmarks --benchmark-only
"""

import statistics
import time
import tracemalloc
from collections.abc import Callable

import pytest

from app.calc.motor.simulation import motor_arrays, simulate, simulate_many
from tests.benchmarks.bench import Benchmark
from tests.calc import stiff_reference as reference

TABLE = reference.motor_table()


def _seconds(call: Callable[[], object], rounds: int) -> float:
    spent = []
    for _ in range(rounds):
        start = time.perf_counter()
        call()
        spent.append(time.perf_counter() - start)
    return statistics.median(spent)


@pytest.mark.parametrize("index", [1, 19, 28], ids=["2 grains", "4 grains", "5 unequal grains"])
def test_one_motor(benchmark: Benchmark, index: int) -> None:
    case = TABLE[index]
    benchmark(simulate, case)
    yardstick = _seconds(lambda: reference.solve(case, fine=False), 5)
    benchmark.extra_info["stiff solver, s"] = yardstick
    benchmark.extra_info["times faster"] = yardstick / benchmark.stats.stats.median


@pytest.mark.parametrize("count", [500, 1000, 2000])
def test_many_motors(benchmark: Benchmark, count: int) -> None:
    arrays = motor_arrays([TABLE[19]]).repeat(count)
    benchmark.pedantic(simulate_many, (arrays,), rounds=5, warmup_rounds=1)
    tracemalloc.start()
    simulate_many(arrays)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    benchmark.extra_info["peak memory, MB"] = peak / 1e6
    benchmark.extra_info["ms per motor"] = 1e3 * benchmark.stats.stats.median / count
