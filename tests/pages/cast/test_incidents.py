"""An incident or near miss: two taps at the pan, written out later, a line proposed for the checklist, never erased."""

import re

import pytest
from fastapi.testclient import TestClient
from sqlmodel import select

from app import clock
from app.db import writing
from app.models import Batch, Incident
from app.services.cast import cautions
from tests import build
from tests.behind import engine_of
from tests.browse import Page
from tests.moment import wall

URL = "/cast/2611P"
NOON = wall("2026-11-25T12:00")


@pytest.fixture
def opened(client: TestClient) -> None:
    """A session opened, nothing weighed yet."""
    with writing(engine_of(client)) as session:
        build.opened_session(session, build.batch(session, planned_for="2026-11-25"))
        session.commit()


def told(client: TestClient) -> list[Incident]:
    with writing(engine_of(client)) as session:
        found = list(session.exec(select(Incident)))
        session.expunge_all()
        return found


def tap(client: TestClient, what: str, **more: str) -> str:
    answer = client.post(f"{URL}/incident", data={"what": what, **more})
    assert answer.status_code == 200
    return answer.text


@pytest.mark.promise("An incident is told in two taps during an evening", figure="open the panel, press what it was")
def test_two_taps_keep_what_when_who_and_where(client: TestClient, opened: None) -> None:
    page = client.get(URL).text
    panel = page[page.index('<details class="happened') :]
    panel = panel[: panel.index("</details>")]
    assert cautions.BURNS in panel
    buttons = re.findall(r'<button name="what" value="([^"]+)">([^<]+)</button>', panel)
    assert len(buttons) == 14
    assert not re.search(r'<(input (?!type="hidden")|select|textarea)', panel), "nothing is typed"
    with clock.turned_to(NOON):
        page = tap(client, "incident:burn")
    assert "The whole checklist is due again before anything new is heated." in page
    assert re.search(r"12:00: Incident: burn", page)
    (row,) = told(client)
    assert (row.kind, row.sort, row.person, row.happened_at) == ("incident", "burn", "Ada", NOON)
    assert (row.cast_session_id, row.batch_id, row.written_at) == (1, 1, None)


def test_a_near_miss_makes_nothing_due(client: TestClient, opened: None) -> None:
    page = tap(client, "near miss:spill")
    notice = Page(page).texts["notice"]
    assert "Kept" in notice
    assert "due again" not in notice


def test_a_tap_without_a_kind_keeps_nothing(client: TestClient, opened: None) -> None:
    assert client.post(f"{URL}/incident", data={"what": "incident:flood"}).status_code == 422
    assert client.post(f"{URL}/incident", data={}).status_code == 422
    assert told(client) == []


def test_the_same_tap_twice_is_one(client: TestClient, opened: None) -> None:
    hidden = Page(client.get(URL).text).forms["incident-form"].fields
    for _ in range(2):
        assert client.post(f"{URL}/incident", data={**hidden, "what": "incident:hot"}).status_code == 200
    assert len(told(client)) == 1


def test_it_is_written_out_later_and_proposes_a_line(client: TestClient, opened: None) -> None:
    tap(client, "near miss:dropped")
    assert "written out: no" in client.get("/").text
    assert "written out: no" in client.get("/workshop").text
    assert "written out: no" in client.get("/workshop/incidents").text
    url = "/workshop/incidents/1"
    page = client.get(url).text
    assert cautions.BURNS in page
    assert client.post(url, data={"sort": "dropped", "words": ""}).status_code == 422
    typed = {
        "sort": "dropped",
        "words": "The funnel fell into the pan.",
        "lesson": "Hang it up first.",
        "line": "The funnel hangs on its hook.",
    }
    page = client.post(url, data=typed).text
    assert "/workshop/checklist?line=The%20funnel%20hangs%20on%20its%20hook." in page
    for other in ("/", "/workshop"):
        assert "written out: no" not in client.get(other).text
    listed = client.get("/workshop/incidents").text
    assert "The funnel fell into the pan." in listed
    assert "Hang it up first." in listed


def test_a_line_that_stands_in_the_list_is_proposed_no_more(client: TestClient, opened: None) -> None:
    tap(client, "near miss:other")
    standing = cautions.FIRST_CHECKLIST["Material"][0].words.upper().replace(" ", "  ").rstrip(".")
    page = client.post("/workshop/incidents/1", data={"sort": "other", "words": "It was off.", "line": standing}).text
    assert "stands in the checklist" in page
    assert "/workshop/checklist?line=" not in page


def test_it_is_written_anew_only_with_a_reason_and_what_stood_stays(client: TestClient, opened: None) -> None:
    tap(client, "incident:spill")
    url = "/workshop/incidents/1"
    client.post(url, data={"sort": "spill", "words": "Hot mix on the plate."})
    refused = client.post(url, data={"sort": "spill", "words": "Hot mix on the floor."})
    assert refused.status_code == 422
    assert "why it is written anew" in Page(refused.text).fault("why")
    assert "Hot mix on the floor." in refused.text
    page = client.post(url, data={"sort": "spill", "words": "Hot mix on the floor.", "why": "It was the floor."}).text
    assert re.search(r"<s>Hot mix on the plate\.</s>", page)
    assert "It was the floor." in page


def test_it_is_voided_with_a_reason_and_stays_readable(client: TestClient, opened: None) -> None:
    tap(client, "incident:fire")
    assert client.post("/workshop/incidents/1/void", data={"why": ""}).status_code == 422
    page = client.post("/workshop/incidents/1/void", data={"why": "A glove on the glass."}).text
    assert "A glove on the glass." in page
    assert 'id="form"' not in page
    assert re.search(r"<s>\d\d:\d\d: Incident: fire</s> A glove on the glass\.", client.get(URL).text)
    assert "<s>Incident: fire</s>" in client.get("/workshop/incidents").text
    assert "written out: no" not in client.get("/").text
    assert client.post("/workshop/incidents/1/void", data={"why": "Once more."}).status_code in (409, 422)
    assert client.post("/workshop/incidents/1", data={"sort": "fire", "words": "It burned."}).status_code in (409, 422)


def test_a_slip_is_taken_back_at_the_pan_within_its_minute(client: TestClient, opened: None) -> None:
    tap(client, "incident:burn")
    assert "Undo" in client.get(URL).text
    page = client.post(f"{URL}/incident/1/void", data={"why": "Undone within a minute."}).text
    assert "Undone within a minute." in page
    assert told(client)[0].voided_at is not None


def test_it_is_voided_only_on_the_page_of_its_own_melt(client: TestClient, opened: None) -> None:
    tap(client, "incident:burn")
    with writing(engine_of(client)) as session:
        first = session.get_one(Batch, 1)
        session.add(Batch(**{**first.model_dump(), "id": None, "code": "2611Q", "state": "planned"}))
        session.commit()
    assert client.post("/cast/2611Q/incident/1/void", data={"why": "Not here.", "version": "1"}).status_code == 404


def test_one_is_told_afterwards_but_not_before_it_happened(client: TestClient, opened: None) -> None:
    typed = {"kind": "near miss", "sort": "smoke", "happened_at": "2026-11-20T19:30", "words": "The pan foamed."}
    with clock.turned_to(NOON):
        refused = client.post("/workshop/incidents", data={**typed, "happened_at": "2026-11-26T19:30"})
        assert refused.status_code == 422
        assert "still to come" in Page(refused.text).fault("happened_at")
        assert "The pan foamed." in refused.text
        assert client.post("/workshop/incidents", data=typed).status_code == 200
    (row,) = told(client)
    assert row.happened_at == wall("2026-11-20T19:30")
    assert row.written_at is not None
    assert row.cast_session_id is None
