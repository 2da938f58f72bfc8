"""The run sheet's pages without script: the workshop's edition, the sheets for paper, and their entry."""

import html
import re
from datetime import timedelta

from fastapi.testclient import TestClient

from app import clock
from app.db import writing
from app.models import ChecklistEdition
from app.services.cast import casting, editions, pan
from app.services.grains import grains
from app.services.stock import batches
from tests import build
from tests.behind import engine_of
from tests.browse import opened, refused, saved
from tests.moment import wall

NOON = wall("2026-11-25T12:00")
SHEET = "/workshop/runsheet"


def minutes_on(minutes: int) -> str:
    """What the bench's clock shows so long after noon."""
    return f"{clock.local(NOON + timedelta(minutes=minutes)):%Y-%m-%d %H:%M}"


def test_a_line_is_changed_into_a_new_edition(client: TestClient) -> None:
    assert f'href="{SHEET}"' in client.get("/workshop").text
    form = opened(client, SHEET).forms["form"]
    pull = next(name for name, text in form.fields.items() if text == "90 min").removesuffix(".wait")
    assert saved(client, SHEET, {f"{pull}.wait": "1,75 h", "note": "Thicker grains."}) == SHEET
    page = client.get(SHEET).text
    assert 'value="105 min"' in page
    assert "Edition 2" in page
    assert "Thicker grains." in page
    assert "Saving makes edition 3" in page


def test_a_fault_stands_beside_its_line_and_keeps_what_was_typed(client: TestClient) -> None:
    form = opened(client, SHEET).forms["form"]
    line = next(name for name, text in form.fields.items() if text == "18 min").removesuffix(".wait")
    for typed, fault in (("-3", "at least 0 min"), ("5 mm", "goes with a length"), ("soon", "is not a time")):
        assert fault in refused(client, SHEET, {f"{line}.wait": typed}).fault(f"{line}.wait")
    assert "counted from" in refused(client, SHEET, {f"{line}.after": ""}).fault(f"{line}.after")
    pour = next(name for name, text in form.fields.items() if text == "pour" and name.endswith(".kind"))
    band = {pour.replace("kind", "pan_high"): "300 F"}
    assert "workshop's own limit" in refused(client, SHEET, band).fault(pour.replace("kind", "pan_high"))
    page = refused(client, SHEET, {pour: "other"})
    assert "“Pour” is missing" in page.texts["main"]


def test_two_tabs_make_one_edition(client: TestClient) -> None:
    first, second = opened(client, SHEET).forms["form"], opened(client, SHEET).forms["form"]
    for form, status in ((first, 303), (second, 409)):
        answer = client.post(SHEET, data={**form.fields, "lines.0.words": f"Weigh. {status}"}, follow_redirects=False)
        assert answer.status_code == status
    assert "Edition 2" in answer.text


def test_the_sheets_for_paper(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        build.batch(session, planned_for="2026-11-25")
        session.commit()
    page = client.get("/cast/2611P/sheet").text
    assert "Checklist before anything is hot" in page
    lines = client.get("/workshop/checklist").text
    (first, *_) = re.findall(r"<li><strong>What hurts worst:</strong> ([^<]+)</li>", lines)
    assert first in page
    for words in ("Melt the sorbitol", "+18", "+90", "104–121", "2611P-04", "Test pieces"):
        assert words in page
    assert page.count('class="tick"') == lines.count("<li><strong>") + 13
    assert 'href="/cast/2611P/sheet"' in client.get("/cast").text


def test_each_melt_of_the_evening_is_a_sheet_with_what_comes_again_before_it(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        for _ in range(3):
            build.batch(session, 2, planned_for="2026-11-25")
        build.batch(session, 2, planned_for="2026-11-26")
        again = [item.words for item in editions.now_used(session, ChecklistEdition).lines if item.again]
        session.commit()
    assert len(again) >= 6
    page = client.get("/cast/2611Q/sheet").text
    sheets = page.split('<section class="paper melt"')[1:]
    assert [re.findall(r"2611[P-Z]", sheet)[0] for sheet in sheets] == ["2611P", "2611Q", "2611R"]
    for number, sheet in enumerate(sheets):
        found = [html.unescape(one) for one in re.findall(r"<li>([^<]+)</li>", sheet)]
        assert found == (again if number else [])
        orders = [sheet.index(words) for words in ("Weigh out", "Usual minute", "between the steps", "Grains, weighed")]
        assert orders == sorted(orders)
    alone = client.get("/cast/2611Q/sheet?alone=true").text
    assert alone.count('<section class="paper melt"') == 1
    assert "Melt 2: lot 2611Q" in alone


def test_a_sheet_is_entered_afterwards_in_its_order(client: TestClient) -> None:
    with clock.turned_to(NOON), writing(engine_of(client)) as session:
        batch = build.batch(session, 2, planned_for="2026-11-25")
        build.opened_session(session, batch)
        targets = [f"{part.target_kg * 1000:.0f} g" for part in batch.parts]
        session.commit()
    url = "/cast/2611P/paper"
    with clock.turned_to(NOON + timedelta(hours=3)):
        page = opened(client, url)
        form = page.forms["form"]
        kinds = [name.split(".")[0] for name in form.fields if "." in name]
        assert list(dict.fromkeys(kinds)) == ["bowls", "steps", "readings", "grains"]  # the order of the sheet
        assert [form.fields[f"bowls.{i}.bag"] for i in range(3)] == sorted(
            form.fields[f"bowls.{i}.bag"] for i in range(3)
        )
        assert [form.fields[f"grains.{i}.number"] for i in range(2)] == ["1", "2"]
        assert "Nothing is filled in yet" in refused(client, url, {}).texts["main"]
        early = {f"steps.{i}.at": minutes_on(5 * (i + 1)) for i in range(7)}
        assert "Not weighed yet" in refused(client, url, early).fault("steps.0.at")
        typed = {f"bowls.{i}.mass": mass for i, mass in enumerate(targets)} | early
        wrong = {**typed, "bowls.0.bag": "no such bag"}
        assert "by its mark" in refused(client, url, wrong).fault("bowls.0.bag")
        assert "after this. Correct that one first" in refused(
            client, url, {**typed, "steps.1.at": minutes_on(2)}
        ).fault("steps.1.at")
        typed |= {"steps.5.temperature": "241 F", "readings.1.at": minutes_on(12), "readings.1.temperature": "238 F"}
        assert "Type a time" in refused(client, url, {**typed, "readings.1.at": "soon"}).fault("readings.1.at")
        far = refused(client, url, {**typed, "grains.0.gross": "20 g"})
        assert far.fault("grains.0.gross")
        assert client.get("/cast/2611P").text.count("Entered afterwards") == 0  # nothing is entered by halves
        typed |= {"grains.0.gross": "181 g", "grains.1.gross": "183 g", "grains.1.note": "A bubble at the end."}
        assert saved(client, url, typed) == "/cast/2611P"
        after = client.get("/cast/2611P").text
        left = opened(client, url).forms["form"].fields
    assert "Entered afterwards, 13 lines: From paper." in after
    assert not [name for name in left if name.startswith(("bowls.", "grains."))]
    with writing(engine_of(client)) as session:
        batch = batches.by_code(session, "2611P")
        assert casting.poured_at(session, batch) == NOON + timedelta(minutes=35)
        readings = pan.readings(session, casting.the_open(session, batch))
        assert [r.temperature_typed for r in readings] == ["241 F", "238 F"]
        weighed = [view.grain.gross_typed for view in grains.of_batch(session, batch)]
    assert weighed == ["181 g", "183 g"]


def test_a_batch_without_a_session_has_nothing_to_enter(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        build.batch(session, planned_for="2026-11-25")
        session.commit()
    assert "Nothing of an open session waits" in client.get("/cast/2611P/paper").text
    assert client.get("/cast/26Z9/paper").status_code == 404
    assert client.get("/cast/26Z9/sheet").status_code == 404
