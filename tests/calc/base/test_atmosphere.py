"""The standard atmosphere against its printed table and the law it integrates."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from app.calc.base.atmosphere import EARTH_RADIUS, GAS_CONSTANT_AIR, atmosphere, warmer_than_standard
from app.calc.base.constants import STANDARD_GRAVITY as GRAVITY
from app.calc.base.errors import OutOfRange
from tests.published import half_digit, published

QUANTITIES = ("temperature", "pressure", "density", "speed_of_sound")


@pytest.mark.parametrize("quantity", QUANTITIES)
@pytest.mark.parametrize("row", published("standard_atmosphere_1976.csv"), ids=lambda r: r["altitude"])
def test_printed_table(row: dict[str, str], quantity: str) -> None:
    if row[quantity]:
        value = getattr(atmosphere(float(row["altitude"])), quantity)
        assert value == pytest.approx(float(row[quantity]), abs=half_digit(row[quantity]))


def test_pressure_integrates_the_weight_of_the_air() -> None:
    """dp/dz = -rho g(z), with scipy as the reference integrator."""

    def weight(z: float, p: np.ndarray) -> list[float]:
        g = GRAVITY * (EARTH_RADIUS / (EARTH_RADIUS + z)) ** 2
        return [-float(p[0]) * g / (GAS_CONSTANT_AIR * atmosphere(z).temperature)]

    heights = [5e3, 15e3, 30e3, 50e3, 75e3]
    found = solve_ivp(weight, (0, 80e3), [101325.0], t_eval=heights, rtol=1e-9, atol=1e-9, max_step=500)
    for z, p in zip(heights, found.y[0], strict=True):
        assert atmosphere(z).pressure == pytest.approx(p, rel=1e-5)


def test_a_warm_day_is_thinner_at_the_same_pressure() -> None:
    standard, warm = atmosphere(1000.0), atmosphere(1000.0, warmer=15.0)
    assert warm.pressure == standard.pressure
    assert warm.density / standard.density == pytest.approx(standard.temperature / (standard.temperature + 15))
    assert warmer_than_standard(warm.temperature, 1000.0) == pytest.approx(15.0)


@pytest.mark.parametrize("altitude", [-6000.0, 90_000.0, float("nan")])
def test_outside_the_table(altitude: float) -> None:
    with pytest.raises(OutOfRange, match="altitude"):
        atmosphere(altitude)


def test_no_such_weather() -> None:
    with pytest.raises(OutOfRange):
        warmer_than_standard(400.0, 0.0)
    with pytest.raises(OutOfRange):
        warmer_than_standard(-1.0, 0.0)
