"""Moves the log into the book's file soon after each save, so that a plain copy or move of an idle book is whole.

A thread of its own, with a connection of its own: a save neither waits for it nor fails with it.
"""

import sqlite3
import threading
import time
from contextlib import suppress

from app import logbook
from app.book import bookfile, logs
from app.book.watch import Watch

LOOK_EVERY_S = 1.0
IDLE_S = 1.0
"""How long nothing is saved before the log is moved in."""

LATEST_S = 10.0
"""How long it waits for that at most while somebody saves all the time."""


class Checkpoints:
    """Keeps the log of an open book short."""

    def __init__(self, watch: Watch) -> None:
        self._watch = watch
        self._stop = threading.Event()
        self._ended = threading.Event()
        self._failed = False
        self._since: float | None = None
        """Since when the log has had something in it."""

    def start(self) -> None:
        """Begin; a book that cannot be opened a further time goes without."""
        self._stop.clear()
        self._ended.clear()
        try:
            connection = self._connect()
        except sqlite3.Error as error:
            logbook.fault("opening the book to move its log into it", error)
            self._ended.set()
            return
        threading.Thread(target=self._run, args=(connection,), name="log of the book", daemon=True).start()

    def stop(self) -> None:
        """Stop. Where the file is no more the log's own, the log is kept from being laid over it."""
        self._stop.set()
        self._ended.wait(10)

    def standing(self) -> logs.InFile:
        """Where the last saves are, and when the log was moved in last, for a page."""
        return logs.in_file(self._watch.book)

    def due(self) -> bool:
        """Whether the log is to be moved in now."""
        try:
            log = bookfile.wal_of(self._watch.book).stat()
        except OSError:
            log = None
        if log is None or log.st_size == 0:
            self._since = None
            return False
        now = time.monotonic()
        self._since = now if self._since is None else self._since
        return time.time() - log.st_mtime >= IDLE_S or now - self._since >= LATEST_S

    def take(self, connection: sqlite3.Connection) -> bool:
        """Move the log into the file and empty it; not done while a reader or a save is in the way."""
        with self._watch.moving_in(connection) as may:
            if not may:
                return False
            busy, frames, moved = connection.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchone()  # no save waits
            if not busy and frames == moved:
                busy = connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
            return not busy and frames == moved

    def _connect(self) -> sqlite3.Connection:
        uri = f"{self._watch.book.resolve().as_uri()}?mode=rw"
        # It waits for nobody: whoever is in the way is done by the next time.
        connection = sqlite3.connect(uri, uri=True, timeout=0, isolation_level=None, check_same_thread=False)
        try:
            connection.execute("PRAGMA user_version").fetchone()
        except sqlite3.Error:
            connection.close()
            raise
        self._watch.opened(connection)
        return connection

    def _run(self, connection: sqlite3.Connection) -> None:
        while not self._stop.wait(LOOK_EVERY_S):
            if self.due():
                self._once(connection)
        if self._watch.untouched():
            self._watch.closed()
            with suppress(sqlite3.Error):
                connection.close()
            self._ended.set()
            return
        # SQLite lays the log over whatever stands there when the last connection is closed: so this one stays open
        # until the program is gone.
        logbook.note("The book's file is no more the one that was open; its log is kept.")
        self._ended.set()
        while connection:
            time.sleep(3600)

    def _once(self, connection: sqlite3.Connection) -> None:
        try:
            if self.take(connection):
                self._failed = False
        except Exception as error:  # the next look tries again; only the first of a row of failures is told
            if not self._failed:
                logbook.fault("moving the log into the book", error)
            self._failed = True
