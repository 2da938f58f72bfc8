"""What goes wrong outside of the program, in words: a full disk, a write-protected folder, a held or damaged book.

One place turns the errors of SQLite and of the operating system into a sentence that says what happened, what is safe
and what to do. A page shows it with status 503 or 507, the command line prints it.
"""

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError

from app.errors import Trouble

FULL = (
    "The disk that holds the book is full, so this was not done. What was saved before is safe. "
    "Make room on that disk, then try again."
)
READ_ONLY = (
    "The book or its folder can only be read, so this was not done. What was saved before is safe. "
    "Make the file and its folder writable for you, then try again."
)
HELD = (
    "Another program holds the book, so this was not done. What was saved before is safe. "
    "Wait for the other program or close it, then try again."
)
DAMAGED = (
    "The book's file is damaged, so this was not done. Its copies are safe. Stop Grainbook and put the newest copy "
    "back with: grainbook restore FILE. The damaged file is kept beside it."
)
AWAY = (
    "The disk with the book does not answer, so this was not done. What was saved before is as it was. "
    "Look whether the drive is plugged in and its folder is there, then start Grainbook again."
)
MOVED = (
    "The book's file was moved, deleted or replaced while Grainbook had it open, so this was not done. What was saved "
    "before is safe: the last saves may still lie in the file ending in -wal where the book was, and the two files "
    "belong together. Stop Grainbook, then put the file back or type: grainbook join MOVED_FILE"
)
COVERED = (
    "Another file was laid over the book while Grainbook had it open, so this was not done. What was saved before is "
    "as it was: that file is left alone, and the log beside it, which holds the last saves, is kept. Stop Grainbook "
    "and start it again; it says what there is and what to type."
)

_BY_SQLITE = {
    sqlite3.SQLITE_FULL: (FULL, 507, "full"),
    sqlite3.SQLITE_READONLY: (READ_ONLY, 503, "read-only"),
    sqlite3.SQLITE_PERM: (READ_ONLY, 503, "read-only"),
    sqlite3.SQLITE_BUSY: (HELD, 503, "held"),
    sqlite3.SQLITE_LOCKED: (HELD, 503, "held"),
    sqlite3.SQLITE_CORRUPT: (DAMAGED, 503, "damaged"),
    sqlite3.SQLITE_NOTADB: (DAMAGED, 503, "damaged"),
    sqlite3.SQLITE_IOERR: (AWAY, 503, "away"),
    sqlite3.SQLITE_CANTOPEN: (AWAY, 503, "away"),
}
_BY_SYSTEM = {
    errno.ENOSPC: (FULL, 507, "full"),
    errno.EDQUOT: (FULL, 507, "full"),
    errno.EROFS: (READ_ONLY, 503, "read-only"),
    errno.EACCES: (READ_ONLY, 503, "read-only"),
    errno.EPERM: (READ_ONLY, 503, "read-only"),
    errno.EIO: (AWAY, 503, "away"),
}


def trouble_of(error: BaseException) -> Trouble | None:
    """The trouble that an error of SQLite or of the system stands for; nothing if it is the program's own fault."""
    if isinstance(error, Trouble):
        return error
    if isinstance(error, DBAPIError):
        error = error.orig or error
    found = None
    if isinstance(error, sqlite3.Error):
        code = getattr(error, "sqlite_errorcode", None)
        if code is None and isinstance(error, sqlite3.DatabaseError) and "malformed" in str(error):
            code = sqlite3.SQLITE_CORRUPT
        found = _BY_SQLITE.get(code & 0xFF) if code is not None else None  # the low byte is the kind
    elif isinstance(error, OSError):
        found = _BY_SYSTEM.get(error.errno or 0)
    if found is None:
        return None
    words, status, kind = found
    return Trouble(words, status=status, kind=kind)


@contextmanager
def as_trouble() -> Iterator[None]:
    """Raise the trouble that an error stands for in the error's place."""
    try:
        yield
    except (sqlite3.Error, DBAPIError, OSError) as error:
        trouble = trouble_of(error)
        if trouble is None:
            raise
        raise trouble from error
