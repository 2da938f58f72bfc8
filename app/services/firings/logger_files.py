"""Files of loggers, kept as they came: of a stand's cell or of an altimeter, in tables of the same shape."""

import hashlib
from typing import TypeVar

from sqlalchemy.orm import defer
from sqlmodel import Session, col, select

from app.calc.base.errors import CalcError
from app.calc.record import logger_text
from app.errors import NotFound, Refused
from app.models import Firing
from app.models.logger_file import LoggerFile
from app.services.firings import samples

F = TypeVar("F", bound=LoggerFile)


def of_firing(session: Session, table: type[F], firing: Firing) -> list[F]:
    """The files of a firing, newest first; their content is fetched only when it is read."""
    query = select(table).where(table.firing_id == firing.pk).order_by(col(table.id).desc())
    return list(session.exec(query.options(defer(table.raw))))  # type: ignore[arg-type]


def one(session: Session, table: type[F], firing: Firing, file_id: int) -> F:
    """One file of a firing.

    Raises
    ------
    NotFound
        The firing has no such file.
    """
    found = next((f for f in of_firing(session, table, firing) if f.pk == file_id), None)
    if found is None:
        raise NotFound("This firing has no such file.")
    return found


def take_in(session: Session, table: type[F], firing: Firing, name: str, raw: bytes, most: int) -> F:
    """Keep a logger's file as it came; the same file sent again is the one that is there.

    Raises
    ------
    Refused
        The file is larger than `most` bytes, or it is no text with numbers; beside the field.
    """
    if len(raw) > most:
        raise Refused(too_large(most), field="file")
    if not name and not raw:
        raise Refused("Choose the file that the logger wrote.", field="file")
    try:
        logger_text.guess_layout(logger_text.plain_text(raw))
    except CalcError as error:
        raise samples.refusal(error) from None
    digest = hashlib.sha256(raw).hexdigest()
    same = next((f for f in of_firing(session, table, firing) if f.sha256 == digest), None)
    if same is not None:
        return same
    row = table(firing_id=firing.pk, name=name or "no name", sha256=digest, size_bytes=len(raw), raw=raw)
    session.add(row)
    session.flush()
    return row


def throw_away(session: Session, row: F, unread: list[F], what: str) -> None:
    """Take a file out of the book that nothing was read out of; `what` would have been.

    Raises
    ------
    Refused
        Something was read out of it.
    """
    if row not in unread:
        raise Refused(f"{what} was read out of this file; it stays as its source.")
    session.delete(row)
    session.flush()


def too_large(most: int) -> str:
    """What is said of a file over the limit."""
    return (
        f"The file is larger than {most // 1024**2} MB. Cut it to the seconds that matter, or record with fewer "
        "samples a second."
    )
