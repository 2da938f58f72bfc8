"""How fast the march is, beside SciPy's solvers on the same equations in the same process; time of the processor.

python -m pytest tests/benchmarks/test_motor_bench.py --benchmark-only
"""

import time
import tracemalloc
from collections.abc import Callable, Sequence
from functools import cache

import numpy as np
import pytest

from app.calc.motor.draws import drawn, sobol
from app.calc.motor.simulation import Motor, motor_arrays, simulate, simulate_many
from app.calc.motor.spread import default_spread
from tests.benchmarks.bench import Benchmark
from tests.calc import stiff_reference as reference

TABLE = reference.motor_table()
CASES = {"2 grains": 1, "4 grains": 19, "5 unequal grains": 28}

ALONE, IN_A_BATCH = 0.7e-3, 0.05e-3
"""What one motor may take by itself and among many [s]."""

FASTER_ALONE, FASTER_IN_A_BATCH = 5.0, 60.0
"""How much faster than LSODA each is to be [-]."""

pytestmark = pytest.mark.benchmark(timer=time.process_time)


def _seconds(call: Callable[[], object], rounds: int) -> float:
    """The least time of the processor that some rounds take [s]."""
    spent = []
    for _ in range(rounds):
        start = time.process_time()
        call()
        spent.append(time.process_time() - start)
    return min(spent)


@cache
def loosest() -> float:
    """LSODA's loosest tolerance that is as near to the truth as the march: by what impulse is off over the table's
    motors, root mean square. (Its peak is the highest of its own steps: that would ask for more.)"""
    truth = np.array([reference.solve(case, 1e-11, False, "LSODA").total_impulse for case in TABLE])

    def off(impulses: Sequence[float]) -> float:
        return float(np.sqrt(np.mean((np.array(impulses) / truth - 1) ** 2)))

    ours = off([simulate(case).total_impulse for case in TABLE])
    for tolerance in 10.0 ** -np.arange(2.0, 9.5, 0.5):
        if off([reference.solve(case, tolerance, False, "LSODA").total_impulse for case in TABLE]) <= ours:
            return float(tolerance)
    raise AssertionError("LSODA comes nowhere as near as the march")


def _beside_lsoda(benchmark: Benchmark, case: Motor, count: int) -> float:
    """How many times faster than LSODA one of so many motors was [-], written down with it."""
    lsoda = _seconds(lambda: reference.solve(case, loosest(), False, "LSODA"), 7)
    benchmark.extra_info["ms a motor"] = 1e3 * benchmark.stats.stats.median / count
    benchmark.extra_info["LSODA's tolerance"] = loosest()
    benchmark.extra_info["LSODA, ms"] = 1e3 * lsoda
    benchmark.extra_info["times faster"] = faster = lsoda / benchmark.stats.stats.median * count
    return faster


@pytest.mark.parametrize("index", CASES.values(), ids=CASES)
def test_one_motor(benchmark: Benchmark, index: int) -> None:
    case = TABLE[index]
    benchmark.pedantic(lambda: [simulate(case) for _ in range(50)], rounds=15, warmup_rounds=1)
    assert _beside_lsoda(benchmark, case, 50) > FASTER_ALONE
    benchmark.extra_info["Radau at 1e-8, ms"] = 1e3 * _seconds(lambda: reference.solve(case, fine=False), 3)
    assert benchmark.stats.stats.median / 50 < 1.5 * ALONE  # half more on a machine that others work on


@pytest.mark.parametrize("index", CASES.values(), ids=CASES)
def test_one_of_many_motors(benchmark: Benchmark, index: int) -> None:
    case = TABLE[index]
    arrays = drawn(case, default_spread(case), sobol(1024, 20))
    benchmark.pedantic(simulate_many, (arrays,), rounds=7, warmup_rounds=1)
    assert _beside_lsoda(benchmark, case, 1024) > FASTER_IN_A_BATCH
    assert benchmark.stats.stats.median / 1024 < 1.5 * IN_A_BATCH


@pytest.mark.parametrize("count", [500, 1000, 2000])
def test_many_motors(benchmark: Benchmark, count: int) -> None:
    arrays = motor_arrays([TABLE[19]]).repeat(count)
    benchmark.pedantic(simulate_many, (arrays,), rounds=5, warmup_rounds=1)
    tracemalloc.start()
    simulate_many(arrays)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    benchmark.extra_info["peak memory, MB"] = peak / 1e6
    benchmark.extra_info["ms a motor"] = 1e3 * benchmark.stats.stats.median / count
