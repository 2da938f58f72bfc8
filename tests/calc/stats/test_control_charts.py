"""Control charts against the NIST/SEMATECH e-Handbook, small-sample means against SciPy's own tests."""

import math
from collections.abc import Callable, Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from app.calc.base.constants import Floats
from app.calc.base.errors import OutOfRange
from app.calc.stats.control_charts import (
    D2_OF_TWO,
    FACTORS,
    Sample,
    compare_means,
    ewma,
    individuals_limits,
    mean_interval,
    short_run,
)
from tests.published import numbers, published

VALUES = st.lists(st.floats(0.8, 1.0), min_size=2, max_size=30)


@pytest.mark.parametrize("row", published("individuals_chart.csv"))
def test_published_individuals_chart(row: dict[str, str]) -> None:
    found = individuals_limits(numbers(row["values"]))
    assert round(found.centre, 2) == float(row["centre"])
    assert round(found.moving_range, 4) == float(row["moving_range"])
    assert round(found.upper, 4) == float(row["upper"])
    assert round(found.lower, 4) == float(row["lower"])


def _charts(n: int, lots: int = 120_000) -> tuple[Floats, Floats]:
    """Good normal values by the lot: distances from the mean over the mean range of neighbours, and one more's."""
    rng = np.random.default_rng(n)
    values = rng.standard_normal((lots, n))
    ranges = np.abs(np.diff(values, axis=1)).mean(axis=1)
    own = np.abs(values - values.mean(axis=1, keepdims=True)) / ranges[:, None]
    return own, np.abs(rng.standard_normal((8, lots)) - values.mean(axis=1)) / ranges


@pytest.mark.parametrize("n", [8, 9, 11, 14, 20, 35, 80])
def test_good_grains_fall_outside_as_often_as_said(n: int) -> None:
    """Simulated, seeded. By the printed 3 / 1.128: 0.7 % of newest and 3.1 % of next good grains at 8; now 0.27 %."""
    own, coming = _charts(n)
    limits = short_run(individuals_limits([0.0, 1.0] * (n // 2) + [0.5] * (n % 2)))
    moving = individuals_limits([0.0, 1.0] * (n // 2) + [0.5] * (n % 2)).moving_range
    factor, to_come = (
        (top - bottom) / (2 * moving)
        for top, bottom in ((limits.upper, limits.lower), (limits.next_upper, limits.next_lower))
    )
    newest = (own[:, [0, -1]] > factor).mean()
    assert newest == pytest.approx(0.0027, abs=4 * math.sqrt(0.0027 / (2 * len(own))))
    assert (own > factor).mean() <= 0.0028
    assert (coming > to_come).mean() == pytest.approx(0.0027, abs=0.0006)  # eight to a lot go together
    if n == 8:
        assert (own[:, [0, -1]] > 3 / D2_OF_TWO).mean() > 0.006
        assert (coming > 3 / D2_OF_TWO).mean() == pytest.approx(0.031, abs=0.001)


def test_with_independent_ranges_the_simulation_gives_the_published_factors() -> None:
    """Pyzdek's table of short-run factors, single values: second stage 3.7, 3.1, 3.0 for 10, 20, 25 (from memory)."""
    for groups, printed in ((10, "3.7"), (20, "3.1"), (25, "3.0")):
        rng = np.random.default_rng(groups)
        mean_range = np.abs(rng.standard_normal((400_000, groups)) * math.sqrt(2)).mean(axis=1)
        off = rng.standard_normal(400_000) * math.sqrt(1 + 1 / groups)
        assert f"{np.quantile(np.abs(off) / mean_range, 0.9973):.1f}" == printed


def test_few_values_have_wider_limits_and_many_the_printed_ones() -> None:
    wide = [FACTORS[n] for n in sorted(FACTORS)]
    assert wide == sorted(wide, reverse=True)
    many = individuals_limits(np.random.default_rng(5).normal(0.96, 0.01, 100_000))
    found = short_run(many)
    assert (found.lower, found.upper) == pytest.approx((many.lower, many.upper), rel=1e-4)
    assert (found.next_lower, found.next_upper) == pytest.approx((many.lower, many.upper), rel=1e-4)
    with pytest.raises(OutOfRange):
        short_run(individuals_limits([0.9, 1.0] * 3))


@pytest.mark.parametrize("row", published("ewma.csv"))
def test_published_ewma(row: dict[str, str]) -> None:
    found = ewma(numbers(row["values"]), float(row["target"]), float(row["sigma"]), float(row["weight"]))
    assert found.values[1:] == pytest.approx(numbers(row["averages"]), abs=0.011)  # the page carries two decimals on
    assert found.upper == pytest.approx(float(row["upper"]), abs=1e-4)
    assert found.lower == pytest.approx(float(row["lower"]), abs=1e-4)
    assert found.outside == ()


@pytest.mark.parametrize("row", published("two_means.csv"))
def test_published_comparison_of_means(row: dict[str, str]) -> None:
    first, second = (Sample(int(row[f"n{i}"]), float(row[f"mean{i}"]), float(row[f"sd{i}"])) for i in (1, 2))
    found = compare_means(first, second)
    assert found.freedom == pytest.approx(float(row["freedom"]), abs=1e-3)
    # the half width is t_quantile times the standard error, and t is the difference over that error
    error = (found.high - found.difference) / stats.t.ppf(0.975, found.freedom)
    assert found.difference / error == pytest.approx(float(row["t"]), abs=1e-3)
    assert found.order == -1


def _sample(values: Sequence[float] | Floats) -> Sample:
    return Sample(len(values), float(np.mean(values)), float(np.std(values, ddof=1)))


def test_intervals_are_scipy_s() -> None:
    rng = np.random.default_rng(26)
    for n, m in [(2, 2), (3, 9), (12, 5), (40, 40)]:
        one, two = rng.normal(0.96, 0.01, n), rng.normal(0.95, 0.02, m)
        reference = stats.ttest_ind(one, two, equal_var=False).confidence_interval(0.95)
        found = compare_means(_sample(one), _sample(two))
        assert (found.low, found.high) == pytest.approx((reference.low, reference.high), rel=1e-9)
        alone = stats.ttest_1samp(one, 0.0).confidence_interval(0.9)
        interval = mean_interval(_sample(one), 0.9)
        assert (interval.low, interval.high) == pytest.approx((alone.low, alone.high), rel=1e-9)


@given(VALUES, VALUES)
def test_no_order_where_the_intervals_overlap_and_the_mirror_holds(one: list[float], two: list[float]) -> None:
    found, mirror = compare_means(_sample(one), _sample(two)), compare_means(_sample(two), _sample(one))
    overlap = found.first.low <= found.second.high and found.second.low <= found.first.high
    assert found.ranked is not overlap
    assert mirror.order == -found.order
    assert mirror.difference == pytest.approx(-found.difference)
    if found.ranked:  # means whose intervals stand apart differ by more than nothing
        assert (found.low > 0) == (found.order == 1)


@given(VALUES, st.floats(0.5, 2.0), st.floats(-1.0, 1.0))
def test_limits_follow_the_unit(values: list[float], scale: float, shift: float) -> None:
    # exact law: a change of unit changes the limits in the same way
    before, after = individuals_limits(values), individuals_limits([scale * v + shift for v in values])
    assert after.centre == pytest.approx(scale * before.centre + shift, abs=1e-9)
    assert after.upper - after.lower == pytest.approx(scale * (before.upper - before.lower), abs=1e-9)


def test_a_weight_of_one_is_the_value_itself_and_a_lasting_shift_is_seen() -> None:
    assert ewma([1.0, 2.0, 3.0], 0.0, 1.0, 1.0).values == (0.0, 1.0, 2.0, 3.0)
    shifted = ewma([1.5] * 12, target=0.0, sigma=1.0)  # 1.5 deviations: inside the single-value limits for ever
    assert shifted.outside
    # closed form of a constant input: shift (1 - (1 - weight)^n)
    assert shifted.values[5] == pytest.approx(1.5 * (1 - 0.7**5))


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: individuals_limits([1.0]), "values"),
        (lambda: individuals_limits([1.0, math.nan]), "values"),
        (lambda: mean_interval(Sample(1, 1.0, 0.0)), "sample"),
        (lambda: mean_interval(Sample(3, 1.0, -0.1)), "sample"),
        (lambda: mean_interval(Sample(3, math.inf, 0.1)), "sample"),
        (lambda: mean_interval(Sample(3, 1.0, 0.1), 1.0), "confidence"),
        (lambda: compare_means(Sample(3, 1.0, 0.1), Sample(1, 1.0, 0.0)), "sample"),
        (lambda: ewma([1.0], 1.0, 0.0), "sigma"),
        (lambda: ewma([1.0], 1.0, 1.0, 0.0), "weight"),
        (lambda: ewma([math.inf], 1.0, 1.0), "values"),
    ],
)
def test_what_cannot_be_computed_is_refused(call: Callable[[], object], field: str) -> None:
    with pytest.raises(OutOfRange) as caught:
        call()
    assert caught.value.field == field
    assert caught.value.remedy


def test_means_without_scatter_are_known_exactly() -> None:
    """The limit of Welch's interval as both deviations go to nothing: SciPy cannot say it, plain subtraction can."""
    apart, alike = (compare_means(Sample(3, 2.0, 0.0), Sample(4, mean, 0.0)) for mean in (1.5, 2.0))
    assert (apart.difference, apart.low, apart.high, apart.p, apart.order) == (0.5, 0.5, 0.5, 0.0, 1)
    assert (alike.low, alike.high, alike.p, alike.order) == (0.0, 0.0, 1.0, 0)
