"""What the trade takes for granted. All of it is common practice, no source."""

import pytest
from sqlmodel import Session

from app.calc.base.constants import STANDARD_GRAVITY
from app.calc.motor.simulation import example, simulate
from app.models import Workshop

COMPOSITE_ISP = 215.0
"""Delivered specific impulse of an ordinary small composite motor [s]: common practice, no source."""


def _fahrenheit(kelvin: float) -> float:
    return (kelvin - 273.15) * 9 / 5 + 32


def test_defaults_are_those_of_the_trade(session: Session) -> None:
    shop = session.get(Workshop, 1)
    assert shop is not None
    assert _fahrenheit(shop.pan_low_k) == pytest.approx(220)
    assert _fahrenheit(shop.pan_limit_k) == pytest.approx(250)
    assert shop.remelt_limit_share == 0.15
    assert shop.cure_s == 7 * 86400
    assert shop.checklist_valid_s == 4 * 3600


def test_sugar_gives_about_half_of_a_composites_impulse_or_a_little_more() -> None:
    run = simulate(example())
    specific = run.total_impulse / (run.propellant_mass * STANDARD_GRAVITY)
    assert specific == pytest.approx(run.specific_impulse, rel=1e-9)
    assert 0.45 <= specific / COMPOSITE_ISP <= 0.65
