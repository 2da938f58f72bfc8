"""The page of a lot's test pieces."""

import re

from fastapi.testclient import TestClient

from app.db import writing
from tests import build
from tests.behind import engine_of
from tests.browse import opened, refused, saved


def _lot(client: TestClient, cast: bool = True) -> str:
    with writing(engine_of(client)) as session:
        code = (build.cast(session) if cast else build.batch(session)).code
        session.commit()
    return code


def test_a_lot_leads_to_its_test_pieces(client: TestClient) -> None:
    code = _lot(client)
    assert f'href="/cast/{code}/test-pieces"' in client.get(f"/review/{code}").text
    page = client.get(f"/cast/{code}/test-pieces").text
    assert "Face shield or goggles" in page
    assert "at least 5 m upwind" in page
    assert "No stick of this lot was burned yet" in page
    assert "Borrowed" in page


def test_before_the_cast_it_says_what_to_do(client: TestClient) -> None:
    page = client.get(f"/cast/{_lot(client, cast=False)}/test-pieces").text
    assert "Nothing was cast" in page
    assert client.get("/cast/99Z9/test-pieces").status_code == 404


def test_sticks_are_kept_compared_and_struck_out(client: TestClient) -> None:
    here = f"/cast/{_lot(client)}/test-pieces"
    for time in ("19,4 s", "19.8"):
        assert saved(client, here, {"length": "50 mm", "burn_time": time, "elevation": "12 m"}, "stick") == here
    page = client.get(here).text
    assert "19,4 s" in page
    assert "19.8 s" in page
    assert "mean of 2 sticks" in page
    assert opened(client, here).forms["stick"].fields["elevation"] == "12 m"
    saved(client, here, {"why": "cracked"}, "void-2")
    page = client.get(here).text
    assert "cracked" in page
    assert "mean of 1 stick" in page
    assert "One stick has no range" in page


def test_faults_stand_beside_their_fields(client: TestClient) -> None:
    here = f"/cast/{_lot(client)}/test-pieces"
    page = refused(client, here, {"length": "50 s", "burn_time": "0", "elevation": "", "burned_on": ""}, "stick")
    assert "goes with a time" in page.fault("length", "stick")
    assert "more than" in page.fault("burn_time", "stick")
    assert "Fill this in" in page.fault("burned_on", "stick")
    page = refused(client, here, {"length": "50 mm", "burn_time": "19 s", "elevation": ""}, "stick")
    assert "how high above the sea" in page.fault("elevation", "stick")
    page = refused(client, here, {"length": "50 mm", "burn_time": "2 s", "elevation": "0 m"}, "stick")
    assert "That would be" in page.fault("burn_time", "stick")
    sure = page.forms["stick"].answered("2 s, as typed")
    assert client.post(page.forms["stick"].action, data=sure, follow_redirects=False).status_code == 303


def test_lots_are_drawn_beside_each_other(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        blend = build.formula(session, "Same")
        codes = [build.cast(session, blend=blend).code for _ in range(2)]
        session.commit()
    for code in codes:
        here = f"/cast/{code}/test-pieces"
        assert "There is no other lot of Same" in client.get(here).text
        for time in ("19 s", "20 s"):
            saved(client, here, {"length": "50 mm", "burn_time": time, "elevation": "12 m"}, "stick")
    page = client.get(f"/cast/{codes[0]}/test-pieces").text
    against = page.split("Against earlier lots")[1]
    assert re.search(rf"{codes[0]}: \d\.\d\d", against)
    assert re.search(rf"{codes[1]}: \d\.\d\d", against)
