"""What is learned together: published meta-analyses, closed forms, and the defaults where nothing was fired."""

import math
from statistics import fmean

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import multivariate_normal

from app.calc.base.errors import CalcError, OutOfRange
from app.calc.fit.between_firings import WEIGHT, Between, between, tempered
from app.calc.fit.partial_pooling import CASE, OPEN_AIR, STAND, WORKSHOP, Prior, Said, learn, stand_shifts
from app.calc.motor.spread import BORROWED_RATE, C_STAR_SPREAD, CHANCE, NOZZLE_SPREAD, RATE_SPREAD
from tests.published import published

ONE = np.eye(3)


def full(rate: float, c_star: float = 0.0, nozzle: float = 0.0, error: float = 0.02, case: str = "c") -> Said:
    return Said("f", case, ONE, np.array([rate, c_star, nozzle]), np.full(3, error))


def test_dersimonian_laird_as_published_for_six_trials() -> None:
    # DerSimonian & Kacker 2007, Tables 3 and 4: tau 0.2323, mean -0.3240, standard error 0.1540
    effects, errors = [], []
    for r in published("clasp_trials.csv"):
        a, b = float(r["treated_events"]), float(r["control_events"])
        c, d = float(r["treated"]) - a, float(r["control"]) - b
        effects.append(math.log(a * d / (b * c)))
        errors.append(math.sqrt(1 / a + 1 / b + 1 / c + 1 / d))
    found = between(effects, errors)
    assert f"{math.sqrt(found.variance):.4f}" == "0.2323"
    assert f"{found.mean:.4f}" == "-0.3240"
    assert f"{found.se:.4f}" == "0.1540"
    assert found.freedom == 5


def test_eight_schools_pool_as_published() -> None:
    # Rubin 1981 by way of Gelman et al. (from memory): 7.7 with 4.1, and no spread between schools
    table = published("eight_schools.csv")
    found = between([float(r["effect"]) for r in table], [float(r["error"]) for r in table])
    assert f"{found.mean:.1f}" == "7.7"
    assert f"{found.se:.1f}" == "4.1"
    assert found.variance == 0.0
    assert found.freedom == 7


def test_groups_are_compared_within_themselves() -> None:
    apart = between([0.0, 0.1, 5.0, 5.1], [0.1] * 4, [1, 1, 2, 2])
    assert apart.freedom == 2
    assert apart.q == pytest.approx(1.0)
    assert apart.variance == 0.0
    assert between([0.0, 0.1, 5.0, 5.1], [0.1] * 4).variance > 5


USUAL = np.array([RATE_SPREAD, C_STAR_SPREAD, NOZZLE_SPREAD])


def test_nothing_said_is_the_default_exactly() -> None:
    prior = Prior({"borrowed": 0.18})
    nothing = learn([], prior)
    assert nothing.of("f", "c").mean == pytest.approx([0, 0, 0])
    assert nothing.of("f", "c").spread == pytest.approx(np.hypot(USUAL, CHANCE), rel=1e-12)
    assert nothing.of("borrowed").spread == pytest.approx(np.hypot([0.18, *USUAL[1:]], CHANCE), rel=1e-12)
    assert nothing.of("f").moved == pytest.approx([0, 0, 0])


def test_another_formula_hears_what_the_workshop_is_and_not_what_the_formula_is() -> None:
    found = learn([full(0.1, 0.1, 0.1, error=0.005)] * 3, Prior({}))
    own, other = found.of("f", "c").mean, found.of("g", "d").mean
    assert (other < own).all()
    assert other == pytest.approx(np.array(WORKSHOP) * 0.1, rel=0.2)
    assert (found.of("g", "d").spread > found.of("f", "c").spread).all()


def test_few_firings_say_what_a_workshop_is_and_chance_stays() -> None:
    moved = {n: learn([full(0.08)] * n, Prior({})).of("f", "c") for n in (1, 3, 10, 30)}
    shares = {n: m.mean[0] / 0.08 for n, m in moved.items()}
    assert shares[1] > 0.8
    assert shares[3] > 0.95
    assert list(shares.values()) == sorted(shares.values())
    spreads = [m.spread[0] for m in moved.values()]
    assert spreads == sorted(spreads, reverse=True)
    assert spreads[0] < 0.3 * RATE_SPREAD
    scattered = [full(0.08 + 0.03 * (-1) ** i, error=0.01) for i in range(30)]
    assert learn(scattered, Prior({})).of("f", "c").spread[0] > 0.025


def test_what_a_firing_moves_is_what_happens() -> None:
    """One more of what is said by all of them moves the mean by `moved`; of one, by its weight."""
    shift = 0.01
    shots = [full(0.03 * (-1) ** i, 0.02, -0.01) for i in range(5)]
    prior = Prior({})
    before = learn(shots, prior)
    after = learn([Said("f", "c", ONE, s.value + shift, s.error) for s in shots], prior)
    moved = (after.of("f", "c").mean - before.of("f", "c").mean) / shift
    assert before.of("f", "c").moved == pytest.approx(moved, abs=0.06)  # c* and nozzle pull at each other a little
    only_rate = learn([Said("f", "c", ONE, s.value + shift * ONE[0], s.error) for s in shots], prior)
    moved = (only_rate.of("f", "c").mean - before.of("f", "c").mean) / shift
    assert before.of("f", "c").moved[0] == pytest.approx(moved[0], rel=1e-9)
    one = [*shots]
    one[2] = Said("f", "c", ONE, shots[2].value + shift * ONE[0], shots[2].error)
    # its chance is estimated anew, so a little of the change is not its own weight's
    happened = (learn(one, prior).of("f").mean - before.of("f").mean) / shift
    assert before.weights[2, 0] == pytest.approx(float(happened[0]), abs=0.02)


def test_a_stand_s_own_error_is_never_learned_away() -> None:
    shift = np.array([stand_shifts(what, 0.3) for what in ("burn rate", "c* efficiency", "nozzle efficiency")])
    shots = [Said("f", "c", ONE, np.zeros(3), np.full(3, 0.005), stand=shift)] * 1000
    found = learn(shots, Prior({})).of("f", "c")
    assert found.known[1] == pytest.approx(STAND, rel=0.15)  # the gauge's
    impulse = np.array([0.0, 1.0, 1.0])
    known = found.correlation * np.outer(found.spread, found.spread)
    assert math.sqrt(impulse @ known @ impulse) == pytest.approx(STAND, rel=0.15)  # the cell's; the gauge's falls out
    assert learn([full(0.0, error=0.005)] * 1000, Prior({})).of("f", "c").known[1] < 0.002
    with pytest.raises(KeyError):
        stand_shifts("colour", 0.3)


def test_one_formula_is_the_normal_normal_closed_form() -> None:
    # precision-weighted mean of prior and firing (Gelman et al., 2.5); one firing tells nothing of the spread between
    s2, t2, e2 = RATE_SPREAD**2, CHANCE**2, 0.03**2
    found = learn([Said("f", "c", ONE, np.array([0.1, 0, 0]), np.full(3, 0.03))], Prior({})).of("f", "c")
    share = s2 / (s2 + t2 + e2)
    assert found.mean[0] == pytest.approx(0.1 * share)
    assert found.moved[0] == pytest.approx(share)
    assert found.known[0] ** 2 == pytest.approx(s2 * (1 - share))
    assert found.spread[0] ** 2 == pytest.approx(s2 * (1 - share) + t2)


def test_the_joint_answer_is_scipys_conditional_normal() -> None:
    """The whole of it against one big normal distribution, conditioned with scipy: a stand, formulas, cases, thrust."""
    thrust = np.array([[-1.4, -0.4, 0.0], [0.2, 1.2, 1.1]])
    shift = np.array([[0.0, -0.3, 0.0], [0.0, 1.0, 0.0], [1.0, -1.0, 0.0]])
    said = [
        Said("f", "a", ONE, np.array([0.06, -0.01, 0.02]), np.array([0.01, 0.02, 0.02]), stand=shift),
        Said("f", "b", thrust, np.array([-0.08, 0.03]), np.array([0.03, 0.01])),
        Said("g", "a", thrust[:1], np.array([0.05]), np.array([0.05])),
        Said(
            "g",
            None,
            ONE[:1],
            np.array([0.2]),
            np.array([0.1]),
            chamber=False,
            stand=np.array([stand_shifts("rate in the open", 0.3)]),
        ),
    ]
    prior = Prior({"g": 0.18})
    found = learn(said, prior)
    chance = found.chance_covariance
    usual, shop = USUAL**2, np.array(WORKSHOP) * USUAL**2
    rest = {"f": usual - shop - CASE * usual, "g": np.array([0.18**2, *usual[1:]]) - shop - CASE * usual}
    names = ["f", "g", "a", "b", "shop", "stand"]
    whole = np.zeros((18, 18))
    for i, name in enumerate(names[:4]):
        whole[3 * i : 3 * i + 3, 3 * i : 3 * i + 3] = np.diag(rest.get(name, CASE * usual))
    whole[12:15, 12:15] = np.diag(shop)
    whole[15:18, 15:18] = np.diag([STAND, STAND, OPEN_AIR]) ** 2
    design, data, noise = [], [], []
    for s in said:
        row = np.zeros((len(s.value), 18))
        row[:, 12:15] = s.mixture
        if s.stand is not None:
            row[:, 15:18] = s.stand
        for key in (s.formula, s.case):
            if key is not None:
                i = names.index(str(key))
                row[:, 3 * i : 3 * i + 3] = s.mixture
        design.append(row)
        data.append(s.value)
        noise.append(s.mixture @ chance @ s.mixture.T + np.diag(s.error**2))
    h, d = np.concatenate(design), np.concatenate(data)
    r = np.zeros((len(d), len(d)))
    at = 0
    for block in noise:
        r[at : at + len(block), at : at + len(block)] = block
        at += len(block)
    gain = whole @ h.T @ np.linalg.inv(h @ whole @ h.T + r)
    mean, covariance = gain @ d, whole - gain @ h @ whole
    assert found.of("f", "b").mean == pytest.approx(mean[0:3] + mean[9:12] + mean[12:15], rel=1e-9)
    pick = np.zeros((3, 18))
    pick[:, 0:3] = pick[:, 9:12] = pick[:, 12:15] = np.eye(3)
    expected = pick @ covariance @ pick.T + chance
    assert found.of("f", "b").spread == pytest.approx(np.sqrt(np.diag(expected)), rel=1e-9)
    whole_now = h @ whole @ h.T + r
    marginal = multivariate_normal(cov=(whole_now + whole_now.T) / 2)
    assert np.isfinite(marginal.logpdf(d))  # a covariance that is one


def test_thrust_alone_learns_the_product_not_the_parts() -> None:
    thrust = np.array([[-1.4, -0.4, 0.0], [0.0, 1.0, 1.0]])
    shots = [
        Said("f", "c", thrust, np.array([0.0, -0.06 + 0.002 * (i % 3)]), np.array([0.03, 0.01])) for i in range(30)
    ]
    found = learn(shots, Prior({})).of("f", "c")
    # hardly anything tells them apart, so each takes of it by its own default spread
    shares = USUAL[1:] ** 2
    assert found.mean[1] / found.mean[2] == pytest.approx(shares[0] / shares[1], rel=0.15)
    assert found.mean[1] + found.mean[2] == pytest.approx(-0.058, abs=0.003)
    assert found.correlation[1, 2] < -0.5
    known = found.correlation * np.outer(found.spread, found.spread)
    product = math.sqrt(known[1, 1] + known[2, 2] + 2 * known[1, 2])
    assert product < 0.2 * np.hypot(*USUAL[1:])
    assert found.spread[1] > 0.5 * C_STAR_SPREAD  # each by itself stays about as unsure as it was
    assert found.moved[1] + found.moved[2] == pytest.approx(1.0, abs=0.1)


def test_a_case_takes_what_sets_it_apart() -> None:
    shots = [full(0.0, c_star=0.0, case="long", error=0.01) for _ in range(20)]
    shots += [full(0.0, c_star=-0.04, case="short", error=0.01) for _ in range(20)]
    found = learn(shots, Prior({}))
    assert found.of("f", "long").mean[1] > -0.02 > found.of("f", "short").mean[1]
    assert found.of("g", "short").mean[1] < -0.003  # another formula in that case hears of it


def test_test_pieces_move_a_borrowed_law_more_than_a_published_one_and_never_surely() -> None:
    stand = np.array([stand_shifts("rate in the open", 0.3)])

    def lot(formula: str) -> Said:
        return Said(formula, None, ONE[:1], np.array([0.2]), np.array([0.02]), chamber=False, stand=stand)

    prior = Prior({"borrowed": BORROWED_RATE})
    own, borrowed = learn([lot("own")], prior).of("own"), learn([lot("borrowed")], prior).of("borrowed")
    assert 0.2 < own.mean[0] / 0.2 < 0.5
    assert 1.3 * own.mean[0] < borrowed.mean[0] < 0.7 * 0.2
    many = learn([lot("own")] * 50, prior)
    assert many.of("own").mean[0] < 0.45 * 0.2
    assert many.chance == pytest.approx(np.full(3, CHANCE))  # no firing, nothing of chance


def test_weights_and_the_default_sum_to_one() -> None:
    found = learn([full(0.01 * i) for i in range(5)], Prior({}))
    share = found.weights[:, 0].sum()
    assert 0 < share < 1
    # of a case not fired yet, the case's own share of the variance cannot be taught
    s2, case, other = (1 - CASE) * RATE_SPREAD**2, CASE * RATE_SPREAD**2, found.chance[0] ** 2 + 0.02**2
    assert share == pytest.approx(s2 / (s2 + case + other / 5))
    assert share == pytest.approx(found.of("f").moved[0])


@settings(max_examples=60)
@given(st.lists(st.floats(-0.3, 0.3), min_size=1, max_size=12), st.floats(0.005, 0.2))
def test_the_answer_lies_between_the_default_and_what_was_seen(values: list[float], error: float) -> None:
    found = learn([full(v, error=error) for v in values], Prior({})).of("f", "c")
    low, high = min(0.0, fmean(values)), max(0.0, fmean(values))
    assert low - 1e-9 <= found.mean[0] <= high + 1e-9
    assert found.spread[0] > 0


def test_tempered_spreads() -> None:
    wild = Between(0.04, 99.0, 3, 0.0, 0.1)
    assert tempered(wild, 0.01) == pytest.approx((WEIGHT * 0.01 + 3 * 0.04) / (WEIGHT + 3))


def test_refusals() -> None:
    with pytest.raises(OutOfRange):
        between([], [])
    with pytest.raises(OutOfRange):
        between([1.0], [0.0])
    with pytest.raises(CalcError):
        learn([full(math.inf)], Prior({}))
    with pytest.raises(OutOfRange):
        learn([full(0.1, error=0.0)], Prior({}))


def test_the_next_firing_differs_by_what_a_workshop_is_and_by_chance() -> None:
    """Variances add (JCGM 100, 5.1), and are shared out among workshop, case and formula without a rest."""
    prior = Prior({"f": 0.18}, chance=0.03)
    assert prior.totals("f")[0] == pytest.approx(math.hypot(0.18, 0.03))
    assert prior.totals("g") == pytest.approx(np.hypot([RATE_SPREAD, C_STAR_SPREAD, NOZZLE_SPREAD], 0.03))
    for formula in ("f", "g"):
        assert prior.shop + prior.case + prior.own(formula) == pytest.approx(prior.systematic(formula) ** 2)
    assert learn([], prior).of("f").spread == pytest.approx(prior.totals("f"))


def test_what_a_stand_is_off_by_reaches_each_value_as_its_definition_has_it() -> None:
    """Impulse is force over time, c* pressure over time, a nozzle one over the other, a rate a Pⁿ at its P."""
    force, gauge, n = 0.01, 0.02, 0.3
    for what, off in (
        ("impulse", force),
        ("burn time", 0.0),
        ("peak pressure", gauge),
        ("c* efficiency", gauge),
        ("nozzle efficiency", force - gauge),
        ("burn rate", -n * gauge),
    ):
        assert np.dot(stand_shifts(what, n), (force, gauge, 0.0)) == pytest.approx(off), what


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_one_number_that_is_none_is_refused_wherever_it_stands(bad: float) -> None:
    good = np.array([0.0, 0.1, 0.2])
    for place in range(3):
        spoilt = good.copy()
        spoilt[place] = bad
        for said in (
            Said("f", "c", ONE, spoilt, np.full(3, 0.02)),
            Said("f", "c", ONE + spoilt, good, np.full(3, 0.02)),
            Said("f", "c", ONE, good, np.abs(spoilt) + 0.02),
        ):
            with pytest.raises((CalcError, OutOfRange)):
                learn([said], Prior({}))
