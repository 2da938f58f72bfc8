"""Copies of the book: taken while it is written to, proved, kept by the rule, and put back row by row."""

import shutil
import sqlite3
import threading
from collections.abc import Callable
from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path
from typing import NamedTuple

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app import clock
from app.book import backups, bookfile
from app.book.backup_thread import BackupThread
from app.db import migrate, open_engine, reading, writing
from app.errors import Trouble
from app.services.stock import supplies
from app.units import say
from tests import build
from tests.moment import wall

NOON = wall("2026-11-25T12:00")


@pytest.fixture
def book(tmp_path: Path, empty_book: Path) -> Path:
    """A book with a few rows, closed."""
    book = tmp_path / "book.sqlite3"
    book.write_bytes(empty_book.read_bytes())
    engine = open_engine(book)
    with writing(engine) as session:
        build.supply(session)
        session.commit()
    engine.dispose()
    return book


def everything(file: Path) -> dict[str, list[tuple[object, ...]]]:
    """Every row of every table, the numbers of the rows and the triggers too."""
    with bookfile.opened(file) as connection:
        found = {
            "sqlite_master": connection.execute("SELECT type, name, sql FROM sqlite_master ORDER BY 1, 2").fetchall()
        }
        for table in bookfile.table_names(connection):
            found[table] = connection.execute(f'SELECT rowid, * FROM "{table}" ORDER BY rowid').fetchall()
    return found


def change(book: Path) -> None:
    engine = open_engine(book)
    with writing(engine) as session:
        build.supply(session)
        session.commit()
    engine.dispose()


def break_page(file: Path, table: str = "") -> None:
    """Write over the middle of a file, or over the first page of a table, as a dying disk does."""
    content = bytearray(file.read_bytes())
    start = len(content) // 2 // 4096 * 4096
    if table:
        with closing(sqlite3.connect(file)) as connection:
            found = connection.execute("SELECT rootpage FROM sqlite_master WHERE name = ?", (table,)).fetchone()
        start = (found[0] - 1) * 4096
    content[start : start + 4096] = b"\xa5" * 4096
    file.write_bytes(content)


# --- Copy ------------------------------------------------------------------------------------------------


@pytest.mark.promise("A copy is proved: integrity, foreign keys, schema, rows counted", figure="each copy")
def test_a_copy_has_every_row_and_is_one_plain_file(book: Path, tmp_path: Path) -> None:
    target = tmp_path / "copy.sqlite3"
    backups.copy(book, target)
    assert everything(target) == everything(book)
    assert everything(book)["supply"]
    assert sorted(p.name for p in tmp_path.glob("copy*")) == ["copy.sqlite3"]


@pytest.mark.promise(
    "A copy of the open book is whole and of one moment", figure="10 copies under a writer of pairs: no half pair"
)
def test_a_copy_of_an_open_book_is_of_one_moment(book: Path, tmp_path: Path) -> None:
    """A writer adds pairs of rows all the while: no copy has half a pair, none is torn."""
    done = threading.Event()
    with sqlite3.connect(book) as setup:
        setup.execute("CREATE TABLE pair (id INTEGER PRIMARY KEY, side TEXT, filler BLOB)")
    setup.close()

    def write() -> None:
        connection = sqlite3.connect(book, isolation_level=None, timeout=10)
        connection.execute("PRAGMA journal_mode=WAL")
        while not done.is_set():
            connection.execute("BEGIN IMMEDIATE")
            connection.execute("INSERT INTO pair (side, filler) VALUES ('left', zeroblob(20000))")
            connection.execute("INSERT INTO pair (side, filler) VALUES ('right', zeroblob(20000))")
            connection.execute("COMMIT")
        connection.close()

    writer = threading.Thread(target=write)
    writer.start()
    try:
        for number in range(10):
            target = tmp_path / f"copy{number}.sqlite3"
            backups.copy(book, target)
            with bookfile.opened(target) as connection:
                sides = dict(connection.execute("SELECT side, count(*) FROM pair GROUP BY side").fetchall())
            assert sides.get("left") == sides.get("right")
    finally:
        done.set()
        writer.join()


def test_a_copy_of_a_damaged_book_is_refused_and_nothing_is_left(book: Path, tmp_path: Path) -> None:
    good = tmp_path / "good.sqlite3"
    backups.copy(book, good)
    break_page(book)
    with pytest.raises(Trouble, match="damaged"):
        backups.copy(book, tmp_path / "bad.sqlite3")
    with pytest.raises(Trouble, match="damaged"):
        backups.keep_copy(book)
    assert list(tmp_path.glob("bad*")) == list(backups.folder_of(book).iterdir()) == []
    assert bookfile.inspect(good).rows["supply"] == 1


def test_a_copy_never_fills_the_disk(book: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    class Usage(NamedTuple):
        total: int
        used: int
        free: int

    monkeypatch.setattr(shutil, "disk_usage", lambda _: Usage(10**9, 10**9 - 10**6, 10**6))
    with pytest.raises(Trouble, match="no room") as told:
        backups.keep_copy(book)
    assert told.value.status == 507
    assert backups.copies(book) == []


def test_two_copies_in_one_second_do_not_write_over_each_other(book: Path) -> None:
    with clock.turned_to(NOON):
        backups.keep_copy(book)
        backups.keep_copy(book)
    assert len(backups.copies(book)) == 2


def test_what_a_killed_copy_left_is_cleared_away(book: Path) -> None:
    backups.folder_of(book).mkdir()
    left = backups.folder_of(book) / "book-2026-11-25T120000Z.sqlite3.unfinished"
    left.write_bytes(b"half")
    backups.keep_copy(book)
    assert not left.exists()
    assert len(backups.copies(book)) == 1


# --- What is kept ----------------------------------------------------------------------------------------


def made(*moments: datetime) -> list[backups.Copy]:
    return sorted((backups.Copy(Path(str(m)), m) for m in moments), key=lambda c: c.made_at, reverse=True)


@pytest.mark.promise("Copies are kept by the rule, ten years long", figure="at most 42")
def test_ten_years_of_daily_use_keep_few_copies_of_each_kind() -> None:
    found = made(*(NOON - timedelta(hours=8 * n) for n in range(3 * 3650)))
    stay = sorted((c.made_at for c in backups.kept(found, NOON)), reverse=True)
    days = {clock.local(moment).date() for moment in stay}
    assert stay[:5] == [c.made_at for c in found[:5]]
    assert {clock.local(NOON).date() - timedelta(days=n) for n in range(14)} <= days
    assert len(stay) <= 5 + 14 + 12 + 11
    months = {(m.year, m.month) for m in (clock.local(s) for s in stay)}
    assert {(2026, n) for n in range(1, 12)} <= months  # each of the last twelve months
    assert {m.year for m in stay} >= set(range(2017, 2027))  # each year


@given(st.lists(st.integers(-400, 4000), max_size=60))
def test_the_newest_copies_always_stay(days: list[int]) -> None:
    found = made(*{NOON - timedelta(days=d, seconds=i) for i, d in enumerate(days)})
    stay = backups.kept(found, NOON)
    assert set(found[:5]) <= stay
    assert {c.made_at.astimezone().year for c in found} == {c.made_at.astimezone().year for c in stay}
    assert (
        backups.kept(sorted(stay, key=lambda c: c.made_at, reverse=True), NOON) == stay
    )  # keeping twice changes nothing


def test_copies_are_let_go_by_the_rule_and_no_other_file_is_touched(book: Path) -> None:
    with clock.turned_to(NOON) as turn:
        lasting = backups.keep_copy(book, label="before-0006")
        note = backups.folder_of(book) / "book-my-own.sqlite3"
        note.write_text("mine")
        for _ in range(8):
            turn(clock.now() + timedelta(minutes=1))
            backups.keep_copy(book)
    assert note.exists()
    assert lasting.file.exists()
    assert len(backups.copies(book)) == 6


def test_the_copy_just_made_stays_though_the_clock_was_set_back(book: Path) -> None:
    with clock.turned_to(NOON) as turn:
        for _ in range(6):
            turn(clock.now() + timedelta(minutes=1))
            backups.keep_copy(book)
        turn(NOON - timedelta(hours=2))
        assert backups.keep_copy(book).file.exists()


# --- The thread ------------------------------------------------------------------------------------------


def test_a_copy_at_the_start_and_one_each_day(book: Path) -> None:
    with clock.turned_to(NOON) as turn:
        thread = BackupThread(book)
        assert thread.standing().last is None
        assert thread.due()
        thread.take()
        assert not thread.due()
        turn(NOON + timedelta(hours=36))
        assert thread.due()
    assert thread.standing().last is not None


def test_a_copy_that_failed_is_told_with_the_last_good_one_and_tried_again(book: Path) -> None:
    with clock.turned_to(NOON) as turn:
        thread = BackupThread(book)
        thread.take()
        whole = book.read_bytes()
        break_page(book)
        turn(NOON + timedelta(hours=1))
        thread.take()
        standing = thread.standing()
        assert "damaged" in standing.trouble
        assert standing.failed_at == NOON + timedelta(hours=1)
        assert standing.last is not None
        assert standing.last.made_at == NOON
        assert thread.due()
        book.write_bytes(whole)
        thread.take()
        assert thread.standing().trouble == ""


def test_the_thread_takes_its_copy_and_stops(book: Path) -> None:
    thread = BackupThread(book, look_every_s=3600)
    thread.start()
    thread.stop()
    assert len(backups.copies(book)) == 1


# --- Restore ---------------------------------------------------------------------------------------------


@pytest.mark.promise(
    "Restore brings every row of every table back and keeps the replaced book", figure="all tables, compared"
)
def test_restore_brings_every_row_back_and_keeps_the_replaced_book(book: Path, tmp_path: Path) -> None:
    copy = tmp_path / "elsewhere" / "copy.sqlite3"
    copy.parent.mkdir()
    backups.copy(book, copy)
    as_it_was = everything(book)
    change(book)
    as_it_became = everything(book)
    assert as_it_became != as_it_was
    replaced = backups.restore(copy, book)
    assert everything(book) == as_it_was
    assert replaced is not None
    assert everything(replaced) == as_it_became
    engine = open_engine(book)
    with reading(engine) as session:
        assert len(supplies.stock(session)) == 1
    engine.dispose()


def test_restore_after_a_crash_does_not_take_the_old_journal_for_its_own(book: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy.sqlite3"
    backups.copy(book, copy)
    as_it_was = everything(book)
    writer = sqlite3.connect(book, isolation_level=None)
    writer.execute("PRAGMA journal_mode=WAL")
    writer.execute("PRAGMA wal_autocheckpoint=0")
    writer.execute("UPDATE workshop SET person = 'after the copy'")
    # As a kill leaves it: the rows are in the journal only, and nobody has it open any more.
    for side in ("", "-wal"):
        shutil.copy(f"{book}{side}", tmp_path / f"crashed.sqlite3{side}")
    writer.close()
    crashed = tmp_path / "crashed.sqlite3"
    replaced = backups.restore(copy, crashed)
    assert everything(crashed) == as_it_was
    assert replaced is not None
    with bookfile.opened(replaced) as connection:
        assert connection.execute("SELECT person FROM workshop").fetchone() == ("after the copy",)


def test_restore_over_a_damaged_book_keeps_it_byte_by_byte(book: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy.sqlite3"
    backups.copy(book, copy)
    as_it_was = everything(book)
    book.write_bytes(b"\x00" * 10_000)
    replaced = backups.restore(copy, book)
    assert replaced is not None
    assert replaced.read_bytes() == b"\x00" * 10_000
    assert everything(book) == as_it_was


def _damage(file: Path) -> None:
    break_page(file)


def _cut(file: Path) -> None:
    file.write_bytes(file.read_bytes()[: file.stat().st_size // 2])


def _newer(file: Path) -> None:
    with sqlite3.connect(file) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9000'")
    connection.close()


def _other(file: Path) -> None:
    file.unlink()
    with sqlite3.connect(file) as connection:
        connection.execute("CREATE TABLE recipes (name TEXT)")
    connection.close()


def _text(file: Path) -> None:
    file.write_text("To whom it may concern")


def _orphan(file: Path) -> None:
    with sqlite3.connect(file) as connection:
        connection.execute("INSERT INTO alembic_version SELECT 'x' WHERE 0")
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f"DROP TRIGGER {name}")
        connection.execute("UPDATE checklist_item SET checklist_edition_id = 999 WHERE id = 1")
    connection.close()


@pytest.mark.promise("A damaged, cut, foreign, newer or orphaned file is refused, nothing changed", figure="6 kinds")
@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (_damage, "is damaged"),
        (_cut, "is damaged"),
        (_orphan, "is damaged"),
        (_newer, "a newer Grainbook"),
        (_other, "is not a book"),
        (_text, "is not a book"),
    ],
)
def test_restore_refuses_what_is_no_whole_book_of_its_own(
    book: Path, tmp_path: Path, spoil: Callable[[Path], None], words: str
) -> None:
    copy = tmp_path / "copy.sqlite3"
    backups.copy(book, copy, sealed=False)
    spoil(copy)
    spoiled, before = copy.read_bytes(), book.read_bytes()
    with pytest.raises(Trouble, match=words):
        backups.restore(copy, book)
    assert book.read_bytes() == before
    assert copy.read_bytes() == spoiled
    assert {p.name for p in tmp_path.iterdir()} <= {
        "book.sqlite3",
        "copy.sqlite3",
        "book.sqlite3.mark",
        "book.sqlite3-wal",
        "book.sqlite3-shm",
    }


@pytest.mark.promise(
    "A changed bit anywhere in a copy is found, also where SQLite sees nothing",
    figure="a CRC-32 in each copy; 12 bits by chance",
)
@given(st.floats(0, 0.999999), st.integers(0, 7))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=12)
def test_a_single_bit_that_changed_in_a_copy_is_found(book: Path, tmp_path: Path, where: float, bit: int) -> None:
    """SQLite's own check finds broken pages; the seal finds a figure that became another one."""
    copy = tmp_path / "copy.sqlite3"
    copy.unlink(missing_ok=True)
    backups.copy(book, copy)
    content = bytearray(copy.read_bytes())
    content[int(where * len(content))] ^= 1 << bit
    copy.write_bytes(content)
    before = book.read_bytes()
    with pytest.raises(Trouble, match=r"is damaged|is not a book"):
        backups.restore(copy, book)
    assert book.read_bytes() == before


def test_a_copy_that_is_worked_in_is_a_book_like_another(book: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy.sqlite3"
    backups.copy(book, copy)
    migrate(copy)
    change(copy)
    bookfile.settle(copy)
    assert bookfile.inspect(copy).rows["supply"] == 2
    backups.restore(copy, book)
    bookfile.inspect(book)
    change(book)
    bookfile.settle(book)
    assert bookfile.inspect(book).rows["supply"] == 3


def test_whatever_befalls_the_head_of_a_file_is_told(book: Path, tmp_path: Path) -> None:
    copy, spoiled, again = (tmp_path / f"{name}.sqlite3" for name in ("copy", "spoiled", "again"))
    backups.copy(book, copy, sealed=False)
    refused = 0
    for at in range(0, 100, 4):
        content = bytearray(copy.read_bytes())
        content[at : at + 4] = b"\xd4\x00\xff\x03"
        spoiled.write_bytes(content)
        bookfile.remove(again)
        try:
            backups.restore(spoiled, again)
        except Trouble as trouble:
            refused += str(spoiled) in say(trouble.message)
        else:  # a place in the head that says nothing of what is in the book
            refused += everything(again)["supply"] == everything(book)["supply"]
    assert refused == 25


def test_restore_refuses_while_another_program_has_the_book(
    book: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bookfile, "WAIT_S", 0.05)
    copy = tmp_path / "copy.sqlite3"
    backups.copy(book, copy)
    other = sqlite3.connect(book, isolation_level=None)
    other.execute("PRAGMA journal_mode=WAL")
    other.execute("SELECT count(*) FROM workshop").fetchone()
    before = everything(book)
    with pytest.raises(Trouble, match="Another program holds the book"):
        backups.restore(copy, book)
    other.close()
    assert everything(book) == before


def test_restore_into_an_empty_place(book: Path, tmp_path: Path) -> None:
    target = tmp_path / "new" / "book.sqlite3"
    assert backups.restore(book, target) is None
    assert everything(target) == everything(book)


# --- The file in the book's place ------------------------------------------------------------------------


def test_schemas_are_told_by_the_names_of_the_steps() -> None:
    from alembic.script import ScriptDirectory

    from app.db import steps

    script = ScriptDirectory.from_config(steps(Path("none")))
    assert [s.revision for s in script.walk_revisions()][::-1] == bookfile.schemas()
    assert script.get_current_head() == bookfile.schemas()[-1]


def test_a_path_with_odd_signs_is_a_path(tmp_path: Path) -> None:
    book = tmp_path / "a ? b # c % d é" / "my?book.sqlite3"
    migrate(book)
    copy = backups.keep_copy(book)
    assert bookfile.inspect(copy.file) == bookfile.inspect(book)
