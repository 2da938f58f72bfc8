"""Flights on the pages: a rocket with its table and parachutes, the estimate with a wind, and own distances."""

import re

import pytest
from fastapi.testclient import TestClient

from tests import build
from tests.browse import Page, opened, refused, saved
from tests.pages.firings.test_firings import fired, motor
from tests.pages.motors.test_builds import book, built

ROCKET = {
    "name": "Dunlin",
    "mass": "6 kg",
    "diameter": "100 mm",
    "drag_coefficient": "0,5",
    "main_basis": "open",
    "drogue_basis": "flat",
    "drag_points.0.mach": "0,2",
    "drag_points.0.coefficient": "0.5",
    "drag_points.2.mach": "0.9",
    "drag_points.2.coefficient": "0.7",
    "rail_length": "3 m",
    "main_d": "2.1 m",
    "main_cd": "1.5",
}


def test_a_rocket_with_a_drag_table_is_entered_opened_and_changed(client: TestClient) -> None:
    saved(client, "/workshop/rockets/new", ROCKET)
    assert "table" in client.get("/workshop/rockets").text
    form = opened(client, "/workshop/rockets/1").forms["form"]
    assert (form.fields["drag_points.0.mach"], form.fields["drag_points.1.coefficient"]) == ("0.2", "0.7")
    assert form.fields["main_basis"] == "open"
    saved(client, "/workshop/rockets/1", {**form.fields, "drag_points.0.mach": "", "drag_points.0.coefficient": ""})
    form = opened(client, "/workshop/rockets/1").forms["form"]
    assert (form.fields["drag_points.0.mach"], form.fields["drag_points.1.mach"]) == ("0.9", "")


def test_a_table_that_does_not_rise_is_told_on_its_line_and_kept(client: TestClient) -> None:
    page = refused(client, "/workshop/rockets/new", {**ROCKET, "drag_points.2.mach": "0.1"})
    assert "rising order" in page.fault("drag_points.2.mach")
    assert page.forms["form"].fields["drag_points.2.mach"] == "0.1"
    assert page.forms["form"].fields["main_d"] == "2.1 m"


@pytest.mark.parametrize(
    ("slug", "typed", "name", "words"),
    [
        ("rockets", {**ROCKET, "main_cd": ""}, "main_cd", "belongs to “Main parachute, diameter”"),
        ("rockets", {**ROCKET, "drogue_d": "0.4 m", "drogue_cd": "1.5"}, "main_altitude", "height at which"),
        ("rockets", {**ROCKET, "reference_d": "90 mm", "reference_area": "60 cm2"}, "reference_area", "one basis"),
        ("fields", {"name": "Moor", "elevation": "0 m", "length": "300 m"}, "width", "belongs to “Length”"),
        ("fields", {"name": "Moor", "elevation": "0 m", "radius": "90 m", "length": "9 km"}, "radius", "not both"),
    ],
)
def test_what_does_not_go_together_is_told(
    client: TestClient, slug: str, typed: dict[str, str], name: str, words: str
) -> None:
    assert words in refused(client, f"/workshop/{slug}/new", typed).fault(name)


def test_another_motor_is_worked_out_without_typing_the_flight_again(client: TestClient) -> None:
    with book(client) as session:
        build.formula(session)
        build.pattern(session)
        build.case(session)
        build.nozzle(session)
    saved(client, "/workshop/rockets/new", ROCKET)
    saved(client, "/workshop/fields/new", {"name": "Croft", "elevation": "12 m"})
    design = opened(client, "/motors/design").forms["design"].fields
    asked = {**design, "rocket_id": "1", "launch_field_id": "1", "leans": "into", "rail": "1.7 m", "wind": "3 m/s"}
    page = Page(client.get("/motors/design", params=asked).text)
    again = page.forms["design"].fields
    answer = client.get("/motors/design", params={**again, "count": "3"})
    flight = Page(answer.text).forms["flight"].fields
    assert (flight["rail"], flight["wind"], flight["count"]) == ("1.7 m", "3 m/s", "3")
    assert "Dunlin from Croft" in answer.text


def test_a_flight_with_a_wind_says_where_it_lands_and_what_to_look_at(client: TestClient) -> None:
    url = built(client)
    saved(client, "/workshop/rockets/new", ROCKET)
    saved(client, "/workshop/fields/new", {"name": "Croft", "elevation": "12 m", "ceiling": "200 m", "radius": "50 m"})
    form = opened(client, url).forms["flight"]
    rocket = max(form.choices["rocket_id"])
    place = max(form.choices["launch_field_id"])
    asked = {"rocket_id": rocket, "launch_field_id": place, "leans": "into", "wind": "7 m/s", "wind_from": "SW"}
    text = client.get(url, params=asked).text
    for words in (
        "Lands at",
        "speed of descent, under its parachute",
        "Moves over the ground at",
        "of them land farther than 50 m",
        "Landing outside the field.",
        "m/s off the rail",
        "ceiling of 200 m above ground",
        "Height over time",
        "Path in the plane of the wind",
        "from south-west at 2 m",
        "is not a flight, and promises none",
        "Check your association",
        "14 CFR 101.22",
    ):
        assert words in text, words
    assert re.search(r"<strong>\d+ m high, nine in ten between \d+ m and \d+ m</strong>: Dunlin from Croft", text)
    assert re.search(r"[Aa]bove the ceiling of 200 m, which \d+ % of the drawn flights pass; it lands outside", text)
    of_flight = text[text.index('id="in-a-rocket"') :]
    told = of_flight.index("nine in ten between")
    places = [of_flight.index(words) for words in ("field-plan", "Look at this first", 'id="flight"', "Lands at")]
    assert [told, *places] == sorted([told, *places]), "answer, picture, caution, form, figures"
    drawn = re.search(r"Landings of (\d+) drawn flights, (\d+) of them outside the field", text)
    assert drawn
    assert int(drawn[1]) == 64, "each fourth of 256"
    assert int(drawn[2]) > 0
    assert "Wind 7.0 m/s from south-west." in text
    saved(client, f"/workshop/fields/{place}", {"ceiling": "9000 m"})
    high = client.get(url, params=asked).text
    assert re.search(r"none<small>of 256 sampled flights pass 9000 m; as many as 1 in 85 still might", high)
    calm = client.get(url, params={**asked, "wind": ""}).text
    assert "Lands at" not in calm
    assert "the wind is unknown" in calm
    assert "nothing is said of its landing without a wind" in calm
    assert "Landings of" not in calm


def test_a_rocket_and_a_field_are_drawn_with_what_the_book_holds_of_them(client: TestClient) -> None:
    saved(client, "/workshop/rockets/new", ROCKET)
    saved(client, "/workshop/fields/new", {"name": "Croft", "elevation": "12 m", "ceiling": "200 m", "radius": "250 m"})
    rocket = client.get("/workshop/rockets/1").text
    assert "Not flown yet" in rocket
    assert "Main parachute Ø 2100 mm" in rocket
    assert "Dashed: not in the book (its length, nose, fins)." in rocket
    field = client.get("/workshop/fields/1").text
    assert "Fly to 200 m and no higher</strong>, and land within 250 m round the pad. Not flown from yet." in field
    for words in ("50 m.", "100 m.", "150 m.", "Ceiling 200 m."):
        assert words in field
    number = fired(client, kind="flight", rocket_id="1", launch_field_id="1", altitude="150 m").rpartition("/")[2]
    flight = client.get(f"/firings/{number}").text
    answer = flight[: flight.index("caution") if "caution" in flight else flight.index("fold")]
    assert re.search(r"Expected .*; nothing is said of its landing without a wind; [\d.]+ m/s off the rail", answer)
    assert "Flown 150 m." in answer, "the height reached stands in the field's picture"
    rocket = client.get("/workshop/rockets/1").text
    assert re.search(r"Flown once, up to 150 m</strong>, the last time with <a href=\"/motors/26-\d+\">", rocket)
    assert re.search(r"Motor Case \d+\.|, motor Case \d+\.", rocket), "the case of its newest flight"
    assert "Flown from here once, up to 150 m." in client.get("/workshop/fields/1").text
    assert "field-plan" not in client.get("/workshop/fields/new").text


def test_a_flight_in_the_log_stands_beside_its_estimate_and_range(client: TestClient) -> None:
    text = client.get(fired(client, kind="flight", rocket_id="1", altitude="1000 ft", wind="3 m/s")).text
    assert re.search(r"Altitude \d+ % (over|under), (in|out)side its range", text)
    assert re.search(r">305</td>\s*<td class=\"num\">\d+<br><small[^>]*>\d+ to \d+</small>", text)
    assert "Measured, 305 m" in text
    assert "Height over time" in text


def test_own_distances_are_written_down_and_come_first(client: TestClient) -> None:
    line = {
        "lines.0.impulse_class": "j",
        "lines.0.single": "300 ft",
        "lines.0.complex": "",
        "lines.0.dated": "2026-05-01",
        "lines.0.source": "Club table of 2026",
    }
    form = opened(client, "/workshop/distances").forms["form"]
    saved(client, "/workshop/distances", {**form.fields, **line})
    text = client.get(f"/motors/{motor(client)}?rocket_id=1&launch_field_id=1").text
    assert "Persons at least 91 m away" in text
    assert "your own figure, Club table of 2026, 1 May 2026" in text
    assert "Your own figures, which come before the printed ones" in client.get("/firings/new").text
    stale = client.post("/workshop/distances", data={**form.fields, **line, "once": "another"})
    assert stale.status_code == 409
    again = opened(client, "/workshop/distances").forms["form"]
    assert again.fields["lines.0.impulse_class"] == "J"
    emptied = {name: "" if name.startswith("lines.0") else text for name, text in again.fields.items()}
    saved(client, "/workshop/distances", emptied)
    assert "lines.0.impulse_class" in opened(client, "/workshop/distances").forms["form"].fields
    assert opened(client, "/workshop/distances").forms["form"].fields["lines.0.impulse_class"] == ""


@pytest.mark.parametrize(
    ("typed", "name", "words"),
    [
        ({"impulse_class": "Z"}, "impulse_class", "no class"),
        ({"single": "far"}, "single", "is not a height"),
        ({"single": ""}, "single", "Type a height"),
        ({"complex": "10 m"}, "complex", "at least the distance"),
        ({"source": ""}, "source", "Fill this in"),
        ({"dated": "May"}, "dated", "Type a date"),
    ],
)
def test_a_distance_that_cannot_be_is_told_on_its_line(
    client: TestClient, typed: dict[str, str], name: str, words: str
) -> None:
    good = {"impulse_class": "K", "single": "80 m", "source": "Club table", "dated": "2026-05-01"}
    sent = {f"lines.0.{key}": text for key, text in {**good, **typed}.items()}
    page = Page(client.post("/workshop/distances", data=sent).text)
    assert words in page.fault(f"lines.0.{name}")
