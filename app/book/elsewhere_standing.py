"""What is known of a book's second place while it may be away: kept in a small file beside the book, told in words."""

import json
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any, Self

from app import clock, logbook, system
from app.book import elsewhere
from app.book.elsewhere import Reading, There


@dataclass(frozen=True)
class Known:
    """What was last seen at the second place."""

    home: str = ""
    file: str = ""
    """The newest copy there."""
    made_at: str = ""
    changes: int | None = None
    saves: int | None = None
    """How far that copy goes; not known of one that another computer made."""
    seen_at: str = ""
    """When the place was last there."""
    keys: dict[str, str] = field(default_factory=dict)
    """The closed keys of this book by name, so that one can be laid beside the copies again."""

    def with_newest(self, reading: Reading, copy: There | None, *, as_read: bool) -> Self:
        """The same with a newer copy; `as_read` if it goes as far as the book did when it was read."""
        return replace(
            self,
            home=str(reading.home),
            file=copy.file.name if copy else "",
            made_at=copy.made_at.isoformat() if copy else "",
            changes=reading.changes if as_read else None,
            saves=reading.saves if as_read else None,
            seen_at=clock.now().isoformat(),
        )

    @property
    def newest_at(self) -> datetime | None:
        """When the newest copy was made."""
        return datetime.fromisoformat(self.made_at) if self.made_at else None


def file_of(book: Path) -> Path:
    """The file that keeps it."""
    return book.with_name(f"{book.stem}-elsewhere.json")


def recall(book: Path) -> Known:
    """What was kept; nothing where it cannot be read: the place itself tells it again."""
    try:
        told: dict[str, Any] = json.loads(file_of(book).read_text(encoding="utf-8"))
        known = Known(**told)
        if known.made_at:
            datetime.fromisoformat(known.made_at)
        if known.seen_at:
            datetime.fromisoformat(known.seen_at)
    except (OSError, ValueError, TypeError):
        return Known()
    return known


def remember(book: Path, known: Known) -> None:
    """Keep it; a full disk is no reason to stop."""
    file = file_of(book)
    unfinished = file.with_name(f"{file.name}.unfinished")
    try:
        unfinished.write_text(json.dumps(asdict(known)), encoding="utf-8")
        system.swap_in(unfinished, file)
    except OSError as error:
        logbook.fault("noting what is at the second place", error)


def restored(book: Path, copy: There) -> None:
    """Note that a book was just restored from this copy: where it is the newest, the book holds no more than that."""
    reading = elsewhere.read(book)
    if reading.home != copy.file.parent.absolute():
        return  # taken from elsewhere than where the book will look for its second place
    keys = {}
    if copy.key:
        keys[copy.key] = elsewhere.key_file(copy.file.parent, copy.key).read_text(encoding="ascii")
    remember(book, Known(keys=keys).with_newest(reading, copy, as_read=True))


@dataclass(frozen=True)
class Elsewhere:
    """How it stands with the second place, for a page."""

    home: str
    last_at: datetime | None
    unsaved: int | None
    """Saves since that copy; None where that is not known."""
    away_since: datetime | None
    failed_at: datetime | None
    trouble: str
    encrypted: bool
    readable: int
    """Copies there that anybody can read, though the newest are encrypted."""
    key_file: str
    """What the file with the key is called, and what stands in it; "" where it is not known here."""
    closed_key: str
    of_another: datetime | None
    """When a copy was made there that is dated later than the last one of this computer, and is not of it."""

    @property
    def days_old(self) -> int:
        """How many days ago, at the bench, the last copy elsewhere was made."""
        return (clock.today() - clock.local(self.last_at).date()).days if self.last_at else 0

    @property
    def urgent(self) -> bool:
        """Whether copies fail, or something saved is in one place alone for longer than a day."""
        old = self.last_at is None or self.days_old > 1
        return bool(self.trouble or self.of_another) or (old and self.unsaved != 0)

    @property
    def words(self) -> str:
        """How old the last copy elsewhere is, whether its place is there, and what is not in it."""
        said = []
        if self.away_since:
            said.append(f"The second place was not there since {clock.day_and_time(self.away_since)}.")
        if self.last_at is None:
            said.append("There is no copy elsewhere yet.")
        elif self.days_old > 1:
            said.append(f"The last copy elsewhere is {self.days_old} days old ({clock.day_and_time(self.last_at)}).")
        else:
            day = "today" if self.days_old <= 0 else "yesterday"
            said.append(f"The last copy elsewhere is of {day}, {clock.local(self.last_at):%H:%M}.")
        if self.last_at is not None and self.unsaved is not None:
            saves = f"{self.unsaved} {'save' if self.unsaved == 1 else 'saves'}"
            said.append(f"{saves} since then: not in it." if self.unsaved else "All that was saved is in it.")
        if self.of_another:
            said.append(
                f"A copy of {clock.day_and_time(self.of_another)} lies there that this computer did not make: another "
                "one works in the same book, or a clock was wrong. Work on one computer only, or what is saved on the "
                "other is in another book."
            )
        return " ".join(said)
