"""The wind's profile against the printed classes, and its limits."""

import math

import pytest

from app.calc.base.errors import CalcError
from app.calc.flight.wind import CODES_WIND, STEADY_ABOVE, at_the_rail, wind_at
from tests.published import published


@pytest.mark.parametrize("row", published("wind_power_classes.csv"), ids=lambda r: r["class"])
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


def test_the_wind_of_an_angle_off_the_rail() -> None:
    """Plane trigonometry: upright, tan 15° · 14 m/s = 3.75 m/s; a tilted rail by the cosine between two vectors."""
    upright = at_the_rail(14.0, 2.0, 0.0, 3.0, 5.0, 2.0, math.radians(15))
    assert upright.limit == pytest.approx(14 * math.tan(math.radians(15)))
    assert round(upright.limit, 1) == 3.8
    assert math.tan(upright.gust_angle) == pytest.approx(5 / 14)
    for tilt in (-0.2, 0.1, 0.3):
        found = at_the_rail(14.0, 2.0, tilt, 3.0, 5.0, 10.0, math.radians(20))
        rail = (math.sin(tilt), math.cos(tilt))
        for wind, angle in ((found.mean, found.mean_angle), (found.gust, found.gust_angle)):
            air = (14 * rail[0] - wind, 14 * rail[1])
            between = math.acos((air[0] * rail[0] + air[1] * rail[1]) / math.hypot(*air))
            assert angle == pytest.approx(between)
        assert found.mean == pytest.approx(3.0 * (2 * math.cos(tilt) / 10) ** (1 / 7))
        again = at_the_rail(14.0, 2.0, tilt, found.limit, found.limit, 10.0, math.radians(20))
        assert again.mean_angle == pytest.approx(math.radians(20))


def test_a_fast_rail_does_not_lift_the_limit_of_the_codes() -> None:
    """20 mph: common practice, see your own code."""
    fast = at_the_rail(40.0, 3.0, 0.0, 0.0, 0.0, 2.0, math.radians(20))
    assert fast.limit > CODES_WIND
    assert fast.keep_below == pytest.approx(8.94, abs=0.005)


@pytest.mark.parametrize(("mean", "gust", "largest", "field"), [(5, 4, 0.3, "gust"), (5, 6, 1.5, "largest")])
def test_what_is_no_gust_or_angle(mean: float, gust: float, largest: float, field: str) -> None:
    with pytest.raises(CalcError) as caught:
        at_the_rail(14.0, 2.0, 0.0, mean, gust, 2.0, largest)
    assert caught.value.field == field
