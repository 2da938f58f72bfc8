"""Firings: what they use up, what cannot be true of them, and their correction."""

import os
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, select

from app import clock
from app.errors import Conflict, NotFound, Refused
from app.models import Firing, Nozzle
from app.models.firing import RESULTS
from app.models.motor import TakeApartIn
from app.services.book import moments
from app.services.firings import firings
from app.services.flight import flights
from app.services.grains import grains
from app.services.hardware import inventory
from app.services.learning import prediction_record
from app.services.motors import builds
from tests import build
from tests.marks import marks
from tests.moment import stand_in, wall


def flight_in(session: Session, **more: Any) -> dict[str, Any]:
    """The words that make a firing a flight."""
    return {"kind": "flight", "rocket_id": build.rocket(session).pk, "launch_field_id": build.field(session).pk, **more}


def test_a_firing_uses_up_the_grains_and_counts_a_use_of_the_nozzle(session: Session) -> None:
    nozzle = build.nozzle(session)
    built = build.motor_build(session, nozzle=nozzle)
    assert firings.nozzle_uses(session, nozzle.pk) == 0
    fired = build.firing(session, built, measured_impulse="730 N·s", measured_peak_pressure="3,1 MPa")
    around = builds.by_code(session, built.code)
    assert (around.state, around.fired) == ("fired", fired)
    assert {v.state for v in around.grains} == {"fired"}
    assert firings.nozzle_uses(session, nozzle.pk) == 1
    assert firings.fireable(session) == []
    assert fired.measured_impulse_typed == "730 N·s"
    assert fired.measured_peak_pressure_pa == pytest.approx(3.1e6)
    assert abs(fired.fired_at - clock.now()) < timedelta(minutes=1)


def test_a_motor_that_did_not_light_stays_whole(session: Session) -> None:
    built = build.motor_build(session)
    build.firing(session, built, result="no_light")
    build.firing(session, built, result="no_light")
    assert builds.by_code(session, built.code).state == "ready"
    assert firings.nozzle_uses(session, built.nozzle_id) == 0
    build.firing(session, built)
    assert builds.by_code(session, built.code).state == "fired"
    assert firings.listed(session).total == 3


def test_a_motor_fires_once(session: Session) -> None:
    built = build.motor_build(session)
    first = build.firing(session, built)
    with pytest.raises(Refused, match="a motor fires once") as fault:
        build.firing(session, built)
    assert fault.value.field == "motor_build_id"
    again = Firing(motor_build_id=built.pk, kind="static", fired_at=first.fired_at, result="weak")
    session.add(again)
    with pytest.raises(IntegrityError):  # the book itself keeps it, whatever a service forgets
        session.flush()


def test_a_motor_taken_apart_or_unknown_is_not_fired(session: Session) -> None:
    built = build.motor_build(session)
    builds.take_apart(session, built, TakeApartIn(why="rain"))
    with pytest.raises(Refused, match="was taken apart"):
        build.firing(session, built)
    with pytest.raises(Refused, match="Choose one of the motors"):
        build.firing(session, built, motor_build_id=999)
    with pytest.raises(NotFound):
        firings.get(session, 999)


@pytest.mark.parametrize(("hours", "words"), [(1, "still to come"), (-24 * 3, "was built on"), (-6, "was cured only")])
def test_the_moment_must_be_possible(session: Session, hours: int, words: str) -> None:
    now = wall(f"{clock.today()}T21:00")
    with clock.turned_to(now - timedelta(hours=4)):
        ready = build.ready_grains(session)  # cured at 16 h
    with clock.turned_to(now):
        built = build.motor_build(session, grains=ready)
        with pytest.raises(Refused, match=words) as fault:
            build.firing(session, built, fired_at=now + timedelta(hours=hours))
    assert fault.value.field == "fired_at"


def test_a_time_without_zone_is_the_benchs_own(session: Session) -> None:
    typed = clock.local(clock.now()).replace(tzinfo=None, microsecond=0)
    fired = build.firing(session, fired_at=typed)
    assert clock.local(fired.fired_at).replace(tzinfo=None) == typed


@pytest.fixture
def new_york() -> Iterator[None]:
    """The bench is in New York."""
    if not hasattr(time, "tzset"):
        pytest.skip("this system cannot change its zone for one process")
    before = os.environ["TZ"]
    stand_in("America/New_York")
    yield
    stand_in(before)


def test_a_firing_in_the_hour_that_comes_twice(session: Session, new_york: None) -> None:
    """On 1 November 2026 New York's clocks go from 2:00 back to 1:00 (15 USC 260a: the first Sunday of November).

    Cured at 1:20 and fired at 1:30 of the second hour: it was refused as fired before it was cured.
    """
    typed = datetime(2026, 11, 1, 1, 30)
    second = datetime(2026, 11, 1, 6, 30, tzinfo=UTC)
    with clock.turned_to(second - timedelta(minutes=10)) as turn:
        made = build.motor_build(session)
        turn(second + timedelta(seconds=20))
        fired = build.firing(session, made, fired_at=typed)
        assert fired.fired_at == second
        turn(second + timedelta(days=1))
        assert moments.of_wall(typed, "fired_at") == second
        first = second - timedelta(hours=1)
        assert moments.of_wall(typed, "fired_at", first) == first, "a correction leaves the hour that stood there"
        with pytest.raises(Refused, match="clock change left that time out"):
            moments.of_wall(datetime(2026, 3, 8, 2, 30), "fired_at")


@pytest.mark.parametrize(
    ("texts", "field"),
    [
        ({"kind": "flight"}, "rocket_id"),
        ({"altitude": "500 m"}, "altitude"),
        ({"launch_field_id": 99}, "launch_field_id"),
        ({"kind": "flight", "rocket_id": 99}, "rocket_id"),
        ({"throat_after": "40 mm"}, "throat_after"),
        ({"result": "burst"}, "words"),
        ({"result": "nozzle"}, "words"),
        ({"result": "burn_through", "words": "ok"}, "words"),
        ({"result": "other"}, "words"),
        ({"result": "no_light", "measured_impulse": "700 N·s"}, "measured_impulse"),
        ({"result": "no_light", "measured_burn_time": "1 s"}, "measured_burn_time"),
    ],
)
def test_what_does_not_go_together_is_refused_beside_its_field(
    session: Session, texts: dict[str, Any], field: str
) -> None:
    with pytest.raises(Refused) as fault:
        build.firing(session, **texts)
    assert fault.value.field == field
    assert session.exec(select(Firing)).all() == []


def test_a_static_test_has_no_rocket(session: Session) -> None:
    with pytest.raises(Refused, match="has no rocket") as fault:
        build.firing(session, rocket_id=build.rocket(session).pk)
    assert fault.value.field == "rocket_id"


@pytest.mark.parametrize("result", sorted(set(RESULTS) - {"no_light"}))
def test_every_result_but_one_uses_the_motor_up(session: Session, result: str) -> None:
    fired = build.firing(session, result=result, words="The closure was found in the field.")
    assert builds.around(session, firings.its_motor(session, fired).build).state == "fired"


def test_a_throat_measured_afterwards_goes_into_the_nozzles_history(session: Session) -> None:
    built = build.motor_build(session)
    fired = build.firing(session, built, throat_after="12.9 mm")
    nozzle = session.get(Nozzle, built.nozzle_id)
    assert nozzle is not None
    assert inventory.throat_now(session, nozzle) == 0.0129
    assert built.code in inventory.measures(session, nozzle)[0].note
    again = build.because(build.firing_in(session, built, throat_after="12.8 mm"), "read off by one")
    firings.correct(session, fired, again, fired.version)
    assert [m.throat_d_m for m in inventory.measures(session, nozzle)] == [0.0128], "the wrong one is struck out"
    firings.correct(session, fired, build.firing_in(session, built, throat_after="12.8 mm", words="fine"))
    assert len(inventory.measures(session, nozzle)) == 1
    with pytest.raises(Refused, match=r"12\.8 mm was measured"):
        firings.correct(session, fired, build.firing_in(session, built))
    session.expire_all()
    firings.correct(session, fired, build.because(build.firing_in(session, built), "of another nozzle"))
    assert inventory.measures(session, nozzle) == []


def test_a_flight_stands_beside_what_was_expected(session: Session) -> None:
    fired = build.firing(session, **flight_in(session, altitude="310 m", measured_impulse="730 N·s", wind="3 m/s"))
    built = firings.its_motor(session, fired)
    assert built.prediction is not None
    found = prediction_record.from_row(built.prediction)
    estimate, refusal = flights.estimate_of(session, found, fired)
    assert refusal == ""
    assert estimate is not None
    table = {label: (measured, expected) for label, measured, expected, _ in firings.beside(fired, found, estimate)}
    measured, expected = table["Total impulse"]
    assert measured == 730
    assert expected is not None
    assert expected.mid == built.prediction.total_impulse_ns
    altitude = table["Altitude"][1]
    assert altitude is not None
    low, mid, high = marks(altitude)
    assert low < mid < high
    assert estimate.above_ceiling is False


def test_a_rocket_too_heavy_to_leave_the_rail_is_told_in_words(session: Session) -> None:
    heavy = build.rocket(session, mass="120 kg")
    fired = build.firing(session, **flight_in(session, rocket_id=heavy.pk))
    built = firings.its_motor(session, fired)
    assert built.prediction is not None
    estimate, refusal = flights.estimate_of(session, prediction_record.from_row(built.prediction), fired)
    assert estimate is None
    assert "does not lift" in str(refusal)


def test_a_correction_changes_what_was_written(session: Session) -> None:
    built = build.motor_build(session)
    fired = build.firing(session, built)
    seen = fired.version
    changed = firings.correct(session, fired, build.firing_in(session, built, result="weak", words="Slow."), seen)
    assert (changed.pk, changed.result, changed.words, changed.version) == (fired.pk, "weak", "Slow.", seen + 1)
    with pytest.raises(Conflict):
        firings.correct(session, fired, build.firing_in(session, built), seen)
    other = build.motor_build(session)
    with pytest.raises(Refused, match="The motor of a firing stays"):
        firings.correct(session, fired, build.firing_in(session, other))


def test_a_correction_to_did_not_light_gives_the_motor_back_and_cannot_burn_it_twice(session: Session) -> None:
    built = build.motor_build(session)
    first = build.firing(session, built)
    firings.correct(session, first, build.firing_in(session, built, result="no_light"))
    assert {v.state for v in builds.around(session, built).grains} == {"in motor"}
    second = build.firing(session, built)
    with pytest.raises(Refused, match="was burned in a later firing") as fault:
        firings.correct(session, first, build.firing_in(session, built, result="good"))
    assert fault.value.field == "result"
    firings.correct(session, second, build.firing_in(session, built, result="no_light"))
    builds.take_apart(session, built, TakeApartIn(why="wet"))
    with pytest.raises(Refused, match="taken apart after it did not light"):
        firings.correct(session, second, build.firing_in(session, built, result="good"))
    assert len(grains.ready(session)) == 4


# --- Figures that can hardly be ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("field", "slip", "words"),
    [
        ("measured_impulse", 10.0, "Did you mean"),
        ("measured_impulse", 0.1, "Did you mean"),
        ("measured_burn_time", 10.0, "Did you mean"),
        ("measured_peak_pressure", 3.0, "Look at the decimal sign and the unit"),
    ],
)
def test_a_slipped_figure_is_asked_about_once(session: Session, field: str, slip: float, words: str) -> None:
    built = build.motor_build(session)
    predicted = builds.around(session, built).prediction
    assert predicted is not None
    si = {
        "measured_impulse": (predicted.total_impulse_ns, "N s"),
        "measured_burn_time": (predicted.burn_time_s, "s"),
        "measured_peak_pressure": (predicted.peak_pressure_pa / 1e6, "MPa"),
    }
    value, unit = si[field]
    typed: dict[str, Any] = {field: f"{value * slip:.6g} {unit}"}
    with pytest.raises(Refused, match=words) as caught:
        build.firing(session, built, **typed)
    assert caught.value.field == field
    fired = build.firing(session, built, **typed, sure=True)
    assert getattr(fired, f"{field}_typed") == typed[field]
    changed = build.firing_in(session, built, **typed, words="Read again.")
    assert firings.correct(session, fired, changed, fired.version).words == "Read again."  # not asked a second time


def test_feet_typed_as_metres_are_asked_about(session: Session) -> None:
    """A foot is 0.3048 m (NIST SP 811)."""
    built, flew = build.motor_build(session), flight_in(session)
    trial = build.firing(session, built, **flew)
    predicted = builds.around(session, built).prediction
    assert predicted is not None
    estimate = flights.estimate_of(session, prediction_record.from_row(predicted), trial)[0]
    assert estimate is not None
    feet = estimate.highest.mid / 0.3048
    with pytest.raises(Refused, match="Altitude is predicted as about") as caught:
        firings.correct(session, trial, build.firing_in(session, built, **flew, altitude=f"{feet:.0f} m"))
    assert caught.value.field == "altitude"
    told = build.firing_in(session, built, **flew, altitude=f"{feet:.0f} ft")
    assert firings.correct(session, trial, told).altitude_m == pytest.approx(estimate.highest.mid, rel=1e-3)
