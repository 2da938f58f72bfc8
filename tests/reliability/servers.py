"""Servers on one book, as processes that can be killed: forked from a nursery, or the program as a person starts it."""

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import count
from pathlib import Path
from typing import Protocol
from urllib.parse import urlsplit

import uvicorn

from app.__main__ import _listen
from app.main import create_app
from app.settings import PACKAGE, Settings
from tests import moment
from tests.behind import let_in
from tests.entering import ONE_TIME, entered
from tests.reliability import nursery

FIRST_PORT = 21000


class Servers(Protocol):
    """What starts servers on a book, one after another, and kills them."""

    cookie: str
    """What a browser sends that was let in."""

    def start(self) -> int: ...
    def kill(self) -> None: ...


def _serve(book: Path, number: int) -> None:
    """A server that tells its port as soon as its socket listens: what comes meanwhile waits for it."""
    listener = _listen("127.0.0.1", FIRST_PORT + 20 * ((os.getppid() + number) % 900))
    print(listener.getsockname()[1], flush=True)
    app = create_app(Settings(book=book))
    app.state.checkpoints.start()
    uvicorn.Server(uvicorn.Config(app, log_level="warning", access_log=False)).run(sockets=[listener])


class Forked:
    """The app on one book, with a socket that listens before it is ready."""

    def __init__(self, book: Path) -> None:
        self.book, self.numbers = book, count()
        self.cookie = "; ".join(f"{name}={value}" for name, value in let_in(book).items())
        self.child: nursery.Child | None = None

    def start(self) -> int:
        """A new server: its port."""
        self.child = nursery.Child(_serve, self.book, next(self.numbers))
        return int(self.child.terminal.readline())

    def kill(self) -> None:
        """Kill the server without warning, and wait until it is gone."""
        if self.child is not None:
            self.child.kill()


@contextmanager
def forked(book: Path) -> Iterator[Forked]:
    """Servers on a book, none of which outlives the test."""
    found = Forked(book)
    try:
        yield found
    finally:
        found.kill()


class Opened:
    """The program open on a book, forked: what it does is what the command does, up to its end."""

    def __init__(self, book: Path, port: int, cookie: str = "") -> None:
        words = ("--book", book, "--port", str(port), "--no-browser")
        self.child = nursery.Child(nursery.program, *words, GRAINBOOK_HOME=str(book.parent))
        self.said, self.port, self.cookie = _opening(self.child.terminal, cookie)


def _opening(terminal: Iterator[str], cookie: str) -> tuple[str, int, str]:
    """What a program says up to the address that lets a browser in, its port, and the cookie of the browser."""
    said = ""
    for line in terminal:
        said += line
        if found := ONE_TIME.search(line):  # behind the address at which it is open
            return said, urlsplit(found[0]).port or 0, cookie or entered(found[0])
    raise AssertionError(f"the program ended before it was open: {said}")


class Program:
    """The program itself on one book, started as a person starts it but for its clock, which is the test's."""

    def __init__(self, book: Path, port: int) -> None:
        self.book, self.port, self.cookie = book, port, ""

    def start(self) -> int:
        """A new server: its port."""
        words = ("-m", "tests.moment", "--book", str(self.book), "--port", str(self.port), "--no-browser")
        own = {**os.environ, **moment.environment(), "GRAINBOOK_HOME": str(self.book.parent)}
        self.process = subprocess.Popen(
            [sys.executable, *words], cwd=PACKAGE.parent, env=own, text=True, stdout=subprocess.PIPE
        )
        assert self.process.stdout is not None
        _, port, self.cookie = _opening(self.process.stdout, self.cookie)
        return port

    def kill(self) -> None:
        """Kill the server without warning, and wait until it is gone."""
        self.process.kill()
        self.process.communicate(timeout=30)
