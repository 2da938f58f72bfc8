"""A burn is read back: curves made by another integrator, with noise, give the numbers they were made with."""

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from app.calc.base.errors import CalcError, NoSolution, OutOfRange
from app.calc.fit import pressure_fit
from app.calc.fit.pressure_fit import fit_law, fit_pressure, reading_errors
from app.calc.fit.sample_blocks import blocks
from app.calc.fit.thrust_fit import fit_figures, fit_nozzle, respond
from app.calc.grain.geometry import Grain
from app.calc.motor.simulation import Motor, example
from app.calc.propellant.burn_laws import power_law, published_law
from app.calc.stats.least_squares import Fitted
from tests.calc.stiff_reference import Reference, solve

SEEDS = 100
ENOUGH = 85
"""Of a hundred seeds for a 90 % interval, as asked for."""

TRUE_LAW = power_law(7.1, 0.30, 1e5, 1e7)
C_STAR, NOZZLE = 0.93, 0.87
LIT = 0.1


def fired() -> Motor:
    """The trade's motor with grains that widen more, a law, and efficiencies that the fit does not know."""
    one = example()
    grains = tuple(
        Grain(0.04445, 0.0145, 0.095, 0.95 * 1841.0 * math.pi / 4 * (0.04445**2 - 0.0145**2) * 0.095) for _ in range(3)
    )
    return replace(
        one,
        grains=grains,
        propellant=replace(one.propellant, law=TRUE_LAW),
        c_star_efficiency=C_STAR,
        nozzle_efficiency=NOZZLE,
    )


def believed(law_a: float = 8.26, n: float = 0.319) -> Motor:
    """The same motor as the book would predict it."""
    return replace(
        fired(),
        propellant=replace(example().propellant, law=power_law(law_a, n, 1e5, 1e7)),
        c_star_efficiency=0.95,
        nozzle_efficiency=0.90,
    )


@pytest.fixture(scope="module")
def reference() -> Reference:
    """What SciPy's Radau makes of the motor: the chamber equation in time, nothing of the march."""
    return solve(fired(), rtol=1e-8)


Records = Callable[[int], tuple[np.ndarray, np.ndarray, np.ndarray]]


@pytest.fixture(scope="module")
def record(reference: Reference) -> Records:
    """A logger at 500 samples a second: 1 % of the peak as noise, lit at 0.1 s."""
    t = np.arange(0.0, reference.time[-1] + 0.4, 0.002)
    p = np.interp(t - LIT, reference.time, reference.pressure, left=101325.0, right=101325.0)
    f = np.interp(t - LIT, reference.time, reference.thrust, left=0.0, right=0.0)

    def noisy(seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        chance = np.random.default_rng(seed)
        return t, p + chance.normal(0, 0.01 * p.max(), t.size), f + chance.normal(0, 0.01 * f.max(), t.size)

    return noisy


def held(found: Fitted, true: float) -> bool:
    low, high = found.interval(0.90)
    return low <= true <= high


def test_a_and_n_come_back_in_ninety_of_a_hundred(record: Records) -> None:
    hits = dict.fromkeys(("n", "rate", "a"), 0)
    for seed in range(SEEDS):
        t, p, _ = record(seed)
        found = fit_law(believed(), t, p)
        assert found.high / found.low > 1.15
        true_rate = math.log(float(TRUE_LAW.rate(found.pressure)))
        hits["n"] += held(found.exponent, 0.30)
        hits["rate"] += held(found.log_rate, true_rate)
        along = np.array([1.0, math.log(1e6 / found.pressure)])  # to the a of 1 MPa, by the covariance
        a = Fitted(
            found.log_rate.value + found.exponent.value * along[1],
            math.sqrt(along @ found.covariance @ along),
            found.exponent.freedom,
        )
        hits["a"] += held(a, math.log(7.1e-3))
    assert all(n >= ENOUGH for n in hits.values()), hits


def test_rate_c_star_and_nozzle_come_back_in_ninety_of_a_hundred(record: Records) -> None:
    hits = dict.fromkeys(("rate", "c_star", "nozzle"), 0)
    motor = believed(8.0, 0.30)
    for seed in range(SEEDS):
        t, p, f = record(1000 + seed)
        found = fit_pressure(motor, t, p)
        assert found.start == pytest.approx(LIT, abs=0.002)
        hits["rate"] += held(found.rate, math.log(7.1 / 8.0))
        hits["c_star"] += held(found.c_star, math.log(C_STAR))
        hits["nozzle"] += held(fit_nozzle(motor, t, p, f), math.log(NOZZLE))
    assert all(n >= ENOUGH for n in hits.values()), hits


def test_errors_are_as_large_as_the_misses_and_no_larger(record: Records) -> None:
    """Misses over their standard errors vary by one: a wide interval would hold anything."""
    found = [fit_law(believed(), *record(2000 + seed)[:2]) for seed in range(60)]
    misses = {
        "n": [(one.exponent.value - 0.30) / one.exponent.se for one in found],
        "rate": [
            (one.log_rate.value - math.log(float(TRUE_LAW.rate(one.pressure)))) / one.log_rate.se for one in found
        ],
    }
    for each, values in misses.items():
        assert 0.75 < float(np.std(values, ddof=1)) < 1.3, each
        assert abs(float(np.mean(values))) < 0.5, each
    assert 0.002 < found[0].exponent.se < 0.02


def test_a_wrong_law_shows_as_residuals_that_go_together(record: Records) -> None:
    t, p, _ = record(0)
    right, wrong = fit_pressure(believed(8.0, 0.30), t, p), fit_pressure(believed(8.0, 0.70), t, p)
    assert wrong.deviation > 2 * right.deviation
    assert wrong.correlation > 0.4 > 0.2 > right.correlation
    assert wrong.rate.se > 3 * right.rate.se


def test_a_published_law_of_bands_takes_a_factor() -> None:
    law = published_law("sorbitol")
    faster = replace(law, rates=tuple(1.08 * r for r in law.rates))
    truth = replace(example(), propellant=replace(example().propellant, law=faster), c_star_efficiency=0.92)
    made = solve(truth, rtol=1e-8)
    t = np.linspace(0, made.time[-1], 900)
    found = fit_pressure(example(), t, np.interp(t, made.time, made.pressure))
    assert math.exp(found.rate.value) == pytest.approx(1.08, rel=2e-3)
    assert math.exp(found.c_star.value) == pytest.approx(0.92, rel=1e-3)


def test_nozzle_efficiency_by_hand_at_one_pressure() -> None:
    # C_F = eta lambda C_F,momentum + (pe - pa)/pc eps: at steady pressure a plain division gives eta back.
    from app.calc.motor.nozzle import divergence_factor, exit_pressure_ratio, momentum_coefficient

    motor, pressure = replace(example(), exit_d=0.022), 4e6
    k, eps = motor.propellant.gamma, (0.022 / 0.0127) ** 2
    out = float(exit_pressure_ratio(eps, k))
    c_f = 0.85 * divergence_factor(motor.half_angle) * float(momentum_coefficient(k, out))
    c_f += (out - motor.ambient_pressure / pressure) * eps
    t = np.linspace(0, 1, 200)
    p = np.full_like(t, pressure)
    found = fit_nozzle(motor, t, p, c_f * p * motor.throat_area)
    assert math.exp(found.value) == pytest.approx(0.85, rel=1e-9)
    with pytest.raises(NoSolution, match="contradict"):
        fit_nozzle(motor, t, p, 40 * p * motor.throat_area)


def test_figures_answer_as_the_closed_form_says() -> None:
    # Sutton & Biblarz: P = (a rho c* Kn)^(1/(1-n)), so d ln P / d ln a = d ln P / d ln c* = 1/(1-n), and the rate
    # r = a P^n, so burn time answers -1/(1-n) to a and -n/(1-n) to c*. One band; free volume and tail move it a little.
    n = 0.30
    slopes = respond(fired()).slopes[0]
    assert slopes[2, :2] == pytest.approx([1 / (1 - n)] * 2, rel=0.02)
    assert slopes[1, :2] == pytest.approx([-1 / (1 - n), -n / (1 - n)], rel=0.05)
    assert slopes[1:, 2] == pytest.approx([0.0, 0.0], abs=0.01)
    assert slopes[0, 1] > 1  # impulse rises with c* by itself and by the pressure that c* brings


def test_figures_are_read_where_the_motor_was_and_not_where_the_book_expects_it() -> None:
    """A law of bands bends: a motor that burned in the next band is told of by the slopes there."""
    law = published_law("dextrose")
    motor = replace(example(), propellant=replace(example().propellant, law=law))
    true = np.array([0.13, 0.08, 0.05])
    seen = respond(motor, true[None]).figures
    told = fit_figures(motor, seen, np.full(3, 0.003), np.array([0.12, 0.12, 0.08]))
    assert told.mixture[0] @ true == pytest.approx(told.value[0], abs=0.004)
    slopes = respond(motor)
    at_the_default = np.log(seen / slopes.figures)[0] - slopes.slopes[0] @ true
    assert np.abs(at_the_default).max() > 0.02  # lines drawn there miss
    without = fit_figures(motor, np.array([[seen[0, 0], math.nan, math.nan]]), np.full(3, 0.01), np.full(3, 0.1))
    assert np.isnan(without.value[0, 1:]).all()


def test_blocks_are_means_of_their_samples() -> None:
    chance = np.random.default_rng(1)
    t, v = np.sort(chance.uniform(0, 1, 1000)), chance.normal(5, 1, 1000)
    for count in (7, 50, 300):
        found = blocks(t, v, count)
        assert len(found.value) == count
        sizes = np.diff(np.append(found.begins, 1000))
        assert set(sizes) <= {1000 // count, 1000 // count + 1}
        assert found.value @ sizes == pytest.approx(v.sum(), rel=1e-12)
    long = blocks(np.arange(50_000.0), np.arange(50_000.0))
    assert len(long.time) == 4000
    assert long.value == pytest.approx(long.middle)


def test_what_instruments_leave_open() -> None:
    rate, c_star, nozzle = reading_errors(example(), 3e6)
    throat = 2 * 0.05 / 12.7
    n = pressure_fit.local_exponent(published_law("sorbitol"), 3e6)
    assert rate == pytest.approx(math.hypot(0.075 / 12.7, n * 0.003))
    assert c_star == pytest.approx(math.hypot(throat, 0.003, 0.002))
    assert nozzle == pytest.approx(math.hypot(throat, 0.003, 0.003))


def test_refusals() -> None:
    with pytest.raises(OutOfRange, match="too few"):
        fit_pressure(example(), np.linspace(0, 1, 12), np.full(12, 3e6))
    t = np.linspace(0, 1, 100)
    with pytest.raises(CalcError):
        fit_pressure(example(), t, np.full(100, np.nan))
