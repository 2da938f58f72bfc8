"""Finding a row, and changing it only if it is still as the person saw it."""

from typing import TypeVar

from sqlmodel import Session

from app.errors import Conflict, NotFound
from app.models.base import Row

R = TypeVar("R", bound=Row)


def get(session: Session, table: type[R], row_id: int, noun: str = "entry") -> R:
    """The row of that identity.

    Raises
    ------
    NotFound
        There is none.
    """
    row = session.get(table, row_id)
    if row is None:
        raise NotFound(f"There is no such {noun} in this book.")
    return row


def claim(row: Row, version: int | None) -> None:
    """Count a change to a row, or refuse it when somebody changed the row since the page was opened.

    Raises
    ------
    Conflict
        The version seen is not the row's version now.
    """
    if version is not None and version != row.version:
        raise Conflict(
            "This was changed in another tab or on another device after you opened it. What you typed is kept "
            "here and was not saved; open the page again to see how it stands now.",
        )
    row.version += 1
