"""What is learned together: published meta-analyses, closed forms, and the defaults where nothing was fired."""

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import multivariate_normal

from app.calc.errors import CalcError, OutOfRange
from app.calc.shrink import CASE, CHANCE, WEIGHT, Between, Prior, Said, between, learn, tempered

PUBLISHED = Path(__file__).parent / "published"
ONE = np.eye(3)


def rows(name: str) -> list[dict[str, str]]:
    lines = (PUBLISHED / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(one for one in lines if not one.startswith("#")))


def full(rate: float, c_star: float = 0.0, nozzle: float = 0.0, error: float = 0.02, case: str = "c") -> Said:
    return Said("f", case, ONE, np.array([rate, c_star, nozzle]), np.full(3, error))


def test_dersimonian_laird_as_published_for_six_trials() -> None:
    # DerSimonian & Kacker 2007, Tables 3 and 4: tau 0.2323, mean -0.3240, standard error 0.1540
    effects, errors = [], []
    for r in rows("clasp_trials.csv"):
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
    table = rows("eight_schools.csv")
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


def test_nothing_said_is_the_default_exactly() -> None:
    prior = Prior({"borrowed": 0.15})
    nothing = learn([], prior)
    assert nothing.of("f", "c").mean == pytest.approx([0, 0, 0])
    assert nothing.of("f", "c").spread == pytest.approx([0.05, 0.02, 0.02], rel=1e-12)
    assert nothing.of("borrowed").spread == pytest.approx([0.15, 0.02, 0.02], rel=1e-12)
    assert nothing.of("f").together == pytest.approx(0.0)
    other = learn([full(0.1)], prior)  # another formula in another case learns nothing from it
    assert other.of("g", "d").mean == pytest.approx([0, 0, 0])
    assert other.of("g", "d").spread[1:] == pytest.approx([0.02, 0.02], rel=0.2)


def test_three_move_a_little_and_thirty_a_lot() -> None:
    moved = {n: learn([full(0.08)] * n, Prior({})).of("f", "c") for n in (1, 3, 10, 30)}
    shares = {n: m.mean[0] / 0.08 for n, m in moved.items()}
    assert shares[1] < 0.25
    assert 0.25 < shares[3] < 0.5
    assert shares[30] > 0.9
    assert list(shares.values()) == sorted(shares.values())
    spreads = [m.spread[0] for m in moved.values()]
    assert spreads == sorted(spreads, reverse=True)
    assert spreads[-1] < 0.5 * 0.05


def test_one_formula_is_the_normal_normal_closed_form() -> None:
    # precision-weighted mean of prior and firing (Gelman et al., 2.5); one firing tells nothing of the spread between
    s2, k2, t2, e2 = (1 - CHANCE - CASE) * 0.05**2, CASE * 0.05**2, CHANCE * 0.05**2, 0.03**2
    found = learn([Said("f", "c", ONE, np.array([0.1, 0, 0]), np.full(3, 0.03))], Prior({})).of("f", "c")
    share = (s2 + k2) / (s2 + k2 + t2 + e2)
    assert found.mean[0] == pytest.approx(0.1 * share)
    assert found.known[0] ** 2 == pytest.approx((s2 + k2) * (1 - share))
    assert found.spread[0] ** 2 == pytest.approx((s2 + k2) * (1 - share) + t2)


def test_the_joint_answer_is_scipys_conditional_normal() -> None:
    """The whole of it against one big normal distribution, conditioned with scipy: two formulas, two cases, thrust."""
    thrust = np.array([[-1.4, -0.4, 0.0], [0.2, 1.2, 1.1]])
    said = [
        Said("f", "a", ONE, np.array([0.06, -0.01, 0.02]), np.array([0.01, 0.02, 0.02])),
        Said("f", "b", thrust, np.array([-0.08, 0.03]), np.array([0.03, 0.01])),
        Said("g", "a", thrust[:1], np.array([0.05]), np.array([0.05])),
        Said("g", None, ONE[:1], np.array([0.2]), np.array([0.1]), chamber=False),
    ]
    prior = Prior({"g": 0.15})
    found = learn(said, prior)
    chance = found.chance_covariance
    usual = np.array([0.05, 0.02, 0.02]) ** 2
    spread = {"f": 0.15 * usual, "g": np.array([0.15**2, 0.02**2, 0.02**2]) - 0.85 * usual}
    names = ["f", "g", "a", "b"]
    whole = np.zeros((12, 12))
    for i, name in enumerate(names):
        whole[3 * i : 3 * i + 3, 3 * i : 3 * i + 3] = np.diag(spread.get(name, CASE * usual))
    design, data, noise = [], [], []
    for s in said:
        row = np.zeros((len(s.value), 12))
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
    assert found.of("f", "b").mean == pytest.approx(mean[0:3] + mean[9:12], rel=1e-9)
    pick = np.zeros((3, 12))
    pick[:, 0:3] = pick[:, 9:12] = np.eye(3)
    expected = pick @ covariance @ pick.T + chance
    assert found.of("f", "b").spread == pytest.approx(np.sqrt(np.diag(expected)), rel=1e-9)
    marginal = multivariate_normal(cov=h @ whole @ h.T + r)
    assert np.isfinite(marginal.logpdf(d))  # a covariance that is one


def test_thrust_alone_learns_the_product_not_the_parts() -> None:
    thrust = np.array([[-1.4, -0.4, 0.0], [0.0, 1.0, 1.0]])
    shots = [
        Said("f", "c", thrust, np.array([0.0, -0.06 + 0.002 * (i % 3)]), np.array([0.03, 0.01])) for i in range(30)
    ]
    found = learn(shots, Prior({})).of("f", "c")
    assert found.mean[1] == pytest.approx(found.mean[2], rel=0.05)  # hardly anything tells them apart
    assert found.mean[1] + found.mean[2] == pytest.approx(-0.058, abs=0.008)
    assert found.together < -0.5
    product = math.sqrt(sum(found.spread[1:] ** 2) + 2 * found.together * found.spread[1] * found.spread[2])
    assert product < 0.4 * math.hypot(0.02, 0.02)
    assert found.spread[1] > 0.6 * 0.02  # each by itself stays about as unsure as it was


def test_a_case_takes_what_sets_it_apart() -> None:
    shots = [full(0.0, c_star=0.0, case="long", error=0.01) for _ in range(20)]
    shots += [full(0.0, c_star=-0.04, case="short", error=0.01) for _ in range(20)]
    found = learn(shots, Prior({}))
    assert found.of("f", "long").mean[1] > -0.02 > found.of("f", "short").mean[1]
    assert found.of("g", "short").mean[1] < -0.003  # another formula in that case hears of it


def test_test_pieces_move_a_borrowed_law_much_and_a_published_one_little() -> None:
    def lot(formula: str) -> Said:
        return Said(formula, None, ONE[:1], np.array([0.2]), np.array([0.1]), chamber=False)

    found = learn([lot("own"), lot("borrowed")], Prior({"borrowed": 0.15}))
    assert found.of("own").mean[0] < 0.02
    assert found.of("borrowed").mean[0] > 0.08
    assert found.chance == pytest.approx(np.sqrt(CHANCE) * np.array([0.05, 0.02, 0.02]))  # no firing, nothing of chance


def test_weights_and_the_default_sum_to_one() -> None:
    found = learn([full(0.01 * i) for i in range(5)], Prior({}))
    share = found.weights[:, 0].sum()
    assert 0 < share < 1
    s2, other = 0.15 * 0.05**2, found.chance[0] ** 2 + 0.02**2
    assert 1 - share == pytest.approx(1 / (1 + 5 * s2 / other))


@settings(max_examples=60)
@given(st.lists(st.floats(-0.3, 0.3), min_size=1, max_size=12), st.floats(0.005, 0.2))
def test_the_answer_lies_between_the_default_and_what_was_seen(values: list[float], error: float) -> None:
    found = learn([full(v, error=error) for v in values], Prior({})).of("f", "c")
    low, high = min(0.0, np.mean(values)), max(0.0, np.mean(values))
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
