"""Slips are taken back on the page where they were made, without script."""

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from app import clock
from app.db import writing
from app.models import Batch, Firing, Grain, MotorBuild
from app.services.book import workshop
from app.services.cast import casting, pan
from tests import build
from tests.behind import engine_of
from tests.browse import Page


def made(client: TestClient, make: Callable[[Session], str]) -> str:
    """Make something in the book; what the maker gives back."""
    with writing(engine_of(client)) as session:
        workshop.get(session).person = "Ada"
        found = make(session)
        session.commit()
    return found


AT_ONCE = {"why": "Undone within a minute."}
"""What the button of the first minute sends."""


def send(client: TestClient, address: str, form: str, **more: str) -> str:
    """Send a form of a page; the page that comes back."""
    forms = Page(client.get(address).text).forms
    assert form in forms, f"{form} is not among {sorted(forms)}"
    return client.post(forms[form].action, data=forms[form].fields | more).text


def test_a_reading_of_the_pan(client: TestClient) -> None:
    code = made(client, lambda s: build.weighed_batch(s).code)
    for typed in ("110", "190"):
        send(client, f"/cast/{code}", "temperature-form", temperature=typed, unit="°C")
    assert "Above the limit" in client.get(f"/cast/{code}").text
    page = send(client, f"/cast/{code}", f"/cast/{code}/temperature/2/strike")
    assert "Above the limit" not in page
    assert "<s>" in page
    assert "190 °C</s> Undone within a minute." in page
    with clock.turned_to(clock.now() + timedelta(minutes=2)):
        page = send(client, f"/cast/{code}", "misread-1")
        assert "Write at least 3 characters" in page or "Fill this in" in page, "a reason is asked for now"
        assert "110 °C</s> the wrong pan" in send(client, f"/cast/{code}", "misread-1", why="the wrong pan")


def test_a_weighed_amount(client: TestClient) -> None:
    code = made(client, lambda s: build.weighed_batch(s).code)
    page = send(client, f"/cast/{code}", f"/cast/{code}/strike/1")
    assert "struck out: Undone within a minute." in page
    with clock.turned_to(clock.now() + timedelta(minutes=2)):
        page = client.get(f"/cast/{code}").text
        assert "Strike it out" in page
        once = client.post(Page(page).forms["strike-2"].action, data=AT_ONCE)
        assert "The minute is over" in once.text


def test_a_leftover(client: TestClient) -> None:
    code = made(client, lambda s: build.weighed_batch(s).code)
    send(client, f"/cast/{code}", "leftover-form", mark="Pan scrapings", mass="2 g")
    assert "Undo leftover “Pan scrapings”" in client.get(f"/cast/{code}").text
    page = send(client, f"/cast/{code}", "leftover-back-1")
    assert "Pan scrapings" not in page
    assert "Mark on the bag: Pan scrapings" in client.get("/workshop/changes?what=deleted").text


@pytest.mark.promise("A slip is taken back and stays readable")
def test_the_mass_of_test_pieces_asks_why_once_it_was_told(client: TestClient) -> None:
    code = made(client, lambda s: build.weighed_batch(s).code)
    send(client, f"/cast/{code}", "test-pieces-form", test_pieces="5 g")
    assert "5 g was measured" in send(client, f"/cast/{code}", "test-pieces-form", test_pieces="6 g")
    send(client, f"/cast/{code}", "test-pieces-form", test_pieces="6 g", why="one more stick")
    page = client.get(f"/plan/{code}").text
    assert re.search(r"<s>5 g</s> → 6 g.*?one more stick", page, re.S)


def test_a_decision_and_a_bagging(client: TestClient) -> None:
    serial = made(client, lambda s: build.grain(s, build.cast(s), decision="accept").serial)
    assert f"{serial} is in no bag." in send(client, f"/shelf/{serial}", "unbag")
    assert "waits for a decision again" in send(client, f"/shelf/{serial}", "undecide")
    page = client.get(f"/shelf/{serial}").text
    assert "not decided yet" in page
    assert "The decision was undone." in page


def test_a_re_weigh(client: TestClient) -> None:
    def weighed(session: Session) -> str:
        grain = build.ready_grains(session, 1)[0]
        return f"{grain.serial} {grain.mass_kg * 1000 + 1:.1f}"

    serial, mass = made(client, weighed).split()
    client.post("/shelf/reweigh", data={"serial": serial, "gross": f"{mass} g"})
    page = send(client, f"/shelf/{serial}", f"/shelf/{serial}/reweigh/1/strike")
    assert f"{mass} g</s> Undone within a minute." in page


def test_a_throat(client: TestClient) -> None:
    made(client, lambda s: build.nozzle(s).name)
    send(client, "/workshop/nozzles/1", "measure", throat_d="9.9 mm")
    page = send(client, "/workshop/nozzles/1", "/workshop/nozzles/1/measures/1/strike")
    assert "9.9 mm</s> Undone within a minute." in page
    assert "as made; not measured since" in page


def test_a_dropped_plan(client: TestClient) -> None:
    code = made(client, lambda s: build.batch(s).code)
    send(client, f"/plan/{code}", "drop", why="the wrong button")
    assert "is planned again" in send(client, f"/plan/{code}", "take-up")


@pytest.fixture
def firing(client: TestClient) -> str:
    def fire(session: Session) -> str:
        return str(build.firing(session, measured_impulse="300 N s").pk)

    return made(client, fire)


def test_a_firing_within_its_minute(client: TestClient, firing: str) -> None:
    page = send(client, f"/firings/{firing}", "back")
    assert "the motor is whole again" in page
    assert client.get(f"/firings/{firing}").status_code == 404
    assert "Measured impulse: 300 N s" in page, "the motor's page keeps what was written"
    with writing(engine_of(client)) as session:
        assert session.exec(select(Firing)).all() == []
        assert session.exec(select(MotorBuild)).one().code in page


def test_a_firing_after_its_minute_is_corrected(client: TestClient, firing: str) -> None:
    form = Page(client.get(f"/firings/{firing}").text).forms["back"]
    with clock.turned_to(clock.now() + timedelta(minutes=2)):
        assert "Undo this firing" not in client.get(f"/firings/{firing}").text
        stale = client.post(form.action, data=form.fields)
        assert stale.status_code == 422
        assert "within a minute only" in stale.text
        page = send(client, f"/firings/{firing}/edit", "form", measured_impulse="")
        assert "300 N s was measured and stands in the book. Say in a few words why it is emptied" in page
        page = send(client, f"/firings/{firing}/edit", "form", measured_impulse="", why="of another motor")
        assert re.search(r"Measured impulse: <s>300 N s</s> → –.*?of another motor", page, re.S)


def test_a_used_bag_says_what_stands_on_it(client: TestClient) -> None:
    def bag(session: Session) -> str:
        build.weighed_batch(session)
        return "1"

    made(client, bag)
    assert re.search(r"cannot be deleted: \d+ × weighed amount", client.get("/workshop/supplies/1").text)


def test_what_was_taken_back_is_no_more_of_the_day(client: TestClient) -> None:
    """A page that lists readings, throats or grains asks the services, which leave out what was struck."""
    code = made(client, lambda s: build.weighed_batch(s).code)
    send(client, f"/cast/{code}", "temperature-form", temperature="190", unit="°C")
    send(client, f"/cast/{code}", "misread-1", why="the wrong pan")
    with writing(engine_of(client)) as session:
        batch = session.exec(select(Batch)).one()
        assert pan.readings(session, casting.the_open(session, batch)) == []
        assert session.exec(select(Grain)).all() == []
