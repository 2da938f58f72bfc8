"""The checklist's pages and the gate, through a browser without script."""

import re
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from sqlmodel import col, select

from app import clock
from app.db import writing
from app.models import Checklist, ChecklistAnswer, ChecklistItem
from app.services.book import workshop
from app.services.cast import planning
from app.services.stock import batches
from tests import build
from tests.behind import engine_of
from tests.browse import Page, opened, saved
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


DONE = {"answer": "done", "number_1": "3", "number_2": "3"}
"""A line that is done; one with blanks takes as many of the numbers as it has."""


def answer_all(client: TestClient) -> str:
    """Start a checklist, answer line after line; gives the address to sign at."""
    client.post(f"{URL}/start")
    return answer_lines(client)


def answer_lines(client: TestClient) -> str:
    """Answer the list at hand line after line; gives the address to sign at."""
    page, count = client.get(URL).text, 0
    while lines := posts_of(page, "/line/"):
        answer = client.post(lines[0], data=DONE)
        assert answer.status_code == 200
        page, count = answer.text, count + 1
    assert count >= 15
    (sign,) = set(re.findall(r'href="([^"]*/sign)"', page))
    return str(sign)


def signed_by(page: str) -> bool:
    return "Signed by Ada" in page


def open_with(client: TestClient, number: str) -> tuple[int, str]:
    answer = client.post("/cast/2611P/open", data={"checklist_id": number})
    return answer.status_code, answer.text


def test_answer_sign_and_open(client: TestClient) -> None:
    with clock.turned_to(MORNING):
        sign = answer_all(client)
        page = client.post(sign, data={"person": "Ada", "place": "Shed"}).text
        assert "Signed by Ada" in page
        assert "holds until 13:00" in page
        assert 'way out, <strong class="said">3 m</strong> from the heat' in page
        assert posts_of(page, "/line/") == []
        assert "Open the session" in client.get("/plan/2611P").text
        number = re.search(r'name="checklist_id" value="(\d+)"', page)
        assert number is not None
        status, page = open_with(client, number[1])
        assert status == 200
        assert "The session is open." in page
        assert 'data-front="bowl-' in page  # the person comes to the bench
        assert "Ada" in client.get("/cast/2611P").text
        assert "The cast session of 2611P is open." in client.get(URL).text
        past = client.get(f"{URL}/{number[1]}").text
        assert "by Ada, Shed, 25 Nov 2026, 09:00" in past
        assert past.count("<td>done</td>") >= 15
        assert client.get(f"{URL}/99").status_code == 404


def test_a_line_left_open_is_not_signed(client: TestClient) -> None:
    client.post(f"{URL}/start")
    assert "lines have no answer yet" in client.get(f"{URL}/1/sign").text
    answer = client.post(f"{URL}/1/sign", data={"person": "Ada", "place": "Shed"})
    assert answer.status_code == 422
    assert "lines have no answer yet" in answer.text
    assert 'value="Ada"' in answer.text


def test_signing_needs_a_name_and_a_place(client: TestClient) -> None:
    """The place is asked for in words the first time, and stands there from then on."""
    sign = answer_all(client)
    answer = client.post(sign, data={"person": "Ada", "place": " "})
    assert signed_by(client.get(URL).text) is False
    assert (answer.status_code, signed_by(answer.text)) == (422, False)
    assert "Say where you work" in Page(answer.text).fault("place", "sign")
    answer = client.post(sign, data={"person": "  ", "place": "Shed"})
    assert answer.status_code == 422
    assert "Say who signs" in answer.text
    assert signed_by(client.post(sign, data={"person": "Ada", "place": "Shed"}).text)
    client.post(f"{URL}/anew", data={"why": "Somebody came in."})
    sign = sign.replace("/1/", "/2/")
    assert opened(client, sign).forms["sign"].fields["place"] == "Shed"
    answer_lines(client)
    saved(client, sign, {"person": "Ada", "place": "Yard"}, "sign")
    client.post(f"{URL}/anew", data={"why": "Somebody came in."})
    answer_lines(client)
    sign = sign.replace("/2/", "/3/")
    assert 'value="Yard" checked' in client.get(sign).text
    saved(client, sign, {"person": "Ada", "where": "Yard", "place": "Hall"}, "sign")
    assert "Signed by Ada, Hall" in client.get(URL).text


def test_not_applicable_needs_a_reason(client: TestClient) -> None:
    page = client.post(f"{URL}/start").text
    line = posts_of(page, "/line/")[0]
    answer = client.post(line, data={"answer": "na", "reason": "x"})
    assert answer.status_code == 422
    assert "why it does not apply" in answer.text
    assert 'value="x"' in answer.text
    client.post(line, data={"answer": "na", "reason": "Outdoors."})
    item = line.rsplit("/", 1)[1]
    assert "does not apply: Outdoors." in client.get(f"{URL}?line={item}").text
    assert "oes not apply: " not in client.post(line, data={"answer": "open"}).text
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
        client.post(answer_all(client), data={"person": "Ada", "place": "Shed"})
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
    assert 'progress value="0"' in client.get(URL).text


def test_starting_twice_makes_one(client: TestClient) -> None:
    client.post(f"{URL}/start")
    answer = client.post(f"{URL}/start")
    assert answer.status_code == 422
    assert "there already" in answer.text


def test_editing_the_plan_needs_a_new_checklist(client: TestClient) -> None:
    client.post(answer_all(client), data={"person": "Ada", "place": "Shed"})
    with writing(engine_of(client)) as session:
        batch = batches.by_code(session, "2611P")
        data = build.plan_in(session, 2, blend=batches.formula_of(session, batch))
        planning.edit(session, batch, data)
        session.commit()
    status, page = open_with(client, "1")
    assert (status, "voided (The plan was changed.)" in page) == (422, True)


# --- Numbers in the lines -------------------------------------------------------------------------


def the_line(client: TestClient, words: str) -> str:
    """The address that answers the line with these words."""
    with writing(engine_of(client)) as session:
        item = session.exec(select(ChecklistItem).where(col(ChecklistItem.words).contains(words))).one()
        return f"{URL}/{session.exec(select(Checklist.id).order_by(col(Checklist.id).desc())).first()}/line/{item.id}"


def test_a_line_with_a_number_takes_the_number_and_no_tick(client: TestClient) -> None:
    """Say what you see rather than "checked": Degani & Wiener 1993 (NASA CR-177549)."""
    client.post(f"{URL}/start")
    water = the_line(client, "Water for burns")
    page = client.get(f"{URL}?line={water.rsplit('/', 1)[1]}").text
    field = re.search(r'<input id="line-number_1"[^>]*>', page)
    assert field is not None
    assert 'inputmode="decimal"' in field[0]
    assert 'aria-describedby="line-number_1-unit"' in field[0]
    assert re.search(r'<label for="line-number_1"[^>]*>[^<]*… °C</label>', page)
    for typed, said in (
        ("", "type the number that you see"),
        ("luke", "is not a temperature"),
        ("12 g", "goes with a mass"),
    ):
        answer = client.post(water, data={"answer": "done", "number_1": typed})
        assert answer.status_code == 422
        assert said in answer.text
        assert f'value="{typed}"' in answer.text
        assert 'aria-describedby="line-number_1-unit line-number_1-error" aria-invalid="true"' in answer.text
    assert client.post(water, data={"answer": "done", "number_1": "18"}).status_code == 200
    assert '<strong class="said">18 °C</strong>' in client.get(f"{URL}?line={water.rsplit('/', 1)[1]}").text


def test_a_number_of_another_unit_is_kept_as_typed_with_the_lines_own_beside_it(client: TestClient) -> None:
    client.post(f"{URL}/start")
    water = the_line(client, "Water for burns")
    client.post(water, data={"answer": "done", "number_1": "68 °F"})
    assert '<strong class="said">68 °F (20 °C)</strong>' in client.get(f"{URL}?line={water.rsplit('/', 1)[1]}").text
    with writing(engine_of(client)) as session:
        (said,) = session.exec(select(ChecklistAnswer)).one().numbers
        assert (said.typed, said.kind) == ("68 °F", "temperature")
        assert said.si == pytest.approx(293.15)  # exact by definition of the scales


def test_in_feet_and_degrees_fahrenheit_the_line_asks_in_them(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        house = workshop.get(session)
        house.temperature_unit, house.altitude_unit, house.length_unit = "°F", "ft", "in"
        session.commit()
    client.post(f"{URL}/start")
    for words, typed, said in (("Water for burns", "68", "68 °F"), ("An extinguisher", "10", "10 ft")):
        line = the_line(client, words)
        assert client.post(line, data={"answer": "done", "number_1": typed}).status_code == 200
        assert f'<strong class="said">{said}</strong>' in client.get(f"{URL}?line={line.rsplit('/', 1)[1]}").text


def test_what_was_seen_the_last_times_stands_beside_the_field(client: TestClient) -> None:
    with clock.turned_to(MORNING) as turn:
        for number, degrees in enumerate(("18", "17.5")):
            client.post(f"{URL}/anew" if number else f"{URL}/start", data={"why": "Another look."})
            water = the_line(client, "Water for burns")
            client.post(water, data={**DONE, "number_1": degrees})
            page = client.get(URL).text
            while lines := posts_of(page, "/line/"):
                page = client.post(lines[0], data=DONE).text
            sign = re.search(r'href="([^"]*/sign)"', page)
            assert sign is not None
            assert "Signed by Ada" in client.post(sign[1], data={"person": "Ada", "place": "Shed"}).text
            turn(MORNING + timedelta(minutes=5))
        client.post(f"{URL}/anew", data={"why": "A third look."})
        water = the_line(client, "Water for burns")
        page = client.get(f"{URL}?line={water.rsplit('/', 1)[1]}").text
    before = re.search(r'<p id="before"[^>]*>(.*?)</p>', page, re.DOTALL)
    assert before is not None
    assert re.sub(r"<[^>]+>", "", before[1]) == "Last time 17.5 °C (25 Nov 2026); 18 °C (25 Nov 2026)"
    assert 'aria-describedby="line-number_1-unit before"' in page


# --- Signing is an act of its own -----------------------------------------------------------------


def test_the_list_has_no_form_that_signs_and_the_signature_no_name_that_a_key_could_send(client: TestClient) -> None:
    """What holds without script: Enter pressed on through the list comes to no button that signs."""
    with writing(engine_of(client)) as session:
        workshop.get(session).person = "Ada"
        session.commit()
    sign = answer_all(client)
    assert posts_of(client.get(URL).text, "/sign") == []
    page = client.get(sign).text
    assert "autofocus" not in client.get(URL).text + page
    form = page[page.index(f'action="{sign}"') :]
    first = re.search(r"<button[^>]*>", form)
    assert first is not None
    assert "name=" not in first[0], "Enter in a field presses the first button of the form"
    assert 'name="person" value=""' in form
    answer = client.post(sign, data={"person": "", "place": "Shed"})
    assert (answer.status_code, "Say who signs" in answer.text) == (422, True)
    answer = client.post(sign, data={"person": "Eve", "chosen": "Ada", "place": "Shed"})
    assert (answer.status_code, "Eve" in answer.text) == (422, True)
    assert "Signed by Ada" in client.post(sign, data={"person": "", "chosen": "Ada", "place": "Shed"}).text
