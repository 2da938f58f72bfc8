"""What the start advises about a file that is not as it was left, and what the open book does about a strange one."""

import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from app import logbook, troubles
from app.__main__ import main
from app.book import backups, bookfile, checkpoints, instance, logs
from app.db import open_engine, writing
from app.main import create_app
from app.settings import Settings
from tests import build
from tests.behind import book_of, browser_of, engine_of
from tests.browse import Page
from tests.test_backups import break_page

SUPPLY = "/workshop/supplies/new"


@pytest.fixture
def book(tmp_path: Path, empty_book: Path) -> Path:
    book = tmp_path / "book.sqlite3"
    book.write_bytes(empty_book.read_bytes())
    return book


def change(book: Path, times: int = 1) -> None:
    engine = open_engine(book)
    for _ in range(times):
        with writing(engine) as session:
            build.supply(session)
            session.commit()
    engine.dispose()


def started(book: Path, capsys: pytest.CaptureFixture[str]) -> str:
    """What a start that is refused says."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("uvicorn.Server.run", lambda *_, **__: None)
        assert main(["--book", str(book), "--no-browser"]) == 1
    return capsys.readouterr().err


def reach(book: Path) -> int:
    with bookfile.opened(book) as connection:
        found = logs.last_change(connection)
    assert found is not None
    return found.number


# --- The advice ------------------------------------------------------------------------------------------


def test_the_advice_about_a_damaged_book_says_what_its_newest_copy_lacks(
    book: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    change(book)
    copy, before = backups.keep_copy(book), reach(book)
    change(book, 3)
    after = reach(book)
    break_page(book, "formula_part")
    said = started(book, capsys)
    assert f"lacks the last {after - before} changes" in said
    assert f"grainbook restore {copy.file} --book {book}" in said


def test_the_advice_about_a_damaged_book_says_that_its_newest_copy_has_all(
    book: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    change(book)
    backups.keep_copy(book)
    break_page(book, "formula_part")
    assert "has every change that can be read in it" in started(book, capsys)


def test_a_byte_that_went_wrong_in_a_copy_put_in_place_by_hand_is_told_with_the_same_copy(
    book: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    change(book)
    copy = backups.keep_copy(book)
    change(book)
    newer = backups.keep_copy(book)
    with bookfile.opened(book) as connection:
        (words,) = connection.execute("SELECT words FROM checklist_item ORDER BY id LIMIT 1").fetchone()
    content = copy.file.read_bytes()
    at = content.rindex(words[:20].encode())
    book.write_bytes(content[:at] + b"q" + content[at + 1 :])
    said = started(book, capsys)
    assert "a byte went wrong" in said
    assert f"grainbook restore {copy.file}" in said
    assert str(newer.file) not in said


def test_a_copy_that_another_program_worked_in_is_not_called_damaged(
    book: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """As an older Grainbook left it that had the copy laid over it while it was open: sound, with a seal of before."""
    change(book)
    backups.keep_copy(book)
    seal = backups.copies(book)[0].file.read_bytes()[60:64]
    change(book)
    content = book.read_bytes()
    book.write_bytes(content[:60] + seal + content[64:])
    worked = book.read_bytes()
    has = reach(book)
    said = started(book, capsys)
    assert "damaged" not in said
    assert f"with {has} changes" in said
    assert book.read_bytes() == worked
    assert main(["restore", str(book), "--book", str(book)]) == 0
    assert reach(book) >= has
    with bookfile.opened(book) as connection:
        assert connection.execute("SELECT count(*) FROM supply").fetchone() == (2,)
    assert [kept.read_bytes() for kept in book.parent.glob("*-replaced-*.sqlite3")] == [worked]


# --- The open book ---------------------------------------------------------------------------------------


@pytest.fixture
def app(book: Path) -> Iterator[FastAPI]:
    app = create_app(Settings(book=book))
    logbook.begin(book)
    yield app
    logbook.end()
    engine_of(app).dispose()


@pytest.fixture
def person(app: FastAPI) -> Iterator[TestClient]:
    with browser_of(app, follow_redirects=False) as client:
        app.state.checkpoints.start()
        yield client
        app.state.checkpoints.stop()


def save(person: TestClient, mark: str) -> tuple[int, str]:
    fields = Page(person.get(SUPPLY).text).forms["form"].fields
    return send(person, fields | {"ingredient": "Sucrose", "mark": mark, "mass": "25 kg"})


def send(person: TestClient, fields: dict[str, str]) -> tuple[int, str]:
    answer = person.post(SUPPLY, data=fields)
    return answer.status_code, answer.text


def idle(book: Path) -> None:
    until = time.monotonic() + 30
    while bookfile.has_log(book):
        assert time.monotonic() < until
        time.sleep(0.05)


def test_an_older_state_of_the_book_laid_over_it_is_recognised_though_it_has_no_seal(
    app: FastAPI, person: TestClient
) -> None:
    book = book_of(app)
    idle(book)
    older = book.read_bytes()
    assert save(person, "one")[0] == 303
    idle(book)
    fields = Page(person.get(SUPPLY).text).forms["form"].fields
    book.write_bytes(older)
    status, page = send(person, fields | {"ingredient": "Sucrose", "mark": "two", "mass": "25 kg"})
    assert status == 503
    assert troubles.COVERED.replace("'", "&#39;") in page
    assert book.read_bytes() == older


def test_a_file_whose_time_was_set_is_looked_into_and_used(app: FastAPI, person: TestClient) -> None:
    for mark in ("one", "two", "three"):
        os.utime(book_of(app))
        assert save(person, mark)[0] == 303


def test_a_log_that_cannot_be_moved_in_fails_no_save_and_is_told_once(
    book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(checkpoints, "LOOK_EVERY_S", 0.02)
    monkeypatch.setattr(checkpoints.Checkpoints, "due", lambda _self: True)

    def fails(*_: object) -> bool:
        raise sqlite3.OperationalError("for Ada Lovelace")

    monkeypatch.setattr(checkpoints.Checkpoints, "take", fails)
    app = create_app(Settings(book=book))
    logbook.begin(book)
    with browser_of(app, follow_redirects=False) as person:
        app.state.checkpoints.start()
        assert save(person, "one")[0] == 303
        time.sleep(0.2)
        assert save(person, "two")[0] == 303
        app.state.checkpoints.stop()
    logbook.end()
    written = logbook.log_of(book).read_text()
    assert written.count("moving the log into the book") == 1
    assert "Ada" not in written
    with closing(sqlite3.connect(book)) as connection:
        assert connection.execute("SELECT count(*) FROM supply").fetchone() == (2,)


def test_the_lock_follows_the_file_that_takes_the_books_place(book: Path, tmp_path: Path) -> None:
    copy, other = tmp_path / "copy.sqlite3", tmp_path / "other.sqlite3"
    backups.copy(book, copy)
    with instance.Instance(book) as held:
        backups.restore(copy, book)
        held.follow()
        os.link(book, other)
        with pytest.raises(instance.InUse), instance.Instance(other):
            pass
        lock = instance.lock_of_file(book)
        assert lock is not None
        assert lock.exists()
    with instance.Instance(other):
        pass
