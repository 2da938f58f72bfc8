"""Where water boils: against the printed value of the formulation itself, steam tables and a general library."""

import cantera
import pytest

from app.calc.base.atmosphere import atmosphere
from app.calc.base.errors import OutOfRange
from app.calc.base.water import boiling_point
from tests.published import published


@pytest.mark.parametrize("row", published("boiling_water.csv"), ids=lambda r: r["pressure"])
def test_printed_tables(row: dict[str, str]) -> None:
    found = boiling_point(float(row["pressure"]) * 1e6)
    assert found == pytest.approx(float(row["temperature"]), abs=float(row["tolerance"]))


@pytest.mark.parametrize("pressure", [50e3, 70e3, 90e3, 101_325.0, 110e3])
def test_against_another_equation_of_state(pressure: float) -> None:
    """Cantera's water (Reynolds 1979, on the scale of temperature of 1968) lies up to 0.06 K higher."""
    water = cantera.Water()  # type: ignore[attr-defined]
    water.PQ = pressure, 0.5
    assert boiling_point(pressure) == pytest.approx(water.T, abs=0.06)


def test_half_a_degree_lower_for_each_500_ft() -> None:
    """Boiling water drops by about 1 °F for each 500 ft of height: common practice of kitchens, from memory."""
    heights = [0.0, 500 * 0.3048, 5000 * 0.3048]
    at_sea, low, high = (boiling_point(atmosphere(z).pressure) for z in heights)
    assert (at_sea - low) * 1.8 == pytest.approx(0.95, abs=0.1)
    assert (at_sea - high) * 1.8 == pytest.approx(9.2, abs=0.4)


@pytest.mark.parametrize("pressure", [29e3, 121e3, float("nan"), -1.0])
def test_no_air_that_anybody_works_in(pressure: float) -> None:
    with pytest.raises(OutOfRange, match="pressure"):
        boiling_point(pressure)
