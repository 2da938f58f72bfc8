"""The wind's profile against the printed classes, and its limits."""

import csv
import math
from pathlib import Path

import pytest

from app.calc.errors import CalcError
from app.calc.wind import STEADY_ABOVE, wind_at

TABLE = Path(__file__).parent / "published" / "wind_power_classes.csv"


def rows() -> list[dict[str, str]]:
    lines = [line for line in TABLE.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines))


@pytest.mark.parametrize("row", rows(), ids=lambda r: r["class"])
def test_printed_classes(row: dict[str, str]) -> None:
    """Both columns are rounded to 0.1 m/s, so half a digit of each is allowed."""
    found = wind_at(50.0, float(row["at_10_m"]), 10.0)
    assert found == pytest.approx(float(row["at_50_m"]), abs=0.05 + 0.05 * 5 ** (1 / 7))


def test_it_is_what_was_measured_where_it_was_measured_and_steady_high_up() -> None:
    assert wind_at(2.0, 4.0, 2.0) == pytest.approx(4.0)
    assert wind_at(0.0, 4.0, 2.0) == 0
    assert wind_at(STEADY_ABOVE, 4.0, 2.0) == wind_at(5000.0, 4.0, 2.0)
    assert wind_at([10.0, 20.0], 4.0, 10.0)[1] == pytest.approx(4.0 * 2 ** (1 / 7))


@pytest.mark.parametrize(
    ("height", "speed", "measured_at", "field"),
    [
        (10.0, -1.0, 2.0, "speed"),
        (10.0, 200.0, 2.0, "speed"),
        (10.0, math.nan, 2.0, "speed"),
        (10.0, 4.0, 0.0, "measured_at"),
        (math.nan, 4.0, 2.0, "height"),
    ],
)
def test_what_is_no_wind(height: float, speed: float, measured_at: float, field: str) -> None:
    with pytest.raises(CalcError) as caught:
        wind_at(height, speed, measured_at)
    assert caught.value.field == field
    assert caught.value.remedy
