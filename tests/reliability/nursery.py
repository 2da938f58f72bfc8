"""A process that has the program loaded and gives birth to servers: each is forked, and so is up in moments.

`python -m tests.reliability.nursery BOOK` reads a line for each server wanted, answers `port pid` as soon as the
server's socket listens, and `dead` once that server is gone. The server itself is the program's own: `create_app`
on the book, uvicorn, a listening socket of its own.
"""

import asyncio
import os
import shutil
import signal
import sys
import tempfile
import threading
from pathlib import Path

import httpx
import uvicorn

from app.__main__ import _listen
from app.main import create_app
from app.settings import Settings
from tests import moment
from tests.behind import engine_of, let_in

FIRST_PORT = 21000
ALONE_S = 300
"""A server ends by itself after this long, should the test that was to kill it be gone [s]."""


def main(book: Path) -> None:
    """Load what a server needs, then fork one for each line that comes in."""
    _warm(book)
    assert threading.active_count() == 1, "a process with threads is not forked"
    for number, _line in enumerate(sys.stdin):
        child = os.fork()
        if child == 0:
            _serve(book, number)
            os._exit(0)
        os.waitpid(child, 0)
        print("dead", flush=True)


def _serve(book: Path, number: int) -> None:
    signal.alarm(ALONE_S)
    listener = _listen("127.0.0.1", FIRST_PORT + 20 * ((os.getppid() + number) % 900))
    print(f"{listener.getsockname()[1]} {os.getpid()}", flush=True)
    app = create_app(Settings(book=book))
    app.state.checkpoints.start()
    uvicorn.Server(uvicorn.Config(app, log_level="warning", access_log=False)).run(sockets=[listener])


def _warm(book: Path) -> None:
    """Ask a server on a copy for pages once, so that templates and tables are ready when a child is born."""
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "copy.sqlite3"
        shutil.copyfile(book, copy)
        app = create_app(Settings(book=copy))

        async def look() -> None:
            way = httpx.ASGITransport(app)
            async with httpx.AsyncClient(transport=way, base_url="http://localhost", cookies=let_in(copy)) as client:
                for page in ("/", "/cast", "/workshop/supplies/new", "/firings/new"):
                    (await client.get(page)).raise_for_status()

        asyncio.run(look())
        uvicorn.Config(app).load()
        engine_of(app).dispose()


if __name__ == "__main__":
    with moment.of_the_test():
        main(Path(sys.argv[1]))
