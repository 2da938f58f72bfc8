"""Test pieces burned in the open."""

import numpy as np
import pytest

from app.calc.base.constants import ATM
from app.calc.base.errors import OutOfRange
from app.calc.propellant.burn_laws import law_for_blend, published_law
from app.calc.propellant.strand import BY_HAND, BY_VIDEO, against_law, mean_of, strand_rate


def test_uncertainty_agrees_with_sampled_readings() -> None:
    """Sample what the caliper and the hand do; about 95 % of the rates must lie inside (JCGM 101)."""
    rng = np.random.default_rng(4)
    n, length, burn_time, step = 200_000, 0.04, 12.0, 5e-4
    marks = rng.uniform(-step / 2, step / 2, (2, n))
    rates = (length + marks[0] - marks[1]) / (burn_time + rng.normal(0, BY_HAND, n))
    said = strand_rate(length, burn_time, step)
    assert said.uncertainty == pytest.approx(2 * rates.std(), rel=0.01)
    assert np.mean(abs(rates - said.rate) < said.uncertainty) == pytest.approx(0.954, abs=0.01)


def test_video_is_what_two_unsure_pictures_give() -> None:
    rng = np.random.default_rng(5)
    ends = rng.uniform(0, 1 / 30, (2, 400_000))
    assert pytest.approx((ends[1] - ends[0]).std(), rel=0.01) == BY_VIDEO


@pytest.mark.parametrize(("sugar", "rate"), [("sorbitol", 2.6), ("dextrose", 2.2), ("sucrose", 3.8)])
def test_law_in_the_open_is_near_what_is_told_of_sticks(sugar: str, rate: float) -> None:
    """Burn rate at one atmosphere [mm/s] (R. Nakka's pages on the three propellants, from memory), to a tenth."""
    stick = strand_rate(0.05, 50 / rate)
    found = against_law(stick, published_law(sugar), ATM)
    assert found.ratio == pytest.approx(1, abs=0.1)
    assert found.flag == "accept"


def test_the_law_is_marked_where_it_was_not_tested() -> None:
    stick = strand_rate(0.05, 19.5)
    assert not against_law(stick, published_law("sorbitol"), ATM).in_range
    assert against_law(stick, published_law("sorbitol"), 0.104e6).in_range


def test_higher_up_the_law_expects_less_by_the_exponent() -> None:
    law = law_for_blend({"potassium_nitrate": 0.65, "sorbitol": 0.35})
    stick = strand_rate(0.05, 19.5)
    high, low = (against_law(stick, law, p).law_rate for p in (84_556.0, ATM))  # 1500 m: U.S. Std. Atmosphere 1976
    assert high / low == pytest.approx((84_556 / ATM) ** 0.625, rel=1e-3)  # the closed joint turns the line a little


@pytest.mark.parametrize(
    ("burn_time", "flag", "words"), [(14.0, "look", "side"), (26.0, "look", "moisture"), (18.5, "accept", "faster")]
)
def test_a_stick_far_off_is_looked_at(burn_time: float, flag: str, words: str) -> None:
    found = against_law(strand_rate(0.05, burn_time), published_law("sorbitol"), ATM)
    assert found.flag == flag
    assert words in found.words


def test_mean_with_its_interval_as_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook 1.3.5.2 (from memory): n 195, mean 9.261460, s 0.022789 -> 9.258242 to 9.264679."""
    n, mean, s = 195, 9.261460, 0.022789
    half = s  # n - 1 values in pairs about the mean and one on it give exactly s
    values = [mean] + [mean + half, mean - half] * ((n - 1) // 2)
    found = mean_of(values)
    assert found.half_width is not None
    assert found.mean - found.half_width == pytest.approx(9.258242, abs=2e-6)
    assert found.mean + found.half_width == pytest.approx(9.264679, abs=2e-6)


def test_one_stick_tells_no_interval() -> None:
    assert mean_of([1.1]).half_width is None
    with pytest.raises(OutOfRange):
        mean_of([])


@pytest.mark.parametrize(
    ("length", "burn_time", "field"), [(0, 1, "length"), (0.05, -1, "burn_time"), (0.05, 0.15, "burn_time")]
)
def test_what_cannot_be_is_told(length: float, burn_time: float, field: str) -> None:
    with pytest.raises(OutOfRange) as refusal:
        strand_rate(length, burn_time)
    assert refusal.value.field == field
