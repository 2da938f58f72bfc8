"""Load on a ten-year book: pages by one client and by twenty, each beside a bare framework reply, and memory.

python -m tests.reliability.load                      every page by one client, then 20 clients for a minute
python -m tests.reliability.load --memory 100000      memory over so many requests
python -m tests.reliability.load --book FILE ...      on a copy of that book instead of the ten-year book

Clients are a process of their own, so that they do not take the server's time; the bare reply comes from a server of
the same framework and settings whose one route answers "ok".
"""

import argparse
import http.client
import random
import re
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from tests.behind import let_in

CLIENTS, SECONDS = 20, 60.0
PAGES = [
    "/",
    "/plan",
    "/plan/new",
    "/cast",
    "/cast/{lot}",
    "/cast/{lot}/grains",
    "/shelf",
    "/shelf?find={lot}",
    "/shelf/reweigh",
    "/shelf/{grain}",
    "/motors",
    "/motors/{motor}",
    "/motors/new",
    "/firings",
    "/firings/{firing}",
    "/firings/new",
    "/review",
    "/review/{lot}",
    "/workshop",
    "/workshop/supplies",
    "/workshop/rods/new",
    "/workshop/settings",
    "/help",
]


# --- The servers, in processes of their own --------------------------------------------------------


def serve_book(book: Path, port: int) -> None:
    """The program itself on a book."""
    import uvicorn

    from app.main import serving
    from app.settings import Settings

    uvicorn.run(serving(Settings(book=book)), port=port, log_level="warning", access_log=False)


def serve_bare(port: int) -> None:
    """The framework alone: one route, one word."""
    import uvicorn
    from fastapi import FastAPI
    from fastapi.responses import PlainTextResponse

    app = FastAPI(openapi_url=None)

    @app.get("/")
    def ok() -> PlainTextResponse:
        return PlainTextResponse("ok")

    uvicorn.run(app, port=port, log_level="warning", access_log=False)


@contextmanager
def running(*arguments: str) -> Iterator["Server"]:
    """A server until the block ends."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [sys.executable, "-m", "tests.reliability.load", *arguments, "--port", str(port)]
    cookie = "; ".join(f"{name}={value}" for book in arguments[1:] for name, value in let_in(Path(book)).items())
    with subprocess.Popen(command) as process:
        server = Server(port, process.pid, cookie)
        try:
            for _ in range(600):
                assert process.poll() is None, "the server did not start"
                try:
                    with server.client() as client:
                        client.get("/")
                    break
                except OSError:
                    time.sleep(0.1)
            yield server
        finally:
            process.terminate()


@dataclass
class Server:
    """A running server: its port, and what it takes of memory."""

    port: int
    pid: int
    cookie: str = ""

    def client(self) -> "Client":
        return Client(self.port, self.cookie)

    def resident_mb(self) -> float:
        """Resident memory [MB] (Linux)."""
        status = Path(f"/proc/{self.pid}/status").read_text()
        found = re.search(r"VmRSS:\s+(\d+) kB", status)
        assert found is not None
        return int(found[1]) / 1000


class Client:
    """A browser's connection, kept open."""

    def __init__(self, port: int, cookie: str) -> None:
        self.cookie = cookie
        self.connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)

    def __enter__(self) -> "Client":
        return self

    def __exit__(self, *_: object) -> None:
        self.connection.close()

    def get(self, address: str) -> float:
        """Ask for a page; how long it took to its last byte [ms]."""
        begun = time.perf_counter()
        self.connection.request("GET", address, headers={"Cookie": self.cookie})
        answer = self.connection.getresponse()
        body = answer.read()
        took = 1000 * (time.perf_counter() - begun)
        assert answer.status == 200, (address, answer.status)
        assert body
        return took


# --- What is measured -------------------------------------------------------------------------------


def p95(times: list[float]) -> float:
    """The time that 95 of 100 are within."""
    return statistics.quantiles(times, n=20)[18] if len(times) > 1 else times[0]


def places(book: Path) -> dict[str, str]:
    """Codes of rows in the middle of a book, to ask for their pages."""
    import sqlite3

    def middle(table: str, column: str, where: str = "1") -> str:
        with closing(sqlite3.connect(book)) as now:
            found = now.execute(f"SELECT {column} FROM {table} WHERE {where} ORDER BY id").fetchall()
        return str(found[len(found) // 2][0])

    lot = middle("batch", "code", "state = 'cast'")
    grain = middle("grain", "serial", f"serial LIKE '{lot}-%'")
    return {"lot": lot, "grain": grain, "motor": middle("motor_build", "code"), "firing": middle("firing", "id")}


def alone(server: Server, pages: list[str], rounds: int) -> dict[str, list[float]]:
    """Each page by one client, several times over, in turn."""
    found: dict[str, list[float]] = {page: [] for page in pages}
    with server.client() as client:
        for page in pages:
            client.get(page)
        for _ in range(rounds):
            for page in pages:
                found[page].append(client.get(page))
    return found


@dataclass
class Crowd:
    """What many clients saw."""

    times: list[float] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)


def together(server: Server, pages: list[str], clients: int, seconds: float, most: int = sys.maxsize) -> Crowd:
    """Many clients at once, each asking for one page after the other without a pause."""
    crowd, ends, left = Crowd(), time.monotonic() + seconds, iter(range(most))

    def ask(seed: int) -> None:
        choice, client = random.Random(seed), server.client()
        while time.monotonic() < ends and next(left, None) is not None:
            try:
                crowd.times.append(client.get(choice.choice(pages)))
            except (AssertionError, OSError, http.client.HTTPException) as fault:
                crowd.faults.append(repr(fault))
                client.connection.close()
        client.connection.close()

    threads = [threading.Thread(target=ask, args=(seed,)) for seed in range(clients)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return crowd


def slope(points: list[tuple[int, float]]) -> float:
    """Growth by least squares, of y per thousand of x."""
    fitted = statistics.linear_regression([x for x, _ in points], [y for _, y in points])
    return 1000 * fitted.slope


@pytest.mark.promise(
    "Memory stays flat", figure="`--memory 100000`: 385 MB after 40,000 requests, 390 MB after 100,000"
)
def memory(server: Server, pages: list[str], requests: int, clients: int = 8) -> list[tuple[int, float]]:
    """Resident memory after each twentieth of so many requests: (requests, MB)."""
    found, done = [], 0
    for _ in range(20):
        crowd = together(server, pages, clients, 1e6, requests // 20)
        assert not crowd.faults, crowd.faults[:3]
        done += len(crowd.times)
        found.append((done, server.resident_mb()))
    return found


# --- The command ------------------------------------------------------------------------------------


def ten_years(folder: Path) -> Path:
    """The ten-year book of the benchmarks, filled."""
    from app import first_run
    from app.db import migrate, open_engine
    from tests.benchmarks.test_book_bench import fill

    book = folder / "ten-years.sqlite3"
    migrate(book)
    engine = open_engine(book)
    first_run.prepare(engine)
    fill(engine)
    engine.dispose()
    return book


@pytest.mark.promise(
    "A book of ten years answers one client within 50 ms, 95 of 100 times",
    figure="two cores, idle: 40 ms over 23 pages, `/motors/new` with 500 free grains alone above; 20 clients for a "
    "minute: 2,840 answered, no fault",
)
def report(book: Path, rounds: int, seconds: float) -> None:
    """Print what one client and twenty see."""
    where = places(book)
    pages = [page.format(**where) for page in PAGES]
    with running("--serve-book", str(book)) as server, running("--serve-bare") as bare:
        bare_times = alone(bare, ["/"], 40 * rounds)["/"]
        found = alone(server, pages, rounds)
        print(f"{'page':44} {'median ms':>10} {'p95 ms':>8} {'times bare':>11}")
        every = [one for times in found.values() for one in times]
        slowest_first = sorted(found.items(), key=lambda one: -p95(one[1]))
        for page, times in [("(bare reply)", bare_times), *slowest_first, ("all pages, one client", every)]:
            middle, most = statistics.median(times), p95(times)
            print(f"{page:44} {middle:10.2f} {most:8.2f} {most / p95(bare_times):11.1f}")
        for name, one, asked in (("bare reply", bare, ["/"]), ("all pages", server, pages)):
            begun = time.monotonic()
            crowd = together(one, asked, CLIENTS, seconds)
            rate = len(crowd.times) / (time.monotonic() - begun)
            print(
                f"{CLIENTS} clients for {seconds:g} s, {name}: {len(crowd.times)} answered, {len(crowd.faults)} "
                f"faults, {rate:.0f}/s, median {statistics.median(crowd.times):.0f} ms, p95 {p95(crowd.times):.0f} ms, "
                f"worst {max(crowd.times):.0f} ms; {one.resident_mb():.0f} MB"
            )


def main() -> None:
    """The command line of this file."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--book", type=Path)
    parser.add_argument("--memory", type=int, metavar="REQUESTS")
    parser.add_argument("--rounds", type=int, default=20)
    parser.add_argument("--seconds", type=float, default=SECONDS)
    parser.add_argument("--port", type=int, help=argparse.SUPPRESS)
    parser.add_argument("--serve-book", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--serve-bare", action="store_true", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.serve_book:
        serve_book(options.serve_book, options.port)
        return
    if options.serve_bare:
        serve_bare(options.port)
        return
    with tempfile.TemporaryDirectory() as folder:
        book = Path(shutil.copy(options.book, folder)) if options.book else ten_years(Path(folder))
        print(f"The book has {book.stat().st_size / 1e6:.0f} MB.", flush=True)
        if options.memory:
            pages = [page.format(**places(book)) for page in PAGES]
            with running("--serve-book", str(book)) as server:
                points = memory(server, pages, options.memory)
            for done, size in points:
                print(f"{done:8} requests {size:8.1f} MB")
            print(f"growth over the last three quarters: {slope(points[5:]):.3f} MB per 1,000 requests")
        else:
            report(book, options.rounds, options.seconds)


if __name__ == "__main__":
    main()
