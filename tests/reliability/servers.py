"""Servers on one book, as processes that can be killed: forked from a nursery, or the program as a person starts it."""

import contextlib
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Protocol
from urllib.parse import urlsplit

import pytest

from app.settings import PACKAGE
from tests import moment
from tests.behind import let_in
from tests.entering import ONE_TIME, entered

needs_fork = pytest.mark.skipif(not hasattr(os, "fork"), reason="servers are forked, which this system cannot")


def _process(book: Path, *command: str) -> subprocess.Popen[str]:
    """A Python process that keeps its own files beside the book, and goes by the test's clock."""
    own = {
        **os.environ,
        **moment.environment(),
        "OMP_NUM_THREADS": "1",
        "OPENBLAS_NUM_THREADS": "1",
        "GRAINBOOK_HOME": str(book.parent),
    }
    return subprocess.Popen(
        [sys.executable, *command],
        cwd=PACKAGE.parent,
        env=own,
        text=True,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    )


class Servers(Protocol):
    """What gives birth to servers and kills them."""

    cookie: str
    """What a browser sends that was let in."""

    def start(self) -> tuple[int, int]: ...
    def kill(self, pid: int) -> None: ...


class Nursery:
    """Servers on one book, one after another, each forked from a process that has the program loaded."""

    def __init__(self, book: Path) -> None:
        self.process = _process(book, "-m", "tests.reliability.nursery", str(book))
        self.cookie = "; ".join(f"{name}={value}" for name, value in let_in(book).items())

    def start(self) -> tuple[int, int]:
        """A new server: its port and its process."""
        assert self.process.stdin is not None
        self.process.stdin.write("start\n")
        self.process.stdin.flush()
        port, pid = self._read().split()
        return int(port), int(pid)

    def kill(self, pid: int) -> None:
        """Kill a server without warning, and wait until it is gone."""
        os.kill(pid, signal.SIGKILL)
        assert self._read() == "dead"

    def _read(self) -> str:
        assert self.process.stdout is not None
        return self.process.stdout.readline().strip()

    def close(self) -> None:
        """Let the nursery end."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.close()
        self.process.wait(30)
        self.process.stdout.close()


@contextlib.contextmanager
def nursery(book: Path) -> Iterator[Nursery]:
    """Servers on a book, none of which outlives the test."""
    found = Nursery(book)
    try:
        yield found
    finally:
        found.close()


class Program:
    """The program itself on one book, started as a person starts it but for its clock, which is the test's."""

    def __init__(self, book: Path, port: int) -> None:
        self.book, self.port, self.cookie, self.said = book, port, "", ""

    def start(self) -> tuple[int, int]:
        """A new server: its port and its process."""
        words = ("-m", "tests.moment", "--book", str(self.book), "--port", str(self.port), "--no-browser")
        self.process = _process(self.book, *words)
        assert self.process.stdout is not None
        self.said = ""
        for line in self.process.stdout:
            self.said += line
            if found := ONE_TIME.search(line):  # behind the address at which it is open
                self.cookie = self.cookie or entered(found[0])
                return urlsplit(found[0]).port or 0, self.process.pid
        raise AssertionError("the program ended before it was open")

    def kill(self, pid: int) -> None:
        """Kill the server without warning, and wait until it is gone."""
        self.process.kill()
        self.process.communicate(timeout=30)
