"""The log beside the book: what the program did and what went wrong, never what a person typed.

Only kinds of errors, places in the program and the shapes of addresses are written: messages of errors and filled-in
addresses may hold typed values, and paths may hold names.
"""

import logging
import traceback
from contextlib import suppress
from logging.handlers import RotatingFileHandler
from pathlib import Path

from sqlalchemy.exc import DBAPIError

from app.settings import PACKAGE

BYTES, FILES = 250_000, 3
_log = logging.getLogger("grainbook")


class _Handler(RotatingFileHandler):
    """A log that goes without its lines where the disk takes none: the terminal is not the place for them."""

    def handleError(self, record: logging.LogRecord) -> None:  # noqa: N802 - logging's own name
        """Say nothing."""


def log_of(book: Path) -> Path:
    """Where a book's log is: beside it."""
    return book.with_suffix(".log")


def begin(book: Path) -> None:
    """Write to the book's log from now on; where that cannot be, go without."""
    end()
    try:
        handler = _Handler(log_of(book), maxBytes=BYTES, backupCount=FILES - 1, encoding="utf-8")
    except OSError:
        return
    handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
    _log.addHandler(handler)
    _log.setLevel(logging.INFO)
    _log.propagate = False


def end() -> None:
    """Close the log."""
    for handler in list(_log.handlers):
        _log.removeHandler(handler)
        with suppress(OSError):  # what could not be written before cannot be now
            handler.close()


def note(words: str) -> None:
    """Write that something was done; the words hold nothing that a person typed."""
    _log.info(words)


def fault(doing: str, error: BaseException) -> None:
    """Write that something failed: what was being done, the kind of the error, and where in the program."""
    _log.error("%s: %s at %s", doing, _kind(error), _places(error))


def _kind(error: BaseException) -> str:
    if isinstance(error, DBAPIError) and error.orig is not None:
        error = error.orig
    name = getattr(error, "sqlite_errorname", None) or getattr(error, "kind", None) or getattr(error, "errno", None)
    return type(error).__name__ + (f" ({name})" if name else "")


def _places(error: BaseException) -> str:
    frames = traceback.extract_tb(error.__traceback__)
    inside = [frame for frame in frames if Path(frame.filename).is_relative_to(PACKAGE)] or list(frames)
    found = [f"{Path(frame.filename).name}:{frame.lineno} {frame.name}" for frame in inside[-6:]]
    return " > ".join(found) or "no place"
