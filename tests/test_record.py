"""The record of changes: no value of any table changes or goes without it, whoever writes, and nobody rewrites it."""

import json
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from fastapi import Request
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import Table, text
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, SQLModel, col, select

from app import clock, web
from app.book import guards, record
from app.models import Change, Supply
from app.services.book import audit_reasons
from tests import build
from tests.moment import wall

NOON = wall("2026-11-25T12:00")
TABLES = {table.name: table for table in SQLModel.metadata.sorted_tables}


def sql(session: Session, statement: str, **values: Any) -> None:
    """Run one statement as another program would."""
    session.flush()
    session.connection().execute(text(statement), values)


def bare(session: Session) -> None:
    """Leave the record alone on the book: no other guards, checks and references, so that any row can be written."""
    connection = session.connection()
    for name in guards.GUARDS:
        if not name.startswith("record_"):
            connection.exec_driver_sql(f"DROP TRIGGER {name}")
    connection.exec_driver_sql("PRAGMA defer_foreign_keys = ON")
    connection.exec_driver_sql("PRAGMA ignore_check_constraints = ON")


def plain(column: Any, n: int) -> Any:
    """The n-th plain value of a column."""
    kind = str(column.type.compile()) if not hasattr(column.type, "impl") else str(column.type.impl)
    if "INT" in kind:
        return n
    if "FLOAT" in kind:
        return n + 0.1
    if "BOOL" in kind:
        return n % 2
    if "DATETIME" in kind:
        return f"2026-11-{n:02d} 12:00:00.000000"
    if "DATE" in kind:
        return f"2026-11-{n:02d}"
    return bytes([n]) * n if "BLOB" in kind else f"text {n}"


def changes(session: Session, table: str, what: str | None = None) -> list[Change]:
    found = session.exec(select(Change).where(Change.table_name == table).order_by(col(Change.id))).all()
    return [change for change in found if what in (None, change.what)]


# --- Complete ------------------------------------------------------------------------------------


def test_every_table_with_measured_values_is_recorded() -> None:
    """A table is left out by name only, and none of those holds what somebody measured."""
    for name in record.NOT_RECORDED & set(TABLES) - {"change"}:
        assert not [c.name for c in TABLES[name].columns if c.name.endswith("_typed")], name
    for table in record.recorded():
        told = {name for pair in record.values(table) for name in pair if name}
        assert told == {c.name for c in table.columns} - {"id", "version"}, table.name


@pytest.mark.promise(
    "Each change of each column of each table leaves who, when, why, before and after",
    figure="every column, those to come too",
)
@pytest.mark.parametrize("table", record.recorded(), ids=lambda table: table.name)
def test_each_change_of_each_column_leaves_its_record(session: Session, table: Table) -> None:
    """Every column of every table, those that come with a later schema too: before, after, as typed, who, when, why."""
    bare(session)
    first = {c.name: plain(c, 1) for c in table.columns} | {"id": 900}
    session.connection().exec_driver_sql(f"DELETE FROM {table.name}")
    sql(session, f"INSERT INTO {table.name} ({', '.join(first)}) VALUES (:{', :'.join(first)})", **first)
    with clock.turned_to(NOON), audit_reasons.signed(session, "Ada", "misread", "bench tablet"):
        for name, typed in record.values(table):
            sql(session, f"UPDATE {table.name} SET {name} = :v WHERE id = 900", v=plain(table.columns[name], 2))
            told = changes(session, table.name, "changed")[-1]
            assert (told.row_id, told.column_name, told.who, told.at) == (900, name, "Ada", NOON)
            assert (told.why, told.device) == ("misread", "bench tablet")
            if isinstance(first[name], bytes):
                assert [json.loads(told.before or ""), json.loads(told.after or "")] == ["1 bytes", "2 bytes"]
                continue
            assert json.loads(told.before or "") == first[name]
            assert json.loads(told.after or "") == plain(table.columns[name], 2)
            if typed is not None:
                sql(session, f"UPDATE {table.name} SET {typed} = 'typed anew' WHERE id = 900")
                told = changes(session, table.name, "changed")[-1]
                assert told.column_name == name, "what was typed is told with its value"
                assert (told.before_typed, told.after_typed) == ("text 1", "typed anew")
        kept = len(changes(session, table.name, "changed"))
        sql(session, f"UPDATE {table.name} SET id = id")
        assert len(changes(session, table.name, "changed")) == kept, "nothing changed, nothing to tell"
        sql(session, f"DELETE FROM {table.name} WHERE id = 900")
    gone = changes(session, table.name, "deleted")[-1]
    row = json.loads(gone.before or "")
    assert set(row) == {c.name for c in table.columns}, "the whole row is kept"
    assert (row["id"], gone.who) == (900, "Ada")


def test_a_row_that_comes_is_told_with_who_brought_it(session: Session) -> None:
    with audit_reasons.signed(session, "Ada"):
        bag = build.supply(session)
    came = changes(session, "supply")[-1]
    assert (came.what, came.row_id, came.who, came.column_name) == ("entered", bag.pk, "Ada", "")


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60, derandomize=True)
@given(st.floats(min_value=1e-9, max_value=1e9, allow_nan=False))
def test_no_digit_of_a_number_is_lost(session: Session, mass: float) -> None:
    """The record gives back the very number that stood there, to the last bit."""
    bag = session.exec(select(Supply)).first() or build.supply(session)
    sql(session, "UPDATE supply SET mass_kg = :m WHERE id = :i", m=mass, i=bag.pk)
    sql(session, "UPDATE supply SET mass_kg = 1e10 WHERE id = :i", i=bag.pk)
    session.expire_all()
    assert json.loads(changes(session, "supply", "changed")[-1].before or "") == mass


def test_words_are_kept_as_they_are(session: Session) -> None:
    words = 'A "crack", 3/4″ — seen at 12 o\'clock\nand a \\ slash'
    bag = build.supply(session, note=words)
    sql(session, "UPDATE supply SET note = '' WHERE id = :i", i=bag.pk)
    assert json.loads(changes(session, "supply", "changed")[-1].before or "") == words


# --- Who -----------------------------------------------------------------------------------------


@pytest.mark.promise("Another program's change is not signed with a person's name")
def test_another_program_is_not_taken_for_a_person(session: Session) -> None:
    """After an act its signature is gone: what another program then writes is recorded without a name."""
    with audit_reasons.signed(session, "Ada", "weighed again"):
        bag = build.supply(session)
    sql(session, "UPDATE supply SET mass_kg = 9 WHERE id = :i", i=bag.pk)
    told = changes(session, "supply", "changed")[-1]
    assert (told.who, told.why, told.device) == ("", "", None)
    assert abs((told.at - datetime.now(UTC)).total_seconds()) < 60


def test_the_program_may_know_the_reason(session: Session) -> None:
    bag = build.supply(session)
    with audit_reasons.signed(session, "Ada"):
        audit_reasons.because(session, "Taken back.")
        sql(session, "UPDATE supply SET note = 'x' WHERE id = :i", i=bag.pk)
    assert changes(session, "supply", "changed")[-1].why == "Taken back."
    audit_reasons.because(session, "outside of an act there is nobody to tell")
    assert audit_reasons.who(session) == ""


def test_the_device_that_wrote_is_told_where_it_is_a_paired_one() -> None:
    for name, told in (("bench tablet", "bench tablet"), ("", None)):
        assert web.device(Request({"type": "http", "headers": [], "state": {"device": name}})) == told
    assert web.device(Request({"type": "http", "headers": []})) is None


def test_acts_are_written_through_the_one_place_that_signs_them() -> None:
    """Elsewhere the program writes only what is nobody's act: first rows, drafts, devices, what can be worked out
    again, and the demonstration.
    """
    unsigned = {
        "access/middleware.py",
        "commands.py",
        "demo/__init__.py",
        "routers/book/devices.py",
        "routers/book/drafts.py",
        "routers/season/motor_pages.py",
        "first_run.py",
    }
    app = Path(web.__file__).parent
    writers = {
        str(path.relative_to(app))
        for path in app.rglob("*.py")
        if re.search(r"(?<!def )\b(unsigned_)?writing\(", path.read_text(encoding="utf-8"))
    }
    assert writers == unsigned | {"web.py"}


# --- Attacked ------------------------------------------------------------------------------------


@pytest.mark.promise(
    "The record is not rewritten, erased or walked round, by SQL or by OR REPLACE", figure="10 attacks"
)
@pytest.mark.parametrize(
    ("attack", "words"),
    [
        ("UPDATE change SET before = '1'", "never changed or erased"),
        ("UPDATE OR REPLACE change SET id = 1", "never changed or erased"),
        ("DELETE FROM change", "never changed or erased"),
        ("DELETE FROM change WHERE id = (SELECT max(id) FROM change)", "never changed or erased"),
        (
            "REPLACE INTO change SELECT id, at, 'Eve', device, why, what, table_name, row_id, column_name, '1', NULL,"
            " after, NULL FROM change",
            "not replaced",
        ),
        (
            "INSERT INTO change (id, at, who, why, what, table_name, row_id, column_name) VALUES (1, '2026', '', '',"
            " 'entered', 'supply', 1, '') ON CONFLICT (id) DO UPDATE SET who = 'Eve'",
            "not replaced",
        ),
        ("REPLACE INTO supply SELECT * FROM supply", "not replaced"),
        (
            "INSERT OR REPLACE INTO supply (id, created_at, version, ingredient, mark, received_on, mass_kg,"
            " mass_typed, note) SELECT id + 50, created_at, 1, ingredient,"
            " mark, received_on, 1, '1 kg', '' FROM supply",
            "not replaced",
        ),
        ("UPDATE OR REPLACE supply SET mark = 'same', ingredient = 'sorbitol'", "not replaced"),
    ],
)
def test_the_record_cannot_be_rewritten_or_walked_round(session: Session, attack: str, words: str) -> None:
    """guard_change_update, guard_change_delete, guard_*_not_replaced, guard_*_not_run_over"""
    first = build.supply(session, "sorbitol")
    build.supply(session, "sorbitol")
    sql(session, "UPDATE supply SET mass_kg = 2, mass_typed = '2 kg' WHERE id = :i", i=first.pk)
    before = [c.model_dump() for c in session.exec(select(Change))]
    with pytest.raises(IntegrityError, match=words):
        sql(session, attack)
    session.expire_all()
    assert [c.model_dump() for c in session.exec(select(Change))] == before


def test_a_firing_is_not_run_over_by_another_of_its_motor(session: Session) -> None:
    """The index that lets a motor burn once is partial; REPLACE would delete the first firing to keep it."""
    built = build.bare_motor(session, build.ready_grains(session, 1))
    firing = build.bare_firing(session, built)
    columns = [c.name for c in TABLES["firing"].columns if c.name != "id"]
    with pytest.raises(IntegrityError, match="not replaced"):
        sql(session, f"REPLACE INTO firing ({', '.join(columns)}) SELECT {', '.join(columns)} FROM firing")
    sql(session, "UPDATE firing SET result = 'no_light'")
    sql(session, f"REPLACE INTO firing ({', '.join(columns)}) SELECT {', '.join(columns)} FROM firing")
    assert len(changes(session, "firing", "entered")) == 2
    assert changes(session, "firing", "changed")[-1].row_id == firing.pk
