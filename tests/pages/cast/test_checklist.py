"""The checklist's pages and the gate, through a browser without script."""

import re
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient

from app import clock
from app.db import writing
from app.services.cast import planning
from app.services.stock import batches
from tests import build
from tests.behind import engine_of
from tests.moment import wall

MORNING = wall("2026-11-25T09:00")
URL = "/plan/2611P/checklist"


@pytest.fixture(autouse=True)
def book(client: TestClient) -> None:
    """A planned batch with what it needs on the shelf."""
    with writing(engine_of(client)) as session:
        batch = build.batch(session, planned_for="2026-11-25")
        build.stock(session, batch)
        session.commit()


def posts_of(page: str, words: str) -> list[str]:
    """Addresses of the forms on a page whose address has these words."""
    return list(dict.fromkeys(re.findall(rf'action="([^"]*{words}[^"]*)"', page)))


def answer_all(client: TestClient) -> str:
    """Start a checklist, tick every line; gives the address to sign at."""
    page = client.post(f"{URL}/start").text
    lines = posts_of(page, "/line/")
    assert len(lines) >= 15
    for line in lines:
        assert client.post(line, data={"answer": "done"}).status_code == 200
    return posts_of(client.get(URL).text, "/sign")[0]


def open_with(client: TestClient, number: str) -> tuple[int, str]:
    answer = client.post("/cast/2611P/open", data={"checklist_id": number})
    return answer.status_code, answer.text


def test_answer_sign_and_open(client: TestClient) -> None:
    with clock.turned_to(MORNING):
        sign = answer_all(client)
        page = client.post(sign, data={"person": "Ada"}).text
        assert "Signed by Ada" in page
        assert "holds until 13:00" in page
        assert posts_of(page, "/line/") == []
        assert "Open the session" in client.get("/plan/2611P").text
        number = re.search(r'name="checklist_id" value="(\d+)"', page)
        assert number is not None
        status, page = open_with(client, number[1])
        assert status == 200
        assert "The session is open." in page
        assert "Ada" in page
        assert "The cast session of 2611P is open." in client.get(URL).text
        past = client.get(f"{URL}/{number[1]}").text
        assert "by Ada, 25 Nov 2026, 09:00" in past
        assert past.count("<td>done</td>") >= 15
        assert client.get(f"{URL}/99").status_code == 404


def test_a_line_left_open_is_not_signed(client: TestClient) -> None:
    page = client.post(f"{URL}/start").text
    sign = posts_of(page, "/sign")[0]
    answer = client.post(sign, data={"person": "Ada"})
    assert answer.status_code == 422
    assert "lines have no answer yet" in answer.text
    assert 'value="Ada"' in answer.text


def test_signing_needs_a_name(client: TestClient) -> None:
    sign = answer_all(client)
    answer = client.post(sign, data={"person": "  "})
    assert answer.status_code == 422
    assert "Write at least 1 character" in answer.text or "Fill this in" in answer.text


def test_not_applicable_needs_a_reason(client: TestClient) -> None:
    page = client.post(f"{URL}/start").text
    line = posts_of(page, "/line/")[0]
    answer = client.post(line, data={"answer": "na", "reason": "x"})
    assert answer.status_code == 422
    assert "why it does not apply" in answer.text
    assert 'value="x"' in answer.text
    assert "Does not apply: Outdoors." in client.post(line, data={"answer": "na", "reason": "Outdoors."}).text
    assert "Does not apply: Outdoors." not in client.post(line, data={"answer": "open"}).text
    assert client.post(line, data={"answer": "maybe"}).status_code == 422


def test_the_gate_is_not_a_hidden_button(client: TestClient) -> None:
    status, page = open_with(client, "1")
    assert (status, "no checklist" in page) == (422, True)
    client.post(f"{URL}/start")
    status, page = open_with(client, "1")
    assert (status, "not complete" in page) == (422, True)
    assert "is not open" in client.get("/cast/2611P").text
    assert client.post("/cast/2611P/temperature", data={"temperature": "118 C"}).status_code == 422


def test_a_checklist_that_is_too_old(client: TestClient) -> None:
    with clock.turned_to(MORNING) as turn:
        client.post(answer_all(client), data={"person": "Ada"})
        turn(MORNING + timedelta(hours=4, minutes=1))
        page = client.get(URL).text
        assert "held until 13:00" in page
        assert posts_of(page, "/cast/2611P/open") == []
        status, page = open_with(client, "1")
        assert (status, "held until 13:00" in page) == (422, True)
        page = client.post(f"{URL}/anew", data={"why": "Too old."}).text
        assert "Start the checklist" not in page
        assert "voided" in page


def test_a_stale_tab_ticks_nothing_in_the_new_list(client: TestClient) -> None:
    page = client.post(f"{URL}/start").text
    old_line = posts_of(page, "/line/")[0]
    client.post(f"{URL}/anew", data={"why": "Somebody came in."})
    answer = client.post(old_line, data={"answer": "done"})
    assert answer.status_code == 422
    assert "was voided (Somebody came in.)" in answer.text
    assert "0 of " in client.get(URL).text


def test_starting_twice_makes_one(client: TestClient) -> None:
    client.post(f"{URL}/start")
    answer = client.post(f"{URL}/start")
    assert answer.status_code == 422
    assert "there already" in answer.text


def test_editing_the_plan_needs_a_new_checklist(client: TestClient) -> None:
    client.post(answer_all(client), data={"person": "Ada"})
    with writing(engine_of(client)) as session:
        batch = batches.by_code(session, "2611P")
        data = build.plan_in(session, 2, blend=batches.formula_of(session, batch))
        planning.edit(session, batch, data)
        session.commit()
    status, page = open_with(client, "1")
    assert (status, "voided (The plan was changed.)" in page) == (422, True)
