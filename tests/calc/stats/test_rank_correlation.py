"""Rank association against a published example and SciPy; its interval by how often it holds."""

import math
from collections.abc import Callable
from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from app.calc.base.errors import CalcError, OutOfRange
from app.calc.stats.rank_correlation import rank_association, ranks
from tests.published import numbers, published

VALUES = st.lists(st.integers(-20, 20), min_size=5, max_size=40)


@pytest.mark.parametrize("row", published("rank_association.csv"))
def test_published_interval(row: dict[str, str]) -> None:
    found = rank_association(numbers(row["x"]), numbers(row["y"]))
    for name in ("rho", "low", "high"):
        assert round(getattr(found, name), 7) == float(row[name])


@given(VALUES)
def test_ranks_are_scipy_s(values: list[float]) -> None:
    assert ranks(values).tolist() == stats.rankdata(values).tolist()


@given(VALUES, st.randoms(use_true_random=False))
def test_coefficient_and_probability_are_scipy_s(x: list[float], random: Random) -> None:
    y = [v + random.randint(-15, 15) for v in x]
    if len(set(x)) == 1 or len(set(y)) == 1:
        with pytest.raises(OutOfRange):
            rank_association(x, y)
        return
    found, reference = rank_association(x, y), stats.spearmanr(x, y)
    assert found.rho == pytest.approx(reference.statistic, abs=1e-12)
    if abs(found.rho) < 1:  # in perfect order SciPy says 0, and here stands the chance of one order of n!
        assert found.p == pytest.approx(reference.pvalue, abs=1e-9)
    assert -1 <= found.low <= found.rho <= found.high <= 1


@given(VALUES, st.randoms(use_true_random=False))
def test_a_bent_scale_changes_nothing(x: list[float], random: Random) -> None:
    y = [v + random.randint(-15, 15) for v in x]
    if len(set(x)) == 1 or len(set(y)) == 1:
        return
    straight, bent = rank_association(x, y), rank_association([math.exp(v / 10) for v in x], y)
    turned = rank_association(x, [-v for v in y])
    assert bent.rho == pytest.approx(straight.rho, abs=1e-12)
    assert turned.rho == pytest.approx(-straight.rho, abs=1e-12)


def test_its_interval_holds_about_as_often_as_it_says() -> None:
    """Pairs of a normal distribution with correlation r have Spearman's coefficient 6/pi asin(r/2): Pearson 1907."""
    chance, held, tries = np.random.default_rng(7), 0, 600
    r = 0.6
    truth = 6 / math.pi * math.asin(r / 2)
    for _ in range(tries):
        x = chance.normal(size=30)
        y = r * x + math.sqrt(1 - r * r) * chance.normal(size=30)
        found = rank_association(x, y)
        held += found.low <= truth <= found.high
    assert 0.92 <= held / tries <= 0.98  # 0.95 within three standard errors of 600 tries, which are 0.027


@pytest.mark.parametrize(
    "call",
    [
        lambda: rank_association([1, 2, 3], [1, 2, 3]),
        lambda: rank_association([1, 2, 3, 4], [1, 2, 3]),
        lambda: rank_association([1, 1, 1, 1], [1, 2, 3, 4]),
        lambda: rank_association([1, 2, 3, math.nan], [1, 2, 3, 4]),
        lambda: rank_association([1, 2, 3, 4], [1, 2, 3, 4], 1.0),
    ],
)
def test_what_cannot_be_computed_is_refused(call: Callable[[], object]) -> None:
    with pytest.raises(CalcError):
        call()


def test_perfect_order_is_not_perfect_knowledge() -> None:
    up = rank_association(range(1, 13), range(1, 13))
    swapped = rank_association(range(1, 13), [2, 1, *range(3, 13)])
    assert (up.rho, up.high) == (1.0, 1.0)
    assert up.low == pytest.approx(swapped.low)
    assert up.p == pytest.approx(2 / math.factorial(12))
    down = rank_association(range(1, 13), range(12, 0, -1))
    assert (down.rho, down.low) == (-1.0, -1.0)
    assert down.high == pytest.approx(-up.low)
    # by counting every order: of the 24 of four, one is perfect and one its reverse
    exact = stats.permutation_test(
        (np.arange(4),), lambda x: stats.spearmanr(x, np.arange(4)).statistic, permutation_type="pairings"
    ).pvalue
    assert rank_association(range(4), range(4)).p == pytest.approx(exact)
