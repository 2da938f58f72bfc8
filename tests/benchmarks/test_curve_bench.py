"""How fast a logger's file becomes the figures of a burn.

python -m pytest tests/benchmarks/test_curve_bench.py --benchmark-only
"""

import time
import tracemalloc

import numpy as np
import pytest

from app.calc.record.plain_text import plain_text
from app.models.curve import ReadIn
from app.services.firings import reading
from app.services.firings.doubts import Motor
from tests.benchmarks.bench import Benchmark
from tests.calc.record.stands import ODD

HOW = ReadIn.model_validate(
    {
        "delimiter": "comma",
        "decimal": ".",
        "first_line": 2,
        "time_column": 1,
        "time_unit": "s",
        "force_column": 2,
        "force_unit": "N",
        "pressure_unit": "MPa",
        "stand": "presses",
        "smooth": True,
    }
)


def logger_file(samples: int) -> bytes:
    """A noisy, ringing burn in the middle of a record of ten seconds."""
    t = np.linspace(0, 10, samples)
    force = np.interp(t, [0, 3, 3.1, 6, 6.3, 10], [0, 0, 400, 400, 0, 0])
    force += 20 * np.sin(2 * np.pi * 90 * t) * (force > 20) + np.random.default_rng(1).normal(0, 1, samples)
    return b"Time (s),Force (N)\n" + "\n".join(f"{a:.6f},{b:.3f}" for a, b in zip(t, force, strict=True)).encode()


def take(raw: bytes) -> float:
    """All that the page does with a file: told by content, guessed, read, analysed."""
    text = plain_text(raw)
    reading.guess(text)
    return reading.read_curve(text, HOW, Motor(1.0, 0.0127)).total_impulse_ns


@pytest.mark.parametrize("samples", [10_000, 100_000, 1_000_000])
def test_import_and_analysis(benchmark: Benchmark, samples: int) -> None:
    raw = logger_file(samples)
    impulse = benchmark.pedantic(take, (raw,), rounds=3, warmup_rounds=1)
    start = time.process_time()
    take(raw)
    benchmark.extra_info["CPU, s"] = time.process_time() - start
    tracemalloc.start()
    take(raw)
    benchmark.extra_info["memory beside the file, MB"] = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    assert 1240 < impulse < 1290


def long_file(samples: int, block: int = 200_000) -> bytes:
    """The same burn in so many samples, made by blocks."""
    chance = np.random.default_rng(1)
    parts = [b"Time (s),Force (N)\n"]
    for start in range(0, samples, block):
        t = np.arange(start, start + block) * (10 / samples)
        force = np.interp(t, [0, 3, 3.1, 6, 6.3, 10], [0, 0, 400, 400, 0, 0])
        force += 20 * np.sin(2 * np.pi * 90 * t) * (force > 20) + chance.normal(0, 1, block)
        parts.append("".join(f"{a:.6f},{b:.2f}\n" for a, b in zip(t, force, strict=True)).encode())
    return b"".join(parts)


@pytest.mark.parametrize("stand", ["level", "presses"])
def test_ten_million_samples(benchmark: Benchmark, stand: str) -> None:
    """A file of 150 MB: read, analysed to the last sample, thinned for drawing only, in bounded memory.

    Told that the motor pressed on the cell, the weight that should be missing after the burn is asked about: that reads
    the burn with two other zeros besides.
    """
    samples = 10_000_000
    raw = long_file(samples)
    how = HOW.model_copy(update={"stand": stand})
    benchmark.extra_info["file, MB"] = len(raw) / 1e6
    told: list[float] = []
    spent: list[float] = []

    def whole() -> float:
        start = time.process_time()
        text = plain_text(raw)
        reading.guess(text)
        found, _ = reading.read_curve_and_samples(text, how, Motor(1.0, 0.0127), told.append)
        spent.append(time.process_time() - start)
        return found.total_impulse_ns

    impulse = benchmark.pedantic(whole, rounds=3)
    benchmark.extra_info["CPU, s"] = min(spent)
    assert min(spent) < 6.0
    assert len(told) > 100
    tracemalloc.start()
    found = reading.read_curve(plain_text(raw), how, Motor(1.0, 0.0127))
    peak = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    benchmark.extra_info["memory beside the file, MB"] = peak
    assert 1235 < impulse < 1290
    assert found.samples == samples
    assert len(found.time_s) <= reading.DRAWN
    assert peak < 56 * samples / 1e6  # seven numbers for each sample


def test_half_an_hour_with_one_burn(benchmark: Benchmark) -> None:
    """137,000 rows, two seconds of them a burn."""
    raw = ODD["137,000 rows"]().raw
    spent: list[float] = []

    def whole() -> float:
        start = time.process_time()
        impulse = take(raw)
        spent.append(time.process_time() - start)
        return impulse

    benchmark.pedantic(whole, rounds=5, warmup_rounds=1)
    benchmark.extra_info["CPU, s"] = min(spent)
    assert min(spent) < 0.5
