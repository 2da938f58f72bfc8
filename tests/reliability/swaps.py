"""Restores and changes of schema, killed at random moments; run as a process of its own, see `test_swaps.py`.

Each child is a fork, so that the program is loaded once. Prints, as JSON, how many were killed, at what they were, and
what was found wrong.
"""

import json
import os
import random
import shutil
import signal
import sys
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from alembic import command  # noqa: F401  (loaded once, before the forks)

from app.book import backups, bookfile
from app.db import migrate
from app.errors import Trouble
from tests.test_migrations import RELEASED, rows, unpack


def killed(act: Callable[[], None], after_s: float) -> bool:
    """Do an act in a child and kill it after a while; whether it was still at it."""
    pid = os.fork()
    if pid == 0:
        act()
        os._exit(0)
    time.sleep(after_s)
    os.kill(pid, signal.SIGKILL)
    return os.WIFSIGNALED(os.waitpid(pid, 0)[1])


def leftovers(folder: Path) -> str:
    """What an act was at when it was killed, by the unfinished files that it left."""
    left = [p.relative_to(folder) for p in folder.rglob("*") if p.suffix in (".restoring", ".unfinished")]
    return ", ".join(sorted("a copy" if len(p.parts) > 1 else "".join(p.suffixes[1:]) for p in left)) or "nothing"


def restores(folder: Path, kills: int, chance: random.Random) -> dict[str, object]:
    """Two books put in each other's place without end: whenever it is killed, one of them stands there whole."""
    first, second, book = folder / "first.sqlite3", folder / "second.sqlite3", folder / "book.sqlite3"
    unpack(RELEASED[0], first)
    bookfile.settle(first)
    shutil.copy(first, second)
    with bookfile.opened(second, write=True) as connection:
        connection.execute("UPDATE workshop SET person = 'second'")
    known = [rows(first), rows(second)]
    shutil.copy(first, book)

    def swap() -> None:
        while True:
            for copy in (second, first):
                replaced = backups.restore(copy, book)
                if replaced is not None:
                    replaced.unlink()

    found: Counter[str] = Counter()
    wrong = []
    for _ in range(kills):
        killed(swap, chance.uniform(0.0, 0.15))
        found[leftovers(folder)] += 1
        try:
            bookfile.inspect(book)
            if rows(book) not in known:
                wrong.append("another book")
        except (Trouble, OSError) as error:
            wrong.append(repr(error))
        for kept in folder.glob("book-replaced-*"):
            kept.unlink()
    return {"kills": kills, "at": found, "wrong": wrong}


def steps(folder: Path, kills: int, chance: random.Random) -> dict[str, object]:
    """A released book brought up: whenever that is killed, it is as it was or as it will be, and comes up next time."""
    old, book = folder / "old.sqlite3", folder / "book.sqlite3"
    unpack(RELEASED[0], old)
    bookfile.settle(old)
    shutil.copy(old, book)
    before = rows(old)
    began = time.monotonic()
    migrate(book)
    whole_s, after = time.monotonic() - began, rows(book)
    found: Counter[str] = Counter()
    wrong = []
    for _ in range(kills):
        shutil.rmtree(backups.folder_of(book), ignore_errors=True)
        shutil.copy(old, book)
        cut = killed(lambda: migrate(book), chance.uniform(0.0, 1.2 * whole_s))
        found[leftovers(folder) if cut else "whole"] += 1
        try:
            schema = bookfile.inspect(book).schema
            if rows(book) != (before if schema == bookfile.schemas()[0] else after):
                wrong.append(f"other rows at {schema}")
            migrate(book)
            if rows(book) != after or leftovers(folder) != "nothing":
                wrong.append("not brought up the next time")
        except (Trouble, OSError) as error:
            wrong.append(repr(error))
    return {"kills": kills, "at": found, "wrong": wrong}


if __name__ == "__main__":
    what, where, number, seed = sys.argv[1:]
    act = {"restores": restores, "steps": steps}[what]
    print(json.dumps(act(Path(where), int(number), random.Random(seed))))
