"""The page of what waits, and the shelf's word on the workshop's limit."""

from fastapi.testclient import TestClient

from app import clock
from app.db import writing
from tests import build
from tests.behind import engine_of
from tests.browse import opened, refused, saved


def test_a_disposal_is_written_down_and_struck_out(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        bad = build.grain(session, build.cast(session), decision="reject")
        key, serial = f"grain-{bad.pk}", bad.serial
        session.commit()
    page = opened(client, "/shelf/waste")
    assert "1 reject waits" in page.texts["main"]
    told = {"done_on": clock.today().isoformat(), "how": "Dissolved in a barrel."}
    assert "Fill in at least one" in refused(client, "/shelf/waste", told).texts["form-things-error"]
    saved(client, "/shelf/waste", {**told, "things": key})
    page = opened(client, "/shelf/waste")
    assert "Nothing waits" in page.texts["main"]
    assert f"{serial}, " in page.texts["main"]
    saved(client, "/shelf/waste", {"why": "It was another."}, "strike-1")
    assert "1 reject waits" in opened(client, "/shelf/waste").texts["main"]


def test_a_limit_stands_with_its_source_and_the_shelf_shows_it(client: TestClient) -> None:
    page = refused(client, "/workshop/settings", {"hold_limit": "2 kg"})
    assert "fill in both, or neither" in page.fault("hold_limit_source")
    page = refused(client, "/workshop/settings", {"damp_months": "13"})
    assert "from 1 to 12" in page.fault("damp_months")
    saved(
        client,
        "/workshop/settings",
        {"hold_limit": "2 kg", "hold_limit_source": "The county's rule", "damp_months": "1 12, 11", "why": "Read it"},
    )
    with writing(engine_of(client)) as session:
        build.ready_grains(session, 2)
        session.commit()
    assert "at most 2000.0 g (The county's rule)" in " ".join(opened(client, "/shelf").texts["main"].split())
    assert opened(client, "/workshop/settings").forms["form"].fields["damp_months"] == "1,11,12"
