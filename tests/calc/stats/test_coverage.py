"""How often ranges held: the interval against printed values and SciPy, and words that say no more than it allows."""

import numpy as np
import pytest
from scipy.stats import binom, binomtest

from app.calc.base.errors import OutOfRange
from app.calc.stats.coverage import at_most, place, sign_test, verdict
from app.calc.stats.multiple_comparisons import share_interval


@pytest.mark.parametrize(
    ("hits", "n", "low", "high"),
    [
        (81, 263, "0.2527", "0.3676"),
        (15, 148, "0.0578", "0.1617"),
        (0, 20, "0.0000", "0.1684"),
        (1, 29, "0.0009", "0.1776"),
    ],
)
def test_exact_interval_as_printed(hits: int, n: int, low: str, high: str) -> None:
    # R. G. Newcombe, Statistics in Medicine 17 (1998) 857, Table I, method 5 (from memory)
    found = share_interval(hits, n)
    assert tuple(f"{end:.4f}" for end in found) == (low, high)


def test_the_chance_of_so_few_is_scipys() -> None:
    for n in (1, 5, 30):
        for hits in range(n + 1):
            assert at_most(hits, n, 0.9) == pytest.approx(binomtest(hits, n, 0.9, alternative="less").pvalue)


def test_one_firing_outside_proves_nothing() -> None:
    """Where nine in ten hold, one in ten single firings falls outside (binomial); it said “too narrow”."""
    for where in (-1.0, 0.5, 1.5):
        said = verdict([where]).words
        assert said.startswith("Too few to tell"), said
        assert "narrow" not in said


def test_words_are_wrong_as_seldom_as_they_claim() -> None:
    """Ranges that hold nine in ten: “too narrow” is said by chance in at most 2.5 % of records, of any length."""
    for n in range(1, 61):
        wrong = 0.0
        for hits in range(n + 1):
            if "narrow" in verdict([0.4, 0.6] * (hits // 2) + [0.5] * (hits % 2) + [2.0] * (n - hits)).words:
                wrong += float(binom.pmf(hits, n, 0.9))
        assert wrong <= 0.025 + 1e-12, n


def test_the_sign_test_is_scipys() -> None:
    for n in (1, 10, 14, 200, 1500):
        for above in range(0, n + 1, max(1, n // 50)):
            assert sign_test(above, n) == pytest.approx(binomtest(above, n).pvalue, rel=1e-9)
    with pytest.raises(OutOfRange):
        sign_test(3, 2)


def test_predictions_are_called_high_only_beyond_chance() -> None:
    """3 of 14: by chance with 0.057 (exact binomial)."""
    assert "predictions are" not in verdict([0.9] * 3 + [0.1] * 11).words
    assert "2 of 14 lie above the middle: predictions are high" in verdict([0.9] * 2 + [0.1] * 12).words


def test_place_in_a_range() -> None:
    assert place(1.0, 1.0, 4.0) == 0.0
    assert place(8.0, 1.0, 4.0) == pytest.approx(1.5)
    assert place(0.0, -1.0, 1.0) == 0.5
    with pytest.raises(OutOfRange):
        place(1.0, 2.0, 2.0)


def test_words_say_no_more_than_the_count_allows() -> None:
    assert "Too few to tell" in verdict([0.5] * 4).words
    # One of four: 0.4 % by chance (binomial), so that much even four can tell.
    assert "Too narrow, most likely: 3 of 4 fell outside" in verdict([0.5, 1.5, 1.5, 1.5]).words
    assert "1 time in 270" in verdict([0.5, 1.5, 1.5, 1.5]).words
    assert "In keeping" in verdict(np.linspace(-0.02, 1.02, 20).tolist()).words
    assert "wider than need be" in verdict([0.4, 0.6] * 30).words
    told = verdict([0.9] * 18 + [0.1, 1.1])
    assert told.hits == 19
    assert "19 of 20 lie above the middle: predictions are low" in told.words
    with pytest.raises(OutOfRange):
        verdict([])


def test_a_place_is_by_the_logarithm_where_there_is_one() -> None:
    assert place(4.0, 2.0, 8.0) == place(0.5, 0.25, 1.0) == pytest.approx(0.5)  # the geometric middle
    assert place(0.0, 1.0, 2.0) == -1.0  # zero has none
    assert place(1.0, 0.0, 4.0) == 0.25
    assert place(-1.0, -2.0, 2.0) == 0.25


def test_both_ends_of_a_range_lie_inside_and_the_share_is_told_with_its_interval() -> None:
    found = verdict([0.0, 1.0, -1e-9, 1 + 1e-9])
    assert (found.n, found.hits, found.interval.share) == (4, 2, 0.5)
    exact = binomtest(2, 4).proportion_ci(0.95, "exact")
    assert (found.interval.low, found.interval.high) == pytest.approx((exact.low, exact.high))


@pytest.mark.parametrize(("hits", "n"), [(3, 2), (-1, 2), (0, 0)])
def test_counts_that_cannot_be_are_refused(hits: int, n: int) -> None:
    with pytest.raises(OutOfRange):
        at_most(hits, n, 0.9)
    with pytest.raises(OutOfRange):
        sign_test(hits, n)


def test_words_change_at_the_tenth_value() -> None:
    """Binomial by hand: 0 of 4 by chance 1 time in 10,000; 0 of 10 far less."""
    assert "1 measured value cannot show" in verdict([0.6]).words
    assert "2 of 2 inside is no proof" in verdict([0.4, 0.6]).words
    nine, ten = [0.4, 0.6] * 4 + [1.5], [0.4, 0.6] * 4 + [0.4, 1.5]
    assert verdict(nine).words == "Too few to tell: 8 of 9 inside is no proof either way whether nine in ten hold."
    assert verdict(ten).words == "In keeping with nine in ten, as far as 10 values can tell."
    few = "So few values tell it of these firings only."
    out = [-1.0, 2.0] * 5
    assert verdict(out[:9]).words.endswith(few)
    assert verdict(out).words.endswith("chance alone does that less than 1 time in 10000.")
    assert "1 time in 1000;" not in verdict(out[:3]).words
    assert verdict(out[:3]).words.endswith(f"1 time in 1000. {few}")


def test_which_way_predictions_lean() -> None:
    """Sign test: 10 of 10 by chance 1 time in 512; 38 of 100 with 0.021 (exact binomial)."""
    assert verdict([0.6] * 10).words.endswith("can tell. 10 of 10 lie above the middle: predictions are low.")
    assert "lie above" not in verdict([0.6] * 9).words
    assert "38 of 100 lie above the middle: predictions are high" in verdict([0.6] * 38 + [0.4] * 62).words
