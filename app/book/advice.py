"""What to do about a book that the start found fault with: which copy there is, and what would be lost with it."""

import sqlite3
from contextlib import suppress
from pathlib import Path

from app import clock
from app.book import backups, bookfile, logs
from app.errors import Trouble
from app.settings import typed


def damaged(book: Path) -> Trouble:
    """The refusal of a damaged book, with the way out; what the newest copy lacks of it is told first."""
    said = f"The book {book} is damaged. It was not opened and is as it was. "
    newest = next(iter(backups.copies(book)), None)
    if newest is None:
        return Trouble(said + "Put a copy of yours in its place.", kind="damaged")
    there, kept = _reaches(book), _reaches(newest.file)
    put_back = f"type: {typed('restore', newest.file, book)}"
    if there is None or kept is None:
        lacks = f"To put its newest copy back, of {clock.day_and_time(newest.made_at)}, {put_back}"
    elif there.number > kept.number:
        lacks = (
            f"Its newest copy, of {clock.day_and_time(newest.made_at)}, lacks the last {there.number - kept.number} "
            f"changes that can still be read in the damaged file ({there.words}). To put it back all the same, "
            + put_back
        )
    else:
        lacks = f"Its newest copy has every change that can be read in it. To put that back, {put_back}"
    return Trouble(said + lacks + "\nThe damaged file is kept beside it.", kind="damaged")


def seal_broken(book: Path) -> Trouble:
    """The refusal of a book that carries the seal of a copy and is not byte by byte what was copied.

    It was worked in by another program, or a byte of it went wrong; where SQLite finds a fault in it, it is damaged.
    """
    try:
        with bookfile.opened(book) as connection:
            bookfile.prove(connection, book)
            there = logs.last_change(connection)
    except (sqlite3.Error, Trouble):
        return damaged(book)
    seal = bookfile.seal_of(book)
    for copy in backups.copies(book):
        same = bookfile.seal_of(copy.file) == seal and bookfile.has_whole_seal(copy.file)
        if same and _reaches(copy.file) == there:
            return Trouble(
                f"The book {book} is damaged: it is a copy in which a byte went wrong on the disk since it was put "
                "there. It was not opened and is as it was. The same copy is whole, and has every change of it; to put "
                f"it back, type: {typed('restore', copy.file, book)}",
                kind="seal",
            )
    return Trouble(
        f"The book {book} carries the seal of a copy, but it was changed after the copy was made: another program "
        f"saved in it, or a byte went wrong on the disk. SQLite finds it whole, with {_words(there)}. It was not "
        f"opened and is as it was. To go on with it as it stands, type: {typed('restore', book, book)}\n"
        + _newest(book),
        kind="seal",
    )


def _newest(book: Path) -> str:
    newest = next(iter(backups.copies(book)), None)
    if newest is None:
        return "There is no copy of it beside it."
    kept = _words(_reaches(newest.file))
    return f"Its newest copy has {kept}; to put that back, type: {typed('restore', newest.file, book)}"


def _words(change: logs.Change | None) -> str:
    return change.words if change else "no changes"


def _reaches(file: Path) -> logs.Change | None:
    """The last change that can be read in a file, damaged as it may be."""
    for way in (bookfile.opened, logs.alone):
        with suppress(sqlite3.Error, Trouble), way(file) as connection:
            return logs.last_change(connection)
    return None
