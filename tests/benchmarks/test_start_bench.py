"""What the program's start costs: CPU seconds of its imports, and the time from the command to the first page.

python -m pytest tests/benchmarks/test_start_bench.py --benchmark-only

Each is done in a fresh process with its bytecode at hand. The libraries' own share is measured beside the app's, for it
is the floor. The aims, on an idle core: 0.9 s for everything that is imported, the page 1.5 s after the command.
"""

import http.client
import os
import socket
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from tests.behind import let_in
from tests.benchmarks.bench import Benchmark

ROOT = Path(__file__).parents[2]
IMPORTS = {
    "as the command does": "gc; gc.disable(); import uvicorn, app.main",
    "by itself": "app.main",
    "its libraries": "fastapi, sqlmodel, numpy, jinja2",
}
SCRIPT = "import time; t = time.process_time(); import {}; print(time.process_time() - t)"


def with_bytecode_in(cache: Path) -> dict[str, str]:
    """The environment of a process that keeps its bytecode in a folder of its own."""
    return {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"} | {"PYTHONPYCACHEPREFIX": str(cache)}


def cpu_seconds(modules: str, cache: Path) -> float:
    """CPU seconds of an import in a fresh process."""
    run = [sys.executable, "-c", SCRIPT.format(modules)]
    done = subprocess.run(run, cwd=ROOT, env=with_bytecode_in(cache), capture_output=True, text=True, check=True)
    return float(done.stdout)


@pytest.mark.parametrize("modules", IMPORTS.values(), ids=IMPORTS)
def test_cpu_of_importing(benchmark: Benchmark, tmp_path: Path, modules: str) -> None:
    cpu_seconds(modules, tmp_path)  # writes the bytecode
    spent: list[float] = []
    benchmark.pedantic(lambda: spent.append(cpu_seconds(modules, tmp_path)), rounds=7, warmup_rounds=1)
    benchmark.extra_info["CPU seconds, least"] = min(spent)
    benchmark.extra_info["CPU seconds, median"] = sorted(spent)[len(spent) // 2]


def first_page(book: Path, cache: Path) -> float:
    """Open a book by the command, ask for the first page until it is there, and give the seconds that took."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    cookie = "; ".join(f"{name}={value}" for name, value in let_in(book).items())
    command = [sys.executable, "-m", "app", "--no-browser", "--port", str(port), "--book", str(book)]
    begun = time.perf_counter()
    program = subprocess.Popen(command, cwd=ROOT, env=with_bytecode_in(cache), stdout=subprocess.DEVNULL)
    try:
        while program.poll() is None:
            with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=60)) as page:
                try:
                    page.request("GET", "/", headers={"Cookie": cookie})
                except ConnectionRefusedError:
                    time.sleep(0.002)
                    continue
                answer = page.getresponse()
                assert answer.status == 200
                answer.read()
                return time.perf_counter() - begun
        raise AssertionError("the program ended by itself")
    finally:
        program.terminate()
        program.wait()


@pytest.mark.parametrize("new", [False, True], ids=["a book that is there", "a new book"])
def test_from_the_command_to_the_first_page(benchmark: Benchmark, tmp_path: Path, new: bool) -> None:
    book = tmp_path / "book.sqlite3"
    first_page(book, tmp_path / "cache")  # writes the bytecode
    waited: list[float] = []
    spent: list[float] = []

    def start() -> None:
        before = os.times()
        waited.append(first_page(tmp_path / f"{len(waited)}.sqlite3" if new else book, tmp_path / "cache"))
        after = os.times()
        own = after.children_user + after.children_system - before.children_user - before.children_system
        spent.append(own)

    benchmark.pedantic(start, rounds=7)
    benchmark.extra_info["seconds to the page, median"] = sorted(waited)[len(waited) // 2]
    benchmark.extra_info["CPU seconds, its end included, median"] = sorted(spent)[len(spent) // 2]
