"""Grain checks against exact volumes, published limits and a Monte-Carlo of the readings."""

import math
from typing import Any

import numpy as np
import pytest

from app.calc.base.errors import GeometryError, OutOfRange
from app.calc.grain.density_check import check_grain
from app.calc.grain.lot_balance import lot_mass_balance, moisture_gain
from app.units import say

SIZE: dict[str, Any] = {"outer_d": 0.04445, "core_d": 0.01905, "length": 0.0762, "ideal_density": 1841.0}
VOLUME = math.pi / 4 * (0.04445**2 - 0.01905**2) * 0.0762
FULL = VOLUME * 1841.0


def test_volume_density_and_void() -> None:
    grain = check_grain(0.9 * FULL, **SIZE)
    assert grain.volume == pytest.approx(96.53e-6, rel=1e-3)  # worked by hand
    assert grain.share == pytest.approx(0.9)
    assert grain.missing_mass == pytest.approx(0.1 * FULL)
    assert grain.void_volume == pytest.approx(0.1 * VOLUME)
    assert grain.mass + grain.missing_mass == pytest.approx(grain.ideal_density * grain.volume)


@pytest.mark.parametrize(
    ("share", "verdict", "word"),
    [  # 0.85: DARE, TU Delft, published; 0.95: common practice, no source
        (1.00, "accept", "at or above 95 %"),
        (0.96, "accept", "at or above 95 %"),
        (0.94, "look", "look for voids"),
        (0.86, "look", "look for voids"),
        (0.84, "reject", "below 85 %"),
        (0.50, "reject", "below 85 %"),
        (1.05, "look", "denser than the blend can be"),
    ],
)
def test_verdict_and_reason(share: float, verdict: str, word: str) -> None:
    grain = check_grain(share * FULL, **SIZE)
    assert grain.verdict == verdict
    assert word in say(grain.reasons[0])


def test_limits_themselves_belong_to_the_better_side() -> None:
    assert check_grain(0.95 * FULL * (1 + 1e-12), **SIZE).verdict == "accept"
    assert check_grain(0.85 * FULL * (1 + 1e-12), **SIZE).verdict == "look"


def test_a_coarse_ruler_is_told() -> None:
    fine = check_grain(0.96 * FULL, **SIZE, length_resolution=1e-5)
    coarse = check_grain(0.96 * FULL, **SIZE, length_resolution=1e-3)
    assert len(fine.reasons) == 1
    assert "measure again" in say(coarse.reasons[1])


def test_full_density_within_reading_is_not_called_impossible() -> None:
    assert check_grain(1.004 * FULL, **SIZE, length_resolution=5e-4).verdict == "accept"
    assert check_grain(1.004 * FULL, **SIZE, length_resolution=1e-5, mass_resolution=1e-5).verdict == "look"


def test_uncertainty_agrees_with_sampled_readings() -> None:
    """Reference: 200,000 draws of each reading over its step; standard error of the spread 0.2 %."""
    rng = np.random.default_rng(1)
    n, dm, dl = 200_000, 0.001, 0.0005

    def readings(value: float, step: float) -> np.ndarray:
        return value + rng.uniform(-step / 2, step / 2, n)

    m, d, c, length = readings(0.16, dm), readings(0.04445, dl), readings(0.01905, dl), readings(0.0762, dl)
    density = m / (math.pi / 4 * (d**2 - c**2) * length)
    grain = check_grain(0.16, **SIZE, mass_resolution=dm, length_resolution=dl)
    assert grain.density_uncertainty == pytest.approx(2 * float(density.std()), rel=0.01)


def test_the_tube_is_taken_off() -> None:
    bare, tubed = check_grain(0.165, **SIZE), check_grain(0.174, **SIZE, tube_tare=0.009)
    assert tubed.density == pytest.approx(bare.density)
    assert tubed.density_uncertainty > bare.density_uncertainty  # two weighings
    with pytest.raises(OutOfRange, match="weighed with its tube"):
        check_grain(0.009, **SIZE, tube_tare=0.009)


def test_plan_is_compared() -> None:
    assert "9.0 g lighter than planned (5.3 %)" in say(check_grain(0.161, **SIZE, expected_mass=0.170).reasons[-1])


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"core_d": 0.04445}, "core_d"),
        ({"core_d": -0.001}, "core_d"),
        ({"length": 0.0}, "length"),
        ({"outer_d": math.nan}, "outer_d"),
    ],
)
def test_impossible_sizes(change: dict[str, float], field: str) -> None:
    with pytest.raises(GeometryError) as caught:
        check_grain(0.16, **{**SIZE, **change})
    assert caught.value.field == field
    assert caught.value.remedy


@pytest.mark.parametrize(
    "change", [{"mass": 0}, {"mass": math.inf}, {"tube_tare": -1}, {"accept_share": 0.8}, {"mass_resolution": 0}]
)
def test_impossible_numbers(change: dict[str, float]) -> None:
    with pytest.raises(OutOfRange):
        check_grain(**{"mass": 0.16, **SIZE, **change})


def test_lot_balance_conserves() -> None:
    balance = lot_mass_balance([0.26, 0.112, 0.028], [0.165, 0.166], [0.005], [0.052])
    assert balance.accounted + balance.loss == pytest.approx(balance.weighed_in)
    assert balance.loss == pytest.approx(0.012)
    assert balance.loss_share == pytest.approx(0.03)
    assert "12.0 g (3.0 %)" in say(balance.words)


def test_more_out_than_in_is_flagged_only_beyond_the_scale() -> None:
    assert lot_mass_balance([0.4], [0.41]).impossible
    assert "more came out than went in" in say(lot_mass_balance([0.4], [0.41]).words)
    assert not lot_mass_balance([0.4], [0.4005], resolution=0.001).impossible
    assert "accounted" in say(lot_mass_balance([0.4], [0.4005], resolution=0.001).words)
    from_nothing = lot_mass_balance([], [0.1])
    assert (from_nothing.impossible, from_nothing.loss, from_nothing.loss_share) == (True, -0.1, -math.inf)
    with pytest.raises(OutOfRange, match="weighed_in"):
        lot_mass_balance([], [])
    with pytest.raises(OutOfRange, match="grains"):
        lot_mass_balance([0.4], [-0.1])


def test_moisture() -> None:
    assert moisture_gain(0.1690, 0.1702).gain == pytest.approx(0.0012)
    assert "drawn water" in say(moisture_gain(0.1690, 0.1702).words)
    assert not moisture_gain(0.1690, 0.16905).real
    assert "lighter" in say(moisture_gain(0.1690, 0.1600).words)
    with pytest.raises(OutOfRange):
        moisture_gain(0, 0.1)
