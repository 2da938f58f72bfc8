"""The files that rows name: kept in the folder beside the book, and read back proved, or told as lost."""

from collections.abc import Iterable
from pathlib import Path
from typing import Protocol

from sqlmodel import Session

from app.book import filestore
from app.errors import FileLost
from app.troubles import as_trouble


class Named(Protocol):
    """A row that names a file."""

    name: str
    sha256: str
    size_bytes: int

    @property
    def pk(self) -> int:
        """Its number."""


def folder(session: Session) -> Path:
    """Where the files of the book are."""
    book = session.get_bind().engine.url.database
    assert book is not None, "a book is a file"
    return filestore.folder_of(Path(book))


def keep(session: Session, raw: bytes) -> str:
    """Put a file on disk, before the row that names it is saved; its SHA-256.

    Raises
    ------
    Trouble
        The disk is full or refuses; nothing is left of it.
    """
    with as_trouble():
        return filestore.put(folder(session), raw)


def read(session: Session, row: Named) -> bytes:
    """A file, byte by byte what was kept.

    Raises
    ------
    FileLost
        It is missing, or is not what it was.
    """
    raw = filestore.get(folder(session), row.sha256)
    if raw is None:
        raise FileLost(_words(session, row))
    return raw


def lost(session: Session, row: Named) -> str:
    """What is said of a file that is missing or is not what it was; "" of one that is whole."""
    return "" if filestore.is_whole(folder(session), row.sha256) else _words(session, row)


def lost_of(session: Session, rows: Iterable[Named]) -> dict[int, str]:
    """What is said of each of these rows whose file is missing or is not what it was, by the row's number."""
    return {row.pk: words for row in rows if (words := lost(session, row))}


def _words(session: Session, row: Named) -> str:
    """What happened to a file, what is safe, what to do."""
    where = folder(session)
    what = "was altered" if filestore.has(where, row.sha256, row.size_bytes) else "is missing"
    return (
        f"The file {row.name} {what}: it should be {row.sha256[:2]}/{row.sha256} in {where}. What was read out of it "
        "is in the book still. If the book was moved, move that folder to it too; else “grainbook check” says where a "
        "good one is."
    )
