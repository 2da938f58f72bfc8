"""Every row held against its model: what cannot stand where it stands, named by table, row and column.

SQL goes through each table once and keeps the rows that are sound beyond doubt; only the others are looked at in Python
(`column_rules`). Files of older schemas are read as far as their columns go.
"""

import hashlib
import re
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from sqlalchemy import CheckConstraint, Column, Table
from sqlmodel import SQLModel

import app.models  # noqa: F401  (fills the metadata)
from app.book import bookfile
from app.book.column_rules import Rule, Shape, rule_of, stands
from app.book.values import as_they_stand
from app.models import words

TOLD = 5
"""So many faults are told one by one; of more, their number."""

_NAMES = ("serial", "code", "mark", "name")

Shapes = Mapping[tuple[str, str], Shape]
"""How stored figures are read, by table and column."""


@dataclass(frozen=True)
class Fault:
    """A value that cannot stand where it stands: what is there, and what was expected."""

    table: str
    row: int
    column: str
    value: str
    why: str
    name: str = ""

    def __str__(self) -> str:
        """The sentence that a person is told."""
        noun = words.noun(self.table).capitalize()
        called = f"{noun} “{self.name}” (row {self.row})" if self.name else f"{noun}, row {self.row}"
        label = words.label(self.table, self.column) if self.column else "the row"
        return f"{called}, “{label}”: {self.value} stands there; expected was {self.why}."


def told(faults: Iterable[Fault]) -> str:
    """Faults in sentences: the first few, and how many more."""
    every = list(faults)
    rest = len(every) - TOLD
    return " ".join([*map(str, every[:TOLD]), *([f"And {rest} more."] if rest > 0 else [])])


def faults(
    connection: sqlite3.Connection,
    shapes: Shapes | None = None,
    *,
    files: bool = True,
    references: bool = True,
    only: str = "",
) -> Iterator[Fault]:
    """What in a book cannot stand where it stands, table by table.

    `files` hashes every stored file too; `references` looks for rows that point to none; `only` is for one table.
    """
    with as_they_stand(connection):
        there = set(bookfile.table_names(connection))
        for table in SQLModel.metadata.sorted_tables:
            if table.name in there and only in ("", table.name):
                found = list(of_table(connection, table, shapes or {}))
                yield from found
                if references:
                    known = {(fault.row, fault.column) for fault in found}
                    yield from (f for f in _points_nowhere(connection, table) if (f.row, f.column) not in known)
                if files and {"raw", "sha256"} <= _standing(connection, table.name):
                    yield from _altered(connection, table.name)


def _standing(connection: sqlite3.Connection, table: str) -> set[str]:
    """The columns of a table in the file, which may be of an older schema."""
    return {str(row[1]) for row in connection.execute(f"PRAGMA table_info({bookfile.quoted(table)})")}


def of_table(connection: sqlite3.Connection, table: Table, shapes: Shapes) -> Iterator[Fault]:
    """The values of one table that cannot be, for a connection that reads values as they stand."""
    home, standing = bookfile.quoted(table.name), _standing(connection, table.name)
    columns = [column for column in table.columns if column.name in standing]
    rules = {column.name: _rule(table, column, shapes) for column in columns}
    checks = [check for check in _checks(table) if set(_named(table, check)) <= standing]
    sound = [rule.sieve.format(c=bookfile.quoted(name)) for name, rule in rules.items()]
    sound += [f"coalesce(({check}), 1)" for check in checks]
    wanted = ["rowid", *(_small(column) for column in columns), *(f"coalesce(({check}), 1)" for check in checks)]
    sql = f"SELECT {', '.join(wanted)} FROM {home} WHERE NOT coalesce({' AND '.join(sound)}, 0)"  # noqa: S608
    bad: set[tuple[int, str]] = set()
    for row_id, *found in connection.execute(sql):
        values = dict(zip(rules, found, strict=False))
        told = _name(values)
        for name, rule in rules.items():
            if (why := rule.refuse(values[name])) is not None:
                bad.add((row_id, name))
                yield Fault(table.name, row_id, name, stands(values[name]), why, told)
        for check, holds in zip(checks, found[len(rules) :], strict=True):
            named = _named(table, check)
            if not holds and not any((row_id, name) in bad for name in named):
                column = named[0] if named else ""
                yield Fault(table.name, row_id, column, stands(values.get(column)), f"what fits “{check}”", told)


def _rule(table: Table, column: Column[Any], shapes: Shapes) -> Rule:
    shape = shapes.get((table.name, column.name))
    return rule_of(table.name, column, shape) if shape is not None else _kept(table.name, column)


@cache
def _kept(table: str, column: Column[Any]) -> Rule:
    return rule_of(table, column)


def _small(column: Column[Any]) -> str:
    """A column as it is read: of bytes only the first."""
    name = bookfile.quoted(column.name)
    return f"CASE typeof({name}) WHEN 'blob' THEN substr({name}, 1, 16) ELSE {name} END"


def _checks(table: Table) -> list[str]:
    found = [c for c in table.constraints if isinstance(c, CheckConstraint)]
    return [str(check.sqltext) for check in sorted(found, key=lambda check: str(check.name))]


def _named(table: Table, check: str) -> list[str]:
    """The columns that a rule of the table speaks of, in its order."""
    names = re.findall(r"[a-z_0-9]+", re.sub(r"'[^']*'", "", check))
    return [name for name in dict.fromkeys(names) if name in table.columns]


def _name(values: Mapping[str, Any]) -> str:
    return next((text[:40] for key in _NAMES if isinstance(text := values.get(key), str) and text), "")


def _points_nowhere(connection: sqlite3.Connection, table: Table) -> Iterator[Fault]:
    """The rows of a table that refer to a row that is not there."""
    home = bookfile.quoted(table.name)
    found = connection.execute(f"PRAGMA foreign_key_check({home})").fetchall()
    columns = {row[0]: str(row[3]) for row in connection.execute(f"PRAGMA foreign_key_list({home})")}
    for _, row_id, parent, key in found:
        sql = f"SELECT {bookfile.quoted(columns[key])} FROM {home} WHERE rowid = ?"  # noqa: S608 (the schema's names)
        value = connection.execute(sql, (row_id,)).fetchone()[0]
        expected = f"the number of a row that is in the book ({words.noun(str(parent))})"
        yield Fault(table.name, int(row_id), columns[key], stands(value), expected)


def _altered(connection: sqlite3.Connection, table: str) -> Iterator[Fault]:
    """The stored files that are not the bytes that came."""
    home = bookfile.quoted(table)
    named = "name" if "name" in _standing(connection, table) else "NULL"
    for row_id, name, sha256, raw in connection.execute(f"SELECT rowid, {named}, sha256, raw FROM {home}"):  # noqa: S608
        if isinstance(raw, bytes) and hashlib.sha256(raw).hexdigest() != sha256:
            called = name[:40] if isinstance(name, str) else ""
            yield Fault(
                table, row_id, "raw", f"a file of {len(raw)} bytes", "the file whose hash stands beside it", called
            )
