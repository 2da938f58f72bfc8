"""The run sheet's pages without script: the workshop's edition, the sheets for paper, and their entry."""

import re
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient

from app import clock
from app.db import writing
from app.services.cast import casting, pan
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


@pytest.fixture
def weighed(client: TestClient) -> None:
    """A session opened and weighed out at noon."""
    with clock.turned_to(NOON), writing(engine_of(client)) as session:
        build.weighed_batch(session, planned_for="2026-11-25")
        session.commit()


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
    (first, *_) = re.findall(r"<li><strong>Place:</strong> ([^<]+)</li>", lines)
    assert first in page
    for words in ("Melt the sorbitol", "+18", "+90", "104–121", "2611P-04", "Test pieces"):
        assert words in page
    assert page.count('class="tick"') == lines.count("<li><strong>") + 13
    assert 'href="/cast/2611P/sheet"' in client.get("/cast").text


def test_a_sheet_is_entered_afterwards(client: TestClient, weighed: None) -> None:
    url = "/cast/2611P/paper"
    with clock.turned_to(NOON + timedelta(hours=3)):
        form = opened(client, url).forms["form"]
        assert len([name for name in form.fields if name.endswith("step_id")]) == 13
        wrong = {"steps.0.at": minutes_on(5), "steps.1.at": minutes_on(2)}
        assert "after this. Correct that one first" in refused(client, url, wrong).fault("steps.1.at")
        typed = {f"steps.{i}.at": minutes_on(5 * (i + 1)) for i in range(7)}
        typed |= {"readings.1.at": minutes_on(12), "readings.1.temperature": "238 F", "readings.2.at": "soon"}
        page = refused(client, url, typed)
        assert page.fault("readings.2.temperature") == "Type a temperature, such as 118 C."
        typed |= {"readings.2.temperature": "240 F"}
        assert "Type a time" in refused(client, url, typed).fault("readings.2.at")
        typed |= {"readings.2.at": minutes_on(20)}
        assert saved(client, url, typed) == "/cast/2611P"
        page_text = client.get("/cast/2611P").text
    assert "Entered afterwards, 9 lines: From paper." in page_text
    with writing(engine_of(client)) as session:
        batch = batches.by_code(session, "2611P")
        assert casting.poured_at(session, batch) == NOON + timedelta(minutes=35)
        typed_texts = [r.temperature_typed for r in pan.readings(session, casting.the_open(session, batch))]
    assert typed_texts == ["240 F", "238 F"]


def test_a_batch_without_a_session_has_nothing_to_enter(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        build.batch(session, planned_for="2026-11-25")
        session.commit()
    assert "No step of an open session waits" in client.get("/cast/2611P/paper").text
    assert client.get("/cast/26Z9/paper").status_code == 404
    assert client.get("/cast/26Z9/sheet").status_code == 404
