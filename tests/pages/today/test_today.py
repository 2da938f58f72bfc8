"""The day's page."""

import re
from datetime import timedelta

from fastapi.testclient import TestClient
from sqlmodel import Session

from app import clock
from app.db import writing
from app.models import Grain
from app.models.grain import DecisionIn
from app.services.cast import casting
from app.services.grains import decisions, grains
from tests import build
from tests.behind import engine_of


def test_an_empty_book_says_where_to_begin(client: TestClient) -> None:
    page = client.get("/").text
    places = ("/workshop/formulas", "/workshop/patterns", "/workshop/supplies", "/workshop/cases", "/plan/new")
    for href in places:
        assert f'href="{href}"' in page
    assert [page.index(f'href="{href}"') for href in places] == sorted(page.index(f'href="{h}"') for h in places)
    for href in places:
        assert client.get(href).status_code == 200, href


def test_planned_short_running_and_ready(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        build.batch(session, planned_for="2026-11-25")
        session.commit()
    page = client.get("/").text
    assert 'href="/plan/2611P"' in page
    assert "Short for what is planned" in page
    with writing(engine_of(client)) as session:
        build.ready_grains(session, 2)
        session.commit()
    page = client.get("/").text
    assert "This evening" in page
    assert "cured and ready for a motor" in page


def _answer(client: TestClient) -> str:
    """What the first section of the page says, without its marks."""
    page = client.get("/").text
    section = re.search(r'<section class="answer".*?</section>', page, re.S)
    assert section
    return " ".join(re.sub(r"<[^>]+>", " ", section[0]).split())


def test_a_quiet_day_says_one_next_thing_and_goes_on_to_the_one_after_it(client: TestClient) -> None:
    """From the scale to the flight, each act done brings the next one: the order is the trade's, no source."""
    with writing(engine_of(client)) as session:
        grain = build.grain(session, build.cast(session), decision=None)
        _close(session)
        serial, lot = grain.serial, grain.serial.partition("-")[0]
        session.commit()
    assert f"Decide on the grain of {lot} : accept, hold or reject." in _answer(client)
    for act, words in ((_accept, f"Bag the grain of {lot}"), (_bag, "Wait until")):
        with writing(engine_of(client)) as session:
            act(session, grains.by_serial(session, serial))
            session.commit()
        assert words in _answer(client)
    page = client.get("/").text
    assert page.count('class="answer-words"') == 1
    assert "season-line" in page
    assert "shelf-boxes" in page
    assert f"{lot}, cures until" in page, "the weeks are told in words, too"


def _close(session: Session) -> None:
    """Close the evening without the rest of its acts."""
    for melt, _ in casting.open_melts(session):
        melt.evening.closed_at = clock.now()
    session.flush()


def _accept(session: Session, grain: Grain) -> None:
    decisions.decide(
        session, grain, DecisionIn.model_validate({"decision": "accept", "why": "as seen", "person": "Ada"})
    )


def _bag(session: Session, grain: Grain) -> None:
    decisions.bag(session, grain)


def test_what_can_be_built_and_what_is_built_is_next(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        build.case(session, name="Long", chamber_length="160 mm")
        build.nozzle(session, name="Graphite")
        made = build.ready_grains(session, 2)
        _close(session)
        chosen = made[0].pk, made[1].pk
        session.commit()
    said = _answer(client)
    assert "Build a motor: 2 Pattern" in said
    assert "in Long with Graphite" in said
    href = re.search(r'class="button primary" href="(/motors/new[^"]*)"', client.get("/").text)
    assert href
    form = client.get(href[1].replace("&amp;", "&")).text
    for pk in chosen:
        assert re.search(rf'name="grain_ids"[^>]*value="{pk}"[^>]*checked', form, re.S)
    with writing(engine_of(client)) as session:
        for grain in grains.ready(session):
            grain.weighed_at -= timedelta(days=70)
        session.commit()
    assert re.search(r"Weigh the 2 grains of \w+ again , on no scale for 1\d weeks", _answer(client))
