"""The whole book out and in again: every row, every type, every byte; and what is no such zip is refused."""

import csv
import hashlib
import io
import json
import shutil
import sqlite3
import zipfile
from collections.abc import Callable
from contextlib import closing
from datetime import date, datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app import first_run, system
from app.__main__ import main
from app.book import bookfile, export, filestore, import_zip
from app.book.values import as_text
from app.db import migrate, upgrade
from app.errors import Trouble
from app.units import say
from tests.behind import copied_with_files
from tests.test_backups import everything
from tests.test_migrations import RELEASED, unpack


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demonstration book as it was last released, brought to this version; looked at only."""
    book = tmp_path_factory.mktemp("demo") / "demo.sqlite3"
    unpack(RELEASED[-1], book)
    migrate(book)
    bookfile.settle(book)
    return book


@pytest.fixture(scope="module")
def zipped(demo: Path) -> Path:
    """The demonstration book as a zip; looked at only."""
    target = demo.with_name("demo.zip")
    export.write(demo, target)
    return target


def rows(file: Path) -> dict[str, list[tuple[object, ...]]]:
    """Every row of every table and the schema, without the numbers that SQLite gives tables without their own."""
    found = everything(file)
    return {table: [row if table == "sqlite_master" else row[1:] for row in lines] for table, lines in found.items()}


# --- There and back --------------------------------------------------------------------------------------


@pytest.mark.promise(
    "Everything out as a zip and in again, without a loss", figure="demo book; books of any rows; any value of SQLite"
)
def test_the_demonstration_book_comes_back_row_by_row(demo: Path, zipped: Path, tmp_path: Path) -> None:
    book = tmp_path / "book.sqlite3"
    assert import_zip.import_book(zipped, book, first_run.prepare) is None
    assert rows(book) == rows(demo)
    assert len(rows(book)["curve_file"]) >= 3
    assert {type(v) for lines in rows(book).values() for row in lines for v in row} == {int, float, str, type(None)}
    assert files(book) == files(demo)
    assert len(files(book)) >= 11


def files(book: Path) -> dict[str, bytes]:
    """The files of a book, all of them whole."""
    with bookfile.opened(book) as connection:
        found = dict(filestore.contents(connection, [filestore.folder_of(book)]))
        assert set(found) == set(filestore.needed(connection))
    return found


def test_the_zip_can_be_read_without_this_program(demo: Path, zipped: Path) -> None:
    with zipfile.ZipFile(zipped) as content, closing(sqlite3.connect(demo)) as connection:
        manifest = json.loads(content.read("manifest.json"))
        assert "grainbook import" in content.read("README.txt").decode()
        assert set(manifest["tables"]) == set(bookfile.table_names(connection)) - {"alembic_version"}
        for table in ("grain", "supply", "curve_file"):
            lines = [json.loads(line) for line in content.read(f"tables/{table}.jsonl").splitlines()]
            sheet = list(csv.reader(io.StringIO(content.read(f"csv/{table}.csv").decode(), newline="")))
            assert lines[0] == sheet[0] == manifest["tables"][table]["columns"]
            assert len(lines) == len(sheet) == manifest["tables"][table]["rows"] + 1
        digest = lines[1][lines[0].index("sha256")]
        carried = [json.loads(line) for line in content.read("tables/carried_file.jsonl").splitlines()]
        name = dict(carried[1:])[digest]["file"]
        assert content.read(name) == filestore.get(filestore.folder_of(demo), digest)
        assert [n for n in content.namelist() if n.startswith("files/")] == [raw["file"] for _, raw in carried[1:]]


def test_csv_cells_that_a_spreadsheet_would_run_are_made_harmless(demo: Path, tmp_path: Path) -> None:
    book = tmp_path / "book.sqlite3"
    book.write_bytes(demo.read_bytes())
    with closing(sqlite3.connect(book)) as connection, connection:
        connection.execute("INSERT INTO draft VALUES ('/plan', '=cmd|calc!A1', '2026-11-25 00:00:00')")
    export.write(book, tmp_path / "book.zip")
    with zipfile.ZipFile(tmp_path / "book.zip") as content:
        assert "'=cmd|calc!A1" in content.read("csv/draft.csv").decode()
        assert '"=cmd|calc!A1"' in content.read("tables/draft.jsonl").decode()  # what is read back is exact


texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=30)
reals = st.floats(min_value=5e-324, max_value=1e5, allow_nan=False)
"""Masses that a bag can have: a book with others is not believed, see `test_rows`."""


@settings(max_examples=2, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(
    st.lists(st.tuples(texts, reals, st.dates(), st.datetimes()), min_size=5, max_size=30),
    st.lists(st.binary(min_size=1, max_size=3000), min_size=2, max_size=6, unique=True),
    st.dictionaries(texts, texts, min_size=3, max_size=15),
)
def test_a_book_of_any_rows_comes_back(
    demo: Path,
    tmp_path_factory: pytest.TempPathFactory,
    bought: list[tuple[str, float, date, datetime]],
    sent: list[bytes],
    drafts: dict[str, str],
) -> None:
    folder = tmp_path_factory.mktemp("any")
    book = copied_with_files(demo, folder / "book.sqlite3")
    with closing(sqlite3.connect(book)) as connection, connection:
        connection.execute("BEGIN")  # each trigger would be a transaction of its own
        triggers = connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _ in triggers:
            connection.execute(f"DROP TRIGGER {name}")
        columns = [r[1] for r in connection.execute("PRAGMA table_info(supply)")]
        template = connection.execute("SELECT * FROM supply").fetchone()
        for number, (text, real, day, moment) in enumerate(bought, start=1000):
            made = dict(zip(columns, template, strict=True)) | {
                "id": number,
                "mark": f"{text}{number}",
                "note": text,
                "mass_kg": real,
                "received_on": f"{day}",
                "created_at": f"{moment}",
            }
            kept = [made[c] for c in columns]
            connection.execute(f"INSERT INTO supply VALUES ({', '.join('?' * len(columns))})", kept)
        for number, raw in enumerate(sent, start=1000):
            connection.execute(
                "INSERT INTO curve_file (id, created_at, version, firing_id, name, sha256, size_bytes) "
                "VALUES (?, '2026-11-25 00:00:00', 1, 1, 'a', ?, ?)",
                (number, filestore.put(filestore.folder_of(book), raw), len(raw)),
            )
        kept_drafts = [(page, json.dumps([[page, text]], ensure_ascii=False)) for page, text in drafts.items()]
        connection.executemany("INSERT INTO draft VALUES (?, ?, '2026-11-25 00:00:00.000001')", kept_drafts)
        for _, sql in triggers:
            connection.execute(sql)
    export.write(book, folder / "book.zip")
    import_zip.import_book(folder / "book.zip", folder / "again.sqlite3", first_run.prepare)
    assert rows(folder / "again.sqlite3") == rows(book)
    assert files(folder / "again.sqlite3") == files(book)
    assert set(sent) <= set(files(book).values())


cells = st.one_of(
    st.none(),
    st.integers(-(2**63), 2**63 - 1),
    st.floats(allow_nan=False),
    texts,
    st.binary(max_size=200),
    st.sampled_from([0.1, -0.0, 5e-324, 1.7976931348623157e308, float("inf"), "\x00", "\ud7ff\ue000", "\u2028", "'"]),
)


def exactly(connection: sqlite3.Connection) -> list[list[tuple[type, str]]]:
    """The values with their types; texts byte by byte, numbers with every figure."""
    connection.text_factory = lambda raw: bytearray(raw)  # told apart from blobs, which come as bytes
    found = connection.execute("SELECT * FROM anything ORDER BY rowid").fetchall()
    return [[(type(value), repr(value)) for value in row] for row in found]


@given(st.lists(st.tuples(cells, cells, cells), max_size=8), st.binary(max_size=8))
def test_any_value_of_sqlite_comes_back(values: list[tuple[object, ...]], no_text: bytes) -> None:
    """A column without a type takes whatever comes: the code of values, apart from what a book allows."""
    packed = io.BytesIO()
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as out:
        out.execute("CREATE TABLE anything (a, b, c)")
        out.executemany("INSERT INTO anything VALUES (?, ?, ?)", values)
        out.execute("INSERT INTO anything VALUES (CAST(? AS TEXT), NULL, 1)", (no_text,))
        before = exactly(out)
        out.text_factory = as_text
        with zipfile.ZipFile(packed, "w") as zipped:
            told = export._write_table(out, "anything", zipped)
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as back, zipfile.ZipFile(packed) as zipped:
        back.execute("CREATE TABLE anything (a, b, c)")
        import_zip.fill_table(back, zipped, "anything", import_zip.Told.model_validate(told))
        after = exactly(back)
    assert after == before


def test_an_export_never_looks_like_a_bomb(demo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(import_zip, "DENSE_FROM", 100_000)
    book = copied_with_files(demo, tmp_path / "book.sqlite3")
    digest = filestore.put(filestore.folder_of(book), bytes(3_000_000))
    with closing(sqlite3.connect(book)) as connection, connection:
        connection.execute(
            "INSERT INTO curve_file (created_at, version, firing_id, name, sha256, size_bytes) "
            "VALUES ('2026-11-25 00:00:00', 1, 1, 'idle', ?, 3000000)",
            (digest,),
        )
    assert export.write(book, tmp_path / "book.zip") == set()
    import_zip.import_book(tmp_path / "book.zip", tmp_path / "again.sqlite3", first_run.prepare)
    assert rows(tmp_path / "again.sqlite3") == rows(book)
    assert files(tmp_path / "again.sqlite3") == files(book)


# --- By the command --------------------------------------------------------------------------------------


def test_the_commands_take_a_book_out_and_in(
    demo: Path, new_book: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    target, book = tmp_path / "whole.zip", tmp_path / "book.sqlite3"
    assert main(["export", str(target), "--book", str(demo)]) == 0
    assert main(["export", str(target), "--book", str(demo)]) == 1
    assert "is there already" in capsys.readouterr().err
    book.write_bytes(new_book.read_bytes())
    assert main(["import", str(target), "--book", str(book)]) == 0
    assert "The empty book that it replaced is kept as" in capsys.readouterr().out
    came = rows(book)
    assert _but_what_the_gate_did(book) == _but_what_the_gate_did(demo)
    assert main(["import", str(target), "--book", str(book)]) == 1
    assert "is not empty" in capsys.readouterr().err
    assert rows(book) == came


def _but_what_the_gate_did(file: Path) -> dict[str, list[tuple[object, ...]]]:
    """All rows but those that tell of lists which came back and open nothing: tests/reliability/test_gate_holds.py.

    Nor of an act in hand, which is nobody's in a file.
    """
    gate = ("checklist", "change", "change_link", "row_digest", "act_in_hand")
    return {table: lines for table, lines in rows(file).items() if table not in gate}


def test_a_book_that_was_only_made_is_empty_too(zipped: Path, demo: Path, tables_only: Path, tmp_path: Path) -> None:
    book = tmp_path / "book.sqlite3"
    book.write_bytes(tables_only.read_bytes())
    assert import_zip.import_book(zipped, book, first_run.prepare) is not None
    assert rows(book) == rows(demo)


# --- What is refused -------------------------------------------------------------------------------------

Content = dict[str, bytes]


def _altered(change: Callable[[Content], object]) -> Callable[[Path, Path], None]:
    def spoil(zipped: Path, target: Path) -> None:
        with zipfile.ZipFile(zipped) as source:
            content = {name: source.read(name) for name in source.namelist()}
        change(content)
        with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as out:
            for name, value in content.items():
                out.writestr(name, value)

    return spoil


def _manifest(key: str, value: object) -> Callable[[Content], None]:
    def change(content: Content) -> None:
        content["manifest.json"] = json.dumps(json.loads(content["manifest.json"]) | {key: value}).encode()

    return change


def _cut(zipped: Path, target: Path) -> None:
    target.write_bytes(zipped.read_bytes()[:-2000])


def _flip(zipped: Path, target: Path) -> None:
    content = bytearray(zipped.read_bytes())
    with zipfile.ZipFile(zipped) as source:
        at = source.getinfo("tables/grain.jsonl").header_offset + 200
    content[at] ^= 0xFF
    target.write_bytes(content)


def _twice(zipped: Path, target: Path) -> None:
    target.write_bytes(zipped.read_bytes())
    with zipfile.ZipFile(target, "a") as out, pytest.warns(UserWarning, match="Duplicate"):
        out.writestr("tables/grain.jsonl", "[]\n")


def _outside(content: Content) -> None:
    """A name that climbs out of every folder: it is looked up in the zip and found to be no file of a row."""
    content["../../outside.txt"] = b"out"
    content["tables/carried_file.jsonl"] = content["tables/carried_file.jsonl"].replace(b"files/", b"../../", 1)


def _orphan(content: Content) -> None:
    content["tables/grain.jsonl"] = content["tables/grain.jsonl"].splitlines(keepends=True)[0]
    told = json.loads(content["manifest.json"])
    told["tables"]["grain"] |= {"rows": 0, "sha256": hashlib.sha256(content["tables/grain.jsonl"]).hexdigest()}
    content["manifest.json"] = json.dumps(told).encode()


ALTERED = {
    "cut": (_cut, "damaged or was altered"),
    "flipped": (_flip, "damaged or was altered"),
    "a name twice": (_twice, "damaged or was altered"),
    "text": (lambda _z, t: t.write_text("hello"), "damaged or was altered"),
    "another zip": (_altered(lambda c: c.pop("manifest.json")), "not a whole book"),
    "another format": (_altered(_manifest("format", "letters")), "not a whole book"),
    "a newer format": (_altered(_manifest("format_version", 2)), "a newer Grainbook"),
    "a newer schema": (_altered(_manifest("schema", "9000")), "a newer Grainbook"),
    "no schema": (_altered(_manifest("schema", "base")), "damaged or was altered"),
    "no tables": (_altered(_manifest("tables", {})), "damaged or was altered"),
    "tables of no kind": (_altered(_manifest("tables", 7)), "damaged or was altered"),
    "a table gone": (_altered(lambda c: c.pop("tables/grain.jsonl")), "damaged or was altered"),
    "a file gone": (_altered(lambda c: c.pop(next(n for n in c if n.startswith("files/")))), "damaged or was altered"),
    "a row gone": (
        _altered(lambda c: c.update({"tables/grain.jsonl": c["tables/grain.jsonl"].rsplit(b"\n", 2)[0] + b"\n"})),
        "damaged or was altered",
    ),
    "a number changed": (
        _altered(
            lambda c: c.update(
                {
                    "tables/supply.jsonl": c["tables/supply.jsonl"]
                    .replace(b"25.0", b"26.0", 1)
                    .replace(b"5.0", b"6.0", 1)
                }
            )
        ),
        "damaged or was altered",
    ),
    "a path": (_altered(_outside), "damaged or was altered"),
    "grains gone from their motors": (_altered(_orphan), "damaged or was altered"),
}


@pytest.fixture(scope="module")
def tables_only(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A file with every table and no row."""
    file = tmp_path_factory.mktemp("tables") / "tables.sqlite3"
    upgrade(file)
    bookfile.settle(file)
    return file


@pytest.mark.promise(
    "An altered, damaged or bomb-like zip is refused, nothing changed", figure="20 kinds, and 12 by chance"
)
@pytest.mark.parametrize("kind", ALTERED)
def test_what_is_no_whole_zip_is_refused_and_nothing_is_changed(
    zipped: Path, new_book: Path, tmp_path: Path, tables_only: Path, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    monkeypatch.setattr(
        import_zip, "upgrade", lambda file, **_: shutil.copy(tables_only, file)
    )  # quicker, the same file
    spoil, words = ALTERED[kind]
    spoiled, book = tmp_path / "in" / "spoiled.zip", tmp_path / "in" / "book.sqlite3"
    spoiled.parent.mkdir()
    spoil(zipped, spoiled)
    book.write_bytes(new_book.read_bytes())
    with pytest.raises(Trouble, match=words):
        import_zip.import_book(spoiled, book, first_run.prepare)
    assert book.read_bytes() == new_book.read_bytes()
    assert {p.name.removesuffix("-wal").removesuffix("-shm") for p in tmp_path.rglob("*") if p.is_file()} == {
        "book.sqlite3",
        "spoiled.zip",
    }


@settings(max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.sampled_from(["flip", "cut", "twice"]), st.floats(0, 1), st.integers(1, 3000), st.booleans())
def test_whatever_befalls_its_bytes_a_zip_is_read_whole_or_refused(
    zipped: Path, demo: Path, tables_only: Path, tmp_path: Path, what: str, where: float, size: int, late: bool
) -> None:
    content = bytearray(zipped.read_bytes())
    first = content.index(b"PK\x01\x02") if late else 0  # the directory at the end, which tells where all is
    at = first + int(where * (len(content) - first - 1))
    if what == "flip":
        content[at] ^= 1 << size % 8
    elif what == "cut":
        del content[at : at + size]
    else:
        content[at:at] = content[at : at + size]
    spoiled, book = tmp_path / "spoiled.zip", tmp_path / "book.sqlite3"
    spoiled.write_bytes(content)
    bookfile.remove(book)
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(import_zip, "upgrade", lambda file, **_: file.exists() or shutil.copy(tables_only, file))
        try:
            import_zip.import_book(spoiled, book, first_run.prepare)
        except Trouble:
            assert not book.exists()
            return
    got, wanted = rows(book), rows(demo)
    assert {t: r for t, r in got.items() if t != "sqlite_master"} == {
        t: r for t, r in wanted.items() if t != "sqlite_master"
    }


def test_a_zip_bomb_is_refused_before_anything_is_unpacked(tmp_path: Path) -> None:
    bomb = tmp_path / "bomb.zip"
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as out, out.open("tables/grain.jsonl", "w") as entry:
        for _ in range(120):
            entry.write(bytes(1_000_000))
    assert bomb.stat().st_size < 200_000
    with pytest.raises(Trouble, match="which no book does"):
        import_zip.import_book(bomb, tmp_path / "book.sqlite3", first_run.prepare)


def test_a_zip_of_very_many_files_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(import_zip, "MOST_ENTRIES", 100)
    many = tmp_path / "many.zip"
    with zipfile.ZipFile(many, "w") as out:
        for number in range(101):
            out.writestr(f"{number}", b"")
    with pytest.raises(Trouble, match="which no book does"):
        import_zip.import_book(many, tmp_path / "book.sqlite3", first_run.prepare)


@pytest.mark.parametrize("fault", [TypeError("two arguments"), ValueError("not enough to unpack"), AttributeError("x")])
def test_a_fault_of_the_program_is_not_told_as_a_damaged_zip(
    zipped: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture, fault: Exception
) -> None:
    """The only zip of a lost book must not be thrown away for a slip of ours."""

    def slip(*_: object) -> None:
        raise fault

    monkeypatch.setattr(import_zip, "_insert", slip)
    with pytest.raises(
        Trouble, match=r"Grainbook itself failed .* need not be damaged\. Nothing was changed\."
    ) as told:
        import_zip.import_book(zipped, tmp_path / "book.sqlite3", first_run.prepare)
    assert "damaged or was altered" not in say(told.value.message)
    assert f"making a book of a zip: {type(fault).__name__} at import_zip.py" in caplog.text
    assert list(tmp_path.iterdir()) == []


def test_the_log_says_where_an_import_failed(
    zipped: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(import_zip, "_insert", lambda *_: 1 / 0)
    book = tmp_path / "book.sqlite3"
    assert main(["import", str(zipped), "--book", str(book)]) == 1
    assert f"The log, {tmp_path / 'book.log'}, says where it failed" in capsys.readouterr().err
    assert "making a book of a zip: ZeroDivisionError at" in (tmp_path / "book.log").read_text()


def test_a_line_without_an_end_is_not_read_into_memory(
    zipped: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(import_zip, "MOST_IN_ONE", 200)
    with pytest.raises(Trouble, match="damaged or was altered"):
        import_zip.import_book(zipped, tmp_path / "book.sqlite3", first_run.prepare)


def test_an_export_that_fails_leaves_nothing(demo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(system, "flush", full)
    with pytest.raises(Trouble, match="disk that holds the book is full"):
        export.write(demo, tmp_path / "book.zip")
    assert list(tmp_path.iterdir()) == []
