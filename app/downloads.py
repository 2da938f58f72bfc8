"""Files made to be sent to a browser: a copy of the book, and everything in it as a zip; removed once they are sent."""

import secrets
from pathlib import Path

from app.book import backups
from app.troubles import as_trouble


def copy(book: Path) -> Path:
    """A proved copy of the book with its files in it; remove it when it is sent.

    Raises
    ------
    Trouble
        There is no room, or the book is damaged.
    """
    target = _place(book)
    backups.copy(book, target, alone=True)
    return target


def everything(book: Path) -> Path:
    """The whole book as a zip; remove it when it is sent.

    Raises
    ------
    Trouble
        There is no room, or the book is damaged.
    """
    from app.book import export  # zip files are seldom asked for; the start does without

    target = _place(book)
    export.write(book, target)
    return target


def clear(book: Path) -> None:
    """Remove what a kill left in the middle of sending."""
    for left in backups.folder_of(book).glob("download-*"):
        left.unlink(missing_ok=True)


def _place(book: Path) -> Path:
    folder = backups.folder_of(book)
    with as_trouble():
        folder.mkdir(parents=True, exist_ok=True)
        backups.hold_room(book, folder)
    return folder / f"download-{secrets.token_hex(8)}"
