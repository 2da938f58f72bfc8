"""Many comparisons at once: Holm, Welch, Fisher's exact test and Clopper and Pearson's interval."""

from collections.abc import Callable, Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from app.calc.base.constants import Floats
from app.calc.base.errors import OutOfRange
from app.calc.stats.control_charts import Sample, compare_means
from app.calc.stats.multiple_comparisons import compare_all, exact_chance, holm, share_interval
from tests.published import numbers, published

CHANCES = st.lists(st.floats(0, 1), max_size=12)


def sample(values: Sequence[float] | Floats) -> Sample:
    return Sample(len(values), float(np.mean(values)), float(np.std(values, ddof=1)))


@pytest.mark.parametrize("row", published("holm.csv"))
def test_published_holm(row: dict[str, str]) -> None:
    assert [p < 0.05 for p in holm(numbers(row["p"]))] == [bool(s) for s in numbers(row["stands"])]


@given(CHANCES, st.floats(0.001, 0.5))
def test_holm_is_the_procedure_step_by_step(chances: list[float], alpha: float) -> None:
    """Holm 1979: from the least p on, a difference stands while p < alpha / (number not yet judged)."""
    stands, order = [False] * len(chances), sorted(range(len(chances)), key=lambda i: chances[i])
    for done, i in enumerate(order):
        if chances[i] * (len(chances) - done) >= alpha:
            break
        stands[i] = True
    assert [p < alpha for p in holm(chances)] == stands


@pytest.mark.parametrize("row", published("welch.csv"))
def test_published_welch(row: dict[str, str]) -> None:
    found = compare_means(sample(numbers(row["first"])), sample(numbers(row["second"])))
    assert found.freedom == pytest.approx(float(row["freedom"]), abs=0.05)
    assert round(found.p, 5) == float(row["p"])
    assert found.low == pytest.approx(float(row["low"]), abs=5e-7)
    assert found.high == pytest.approx(float(row["high"]), abs=5e-7)


def test_welch_is_scipy_s() -> None:
    chance = np.random.default_rng(5)
    for n, m in [(2, 2), (3, 9), (12, 5), (40, 40)]:
        one, two = chance.normal(0.96, 0.01, n), chance.normal(0.95, 0.02, m)
        reference = stats.ttest_ind(one, two, equal_var=False)
        assert compare_means(sample(one), sample(two)).p == pytest.approx(reference.pvalue, rel=1e-9)
    assert compare_means(Sample(3, 1.0, 0.0), Sample(3, 1.0, 0.0)).p == 1.0
    assert compare_means(Sample(3, 1.0, 0.0), Sample(3, 2.0, 0.0)).p == 0.0


def test_alike_groups_are_hardly_ever_put_in_order() -> None:
    """Eight groups of four from one distribution: with Holm at 95 % at most one try in twenty may find an order."""
    chance = np.random.default_rng(11)
    wrong = sum(
        any(p.order for p in compare_all([sample(chance.normal(1, 0.05, 4)) for _ in range(8)])) for _ in range(200)
    )
    assert wrong <= 0.05 * 200


def test_an_order_needs_both_gates() -> None:
    near = [Sample(30, 1.00, 0.05), Sample(30, 1.032, 0.05)]  # Welch's p is 0.016, yet the intervals touch
    (pair,) = compare_all(near)
    assert pair.p < 0.05
    assert pair.order == 0
    (first, _, last) = compare_all([Sample(9, 1.0, 0.01), Sample(9, 1.001, 0.01), Sample(9, 0.9, 0.01)])
    assert (first.order, last.order) == (0, 1)


@given(st.integers(0, 12), st.integers(0, 12), st.integers(0, 12), st.integers(0, 12))
def test_exact_test_is_scipy_s(a: int, b: int, c: int, d: int) -> None:
    reference = stats.fisher_exact([[a, b], [c, d]]).pvalue
    assert exact_chance(a, b, c, d) == pytest.approx(reference, abs=1e-9)


@given(st.integers(1, 60), st.data())
def test_share_interval_is_scipy_s(n: int, data: st.DataObject) -> None:
    so = data.draw(st.integers(0, n))
    reference = stats.binomtest(so, n).proportion_ci(0.95, method="exact")
    assert share_interval(so, n) == pytest.approx((reference.low, reference.high), abs=1e-9)


@pytest.mark.parametrize(
    "call",
    [
        lambda: holm([0.5, 1.5]),
        lambda: exact_chance(-1, 1, 1, 1),
        lambda: share_interval(2, 1),
        lambda: share_interval(0, 0),
        lambda: compare_all([Sample(1, 1.0, 0.0), Sample(2, 1.0, 0.1)]),
    ],
)
def test_what_cannot_be_computed_is_refused(call: Callable[[], object]) -> None:
    with pytest.raises(OutOfRange):
        call()
