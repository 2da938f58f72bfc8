"""Descent under a parachute against the published formula and case."""

import math

import pytest

from app.calc.errors import OutOfRange
from app.calc.recovery import descent_speed, parachute_diameter


def test_parachute() -> None:
    """NASA Glenn, published formula; the case 0.0623 kg, 0.75, 3 m/s, 1.22 kg/m3 gives 0.435 m."""
    assert parachute_diameter(0.0623, 0.75, 3.0, 1.22) == pytest.approx(0.435, abs=0.0005)
    area = math.pi / 4 * parachute_diameter(6.5, 1.5, 5.5) ** 2
    assert descent_speed(6.5, 1.5, area) == pytest.approx(5.5)
    with pytest.raises(OutOfRange):
        descent_speed(0, 0.75, 1)
    with pytest.raises(OutOfRange):
        parachute_diameter(1, 0.75, -3)
