"""What the person sees when the disk, the folder, the file or another program stands in the way."""

import json
import logging
import os
import re
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import Engine, event

from app import clock, db, logbook, system, troubles
from app.__main__ import main
from app.book import backups, bookfile, instance
from app.db import open_engine, reading
from app.errors import Trouble
from app.main import create_app
from app.services.stock import supplies
from app.settings import Settings
from tests.behind import backups_of, book_of, browser_of, engine_of
from tests.browse import Page
from tests.test_backups import break_page

ROOT = Path(__file__).parent.parent
BAG = {"ingredient": "potassium_nitrate", "mark": "K-2026", "mass": "10 kg", "received_on": "2026-11-01"}
PAGE = "/workshop/supplies/new"


@pytest.fixture
def app(tmp_path: Path, empty_book: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[FastAPI]:
    """The app on a book of its own, with a short patience."""
    monkeypatch.setattr(db, "BUSY_MS", 50)
    book = tmp_path / "book.sqlite3"
    book.write_bytes(empty_book.read_bytes())
    app = create_app(Settings(book=book))
    logbook.begin(book)
    yield app
    logbook.end()
    engine_of(app).dispose()


@pytest.fixture
def person(app: FastAPI) -> Iterator[TestClient]:
    with browser_of(app, follow_redirects=False) as client:
        yield client


def form_on(person: TestClient) -> dict[str, str]:
    """What stands in the form for a bag, its once-only token included."""
    return dict(Page(person.get(PAGE).text).forms["form"].fields)


def bags(app: FastAPI) -> int:
    with reading(engine_of(app)) as session:
        return len(supplies.stock(session))


def log(app: FastAPI) -> str:
    for handler in logging.getLogger("grainbook").handlers:
        handler.flush()
    return logbook.log_of(book_of(app)).read_text()


# --- A save that cannot be -------------------------------------------------------------------------------


def limit(engine: Engine) -> None:
    """Let SQLite have no further page, as a full disk does."""
    engine.dispose()

    @event.listens_for(engine, "connect")
    def full(connection: sqlite3.Connection, _record: object) -> None:
        pages = connection.execute("PRAGMA page_count").fetchone()[0]
        connection.execute(f"PRAGMA max_page_count={pages}")


def only_read(engine: Engine) -> None:
    """Let SQLite refuse every write, as it does on a disk that is write-protected."""
    engine.dispose()
    event.listen(engine, "connect", lambda connection, _record: connection.execute("PRAGMA query_only=ON"))


def test_a_full_disk_keeps_what_was_typed(app: FastAPI, person: TestClient) -> None:
    blank = form_on(person)
    limit(engine_of(app))
    long = BAG | {"note": "x" * 1900}
    answers = []
    for number in range(40):  # until the file's free pages are used up
        answers.append(person.post(PAGE, data=blank | long | {"mark": f"bag {number}", "once": f"token {number}"}))
        if answers[-1].status_code != 303:
            break
    refused = answers[-1]
    assert refused.status_code == 507
    assert troubles.FULL in refused.text
    assert f'value="bag {len(answers) - 1}"' in refused.text
    assert "x" * 1900 in refused.text
    assert bags(app) == len(answers) - 1  # every save that was acknowledged, and no other
    with bookfile.opened(book_of(app)) as connection:
        bookfile.prove(connection, book_of(app))


ON_A_SMALL_DISK = 'mount -t tmpfs -o size=5M none "$1" && exec "$2" tests/full_disk.py "$1"'


@pytest.mark.promise(
    "Full disk: what was acknowledged is there, what was refused is kept and saved later",
    figure="a real file system of 5 MB, files of loggers among the saves",
)
def test_a_disk_that_is_really_full_loses_nothing_that_was_acknowledged(tmp_path: Path) -> None:
    """On a file system of 5 MB, in a name space of its own, which needs no rights."""
    apart = ["unshare", "--user", "--map-root-user", "--mount"]
    if shutil.which("unshare") is None or subprocess.run([*apart, "true"], capture_output=True).returncode != 0:
        pytest.skip("this machine gives no file system to a person without rights")
    run = subprocess.run(
        [*apart, "sh", "-c", ON_A_SMALL_DISK, "sh", tmp_path, sys.executable],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
        env=os.environ | {"PYTHONPATH": "."},
    )
    found = json.loads(run.stdout)
    assert found["saved"] > 10
    assert found["status"] == 507
    assert troubles.FULL in found["said"]
    assert f'value="bag {found["saved"]}"' in found["said"]
    assert found["read"] == 200  # the book can still be read
    assert "no room for a copy" in found["copy"]
    assert found["again"] == 303  # the same form, with its once-only token, once there is room
    assert found["bags"] == found["saved"] + 1
    assert found["files"] == [303] * (len(found["files"]) - 1) + [507]
    assert len(found["files"]) > 1
    assert found["named"] == found["whole"] == len(found["files"]) - 1, "each file that was told as kept, and no other"
    assert found["held"] == 0, "nothing half is left"


@pytest.mark.promise(
    "Read-only, held or damaged book: said in a sentence, words kept", figure="at the start and in a request"
)
def test_a_book_that_can_only_be_read_keeps_what_was_typed(app: FastAPI, person: TestClient) -> None:
    blank = form_on(person)
    only_read(engine_of(app))
    refused = person.post(PAGE, data=blank | BAG)
    assert refused.status_code == 503
    assert troubles.READ_ONLY in refused.text
    assert 'value="K-2026"' in refused.text


def test_a_book_that_another_program_holds_keeps_what_was_typed(app: FastAPI, person: TestClient) -> None:
    blank = form_on(person)
    with closing(sqlite3.connect(book_of(app), isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        refused = person.post(PAGE, data=blank | BAG)
        assert refused.status_code == 503
        assert troubles.HELD in refused.text
        assert 'value="K-2026"' in refused.text
        assert person.get("/").status_code == 200  # reading goes on
        assert person.post(f"/drafts?page={PAGE}", data=blank | BAG).status_code == 503
        other.execute("ROLLBACK")
    again = person.post(PAGE, data=blank | BAG)  # the same form once more, with its once-only token
    assert again.status_code == 303
    assert bags(app) == 1


def test_damage_found_in_a_request_says_what_to_do_and_keeps_what_was_typed(app: FastAPI, person: TestClient) -> None:
    blank = form_on(person)
    book = book_of(app)
    engine_of(app).dispose()
    content = bytearray(book.read_bytes())
    content[4096:] = b"\xa5" * (len(content) - 4096)  # everything but the first page, which tells what tables there are
    book.write_bytes(content)
    for refused in (person.get("/"), person.post(PAGE, data=blank | BAG)):
        assert refused.status_code == 503
        assert troubles.DAMAGED.replace("'", "&#39;") in refused.text
        assert "Parts of the day" in refused.text  # in the frame of every page
    assert 'value="K-2026"' in refused.text
    assert f'value="{blank["once"]}"' in refused.text
    assert person.get("/timers").json() == {"detail": troubles.DAMAGED}


def test_a_file_that_was_emptied_is_told_as_damaged(app: FastAPI, person: TestClient) -> None:
    """To SQLite it is a database without tables."""
    engine_of(app).dispose()
    book_of(app).write_bytes(b"")
    answer = person.get(PAGE)
    assert answer.status_code == 503
    assert troubles.DAMAGED.partition(".")[0].replace("'", "&#39;") in answer.text


@pytest.mark.promise(
    "A file moved, deleted or replaced under the open book: said; nothing is written beside it",
    figure="moved, replaced",
)
@pytest.mark.parametrize("gone", ["moved", "replaced"])
def test_a_file_that_was_moved_away_is_told_and_nothing_is_written_beside(
    app: FastAPI, person: TestClient, gone: str, empty_book: Path
) -> None:
    """As a folder that is kept in step with another machine does it."""
    blank = form_on(person)
    assert person.post(PAGE, data=blank | BAG).status_code == 303
    book = book_of(app)
    moved = book.with_name("moved.sqlite3")
    book.rename(moved)
    if gone == "replaced":
        book.write_bytes(empty_book.read_bytes())
    refused = person.post(PAGE, data=blank | BAG | {"mark": "K-2027", "once": "another"})
    assert refused.status_code == 503
    assert Page(refused.text).forms[PAGE].fields["mark"] == "K-2027"
    assert troubles.MOVED.replace("'", "&#39;") in refused.text
    if gone == "moved":
        assert not book.exists()
        engine_of(app).dispose()
        assert person.get("/").status_code == 503
        assert not book.exists()  # no empty book is made in its place
        moved.rename(book)
        assert person.post(PAGE, data=blank | BAG | {"mark": "K-2027", "once": "another"}).status_code == 303
        assert bags(app) == 2


def test_a_partial_update_shows_the_trouble_in_the_pages_place(app: FastAPI, person: TestClient) -> None:
    book = book_of(app)
    engine_of(app).dispose()
    book.write_bytes(b"no book " * 1000)
    refused = person.get("/", headers={"HX-Request": "true"})
    assert refused.status_code == 503
    assert refused.headers["HX-Retarget"] == "#main"


# --- The log ---------------------------------------------------------------------------------------------


@pytest.mark.promise("The log holds nothing that was typed", figure="names, marks, paths")
def test_the_log_tells_what_failed_and_nothing_that_was_typed(app: FastAPI, person: TestClient) -> None:
    blank = form_on(person)
    with closing(sqlite3.connect(book_of(app), isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        person.post(PAGE, data=blank | BAG | {"note": "for Ada Lovelace"})
    written = log(app)
    assert "ERROR POST /workshop/supplies/new: OperationalError (SQLITE_BUSY) at web.py:" in written
    for private in ("K-2026", "Ada", "10 kg", str(Path.home()), str(book_of(app).parent)):
        assert private not in written


def test_a_mistake_of_the_program_is_logged_without_its_words(app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise ValueError("for Ada Lovelace")

    monkeypatch.setattr("app.services.today.today.day", broken)
    with browser_of(app, raise_server_exceptions=False) as client:
        assert client.get("/").status_code == 500
    written = log(app)
    assert re.search(r"ERROR GET /: ValueError at .*today\.py:\d+ show", written)
    assert "Ada" not in written


def test_the_log_turns_over(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(logbook, "BYTES", 2000)
    logbook.begin(tmp_path / "book.sqlite3")
    for _ in range(200):
        logbook.note("A copy of the book was made and proved.")
    logbook.end()
    found = sorted(tmp_path.iterdir())
    assert [p.name for p in found] == ["book.log", "book.log.1", "book.log.2"]
    assert all(p.stat().st_size <= 2000 for p in found)


def test_without_a_place_for_the_log_the_program_goes_on(tmp_path: Path) -> None:
    logbook.begin(tmp_path / "no folder" / "book.sqlite3")
    logbook.note("nowhere")
    logbook.end()


# --- The copies on the pages ------------------------------------------------------------------------------


def test_a_failed_copy_is_told_on_today_and_in_the_workshop(app: FastAPI, person: TestClient) -> None:
    thread, book = backups_of(app), book_of(app)
    assert "could not be made" not in person.get("/").text
    assert "No copy yet" in person.get("/workshop").text
    thread.take()
    last = thread.standing().last
    assert last is not None
    assert str(backups.folder_of(book)) in person.get("/workshop").text
    thread._fail(Trouble(troubles.FULL), troubles.FULL)
    for page in ("/", "/workshop"):
        said = person.get(page).text
        assert "The newest copy of the book could not be made" in said
        assert troubles.FULL.split(".")[0] in said
        assert str(last.file) in said
    with clock.turned_to(clock.now() + timedelta(minutes=1)):
        thread.take()
    assert "could not be made" not in person.get("/").text


def test_the_book_can_be_taken_away_from_the_workshop(app: FastAPI, person: TestClient, tmp_path: Path) -> None:
    copied = person.post("/workshop/copy")
    assert copied.headers["content-disposition"] == f'attachment; filename="book-{clock.today()}.sqlite3"'
    (tmp_path / "taken.sqlite3").write_bytes(copied.content)
    assert bookfile.inspect(tmp_path / "taken.sqlite3") == bookfile.inspect(book_of(app))
    whole = person.post("/workshop/everything")
    assert whole.headers["content-type"] == "application/zip"
    (tmp_path / "taken.zip").write_bytes(whole.content)
    assert main(["import", str(tmp_path / "taken.zip"), "--book", str(tmp_path / "again.sqlite3")]) == 0
    assert bookfile.inspect(tmp_path / "again.sqlite3") == bookfile.inspect(book_of(app))
    assert list(backups.folder_of(book_of(app)).iterdir()) == []  # nothing is left of what was sent


# --- The start ---------------------------------------------------------------------------------------------


def test_damage_is_found_at_the_start(tmp_path: Path, empty_book: Path, capsys: pytest.CaptureFixture[str]) -> None:
    book = tmp_path / "book.sqlite3"
    book.write_bytes(empty_book.read_bytes())
    copy = backups.keep_copy(book)
    break_page(book)
    before = book.read_bytes()
    assert main(["--book", str(book), "--no-browser"]) == 1
    said = capsys.readouterr().err
    assert "is damaged" in said
    assert f"grainbook restore {copy.file}" in said
    assert book.read_bytes() == before
    assert main(["restore", str(copy.file), "--book", str(book)]) == 0
    assert bookfile.inspect(book).rows["workshop"] == 1


@pytest.mark.parametrize(
    ("content", "words"),
    [(b"Dear diary, " * 1000, "is not a book"), (b"SQLite format 3\x00" + b"\xff" * 5000, "damaged")],
)
def test_what_is_no_book_is_left_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], content: bytes, words: str
) -> None:
    book = tmp_path / "book.sqlite3"
    book.write_bytes(content)
    assert main(["--book", str(book), "--no-browser"]) == 1
    assert words in capsys.readouterr().err
    assert book.read_bytes() == content


def test_a_book_that_is_gone_while_its_copies_are_there_is_told(
    tmp_path: Path, empty_book: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    book = tmp_path / "book.sqlite3"
    book.write_bytes(empty_book.read_bytes())
    copy = backups.keep_copy(book)
    book.unlink()
    monkeypatch.setattr("uvicorn.Server.run", lambda *_, **__: None)
    assert main(["--book", str(book), "--no-browser"]) == 0
    assert f"grainbook restore {copy.file}" in capsys.readouterr().out


READ_ONLY_START = """
import os, sys
if sys.argv[2] == "book":
    import alembic.command, app.main, uvicorn  # the start gets that far; then nothing more can be read
import app.__main__
if os.getuid() == 0:
    os.setgid(65534); os.setuid(65534)
from app.__main__ import main
sys.exit(main(["--book", sys.argv[1], "--no-browser"]))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="rights are set otherwise there")
@pytest.mark.parametrize("protected", ["folder", "book"])
def test_a_write_protected_folder_or_book_is_told_at_the_start(
    tmp_path_factory: pytest.TempPathFactory, empty_book: Path, protected: str
) -> None:
    folder = tmp_path_factory.mktemp("protected")
    for parent in list(folder.parents)[:2]:
        parent.chmod(0o755)
    book = folder / "book.sqlite3"
    book.write_bytes(empty_book.read_bytes())
    book.chmod(0o444)
    folder.chmod(0o555 if protected == "folder" else 0o777)
    run = subprocess.run(
        [sys.executable, "-c", READ_ONLY_START, str(book), protected],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    folder.chmod(0o755)
    assert run.stderr == troubles.READ_ONLY + "\n"
    assert run.returncode == 1
    assert book.read_bytes() == empty_book.read_bytes()


def test_a_full_disk_at_the_start_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(connection: sqlite3.Connection, _record: object) -> None:
        connection.execute("PRAGMA max_page_count=3")

    def small(book: Path) -> Engine:
        engine = open_engine(book)
        event.listen(engine, "connect", full)
        return engine

    monkeypatch.setattr("app.db.open_engine", small)
    db._empty.cache_clear()
    assert main(["migrate", "--book", str(tmp_path / "book.sqlite3")]) == 1
    assert capsys.readouterr().err == troubles.FULL + "\n"


def test_a_folder_without_locks_is_used_without(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def none(_file: object) -> None:
        raise OSError(37, "No locks available")

    monkeypatch.setattr(system, "lock", none)
    with instance.Instance(tmp_path / "book.sqlite3"):
        pass


@pytest.mark.parametrize("words", [v for k, v in vars(troubles).items() if k.isupper() and isinstance(v, str)])
def test_each_trouble_says_what_is_safe_and_what_to_do(words: str) -> None:
    assert words.count(".") <= 4
    assert re.search(r"safe|as it was", words)
    assert re.search(r"Make|Wait|Stop|Look", words)
