"""What the book cannot know of itself: saves that were told as done and are not in it, told at the next start.

Real files and real processes, as a power cut, a tidied folder or a copy laid over the book leaves them.
"""

import contextlib
import os
import re
import shutil
import signal
import socket
import sqlite3
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import httpx
import pytest

from app import clock
from app.__main__ import main
from app.book import backups, bookfile, check, mark, missing
from app.book.notices import Notices
from app.db import migrate, open_engine, writing
from app.main import create_app
from app.services.book import audit_reasons
from app.settings import Settings
from tests import build
from tests.reliability.nursery import Child, needs_fork
from tests.reliability.servers import Opened

pytestmark = [pytest.mark.reliability, needs_fork]

SAVES = 6


def saving(book: Path, saves: int) -> None:
    """Tell each save as done, and keep the book open."""
    engine = open_engine(book)
    for number in range(saves):
        with writing(engine) as session:
            with audit_reasons.signed(session, "Ada"):
                build.supply(session, "sorbitol", f"{number + 1} kg", mark=f"{os.getpid()} {number}")
            session.commit()
        print("saved", flush=True)
    time.sleep(600)


def saved_and_killed(book: Path, saves: int = SAVES) -> None:
    """A process that tells each of its saves as done, and then is killed: all of them lie in the log yet."""
    process = Child(saving, book, saves)
    told = [process.terminal.readline() for _ in range(saves)]
    process.kill()
    assert told == ["saved\n"] * saves
    assert bookfile.SIDES[0] == "-wal"
    assert log_of(book).stat().st_size > 0


def saved(book: Path, saves: int) -> None:
    """Saves of this process, which closes the book: they are in its file."""
    engine = open_engine(book)
    for _ in range(saves):
        with writing(engine) as session:
            with audit_reasons.signed(session, "Ada"):
                build.supply(session, "sorbitol")
            session.commit()
    engine.dispose()


def log_of(book: Path) -> Path:
    return book.with_name(book.name + "-wal")


def bags(book: Path) -> int:
    with contextlib.closing(sqlite3.connect(book)) as connection:
        return int(connection.execute("SELECT count(*) FROM supply").fetchone()[0])


@pytest.fixture
def book(tmp_path: Path, empty_book: Path) -> Path:
    """A book that was opened and closed by this program once."""
    book = tmp_path / "book.sqlite3"
    shutil.copyfile(empty_book, book)
    missing.look(book)
    assert mark.read(book) is not None
    return book


@contextlib.contextmanager
def started(book: Path) -> Iterator[tuple[httpx.Client, Callable[[], str]]]:
    """The program, open: a browser, and what it says on the terminal behind its address."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    program = Opened(book, port)
    try:
        address = f"http://127.0.0.1:{program.port}"
        name, _, value = program.cookie.partition("=")
        with httpx.Client(base_url=address, cookies={name: value}, follow_redirects=True, timeout=60) as browser:
            yield browser, program.child.terminal.readline
    finally:
        program.child.ended(signal.SIGINT)


def _zeroed(log: Path) -> None:
    log.write_bytes(bytes(log.stat().st_size))


@pytest.mark.promise("Saves that are missing from the book are told by their number at the next start", figure="6 of 6")
@pytest.mark.parametrize(
    "spoil",
    [
        pytest.param(_zeroed, id="zeroed"),
        pytest.param(Path.unlink, id="gone", marks=pytest.mark.long),
        pytest.param(lambda log: os.truncate(log, 0), id="cut", marks=pytest.mark.long),
    ],
)
def test_a_lost_log_is_told_with_the_number_of_its_saves(book: Path, spoil: Callable[[Path], None]) -> None:
    """On the terminal, in the log, on Today at every start until it was read; and the book as found is kept."""
    saved_and_killed(book)
    spoil(log_of(book))
    for _ in range(2):
        with started(book) as (browser, line):
            assert line().startswith("Later on")
            said = line()
            assert "6 saves are missing from the book." in said
            assert "6 changes of the record, told as saved after " in said
            shown = browser.get("/").text
            assert "6 saves are missing from the book" in shown
            assert f"{log_of(book)}" in shown
    assert "6 saves are missing from the book" in book.with_suffix(".log").read_text()
    (kept,) = book.parent.glob("book-replaced-*.sqlite3")
    assert f"The book as it was found is kept as {kept}." in said
    once = re.findall(r'action="/notices".*?name="once" value="(.*?)".*?name="until" value="(.*?)"', shown, re.S)[0]
    with started(book) as (browser, _):
        page = browser.post("/notices", data={"once": once[0], "until": once[1]})
        assert page.status_code == 200
        assert "are missing from the book" not in page.text
    assert Notices(book).unread() == []
    with started(book) as (browser, _):
        assert "are missing from the book" not in browser.get("/").text


def test_a_log_that_turns_up_again_is_put_to_the_book_as_it_was_found(
    book: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What the words of the notice say to do, done: all six are back."""
    saved_and_killed(book)
    away = log_of(book).rename(book.with_name("moved away"))
    missing.look(book)
    engine = open_engine(book)
    with writing(engine) as session:
        build.supply(session, "dextrose")
        session.commit()
    engine.dispose()
    (kept,) = book.parent.glob("book-replaced-*.sqlite3")
    (notice,) = Notices(book).unread()
    assert f"put it beside it as {kept.name}-wal" in notice.words
    away.rename(kept.with_name(f"{kept.name}-wal"))
    assert main(["restore", str(kept), "--book", str(book)]) == 0
    assert "The book that it replaced had" in capsys.readouterr().out
    assert bags(book) == SAVES
    assert not [finding.words for finding in check.check(book) if finding.fault]


def test_a_copy_that_has_what_is_missing_is_named(book: Path) -> None:
    engine = open_engine(book)
    with writing(engine) as session:
        build.supply(session)
        session.commit()
    engine.dispose()
    older = book.read_bytes()
    saved(book, SAVES)
    copy = backups.keep_copy(book)
    for side in bookfile.SIDES:
        book.with_name(book.name + side).unlink(missing_ok=True)
    book.write_bytes(older)
    missing.look(book)
    (notice,) = Notices(book).unread()
    assert notice.title == "6 saves are missing from the book"
    assert (
        f"has all of them; to put it in the book's place, stop Grainbook and type: grainbook restore {copy.file}"
        in (notice.words)
    )


def test_a_killed_book_that_lost_nothing_says_nothing(book: Path) -> None:
    """Killed between the save and its mark, the book is ahead of it; so it is after another program's write."""
    saved_and_killed(book)
    told = mark.read(book)
    assert told is not None
    missing.look(book)
    assert Notices(book).unread() == []
    saved(book, 1)
    mark.write(book, told, anew=True)  # as if the kill had come before the mark
    missing.look(book)
    assert Notices(book).unread() == []
    assert not [finding.words for finding in check.check(book) if finding.fault]


def test_another_book_in_its_place_is_told(book: Path, tmp_path: Path, demo_book: Path) -> None:
    saved(book, SAVES)
    bookfile.remove(book)
    shutil.copyfile(demo_book, book)
    assert any("is not the one that was saved last" in finding.words for finding in check.check(book))
    missing.look(book)
    (notice,) = Notices(book).unread()
    assert notice.title == "The book is not the one that was saved last"
    missing.look(book)
    assert len(Notices(book).unread()) == 1
    found = check.check(book, questions=[("The mark of the last save", check.last_save)])
    assert found == [], "the mark is of the book that is there"


def test_a_book_that_is_gone_is_told(book: Path) -> None:
    saved(book, SAVES)
    bookfile.remove(book)
    create_app(Settings(book=book)).state.engine.dispose()
    (notice,) = Notices(book).unread()
    assert notice.title.endswith("of the record are missing from the book")
    told = mark.read(book)
    assert told is not None
    assert told.save == 1, "the mark is of the new book"


def test_a_book_without_a_mark_gets_one_quietly(book: Path) -> None:
    mark.mark_of(book).unlink()
    assert any("There is no mark" in finding.words for finding in check.check(book))
    missing.look(book)
    assert mark.read(book) is not None
    assert Notices(book).unread() == []


def test_the_mark_is_whole_after_a_torn_write_of_either_slot(book: Path) -> None:
    saved(book, 3)
    newest = mark.read(book)
    assert newest is not None
    whole = mark.mark_of(book).read_bytes()
    for slot in (0, 1):
        at = slot * mark.SLOT_BYTES
        for length in (1, 100, 512, mark.SLOT_BYTES):
            mark.mark_of(book).write_bytes(whole[:at] + os.urandom(length) + whole[at + length :])
            left = mark.read(book)
            assert left is not None
            assert left.turn in (newest.turn, newest.turn - 1)
    mark.mark_of(book).write_bytes(os.urandom(2 * mark.SLOT_BYTES))
    assert any("cannot be read" in finding.words for finding in check.check(book))
    missing.look(book)
    again = mark.read(book)
    assert again is not None
    assert (again.change_id, again.link) == (newest.change_id, newest.link)


def test_an_older_save_never_takes_the_mark_back(book: Path) -> None:
    """Of two threads the one that committed first may come to the mark last."""
    saved(book, 2)
    newest = mark.read(book)
    assert newest is not None
    mark.write(book, mark.Mark(newest.change_id - 1, newest.save - 1, "x", newest.at))
    assert mark.read(book) == newest


def test_a_disk_that_refuses_the_mark_does_not_undo_the_save(book: Path) -> None:
    mark.mark_of(book).unlink()
    mark.mark_of(book).mkdir()
    engine = open_engine(book)
    with writing(engine) as session:
        build.supply(session)
        session.commit()
    engine.dispose()
    assert bags(book) == 1


def test_a_restored_copy_says_what_it_has_not_and_is_no_loss_at_the_next_start(
    book: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    saved(book, 1)
    copy = tmp_path / "copy.sqlite3"
    backups.copy(book, copy)
    saved(book, 3)
    assert main(["restore", str(copy), "--book", str(book)]) == 0
    assert "The book that it replaced had 3 saves (3 changes) more, made after " in capsys.readouterr().out
    missing.look(book)
    assert Notices(book).unread() == []
    assert main(["restore", str(copy), "--book", str(book)]) == 0
    assert "The book that it replaced had" not in capsys.readouterr().out


def test_an_altered_change_is_told_at_the_start_without_its_words(book: Path) -> None:
    saved(book, 2)
    with contextlib.closing(sqlite3.connect(book)) as connection:
        connection.execute("DROP TRIGGER guard_change_update")
        connection.execute("UPDATE change SET who = 'Eve' WHERE id = (SELECT max(id) - 1 FROM change)")
        connection.commit()
    create_app(Settings(book=book)).state.engine.dispose()
    (notice,) = Notices(book).unread()
    assert notice.title == "The record of changes was altered past Grainbook"
    assert re.search(r"at change \d+: it is not as it was written\. It says now: .* Eve, entered supply", notice.words)
    Notices(book).read(clock.now())
    missing.look(book)
    assert Notices(book).unread() == [], "told once"


def test_another_program_is_told_at_the_next_start(book: Path) -> None:
    saved(book, 2)
    with contextlib.closing(sqlite3.connect(book)) as connection:
        connection.execute("UPDATE supply SET note = 'by a script'")
        connection.commit()
    create_app(Settings(book=book)).state.engine.dispose()
    (notice,) = Notices(book).unread()
    assert notice.words.startswith("2 changes were written by another program since Grainbook's last save.")
    told = mark.read(book)
    assert told is not None
    with contextlib.closing(sqlite3.connect(book)) as connection:
        assert connection.execute("SELECT max(change_id) FROM change_link").fetchone()[0] == told.change_id


def test_what_does_not_fit_is_told_before_a_step_makes_the_digests_anew(
    book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    saved(book, 1)
    with contextlib.closing(sqlite3.connect(book)) as connection:
        connection.execute("DROP TRIGGER record_supply_update")
        connection.execute("UPDATE supply SET mass_kg = 99")
        connection.commit()
    known = bookfile.schemas()
    monkeypatch.setattr(bookfile, "schemas", lambda: [*known, "9999"])
    with contextlib.suppress(Exception):  # there is no such step; what comes before it is looked at here
        migrate(book)
    (notice,) = Notices(book).unread()
    assert notice.title == "Found before the book was brought to this version"
    assert "Table supply, row 1: it is not as its last act left it." in notice.words
