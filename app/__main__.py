"""The command line: open the book in a browser, open the demonstration book, migrate, tell where the book is."""

import argparse
import errno
import socket
import sys
import threading
import time
import webbrowser
from collections.abc import Sequence
from pathlib import Path

from app.settings import Settings, book_path

PORTS_TO_TRY = 20


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; the return value is the process's exit code."""
    options = _parser().parse_args(arguments)
    book: Path = options.book or book_path(demo=options.demo)
    if options.command == "where":
        print(book)
        return 0
    if options.command == "migrate":
        from app.db import migrate

        migrate(book)
        print(f"The book is ready: {book}")
        return 0
    return _serve(Settings(book=book, demo=options.demo, port=options.port), open_browser=not options.no_browser)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="grainbook", description="Plan, cast, weigh, predict and review home-cast sugar motor grains."
    )
    parser.add_argument(
        "command", nargs="?", default="serve", choices=["serve", "migrate", "where"],
        help="serve: open the book (the default); migrate: only create or update it; where: print its path",
    )  # fmt: skip
    parser.add_argument("--demo", action="store_true", help="use the separate, invented demonstration book")
    parser.add_argument("--book", type=Path, help="the book's file, if not in your data folder")
    parser.add_argument("--port", type=int, default=8765, help="port on this machine (default 8765)")
    parser.add_argument("--no-browser", action="store_true", help="do not open a browser")
    return parser


def _serve(settings: Settings, open_browser: bool) -> int:
    import uvicorn

    from app.main import create_app

    try:
        listener = _listen(settings.host, settings.port)
    except OSError as error:
        print(f"No free port from {settings.port} on: {error}. Close another program or give --port.", file=sys.stderr)
        return 1
    if settings.demo and not settings.book.exists():
        from app.demo import fill

        print("Making the demonstration book (all numbers in it are invented)…", flush=True)
        fill(settings.book)
    app = create_app(settings)
    address = f"http://{settings.host}:{listener.getsockname()[1]}/"
    print(f"Grainbook is open at {address}\nThe book: {settings.book}\nStop with Ctrl+C.", flush=True)
    server = uvicorn.Server(uvicorn.Config(app, log_level="warning", access_log=False))
    if open_browser:
        threading.Thread(target=_show, args=(server, address), daemon=True).start()
    server.run(sockets=[listener])
    return 0


def _listen(host: str, first_port: int) -> socket.socket:
    """A listening socket on the loopback address, at the first free port."""
    for port in range(first_port, first_port + PORTS_TO_TRY):
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        if sys.platform != "win32":  # there the option would let two programs share a port
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((host, port))
            listener.listen(100)  # from here on a browser may knock; it is answered as soon as the app runs
        except OSError as error:
            listener.close()
            if error.errno != errno.EADDRINUSE or port == first_port + PORTS_TO_TRY - 1:
                raise
        else:
            return listener
    raise AssertionError("the loop returns or raises")


def _show(server: object, address: str) -> None:
    for _ in range(100):
        if getattr(server, "started", False):
            break
        time.sleep(0.1)
    webbrowser.open(address)


if __name__ == "__main__":
    sys.exit(main())
