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


def test_ten_million_samples(benchmark: Benchmark) -> None:
    """A file of 150 MB: read, analysed to the last sample, thinned for drawing only, in bounded memory."""
    samples = 10_000_000
    raw = long_file(samples)
    benchmark.extra_info["file, MB"] = len(raw) / 1e6
    start = time.process_time()
    impulse = benchmark.pedantic(take, (raw,), rounds=1)
    benchmark.extra_info["CPU, s"] = time.process_time() - start
    tracemalloc.start()
    found = reading.read_curve(plain_text(raw), HOW, Motor(1.0, 0.0127))
    peak = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    benchmark.extra_info["memory beside the file, MB"] = peak
    assert 1240 < impulse < 1290
    assert found.samples == samples
    assert len(found.time_s) <= reading.DRAWN
    assert peak < 56 * samples / 1e6  # seven numbers for each sample
