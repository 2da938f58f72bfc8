"""Nozzle flow against printed tables and worked examples."""

from math import pi, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.calc.base.constants import ATM, STANDARD_GRAVITY
from app.calc.base.errors import OutOfRange
from app.calc.motor.nozzle import (
    area_ratio,
    area_ratio_at_pressure,
    best_area_ratio,
    characteristic_velocity,
    critical_pressure_ratio,
    divergence_factor,
    exit_pressure_ratio,
    flow_function,
    is_separated,
    momentum_coefficient,
    pressure_ratio,
    supersonic_mach,
    thrust_coefficient,
)
from tests.published import published


@pytest.mark.parametrize("row", published("naca_1135.csv"))
def test_naca_1135_as_printed(row: dict[str, str]) -> None:
    mach = float(row["mach"])
    for value, printed in (
        (float(pressure_ratio(mach, 1.4)), row["p_over_p0"]),
        (float(area_ratio(mach, 1.4)), row["a_over_astar"]),
        (float(exit_pressure_ratio(area_ratio(mach, 1.4), 1.4)), row["p_over_p0"]),
    ):
        unit = 10.0 ** -len(printed.split(".")[1])
        assert value == pytest.approx(float(printed), abs=0.51 * unit)


def test_sutton_example_3_2() -> None:
    # from memory: Sutton & Biblarz, Rocket Propulsion Elements, ex. 3-2: 1 kg/s, 2.068 MPa, 2222 K, k 1.30,
    # R 345.7, expanded to 0.1013 MPa: v2 1827 m/s, Isp 186 s
    k, r_t, ratio = 1.30, 345.7 * 2222, 0.1013 / 2.068
    velocity = float(momentum_coefficient(k, ratio)) * sqrt(r_t) / flow_function(k)  # v2 = C_F c* at pe = pa
    assert velocity == pytest.approx(1827, abs=1)
    assert velocity / STANDARD_GRAVITY == pytest.approx(186, abs=0.5)


def test_thrust_coefficient_worked_case() -> None:
    # inputs: R. Nakka, worked example (published): k 1.04, p0 68 atm, pe 4 atm, pa 1 atm, 10 mm throat, 20 mm exit;
    # answers calculated from the formula by hand: 1.4261 + 0.1765 = 1.6025, 867.2 N
    momentum = float(momentum_coefficient(1.04, 4 / 68))
    pressure = (4 - 1) / 68 * (20 / 10) ** 2
    assert momentum == pytest.approx(1.4261, abs=5e-5)
    assert pressure == pytest.approx(0.1765, abs=5e-5)
    assert (momentum + pressure) * 68 * ATM * pi / 4 * 0.010**2 == pytest.approx(867.2, abs=0.1)


@given(st.floats(1.0, 60.0), st.floats(1.01, 1.66))
def test_mach_number_gives_its_area_ratio_back(ratio: float, k: float) -> None:
    mach = float(supersonic_mach(ratio, k))
    assert mach >= 1
    assert float(area_ratio(mach, k)) == pytest.approx(ratio, rel=1e-8)
    assert float(area_ratio_at_pressure(exit_pressure_ratio(ratio, k), k)) == pytest.approx(ratio, rel=1e-6)


@given(st.floats(1.05, 1.3), st.floats(1e6, 1e7))
def test_best_expansion_is_a_maximum(k: float, pressure: float) -> None:
    best = best_area_ratio(k, pressure, ATM)
    top = float(thrust_coefficient(k, pressure, ATM, best))
    for other in (best * 0.9, best * 1.1):
        if other > 1:
            assert float(thrust_coefficient(k, pressure, ATM, other)) < top


def test_ambient_pressure_acts_on_the_exit_alone() -> None:
    # exact: dF = dp_a * A_e, whatever the losses
    low = thrust_coefficient(1.13, 5e6, 101325.0, 6.0, 0.85)
    high = thrust_coefficient(1.13, 5e6, 70121.0, 6.0, 0.85)
    assert float(high - low) == pytest.approx((101325.0 - 70121.0) / 5e6 * 6.0, rel=1e-12)


def test_separation_begins_at_its_criterion_and_thrust_is_continuous_there() -> None:
    k, ratio = 1.15, 10.0
    edge = 0.4 * ATM / float(exit_pressure_ratio(ratio, k))
    assert bool(is_separated(k, 0.999 * edge, ATM, ratio))
    assert not bool(is_separated(k, 1.001 * edge, ATM, ratio))
    below, above = thrust_coefficient(k, np.array([0.99999, 1.00001]) * edge, ATM, ratio)
    assert below == pytest.approx(above, rel=1e-4)
    full = momentum_coefficient(k, exit_pressure_ratio(ratio, k)) + (exit_pressure_ratio(ratio, k) - ATM / 3e5) * ratio
    assert float(thrust_coefficient(k, 3e5, ATM, ratio)) > float(full)  # a parted jet loses less than a full one


def test_ideal_gas_values() -> None:
    # textbook: critical ratio 0.5283, Gamma 0.6847 for k 1.4; 15 degrees loses 1.7 % (Sutton & Biblarz)
    assert critical_pressure_ratio(1.4) == pytest.approx(0.5283, abs=5e-5)
    assert flow_function(1.4) == pytest.approx(0.6847, abs=5e-5)
    assert divergence_factor(np.radians(15)) == pytest.approx(0.983, abs=5e-4)
    # T, c* and M of 65/35 sorbitol: DARE, TU Delft (published 1600 K, 909-911 m/s); gamma is ours
    assert characteristic_velocity(1.137, 1600.0, 0.0399) == pytest.approx(910, rel=0.003)


def test_what_cannot_be_is_refused() -> None:
    for call in (
        lambda: supersonic_mach(0.9, 1.2),
        lambda: pressure_ratio(2.0, 0.9),
        lambda: area_ratio(0.0, 1.2),
        lambda: area_ratio_at_pressure(0.0, 1.2),
        lambda: best_area_ratio(1.2, 1.2e5, ATM),
        lambda: best_area_ratio(1.2, 5e6, 0.0),
        lambda: divergence_factor(2.0),
        lambda: characteristic_velocity(1.2, float("nan"), 0.04),
    ):
        with pytest.raises(OutOfRange):
            call()
