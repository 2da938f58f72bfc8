"""Which figure of a firing is held against its range, and where it lies in it; by hand."""

import json
from datetime import timedelta
from math import log

import pytest
from sqlmodel import Session

from app import clock
from app.models import Curve, CurveFile, Firing, MotorBuild
from app.services.review import coverage
from tests import build

RANGES = {"total_impulse": (500.0, 400.0, 600.0), "burn_time": (1.5, 1.2, 1.8)}
RANGES |= {"mean_thrust": (333.0, 250.0, 450.0), "peak_pressure": (5e6, 4e6, 6e6)}


def fired(session: Session, result: str = "good", **measured: float | None) -> Firing:
    """A firing of no grains whose motor was predicted to lie in `RANGES`."""
    motor = build.bare_motor(session, [])
    ranges = {key: dict(zip(("mid", "low", "high"), marks, strict=True)) for key, marks in RANGES.items()}
    build.bare_prediction(session, motor, 500.0, json.dumps(ranges, separators=(",", ":")))
    return build.bare_firing(session, motor, result, **measured)


def curve(session: Session, firing: Firing, impulse: float, duration: float, thrust: float, peak: float | None) -> None:
    file = CurveFile(firing_id=firing.pk, name="a.csv", sha256=f"{impulse}", size_bytes=1)
    session.add(file)
    session.flush()
    row = Curve(
        firing_id=firing.pk,
        curve_file_id=file.pk,
        designation="J",
        total_impulse_ns=impulse,
        burn_time_s=duration,
        mean_thrust_n=thrust,
        peak_thrust_n=500.0,
        peak_pressure_pa=peak,
        reading_json="{}",
        result_json="{}",
    )
    session.add(row)
    session.flush()


def values(session: Session, firing: Firing) -> dict[str, float]:
    """The one value that is held against each range."""
    held = [(record.key, record.held) for record in coverage.coverage_of(session, firing.pk).records if record.held]
    assert all(len(of) == 1 for _, of in held)
    return {key: of[0].measured for key, of in held}


def test_what_was_written_down_goes_before_the_curve_and_the_curve_before_nothing(session: Session) -> None:
    typed = fired(session, measured_impulse_ns=510.0, measured_burn_time_s=1.7, measured_peak_pressure_pa=4.5e6)
    assert values(session, typed) == {
        "total_impulse": 510.0,
        "burn_time": 1.7,
        "peak_pressure": 4.5e6,
        "mean_thrust": pytest.approx(510 / 1.7),  # of no curve: impulse over burn time
    }
    curve(session, typed, 520.0, 1.6, 310.0, 4.7e6)
    assert values(session, typed) == {
        "total_impulse": 510.0,
        "burn_time": 1.7,
        "peak_pressure": 4.5e6,
        "mean_thrust": 310.0,
    }
    alone = fired(session)
    curve(session, alone, 1.0, 1.0, 1.0, 1.0)
    curve(session, alone, 530.0, 1.4, 320.0, 4.9e6)  # read again: the newest counts
    assert values(session, alone) == {
        "total_impulse": 530.0,
        "burn_time": 1.4,
        "peak_pressure": 4.9e6,
        "mean_thrust": 320.0,
    }
    half = fired(session, measured_impulse_ns=490.0)
    assert values(session, half) == {"total_impulse": 490.0}


def test_a_value_is_held_against_its_own_range_by_the_logarithm(session: Session) -> None:
    firing = fired(session, measured_impulse_ns=440.0, measured_burn_time_s=2.0)
    impulse, duration = (coverage.coverage_of(session).records[i].held[0] for i in (0, 1))
    motor = session.get_one(MotorBuild, firing.motor_build_id)
    assert (impulse.firing_id, impulse.motor_code, impulse.result) == (firing.pk, motor.code, "good")
    assert (impulse.expected, impulse.low, impulse.high) == (500.0, 400.0, 600.0)
    assert impulse.place == pytest.approx(log(440 / 400) / log(600 / 400))
    assert (impulse.inside, duration.inside) == (True, False)


def test_firings_without_a_range_or_a_burn_count_for_nothing(session: Session) -> None:
    fired(session, "no_light")
    fired(session)  # nothing measured
    for _ in range(2):
        build.bare_firing(session, build.bare_motor(session, []), measured_impulse_ns=500.0)
    found = coverage.coverage_of(session)
    assert [record.held for record in found.records] == [[], [], [], []]
    assert found.unpredicted == 2
    assert [record.verdict for record in found.records] == [None] * 4


def test_misses_come_newest_first(session: Session) -> None:
    late = fired(session, measured_impulse_ns=610.0)
    with clock.turned_to(clock.now() - timedelta(days=3)):
        early = fired(session, measured_impulse_ns=390.0)
    fired(session, measured_impulse_ns=500.0)
    record = coverage.coverage_of(session).records[0]
    assert [one.firing_id for one in record.misses] == [late.pk, early.pk]
    assert record.verdict is not None
    assert (record.verdict.n, record.verdict.hits) == (3, 1)


def test_ranges_are_read_from_the_head_of_what_was_stored_and_only_whole_ones() -> None:
    """Predictions of other days kept other figures, and the head is cut off somewhere."""
    whole = '"burn_time":{"mid":1.5,"low":1.2,"high":1.8}'
    half = ',"mean_thrust":{"mid":300.0,"low":250.0,"high":null},"peak_pressure":{"mid":5e6,"low":null,"high":6e6}'
    assert coverage.stored_ranges("{" + whole + half + ',"total_impulse":{"mid":500.0,"lo') == {
        "burn_time": (1.5, 1.2, 1.8)
    }
    assert coverage.stored_ranges("") == {}


def test_what_is_predicted_after_a_firing_is_no_range_of_it(session: Session) -> None:
    firing = fired(session, measured_impulse_ns=440.0)
    with clock.turned_to(clock.now() + timedelta(hours=1)):
        motor = session.get_one(MotorBuild, firing.motor_build_id)
        build.bare_prediction(session, motor, 440.0, '{"total_impulse":{"mid":440.0,"low":430.0,"high":450.0}}')
    assert [one.expected for one in coverage.coverage_of(session).records[0].held] == [500.0]
