"""Files outside the database: each once, in a folder beside the book, under the SHA-256 of what is in it.

```
book.sqlite3                       rows that name files: see `TABLES`
book-files/ab/abcdef…              the files themselves
book-copies/book-….sqlite3         copies, whose rows name files too
book-copies/files/ab/abcdef…       one store for all copies
```

A file is written under another name, flushed, proved and only then renamed, before the row that names it is saved:
what a crash leaves is a file that no row names, which is harmless and let go of by `clear`. No file can be another than
its name says without that being seen. A copy that travels alone carries its files in its table `carried_file`; opening
it as a book moves them out again (`unload`).
"""

import hashlib
import re
import secrets
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from app import system
from app.book import bookfile
from app.troubles import as_trouble

TABLES = {"curve_file": "firing", "altimeter_file": "firing", "firing_picture": "firing", "grain_picture": "grain"}
"""The tables whose rows name a file, and what each row belongs to."""

CARRIED = "carried_file"

_NAME = re.compile(r"[0-9a-f]{64}")
_UNFINISHED = ".unfinished"
_PIECE = 1_000_000


@dataclass(frozen=True)
class Named:
    """A row that names a file: whose it is, what the person called it, and what it must be."""

    table: str
    row_id: int
    owner: str
    """What it belongs to: `firing 3`."""
    name: str
    sha256: str
    size_bytes: int


# --- Places --------------------------------------------------------------------------------------


def folder_of(book: Path) -> Path:
    """Where the files of a book are: a folder beside it."""
    book = book.resolve()
    return book.with_name(f"{book.stem}-files")


def of_copies(folder: Path) -> Path:
    """Where the files of all copies in a folder are."""
    return folder / "files"


def around(file: Path) -> list[Path]:
    """Where the files may lie that a book, or a copy of one, names: beside it as a book, beside it as a copy."""
    return [folder_of(file), of_copies(file.resolve().parent)]


def place(store: Path, digest: str) -> Path:
    """Where a store has the file of that SHA-256.

    Raises
    ------
    ValueError
        It is no SHA-256, and so could be a path to anywhere.
    """
    if not _NAME.fullmatch(digest):
        raise ValueError("a file is named by its SHA-256")
    return store / digest[:2] / digest


# --- One file ------------------------------------------------------------------------------------


def put(store: Path, raw: bytes) -> str:
    """Keep a file; it is on disk and proved when its SHA-256 is given back.

    Raises
    ------
    OSError
        The disk is full or refuses; nothing is left.
    """
    digest = hashlib.sha256(raw).hexdigest()
    if not is_whole(store, digest):
        _write(store, digest, [raw])
    return digest


def get(store: Path, digest: str) -> bytes | None:
    """The bytes of a file, proved; nothing where it is missing or is not what it was."""
    try:
        raw = place(store, digest).read_bytes()
    except (OSError, ValueError):
        return None
    return raw if is_named(raw, digest) else None


def has(store: Path, digest: str, size: int) -> bool:
    """Whether a file is there, by its name and size alone."""
    try:
        return place(store, digest).stat().st_size == size
    except (OSError, ValueError):
        return False


def is_named(raw: object, digest: str) -> bool:
    """Whether bytes are what their name says."""
    return isinstance(raw, bytes) and hashlib.sha256(raw).hexdigest() == digest


def is_whole(store: Path, digest: str) -> bool:
    """Whether a file is there and is what it was, byte by byte."""
    try:
        return _digest_of(place(store, digest)) == digest
    except (OSError, ValueError):
        return False


def held(store: Path) -> dict[str, int]:
    """What a store holds: the size of each file by its SHA-256, not proved."""
    return {file.name: file.stat().st_size for file in _files(store) if _NAME.fullmatch(file.name)}


def _files(store: Path) -> Iterator[Path]:
    if store.is_dir():
        yield from (file for file in store.glob("??/*") if file.is_file() and not file.is_symlink())


def _digest_of(file: Path) -> str:
    digest = hashlib.sha256()
    with file.open("rb") as read:
        while piece := read.read(_PIECE):
            digest.update(piece)
    return digest.hexdigest()


def _pieces(file: Path) -> Iterator[bytes]:
    with file.open("rb") as read:
        while piece := read.read(_PIECE):
            yield piece


def _write(store: Path, digest: str, pieces: Iterable[bytes]) -> bool:
    """Write a file under another name, flush and prove it, and put it in place; whether it was what its name says."""
    target = place(store, digest)
    if not target.parent.is_dir():
        target.parent.mkdir(parents=True, exist_ok=True)
        for folder in (store, store.parent):
            system.flush_folder(folder)
    unfinished = target.with_name(f"{digest}.{secrets.token_hex(4)}{_UNFINISHED}")
    try:
        with unfinished.open("xb") as written:
            for piece in pieces:
                written.write(piece)
        if _digest_of(unfinished) != digest:
            return False
        if target.exists():  # one that was altered; Windows refuses to write over what is read-only
            _allow(target, 0o600)
        system.swap_in(unfinished, target)
        _allow(target, 0o400)
    finally:
        unfinished.unlink(missing_ok=True)
    return True


def _allow(file: Path, mode: int) -> None:
    """Give a file these rights, so that no slip writes to it; a disk that knows no rights leaves it as it is."""
    with suppress(OSError):
        file.chmod(mode)


# --- Stores --------------------------------------------------------------------------------------


def bring_missing(
    source: Path, target: Path, needed: Mapping[str, int] | None = None, *, proving: bool = False
) -> set[str]:
    """Copy into a store what it lacks of another, each file proved by its hash as it is copied.

    What the target has by name and size is left alone, and read and proved again where it is asked for. `needed` is
    the size of each file by its SHA-256; left out, it is all that the source holds. Given back is what neither has.

    Raises
    ------
    OSError
        The disk is full or refuses; what was copied before is whole.
    """
    lost = set()
    for digest, size in (held(source) if needed is None else needed).items():
        if has(target, digest, size) and (not proving or is_whole(target, digest)):
            continue
        # Its hash decides, not the size that a row tells.
        there = _NAME.fullmatch(digest) and place(source, digest).is_file()
        if not there or not _write(target, digest, _pieces(place(source, digest))):
            lost.add(digest)
    return lost


def let_go(store: Path, needed: Iterable[str]) -> int:
    """Remove from a store what is not needed and what a crash left half-written; how many files went.

    The caller has made sure that nobody writes to the store meanwhile, and that `needed` is all that is needed.
    """
    stay, gone = set(needed), 0
    for file in _files(store):
        unfinished = file.name.endswith(_UNFINISHED)
        if unfinished or (_NAME.fullmatch(file.name) and file.name not in stay):
            _allow(file, 0o600)
            file.unlink(missing_ok=True)
            gone += not unfinished
    return gone


# --- What a book names ---------------------------------------------------------------------------


def named(connection: sqlite3.Connection) -> list[Named]:
    """The rows that name a file outside the database; none in a book of a schema that kept the bytes in its rows."""
    found = []
    for table, owner in TABLES.items():
        columns = {row[1] for row in connection.execute(f"PRAGMA table_info({table})")}
        if "sha256" in columns and "raw" not in columns:
            of = f"'{owner} ' || {owner}_id"
            query = f"SELECT id, {of}, name, sha256, size_bytes FROM {table} ORDER BY id"  # noqa: S608 (ours)
            found += [Named(table, *row) for row in connection.execute(query)]
    return found


def needed(connection: sqlite3.Connection) -> dict[str, int]:
    """The size of each file that a book's rows name, by its SHA-256."""
    return {f"{row.sha256}": row.size_bytes if isinstance(row.size_bytes, int) else 0 for row in named(connection)}


def needed_by_all_in(folder: Path) -> dict[str, int] | None:
    """What is named by any book in a folder, whatever the file is called; nothing where one cannot be read.

    Nor where a log lies without its book: what was saved to it nobody can read.
    """
    found: dict[str, int] = {}
    for file in sorted(folder.iterdir()):
        if file.name.endswith("-log") or (file.name.endswith("-wal") and not _has_book(file)):
            return None
        try:
            if file.is_file():
                with bookfile.opened(file) as connection:
                    found |= needed(connection)
        except (OSError, sqlite3.Error) as error:
            other = getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_NOTADB
            if not other or file.suffix == ".sqlite3":
                return None
    return found


def _has_book(log: Path) -> bool:
    return log.with_name(log.name.removesuffix("-wal")).exists()


def clear(book: Path) -> int:
    """Let go of files that no book in this folder names, and of what a crash left; how many files went.

    The book that a restore replaced is one of these, and so is any copy that lies there. Where one of them cannot be
    read, nothing is let go. The book is held meanwhile, as a save holds it: a save that keeps a file waits.

    Raises
    ------
    Trouble
        The book is held by another program, or the folder cannot be written.
    """
    store = folder_of(book)
    if not store.is_dir():
        return 0
    with as_trouble(), bookfile.opened(book, write=True) as connection:
        connection.execute("BEGIN IMMEDIATE")
        stay = needed_by_all_in(store.parent)
        gone = 0 if stay is None else let_go(store, stay)
        connection.execute("ROLLBACK")
    return gone


def missing(book: Path) -> list[Named]:
    """The rows of a book whose file is not beside it, by name and size."""
    with as_trouble(), bookfile.opened(book) as connection:
        return [row for row in named(connection) if not has(folder_of(book), f"{row.sha256}", row.size_bytes)]


# --- A copy that travels alone -------------------------------------------------------------------


def carries(connection: sqlite3.Connection) -> bool:
    """Whether a book has files in itself."""
    return CARRIED in bookfile.table_names(connection) and bool(
        connection.execute(f"SELECT EXISTS (SELECT 1 FROM {CARRIED})").fetchone()[0]  # noqa: S608 (ours)
    )


def carry(connection: sqlite3.Connection, stores: Iterable[Path]) -> set[str]:
    """Put the files that a book names into its own table, each proved; given back is what no store has whole."""
    if CARRIED not in bookfile.table_names(connection):  # of a schema that kept the bytes in its rows
        return set()
    stores, lost = list(stores), set()
    there = {digest for (digest,) in connection.execute(f"SELECT sha256 FROM {CARRIED}")}  # noqa: S608 (ours)
    for digest in needed(connection).keys() - there:
        raw = next((raw for store in stores if (raw := get(store, digest)) is not None), None)
        if raw is None:
            lost.add(digest)
        else:
            connection.execute(f"INSERT INTO {CARRIED} (sha256, raw) VALUES (?, ?)", (digest, raw))  # noqa: S608
    return lost


def contents(connection: sqlite3.Connection, stores: Iterable[Path]) -> Iterator[tuple[str, bytes]]:
    """The files that a book names, each once and proved, with their SHA-256: those it carries, and those in stores."""
    stores, carries_some = list(stores), carries(connection)
    for digest in sorted(needed(connection)):
        raw = _carried(connection, digest) if carries_some else None
        if raw is None:
            raw = next((raw for store in stores if (raw := get(store, digest)) is not None), None)
        if raw is not None:
            yield digest, raw


def _carried(connection: sqlite3.Connection, digest: str) -> bytes | None:
    query = f"SELECT raw FROM {CARRIED} WHERE sha256 = ?"  # noqa: S608 (ours)
    found = connection.execute(query, (digest,)).fetchone()
    return found[0] if found is not None and is_named(found[0], digest) else None


def unload(book: Path, store: Path) -> int:
    """Move the files that a book carries into a store, each proved there before it leaves the book; how many.

    What is not what its name says stays in the book. Stopped at any moment, each file is in one of the two places.

    Raises
    ------
    Trouble
        The disk is full or refuses.
    """
    moved = []
    with as_trouble(), bookfile.opened(book, write=True) as connection:
        if not carries(connection):
            return 0
        for (digest,) in connection.execute(f"SELECT sha256 FROM {CARRIED}").fetchall():  # noqa: S608
            (raw,) = connection.execute(f"SELECT raw FROM {CARRIED} WHERE sha256 = ?", (digest,)).fetchone()  # noqa: S608
            if is_named(raw, digest):
                put(store, raw)
                moved.append((digest,))
        if moved:
            connection.execute("BEGIN IMMEDIATE")
            connection.executemany(f"DELETE FROM {CARRIED} WHERE sha256 = ?", moved)  # noqa: S608
            connection.execute("COMMIT")
            _shrink(connection)
    return len(moved)


def _shrink(connection: sqlite3.Connection) -> None:
    """Give the room of what was moved out back to the disk, or each copy would copy it; not worth failing for."""
    try:
        connection.execute("VACUUM")
    except sqlite3.OperationalError as error:
        if error.sqlite_errorcode & 0xFF not in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_BUSY):
            raise
