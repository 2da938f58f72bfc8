"""Rows held against their models: what no Grainbook writes is named by table, row and column; what it wrote passes."""

import hashlib
import json
import sqlite3
import zipfile
from collections import defaultdict
from collections.abc import Iterator
from contextlib import closing
from itertools import groupby
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlmodel import SQLModel

from app import first_run
from app.__main__ import main
from app.book import bookfile, column_rules, export, import_zip, rows
from app.book.values import NotText, as_text
from app.db import migrate
from app.errors import Trouble
from app.models import words
from app.stored_shapes import shapes
from app.units import say
from tests import junk
from tests.junk import Junk
from tests.test_migrations import RELEASED, unpack

HOUSEKEEPING = ("act_in_hand", "change_link", "row_digest")
"""Empty in the book that is looked at."""

EVERY = list(junk.every(but=HOUSEKEEPING))


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demonstration book as it was last released, brought to this version; looked at only."""
    book = tmp_path_factory.mktemp("rows") / "demo.sqlite3"
    unpack(RELEASED[-1], book)
    migrate(book)
    bookfile.settle(book)
    return book


@pytest.fixture
def spoiled(demo: Path, tmp_path: Path) -> Path:
    """A copy of it to put junk into."""
    book = tmp_path / "spoiled.sqlite3"
    book.write_bytes(demo.read_bytes())
    return book


# --- What is sound passes --------------------------------------------------------------------------------


@pytest.mark.parametrize("released", RELEASED, ids=lambda path: path.name.split(".")[0])
def test_what_every_released_grainbook_wrote_passes(released: Path, tmp_path: Path) -> None:
    book = tmp_path / "book.sqlite3"
    unpack(released, book)
    migrate(book)
    with bookfile.opened(book) as connection:
        assert list(rows.faults(connection, shapes())) == []


def test_what_this_grainbook_writes_passes(demo_book: Path) -> None:
    with bookfile.opened(demo_book) as connection:
        assert list(rows.faults(connection, shapes())) == []


def test_every_column_of_stored_figures_has_a_reader() -> None:
    columns = {(table.name, c.name) for table in SQLModel.metadata.sorted_tables for c in table.columns}
    assert {pair for pair in columns if pair[1].endswith("_json")} == set(shapes())


# --- What is not is named --------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def open_to_junk(demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[sqlite3.Connection]:
    """A connection to a copy of it that no rule holds; each test takes its own act back."""
    book = tmp_path_factory.mktemp("junk") / "book.sqlite3"
    book.write_bytes(demo.read_bytes())
    with junk.behind(book) as connection:
        yield connection


@pytest.mark.promise(
    "A value that cannot be is named by table, row and column", figure="every kind in every column of every table"
)
def test_each_kind_of_junk_in_each_column_is_named(open_to_junk: sqlite3.Connection) -> None:
    """A row has junk of one kind in each of its columns at once, then of the next: a column is judged by itself."""
    missed, turns = [], defaultdict[tuple[str, int], list[Junk]](list)
    for (table, _), kinds in groupby(EVERY, lambda one: (one.table, one.column)):
        for turn, one in enumerate(kinds):
            turns[table, turn].append(one)
    for (table, _), together in turns.items():
        open_to_junk.execute("SAVEPOINT junk")
        put = [one for one in together if junk.put(open_to_junk, one)]  # none where this book has no row of it
        found = {(fault.table, fault.column) for fault in rows.faults(open_to_junk, shapes(), only=table)}
        open_to_junk.execute("ROLLBACK TO junk")
        open_to_junk.execute("RELEASE junk")
        missed += [str(one) for one in put if (table, one.column) not in found]
    assert missed == []


def test_a_fault_is_told_in_words(spoiled: Path) -> None:
    with junk.behind(spoiled) as connection:
        junk.put(connection, Junk("supply", "received_on", "not a date", "not a date"), "id = 1")
        junk.put(connection, Junk("formula_part", "ingredient", "unknown", "unobtainium"), "id = 2")
        mark = connection.execute("SELECT mark FROM supply WHERE id = 1").fetchone()[0]
    with bookfile.opened(spoiled) as connection:
        bag, part = map(str, rows.faults(connection, shapes()))
    assert bag == (
        f"Bag “{mark}” (row 1), “Received on”: “not a date” stands there; expected was a day, such as 2026-11-25."
    )
    assert part.startswith("Part of a formula, row 2, “Ingredient”: “unobtainium” stands there; expected was one of: ")


values = st.one_of(
    st.none(),
    st.integers(-(2**63), 2**63 - 1),
    st.floats(allow_nan=False),
    st.text(st.characters(exclude_categories=["Cs"]), max_size=12),
    st.sampled_from(["2026-02-29", "2028-02-29", "2026-11-25 14:05:59.999999", "9999-12-31", "0001-01-01 00:00:00"]),
    st.sampled_from(["2026-11-25T00:00:00", "2026-11-25 24:00:00", "{}", "[1e999]", '{"a": NaN}', "{'a': 1}", "mm"]),
    st.binary(max_size=6),
    st.binary(max_size=6).map(NotText),
)
RULES = {
    f"{table.name}.{column.name}": (column_rules.rule_of(table.name, column), str(column.type.compile()))
    for table in SQLModel.metadata.sorted_tables
    for column in table.columns
}


@given(st.lists(values, min_size=1, max_size=40))
def test_what_sql_lets_pass_python_does_too(tried: list[object]) -> None:
    """The sieve only saves time: it never decides that a value is sound which the rule refuses."""
    types = sorted({kind for _, kind in RULES.values()})
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as connection:
        connection.text_factory = as_text
        connection.execute(f"CREATE TABLE t ({', '.join(f'as_{i} {kind}' for i, kind in enumerate(types))})")
        for value in tried:
            mark, raw = ("CAST(? AS TEXT)", value.raw) if isinstance(value, NotText) else ("?", value)
            connection.execute(f"INSERT INTO t VALUES ({', '.join([mark] * len(types))})", [raw] * len(types))
        for name, (rule, kind) in RULES.items():
            column = f"as_{types.index(kind)}"
            for (value,) in connection.execute(f"SELECT {column} FROM t WHERE {rule.sieve.format(c=column)}"):
                assert rule.refuse(value) is None, (name, value)


def test_the_command_names_what_cannot_be_by_entry_and_field(spoiled: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with junk.behind(spoiled) as connection:
        junk.put(connection, Junk("grain", "weighed_at", "not a date", "not a date"), "id = 3")
    assert main(["check", str(spoiled)]) == 1
    said = capsys.readouterr().out
    assert "(row 3), “Weighed”: “not a date” stands there; expected was a moment" in said


# --- Import ----------------------------------------------------------------------------------------------

TAKEN_IN = {
    "not a date": Junk("batch", "planned_for", "not a date", "not a date"),
    "a moment that is none": Junk("grain", "weighed_at", "not a date", "yesterday"),
    "text in a number": Junk("supply", "mass_kg", "text in a number", "a lot"),
    "1e308": Junk("grain", "mass_kg", "1e308", 1e308),
    "no end": Junk("motor_build", "grain_temperature_k", "no end", float("inf")),
    "an unknown ingredient": Junk("formula_part", "ingredient", "unknown", "unobtainium"),
    "an unknown unit": Junk("workshop", "mass_unit", "unknown", "stone"),
    "bad UTF-8": Junk("batch", "note", "bad UTF-8", junk.NOT_UTF_8),
    "a verdict that is none": Junk("grain", "verdict", "unknown", "perhaps"),
    "a kind of step that is none": Junk("run_sheet_line", "kind", "unknown", "dance"),
    "half a text of figures": Junk("curve", "result_json", "half a text", '{"samples": 1'),
    "figures of another shape": Junk("prediction", "result_json", "another shape", '{"a": 1}'),
    "a code that is none": Junk("batch", "code", "unknown", "../../x"),
    "a yes that is none": Junk("workshop", "learn", "seven for yes", 7),
    "half a row": Junk("checklist_item", "position", "half a number", 1.5),
}


@pytest.mark.promise("A zip with values that cannot be is refused, the values named", figure="15 kinds")
@pytest.mark.parametrize("kind", TAKEN_IN)
def test_import_refuses_values_that_cannot_be_and_names_them(
    spoiled: Path, new_book: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], kind: str
) -> None:
    one, book, target = TAKEN_IN[kind], tmp_path / "book.sqlite3", tmp_path / "book.zip"
    with junk.behind(spoiled) as connection:
        assert junk.put(connection, one) == 1
    export.write(spoiled, target)
    book.write_bytes(new_book.read_bytes())
    assert main(["import", str(target), "--book", str(book)]) == 1
    said = capsys.readouterr().err
    assert "nothing was changed" in said
    assert words.noun(one.table).capitalize() in said
    assert words.label(one.table, one.column) in said
    assert "stands there; expected was" in said
    assert book.read_bytes() == new_book.read_bytes()


def test_of_many_the_first_few_are_named_and_all_counted(spoiled: Path, tmp_path: Path) -> None:
    with junk.behind(spoiled) as connection:
        count = junk.put(connection, Junk("grain", "weighed_at", "not a date", "not a date"), "1")
    assert count > 10
    export.write(spoiled, tmp_path / "book.zip")
    with pytest.raises(Trouble) as refused:
        import_zip.import_book(tmp_path / "book.zip", tmp_path / "book.sqlite3", first_run.prepare, shapes())
    said = say(refused.value.message)
    assert f"holds {count} values" in said
    assert said.count("expected was") == rows.TOLD
    assert f"And {count - rows.TOLD} more." in said
    assert not (tmp_path / "book.sqlite3").exists()


def test_a_row_that_the_schema_does_not_take_is_named_too(demo: Path, tmp_path: Path) -> None:
    export.write(demo, tmp_path / "whole.zip")
    with zipfile.ZipFile(tmp_path / "whole.zip") as source:
        content = {name: source.read(name) for name in source.namelist()}
    lines = content["tables/supply.jsonl"].splitlines(keepends=True)
    row = json.loads(lines[2])
    row[json.loads(lines[0]).index("mark")] = None
    lines[2] = json.dumps(row).encode() + b"\n"
    content["tables/supply.jsonl"] = b"".join(lines)
    told = json.loads(content["manifest.json"])
    told["tables"]["supply"]["sha256"] = hashlib.sha256(content["tables/supply.jsonl"]).hexdigest()
    content["manifest.json"] = json.dumps(told).encode()
    with zipfile.ZipFile(tmp_path / "forged.zip", "w") as out:
        for name, text in content.items():
            out.writestr(name, text)
    with pytest.raises(Trouble, match=r"Bag, line 2 of its table: NOT NULL constraint failed: supply\.mark"):
        import_zip.import_book(tmp_path / "forged.zip", tmp_path / "book.sqlite3", first_run.prepare, shapes())
