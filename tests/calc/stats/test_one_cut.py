"""One cut that parts two kinds best: its chance is that of all orders, counted one by one, and SciPy's."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from app.calc.base.errors import CalcError, OutOfRange
from app.calc.stats.one_cut import best_cut

FEW = st.lists(st.tuples(st.integers(90, 97), st.booleans()), min_size=2, max_size=9)


def test_its_chance_is_scipy_s_exact_two_sample_kolmogorov_smirnov() -> None:
    """scipy.stats.ks_2samp, method "exact"; values without ties."""
    chance = np.random.default_rng(7)
    for n, m in [(3, 3), (9, 6), (4, 20), (30, 25)]:
        values = chance.permutation(n + m) + chance.uniform(0, 0.5, n + m)
        kinds = [True] * n + [False] * m
        found = best_cut(values.tolist(), kinds)
        reference = stats.ks_2samp(values[:n], values[n:], method="exact")
        assert found is not None
        assert found.gap == pytest.approx(reference.statistic, rel=1e-12)
        assert found.p == pytest.approx(reference.pvalue, rel=1e-9)


@given(FEW)
def test_every_order_is_counted_ties_and_all(things: list[tuple[int, bool]]) -> None:
    """The definition itself, by trying every order of the kinds over the same values (Fisher 1935: randomisation)."""
    values, kinds = [float(v) for v, _ in things], [kind for _, kind in things]
    found = best_cut(values, kinds)
    so = sum(kinds)
    if len(set(values)) < 2 or so in (0, len(kinds)):
        assert found is None
        return
    assert found is not None

    def best(chosen: set[int]) -> int:
        def apart(level: float) -> int:
            above = {i for i, v in enumerate(values) if v >= level}
            return abs(len(above & chosen) * (len(values) - so) - len(above - chosen) * so)

        return max(apart(level) for level in sorted(set(values))[1:])

    mine = best({i for i, kind in enumerate(kinds) if kind})
    every = [best(set(chosen)) >= mine for chosen in combinations(range(len(values)), so)]
    assert found.p == pytest.approx(sum(every) / len(every), rel=1e-12)
    assert found.gap == pytest.approx(mine / (so * (len(values) - so)))
    assert found.below < found.level <= found.above
    assert (found.n_above, found.n_below) == (
        sum(v >= found.level for v in values),
        sum(v < found.level for v in values),
    )
    assert found.so_above == sum(kind for v, kind in zip(values, kinds, strict=True) if v >= found.level)


def test_where_nothing_parts_them_a_line_is_hardly_ever_told() -> None:
    """The error rate that is stated: of 400 books whose densities say nothing, at most 5 % show a cut at 0.05."""
    chance = np.random.default_rng(3)
    told = 0
    for _ in range(400):
        found = best_cut(chance.normal(96, 1, 16).round(1).tolist(), [True] * 10 + [False] * 6)
        told += found is not None and found.p < 0.05
    assert told <= 0.05 * 400 + 2 * (0.05 * 0.95 * 400) ** 0.5


def test_which_way_it_goes_and_how_it_is_written() -> None:
    up = best_cut([93.7, 94.2, 95.5, 95.83, 96.1], [False, False, False, True, True])
    down = best_cut([93.7, 94.2, 95.5, 95.83, 96.1], [True, True, True, False, False])
    mixed = best_cut([1.0, 2.0, 3.0, 4.0], [False, True, False, True])
    assert up is not None
    assert down is not None
    assert mixed is not None
    assert (up.upward, up.perfect, up.level) == (True, True, 95.7)
    assert (down.upward, down.perfect) == (False, True)
    assert mixed.perfect is False
    widest = best_cut([90.0, 91.0, 96.0, 99.0], [False, True, False, True])
    assert widest is not None
    assert (widest.below, widest.above) == (96.0, 99.0), "of equal ones the one in the widest gap"


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(OutOfRange):
        best_cut([1.0, 2.0], [True])
    with pytest.raises(CalcError):
        best_cut([1.0, float("nan")], [True, False])
    assert best_cut([], []) is None
