"""The bench view of an evening of several melts: what is in front is chosen over all of them, and nothing is hidden."""

import re
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from app import clock
from app.db import writing
from app.models import Batch, CastSession, SessionNote
from app.models.batch import TestPiecesIn
from app.models.cast import NoteIn, StepIn, TemperatureIn
from app.services.cast import casting, leftovers, pan, steps
from app.services.stock import batches
from tests import build
from tests.behind import engine_of
from tests.browse import opened
from tests.moment import wall
from tests.pages.bench.test_bench import front, sent, told

EVENING = wall("2026-11-25T18:00")
MINUTE = timedelta(minutes=1)
BENCH = "/bench/1"
Turn = Callable[[datetime], None]


@pytest.fixture
def turn() -> Iterator[Turn]:
    with clock.turned_to(EVENING, runs=True) as further:
        yield further


@pytest.fixture
def two(client: TestClient, turn: Turn) -> None:
    """2611P is weighed out, 2611Q is a further melt of its evening."""
    with writing(engine_of(client)) as session:
        first = build.weighed_batch(session, 2, planned_for="2026-11-25")
        join(session, first)
        session.commit()


def join(session: Session, first: Batch, weighed: bool = False) -> Batch:
    lot = build.batch(session, 2, planned_for="2026-11-25")
    build.joined(session, lot, casting.the_open(session, first).evening)
    if weighed:
        build.weighed_out(session, lot)
    return lot


def does(client: TestClient, code: str, until: str) -> None:
    with writing(engine_of(client)) as session:
        melt = casting.the_open(session, batches.by_code(session, code))
        for step in melt.steps:
            if step.done_at is None:
                steps.record(session, melt, step.pk, StepIn(act="done"), "Ada")
            if step.key == until:
                break
        session.commit()


def text_of(client: TestClient, show: str = "") -> str:
    page = client.get(f"{BENCH}?show={show}" if show else BENCH).text
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page[page.index('<section id="bench"') :]))


def heading(client: TestClient) -> str:
    found = re.search(r"<h1>(\w+)</h1>", client.get(BENCH).text[client.get(BENCH).text.index('id="bench"') :])
    assert found is not None
    return found[1]


def test_the_further_melt_is_weighed_out_before_anything_is_hot(client: TestClient, two: None) -> None:
    does(client, "2611P", "weigh")
    assert heading(client) == "2611Q"
    assert front(client.get(BENCH)).startswith("bowl-")
    assert "2611P melt" in text_of(client)


def test_beside_a_hot_pan_nothing_is_weighed_and_the_page_says_what_comes_first(client: TestClient, two: None) -> None:
    does(client, "2611P", "melt:sorbitol")
    assert heading(client) == "2611P"
    page = client.get(BENCH).text
    assert "Not read" in text_of(client)
    assert "2611Q weigh out after 2611P" in text_of(client)
    other = re.search(r'href="\?show=(step-\d+)" class="other"><span class="what"><strong>2611Q', page)
    assert other is not None
    asked = text_of(client, other[1])
    assert "2611P first: one hot pan at a time." in asked
    assert "Now: Dissolve" in asked
    assert "Go on with 2611P" in asked
    assert "Weighed</button>" not in client.get(f"{BENCH}?show={other[1]}").text
    does(client, "2611P", "pour")
    assert heading(client) == "2611Q"
    assert "2611P set cores" in text_of(client)


def test_what_is_due_of_another_melt_comes_to_the_front(client: TestClient, two: None, turn: Turn) -> None:
    does(client, "2611P", "pour")
    turn(EVENING + 2 * MINUTE)
    assert heading(client) == "2611Q"
    turn(EVENING + 3.1 * MINUTE)
    page = client.get(BENCH).text
    assert heading(client) == "2611P"
    assert "Cores set" in page
    assert "2611Q weigh out" in text_of(client)
    assert told(sent(client, BENCH, "done", act="done")) == "Cores set. Next: Potassium nitrate."


def test_a_pan_too_hot_takes_the_screen_from_what_is_due(client: TestClient, two: None, turn: Turn) -> None:
    does(client, "2611P", "core")
    with writing(engine_of(client)) as session:
        build.weighed_out(session, batches.by_code(session, "2611Q"))
        session.commit()
    does(client, "2611Q", "melt:sorbitol")
    turn(EVENING + 30 * MINUTE)
    assert heading(client) == "2611P"
    with writing(engine_of(client)) as session:
        data = TemperatureIn.model_validate({"temperature": "127 C"})
        pan.record_temperature(session, batches.by_code(session, "2611Q"), data)
        session.commit()
    assert front(client.get(BENCH)) == "hot"
    assert heading(client) == "2611Q"
    assert "2611P compact" in text_of(client)
    assert told(sent(client, BENCH, "pan", temperature="118")).startswith("Pan 118 °C. Next: 2611P Compact")


def test_the_pans_strip_and_the_time_line_are_of_the_evening(client: TestClient, two: None, turn: Turn) -> None:
    does(client, "2611P", "weigh")
    sent(client, f"{BENCH}?show=step-2", "pan", temperature="113")
    does(client, "2611P", "pour")
    turn(EVENING + MINUTE)
    page = text_of(client)
    assert "Not read" in page
    assert "Cold limit" not in page
    assert "113 °C" in page
    assert {"2611P", "2611Q"} <= set(re.findall(r"\b2611[PQ]\b", page[page.index("Time line") :]))


def test_three_melts_and_their_order(client: TestClient, turn: Turn) -> None:
    with writing(engine_of(client)) as session:
        first = build.cast(session, 2, planned_for="2026-11-25")
        join(session, first, weighed=True)
        join(session, first, weighed=True)
        session.commit()
    for code in ("2611Q", "2611R"):
        does(client, code, "weigh")
    assert heading(client) == "2611Q"
    does(client, "2611Q", "melt:sorbitol")
    page = text_of(client)
    assert "2611R melt" in page.lower().replace("2611r", "2611R")
    assert "after 2611Q" in page
    assert "2611P set cores" in page


def test_a_note_at_the_bench_is_of_the_evening(client: TestClient, two: None) -> None:
    assert told(sent(client, BENCH, "note", words="A draught.")).startswith("The note is kept.")
    with writing(engine_of(client)) as session:
        note = session.exec(select(SessionNote)).one()
        assert (note.cast_session_id, note.melt_id) == (1, None)
        casting.write_note(session, batches.by_code(session, "2611Q"), NoteIn(words="Coarse sorbitol."))
        session.commit()
    page = client.get("/cast/2611P").text
    assert re.findall(r"<li>\d\d:\d\d, ([^<]+)</li>", page) == ["the evening: A draught.", "2611Q: Coarse sorbitol."]
    came = client.get("/workshop/changes?noun=session_note&what=entered").text
    assert "25 Nov 2026, 2611P, 2611Q" in came, "the record names an evening as the pages do, not by a number"
    for code in ("2611P", "2611Q"):
        assert "A draught." in client.get(f"/cast/{code}").text


def test_the_evening_closes_from_the_bench_once_each_melt_is_told(client: TestClient, two: None) -> None:
    page = client.get(f"{BENCH}?show=close").text
    assert 'href="/cast/2611P#closing"' in page
    assert "2611P and 2611Q must add up" in page
    with writing(engine_of(client)) as session:
        for code in ("2611P", "2611Q"):
            none = TestPiecesIn.model_validate({"test_pieces": "0 g"})
            leftovers.tell_test_pieces(session, batches.by_code(session, code), none)
        session.commit()
    answer = sent(client, f"{BENCH}?show=close", "close", why="")
    assert answer.status_code == 422
    assert "Steps are still open. 2611P: " in answer.text
    assert 'hx-post="/bench/1/close"' not in client.get(f"{BENCH}?show=close").text  # a whole page: no bench is left
    answer = sent(client, f"{BENCH}?show=close", "close", why="The lamp broke.")
    assert '<section id="bench"' in answer.text  # what a device that was left open at the bench is given instead
    assert "This evening was closed" in answer.text
    with writing(engine_of(client)) as session:
        assert session.get_one(CastSession, 1).closed_at is not None


def test_the_whole_list_due_again_is_told_before_the_heat(client: TestClient, two: None, turn: Turn) -> None:
    with writing(engine_of(client)) as session:
        build.weighed_out(session, batches.by_code(session, "2611Q"))
        session.commit()
    does(client, "2611Q", "weigh")
    does(client, "2611P", "bag")
    turn(EVENING + timedelta(hours=4, minutes=1))
    page = opened(client, BENCH)
    assert front(client.get(BENCH)) == "held"
    assert "holds for 4 h only" in text_of(client)
    assert 'href="/plan/2611Q/checklist"' in client.get(BENCH).text
    assert not any(key.startswith("done-") for key in page.forms)


def test_another_melt_is_one_press_from_its_list_and_comes_back_to_the_bench(client: TestClient, turn: Turn) -> None:
    with writing(engine_of(client)) as session:
        build.cast(session, 2, until="core", planned_for="2026-11-25")
        lot = build.batch(session, 2, planned_for="2026-11-25")
        build.stock(session, lot)
        build.batch(session, 2, planned_for="2026-11-29")
        session.commit()
    page = client.get(BENCH).text
    assert re.search(r'action="/plan/2611Q/checklist/start".*?<button>Next melt 2611Q</button>', page, re.DOTALL)
    assert "Another melt: 2611R" in page
    assert "Next melt 2611R" not in page
    with writing(engine_of(client)) as session:
        evening = casting.the_open(session, batches.by_code(session, "2611P")).evening
        signed = build.checklist(session, batches.by_code(session, "2611Q"), evening=evening).pk
        session.commit()
    answer = client.post("/cast/2611Q/join", data={"checklist_id": str(signed)}, follow_redirects=False)
    assert answer.headers["location"].partition("?")[0] == BENCH
    assert heading(client) == "2611Q"
