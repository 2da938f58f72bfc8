"""The book's file and its log taken apart as people do it: moved, copied over, linked, while it is open or was killed.

Real processes and real files; each save is a form sent over the wire, and counts when it was answered as saved.
"""

import contextlib
import http.client
import io
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from app.__main__ import main
from app.book import backups, bookfile
from tests.browse import Page
from tests.entering import entered
from tests.reliability.bench_acts import post
from tests.reliability.nursery import needs_fork
from tests.reliability.servers import Opened

pytestmark = [pytest.mark.reliability, needs_fork]

SUPPLY = "/workshop/supplies/new"


def wait_until(holds: Callable[[], bool], what: str) -> None:
    """Wait for what the program does in a thread of its own."""
    until = time.monotonic() + 20
    while not holds():
        assert time.monotonic() < until, f"waited in vain: {what}"
        time.sleep(0.05)


class Open:
    """The program on a book, and a hand that saves bags in it."""

    def __init__(self, book: Path) -> None:
        before = len(backups.copies(book))
        self.book, self.program = book, Opened(book, random.randrange(10000, 18000, 20))
        wait_until(lambda: len(backups.copies(book)) > before, "the start's own copy is of the book before any save")
        self.page = ""
        self.reader: sqlite3.Connection | None = None
        self.blank = Page(self.get(SUPPLY)[1]).forms["form"].fields | {"ingredient": "Sucrose", "mass": "25 kg"}

    def save(self, *marks: str, note: str = "") -> list[int]:
        """Save bags of these marks; gives the status of each answer."""
        with contextlib.closing(http.client.HTTPConnection("127.0.0.1", self.program.port, timeout=30)) as line:
            statuses = []
            for mark in marks:
                fields = {**self.blank, "mark": mark, "note": note, "once": f"token-{mark}"}
                status, self.page = post(line, self.program.cookie, SUPPLY, fields)
                statuses.append(status)
        return statuses

    def get(self, page: str = "/workshop/supplies") -> tuple[int, str]:
        with contextlib.closing(http.client.HTTPConnection("127.0.0.1", self.program.port, timeout=30)) as line:
            line.request("GET", page, headers={"Cookie": self.program.cookie})
            answer = line.getresponse()
            return answer.status, answer.read().decode()

    def idle(self) -> None:
        """Wait until the log is in the book."""
        wait_until(lambda: not bookfile.wal_of(self.book).stat().st_size, "the log is moved into an idle book")

    def hold_log(self) -> None:
        """Keep what is saved from now on in the log, however slow the machine: another program reads the book."""
        self.reader = sqlite3.connect(f"{self.book.as_uri()}?mode=ro", uri=True, isolation_level=None)
        self.reader.execute("BEGIN")
        self.reader.execute("SELECT count(*) FROM supply").fetchone()

    def stop(self) -> None:
        """Stop it as Ctrl+C does."""
        self._let_log_go()
        self.program.child.ended(signal.SIGTERM)

    def kill(self) -> None:
        self.program.child.kill()
        self._let_log_go()

    def _let_log_go(self) -> None:
        if self.reader is not None:
            self.reader.close()
            self.reader = None


@pytest.fixture
def place(tmp_path: Path, empty_book: Path) -> Path:
    """A book in a folder of its own."""
    book = tmp_path / "home" / "book.sqlite3"
    book.parent.mkdir()
    shutil.copyfile(empty_book, book)
    return book


@pytest.fixture
def opened(place: Path) -> Iterator[Open]:
    program = Open(place)
    yield program
    if program.program.child.alive:
        program.kill()


@dataclass(frozen=True)
class Said:
    """What a command ended with."""

    returncode: int
    stdout: str
    stderr: str


def typed(*words: str | Path, book: Path) -> Said:
    """A command as a person types it; a server that should start would end at once."""
    out, err = io.StringIO(), io.StringIO()
    with pytest.MonkeyPatch.context() as patch, contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        patch.setattr("uvicorn.Server.run", lambda *_, **__: None)
        code = main([*map(str, words), "--book", str(book), "--no-browser"])
    return Said(code, out.getvalue(), err.getvalue())


def bags(book: Path) -> set[str]:
    """The marks of the bags in a closed book, read from a copy, which is proved too."""
    with contextlib.closing(sqlite3.connect(":memory:")) as memory:
        with bookfile.opened(book) as connection:
            connection.backup(memory)
        assert memory.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        return {mark for (mark,) in memory.execute("SELECT mark FROM supply")}


def logs_kept(book: Path) -> list[bytes]:
    return [file.read_bytes() for file in book.parent.glob("*-log")]


FIVE = ("one", "two", "three", "four", "five")


@pytest.mark.promise(
    "A book moved while it is open: every save told as done is in the moved file or joined to it by a command; no new "
    "book is begun beside the log",
    figure="5 of 5 saves after a stop and after a kill",
)
@pytest.mark.parametrize("end", ["stop", "kill"])
def test_a_book_that_is_moved_while_open_keeps_every_save(opened: Open, place: Path, tmp_path: Path, end: str) -> None:
    moved, log = tmp_path / "elsewhere.sqlite3", bookfile.wal_of(place)
    opened.hold_log()
    assert opened.save(*FIVE) == [303] * 5
    place.rename(moved)
    assert opened.save("six") == [503]
    assert "grainbook join" in opened.page
    opened.stop() if end == "stop" else opened.kill()
    assert not place.exists()
    left = log.read_bytes()
    assert left, "the log went with the stop"

    for words in ([], ["migrate"], ["import", tmp_path / "none.zip"], ["backup", tmp_path / "copy.sqlite3"]):
        done = typed(*words, book=place)
        assert done.returncode == 1, words
        assert not place.exists(), words
        assert log.read_bytes() == left, words
    said = typed(book=place).stderr
    assert str(log) in said
    assert f"grainbook join MOVED_FILE --book {place}" in said

    before = moved.read_bytes()
    joined = typed("join", moved, book=place)
    assert joined.returncode == 0, joined.stderr
    assert bags(place) == set(FIVE)
    assert moved.read_bytes() == before
    assert logs_kept(place) == [left]
    with contextlib.closing(sqlite3.connect(place)) as book:  # a book to be worked in, with nothing beside it
        assert book.execute("PRAGMA user_version").fetchone() == (0,)
    again = Open(place)
    assert again.save("six") == [303]
    again.stop()
    assert bags(place) == {*FIVE, "six"}


def test_a_moved_book_that_is_moved_back_has_every_save(opened: Open, place: Path, tmp_path: Path) -> None:
    opened.hold_log()
    opened.save(*FIVE)
    place.rename(tmp_path / "elsewhere.sqlite3")
    opened.kill()
    (tmp_path / "elsewhere.sqlite3").rename(place)
    again = Open(place)
    assert again.save("six") == [303]
    again.stop()
    assert bags(place) == {*FIVE, "six"}


@pytest.mark.promise(
    "A plain copy of an idle book is whole: its log is moved into it soon after each save",
    figure="5 of 5 saves in the file itself, within seconds",
)
def test_a_plain_copy_of_an_idle_book_is_whole(opened: Open, place: Path, tmp_path: Path) -> None:
    opened.save(*FIVE)
    opened.idle()
    shutil.copyfile(place, tmp_path / "plain.sqlite3")
    assert "All that was saved is in the book's file itself" in opened.get("/workshop")[1].replace("&#39;", "'")
    assert "All that was saved is in the book's file itself" in typed("where", book=place).stdout
    assert bags(tmp_path / "plain.sqlite3") == set(FIVE)
    place.rename(tmp_path / "moved.sqlite3")
    assert opened.save("six") == [503]
    opened.stop()
    assert bags(tmp_path / "moved.sqlite3") == set(FIVE)


def test_a_log_that_was_left_behind_is_kept_by_a_restore(opened: Open, place: Path, tmp_path: Path) -> None:
    opened.save("one")
    assert typed("backup", tmp_path / "copy.sqlite3", book=place).returncode == 0
    opened.hold_log()
    opened.save("two")
    place.rename(tmp_path / "elsewhere.sqlite3")
    opened.kill()
    left = bookfile.wal_of(place).read_bytes()
    done = typed("restore", tmp_path / "copy.sqlite3", book=place)
    assert done.returncode == 0, done.stderr
    assert "The log that lay in its place is kept as" in done.stdout
    assert logs_kept(place) == [left]
    assert bags(place) == {"one"}


def test_files_that_do_not_fit_the_log_are_not_joined(opened: Open, place: Path, tmp_path: Path) -> None:
    """The moved book was worked in where it went: its own saves and those in the log exclude each other."""
    moved = tmp_path / "elsewhere.sqlite3"
    opened.save("one")
    opened.idle()
    opened.hold_log()
    opened.save("two")
    place.rename(moved)
    opened.kill()
    other = Open(moved)
    other.save("three")
    other.stop()
    before, left = moved.read_bytes(), bookfile.wal_of(place).read_bytes()
    done = typed("join", moved, book=place)
    assert done.returncode == 1
    assert "do not fit together" in done.stderr
    assert moved.read_bytes() == before
    assert bookfile.wal_of(place).read_bytes() == left
    assert sorted(file.name for file in place.parent.glob("*join*")) == []


# --- Another file laid over the book -----------------------------------------------------------------------


def older(opened: Open, copy: Path) -> set[str]:
    """A copy from before what stands in the file by now: nothing of the log fits it."""
    opened.save("one", "two")
    assert typed("backup", copy, book=opened.book).returncode == 0
    opened.save(*(f"between {number}" for number in range(12)), note="so long that it fills pages of its own " * 40)
    opened.idle()
    opened.hold_log()
    assert opened.save("three", "four", "five") == [303] * 3
    return {"one", "two"}


def newest(opened: Open, copy: Path) -> set[str]:
    """A copy of all that stands in the file: the log goes on from there."""
    opened.save("one", "two")
    opened.idle()
    assert typed("backup", copy, book=opened.book).returncode == 0
    opened.hold_log()
    assert opened.save("three", "four", "five") == [303] * 3
    return {"one", "two"}


@pytest.mark.promise(
    "A copy laid over an open or a killed book: the next save and start tell it, nothing is laid over anything, each "
    "sound reading is had by a command",
    figure="open and killed, older and newest copy, both readings",
)
@pytest.mark.parametrize("state", ["killed", "open, then stopped", "open, then killed"])
@pytest.mark.parametrize("made", [older, newest])
def test_a_copy_laid_over_the_book_is_recognised(
    opened: Open, place: Path, tmp_path: Path, state: str, made: Callable[[Open, Path], set[str]]
) -> None:
    copy = tmp_path / "copy.sqlite3"
    in_copy = made(opened, copy)
    if state == "killed":
        opened.kill()
    shutil.copyfile(copy, place)
    if state != "killed":
        assert opened.save("six") == [503]
        assert "Another file was laid over the book" in opened.page
        assert opened.get()[0] == 503
        opened.stop() if state.endswith("stopped") else opened.kill()
    left = bookfile.wal_of(place).read_bytes()
    assert left
    assert place.read_bytes() == copy.read_bytes()

    for words in ([], ["migrate"], ["backup", tmp_path / "other.sqlite3"], ["export", tmp_path / "other.zip"]):
        done = typed(*words, book=place)
        assert done.returncode == 1, words
        assert "damaged" not in done.stderr
        assert place.read_bytes() == copy.read_bytes(), words
        assert bookfile.wal_of(place).read_bytes() == left, words
    said = typed(book=place).stderr
    assert f"grainbook restore {place} --book {place}" in said
    assert (f"grainbook join {place} --book {place}" in said) == (made is newest)

    again = tmp_path / "again" / "book.sqlite3"
    again.parent.mkdir()
    for end in ("", "-wal"):
        shutil.copyfile(f"{place}{end}", f"{again}{end}")
    taken = typed("restore", place, book=place)
    assert taken.returncode == 0, taken.stderr
    assert bags(place) == in_copy
    assert logs_kept(place) == [left]
    joined = typed("join", again, book=again)
    assert (joined.returncode == 0) == (made is newest), joined.stderr
    if made is newest:
        assert bags(again) == {*FIVE}
    else:
        assert bookfile.wal_of(again).read_bytes() == left
        assert again.read_bytes() == copy.read_bytes()


def test_a_restore_over_a_copy_that_was_laid_over_keeps_both(opened: Open, place: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy.sqlite3"
    older(opened, copy)
    opened.kill()
    shutil.copyfile(copy, place)
    left = bookfile.wal_of(place).read_bytes()
    (start,) = backups.copies(place)
    done = typed("restore", start.file, book=place)
    assert done.returncode == 0, done.stderr
    assert logs_kept(place) == [left]
    assert [file.read_bytes() for file in place.parent.glob("*-replaced-*.sqlite3")] == [copy.read_bytes()]
    assert bags(place) == set()


def test_another_program_that_moves_the_log_in_is_no_stranger(opened: Open, place: Path) -> None:
    move = "import sqlite3, sys; c = sqlite3.connect(sys.argv[1]); c.execute('PRAGMA wal_checkpoint(TRUNCATE)')"
    for mark in FIVE:
        assert opened.save(mark) == [303]
        subprocess.run([sys.executable, "-c", move, place], check=True)
    os.utime(place)
    assert opened.get()[0] == 200
    assert opened.save("six") == [303]
    opened.stop()
    assert bags(place) == {*FIVE, "six"}


# --- Two names of one file ---------------------------------------------------------------------------------


@pytest.mark.promise(
    "Two programs on one book by a hard link or a symlink: the second is led to the first",
    figure="both kinds, in another folder, before and after a restore",
)
@pytest.mark.parametrize("kind", ["hard link", "symlink"])
def test_a_second_start_by_another_name_of_the_file_is_refused(
    opened: Open, place: Path, tmp_path: Path, kind: str
) -> None:
    other = tmp_path / "other" / "other.sqlite3"
    other.parent.mkdir()
    other.symlink_to(place) if kind == "symlink" else os.link(place, other)
    assert opened.save("one") == [303]
    with pytest.MonkeyPatch.context() as patch:  # what would be shown in a browser lets it in
        shown: list[str] = []
        patch.setattr("webbrowser.open", shown.append)
        assert main(["--book", str(other)]) == 0
    assert entered(shown[0])
    second = typed(book=other)
    assert second.returncode == 1
    assert f"has this book open already at http://127.0.0.1:{opened.program.port}/" in second.stderr
    assert typed("restore", place, book=other).returncode == 1
    assert opened.save("two") == [303]
    opened.stop()
    assert bags(place) == {"one", "two"}


def test_a_hard_link_is_told_at_the_start(place: Path, tmp_path: Path) -> None:
    os.link(place, tmp_path / "other.sqlite3")
    program = Opened(place, random.randrange(10000, 18000, 20))
    program.child.kill()
    assert "a second name on this disk" in program.said
