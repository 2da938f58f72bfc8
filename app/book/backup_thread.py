"""Takes the copies while the book is open: one at the start, one on each new day, and again soon after one failed."""

import threading
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from app import clock, downloads, logbook
from app.book import backups
from app.book.backups import Copy
from app.errors import Trouble

LOOK_EVERY_S = 600.0


@dataclass(frozen=True)
class Standing:
    """How it stands with the copies, for a page: the last good one, and what went wrong since."""

    folder: Path
    last: Copy | None
    failed_at: datetime | None = None
    trouble: str = ""


class BackupThread:
    """A thread of its own: a copy of a large book must not hold up a page."""

    def __init__(self, book: Path, look_every_s: float = LOOK_EVERY_S) -> None:
        self._book = book
        self._look_every_s = look_every_s
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._failed: tuple[datetime, str] | None = None

    def start(self) -> None:
        """Begin with a copy, then look again and again whether one is due."""
        self._thread = threading.Thread(target=self._run, name="copies of the book", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Stop; a copy in the making is waited for a little, and left unfinished after that."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(timeout=10)

    def standing(self) -> Standing:
        """The last good copy, and the trouble if the newest attempt failed."""
        found = backups.copies(self._book)
        at, words = self._failed or (None, "")
        return Standing(backups.folder_of(self._book), found[0] if found else None, at, words)

    def take(self) -> None:
        """Take a copy now; a failure is kept to be told."""
        try:
            backups.keep_copy(self._book)
        except Trouble as trouble:
            self._fail(trouble, str(trouble.message))
        except Exception as error:  # this thread must go on whatever comes, or no later day has a copy
            self._fail(error, "A copy of the book could not be made; the log says where it failed.")
        else:
            self._failed = None
            logbook.note("A copy of the book was made and proved.")

    def due(self) -> bool:
        """Whether today has no good copy yet, or the last attempt failed."""
        found = backups.copies(self._book)
        made_today = bool(found) and clock.local(found[0].made_at).date() == clock.today()
        return self._failed is not None or not made_today

    def _fail(self, error: Exception, words: str) -> None:
        self._failed = (clock.now(), words)
        logbook.fault("copying the book", error)

    def _run(self) -> None:
        self._once(lambda: downloads.clear(self._book))
        self._once(self._look_after_files)
        self._once(self.take)
        while not self._stop.wait(self._look_every_s):
            self._once(lambda: self.take() if self.due() else None)

    def _look_after_files(self) -> None:
        try:
            backups.look_after_files(self._book)
        except Trouble as trouble:  # it is done again at the next start
            logbook.fault("looking after the book's files", trouble)

    def _once(self, act: Callable[[], None]) -> None:
        try:
            act()
        except OSError as error:  # the folder itself cannot be listed
            self._fail(error, "The folder of the copies cannot be read.")
