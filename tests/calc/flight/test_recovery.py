"""Descent under a parachute against a published case."""

import pytest

from app.calc.base.atmosphere import atmosphere
from app.calc.flight.flight import fly
from app.calc.flight.launch import Motor, Pad, Rocket
from app.calc.flight.recovery import Parachute, Recovery

HEIGHT = 42.5
"""Where the air has the density of the case, by the U.S. Standard Atmosphere, 1976 [m]."""


def glenn_landing_speed() -> float:
    """A rocket without drag of its own comes down under the parachute of the case [m/s]."""
    rocket = Rocket(0.0623, 0.005, 0.01, recovery=Recovery(Parachute(0.435, 0.75)))
    return fly(Motor([0.0, 0.5, 1.0], [10.0, 10.0, 0.0], 0.001), rocket, Pad(1.0, elevation=HEIGHT)).landing_speed


def test_parachute() -> None:
    """NASA Glenn: 0.0623 kg, coefficient 0.75, 3 m/s in 1.22 kg/m3 needs 0.435 m, printed to 0.0005 m."""
    assert atmosphere(HEIGHT).density == pytest.approx(1.22, abs=5e-5)
    assert glenn_landing_speed() == pytest.approx(3.0, rel=0.0005 / 0.435)
