"""The book's file seen from outside: whether it is a book, of which schema, whether it is whole, what is in it.

Plain sqlite3, so that files of older schemas can be looked at too, and so that the start stays quick.
"""

import shutil
import sqlite3
import zlib
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

from app import clock, system
from app.errors import Trouble
from app.settings import resource, typed
from app.troubles import as_trouble

WAIT_S = 10.0
SIDES = ("-wal", "-shm")
_CANNOT_OPEN = (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY)


@dataclass(frozen=True)
class Inspection:
    """What a file was found to be."""

    schema: str
    rows: dict[str, int]


def schemas() -> list[str]:
    """The steps of the schema that this program knows, oldest first: the numbers its migrations are named by."""
    return sorted(file.name[:4] for file in (resource("migrations") / "versions").glob("[0-9][0-9][0-9][0-9]_*.py"))


@contextmanager
def opened(file: Path, *, write: bool = False) -> Iterator[sqlite3.Connection]:
    """A connection of one's own to a file that exists; closed at the end."""
    uri = file.resolve().as_uri()
    mode = "rw" if write else "ro"
    with closing(sqlite3.connect(f"{uri}?mode={mode}", uri=True, timeout=WAIT_S, isolation_level=None)) as connection:
        try:
            connection.execute("SELECT count(*) FROM sqlite_master")
        except sqlite3.OperationalError as error:
            if write or error.sqlite_errorcode & 0xFF not in _CANNOT_OPEN:
                raise
        else:
            yield connection
            return
    # A book on a medium that cannot be written: nobody else can be writing to it either.
    with closing(sqlite3.connect(f"{uri}?mode=ro&immutable=1", uri=True, isolation_level=None)) as connection:
        yield connection


def inspect(file: Path) -> Inspection:
    """Look through a whole file.

    Raises
    ------
    Trouble
        It is not there, is no book, is damaged, or belongs to a newer Grainbook.
    """
    if not file.is_file():
        raise Trouble(f"There is no file {file}. Nothing was changed. Look at the name you typed.", kind="missing")
    with as_trouble():
        if not _begins_like_a_database(file):
            raise no_book(file)
        hold_to_seal(file)
    try:
        with as_trouble(), opened(file) as connection:
            schema = schema_of(connection, file)
            prove(connection, file)
            return Inspection(schema, count_rows(connection))
    except Trouble as trouble:
        if trouble.kind == "damaged":
            raise damaged(file) from trouble
        raise
    except (sqlite3.Error, UnicodeDecodeError) as error:  # a head so broken that SQLite takes it for something else
        raise damaged(file) from error


def schema_of(connection: sqlite3.Connection, file: Path) -> str:
    """The step of the schema that a book is at.

    Raises
    ------
    Trouble
        It is no book, or belongs to a newer Grainbook.
    """
    tables = table_names(connection)
    if not {"alembic_version", "workshop"} <= set(tables):
        raise no_book(file)
    found = [str(row[0]) for row in connection.execute("SELECT version_num FROM alembic_version")]
    known = schemas()
    if len(found) == 1 and found[0] in known:
        return found[0]
    if len(found) == 1 and found[0].isdecimal() and found[0] > known[-1]:
        raise Trouble(
            f"{file} was written by a newer Grainbook (schema {found[0]}; this one knows up to {known[-1]}). It was "
            "left as it is. Open it with the newer Grainbook.",
            kind="newer",
        )
    raise no_book(file)


def blank(book: Path) -> bool:
    """Whether there is nothing in a book's place yet: no file, an empty one, or one without a single table.

    Raises
    ------
    Trouble
        There is a file of another kind, or the log of a book that was moved away.
    """
    if not book.exists() or book.stat().st_size == 0:
        if has_log(book):  # SQLite would throw it away
            raise left_behind(book)
        return True
    if not _begins_like_a_database(book):
        raise no_book(book)
    with opened(book) as connection:
        return set(table_names(connection)) <= {"alembic_version"}


def prove(connection: sqlite3.Connection, file: Path, *, quick: bool = False) -> None:
    """Refuse a file that SQLite finds a fault in.

    Raises
    ------
    Trouble
        It is damaged.
    """
    faults = connection.execute(f"PRAGMA {'quick_check' if quick else 'integrity_check'}(1)").fetchall()
    if faults != [("ok",)]:
        raise damaged(file)
    if not quick and connection.execute("PRAGMA foreign_key_check").fetchone() is not None:
        raise damaged(file)


def damaged(file: Path) -> Trouble:
    """The refusal of a file that is not whole."""
    return Trouble(f"{file} is damaged. It was left as it is. Use another copy.", kind="damaged")


def no_book(file: Path) -> Trouble:
    """The refusal of a file of another kind."""
    return Trouble(f"{file} is not a book of Grainbook. Nothing was changed. Choose another file.", kind="no book")


def wal_of(book: Path) -> Path:
    """The log of a book, which SQLite keeps beside it."""
    return book.with_name(book.name + "-wal")


def has_log(book: Path) -> bool:
    """Whether anything stands in the log beside a book's place."""
    try:
        return wal_of(book).stat().st_size > 0
    except FileNotFoundError:
        return False


def left_behind(book: Path) -> Trouble:
    """The refusal to begin a book beside the log of another one."""
    return Trouble(
        f"There is no book at {book}, but the log with its last saves lies there: {wal_of(book)}. The book was moved "
        "or deleted while it was open; its file and this log belong together. No new book was begun, and the log is as "
        f"it was. Move the file back to its place, or type: {typed('join', 'MOVED_FILE', book)}\nTo go on with a copy "
        f"instead, type: {typed('restore', 'FILE', book)}\nThe log is then kept beside it.",
        kind="left behind",
    )


def identity(book: Path) -> tuple[int, int] | None:
    """Which file stands at the book's path: its device and number; nothing if there is none."""
    try:
        found = book.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def table_names(connection: sqlite3.Connection) -> list[str]:
    """The tables of a file, by name; SQLite's own are left out."""
    sql = "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite!_%' ESCAPE '!' ORDER BY name"
    return [str(name) for (name,) in connection.execute(sql)]


def count_rows(connection: sqlite3.Connection) -> dict[str, int]:
    """How many rows each table holds."""
    return {
        name: connection.execute(f"SELECT count(*) FROM {quoted(name)}").fetchone()[0]  # noqa: S608 (its own names)
        for name in table_names(connection)
    }


def quoted(name: str) -> str:
    """A name of a table or column as SQL takes it."""
    return '"' + name.replace('"', '""') + '"'


# --- The seal of a copy ----------------------------------------------------------------------------------
# SQLite finds a broken page, but not a figure that a dying disk changed inside of one. So a finished copy carries the
# checksum of all its other bytes where SQLite leaves four for the program that owns the file (user_version). A book
# that is worked in has none.

_SEAL_AT, _SEAL_BYTES = 60, 4
_CAME_BACK = 1


def seal(file: Path) -> None:
    """Write the checksum of a finished copy into it."""
    total = _checksum(file)
    with file.open("rb+") as written:
        written.seek(_SEAL_AT)
        written.write(total.to_bytes(_SEAL_BYTES, "big"))


def unseal(connection: sqlite3.Connection) -> None:
    """Take the checksum off a file."""
    connection.execute("PRAGMA user_version=0")


def bring_in(connection: sqlite3.Connection) -> None:
    """Put a mark in the place of the checksum of a copy that is going to be worked in.

    It stays until the first act on the book has seen to what a book that came back must not be trusted with.
    """
    connection.execute(f"PRAGMA user_version={_CAME_BACK}")


def is_sealed(connection: sqlite3.Connection) -> bool:
    """Whether a file carries a checksum."""
    return bool(connection.execute("PRAGMA user_version").fetchone()[0])


def is_copy(connection: sqlite3.Connection) -> bool:
    """Whether a file is a finished copy that nobody has begun to work in."""
    return connection.execute("PRAGMA user_version").fetchone()[0] not in (0, _CAME_BACK)


def hold_to_seal(file: Path) -> None:
    """Refuse a copy that is not byte by byte what was written.

    Raises
    ------
    Trouble
        Some byte of it is another.
    """
    if not has_whole_seal(file):
        raise damaged(file)


def has_whole_seal(file: Path) -> bool:
    """Whether a file carries no checksum, or one that it still holds to."""
    told = seal_of(file)
    return told in (0, _CAME_BACK) or told == _checksum(file)


def seal_of(file: Path) -> int:
    """The checksum that a file carries; 0 for none."""
    with file.open("rb") as read:
        read.seek(_SEAL_AT)
        return int.from_bytes(read.read(_SEAL_BYTES), "big")


def _checksum(file: Path) -> int:
    """CRC-32 of a file, the place of the seal taken as empty; never 0 or 1, which stand for no seal."""
    with file.open("rb") as read:
        head = read.read(100)
        total = zlib.crc32(head[:_SEAL_AT] + bytes(_SEAL_BYTES) + head[_SEAL_AT + _SEAL_BYTES :])
        while piece := read.read(1_000_000):
            total = zlib.crc32(piece, total)
    return max(total, _CAME_BACK + 1)


# --- Putting a file in the book's place ------------------------------------------------------------------


def settle(book: Path) -> None:
    """Bring everything into the one file, without journals beside it; fails while anybody has it open.

    Raises
    ------
    Trouble
        Another program holds it, or it cannot be written.
    """
    with as_trouble(), opened(book, write=True) as connection:
        connection.execute("PRAGMA journal_mode=DELETE")


def put_in_place(new: Path, book: Path) -> None:
    """Put a finished file where the book is; at every moment one of the two stands there whole.

    The caller has settled the old book or kept it beside, its log too. A crash between the two steps leaves the new
    file beside the old log, which the next start tells apart.
    """
    with as_trouble():
        system.swap_in(new, book)
        for side in SIDES:
            book.with_name(book.name + side).unlink(missing_ok=True)


def keep_beside(book: Path, *, parted: bool = False) -> Path:
    """Keep what stands in the book's place under a dated name that nothing has yet; also a damaged book.

    A log that is not the book's own (`parted`) is kept under a name by which SQLite does not take it for that. The
    path of the book is given back, or that of the log where there is nothing else.
    """
    stamp = f"{clock.now():%Y-%m-%dT%H%M%SZ}"
    log = "-log" if parted else "-wal"
    kept, number = book.with_name(f"{book.stem}-replaced-{stamp}.sqlite3"), 1
    while kept.exists() or kept.with_name(kept.name + log).exists():
        number += 1
        kept = book.with_name(f"{book.stem}-replaced-{stamp}-{number}.sqlite3")
    with as_trouble():
        for side, end in (("", ""), ("-wal", log)):
            source = book.with_name(book.name + side)
            if source.exists():
                target = kept.with_name(kept.name + end)
                shutil.copyfile(source, target)
                system.flush(target)
        system.flush_folder(book.parent)
    return kept if kept.exists() else kept.with_name(kept.name + log)


def remove(file: Path) -> None:
    """Remove an unfinished file and the journals beside it."""
    for side in ("", "-journal", *SIDES):
        file.with_name(file.name + side).unlink(missing_ok=True)


def _begins_like_a_database(file: Path) -> bool:
    with file.open("rb") as start:
        return start.read(16) == b"SQLite format 3\x00"
