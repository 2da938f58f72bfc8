"""Flight against closed forms, scipy as the reference integrator, and the trade."""

import math
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from app.calc import flight
from app.calc.atmosphere import Air, atmosphere
from app.calc.errors import CalcError, NoSolution
from app.calc.flight import fly

G = 9.80665
ROCKET: dict[str, Any] = {
    "propellant_mass": 0.7,
    "dry_mass": 6.5,
    "diameter": 0.1,
    "drag_coefficient": 0.5,
    "rail_length": 2.0,
}
CURVE = ([0.0, 0.05, 0.6, 1.4, 1.8, 2.0], [0.0, 420.0, 520.0, 470.0, 120.0, 0.0])


def test_vacuum_closed_form() -> None:
    """Tsiolkovsky with gravity: constant thrust, no drag."""
    F, tb, mp, md = 400.0, 2.0, 0.7, 6.5
    found = fly([0, tb], [F, F], **{**ROCKET, "drag_coefficient": 0.0})
    ve, ratio = F * tb / mp, (mp + md) / md
    v = ve * math.log(ratio) - G * tb
    h = ve * tb * (1 - math.log(ratio) / (ratio - 1)) - G * tb**2 / 2
    assert found.burnout_speed == pytest.approx(v, rel=1e-8)
    assert found.burnout_height == pytest.approx(h, rel=1e-8)
    assert found.apogee == pytest.approx(h + v**2 / (2 * G), rel=1e-8)
    assert found.coast_time == pytest.approx(v / G, rel=1e-8)
    assert found.total_impulse == pytest.approx(F * tb)
    assert found.thrust_to_weight == pytest.approx(F / ((mp + md) * G))


def test_vacuum_tilted_coast_is_a_parabola() -> None:
    found = fly([0, 0.01], [80_000, 80_000], **{**ROCKET, "drag_coefficient": 0.0, "rail_length": 0.3}, tilt=0.3)
    # After a kick of 10 ms the path is a parabola from the burnout state.
    start = int(np.searchsorted(found.time, 0.01 - 1e-12))
    v = found.burnout_speed
    assert found.apogee - found.height[start] == pytest.approx((v * math.cos(0.3)) ** 2 / (2 * G), rel=1e-3)
    assert found.downrange == pytest.approx(v**2 * math.sin(0.3) * math.cos(0.3) / G, rel=5e-3)


def test_coast_in_uniform_air(monkeypatch: pytest.MonkeyPatch) -> None:
    """Quadratic drag at constant density: height m/(2k) ln(1 + k v²/(m g)), time sqrt(m/(k g)) atan(...)."""
    monkeypatch.setattr(flight, "atmosphere", lambda z, warmer=0.0: Air(288.15, 101325.0, 1.225, 340.29))
    found = fly(*CURVE, **ROCKET)
    k = 0.5 * 1.225 * found.drag_area
    v, m = found.burnout_speed, 6.5
    height = m / (2 * k) * math.log(1 + k * v**2 / (m * G))
    time = math.sqrt(m / (k * G)) * math.atan(v * math.sqrt(k / (m * G)))
    assert found.apogee - found.burnout_height == pytest.approx(height, rel=1e-6)
    assert found.coast_time == pytest.approx(time, rel=1e-6)


@pytest.mark.parametrize(("elevation", "temperature"), [(0.0, None), (1500.0, 305.0), (3000.0, 270.0)])
@pytest.mark.parametrize("drag", [0.3, 0.5, 0.9])
def test_scipy_as_reference(drag: float, elevation: float, temperature: float | None) -> None:
    """The same equations by scipy's DOP853, thrust interpolated, rtol 1e-9."""
    rocket = {**ROCKET, "drag_coefficient": drag}
    found = fly(*CURVE, **rocket, field_elevation=elevation, field_temperature=temperature)
    t, F = np.array(CURVE[0]), np.array(CURVE[1])
    spent = np.concatenate(([0], np.cumsum(np.diff(t) * (F[1:] + F[:-1]) / 2)))
    warmer = 0.0 if temperature is None else temperature - atmosphere(elevation).temperature

    def slope(now: float, y: np.ndarray) -> list[float]:
        z, v, impulse = y
        force = float(np.interp(now, t, F)) if now < t[-1] else 0.0
        mass = 6.5 + 0.7 * (1 - impulse / spent[-1])
        pull = 0.5 * atmosphere(elevation + z, warmer).density * found.drag_area * v * abs(v)
        acceleration = (force - pull) / mass - G
        return [v, max(acceleration, 0.0) if v == 0 else acceleration, force]

    def top(now: float, y: np.ndarray) -> float:
        return float(y[1]) if now > 0.5 else 1.0

    top.terminal = True  # type: ignore[attr-defined]
    top.direction = -1  # type: ignore[attr-defined]

    def off(now: float, y: np.ndarray) -> float:
        return float(y[0]) - 2.0

    ref = solve_ivp(slope, (0, 60), [0.0, 0.0, 0.0], "DOP853", events=[top, off], rtol=1e-9, atol=1e-9, max_step=0.01)
    assert found.apogee == pytest.approx(ref.y_events[0][0][0], rel=1e-3)
    assert found.apogee_time == pytest.approx(ref.t_events[0][0], rel=1e-3)
    assert found.rail_exit_speed == pytest.approx(ref.y_events[1][0][1], rel=2e-3)
    assert found.max_speed == pytest.approx(ref.y[1].max(), rel=2e-3)


def test_a_16_lb_rocket_on_a_mid_j_reaches_about_2000_ft() -> None:
    """Common practice, no source; within 20 %.

    Assumed: 16 lb is the loaded mass; 4 grains of 96.5 cm3 at 0.95 x 1841 kg/m3 (0.675 kg) delivering 1226 N s/kg
    (125 s), which is 828 N s at a mean of 450 N; a 4 in body (101.6 mm), C_D 0.5 on its cross-section, a
    2.4 m rail, sea level, standard day.
    """
    propellant = 4 * 96.53e-6 * 0.95 * 1841
    impulse = propellant * 125 * G
    burn = impulse / 450
    found = fly(
        [0, 0.03, burn - 0.03, burn],
        [0, 450 * burn / (burn - 0.03), 450 * burn / (burn - 0.03), 0],
        propellant_mass=propellant,
        dry_mass=16 * 0.45359237 - propellant,
        diameter=0.1016,
        drag_coefficient=0.5,
        rail_length=2.4,
    )
    assert found.total_impulse == pytest.approx(828, rel=0.01)
    assert found.apogee / 0.3048 == pytest.approx(2000, rel=0.2)
    assert found.thrust_to_weight == pytest.approx(450 / (16 * 4.4482216), rel=0.01)


def test_thin_and_warm_air_let_it_climb() -> None:
    low = fly(*CURVE, **ROCKET).apogee
    assert fly(*CURVE, **ROCKET, field_elevation=2000).apogee > low
    assert fly(*CURVE, **ROCKET, field_temperature=308.15).apogee > low
    assert fly(*CURVE, **ROCKET, tilt=0.15).apogee < low


def test_area_basis_is_kept() -> None:
    own = fly(*CURVE, **ROCKET)
    given = fly(*CURVE, **ROCKET, reference_area=math.pi / 4 * 0.1**2)
    assert own.apogee == given.apogee
    assert own.area_basis == "body cross-section"
    assert "given" in given.area_basis
    assert fly(*CURVE, **ROCKET, reference_area=0.02).apogee < own.apogee


def test_the_pad_holds_a_slow_start() -> None:
    slow = fly([0, 0.5, 1.0, 3.0], [0.0, 30.0, 500.0, 500.0], **ROCKET)
    waiting = slow.height[slow.time < 0.5]
    assert (waiting == 0).all()
    assert slow.apogee > 100


def test_a_slump_on_the_rail_sets_it_back_on_the_pad() -> None:
    chuffs = fly([0, 0.02, 0.03, 1.0, 1.1, 3.0], [100, 100, 0, 0, 500, 500], **ROCKET)
    assert chuffs.height.min() == 0
    assert chuffs.apogee > 100


def test_weak_motors_are_refused_or_told() -> None:
    with pytest.raises(NoSolution, match="does not lift"):
        fly([0, 2], [60, 60], **ROCKET)
    with pytest.raises(NoSolution, match="does not leave the rail"):
        fly([0, 0.01], [200, 200], **ROCKET)
    notes = " ".join(fly([0, 3], [150, 150], **ROCKET).notes)
    assert "rule of thumb asks for 5" in notes
    assert "13 to 15 m/s" in notes


def test_near_sonic_flight_is_told() -> None:
    fast = fly([0, 1], [4000, 4000], **{**ROCKET, "dry_mass": 8.0})
    assert fast.max_mach > 0.8
    assert any("Mach" in note for note in fast.notes)


def test_records_are_consistent() -> None:
    found = fly(*CURVE, **ROCKET)
    assert found.height[-1] == found.apogee
    assert found.speed[-1] == pytest.approx(0, abs=1e-6)
    assert found.max_speed == found.speed.max()
    assert found.max_q == pytest.approx(0.5 * atmosphere(found.burnout_height).density * found.max_speed**2, rel=0.1)
    assert found.rail_exit_time < found.burnout_time < found.apogee_time


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"time": [0, 0], "thrust": [1, 1]}, "time"),
        ({"time": [0, 1], "thrust": [1]}, "time"),
        ({"time": [0, 1], "thrust": [400, math.nan]}, "thrust"),
        ({"time": [0, 1], "thrust": [400, -1]}, "thrust"),
        ({"dry_mass": 0}, "dry_mass"),
        ({"diameter": -0.1}, "diameter"),
        ({"drag_coefficient": math.nan}, "drag_coefficient"),
        ({"tilt": 0.6}, "tilt"),
        ({"rail_length": 0}, "rail_length"),
        ({"field_elevation": 1e6}, "altitude"),
    ],
)
def test_bad_input_names_the_field(change: dict[str, Any], field: str) -> None:
    with pytest.raises(CalcError) as caught:
        fly(**{"time": CURVE[0], "thrust": CURVE[1], **ROCKET, **change})
    assert caught.value.field == field
    assert caught.value.remedy
