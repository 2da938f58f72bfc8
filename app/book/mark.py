"""The mark beside the book: how far the record had come when a save was last told as done.

The book cannot tell what is missing from it: with its log (`-wal`) lost or emptied it is a sound book of an earlier
hour. So each save, once it is on the disk, writes into a small file beside the book the number of the save, of its last
change and that change's link (`app.book.chain`). The file has two slots of one block each, with a checksum; they are
written in turn, in place, and waited for: a power cut can spoil one of them, and the other is the save before.

The order is always: the save on the disk, then the mark, then the answer. So the book is never behind the mark unless
something was lost, and may be one save ahead of it after a kill. A disk that refuses the mark does not undo a save.
"""

import hashlib
import json
import sqlite3
import threading
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path

from app import clock, logbook, system
from app.book import bookfile, chain
from app.book.chain import Head
from app.units import counted

SLOT_BYTES = 4096
_HASH = 64
_one_at_a_time = threading.Lock()


@dataclass(frozen=True)
class Mark(Head):
    """The head of the chain as the last save left it, and which writing of the mark this is."""

    turn: int = 0


def mark_of(book: Path) -> Path:
    """Where a book's mark is: beside the file itself, whatever name it is opened by."""
    book = book.resolve()
    return book.with_name(f"{book.name}.mark")


def read(book: Path) -> Mark | None:
    """The newest mark that is whole; nothing where there is none."""
    try:
        content = mark_of(book).read_bytes()
    except OSError:
        return None
    found = [mark for at in (0, SLOT_BYTES) if (mark := _parsed(content[at : at + SLOT_BYTES])) is not None]
    return max(found, key=lambda mark: mark.turn, default=None)


def write(book: Path, head: Head, *, anew: bool = False, synced: bool = True) -> None:
    """Tell the mark of a save that is on the disk; a later save told meanwhile stays, unless it begins `anew`.

    What the disk refuses is written to the log: the save it tells of is done.
    """
    with _one_at_a_time:
        last = read(book)
        if last is not None and not anew and last.save >= head.save:
            return
        turn = last.turn + 1 if last else 0
        try:
            _put(mark_of(book), _text(Mark(**asdict(head) | {"turn": turn})), turn % 2, synced)
        except OSError as error:
            logbook.fault("writing the mark of the last save", error)


def _put(file: Path, text: bytes, slot: int, synced: bool) -> None:
    new = not file.exists()
    with file.open("xb" if new else "rb+") as written:
        if new:
            written.write(bytes(2 * SLOT_BYTES))  # a full disk later finds its room taken
        written.seek(slot * SLOT_BYTES)
        written.write(text)
    if synced:
        system.flush(file)
    if new and synced:
        system.flush_folder(file.parent)


def _text(mark: Mark) -> bytes:
    told = json.dumps(asdict(mark)).encode()
    return (hashlib.sha256(told).hexdigest().encode() + b" " + told + b"\n").ljust(SLOT_BYTES, b" ")


def _parsed(slot: bytes) -> Mark | None:
    seal, told = slot[:_HASH], slot[_HASH + 1 :].partition(b"\n")[0]
    if hashlib.sha256(told).hexdigest().encode() != seal:
        return None
    return Mark(**json.loads(told))


# --- What it says of a book ------------------------------------------------------------------------------


@dataclass(frozen=True)
class Lost:
    """What a mark tells of that the book does not have: up to what the book goes, or another history."""

    mark: Mark
    here: Head | None
    changes: int
    """How many changes are missing; 0 where the record reads otherwise."""

    @property
    def title(self) -> str:
        """What happened, in a line."""
        if not self.changes:
            return "The book is not the one that was saved last"
        saves = self.mark.save - self.here.save if self.here else 0
        if saves <= 0:  # an older schema, or another book
            return f"{counted(self.changes, 'change')} of the record {are(self.changes)} missing from the book"
        return f"{counted(saves, 'save')} {are(saves)} missing from the book"

    def words(self, log: Path) -> str:
        """Since when, until when, and how it can have come to that."""
        until = moment(self.mark.at)
        if not self.changes:
            return (
                f"Change {self.mark.change_id} of the record, which was saved last, on {until}, is another one in this "
                "book. Another book or a copy that was written to elsewhere was put in its place, or its record was "
                "rewritten. If you put it there yourself, all is well."
            )
        since = f"after {moment(self.here.at)} and " if self.here else ""
        return (
            f"{counted(self.changes, 'change')} of the record, told as saved {since}up to {until}, {are(self.changes)} "
            f"not in it. They stood in the log beside it, {log}, which was moved, emptied or deleted; or an older file "
            "was put in the book's place. If you put it there yourself, all is well."
        )


def lost(connection: sqlite3.Connection, told: Mark) -> Lost | None:
    """What a mark tells of and a book does not have; nothing where the book is as far or further."""
    if chain.has_chain(connection):
        here = chain.head(connection)
        reached = here.change_id if here else 0
    else:  # a copy of an older schema, whose changes have no links
        here, reached = None, _last_change(connection)
    if reached < told.change_id:
        return Lost(told, here, told.change_id - reached)
    return Lost(told, here, 0) if link_at(connection, told.change_id) != told.link else None


def link_at(connection: sqlite3.Connection, change_id: int) -> object:
    """The link of a change; nothing where there is none."""
    if not chain.has_chain(connection):
        return None
    row = connection.execute("SELECT link FROM change_link WHERE change_id = ?", (change_id,)).fetchone()
    return row[0] if row else None


def _last_change(connection: sqlite3.Connection) -> int:
    if "change" not in bookfile.table_names(connection):
        return 0
    return int(connection.execute("SELECT coalesce(max(id), 0) FROM change").fetchone()[0])


def moment(stored: str) -> str:
    """A moment as the file has it, in words and by the bench's time."""
    try:
        return clock.day_and_time(datetime.fromisoformat(stored).replace(tzinfo=UTC))
    except ValueError:
        return "an unreadable moment"


def are(count: int) -> str:
    """The verb that goes with a number."""
    return "is" if count == 1 else "are"
