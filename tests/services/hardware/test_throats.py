"""A nozzle's throat: its history, its uses and the growth that the next burn reckons with."""

from datetime import timedelta

import pytest
from sqlmodel import Session

from app import clock
from app.errors import Refused
from app.models import Nozzle
from app.models.hardware import NozzleMeasureIn
from app.services.firings import firings
from app.services.hardware import inventory, throats
from app.services.learning.prediction_record import PredictionRecord
from app.services.motors import builds, designs
from app.units import say
from tests import build


def _measure(session: Session, nozzle: Nozzle, throat: str) -> None:
    typed = NozzleMeasureIn.model_validate({"measured_on": clock.today(), "throat_d": throat})
    inventory.measure_nozzle(session, nozzle, typed)


def _fire(session: Session, nozzle: Nozzle, before: str, after: str | None = None, result: str = "good") -> None:
    motor = build.bare_motor(session, build.ready_grains(session, 1))
    motor.nozzle_id, motor.throat_d_typed = nozzle.pk, before
    session.flush()
    build.firing(session, motor, throat_after=after, result=result)


def test_uses_and_history_agree_after_a_firing_with_its_throat_measured(session: Session) -> None:
    nozzle = build.nozzle(session)
    _fire(session, nozzle, "12.7 mm", "12.74 mm")
    assert firings.nozzle_uses(session, nozzle.pk) == len(inventory.firings_of(session, nozzle)) == 1
    assert [m.throat_d_typed for m in inventory.measures(session, nozzle)] == ["12.74 mm"]
    assert inventory.throat_now(session, nozzle) == pytest.approx(12.74e-3)
    assert throats.growth(session, nozzle).per_firing == pytest.approx(0.04e-3)


def test_a_motor_that_did_not_light_is_no_use_of_its_nozzle(session: Session) -> None:
    nozzle = build.nozzle(session)
    _fire(session, nozzle, "12.7 mm", result="no_light")
    assert firings.nozzle_uses(session, nozzle.pk) == 0
    assert throats.growth(session, nozzle).per_firing == 0


def test_growth_is_spread_over_the_firings_between_two_measures(session: Session) -> None:
    nozzle = build.nozzle(session)
    _fire(session, nozzle, "12.7 mm")
    _fire(session, nozzle, "12.7 mm", "12.76 mm")
    assert throats.growth(session, nozzle).per_firing == pytest.approx(0.03e-3)


def test_a_throat_bored_out_or_measured_anew_did_not_grow(session: Session) -> None:
    start, nozzle = clock.now(), build.nozzle(session)
    with clock.turned_to(start) as turn:
        _measure(session, nozzle, "12.65 mm")  # never was 12.7
        turn(start + timedelta(hours=1))
        _fire(session, nozzle, "12.65 mm", "12.67 mm")
        assert throats.growth(session, nozzle).per_firing == pytest.approx(0.02e-3)
        turn(start + timedelta(hours=2))
        _measure(session, nozzle, "14 mm")
        assert throats.growth(session, nozzle).per_firing == pytest.approx(0.02e-3)
        turn(start + timedelta(hours=3))
        _fire(session, nozzle, "14 mm", "14.04 mm")
        assert throats.growth(session, nozzle).per_firing == pytest.approx(0.03e-3)


def test_a_throat_that_shrank_does_not_grow(session: Session) -> None:
    nozzle = build.nozzle(session)
    _fire(session, nozzle, "12.7 mm", "12.6 mm")
    assert throats.growth(session, nozzle).per_firing == 0


@pytest.mark.parametrize("slip", ["1.27 mm", "127 mm", "16 mm", "9 mm"])
def test_a_throat_far_from_the_last_measure_is_asked_again(session: Session, slip: str) -> None:
    picked, nozzle = build.ready_grains(session, 1), build.nozzle(session, exit_d="140 mm")
    with pytest.raises(Refused, match=r"12\.70 mm at its last measure") as fault:
        build.motor_build(session, grains=picked, nozzle=nozzle, throat_d=slip)
    assert fault.value.field == "throat_d"
    assert inventory.measures(session, nozzle) == []


def _width(found: PredictionRecord) -> float:
    """How far the throat alone moves the peak [-]; in the whole range it lies below the noise of the draws."""
    throat = next(d for d in found.drivers if d.name == "Throat diameter")
    return abs(throat.high_pa - throat.low_pa) / found.peak_pressure.mid


def test_a_throat_not_measured_today_widens_the_range_and_says_so(session: Session) -> None:
    start, nozzle = clock.now(), build.nozzle(session)
    _measure(session, nozzle, "12.7 mm")
    asked = build.design_in(session, nozzle=nozzle, throat_d=None)
    today = designs.predict(session, asked)
    assert not any("throat was measured" in say(line) for line in today.assumptions)
    with clock.turned_to(start + timedelta(days=12)):
        later = designs.predict(session, asked)
        assert any(
            "measured 12 days ago: it is drawn ±0.07 mm instead of ±0.05 mm" in say(a) for a in later.assumptions
        )
        assert _width(later) > 1.3 * _width(today)  # 0.07 over 0.05 mm
        typed = designs.predict(session, build.design_in(session, nozzle=nozzle, throat_d="12.7 mm"))
        assert _width(typed) == pytest.approx(_width(today))  # a throat in mind is measured when it is there
        for _ in range(3):
            _fire(session, nozzle, "12.7 mm")
        used = designs.predict(session, asked)
        assert any("and 3 motors were fired through it since" in say(line) for line in used.assumptions)
        said = [" ".join(map(say, found.warnings)) for found in (used, later)]
        assert ["fired through it since" in words for words in said] == [True, False]
        assert _width(used) > 3 * _width(later)


def test_a_motors_throat_is_that_of_the_day_it_was_built_and_its_own_firing_is_none_since(session: Session) -> None:
    start, nozzle = clock.now(), build.nozzle(session)
    with clock.turned_to(start) as turn:
        first = build.motor_build(session, nozzle=nozzle, grains=build.ready_grains(session, 1))
        built = builds.around(session, first)
        assert builds.setup_of(session, built).throat_known == throats.Known()
        turn(start + timedelta(days=2))
        assert builds.setup_of(session, built).throat_known.days == 2
        build.firing(session, first)
        assert builds.setup_of(session, builds.around(session, first)).throat_known.firings == 0
        assert throats.as_last_measured(session, nozzle).firings == 1


def test_a_nozzle_whose_growth_is_known_is_surer_than_one_that_never_told(session: Session) -> None:
    known, silent = build.nozzle(session), build.nozzle(session, name="Never measured")
    _fire(session, known, "12.7 mm", "12.71 mm")
    for nozzle in (known, silent):
        _fire(session, nozzle, "12.71 mm")
    told, untold = (throats.as_last_measured(session, n) for n in (known, silent))
    assert (told.firings, untold.firings) == (1, 1)
    assert 0.07e-3 < told.spread < untold.spread
