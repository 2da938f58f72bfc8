"""The book's file: engine, sessions and migrations. SQLite, WAL, every commit on disk before it is told."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, event
from sqlmodel import Session, create_engine

from app.settings import resource


def open_engine(book: Path) -> Engine:
    """Engine on the book's file with foreign keys on, WAL, synchronous FULL and own transactions."""
    engine = create_engine(f"sqlite:///{book}", connect_args={"timeout": 10, "check_same_thread": False})

    @event.listens_for(engine, "connect")
    def prepare(connection: sqlite3.Connection, _record: Any) -> None:
        connection.isolation_level = None  # the driver must not begin or commit by itself
        for pragma in ("foreign_keys=ON", "journal_mode=WAL", "synchronous=FULL", "busy_timeout=10000"):
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def begin(connection: Any) -> None:
        # A writer takes the lock at once, so that two saves queue up instead of failing halfway.
        writes = connection.get_execution_options().get("writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


@contextmanager
def reading(engine: Engine) -> Iterator[Session]:
    """A session for a page that only looks."""
    with Session(engine, autoflush=False) as session:
        yield session


@contextmanager
def writing(engine: Engine) -> Iterator[Session]:
    """A session for one act: committed as a whole by its user, rolled back on any error."""
    with Session(engine.execution_options(writes=True)) as session:
        try:
            yield session
        except BaseException:
            session.rollback()
            raise


def migrate(book: Path) -> None:
    """Create the book's file, or bring it to this program's schema."""
    from alembic import command
    from alembic.config import Config

    book.parent.mkdir(parents=True, exist_ok=True)
    config = Config()
    config.set_main_option("script_location", str(resource("migrations")))
    config.attributes["book"] = book
    command.upgrade(config, "head")
