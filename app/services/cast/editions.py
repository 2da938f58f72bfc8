"""Editions of the workshop's own lists, the checklist and the run sheet: a change makes a new one, old ones stay."""

from collections.abc import Sequence
from typing import Any, TypeVar

from sqlmodel import Session, col, select
from sqlmodel.sql.expression import SelectOfScalar

from app.errors import Conflict, NotFound, Refused
from app.models import ChecklistEdition, ChecklistItem, RunSheet, RunSheetLine

E = TypeVar("E", ChecklistEdition, RunSheet)

LINES: dict[type, Any] = {ChecklistEdition: ChecklistItem, RunSheet: RunSheetLine}
NAMES: dict[type, str] = {ChecklistEdition: "checklist", RunSheet: "run sheet"}


def all_of(session: Session, table: type[E]) -> list[E]:
    """All editions of a list, newest first."""
    return list(session.exec(_newest_first(table)))


def now_used(session: Session, table: type[E]) -> E:
    """The newest edition: the one that is used from now on.

    Raises
    ------
    NotFound
        A book has its first lists from the start, but none of them can be read.
    """
    newest = newest_of(session, table)
    if newest is None:
        raise NotFound(
            f"No edition of the {NAMES[table]} can be read. Nothing is begun without it: see what the book says of it."
        )
    return newest


def newest_of(session: Session, table: type[E]) -> E | None:
    """The newest edition that can be read."""
    return session.exec(_newest_first(table)).first()


def claim(session: Session, table: type[E], seen: int | None, name: str) -> E:
    """The newest edition, which a change is to grow from; `seen` is the number of the one a person started from.

    Raises
    ------
    Conflict
        Another edition was made since; `name` is what the list is called.
    """
    newest = now_used(session, table)
    if seen is not None and seen != newest.edition:
        raise Conflict(
            f"Edition {newest.edition} of the {name} was made after you opened this page. What you typed is kept here "
            f"and was not saved; open the page again to see how the {name.split()[-1]} stands now."
        )
    return newest


def make(session: Session, table: type[E], note: str, lines: Sequence[dict[str, Any]]) -> E:
    """Make an edition, its lines by their columns; the earlier ones stay with what was made from them.

    Raises
    ------
    Refused
        Nothing differs from the newest edition.
    """
    newest = newest_of(session, table)
    old = [{name: getattr(row, name) for name in lines[0]} for row in newest.lines] if newest else []
    if newest and _rounded(lines) == _rounded(old):
        raise Refused(f"Nothing differs from edition {newest.edition}, so no new edition was made.")
    edition = table(edition=newest.edition + 1 if newest else 1, note=note)
    edition.lines = [LINES[table](position=position, **line) for position, line in enumerate(lines, start=1)]
    session.add(edition)
    session.flush()
    return edition


def _newest_first(table: type[E]) -> SelectOfScalar[E]:
    return select(table).order_by(col(table.edition).desc())


def _rounded(lines: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """Lines to be compared: a temperature read back from the page differs in the tenth digit."""
    return [{name: round(v, 3) if isinstance(v, float) else v for name, v in line.items()} for line in lines]
