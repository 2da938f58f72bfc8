"""Every day and moment that a form can be sent or a book can hold: refused in words, or shown; never a fault."""

import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing, suppress
from datetime import datetime
from pathlib import Path

import pytest
from sqlalchemy import Date
from sqlmodel import SQLModel

from app.errors import Refused
from app.main import create_app
from app.models.base import Utc
from app.services.book import moments
from app.settings import Settings
from tests.addresses import NO_PAGES, complete, pages, rows
from tests.behind import browser_of, copied_with_files, engine_of
from tests.browse import Person

EDGES = {
    "the first moment": ("0001-01-01 00:00:00.000000", "0001-01-01"),
    "the last moment": ("9999-12-31 23:59:59.999999", "9999-12-31"),
}
WALLS = [
    "0001-01-01 00:00",
    "0001-01-01 23:59",
    "9999-12-31 23:59",
    "9999-12-31 00:00",
    "9999-12-30 12:00",
    "0000-01-01 00:00",
]


@pytest.fixture
def zone() -> Iterator[None]:
    """Whatever zone a test sets is set back."""
    kept = os.environ.get("TZ")
    yield
    os.environ.pop("TZ", None) if kept is None else os.environ.update(TZ=kept)
    time.tzset()


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="this system has one zone only")
@pytest.mark.parametrize("name", ["UTC", "Pacific/Kiritimati", "Etc/GMT+12", "America/New_York", "Asia/Kathmandu"])
@pytest.mark.parametrize("text", WALLS)
def test_a_time_at_the_edge_of_the_calendar_is_refused_in_words(zone: None, name: str, text: str) -> None:
    os.environ["TZ"] = name
    time.tzset()
    with pytest.raises(Refused):
        moments.parse(text)
    if not text.startswith("0000"):
        for wall in (
            datetime.fromisoformat(text),
            datetime.fromisoformat(f"{text}+23:59"),
            datetime.fromisoformat(f"{text}-23:59"),
        ):
            with suppress(Refused):  # and nothing else
                moments.of_wall(wall, "at")


@pytest.mark.promise(
    "Days and moments at the edge of the calendar are refused beside the field, and break no page",
    figure="every column of days and moments, every page",
)
@pytest.mark.parametrize("one", [True, False], ids=["one row of each table", "every row"])
@pytest.mark.parametrize("edge", EDGES)
def test_a_book_with_moments_at_the_edge_of_the_calendar_is_shown(
    demo_book: Path, tmp_path: Path, edge: str, one: bool
) -> None:
    """No form takes them, but an older book, a zip or another program may have left them."""
    book = tmp_path / "book.sqlite3"
    copied_with_files(demo_book, book)
    app = create_app(Settings(book=book))
    complete(engine_of(app))
    real = rows(engine_of(app))
    engine_of(app).dispose()  # another program writes while nobody has the book open
    moment, day = EDGES[edge]
    spoiled = 0
    with closing(sqlite3.connect(book)) as now:
        for (name,) in now.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            now.execute(f'DROP TRIGGER "{name}"')
        for table in SQLModel.metadata.tables.values():
            for column in table.columns:
                if isinstance(column.type, (Utc, Date)):
                    far = moment if isinstance(column.type, Utc) else day
                    where = f'"{column.name}" IS NOT NULL'
                    if one:
                        where += f' AND rowid = (SELECT max(rowid) FROM "{table.name}")'
                    change = f'UPDATE OR IGNORE "{table.name}" SET "{column.name}" = ? WHERE {where}'
                    done = now.execute(change, (far,))
                    spoiled += done.rowcount
        now.commit()
    assert spoiled > 30
    broken = []
    app = create_app(Settings(book=book))
    with browser_of(app, Person, raise_server_exceptions=False) as client:
        for address in [*pages(), *NO_PAGES.values()]:
            answer = client.get(address.format(**real), follow_redirects=False)
            if answer.status_code >= 500:
                broken.append(address)
    assert broken == []
