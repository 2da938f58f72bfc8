"""The second place for copies: a stick, a network drive or a folder that another program keeps in step.

```
FOLDER/grainbook-1a2b3c4d/            one folder for each book, by a mark of the book's own
    HOW-TO-RESTORE.txt                what is to be typed on a new computer
    book-2026-11-26T042107Z.sqlite3   copies, kept by the same rule as those beside the book
    files/ab/abcdef…                  the files that they name, each once: pictures, logger files
    1a2b3c4d.key.txt                  if encrypted: the key, closed with the passphrase …
    book-…Z.1a2b3c4d.sqlite3.age      … and the copies closed with it, and files/ab/abcdef….1a2b3c4d.age
```

The book's folder is made when the place is chosen, and never by itself: a drive that is not plugged in may leave an
empty folder behind on the disk of the book, which would be no second place.
"""

import hashlib
import re
import secrets
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from app import clock, system
from app.book import backups, bookfile, encryption, filestore
from app.book.encryption import Key
from app.errors import Asked, Refused, Trouble
from app.troubles import as_trouble, trouble_of

HOW_TO = "HOW-TO-RESTORE.txt"
SPARE_BYTES = 1_000_000
_PIECE = 1_000_000
_UNFINISHED = ".unfinished"
_SCRATCH = "elsewhere-"
_COPY = re.compile(r"(?P<stem>.+)-(?P<at>\d{4}-\d\d-\d\dT\d{6}Z)(?:\.(?P<key>\w{8}))?\.sqlite3(?P<closed>\.age)?")

Beat = Callable[[], None]
"""Called between two pieces of a long work: tells that it goes on, and raises to end it."""


@dataclass(frozen=True)
class Reading:
    """What a book says of its second place, and how far it has come."""

    folder: str
    key: str
    mark: str
    """The book's own: the same after a restore, another for every book."""
    changes: int
    saves: int
    open_sessions: tuple[int, ...]

    @property
    def home(self) -> Path:
        """The book's folder at the second place."""
        return Path(self.folder) / f"grainbook-{self.mark}"


@dataclass(frozen=True)
class There:
    """A copy at a second place."""

    file: Path
    made_at: datetime
    key: str = ""
    """The name of the key that it is closed with; "" where anybody can read it."""

    @property
    def as_copy(self) -> backups.Copy:
        """As the rule of what is kept takes it."""
        return backups.Copy(self.file, self.made_at)


def read(book: Path) -> Reading:
    """What the book says now.

    Raises
    ------
    Trouble
        The book does not answer.
    """
    with as_trouble(), bookfile.opened(book) as connection:
        folder, key, created = connection.execute(
            "SELECT elsewhere_folder, elsewhere_key, created_at FROM workshop WHERE id = 1"
        ).fetchone()
        changes, saves = connection.execute(
            "SELECT (SELECT coalesce(max(id), 0) FROM change), (SELECT coalesce(max(rowid), 0) FROM once_token)"
        ).fetchone()
        sessions = connection.execute("SELECT id FROM cast_session WHERE closed_at IS NULL ORDER BY id").fetchall()
    mark = hashlib.sha256(str(created).encode()).hexdigest()[:8]
    return Reading(folder, key, mark, changes, saves, tuple(row[0] for row in sessions))


def copies_in(home: Path) -> list[There]:
    """The copies in a folder, newest first; readable and encrypted ones, of any book's name."""
    found = []
    found = [one for file in home.iterdir() if (one := as_copy(file)) is not None]
    return sorted(found, key=lambda one: (one.made_at, one.file.name), reverse=True)


def as_copy(file: Path) -> There | None:
    """What a file is as a copy, by its name; nothing where it is none."""
    match = _COPY.fullmatch(file.name)
    if match is None or bool(match["key"]) != bool(match["closed"]):
        return None
    made_at = datetime.strptime(match["at"], "%Y-%m-%dT%H%M%SZ").replace(tzinfo=UTC)
    return There(file, made_at, match["key"] or "")


def key_file(home: Path, name: str) -> Path:
    """Where the closed key of that name lies."""
    return home / f"{name}.key.txt"


# --- Choosing a place --------------------------------------------------------------------------------------


def whole_path(typed: str) -> Path:
    """The folder that was typed, as a whole path.

    Raises
    ------
    Refused
        It is no whole path, or no path at all.
    """
    folder = Path(typed.strip()).expanduser() if "\0" not in typed else Path()
    if not folder.is_absolute():
        raise Refused(
            "Give the whole path of the folder, as the file manager shows it: /media/you/STICK, or E:\\ on Windows.",
            field="folder",
        )
    return folder


def examine(book: Path, folder: Path, *, same_disk: bool) -> None:
    """See whether a folder can be the second place of a book; `same_disk` that one on the book's own disk will do.

    Raises
    ------
    Refused
        It is not there, is no folder, cannot be written, lies among the copies or has no room.
    Asked
        It is on the same disk as the book.
    """
    if not folder.exists():
        raise Refused(
            f"There is no folder {folder} now. Plug the drive in, or make the folder, then save again.", field="folder"
        )
    if not folder.is_dir():
        raise Refused(f"{folder} is a file. Name the folder that holds it, or another.", field="folder")
    book, inside = book.resolve(), folder.resolve()
    for own in (backups.folder_of(book), filestore.folder_of(book)):
        if inside == own or own in inside.parents:
            raise Refused(
                f"This is inside {own}, which lies beside the book and dies with it. Name a folder on another drive.",
                field="folder",
            )
    probe = folder / f".grainbook-{secrets.token_hex(4)}"
    try:
        probe.write_bytes(b"Grainbook looked whether it can write here.")
        probe.unlink()
    except OSError as error:
        raise Refused(
            f"Nothing can be written to {folder} ({error.strerror}). Make it writable for you, or name another.",
            field="folder",
        ) from error
    if shutil.disk_usage(folder).free < book.stat().st_size + SPARE_BYTES:
        raise Refused(
            f"There is no room for a copy in {folder}. Make room there, or name another folder.", field="folder"
        )
    if not same_disk and folder.stat().st_dev == book.stat().st_dev:
        raise Asked(
            "This folder is on the same disk as the book: it is no second place, and dies with the disk. Only if "
            "another program keeps this folder in step with another computer is it one. Use it all the same?",
            "folder",
            keep="Use {typed} all the same",
            about="same_disk",
        )


def lay_out(home: Path, key: Key | None) -> None:
    """Make the book's folder at the second place, with what has to be known there to restore.

    Raises
    ------
    OSError
        The place is gone, full or refuses.
    """
    home.mkdir(exist_ok=True)
    closed = (
        "They are closed with a passphrase (format age-encryption.org/v1). The key beside them, *.key.txt, is closed\n"
        "with it too and is needed as well: leave it there. Without the passphrase nobody can open them.\n\n"
    )
    _write(
        home / HOW_TO,
        "These are copies of a Grainbook: the whole record of a workshop, one file each.\n\n"
        + (closed if key else "")
        + "On a new computer, install Grainbook as its README says. Then type, with the path of this folder:\n\n"
        "    grainbook restore PATH\n\n"
        "It takes the newest copy, looks whether it is whole, and puts it in the book's place; a book that stands\n"
        "there is kept beside it. To take an older copy, name its file in place of the folder.\n",
    )
    if key:
        _write(key_file(home, key.name), key.closed)


def _write(file: Path, text: str) -> None:
    unfinished = file.with_name(file.name + _UNFINISHED)
    unfinished.write_text(text, encoding="utf-8", newline="\n")
    system.swap_in(unfinished, file)


# --- Copying there -----------------------------------------------------------------------------------------


def copy_there(book: Path, reading: Reading, beat: Beat) -> There:
    """Copy the book to its second place, prove the copy by reading it back from there, and let go by the rule.

    A readable copy is looked through there as a book. An encrypted one cannot be opened without the passphrase: it is
    made of a proved copy and compared byte by byte with what was written.

    Raises
    ------
    Trouble
        The place is away, full or cannot be written, or gives back other bytes than were written; what was there is
        untouched.
    """
    home = reading.home
    with _told_of(home):
        for left in home.rglob(f"*{_UNFINISHED}"):
            left.unlink(missing_ok=True)
        name = encryption.name_of(reading.key) if reading.key else ""
        if name and not key_file(home, name).is_file():
            raise Trouble(
                f"The key of your copies is missing at the second place ({key_file(home, name)}): without it no new "
                "copy could be opened again, so none was made. Choose the place and a passphrase anew in the settings.",
                kind="key",
            )
    with scratch(book) as folder:
        proved = folder / "copy.sqlite3"
        backups.copy(book, proved)
        sent = proved
        if name:
            sent = folder / "copy.age"
            encryption.close(proved, sent, reading.key)
        with _told_of(home):
            _hold_room(home, sent.stat().st_size)
            _carry_files(book, proved, home, reading.key, beat)
            target = _free_name(home, book.stem, name)
            _carry(sent, target, beat, whole=None if name else bookfile.inspect(proved))
            _let_go(home, target)
    made = as_copy(target)
    assert made is not None, "its name was made here"
    return made


@contextmanager
def scratch(book: Path) -> Iterator[Path]:
    """A folder beside the book for what is only passing; removed at the end, or by `clear` after a kill."""
    folder = backups.folder_of(book) / f"{_SCRATCH}{secrets.token_hex(6)}"
    with as_trouble():
        backups.folder_of(book).mkdir(parents=True, exist_ok=True)
        backups.hold_room(book, folder.parent, filestore.folder_of(book))  # the files do not pass through here
        folder.mkdir()
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def clear(book: Path) -> None:
    """Remove what a kill left in the middle of a copy."""
    for left in backups.folder_of(book).glob(f"{_SCRATCH}*"):
        shutil.rmtree(left, ignore_errors=True)


def _carry(source: Path, target: Path, beat: Beat, whole: bookfile.Inspection | None = None) -> None:
    """Bring a file there under another name, read it back from the medium, and only then give it its name."""
    unfinished, sent = target.with_name(target.name + _UNFINISHED), hashlib.sha256()
    try:
        with source.open("rb") as read, unfinished.open("wb") as written:
            while piece := read.read(_PIECE):
                beat()
                written.write(piece)
                sent.update(piece)
        system.flush(unfinished)
        system.forget(unfinished)
        came = hashlib.sha256()
        with unfinished.open("rb") as read:
            while piece := read.read(_PIECE):
                beat()
                came.update(piece)
        if came.digest() != sent.digest() or (whole and bookfile.inspect(unfinished) != whole):
            raise Trouble(
                f"What was written to {target.parent} came back altered: the drive there is failing. The copies made "
                "before may be too. Choose another place in the settings.",
                kind="altered",
            )
        beat()
        system.swap_in(unfinished, target)
    finally:
        bookfile.remove(unfinished)


def _carry_files(book: Path, proved: Path, home: Path, key: str, beat: Beat) -> None:
    """Bring what the copy names, each file once; one that is missing beside the book is told there and not here."""
    with bookfile.opened(proved) as connection:
        needed = filestore.needed(connection)
    for digest, size in needed.items():
        beat()
        target = file_there(home, digest, encryption.name_of(key) if key else "")
        if target.exists() and (key or target.stat().st_size == size):
            continue
        source = next((one for one in filestore.around(book) if filestore.is_whole(one, digest)), None)
        if source is None:
            continue
        sent = filestore.place(source, digest)
        _hold_room(home, size)
        target.parent.mkdir(parents=True, exist_ok=True)
        if key:
            closed = proved.with_name(digest)
            encryption.close(sent, closed, key)
            _carry(closed, target, beat)
            closed.unlink()
        else:
            _carry(sent, target, beat)


def file_there(home: Path, digest: str, key: str) -> Path:
    """Where a file that copies name lies at the second place; closed with a key under a name of its own."""
    place = filestore.place(filestore.of_copies(home), digest)
    return place.with_name(f"{digest}.{key}.age") if key else place


def _hold_room(home: Path, size: int) -> None:
    if shutil.disk_usage(home).free < size + SPARE_BYTES:
        raise Trouble(
            f"There is no room for another copy in {home}. Those that are there are safe. Make room there, or choose "
            "another place in the settings.",
            status=507,
            kind="full",
        )


def _free_name(home: Path, stem: str, key: str) -> Path:
    at, ending = clock.now().astimezone(UTC), f".{key}.sqlite3.age" if key else ".sqlite3"
    while (target := home / f"{stem}-{at:%Y-%m-%dT%H%M%SZ}{ending}").exists():
        at += timedelta(seconds=1)
    return target


def _let_go(home: Path, just_made: Path) -> None:
    found = copies_in(home)
    stay = backups.kept([one.as_copy for one in found], clock.now())
    for one in found:
        if one.as_copy not in stay and one.file != just_made:
            one.file.unlink(missing_ok=True)


@contextmanager
def _told_of(home: Path) -> Iterator[None]:
    """Errors of the second place in words that are about it, and not about the book's own disk."""
    try:
        yield
    except Trouble:
        raise
    except (OSError, sqlite3.Error) as error:
        found = trouble_of(error)
        if found is not None and found.kind == "full":
            raise Trouble(
                f"There is no room left in {home}. The copies that are there are safe. Make room there, or choose "
                "another place in the settings.",
                status=507,
                kind="full",
            ) from error
        raise Trouble(
            f"The second place went away or refused in the middle of a copy ({home}). The copies made there before are "
            "as they were; what was begun is cleared away next time.",
            kind="away",
        ) from error
