"""Good grains by spoiled pans, against SciPy's beta-binomial and by drawing."""

import numpy as np
import pytest
from scipy import stats

from app.calc.base.errors import NoSolution, OutOfRange
from app.calc.season.melt_loads import Pan, Pattern, full_loads, most_of
from app.calc.season.rejects import (
    CORRELATIONS,
    PRIOR_GRAINS,
    PRIOR_MEAN,
    GoodGrains,
    RejectBelief,
    cast_for,
    good_in_melt,
    rejects_by_melt,
    rejects_in_all,
)


@pytest.mark.parametrize("size", [1, 4, 7, 40])
@pytest.mark.parametrize(("mean", "correlation"), [(0.05, 0.02), (0.3, 0.35), (0.01, 0.2)])
def test_one_melt_is_scipy_s_beta_binomial(size: int, mean: float, correlation: float) -> None:
    """scipy.stats.betabinom, of the good ones: a = (1 - m) s, b = m s, s = (1 - rho)/rho."""
    strength = (1 - correlation) / correlation
    expected = stats.betabinom(size, (1 - mean) * strength, mean * strength).pmf(np.arange(size + 1))
    found = good_in_melt(size, np.array([mean]), np.array([correlation]))[0]
    assert found == pytest.approx(expected, rel=1e-9, abs=1e-14)


def test_grains_that_do_not_know_of_each_other_are_scipy_s_beta_binomial_of_all_of_them() -> None:
    """With next to no correlation, 30 grains in melts are one beta-binomial draw on the mean's own beta posterior."""
    a, b = PRIOR_MEAN * PRIOR_GRAINS + 6, (1 - PRIOR_MEAN) * PRIOR_GRAINS + 54
    share = (np.arange(2000) + 0.5) / 2000
    means = tuple(stats.beta(a, b).ppf(share).tolist())
    belief = RejectBelief(means, (1e-6,) * 2000, (1 / 2000,) * 2000)
    found = [GoodGrains(belief, 5).at_least(need, 30) for need in (20, 24, 27, 29)]
    expected = [stats.betabinom(30, b, a).sf(need - 1) for need in (20, 24, 27, 29)]
    assert found == pytest.approx(expected, abs=2e-4)


def test_melts_of_any_size_together_by_drawing() -> None:
    """Three melts with spoiled pans, drawn 400,000 times."""
    belief = RejectBelief((0.1, 0.25), (0.2, 0.35), (0.6, 0.4))
    rng = np.random.default_rng(7)
    which = rng.choice(2, size=400_000, p=belief.weight)
    mean, rho = np.array(belief.mean)[which], np.array(belief.correlation)[which]
    good = np.zeros(400_000, dtype=int)
    for size in (4, 4, 2):
        bad = rng.beta(mean * (1 - rho) / rho, (1 - mean) * (1 - rho) / rho)
        good += rng.binomial(size, 1 - bad)
    odds = GoodGrains(belief, 4)
    for need in (5, 8, 10):
        assert odds.at_least(need, 10) == pytest.approx(np.mean(good >= need), abs=0.003)
        assert odds.at_least_of(need, [4, 2, 4]) == pytest.approx(odds.at_least(need, 10), rel=1e-12)


def test_nothing_on_record_is_the_prior() -> None:
    assert rejects_by_melt([]).expected == pytest.approx(PRIOR_MEAN, rel=0.02)
    assert rejects_in_all(0, 0, 4).clustering == pytest.approx(np.mean(CORRELATIONS))


def test_sums_over_melts_are_a_beta_posterior_on_counts_over_their_design_effect() -> None:
    """Rao and Scott 1992, from memory: for each correlation the mean's posterior is a beta distribution."""
    belief = rejects_in_all(8, 80, 4)
    per = len(belief.mean) // len(CORRELATIONS)
    for i, rho in enumerate(CORRELATIONS):
        effect = 1 + 3 * rho
        a, b = PRIOR_MEAN * PRIOR_GRAINS + 8 / effect, (1 - PRIOR_MEAN) * PRIOR_GRAINS + 72 / effect
        assert np.mean(belief.mean[i * per : (i + 1) * per]) == pytest.approx(a / (a + b), rel=0.01)


@pytest.mark.parametrize("melts", [[(0, 6)] * 8 + [(6, 6), (5, 6)], [(1, 6)] * 10, [(0, 4)] * 20 + [(3, 4)]])
def test_melts_on_record_against_a_fine_grid(melts: list[tuple[int, int]]) -> None:
    """Prior times scipy.stats.betabinom over 4,000 means, closer together towards nought, for each correlation."""
    fourth = (np.arange(4000) + 0.5) / 4000
    grid, width = fourth**4, 4 * fourth**3
    post = []
    for rho in CORRELATIONS:
        strength = (1 - rho) / rho
        log = stats.beta(PRIOR_MEAN * PRIOR_GRAINS, (1 - PRIOR_MEAN) * PRIOR_GRAINS).logpdf(grid)
        for bad, cast in melts:
            log = log + stats.betabinom(cast, grid * strength, (1 - grid) * strength).logpmf(bad)
        post.append(np.exp(log) * width)
    weights = np.array(post) / np.sum(post)
    belief = rejects_by_melt(melts)
    assert belief.expected == pytest.approx(float(np.sum(weights * grid)), rel=0.02)
    assert belief.clustering == pytest.approx(float(np.sum(weights.sum(axis=1) * np.array(CORRELATIONS))), abs=0.01)


def test_spoiled_pans_take_more_grains_than_scattered_rejects() -> None:
    """The same share of rejects; the more they come together, the more is cast to be as sure."""
    beliefs = [RejectBelief((0.1,), (rho,), (1.0,)) for rho in (0.02, 0.12, 0.35)]
    cast = [cast_for({"A": 30}, {"A": GoodGrains(belief, 6)}, 0.9, {}, {"A": 1.0}) for belief in beliefs]
    counts = [one["A"] for one in cast if one]
    assert len(counts) == 3
    assert counts[0] < counts[1] < counts[2]


def test_the_number_cast_is_the_least_that_is_enough() -> None:
    odds = GoodGrains(rejects_in_all(4, 89, 4), 4)
    for need in range(1, 60):
        cast = cast_for({"A": need}, {"A": odds}, 0.9, {}, {"A": 1.0})
        assert cast is not None
        assert odds.at_least(need, cast["A"]) >= 0.9 > odds.at_least(need, cast["A"] - 1)


def test_every_pattern_together_by_trying_all_numbers() -> None:
    """Of all pairs that reach the joint chance, none weighs less by more than a grain."""
    odds = {"A": GoodGrains(rejects_in_all(4, 89, 4), 4), "B": GoodGrains(rejects_in_all(3, 30, 7), 7)}
    need, mass = {"A": 22, "B": 6}, {"A": 0.17, "B": 0.066}
    cast = cast_for(need, odds, 0.9, {}, mass)
    assert cast is not None
    enough = [
        0.17 * a + 0.066 * b
        for a in range(22, 34)
        for b in range(6, 20)
        if odds["A"].at_least(22, a) * odds["B"].at_least(6, b) >= 0.9
    ]
    assert 0.17 * cast["A"] + 0.066 * cast["B"] <= min(enough) + 0.17


@pytest.mark.parametrize(("rejected", "cast"), [(5, 4), (-1, 4)])
def test_a_record_that_cannot_be(rejected: int, cast: int) -> None:
    with pytest.raises(OutOfRange, match="cannot have been rejected"):
        rejects_in_all(rejected, cast, 4)
    with pytest.raises(OutOfRange, match="cannot have been rejected"):
        rejects_by_melt([(rejected, cast)])


def test_a_melt_takes_what_the_recipe_says() -> None:
    """As `recipe.batch_mass`: the over-pour on the grains, the test pieces beside them."""
    pan = Pan(0.76, 0.05, 0.01)
    assert pan.melt_kg(4 * 0.17) == pytest.approx(0.724)
    assert most_of(Pattern(0.17, "f"), pan) == 4
    assert most_of(Pattern(0.17, "f"), Pan(0.724, 0.05, 0.01)) == 4
    assert most_of(Pattern(0.17, "f"), pan, sets=3) == 3


def test_full_loads_by_trying_all() -> None:
    of = {"A": Pattern(0.17, "f"), "B": Pattern(0.07, "f"), "C": Pattern(0.11, "f")}
    pan, most = Pan(0.8, 0.06, 0.01), {"A": 3, "B": 5, "C": 2}

    def fits(load: tuple[int, ...]) -> bool:
        return pan.melt_kg(sum(n * p.mass_kg for n, p in zip(load, of.values(), strict=True))) <= 0.8

    every = [(a, b, c) for a in range(4) for b in range(6) for c in range(3) if fits((a, b, c))]
    full = [
        one for one in every if not any(o != one and all(x >= y for x, y in zip(o, one, strict=True)) for o in every)
    ]
    assert sorted(full_loads(of, pan, most)) == sorted(full)
    with pytest.raises(NoSolution, match="more than 2 ways"):
        full_loads(of, pan, most, limit=2)
