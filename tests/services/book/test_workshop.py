"""Settings that hold together, and editions of the checklist."""

import pytest
from sqlmodel import Session

from app.errors import Conflict, Refused
from app.models.base import as_form
from app.models.workshop import WorkshopIn
from app.services.book import workshop
from app.units import METRIC, US
from tests import build


def _settings(session: Session, **more: str) -> WorkshopIn:
    house = workshop.get(session)
    stands = {name: text for name, text in as_form(house, WorkshopIn, house.units).items() if text != ""}
    return WorkshopIn.model_validate({**stands, **more})


def test_a_new_book_follows_common_practice(session: Session) -> None:
    """Common practice, no source: remelt up to about 15 %, 220-250 °F, a week's cure."""
    house = workshop.get(session)
    assert house.remelt_limit_share == 0.15
    assert house.cure_s == 7 * 86400
    assert house.pan_low_k == pytest.approx(273.15 + (220 - 32) / 1.8)
    assert house.pan_limit_k == pytest.approx(273.15 + (250 - 32) / 1.8)


def test_settings_saved_as_they_stand_change_nothing(session: Session) -> None:
    before = workshop.get(session).model_dump(exclude={"version"})
    workshop.set_up(session, _settings(session), workshop.get(session).version)
    for name, value in workshop.get(session).model_dump(exclude={"version"}).items():
        assert value == (pytest.approx(before[name], rel=1e-8) if isinstance(value, float) else before[name]), name


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"pan_low": "121 C", "pan_limit": "121 C"}, "pan_limit"),
        ({"pan_low": "130 C"}, "pan_limit"),
        ({"accept": "85 %", "reject": "85 %"}, "reject"),
        ({"accept": "80 %"}, "reject"),
    ],
)
def test_settings_that_contradict_each_other_are_refused(session: Session, more: dict[str, str], field: str) -> None:
    with pytest.raises(Refused) as caught:
        workshop.set_up(session, _settings(session, **more))
    assert caught.value.field == field


def test_a_bare_cure_is_days_and_a_bare_checklist_limit_is_hours(session: Session) -> None:
    house = workshop.set_up(session, _settings(session, cure="10", checklist_valid="2,5"))
    assert (house.cure_s, house.checklist_valid_s) == (864000.0, 9000.0)


def test_one_choice_sets_us_units_throughout_and_back(session: Session) -> None:
    house = workshop.set_up(session, _settings(session, system="US"))
    assert (house.units, house.system) == (US, "US")
    house = workshop.set_up(session, _settings(session, system="Metric"))
    assert (house.units, house.system) == (METRIC, "Metric")


def test_a_unit_changed_by_itself_counts_beside_the_choice_of_all(session: Session) -> None:
    workshop.set_up(session, _settings(session, mass_unit="oz"))
    assert workshop.get(session).system == "Each by itself"
    house = workshop.set_up(session, _settings(session, system="US", mass_unit="g"))
    assert house.units == US._replace(mass="g")
    workshop.set_up(session, _settings(session, system="US"))
    assert workshop.get(session).units == US


def test_settings_from_an_old_page_are_a_conflict(session: Session) -> None:
    seen = workshop.get(session).version
    workshop.set_up(session, _settings(session, person="Ada"), seen)
    with pytest.raises(Conflict):
        workshop.set_up(session, _settings(session, person="Bo"), seen)


def test_counts_leave_out_what_is_retired(session: Session) -> None:
    assert set(workshop.counts(session).values()) == {0}
    build.supply(session)
    formula = build.formula(session)
    build.batch(session, blend=formula)
    build.formula(session, row=formula, parts={"KNO3": "65", "sorbitol": "35"})
    build.rod(session).retired = True
    session.flush()
    counts = workshop.counts(session)
    assert (counts["supplies"], counts["formulas"], counts["patterns"], counts["rods"]) == (1, 1, 1, 0)
