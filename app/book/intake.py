"""A whole book read back from the zip that `app.book.export` writes: every row, every type, every byte.

The zip may come from anywhere: its size is held to limits before and while it is read, its names are only looked up,
never used as paths, and the book in place is untouched until the new one is whole.
"""

import hashlib
import json
import shutil
import sqlite3
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import IO, Any

from app.book import backups, bookfile
from app.book.export import FORMAT, MANIFEST, NOT_A_TABLE, VERSION
from app.db import migrate, open_engine, upgrade
from app.errors import Trouble
from app.services import first_run
from app.troubles import told, told_in_words

MOST_ENTRIES = 200_000
MOST_BYTES = 20_000_000_000
MOST_IN_ONE = 300_000_000
"""Most bytes of one row or one file: they are held in memory."""

DENSE, DENSE_FROM = 200, 100_000_000
"""A zip that grows more than so many times, and beyond so many bytes, is taken for a bomb; an export never does."""

_SPARE_BYTES = 100_000_000
_OF_THE_MOMENT = {"draft", "once_token"}
_BROKEN = (
    zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError, KeyError, TypeError,
    AttributeError, OverflowError, sqlite3.IntegrityError, sqlite3.ProgrammingError, sqlite3.InterfaceError,
    sqlite3.DataError,
)  # fmt: skip
"""What a broken or doctored zip can raise on the way; everything that is checked by name is told by name."""


def read(file: Path, book: Path) -> Path | None:
    """Make the book of a zip; a new, empty book that stood there is kept beside it, and its path is given back.

    Raises
    ------
    Trouble
        The zip is damaged, too large, of a newer version, or no book; or the book in place is not empty. Nothing was
        changed.
    """
    if not file.is_file():
        raise Trouble(f"There is no file {file}. Nothing was changed. Look at the name you typed.")
    if not _is_new(book):
        raise Trouble(
            f"The book {book} is not empty, and nothing is mixed into it. Nothing was changed. Name another file with "
            "--book, or move that book away first."
        )
    unfinished = book.with_name(f"{book.name}.importing")
    with told_in_words():
        book.parent.mkdir(parents=True, exist_ok=True)
        bookfile.remove(unfinished)
        try:
            _make(file, unfinished)
            bookfile.settle(unfinished)
            bookfile.look(unfinished)
            replaced = backups.keep_replaced(book)
            bookfile.put_in_place(unfinished, book)
        finally:
            bookfile.remove(unfinished)
    return replaced


def _make(file: Path, unfinished: Path) -> None:
    try:
        with zipfile.ZipFile(file) as zipped:
            _hold_to_limits(zipped, file, unfinished.parent)
            manifest = _manifest(zipped, file)
            upgrade(unfinished, to=manifest["schema"])
            _fill(zipped, manifest["tables"], unfinished)
    except (*_BROKEN, OSError) as error:
        if told(error) is not None:
            raise
        raise Trouble(f"{file} is damaged or was altered. The book is as it was. Use another copy of it.") from error
    upgrade(unfinished)


def _is_new(book: Path) -> bool:
    """Whether there is no book yet, or one with nothing in it but what every book begins with."""
    with told_in_words():
        if bookfile.blank(book):
            return True
        here = bookfile.look(book)
        if here.schema != bookfile.schemas()[-1]:
            return False
    with TemporaryDirectory() as folder:
        fresh = Path(folder) / "fresh.sqlite3"
        migrate(fresh)
        engine = open_engine(fresh)
        first_run.prepare(engine)
        engine.dispose()
        new = bookfile.look(fresh).rows
    return all(here.rows[table] in (0, count) for table, count in new.items() if table not in _OF_THE_MOMENT)


# --- The zip ---------------------------------------------------------------------------------------------


def _hold_to_limits(zipped: zipfile.ZipFile, file: Path, folder: Path) -> None:
    entries = zipped.infolist()
    total = sum(entry.file_size for entry in entries)
    packed = file.stat().st_size
    if len({entry.filename for entry in entries}) != len(entries):
        raise zipfile.BadZipFile("two entries of one name")
    bomb = total > DENSE_FROM and total > DENSE * packed
    if len(entries) > MOST_ENTRIES or total > MOST_BYTES or bomb or any(e.file_size > MOST_BYTES for e in entries):
        raise Trouble(
            f"{file} would unpack to {total / 1e6:.0f} MB in {len(entries)} files, which no book does. Nothing was "
            "changed. Use a zip that grainbook export wrote."
        )
    if shutil.disk_usage(folder).free < total + _SPARE_BYTES:
        raise Trouble(
            f"There is no room for the book in {folder}. Nothing was changed. Make room on that disk.", status=507
        )


def _manifest(zipped: zipfile.ZipFile, file: Path) -> dict[str, Any]:
    names = set(zipped.namelist())
    told = json.loads(_whole(zipped, MANIFEST, 10_000_000)) if MANIFEST in names else {}
    if not isinstance(told, dict) or told.get("format") != FORMAT:
        raise Trouble(
            f"{file} is not a whole book of Grainbook. Nothing was changed. Choose a zip that grainbook export wrote."
        )
    schema = str(told["schema"])
    if told["format_version"] != VERSION or (schema.isdecimal() and schema > bookfile.schemas()[-1]):
        raise Trouble(
            f"{file} was written by a newer Grainbook (format {told['format_version']}, schema {schema}). Nothing was "
            "changed. Use the newer Grainbook."
        )
    if schema not in bookfile.schemas():
        raise ValueError("no such step of the schema")
    return {"schema": schema, "tables": dict(told["tables"])}


def _whole(zipped: zipfile.ZipFile, name: str, most: int) -> bytes:
    """An entry, read whole; never more than it said and than is allowed."""
    if zipped.getinfo(name).file_size > most:
        raise ValueError("an entry is larger than anything in a book")
    return zipped.read(name)


# --- Rows ------------------------------------------------------------------------------------------------


def _fill(zipped: zipfile.ZipFile, told: dict[str, Any], unfinished: Path) -> None:
    """Write the rows into a file that has the tables, without triggers and in one transaction; then prove it."""
    with closing(sqlite3.connect(unfinished, isolation_level=None)) as connection:
        here = set(bookfile.table_names(connection)) - NOT_A_TABLE
        if here != set(told):
            raise ValueError("other tables than the schema has")
        connection.execute("BEGIN IMMEDIATE")
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f"DROP TRIGGER {bookfile.quoted(name)}")
        for table in sorted(here):
            connection.execute(f"DELETE FROM {bookfile.quoted(table)}")  # noqa: S608 (the schema's own names)
            fill_table(connection, zipped, table, told[table])
        connection.execute("COMMIT")
        try:
            bookfile.prove(connection, unfinished)
        except Trouble as trouble:
            raise ValueError("rows that point nowhere") from trouble


def fill_table(connection: sqlite3.Connection, zipped: zipfile.ZipFile, table: str, told: dict[str, Any]) -> None:
    """Put the rows of a table in; the table is there and empty.

    Raises
    ------
    ValueError
        Rows or columns are not what the manifest and the schema say.
    """
    columns = [str(row[1]) for row in connection.execute(f"PRAGMA table_info({bookfile.quoted(table)})")]
    digest, count = hashlib.sha256(), 0
    with zipped.open(f"tables/{table}.jsonl") as lines:
        for line in _lines(lines):
            digest.update(line)
            values = json.loads(line)
            if count == 0:
                if sorted(values) != sorted(columns):
                    raise ValueError("other columns than the schema has")
                names = ", ".join(bookfile.quoted(name) for name in values)
            elif not isinstance(values, list):
                raise ValueError("a row is a list")
            else:
                _insert(connection, table, names, [_value(zipped, value) for value in values])
            count += 1
    if count - 1 != told["rows"] or digest.hexdigest() != told["sha256"]:
        raise ValueError("not the rows that were written")


def _lines(lines: IO[bytes]) -> Iterator[bytes]:
    while line := lines.readline(MOST_IN_ONE):
        if not line.endswith(b"\n"):
            raise ValueError("a line without an end")
        yield line


def _insert(connection: sqlite3.Connection, table: str, names: str, values: list[tuple[Any, str]]) -> None:
    marks = ", ".join(mark for _, mark in values)
    sql = f"INSERT INTO {bookfile.quoted(table)} ({names}) VALUES ({marks})"  # noqa: S608 (the schema's own names)
    connection.execute(sql, [value for value, _ in values])


def _value(zipped: zipfile.ZipFile, told: Any) -> tuple[Any, str]:
    """A value, and how SQL is given it."""
    if not isinstance(told, dict):
        if isinstance(told, list | bool):
            raise ValueError("no value of a book")
        return told, "?"
    if "file" in told:
        content = _whole(zipped, str(told["file"]), MOST_IN_ONE)
        if hashlib.sha256(content).hexdigest() != told["sha256"]:
            raise ValueError("not the file that was written")
        return content, "?"
    if "text_hex" in told:
        return bytes.fromhex(told["text_hex"]), "CAST(? AS TEXT)"
    return float(told["real"]), "?"
