"""How fast flights are: one, and a thousand drawn ones. Time of the processor, which other work does not lengthen much.

python -m pytest tests/benchmarks/test_flight_bench.py --benchmark-only
"""

import time

import pytest

from app.calc.flight.flight import Motor, Pad, Parachute, Recovery, Rocket, fly
from app.calc.flight.flight_range import drawn_from_marks, fly_range
from tests.benchmarks.bench import Benchmark

MOTOR = Motor([0.0, 0.05, 0.6, 1.4, 1.8, 2.0], [0.0, 420.0, 520.0, 470.0, 120.0, 0.0], 0.7)
RECOVERY = Recovery(Parachute(2.1, 1.5), Parachute(0.5, 1.5), 150.0)
TABLE = [(0.3, 0.45), (0.8, 0.5), (1.05, 0.8), (1.5, 0.62)]
ROCKETS = {
    "one coefficient": Rocket(6.5, 0.1, 0.5, recovery=RECOVERY),
    "Mach table": Rocket(6.5, 0.1, 0.5, TABLE, recovery=RECOVERY),
    "falls nose first": Rocket(6.5, 0.1, 0.5),
}
PAD = Pad(2.0, -0.05, wind=4.0, turning=0.5)


@pytest.mark.benchmark(timer=time.process_time)
@pytest.mark.parametrize("name", ROCKETS)
def test_one_flight(benchmark: Benchmark, name: str) -> None:
    benchmark(fly, MOTOR, ROCKETS[name], PAD)
    assert benchmark.stats.stats.median < 0.020


@pytest.mark.benchmark(timer=time.process_time)
@pytest.mark.parametrize("name", ROCKETS)
def test_a_thousand_drawn_flights(benchmark: Benchmark, name: str) -> None:
    draws = drawn_from_marks(0.94, 1.05, 0.9, 1.1)
    benchmark.pedantic(
        fly_range,
        (MOTOR, ROCKETS[name], PAD, draws),
        {"ceiling": 450.0, "edges": (300.0, 300.0), "samples": 1000},
        rounds=5,
        warmup_rounds=1,
    )
    assert benchmark.stats.stats.median < 1.0
