"""What stood before: on each row's page, on the page of all changes; and who is at the bench."""

import re

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import event

from app.db import writing
from app.models import CastStep
from app.models.cast import CloseIn
from app.services.book import audit_reasons, workshop
from app.services.cast import casting
from tests import build
from tests.behind import engine_of
from tests.browse import Page


def named(client: TestClient, name: str = "Ada") -> None:
    with writing(engine_of(client)) as session:
        workshop.get(session).person = name
        session.commit()


def enter(client: TestClient, address: str, form: str = "form", **more: str) -> str:
    """Fill a form in and send it; the page that comes back."""
    page = Page(client.get(address).text)
    sent = client.post(page.forms[form].action, data=page.forms[form].fields | more)
    return sent.text


def test_a_bag_s_page_tells_what_stood_there_before(client: TestClient) -> None:
    named(client)
    enter(client, "/workshop/supplies/new", ingredient="sorbitol", mark="B7", mass="5 kg", received_on="2026-01-05")
    assert "none was replaced" in client.get("/workshop/supplies/1").text
    enter(client, "/workshop/supplies/1", mass="11 lb", why="weighed again")
    page = client.get("/workshop/supplies/1").text
    assert "changed 1 time" in page
    assert "Mass received: <s>5 kg</s> → 11 lb" in page
    assert "weighed again" in page
    row = re.search(r"<tr><td[^>]*>[^<]*</td><td>Ada</td>", page)
    assert row, "who and when"


def test_all_changes_newest_first_and_by_noun(client: TestClient) -> None:
    named(client)
    for noun, form in (
        ("rods", {"name": "Rod", "diameter": "10 mm"}),
        (
            "rockets",
            {"name": "Kestrel", "mass": "1 kg", "diameter": "54 mm", "drag_coefficient": "0.5", "note": "Red."},
        ),
    ):
        enter(client, f"/workshop/{noun}/new", **form)
    enter(client, "/workshop/rods/1", diameter="11 mm")
    enter(client, "/workshop/rockets/1", note="Repainted.")
    enter(client, "/workshop/rods/1", note="Polished.")
    page = client.get("/workshop/changes").text
    assert page.index("Repainted.") < page.index("→ 11.00 mm")
    assert '<a href="/workshop/rods/1">Rod</a>' in page
    only = client.get("/workshop/changes?noun=coring_rod").text
    assert "→ 11.00 mm" in only
    assert "Repainted." not in only
    assert ">entered<" in client.get("/workshop/changes?noun=coring_rod&what=entered").text.replace("\n", "")
    assert "Polished." not in page, "what was only filled in is told if it is asked for"
    assert "Note: Polished. <small>(was empty)" in client.get("/workshop/changes?what=filled").text
    assert client.get("/workshop/changes?noun=nonsense&before=x").status_code == 422
    assert "Nothing of that" in client.get("/workshop/changes?noun=nonsense").text


def test_the_filter_says_what_stands_there_when_nothing_is_chosen(client: TestClient) -> None:
    page = client.get("/workshop/changes").text
    assert '<option value="">any entry</option>' in page
    assert '<option value="">replaced or deleted</option>' in page
    assert "may stay empty" not in page
    asked = client.get("/workshop/changes?noun=coring_rod&what=deleted").text
    assert "Only these. Entry: Coring rod; What happened: an entry was deleted." in asked
    assert '<a class="button" href="/workshop/changes">Show all changes</a>' in asked


def test_how_a_session_came_in_is_no_change_of_it(client: TestClient) -> None:
    """A cast session is written closed and opened in the same act: nobody saw it closed."""
    with writing(engine_of(client)) as session:
        with audit_reasons.signed(session, "Ada"):
            lot = build.batch(session)
        with audit_reasons.signed(session, "Ada"):
            opened = build.opened_session(session, lot)
        with audit_reasons.signed(session, "Ada"):
            lot.test_pieces_kg = 0.0
            casting.close(session, lot, CloseIn(why="Only opened."))
        with audit_reasons.signed(session, "Ada"):
            build.opened_session(session, lot)
        assert opened.closed_at is None
        session.commit()
    page = client.get("/workshop/changes?noun=cast_session").text
    assert page.count("Closed: ") == 1, "reopened it was, once"
    assert "planned</s> → casting" in client.get("/workshop/changes?noun=batch").text


@pytest.mark.promise("Only what nothing refers to is deleted; the record keeps the row")
def test_a_deleted_row_stays_readable(client: TestClient) -> None:
    enter(client, "/workshop/rods/new", name="Rod", diameter="10 mm", note="Bent.")
    enter(client, "/workshop/rods/1", "away")
    assert client.get("/workshop/rods/1").status_code == 404
    page = client.get("/workshop/changes?what=deleted").text
    assert "Name: Rod; Diameter: 10.00 mm; Note: Bent." in page
    assert "/workshop/rods/1" not in page, "there is no page to go to"


def test_many_changes_come_page_by_page(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        bag = build.supply(session, note="First.")
        for n in range(130):
            bag.note = f"Note number {n}."
            session.flush()
        session.commit()
    seen: list[str] = []
    address = "/workshop/changes"
    for _ in range(3):
        page = client.get(address).text
        seen += re.findall(r"→ (Note number \d+)\.", page)
        found = re.search(r'href="([^"]+)">Earlier changes', page)
        address = found[1].replace("&amp;", "&") if found else ""
    assert seen == [f"Note number {n}" for n in reversed(range(130))]
    assert not address


def test_each_device_knows_who_is_at_its_bench(client: TestClient) -> None:
    assert "no name in the book yet" in client.get("/workshop/bench").text
    named(client)
    assert 'At the bench: <a href="/workshop/bench">Ada</a>' in client.get("/").text
    enter(client, "/workshop/people/new", name="Bert")
    enter(client, "/workshop/bench", "bench", at_bench="Bert")
    assert ">Bert</a>" in client.get("/").text
    enter(client, "/workshop/rods/new", name="Rod", diameter="10 mm")
    enter(client, "/workshop/rods/1", diameter="11 mm")
    assert "<td>Bert</td>" in client.get("/workshop/changes?noun=coring_rod").text
    client.cookies.delete("at_bench")
    client.cookies.set("at_bench", "Mallory")
    assert ">Ada</a>" in client.get("/").text, "a name the book does not know signs nothing"


def test_a_name_that_is_not_in_the_book_is_refused(client: TestClient) -> None:
    named(client)
    page = client.post("/workshop/bench", data={"once": "x", "at_bench": "Mallory"})
    assert page.status_code == 422
    assert "add it to the people first" in page.text
    assert "at_bench" not in page.cookies


def test_a_name_signed_in_a_form_goes_first(client: TestClient) -> None:
    """Who decides signs the decision, whoever the device takes for its own."""
    named(client)
    with writing(engine_of(client)) as session:
        grain = build.grain(session, build.cast(session), decision=None)
        serial = grain.serial
        session.commit()
    enter(client, f"/shelf/{serial}", "decide", decision="hold", why="a chip", person="Bert")
    page = client.get(f"/shelf/{serial}").text
    told = re.search(r"<td>Bert</td>\s*<td><ul>.*?Decision: hold", page, re.S)
    assert told
    assert "a chip" in page


@pytest.mark.promise("What was measured changes or is emptied with a reason only")
def test_a_measured_value_changes_with_a_reason_only(client: TestClient) -> None:
    enter(client, "/workshop/supplies/new", ingredient="sorbitol", mark="B7", mass="5 kg", received_on="2026-01-05")
    page = enter(client, "/workshop/supplies/1", mass="4 kg")
    assert "5 kg was measured and stands in the book" in page
    assert 'value="4 kg"' in page, "what was typed is kept"
    assert "none was replaced" in client.get("/workshop/supplies/1").text
    enter(client, "/workshop/supplies/1", mass="5000 g", note="moved")
    enter(client, "/workshop/supplies/1", mass="4 kg", why="the scale was off")
    assert "→ 4 kg" in client.get("/workshop/supplies/1").text


def test_settings_and_formulas_tell_what_they_were(client: TestClient) -> None:
    named(client)
    enter(client, "/workshop/settings", cure="10 days", why="damp winter")
    page = client.get("/workshop/settings").text
    assert "Cure for: <s>7.00 days</s> → 10.0 days" in page or "Cure for:" in page
    assert "damp winter" in page
    parts = {"parts.0.ingredient": "potassium nitrate", "parts.0.percent": "65", "parts.1.ingredient": "sorbitol"}
    enter(client, "/workshop/formulas/new", name="Plain", **parts, **{"parts.1.percent": "35"})
    other = {"parts.0.percent": "66", "parts.1.percent": "34"}
    enter(client, "/workshop/formulas/1", **other, why="drier")
    page = client.get("/workshop/formulas/1").text
    gone = "Part of a formula Plain v1, sorbitol, deleted: Formula: Plain v1; Ingredient: sorbitol; Fraction: 0.35"
    assert gone in page
    assert "drier" in page


def test_the_name_at_the_bench_stands_in_the_forms_that_are_signed(client: TestClient) -> None:
    """The checklist, the decision and the steps of this device carry the name it was told, not the settings' own."""
    named(client)
    enter(client, "/workshop/people/new", name="Bert")
    enter(client, "/workshop/bench", "bench", at_bench="Bert")
    with writing(engine_of(client)) as session:
        cast = build.cast(session, until="pour")
        code = cast.code
        grain = build.grain(session, cast, decision=None)
        serial = grain.serial
        session.commit()
    assert Page(client.get(f"/shelf/{serial}").text).forms["decide"].fields["person"] == "Bert"
    forms = Page(client.get(f"/cast/{code}").text).forms
    done = next(name for name in forms if name.startswith("done-"))
    client.post(forms[done].action, data=forms[done].fields | {"act": "done"})
    with writing(engine_of(client)) as session:
        step = session.get(CastStep, int(done.removeprefix("done-")))
        assert step is not None
        assert step.person == "Bert"


def test_what_another_program_wrote_into_the_record_breaks_no_page(client: TestClient) -> None:
    """A table that is no more, no JSON, no moment: shown as it stands."""
    with writing(engine_of(client)) as session:
        bag = build.supply(session)
        written = [
            ("gone", "mass_kg", "nonsense"),
            ("supply", "received_on", '"yesterday"'),
            ("supply", "mass_kg", '{"a": 1}'),
            ("weigh_out", "supply_id", '"two"'),
        ]
        for table, column, before in written:
            session.connection().exec_driver_sql(
                "INSERT INTO change (at, who, why, what, table_name, row_id, column_name, before, after)"
                " VALUES ('2026-11-25 12:00:00.000000', '', '', 'changed', ?, ?, ?, ?, '5')",
                (table, bag.pk, column, before),
            )
        session.connection().exec_driver_sql(
            "INSERT INTO change (at, who, why, what, table_name, row_id, column_name, before)"
            " VALUES ('2026-11-25 12:00:00.000000', '', '', 'deleted', 'gone', 1, '', '{\"mass_kg\": 2}')"
        )
        session.commit()
    page = client.get("/workshop/changes").text
    for words in ("nonsense", "yesterday", "two", "Mass: 2", "another program"):
        assert words in page
    assert "yesterday" in client.get("/workshop/supplies/1").text


def test_a_page_of_the_record_asks_the_book_a_few_times_only(client: TestClient) -> None:
    """The names of all rows on it are looked up together, not one by one."""
    with writing(engine_of(client)) as session:
        for _ in range(3):
            build.cast(session)
        session.commit()
    asked: list[str] = []

    def count(_connection: object, _cursor: object, statement: str, *_rest: object) -> None:
        asked.append(statement)

    event.listen(engine_of(client), "before_cursor_execute", count)
    try:
        page = client.get("/workshop/changes?what=filled").text
    finally:
        event.remove(engine_of(client), "before_cursor_execute", count)
    assert page.count("<tr>") > 40
    assert len(asked) < 30
