"""The same motor with other numbers of grains."""

import pytest
from sqlmodel import Session

from app.models.flight import FlightIn
from app.models.test_piece import TestPieceIn
from app.services.flight import flights, grain_count_study
from app.services.grains import test_pieces
from app.services.learning import learning
from app.services.motors import designs
from tests import build


def test_each_number_that_fits_is_what_a_design_of_its_own_gives(session: Session) -> None:
    data = build.design_in(session, pattern=build.pattern(session, casting_tube_id=build.tube(session, tare="96 g").pk))
    rocket, field = build.rocket(session), build.field(session, elevation="0 m")
    asked = FlightIn.model_validate({"rocket_id": rocket.pk, "launch_field_id": field.pk, "empty_motor": "900 g"})
    estimate = flights.estimate(session, designs.predict(session, data), asked)
    found = grain_count_study.compare(session, data, estimate)
    assert [one.count for one in found] == [1, 2, 3, 4], "the case has room for four"
    three = found[2]
    alone = designs.predict(session, data.model_copy(update={"count": 3}))
    assert three.run is not None
    assert three.flight is not None
    assert three.run.designation == alone.designation
    assert three.run.total_impulse == pytest.approx(alone.total_impulse.mid)
    assert three.flight.highest == pytest.approx(flights.estimate(session, alone, asked).flight.highest, rel=5e-3)
    flown = [(one.count, one.run, one.flight) for one in found if one.run and one.flight]
    assert [count for count, *_ in flown] == [2, 3, 4], "one grain does not leave the rail"
    for count, run, flight in flown:  # by hand: a rocket of 7.26 kg, an empty motor of 900 g, tubes and propellant
        assert flight.liftoff_mass == pytest.approx(7.26 + 0.9 + 0.096 * count + run.propellant_mass)
    heights = [one.flight.highest for one in found if one.flight]
    assert heights == sorted(heights)


def test_without_a_rocket_the_motors_alone_are_told(session: Session) -> None:
    found = grain_count_study.compare(session, build.design_in(session), None)
    assert all(one.flight is None for one in found)
    assert found[3].run is not None


def test_a_number_that_is_no_motor_is_told_as_such(session: Session) -> None:
    """One grain behind so wide a throat holds no pressure; the others are told all the same."""
    found = grain_count_study.compare(session, build.design_in(session, throat_d="30 mm"), None)
    assert found[0].run is None
    assert found[-1].count == 4


def test_what_was_learned_is_in_every_number(session: Session) -> None:
    """Sticks of a faster lot: peaks rise as steady burning has it, P ~ a**(1/(1-n)) (Sutton & Biblarz), n 0.319."""
    sucrose = build.formula(session, parts={"potassium nitrate": "65 %", "sucrose": "35 %"})
    data = build.design_in(session, formula=sucrose)
    before = grain_count_study.compare(session, data, None)
    lot = build.cast(session, 1, formula_id=sucrose.pk)
    stick = {"length": "50 mm", "burn_time": "11 s", "elevation": "0 m", "burned_on": lot.planned_for, "by_video": True}
    test_pieces.record(session, lot, TestPieceIn.model_validate(stick))
    factor = learning.factors(session, sucrose, None).rate.factor
    assert factor > 1.05
    for one, was in zip(grain_count_study.compare(session, data, None), before, strict=True):
        assert one.run is not None
        assert was.run is not None
        assert one.run.peak_pressure / was.run.peak_pressure == pytest.approx(factor ** (1 / (1 - 0.319)), rel=0.02)


def test_a_dozen_is_the_most_that_is_looked_at(session: Session) -> None:
    short = build.pattern(session, length="10 mm")
    found = grain_count_study.compare(session, build.design_in(session, pattern=short, throat_d="30 mm"), None)
    assert [one.count for one in found] == list(range(1, 13))
