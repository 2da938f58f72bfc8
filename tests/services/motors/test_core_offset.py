"""A core off centre through the service: depths by plane geometry, pressure against the motor as it should be."""

from typing import Any

import numpy as np
import pytest
from sqlmodel import Session

from app.errors import Refused
from app.models.core_offset import CoreOffsetIn
from app.services.motors import core_offset
from app.services.motors.core_offset import Comparison
from tests import build


def asked(session: Session, **more: Any) -> CoreOffsetIn:
    """Four 44.45/19.05/76.2 mm grains behind a 12.7 mm throat; one core 0 and 3 mm off at its ends."""
    texts = {
        "formula_id": build.formula(session).pk,
        "pattern_id": build.pattern(session).pk,
        "case_id": build.case(session).pk,
        "nozzle_id": build.nozzle(session).pk,
        "count": 4,
        "density": "95 %",
        "field_elevation": "0 m",
        "grain_temperature": "20 C",
        "faulty": 1,
        "offset_fore": "0 mm",
        "offset_aft": "3 mm",
    }
    pattern = more.pop("pattern", None)
    return CoreOffsetIn.model_validate({**texts, **({"pattern_id": pattern.pk} if pattern else {}), **more})


def compared(session: Session, **more: Any) -> Comparison:
    return core_offset.compare(session, asked(session, **more))


def test_it_breaks_through_where_the_wall_is_thinnest_and_still_there(session: Session) -> None:
    # both ends burn: at z = L - x the offset is e (L - x)/L, so R - r - e + e x/L = x: x = (R - r - e)/(1 - e/L)
    found = compared(session)
    by_hand = (0.0127 - 0.003) / (1 - 0.003 / 0.0762)
    assert found.fault.breakthrough == pytest.approx(by_hand, abs=3e-4)
    assert found.bared_at == pytest.approx(np.interp(by_hand, found.cast.depth, found.cast.time), abs=0.05)
    assert found.thinnest == pytest.approx(0.0097)
    assert found.web == pytest.approx(0.0127)
    ri, ro = 0.0482 / 2, 0.054 / 2  # Lame at the bore, 6061-T6 at 204 degC: 103/276 of the minimum (from memory)
    assert found.hot_yield == pytest.approx(103 / 276 * 240e6 * (ro**2 - ri**2) / (ro**2 + ri**2))


def test_pressure_is_the_same_until_the_wall_is_reached_and_tails_off_after(session: Session) -> None:
    found = compared(session, faulty=4)
    same = found.cast.depth < found.fault.breakthrough
    there = np.interp(found.cast.depth[same], found.intended.depth, found.intended.pressure)
    assert found.cast.pressure[same][5:] == pytest.approx(there[5:], rel=1e-2)
    assert found.cast.peak_pressure == pytest.approx(found.intended.peak_pressure, rel=1e-3)
    assert found.cast.burn_time > found.intended.burn_time
    assert found.cast.burnt_out_at > found.intended.burnt_out_at
    assert found.bare_for > 0.2


def test_more_of_the_wall_lies_bare_as_it_burns_on(session: Session) -> None:
    found = compared(session, faulty=4, offset_fore="4 mm", offset_aft="4 mm")
    assert (found.share[found.time < found.bared_at * 0.99] == 0).all()
    assert (np.diff(found.share) >= -1e-9).all()
    assert found.share[-1] == pytest.approx(1.0)
    assert found.quarter_at is not None
    assert found.half_at is not None
    assert found.bared_at < found.quarter_at < found.half_at < found.gone_at


def test_a_core_on_the_axis_is_the_motor_as_it_should_be(session: Session) -> None:
    found = compared(session, offset_aft="0 mm")
    assert not found.early
    assert found.cast.total_impulse == pytest.approx(found.intended.total_impulse, rel=1e-4)
    assert found.cast.peak_pressure == pytest.approx(found.intended.peak_pressure, rel=1e-4)


def test_a_core_that_crosses_the_axis_and_one_measured_wider(session: Session) -> None:
    crossing = compared(session, offset_fore="-3 mm", offset_aft="3 mm")
    assert crossing.fault.breakthrough > 0.0127 - 0.003
    wide = compared(session, core_d="20 mm")
    assert wide.web == pytest.approx((0.04445 - 0.020) / 2)
    assert wide.cast.propellant_mass < crossing.cast.propellant_mass


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"faulty": 5}, "faulty"),
        ({"offset_fore": "13 mm"}, "offset_fore"),
        ({"offset_aft": "-12.7 mm"}, "offset_aft"),
        ({"core_d": "44.45 mm"}, "core_d"),
        ({"throat_d": "19.2 mm"}, "throat_d"),
    ],
)
def test_refused_beside_the_field(session: Session, more: dict[str, object], field: str) -> None:
    with pytest.raises(Refused) as caught:
        compared(session, **more)
    assert caught.value.field == field


def test_pressure_is_gone_at_the_twentieth_part_of_its_peak(session: Session) -> None:
    """As burn time is counted: 5 % of the peak, by the samples of the run themselves."""
    run = (found := compared(session)).cast
    after = run.pressure[run.time > found.gone_at]
    assert after.size
    assert after.max() < 0.05 * run.pressure.max() <= np.interp(found.gone_at, run.time, run.pressure)
