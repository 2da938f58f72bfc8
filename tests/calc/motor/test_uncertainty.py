"""Ranges: repeatable, honest about their draws, and in agreement with first-order theory."""

from collections.abc import Callable
from dataclasses import fields, replace

import numpy as np
import pytest
from scipy.stats import truncnorm

from app.calc.base.constants import Floats
from app.calc.base.errors import CalcError, NoSolution
from app.calc.motor.arrays import Arrays
from app.calc.motor.draws import drawn, sobol, taught_logs
from app.calc.motor.nozzle import flow_function
from app.calc.motor.simulation import Motor, example, motor_arrays, simulate
from app.calc.motor.spread import throat_spread
from app.calc.motor.uncertainty import Spread, default_spread, predict_range
from app.calc.propellant.burn_laws import law_for_blend, power_law
from app.units import say

NONE = Spread(**{f.name: 0.0 for f in fields(Spread)})


def test_same_seed_same_answer() -> None:
    first, again = (predict_range(example(), samples=64, seed=7) for _ in range(2))
    assert np.array_equal(first.figures.peak_pressure, again.figures.peak_pressure)
    assert first.drivers == again.drivers
    other = predict_range(example(), samples=64, seed=8)
    assert not np.array_equal(first.figures.peak_pressure, other.figures.peak_pressure)


def test_the_middle_is_the_motor_itself() -> None:
    alone = simulate(example())
    middle = predict_range(example(), replace(Spread(), extra_area=0.0), samples=1024)
    assert middle.peak_pressure.mid == pytest.approx(alone.peak_pressure, rel=0.01)
    assert middle.total_impulse.mid == pytest.approx(alone.total_impulse, rel=0.01)
    assert middle.burn_time.low < alone.burn_time < middle.burn_time.high


def test_pressure_follows_burn_rate_as_the_closed_form_says() -> None:
    # p ~ a**(1/(1-n)) (Sutton & Biblarz). Filling the freed volume takes gas too, which adds rho_gas/rho_p to 1-n;
    # a normal cut at three deviations has its 5 % mark at 1.633 of them
    motor = example()
    law = power_law(8.26, 0.319, 1e5, 1.1e7)
    motor = replace(motor, propellant=replace(motor.propellant, law=law))
    found = predict_range(motor, replace(NONE, burn_rate=0.05), samples=1024)
    width = np.log(found.peak_pressure.high / found.peak_pressure.low)
    gas = found.peak_pressure.mid / (flow_function(1.137) * 909 * 0.95) ** 2 / motor.grains[0].density
    assert width == pytest.approx(2 * 1.633 * 0.05 / (1 - 0.319 + gas), rel=0.01)


def test_temperature_sensitivity_is_drawn_and_felt_away_from_its_own_temperature() -> None:
    # p ~ (a exp(sigma_p dT))**(1/(1-n)), gas in the freed volume as above: at -10 C, 30 K below the law's own
    motor = example()
    law = power_law(8.26, 0.319, 1e5, 1.1e7)
    motor = replace(motor, propellant=replace(motor.propellant, law=law), initial_temperature=263.15)
    found = predict_range(motor, replace(NONE, sigma_p=0.4), samples=1024)
    marks = [law.sigma_p * np.exp(z * 1.633 * 0.4) * -30 for z in (1, -1)]
    gas = found.peak_pressure.mid / (flow_function(1.137) * 909 * 0.95) ** 2 / motor.grains[0].density
    width = np.log(found.peak_pressure.high / found.peak_pressure.low)
    assert width == pytest.approx((marks[1] - marks[0]) / (1 - 0.319 + gas), rel=0.015)
    assert width > 0.15  # a tenth and more of the pressure: silence about it was too sure
    assert [d.key for d in found.drivers] == ["sigma_p"]
    cold, warm = (predict_range(replace(motor, initial_temperature=t), samples=64) for t in (263.15, 293.15))
    assert "sigma_p" in {d.key for d in cold.drivers}
    assert "sigma_p" not in {d.key for d in warm.drivers}  # at its own temperature nothing comes of it
    assert any("with heat ±40%" in say(words) for words in cold.assumptions)


def test_a_throat_not_measured_today_is_less_sure() -> None:
    # callipers 0.05 mm; a day passed as much again; firings 0.1 mm each, or what the nozzle's history tells
    assert throat_spread(0, 0) == Spread().throat_d
    assert throat_spread(1, 0) == throat_spread(400, 0) == pytest.approx(0.05e-3 * 2**0.5)
    assert throat_spread(0, 3) == pytest.approx((2 * 0.05**2 + 0.3**2) ** 0.5 * 1e-3)
    told = throat_spread(9, 3, growth=0.02e-3, known_from=4)
    assert told == pytest.approx((2 * 0.05**2 + 9 * (0.02**2 + 2 * 0.05**2 / 16)) ** 0.5 * 1e-3)
    assert told < throat_spread(9, 3) == throat_spread(9, 3, growth=0.0, known_from=0)
    for bad in ((-1, 0), (0, -1)):
        with pytest.raises(CalcError):
            throat_spread(*bad)


def test_impulse_follows_mass_and_nozzle_in_proportion() -> None:
    found = predict_range(example(), replace(NONE, density=0.01), samples=1024)
    assert np.corrcoef(found.figures.total_impulse, found.figures.propellant_mass)[0, 1] > 0.99
    driver = predict_range(example(), replace(NONE, nozzle=0.02), samples=64).drivers[0]
    assert driver.peak_pressure[0] == driver.peak_pressure[1]  # the nozzle cannot be felt in the chamber
    assert driver.total_impulse[1] > driver.total_impulse[0]


def test_a_borrowed_law_widens_the_range() -> None:
    motor = example()
    law = law_for_blend({"potassium_nitrate": 0.65, "sorbitol": 0.28, "sucrose": 0.07})
    borrowed = replace(motor, propellant=replace(motor.propellant, law=law))
    assert default_spread(borrowed).burn_rate > default_spread(motor).burn_rate
    own, wide = predict_range(motor, samples=256), predict_range(borrowed, samples=256)
    assert (wide.peak_pressure.high - wide.peak_pressure.low) > 1.3 * (own.peak_pressure.high - own.peak_pressure.low)
    assert any("borrowed" in say(words) for words in wide.assumptions)


def test_share_over_a_limit_is_counted() -> None:
    motor = example()
    middle = predict_range(motor, samples=256).peak_pressure.mid
    assert predict_range(motor, samples=256, pressure_limit=middle).over_limit == pytest.approx(0.5, abs=0.02)
    assert predict_range(motor, samples=256, pressure_limit=1e8).over_limit == 0.0
    assert predict_range(motor, samples=256).over_limit is None


def test_drivers_come_strongest_first_and_leave_out_what_is_certain() -> None:
    found = predict_range(example(), replace(Spread(), throat_d=0.0), samples=64)
    widths = [abs(d.peak_pressure[1] - d.peak_pressure[0]) for d in found.drivers]
    assert widths == sorted(widths, reverse=True)
    assert "throat_d" not in {d.key for d in found.drivers}


def test_band_encloses_the_motor_and_marks_are_in_order() -> None:
    found = predict_range(example(), samples=256)
    alone = simulate(example())
    early = (found.band.time > 0.1) & (found.band.time < 1.2)
    there = np.interp(found.band.time[early], alone.time, alone.pressure)
    assert (found.band.pressure_low[early] < there).all()
    assert (found.band.pressure_high[early] > there).all()
    assert found.mean_thrust.low < found.mean_thrust.mid < found.mean_thrust.high
    assert sum(found.classes.values()) == pytest.approx(1.0)
    assert found.classes["J"] > 0.8


def test_a_void_only_ever_raises_the_peak() -> None:
    found = predict_range(example(), replace(NONE, extra_area=0.05), samples=64)
    assert found.figures.peak_pressure.min() >= simulate(example()).peak_pressure * (1 - 1e-9)


def test_spreads_that_cannot_be_are_refused() -> None:
    with pytest.raises(CalcError) as caught:
        Spread(burn_rate=-0.1)
    assert caught.value.field == "burn_rate"
    with pytest.raises(CalcError, match="every spread is zero"):
        predict_range(example(), NONE, samples=64)
    with pytest.raises(CalcError) as caught:
        predict_range(example(), Spread(throat_d=5e-3), samples=256)
    assert caught.value.field == "throat_d"
    with pytest.raises(CalcError) as caught:
        predict_range(example(), samples=3)
    assert caught.value.field == "samples"


def hardly_choking() -> Motor:
    """One grain behind a throat so wide that its pressure rises little above what chokes it."""
    return replace(example(), grains=example().grains[:1], throat_d=0.0165, exit_d=0.05)


def test_draws_that_do_not_choke_are_told_and_refuse_nothing() -> None:
    found = predict_range(hardly_choking(), samples=256)
    assert 0.05 < found.stays_low < 0.5
    assert len(found.figures.peak_pressure) == round(256 * (1 - found.stays_low))
    (caution,) = found.cautions
    assert caution.strong
    assert caution.words.startswith(f"In {found.stays_low:.1%} of the drawn motors")
    assert sum(found.classes.values()) == pytest.approx(1 - found.stays_low)
    assert predict_range(example(), samples=64).cautions == ()


def test_an_input_that_keeps_the_motor_down_drives_it_to_the_air_s_pressure() -> None:
    motor = hardly_choking()
    rate = next(d for d in predict_range(motor, replace(NONE, burn_rate=0.3), samples=64).drivers)
    assert rate.peak_pressure[0] == motor.ambient_pressure


def test_a_motor_that_mostly_does_not_choke_is_refused() -> None:
    with pytest.raises(NoSolution, match="choke"):
        predict_range(replace(hardly_choking(), throat_d=0.0179), samples=256)


def test_each_input_is_drawn_with_its_own_spread() -> None:
    """SciPy's normal cut at three deviations, of one spread at a time; their sizes are those of `Spread`."""
    motor = replace(example(), initial_temperature=303.15)
    base = motor_arrays([motor])
    law = motor.propellant.law
    felt: dict[str, tuple[float, Callable[[Arrays], Floats]]] = {
        "density": (0.01, lambda a: np.log(a.mass[:, 0] / base.mass[0, 0])),
        "burn_rate": (0.12, lambda a: np.log(a.rate_scale / base.rate_scale)),
        "c_star": (0.12, lambda a: np.log(a.c_star / base.c_star)),
        "nozzle": (0.07, lambda a: np.log(a.nozzle_efficiency / base.nozzle_efficiency)),
        "throat_d": (0.05e-3, lambda a: a.throat_d - base.throat_d),
        "core_d": (0.15e-3, lambda a: 2 * (a.core_r[:, 0] - base.core_r[0, 0])),
        "temperature": (3.0, lambda a: np.log(a.rate_scale / base.rate_scale) / law.sigma_p),
        "sigma_p": (0.4, lambda a: np.log(np.log(a.rate_scale / base.rate_scale) / (law.sigma_p * 10) + 1)),
    }
    draws = sobol(1024, 3)
    for key, (sd, of) in felt.items():
        found = of(drawn(motor, replace(NONE, **{key: sd}), draws))
        assert found.std() == pytest.approx(sd * truncnorm.std(-3, 3), rel=0.01), key
        assert np.median(found) == pytest.approx(0, abs=0.01 * sd), key
    # one-sided: the half normal's own mean, less the tail beyond three
    voids = drawn(motor, replace(NONE, extra_area=0.02), draws).rate_scale / base.rate_scale - 1
    assert voids.min() >= 0
    assert voids.mean() == pytest.approx(0.02 * truncnorm.mean(0, 3), rel=0.01)


def test_density_is_trusted_as_far_as_scale_ruler_and_callipers_reach() -> None:
    """JCGM 100 (GUM), 5.1.2, of 4 m / (pi (D² - d²) L): 0.1 g, half a millimetre and a tenth, from memory as usual."""
    m, outer, core, long = 0.195, 44.45, 19.05, 76.2
    parts = (1e-4 / m, 2 * outer * 0.1 / (outer**2 - core**2), 0.5 / long)
    assert Spread().density == pytest.approx(np.hypot.reduce(parts), rel=0.2)


TOGETHER = np.array([[1.0, 0.3, -0.1], [0.3, 1.0, -0.6], [-0.1, -0.6, 1.0]])


def test_what_firings_taught_together_is_drawn_together() -> None:
    """NumPy's own correlation and standard deviation of many draws; cut at three deviations before they are mixed."""
    logs = taught_logs(Spread(burn_rate=0.04, c_star=0.03, nozzle=0.02), sobol(4096, 5), TOGETHER)
    assert np.corrcoef(logs.T) == pytest.approx(TOGETHER, abs=0.01)
    assert logs.std(axis=0) == pytest.approx(np.array([0.04, 0.03, 0.02]) * truncnorm.std(-3, 3), rel=0.01)
    impossible = np.array([[1.0, 0.9, -0.9], [0.9, 1.0, 0.9], [-0.9, 0.9, 1.0]])
    for bad in (np.eye(2), 2 * np.eye(3), impossible):
        with pytest.raises(CalcError) as caught:
            taught_logs(Spread(), sobol(16, 1), bad)
        assert caught.value.field == "correlation"


def test_voids_that_firings_had_too_are_not_drawn_twice() -> None:
    motor = example()
    base = motor_arrays([motor]).rate_scale
    voids = [drawn(motor, replace(NONE, extra_area=0.05), sobol(1024, 3), seen=s).rate_scale / base for s in (0, 1)]
    assert voids[0].mean() == pytest.approx(1 + 0.05 * truncnorm.mean(0, 3), rel=1e-3)
    assert voids[1].mean() == pytest.approx(1.0, abs=2e-3)
    assert voids[0] / voids[1] == pytest.approx(1 + 0.05 * (2 / np.pi) ** 0.5)  # a half normal's mean


def test_marks_are_numpys_quantiles_of_the_draws_and_the_band_goes_to_their_end() -> None:
    found = predict_range(example(), samples=64, correlation=TOGETHER)
    drawn_figures = vars(found.figures) | {
        "specific_impulse": found.figures.total_impulse / found.figures.propellant_mass / 9.80665
    }
    told = ["peak_pressure", "mean_pressure", "total_impulse", "burn_time", "action_time", "mean_thrust", "peak_thrust"]
    for name in [*told, "specific_impulse"]:
        marks = getattr(found, name)
        quantiles = np.quantile(drawn_figures[name], (0.05, 0.5, 0.95))
        assert (marks.low, marks.mid, marks.high) == pytest.approx(tuple(quantiles)), name
    band, alone = found.band, simulate(example())
    assert len(band.time) == len(band.thrust_low) == 80
    assert band.time[-1] > found.figures.burn_time.max()
    assert (band.pressure_low[-1], band.thrust_low[-1]) == (0.0, 0.0)  # most are gone by then
    middle = (band.time > 0.2) & (band.time < 0.9)
    there = np.interp(band.time[middle], alone.time, alone.thrust)
    assert (band.thrust_low[middle] < there).all()
    assert (band.thrust_high[middle] > there).all()
    words = " ".join(map(say, found.assumptions))
    assert "which go together as firings leave them" in words
    assert "widened" not in words
    apart = predict_range(example(), samples=16, correlation=np.eye(3))
    assert "which go together" not in " ".join(map(say, apart.assumptions))


def test_a_driver_is_the_motor_at_the_ends_of_one_input() -> None:
    """The motor itself, run at the 5 and 95 % marks of SciPy's cut normal, with unseen voids at their own middle."""
    spread = Spread(c_star=0.05)
    drivers = {d.key: d for d in predict_range(example(), spread, samples=16).drivers}
    motor = replace(example(), extra_area=spread.extra_area * float(truncnorm.median(0, 3)))
    for end, z in enumerate(truncnorm.ppf([0.05, 0.95], -3, 3)):
        changed = {
            "throat_d": replace(motor, throat_d=motor.throat_d + z * spread.throat_d),
            "nozzle": replace(motor, nozzle_efficiency=motor.nozzle_efficiency * np.exp(z * spread.nozzle)),
            "c_star": replace(motor, c_star_efficiency=motor.c_star_efficiency * np.exp(z * spread.c_star)),
        }
        for key, other in changed.items():
            run, told = simulate(other), drivers[key]
            for name in ("peak_pressure", "total_impulse", "burn_time", "mean_thrust"):
                assert getattr(told, name)[end] == pytest.approx(getattr(run, name), rel=1e-3), (key, name)
