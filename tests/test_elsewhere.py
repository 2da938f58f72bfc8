"""The second place for copies: chosen, copied to, proved there, away, full, pulled out, and the way back from it."""

import hashlib
import os
import shutil
import sqlite3
import subprocess
import sys
import threading
import time
from contextlib import closing
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from app import clock
from app.__main__ import main
from app.book import backups, bookfile, elsewhere, elsewhere_standing, elsewhere_thread, filestore
from app.book.elsewhere import Reading
from app.book.elsewhere_standing import Elsewhere
from app.book.elsewhere_thread import ElsewhereThread
from app.db import open_engine, writing
from app.errors import Asked, Refused, Trouble
from tests import build
from tests.moment import wall
from tests.test_backups import everything
from tests.test_filestore import OTHER, RAW, send

NOON = wall("2026-11-25T12:00")
PASSPHRASE = "kelp sandbar twine gannet"
MEMORY = Path("/dev/shm")


@pytest.fixture
def book(tmp_path: Path, empty_book: Path) -> Path:
    folder = tmp_path / "home"
    folder.mkdir()
    book = folder / "book.sqlite3"
    book.write_bytes(empty_book.read_bytes())
    return book


@pytest.fixture
def stick(tmp_path: Path) -> Path:
    stick = tmp_path / "STICK"
    stick.mkdir()
    return stick


def save(book: Path) -> None:
    """Something is saved: a bag, with the token of its form."""
    engine = open_engine(book)
    with writing(engine) as session:
        build.supply(session)
        session.commit()
    with engine.begin() as connection:
        connection.exec_driver_sql(
            "INSERT INTO once_token (token, url, address, sent_json, spent_at) VALUES (?, '', '', '', ?)",
            (os.urandom(8).hex(), clock.now().replace(tzinfo=None).isoformat(" ")),
        )
    engine.dispose()


def name_place(book: Path, folder: str, key: str) -> None:
    """What the settings page saves."""
    with closing(sqlite3.connect(book, isolation_level=None)) as connection:
        connection.execute("UPDATE workshop SET elsewhere_folder = ?, elsewhere_key = ?", (folder, key))


def chosen(book: Path, stick: Path, passphrase: str = "") -> ElsewhereThread:
    """A thread, not started, of a book whose place was chosen."""
    thread = ElsewhereThread(book)
    name_place(book, *thread.choose(str(stick), "", passphrase, same_disk=True))
    return thread


def standing(thread: ElsewhereThread, book: Path) -> Elsewhere:
    reading = elsewhere.read(book)
    found = thread.standing(reading.folder, reading.key, reading.saves)
    assert found is not None
    return found


def copies_at(stick: Path) -> list[elsewhere.There]:
    (home,) = stick.glob("grainbook-*")
    return elsewhere.copies_in(home)


# --- Choosing --------------------------------------------------------------------------------------------


def test_a_folder_that_cannot_be_a_second_place_is_refused_with_the_way_out(book: Path, stick: Path) -> None:
    thread = ElsewhereThread(book)
    (stick / "file").write_text("x")
    inside = backups.folder_of(book) / "mine"
    inside.mkdir(parents=True)
    for typed, words in {
        "STICK": "whole path",
        "": "whole path",
        "a\0b": "whole path",
        str(stick / "gone"): "There is no folder",
        str(stick / "file"): "is a file",
        str(inside): "dies with it",
        str(backups.folder_of(book)): "dies with it",
    }.items():
        with pytest.raises(Refused, match=words) as told:
            thread.choose(typed, "", "", same_disk=True)
        assert told.value.field == "folder"
    assert list(stick.iterdir()) == [stick / "file"]


def test_a_folder_that_cannot_be_written_is_refused(book: Path, stick: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(_file: Path, _content: bytes) -> int:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "write_bytes", refuse)
    with pytest.raises(Refused, match="Nothing can be written"):
        ElsewhereThread(book).choose(str(stick), "", "", same_disk=True)


def test_a_folder_on_the_books_own_disk_is_asked_about(book: Path, stick: Path) -> None:
    with pytest.raises(Asked, match="same disk as the book") as told:
        ElsewhereThread(book).choose(str(stick), "", "", same_disk=False)
    assert told.value.field == "folder"
    assert list(stick.iterdir()) == []


@pytest.mark.skipif(not MEMORY.is_dir(), reason="no second file system here")
def test_a_folder_on_another_disk_is_not(book: Path) -> None:
    other = MEMORY / f"grainbook-test-{os.urandom(6).hex()}"
    other.mkdir()
    try:
        thread = ElsewhereThread(book)
        name_place(book, *thread.choose(str(other), "", "", same_disk=False))
        thread.look()
        assert standing(thread, book).trouble == ""
        assert everything(copies_at(other)[0].file) == everything(book)
    finally:
        shutil.rmtree(other)


def test_a_place_that_does_not_answer_is_told_and_holds_nothing(
    book: Path, stick: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As a network drive whose server is gone: every question of it waits."""
    answers = threading.Event()
    monkeypatch.setattr(elsewhere_thread, "ANSWERS_WITHIN_S", 0.05)
    monkeypatch.setattr(elsewhere, "examine", lambda *_args, **_more: answers.wait(30))
    with pytest.raises(Refused, match="did not answer"):
        ElsewhereThread(book).choose(str(stick), "", "", same_disk=True)
    thread = ElsewhereThread(book)
    name_place(book, str(stick), "")
    monkeypatch.setattr(elsewhere, "copies_in", lambda _home: answers.wait(30) and [])
    monkeypatch.setattr(elsewhere_thread, "STILL_AFTER_S", 0.05)
    elsewhere.lay_out(elsewhere.read(book).home, None)
    thread.start()
    deadline = time.monotonic() + 10
    while "does not answer" not in standing(thread, book).trouble and time.monotonic() < deadline:
        time.sleep(0.01)
    assert "does not answer" in standing(thread, book).trouble
    assert not thread.copy_now(within_s=0.05)
    began = time.monotonic()
    thread.stop()
    assert time.monotonic() - began < 5
    answers.set()


# --- Copying there ---------------------------------------------------------------------------------------


@pytest.mark.promise(
    "A copy at the second place is read back from there and compared, byte by byte and row by row", figure="each copy"
)
def test_a_copy_is_made_there_and_is_the_book(book: Path, stick: Path) -> None:
    save(book)
    thread = chosen(book, stick)
    thread.look()
    (copy,) = copies_at(stick)
    assert everything(copy.file) == everything(book)
    assert bookfile.inspect(copy.file) == bookfile.inspect(book)
    (home,) = stick.iterdir()
    assert sorted(file.name for file in home.iterdir()) == sorted([copy.file.name, elsewhere.HOW_TO])
    assert "grainbook restore" in (home / elsewhere.HOW_TO).read_text(encoding="utf-8")
    assert not list(backups.folder_of(book).glob("elsewhere-*"))


def test_a_drive_that_gives_back_other_bytes_is_told_and_its_copy_not_counted(
    book: Path, stick: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def spoil(file: Path) -> None:
        content = bytearray(file.read_bytes())
        content[len(content) // 2] ^= 1
        file.write_bytes(content)

    thread = chosen(book, stick)
    monkeypatch.setattr("app.system.forget", spoil)
    thread.look()
    assert "came back altered" in standing(thread, book).trouble
    assert standing(thread, book).last_at is None
    assert copies_at(stick) == []
    assert not list(stick.rglob("*.unfinished*"))


def test_nothing_is_copied_twice_and_each_save_within_minutes(book: Path, stick: Path) -> None:
    with clock.turned_to(NOON) as turn:
        thread = chosen(book, stick)
        thread.look()
        for minute in (1, 11, 60 * 30):  # nothing was saved: no copy, whatever the time and the day
            turn(NOON + timedelta(minutes=minute))
            thread.look()
        assert len(copies_at(stick)) == 1
        save(book)
        thread.look()
        assert len(copies_at(stick)) == 2
        save(book)
        turn(NOON + timedelta(hours=30, minutes=8))
        thread.look()
        assert len(copies_at(stick)) == 2
        assert standing(thread, book).unsaved == 1
        turn(NOON + timedelta(hours=30, minutes=9))
        thread.look()
        assert len(copies_at(stick)) == 3
        assert standing(thread, book).unsaved == 0


def test_a_new_day_and_a_session_opened_or_closed_are_reasons(book: Path, stick: Path) -> None:
    def reading(thread: ElsewhereThread, now: Reading, **more: object) -> bool:
        return thread._due(replace(now, **more), at_once=False)  # type: ignore[arg-type]

    with clock.turned_to(wall("2026-11-25T23:55")) as turn:
        thread = chosen(book, stick)
        thread.look()
        now = elsewhere.read(book)
        assert not reading(thread, now, changes=now.changes + 1)
        turn(wall("2026-11-26T00:06"))
        assert reading(thread, now, changes=now.changes + 1)


def test_a_session_opened_or_closed_is_copied_at_the_next_look(
    book: Path, stick: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with clock.turned_to(NOON) as turn:
        thread = chosen(book, stick)
        thread.look()
        read = elsewhere.read
        for minute, sessions in ((1, (7,)), (2, ())):
            turn(NOON + timedelta(minutes=minute))
            save(book)
            monkeypatch.setattr(elsewhere, "read", lambda at, open_=sessions: replace(read(at), open_sessions=open_))
            thread.look()
            assert len(copies_at(stick)) == 1 + minute


def test_a_slow_copy_is_not_made_every_ten_minutes(book: Path, stick: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with clock.turned_to(NOON) as turn:
        thread = chosen(book, stick)
        real, took = time.monotonic, [0.0]
        monkeypatch.setattr(time, "monotonic", lambda: real() + took[0])
        copy_there = elsewhere.copy_there

        def slow(*args: object) -> elsewhere.There:
            took[0] += 120
            return copy_there(*args)  # type: ignore[arg-type]

        monkeypatch.setattr(elsewhere, "copy_there", slow)
        thread.look()
        save(book)
        turn(NOON + timedelta(minutes=39))
        thread.look()
        assert len(copies_at(stick)) == 1
        turn(NOON + timedelta(minutes=41))
        thread.look()
        assert len(copies_at(stick)) == 2


def test_copies_there_are_kept_by_the_same_rule_and_no_other_file_is_touched(book: Path, stick: Path) -> None:
    with clock.turned_to(NOON) as turn:
        thread = chosen(book, stick)
        (home,) = stick.iterdir()
        (home / "mine.txt").write_text("mine")
        for minute in range(8):
            turn(NOON + timedelta(minutes=11 * minute))
            save(book)
            thread.look()
        assert len(copies_at(stick)) == backups.NEWEST
        for hour in range(24, 30):
            turn(NOON + timedelta(hours=hour))
            save(book)
            thread.look()
        assert len(copies_at(stick)) == backups.NEWEST + 1  # the newest five, and the newest of yesterday
    assert (home / "mine.txt").exists()


def test_a_clock_that_was_ahead_makes_no_copy_each_minute(book: Path, stick: Path) -> None:
    with clock.turned_to(NOON) as turn:
        thread = chosen(book, stick)
        thread.look()
        turn(NOON + timedelta(days=900))
        save(book)
        thread.look()
        turn(NOON + timedelta(minutes=20))
        save(book)
        thread.look()
        for minute in range(21, 26):
            turn(NOON + timedelta(minutes=minute))
            thread.look()
        assert len(copies_at(stick)) == 3
        assert standing(thread, book).unsaved == 0


def test_two_computers_in_one_book_are_told(book: Path, stick: Path, tmp_path: Path) -> None:
    other = tmp_path / "another computer" / "book.sqlite3"
    other.parent.mkdir()
    with clock.turned_to(NOON) as turn:
        thread = chosen(book, stick)
        thread.look()
        assert not standing(thread, book).urgent
        assert main(["restore", str(stick), "--book", str(other)]) == 0
        save(other)
        turn(NOON + timedelta(minutes=20))
        there = ElsewhereThread(other)
        there.look()
        assert not standing(there, other).urgent
        thread.look()
        assert "that this computer did not make" in standing(thread, book).words
        assert standing(thread, book).urgent


# --- Away and back ---------------------------------------------------------------------------------------


@pytest.mark.promise(
    "How old the last copy elsewhere is, since when its place is away and what is not in it is told in words",
    figure="days, saves",
)
def test_a_stick_that_is_away_is_told_in_days_and_copied_to_when_it_comes_back(
    book: Path, stick: Path, tmp_path: Path
) -> None:
    with clock.turned_to(NOON) as turn:
        thread = chosen(book, stick)
        assert standing(thread, book).words == "There is no copy elsewhere yet."
        thread.look()
        assert (
            standing(thread, book).words == "The last copy elsewhere is of today, 12:00. All that was saved is in it."
        )
        assert not standing(thread, book).urgent
        stick.rename(tmp_path / "in the pocket")
        save(book)
        turn(NOON + timedelta(days=1))
        thread.look()
        told = standing(thread, book)
        assert told.words == (
            "The second place was not there since 25 Nov 2026, 12:00. The last copy elsewhere is of yesterday, 12:00. "
            "1 save since then: not in it."
        )
        assert not told.urgent
        turn(NOON + timedelta(days=9))
        save(book)
        thread.look()
        told = standing(thread, book)
        assert (
            "The last copy elsewhere is 9 days old (25 Nov 2026, 12:00). 2 saves since then: not in it." in told.words
        )
        assert told.urgent
        assert not stick.exists()  # no folder is made in its place
        (tmp_path / "in the pocket").rename(stick)
        thread.look()
        told = standing(thread, book)
        assert told.words == "The last copy elsewhere is of today, 12:00. All that was saved is in it."
        assert not told.urgent
        assert everything(copies_at(stick)[0].file) == everything(book)


def test_what_is_known_of_a_place_that_is_away_outlasts_the_program(book: Path, stick: Path, tmp_path: Path) -> None:
    with clock.turned_to(NOON) as turn:
        thread = chosen(book, stick)
        thread.look()
        turn(NOON + timedelta(hours=1))
        thread.look()
        thread.stop()
        stick.rename(tmp_path / "in the pocket")
        save(book)
        turn(NOON + timedelta(days=3))
        again = ElsewhereThread(book)
        again.look()
        assert standing(again, book).words == (
            "The second place was not there since 25 Nov 2026, 13:00. The last copy elsewhere is 3 days old "
            "(25 Nov 2026, 12:00). 1 save since then: not in it."
        )


@pytest.mark.parametrize("left", ["", "{}", "[1]", '{"home": 1, "made_at": "soon"}', "\x00"])
def test_a_lost_note_is_found_again_at_the_place(book: Path, stick: Path, left: str) -> None:
    with clock.turned_to(NOON) as turn:
        chosen(book, stick).look()
        elsewhere_standing.file_of(book).write_text(left)
        turn(NOON + timedelta(minutes=1))
        thread = ElsewhereThread(book)
        thread.look()
        assert standing(thread, book).unsaved == 0
        assert len(copies_at(stick)) == 2  # how far the first goes was not known


def test_an_empty_folder_where_the_stick_should_be_is_no_second_place(book: Path, stick: Path, tmp_path: Path) -> None:
    thread = chosen(book, stick)
    thread.look()
    stick.rename(tmp_path / "in the pocket")
    stick.mkdir()  # the place where the drive is mounted, on the book's own disk
    save(book)
    thread.look()
    assert list(stick.iterdir()) == []
    assert standing(thread, book).away_since is not None


def test_another_stick_at_the_same_place_is_told_and_used_when_chosen(book: Path, stick: Path, tmp_path: Path) -> None:
    with clock.turned_to(NOON) as turn:
        thread = chosen(book, stick)
        thread.look()
        stick.rename(tmp_path / "first")
        stick.mkdir()
        (stick / "holiday.jpg").write_bytes(b"x")
        turn(NOON + timedelta(minutes=1))
        thread.look()
        assert "choose it in the settings once" in standing(thread, book).trouble
        name_place(book, *thread.choose(str(stick), "", "", same_disk=True))
        thread.look()
        assert standing(thread, book).trouble == ""
        assert len(copies_at(stick)) == 1
        stick.rename(tmp_path / "second")
        (tmp_path / "first").rename(stick)
        save(book)
        thread.look()
        assert everything(copies_at(stick)[0].file) == everything(book)


def test_two_sticks_in_turn_both_get_what_they_lack(book: Path, stick: Path, tmp_path: Path) -> None:
    """Nothing was saved since the copy on the one: the other still lacks it."""
    with clock.turned_to(NOON) as turn:
        thread = chosen(book, stick)
        shutil.copytree(stick, tmp_path / "second")
        save(book)
        thread.look()
        stick.rename(tmp_path / "first")
        (tmp_path / "second").rename(stick)
        turn(NOON + timedelta(minutes=1))
        thread.look()
        assert everything(copies_at(stick)[0].file) == everything(book)


@pytest.mark.promise(
    "A stick pulled out in the middle of a copy spoils no copy; what was begun is cleared away", figure="at 3 moments"
)
@pytest.mark.parametrize("piece", [1, 2, 3])
def test_a_stick_pulled_out_in_the_middle(
    book: Path, stick: Path, tmp_path: Path, piece: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(elsewhere, "_PIECE", 300_000)
    with clock.turned_to(NOON) as turn:
        thread = chosen(book, stick)
        thread.look()
        before = copies_at(stick)
        save(book)
        turn(NOON + timedelta(minutes=11))
        beats = [0]
        beat = thread._beat

        def pull() -> None:
            beats[0] += 1
            if beats[0] == piece + 1:
                stick.rename(tmp_path / "pulled out")
            beat()

        monkeypatch.setattr(thread, "_beat", pull)
        thread.look()
        assert beats[0] > piece
        assert "went away or refused in the middle" in standing(thread, book).trouble
        assert "not in it" in standing(thread, book).words
        (tmp_path / "pulled out").rename(stick)
        assert [one.file.name for one in copies_at(stick)] == [one.file.name for one in before]
        bookfile.inspect(copies_at(stick)[0].file)
        thread.look()  # a minute later it still rests …
        turn(NOON + timedelta(minutes=22))
        thread.look()
        assert not list(stick.rglob("*.unfinished*"))
        assert standing(thread, book).trouble == ""
        assert everything(copies_at(stick)[0].file) == everything(book)


def test_a_stop_in_the_middle_of_a_copy_is_quick_and_leaves_no_copy(
    book: Path, stick: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    thread = chosen(book, stick)
    beat = thread._beat

    def stop() -> None:
        if list(stick.rglob("*.unfinished")):
            thread._stop.set()
        beat()

    monkeypatch.setattr(thread, "_beat", stop)
    thread.look()
    assert copies_at(stick) == []
    assert standing(thread, book).trouble == ""


ON_A_SMALL_DISK = 'mount -t tmpfs -o size=3M none "$1" && exec "$2" -m tests.full_stick "$3" "$1"'


@pytest.mark.promise("A full stick: the copies on it stay whole, and it is told", figure="a real file system of 3 MB")
def test_a_stick_that_is_really_full(book: Path, stick: Path) -> None:
    """In a name space of its own, which needs no rights."""
    apart = ["unshare", "--user", "--map-root-user", "--mount"]
    if shutil.which("unshare") is None or subprocess.run([*apart, "true"], capture_output=True).returncode != 0:
        pytest.skip("this machine gives no file system to a person without rights")
    run = subprocess.run(
        [*apart, "sh", "-c", ON_A_SMALL_DISK, "sh", stick, sys.executable, book],
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(__file__).parent.parent,
    )
    first, second, room = run.stdout.splitlines()
    assert "no room" in first.lower()
    assert "no room" in second.lower()
    assert room == "whole copies: 1; unfinished: 0; trouble: "


# --- Encrypted -------------------------------------------------------------------------------------------


def test_an_encrypted_place_holds_nothing_that_can_be_read(book: Path, stick: Path) -> None:
    save(book)
    thread = chosen(book, stick, PASSPHRASE)
    thread.look()
    told = standing(thread, book)
    assert told.trouble == ""
    assert told.encrypted
    (copy,) = copies_at(stick)
    assert copy.file.read_bytes().startswith(b"age-encryption.org/v1\n")
    key = elsewhere.key_file(copy.file.parent, copy.key)
    assert key.read_text(encoding="ascii") == told.closed_key
    content = b"".join(file.read_bytes() for file in stick.rglob("*") if file.is_file())
    assert b"SQLite format 3" not in content
    assert PASSPHRASE.encode() not in content


@pytest.mark.promise(
    "The passphrase of encrypted copies is kept nowhere on this computer", figure="every file beside it"
)
def test_the_passphrase_is_kept_nowhere(book: Path, stick: Path) -> None:
    thread = chosen(book, stick, PASSPHRASE)
    thread.look()
    thread.stop()
    for file in book.parent.rglob("*"):
        if file.is_file():
            assert PASSPHRASE.encode() not in file.read_bytes(), file
            assert b"AGE-SECRET-KEY" not in file.read_bytes(), file


def test_the_key_beside_the_copies_is_mended_from_the_one_beside_the_book_and_the_other_way_round(
    book: Path, stick: Path
) -> None:
    thread = chosen(book, stick, PASSPHRASE)
    thread.look()
    (copy,) = copies_at(stick)
    key = elsewhere.key_file(copy.file.parent, copy.key)
    words = key.read_text(encoding="ascii")
    key.unlink()
    thread.look()
    assert key.read_text(encoding="ascii") == words
    elsewhere_standing.file_of(book).unlink()
    again = ElsewhereThread(book)
    again.look()
    assert standing(again, book).closed_key == words
    elsewhere_standing.file_of(book).unlink()
    key.unlink()
    lost = ElsewhereThread(book)
    save(book)
    lost.look()
    assert "The key of your copies is missing" in standing(lost, book).trouble
    assert len(copies_at(stick)) <= 2  # none that nobody could open


def test_readable_copies_from_before_are_told(book: Path, stick: Path) -> None:
    with clock.turned_to(NOON) as turn:
        chosen(book, stick).look()
        turn(NOON + timedelta(minutes=11))
        thread = chosen(book, stick, PASSPHRASE)
        thread.look()
        assert standing(thread, book).readable == 1
        assert [bool(one.key) for one in copies_at(stick)] == [True, False]


def test_a_new_passphrase_makes_a_new_key_and_the_old_copies_keep_theirs(
    book: Path, stick: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with clock.turned_to(NOON) as turn:
        thread = chosen(book, stick, PASSPHRASE)
        thread.look()
        turn(NOON + timedelta(minutes=11))
        save(book)
        name_place(book, *thread.choose(str(stick), "", "another four words here", same_disk=True))
        thread.look()
        new, old = copies_at(stick)
    assert new.key != old.key
    for copy, passphrase in ((new, "another four words here"), (old, PASSPHRASE)):
        monkeypatch.setattr("app.commands._passphrase", lambda said=passphrase: said)
        assert main(["restore", str(copy.file), "--book", str(tmp_path / copy.key / "book.sqlite3")]) == 0


# --- The way back ----------------------------------------------------------------------------------------


@pytest.fixture
def fresh(tmp_path: Path) -> Path:
    """The place of a book on a new computer, where nothing is yet."""
    return tmp_path / "new computer" / "book.sqlite3"


def rows(book: Path) -> dict[str, list[tuple[object, ...]]]:
    """What a restore brings back: all but what each start and each restore do by themselves."""
    found = everything(book)
    return {name: found[name] for name in ("supply", "once_token", "checklist_item")}


@pytest.mark.promise(
    "The newest copy elsewhere is restored by one command on a computer that has nothing", figure="2 forms"
)
@pytest.mark.parametrize("passphrase", ["", PASSPHRASE], ids=["readable", "encrypted"])
def test_one_command_restores_the_newest_copy_of_a_second_place(
    book: Path,
    stick: Path,
    fresh: Path,
    passphrase: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    with clock.turned_to(NOON) as turn:
        thread = chosen(book, stick, passphrase)
        thread.look()
        save(book)
        turn(NOON + timedelta(minutes=11))
        thread.look()
        expected = rows(book)
        shutil.rmtree(book.parent)
        monkeypatch.setattr("app.commands._passphrase", lambda: passphrase)
        assert main(["restore", str(stick), "--book", str(fresh)]) == 0
        said = capsys.readouterr().out
        assert "The copy of 25 Nov 2026, 12:11" in said
        assert "The last save in it is of 25 Nov 2026, 12:00" in said
        assert rows(fresh) == expected
        assert not list(fresh.parent.glob("opening-*"))
        again = ElsewhereThread(fresh)
        assert standing(again, fresh).words.startswith("The last copy elsewhere is of today, 12:11. All that was saved")
        turn(NOON + timedelta(minutes=30))
        save(fresh)
        again.look()
        assert len(copies_at(stick)) == 3  # and the new computer goes on in the same place


@pytest.mark.promise("Files of loggers and pictures come along to the second place, each once", figure="2 forms")
@pytest.mark.parametrize("passphrase", ["", PASSPHRASE], ids=["readable", "encrypted"])
def test_files_come_along_once_each_and_back(
    book: Path, stick: Path, fresh: Path, passphrase: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.commands._passphrase", lambda: passphrase)
    with clock.turned_to(NOON) as turn:
        assert send(book, RAW) == 1
        thread = chosen(book, stick, passphrase)
        thread.look()
        (there,) = (file for file in stick.rglob("files/*/*"))
        written = there.stat().st_mtime_ns
        assert (RAW in there.read_bytes()) == (not passphrase)
        turn(NOON + timedelta(minutes=10))
        assert send(book, OTHER) == 2
        thread.look()
        assert standing(thread, book).trouble == ""
        assert there.stat().st_mtime_ns == written  # not sent a second time
        assert len(list(stick.rglob("files/*/*"))) == 2
        expected = filestore.held(filestore.folder_of(book))
        shutil.rmtree(book.parent)
        assert main(["restore", str(stick), "--book", str(fresh)]) == 0
    assert filestore.held(filestore.folder_of(fresh)) == expected
    assert all(filestore.is_whole(filestore.folder_of(fresh), digest) for digest in expected)
    assert filestore.missing(fresh) == []


@pytest.mark.parametrize("passphrase", ["", PASSPHRASE], ids=["readable", "encrypted"])
def test_a_file_that_is_altered_at_the_second_place_is_told_and_the_book_comes_back(
    book: Path,
    stick: Path,
    fresh: Path,
    passphrase: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr("app.commands._passphrase", lambda: passphrase)
    send(book, RAW)
    chosen(book, stick, passphrase).look()
    (there,) = (file for file in stick.rglob("files/*/*"))
    content = bytearray(there.read_bytes())
    content[len(content) // 2] ^= 1
    there.chmod(0o600)
    there.write_bytes(content)
    assert main(["restore", str(stick), "--book", str(fresh)]) == 0
    assert len(filestore.missing(fresh)) == 1
    assert "1 file" in capsys.readouterr().out


def test_a_pipe_gives_the_passphrase_and_a_wrong_one_changes_nothing(book: Path, stick: Path, fresh: Path) -> None:
    chosen(book, stick, PASSPHRASE).look()

    def restored(typed: str) -> "subprocess.CompletedProcess[str]":
        return subprocess.run(
            [sys.executable, "-m", "app", "restore", str(stick), "--book", str(fresh)],
            input=typed,
            capture_output=True,
            text=True,
            timeout=60,
        )

    wrong = restored("kelp sandbar\n")
    assert wrong.returncode == 1
    assert "does not open the key" in wrong.stderr
    assert "Traceback" not in wrong.stderr
    empty = restored("")
    assert empty.returncode == 1
    assert "No passphrase was given" in empty.stderr
    assert not fresh.exists()
    right = restored(PASSPHRASE + "\n")
    assert right.returncode == 0, right.stderr
    assert PASSPHRASE not in right.stdout + right.stderr
    assert bookfile.inspect(fresh).rows["workshop"] == 1


def test_an_altered_copy_is_refused_with_the_one_before_it(
    book: Path, stick: Path, fresh: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("app.commands._passphrase", lambda: PASSPHRASE)
    with clock.turned_to(NOON) as turn:
        thread = chosen(book, stick, PASSPHRASE)
        thread.look()
        save(book)
        turn(NOON + timedelta(minutes=11))
        thread.look()
    newest, older = copies_at(stick)
    content = bytearray(newest.file.read_bytes())
    content[-2000] ^= 4
    newest.file.write_bytes(content)
    assert main(["restore", str(stick), "--book", str(fresh)]) == 1
    said = capsys.readouterr().err
    assert f"{newest.file} is damaged" in said
    assert f"grainbook restore {older.file}" in said
    assert not fresh.exists()
    assert main(["restore", str(older.file), "--book", str(fresh)]) == 0


def test_copies_of_several_books_are_asked_about(
    book: Path, stick: Path, fresh: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    chosen(book, stick).look()
    other = tmp_path / "other.sqlite3"
    shutil.copy(book, other)
    with closing(sqlite3.connect(other, isolation_level=None)) as connection:
        connection.execute("UPDATE workshop SET created_at = '2020-01-01 00:00:00.000001'")
    chosen(other, stick).look()
    assert main(["restore", str(stick), "--book", str(fresh)]) == 1
    said = capsys.readouterr().err
    assert "copies of 2 books" in said
    for home in stick.iterdir():
        assert f"grainbook restore {home}" in said
        assert main(["restore", str(home), "--book", str(tmp_path / home.name / "book.sqlite3")]) == 0
    assert not fresh.exists()


def test_the_folder_of_copies_beside_a_book_is_restored_from_in_the_same_way(
    book: Path, fresh: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    backups.keep_copy(book)
    assert main(["restore", str(backups.folder_of(book)), "--book", str(fresh)]) == 0
    assert bookfile.inspect(fresh).rows["workshop"] == 1


def test_a_copy_dated_in_the_future_is_asked_about(
    book: Path, stick: Path, fresh: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with clock.turned_to(NOON) as turn:
        thread = chosen(book, stick)
        thread.look()
        turn(NOON + timedelta(days=900))
        save(book)
        thread.look()
        turn(NOON + timedelta(hours=1))
        ahead, past = copies_at(stick)
        assert main(["restore", str(stick), "--book", str(fresh)]) == 1
        said = capsys.readouterr().err
        assert "still to come" in said
        for copy in (ahead, past):
            assert f"grainbook restore {copy.file} " in said
        assert not fresh.exists()
        assert main(["restore", str(past.file), "--book", str(fresh)]) == 0


def test_what_a_kill_left_of_a_copy_is_cleared_away(book: Path, stick: Path) -> None:
    thread = chosen(book, stick)
    (home,) = stick.iterdir()
    (home / "book-2026-11-25T115900Z.sqlite3.unfinished").write_bytes(b"half")
    left = backups.folder_of(book) / "elsewhere-0123456789ab"
    left.mkdir(parents=True)
    (left / "copy.sqlite3").write_bytes(b"half")
    thread.start()
    thread.copy_now()
    thread.stop()
    assert not left.exists()
    assert len(copies_at(stick)) >= 1
    assert not list(stick.rglob("*.unfinished*"))


def test_what_cannot_be_restored_from_is_told(
    book: Path, stick: Path, fresh: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.commands._passphrase", lambda: PASSPHRASE)
    assert main(["restore", str(stick), "--book", str(fresh)]) == 1
    assert "There is no copy of a book in" in capsys.readouterr().err
    chosen(book, stick, PASSPHRASE).look()
    (copy,) = copies_at(stick)
    elsewhere.key_file(copy.file.parent, copy.key).unlink()
    assert main(["restore", str(stick), "--book", str(fresh)]) == 1
    assert "The key of this copy is missing" in capsys.readouterr().err
    copy.file.unlink()
    assert main(["restore", str(copy.file), "--book", str(fresh)]) == 1
    assert "There is no file" in capsys.readouterr().err
    monkeypatch.setattr(Path, "iterdir", lambda _self: (_ for _ in ()).throw(PermissionError(13, "Permission denied")))
    assert main(["restore", str(stick), "--book", str(fresh)]) == 1
    assert "cannot be read by your account" in capsys.readouterr().err


def test_a_large_book_is_streamed(book: Path, stick: Path) -> None:
    """60 MB in the book, and no more than a few in memory; the copy there is what was written."""
    with closing(sqlite3.connect(book, isolation_level=None)) as connection:
        connection.execute("CREATE TABLE ballast (filler BLOB)")
        for _ in range(60):
            connection.execute("INSERT INTO ballast VALUES (randomblob(1000000))")
    import resource

    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    thread = chosen(book, stick, PASSPHRASE)
    thread.look()
    assert standing(thread, book).trouble == ""
    assert (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024 < 40
    assert copies_at(stick)[0].file.stat().st_size > 60_000_000
    assert hashlib.sha256(copies_at(stick)[0].file.read_bytes()).digest()


def test_the_start_does_without_the_library_of_encryption() -> None:
    words = "import app.main, app.__main__, sys; print('pyrage' in sys.modules)"
    run = subprocess.run([sys.executable, "-c", words], capture_output=True, text=True, check=True, timeout=60)
    assert run.stdout.strip() == "False"


def test_trouble_of_the_place_is_told_as_its_own(book: Path, stick: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    thread = chosen(book, stick)
    monkeypatch.setattr(elsewhere, "copies_in", lambda _home: (_ for _ in ()).throw(OSError(5, "Input/output error")))
    thread.look()
    assert "The second place cannot be read (Input/output error)" in standing(thread, book).trouble
    monkeypatch.undo()
    monkeypatch.setattr(elsewhere, "copy_there", lambda *_: 1 // 0)
    thread.look()
    assert "the log says where" in standing(thread, book).trouble
    monkeypatch.undo()
    monkeypatch.setattr(elsewhere, "_hold_room", lambda *_: (_ for _ in ()).throw(Trouble("no room", kind="full")))
    thread._rests = None
    thread.look()
    assert standing(thread, book).trouble == "no room"
