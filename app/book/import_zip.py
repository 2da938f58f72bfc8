"""A whole book read back from the zip that `app.book.export` writes: every row, every type, every byte.

The zip may come from anywhere: its size is held to limits before and while it is read, its names are only looked up,
never used as paths, and the book in place is untouched until the new one is whole.
"""

import hashlib
import json
import lzma
import shutil
import sqlite3
import string
import struct
import zipfile
import zlib
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from pydantic import BaseModel, Field, ValidationError
from sqlalchemy import Engine

from app import logbook
from app.book import backups, bookfile, filestore, rows
from app.book.export import FORMAT, MANIFEST, NOT_A_TABLE, VERSION
from app.db import migrate, open_engine, upgrade
from app.errors import Trouble
from app.models import words
from app.troubles import as_trouble, trouble_of

MOST_ENTRIES = 200_000
MOST_BYTES = 20_000_000_000
MOST_IN_ONE = 300_000_000
"""Most bytes of one row or one file: they are held in memory."""

DENSE, DENSE_FROM = 200, 100_000_000
"""A zip that grows more than so many times, and beyond so many bytes, is taken for a bomb; an export never does."""

_SPARE_BYTES = 100_000_000
_OF_THE_MOMENT = {"draft", "once_token"}
_UNREADABLE = (
    zipfile.BadZipFile,
    zlib.error,
    lzma.LZMAError,
    struct.error,
    EOFError,
    RuntimeError,
    ValueError,
    KeyError,
    OverflowError,
)
"""What the library raises of a zip that is broken: for its own acts only, so that a slip of ours is never one."""


class _Damaged(Exception):
    """The zip is not what was written."""


class _Misfit(Exception):
    """A row that the schema does not take: which, and why."""


@contextmanager
def _unzipping() -> Iterator[None]:
    """Round an act of the zip's library, and nothing else."""
    try:
        yield
    except _UNREADABLE as error:
        raise _Damaged from error
    except OSError as error:  # of a place that no file has, unless the disk is at fault
        if trouble_of(error) is not None:
            raise
        raise _Damaged from error


class Told(BaseModel):
    """What the manifest tells of a table."""

    rows: int
    sha256: str


class _Manifest(BaseModel):
    """What the zip tells of itself."""

    format: str
    format_version: int
    schema_: str = Field(alias="schema")
    tables: dict[str, Told]


def import_book(
    file: Path, book: Path, begin: Callable[[Engine], None], shapes: rows.Shapes | None = None
) -> Path | None:
    """Make the book of a zip; a new, empty book that stood there is kept beside it, and its path is given back.

    `begin` adds what every book begins with: a book with nothing else in it is new. `shapes` read stored figures.

    Raises
    ------
    Trouble
        The zip is damaged, too large, of a newer version, or no book; it holds values that no book can; or the book in
        place is not empty. Nothing was changed.
    """
    if not file.is_file():
        raise Trouble(f"There is no file {file}. Nothing was changed. Look at the name you typed.")
    if not _is_new(book, begin):
        raise Trouble(
            f"The book {book} is not empty, and nothing is mixed into it. Nothing was changed. Name another file with "
            "--book, or move that book away first."
        )
    unfinished = book.with_name(f"{book.name}.importing")
    with as_trouble():
        book.parent.mkdir(parents=True, exist_ok=True)
        bookfile.remove(unfinished)
        try:
            _make(file, unfinished, shapes)
            filestore.unload(unfinished, filestore.folder_of(book))
            bookfile.settle(unfinished)
            bookfile.inspect(unfinished)
            replaced = backups.keep_replaced(book)
            bookfile.put_in_place(unfinished, book)
        except Exception as error:
            if trouble_of(error) is not None:
                raise
            logbook.fault("making a book of a zip", error)
            raise Trouble(
                f"Grainbook itself failed as it read {file} ({type(error).__name__}), which need not be damaged. "
                f"Nothing was changed. The log, {logbook.log_of(book)}, says where it failed: please report it."
            ) from error
        finally:
            bookfile.remove(unfinished)
    return replaced


def _make(file: Path, unfinished: Path, shapes: rows.Shapes | None) -> None:
    try:
        with _opened(file) as zipped:
            _hold_to_limits(zipped, file, unfinished.parent)
            manifest = _manifest(zipped, file)
            upgrade(unfinished, to=manifest.schema_)
            _fill(zipped, manifest.tables, unfinished)
    except _Damaged as error:
        raise Trouble(f"{file} is damaged or was altered. The book is as it was. Use another copy of it.") from error
    except _Misfit as error:
        raise Trouble(_unbelieved(file, 1, str(error)), kind="rows") from error
    try:
        upgrade(unfinished)
    except Exception:
        _believe(file, unfinished, shapes)  # what a step stumbled over may be a value that cannot be
        raise
    _believe(file, unfinished, shapes)
    with bookfile.opened(unfinished, write=True) as connection:
        bookfile.bring_in(connection)


def _believe(file: Path, unfinished: Path, shapes: rows.Shapes | None) -> None:
    """Refuse a book with values that no Grainbook can have written."""
    with bookfile.opened(unfinished) as connection:
        found = list(rows.faults(connection, shapes))
    if found:
        raise Trouble(_unbelieved(file, len(found), rows.told(found)), kind="rows")


def _unbelieved(file: Path, count: int, which: str) -> str:
    values = f"{count} values" if count > 1 else "a value"
    return (
        f"{file} holds {values} that cannot stand where they stand, so no book was made of it and nothing was changed. "
        f"{which} Use another copy; or mend these in the book that it came from, and export it again."
    )


@contextmanager
def _opened(file: Path) -> Iterator[zipfile.ZipFile]:
    with _unzipping():
        zipped = zipfile.ZipFile(file)
    with zipped:
        yield zipped


def _is_new(book: Path, begin: Callable[[Engine], None]) -> bool:
    """Whether there is no book yet, or one with nothing in it but what every book begins with."""
    with as_trouble():
        if bookfile.blank(book):
            return True
        here = bookfile.inspect(book)
        if here.schema != bookfile.schemas()[-1]:
            return False
    with TemporaryDirectory() as folder:
        fresh = Path(folder) / "fresh.sqlite3"
        migrate(fresh)
        engine = open_engine(fresh)
        begin(engine)
        engine.dispose()
        new = bookfile.inspect(fresh).rows
    return all(here.rows[table] in (0, count) for table, count in new.items() if table not in _OF_THE_MOMENT)


# --- The zip ---------------------------------------------------------------------------------------------


def _hold_to_limits(zipped: zipfile.ZipFile, file: Path, folder: Path) -> None:
    entries = zipped.infolist()
    total = sum(entry.file_size for entry in entries)
    packed = file.stat().st_size
    if len({entry.filename for entry in entries}) != len(entries):
        raise _Damaged("two entries of one name")
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


def _manifest(zipped: zipfile.ZipFile, file: Path) -> _Manifest:
    found = _json(_whole(zipped, MANIFEST, 10_000_000)) if MANIFEST in zipped.namelist() else {}
    if not isinstance(found, dict) or found.get("format") != FORMAT:
        raise Trouble(
            f"{file} is not a whole book of Grainbook. Nothing was changed. Choose a zip that grainbook export wrote."
        )
    try:
        manifest = _Manifest.model_validate(found)
    except ValidationError as error:
        raise _Damaged from error
    schema = manifest.schema_
    if manifest.format_version != VERSION or (schema.isdecimal() and schema > bookfile.schemas()[-1]):
        raise Trouble(
            f"{file} was written by a newer Grainbook (format {manifest.format_version}, schema {schema}). Nothing was "
            "changed. Use the newer Grainbook."
        )
    if schema not in bookfile.schemas():
        raise _Damaged("no such step of the schema")
    return manifest


def _whole(zipped: zipfile.ZipFile, name: str, most: int) -> bytes:
    """An entry, read whole; never more than it said and than is allowed."""
    with _unzipping():
        size = zipped.getinfo(name).file_size
    if size > most:
        raise _Damaged("an entry is larger than anything in a book")
    with _unzipping():
        return zipped.read(name)


def _json(text: bytes) -> Any:
    try:
        return json.loads(text)
    except (ValueError, RecursionError) as error:
        raise _Damaged from error


# --- Rows ------------------------------------------------------------------------------------------------


def _fill(zipped: zipfile.ZipFile, tables: dict[str, Told], unfinished: Path) -> None:
    """Write the rows into a file that has the tables, without triggers and in one transaction; then prove it."""
    with closing(sqlite3.connect(unfinished, isolation_level=None)) as connection:
        here = set(bookfile.table_names(connection)) - NOT_A_TABLE
        if here != set(tables):
            raise _Damaged("other tables than the schema has")
        connection.execute("PRAGMA ignore_check_constraints=ON")  # such rows are named afterwards, all together
        connection.execute("BEGIN IMMEDIATE")
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f"DROP TRIGGER {bookfile.quoted(name)}")
        for table in sorted(here):
            connection.execute(f"DELETE FROM {bookfile.quoted(table)}")  # noqa: S608 (the schema's own names)
            fill_table(connection, zipped, table, tables[table])
        connection.execute("COMMIT")
        try:
            bookfile.prove(connection, unfinished)
        except Trouble as trouble:
            raise _Damaged("rows that point nowhere") from trouble


def fill_table(connection: sqlite3.Connection, zipped: zipfile.ZipFile, table: str, told: Told) -> None:
    """Put the rows of a table in; the table is there and empty.

    Raises
    ------
    _Damaged
        Rows or columns are not what the manifest and the schema say.
    """
    columns = [str(row[1]) for row in connection.execute(f"PRAGMA table_info({bookfile.quoted(table)})")]
    digest, count = hashlib.sha256(), 0
    for line in _lines(zipped, f"tables/{table}.jsonl"):
        digest.update(line)
        values = _json(line)
        if not isinstance(values, list):
            raise _Damaged("a row is a list")
        if count == 0:
            if not all(isinstance(name, str) for name in values) or sorted(values) != sorted(columns):
                raise _Damaged("other columns than the schema has")
            names = ", ".join(bookfile.quoted(name) for name in values)
        elif len(values) != len(columns):
            raise _Damaged("a row of another length")
        else:
            _insert(connection, table, names, [_value(zipped, value) for value in values], count)
        count += 1
    if count - 1 != told.rows or digest.hexdigest() != told.sha256:
        raise _Damaged("not the rows that were written")


def _lines(zipped: zipfile.ZipFile, name: str) -> Iterator[bytes]:
    with _unzipping():
        entry = zipped.open(name)
    with entry:
        while True:
            with _unzipping():
                line = entry.readline(MOST_IN_ONE)
            if not line:
                return
            if not line.endswith(b"\n"):
                raise _Damaged("a line without an end")
            yield line


def _insert(connection: sqlite3.Connection, table: str, names: str, values: list[tuple[Any, str]], line: int) -> None:
    marks = ", ".join(mark for _, mark in values)
    sql = f"INSERT INTO {bookfile.quoted(table)} ({names}) VALUES ({marks})"  # noqa: S608 (the schema's own names)
    try:
        connection.execute(sql, [value for value, _ in values])
    except (sqlite3.IntegrityError, sqlite3.DataError) as error:
        raise _Misfit(f"{words.noun(table).capitalize()}, line {line} of its table: {error}.") from error
    except (OverflowError, UnicodeEncodeError) as error:
        raise _Damaged from error  # a value that SQLite does not hold


def _value(zipped: zipfile.ZipFile, found: Any) -> tuple[Any, str]:
    """A value, and how SQL is given it."""
    match found:
        case None | str() | float():
            return found, "?"
        case int() if not isinstance(found, bool):
            return found, "?"
        case {"file": str(name), "sha256": str(digest)}:
            content = _whole(zipped, name, MOST_IN_ONE)
            if hashlib.sha256(content).hexdigest() != digest:
                raise _Damaged("not the file that was written")
            return content, "?"
        case {"text_hex": str(text)} if len(text) % 2 == 0 and set(text) <= set(string.hexdigits):
            return bytes.fromhex(text), "CAST(? AS TEXT)"
        case {"real": "inf" | "-inf" | "nan" as real}:
            return float(real), "?"
    raise _Damaged("no value of a book")
