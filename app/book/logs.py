"""The log beside the book (SQLite's `-wal`), which holds the newest saves: whether it belongs to the file it lies at.

A book that was moved while it was open leaves its log behind; a file laid over a book gets the log of another. SQLite
sees neither: it lays whatever log it finds over whatever file it finds, or throws it away beside an empty one. So both
are told apart here, by what they hold: the record of changes, which only grows.
"""

import os
import shutil
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from app import clock
from app.book import bookfile
from app.book.bookfile import has_log, wal_of
from app.errors import Trouble
from app.settings import typed
from app.troubles import as_trouble

TRIES, PAUSE_S = 5, 0.05
"""How often a file that another program may just be moving its log into is looked at again."""

_LAST = "SELECT id, at, what, table_name, row_id, column_name, before, after FROM change {} ORDER BY id DESC LIMIT 1"


@dataclass(frozen=True)
class Change:
    """A line of the record of changes, by which one state of a book is known in another."""

    number: int
    row: tuple[object, ...]

    @property
    def words(self) -> str:
        """How far a record reaches."""
        try:
            at = clock.day_and_time(datetime.fromisoformat(str(self.row[1])[:26]).replace(tzinfo=UTC))
        except ValueError:
            at = "a moment that cannot be read"
        return f"{self.number} changes, the last of {at}"


@dataclass(frozen=True)
class Reading:
    """What stands at a book's place, read in one of two ways; a reading is there only where it is sound."""

    last: Change | None

    @property
    def words(self) -> str:
        """How far it reaches."""
        return self.last.words if self.last else "no changes"


@dataclass(frozen=True)
class Pair:
    """A file and the log beside it: the file by itself, and with the log laid over it."""

    sealed: bool
    file: Reading | None
    both: Reading | None
    goes_on: bool
    """Whether the file with its log has what the file by itself has."""

    @property
    def together(self) -> bool:
        """Whether they belong together, as far as can be seen; a file and a log that are both damaged may."""
        if self.sealed:  # a finished copy, which nobody has worked in
            return False
        return self.file is None or (self.both is not None and self.goes_on)


@contextmanager
def alone(file: Path) -> Iterator[sqlite3.Connection]:
    """A connection that sees a file without the log beside it, and touches neither.

    Opened by SQLite: a file that this program closes by itself would lose the locks that SQLite has on it.
    """
    uri = f"{file.resolve().as_uri()}?mode=ro&immutable=1"
    with closing(sqlite3.connect(uri, uri=True, isolation_level=None)) as connection:
        yield connection


def last_change(connection: sqlite3.Connection, number: int | None = None) -> Change | None:
    """The last line of a book's record of changes, or the line of that number; nothing where there is none."""
    connection.text_factory = bytes  # a damaged text is no reason to fail here
    try:
        sql, values = (_LAST.format(""), ()) if number is None else (_LAST.format("WHERE id = ?"), (number,))
        row = connection.execute(sql, values).fetchone()
    except sqlite3.OperationalError as error:
        if "no such" not in str(error):
            raise
        return None  # a book that keeps no record yet
    finally:
        connection.text_factory = str
    if row is None:
        return None
    return Change(row[0], tuple(v.decode("utf-8", "replace") if isinstance(v, bytes) else v for v in row))


def holds(connection: sqlite3.Connection, change: Change | None) -> bool:
    """Whether a book has that line in its record; every book holds none."""
    return change is None or last_change(connection, change.number) == change


def fits(book: Path, seen: Change | None = None) -> bool | None:
    """Whether the file is the log's own, by a quick look that is right also while the book is open; None: unreadable.

    `seen` is a line of the record that stood in the file by itself before.
    """
    for _ in range(TRIES):
        with suppress(sqlite3.Error, Trouble):
            with alone(book) as file:
                if bookfile.is_copy(file) or not holds(file, seen):
                    return False
                last = last_change(file)
            with bookfile.opened(book) as both:
                return holds(both, last)
        time.sleep(PAUSE_S)
    return None


def pair(book: Path, *, thorough: bool = True) -> Pair:
    """Look at a closed book and the log beside it; `thorough`: as sound counts only what SQLite finds no fault in.

    Pages of two states of one book can pass for a sound tree, so everything that SQLite can hold together is.
    """
    file = both = None
    sealed, goes_on = False, False
    with suppress(sqlite3.Error, Trouble), alone(book) as connection:
        sealed = bookfile.is_copy(connection)
        file = _reading(connection, book, thorough)
    with suppress(sqlite3.Error, Trouble), bookfile.opened(book) as connection:
        both = _reading(connection, book, thorough)
        goes_on = file is None or holds(connection, file.last)
        if goes_on and thorough and both.last is not None:
            begins = file.last.number if file is not None and file.last is not None else 0
            goes_on = _linked(connection, both.last.number - begins)
    return Pair(sealed, file, both, goes_on)


def _linked(connection: sqlite3.Connection, newest: int) -> bool:
    """Whether so many of the newest changes are links of the one chain that every save goes on with."""
    from app.book import chain  # it knows the whole schema, which a start that finds no log does without

    return not chain.has_chain(connection) or not any(chain.misfits(connection, newest))


def _reading(connection: sqlite3.Connection, book: Path, thorough: bool) -> Reading:
    if thorough:
        bookfile.prove(connection, book)
    return Reading(last_change(connection))


def hold_together(book: Path, *, thorough: bool = True) -> None:
    """Refuse a log that is not the book's own, before SQLite lays it over the book or throws it away.

    Raises
    ------
    Trouble
        The log belongs to a book that was moved away, or to what stood there before another file was laid over it.
    """
    if not has_log(book):
        return
    if not book.exists() or book.stat().st_size == 0:
        raise bookfile.left_behind(book)
    found = pair(book, thorough=thorough)
    if not found.together:
        raise parted(book, found)


def parted(book: Path, found: Pair) -> Trouble:
    """The refusal of a file and a log that do not belong together: which readings there are, and how to take one."""
    ways = []
    if found.file is not None:
        ways.append(
            f"The file by itself is sound ({found.file.words}); to take it, type: {typed('restore', book, book)}"
        )
    if found.both is not None and found.goes_on:
        ways.append(
            f"The file with the log laid over it is sound and goes on from there ({found.both.words}); to take that, "
            f"type: {typed('join', book, book)}"
        )
    if not ways:
        ways.append(
            f"Neither the file nor both together are sound. To put a copy back, type: {typed('restore', 'FILE', book)}"
        )
    return Trouble(
        f"The file {book} and the log beside it, {wal_of(book).name}, do not belong together: another file was laid "
        "over a book whose last saves were still in its log. It was not opened, and both are as they were.\n"
        + "\n".join(ways)
        + "\nWhichever you take, all that lies there now is kept beside.",
        kind="parted",
    )


# --- Bringing both together ------------------------------------------------------------------------------


def join(file: Path, book: Path) -> Path:
    """Lay the log at the book's place over the file it belongs to, and put that in the book's place.

    It is done on a copy of both, which is proved; `file` stays where it is. All that lay in the book's place is kept
    beside under a dated name, which is given back.

    Raises
    ------
    Trouble
        There is no such file or log, or they do not belong together. Nothing was changed.
    """
    if not file.is_file():
        raise Trouble(f"There is no file {file}. Nothing was changed. Look at the name you typed.", kind="missing")
    if not has_log(book):
        raise Trouble(
            f"No log lies at {wal_of(book)}: there is nothing to bring together. Nothing was changed. To put the file "
            f"in the book's place, type: {typed('restore', file, book)}"
        )
    at_its_place = book.exists() and os.path.samefile(file, book)
    if not at_its_place:
        if has_log(file):
            raise Trouble(
                f"{file} has a log of its own beside it, {wal_of(file).name}: it was worked in since it was moved. "
                "Nothing was changed. Open it with --book and stop it again; then its own saves are in it."
            )
        if book.exists() and book.stat().st_size and pair(book).together:
            raise Trouble(
                f"The log {wal_of(book)} belongs to the book that stands there. Nothing was changed. Open that book "
                "and stop it again, or name another place with --book."
            )
    joining = book.with_name(f"{book.name}.joining")
    with as_trouble():
        bookfile.remove(joining)
        try:
            shutil.copyfile(file, joining)
            shutil.copyfile(wal_of(book), wal_of(joining))
            _bring_together(joining, file, book)
            kept = bookfile.keep_beside(book, parted=True)
            bookfile.put_in_place(joining, book)
        finally:
            bookfile.remove(joining)
    return kept


def _bring_together(joining: Path, file: Path, book: Path) -> None:
    found = pair(joining)
    if found.both is not None and found.goes_on:
        bookfile.settle(joining)
        with bookfile.opened(joining, write=True) as connection:
            if bookfile.is_copy(connection):
                bookfile.bring_in(connection)
        bookfile.inspect(joining)
        return
    alone_words = f" The file by itself is sound ({found.file.words})." if found.file else ""
    raise Trouble(
        f"{file} and the log {wal_of(book)} do not fit together: both were changed apart, or they are of different "
        f"books.{alone_words} Both are as they were. Keep them, and try the other files that may have been the book.",
        kind="parted",
    )


def take_alone(book: Path) -> Path:
    """Take the file in the book's place as it stands, without the log or the seal that do not belong to it.

    All that lay there is kept beside under a dated name, which is given back.

    Raises
    ------
    Trouble
        The file by itself is not sound. Nothing was changed.
    """
    taking = book.with_name(f"{book.name}.restoring")
    with as_trouble():
        bookfile.remove(taking)
        try:
            shutil.copyfile(book, taking)
            bookfile.settle(taking)
            with bookfile.opened(taking, write=True) as connection:
                if bookfile.is_copy(connection):
                    bookfile.bring_in(connection)
            bookfile.inspect(taking)
            kept = bookfile.keep_beside(book, parted=True)
            bookfile.put_in_place(taking, book)
        finally:
            bookfile.remove(taking)
    return kept


def reach(book: Path) -> str:
    """How far the record of a sound book reaches, in words."""
    with bookfile.opened(book) as connection:
        return Reading(last_change(connection)).words


# --- Where the last saves are ----------------------------------------------------------------------------


@dataclass(frozen=True)
class InFile:
    """Whether all that was saved stands in the book's file by itself, and since when nothing was moved into it."""

    whole: bool
    at: datetime | None
    log: Path

    @property
    def words(self) -> str:
        """The same as a sentence."""
        when = f" (written {clock.day_and_time(self.at)})" if self.at else ""
        if self.whole:
            return f"All that was saved is in the book's file itself{when}: a plain copy of it is whole."
        return (
            f"The last saves are still in {self.log.name} beside the book's file{when}; the two belong together. They "
            "are brought into it within seconds while Grainbook runs, and when it stops."
        )


def in_file(book: Path) -> InFile:
    """How it stands with the log of a book, open or closed. Only a log that is moved into it changes the file."""
    try:
        at = datetime.fromtimestamp(book.stat().st_mtime, UTC)
    except OSError:
        at = None
    return InFile(not has_log(book), at, wal_of(book))
