# ruff: noqa: S608  (the names in these statements come from our own models)
"""Rows that cannot be read: found when a page stumbles, and hidden from every session until the book is mended.

What cannot stand in the file (`rows.faults`) is left out of each connection by a view of SQLite's own in the table's
place, and so is what hangs on it: rows that refer to it, and a whole that lacks a part (a formula without one of its
ingredients would be another formula). So every query sees the rest and no query sees junk, whatever asks. Writes go to
the table itself, never to a row that is left out. Of the settings, without which there is no page, only the value that
cannot be read is left out, and the one that every book begins with stands in its place.
"""

import json
import re
import sqlite3
from collections.abc import Iterable, Iterator
from pathlib import Path
from threading import Lock
from typing import Any

from sqlalchemy import Column, Engine, event
from sqlmodel import SQLModel

from app import logbook
from app.book import bookfile, rows
from app.book.record import CHAIN, COMPUTED
from app.book.rows import Fault, Shapes
from app.models import words

SETTINGS = "workshop"
NEVER = CHAIN | {"act_in_hand"}
"""Tables that are read as they stand, junk or not: the record is linked from them."""

APART = {"cast_step", "suspect_grain"}
"""Parts that the rest is read without: the page of a running session must not go for a step that cannot be read."""

MADE_AGAIN = COMPUTED | {"draft"}
"""What is written anew over a row that cannot be read."""

_WRITES = re.compile(r"(INSERT|UPDATE|DELETE)( INTO | FROM | )(\w+)\b")

Rows = dict[str, set[int]]


class LeftOut:
    """What is left out of an open book."""

    def __init__(self, book: Path) -> None:
        self.book = book
        self.faults: tuple[Fault, ...] = ()
        self.rows: Rows = {}
        self.version = 0
        self._lock = Lock()

    @property
    def count(self) -> int:
        """How many rows are left out."""
        return sum(map(len, self.rows.values()))

    def told(self) -> list[str]:
        """What a page says of it, in sentences: each of the first few, and how many more rows hang on them."""
        said = [str(fault) for fault in self.faults[: rows.TOLD]]
        named = {(fault.table, fault.row) for fault in self.faults[: rows.TOLD]}
        more = sum((table, row) not in named for table, ids in self.rows.items() for row in ids)
        return said + ([f"With them {more} more {'entries are' if more > 1 else 'entry is'} left out."] if more else [])

    def look(self, shapes: Shapes) -> bool:
        """Look through the book; whether something else is left out from now on."""
        with self._lock:
            with bookfile.opened(self.book) as connection:
                connection.execute("BEGIN")
                found = tuple(f for f in rows.faults(connection, shapes, files=False) if f.table not in NEVER)
                hidden = _hanging(connection, found)
            if found == self.faults:
                return False
            self.faults, self.rows, self.version = found, hidden, self.version + 1
        for fault in found[: rows.TOLD]:
            logbook.note(f"A row could not be read: {fault.table} {fault.row}, {fault.column}.")
        return True

    def hide(self, connection: sqlite3.Connection) -> None:
        """Put what is left out now out of a connection's sight."""
        kept = connection.execute("SELECT type, name FROM sqlite_temp_master ORDER BY type DESC")
        for kind, name in [(kind, name) for kind, name in kept if kind in ("view", "trigger", "table")]:
            connection.execute(f"DROP {kind} temp.{bookfile.quoted(name)}")
        connection.execute("PRAGMA temp_store=MEMORY")
        connection.execute("CREATE TEMP TABLE left_out (home, row, PRIMARY KEY (home, row)) WITHOUT ROWID")
        every = ((table, row) for table, ids in self.rows.items() for row in ids)
        connection.executemany("INSERT INTO left_out VALUES (?, ?)", every)
        for table in self.rows:
            out = f"IN (SELECT row FROM temp.left_out WHERE home = '{table}')"
            also = "rowid, " if table == "once_token" else ""  # the gate asks in which order forms were saved
            connection.execute(f"CREATE TEMP VIEW {table} AS SELECT {also}* FROM main.{table} WHERE rowid NOT {out}")
            for act in ("UPDATE", "DELETE"):
                connection.execute(
                    f"CREATE TEMP TRIGGER left_{act}_{table} BEFORE {act} ON main.{table} WHEN OLD.rowid {out} BEGIN "
                    "SELECT RAISE(ABORT, 'a row that cannot be read is not written on'); END"
                )
        if bad := {fault.column for fault in self.faults if fault.table == SETTINGS}:
            columns = SQLModel.metadata.tables[SETTINGS].columns
            values = ", ".join(f"{_begun(c)} AS {c.name}" if c.name in bad else c.name for c in columns)
            connection.execute(f"CREATE TEMP VIEW {SETTINGS} AS SELECT {values} FROM main.{SETTINGS}")


def of(engine: Engine) -> LeftOut:
    """What is left out of the book that an engine is on."""
    found = engine.get_execution_options()["left_out"]
    assert isinstance(found, LeftOut)
    return found


def install(engine: Engine) -> None:
    """Let an engine's connections see what is left out, and write past the views."""
    left = of(engine)

    @event.listens_for(engine, "checkout")
    def hide(connection: sqlite3.Connection, record: Any, _proxy: Any) -> None:
        if record.info.get("left_out", 0) != left.version:
            version = left.version
            left.hide(connection)
            record.info["left_out"] = version

    @event.listens_for(engine, "before_cursor_execute", retval=True)
    def past(_c: Any, _cursor: Any, statement: str, parameters: Any, _context: Any, _many: bool) -> tuple[str, Any]:
        found = _WRITES.match(statement) if left.version else None
        if found is None or not (found[3] in left.rows or found[3] == SETTINGS):
            return statement, parameters
        act = "INSERT OR REPLACE" if found[1] == "INSERT" and found[3] in MADE_AGAIN else found[1]
        return f"{act}{found[2]}main.{found[3]}{statement[found.end() :]}", parameters


# --- What hangs on what ------------------------------------------------------------------------------------


def _hanging(connection: sqlite3.Connection, found: Iterable[Fault]) -> Rows:
    """The rows that cannot be read, those that refer to them and those that they are a part of, by table."""
    hidden: Rows = {}
    fresh = {(fault.table, fault.row) for fault in found if fault.table != SETTINGS}
    while fresh:
        step: dict[str, set[int]] = {}
        for table, row in fresh:
            step.setdefault(table, set()).add(row)
            hidden.setdefault(table, set()).add(row)
        more = {pair for table, ids in step.items() for pair in _next(connection, table, ids)}
        fresh = {(table, row) for table, row in more if row not in hidden.get(table, ())}
    return hidden


def _next(connection: sqlite3.Connection, table: str, ids: set[int]) -> Iterator[tuple[str, int]]:
    """What one step further from these rows is left out too."""
    listed = (json.dumps(sorted(ids)),)
    for child in SQLModel.metadata.tables.values():
        for column in child.columns:
            if child.name not in NEVER and any(key.column.table.name == table for key in column.foreign_keys):
                sql = f"SELECT rowid FROM {child.name} WHERE {column.name} IN (SELECT value FROM json_each(?))"
                yield from ((child.name, row) for (row,) in connection.execute(sql, listed))
    for owner, whole in _part_of(table):
        sql = (
            f"SELECT {owner} FROM {table} WHERE rowid IN (SELECT value FROM json_each(?)) "
            f"AND typeof({owner}) = 'integer'"
        )
        yield from ((whole, row) for (row,) in connection.execute(sql, listed))


def _part_of(table: str) -> Iterator[tuple[str, str]]:
    """The wholes that a table's rows are parts of: the column that names it, and its table."""
    if table in APART:
        return
    for whole, mapper in words.mappers().items():
        for parts in mapper.relationships:
            if parts.mapper is words.mappers()[table]:
                yield from ((str(column.name), whole) for column in parts.remote_side)


def _begun(column: Column[Any]) -> str:
    """What stands in a new book in a column of the settings, as SQL."""
    value = getattr(column.default, "arg", None)
    match value:
        case None:
            return "1" if column.name == "version" else "NULL"
        case bool():
            return str(int(value))
        case int() | float():
            return repr(value)
        case str():
            return "'" + value.replace("'", "''") + "'"
    return "'2000-01-01 00:00:00.000000'" if column.name == "created_at" else "1"
