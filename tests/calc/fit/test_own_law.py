"""A law of its own from many curves: against SciPy's weighted line, and from curves of another integrator."""

import math
from dataclasses import replace

import numpy as np
import pytest

from app.calc.base.errors import OutOfRange
from app.calc.fit.own_law import Seen, gauge_error, own_law
from app.calc.fit.pressure_fit import fit_law
from app.calc.motor.simulation import example
from app.calc.propellant.burn_laws import power_law
from tests.calc.stiff_reference import solve


def seen(pressure: float, log_rate: float, exponent: float = 0.3, slope_error: float = 1e3) -> Seen:
    return Seen(log_rate, exponent, np.diag([0.01**2, slope_error**2]), pressure, 0.95 * pressure, 1.05 * pressure)


def test_levels_alone_are_scipys_weighted_line() -> None:
    pressures = np.array([2e6, 3e6, 4.5e6, 6e6])
    logs = np.log(7e-3) + 0.3 * np.log(pressures / 1e6) + np.array([0.01, -0.02, 0.015, 0.0])
    found = own_law([seen(p, y) for p, y in zip(pressures, logs, strict=True)], 0.03)
    sd = math.hypot(0.01, 0.03)
    slope, covariance = np.polyfit(np.log(pressures / 1e6), logs, 1, w=np.full(4, 1 / sd), cov="unscaled")
    assert [found.exponent.value, found.log_a.value] == pytest.approx(slope, rel=1e-6)
    assert found.exponent.se == pytest.approx(math.sqrt(covariance[0, 0]), rel=1e-6)
    assert (found.low, found.high, found.curves) == (0.95 * 2e6, 1.05 * 6e6, 4)


def test_three_throats_give_back_the_law() -> None:
    # curves by SciPy's Radau (stiff_reference.py), 1 % noise, three throats
    law = power_law(7.5, 0.35, 1e5, 1.2e7)
    curves = []
    for i, throat in enumerate((0.0145, 0.0127, 0.0115)):
        motor = replace(example(), throat_d=throat, propellant=replace(example().propellant, law=law))
        made = solve(motor, rtol=1e-8)
        t = np.linspace(0, made.time[-1], 800)
        p = np.interp(t, made.time, made.pressure)
        p += np.random.default_rng(i).normal(0, 0.01 * p.max(), t.size)
        believed = replace(motor, propellant=replace(motor.propellant, law=power_law(8.26, 0.319, 1e5, 1e7)))
        one = fit_law(believed, t, p)
        curves.append(Seen(one.log_rate.value, one.exponent.value, one.covariance, one.pressure, one.low, one.high))
    found = own_law(curves, 0.002)
    assert found.exponent.value == pytest.approx(0.35, abs=0.01)
    assert 1e3 * found.rate_at_1_mpa == pytest.approx(7.5, rel=0.02)
    low, high = found.exponent.interval(0.9)
    assert low < 0.35 < high


def test_refusals() -> None:
    with pytest.raises(OutOfRange, match="none"):
        own_law([], 0.02)
    with pytest.raises(OutOfRange, match=r"factor of 1\.10"):
        own_law([seen(3e6, -4.6)], 0.02)
    with pytest.raises(OutOfRange, match="steady"):
        own_law([seen(2e6, -5.0), seen(4e6, -4.0)], 0.02)
    with pytest.raises(OutOfRange):
        own_law([seen(2e6, -5.0), seen(4e6, -4.9)], -1.0)


def test_a_bent_gauge_is_felt_in_n_as_the_balance_says() -> None:
    # P^(1-n) = a rho c* Kn: slopes of ln P over ln Kn, once true and once through a gauge that bends by 1 %
    n, low, high, gauge = 0.35, 2e6, 3.2e6, 0.01
    kn = math.log(high / low) * (1 - n)
    bent = (math.log(high / low) + gauge) / kn
    assert gauge_error(n, low, high, gauge) == pytest.approx(1 - 1 / bent - n, rel=0.05)


def test_no_number_of_curves_makes_n_surer_than_their_gauge() -> None:
    def many(count: int, gauge: float) -> float:
        curves = [seen(p, -4.9, 0.0, 0.01) for p in np.linspace(2e6, 3e6, count)]
        return own_law(curves, 0.0, gauge).exponent.se

    assert many(400, 0.0) < many(4, 0.0) / 5
    assert many(400, 0.01) > 0.01 / math.log(1.05 * 3 / (0.95 * 2))
    with pytest.raises(OutOfRange):
        gauge_error(0.3, 3e6, 2e6, 0.01)
