"""The cast session's pages, through a browser without script."""

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session

from app import clock
from app.db import writing
from app.models import Batch, CastStep
from app.services.cast import casting
from app.services.stock import batches
from tests import build
from tests.behind import engine_of
from tests.browse import Page
from tests.moment import wall

NOON = wall("2026-11-25T12:00")
URL = "/cast/2611P"


@pytest.fixture
def opened(client: TestClient) -> None:
    """A session opened, nothing weighed yet."""
    with writing(engine_of(client)) as session:
        build.opened_session(session, build.batch(session, planned_for="2026-11-25"))
        session.commit()


@pytest.fixture
def cast(client: TestClient) -> None:
    """A session weighed out and poured at noon."""
    with clock.turned_to(NOON), writing(engine_of(client)) as session:
        build.cast(session, planned_for="2026-11-25")
        session.commit()


def form_of(page: str, form_id: str) -> tuple[str, dict[str, str]]:
    """Address and hidden texts of a form on the page."""
    found = re.search(rf'<form method="post" action="([^"]+)" id="{form_id}".*?</form>', page, re.S)
    assert found is not None, f"no form {form_id}"
    hidden = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', found[0]))
    return found[1], hidden


def first_id(page: str, kind: str) -> str:
    """Identifier of the first form of a kind."""
    found = re.search(rf'id="({kind}-\d+)"', page)
    assert found is not None, f"no form of kind {kind}"
    return found[1]


def batch_of(client: TestClient) -> dict[str, float]:
    with writing(engine_of(client)) as session:
        batch: Batch = batches.by_code(session, "2611P")
        return {part.ingredient or "": batches.weighed(session, batch)[part.pk] for part in batch.parts}


def test_cautions_stand_folded_at_the_act_in_front_below_one_strong_line(client: TestClient, opened: None) -> None:
    page = client.get(URL).text
    (fold,) = re.findall(r'<details class="caution">.*?</details>', page[: page.index("<h2")], re.S)
    assert fold in page[page.index('id="watch"') : page.index('id="evening"')]
    assert "<summary>Own dry bowl each. Never ground together.</summary>" in fold, "the act in front is weighing out"
    for words in ("never a flame", "own oxygen", "cool running water", "Local law"):
        assert words in fold
    url, hidden = form_of(page, "test-pieces-form")
    page = client.post(url, data={**hidden, "test_pieces": "0 g"}).text
    url, hidden = form_of(page, "close-form")
    page = client.post(url, data={**hidden, "why": "Only looked."}).text
    assert "The session is closed." in page
    assert 'id="evening"' not in page, "nothing was done: there is nothing to draw"
    assert 'class="bench"' in page
    assert f'href="{URL}/grains"' in page


def test_the_air_in_words_and_its_correction(client: TestClient, opened: None) -> None:
    assert "Unknown so far" in client.get(URL).text
    url, hidden = form_of(client.get(URL).text, "air-form")
    page = client.post(url, data={**hidden, "air_temperature": "9 C", "humidity": "71 %"}).text
    assert "9 C, 71 % humid" in page
    assert "Damp air" in page
    assert "Damp for this blend from 54 % on." in page
    assert "product rule" in page
    url, hidden = form_of(page, "air-form")
    typed = {**hidden, "air_temperature": "9 C", "humidity": "61 %"}
    refused = client.post(url, data=typed)
    assert refused.status_code == 422
    assert "71 % was measured" in refused.text
    assert 'value="61 %"' in refused.text
    page = client.post(url, data={**typed, "why": "Misread."}).text
    assert "9 C, 61 % humid" in page


def test_weigh_out_in_words(client: TestClient, opened: None) -> None:
    page = client.get(URL).text
    assert page.count("not weighed yet") == 3
    url, hidden = form_of(page, first_id(page, "weigh"))
    page = client.post(url, data={**hidden, "supply_id": "1", "mass": "475 g"}).text
    assert re.search(r'tolerance-out">\+\d+\.\d g: over by \d+\.\d %', page)
    url, hidden = form_of(page, first_id(page, "strike"))
    assert client.post(url, data={**hidden, "why": ""}).status_code == 422
    page = client.post(url, data={**hidden, "why": "Wrong bowl."}).text
    assert "struck out: Wrong bowl." in page
    assert batch_of(client)["potassium_nitrate"] == 0


@pytest.mark.parametrize(
    ("mass", "bag", "words"),
    [
        ("-5 g", "1", "more than 0 g"),
        ("0", "1", "more than 0 g"),
        ("5 mm", "1", "goes with a length"),
        ("", "1", "Type a mass"),
        ("900 kg", "1", "at most 100000 g"),
        ("15 kg", "1", "correct it under Supplies"),
        ("5 g", "", "Choose one"),
        ("5 g", "2", "holds sorbitol, not potassium nitrate"),
    ],
)
def test_bad_weights(client: TestClient, opened: None, mass: str, bag: str, words: str) -> None:
    page = client.get(URL).text
    url, hidden = form_of(page, first_id(page, "weigh"))
    answer = client.post(url, data={**hidden, "supply_id": bag, "mass": mass})
    assert answer.status_code == 422
    assert words in answer.text
    if mass:
        assert f'value="{mass}"' in answer.text
    assert batch_of(client)["potassium_nitrate"] == 0


def test_double_click_and_second_tab_book_once(client: TestClient, opened: None) -> None:
    first, second = client.get(URL).text, client.get(URL).text
    form_id = first_id(first, "weigh")
    url, hidden = form_of(first, form_id)
    half = {"supply_id": "1", "mass": "100 g", "sure.likely.mass": "100 g"}
    data = {**hidden, **half}
    assert "Booked." in client.post(url, data=data).text
    assert "not saved a second time" in client.post(url, data=data).text
    url, hidden = form_of(second, form_id)
    answer = client.post(url, data={**hidden, **half})
    assert answer.status_code == 409
    assert "another tab" in answer.text
    assert batch_of(client)["potassium_nitrate"] == pytest.approx(0.1)


def test_steps_are_ticked_skipped_and_taken_back(client: TestClient, opened: None) -> None:
    page = client.get(URL).text
    url, hidden = form_of(page, first_id(page, "done"))
    answer = client.post(url, data={**hidden, "act": "done"})
    assert answer.status_code == 422
    assert "Not weighed yet: Potassium nitrate, Sorbitol, Sucrose" in answer.text
    url, hidden = form_of(page, first_id(page, "skip"))
    assert "why it is skipped" in client.post(url, data={**hidden, "act": "skip", "why": ""}).text
    page = client.post(url, data={**hidden, "act": "skip", "why": "Weighed at home."}).text
    assert "Skipped: Weighed at home." in page
    url, hidden = form_of(page, first_id(page, "undo"))
    page = client.post(url, data={**hidden, "act": "undo"}).text
    assert "Skipped: Weighed at home." not in page
    assert "Undone" in page


def test_a_later_step_is_refused_in_words(client: TestClient, cast: None) -> None:
    with clock.turned_to(NOON + timedelta(minutes=4)):
        page = client.get(URL).text
        url, _ = form_of(page, first_id(page, "done"))
        step = int(url.split("/")[-1]) + 2
        with Session(engine_of(client)) as session:
            version = session.get_one(CastStep, step).version
        answer = client.post(f"{url.rpartition('/')[0]}/{step}", data={"act": "done", "version": str(version)})
        assert answer.status_code == 422
        assert "comes first" in answer.text


def test_two_tabs_tick_one_step_once(client: TestClient, cast: None) -> None:
    with clock.turned_to(NOON + timedelta(minutes=4)) as turn:
        first, second = client.get(URL).text, client.get(URL).text
        url, hidden = form_of(first, first_id(first, "done"))
        client.post(url, data={**hidden, "act": "done"})
        turn(NOON + timedelta(minutes=9))
        url, hidden = form_of(second, first_id(second, "done"))
        answer = client.post(url, data={**hidden, "act": "done"})
        assert answer.status_code == 422
        assert f"ticked already, at {clock.local(NOON + timedelta(minutes=4)):%H:%M}" in answer.text


def test_due_and_late_by_the_servers_clock(client: TestClient, cast: None) -> None:
    at = f"{clock.local(NOON + timedelta(minutes=3)):%H:%M}"
    with clock.turned_to(NOON + timedelta(minutes=1)) as turn:
        assert f'<span class="due">at {at}</span>' in client.get(URL).text
        turn(NOON + timedelta(minutes=10))
        assert "late by 7 min" in client.get(URL).text
        assert "late by 7 min" in client.get("/").text
        assert "late by 7 min" in client.get("/cast").text


def test_temperatures_warn(client: TestClient, opened: None) -> None:
    def read(typed: str) -> str:
        url, hidden = form_of(client.get(URL).text, "temperature-form")
        answer = client.post(url, data={**hidden, "temperature": typed})
        return answer.text

    assert "in the band" in read("118 C")
    assert "below the band" in read("200 F")
    page = read("260 F")
    assert "Above the limit of 250 °F. Heat off now" in page
    assert 'role="alert"' in page
    assert "goes with a mass" in read("118 g")
    assert "above the limit" in read("118,5 C")  # the earlier reading stays marked in the list


def test_close_and_reopen(client: TestClient, cast: None) -> None:
    def send(form_id: str, **texts: str) -> str:
        url, hidden = form_of(client.get(URL).text, form_id)
        return client.post(url, data={**hidden, **texts}).text

    with clock.turned_to(NOON + timedelta(hours=1)):
        _close_and_reopen(client, send)


def _close_and_reopen(client: TestClient, send: Callable[..., str]) -> None:
    assert "test pieces first" in send("close-form")
    send("test-pieces-form", test_pieces="9,5 g")
    assert "6 steps are still open" in send("close-form")
    assert "was weighed into the pan" in send("leftover-form", mark="Rest", mass="5 kg")
    assert "Rest" in send("leftover-form", mark="Rest", mass="30 g")
    page = send("close-form", why="Cores pulled next morning.")
    assert "The session is closed." in page
    assert "Reopening needs a new checklist" in page
    assert 'id="temperature-form"' not in page
    assert client.post(f"{URL}/temperature", data={"temperature": "118 C"}).status_code == 422
    assert client.post(f"{URL}/open", data={"checklist_id": "1"}).status_code == 422
    with writing(engine_of(client)) as session:
        batch = batches.by_code(session, "2611P")
        cast = casting.find(session, batch)
        assert cast is not None
        assert cast.closed_at is not None
        checklist = build.checklist(session, batch).pk
        session.commit()
    assert "The session is open." in client.post(f"{URL}/open", data={"checklist_id": str(checklist)}).text


def test_notes_keep_their_moment(client: TestClient, opened: None) -> None:
    url, hidden = form_of(client.get(URL).text, "note-form")
    page = client.post(url, data={**hidden, "words": "Melt a little <dark>."}).text
    assert "Melt a little &lt;dark&gt;." in page


def test_lists(client: TestClient, opened: None) -> None:
    page = client.get("/cast").text
    assert "2611P" in page
    assert "Open now" in page


def test_the_timers_as_every_device_is_told_them(client: TestClient, cast: None) -> None:
    now, due = NOON + timedelta(minutes=1), NOON + timedelta(minutes=3)
    with clock.turned_to(now):
        told = client.get("/timers").json()
        page = client.get(URL).text
    assert told["now"] == now.isoformat()
    assert now.isoformat().endswith("+00:00"), "moments go out in UTC, whatever zone a device is set to"
    assert [(t["code"], t["due"]) for t in told["timers"]] == [("2611P", due.isoformat())]
    assert f'data-mark="{told["mark"]}"' in page
    assert f'data-due="{due.isoformat()}"' in page
    assert f'data-now="{now.isoformat()}"' in page


def test_a_time_is_corrected_with_a_reason(client: TestClient, cast: None) -> None:
    wall = {minute: f"{clock.local(NOON + timedelta(minutes=minute)):%Y-%m-%d %H:%M}" for minute in (2, 4, 9)}
    with clock.turned_to(NOON + timedelta(minutes=10)):
        page = client.get(URL).text
        form_id = re.findall(r'id="(time-\d+)"', page)[-1]  # the next step: the cores
        url, hidden = form_of(page, form_id)
        answer = client.post(url, data={**hidden, "at": wall[2], "why": ""})
        assert answer.status_code == 422
        assert f'value="{wall[2]}"' in answer.text
        page = client.post(url, data={**hidden, "at": wall[4], "why": "Forgot to tap."}).text
        assert f"Done at {wall[4][-5:]}" in page
        url, hidden = form_of(page, form_id)
        page = client.post(url, data={**hidden, "at": wall[2], "why": "By the paper."}).text
        assert f"Done at {wall[2][-5:]}" in page
        assert f"it was {wall[4][-5:]}. By the paper." in page
        stale = client.post(url, data={**hidden, "at": wall[9], "why": "From another tab.", "once": "x"})
        assert stale.status_code == 409


def test_a_second_set_and_its_turn(client: TestClient, cast: None) -> None:
    with clock.turned_to(NOON + timedelta(minutes=4)):
        url, hidden = form_of(client.get(URL).text, "set-form")
        assert client.post(url, data={**hidden, "moulds": ""}).status_code == 422
        page = client.post(url, data={**hidden, "moulds": "2 <small> ones"}).text
        assert "In this set: 2 &lt;small&gt; ones." in page
        assert "Set 1: Set the coring rods" in page
        url, hidden = form_of(page, "drop-set-form")
        page = client.post(url, data=hidden).text
        assert "The set is taken out." in page
        assert "In this set" not in page


def test_overnight_is_told_loudly(client: TestClient, cast: None) -> None:
    with clock.turned_to(NOON + timedelta(days=1)):
        for page in (client.get("/").text, client.get("/cast").text, client.get(URL).text):
            assert re.search("eft open overnight", page)
        url, hidden = form_of(client.get(URL).text, "test-pieces-form")
        client.post(url, data={**hidden, "test_pieces": "0 g"})
        url, hidden = form_of(client.get(URL).text, "close-form")
        assert client.post(url, data={**hidden, "why": ""}).status_code == 422
        assert "The session is closed." in client.post(url, data={**hidden, "why": "Cores pulled at 14:00."}).text
        assert "overnight" not in client.get("/").text


def test_the_unit_is_switched_on_the_spot(client: TestClient, opened: None) -> None:
    page = client.get(URL).text
    assert "Work from 104 to 121 °C" in page
    url, hidden = form_of(page, "temperature-form")
    page = client.post(url, data={**hidden, "temperature": "242", "unit": "°F"}).text
    assert "242 °F" in page
    assert "Inside the working band (220 °F to 250 °F)." in page
    assert '<option value="°F" selected>°F</option>' in page
    assert "Pan 220 to 250 °F." in page
    url, hidden = form_of(page, "temperature-form")
    page = client.post(url, data={**hidden, "temperature": "abc", "unit": "°C"}).text
    assert "is not a temperature" in page
    assert 'value="abc"' in page
    page = client.post(url, data={**hidden, "temperature": "119", "unit": "°C"}).text
    assert "242 °F" in page  # the earlier reading stays as it was typed
    assert "119 °C at 12:00" in re.sub(r"\s+", " ", page), "the strip speaks the thermometer's degrees"
    assert "Limit: 121 °C." in page
    assert page.count('class="drawing ') == 2, "time line and strip"
    assert "Pan 104 to 121 °C." in page


def test_the_page_knows_the_grains_weighed_and_what_comes_after_closing(client: TestClient) -> None:
    with clock.turned_to(NOON) as turn, writing(engine_of(client)) as session:
        batch = build.cast(session, planned_for="2026-11-25", until="bag")
        session.commit()
        before = client.get(URL).text
        assert "Weigh the grains, then close the session." in before
        assert "0.0 g in 0 grains" in before
        turn(NOON + timedelta(minutes=5))
        mass = sum(build.grain(session, batch).mass_kg for _ in range(4))
        session.commit()
        page = client.get(URL).text
        assert "The grains are weighed: tell what is left, then close the session." in page
        assert f"Weighed: 4 of 4 planned, {mass * 1000:.1f} g." in page
        assert f"{mass * 1000:.1f} g in 4 grains" in page
        url, hidden = form_of(page, "test-pieces-form")
        client.post(url, data={**hidden, "test_pieces": "10 g"})
        url, hidden = form_of(client.get(URL).text, "close-form")
        assert 'href="/labels?lot=2611P"' in client.post(url, data=hidden).text


def test_a_weighed_amount_with_a_slipped_decimal_sign_is_asked_about(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        batch = build.batch(session, planned_for="2026-11-25")
        bag = build.supply(session, "sorbitol", "9 kg").pk
        build.opened_session(session, batch)
        part = next(part for part in batch.parts if part.ingredient == "sorbitol")
        form_id, typed = f"weigh-{part.pk}", {"mass": f"{part.target_kg * 10_000:.0f}", "supply_id": str(bag)}
        session.commit()
    page = client.get(URL).text
    assert Page(page).forms[form_id].answers == {}
    url, hidden = form_of(page, form_id)
    page = client.post(url, data={**hidden, **typed}).text
    assert "Did you mean" in page
    asked = Page(page).forms[form_id]
    assert "Booked." in client.post(url, data=asked.answered(f"{typed['mass']} g, as typed")).text
