"""The book's file: engine, sessions and migrations. SQLite, WAL, every commit on disk before it is told."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

from sqlalchemy import URL, Connection, Engine, ExceptionContext, event
from sqlalchemy.exc import DisconnectionError
from sqlalchemy.orm import SessionTransaction
from sqlmodel import Session, create_engine

from app.book import bookfile, chain, left_out, logs, mark, notices
from app.book.watch import Watch
from app.errors import NotFound, Trouble
from app.settings import resource
from app.troubles import DAMAGED, as_trouble, trouble_of

if TYPE_CHECKING:
    from alembic.config import Config

BUSY_MS = 10_000
"""How long a save waits for another program that holds the book."""

KEPT = 20
"""Connections kept open: a new one first reads all guards of the book, which costs some 8 ms."""


def open_engine(book: Path, watch: Watch | None = None) -> Engine:
    """Engine on the book's file with foreign keys on, WAL, synchronous FULL and own transactions."""
    uri = book.resolve().as_uri()
    made = False
    watch = watch or Watch(book)

    def connect() -> sqlite3.Connection:
        watch.hold_in_place()
        # A file that is gone or was emptied is told: SQLite would make an empty one in its place, or take it for one.
        if made and book.exists() and book.stat().st_size == 0:
            raise Trouble(DAMAGED, kind="damaged")
        mode = "rw" if made else "rwc"
        return sqlite3.connect(f"{uri}?mode={mode}", uri=True, timeout=BUSY_MS / 1000, check_same_thread=False)

    engine = create_engine(
        URL.create("sqlite", database=str(book)),
        creator=connect,
        pool_size=KEPT,
        max_overflow=KEPT,
        execution_options={"left_out": left_out.LeftOut(book)},
    )
    left_out.install(engine)

    @event.listens_for(engine, "connect")
    def prepare(connection: sqlite3.Connection, record: Any) -> None:
        nonlocal made
        connection.isolation_level = None  # the driver must not begin or commit by itself
        for pragma in ("foreign_keys=ON", "journal_mode=WAL", "synchronous=FULL", f"busy_timeout={BUSY_MS}"):
            connection.execute(f"PRAGMA {pragma}")
        # Only `Checkpoints` and the last connection's end move the log in: `watch` knows of both.
        connection.execute("PRAGMA wal_autocheckpoint=0")
        watch.opened(connection)
        record.info["turn"], made = watch.turn, True

    @event.listens_for(engine, "close")
    def closed(_connection: sqlite3.Connection, _record: Any) -> None:
        watch.closed()

    @event.listens_for(engine, "checkout")
    def look(_connection: sqlite3.Connection, record: Any, _proxy: Any) -> None:
        watch.look()
        if record.info["turn"] != watch.turn:
            raise DisconnectionError  # the pool opens another one

    @event.listens_for(engine, "begin")
    def begin(connection: Any) -> None:
        # A writer takes the lock at once, so that two saves queue up instead of failing halfway.
        writes = connection.get_execution_options().get("writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
        if writes:
            watch.look()  # it may have waited long
            watch.hold_in_place()

    @event.listens_for(engine, "handle_error")
    def too_large(context: ExceptionContext) -> None:
        # No row of the file can have such an identity: whoever asks for it, by an address or a form, asks for nothing.
        if isinstance(context.original_exception, OverflowError):
            raise NotFound("There is no such entry in this book.") from context.original_exception

    return engine


class Look(Session):
    """A session that keeps the rows it has read: else each that nobody holds would be asked for again."""

    def expunge_all(self) -> None:
        """Forget all rows, as a table of any size does between its parts."""
        self.info.pop("kept", None)
        super().expunge_all()


@event.listens_for(Look, "loaded_as_persistent")
def _keep(look: Session, row: object) -> None:
    look.info.setdefault("kept", []).append(row)


@contextmanager
def reading(engine: Engine) -> Iterator[Session]:
    """A session for a page that only looks."""
    with Look(engine, autoflush=False) as session:
        yield session


class Act(Session):
    """A session that links what it changed into the record's chain right before its commit, and marks it after."""

    outside = 0
    """Changes of another program that the transaction under way came upon."""

    def commit(self) -> None:
        """Save all of it, with its links and digests, in the one transaction; then tell the mark beside the book."""
        self.flush()
        connection = self.connection()
        book, plain = Path(str(connection.engine.url.database)), chain.plain(connection)
        outside, head = self.outside, chain.extend(plain)
        if outside and head is None:
            head = chain.head(plain)
        synced = bool(plain.execute("PRAGMA synchronous").fetchone()[0])
        super().commit()
        if head is not None:
            mark.write(book, head, synced=synced)
        if outside:
            notices.tell_outside(book, outside)


@event.listens_for(Act, "after_begin")
def _take_in(act: Act, transaction: SessionTransaction, connection: Connection) -> None:
    """What another program wrote since the last save is linked before this one begins, as that program's."""
    if not transaction.nested:
        plain = chain.plain(connection)
        act.outside = chain.unlinked(plain)
        if act.outside:
            chain.extend(plain, outside=True)


@contextmanager
def writing(engine: Engine) -> Iterator[Session]:
    """A session for one act: committed as a whole by its user, rolled back on any error."""
    with Act(engine.execution_options(writes=True)) as session:
        try:
            yield session
        except BaseException:
            session.rollback()
            raise


def migrate(book: Path) -> None:
    """Create the book's file, or bring it to this program's schema; a failure leaves the book as it was.

    An older book is copied first, and the steps are taken on another copy, which then takes its place.

    Raises
    ------
    Trouble
        The file is no book, is damaged, of a newer schema, held by another program, or a step failed.
    """
    from app import logbook
    from app.book import backups, filestore, guards, missing

    with as_trouble():
        book.parent.mkdir(parents=True, exist_ok=True)
        logs.hold_together(book, thorough=False)
        if bookfile.blank(book):
            upgrade(book)
            return
        with bookfile.opened(book) as connection:
            schema = bookfile.schema_of(connection, book)
            sealed = bookfile.is_sealed(connection)
            found = dict(connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"))
            carries = filestore.carries(connection)
    if sealed:  # a copy that is opened to be worked in
        with as_trouble(), bookfile.opened(book, write=True) as connection:
            bookfile.bring_in(connection)
    if schema == bookfile.schemas()[-1]:
        if found != guards.GUARDS:
            upgrade(book)  # puts the guards on as they are now
        if carries:  # a copy that travelled alone
            filestore.unload(book, filestore.folder_of(book))
        return
    missing.look_through(book)
    bookfile.settle(book)
    kept = backups.keep_copy(book, label=f"before-{bookfile.schemas()[-1]}")
    unfinished = book.with_name(f"{book.name}.unfinished")
    bookfile.remove(unfinished)
    try:
        backups.copy(book, unfinished, sealed=False)
        upgrade(unfinished)
        filestore.unload(unfinished, filestore.folder_of(book))
        if sealed:
            with bookfile.opened(unfinished, write=True) as connection:
                bookfile.bring_in(connection)
        bookfile.settle(unfinished)
        bookfile.inspect(unfinished)
        bookfile.put_in_place(unfinished, book)
        missing.begin(book)
    except Exception as error:
        logbook.fault("bringing the book to this version", error)
        if (trouble := trouble_of(error)) is not None:
            raise trouble from error
        raise Trouble(
            f"The book {book} could not be brought to this version and was left as it was, at schema {schema}. Nothing "
            f"is lost; a copy of it is {kept.file}. Open it with the Grainbook it was written with, and report this.",
            kind="migration",
        ) from error
    finally:
        bookfile.remove(unfinished)
    logbook.note(f"The book was brought from schema {schema} to {bookfile.schemas()[-1]}.")


def upgrade(book: Path, to: str = "head") -> None:
    """Take the steps of the schema on a file, in one transaction, without a copy; `migrate` is what a book needs."""
    if bookfile.blank(book):
        with closing(sqlite3.connect(":memory:")) as empty, closing(sqlite3.connect(book)) as file:
            empty.deserialize(_empty(to))
            empty.backup(file)
            file.execute("PRAGMA journal_mode=WAL")
    else:
        _take_steps(book, to)


@cache
def _empty(to: str) -> bytes:
    """A book without a row, as the steps make it from nothing: worked out once in a process, and of one file alone."""
    with TemporaryDirectory() as folder:
        file = Path(folder) / "empty.sqlite3"
        _take_steps(file, to)
        bookfile.settle(file)
        return file.read_bytes()


def _take_steps(book: Path, to: str) -> None:
    from alembic import command

    command.upgrade(steps(book), to)


def steps(book: Path) -> "Config":
    """What alembic needs to know: the steps, and the file to take them on."""
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(resource("migrations")).replace("%", "%%"))
    config.attributes["book"] = book
    return config
