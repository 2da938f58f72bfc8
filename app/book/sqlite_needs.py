"""Which SQLite the book's file needs: the one that came with this Python is looked at before any book is.

Sources: sqlite.org/changes.html for 3.35.0 (ALTER TABLE DROP COLUMN) and 3.37.2 (mends a fault of 3.35.0 that can
damage a file), sqlite.org/wal.html#walresetbug.
"""

import sqlite3
from contextlib import closing

from app.errors import Trouble

Version = tuple[int, int, int]

LEAST: Version = (3, 37, 2)
DROPS_COLUMNS: Version = (3, 35, 0)
WAL_RESET_MENDED: Version = (3, 51, 3)
WAL_RESET_MENDED_IN: tuple[Version, ...] = ((3, 44, 6), (3, 50, 7))
"""Later editions of older versions that had the mend as well."""


def check() -> None:
    """Refuse to touch any book with an SQLite that lacks something.

    Raises
    ------
    Trouble
        With what it lacks.
    """
    lacks = lacking(sqlite3.sqlite_version_info, json=_knows_json())
    if lacks:
        raise Trouble(
            f"Grainbook needs SQLite {_words(LEAST)} or newer with JSON; this Python has {sqlite3.sqlite_version}. "
            f"{' '.join(lacks)} No book was opened, and all are as they were. Install a newer Python (those of "
            "python.org bring a newer SQLite), make the folder .venv anew with it, and start again.",
            kind="old SQLite",
        )


def lacking(version: Version, *, json: bool) -> list[str]:
    """What an SQLite lacks, one sentence each; nothing where it will do."""
    lacks = []
    if version < DROPS_COLUMNS:
        lacks.append("It cannot take a column out of a table, which a step back between versions of the book needs.")
    elif version < LEAST:
        lacks.append("It has a fault that can damage a file when part of a save is undone.")
    if not json:
        lacks.append("It was built without JSON, in which the record of changes is written.")
    return lacks


def known_fault(version: Version) -> str:
    """The rare fault that an SQLite which will do may still have, in words; "" where it has none that is known."""
    mended = version >= WAL_RESET_MENDED or any(
        version[:2] == one[:2] and version >= one for one in WAL_RESET_MENDED_IN
    )
    if mended:
        return ""
    return (
        f"It has a very rare fault that can damage a file which two connections write at once (mended in "
        f"{_words(WAL_RESET_MENDED)}, see sqlite.org/wal.html#walresetbug); the daily copies stand against it."
    )


def _words(version: Version) -> str:
    return ".".join(map(str, version))


def _knows_json() -> bool:
    with closing(sqlite3.connect(":memory:")) as connection:
        try:
            connection.execute("SELECT json_quote('x'), json_extract('[1]', '$[0]')")
        except sqlite3.OperationalError:
            return False
    return True
