"""Checks of scales and thermometers: kept as readings, drawn over the months, told where the instrument is used."""

import re
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient

from app import clock
from app.db import writing
from app.models.cast import StepIn
from app.services.cast import casting, checklists, steps
from app.services.stock import batches
from tests import build
from tests.behind import engine_of
from tests.browse import Page
from tests.moment import wall

URL = "/workshop/checks"
NOON = wall("2026-11-25T12:00")
SCALE = {"instrument": "the scale", "known": "200 g", "read": "200.1 g", "tolerance": "0.2 g"}
KETTLE = {"instrument": "Red one", "against": "boiling", "elevation": "0 m", "read": "99.5 C", "tolerance": "1 C"}


def test_a_check_is_a_reading_with_what_who_and_when(client: TestClient) -> None:
    with clock.turned_to(NOON):
        page = client.post(f"{URL}/scale", data=SCALE).text
        assert "near enough" in page
        assert "200.1 g at 200 g: 0.10 g too high" in page
        page = client.post(f"{URL}/thermometer", data=KETTLE).text
    assert "99.5 C at 100.0 °C: 0.5 °C too low" in page
    assert "25 Nov" in page
    assert Page(page).forms["scale"].fields["known"] == "200 g"  # the next one begins as this one did
    assert Page(page).forms["scale"].fields["read"] == ""


@pytest.mark.parametrize(
    ("kind", "more", "field", "words"),
    [
        ("scale", {"known": ""}, "known", "Type a mass"),
        ("scale", {"read": "200 mm"}, "read", "length"),
        ("scale", {"tolerance": "0"}, "tolerance", "more than"),
        ("scale", {"instrument": " "}, "instrument", ""),
        ("thermometer", {"elevation": ""}, "elevation", "cooler on a hill"),
        ("thermometer", {"against": "other"}, "known", "other thermometer"),
        ("thermometer", {"air_pressure": "2 hPa"}, "air_pressure", ""),
        ("thermometer", {"against": "steam"}, "against", ""),
    ],
)
def test_what_cannot_be_is_told_beside_its_field(
    client: TestClient, kind: str, more: dict[str, str], field: str, words: str
) -> None:
    answer = client.post(f"{URL}/{kind}", data={**(SCALE if kind == "scale" else KETTLE), **more})
    assert answer.status_code == 422
    fault = Page(answer.text).fault(field, kind)
    assert fault
    assert words in fault
    typed = Page(answer.text).forms[kind].fields
    assert typed["read"] == more.get("read", SCALE["read"] if kind == "scale" else KETTLE["read"])


def test_a_slip_of_the_point_is_asked_about(client: TestClient) -> None:
    answer = client.post(f"{URL}/scale", data={**SCALE, "read": "20.01 g"})
    assert answer.status_code == 422
    form = Page(answer.text).forms["scale"]
    page = client.post(f"{URL}/scale", data=form.answered("Yes, 20.01 g")).text
    assert "Off by more than it may be." in page


def test_what_is_off_is_said_wherever_the_instrument_is_used(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        build.opened_session(session, build.batch(session))
        session.commit()
    for address in ("/", "/cast/2611P"):
        assert "Checked, and off" not in client.get(address).text
    client.post(f"{URL}/scale", data={**SCALE, "read": "203 g"})
    client.post(f"{URL}/thermometer", data={**KETTLE, "read": "96 C"})
    for address in ("/", "/cast/2611P"):
        page = client.get(address).text
        assert "the scale read 203 g at 200 g: 3.00 g too high; it may be off by 0.2 g." in page, address
        assert "Red one read 96 C at 100.0 °C: 4.0 °C too low; it may be off by 1 C." in page, address
    parts = Page(client.get("/cast/2611P").text).texts
    assert "203 g" in parts["weigh-out"]
    assert "96 C" in parts["temperature"]
    bench = client.get("/bench/1").text  # a bowl is in front: the pan is cold
    assert "Scale 3.00 g high: set it right." in bench
    assert "Scale 3.00 g high: set it right." in client.get("/cast/2611P/grains").text
    with writing(engine_of(client)) as session:
        lot = batches.by_code(session, "2611P")
        build.weighed_out(session, lot)
        melt = casting.the_open(session, lot)
        steps.record(session, melt, melt.steps[0].pk, StepIn(act="done"))
        session.commit()
    assert "Thermometer 4.0 °C low: use another." in client.get("/bench/1").text
    with clock.turned_to(clock.now() + timedelta(minutes=1)):
        client.post(f"{URL}/scale", data=SCALE)
        client.post(f"{URL}/thermometer", data=KETTLE)
    for address in ("/", "/cast/2611P", "/cast/2611P/grains", "/bench/1"):
        page = client.get(address).text
        assert "203 g" not in page, address
        assert "set it right" not in page, address
        assert "use another" not in page, address


def test_the_drift_is_drawn_with_its_band_and_said(client: TestClient) -> None:
    with clock.turned_to(NOON) as turn:
        for day, grams in enumerate(["200.0", "200.0", "200.1", "200.1", "200.2", "200.2"]):
            turn(NOON + timedelta(days=30 * day))
            client.post(f"{URL}/scale", data={**SCALE, "read": f"{grams} g"})
        page = client.get(URL).text
    figure = page[page.index("<figure") : page.index("</figure>")]
    assert "How far off the scale was" in figure
    assert "May be off by" in figure
    assert "Trend" in figure
    said = re.search(r"It drifts: \+(0\.\d+) g in 30 days; 95 in 100 between \+0\.\d+ g and \+0\.\d+ g\.", page)
    assert said is not None
    assert said[1] == "0.046"  # by hand: sum of x y over sum of x x, 0.8/17.5 g a step of 30 days


def test_a_check_is_struck_out_with_a_reason_and_stays_readable(client: TestClient) -> None:
    client.post(f"{URL}/scale", data={**SCALE, "read": "203 g"})
    strike = f"{URL}/scale/1/strike"
    assert client.post(strike, data={"why": ""}).status_code == 422
    client.post(f"{URL}/scale", data=SCALE)
    page = client.post(strike, data={"why": "The weight was another."}).text
    assert "Struck out: The weight was another." in page
    assert "<s>203 g</s>" in page
    assert client.post(f"{URL}/thermometer/1/strike", data={"why": "None there.", "version": "1"}).status_code == 404
    assert client.post(f"{URL}/ruler", data=SCALE).status_code == 404


def test_a_line_of_the_checklist_is_answered_from_todays_check(client: TestClient) -> None:
    with clock.turned_to(NOON) as turn:
        with writing(engine_of(client)) as session:
            lot = build.batch(session)
            asked = [line.item for line in checklists.lines(session, checklists.start(session, lot))]
            first, url = asked[0].pk, f"/plan/{lot.code}/checklist"
            scale, warm = (next(i.pk for i in asked if word in i.words) for word in ("known mass", "thermometer"))
            session.commit()
        assert "Check it now" in client.get(f"{url}?line={scale}").text
        assert "Check it now" not in client.get(f"{url}?line={first}").text
        client.post(f"{URL}/scale", data=SCALE)
        client.post(f"{URL}/thermometer", data=KETTLE)
        page = client.get(f"{url}?line={scale}").text
        assert "Checked today at 12:00: the scale read 200.1 g at 200 g: 0.10 g too high." in page
        assert "200.1 g" in Page(page).forms["line"].fields.values()
        assert "Checked today at 12:00: Red one read 99.5 C" in client.get(f"{url}?line={warm}").text
        turn(NOON + timedelta(minutes=5))
        client.post(f"{URL}/scale", data={**SCALE, "read": "203 g"})
        page = client.get(f"{url}?line={scale}").text
        assert "3.00 g too high" in page
        assert "203 g" not in Page(page).forms["line"].fields.values()  # what is off is no answer
        turn(NOON + timedelta(hours=13))
        assert "Check it now" in client.get(f"{url}?line={scale}").text
