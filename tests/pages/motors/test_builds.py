"""The motors' pages, walked without script."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from httpx2 import Response
from sqlmodel import Session, select

from app import clock
from app.db import writing
from app.models import MotorBuild, NozzleMeasure, Prediction
from app.models.bag import ReWeighIn, WetIn
from app.services.grains import reweighs
from tests import build
from tests.behind import engine_of
from tests.browse import Page, opened, saved, send

Sent = dict[str, str | list[str]]


@contextmanager
def book(client: TestClient) -> Iterator[Session]:
    """The client's own book, to fill or to look into."""
    with writing(engine_of(client)) as session:
        yield session
        session.commit()


def filled(client: TestClient, **case: str) -> Sent:
    """Four ready grains, a case and a nozzle in the book, and the form of a motor of them as a browser sends it."""
    with book(client) as session:
        grains = [str(g.pk) for g in build.ready_grains(session)]
        build.case(session, name="Long 54", **case)
        build.nozzle(session, name="Graphite")
    return {**opened(client, "/motors/new").forms["form"].fields, "grain_ids": grains}


def built(client: TestClient) -> str:
    """The address of a motor built in the client's book."""
    with book(client) as session:
        return f"/motors/{build.motor_build(session).code}"


def post(client: TestClient, sent: Sent, **more: str | list[str]) -> Response:
    return client.post("/motors/new", data={**sent, **more}, follow_redirects=False)


def test_a_grain_that_drew_water_is_told_where_a_motor_is_built_and_before_it_is_fired(client: TestClient) -> None:
    with book(client) as session:
        wet, dry = build.ready_grains(session, 2)
        for grain, more in ((wet, 1e-3), (dry, 0.0)):
            gross = f"{(grain.mass_kg + more) * 1000:.2f} g"
            reweighs.weigh(session, ReWeighIn.model_validate({"serial": grain.serial, "gross": gross}))
        reweighs.accept(session, wet, WetIn(why="Only its tube is damp.", person="Ada"))
        serials, picked = (wet.serial, dry.serial), [str(wet.pk), str(dry.pk)]
        build.case(session)
        build.nozzle(session)
    page = client.get("/motors/new").text
    assert page.count("heavier than its label: it has drawn water") == 1
    sent: Sent = {**opened(client, "/motors/new").forms["form"].fields, "grain_ids": picked}
    motor = client.get(post(client, sent).headers["location"]).text
    caution = motor.split("Before it is fired")[1].split("</ul>")[0]
    assert serials[0] in caution
    assert "Only its tube is damp." in caution
    assert serials[1] not in caution


def count(client: TestClient, table: type) -> int:
    with book(client) as session:
        return len(session.exec(select(table)).all())


@pytest.mark.parametrize(
    ("page", "words"),
    [
        ("/motors", "No motor is built yet"),
        ("/motors/new", "No grain is cured, accepted and free"),
        ("/motors/design", "enter a formula"),
    ],
)
def test_each_page_opens_on_an_empty_book_and_says_what_to_do(client: TestClient, page: str, words: str) -> None:
    answer = client.get(page)
    assert answer.status_code == 200
    assert words in answer.text


def test_an_unknown_motor_has_no_page(client: TestClient) -> None:
    assert client.get("/motors/26-001").status_code == 404
    assert client.post("/motors/26-001/take-apart", data={"why": "none", "once": "x"}).status_code == 404


def test_what_there_is_one_of_is_filled_in(client: TestClient) -> None:
    sent = filled(client)
    assert sent["throat_d"] == "12.7 mm"
    assert sent["case_id"]
    assert sent["nozzle_id"]
    assert sent["grain_temperature"] == "20 °C"
    assert sent["built_on"] == f"{clock.today():%Y-%m-%d}"


def test_a_motor_is_built_from_ticked_grains_and_shows_its_prediction(client: TestClient) -> None:
    answer = post(client, filled(client, rated_pressure="8 MPa", proof_pressure="12 MPa", proof_on="2024-03-01"))
    assert answer.status_code == 303
    page = client.get(answer.headers["location"])
    with book(client) as session:
        peak = session.exec(select(Prediction.peak_pressure_pa)).one()
    shares = re.findall(r"peak (\d+) %", page.text)[:2]  # of the rating and of the proof test
    assert [float(share) for share in shares] == pytest.approx([100 * peak / 8e6, 100 * peak / 12e6], abs=0.51)
    assert "Built. The grains are off the shelf." in page.text
    for words in (
        "Thrust, pressure and Kn",
        "Rated",
        "nine in ten",
        "of the rating in the book",
        "× throat",
        "Kn 224",
        "Wall stress at the peak",
        "Specific impulse",
        "thrust above 5 % of its peak",
        "A prediction is not a promise",
        "What drives the peak",
        "What it assumes",
        "Does gas strip the cores?",
        "Borrowed",
        "Log its firing",
    ):
        assert words in page.text, words
    assert re.search(r"\bJ4\d\d\b", page.text)
    assert not re.search(r"\bsafe(ly)?\b", page.text, re.IGNORECASE)
    assert page.text.count("<details") >= 2


def test_grains_picked_on_the_shelf_are_ticked(client: TestClient) -> None:
    grains = filled(client)["grain_ids"]
    text = client.get(f"/motors/new?grain={grains[1]}&grain={grains[3]}").text
    ticked = re.findall(r'name="grain_ids" value="(\d+)"\s+checked', text)
    assert ticked == [grains[1], grains[3]]


def test_places_put_the_grains_in_order(client: TestClient) -> None:
    sent = filled(client)
    first, second, third, fourth = list(sent["grain_ids"])
    answer = post(client, sent, **{f"place.{third}": "1", f"place.{first}": "2"})
    assert answer.status_code == 303
    with book(client) as session:
        order = [str(slot.grain_id) for slot in session.exec(select(MotorBuild)).one().slots]
    assert order == [third, first, second, fourth]


@pytest.mark.parametrize(
    ("places", "words"),
    [
        (["1", "1", "", ""], "Two grains have the same place"),
        (["first", "", "", ""], "A place is a whole number"),
        (["0", "", "", ""], "A place is a whole number"),
    ],
)
def test_places_that_say_no_order_are_refused_and_kept(client: TestClient, places: list[str], words: str) -> None:
    sent = filled(client)
    answer = post(client, sent, **{f"place.{g}": p for g, p in zip(sent["grain_ids"], places, strict=True)})
    assert answer.status_code == 422
    assert words in Page(answer.text).texts["form-grain_ids-error"]
    assert f'value="{places[0]}"' in answer.text
    assert answer.text.count("checked") == 4
    assert count(client, MotorBuild) == 0


def test_a_place_without_a_tick_is_refused(client: TestClient) -> None:
    sent = filled(client)
    left = str(sent["grain_ids"][0])
    answer = post(client, {**sent, "grain_ids": sent["grain_ids"][1:]}, **{f"place.{left}": "1"})
    assert "has a place but no tick" in Page(answer.text).texts["form-grain_ids-error"]


@pytest.mark.parametrize(
    ("typed", "name", "words"),
    [
        ({"throat_d": "33 mm"}, "throat_d", "wider than the exit"),
        ({"throat_d": "-1 mm"}, "throat_d", "at least 0.5 mm"),
        ({"throat_d": "12 kg"}, "throat_d", "goes with a mass"),
        ({"throat_d": ""}, "throat_d", "Type a length"),
        ({"throat_d": "12,7 furlongs"}, "throat_d", "is not known here"),
        ({"built_on": "2099-01-01"}, "built_on", "still to come"),
        ({"built_on": "yesterday"}, "built_on", "Type a date"),
        ({"field_elevation": "90 km"}, "field_elevation", "at most"),
        ({"grain_temperature": "200 C"}, "grain_temperature", "less than"),
        ({"case_id": ""}, "case_id", "Choose one"),
        ({"nozzle_id": "999"}, "", "no such nozzle"),
        ({"grain_ids": []}, "grain_ids", "Fill in at least one"),
        ({"grain_ids": ["nothing"]}, "", "whole number"),
    ],
)
def test_bad_input_is_told_beside_the_field_and_kept(client: TestClient, typed: Sent, name: str, words: str) -> None:
    answer = post(client, filled(client), **typed)
    assert answer.status_code in (404, 422)
    page = Page(answer.text)
    assert words in (page.texts[f"form-{name}-error"] if name else answer.text)
    for field, text in typed.items():
        if isinstance(text, str) and field in ("throat_d", "built_on", "field_elevation", "grain_temperature"):
            assert page.forms["form"].fields[field] == text
    assert count(client, MotorBuild) == 0
    assert count(client, NozzleMeasure) == 0


def test_a_double_click_builds_one_motor(client: TestClient) -> None:
    sent = filled(client)
    first, second = post(client, sent), post(client, sent)
    assert first.headers["location"] == second.headers["location"]
    assert (count(client, MotorBuild), count(client, Prediction)) == (1, 1)


def test_a_second_tab_cannot_take_the_same_grains(client: TestClient) -> None:
    one = filled(client)
    other = {**opened(client, "/motors/new").forms["form"].fields, "grain_ids": one["grain_ids"]}
    assert post(client, one).status_code == 303
    answer = post(client, other)
    assert answer.status_code == 422
    assert f"is in motor {clock.today():%y}-0" in Page(answer.text).texts["form-grain_ids-error"]
    assert count(client, MotorBuild) == 1


def test_a_motor_is_taken_apart_with_a_reason_once(client: TestClient) -> None:
    url = built(client)
    answer = send(client, url, {"why": ""}, form_id="take-apart")
    assert answer.status_code == 422
    assert Page(answer.text).fault("why", "take-apart") == "Fill this in."
    form = opened(client, url).forms["take-apart"]
    data = {**form.fields, "why": "Igniter failed."}
    assert client.post(form.action, data=data, follow_redirects=False).status_code == 303
    assert client.post(form.action, data=data, follow_redirects=False).headers["location"] == url
    stale = client.post(form.action, data={**data, "once": "another"})
    assert stale.status_code == 422
    assert "taken apart already" in stale.text
    assert "Igniter failed." in client.get(url).text
    assert "Taken apart" in client.get("/motors").text
    assert "take-apart" not in opened(client, url).forms


def test_a_prediction_made_again_leaves_the_earlier_one_readable(client: TestClient) -> None:
    url = built(client)
    saved(client, url, form_id="predict")
    assert "Earlier predictions" in client.get(url).text
    assert count(client, Prediction) == 2


def test_the_list_tells_state_class_and_what_is_next(client: TestClient) -> None:
    url = built(client)
    text = client.get("/motors").text
    assert "Ready to fire" in text
    assert re.search(r"\bJ4\d\d\b", text)
    assert f"/firings/new?motor={url.rpartition('/')[2]}" in text


# --- What would it do ----------------------------------------------------------------------------


def asked(client: TestClient, **more: str) -> dict[str, str]:
    """A design in the address, for a book that has what it needs."""
    with book(client) as session:
        build.formula(session), build.pattern(session), build.case(session), build.nozzle(session)
        build.rocket(session), build.field(session)
    return opened(client, "/motors/design").forms["design"].fields | more


def test_a_design_stands_in_the_address_and_leads_to_a_plan(client: TestClient) -> None:
    query = asked(client)
    assert query["count"] == "4"
    page = client.get("/motors/design", params=query)
    assert page.status_code == 200
    for words in ("Grains as designed", "Thrust, pressure and Kn", "Plan these grains"):
        assert words in page.text, words
    assert f"/plan/new?formula_id={query['formula_id']}&amp;pattern={query['pattern_id']}&amp;count=4" in page.text
    assert Page(page.text).forms["design"].fields == query
    assert count(client, Prediction) == 0


@pytest.mark.parametrize(
    ("typed", "name", "words"),
    [
        ({"count": "5"}, "count", "has room for"),
        ({"count": "0"}, "count", "at least 1"),
        ({"count": "many"}, "count", "whole number"),
        ({"throat_d": "34 mm"}, "throat_d", "wider than the exit"),
        ({"density": "120 %"}, "density", "at most"),
        ({"nozzle_id": ""}, "throat_d", "Choose a nozzle"),
        ({"throat_d": "19.5 mm"}, "throat_d", "wider than the narrowest port"),
    ],
)
def test_a_design_that_cannot_be_is_told_beside_its_field(
    client: TestClient, typed: dict[str, str], name: str, words: str
) -> None:
    answer = client.get("/motors/design", params=asked(client, **typed))
    assert answer.status_code == 422
    page = Page(answer.text)
    assert words in page.fault(name, "design")
    assert page.forms["design"].fields | typed == page.forms["design"].fields


def test_a_design_with_ids_that_are_not_in_the_book_is_not_found_in_words(client: TestClient) -> None:
    answer = client.get("/motors/design", params=asked(client, formula_id="999"))
    assert answer.status_code == 422
    assert "no such formula" in answer.text


def test_a_flight_is_estimated_on_both_pages_against_the_fields_ceiling(client: TestClient) -> None:
    query = asked(client)
    url = built(client)
    for page, kept in ((url, {}), ("/motors/design", query)):
        form = Page(client.get(page, params=kept).text).forms["flight"]
        answer = client.get(page, params={**form.fields, "rail": "2.5 m"})
        assert answer.status_code == 200
        for words in ("Height reached", "pass 900 m", "the ideal delay", "Off the rail at", "The wind is unknown"):
            assert words in answer.text, words
        assert "Above the field's ceiling" not in answer.text
        assert "Above the field&#39;s ceiling" not in answer.text
    with book(client) as session:
        low = build.field(session, ceiling="150 m")
        fields = {"rocket_id": form.fields["rocket_id"], "launch_field_id": str(low.pk), "rail": "2 m"}
    assert "has a ceiling of 150 m" in client.get(url, params=fields).text


@pytest.mark.parametrize(
    ("typed", "name", "words"),
    [
        ({"rail": "0"}, "rail", "more than"),
        ({"tilt": "25 deg"}, "tilt", "at most 20"),
        ({"wind": "-2 m/s"}, "wind", "at least"),
        ({"wind": "nan"}, "wind", "is not a speed"),
        ({"wind_height": "0"}, "wind_height", "at least"),
        ({"delay": "300 s"}, "delay", "at most"),
        ({"air_temperature": "200 C"}, "air_temperature", "less than"),
        ({"empty_motor": "2 m"}, "empty_motor", "goes with a"),
        ({"rocket_id": ""}, "rocket_id", "Choose one"),
    ],
)
def test_bad_input_to_the_flight_is_told_beside_the_field(
    client: TestClient, typed: dict[str, str], name: str, words: str
) -> None:
    asked(client)
    url = built(client)
    fields = opened(client, url).forms["flight"].fields
    answer = client.get(url, params={**fields, **typed})
    assert words in Page(answer.text).fault(name, "flight")


def test_a_rocket_too_heavy_is_told_in_words(client: TestClient) -> None:
    url = built(client)
    with book(client) as session:
        heavy, field = build.rocket(session, mass="200 kg").pk, build.field(session).pk
    answer = client.get(url, params={"rocket_id": heavy, "launch_field_id": field, "rail": "2 m"})
    assert answer.status_code == 200
    assert "does not lift" in answer.text


def test_the_shelf_that_is_not_ready_is_named_with_its_day(client: TestClient) -> None:
    with book(client) as session:
        lot = build.cast(session, 1)
        young = build.grain(session, lot).serial
        day = clock.local(clock.now() + timedelta(days=7))
    text = client.get("/motors/new").text
    assert f"{young}: in its bag, curing; ready {clock.day(day)}" in text


def test_pages_speak_the_workshops_units(client: TestClient) -> None:
    saved(
        client,
        "/workshop/settings",
        {"length_unit": "in", "pressure_unit": "psi", "altitude_unit": "ft", "temperature_unit": "°F"},
    )
    url = built(client)
    text = client.get(url).text
    for words in ("Pressure, psi", "8 MPa", "68 °F", "39 ft"):
        assert (words in text) == (words != "8 MPa"), words
    assert opened(client, "/motors/new").forms["form"].fields["grain_temperature"] == "68 °F"
