"""A further melt joins an open evening by the lines that come again before each melt, or by the whole list."""

import re
from collections.abc import Iterator
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, col, select

from app import clock
from app.db import writing
from app.models import CastSession, Checklist, ChecklistItem, Melt
from app.models.cast import CloseIn, OpenSessionIn, TemperatureIn
from app.services.book import workshop
from app.services.cast import casting, pan
from app.services.stock import batches
from tests import build
from tests.behind import engine_of
from tests.moment import wall
from tests.pages.cast.test_checklist import DONE, posts_of

EVENING = wall("2026-11-25T18:00")
URL = "/plan/2611Q/checklist"


@pytest.fixture(autouse=True)
def evening(client: TestClient) -> Iterator[None]:
    """An evening of one melt, poured, opened at six by Ada in the shed; a second batch is planned."""
    with clock.turned_to(EVENING):
        with writing(engine_of(client)) as session:
            workshop.get(session).person = "Ada"
            first = build.batch(session, planned_for="2026-11-25")
            build.stock(session, first)
            listed = build.checklist(session, first, place="Shed")
            casting.open_session(session, first, OpenSessionIn(checklist_id=listed.pk))
            build.stock(session, build.batch(session, planned_for="2026-11-25"))
            session.commit()
        yield


def melts(client: TestClient) -> list[int]:
    """How many melts each evening of the book has."""
    with writing(engine_of(client)) as session:
        return [len(cast.melts) for cast in session.exec(select(CastSession)).all()]


def through(client: TestClient, page: str) -> tuple[str, int]:
    """Answer line after line; the address to sign at, and how many lines there were."""
    count = 0
    while lines := posts_of(page, "/line/"):
        page, count = client.post(lines[0], data=DONE).text, count + 1
    (sign,) = set(re.findall(r'(?:href|action)="([^"]*/sign)"', page))  # the short one's page is there by itself
    return str(sign), count


def signed(client: TestClient, sign: str, **told: str) -> str:
    return client.post(sign, data={"chosen": "Ada", "place": "Shed", **told}).text


def enter(client: TestClient, page: str) -> int:
    number = re.search(r'name="checklist_id" value="(\d+)"', page)
    assert number is not None, page
    (action,) = re.findall(r'action="(/cast/2611Q/(?:open|join))"', page)
    return client.post(action, data={"checklist_id": number[1]}).status_code


def test_a_planned_batch_joins_by_name_short_list_and_signature(client: TestClient) -> None:
    assert f'href="{URL}">Another melt: 2611Q' in client.get("/bench/1").text
    page = client.get(URL).text
    assert "2611Q joins the evening of 2611P" in page
    page = client.post(posts_of(page, "/start")[0]).text
    sign, lines = through(client, page)
    with writing(engine_of(client)) as session:
        again = session.exec(select(ChecklistItem).where(col(ChecklistItem.again))).all()
        assert lines == len(again) < len(session.exec(select(ChecklistItem)).all())
    page = client.get(sign).text
    assert re.findall(r'name="chosen" value="(\w+)"', page) == ["Ada"]
    assert 'name="place" value="Shed"' in page
    page = signed(client, sign)
    assert "Join the open evening" in page
    assert enter(client, page) == 200
    assert melts(client) == [2]


@pytest.mark.parametrize(("told", "field"), [({"chosen": "", "person": "Eve"}, "person"), ({"place": "Yard"}, "place")])
def test_another_person_or_place_takes_the_whole_list(client: TestClient, told: dict[str, str], field: str) -> None:
    sign, lines = through(client, client.post(f"{URL}/start").text)
    answer = client.post(sign, data={"chosen": "Ada", "place": "Shed", **told})
    assert answer.status_code == 422
    assert f"With another {field} the whole list is due" in answer.text
    assert "Another person or place: begin the whole list" in answer.text
    page = client.post(f"{URL}/anew", data={"whole": "on", "why": "Another person or another place."}).text
    sign, whole = through(client, page)
    assert whole > lines
    page = signed(client, sign, **told)
    assert "Join the open evening" in page
    assert enter(client, page) == 200
    assert melts(client) == [2]


def _hot(session: Session) -> None:
    data = TemperatureIn.model_validate({"temperature": "170 °C"})
    pan.record_temperature(session, batches.by_code(session, "2611P"), data)


@pytest.mark.parametrize(
    ("later", "hot", "why"),
    [
        (timedelta(hours=4, minutes=1), False, "holds for 4 h only"),
        (timedelta(hours=6, minutes=1), False, "its checklist was for that day"),
        (timedelta(minutes=10), True, "above the limit"),
    ],
    ids=["four hours", "midnight", "too hot"],
)
def test_why_the_whole_list_is_due_is_said(client: TestClient, later: timedelta, hot: bool, why: str) -> None:
    with clock.turned_to(EVENING + later):
        if hot:
            with writing(engine_of(client)) as session:
                _hot(session)
                session.commit()
            clock_on = clock.turned_to(EVENING + later + timedelta(minutes=1))
        else:
            clock_on = clock.turned_to(EVENING + later)
        with clock_on:
            page = client.get(URL).text
            assert "The whole list is due" in page
            assert why in page
            client.post(f"{URL}/start")
            with writing(engine_of(client)) as session:
                made = session.exec(select(Checklist).order_by(col(Checklist.id).desc())).first()
                assert made is not None
                assert not made.again


def test_a_list_without_its_marks_says_so_and_leads_to_them(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        session.connection().exec_driver_sql("DROP TRIGGER guard_list_update")  # as an older book comes
        for item in session.exec(select(ChecklistItem).where(ChecklistItem.covers == "away")).all():
            item.covers, item.again = "", False
        session.commit()
    page = client.get(URL).text
    assert "poured grains and bowls away from the heat" in page
    assert '<a href="/workshop/checklist">Mark these lines in the list</a>' in page


def test_an_evening_that_was_closed_takes_no_further_melt(client: TestClient) -> None:
    sign, _ = through(client, client.post(f"{URL}/start").text)
    page = signed(client, sign)
    with writing(engine_of(client)) as session:
        (cast,) = session.exec(select(CastSession)).all()
        batches.by_code(session, "2611P").test_pieces_kg = 0.0
        casting.close(session, batches.by_code(session, "2611P"), CloseIn(why="Rain came in."), cast.version)
        session.commit()
    assert "closed" in client.get(URL).text
    assert enter(client, page) == 422
    assert melts(client) == [1]
    with writing(engine_of(client)) as session:
        assert len(session.exec(select(Melt)).all()) == 1
