"""The book and all that lies beside it are for one account of the computer alone.

What the program makes it makes so (`system.private`, around every command). This closes what an earlier Grainbook, or
a program that put a file there, left open to others.
"""

from collections.abc import Iterator
from pathlib import Path

from app import system
from app.book import backups, filestore
from app.logbook import log_of
from app.settings import own_folder


def tighten(book: Path) -> int:
    """Close a book that is there to other accounts, and tell how many files and folders were open to them.

    Its folder is closed where it is the program's own; a folder of the person's own, such as Documents, is left alone.
    """
    return sum(map(system.close_to_others, _of(book)))


def _of(book: Path) -> Iterator[Path]:
    """The book, the files that go by its name, its log, its folders with what is in them, and the data folder."""
    log = log_of(book)
    own = (book.name, log.name, f"{book.stem}-replaced-", f"{book.stem}-elsewhere")
    beside = (file for file in book.parent.glob("*") if file.is_file() and file.name.startswith(own))
    yield from (file for file in beside if file.suffix != ".key")  # a key that was open is made anew (access.door)
    for folder in (backups.folder_of(book), filestore.folder_of(book)):
        if folder.is_dir():
            yield from folder.rglob("*")
            yield folder
    if book.parent == own_folder():
        yield book.parent
