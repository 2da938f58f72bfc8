"""Whether every file that a book names is where it should be and is what it was; and where a good one lies if not."""

import sqlite3
from collections.abc import Iterator
from pathlib import Path

from app.book import backups, filestore
from app.book.filestore import Named


def faults(connection: sqlite3.Connection, book: Path) -> Iterator[str]:
    """What is wrong with the files of a book, or of a copy of one: each read and held to its SHA-256."""
    stores = filestore.around(book)
    carried = {digest for digest, _ in filestore.contents(connection, [])}
    proved: dict[str, bool] = {}
    for row in filestore.named(connection):
        digest = f"{row.sha256}"
        if digest not in proved:
            proved[digest] = digest in carried or any(filestore.is_whole(store, digest) for store in stores)
        if not proved[digest]:
            yield _words(connection, book, row)


def _words(connection: sqlite3.Connection, book: Path, row: Named) -> str:
    digest, stores = f"{row.sha256}", filestore.around(book)
    own = next((store for store in stores if store.is_dir()), stores[0])
    what = "was altered" if filestore.has(own, digest, row.size_bytes) else "is missing"
    elsewhere = [folder for folder in _other_places(connection, book) if filestore.is_whole(folder, digest)]
    good = (
        f"A good one is {filestore.place(elsewhere[0], digest)}: copy it there."
        if elsewhere
        else "No good one was found with the copies. What was read out of it is in the book."
    )
    return (
        f"The file {row.name} of {row.owner} ({row.table} {row.row_id}) {what}: it should be "
        f"{digest[:2]}/{digest} in {own}. {good}"
    )


def _other_places(connection: sqlite3.Connection, book: Path) -> Iterator[Path]:
    """Where a good one may lie: with the copies of the book, and with those in the second place."""
    yield filestore.of_copies(backups.folder_of(book))
    columns = {name for _, name, *_ in connection.execute("PRAGMA table_info(workshop)")}
    if "elsewhere_folder" in columns:
        for (folder,) in connection.execute("SELECT elsewhere_folder FROM workshop WHERE elsewhere_folder <> ''"):
            yield from sorted(Path(f"{folder}").glob("grainbook-*/files"))
