"""A book is made from nothing, and models and schema do not drift apart."""

import hashlib
import sqlite3
from pathlib import Path

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from sqlalchemy import Engine
from sqlmodel import SQLModel

import app.models  # noqa: F401  (fills the metadata)
from app import guards
from app.db import migrate
from app.settings import resource


def test_models_and_schema_agree(engine: Engine) -> None:
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": False})
        assert compare_metadata(context, SQLModel.metadata) == []


def test_checks_and_guards_are_in_the_file(engine: Engine) -> None:
    """Constraints that autogeneration does not compare: every CHECK of the models stands in the file."""
    with engine.connect() as connection:
        tables = dict(connection.exec_driver_sql("SELECT name, sql FROM sqlite_master WHERE type = 'table'").all())
        triggers = {n for (n,) in connection.exec_driver_sql("SELECT name FROM sqlite_master WHERE type='trigger'")}
    for table in SQLModel.metadata.sorted_tables:
        for constraint in table.constraints:
            if constraint.__class__.__name__ == "CheckConstraint":
                assert f"{constraint.name}" in tables[table.name], f"{table.name}: {constraint.name}"
                assert str(constraint.sqltext) in tables[table.name], f"{table.name}: {constraint.name}"
    assert triggers == set(guards.GUARDS)


def test_down_to_nothing_and_up_again(tmp_path: Path) -> None:
    book = tmp_path / "book.sqlite3"
    migrate(book)
    config = Config()
    config.set_main_option("script_location", str(resource("migrations")))
    config.attributes["book"] = book
    command.downgrade(config, "base")
    with sqlite3.connect(book) as connection:
        left = {n for (n,) in connection.execute("SELECT name FROM sqlite_master WHERE type IN ('table','trigger')")}
    connection.close()
    assert left <= {"alembic_version"}
    migrate(book)
    with sqlite3.connect(book) as connection:
        assert connection.execute("SELECT count(*) FROM workshop").fetchone() == (0,)
    connection.close()


def test_each_commit_is_on_disk_before_it_is_told(engine: Engine) -> None:
    with engine.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 2  # FULL
        assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1


@pytest.mark.parametrize("name", ["htmx.min.js"])
def test_vendored_script_is_what_was_published(name: str) -> None:
    folder = resource("static") / "vendor"
    expected = (folder / f"{name}.sha256").read_text().splitlines()[-1].split()[0]
    assert hashlib.sha256((folder / name).read_bytes()).hexdigest() == expected
