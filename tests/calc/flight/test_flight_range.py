"""Ranges of flights: what goes in comes out where the answer is known, and shares count what they say."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.stats import norm

from app.calc.base.errors import CalcError, NoSolution
from app.calc.flight import launch
from app.calc.flight.flight import Motor, Pad, Parachute, Recovery, Rocket, fly
from app.calc.flight.flight_range import FlightSpread, MotorDraws, drawn_from_marks, fly_range
from app.calc.motor.simulation import example, simulate
from app.calc.motor.uncertainty import predict_range

G = 9.80665
MOTOR = Motor([0.0, 0.05, 0.6, 1.4, 1.8, 2.0], [0.0, 420.0, 520.0, 470.0, 120.0, 0.0], 0.7)
ROCKET = Rocket(6.5, 0.1, 0.5, recovery=Recovery(Parachute(2.1, 1.5)))
PAD = Pad(2.0, wind=4.0, turning=0.5)
ALIKE = MotorDraws([1.0], [1.0])
NONE = FlightSpread(drag=0.0, mass=0.0, wind=0.0, still_wind=0.0, tilt=0.0, turning=(0.5, 0.5))


def test_without_spread_it_is_the_one_flight() -> None:
    alone = fly(MOTOR, ROCKET, PAD)
    found = fly_range(MOTOR, ROCKET, PAD, ALIKE, NONE, samples=16)
    for mark in (found.highest.low, found.highest.mid, found.highest.high):
        assert mark == pytest.approx(alone.highest, rel=1e-6)
    assert found.landing_distance.mid == pytest.approx(alone.landing_distance, rel=1e-4)


def test_impulse_marks_come_back_as_speed_in_a_vacuum(monkeypatch: pytest.MonkeyPatch) -> None:
    """A kick without air: speed goes with impulse, height with its square (closed form), so marks map to marks."""
    monkeypatch.setattr(
        launch,
        "air_column",
        lambda altitude, warmer=0.0: (np.full(len(altitude), 1e-12), np.full(len(altitude), 340.0)),
    )
    kick = Motor([0.0, 0.025], [8e4, 8e4], 1e-6)
    draws = drawn_from_marks(0.9, 1.08, 1.0, 1.0, 1000)
    found = fly_range(kick, Rocket(10.0, 0.05, 0.1), Pad(0.01), draws, NONE, windy=False, samples=1000)
    for mark, share in ((found.highest.low, 0.9), (found.highest.mid, 1.0), (found.highest.high, 1.08)):
        assert mark == pytest.approx((share * 200.0) ** 2 / (2 * G), rel=6e-3)


def test_marks_of_drawn_motors() -> None:
    drawn = drawn_from_marks(0.92, 1.05, 0.85, 1.3, 2000)
    impulse, time = np.asarray(drawn.impulse), np.asarray(drawn.time)
    assert np.quantile(impulse, (0.05, 0.5, 0.95)) == pytest.approx([0.92, 1.0, 1.05], rel=2e-3)
    assert np.quantile(time, (0.05, 0.5, 0.95)) == pytest.approx([0.85, 1.0, 1.3], rel=2e-3)
    assert abs(np.corrcoef(impulse, time)[0, 1]) < 0.1


def test_a_ceiling_is_passed_by_the_share_that_lies_above_it() -> None:
    """Half of the draws above the middle, one in twenty above the 95 % mark."""
    draws = drawn_from_marks(0.93, 1.06, 0.9, 1.1)
    first = fly_range(MOTOR, ROCKET, PAD, draws)
    for ceiling, share in ((first.highest.mid, 0.5), (first.highest.high, 0.05)):
        again = fly_range(MOTOR, ROCKET, PAD, draws, ceiling=ceiling)
        assert again.above_ceiling == pytest.approx(share, abs=0.01)
    assert first.above_ceiling is None


def test_landing_outside_the_field() -> None:
    found = fly_range(MOTOR, ROCKET, PAD, ALIKE, edges=(1e5, 1e5))
    assert found.outside_field == 0
    beyond = fly_range(MOTOR, ROCKET, PAD, ALIKE, edges=(1e5, found.landing_distance.high))
    assert beyond.outside_field == pytest.approx(0.05, abs=0.01)
    assert (beyond.landings > found.landing_distance.high).sum() == round(0.05 * beyond.samples)
    assert np.all(np.diff(beyond.landings) >= 0)
    assert fly_range(MOTOR, ROCKET, PAD, ALIKE, edges=(1.0, 1.0), windy=False).outside_field is None
    assert fly_range(MOTOR, ROCKET, PAD, ALIKE).outside_field is None


def test_more_spread_more_range_and_the_same_seed_the_same_answer() -> None:
    usual = fly_range(MOTOR, ROCKET, PAD, ALIKE)
    assert usual.highest == fly_range(MOTOR, ROCKET, PAD, ALIKE).highest
    wider = fly_range(MOTOR, ROCKET, PAD, ALIKE, FlightSpread(drag=0.3))
    assert wider.highest.high - wider.highest.low > usual.highest.high - usual.highest.low
    many = fly_range(MOTOR, ROCKET, PAD, ALIKE, samples=1024)
    assert usual.highest.low == pytest.approx(many.highest.low, rel=0.02)
    assert usual.highest.high == pytest.approx(many.highest.high, rel=0.02)


def test_mass_alone_against_linear_propagation() -> None:
    """A small spread of mass moves apogee by its derivative: 1.645 standard deviations to each mark."""
    only = replace(NONE, mass=0.005)
    found = fly_range(MOTOR, ROCKET, replace(PAD, wind=0.0), ALIKE, only, samples=512)

    def apogee(scale: float) -> float:
        return fly(MOTOR, replace(ROCKET, dry_mass=6.5 * scale), replace(PAD, wind=0.0)).highest

    slope = (apogee(1.01) - apogee(0.99)) / 0.02
    assert found.highest.high - found.highest.mid == pytest.approx(-slope * 0.005 * norm.ppf(0.95), rel=0.03)


def test_weak_draws_are_counted_and_too_many_refused() -> None:
    some = fly_range(MOTOR, ROCKET, PAD, MotorDraws([1.0, 1.0, 1.0, 0.05], [1.0] * 4))
    assert some.stays_on_rail == pytest.approx(0.25)
    assert some.highest.low > 100
    with pytest.raises(NoSolution, match="do not lift"):
        fly_range(MOTOR, ROCKET, PAD, MotorDraws([1.0, 0.05, 0.05, 0.05], [1.0] * 4))


def test_what_never_opens_is_counted() -> None:
    late = replace(ROCKET, recovery=Recovery(Parachute(2.1, 1.5), delay=100.0))
    found = fly_range(MOTOR, late, PAD, ALIKE)
    assert found.nothing_opens == 1
    assert math.isnan(found.opening_speed.mid)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"samples": 3}, "samples"),
        ({"draws": MotorDraws([], [])}, "draws"),
        ({"draws": MotorDraws([1.0, 1.0], [1.0])}, "draws"),
        ({"draws": MotorDraws([math.nan], [1.0])}, "draws"),
        ({"pad": replace(PAD, wind=-1.0)}, "speed"),
    ],
)
def test_bad_input_names_the_field(change: dict[str, Any], field: str) -> None:
    given = {"motor": MOTOR, "rocket": ROCKET, "pad": PAD, "draws": ALIKE, **change}
    with pytest.raises(CalcError) as caught:
        fly_range(**given)
    assert caught.value.field == field


def test_marks_that_do_not_lie_about_one() -> None:
    with pytest.raises(CalcError, match="high"):
        drawn_from_marks(0.9, 0.95, 0.9, 1.1)


def test_marks_stand_in_for_the_motors_they_were_taken_from() -> None:
    """Flown with each sampled motor itself, impulse and burn time together, and with their marks alone."""
    motor = example()
    run, sampled = simulate(motor), predict_range(motor, samples=256)
    rising = np.concatenate(([True], np.diff(run.time) > 1e-9))
    push = Motor(run.time[rising], run.thrust[rising], run.propellant_mass)
    impulse, longer = sampled.figures.total_impulse / run.total_impulse, sampled.figures.burn_time / run.burn_time
    by_motor = fly_range(push, ROCKET, PAD, MotorDraws(impulse, longer)).highest
    little, much, short, long = (
        float(np.quantile(shares, mark)) for shares in (impulse, longer) for mark in (0.05, 0.95)
    )
    by_marks = fly_range(push, ROCKET, PAD, drawn_from_marks(little, much, short, long)).highest
    assert by_marks.mid == pytest.approx(by_motor.mid, rel=0.02)
    assert by_marks.high - by_marks.low == pytest.approx(by_motor.high - by_motor.low, rel=0.15)
