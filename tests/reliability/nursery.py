"""A process that has the program loaded and gives birth to others: each is forked, and so is up in moments.

It is the fork server of Python's own `multiprocessing`, one for a whole run. A child does what a function says, under a
terminal of its own, by the clock of the test that wanted it, and can be killed like any process. A test that is about
the start of the program itself starts it as a person does instead: `servers.Program`.
"""

import asyncio
import gc
import multiprocessing
import os
import signal
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Mapping
from functools import cache
from multiprocessing import forkserver
from multiprocessing.connection import Connection
from multiprocessing.context import ForkServerContext
from pathlib import Path

import httpx
import pytest
import uvicorn

from app.__main__ import main
from app.main import create_app
from app.settings import Settings
from tests import moment
from tests.behind import engine_of, let_in

needs_fork = pytest.mark.skipif(not hasattr(os, "fork"), reason="servers are forked, which this system cannot")

ALONE_S = 300
"""A child ends by itself after this long, should the test that was to kill it be gone [s]."""

_WARM = "GRAINBOOK_TESTS_WARM"


class Child:
    """A process that does one thing with the program loaded, and what it says on its terminal."""

    def __init__(self, act: Callable[..., int | None], *given: object, **environment: str) -> None:
        read, write = multiprocessing.Pipe(duplex=False)
        own = {**moment.environment(), **environment}
        self._process = _nursery().Process(target=_live, args=(write, own, act, given), daemon=True)
        self._process.start()
        write.close()
        self._read, self.terminal = read, os.fdopen(read.fileno(), closefd=False)

    @property
    def alive(self) -> bool:
        """Whether it has not ended yet."""
        return self._process.is_alive()

    def kill(self) -> None:
        """Kill it without warning, and wait until it is gone."""
        self._process.kill()
        self.ended()

    def ended(self, how: int | None = None) -> tuple[str, int | None]:
        """Wait until it has ended, told by a signal if any: what it said yet, and its exit code."""
        if how is not None and self.alive:
            os.kill(self._process.pid or 0, how)
        said = "" if self.terminal.closed else self.terminal.read()
        self._process.join(60)
        self.terminal.close()
        self._read.close()
        return said, self._process.exitcode


def program(*words: str | Path) -> int:
    """What the program does when these words are typed, in a child."""
    return main([str(word) for word in words])


def _live(terminal: Connection, environment: Mapping[str, str], act: Callable[..., int | None], given: object) -> None:
    """The life of a child."""
    signal.alarm(ALONE_S)
    os.environ.update(environment)
    time.tzset()
    for number in (1, 2):
        os.dup2(terminal.fileno(), number)
    terminal.close()
    sys.stdout, sys.stderr = (os.fdopen(number, "w", buffering=1, closefd=False) for number in (1, 2))
    with moment.of_the_test():
        code = act(*given)  # type: ignore[misc]
    sys.exit(code)


@cache
def _nursery() -> ForkServerContext:
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload([__name__])
    with pytest.MonkeyPatch.context() as patch:
        for name, text in moment.environment().items():
            patch.setenv(name, text)
        for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", _WARM):
            patch.setenv(name, "1")
        forkserver.ensure_running()
    return context


def _warm() -> None:
    """Ask a server on a new book for pages once, so that templates and tables are ready when a child is born."""
    with tempfile.TemporaryDirectory() as folder:
        book = Path(folder) / "book.sqlite3"
        app = create_app(Settings(book=book))

        async def look() -> None:
            way = httpx.ASGITransport(app)
            async with httpx.AsyncClient(transport=way, base_url="http://localhost", cookies=let_in(book)) as client:
                for page in ("/", "/cast", "/workshop", "/workshop/supplies", "/workshop/supplies/new", "/firings/new"):
                    (await client.get(page)).raise_for_status()

        asyncio.run(look())
        uvicorn.Config(app).load()
        engine_of(app).dispose()
    gc.collect()
    gc.freeze()
    assert threading.active_count() == 1, "a process with threads is not forked"


if os.environ.pop(_WARM, ""):  # this is the process that gives birth
    with moment.of_the_test():
        _warm()
