"""What a person has to be told of the book, kept beside it until they say that they have read it.

A file of its own, not rows: most of it is about rows that are missing.
"""

import json
import threading
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

from app import clock, logbook, system

_one_at_a_time = threading.Lock()
MOST_UNREAD, SEEN_KEPT = 20, 200


@dataclass(frozen=True)
class Notice:
    """Something to be read: `key` tells one thing from another, so that none is told twice."""

    key: str
    title: str
    words: str
    at: datetime


def notices_of(book: Path) -> Path:
    """Where they are kept."""
    book = book.resolve()
    return book.with_name(f"{book.name}.notices")


def tell_outside(book: Path, changes: int) -> None:
    """Tell that another program wrote to the book since the last save."""
    at, many = clock.now(), "1 change was" if changes == 1 else f"{changes} changes were"
    logbook.note(f"{many} written by another program since the last save; they were linked as such.")
    Notices(book).tell(
        f"outside {at.isoformat()}",
        "Another program wrote to the book",
        f"{many} written by another program since Grainbook's last save. They stand in the record without a name; if "
        f"no program of yours did it, look at them under Changes, and type: grainbook check --book {book}",
    )


class Notices:
    """The notices of one book."""

    def __init__(self, book: Path) -> None:
        self._file = notices_of(book)

    def unread(self) -> list[Notice]:
        """Those not read yet, oldest first."""
        return self._read()[0]

    def tell(self, key: str, title: str, words: str) -> bool:
        """Put one up; whether it is new. One of a key that is up already or was read is not, nor the 21st: the log has
        them all.
        """
        with _one_at_a_time:
            unread, seen = self._read()
            if key in seen or any(notice.key == key for notice in unread) or len(unread) >= MOST_UNREAD:
                return False
            self._write([*unread, Notice(key, title, words, clock.now())], seen)
            return True

    def read(self, until: datetime) -> None:
        """Take down those that were put up until that moment: they were read."""
        with _one_at_a_time:
            unread, seen = self._read()
            seen += [notice.key for notice in unread if notice.at <= until]
            self._write([notice for notice in unread if notice.at > until], seen[-SEEN_KEPT:])

    def _read(self) -> tuple[list[Notice], list[str]]:
        try:
            told = json.loads(self._file.read_text(encoding="utf-8"))
            unread = [Notice(**one | {"at": datetime.fromisoformat(one["at"])}) for one in told["unread"]]
            return unread, [str(key) for key in told["seen"]]
        except FileNotFoundError:
            return [], []
        except (OSError, ValueError, KeyError, TypeError) as error:
            logbook.fault("reading what is to be told of the book", error)
            return [], []

    def _write(self, unread: list[Notice], seen: list[str]) -> None:
        unfinished = self._file.with_name(f"{self._file.name}.unfinished")
        told = {"unread": [asdict(one) | {"at": one.at.isoformat()} for one in unread], "seen": seen}
        try:
            unfinished.write_text(json.dumps(told), encoding="utf-8")
            system.swap_in(unfinished, self._file)
        except OSError as error:
            logbook.fault("keeping what is to be told of the book", error)
            unfinished.unlink(missing_ok=True)
