"""A book is made from nothing, comes up from every released schema and down again, and models and schema do not drift.

`tests/data/book-NNNN.sql.xz` is the demonstration book of each released schema, with a row in every table. Before the
next one is released, make its own, and never touch it again:

    python tests/test_migrations.py BOOK tests/data/book-NNNN.sql.xz
"""

import hashlib
import lzma
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import CheckConstraint, Engine, event
from sqlmodel import SQLModel

import app.models  # noqa: F401  (fills the metadata)
from app import clock, first_run
from app.__main__ import main
from app.book import backups, bookfile, export, filestore, guards, import_zip, mark
from app.db import migrate, open_engine, reading, steps, writing
from app.errors import Trouble
from app.models.cast import CloseIn, NoteIn, TemperatureIn
from app.services.cast import casting, pan
from app.services.stock import batches
from app.services.today import today
from app.settings import resource
from app.units import say
from tests import build
from tests.moment import wall

DATA = Path(__file__).parent / "data"
NO_RECORD = {"alembic_version", "carried_file", "row_digest"}
"""The step itself, the files of a book that travels, told with the rows they belong to, and what a step makes anew."""
RELEASED = sorted(DATA.glob("book-*.sql.xz"))
Rows = dict[str, list[dict[str, object]]]


def test_models_and_schema_agree(engine: Engine) -> None:
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": False})
        assert compare_metadata(context, SQLModel.metadata) == []


def test_checks_and_guards_are_in_the_file(engine: Engine) -> None:
    """Constraints that autogeneration does not compare: every CHECK of the models stands in the file."""
    with engine.connect() as connection:
        found = connection.exec_driver_sql("SELECT name, sql FROM sqlite_master WHERE type = 'table'").all()
        tables: dict[str, str] = {row.name: row.sql for row in found}
        triggers = {n for (n,) in connection.exec_driver_sql("SELECT name FROM sqlite_master WHERE type='trigger'")}
    for table in SQLModel.metadata.sorted_tables:
        for constraint in table.constraints:
            if isinstance(constraint, CheckConstraint):
                assert f"{constraint.name}" in tables[table.name], f"{table.name}: {constraint.name}"
                assert str(constraint.sqltext) in tables[table.name], f"{table.name}: {constraint.name}"
    assert triggers == set(guards.GUARDS)


def test_down_to_nothing_and_up_again(tmp_path: Path) -> None:
    book = tmp_path / "book.sqlite3"
    migrate(book)
    command.downgrade(steps(book), "base")
    with sqlite3.connect(book) as connection:
        left = {n for (n,) in connection.execute("SELECT name FROM sqlite_master WHERE type IN ('table','trigger')")}
    connection.close()
    assert left <= {"alembic_version"}
    migrate(book)
    with sqlite3.connect(book) as connection:
        assert connection.execute("SELECT count(*) FROM workshop").fetchone() == (0,)
    connection.close()


OPENED = """
import sys
from pathlib import Path
from app.db import migrate
migrate(Path(sys.argv[1]))
assert "alembic" not in sys.modules, "a step was taken"
"""


def test_a_book_of_today_is_opened_without_a_step(empty_book: Path) -> None:
    """In another process, where sets are in another order; what is not loaded costs nothing at the start."""
    before = empty_book.read_bytes()
    subprocess.run([sys.executable, "-c", OPENED, str(empty_book)], check=True)
    assert empty_book.read_bytes() == before


# --- From every released schema, with data in it -----------------------------------------------------------


def dump(book: Path, target: Path) -> None:
    """Write a book with its files as SQL, packed: what stands in `tests/data`."""
    with TemporaryDirectory() as folder:
        alone = Path(folder) / "alone.sqlite3"
        assert backups.copy(book, alone, sealed=False, alone=True) == set()
        _dump(alone, target)


def _dump(book: Path, target: Path) -> None:
    with closing(sqlite3.connect(book)) as connection:
        target.write_bytes(lzma.compress("\n".join(connection.iterdump()).encode(), preset=9 | lzma.PRESET_EXTREME))


def unpack(packed: Path, book: Path) -> None:
    """Make a book of such SQL."""
    with closing(sqlite3.connect(":memory:")) as memory, closing(sqlite3.connect(book)) as connection:
        memory.deserialize(_unpacked(packed))
        memory.backup(connection)
        connection.execute("PRAGMA journal_mode=WAL")


@cache
def _unpacked(packed: Path) -> bytes:
    with closing(sqlite3.connect(":memory:")) as memory:
        memory.executescript(lzma.decompress(packed.read_bytes()).decode())
        return memory.serialize()


@pytest.fixture(params=RELEASED, ids=lambda path: path.name.split(".")[0])
def released(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """A book as it was written by a released Grainbook."""
    book = tmp_path / "book.sqlite3"
    unpack(request.param, book)
    return book


def rows(book: Path) -> Rows:
    """Every row of every table, by the names of its columns; the bytes of files with the rows that they belong to."""
    with closing(sqlite3.connect(book)) as connection:
        files = dict(filestore.contents(connection, filestore.around(book)))
        connection.row_factory = sqlite3.Row
        tables = [n for n in bookfile.table_names(connection) if n not in NO_RECORD]
        found = {t: [dict(r) for r in connection.execute(f'SELECT * FROM "{t}" ORDER BY rowid')] for t in tables}
    for row in (row for table in filestore.TABLES for row in found.get(table, [])):
        row.setdefault("raw", files.get(row["sha256"]))
    _as_sessions(found)
    return found


def _as_sessions(found: Rows) -> None:
    """What schema 0010 moved to the melts of an evening, told where it stood before as well: nothing of it is lost."""
    melts = {melt["id"]: melt for melt in found.get("melt", [])}
    for melt in reversed(melts.values()):
        for row in (row for row in found["cast_session"] if row["id"] == melt["cast_session_id"]):
            row |= {"batch_id": melt["batch_id"], "run_sheet_id": melt["run_sheet_id"]}
    for row in (row for table in ("cast_step", "temperature_reading") for row in (found[table] if melts else [])):
        row["cast_session_id"] = melts[row["melt_id"]]["cast_session_id"]


def only(found: Rows, like: Rows) -> Rows:
    """The tables and columns that another book has too."""
    return {t: [{c: row[c] for c in like[t][0]} for row in found[t]] for t in like}


def test_each_step_has_its_released_book() -> None:
    assert RELEASED
    assert {p.name[5:9] for p in RELEASED} <= set(bookfile.schemas())
    assert max(p.stat().st_size for p in RELEASED) < 450_000


def test_a_released_book_has_a_row_in_every_table(released: Path) -> None:
    with closing(sqlite3.connect(released)) as connection:
        tables = bookfile.table_names(connection)
        empty = [t for t in tables if connection.execute(f'SELECT count(*) FROM "{t}"').fetchone() == (0,)]
    assert empty == []


@pytest.mark.promise("Every released schema comes up, down and up again with its rows", figure="a row in every table")
def test_a_released_book_comes_up_with_every_row_and_works(released: Path) -> None:
    before = rows(released)
    schema = bookfile.inspect(released).schema
    migrate(released)
    assert bookfile.inspect(released).schema == bookfile.schemas()[-1]
    assert only(rows(released), before) == before
    copies = backups.copies(released)
    assert [c.lasting for c in copies] == [True]
    assert bookfile.inspect(copies[0].file).schema == schema
    assert rows(copies[0].file) == before
    beside = sorted(p.name for p in released.parent.iterdir() if p != mark.mark_of(released))
    assert beside == ["book-copies", "book-files", "book.sqlite3"]
    engine = open_engine(released)
    with engine.connect() as connection:
        names = connection.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'trigger'").scalars().all()
        assert set(names) == set(guards.GUARDS)
    with reading(engine) as session:
        assert today.day(session) is not None
    engine.dispose()


def test_a_released_book_comes_down_again_and_up_once_more(released: Path) -> None:
    before, schema = rows(released), bookfile.inspect(released).schema
    migrate(released)
    up = rows(released)
    command.downgrade(steps(released), schema)
    assert rows(released) == before
    assert bookfile.inspect(released).schema == schema
    migrate(released)
    assert rows(released) == up


def _evening_of_two(book: Path) -> tuple[str, str]:
    """Two melts in one evening of a book of today, the second by a short list; gives their codes."""
    engine = open_engine(book)
    with clock.turned_to(wall("2026-11-25T12:00")), writing(engine) as session:
        first, second = build.batch(session, 2), build.batch(session, 2)
        cast = build.opened_session(session, first)
        build.joined(session, second, cast)
        casting.write_note(session, second, NoteIn(words="Smooth."))
        for lot in (first, second):
            pan.record_temperature(session, lot, TemperatureIn.model_validate({"temperature": "118 C"}))
            lot.test_pieces_kg, lot.test_pieces_typed = 0.0, "0 g"
        codes = first.code, second.code
        session.commit()
    engine.dispose()
    return codes


def test_an_evening_of_several_melts_comes_down_as_sessions_and_loses_nothing(tmp_path: Path) -> None:
    """Refused while it is open, for it would not be the same evening; closed, each melt is a session of its own."""
    book = tmp_path / "book.sqlite3"
    migrate(book)
    engine = open_engine(book)
    first_run.prepare(engine)
    engine.dispose()
    first, second = _evening_of_two(book)
    still_open = tmp_path / "open.sqlite3"
    backups.copy(book, still_open, sealed=False)
    with pytest.raises(Trouble, match="evening of several melts is open"):
        command.downgrade(steps(still_open), "0009")
    assert bookfile.inspect(still_open).schema == bookfile.schemas()[-1]
    engine = open_engine(book)
    with clock.turned_to(wall("2026-11-25T13:00")), writing(engine) as session:
        casting.close(session, batches.by_code(session, first), CloseIn(why="Enough."))
        session.commit()
    engine.dispose()
    before = rows(book)
    command.downgrade(steps(book), "0009")
    down = rows(book)
    codes = {row["id"]: str(row["code"]) for row in down["batch"]}
    of = {row["id"]: codes[row["batch_id"]] for row in down["cast_session"]}
    assert sorted(of.values()) == [first, second]
    for table in ("cast_step", "temperature_reading", "checklist", "checklist_answer"):
        assert len(down[table]) == len(before[table])
    assert sorted(of[row["cast_session_id"]] for row in down["temperature_reading"]) == [first, second]
    assert sorted(of[row["cast_session_id"]] for row in down["session_opening"]) == [first, second]
    told = {(of[row["cast_session_id"]], row["words"]) for row in down["session_note"]}
    assert {(first, f"Cast in one evening with {second}."), (second, f"Cast in one evening with {first}.")} <= told
    assert (second, "Smooth.") in told
    migrate(book)
    up = rows(book)
    assert len(up["melt"]) == len(up["cast_session"]) == 2
    assert only(up, down) == down


def test_a_book_of_a_newer_schema_is_left_alone(released: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with closing(sqlite3.connect(released)) as connection, connection:
        connection.execute("UPDATE alembic_version SET version_num = '9000'")
    before = released.read_bytes()
    with pytest.raises(Trouble, match=r"newer Grainbook \(schema 9000"):
        migrate(released)
    assert main(["--book", str(released), "--no-browser"]) == 1
    assert "Open it with the newer Grainbook" in capsys.readouterr().err
    assert released.read_bytes() == before
    assert backups.copies(released) == []


def test_an_old_copy_is_restored_and_then_brought_up_with_a_copy_of_its_own(
    released: Path, empty_book: Path, tmp_path: Path
) -> None:
    before, schema = rows(released), bookfile.inspect(released).schema
    book = tmp_path / "here" / "book.sqlite3"
    book.parent.mkdir()
    book.write_bytes(empty_book.read_bytes())
    assert main(["restore", str(released), "--book", str(book)]) == 0
    assert bookfile.inspect(book).schema == bookfile.schemas()[-1]
    # The list of a session that stands open in a copy is voided, and an act in hand in a file is nobody's.
    kept, came = (
        {table: lines for table, lines in before.items() if table not in ("checklist", "act_in_hand")},
        rows(book),
    )
    for record in {"change", "change_link"} & kept.keys():
        came[record] = came[record][: len(kept[record])]  # the record goes on from where it was
    assert only(came, kept) == kept
    assert len(came["checklist"]) == len(before["checklist"])
    assert bookfile.inspect(backups.copies(book)[0].file).schema == schema
    assert rows(backups.copies(book)[0].file) == before
    assert rows(released) == before  # the copy itself is as it was


def test_a_zip_of_an_old_book_is_read_and_brought_up(released: Path, tmp_path: Path) -> None:
    before = rows(released)
    export.write(released, tmp_path / "old.zip")
    assert import_zip.import_book(tmp_path / "old.zip", tmp_path / "again.sqlite3", first_run.prepare) is None
    assert bookfile.inspect(tmp_path / "again.sqlite3").schema == bookfile.schemas()[-1]
    assert only(rows(tmp_path / "again.sqlite3"), before) == before


# --- A step that fails -------------------------------------------------------------------------------------

BROKEN_STEP = """
import sqlalchemy as sa
from alembic import op

revision, down_revision = "9000", "{head}"
branch_labels = depends_on = None


def upgrade():
    op.create_table("half_made", sa.Column("id", sa.Integer(), primary_key=True))
    op.execute("UPDATE grain SET mass_kg = 1")
    op.execute("{fault}")


def downgrade():
    op.drop_table("half_made")
"""


@pytest.fixture
def broken_step(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest) -> None:
    """One more step, which fails half-way."""
    folder = tmp_path / "program" / "migrations"
    shutil.copytree(resource("migrations"), folder, ignore=shutil.ignore_patterns("__pycache__"))
    step = BROKEN_STEP.format(head=bookfile.schemas()[-1], fault=request.param)
    (folder / "versions" / "9000_breaks.py").write_text(step)
    monkeypatch.setattr("app.db.resource", lambda name: folder.parent / name)
    monkeypatch.setattr("app.book.bookfile.resource", lambda name: folder.parent / name)


@pytest.mark.promise("A step that fails half-way leaves the book as it was, with a copy", figure="4 kinds of failure")
@pytest.mark.parametrize(
    "broken_step", ["INSERT INTO no_such_table VALUES (1)", "UPDATE grain SET batch_id = 999"], indirect=True
)
@pytest.mark.usefixtures("broken_step")
def test_a_step_that_fails_leaves_the_old_book_untouched(released: Path) -> None:
    before, schema = rows(released), bookfile.inspect(released).schema
    with pytest.raises(Trouble) as told:
        migrate(released)
    assert rows(released) == before
    assert bookfile.inspect(released).schema == schema
    copy = backups.copies(released)[0].file
    assert rows(copy) == before
    assert str(copy) in say(told.value.message)
    assert "left as it was" in say(told.value.message)
    left = {p.name for p in released.parent.iterdir()}
    assert left <= {"book-copies", "book.sqlite3", "book.sqlite3-wal", "book.sqlite3-shm", "program"}


@pytest.mark.parametrize("released", RELEASED[:1], indirect=True)  # from there on the steps need room
def test_a_step_that_finds_the_disk_full_leaves_the_old_book_untouched(
    released: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = rows(released)

    def small(book: Path) -> Engine:
        engine = open_engine(book)

        @event.listens_for(engine, "connect")
        def full(connection: sqlite3.Connection, _record: object) -> None:
            pages = connection.execute("PRAGMA page_count").fetchone()[0]
            connection.execute(f"PRAGMA max_page_count={pages}")

        return engine

    monkeypatch.setattr("app.db.open_engine", small)
    with pytest.raises(Trouble, match="disk that holds the book is full"):
        migrate(released)
    assert rows(released) == before


def test_a_step_waits_for_nobody_who_holds_the_book(released: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bookfile, "WAIT_S", 0.05)
    before = rows(released)
    with closing(sqlite3.connect(released)) as other:
        other.execute("SELECT count(*) FROM grain").fetchone()
        with pytest.raises(Trouble, match="Another program holds the book"):
            migrate(released)
    assert rows(released) == before


# --- How the file is kept ----------------------------------------------------------------------------------


def test_each_commit_is_on_disk_before_it_is_told(released: Path) -> None:
    migrate(released)
    engine = open_engine(released)
    with engine.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 2  # FULL
        assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1
    engine.dispose()


@pytest.mark.parametrize("name", ["htmx.min.js"])
def test_vendored_script_is_what_was_published(name: str) -> None:
    folder = resource("static") / "vendor"
    expected = (folder / f"{name}.sha256").read_text().splitlines()[-1].split()[0]
    assert hashlib.sha256((folder / name).read_bytes()).hexdigest() == expected


if __name__ == "__main__":
    dump(Path(sys.argv[1]), Path(sys.argv[2]))
