"""The command line: open the book in a browser, and what can be done with its file."""

import argparse
import errno
import gc
import os
import socket
import sys
import threading
import time
import webbrowser
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import NoReturn

from app import commands, let_in, logbook, shortcut, system
from app.access import lan
from app.access.door import Door
from app.book import advice, backups, bookfile, logs, rights, sqlite_needs
from app.book.instance import Instance, InUse
from app.errors import Trouble
from app.settings import Settings, book_path, typed
from app.troubles import as_trouble

FIRST_PORT, PORTS_TO_TRY, LAST_PORT = 8765, 20, 65535
NOT_OPENED = "The book was not opened and is as it was."
CHECKED_AT_START_BYTES = 100_000_000
"""A larger book is looked through by its first copy instead, so that the start stays quick."""

COMMANDS = {
    "serve": "open the book in a browser (the default)",
    "where": "tell where the book, its copies and its log are",
    "backup": "copy the book to FILE, also while it is open",
    "restore": "put the copy FILE, or the newest in a folder, in the book's place; the book there is kept beside it",
    "join": "bring FILE, a book that was moved while it was open, and the log it left behind together again",
    "export": "write everything to the zip FILE, as JSON, CSV and files",
    "import": "make the book of such a zip FILE; only a new, empty book is replaced",
    "check": "look through the book, or the copy FILE, for anything that is not as it was written",
    "address": "print an address that lets one more browser in to the open book: once, within ten minutes",
    "token": "print a token that lets a script of yours ask the compute API, and nothing else",
    "tokens": "list the tokens that hold",
    "withdraw": "end the token of that NUMBER",
    "shortcut": "put an icon on the desktop that opens the book; with --remove remove it",
    "migrate": "create the book or bring it to this version, without opening it",
}
NEED_A_FILE = ("backup", "restore", "join", "export", "import")
MAY_HAVE_A_FILE = ("check",)
NEED_A_NUMBER = ("withdraw",)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; the return value is the process's exit code."""
    parser = _parser()
    options = parser.parse_intermixed_args(arguments)  # FILE may stand before or behind the options
    if options.command not in COMMANDS:
        meant = "Did you mean --demo?" if options.command == "demo" else f"The commands are {', '.join(COMMANDS)}."
        parser.error(f"“{options.command}” is no command of Grainbook. {meant}")
    needed = "FILE" if options.command in NEED_A_FILE else "NUMBER" if options.command in NEED_A_NUMBER else ""
    if options.command not in MAY_HAVE_A_FILE and bool(needed) != (options.file is not None):
        parser.error(f"{options.command} {f'needs a {needed}' if needed else 'takes no FILE'}.")
    book: Path = options.book or book_path(demo=options.demo)
    try:
        sqlite_needs.check()
        if os.path.islink(book):  # its log, lock and copies lie beside the file itself
            book = book.resolve()
        if os.path.isdir(book):  # one that cannot be looked into is told of below
            raise Trouble(f"{book} is a folder. Nothing was done. Name a file in it, such as {book / 'book.sqlite3'}.")
        with as_trouble(), system.private():
            return _run(options, book)
    except Trouble as trouble:
        print(trouble.message, file=sys.stderr)
        return 1


class _Parser(argparse.ArgumentParser):
    """Says what is wrong in one line and where the rest is told, without the whole usage before it."""

    def error(self, message: str) -> NoReturn:
        """Say it and stop."""
        end = "" if message.endswith((".", "?")) else "."
        self.exit(2, f"{message[:1].upper()}{message[1:]}{end} What can be typed: grainbook --help\n")


def _port(text: str) -> int:
    if not text.isascii() or not text.isdecimal() or not 1 <= int(text) <= LAST_PORT:
        raise argparse.ArgumentTypeError(f"“{text}” is no port: give a number from 1 to {LAST_PORT}, or leave it out")
    return int(text)


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="grainbook",
        description="Plan, cast, weigh, predict and review home-cast sugar motor grains.",
        epilog="commands:\n" + "\n".join(f"  {name:9}{words}" for name, words in COMMANDS.items()),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("command", nargs="?", default="serve", metavar="COMMAND", help="one of the commands below")
    parser.add_argument("file", nargs="?", type=Path, metavar="FILE", help="the file of the command")
    parser.add_argument("--demo", action="store_true", help="use the separate, invented demonstration book")
    parser.add_argument("--book", type=Path, help="the book's file, if not in your data folder")
    parser.add_argument("--port", type=_port, help=f"port on this machine (left out: a free one from {FIRST_PORT})")
    network = parser.add_mutually_exclusive_group()
    network.add_argument(
        "--lan",
        nargs="?",
        const=lan.EVERYWHERE,
        type=lan.of_own_network,
        metavar="ADDRESS",
        help="let paired devices of your own network in, encrypted, at all of this computer's addresses or at that one",
    )
    network.add_argument(
        "--lan-plain",
        nargs="?",
        const=lan.EVERYWHERE,
        type=lan.of_own_network,
        metavar="ADDRESS",
        help="the same without encryption: whoever listens on the network can read along",
    )
    parser.add_argument("--no-browser", action="store_true", help="do not open a browser")
    parser.add_argument("--replace", action="store_true", help="write over FILE if it is there")
    parser.add_argument("--remove", action="store_true", help="with shortcut: take the icon away")
    return parser


def _run(options: argparse.Namespace, book: Path) -> int:
    done = {
        "where": lambda: commands.where(book),
        "migrate": lambda: commands.migrate(book),
        "shortcut": lambda: shortcut.remove(book) if options.remove else shortcut.put(book),
        "address": lambda: let_in.address(book),
        "token": lambda: let_in.token(book),
        "tokens": lambda: let_in.tokens(book),
        "withdraw": lambda: let_in.withdraw(book, str(options.file)),
        "backup": lambda: commands.backup(book, options.file, options.replace),
        "restore": lambda: commands.restore(book, options.file),
        "join": lambda: commands.join(book, options.file),
        "export": lambda: commands.export(book, options.file, options.replace),
        "import": lambda: commands.take_in(book, options.file),
    }
    if options.command in done:
        print(done[options.command]())
        return 0
    if options.command == "check":
        return commands.check(options.file or book)
    settings = Settings(
        book=book,
        demo=options.demo,
        port=options.port or FIRST_PORT,
        copies=True,
        lan=options.lan or options.lan_plain,
        plain=options.lan_plain is not None,
    )
    try:
        with Instance(book) as instance:
            return _serve(settings, instance, open_browser=not options.no_browser, search=options.port is None)
    except InUse as in_use:
        print(in_use.message, file=sys.stderr)
        if not in_use.address or options.no_browser:
            return 1
        print("The browser opens there.", flush=True)
        _show(let_in.way_in(in_use))
        return 0


def _serve(settings: Settings, instance: Instance, open_browser: bool, search: bool) -> int:
    with ExitStack() as stack:
        logbook.begin(settings.book)
        stack.callback(logbook.end)
        if opened := rights.tighten(settings.book):
            logbook.note(f"Other accounts could read {opened} files and folders of the book; they are closed now.")
        listeners = [stack.enter_context(listener) for listener in _listeners(settings, search)]
        _look_at(settings)
        with _standing():
            from app.main import serving
            from app.serving import server as server_of
        app = serving(settings)
        instance.follow()
        port = listeners[0].getsockname()[1]
        address = f"http://{settings.host}:{port}/"
        door: Door = app.state.door
        instance.tell(address, door.run)
        print(
            f"Grainbook is open at {address}\nThe book: {settings.book}\n"
            f"To let one more browser in, once, within ten minutes: {door.address(address)}\n"
            f"Later on, “{typed('address', '', settings.book)}” prints a fresh one. Stop with Ctrl+C.",
            flush=True,
        )
        for notice in app.state.notices.unread():
            print(f"{notice.title}. {notice.words}", flush=True)
        if settings.lan:
            print(lan.opened(app.state.lan, settings.lan, port), flush=True)
        encrypted = settings.lan is not None and not settings.plain
        server = server_of(app, (listeners.pop(), app.state.lan.authority.context()) if encrypted else None)
        if open_browser:
            threading.Thread(target=_show_when_up, args=(server, door.address(address)), daemon=True).start()
        logbook.note("The book was opened.")
        server.run(sockets=listeners)
        logbook.note("The book was closed.")
    return 0


@contextmanager
def _standing() -> Iterator[None]:
    """For imports, which make two hundred thousand objects that stand for the whole run.

    The garbage collector's rounds over them while they are made took a fifth of the start; it does not look at them
    later either.
    """
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()
        gc.enable()


def _look_at(settings: Settings) -> None:
    """The book before it is opened: damage is found now, not in the middle of a save."""
    book = settings.book
    try:
        with as_trouble():
            small = not book.exists() or book.stat().st_size <= CHECKED_AT_START_BYTES
            logs.hold_together(book, thorough=small)
            if not book.exists() and settings.demo:
                from app.demo import fill

                print("Making the demonstration book (all numbers in it are invented)…", flush=True)
                fill(book)
            elif bookfile.blank(book):
                newest = next(iter(backups.copies(book)), None)
                if newest is not None:
                    print(
                        f"There was no book at {book}, so a new one was begun; but copies of an earlier one are there. "
                        f"If it was lost, stop this one and type: {typed('restore', newest.file, book)}",
                        flush=True,
                    )
            else:
                _look_into(book, small)
    except Trouble as trouble:
        logbook.fault("looking through the book at the start", trouble)
        if trouble.kind != "damaged":
            raise
        raise advice.damaged(book) from trouble


def _look_into(book: Path, small: bool) -> None:
    if book.stat().st_nlink > 1:
        print(
            f"The book {book} has a second name on this disk (a hard link). Open it by one name only: the last saves "
            "lie in a log beside the name it was opened by. Better remove the other name.",
            flush=True,
        )
    if small:
        if not bookfile.has_whole_seal(book):
            raise advice.seal_broken(book)
        with bookfile.opened(book) as connection:
            bookfile.prove(connection, book, quick=True)


def _listener(settings: Settings, search: bool) -> socket.socket:
    try:
        return _listen(settings.host, settings.port, PORTS_TO_TRY if search else 1)
    except OSError as error:
        if error.errno != errno.EADDRINUSE:
            raise Trouble(
                f"Port {settings.port} cannot be used here ({error.strerror}). {NOT_OPENED} Give another --port, or "
                "leave it out."
            ) from error
        if search:
            raise Trouble(
                f"No port from {settings.port} to {settings.port + PORTS_TO_TRY - 1} is free. {NOT_OPENED} Close "
                "another program, or give --port."
            ) from error
        raise Trouble(
            f"Port {settings.port} is taken by another program. {NOT_OPENED} Give another --port, or leave it out and "
            "a free one is found."
        ) from error


def _listeners(settings: Settings, search: bool) -> list[socket.socket]:
    """Where the book answers: on this machine, and with `--lan` on its network at the same port."""
    here = _listener(settings, search)
    if settings.lan is None:
        return [here]
    try:
        return lan.listeners(here, settings.lan, lambda host, port: _listen(host, port, 1))
    except OSError as error:
        raise Trouble(
            f"This computer cannot be reached at {settings.lan} ({error.strerror}). {NOT_OPENED} Give an address that "
            "its network settings show, or --lan alone, or another --port."
        ) from error


def _listen(host: str, first_port: int, ports: int = PORTS_TO_TRY) -> socket.socket:
    """A listening socket on the loopback address, at the first free port."""
    for port in range(first_port, first_port + ports):
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        system.take_again(listener)
        try:
            listener.bind((host, port))
            listener.listen(100)  # from here on a browser may knock; it is answered as soon as the app runs
        except OSError as error:
            listener.close()
            if error.errno != errno.EADDRINUSE or port == first_port + ports - 1:
                raise
        else:
            return listener
    raise AssertionError("the loop returns or raises")


def _show_when_up(server: object, address: str) -> None:
    for _ in range(100):
        if getattr(server, "started", False):
            break
        time.sleep(0.1)
    _show(address)


def _show(address: str) -> None:
    try:
        shown = webbrowser.open(address)
    except webbrowser.Error:
        shown = False
    if not shown:
        print(f"No browser could be opened here. The book is open; go to {address} in a browser yourself.", flush=True)


if __name__ == "__main__":
    sys.exit(main())
