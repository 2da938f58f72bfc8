"""The season's pages, walked as a person does: the list is written, changed, struck out, and answers on its face."""

from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from app import clock
from app.db import writing
from app.models import LaunchField, Rocket, Season, Wish
from tests import build
from tests.behind import engine_of
from tests.browse import opened, refused, saved


def day(ahead: int) -> str:
    return (clock.today() + timedelta(days=ahead)).isoformat()


@pytest.fixture
def shop(client: TestClient) -> TestClient:
    """A workshop with two rockets and a field."""
    with writing(engine_of(client)) as session:
        build.rocket(session, name="Dunlin")
        build.rocket(session, name="Knot")
        build.field(session, name="Pasture")
        session.commit()
    return client


def _begun(client: TestClient) -> str:
    return saved(client, "/season/new", {"weekdays": "2"})


def _wish(client: TestClient, **more: str) -> dict[str, str]:
    with Session(engine_of(client)) as session:
        rocket = session.exec(select(Rocket).where(Rocket.name == "Dunlin")).one()
        field = session.exec(select(LaunchField)).one()
        ids = {"rocket_id": str(rocket.pk), "launch_field_id": str(field.pk)}
    told = {"count": "6", "height_low": "550 m", "height_high": "650 m", "by_on": day(200)}
    return ids | told | more


def test_a_list_is_written_changed_and_struck_out(shop: TestClient) -> None:
    """From nothing to a list of two kinds, in a few fields; what the form knows from the last line stands there."""
    assert "A new season" in shop.get("/season").text
    season = _begun(shop)
    empty = opened(shop, season)
    assert "Nothing is on the list yet" in empty.texts["main"]
    assert empty.forms["wish"].fields["launch_field_id"] != ""  # there is one field only
    assert saved(shop, season, _wish(shop), "wish") == f"{season}#wish"
    listed = opened(shop, season)
    assert "Choose a motor for Dunlin" in listed.texts["main"]
    assert "Choose a motor for Dunlin" in opened(shop, "/").texts["running"]  # Today's one next thing
    assert "0 of 6 flights on the shelf" in opened(shop, "/").texts["running"]
    assert "0 of 6" in listed.texts["main"]
    assert listed.forms["wish"].fields["by_on"] == day(200)
    with writing(engine_of(shop)) as session:
        build.formula(session, "Marram")
        build.case(session, name="Long 54")
        session.commit()
    assert "What the next three would teach" in opened(shop, f"{season}/tests/new").texts["main"]
    assert saved(shop, f"{season}/tests/new", {"by_on": day(90)}) == season  # the only formula and case stand there
    assert saved(shop, f"{season}/wishes/1", {"count": "9"}) == season
    assert "0 of 9" in opened(shop, season).texts["main"]
    saved(shop, f"{season}/wishes/1", {"why": "The rocket is lost."}, "strike")
    assert "Dunlin" not in opened(shop, season).texts["wishes"]
    assert "Struck out" in opened(shop, f"{season}/wishes/1").texts["main"]
    with Session(engine_of(shop)) as session:
        assert [(wish.count, wish.kind) for wish in session.exec(select(Wish))] == [(9, "flight"), (3, "test")]
    with clock.turned_to(clock.now() + timedelta(days=500)):
        over = opened(shop, season)
    assert "This season is over. 0 of 0 flights were flown, 0 of 3 tests fired." in over.texts["main"]
    assert "another day" not in over.texts["main"]
    assert "wish" not in over.forms


@pytest.mark.parametrize(
    ("typed", "field", "words"),
    [
        ({"by_on": "2020-01-01"}, "by_on", "This day is past"),
        ({"by_on": "2059-01-01"}, "by_on", "give the season other days"),
        ({"count": "10000"}, "count", "at most 200"),
        ({"count": "0"}, "count", "at least 1"),
        ({"height_low": "950 m", "height_high": "960 m"}, "height_low", "ends at 900 m"),
        ({"height_low": "700 m"}, "height_high", "lies below the lowest"),
        ({"rocket_id": ""}, "rocket_id", "Choose one"),
    ],
)
def test_a_wish_that_cannot_be_is_answered_beside_its_field(
    shop: TestClient, typed: dict[str, str], field: str, words: str
) -> None:
    page = refused(shop, _begun(shop), _wish(shop, **typed), "wish")
    assert words in page.fault(field, "wish")


def test_a_season_without_an_evening_or_in_the_past_is_answered_beside_its_fields(shop: TestClient) -> None:
    page = refused(shop, "/season/new", {"ends_on": "2020-01-01", "budget": "1,250"})
    assert "Write an amount" in page.fault("budget")
    page = refused(shop, "/season/new", {"ends_on": "2020-01-01"})
    assert "is past" in page.fault("ends_on")
    assert "Without an evening nothing can be cast" in page.texts["form-weekdays-error"]
    season = saved(shop, "/season/new", {"weekdays": "2", "budget": "€ 80"})
    form = opened(shop, f"{season}/edit").forms["form"]
    assert (form.fields["weekdays"], form.fields["budget"]) == ("2", "80.00 €")


def test_days_off_are_kept_and_taken_away(shop: TestClient) -> None:
    season = _begun(shop)
    before = opened(shop, f"{season}/edit").texts["days"]
    page = refused(shop, f"{season}/edit", {"kind": "off", "first_on": "2020-01-01"}, "day")
    assert "This day is past" in page.fault("first_on", "day")
    saved(shop, f"{season}/edit", {"kind": "off", "first_on": day(1), "last_on": day(60), "why": "Away"}, "day")
    assert "off, Away" in opened(shop, f"{season}/edit").texts["days"]
    saved(shop, f"{season}/edit", {}, "away-1")
    assert opened(shop, f"{season}/edit").texts["days"].split() == before.split()


def test_a_season_that_is_not_there_and_a_wish_of_another_are_told(shop: TestClient) -> None:
    season = _begun(shop)
    saved(shop, season, _wish(shop), "wish")
    other = saved(shop, "/season/new", {"weekdays": "3"})
    with Session(engine_of(shop)) as session:
        assert len(session.exec(select(Season)).all()) == 2
    for address in ("/season/99", f"{other}/wishes/1", f"{season}/wishes/99"):
        assert shop.get(address).status_code == 404


def test_a_firing_is_told_to_be_for_another_wish_and_every_season_is_seen(shop: TestClient) -> None:
    season = _begun(shop)
    saved(shop, season, _wish(shop, count="2"), "wish")
    saved(shop, season, _wish(shop, count="1", height_low="300 m", height_high="400 m"), "wish")
    with writing(engine_of(shop)) as session:
        rocket = session.exec(select(Rocket).where(Rocket.name == "Dunlin")).one()
        motor = build.bare_motor(session, build.ready_grains(session, 1))
        build.bare_firing(session, motor, kind="flight", rocket_id=rocket.pk, altitude_m=560.0)
        session.commit()
        form = f"fired-{motor.pk}"
    assert "Flown: 1 of 2" in opened(shop, f"{season}/wishes/1").texts["main"]
    saved(shop, f"{season}/wishes/1", {"wish_id": "2"}, form)
    assert "Flown: 0 of 2" in opened(shop, f"{season}/wishes/1").texts["main"]
    assert "Flown: 1 of 1" in opened(shop, f"{season}/wishes/2").texts["main"]
    assert "3 wished, 1 planned, 1 cast, 1 fired" in opened(shop, "/season/past").texts["main"]
    saved(shop, f"{season}/wishes/1", {"why": "The rocket is lost."}, "strike")
    assert "For another wish" not in opened(shop, f"{season}/wishes/2").texts["main"]
