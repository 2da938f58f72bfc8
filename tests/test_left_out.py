"""A book with values that cannot be read opens all the same: each page shows the rest and names what it lacks."""

import random
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import NamedTuple

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine
from sqlmodel import select

from app import unread
from app.book import bookfile, chain, left_out
from app.db import open_engine, reading, writing
from app.main import create_app
from app.models import Supply
from app.settings import Settings
from app.stored_shapes import shapes
from tests import addresses, junk
from tests.behind import book_of, browser_of, copied_with_files, engine_of, unsynced
from tests.browse import Page
from tests.junk import Junk

FIRST = "rowid = (SELECT min(rowid) FROM {table})"
LAST = "rowid = (SELECT max(rowid) FROM {table})"
NO_DATE = Junk("supply", "received_on", "not a date", "not a date")
BANNER = "Part of the book cannot be read"


class Base(NamedTuple):
    """The demonstration book with a row behind every page, and the rows that the addresses name."""

    book: Path
    rows: addresses.Rows

    def all_pages(self) -> list[str]:
        """Every page, and what answers figures and files, but for whole copies."""
        copies = ("/workshop/copy", "/workshop/everything")
        others = [address for address in addresses.NO_PAGES.values() if address not in copies]
        return [address.format(**self.rows) for address in [*addresses.pages(), *others]]


@pytest.fixture(scope="module")
def base(tmp_path_factory: pytest.TempPathFactory, demo_book: Path) -> Base:
    """Looked at only."""
    book = tmp_path_factory.mktemp("base") / "book.sqlite3"
    copied_with_files(demo_book, book)
    engine = unsynced(open_engine(book))
    addresses.complete(engine)
    found = addresses.rows(engine)
    engine.dispose()
    bookfile.settle(book)
    return Base(book, found)


Open = Callable[..., TestClient]


@pytest.fixture
def opened(base: Base, tmp_path: Path) -> Iterator[Open]:
    """Opens a copy of the book with this junk in it, as the start does."""
    clients: list[TestClient] = []

    def start(*every: Junk, where: str = FIRST) -> TestClient:
        book = tmp_path / f"{len(clients)}.sqlite3"
        copied_with_files(base.book, book)
        with junk.behind(book) as connection:
            for one in every:
                junk.put(connection, one, where)
        app = create_app(Settings(book=book))
        unsynced(engine_of(app))
        client = browser_of(app, raise_server_exceptions=False)
        clients.append(client)
        client.__enter__()
        return client

    yield start
    for client in clients:
        client.__exit__(None, None, None)
        engine_of(client).dispose()


def failing(client: TestClient, pages: list[str]) -> list[tuple[str, int]]:
    """The pages that do not answer."""
    return [(page, code) for page in pages if (code := client.get(page).status_code) >= 500]


# --- One bad row -----------------------------------------------------------------------------------------


@pytest.mark.promise(
    "A page that meets a row that cannot be read shows the others and names it",
    figure="by entry, field and what stands there",
)
def test_a_page_shows_the_other_rows_and_names_the_one_it_could_not_read(opened: Open) -> None:
    client = opened(NO_DATE)
    with closing(sqlite3.connect(book_of(client))) as connection:
        bags = [mark for (mark,) in connection.execute("SELECT mark FROM supply ORDER BY id")]
    page = client.get("/workshop/supplies")
    assert page.status_code == 200
    assert BANNER in page.text
    assert f"Bag “{bags[0]}” (row 1), “Received on”: “not a date” stands there; expected was a day" in page.text
    shown = page.text[page.text.index("<h1") :]
    assert bags[0] not in shown
    assert all(bag in shown for bag in bags[1:])


def test_its_own_page_is_not_there_and_says_why(opened: Open) -> None:
    client = opened(NO_DATE)
    page = client.get("/workshop/supplies/1")
    assert page.status_code == 404
    assert "“Received on”: “not a date” stands there" in page.text


def test_a_sound_book_says_nothing_and_hides_nothing(opened: Open) -> None:
    client = opened()
    assert BANNER not in client.get("/").text
    assert not left_out.of(engine_of(client)).look(shapes())
    assert left_out.of(engine_of(client)).count == 0


def test_a_whole_that_lacks_a_part_is_left_out_too(opened: Open) -> None:
    """A formula without one of its ingredients would be another formula, and its motors other motors."""
    client = opened(Junk("formula_part", "ingredient", "unknown", "unobtainium"))
    with closing(sqlite3.connect(book_of(client))) as connection:
        formula, name = connection.execute(
            "SELECT f.id, f.name FROM formula f JOIN formula_part p ON p.formula_id = f.id ORDER BY p.id"
        ).fetchone()
        motors = {
            code
            for (code,) in connection.execute(
                "SELECT m.code FROM motor_build m JOIN build_grain b ON b.motor_build_id = m.id "
                "JOIN grain g ON g.id = b.grain_id JOIN batch ON batch.id = g.batch_id WHERE batch.formula_id = ?",
                (formula,),
            )
        }
    assert motors
    assert client.get(f"/workshop/formulas/{formula}").status_code == 404
    assert {client.get(f"/motors/{code}").status_code for code in motors} == {404}
    assert "unobtainium" in client.get("/workshop/formulas").text
    assert name


def test_nothing_is_written_on_what_is_left_out(opened: Open) -> None:
    client = opened(NO_DATE)
    book = book_of(client)

    def stands() -> list[tuple[object, ...]]:
        with closing(sqlite3.connect(book)) as connection:
            return connection.execute("SELECT * FROM supply WHERE id = 1").fetchall()

    before = stands()
    page = Page(client.get("/workshop/supplies/new").text)
    fields = page.forms["form"].fields if "form" in page.forms else next(iter(page.forms.values())).fields
    bag = {"ingredient": "sorbitol", "mark": "S-new", "mass": "1 kg", "received_on": "2026-11-01"}
    assert client.get("/workshop/supplies").status_code == 200
    refused = client.post("/workshop/supplies/1", data=dict(fields) | bag, follow_redirects=False)
    assert refused.status_code == 404
    saved = client.post("/workshop/supplies/new", data=dict(fields) | bag, follow_redirects=False)
    assert saved.status_code == 303
    assert "S-new" in client.get("/workshop/supplies").text
    with (
        pytest.raises(Exception, match="a row that cannot be read is not written on"),
        writing(engine_of(client)) as session,
    ):
        session.connection().exec_driver_sql("UPDATE main.supply SET note = 'x'")
    assert stands() == before


def test_the_record_stays_whole_while_a_row_is_left_out(opened: Open) -> None:
    client = opened(NO_DATE)
    client.get("/workshop/supplies")
    page = Page(client.get("/workshop/rods/new").text)
    fields = next(form.fields for address, form in page.forms.items() if address in ("form", "/workshop/rods/new"))
    answer = client.post("/workshop/rods/new", data=dict(fields) | {"name": "Thin", "diameter": "9 mm"})
    assert answer.status_code == 200
    with bookfile.opened(book_of(client)) as connection:
        assert list(chain.misfits(connection)) == []
        assert [s.row_id for s in chain.strays(connection, "supply")] == [1]  # what was changed behind the record


def test_what_is_typed_stays_where_a_save_stumbles(opened: Open) -> None:
    client = opened()
    page = Page(client.get("/workshop/supplies/new").text)
    fields = next(f.fields for address, f in page.forms.items() if address in ("form", "/workshop/supplies/new"))
    with junk.behind(book_of(client)) as connection:
        junk.put(connection, Junk("workshop", "created_at", "not a date", "not a date"))
    bag = {"ingredient": "sorbitol", "mark": "S-new", "mass": "1 kg", "received_on": "2026-11-01"}
    refused = client.post("/workshop/supplies/new", data=dict(fields) | bag, follow_redirects=False)
    assert refused.status_code == 409
    assert 'value="S-new"' in refused.text
    assert "this was not saved" in refused.text
    again = client.post("/workshop/supplies/new", data=dict(fields) | bag, follow_redirects=False)
    assert again.status_code == 303


def test_of_the_settings_only_the_value_is_left_out(opened: Open) -> None:
    client = opened(Junk("workshop", "mass_unit", "unknown", "stone"))
    page = client.get("/workshop/supplies")
    assert page.status_code == 200
    assert "“stone” stands there" in client.get("/workshop/settings").text


def test_what_is_mended_comes_back(opened: Open) -> None:
    client = opened(NO_DATE)
    client.get("/workshop/supplies")
    with junk.behind(book_of(client)) as connection:
        connection.execute("UPDATE supply SET received_on = '2026-11-01' WHERE id = 1")
    left = left_out.of(engine_of(client))
    assert left.look(shapes())
    assert left.count == 0
    assert client.get("/workshop/supplies/1").status_code == 200
    with reading(engine_of(client)) as session:
        assert session.exec(select(Supply).where(Supply.id == 1)).one()


# --- The start -------------------------------------------------------------------------------------------


@pytest.mark.promise("A book with junk at every batch is opened all the same", figure="days, moments, texts, numbers")
@pytest.mark.parametrize(
    "one",
    [
        Junk("batch", "planned_for", "not a date", "not a date"),
        Junk("batch", "created_at", "not a date", "yesterday"),
        Junk("cast_session", "closed_at", "not a date", "not a date"),
        Junk("session_opening", "opened_at", "not a date", "not a date"),
        Junk("checklist", "completed_at", "not a date", "not a date"),
        Junk("batch", "note", "bad UTF-8", junk.NOT_UTF_8),
        Junk("batch", "target_mass_kg", "text in a number", "abc"),
        Junk("firing", "fired_at", "not a date", "not a date"),
        Junk("curve", "result_json", "half a text", "{"),
        Junk("workshop", "checklist_valid_s", "text in a number", "abc"),
    ],
    ids=lambda one: f"{one.table}.{one.column}",
)
def test_the_start_comes_up_with_junk_in_every_row(opened: Open, one: Junk) -> None:
    client = opened(one, where="1")
    pages = ["/", "/plan", "/cast", "/shelf", "/motors", "/firings", "/review", "/workshop", "/help"]
    assert failing(client, pages) == []
    left_out.of(engine_of(client)).look(shapes())
    assert failing(client, pages) == []
    assert BANNER in client.get("/").text


def test_what_no_page_stumbles_over_is_found_once_the_book_is_open(
    opened: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = opened(Junk("own_distance", "single_m", "text in a number", "abc"), NO_DATE)
    monkeypatch.setattr(unread, "AFTER_S", 0.0)
    assert BANNER not in client.get("/help").text
    unread.later(engine_of(client)).join()
    assert "“not a date” stands there" in client.get("/help").text


# --- Every page ------------------------------------------------------------------------------------------

TABLES = sorted({one.table for one in junk.every(but=("act_in_hand", "change_link", "row_digest"))})


def test_every_table_is_tried() -> None:
    assert len(TABLES) > 50


@pytest.mark.promise(
    "No page fails, whatever stands in a row",
    figure="8 values of any kind in any column at once, on every page; `--long`: 40 more, each by itself",
)
def test_no_page_fails_with_junk_in_any_column(opened: Open, base: Base, request: pytest.FixtureRequest) -> None:
    """Eight at once here; `--long` puts forty more into a book of their own each, which is asked for every page."""
    chance = random.Random(13)
    every = [one for one in junk.every(but=("act_in_hand", "change_link", "row_digest")) if one.table != "change"]
    for number in range(41 if request.config.getoption("--long") else 1):
        picked = chance.sample(every, 1 if number else 8)
        client = opened(*picked, where=chance.choice((FIRST, LAST)))
        assert failing(client, base.all_pages()) == [], [str(one) for one in picked]


@pytest.mark.parametrize(
    "where", [pytest.param(FIRST, id="first", marks=pytest.mark.long), pytest.param(LAST, id="last")]
)
def test_no_page_fails_without_a_row_of_any_table(
    opened: Open, base: Base, request: pytest.FixtureRequest, where: str
) -> None:
    """What hangs on a row goes with it, and every page must do without; `--long` goes through all tables one by one."""
    dated = [Junk(table, "created_at", "not a date", "not a date") for table in TABLES if _dated(table)]
    few = [random.Random(5).sample(dated, 4)]
    for together in [[one] for one in dated] if request.config.getoption("--long") else few:
        client = opened(*together, where=where)
        left_out.of(engine_of(client)).look(shapes())
        assert failing(client, base.all_pages()) == [], [one.table for one in together]


def _dated(table: str) -> bool:
    return any(one.table == table and one.column == "created_at" for one in junk.every())


def test_an_engine_without_junk_hides_nothing_and_writes_as_ever(engine: Engine) -> None:
    with engine.connect() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM sqlite_temp_master").scalar() == 0
