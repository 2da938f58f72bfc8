"""The way back from a second place: which copy a folder means, and what is encrypted opened with its passphrase."""

import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from app import clock
from app.book import bookfile, elsewhere, encryption, filestore
from app.book.elsewhere import There
from app.errors import Trouble
from app.troubles import as_trouble

SLACK = timedelta(days=1)
"""How far ahead of this computer's clock a copy may be dated."""

Ask = Callable[[], str]
"""Asks the person for the passphrase."""


@dataclass(frozen=True)
class Found:
    """The copies of one book in one folder, newest first."""

    folder: Path
    copies: list[There]

    @property
    def words(self) -> str:
        """How many and how new they are."""
        newest = self.copies[0]
        many = f"{len(self.copies)} copies" if len(self.copies) > 1 else "1 copy"
        closed = ", encrypted" if newest.key else ""
        return f"{many}, the newest of {clock.day_and_time(newest.made_at)}{closed}"


def newest_in(folder: Path) -> There:
    """The newest copy in a second place, in a book's folder there, or in the folder of copies beside a book.

    Raises
    ------
    Trouble
        There is none, there are those of several books, or the folder cannot be read.
    """
    try:
        found = [
            Found(one, copies)
            for one in (folder, *sorted(child for child in folder.iterdir() if (child / elsewhere.HOW_TO).is_file()))
            if (copies := elsewhere.copies_in(one))
        ]
    except PermissionError as error:
        raise Trouble(
            f"{folder} cannot be read by your account: it may have been written by another one. Nothing was changed. "
            "Copy the folder to where you may read it, then name that.",
            kind="read-only",
        ) from error
    if not found:
        raise Trouble(f"There is no copy of a book in {folder}. Nothing was changed. Name the folder they are in.")
    if len(found) > 1:
        lines = "\n".join(f"  grainbook restore {_typed(one.folder)}   ({one.words})" for one in found)
        raise Trouble(f"There are copies of {len(found)} books in {folder}. Nothing was changed. Type one of:\n{lines}")
    return _not_ahead(found[0].copies)


def _not_ahead(copies: list[There]) -> There:
    """The newest copy, where its moment can be believed: which one is meant is asked where a clock was ahead."""
    newest, past = copies[0], [one for one in copies if one.made_at <= clock.now() + SLACK]
    if newest in past:
        return newest
    lines = "\n".join(
        f"  grainbook restore {_typed(one.file)}   ({clock.day_and_time(one.made_at)})" for one in (newest, *past[:1])
    )
    raise Trouble(
        f"The newest copy is dated {clock.day_and_time(newest.made_at)}, which is still to come: a clock was wrong "
        "when it was made, or this computer's is now. Nothing was changed. Set the clock right, or type which one you "
        "mean:\n"
        f"{lines}"
    )


@contextmanager
def readable(copy: There, book: Path, ask: Ask) -> Iterator[Path]:
    """A copy as a file that can be restored: itself, or for as long as it is needed what it is without its encryption.

    Raises
    ------
    Trouble
        The passphrase does not open it, its key is missing, or it is damaged.
    """
    if not copy.file.is_file():
        raise Trouble(f"There is no file {copy.file}. Nothing was changed. Look at the name you typed.", kind="missing")
    if not copy.key:
        yield copy.file
        return
    key = elsewhere.key_file(copy.file.parent, copy.key)
    with as_trouble():
        if not key.is_file():
            raise Trouble(
                f"The key of this copy is missing: {key}. Nothing was changed. Put it back there, from where you keep "
                "or printed it, then try again.",
                kind="key",
            )
        secret = encryption.secret_of(key.read_text(encoding="ascii", errors="replace"), ask())
        book.parent.mkdir(parents=True, exist_ok=True)
        scratch = Path(tempfile.mkdtemp(prefix="opening-", dir=book.parent))
    try:
        opened = scratch / copy.file.name.replace(f".{copy.key}", "").removesuffix(".age")
        with as_trouble():
            encryption.open_with(secret, copy.file, opened)
            _open_files(copy, secret, opened)
        yield opened
    finally:
        shutil.rmtree(scratch, ignore_errors=True)


def _open_files(copy: There, secret: str, opened: Path) -> None:
    """Open the files that a copy names, where a restore looks for them; what is missing is told when it is done."""
    bookfile.hold_to_seal(opened)
    with bookfile.opened(opened) as connection:
        needed = filestore.needed(connection)
    for digest in needed:
        closed = elsewhere.file_there(copy.file.parent, digest, copy.key)
        place = filestore.place(filestore.of_copies(opened.parent), digest)
        if closed.is_file():
            place.parent.mkdir(parents=True, exist_ok=True)
            with suppress(Trouble):
                encryption.open_with(secret, closed, place)


def before(copy: There) -> There | None:
    """The copy that was made before this one, in the same folder; nothing where it is the oldest."""
    older = [one for one in elsewhere.copies_in(copy.file.parent) if one.made_at < copy.made_at]
    return older[0] if older else None


def reaches(book: Path) -> str:
    """Until when a book holds what was saved, in words."""
    with as_trouble(), bookfile.opened(book) as connection:
        (last,) = connection.execute("SELECT max(spent_at) FROM once_token").fetchone()
    if not last:
        return "Nothing was saved in it yet."
    at = datetime.fromisoformat(last).replace(tzinfo=UTC)
    return f"The last save in it is of {clock.day_and_time(at)}; what was saved after that is not in it."


def _typed(folder: Path) -> str:
    return f'"{folder}"' if " " in str(folder) else str(folder)
