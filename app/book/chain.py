"""The record of changes as a chain of hashes, and the hash of each row as its last act left it.

Triggers cannot hash, so the program makes both, in the act's own transaction, right before its commit
(`app.db.writing`). What another program wrote has a change without a link: it is linked as such before the next act.

A **link** is the SHA-256, in hex, of one line of JSON: a list of the link before it ("" before the first), the number
of the save, 1 where another program wrote and 0 where Grainbook did, and then the change's columns in the order of
`LINKED`. A row's **digest** is that of a list of the table's name and its columns' values in the order of the
alphabet, without `version`, which counts saves and is no value. The JSON is ASCII with no blanks; a whole number has no
point, a real number always one or an exponent, with as many digits as give the same number back (Python's `repr`), so
that 1, 1.0 and "1" are three things; bytes are `{"bytes": their number, "sha256": their hash}`, and a text that is no
UTF-8 is `{"text_hex": its bytes}`.

What it finds: a figure that changed by itself, a change or row that was edited or went without the record. What it does
not: whoever can write the file and knows this can make all links anew; only the mark outside (`app.book.mark`) and
copies kept elsewhere speak against it then.
"""

import hashlib
import json
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection

from app.book import bookfile
from app.book.record import NOT_RECORDED
from app.book.values import NotText, as_they_stand

LINKED = (
    "id",
    "at",
    "who",
    "device",
    "why",
    "what",
    "table_name",
    "row_id",
    "column_name",
    "before",
    "before_typed",
    "after",
    "after_typed",
)
"""The columns of a change that its link holds, in this order."""

NO_VALUE = {"version"}
LINKS, DIGESTS = "change_link", "row_digest"


@dataclass(frozen=True)
class Head:
    """The last link of a book: the number of its change, the number of the save, the link, the change's moment."""

    change_id: int
    save: int
    link: str
    at: str


@dataclass(frozen=True)
class Misfit:
    """A place where the record does not fit its chain: what is wrong there, and the change as it stands now."""

    change_id: int
    wrong: str
    change: dict[str, Any] | None = None


@dataclass(frozen=True)
class Stray:
    """A row that is not as its last act left it: what is wrong, and its values now; none where it is gone."""

    table: str
    row_id: int
    wrong: str
    values: dict[str, Any] | None = None


# --- The canonical form ----------------------------------------------------------------------------------


def _no_json(value: object) -> dict[str, Any]:
    if isinstance(value, NotText):
        return {"text_hex": value.raw.hex()}
    assert isinstance(value, bytes), "SQLite knows no other kind"
    return {"bytes": len(value), "sha256": hashlib.sha256(value).hexdigest()}


_encode = json.JSONEncoder(separators=(",", ":"), default=_no_json).encode


def _hash(values: Iterable[Any]) -> str:
    return hashlib.sha256(_encode([*values]).encode("ascii")).hexdigest()


def link_of(before: str, save: int, outside: int, change: Sequence[Any]) -> str:
    """The link of a change, its columns in the order of `LINKED`, behind the link before it."""
    return _hash((before, save, outside, *change))


def digest_of(table: str, values: Sequence[Any]) -> str:
    """The digest of a row, its values in the alphabetic order of `columns_of`."""
    return _hash((table, *values))


def columns_of(connection: sqlite3.Connection, table: str) -> list[str]:
    """The columns of a table that its rows' digests hold, in that order."""
    found = [str(row[1]) for row in connection.execute(f"PRAGMA main.table_info({bookfile.quoted(table)})")]
    return sorted(set(found) - NO_VALUE)


def recorded(connection: sqlite3.Connection) -> list[str]:
    """The tables of a file whose changes are recorded."""
    left_out = NOT_RECORDED | {"alembic_version"}
    return [table for table in bookfile.table_names(connection) if table not in left_out]


def has_chain(connection: sqlite3.Connection) -> bool:
    """Whether a book's schema knows the chain."""
    return {LINKS, DIGESTS} <= set(bookfile.table_names(connection))


# --- Making it -------------------------------------------------------------------------------------------


def head(connection: sqlite3.Connection) -> Head | None:
    """The last link, if there is one."""
    with as_they_stand(connection):
        row = connection.execute(
            "SELECT l.change_id, l.save, l.link, c.at FROM change_link l LEFT JOIN main.change c "
            "ON c.id = l.change_id ORDER BY l.change_id DESC LIMIT 1"
        ).fetchone()
    if row is None:
        return None
    number, save, link, at = row
    return Head(number, save if isinstance(save, int) else number, _word(link), _word(at or ""))


def _word(found: Any) -> str:
    """A text of the file, also one that is none any more: a flipped bit must not stop the next save."""
    return found if isinstance(found, str) else _encode(found)


def plain(connection: Connection) -> sqlite3.Connection:
    """The driver's own connection under SQLAlchemy's, in the same transaction: values as they stand, and quickly."""
    found = connection.connection.driver_connection
    assert isinstance(found, sqlite3.Connection)
    return found


def extend(connection: sqlite3.Connection, *, outside: bool = False) -> Head | None:
    """Link every change behind the last link, and make the digests of the rows they touched anew.

    All of them are one save. `outside` says that another program wrote them. Gives the new head; nothing where there
    was nothing to link.
    """
    last = head(connection)
    with as_they_stand(connection):
        changes = connection.execute(_changes("id > ?"), (last.change_id if last else 0,)).fetchall()
        if not changes:
            return None
        _seal(connection, _touched(changes))
        _link(connection, changes, last, outside)
    return head(connection)


def renew(connection: sqlite3.Connection) -> None:
    """Link what has no link yet, and make all digests anew: after a step of the schema, with the guards off."""
    last = head(connection)
    with as_they_stand(connection):
        _link(connection, connection.execute(_changes("id > ?"), (last.change_id if last else 0,)), last, False)
        connection.execute(f"DELETE FROM {DIGESTS}")  # noqa: S608 (our own name)
        for table in recorded(connection):
            names = columns_of(connection, table)
            rows = connection.execute(f"SELECT id, {_list(names)} FROM main.{bookfile.quoted(table)}")  # noqa: S608
            connection.executemany(
                "INSERT INTO row_digest (table_name, row_id, digest) VALUES (?, ?, ?)",
                ((table, row[0], digest_of(table, row[1:])) for row in rows),
            )


def _changes(where: str) -> str:
    return f"SELECT {', '.join(LINKED)} FROM main.change WHERE {where} ORDER BY id"  # noqa: S608 (our own names)


def _list(names: Iterable[str]) -> str:
    return ", ".join(bookfile.quoted(name) for name in names)


def _link(connection: sqlite3.Connection, changes: Iterable[Sequence[Any]], last: Head | None, outside: bool) -> None:
    save = last.save + 1 if last else 1

    def links() -> Iterator[tuple[Any, ...]]:
        link = last.link if last else ""
        for change in changes:
            link = link_of(link, save, int(outside), change)
            yield change[0], save, int(outside), link

    connection.executemany("INSERT INTO change_link (change_id, save, outside, link) VALUES (?, ?, ?, ?)", links())


def _touched(changes: Iterable[Sequence[Any]]) -> list[tuple[str, int]]:
    """The rows that changes are about, each once; a row whose number changed under both of its numbers."""
    found: dict[tuple[str, int], None] = {}
    for change in changes:
        told = dict(zip(LINKED, change, strict=True))
        found[told["table_name"], told["row_id"]] = None
        if told["column_name"] == "id" and str(told["after"]).lstrip("-").isdecimal():
            found[told["table_name"], int(told["after"])] = None
    return list(found)


def _seal(connection: sqlite3.Connection, touched: list[tuple[str, int]]) -> None:
    """Make the digests of these rows anew; a row that went has none. The guards let it only before the links."""
    known, select = set(recorded(connection)), dict[str, str]()
    for table, row_id in touched:
        if table not in known:  # written into the record by hand
            continue
        if table not in select:
            names = _list(columns_of(connection, table))
            select[table] = f"SELECT {names} FROM main.{bookfile.quoted(table)} WHERE id = ?"  # noqa: S608 (its own names)
        row = connection.execute(select[table], (row_id,)).fetchone()
        key = (table, row_id)
        if row is None:
            connection.execute("DELETE FROM row_digest WHERE table_name = ? AND row_id = ?", key)
            continue
        told = (digest_of(table, row), *key)
        done = connection.execute("UPDATE row_digest SET digest = ? WHERE table_name = ? AND row_id = ?", told)
        if not done.rowcount:
            connection.execute("INSERT INTO row_digest (digest, table_name, row_id) VALUES (?, ?, ?)", told)


# --- Looking through it ----------------------------------------------------------------------------------


def misfits(connection: sqlite3.Connection, newest: int | None = None) -> Iterator[Misfit]:
    """Where the record does not fit its chain, oldest first; of the newest so many links, or of all.

    Each link is held to the one before it as that stands in the book, so that one slip is told at its own place.
    """
    after = 0
    if newest is not None:
        last = connection.execute("SELECT coalesce(max(change_id), 0) FROM change_link").fetchone()[0]
        after = max(0, last - newest)
    sql = (
        f"SELECT l.change_id, l.save, l.outside, l.link, {', '.join(f'c.{name}' for name in LINKED)} "  # noqa: S608
        "FROM change_link l LEFT JOIN main.change c ON c.id = l.change_id WHERE l.change_id > ? ORDER BY l.change_id"
    )
    with as_they_stand(connection):
        row = connection.execute(
            "SELECT link FROM change_link WHERE change_id <= ? ORDER BY change_id DESC LIMIT 1", (after,)
        ).fetchone()
        before, previous = (_word(row[0]) if row else ""), after if row else 0
        for number, save, outside, link, *change in connection.execute(sql, (after,)):
            told = dict(zip(LINKED, change, strict=True))
            if change[0] is None:
                yield Misfit(number, "the change itself is gone")
            elif link != link_of(before, save, outside, change):
                gone = number - previous - 1
                lost = f"; {gone} before it {'is' if gone == 1 else 'are'} missing" if gone > 0 and previous else ""
                yield Misfit(number, f"it is not as it was written{lost}", told)
            before, previous = _word(link), number
        if newest is None:
            between = _changes("id NOT IN (SELECT change_id FROM change_link) AND id < ?")
            for change in connection.execute(between, (previous,)):
                told = dict(zip(LINKED, change, strict=True))
                yield Misfit(told["id"], "it was put in between others later", told)


def unlinked(connection: sqlite3.Connection) -> int:
    """How many changes stand behind the last link: what another program wrote since Grainbook's last save."""
    sql = "SELECT count(*) FROM main.change WHERE id > (SELECT coalesce(max(change_id), 0) FROM change_link)"
    return int(connection.execute(sql).fetchone()[0])


def strays(connection: sqlite3.Connection, table: str) -> Iterator[Stray]:
    """The rows of a table that are not as their last act left them.

    Those that another program wrote with the record, and that no save of Grainbook has come upon yet, are none.
    """
    names, name = columns_of(connection, table), bookfile.quoted(table)
    waits = (
        "EXISTS (SELECT 1 FROM change c WHERE c.table_name = ? AND c.row_id = {} AND c.id > "
        "(SELECT coalesce(max(change_id), 0) FROM change_link))"
    )
    with as_they_stand(connection):
        rows = connection.execute(
            f"SELECT d.digest, t.id, {', '.join(f't.{bookfile.quoted(n)}' for n in names)} FROM {name} t "  # noqa: S608
            "LEFT JOIN row_digest d ON d.table_name = ? AND d.row_id = t.id ORDER BY t.id",
            (table,),
        )
        for digest, row_id, *values in rows:
            if digest == digest_of(table, values):
                continue
            if connection.execute(f"SELECT {waits.format('?')}", (table, row_id)).fetchone()[0]:
                continue
            wrong = "it came past the record" if digest is None else "it is not as its last act left it"
            yield Stray(table, row_id, wrong, dict(zip(names, values, strict=True)))
        gone = (
            f"SELECT d.row_id FROM row_digest d WHERE d.table_name = ? AND NOT EXISTS "  # noqa: S608
            f"(SELECT 1 FROM {name} t WHERE t.id = d.row_id) AND NOT {waits.format('d.row_id')} ORDER BY d.row_id"
        )
        for (row_id,) in connection.execute(gone, (table, table)):
            yield Stray(table, row_id, "it went past the record")


def last_act(connection: sqlite3.Connection, table: str, row_id: int) -> tuple[str, str, str] | None:
    """What the record says last of a row: when, who, and what was done."""
    sql = "SELECT at, who, what FROM change WHERE table_name = ? AND row_id = ? ORDER BY id DESC LIMIT 1"
    found = connection.execute(sql, (table, row_id)).fetchone()
    return None if found is None else (str(found[0]), str(found[1]), str(found[2]))
