"""Height reached over height expected, for those who fly without a stand: kept, renewed, and told wherever lots and
firings are."""

import csv
import io
import re
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from app.db import writing
from app.models import Case, Firing, FiringFit, MotorBuild, Rocket
from app.services.firings import firing_fits, heights
from app.services.flight import flights
from app.services.learning import fit_records, prediction_record, stored_predictions
from app.services.review import burned_motors, lots_review
from tests import build
from tests.behind import engine_of


def flown(session: Session, **more: Any) -> Firing:
    """A flight of which nothing but the height was measured."""
    rocket, field = build.rocket(session, name="Turnstone"), build.field(session, name="Pasture")
    texts: dict[str, Any] = {"rocket_id": rocket.pk, "launch_field_id": field.pk, "kind": "flight", "altitude": "300 m"}
    return build.firing(session, sure=True, wind="3 m/s", **{**texts, **more})


def estimated(session: Session, firing: Firing) -> prediction_record.Range:
    row = stored_predictions.for_firing(session, firing)
    assert row is not None
    found, why = flights.estimate_of(session, prediction_record.from_row(row), firing)
    assert found is not None, why
    return found.highest


def test_a_flight_without_a_stand_is_held_against_the_height_expected_of_it(session: Session) -> None:
    firing = flown(session)
    (height,) = heights.heights(session, {firing.pk: firing.altitude_m}).values()
    marks = estimated(session, firing)
    assert height.expected == marks
    assert marks.low is not None
    assert marks.high is not None
    assert height.ratio == pytest.approx(300 / marks.mid)
    assert (height.low, height.high) == pytest.approx((marks.low / marks.mid, marks.high / marks.mid))
    assert height.inside == (marks.low <= 300 <= marks.high)
    (burn,) = burned_motors.burned(session, burned_motors.LookIn())
    (line,) = lots_review.lots(session, lots_review.ReviewIn()).lines
    assert burn.height == height
    assert [one.height for one in line.firings] == [height]
    assert line.height_ratio is not None
    assert line.height_ratio.mean == pytest.approx(height.ratio)
    # nothing else was measured, so nothing is learned from it and nothing waits to be fitted
    assert session.exec(select(FiringFit)).one().key == fit_records.NO_FIT
    assert fit_records.waiting(session) == []


def test_what_it_was_flown_with_is_changed_and_the_height_is_flown_again(session: Session) -> None:
    firing = flown(session)
    before = heights.expected(session)[firing.pk]
    built = session.get_one(MotorBuild, firing.motor_build_id)
    for row, change in (
        (session.exec(select(Rocket)).one(), {"mass_kg": 9.0}),
        (session.get_one(Case, built.case_id), {"empty_mass_kg": 3.0}),
        (firing, {"delay_planned_s": 2.0}),
    ):
        for name, value in change.items():
            setattr(row, name, value)
        row.version += 1
        session.flush()
        assert heights.expected(session) == {}, "what was flown with something else counts no more"
        assert heights.catch_up(session, seconds=0.0) == 1
        assert heights.catch_up(session) == 0
        assert heights.expected(session)[firing.pk] == estimated(session, firing)
    assert heights.expected(session)[firing.pk].mid < before.mid


def test_a_fit_that_is_made_anew_keeps_the_height_and_the_other_way_round(session: Session) -> None:
    firing = flown(session, measured_impulse="700 N·s")
    kept = heights.expected(session)
    made = session.exec(select(FiringFit)).one()
    assert made.key != fit_records.NO_FIT
    rows = fit_records.FitRecord.model_validate_json(made.fit_json).rows
    firing_fits.renew(session, firing)
    assert heights.expected(session) == kept
    firing.wind_m_s = 6.0
    heights.renew(session, firing)
    assert heights.expected(session) != kept
    assert fit_records.FitRecord.model_validate_json(session.exec(select(FiringFit)).one().fit_json).rows == rows
    firing.measured_impulse_ns = None  # as corrected
    assert firing_fits.renew(session, firing) is None
    assert session.exec(select(FiringFit)).one().key == fit_records.NO_FIT
    assert heights.expected(session) != {}


def test_a_test_on_the_stand_and_a_rocket_that_cannot_fly_have_no_height(session: Session) -> None:
    assert heights.keys(session) == {}
    firing = build.firing(session)
    assert heights.keys(session) == {}
    heavy = build.rocket(session, name="Anvil", mass="400 kg")
    firing = flown(session, rocket_id=heavy.pk, altitude=None)
    assert list(heights.keys(session)) == [firing.pk]
    assert heights.expected(session) == {}
    assert heights.catch_up(session, seconds=0.0) == 0, "it was tried, and is not tried at every start"


def test_lists_the_lot_and_the_tables_tell_it_with_its_range(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        firing = flown(session)
        (height,) = heights.heights(session, {firing.pk: firing.altitude_m}).values()
        (line,) = lots_review.lots(session, lots_review.ReviewIn()).lines
        lot = line.batch.code
        session.commit()
    told = f"{height.ratio:.2f}", f"{height.low:.2f} to {height.high:.2f}"
    for url in ("/firings", f"/review/{lot}"):
        words = " ".join(re.sub(r"<[^>]+>", " ", client.get(url).text).split())
        assert all(one in words for one in told), url
    (row,) = csv.DictReader(io.StringIO(client.get("/review/firings.csv").text))
    assert float(row["Height, reached over expected"]) == pytest.approx(height.ratio)
    assert float(row["Expected height (m)"]) == pytest.approx(height.expected.mid)
    assert float(row["Nine in ten expected from"]) == pytest.approx(height.low)
    (cells,) = csv.DictReader(io.StringIO(client.get("/review/lots.csv").text))
    assert float(cells["Height, reached over expected, mean"]) == pytest.approx(height.ratio)
    assert cells["Flights behind it"] == "1"
