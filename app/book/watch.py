"""The file of the open book: whether it is still the one that was opened, and nobody laid another file over it.

A book that is open is changed in one way only: its log is moved into it (a checkpoint). Grainbook does that itself and
remembers how the file looked afterwards, so that one look at its size and time tells before each act that nobody else
was there. Where somebody was, the file is looked into: another program that moved the same log into it does no harm.
"""

import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from app.book import bookfile, logs
from app.errors import Trouble
from app.troubles import COVERED, DAMAGED, MOVED

Look = tuple[int, int, int, int]
"""Device, number, size and time of a file."""


def _look_of(book: Path) -> Look | None:
    try:
        found = book.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino, found.st_size, found.st_mtime_ns


class Watch:
    """What is known of an open book's file; asked by every connection, and by what moves the log into it."""

    def __init__(self, book: Path) -> None:
        self.book = book
        self.turn = 0
        """Grows when another program moved the log in: older connections may remember pages as they were."""
        self._lock = threading.RLock()
        self._open = 0
        self._look: Look | None = None
        self._strange: tuple[Look, Trouble] | None = None
        self._seen: logs.Change | None = None

    def hold_in_place(self) -> None:
        """Refuse an act once another file, or none, stands in the book's place.

        What is saved would go into a log that lies away from its file; a further connection would be of that other
        file, and of the log that is here.

        Raises
        ------
        Trouble
            The book was moved.
        """
        if self.moved():
            raise Trouble(MOVED, kind="moved")

    def opened(self, connection: sqlite3.Connection) -> None:
        """Count a connection; with the first one begins what is known of the file."""
        with self._lock:
            if not self._open:
                self._strange, self._seen = None, None
                self._remember(connection)
            self._open += 1

    def closed(self) -> None:
        """Count a connection off."""
        with self._lock:
            self._open -= 1

    def moved(self) -> bool:
        """Whether the file that is open stands no more in the book's place."""
        return bool(self._open) and self._look is not None and bookfile.identity(self.book) != self._look[:2]

    def look(self) -> None:
        """See that the file is as it was left. One that was moved away is as it was too; `moved` tells of it.

        Raises
        ------
        Trouble
            Another file was laid over it, or it is damaged.
        """
        if not self._open or _look_of(self.book) == self._look:
            return
        with self._lock:  # the log may be being moved in just now
            now = _look_of(self.book)
            if not self._open or now is None or now == self._look or self.moved():
                return
            if self._strange is not None and self._strange[0] == now:
                raise self._strange[1]
            fits = logs.fits(self.book, self._seen)
            if not fits:
                words, kind = (DAMAGED, "damaged") if fits is None else (COVERED, "covered")
                self._strange = (now, Trouble(words, kind=kind))
                raise self._strange[1]
            self._look = now
            self.turn += 1

    def untouched(self) -> bool:
        """Whether the log may be moved into the file that stands in the book's place."""
        try:
            self.look()
        except Trouble:
            return False
        return not self.moved()

    @contextmanager
    def moving_in(self, connection: sqlite3.Connection) -> Iterator[bool]:
        """Round moving the log into the file: whether it may be done; how the file looks is remembered afterwards."""
        with self._lock:
            may = self.untouched()
            try:
                yield may
            finally:
                if may and not self.moved():
                    self._remember(connection)

    def _remember(self, connection: sqlite3.Connection) -> None:
        self._look = _look_of(self.book)
        if not bookfile.has_log(self.book):  # what the connection sees stands in the file by itself
            with suppress(sqlite3.Error):  # a damaged book is told of by who reads it
                self._seen = logs.last_change(connection)
