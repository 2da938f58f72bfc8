"""The plan's pages, walked as a person does: worked out by one press, an evening made into its batches by another."""

import re

import pytest
from fastapi.testclient import TestClient

from app.db import writing
from app.services.book import workshop
from tests import build
from tests.behind import engine_of
from tests.browse import opened, refused, saved


@pytest.fixture
def shop(client: TestClient) -> TestClient:
    """A season with six flights of two grains each, and a motor chosen for them; of the pan nothing is said."""
    with writing(engine_of(client)) as session:
        row = build.season(session, weekdays=["4"], melts_per_evening=2)
        wish = build.wish(session, row, rocket_id=build.rocket(session, name="Dunlin").pk)
        gull, blend = build.pattern(session, name="Gull"), build.formula(session, "Marram")
        build.chosen(session, wish, (gull, 2), formula_id=blend.pk)
        kept = workshop.get(session)
        kept.pan_capacity_kg = kept.pan_capacity_typed = kept.known_melt_kg = kept.known_melt_typed = None
        session.commit()
    return client


def test_one_press_works_the_plan_out_and_one_opens_an_evening(shop: TestClient) -> None:
    """The pan is asked for once, beside its field; a melt well above any before is asked about, and then planned."""
    first = opened(shop, "/season/1/plan")
    assert "Not worked out yet" in first.texts["main"]
    again = refused(shop, "/season/1/plan", {}, "work-out")
    assert "How much does your pan hold" in again.texts["main"]
    assert saved(shop, "/season/1/plan", {"pan_capacity": "1.5 kg"}, "work-out") == "/season/1/plan"
    plan = opened(shop, "/season/1/plan")
    assert "Cast 2 melts" in plan.texts["main"]
    form = next(name for name in plan.forms if name.startswith("evening-2"))
    asked = refused(shop, "/season/1/plan", {}, form)
    assert "nothing was cast in this book before" in asked.texts["main"]
    with writing(engine_of(shop)) as session:
        kept = workshop.get(session)
        kept.known_melt_kg, kept.known_melt_typed = 2.0, "2 kg"
        session.commit()
    assert saved(shop, "/season/1/plan", {}, form) == "/plan/2611P"
    after = opened(shop, "/season/1/plan")
    assert form not in after.forms
    assert "2611P" in after.texts["main"]
    assert "2611Q" in after.texts["main"]


def test_the_calendar_is_shown_and_sent(shop: TestClient) -> None:
    saved(shop, "/season/1/plan", {"pan_capacity": "1.5 kg"}, "work-out")
    wall = opened(shop, "/season/1/calendar?whole=1")
    assert "cured: " in wall.texts["main"]
    assert "Day by day, as a table" in wall.texts["main"]
    assert 'class="drawing to-scale wall-plan"' in shop.get("/season/1/calendar").text
    sizes = [
        int(re.search(r"letters-(\d+)", shop.get(f"/season/1/calendar?{query}").text)[1])  # type: ignore[index]
        for query in ("whole=1", "", "whole=1&large=1", "large=1")
    ]
    assert sizes[0] < sizes[1] < sizes[3], "twelve weeks are larger than the season, A3 larger than A4"
    assert sizes[0] < sizes[2]
    printed = shop.get("/static/css/wall.css").text
    assert all(f".letters-{size} " in printed for size in sizes)
    assert "6 Dunlin" in wall.texts["main"]
    sent = shop.get("/season/1/calendar.ics")
    assert sent.headers["content-type"] == "text/calendar; charset=utf-8"
    assert "SUMMARY:Field day: 6 Dunlin" in sent.text
    assert shop.get("/season/9/calendar.ics").status_code == 404
    assert shop.post("/season/1/plan/someday", data={"once": "x"}).status_code in (404, 422)
