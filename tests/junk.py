"""Values that no Grainbook writes, put into a file behind its back, as another program or a dying disk does it."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import NamedTuple

from sqlalchemy import Boolean, Column, Date, DateTime, Float, Integer, LargeBinary
from sqlmodel import SQLModel

from app.book import column_rules
from app.models.base import Utc
from app.stored_shapes import shapes

Value = int | float | str | bytes
NOT_UTF_8 = b"caf\xe9 \xff\xfe"


class Junk(NamedTuple):
    """One value in one column."""

    table: str
    column: str
    kind: str
    value: Value

    def __str__(self) -> str:
        return f"{self.table}.{self.column}: {self.kind}"


def kinds(table: str, column: Column[object]) -> dict[str, Value]:
    """What cannot stand in a column, by kind."""
    match column.type:
        case Boolean():
            return {"text for yes": "abc", "seven for yes": 7}
        case Integer() if column.foreign_keys:
            return {"text for a row": "abc", "a row that is not there": 987_654_321}
        case Integer():
            said: dict[str, Value] = {"text in a number": "abc", "half a number": 1.5}
            return said | ({} if column.name in ("version", "row_id") else {"a number too large": 2**62})
        case Float():
            return {"text in a number": "abc", "1e308": 1e308, "no end": float("inf"), "bytes": b"\x00\x01"}
        case Date() | Utc() | DateTime():
            return {"not a date": "not a date", "no such day": "2026-02-30", "the year 0": "0000-01-01", "a number": 5}
        case LargeBinary():
            return {"text for bytes": "abc", "other bytes": b"nothing that was sent"}
    found: dict[str, Value] = {"bad UTF-8": NOT_UTF_8, "bytes": b"\x00\x01"}
    if column.name.endswith("_json"):
        found |= {"half a text": '{"a": [1, 2', "no end": '{"a": 1e999}'}
        found |= {"another shape": "17"} if (table, column.name) in shapes() else {}
    elif column_rules._choices(table, column) is not None or "made_of" in column.info:
        found |= {"unknown": "un/obtain ium"}
    return found


def every(but: tuple[str, ...] = ()) -> Iterator[Junk]:
    """Every kind of junk in every column of every table, but for identities."""
    for table in SQLModel.metadata.sorted_tables:
        for column in table.columns:
            if not column.primary_key and table.name not in but:
                for kind, value in kinds(table.name, column).items():
                    yield Junk(table.name, column.name, kind, value)


@contextmanager
def behind(book: Path) -> Iterator[sqlite3.Connection]:
    """A connection that no rule and no trigger holds; what it did stays, the triggers too."""
    with closing(sqlite3.connect(book, isolation_level=None)) as connection:
        connection.execute("PRAGMA ignore_check_constraints=ON")
        connection.execute("BEGIN IMMEDIATE")
        triggers = connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _ in triggers:
            connection.execute(f"DROP TRIGGER {name}")
        yield connection
        for _, sql in triggers:
            connection.execute(sql)
        connection.execute("COMMIT")


def put(connection: sqlite3.Connection, junk: Junk, where: str = "rowid = (SELECT min(rowid) FROM {table})") -> int:
    """Put it into rows of its table; how many those were."""
    mark = "CAST(? AS TEXT)" if junk.kind == "bad UTF-8" else "?"
    sql = f"UPDATE {junk.table} SET {junk.column} = {mark} WHERE {where.format(table=junk.table)}"
    return connection.execute(sql, (junk.value,)).rowcount
