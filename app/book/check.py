"""Everything that can be asked of a book's file without knowing what happened: one function a question.

`QUESTIONS` lists them with their words. Each is given the `Look` at one moment of the file and tells what it finds; it
knows nothing of the others, and where the file cannot be read as far as that, the question itself is a finding.
"""

import json
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from app.book import bookfile, chain, file_check, mark
from app.book import rows as row_rules
from app.book.guards import GUARDS
from app.book.mark import Mark
from app.book.values import NotText
from app.errors import Trouble
from app.troubles import as_trouble

MOST_TOLD = 20
"""Findings told of one kind; beyond that their number."""

Tell = Callable[[str], None]


@dataclass(frozen=True)
class Finding:
    """Something that was found. A fault is not as it should be; anything else is only worth knowing."""

    words: str
    fault: bool = True


@dataclass(frozen=True)
class Look:
    """A book at one moment: all that a question may use."""

    book: Path
    connection: sqlite3.Connection
    schema: str
    mark: Mark | None
    """What was told as saved before this moment."""
    tell: Tell
    """Says how far a long question has come."""
    shapes: row_rules.Shapes
    """How stored figures are read."""

    @property
    def of_today(self) -> bool:
        """Whether the book has the schema that this program works with."""
        return self.schema == bookfile.schemas()[-1]


Ask = Callable[[Look], Iterator[Finding]]


def _silent(_words: str) -> None:
    """Says nothing."""


def check(
    book: Path, tell: Tell = _silent, shapes: row_rules.Shapes | None = None, questions: Sequence[tuple[str, Ask]] = ()
) -> list[Finding]:
    """Ask everything of a book, or of a copy, also while it is open; or only some questions. What was found, in order.

    Raises
    ------
    Trouble
        There is no such file, it is no book, or belongs to a newer Grainbook.
    """
    if not book.is_file():
        raise Trouble(f"There is no file {book}. Nothing was done. Look at the name you typed.", kind="missing")
    try:
        told = mark.read(book)  # before the moment that is looked at, which then has at least what it tells of
        with as_trouble(), bookfile.opened(book) as connection:
            connection.execute("BEGIN")  # every question is about one moment, whoever writes meanwhile
            look = Look(book, connection, bookfile.schema_of(connection, book), told, tell, shapes or {})
            return [finding for words, ask in questions or QUESTIONS for finding in _asked(look, words, ask)]
    except Trouble as trouble:
        if trouble.kind != "damaged":
            raise
        return [Finding("The file is so damaged that SQLite cannot read it.")]


def _asked(look: Look, words: str, ask: Ask) -> list[Finding]:
    look.tell(f"{words} …")
    try:
        found = list(ask(look))
    except sqlite3.DatabaseError:
        return [Finding(f"{words}: the file cannot be read as far as that.")]
    if more := found[MOST_TOLD:]:
        found[MOST_TOLD:] = [Finding(f"… and {len(more)} more of these.", any(finding.fault for finding in more))]
    return found


# --- The questions ---------------------------------------------------------------------------------------


def whole(look: Look) -> Iterator[Finding]:
    """SQLite's own look at every page, and the checksum of a sealed copy."""
    try:
        bookfile.hold_to_seal(look.book)
    except Trouble:
        yield Finding("The copy is not byte by byte what was written: its checksum does not fit.")
    for (words,) in look.connection.execute(f"PRAGMA integrity_check({MOST_TOLD})"):
        if words != "ok":
            yield Finding(f"SQLite finds: {words}")


def references(look: Look) -> Iterator[Finding]:
    """Rows that point to rows which are not there."""
    for table, row_id, points_to, _ in look.connection.execute("PRAGMA foreign_key_check"):
        yield Finding(f"Table {table}, row {row_id}: it points to a row of {points_to} that is not in the book.")


def guards(look: Look) -> Iterator[Finding]:
    """The triggers, as this program writes them."""
    if not look.of_today:
        return  # the start puts them on, with the steps of the schema
    sql = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
    found = dict(look.connection.execute(sql))
    for name in sorted(GUARDS.keys() | found.keys()):
        if name not in found:
            yield Finding(f"The guard {name} is off the book; the next start puts it on.")
        elif name not in GUARDS:
            yield Finding(f"The trigger {name} is none of Grainbook's; the next start takes it off.")
        elif found[name] != GUARDS[name]:
            yield Finding(f"The guard {name} reads otherwise than this Grainbook's; the next start puts it right.")


def links(look: Look) -> Iterator[Finding]:
    """The whole chain of the record: the first link that does not fit, and what other programs wrote."""
    if not chain.has_chain(look.connection):
        yield Finding("The record of changes has no chain yet: the next start of this Grainbook makes it.", fault=False)
        return
    found = list(chain.misfits(look.connection))
    if found:
        yield Finding(misfit_words(found[0]))
    if len(found) > 1:
        yield Finding(
            f"{len(found) - 1} more places of the record do not fit, the last at change {found[-1].change_id}."
        )
    yield from _from_outside(look.connection)


def rows(look: Look) -> Iterator[Finding]:
    """Every recorded row against the digest of how its last act left it."""
    if not chain.has_chain(look.connection):
        return
    tables = chain.recorded(look.connection)
    for number, table in enumerate(tables, start=1):
        look.tell(f"  {table}, {number} of {len(tables)} tables")
        for stray in chain.strays(look.connection, table):
            yield Finding(_stray_words(look.connection, stray))


def values(look: Look) -> Iterator[Finding]:
    """Every value against what its model lets stand there; what points nowhere has its own question."""
    for fault in row_rules.faults(look.connection, look.shapes, references=False):
        yield Finding(str(fault))


def files(look: Look) -> Iterator[Finding]:
    """The files of loggers and pictures that the rows name, wherever they lie."""
    yield from map(Finding, file_check.faults(look.connection, look.book))


def last_save(look: Look) -> Iterator[Finding]:
    """The mark beside the book: whether every save that was told as done is in it."""
    if look.mark is None:
        if mark.mark_of(look.book).exists():
            yield Finding("The mark beside the book cannot be read; the next start begins a new one.")
        else:
            yield Finding("There is no mark of the last save beside this file, as beside any copy.", fault=False)
    elif found := mark.lost(look.connection, look.mark):
        yield Finding(f"{found.title}. {found.words(look.book.with_name(f'{look.book.name}-wal'))}")


OF_THE_RECORD: list[tuple[str, Ask]] = [("The chain of the record", links), ("Each row against its digest", rows)]

QUESTIONS: list[tuple[str, Ask]] = [
    ("The file and its pages", whole),
    ("What points to what", references),
    ("Each value against what may stand there", values),
    ("The guards", guards),
    *OF_THE_RECORD,
    ("The files of loggers and pictures", files),
    ("The mark of the last save", last_save),
]
"""What is asked, in this order."""


# --- Words -----------------------------------------------------------------------------------------------


def misfit_words(misfit: chain.Misfit) -> str:
    """Which change does not fit the chain: its number, what it is about, and what it says now."""
    start = f"The record does not fit its chain at change {misfit.change_id}: {misfit.wrong}."
    if (told := misfit.change) is None:
        return start
    who = plain(told["who"]) or "nobody named"
    column = f", {plain(told['column_name'])}" if told["column_name"] else ""
    return (
        f"{start} It says now: {plain(told['at'])} UTC, {who}, {plain(told['what'])} "
        f"{plain(told['table_name'])} {plain(told['row_id'])}{column}."
    )


def plain(value: Any) -> str:
    """A value of the file in words that fit a line."""
    match value:
        case None:
            return "nothing"
        case NotText():
            return f"bytes that are no text ({value.raw[:20].hex()})"
        case bytes():
            return f"{len(value)} bytes"
    text = value if isinstance(value, str) else json.dumps(value)
    return text if len(text) <= 80 else text[:79] + "…"


def _from_outside(connection: sqlite3.Connection) -> Iterator[Finding]:
    sql = (
        "SELECT c.table_name, c.row_id, c.at FROM change_link l JOIN change c ON c.id = l.change_id "
        "WHERE l.outside ORDER BY l.change_id DESC"
    )
    if told := connection.execute(sql).fetchall():
        table, row_id, at = told[0]
        yield Finding(
            f"Another program wrote {len(told)} of the changes in the record; the last is of {plain(table)} "
            f"{plain(row_id)}, on {plain(at)} UTC.",
            fault=False,
        )
    if waiting := chain.unlinked(connection):
        yield Finding(
            f"Another program wrote {waiting} change{'s' if waiting > 1 else ''} since the last save of Grainbook, "
            "whose next save links them as that program's.",
            fault=False,
        )


def _stray_words(connection: sqlite3.Connection, stray: chain.Stray) -> str:
    last = chain.last_act(connection, stray.table, stray.row_id)
    act = f" The record's last word of it: {last[2]} by {last[1] or 'nobody named'} on {last[0]} UTC." if last else ""
    values = stray.values or {}
    now = f" Its values now: {', '.join(f'{n} {plain(v)}' for n, v in values.items())}." if values else ""
    return f"Table {stray.table}, row {stray.row_id}: {stray.wrong}.{act}{now}"
