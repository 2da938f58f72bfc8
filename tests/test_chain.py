"""The chain of the record and the digests of its rows: what is changed past the record is found, wherever it is.

The form of a link and of a digest is recomputed here from what the docstring of `app.book.chain` says, by hashlib and
json alone (SHA-256: FIPS 180-4, as Python's hashlib has it).
"""

import contextlib
import hashlib
import json
import math
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, SQLModel, select

from app import clock
from app.__main__ import main
from app.book import chain, check, record
from app.book.notices import Notices
from app.db import migrate, open_engine, upgrade, writing
from app.models import (
    Batch,
    Change,
    Consumable,
    Curve,
    Delivery,
    Drill,
    Grain,
    MotorBuild,
    PackSize,
    StandReading,
    WishMotor,
)
from app.models.disposal import DisposalIn
from app.models.grain_look import GrainLookIn
from app.models.incident import IncidentIn
from app.models.instrument import ScaleCheckIn, ThermometerCheckIn
from app.models.picture import PictureIn
from app.models.season import SeasonDayIn
from app.services.book import audit_reasons
from app.services.cast import incidents
from app.services.grains import looks, waste
from app.services.hardware import instrument_checks
from app.services.season import kept_plans, seasons
from tests import build
from tests.test_pictures import png


@pytest.fixture
def book(tmp_path: Path, empty_book: Path) -> Path:
    """A book in which Ada has bought two bags and corrected one."""
    book = tmp_path / "book.sqlite3"
    shutil.copyfile(empty_book, book)
    engine = open_engine(book)
    with writing(engine) as session:
        with audit_reasons.signed(session, "Ada"):
            bag = build.supply(session, "sorbitol", "2 kg").pk
            build.supply(session, "dextrose", "3 kg")
        session.commit()
    with writing(engine) as session:
        with audit_reasons.signed(session, "Ada", "misread"):
            _sql(session, f"UPDATE supply SET mass_kg = 1.9, mass_typed = '1.9 kg' WHERE id = {bag}")
        session.commit()
    engine.dispose()
    return book


def _sql(session: Session, statement: str) -> None:
    session.connection().execute(text(statement))


def _altered(book: Path, *statements: str) -> None:
    """Change the file as nothing that keeps the rules would: the guards and the record are off meanwhile."""
    with closing(sqlite3.connect(book, isolation_level=None)) as connection:
        triggers = connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        connection.execute("PRAGMA ignore_check_constraints = ON")
        connection.execute("BEGIN")
        for name, _ in triggers:
            connection.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            connection.execute(statement)
        for _, sql in triggers:
            connection.execute(sql)
        connection.execute("COMMIT")


def _faults(book: Path) -> list[str]:
    return [finding.words for finding in check.check(book) if finding.fault]


def _one(book: Path, sql: str) -> Any:
    with closing(sqlite3.connect(book)) as connection:
        return connection.execute(sql).fetchone()[0]


# --- The form --------------------------------------------------------------------------------------------


def _sha256(values: list[Any]) -> str:
    return hashlib.sha256(json.dumps(values, separators=(",", ":")).encode()).hexdigest()


def _by_hand(connection: sqlite3.Connection) -> Iterator[tuple[int, str]]:
    """Every link, from the documented form alone."""
    link = ""
    change = (
        "c.id, c.at, c.who, c.device, c.why, c.what, c.table_name, c.row_id, c.column_name, "
        "c.before, c.before_typed, c.after, c.after_typed"
    )
    sql = f"SELECT l.save, l.outside, {change} FROM change c JOIN change_link l ON l.change_id = c.id ORDER BY c.id"
    for row in connection.execute(sql):
        link = _sha256([link, *row])
        yield row[2], link


@pytest.mark.promise("The record is a chain of hashes, recomputed by an outside hand", figure="SHA-256, every link")
def test_links_and_digests_are_what_is_documented(demo_book: Path) -> None:
    with closing(sqlite3.connect(demo_book)) as connection:
        links = connection.execute("SELECT change_id, link FROM change_link ORDER BY change_id").fetchall()
        assert len(links) == connection.execute("SELECT count(*) FROM change").fetchone()[0] > 2000
        assert links == list(_by_hand(connection))
        digests = {(t, i): d for t, i, d in connection.execute("SELECT table_name, row_id, digest FROM row_digest")}
        for table in record.recorded():
            names = sorted(c.name for c in table.columns if c.name != "version")
            for row_id, *row in connection.execute(f"SELECT id, {', '.join(names)} FROM {table.name}"):
                values = [
                    {"bytes": len(v), "sha256": hashlib.sha256(v).hexdigest()} if isinstance(v, bytes) else v
                    for v in row
                ]
                assert digests.pop((table.name, row_id)) == _sha256([table.name, *values])
        assert digests == {}
    assert _faults(demo_book) == []


def test_a_link_holds_every_column_of_a_change() -> None:
    assert list(chain.LINKED) == [c.name for c in SQLModel.metadata.tables[str(Change.__tablename__)].columns]


@given(st.lists(st.none() | st.integers(-(2**63), 2**63 - 1) | st.floats() | st.text() | st.binary(), min_size=1))
def test_two_rows_that_differ_in_value_or_kind_have_two_digests(row: list[Any]) -> None:
    """1, 1.0, "1", b"1" and nothing are five things; -0.0 is not 0.0."""
    seen = {chain.digest_of("t", row)}
    for at, value in enumerate(row):
        for other in (None, 1, 1.0, "1", b"1", -0.0, 0.0, str(value), [value] and f"{value}x", float("inf")):
            if type(other) is type(value) and repr(other) == repr(value):
                continue
            digest = chain.digest_of("t", [*row[:at], other, *row[at + 1 :]])
            assert digest not in seen, (value, other)


# --- What is found ---------------------------------------------------------------------------------------


def _nearly(value: Any) -> Any:
    """The least other value of its kind: the last bit of a number, one letter of a text, one byte."""
    match value:
        case None:
            return 1
        case float():
            return math.nextafter(value, math.inf)
        case int():
            return value + 1
        case str():
            return value[:-1] + chr(ord(value[-1]) ^ 1) if value else "x"
    return value[:-1] + bytes([value[-1] ^ 1])


@pytest.mark.promise(
    "A figure that changed by itself is found by grainbook check", figure="every column of every recorded row's table"
)
@pytest.mark.parametrize("table", record.recorded(), ids=lambda table: table.name)
def test_a_change_past_the_record_is_found_in_any_column(tmp_path: Path, released_up: Path, table: Any) -> None:
    """One row of the table, each of its columns in turn: `check` names table and row."""
    book = tmp_path / "book.sqlite3"
    shutil.copyfile(released_up, book)
    row_id = _one(book, f"SELECT max(id) FROM {table.name}")
    with closing(sqlite3.connect(book, isolation_level=None)) as connection:
        connection.execute("PRAGMA synchronous = OFF")
        connection.execute("PRAGMA ignore_check_constraints = ON")
        connection.execute("BEGIN")
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f"DROP TRIGGER {name}")
        connection.execute("COMMIT")
        assert list(chain.strays(connection, table.name)) == []
        tried = set[str]()
        for name in {column.name for column in table.columns} - {"version", "id"}:
            value = connection.execute(f"SELECT {name} FROM {table.name} WHERE id = {row_id}").fetchone()[0]
            connection.execute("BEGIN")
            with contextlib.suppress(sqlite3.IntegrityError):  # what another row has, or what may not be nothing
                connection.execute(f"UPDATE {table.name} SET {name} = ? WHERE id = {row_id}", (_nearly(value),))
                found = [(stray.table, stray.row_id) for stray in chain.strays(connection, table.name)]
                assert found == [(table.name, row_id)], name
                tried.add(name)
            connection.execute("ROLLBACK")
        assert len(tried) >= len(table.columns) - 4, "all but what other rows hold to be their own"
        connection.execute(f"UPDATE {table.name} SET id = id + 1000000 WHERE id = {row_id}")
        assert sorted(stray.row_id for stray in chain.strays(connection, table.name)) == [row_id, row_id + 1000000]


@pytest.fixture(scope="module")
def released_up(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The released book with a row in every table, brought to this schema."""
    from tests.test_migrations import DATA, unpack

    book = tmp_path_factory.mktemp("released") / "book.sqlite3"
    unpack(DATA / "book-0008.sql.xz", book)
    migrate(book)
    engine = open_engine(book)
    with writing(engine) as session:  # what came since that release
        grain = session.exec(select(Grain)).first()
        assert grain is not None
        happened = {"kind": "near miss", "sort": "spill", "words": "A drop on the plate.", "happened_at": clock.now()}
        incidents.tell(session, IncidentIn.model_validate(happened), "Ada")
        looks.look(session, grain, GrainLookIn.model_validate({"faces": "sound"}), "Ada")
        looks.keep_picture(session, grain, PictureIn(file="face.png"), png())
        scale = {"instrument": "The scale", "known": "200 g", "read": "200.1 g", "tolerance": "0.2 g"}
        instrument_checks.check_scale(session, ScaleCheckIn.model_validate(scale), "Ada")
        pan = {"instrument": "The stem", "against": "ice", "read": "0 C", "tolerance": "1 K"}
        instrument_checks.check_thermometer(session, ThermometerCheckIn.model_validate(pan), "Ada")
        _season_and_its_buying(session)
        curve = session.exec(select(Curve)).all()[-1]
        shape = {"delimiter": "comma", "decimal": ".", "columns": 2, "heads_json": "[]"}
        session.add(
            StandReading.model_validate({"stand": "Bench", "curve_id": curve.pk, "reading_json": "{}", **shape})
        )
        session.commit()
    engine.dispose()
    return book


def _season_and_its_buying(session: Session) -> None:
    season = build.season(session)
    wish = build.wish(session, season)
    build.chosen(session, wish)
    seasons.add_day(session, season, SeasonDayIn(kind="off", first_on=season.begins_on))
    plan = kept_plans.keep(session, season, {}, {})
    kept_plans.take_up(session, season, session.exec(select(Batch)).all()[-1], plan)
    session.add(WishMotor(wish_id=wish.pk, motor_build_id=session.exec(select(MotorBuild)).all()[-1].pk))
    session.add(Consumable(name="Igniter", counted_on=clock.today()))
    session.add(Drill(name="Half an inch", diameter_m=0.0127))
    session.add(PackSize(ingredient="sorbitol", mass_kg=1.0, mass_typed="1 kg"))
    session.add(Delivery(ingredient="sorbitol", mass_kg=1.0, mass_typed="1 kg", due_on=clock.today()))
    gone = waste.waiting(session)[:1]
    assert gone, "a reject waits in the released book"
    waste.dispose(session, DisposalIn(things=[gone[0].key], done_on=clock.today(), how="Soaked in water."))


def test_a_flipped_figure_is_told_with_its_row_its_last_act_and_what_it_says_now(
    book: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """As a dying disk would: the figure's bytes in the file itself, which SQLite finds no fault with."""
    assert main(["check", "--book", str(book)]) == 0
    assert "No fault was found" in capsys.readouterr().out
    with closing(sqlite3.connect(book)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    raw = book.read_bytes()
    at = raw.rindex(b"3 kg")
    book.write_bytes(raw[:at] + b"8 kg" + raw[at + 4 :])
    row_id = _one(book, "SELECT id FROM supply WHERE ingredient = 'dextrose'")
    assert main(["check", "--book", str(book)]) == 1
    said = capsys.readouterr().out
    assert f"Table supply, row {row_id}: it is not as its last act left it." in said
    assert "entered by Ada on " in said
    assert "mass_typed 8 kg" in said
    assert "1 fault was found" in said
    assert "SQLite finds" not in said


@pytest.mark.parametrize(
    ("act", "words"),
    [
        ("UPDATE change SET before = '2.5' WHERE id = {last}", "at change {last}: it is not as it was written."),
        ("UPDATE change SET who = 'Eve' WHERE id = {first}", "at change {first}: it is not as it was written."),
        ("DELETE FROM change WHERE id = {first}", "at change {first}: the change itself is gone."),
        ("UPDATE change_link SET outside = 1 WHERE change_id = {first}", "at change {first}: it is not as it was"),
        ("UPDATE change_link SET link = 'aa' WHERE change_id = {first}", "at change {first}: it is not as it was"),
    ],
)
def test_the_first_link_that_does_not_fit_is_told(book: Path, act: str, words: str) -> None:
    first = _one(book, "SELECT min(id) FROM change WHERE table_name = 'supply'")
    last = _one(book, "SELECT max(id) FROM change")
    _altered(book, act.format(first=first, last=last))
    assert words.format(first=first, last=last) in "\n".join(_faults(book))


def test_a_change_that_went_with_its_link_is_told_by_the_next_one(book: Path) -> None:
    first = _one(book, "SELECT min(id) FROM change WHERE table_name = 'supply'")
    _altered(book, f"DELETE FROM change_link WHERE change_id = {first}", f"DELETE FROM change WHERE id = {first}")
    assert f"at change {first + 1}: it is not as it was written; 1 before it is missing." in _faults(book)[0]


def test_rows_that_come_or_go_past_the_record_are_told(book: Path) -> None:
    """A row deleted or put in by a program that took the triggers off."""
    rows = "SELECT id + 10, created_at, version, ingredient, 'other', received_on, mass_kg, mass_typed, note"
    names = "id, created_at, version, ingredient, mark, received_on, mass_kg, mass_typed, note"
    bag = _one(book, "SELECT max(id) FROM supply")
    _altered(
        book,
        f"INSERT INTO supply ({names}) {rows} FROM supply WHERE id = {bag}",
        f"DELETE FROM supply WHERE id = {bag}",
    )
    said = _faults(book)
    assert any(f"Table supply, row {bag + 10}: it came past the record." in words for words in said)
    assert any(f"Table supply, row {bag}: it went past the record." in words for words in said)


def test_a_guard_that_is_off_and_a_trigger_of_others_are_told(book: Path) -> None:
    with closing(sqlite3.connect(book)) as connection:
        connection.execute("DROP TRIGGER guard_change_delete")
        connection.execute("CREATE TRIGGER theirs AFTER INSERT ON supply BEGIN SELECT 1; END")
    assert [words.split(";")[0] for words in _faults(book)] == [
        "The guard guard_change_delete is off the book",
        "The trigger theirs is none of Grainbook's",
    ]


def test_a_copy_is_looked_through_too_and_a_file_that_is_none_is_refused(
    book: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    copy = tmp_path / "copy.sqlite3"
    assert main(["backup", str(copy), "--book", str(book)]) == 0
    assert main(["check", str(copy)]) == 0
    raw = copy.read_bytes()
    copy.write_bytes(raw.replace(b"misread", b"misheed"))
    capsys.readouterr()
    assert main(["check", str(copy)]) == 1
    said = capsys.readouterr().out
    assert "its checksum does not fit" in said
    assert f"The record does not fit its chain at change {_one(book, 'SELECT max(id) FROM change')}" in said
    copy.write_bytes(raw[:100] + bytes(4000) + raw[4100:])
    assert main(["check", str(copy)]) == 1
    assert "SQLite cannot read it" in capsys.readouterr().out
    assert main(["check", str(tmp_path / "nothing")]) == 1
    assert "There is no file" in capsys.readouterr().err


# --- Other programs --------------------------------------------------------------------------------------


@pytest.mark.promise("What another program writes is linked and named as another program's")
def test_what_another_program_wrote_is_linked_as_such(book: Path) -> None:
    with closing(sqlite3.connect(book)) as connection:
        connection.execute("UPDATE supply SET note = 'written by a script' WHERE ingredient = 'sorbitol'")
        connection.commit()
    bag = _one(book, "SELECT id FROM supply WHERE ingredient = 'sorbitol'")
    assert _faults(book) == []
    assert any("1 change since the last save" in finding.words for finding in check.check(book))
    engine = open_engine(book)
    with writing(engine) as session:
        with audit_reasons.signed(session, "Ada"):
            build.supply(session, "sucrose")
        session.commit()
    engine.dispose()
    assert _faults(book) == []
    told = [finding.words for finding in check.check(book)]
    assert [words.split(", on")[0] for words in told] == [
        f"Another program wrote 1 of the changes in the record; the last is of supply {bag}"
    ]
    assert _one(book, "SELECT group_concat(outside) FROM (SELECT outside FROM change_link ORDER BY 1)")[-3:] == "0,1"


def test_a_refused_act_leaves_no_link(book: Path) -> None:
    engine, before = open_engine(book), _one(book, "SELECT count(*) FROM change_link")
    with writing(engine) as session:
        build.supply(session, "sucrose")
        session.flush()
        with pytest.raises(IntegrityError):
            _sql(session, "DELETE FROM change")
    engine.dispose()
    assert _one(book, "SELECT count(*) FROM change_link") == before
    assert _faults(book) == []


def test_a_row_that_goes_and_a_row_whose_number_changes_are_followed(book: Path) -> None:
    engine = open_engine(book)
    with writing(engine) as session:
        _sql(session, "DELETE FROM supply WHERE ingredient = 'dextrose'")
        _sql(session, "UPDATE supply SET id = 77 WHERE ingredient = 'sorbitol'")
        session.commit()
    engine.dispose()
    assert _faults(book) == []


@pytest.mark.promise(
    "Links and digests are not rewritten or erased by SQL; a digest follows a recorded change", figure="8 attacks"
)
@pytest.mark.parametrize(
    "attack",
    [
        "UPDATE change_link SET link = 'x'",
        "UPDATE OR REPLACE change_link SET change_id = 1",
        "DELETE FROM change_link",
        "REPLACE INTO change_link SELECT change_id, save, outside, 'x' FROM change_link",
        "UPDATE row_digest SET digest = 'x'",
        "UPDATE OR REPLACE row_digest SET row_id = 1",
        "DELETE FROM row_digest",
        "REPLACE INTO row_digest SELECT table_name, row_id, 'x' FROM row_digest",
    ],
)
def test_chain_and_digests_cannot_be_rewritten_by_sql(book: Path, attack: str) -> None:
    """guard_change_link_*, guard_row_digest_*"""
    with (
        closing(sqlite3.connect(book)) as connection,
        pytest.raises(sqlite3.IntegrityError, match=r"never changed|follow"),
    ):
        connection.execute(attack)
    assert _faults(book) == []


# --- Older books -----------------------------------------------------------------------------------------


def test_an_older_book_gets_its_chain_with_the_step(released_up: Path) -> None:
    changes = _one(released_up, "SELECT count(*) FROM change")
    assert _one(released_up, "SELECT count(*) FROM change_link") == changes > 1000
    assert _faults(released_up) == []


def test_guards_put_on_anew_do_not_make_digests_anew(book: Path) -> None:
    """Only a step of the schema does; else a start would hide what changed by itself."""
    _altered(book, "UPDATE supply SET mass_kg = 8 WHERE ingredient = 'dextrose'")
    upgrade(book)
    assert len(_faults(book)) == 1


def test_a_zip_of_an_altered_book_is_told_as_it_comes_in(
    book: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The zip's own checksums say nothing: whoever altered a value there writes them anew."""
    for name, words in (("sound", ""), ("altered", "it is not as its last act left it.")):
        if words:
            _altered(book, "UPDATE supply SET mass_kg = 8 WHERE ingredient = 'dextrose'")
        target, again = tmp_path / f"{name}.zip", tmp_path / f"{name}.sqlite3"
        assert main(["export", str(target), "--book", str(book)]) == 0
        capsys.readouterr()
        assert main(["import", str(target), "--book", str(again)]) == 0
        said = capsys.readouterr().out
        assert ("This zip is not what was exported" in said) is bool(words)
        assert words in said
        assert [notice.title for notice in Notices(again).unread()] == (
            ["The zip that the book was made of was altered"] if words else []
        )
