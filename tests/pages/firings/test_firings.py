"""The firings' pages, walked without script."""

import re
from datetime import datetime, timedelta

import pytest
from fastapi.testclient import TestClient
from sqlmodel import select

from app import clock
from app.models import Firing, MotorBuild, NozzleMeasure
from app.services.book import moments
from tests import build
from tests.browse import Page, opened, refused, saved, send
from tests.pages.motors.test_builds import book, count

STATIC = {"kind": "static", "result": "good"}


def motor(client: TestClient) -> str:
    """The code of a motor ready to fire, with a rocket and a field in the book."""
    with book(client) as session:
        build.rocket(session, name="Turnstone")
        build.field(session, name="Pasture", rules="Ask the farmer first.")
        return build.motor_build(session).code


def fired(client: TestClient, **typed: str) -> str:
    """The address of a firing written down."""
    return saved(client, f"/firings/new?motor={motor(client)}", {**STATIC, **typed})


def test_pages_of_an_empty_book_say_what_to_do(client: TestClient) -> None:
    assert "Build one of cured grains first" in client.get("/firings").text
    assert "No motor is ready to fire" in client.get("/firings/new").text
    assert client.get("/firings/1").status_code == 404
    assert client.get("/firings/1/edit").status_code == 404
    assert client.get("/firings/first").status_code in (404, 422)


def test_the_form_comes_with_motor_moment_and_the_only_field(client: TestClient) -> None:
    code = motor(client)
    form = opened(client, f"/firings/new?motor={code.lower()}").forms["form"]
    with book(client) as session:
        assert form.fields["motor_build_id"] == str(session.exec(select(MotorBuild)).one().pk)
    assert form.fields["launch_field_id"] == "1"
    told = moments.of_wall(datetime.fromisoformat(form.fields["fired_at"]), "fired_at")
    assert abs(told - clock.now()) < timedelta(minutes=2)
    text = client.get("/firings/new").text
    for words in ("current table", "2016", "200 ft (61 m)", "14 CFR 101.22", "Ask the farmer first.", "Burned well"):
        assert words in text, words
    assert "There is no motor “99-001”" in client.get("/firings/new?motor=99-001").text


def test_a_static_test_is_written_down_and_stands_beside_its_prediction(client: TestClient) -> None:
    url = fired(
        client,
        measured_impulse="730 N·s",
        measured_peak_pressure="450 psi",
        measured_burn_time="1,6 s",
        throat_after="12.8 mm",
        weather="Dry, light wind",
        wind="3 m/s",
        air_temperature="8 C",
    )
    text = client.get(url).text
    for words in (
        "Written down.",
        f"Static test of motor {clock.today():%y}-0",
        "Burned well",
        "Measured peak",
        "12.8 mm",
        "Dry, light wind",
        "Back to each bag",
        "Potassium nitrate",
        "Sorbitol",
        "Sucrose",
    ):
        assert words in text, words
    expected = re.search(r"730</td>\s*<td class=\"num\">(\d+)<", text)
    off = re.search(r"Total impulse (\d+) % (over|under)", text)
    assert expected
    assert off
    assert int(off[1]) == pytest.approx(abs(100 * 730 / int(expected[1]) - 100), abs=0.6)  # both are shown rounded
    assert (off[2] == "over") == (int(expected[1]) < 730)
    seen = re.sub(r"<(figure|details|svg).*?</\1>", "", text, flags=re.DOTALL)
    assert len(re.findall(r">\s*730\s*<", seen)) == 1, "no figure stands twice"
    assert count(client, NozzleMeasure) == 1
    assert "Altitude" not in text
    assert "<dt>Rocket" not in text, "nothing flew"
    assert "<dt>Delay" not in text
    listing = client.get("/firings").text
    assert "Burned well" in listing
    assert 'href="/firings/new"' not in listing


def test_a_flight_shows_the_altitude_beside_the_estimate(client: TestClient) -> None:
    text = client.get(fired(client, kind="flight", rocket_id="1", altitude="1000 ft")).text
    assert "Altitude" in text
    assert "What the estimated flight assumes" in text
    assert "Turnstone" in text


def test_a_walk_back_names_every_bag_of_every_grain(client: TestClient) -> None:
    text = client.get(fired(client)).text
    assert len(re.findall(r'href="/shelf/\d{4}[P-Z]-0\d"', text)) == 4
    assert len(set(re.findall(r'href="(/workshop/supplies/\d+)"', text))) == 3


@pytest.mark.parametrize(
    ("typed", "name", "words"),
    [
        ({"kind": "flight"}, "rocket_id", "A flight needs its rocket"),
        ({"kind": ""}, "kind", "Choose one"),
        ({"altitude": "500 m"}, "altitude", "Only a flight"),
        ({"altitude": "-5 m", "kind": "flight", "rocket_id": "1"}, "altitude", "more than 0"),
        ({"result": "burst"}, "words", "write what was seen"),
        ({"result": ""}, "result", "Choose one"),
        ({"result": "exploded"}, "result", "Choose one of the list"),
        ({"fired_at": "2099-01-01T10:00"}, "fired_at", "still to come"),
        ({"fired_at": "2020-01-01T10:00"}, "fired_at", "was built on"),
        ({"fired_at": "noon"}, "fired_at", "Type a date and a time"),
        ({"measured_impulse": "730 N"}, "measured_impulse", "this field takes an impulse"),
        ({"measured_impulse": "0"}, "measured_impulse", "more than"),
        ({"throat_after": "40 mm"}, "throat_after", "wider than the nozzle"),
        ({"result": "no_light", "measured_burn_time": "1 s"}, "measured_burn_time", "did not light"),
        ({"motor_build_id": "999"}, "motor_build_id", "Choose one of the motors"),
        ({"wind": "very"}, "wind", "is not a speed"),
    ],
)
def test_bad_input_is_told_beside_the_field_and_kept(
    client: TestClient, typed: dict[str, str], name: str, words: str
) -> None:
    page = refused(client, f"/firings/new?motor={motor(client)}", {**STATIC, "words": "", **typed})
    assert words in page.fault(name)
    assert count(client, Firing) == 0
    assert count(client, NozzleMeasure) == 0


def test_a_double_click_writes_one_firing(client: TestClient) -> None:
    form = opened(client, f"/firings/new?motor={motor(client)}").forms["form"]
    data = {**form.fields, **STATIC}
    first = client.post("/firings/new", data=data, follow_redirects=False)
    second = client.post("/firings/new", data=data, follow_redirects=False)
    assert first.status_code == second.status_code == 303
    assert first.headers["location"] == second.headers["location"]
    assert count(client, Firing) == 1


def test_two_tabs_fire_a_motor_once(client: TestClient) -> None:
    code = motor(client)
    one, other = (opened(client, f"/firings/new?motor={code}").forms["form"] for _ in range(2))
    assert client.post(one.action, data={**one.fields, **STATIC}, follow_redirects=False).status_code == 303
    answer = client.post(other.action, data={**other.fields, **STATIC, "words": "Seen twice."})
    assert answer.status_code == 422
    assert "a motor fires once" in Page(answer.text).fault("motor_build_id")
    assert "Seen twice." in answer.text
    assert count(client, Firing) == 1


def test_a_motor_that_did_not_light_can_be_tried_again(client: TestClient) -> None:
    url = fired(client, result="no_light", words="Igniter only.")
    assert "The motor is whole" in client.get(url).text
    with book(client) as session:
        code = session.exec(select(MotorBuild)).one().code
    page = client.get(f"/motors/{code}").text
    assert "Tries that did not light" in page
    assert "Ready to fire" in page
    saved(client, f"/firings/new?motor={code}", STATIC)
    assert "The motor is whole" not in client.get(url).text


def test_a_firing_is_corrected_and_an_old_tab_is_told(client: TestClient) -> None:
    url = fired(client, words="Good.")
    old = opened(client, f"{url}/edit").forms["form"]
    assert old.fields["words"] == "Good."
    assert saved(client, f"{url}/edit", {"result": "weak", "words": "Slow to rise."}) == url
    assert "Weak or slow" in client.get(url).text
    answer = client.post(old.action, data={**old.fields, "words": "Something else."})
    assert answer.status_code == 409
    assert "changed in another tab" in answer.text
    assert "Something else." in answer.text
    assert "Slow to rise." in client.get(url).text


def test_an_unchanged_correction_changes_nothing(client: TestClient) -> None:
    url = fired(client, measured_impulse="730 N·s", throat_after="12.8 mm", wind="3 m/s")
    with book(client) as session:
        before = session.exec(select(Firing)).one().model_dump(exclude={"version", "fired_at"})
    assert saved(client, f"{url}/edit") == url
    with book(client) as session:
        assert session.exec(select(Firing)).one().model_dump(exclude={"version", "fired_at"}) == before
    assert count(client, NozzleMeasure) == 1


def test_a_refused_correction_keeps_the_page_and_its_motor(client: TestClient) -> None:
    url = fired(client)
    answer = send(client, f"{url}/edit", {"result": "burst", "words": ""})
    assert answer.status_code == 422
    page = Page(answer.text)
    assert "write what was seen" in page.fault("words")
    assert page.forms["form"].fields["motor_build_id"] == "1"


def test_a_retired_rocket_stays_with_its_flight(client: TestClient) -> None:
    url = fired(client, kind="flight", rocket_id="1")
    saved(client, "/workshop/rockets/1", form_id="away")
    assert opened(client, f"{url}/edit").forms["form"].fields["rocket_id"] == "1"
    assert saved(client, f"{url}/edit", {"words": "Still the same rocket."}) == url
