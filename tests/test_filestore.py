"""Files outside the database: each once, named by SHA-256 (FIPS 180-4), in every copy, proved, told when lost.

What a store must stand: a kill at any moment, a full disk, a flipped bit, a forged name.
"""

import hashlib
import json
import os
import sqlite3
import zipfile
from collections.abc import Callable
from contextlib import closing, suppress
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import Engine
from sqlmodel import Session, SQLModel

from app import clock, first_run, system
from app.__main__ import main
from app.book import backups, bookfile, export, filestore, import_zip
from app.db import migrate, open_engine, writing
from app.errors import FileLost, Trouble
from app.models import CurveFile, Firing
from app.services.book import stored_files
from app.services.firings import curves
from app.units import say
from tests import build
from tests.test_backups import NOON
from tests.test_migrations import RELEASED, unpack

RAW = b"t,F\n" + b"".join(b"%d.0,%d\n" % (i, i * i) for i in range(500))
OTHER = RAW + b"500.0,1\n"


@pytest.fixture
def store(tmp_path: Path) -> Path:
    return tmp_path / "book-files"


@pytest.fixture
def book(tmp_path: Path, empty_book: Path) -> Path:
    """A book with a firing and one file of its logger, closed."""
    book = tmp_path / "book.sqlite3"
    book.write_bytes(empty_book.read_bytes())
    assert send(book, RAW) == 1
    return book


def send(book: Path, *files: bytes) -> int:
    """Take files in for the first firing, as the page does; how many the book names afterwards."""
    engine = open_engine(book)
    with writing(engine) as session:
        firing = session.get(Firing, 1) or build.bare_firing(
            session, build.bare_motor(session, build.ready_grains(session, 1))
        )
        for raw in files:
            curves.STAND.take_in(session, firing, "stand.csv", raw)
        session.commit()
    engine.dispose()
    return len(names(book))


def fired(session: Session) -> Firing:
    return build.bare_firing(session, build.bare_motor(session, build.ready_grains(session, 1)))


def names(book: Path) -> dict[str, int]:
    with bookfile.opened(book) as connection:
        return filestore.needed(connection)


def everything(store: Path) -> dict[str, bytes]:
    """Every file below a folder, by its name."""
    return {file.name: file.read_bytes() for file in store.rglob("*") if file.is_file()}


def digest_of(raw: bytes) -> str:
    return hashlib.sha256(raw).hexdigest()


# --- One file ------------------------------------------------------------------------------------


def test_the_tables_that_name_files_are_those_of_the_models() -> None:
    of_models = {t.name for t in SQLModel.metadata.sorted_tables if {"sha256", "size_bytes"} <= set(t.columns.keys())}
    assert of_models == set(filestore.TABLES)


def test_a_file_is_kept_once_under_the_sha_256_of_what_is_in_it(store: Path) -> None:
    # FIPS 180-4 as NIST's examples give it: SHA-256 of "abc".
    abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert filestore.put(store, b"abc") == filestore.put(store, b"abc") == abc
    assert everything(store) == {abc: b"abc"}
    assert filestore.place(store, abc).parent.name == "ba"
    assert filestore.get(store, abc) == b"abc"
    assert filestore.held(store) == {abc: 3}
    if os.name == "posix":
        assert filestore.place(store, abc).stat().st_mode & 0o777 == 0o400


@pytest.mark.parametrize("name", ["../../../etc/passwd", "", "AB" * 32, "g" * 64, "a" * 63, "a" * 64 + "\n"])
def test_a_name_that_is_no_sha_256_leads_nowhere(store: Path, name: str) -> None:
    store.mkdir()
    with pytest.raises(ValueError, match="named by its SHA-256"):
        filestore.place(store, name)
    assert filestore.get(store, name) is None
    assert not filestore.has(store, name, 1)
    assert not filestore.is_whole(store, name)
    assert filestore.bring_missing(store, store, {name: 1}) == {name}


@pytest.mark.parametrize("spoil", [b"", b"x" + RAW[1:], RAW + b"x"])
def test_an_altered_file_is_never_given_out_and_is_mended_by_the_next_one_sent(store: Path, spoil: bytes) -> None:
    digest = filestore.put(store, RAW)
    file = filestore.place(store, digest)
    file.chmod(0o600)
    file.write_bytes(spoil)
    assert filestore.get(store, digest) is None
    assert not filestore.is_whole(store, digest)
    assert filestore.put(store, RAW) == digest
    assert filestore.get(store, digest) == RAW


STEPS = ["flush", "swap_in"]


@pytest.mark.parametrize("step", STEPS)
def test_a_disk_that_is_full_at_any_step_leaves_nothing_half(
    store: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(system, step, full)
        with pytest.raises(OSError, match="No space left"):
            filestore.put(store, RAW)
    assert everything(store) == {}
    assert filestore.get(store, filestore.put(store, RAW)) == RAW


class Killed(BaseException):
    """The program ends here."""


@pytest.mark.promise(
    "A file of a logger or a picture is on disk and proved before its row is saved", figure="a kill at each step"
)
@pytest.mark.parametrize("moment", ["while it is written", "before it is renamed", "before its row is saved"])
def test_a_kill_leaves_the_file_with_its_row_or_neither_and_the_rest_is_cleared(
    book: Path, store: Path, monkeypatch: pytest.MonkeyPatch, moment: str
) -> None:
    def killed(file: Path, *_: object) -> str:
        if moment != "before its row is saved" and file.name.endswith(".unfinished"):
            raise Killed
        return digest_of(file.read_bytes())

    def act() -> None:
        with writing(engine) as session:
            curves.STAND.take_in(session, session.get_one(Firing, 1), "b.csv", OTHER)
            raise Killed

    engine = open_engine(book)
    with monkeypatch.context() as patched:
        patched.setattr(*((filestore, "_digest_of") if moment == "while it is written" else (system, "flush")), killed)
        patched.setattr(Path, "unlink", lambda *_a, **_k: None)  # nothing tidies up after a kill
        with pytest.raises(Killed):
            act()
    engine.dispose()
    assert names(book) == {digest_of(RAW): len(RAW)}
    assert len(everything(store)) == 2, "the kill left something"
    backups.look_after_files(book)
    assert everything(store) == {digest_of(RAW): RAW}
    assert send(book, OTHER) == 2
    assert set(everything(store).values()) == {RAW, OTHER}


def test_a_full_disk_refuses_the_upload_in_words_and_keeps_neither_row_nor_file(
    session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    firing = fired(session)
    session.flush()
    raw = RAW + b"501.0,7\n"
    with monkeypatch.context() as patched:
        patched.setattr(system, "flush", full)
        with pytest.raises(Trouble, match="disk that holds the book is full") as told:
            curves.STAND.take_in(session, firing, "a.csv", raw)
    assert told.value.status == 507
    assert curves.STAND.files(session, firing) == []
    assert not filestore.has(stored_files.folder(session), digest_of(raw), len(raw))


# --- Copies --------------------------------------------------------------------------------------


@pytest.mark.promise(
    "Files outside the database are in every copy, each once for all copies",
    figure="ten daily copies of a book with a 40 MB file: 50.6 MB (410.5 before); a copy 0.31 s (0.55 before)",
)
def test_ten_copies_have_the_files_of_all_once(book: Path) -> None:
    size = 3_000_000
    great = os.urandom(size // 2).hex().encode()
    engine = open_engine(book)
    with writing(engine) as session:
        digest = stored_files.keep(session, great)
        session.add(CurveFile(firing_id=1, name="long.csv", sha256=digest, size_bytes=size))
        session.commit()
    engine.dispose()
    with clock.turned_to(NOON) as turn:
        for day in range(10):
            turn(NOON + timedelta(days=day))
            backups.keep_copy(book)
    folder = backups.folder_of(book)
    assert len(backups.copies(book)) == 10
    assert everything(filestore.of_copies(folder)) == {digest: great, digest_of(RAW): RAW}
    taken = sum(file.stat().st_size for file in folder.rglob("*") if file.is_file())
    assert taken < size + len(RAW) + 10 * 1.05 * book.stat().st_size


def test_a_copy_does_without_an_altered_file_and_never_copies_it(book: Path, store: Path) -> None:
    backups.keep_copy(book)
    kept = filestore.of_copies(backups.folder_of(book))
    digest = digest_of(RAW)
    spoil(store, digest)
    assert backups.copy(book, book.with_name("alone.sqlite3"), alone=True) == {digest}
    backups.keep_copy(book)
    assert filestore.get(kept, digest) == RAW, "what was good in the copies stays good"
    assert len(backups.copies(book)) == 2


def spoil(store: Path, digest: str) -> None:
    """Flip one bit, as a dying disk does."""
    file = filestore.place(store, digest)
    file.chmod(0o600)
    raw = bytearray(file.read_bytes())
    raw[len(raw) // 2] ^= 1
    file.write_bytes(raw)


def test_files_are_let_go_with_the_last_copy_that_names_them(book: Path) -> None:
    kept = filestore.of_copies(backups.folder_of(book))
    with clock.turned_to(NOON) as turn:
        send(book, OTHER)
        backups.keep_copy(book)
        throw_away(book, OTHER)
        turn(NOON + timedelta(hours=1))
        backups.keep_copy(book)
        assert set(everything(kept)) == {digest_of(RAW), digest_of(OTHER)}, "an older copy needs it"
        for hour in range(2, 8):
            turn(NOON + timedelta(hours=hour))
            backups.keep_copy(book)
        assert set(everything(kept)) == {digest_of(RAW)}


def throw_away(book: Path, raw: bytes) -> None:
    engine = open_engine(book)
    with writing(engine) as session:
        firing = session.get_one(Firing, 1)
        row = next(f for f in curves.STAND.files(session, firing) if f.sha256 == digest_of(raw))
        curves.STAND.throw_away(session, firing, row.pk)
        session.commit()
    engine.dispose()


OTHERS = ("a copy that cannot be read", "a copy of one's own", "a log without its book", "the book that was replaced")


@pytest.mark.parametrize("other", OTHERS)
def test_nothing_is_let_go_that_anything_may_need(book: Path, store: Path, other: str) -> None:
    send(book, OTHER)
    folder = backups.folder_of(book)
    backups.keep_copy(book)
    match other:
        case "a copy that cannot be read":
            for place in (folder, book.parent):
                (place / "book-spoiled.sqlite3").write_bytes(b"no book" * 100)
        case "a log without its book":
            book.with_name("book-replaced-2026-11-25T120000Z.sqlite3-log").write_bytes(b"saved")
        case "a copy of one's own":
            backups.copy(book, folder / "book-my-own.sqlite3")
            backups.copy(book, book.with_name("spring.db"))
        case _:
            bookfile.keep_beside(book)
    throw_away(book, OTHER)
    for _ in range(7):
        backups.keep_copy(book)
    backups.look_after_files(book)
    assert filestore.get(store, digest_of(OTHER)) == OTHER
    assert filestore.get(filestore.of_copies(folder), digest_of(OTHER)) == OTHER


def test_what_is_missing_beside_the_book_is_put_back_from_its_copies(book: Path, store: Path) -> None:
    backups.keep_copy(book)
    filestore.place(store, digest_of(RAW)).unlink()
    assert [row.name for row in filestore.missing(book)] == ["stand.csv"]
    backups.look_after_files(book)
    assert filestore.missing(book) == []
    assert filestore.get(store, digest_of(RAW)) == RAW


def test_a_store_is_brought_up_to_date_from_another_and_each_file_is_proved(tmp_path: Path) -> None:
    source, target = tmp_path / "a", tmp_path / "b"
    good, bad = filestore.put(source, RAW), filestore.put(source, OTHER)
    spoil(source, bad)
    assert filestore.bring_missing(source, target) == {bad}
    assert everything(target) == {good: RAW}
    spoil(target, good)
    assert filestore.bring_missing(source, target, {good: len(RAW)}) == set(), "its name and size are as they were"
    assert filestore.bring_missing(source, target, {good: len(RAW)}, proving=True) == set()
    assert filestore.get(target, good) == RAW
    third = tmp_path / "c"
    assert filestore.bring_missing(target, third, {good: 5}) == set(), "a row that tells another size loses no file"
    assert everything(third) == {good: RAW}


# --- Back again ----------------------------------------------------------------------------------

Way = Callable[[Path, Path], Path]


def _kept(book: Path, _target: Path) -> Path:
    return backups.keep_copy(book).file


def _alone(book: Path, target: Path) -> Path:
    assert main(["backup", str(target), "--book", str(book)]) == 0
    return target


def _carried_off(book: Path, target: Path) -> Path:
    """The whole folder of copies, taken elsewhere."""
    backups.keep_copy(book)
    folder = backups.folder_of(book).rename(target.with_suffix(""))
    return next(folder.glob("*.sqlite3"))


WAYS: dict[str, Way] = {"kept": _kept, "alone": _alone, "the folder of copies elsewhere": _carried_off}


@pytest.mark.promise(
    "A copy brings its files back, proved", figure="a kept copy, one that travels alone, a folder of copies elsewhere"
)
@pytest.mark.parametrize("way", WAYS)
def test_a_restored_copy_has_its_files(
    book: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], way: str
) -> None:
    copied = WAYS[way](book, tmp_path / "stick.sqlite3")
    new = tmp_path / "laptop" / "new.sqlite3"
    assert main(["restore", str(copied), "--book", str(new)]) == 0
    assert "Not found" not in capsys.readouterr().out
    assert names(new) == names(book)
    assert everything(filestore.folder_of(new)) == {digest_of(RAW): RAW}
    with bookfile.opened(new) as connection:
        assert not filestore.carries(connection)
    assert new.stat().st_size < 1.05 * book.stat().st_size, "the book gives the room of its files back"


def test_a_copy_that_travels_alone_is_one_file_with_all_in_it(book: Path, tmp_path: Path) -> None:
    alone = tmp_path / "away" / "alone.sqlite3"
    alone.parent.mkdir()
    assert backups.copy(book, alone, alone=True) == set()
    assert [p.name for p in alone.parent.iterdir()] == ["alone.sqlite3"]
    bookfile.inspect(alone)  # sealed and whole
    with closing(sqlite3.connect(alone)) as connection:
        assert connection.execute("SELECT sha256, raw FROM carried_file").fetchall() == [(digest_of(RAW), RAW)]


def test_a_restore_proves_what_is_there_already(book: Path, store: Path) -> None:
    copied = backups.keep_copy(book).file
    spoil(store, digest_of(RAW))
    backups.restore(copied, book)
    assert filestore.get(store, digest_of(RAW)) == RAW


def test_a_restore_says_which_files_it_did_not_find(
    book: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    copied = backups.keep_copy(book).file.rename(tmp_path / "lonely.sqlite3")
    new = tmp_path / "laptop" / "new.sqlite3"
    assert main(["restore", str(copied), "--book", str(new)]) == 0
    assert "Not found, and so not in it: 1 file of a logger or picture." in capsys.readouterr().out


def test_a_copy_laid_in_the_books_place_by_hand_is_opened_with_its_files(book: Path, tmp_path: Path) -> None:
    there = tmp_path / "there" / "book.sqlite3"
    there.parent.mkdir()
    backups.copy(book, there, alone=True)
    migrate(there)
    assert everything(filestore.folder_of(there)) == {digest_of(RAW): RAW}
    with bookfile.opened(there) as connection:
        assert not filestore.carries(connection)


@pytest.mark.promise(
    "The files of a book of before leave its database without a moment in which they are in no place",
    figure="a kill after each file, and before and after each is taken out",
)
@pytest.mark.parametrize("moment", range(0, 24, 3))
def test_a_kill_while_files_leave_the_database_loses_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, moment: int
) -> None:
    book = tmp_path / "book.sqlite3"
    unpack(next(packed for packed in RELEASED if packed.name.startswith("book-0008")), book)
    with closing(sqlite3.connect(book)) as connection:
        before = {raw for (raw,) in connection.execute("SELECT raw FROM curve_file")}
    steps = iter(range(moment))
    swap = system.swap_in

    def counted(new: Path, target: Path) -> None:
        if next(steps, None) is None:
            raise Killed
        swap(new, target)

    with monkeypatch.context() as patched:
        patched.setattr(system, "swap_in", counted)
        with suppress(Killed):
            migrate(book)
    migrate(book)
    with bookfile.opened(book) as connection:
        after = dict(filestore.contents(connection, [filestore.folder_of(book)]))
        assert set(after) == set(filestore.needed(connection))
        assert before <= set(after.values())


def test_what_is_not_what_its_checksum_says_is_kept_all_the_same(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """A bit that flipped in a book of before: the bytes that are there are not lost for it."""
    book = tmp_path / "book.sqlite3"
    unpack(next(packed for packed in RELEASED if "0008" in packed.name), book)  # the last to keep bytes in rows
    with closing(sqlite3.connect(book)) as connection, connection:
        connection.execute("DROP TRIGGER guard_curve_file_stays")
        connection.execute("UPDATE curve_file SET sha256 = 'x' WHERE id = 2")
        (raw,) = connection.execute("SELECT raw FROM curve_file WHERE id = 2").fetchone()
    with caplog.at_level("INFO", "grainbook"):
        migrate(book)
    assert "was not what its checksum says" in caplog.text
    assert filestore.missing(book) == []
    assert raw in everything(filestore.folder_of(book)).values()


def test_an_export_without_a_lost_file_says_so_and_comes_back(
    book: Path, store: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    send(book, OTHER)
    filestore.place(store, digest_of(OTHER)).unlink()
    zipped, again = book.with_suffix(".zip"), book.with_name("again.sqlite3")
    assert main(["export", str(zipped), "--book", str(book)]) == 0
    assert "Not found, and so not in it: 1 file" in capsys.readouterr().out
    import_zip.import_book(zipped, again, first_run.prepare)
    assert everything(filestore.folder_of(again)) == {digest_of(RAW): RAW}
    assert [row.sha256 for row in filestore.missing(again)] == [digest_of(OTHER)]
    assert export.write(book, book.with_name("other.zip")) == {digest_of(OTHER)}


def test_a_zip_whose_file_is_another_than_its_name_says_is_refused(book: Path) -> None:
    zipped, forged = book.with_name("whole.zip"), book.with_name("forged.zip")
    export.write(book, zipped)
    with zipfile.ZipFile(zipped) as source:
        content = {name: source.read(name) for name in source.namelist()}
    table, other = "tables/carried_file.jsonl", digest_of(OTHER)
    content[table] = content[table].replace(f'["{digest_of(RAW)}"'.encode(), f'["{other}"'.encode())
    told = json.loads(content["manifest.json"])
    told["tables"]["carried_file"]["sha256"] = digest_of(content[table])
    content["manifest.json"] = json.dumps(told).encode()
    with zipfile.ZipFile(forged, "w") as out:
        for name, raw in content.items():
            out.writestr(name, raw)
    with pytest.raises(Trouble, match="the file whose hash stands beside it"):
        import_zip.import_book(forged, book.with_name("new.sqlite3"), first_run.prepare)
    assert not book.with_name("new.sqlite3").exists()
    assert not book.with_name("new-files").exists()


# --- What is said --------------------------------------------------------------------------------


def test_a_lost_file_is_told_by_its_name_with_what_is_safe_and_what_to_do(session: Session, engine: Engine) -> None:
    firing = fired(session)
    row = curves.STAND.take_in(session, firing, "stand.csv", OTHER + b"9.0,9\n")
    where = filestore.place(stored_files.folder(session), row.sha256)
    assert stored_files.lost(session, row) == ""
    spoil(stored_files.folder(session), row.sha256)
    with pytest.raises(FileLost, match=r"The file stand\.csv was altered.*in the book still.*grainbook check") as told:
        stored_files.read(session, row)
    assert told.value.status == 404
    where.unlink()
    assert "The file stand.csv is missing" in stored_files.lost(session, row)
    assert row.sha256 in say(stored_files.lost(session, row))


@pytest.mark.parametrize("how", ["missing", "altered"])
def test_a_check_names_the_file_whose_it_is_and_where_a_good_one_lies(
    book: Path, store: Path, capsys: pytest.CaptureFixture[str], how: str
) -> None:
    digest = digest_of(RAW)
    assert main(["check", "--book", str(book)]) == 0
    capsys.readouterr()
    if how == "missing":
        filestore.place(store, digest).unlink()
    else:
        spoil(store, digest)
    assert main(["check", "--book", str(book)]) == 1
    told = capsys.readouterr().out
    assert "The file stand.csv of firing 1 (curve_file 1)" in told
    assert {"missing": "is missing", "altered": "was altered"}[how] in told
    assert "No good one was found" in told
    good = filestore.of_copies(backups.folder_of(book))
    filestore.put(good, RAW)
    assert main(["check", "--book", str(book)]) == 1
    assert f"A good one is {filestore.place(good, digest)}" in capsys.readouterr().out


def test_a_check_of_a_copy_looks_at_the_files_of_the_copies(book: Path, capsys: pytest.CaptureFixture[str]) -> None:
    kept, alone = backups.keep_copy(book).file, book.with_name("alone.sqlite3")
    backups.copy(book, alone, alone=True)
    for copied in (kept, alone):
        assert main(["check", str(copied)]) == 0
    spoil(filestore.of_copies(backups.folder_of(book)), digest_of(RAW))
    assert main(["check", str(kept)]) == 1
    assert "The file stand.csv of firing 1" in capsys.readouterr().out
