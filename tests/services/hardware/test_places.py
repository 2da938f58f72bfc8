"""Rockets and fields."""

import pytest
from sqlmodel import Session

from app.errors import Conflict, Refused
from app.models.place import LaunchFieldIn, RocketIn
from app.services.book import repository
from app.services.hardware import places
from tests import build


def test_a_rocket_is_kept_in_si(session: Session) -> None:
    rocket = build.rocket(session, mass="16 lb", diameter="4 in", drag_coefficient=0.55)
    assert rocket.mass_kg == pytest.approx(16 * 0.45359237)  # NIST SP 811: pound, exact
    assert rocket.diameter_m == 0.1016
    assert places.rockets(session) == [rocket]


def test_a_field_may_lie_below_the_sea_and_have_no_ceiling(session: Session) -> None:
    field = build.field(session, elevation="-400 m", ceiling=None)
    assert (field.elevation_m, field.ceiling_m) == (-400.0, None)


def test_names_are_taken_once(session: Session) -> None:
    build.rocket(session, name="Knot")
    build.field(session, name="Pasture")
    with pytest.raises(Refused, match="in the book already"):
        build.rocket(session, name="knot")
    with pytest.raises(Refused, match="in the book already"):
        build.field(session, name="PASTURE")


def test_changing_from_an_old_page_is_a_conflict(session: Session) -> None:
    rocket, field = build.rocket(session), build.field(session)
    as_rocket = RocketIn.model_validate({"name": "Knot", "mass": "1 kg", "diameter": "54 mm"})
    as_field = LaunchFieldIn.model_validate({"name": "Quarry", "elevation": "45 m"})
    seen = rocket.version, field.version
    places.save_rocket(session, as_rocket, rocket, seen[0])
    places.save_field(session, as_field, field, seen[1])
    with pytest.raises(Conflict):
        places.save_rocket(session, as_rocket, rocket, seen[0])
    with pytest.raises(Conflict):
        places.save_field(session, as_field, field, seen[1])


def test_retired_places_leave_the_lists(session: Session) -> None:
    rocket = build.rocket(session)
    rocket.retired = True
    session.flush()
    assert (places.rockets(session), places.rockets(session, retired=True)) == ([], [rocket])
    assert repository.put_away(session, build.field(session)) is True
    assert places.fields(session) == []
