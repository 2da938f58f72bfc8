"""Copies the book to its second place while it is open: when the place appears, as casting goes on, and once a day.

The place may be a drive that does not answer. So one thread of its own goes there and nobody else: a page is told what
the thread knows, and what must be known at once is asked with a limit of time. A thread that hangs is told of, and the
program does not wait for it when it stops.
"""

import threading
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import TypeVar

from app import clock, logbook
from app.book import elsewhere, elsewhere_standing, encryption
from app.book.elsewhere import Reading
from app.book.elsewhere_standing import Elsewhere, Known
from app.book.encryption import Key
from app.errors import Refused, Trouble

T = TypeVar("T")

LOOK_EVERY_S = 60.0
COPY_EVERY = timedelta(minutes=9)
"""How long something saved waits for its copy elsewhere, while the place is there; with the minute between two looks
that is ten at most."""
SHARE_OF_TIME = 20
"""A copy that took long, of a large book to a slow stick, is made again only after this many times as long."""
ANSWERS_WITHIN_S = 5.0
STILL_AFTER_S = 30.0
"""A place that is not heard of for so long, in the middle of something, does not answer."""


class ElsewhereThread:
    """The second place of one book."""

    def __init__(self, book: Path, look_every_s: float = LOOK_EVERY_S) -> None:
        self._book = book
        self._look_every_s = look_every_s
        self._stop, self._wanted, self._looked = threading.Event(), threading.Event(), threading.Condition()
        self._thread: threading.Thread | None = None
        self._known = elsewhere_standing.recall(book)
        self._there_at: datetime | None = None
        self._away_since: datetime | None = None
        self._failed: tuple[datetime, str] | None = None
        self._rests: tuple[datetime, datetime] | None = None
        self._sessions: tuple[int, ...] | None = None
        self._busy_since: float | None = None
        self._asked, self._readable = False, 0
        self._of_another: datetime | None = None

    # --- Life ---------------------------------------------------------------------------------------------

    def start(self) -> None:
        """Look at once, then again and again."""
        self._thread = threading.Thread(target=self._run, name="copies elsewhere", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Stop; a copy in the making is left unfinished, and a place that does not answer is not waited for."""
        self._stop.set()
        self._wanted.set()
        if self._thread is not None:
            self._thread.join(timeout=2)
        if self._there_at is not None:
            self._keep(replace(self._known, seen_at=self._there_at.isoformat()))

    def copy_now(self, within_s: float = 20.0) -> bool:
        """Have a copy made now, and wait a little for it: whether it is done. How it went stands in the standing."""
        with self._looked:
            self._asked = True
            self._wanted.set()
            if self._thread is None:
                self.look()
            return self._looked.wait_for(lambda: not self._asked, timeout=within_s)

    def _run(self) -> None:
        elsewhere.clear(self._book)
        while not self._stop.is_set():
            self._wanted.clear()
            self.look()
            self._wanted.wait(self._look_every_s)

    # --- What a page is told ------------------------------------------------------------------------------

    def standing(self, folder: str, key: str, saves: int) -> Elsewhere | None:
        """How it stands with the place that the workshop names; nothing where it names none. Asks no drive."""
        if not folder:
            return None
        known = self._known
        failed_at, trouble = self._failed or (None, "")
        if self._busy_since is not None and time.monotonic() - self._busy_since > STILL_AFTER_S:
            failed_at = clock.now()
            trouble = f"The second place does not answer: {folder}. Look at its drive or network."
        return Elsewhere(
            home=known.home if known.home and Path(known.home).parent == Path(folder) else folder,
            last_at=known.newest_at,
            unsaved=None if known.saves is None else max(saves - known.saves, 0),
            away_since=self._away_since,
            failed_at=failed_at,
            trouble=trouble,
            encrypted=bool(key),
            readable=self._readable if key else 0,
            key_file=elsewhere.key_file(Path(), encryption.name_of(key)).name if key else "",
            closed_key=known.keys.get(encryption.name_of(key), "") if key else "",
            of_another=self._of_another,
        )

    # --- Choosing -----------------------------------------------------------------------------------------

    def choose(self, typed: str, key: str, passphrase: str, *, same_disk: bool) -> tuple[str, str]:
        """Make a folder the second place: looked at, and laid out for copies. Gives its path and the public key.

        Copies are closed with a new key where there is a `passphrase`, with the `key` in use where there is only that,
        and readable where there is neither.

        Raises
        ------
        Refused, Asked
            The folder cannot be the place, or it is not sure whether it should.
        """
        folder = elsewhere.whole_path(typed)
        made = encryption.new_key(passphrase) if passphrase else self._key_in_use(key)
        home = replace(elsewhere.read(self._book), folder=str(folder)).home

        def act() -> None:
            elsewhere.examine(self._book, folder, same_disk=same_disk)
            elsewhere.lay_out(home, made)

        try:
            _within(ANSWERS_WITHIN_S, act)
        except OSError as error:
            raise Refused(
                f"{folder} refused to be written to ({error.strerror}). Look at the drive, or name another folder.",
                field="folder",
            ) from error
        if made:
            self._keep(replace(self._known, keys={**self._known.keys, made.name: made.closed}))
        return str(folder), made.public if made else ""

    def _key_in_use(self, key: str) -> Key | None:
        if not key:
            return None
        closed = self._known.keys.get(encryption.name_of(key))
        if closed is None:
            raise Refused(
                "The key of this book's copies is not on this computer. Give a passphrase: a new key is made with it.",
                field="passphrase",
            )
        return Key(key, closed)

    # --- Looking and copying ------------------------------------------------------------------------------

    def look(self) -> None:
        """See whether the place is there and a copy is due, and make it; whatever goes wrong is kept to be told."""
        asked = self._asked
        try:
            self._beat()
            self._look_there(elsewhere.read(self._book), asked)
        except _Stopped:
            pass
        except Trouble as trouble:
            self._fail(trouble, str(trouble.message))
        except OSError as error:
            self._fail(error, f"The second place cannot be read ({error.strerror}). Look at its drive and its rights.")
        except Exception as error:  # this thread must go on whatever comes
            self._fail(error, "A copy elsewhere could not be made; the log says where it failed.")
        finally:
            self._busy_since = None
            with self._looked:
                self._asked = self._asked and not asked
                self._looked.notify_all()

    def _look_there(self, reading: Reading, asked: bool) -> None:
        if not reading.folder:
            self._failed = self._away_since = self._there_at = self._of_another = None
            return
        if not (reading.home / elsewhere.HOW_TO).is_file():
            self._away(reading)
            return
        appeared = self._there_at is None or self._known.home != str(reading.home)
        self._there_at, self._away_since = clock.now(), None
        self._keep_key(reading)
        found = elsewhere.copies_in(reading.home)
        self._readable = sum(not one.key for one in found)
        newest = found[0] if found else None
        if self._known.file not in ([one.file.name for one in found] or [""]):  # another stick, or the note was lost
            self._keep(self._known.with_newest(reading, newest, as_read=False))
            appeared = True
        elif appeared:
            self._keep(replace(self._known, home=str(reading.home), seen_at=self._there_at.isoformat()))
        ahead = newest is not None and self._known.newest_at is not None and newest.made_at > self._known.newest_at
        self._of_another = newest.made_at if newest and ahead else None
        changed_hands = self._sessions is not None and self._sessions != reading.open_sessions
        self._sessions = reading.open_sessions
        if asked or self._due(reading, at_once=appeared or changed_hands):
            self._copy(reading)
        elif self._in(reading):
            self._failed = None

    def _in(self, reading: Reading) -> bool:
        """Whether all that the book holds is in the newest copy."""
        return (self._known.changes, self._known.saves) == (reading.changes, reading.saves)

    def _due(self, reading: Reading, *, at_once: bool) -> bool:
        if self._in(reading):
            return False
        now, made_at = clock.now(), self._known.newest_at
        if at_once:
            return True
        if self._rests is not None and self._rests[0] <= now < self._rests[1]:
            return False
        if made_at is None or now < made_at:
            return True
        return now - made_at >= COPY_EVERY or clock.local(made_at).date() != clock.local(now).date()

    def _copy(self, reading: Reading) -> None:
        began, now = time.monotonic(), clock.now()
        self._rests = now, now + COPY_EVERY  # after a failure as well: it is not tried each minute
        made = elsewhere.copy_there(self._book, reading, self._beat)
        took = timedelta(seconds=time.monotonic() - began)
        self._rests = now, now + max(COPY_EVERY, took * SHARE_OF_TIME)
        self._failed = None
        self._readable += not made.key
        self._keep(self._known.with_newest(reading, made, as_read=True))
        logbook.note("A copy of the book was made at the second place and proved there.")

    def _keep_key(self, reading: Reading) -> None:
        """The closed key lies beside the copies and beside the book: what one has lost, the other gives back."""
        if not reading.key:
            return
        name = encryption.name_of(reading.key)
        there, here = elsewhere.key_file(reading.home, name), self._known.keys.get(name)
        if here is None and there.is_file():
            self._keep(replace(self._known, keys={**self._known.keys, name: there.read_text(encoding="ascii")}))
        elif here is not None and not there.is_file():
            elsewhere.lay_out(reading.home, Key(reading.key, here))

    def _away(self, reading: Reading) -> None:
        if self._away_since is None:
            seen = self._known.seen_at if self._known.home == str(reading.home) else ""
            self._away_since = self._there_at or (datetime.fromisoformat(seen) if seen else clock.now())
        self._there_at = self._failed = None
        folder = Path(reading.folder)
        if folder.is_dir() and any(folder.iterdir()):
            self._failed = (
                clock.now(),
                f"The folder {folder} is there, but not what was made in it for this book. If this is another drive "
                "that is to be the second place, choose it in the settings once.",
            )

    def _beat(self) -> None:
        if self._stop.is_set():
            raise _Stopped
        self._busy_since = time.monotonic()

    def _fail(self, error: Exception, words: str) -> None:
        self._failed = (clock.now(), words)
        logbook.fault("copying the book to the second place", error)

    def _keep(self, known: Known) -> None:
        self._known = known
        elsewhere_standing.remember(self._book, known)


class _Stopped(Exception):
    """The program stops; what was begun is left."""


def _within(seconds: float, act: Callable[[], T]) -> T:
    """Do something that a dead drive may hold for ever, in a thread of its own.

    Raises
    ------
    Refused
        It took longer. Whatever else it raises comes through.
    """
    done: list[T] = []
    failed: list[BaseException] = []

    def run() -> None:
        try:
            done.append(act())
        except BaseException as error:  # raised again where it is waited for
            failed.append(error)

    thread = threading.Thread(target=run, name="asking the second place", daemon=True)
    thread.start()
    thread.join(seconds)
    if failed:
        raise failed[0]
    if not done:
        raise Refused(
            f"This folder did not answer within {seconds:.0f} seconds. Look at its drive or network, then save again.",
            field="folder",
        )
    return done[0]
