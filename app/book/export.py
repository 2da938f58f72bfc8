"""The whole book as a zip that other programs can read: JSON to be read back exactly, CSV for people, files as files.

Each table is one file of JSON lines: first the names of its columns, then a row a line, in the order of the book. A
value is null, a whole number, a number with all its figures, a text, or an object for what JSON has no word for:
`{"file": …, "bytes": …, "sha256": …}` for bytes, which lie in the zip as a file of their own, `{"real": "inf"}` for a
number without an end, `{"text_hex": …}` for a text that is no UTF-8. `app.book.import_zip` reads it all back.
"""

import hashlib
import importlib.metadata
import json
import math
import sqlite3
import zipfile
import zlib
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any

from app import clock, system, tables
from app.book import bookfile, filestore
from app.book.values import NotText, as_text
from app.errors import Trouble
from app.troubles import DAMAGED, as_trouble

FORMAT, VERSION = "grainbook whole book", 1
MANIFEST = "manifest.json"
NOT_A_TABLE = {"alembic_version"}
"""The step of the schema; it is told in the manifest."""

DENSE = 100
"""What shrinks more than so many times is stored as it is, so that no export looks like a zip bomb."""

README = """This is a whole book of Grainbook: every row of every table, and every file in it.

manifest.json        what this is, the step of the schema ("schema"), and for each table its columns, the number of
                     its rows and the SHA-256 of its JSON file
tables/NAME.jsonl    a table, exactly: one JSON array a line; the first line names the columns, each further line is a
                     row. Moments are UTC; masses kg, lengths m, pressures Pa, temperatures K, times s, as the ending
                     of the column's name says; a column ending in _typed holds what the person typed.
                     {"file": ...} stands for bytes that are in the zip under that name, {"real": "inf"} for a number
                     without an end, {"text_hex": ...} for a text that is not UTF-8.
csv/NAME.csv         the same for a spreadsheet: text that a spreadsheet would run as a formula has an apostrophe
                     before it. Grainbook does not read these back.
files/NAME/...       what was stored as bytes: files of loggers, pictures. Each is there once, and is named by its
                     SHA-256 in tables/carried_file.jsonl and in the rows that it belongs to.

To make a book of it again:  grainbook import FILE.zip
"""


Rows = Callable[[], Iterator[tuple[Any, ...]]]


def write(book: Path, target: Path) -> set[str]:
    """Write the whole book to a zip, as it is at one moment; the zip appears only when it is finished and on disk.

    Given back are the files that were not found whole and are not in it, by their SHA-256.

    Raises
    ------
    Trouble
        The book is damaged or the disk is full; nothing is left.
    """
    unfinished = target.with_name(target.name + ".unfinished")
    with as_trouble():
        try:
            with bookfile.opened(book) as connection, zipfile.ZipFile(unfinished, "w", zipfile.ZIP_DEFLATED) as out:
                connection.text_factory = as_text
                connection.execute("BEGIN")
                lost = _write(connection, book, out)
            system.swap_in(unfinished, target)
        finally:
            unfinished.unlink(missing_ok=True)
    return lost


def _write(connection: sqlite3.Connection, book: Path, out: zipfile.ZipFile) -> set[str]:
    schema = bookfile.schema_of(connection, book)
    out.writestr("README.txt", README)
    told = {}
    lost = filestore.needed(connection).keys() - {digest for digest, _ in _files(connection, book)}
    for table in bookfile.table_names(connection):
        if table not in NOT_A_TABLE:
            rows = partial(_files, connection, book) if table == filestore.CARRIED else None
            told[table] = _write_table(connection, table, out, rows)
    manifest = {
        "format": FORMAT,
        "format_version": VERSION,
        "schema": schema,
        "program": importlib.metadata.version("grainbook"),
        "made_at": clock.now().isoformat(timespec="seconds"),
        "tables": told,
    }
    out.writestr(MANIFEST, json.dumps(manifest, indent=1))
    return lost


def _files(connection: sqlite3.Connection, book: Path) -> Iterator[tuple[Any, ...]]:
    """The files of the book as rows of the table that carries them in a copy that travels alone."""
    return filestore.contents(connection, filestore.around(book))


def _write_table(
    connection: sqlite3.Connection, table: str, out: zipfile.ZipFile, rows: Rows | None = None
) -> dict[str, Any]:
    """One table, three times: exactly, for people, and its bytes as files; what the manifest tells of it."""
    rows = rows or partial(_rows, connection, table)
    columns = [str(row[1]) for row in connection.execute(f"PRAGMA table_info({bookfile.quoted(table)})")]
    digest, count, files = hashlib.sha256(), 0, False
    with out.open(f"tables/{table}.jsonl", "w", force_zip64=True) as lines:
        for line in _lines(rows, table, columns):
            digest.update(line)
            lines.write(line)
    for number, row in enumerate(rows(), start=1):
        count = number
        for column, value in zip(columns, row, strict=True):
            if isinstance(value, bytes):
                files = True
                _write_file(out, file_name(table, number, column, value), value)
    cells = (
        [_cell(table, number, column, value) for column, value in zip(columns, row, strict=True)]
        for number, row in enumerate(rows(), start=1)
    )
    with out.open(f"csv/{table}.csv", "w", force_zip64=True) as sheet:
        for piece in tables.as_csv(columns, cells):
            sheet.write(piece)
    return {"columns": columns, "rows": count, "sha256": digest.hexdigest(), "files": files}


def _lines(rows: Rows, table: str, columns: list[str]) -> Iterator[bytes]:
    yield _line(columns)
    for number, row in enumerate(rows(), start=1):
        yield _line([as_json(table, number, column, value) for column, value in zip(columns, row, strict=True)])


def _line(values: list[Any]) -> bytes:
    return json.dumps(values, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode() + b"\n"


def _rows(connection: sqlite3.Connection, table: str) -> Iterator[tuple[Any, ...]]:
    try:
        yield from connection.execute(f"SELECT * FROM {bookfile.quoted(table)} ORDER BY rowid")  # noqa: S608
    except sqlite3.DatabaseError as error:
        if "malformed" in str(error):
            raise Trouble(DAMAGED, kind="damaged") from error
        raise


def _write_file(out: zipfile.ZipFile, name: str, value: bytes) -> None:
    dense = len(value) > DENSE * (len(zlib.compress(value, 1)) + 1)
    out.writestr(name, value, zipfile.ZIP_STORED if dense else zipfile.ZIP_DEFLATED)


def as_json(table: str, number: int, column: str, value: Any) -> Any:
    """A value of the book as JSON says it; the number is the row's place in its table, from 1."""
    if isinstance(value, bytes):
        name = file_name(table, number, column, value)
        return {"file": name, "bytes": len(value), "sha256": hashlib.sha256(value).hexdigest()}
    if isinstance(value, NotText):
        return {"text_hex": value.raw.hex()}
    if isinstance(value, float) and not math.isfinite(value):
        return {"real": repr(value)}
    return value


def file_name(table: str, number: int, column: str, value: bytes) -> str:
    """The name of a file in the zip: made of its place in the book and what it looks like, of nothing typed."""
    return f"files/{table}/{number}-{column}.{_kind(value)}"


def _kind(value: bytes) -> str:
    if value.startswith(b"\x89PNG\r\n\x1a\n"):
        return "png"
    if value.startswith(b"\xff\xd8\xff"):
        return "jpg"
    if value[:4] == b"RIFF" and value[8:12] == b"WEBP":
        return "webp"
    return "bin" if b"\x00" in value[:1000] else "txt"


def _cell(table: str, number: int, column: str, value: Any) -> tables.Cell:
    if isinstance(value, bytes):
        return file_name(table, number, column, value)
    return value.raw.hex() if isinstance(value, NotText) else value
