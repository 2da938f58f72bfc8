"""How long the server works on each page, also against an earlier state: `python -m tests.benchmarks.answering`.

The pages are those of `tests/addresses.py`, with a demonstration book. With the folder of another state behind it (`git
worktree add /elsewhere 0f53724`, then `… answering /elsewhere`) both work in turns, so that what else the machine does
meets both, and the least time of each counts; a page that the other state has not is left out. `--only /review /shelf`
takes the addresses that begin so.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from dataclasses import dataclass, field
from pathlib import Path

ROUNDS, REQUESTS = 5, 3
LIMIT = 1.3
"""What a page may take of its former time."""


@dataclass
class Tree:
    """A state of the code with a server of its own."""

    root: Path
    process: "subprocess.Popen[str]" = field(init=False)

    def __post_init__(self) -> None:
        with_itself = {**os.environ, "PYTHONPATH": str(self.root)}
        command = [sys.executable, "-P", __file__, "--serve"]
        pipe = subprocess.PIPE
        self.process = subprocess.Popen(command, stdin=pipe, stdout=pipe, text=True, cwd=self.root, env=with_itself)

    def told(self) -> list[str]:
        """What it answers to the last line it was given."""
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        if not line:
            raise SystemExit(f"{self.root}: the server is gone")
        found: list[str] = json.loads(line)
        return found

    def took(self, address: str) -> list[float]:
        """How long it works on a page, several times [s of the processor]; nothing where it has none."""
        assert self.process.stdin is not None
        print(address, file=self.process.stdin, flush=True)
        return [float(one) for one in self.told()]


def serve() -> None:
    """Answer each address of the standard input with how long the server worked on it; first, name all there are."""
    from app.demo import fill
    from app.main import create_app
    from app.settings import Settings
    from tests import addresses
    from tests.behind import browser_of, engine_of

    with tempfile.TemporaryDirectory() as folder:
        book = Path(folder) / "book.sqlite3"
        fill(book)
        app = create_app(Settings(book=book))
        with browser_of(app) as client:
            addresses.complete(engine_of(app))
            rows = defaultdict(lambda: "0", addresses.rows(engine_of(app)))  # of what an earlier state has not, none
            print(json.dumps([one for one in addresses.pages() if addresses.status(one) == 200]), flush=True)
            for line in sys.stdin:
                address, took = line.strip().format_map(rows), []
                if client.get(address).status_code == 200:  # the first one makes the template into code
                    for _ in range(REQUESTS):
                        begun = time.process_time()
                        client.get(address)
                        took.append(time.process_time() - begun)
                print(json.dumps(took), flush=True)


def main() -> None:
    """Print the table."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("former", nargs="?", type=Path, help="the folder of another state of the code")
    asked.add_argument("--only", nargs="+", default=[""], help="only addresses that begin so, rows as {motor}")
    asked.add_argument("--serve", action="store_true", help=argparse.SUPPRESS)
    how = asked.parse_args()
    if how.serve:
        serve()
    else:
        compare(Tree(how.former.resolve()) if how.former else None, how.only)


def compare(former: Tree | None, only: list[str]) -> None:
    """Print what each page takes, and of its former time."""
    here = Tree(Path(__file__).parents[2])
    pages = [one for one in here.told() if one.startswith(tuple(only))]
    if former:
        former.told()
    print(f"{'ms':>8}{'former':>9}{'ratio':>8}  page", flush=True)
    for address in pages:
        now: list[float] = []
        then: list[float] = []
        for _ in range(ROUNDS):
            now += here.took(address)
            then += former.took(address) if former else []
        ms = 1000 * min(now)
        if then:
            ratio = min(now) / min(then)
            mark = "  over the limit" if ratio > LIMIT else ""
            print(f"{ms:8.1f}{1000 * min(then):9.1f}{ratio:8.2f}  {address}{mark}", flush=True)
        elif not former:
            print(f"{ms:8.1f}{'':17}  {address}", flush=True)


if __name__ == "__main__":
    main()
