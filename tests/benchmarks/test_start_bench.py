"""What the program's start costs: CPU seconds of importing the app in a fresh process, with its bytecode at hand.

python -m pytest tests/benchmarks/test_start_bench.py --benchmark-only

The libraries' own share is measured beside it, for it is the floor: what stands above it is the app's.
"""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.benchmarks.bench import Benchmark

ROOT = Path(__file__).parents[2]
LIBRARIES = "fastapi, sqlmodel, numpy, jinja2"
SCRIPT = "import time; t = time.process_time(); import {}; print(time.process_time() - t)"


def cpu_seconds(modules: str, cache: Path) -> float:
    """CPU seconds of an import in a fresh process."""
    room = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"} | {"PYTHONPYCACHEPREFIX": str(cache)}
    run = [sys.executable, "-c", SCRIPT.format(modules)]
    return float(subprocess.run(run, cwd=ROOT, env=room, capture_output=True, text=True, check=True).stdout)


@pytest.mark.parametrize("modules", ["app.main", LIBRARIES], ids=["the app", "its libraries"])
def test_cpu_of_importing(benchmark: Benchmark, tmp_path: Path, modules: str) -> None:
    cpu_seconds("app.main", tmp_path)  # writes the bytecode
    spent = []
    benchmark.pedantic(lambda: spent.append(cpu_seconds(modules, tmp_path)), rounds=5, warmup_rounds=1)
    benchmark.extra_info["CPU seconds, least"] = min(spent)
    benchmark.extra_info["CPU seconds, median"] = sorted(spent)[len(spent) // 2]


def test_no_thermochemistry_is_loaded_at_the_start(benchmark: Benchmark, tmp_path: Path) -> None:
    wanted = "app.main, sys; print(sorted({'cantera', 'scipy', 'pint', 'segno'} & set(sys.modules)))"
    run = [sys.executable, "-c", f"import {wanted}"]
    loaded = benchmark.pedantic(
        lambda: subprocess.run(run, cwd=ROOT, capture_output=True, text=True, check=True).stdout, rounds=1
    )
    assert loaded.strip() == "[]"
