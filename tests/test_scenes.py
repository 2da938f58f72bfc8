"""A scene that is played back is the one that the services make: row for row, with its record."""

import re
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import Session

from app import clock
from app.book.check import check
from app.book.record import CHAIN
from app.db import open_engine, writing
from tests import build, scenes

NUMBERED = re.compile(r"\b(Bag|Blend|Case|Nozzle|Pattern|Rod|Tube) \d+")
"""Names that `build` numbers through, so that none comes twice."""

MADE: dict[str, Callable[[Session], Any]] = {
    "batch": build.batch,
    "cast": lambda session: build.cast(session, 2, until="core"),
    "grains": lambda session: build.ready_grains(session, 2),
    "firing": build.firing,
}


def _book(place: Path, empty: Path, make: Callable[[Session], Any], at: datetime, *, played: bool) -> list[str]:
    """What a book holds once the scene was made in it, or played back: all rows, but for random versions and hashes."""
    place.write_bytes(empty.read_bytes())
    engine = open_engine(place)
    with clock.turned_to(at), scenes.made_always(not played), writing(engine) as session:
        made = make(session)
        one = made[-1] if isinstance(made, list) else made
        assert one.pk
        assert session.is_modified(one) is False
        session.commit()
    engine.dispose()
    with closing(sqlite3.connect(place)) as book:
        names = [name for (name,) in book.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")]
        found = []
        for table in sorted(set(names) - CHAIN):
            columns = [row[1] for row in book.execute(f"PRAGMA table_info({table})") if row[1] != "version"]
            columns = columns[2:] if table == "change" else columns  # a trigger takes its moment from the machine
            for row in book.execute(f"SELECT {', '.join(columns)} FROM {table}"):
                found.append(f"{table}: " + NUMBERED.sub(r"\1", repr(row)))
    return sorted(found)


@pytest.mark.parametrize("make", MADE.values(), ids=list(MADE))
def test_what_is_played_back_is_what_the_services_make(
    tmp_path: Path, empty_book: Path, make: Callable[[Session], Any]
) -> None:
    at = clock.now().replace(microsecond=0)
    truly = _book(tmp_path / "made.sqlite3", empty_book, make, at, played=False)
    first = _book(tmp_path / "kept.sqlite3", empty_book, make, at, played=True)
    again = _book(tmp_path / "played.sqlite3", empty_book, make, at, played=True)
    assert len(truly) > 80
    assert truly == first == again
    assert check(tmp_path / "played.sqlite3") == []


def test_a_test_that_alters_the_program_has_its_scenes_made(session: Session, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("app.services.cast.planning.plan", lambda *_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        build.batch(session)


def test_other_books_hours_and_arguments_are_other_scenes(session: Session) -> None:
    two = build.batch(session, 2)
    assert [item.count for item in two.items] == [2]
    assert build.batch(session, 3).items[0].count == 3
    assert {one.batch_id for one in build.ready_grains(session, 2)}.isdisjoint({two.pk})
