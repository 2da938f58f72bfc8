"""A fresh book for each test, in a temporary folder."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine
from sqlmodel import Session

from app.db import migrate, open_engine, writing
from app.main import create_app
from app.services import first_run
from app.settings import Settings


@pytest.fixture(scope="session")
def empty_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A migrated, empty book, made once and copied for each test."""
    book = tmp_path_factory.mktemp("book") / "empty.sqlite3"
    migrate(book)
    engine = open_engine(book)
    first_run.prepare(engine)
    with engine.connect() as connection:
        connection.exec_driver_sql("SELECT 1")
    engine.dispose()
    return book


@pytest.fixture
def engine(empty_book: Path, tmp_path: Path) -> Iterator[Engine]:
    """An engine on a fresh copy of the empty book."""
    book = tmp_path / "book.sqlite3"
    book.write_bytes(empty_book.read_bytes())
    engine = open_engine(book)
    yield engine
    engine.dispose()


@pytest.fixture
def session(engine: Engine) -> Iterator[Session]:
    """A writing session on a fresh book."""
    with writing(engine) as session:
        yield session


@pytest.fixture
def client(empty_book: Path, tmp_path: Path) -> Iterator[TestClient]:
    """A browser without script on a fresh book."""
    book = tmp_path / "client.sqlite3"
    book.write_bytes(empty_book.read_bytes())
    with TestClient(create_app(Settings(book=book)), base_url="http://localhost") as client:
        yield client


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say loudly when the browser tests were not run."""
    missed = [r for r in terminalreporter.stats.get("skipped", []) if "NO CHROMIUM" in str(r.longrepr)]
    if missed:
        terminalreporter.section("BROWSER TESTS WERE NOT RUN", sep="!", red=True, bold=True)
        terminalreporter.write_line(
            f"{len(missed)} browser tests were skipped: no Chromium or Chrome was found. Install one "
            "(apt install chromium) or set CHROMIUM to its path, and run the tests again."
        )
