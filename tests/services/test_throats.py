"""A nozzle's throat: its history, its uses and the growth that the next burn reckons with."""

from datetime import timedelta

import pytest
from sqlmodel import Session

from app import clock
from app.errors import Refused
from app.models.hardware import NozzleMeasureIn
from app.services import firings, hardware, prediction
from tests import build


def _measure(session: Session, nozzle: object, throat: str) -> None:
    typed = NozzleMeasureIn.model_validate({"measured_on": clock.today(), "throat_d": throat})
    hardware.measure_nozzle(session, nozzle, typed)  # type: ignore[arg-type]


def _fire(session: Session, nozzle: object, before: str, after: str | None = None, result: str = "good") -> None:
    motor = build.bare_motor(session, build.ready_grains(session, 1))
    motor.nozzle_id, motor.throat_d_typed = nozzle.pk, before  # type: ignore[attr-defined]
    session.flush()
    build.firing(session, motor, throat_after=after, result=result)


def test_uses_and_history_agree_after_a_firing_with_its_throat_measured(session: Session) -> None:
    nozzle = build.nozzle(session)
    _fire(session, nozzle, "12.7 mm", "12.74 mm")
    assert firings.nozzle_uses(session, nozzle.pk) == len(hardware.firings_of(session, nozzle)) == 1
    assert [m.throat_d_typed for m in hardware.measures(session, nozzle)] == ["12.74 mm"]
    assert hardware.throat_now(session, nozzle) == pytest.approx(12.74e-3)
    assert prediction.throat_growth(session, nozzle) == pytest.approx(0.04e-3)


def test_a_motor_that_did_not_light_is_no_use_of_its_nozzle(session: Session) -> None:
    nozzle = build.nozzle(session)
    _fire(session, nozzle, "12.7 mm", result="no_light")
    assert firings.nozzle_uses(session, nozzle.pk) == 0
    assert prediction.throat_growth(session, nozzle) == 0


def test_growth_is_spread_over_the_firings_between_two_measures(session: Session) -> None:
    nozzle = build.nozzle(session)
    _fire(session, nozzle, "12.7 mm")
    _fire(session, nozzle, "12.7 mm", "12.76 mm")
    assert prediction.throat_growth(session, nozzle) == pytest.approx(0.03e-3)


def test_a_throat_bored_out_or_measured_anew_did_not_grow(session: Session) -> None:
    start, nozzle = clock.now(), build.nozzle(session)
    with clock.turned_to(start) as turn:
        _measure(session, nozzle, "12.65 mm")  # never was 12.7
        turn(start + timedelta(hours=1))
        _fire(session, nozzle, "12.65 mm", "12.67 mm")
        assert prediction.throat_growth(session, nozzle) == pytest.approx(0.02e-3)
        turn(start + timedelta(hours=2))
        _measure(session, nozzle, "14 mm")
        assert prediction.throat_growth(session, nozzle) == pytest.approx(0.02e-3)
        turn(start + timedelta(hours=3))
        _fire(session, nozzle, "14 mm", "14.04 mm")
        assert prediction.throat_growth(session, nozzle) == pytest.approx(0.03e-3)


def test_a_throat_that_shrank_does_not_grow(session: Session) -> None:
    nozzle = build.nozzle(session)
    _fire(session, nozzle, "12.7 mm", "12.6 mm")
    assert prediction.throat_growth(session, nozzle) == 0


@pytest.mark.parametrize("slip", ["1.27 mm", "127 mm", "16 mm", "9 mm"])
def test_a_throat_far_from_the_last_measure_is_asked_again(session: Session, slip: str) -> None:
    picked, nozzle = build.ready_grains(session, 1), build.nozzle(session, exit_d="140 mm")
    with pytest.raises(Refused, match=r"12\.70 mm at its last measure") as fault:
        build.motor_build(session, grains=picked, nozzle=nozzle, throat_d=slip)
    assert fault.value.field == "throat_d"
    assert hardware.measures(session, nozzle) == []
