"""A motor as designed on its page, walked without script."""

import re

from fastapi.testclient import TestClient

from tests import build
from tests.browse import opened, saved
from tests.pages.flight.test_flights import ROCKET
from tests.pages.motors.test_builds import book


def test_a_design_says_how_high_other_numbers_of_grains_go(client: TestClient) -> None:
    with book(client) as session:
        build.formula(session)
        build.pattern(session)
        build.case(session)
        build.nozzle(session)
    design = opened(client, "/motors/design").forms["design"].fields
    page = client.get("/motors/design", params=design).text
    assert "With other numbers of grains" in page
    assert "Estimate a flight below" in page
    saved(client, "/workshop/rockets/new", ROCKET)
    saved(client, "/workshop/fields/new", {"name": "Croft", "elevation": "12 m"})
    asked = {**design, "rocket_id": "1", "launch_field_id": "1", "leans": "into", "rail": "1.7 m"}
    page = client.get("/motors/design", params=asked).text
    assert "4, this one" in page
    two = re.search(r'href="(/motors/design\?[^"]*count=2)"', page)
    assert two is not None
    other = client.get(two[1].replace("&amp;", "&")).text
    assert "2, this one" in other
    assert 'value="1.7 m"' in other


def test_dangers_stand_on_the_page_before_what_only_makes_numbers_less_good(client: TestClient) -> None:
    with book(client) as session:
        build.formula(session)
        build.pattern(session)
        build.case(session)
    design = opened(client, "/motors/design").forms["design"].fields | {"throat_d": "14.5 mm"}
    page = client.get("/motors/design", params=design).text
    assert "? Port 1.73 × throat, below 2.1" in page
    saved(client, "/workshop/settings", {"least_port_to_throat": "1.7"})
    page = client.get("/motors/design", params=design).text
    assert "Look at this first" not in page
    assert "Port 1.73 × throat" in page
    saved(client, "/workshop/settings", {"least_port_to_throat": "1.9"})
    page = client.get("/motors/design", params=design).text
    said = ("Look at this first", "Port to throat ratio 1.73", "How good these numbers are", "Borrowed")
    places = [page.index(words) for words in said]
    assert places == sorted(places)
    assert "? Port 1.73 × throat, below 1.9" in page
