"""How often ranges held: the interval against printed values and SciPy, and words that say no more than it allows."""

import numpy as np
import pytest
from scipy.stats import binomtest

from app.calc.calibration import place, sign_test, verdict, wilson
from app.calc.errors import OutOfRange


@pytest.mark.parametrize(
    ("hits", "n", "low", "high"),
    [
        (81, 263, "0.2553", "0.3662"),
        (15, 148, "0.0624", "0.1605"),
        (0, 20, "0.0000", "0.1611"),
        (1, 29, "0.0061", "0.1718"),
    ],
)
def test_wilson_as_printed(hits: int, n: int, low: str, high: str) -> None:
    # R. G. Newcombe, Statistics in Medicine 17 (1998) 857, Table I, method 3 (from memory)
    found = wilson(hits, n)
    assert (f"{found.low:.4f}", f"{found.high:.4f}") == (low, high)


def test_wilson_is_scipys() -> None:
    for n in (1, 5, 30):
        for hits in range(n + 1):
            theirs = binomtest(hits, n).proportion_ci(0.9, method="wilson")
            ours = wilson(hits, n, 0.9)
            assert (ours.low, ours.high) == pytest.approx((theirs.low, theirs.high), abs=1e-12)


def test_the_sign_test_is_scipys() -> None:
    for n in (1, 10, 14, 200, 1500):
        for above in range(0, n + 1, max(1, n // 50)):
            assert sign_test(above, n) == pytest.approx(binomtest(above, n).pvalue, rel=1e-9)
    with pytest.raises(OutOfRange):
        sign_test(3, 2)


def test_predictions_are_called_high_only_beyond_chance() -> None:
    """3 of 14: by chance with 0.057 (exact binomial); the score interval alone would have called it."""
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
    assert "too narrow" in verdict([0.5, 1.5, 1.5, 1.5]).words  # one of four: that much even four can tell
    assert "In keeping" in verdict(np.linspace(-0.02, 1.02, 20).tolist()).words
    assert "wider than need be" in verdict([0.4, 0.6] * 30).words
    told = verdict([0.9] * 18 + [0.1, 1.1])
    assert told.hits == 19
    assert "19 of 20 lie above the middle: predictions are low" in told.words
    with pytest.raises(OutOfRange):
        verdict([])
