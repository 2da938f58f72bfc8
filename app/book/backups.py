"""Copies of the book: made while it is open, proved by opening them, kept by one rule; and the way back.

A copy is taken at each start and on each day that Grainbook runs. The rule of what is kept: the newest 5, the newest of
each of the last 14 days, of each of the last 12 months and of each year for ever, and every copy made before the schema
was changed. The files that they name lie in one store for all of them, each once.
"""

import os
import re
import shutil
import sqlite3
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from app import clock, system
from app.book import bookfile, filestore, logs
from app.errors import Trouble
from app.troubles import DAMAGED, as_trouble

NEWEST, DAYS, MONTHS = 5, 14, 12
SPARE_BYTES = 50_000_000
"""What a copy leaves free on the disk, so that the book itself can still be saved to."""

_UNFINISHED = ".unfinished"


@dataclass(frozen=True)
class Copy:
    """A copy that was proved good."""

    file: Path
    made_at: datetime
    lasting: bool = False


def folder_of(book: Path) -> Path:
    """Where the copies of a book are: a folder beside it."""
    return book.with_name(f"{book.stem}-copies")


def copy(
    book: Path,
    target: Path,
    *,
    sealed: bool = True,
    alone: bool = False,
    store: Path | None = None,
    proving: bool = False,
) -> set[str]:
    """Copy a book, also while it is open, and prove the copy; the target appears only when it is good and on disk.

    A copy to be kept is sealed; one that becomes a book is not. The files that it names go into the copy itself where
    it is to be whole `alone`, or into a `store`, as far as it lacks them; `proving` reads again what it has. Given back
    are those that were not found whole, by their SHA-256: no reason to be without a copy.

    Raises
    ------
    Trouble
        The disk is full, the folder cannot be written, or the copy is not whole because the book is not.
    """
    unfinished = target.with_name(target.name + _UNFINISHED)
    with as_trouble():
        bookfile.remove(unfinished)
        try:
            _copy_and_prove(book, unfinished)
            lost = _with_files(book, unfinished, alone, store, proving)
            if sealed:
                bookfile.seal(unfinished)
            system.swap_in(unfinished, target)
        finally:
            bookfile.remove(unfinished)
    return lost


def _with_files(book: Path, copied: Path, alone: bool, store: Path | None, proving: bool) -> set[str]:
    """Put the files that a finished copy names into it, or into a store; which were not found whole."""
    lost: set[str] = set()
    if alone:
        with bookfile.opened(copied, write=True) as connection:
            connection.execute("BEGIN")
            lost = filestore.carry(connection, filestore.around(book))
            connection.execute("COMMIT")
    if store is not None:
        with bookfile.opened(copied) as connection:
            needed = filestore.needed(connection)
        for source in filestore.around(book):
            lost = filestore.bring_missing(source, store, needed, proving=proving)
            needed = {digest: size for digest, size in needed.items() if digest in lost}
    return lost


def _copy_and_prove(book: Path, unfinished: Path) -> None:
    logs.hold_together(book, thorough=False)
    with bookfile.opened(book) as source:
        source.execute("BEGIN")  # the counts and the copy are of one moment
        schema, rows = bookfile.schema_of(source, book), bookfile.count_rows(source)
        connection = sqlite3.connect(unfinished, isolation_level=None)
        try:
            source.backup(connection)
            connection.execute("PRAGMA journal_mode=DELETE")  # one file, nothing beside it
            bookfile.unseal(connection)
        finally:
            connection.close()
    try:
        same = bookfile.inspect(unfinished) == bookfile.Inspection(schema, rows)
    except Trouble as trouble:
        if trouble.kind != "damaged":
            raise
        same = False
    if not same:  # SQLite copies page by page: what is wrong in the copy is wrong in the book
        raise Trouble(DAMAGED, kind="damaged")


def keep_copy(book: Path, label: str = "") -> Copy:
    """Add a copy to the folder of copies, then let go of those that the rule does not keep.

    Raises
    ------
    Trouble
        The copy could not be made; the earlier ones are untouched.
    """
    folder = folder_of(book)
    with as_trouble():
        folder.mkdir(parents=True, exist_ok=True)
        for left in folder.glob(f"*{_UNFINISHED}*"):
            left.unlink(missing_ok=True)
        hold_room(book, folder, filestore.of_copies(folder))
    now = clock.now()
    while (target := folder / _name(book, now, label)).exists():
        now += timedelta(seconds=1)
    copy(book, target, store=filestore.of_copies(folder))
    _let_go(book, target)
    return Copy(target, now.replace(microsecond=0), bool(label))


def hold_room(book: Path, folder: Path, store: Path | None = None) -> None:
    """Refuse to fill a disk with a copy.

    Raises
    ------
    Trouble
        The folder's disk has no room for another file as large as the book, and for its files that the store lacks.
    """
    with bookfile.opened(book) as connection:
        files = filestore.needed(connection).items()
    more = sum(size for digest, size in files if store is None or not filestore.has(store, digest, size))
    if shutil.disk_usage(folder).free < book.stat().st_size + more + SPARE_BYTES:
        raise Trouble(
            f"There is no room for a copy of the book in {folder}. The book itself is safe. Make room there.",
            status=507,
            kind="full",
        )


def copies(book: Path) -> list[Copy]:
    """The copies of a book, newest first."""
    shape = re.compile(re.escape(book.stem) + r"-(\d{4}-\d\d-\d\dT\d{6}Z)(-before-\w+)?\.sqlite3")
    found = []
    for file in folder_of(book).glob("*.sqlite3"):
        if match := shape.fullmatch(file.name):
            made_at = datetime.strptime(match[1], "%Y-%m-%dT%H%M%SZ").replace(tzinfo=UTC)
            found.append(Copy(file, made_at, bool(match[2])))
    return sorted(found, key=lambda one: (one.made_at, one.file.name), reverse=True)


def kept(found: list[Copy], now: datetime) -> set[Copy]:
    """Which copies the rule keeps, by the days and months at the bench."""
    stay = {one for one in found if one.lasting} | set(found[:NEWEST])
    today = clock.local(now).date()
    newest_of: dict[tuple[str, str], Copy] = {}
    for one in found:  # newest first: the first of each day, month and year is the one that stays
        day = clock.local(one.made_at).date()
        if (today - day).days < DAYS:
            newest_of.setdefault(("day", f"{day}"), one)
        if (today.year - day.year) * 12 + today.month - day.month < MONTHS:
            newest_of.setdefault(("month", f"{day:%Y-%m}"), one)
        newest_of.setdefault(("year", f"{day:%Y}"), one)
    return stay | set(newest_of.values())


def restore(file: Path, book: Path) -> Path | None:
    """Put a copy in the book's place; what stood there is kept beside it, and its path is given back.

    Its files come into the book's folder, each proved, out of the copy itself or from the store beside it; what is not
    found is told on the pages that need it. Of the book itself, where a log or a seal that is not its own lies over it,
    the file is taken as it stands. An older schema is left as it is: opening the book brings it up, after a copy of its
    own.

    Raises
    ------
    Trouble
        The file is not there, damaged, no book or of a newer schema, or the book is open: nothing was changed.
    """
    if file.is_file() and book.exists() and os.path.samefile(file, book):
        if (bookfile.has_log(book) and not logs.pair(book).together) or not bookfile.has_whole_seal(book):
            return logs.take_alone(book)
        bookfile.inspect(file)
        raise Trouble(f"{file} is the book itself. Nothing was changed. Name the copy to put in its place.")
    bookfile.inspect(file)
    restoring = book.with_name(book.name + ".restoring")
    with as_trouble():
        book.parent.mkdir(parents=True, exist_ok=True)
    try:
        copy(file, restoring, sealed=False, store=filestore.folder_of(book), proving=True)
        filestore.unload(restoring, filestore.folder_of(book))
        with bookfile.opened(restoring, write=True) as connection:
            bookfile.bring_in(connection)
        replaced = keep_replaced(book)
        bookfile.put_in_place(restoring, book)
    finally:
        bookfile.remove(restoring)
    return replaced


def keep_replaced(book: Path) -> Path | None:
    """Keep what is about to be replaced under a dated name; a damaged book as well, and a log that was left behind.

    Raises
    ------
    Trouble
        Another program holds the book, or there is no room to keep it.
    """
    if not book.exists() and not bookfile.has_log(book):
        return None
    if bookfile.has_log(book) and (not book.exists() or not book.stat().st_size or not logs.pair(book).together):
        return bookfile.keep_beside(book, parted=True)  # to settle it would lay one over the other
    try:
        bookfile.settle(book)
    except Trouble as trouble:
        if trouble.kind != "damaged":
            raise
    return bookfile.keep_beside(book)


def look_after_files(book: Path) -> None:
    """Put back what is missing of the book's files and lies with its copies, then let go of what no book names.

    Raises
    ------
    Trouble
        The book is held by another program, or the disk refuses.
    """
    with as_trouble(), bookfile.opened(book) as connection:
        needed = filestore.needed(connection)
        filestore.bring_missing(filestore.of_copies(folder_of(book)), filestore.folder_of(book), needed)
    filestore.clear(book)


def _name(book: Path, moment: datetime, label: str) -> str:
    return f"{book.stem}-{moment.astimezone(UTC):%Y-%m-%dT%H%M%SZ}{f'-{label}' if label else ''}.sqlite3"


def _let_go(book: Path, just_made: Path) -> None:
    found = copies(book)
    stay = kept(found, clock.now())
    for one in found:
        if one not in stay and one.file != just_made:
            one.file.unlink(missing_ok=True)
    _let_go_of_files(book)


def _let_go_of_files(book: Path) -> None:
    """Remove what no copy names any more, nor the book or one kept beside it; nothing while one cannot be read."""
    store = filestore.of_copies(folder_of(book))
    with bookfile.opened(book) as connection:
        if filestore.held(store).keys() <= filestore.needed(connection).keys():
            return
    by_copies, by_books = filestore.needed_by_all_in(folder_of(book)), filestore.needed_by_all_in(book.resolve().parent)
    if by_copies is not None and by_books is not None:
        filestore.let_go(store, by_copies | by_books)
