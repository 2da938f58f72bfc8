"""Measure how far each calculation lies from what it is checked against, and print the table of app/calc/README.md.

    python tests/calc/deviations.py            print the table
    python tests/calc/deviations.py --write    put it in the page

The tests named beside each row assert the same comparisons; here the largest difference is looked for.
"""

import sys
from collections.abc import Callable, Iterable
from itertools import pairwise
from math import pi
from pathlib import Path

import numpy as np

from app.calc.base.constants import Floats
from app.calc.grain.geometry import Grain
from app.calc.motor.simulation import Motor, MotorRun
from tests.calc.stiff_reference import Reference, motor_table, solve, solve_shape
from tests.published import numbers, published

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
PAGE = ROOT / "app" / "calc" / "README.md"
BEGIN, END = "<!-- measured -->", "<!-- /measured -->"

SUGARS = ("sorbitol", "dextrose", "sucrose")


Curve = Callable[[Floats, Floats], tuple[Floats, Floats]]


def worst(pairs: Iterable[tuple[float, float]]) -> float:
    """Largest relative difference of (found, expected)."""
    return max(abs(found / expected - 1) for found, expected in pairs)


def digits(found: float, printed: str) -> float:
    """Difference in units of the last digit printed."""
    mantissa, _, exponent = printed.partition("e")
    unit = 10.0 ** (int(exponent or 0) - len(mantissa.partition(".")[2]))
    return abs(found - float(printed)) / unit


# --- Each comparison ---------------------------------------------------------------------------


def recipe_grams() -> float:
    from app.calc.propellant.recipe import scale

    masses = scale({"KNO3": 0.65, "sorbitol": 0.28, "sucrose": 0.07}, 0.4, 0.001).masses.values()
    return max(abs(m - g) for m, g in zip(masses, (0.260, 0.112, 0.028), strict=True)) * 1e3


def densities() -> float:
    from app.calc.propellant.recipe import theoretical_density

    printed = {"sorbitol": 1841, "sucrose": 1889, "dextrose": 1879}
    return worst((theoretical_density({"KNO3": 0.65, s: 0.35}), d) for s, d in printed.items())


def oxygen() -> float:
    from app.calc.propellant.recipe import oxygen_balance

    found = (oxygen_balance({"KNO3": 1.0}), oxygen_balance({"KNO3": 1.0}, to="none"), oxygen_balance({"sucrose": 1.0}))
    return max(abs(100 * f - printed) for f, printed in zip(found, (39.6, 47.5, -112.2), strict=True))


def states(quantity: str) -> Callable[[], float]:
    def measure() -> float:
        from app.calc.propellant.thermochem import blend_state

        factor = {"system_molar_mass": 1e3}.get(quantity, 1.0)
        rows = [
            r for r in published("blend_states.csv") if r["quantity"] == quantity and r["source"].strip() in ("A", "B")
        ]
        return worst(
            (factor * getattr(blend_state({"potassium_nitrate": 0.65, r["sugar"]: 0.35}), quantity), float(r["value"]))
            for r in rows
        )

    return measure


def elements() -> float:
    from tests.calc.propellant.expansion import expansion

    flows = [expansion({"potassium_nitrate": 0.65, s: 0.35}) for s in SUGARS]
    return max(one.balance_error for f in flows for one in (f.chamber, f.throat, f.exit))


def entropy() -> float:
    from tests.calc.propellant.expansion import expansion

    flows = [expansion({"potassium_nitrate": 0.65, s: 0.35}) for s in SUGARS]
    return worst((f.exit.entropy, f.chamber.entropy) for f in flows)


def single_phase() -> float:
    import cantera as ct

    from app.calc.propellant.thermochem import blend_state

    found = []
    names = [s for s in ct.Species.list_from_file("nasa_gas.yaml") if set(s.composition) <= {"K", "C", "H", "O", "N"}]
    for sugar in SUGARS:
        state = blend_state({"potassium_nitrate": 0.65, sugar: 0.35})
        gas = ct.Solution(thermo="ideal-gas", species=names)
        gas.TPX = state.temperature, state.pressure, state.gas
        gas.equilibrate("TP", solver="element_potential")
        after = gas.mole_fraction_dict()
        found.append(worst((after[n], state.gas[n]) for n in ("H2O", "CO", "CO2", "H2", "N2", "KOH")))
    return max(found)


def bands() -> float:
    """Largest difference of a law's rate from the printed band, more than the blend's width from any joint."""
    from app.calc.propellant.burn_laws import BLEND, published_law

    found = []
    for row in published("burn_law.csv"):
        low, high, a, n = (float(row[k]) for k in ("p_low_mpa", "p_high_mpa", "a", "n"))
        law = published_law(row["sugar"])
        apart = [abs(np.log(p * 1e6 / joint)) >= BLEND for p in np.geomspace(low, high, 500) for joint in law.joints]
        inside = np.geomspace(low, high, 500)[np.all(np.reshape(apart, (500, len(law.joints))), axis=1)]
        found.append(float(np.abs(law.rate(inside * 1e6) * 1e3 / (a * inside**n) - 1).max()))
    return max(found)


def blends(of: str) -> Callable[[], float]:
    """Largest departure of rate or of steady pressure from what the nearer band prints, anywhere."""

    def measure() -> float:
        from app.calc.propellant.burn_laws import published_law

        found = []
        for row in published("burn_law.csv"):
            low, high, a, n = (float(row[k]) for k in ("p_low_mpa", "p_high_mpa", "a", "n"))
            law, p = published_law(row["sugar"]), np.geomspace(low, high, 5000)
            printed = a * p**n
            log_p, log_r = law.log_points
            steady = np.exp(np.interp(np.log(p * 1e9 / printed), log_p - log_r, log_p))
            ratio = law.rate(p * 1e6) * 1e3 / printed if of == "rate" else steady / (p * 1e6)
            found.append(float(np.abs(ratio - 1).max()))
        return max(found)

    return measure


def grain_volume() -> float:
    from scipy.integrate import quad

    from app.calc.grain.geometry import Grain, burning_area

    found = []
    for offset in (0.0, 0.002, 0.006):
        for faces in ((True, True, False), (False, False, False), (True, False, True)):
            g = Grain(0.05, 0.02, 0.08, 0.2, True, *faces, core_offset=offset)
            ends = sorted({0.0, min(g.breakthrough, g.web), g.web})
            burned = sum(
                quad(lambda x, g=g: float(burning_area(g, x)), a, b, limit=500, epsabs=1e-14, epsrel=1e-10)[0]
                for a, b in pairwise(ends)
            )
            found.append((burned, g.volume))
    return worst(found)


R = 0.02


def section_error(quantity: str, cells: int, offset: float) -> Callable[[], float]:
    """Mean over depth of the difference to two circles' closed form, over the starting value."""

    def measure() -> float:
        from app.calc.grain.geometry import cross_section
        from app.calc.grain.section import burn_back
        from tests.calc.grain.shapes import round_core

        section = burn_back(2 * R, round_core(0.016, offset), cells=cells)
        x = np.linspace(0.0, 0.98 * section.web, 400)
        area, edge, _ = cross_section(R, 0.008 + x, offset)
        exact, found = (area, section.area(x)) if quantity == "area" else (edge, section.perimeter(x))
        return float(np.abs(found - exact).mean() / exact[0])

    return measure


def section_worst() -> float:
    """Largest difference of the moon's burning edge more than four cells from its kink, over the starting edge."""
    from app.calc.grain.geometry import cross_section
    from app.calc.grain.section import CELLS, burn_back
    from tests.calc.grain.shapes import round_core

    section = burn_back(2 * R, round_core(0.016, 0.005))
    x = np.linspace(0.0, 0.98 * section.web, 2000)
    x = x[np.abs(x - section.breakthrough) > 4 * R / CELLS]
    _, edge, _ = cross_section(R, 0.008 + x, 0.005)
    return float(np.abs(section.perimeter(x) - edge).max() / edge[0])


def section_kept() -> float:
    from scipy.integrate import quad

    from app.calc.grain.section import burn_back
    from tests.calc.grain import shapes

    found = []
    ports = (
        shapes.round_core(0.016),
        shapes.round_core(0.016, 0.005),
        shapes.slot_core(0.006, 0.02),
        shapes.star_core(5, 0.024, 0.010),
        shapes.flat_core(2 * R, 0.004),
    )
    for core in ports:
        s = burn_back(2 * R, core, cells=96)
        found.append((sum(quad(s.perimeter, a, b, epsabs=1e-15)[0] for a, b in pairwise(s.depths)), float(s.area(0.0))))
    return worst(found)


def star() -> float:
    from app.calc.grain.section import burn_back
    from tests.calc.grain.shapes import star_core

    points, tip, root = 5, 0.012, 0.005
    section = burn_back(2 * R, star_core(points, 2 * tip, 2 * root))
    across, along = root * np.sin(pi / points), tip - root * np.cos(pi / points)
    a, side = np.arctan2(across, along), np.hypot(across, along)
    lost = 1 / np.tan(a + pi / points)
    x = np.linspace(0.0, 0.9 * min(side / lost, section.breakthrough), 200)
    edge = 2 * points * (side - x * lost) + points * x * (pi - 2 * a)
    return float(np.abs(section.perimeter(x) / edge - 1).max())


def tilted() -> float:
    from scipy.integrate import quad

    from app.calc.grain.core_offset import core_offset_fault
    from app.calc.grain.geometry import Grain, cross_section

    found = []
    for low, high in ((0.0, 0.003), (-0.002, 0.002), (0.001, 0.004)):
        fault = core_offset_fault(Grain(0.04, 0.016, 0.07, 0.1), low, high)
        for i in range(0, 181, 20):
            x = float(fault.depth[i])

            def one(z: float, x: float = x, low: float = low, high: float = high) -> float:
                return float(cross_section(R, 0.008 + x, abs(low + (high - low) * z / 0.07))[0])

            found.append((float(fault.volume[i]), quad(one, x, 0.07 - x, points=[0.035], limit=200)[0]))
    return worst(found)


def round_table(figure: str) -> Callable[[], float]:
    """A motor of tabulated round cores against the same in closed form."""

    def measure() -> float:
        from dataclasses import replace

        from app.calc.grain.section import burn_back, prism
        from app.calc.motor.simulation import example, simulate
        from tests.calc.grain.shapes import round_core

        plain_motor = example()
        g = plain_motor.grains[0]
        table = prism(burn_back(g.outer_d, round_core(0.01905)), g.length, g.mass)
        shaped = simulate(replace(plain_motor, grains=(table,) * 4))
        return worst([(getattr(shaped, figure), getattr(simulate(plain_motor), figure))])

    return measure


def star_march(figure: str) -> Callable[[], float]:
    """A motor of star cores against SciPy Radau on the section's own area and edge, while the throat is choked."""

    def measure() -> float:
        from dataclasses import replace

        from app.calc.grain.section import burn_back, prism
        from app.calc.motor.simulation import example, simulate
        from tests.calc.grain.shapes import star_core

        section = burn_back(0.04445, star_core(5, 0.030, 0.014))
        grain = prism(section, 0.0762, 0.95 * 1841.0 * float(section.area(0.0)) * 0.0762)
        motor = replace(example(), grains=(grain,) * 4, throat_d=0.0115)
        until = 0.95 * grain.web
        exact = solve_shape(
            motor,
            lambda x: 4 * float(section.perimeter(x) * (0.0762 - 2 * x) + 2 * section.area(x)),
            lambda x: 4 * float(section.area(x) * (0.0762 - 2 * x)),
            until,
        )
        run = simulate(motor)
        if figure == "peak":
            return worst([(run.peak_pressure, float(exact.pressure.max()))])
        return worst([(float(np.interp(until, run.depth, run.time)), float(exact.time[-1]))])

    return measure


def naca() -> float:
    from app.calc.motor.isentropic import area_ratio, pressure_ratio

    return max(
        max(
            digits(float(pressure_ratio(float(r["mach"]), 1.4)), r["p_over_p0"]),
            digits(float(area_ratio(float(r["mach"]), 1.4)), r["a_over_astar"]),
        )
        for r in published("naca_1135.csv")
    )


def sutton() -> float:
    from app.calc.motor.isentropic import characteristic_velocity
    from app.calc.motor.nozzle import momentum_coefficient

    k, gas, temperature, ratio = 1.30, 345.7, 2222.0, 0.1013 / 2.068
    c_star = characteristic_velocity(k, temperature, 8.31446261815324 / gas)
    return abs(float(momentum_coefficient(k, ratio)) * c_star / 1827 - 1)


def worked_thrust() -> float:
    from app.calc.base.constants import ATM
    from app.calc.motor.nozzle import momentum_coefficient

    momentum, pressure = float(momentum_coefficient(1.04, 4 / 68)), (4 - 1) / 68 * 4.0
    return abs((momentum + pressure) * 68 * ATM * pi / 4 * 0.01**2 / 867.2 - 1)


def ambient() -> float:
    from dataclasses import replace

    from app.calc.base.constants import ATM
    from app.calc.motor.simulation import example, simulate

    low = replace(example(), exit_d=0.022)
    a, b = simulate(low), simulate(replace(low, ambient_pressure=70121.0))
    middle = (a.depth > 0.1 * a.depth[-1]) & (a.depth < 0.9 * a.depth[-1])
    gains = (b.thrust[middle] - a.thrust[middle]) / ((ATM - 70121.0) * pi / 4 * 0.022**2)
    return float(np.abs(gains - 1).max())


_RUNS: list[tuple[MotorRun, Reference]] = []


def marches() -> list[tuple[MotorRun, Reference]]:
    from app.calc.motor.simulation import simulate

    if not _RUNS:
        _RUNS.extend((simulate(motor), solve(motor)) for motor in motor_table())
    return _RUNS


def against_stiff(name: str) -> Callable[[], float]:
    return lambda: worst((getattr(run, name), getattr(exact, name)) for run, exact in marches())


def searched(name: str) -> Callable[[], float]:
    """The example's designs as a search expects them against each marched alone."""

    def measure() -> float:
        from app.calc.motor.simulation import simulate
        from app.calc.season.designs import designs_of
        from app.calc.season.example import example_hardware
        from app.calc.season.expected import Expected, look_at_all

        designs = designs_of(example_hardware())
        found = Expected.nothing(len(designs))
        for _ in look_at_all(designs, None, found):
            pass
        marched = [i for i in range(len(designs)) if np.isfinite(found.peak_pressure[i])]
        return worst((getattr(found, name)[i], getattr(simulate(designs.motor(i)), name)) for i in marched)

    return measure


def mass_kept() -> float:
    return max(abs(run.mass_balance) for run, _ in marches())


def scaling() -> float:
    from dataclasses import replace

    from app.calc.motor.simulation import example, simulate

    one = example()
    grains = tuple(
        replace(g, outer_d=2 * g.outer_d, core_d=2 * g.core_d, length=2 * g.length, mass=8 * g.mass)
        for g in one.grains
        if isinstance(g, Grain)
    )
    two = replace(
        one,
        grains=grains,
        throat_d=2 * one.throat_d,
        exit_d=2 * one.exit_d,
        case_inner_d=2 * one.case_inner_d,
        chamber_length=2 * one.chamber_length,
        free_volume_extra=8 * one.free_volume_extra,
    )
    a, b = simulate(one), simulate(two)
    return worst(
        [(b.peak_pressure, a.peak_pressure), (b.burn_time, 2 * a.burn_time), (b.total_impulse, 8 * a.total_impulse)]
    )


def steady() -> float:
    from dataclasses import replace

    from app.calc.motor.isentropic import flow_function
    from app.calc.motor.simulation import example, simulate
    from app.calc.propellant.burn_laws import power_law

    one = example()
    tube = Grain(0.04445, 0.01905, 0.0762, 0.169, True, False, False, True)
    motor = replace(
        one,
        grains=(tube,) * 3,
        propellant=replace(one.propellant, law=power_law(8.26, 0.319, 1e5, 1e7)),
        case_inner_d=0.06,
        throat_d=0.015,
    )
    run = simulate(motor)
    c_star = motor.propellant.c_star * motor.c_star_efficiency
    middle = float(np.interp(run.depth[-1] / 2, run.depth, run.pressure))
    gas = middle / (flow_function(motor.propellant.gamma) * c_star) ** 2
    a = 8.26e-3 / 1e6**0.319
    return float(abs(middle / (a * (tube.density - gas) * c_star * run.kn_start) ** (1 / (1 - 0.319)) - 1))


# --- Fits and what is learned -----------------------------------------------------------------


def certified_line() -> float:
    from app.calc.stats.least_squares import line

    rows = published("nist_norris.csv")
    found = line([float(r["x"]) for r in rows], [float(r["y"]) for r in rows])
    certified = (-0.262323073774029, 1.00211681802045, 0.232818234301152, 0.429796848199937e-03)
    return worst(zip((*found.values, *found.errors), certified, strict=True))


def certified_curves() -> float:
    from app.calc.stats.least_squares import fit

    def power(x: Floats, b: Floats) -> tuple[Floats, Floats]:
        made = x ** b[1]
        return b[0] * made, np.stack([made, b[0] * made * np.log(x)], axis=1)

    def adsorption(x: Floats, b: Floats) -> tuple[Floats, Floats]:
        made = -np.expm1(-b[1] * x)
        return b[0] * made, np.stack([made, b[0] * x * np.exp(-b[1] * x)], axis=1)

    found = []
    for name, model, start, certified in (
        ("danwood", power, (1, 5), (7.6886226176e-01, 3.8604055871, 1.8281973860e-02, 5.1726610913e-02)),
        ("misra1a", adsorption, (500, 1e-4), (2.3894212918e02, 5.5015643181e-04, 2.7070075241, 7.2668688436e-06)),
    ):
        rows = published(f"nist_{name}.csv")
        x, y = (np.array([float(r[k]) for r in rows]) for k in ("x", "y"))

        def off(b: Floats, x: Floats = x, y: Floats = y, f: Curve = model) -> Floats:
            return f(x, b)[0] - y

        def slopes(b: Floats, x: Floats = x, f: Curve = model) -> Floats:
            return f(x, b)[1]

        one = fit(off, start, slopes)
        found.append(worst(zip((*one.values, *one.errors), certified, strict=True)))
    return max(found)


def rate_read_back() -> float:
    """Factor on the law and c* efficiency of a Radau curve without noise."""
    from dataclasses import replace

    from app.calc.fit.pressure_fit import fit_pressure
    from app.calc.motor.simulation import example

    one = example()
    law = one.propellant.law
    faster = replace(law, rates=tuple(1.08 * r for r in law.rates))
    made = solve(replace(one, propellant=replace(one.propellant, law=faster), c_star_efficiency=0.92))
    t = np.linspace(0, made.time[-1], 900)
    found = fit_pressure(one, t, np.interp(t, made.time, made.pressure))
    return worst([(float(np.exp(found.rate.value)), 1.08), (float(np.exp(found.c_star.value)), 0.92)])


def seeds_held() -> float:
    """Fewest of a hundred noisy Radau curves whose 90 % interval holds the true n, rate or c* efficiency."""
    from dataclasses import replace

    from app.calc.fit.pressure_fit import fit_law, fit_pressure
    from app.calc.motor.simulation import example
    from app.calc.propellant.burn_laws import power_law

    one = example()

    def motor(a: float, n: float, c_star: float) -> Motor:
        law = power_law(a, n, 1e5, 1e7)
        return replace(one, propellant=replace(one.propellant, law=law), c_star_efficiency=c_star)

    made = solve(motor(7.1, 0.30, 0.93))
    t = np.arange(0.0, made.time[-1] + 0.4, 0.002)
    p = np.interp(t - 0.1, made.time, made.pressure, left=101325.0, right=101325.0)
    hits = np.zeros(3)
    for seed in range(100):
        noisy = p + np.random.default_rng(seed).normal(0, 0.01 * p.max(), t.size)
        law, both = fit_law(motor(8.26, 0.319, 0.95), t, noisy), fit_pressure(motor(8.0, 0.30, 0.95), t, noisy)
        pairs = ((law.exponent, 0.30), (both.rate, np.log(7.1 / 8.0)), (both.c_star, np.log(0.93)))
        hits += [low <= true <= high for (low, high), true in ((f.interval(0.90), true) for f, true in pairs)]
    return float(hits.min())


def six_trials() -> float:
    from app.calc.fit.between_firings import between

    rows = [
        [float(r[k]) for k in ("treated_events", "treated", "control_events", "control")]
        for r in published("clasp_trials.csv")
    ]
    found = between(
        [np.log(a * (d - c) / (c * (b - a))) for a, b, c, d in rows],
        [np.sqrt(1 / a + 1 / (b - a) + 1 / c + 1 / (d - c)) for a, b, c, d in rows],
    )
    pairs = ((found.variance**0.5, "0.2323"), (found.mean, "-0.3240"), (found.se, "0.1540"))
    return max(digits(value, printed) for value, printed in pairs)


def share_interval() -> float:
    from scipy.stats import binomtest

    from app.calc.stats.multiple_comparisons import share_interval as exact_interval

    found = []
    for n in (1, 5, 30, 300):
        for hits in range(0, n + 1, max(1, n // 10)):
            theirs, ours = binomtest(hits, n).proportion_ci(0.95, method="exact"), exact_interval(hits, n)
            found += [float(abs(ours[0] - theirs.low)), float(abs(ours[1] - theirs.high))]
    return max(found)


def burst() -> float:
    from app.calc.base.constants import PSI
    from app.calc.case.casing import burst_pressure

    found = []
    for row in published("burst.csv"):
        outer, wall = float(row["outer_in"]) * 0.0254, float(row["wall_in"]) * 0.0254
        pressure = burst_pressure(float(row["ultimate_ksi"]) * 1e3 * PSI, outer - 2 * wall, outer)
        found.append((pressure / PSI, float(row["burst_psi"])))
    return worst(found)


def lame() -> float:
    from app.calc.case.casing import hoop_stress_bore

    found = []
    for share in np.geomspace(1e-4, 0.5, 40):
        r, t, p = 0.025, 0.025 * float(share), 5e6
        exact = p * r / t + p * (r + t) / (2 * r + t)  # thin wall and the rest, by algebra from Lame
        found.append((hoop_stress_bore(p, 2 * r, 2 * (r + t)), exact))
    return worst(found)


def half_sine_curve() -> float:
    """Impulse, burn time and action time of a half sine of 500 N over 2 s, 2,000 samples a second."""
    from app.calc.record.curve import figures

    t = np.arange(4001) / 2000
    found = figures(t, 500 * np.sin(pi * t / 2))
    five, ten = (float(np.arcsin(share)) * 2 / pi for share in (0.05, 0.10))
    impulse = 500 * 2 / pi * (1 + float(np.cos(pi / 2 * five)))
    return worst([(found.total_impulse, impulse), (found.burn_time, 2 - 2 * five), (found.action_time, 2 - 2 * ten)])


def uneven_curve() -> float:
    from scipy import integrate

    from app.calc.record.load_cell import running_impulse

    chance = np.random.default_rng(7)
    t = np.sort(chance.uniform(0.0, 2.0, 4000))
    force = 300 * np.sin(pi * t / 2) ** 0.7 + chance.normal(0, 1, t.size)
    return abs(float(running_impulse(t, force)[-1] / integrate.trapezoid(force, t)) - 1)


def reduced_records() -> float:
    """Thrust of an upright, drifting record against the trapezoid it was made of, as a share of its peak."""
    from scipy import integrate

    from app.calc.record.reduction import reduce_record

    t = np.arange(14_000) / 2000
    thrust = np.interp(t, [2.0, 2.1, 3.3, 3.6], [0.0, 400.0, 400.0, 0.0])
    gone = np.r_[0.0, integrate.cumulative_trapezoid(thrust, t)] / integrate.trapezoid(thrust, t)
    off = []
    for lost in (-6.0, 0.0, 6.0):
        found = reduce_record(t, thrust + 12 + 0.7 * t + lost * gone, lost_weight=lost)
        off.append(float(np.abs(found.thrust - thrust[found.low : found.high + 1]).max()) / 400)
    return max(off)


def calibration_sureness() -> float:
    """Slope and its standard deviation of the thermometer of JCGM 100:2008, H.3, in units of the last digit printed."""
    from app.calc.record.load_cell import calibrate
    from app.calc.record.uncertainty import calibration_error

    rows = published("thermometer_calibration.csv")
    x, y = ([float(row[name]) for row in rows] for name in ("reading", "correction"))
    slope = calibrate(x, y).slope
    sure = slope * (calibration_error(x, y) or 0.0)
    return max(digits(slope, rows[0]["slope"]), digits(sure, rows[0]["slope_error"]))


def smoothed_impulse() -> float:
    from scipy import integrate

    from app.calc.record.load_cell import smoothed

    chance = np.random.default_rng(7)
    found = []
    for period in (0.002, 0.0137, 0.1, 0.4):
        t = np.sort(chance.uniform(0.0, 1.5, 3000))
        force = chance.normal(200, 50, t.size)
        at, mean = smoothed(t, force, period)
        found.append((float(integrate.trapezoid(mean, at)), float(integrate.trapezoid(force, t))))
    return worst(found)


def calibration_line() -> float:
    from scipy import stats

    from app.calc.record.load_cell import calibrate

    readings = np.array([8012.0, 108_214.0, 208_395.0, 408_611.0, 808_890.0])
    loads = np.array([0.0, 1.0, 2.0, 4.0, 8.0]) * 9.80665
    line, found = stats.linregress(readings, loads), calibrate(readings, loads)
    return worst([(found.slope, float(line.slope)), (found.offset, float(line.intercept))])


def rate_to_pressure() -> float:
    """Sampled width of ln(peak) against the closed form, the only uncertain input being the burn rate."""
    from dataclasses import fields, replace

    from app.calc.motor.isentropic import flow_function
    from app.calc.motor.simulation import example
    from app.calc.motor.uncertainty import Spread, predict_range
    from app.calc.propellant.burn_laws import power_law

    one = example()
    motor = replace(one, propellant=replace(one.propellant, law=power_law(8.26, 0.319, 1e5, 1.1e7)))
    alone = Spread(**{f.name: 0.05 if f.name == "burn_rate" else 0.0 for f in fields(Spread)})
    found = predict_range(motor, alone, samples=1024)
    c_star = motor.propellant.c_star * motor.c_star_efficiency
    gas = found.peak_pressure.mid / (flow_function(motor.propellant.gamma) * c_star) ** 2 / motor.grains[0].density
    width = float(np.log(found.peak_pressure.high / found.peak_pressure.low))
    return abs(width / (2 * 1.633 * 0.05 / (1 - 0.319 + gas)) - 1)


def atmosphere_table() -> float:
    from app.calc.base.atmosphere import atmosphere

    found = []
    for row in published("standard_atmosphere_1976.csv"):
        air = atmosphere(float(row["altitude"]))
        found += [digits(getattr(air, n), row[n]) for n in ("temperature", "pressure", "density") if row[n]]
    return max(found)


def boiling_water() -> float:
    from app.calc.base.water import boiling_point

    rows = published("boiling_water.csv")
    return max(abs(boiling_point(float(row["pressure"]) * 1e6) - float(row["temperature"])) for row in rows)


def vacuum() -> float:
    from math import log

    from app.calc.flight.flight import Motor, Pad, Rocket, fly

    force, burn, propellant, dry, g = 400.0, 2.0, 0.7, 6.5, 9.80665
    found = fly(Motor([0, burn], [force, force], propellant), Rocket(dry, 0.1, 0.0), Pad(2.0))
    exhaust, ratio = force * burn / propellant, (propellant + dry) / dry
    speed = exhaust * log(ratio) - g * burn
    height = exhaust * burn * (1 - log(ratio) / (ratio - 1)) - g * burn**2 / 2
    return worst([(found.burnout_speed, speed), (found.apogee, height + speed**2 / (2 * g))])


def uniform_air() -> float:
    from math import atan, log, sqrt
    from unittest.mock import patch

    from app.calc.flight import launch
    from app.calc.flight.flight import Motor, Pad, Rocket, fly

    def air(altitude: Floats, warmer: float = 0.0) -> tuple[Floats, Floats]:
        return np.full(altitude.shape, 1.225), np.full(altitude.shape, 340.29)

    with patch.object(launch, "air_column", air):
        found = fly(Motor([0, 0.1, 1.9, 2.0], [0, 450, 400, 0], 0.7), Rocket(6.5, 0.1, 0.5), Pad(2.0))
    k, v, m, g = 0.5 * 1.225 * 0.5 * found.drag.area, found.burnout_speed, 6.5, 9.80665
    return worst(
        [
            (found.apogee - found.burnout_height, m / (2 * k) * log(1 + k * v**2 / (m * g))),
            (found.coast_time, sqrt(m / (k * g)) * atan(v * sqrt(k / (m * g)))),
        ]
    )


_FLIGHTS: list[tuple[object, dict[str, float]]] = []


def flights_against_scipy(*names: str) -> Callable[[], float]:
    def measure() -> float:
        sys.path.insert(0, str(ROOT))
        from tests.calc.flight.test_flight import of_case
        from tests.calc.flight_reference import CASES, solve

        if not _FLIGHTS:
            _FLIGHTS.extend((of_case(case), solve(case)) for case in CASES.values())
        return worst((getattr(found, name), ref[name]) for found, ref in _FLIGHTS for name in names if ref.get(name))

    return measure


def wind_classes() -> float:
    from app.calc.flight.wind import wind_at

    rows = published("wind_power_classes.csv")
    return max(abs(float(wind_at(50.0, float(r["at_10_m"]), 10.0)) - float(r["at_50_m"])) for r in rows)


def parachute() -> float:
    from tests.calc.flight.test_recovery import glenn_landing_speed

    return abs(glenn_landing_speed() / 3.0 - 1)


def triangle() -> float:
    from app.calc.motor.impulse import burn_time, total_impulse

    t, force = [0, 1, 4], [0, 200, 0]
    return worst([(burn_time(t, force, s), 4 * (1 - s)) for s in (0.05, 0.1)] + [(total_impulse(t, force), 400.0)])


def rulers() -> float:
    from app.calc.grain.density_check import check_grain

    rng = np.random.default_rng(1)
    n, mass, outer, core, length, step = 400_000, 0.169, 0.04445, 0.01905, 0.0762, 1e-4
    m, o, c, z = (v + step * (rng.random(n) - 0.5) for v in (mass, outer, core, length))
    sampled = 2 * float((m / (pi / 4 * (o**2 - c**2) * z)).std())
    return abs(check_grain(mass, outer, core, length, 1841.0).density_uncertainty / sampled - 1)


def percent(value: float) -> str:
    return f"{100 * value:.2g} %" if value >= 1e-6 else ("0" if value == 0 else f"{value:.0e}")


def plain(unit: str) -> Callable[[float], str]:
    return lambda value: f"{value:.2g} {unit}"


def individuals_nist() -> float:
    from app.calc.stats.control_charts import individuals_limits

    (row,) = published("individuals_chart.csv")
    found = individuals_limits(numbers(row["values"]))
    return max(digits(found.lower, row["lower"]), digits(found.upper, row["upper"]))


def ewma_nist() -> float:
    from app.calc.stats.control_charts import ewma

    (row,) = published("ewma.csv")
    found = ewma(numbers(row["values"]), float(row["target"]), float(row["sigma"]), float(row["weight"]))
    return max(digits(found.lower, row["lower"]), digits(found.upper, row["upper"]))


def welch_r() -> float:
    from app.calc.stats.control_charts import Sample, compare_means

    (row,) = published("welch.csv")
    one, two = (np.array(numbers(row[name])) for name in ("first", "second"))
    first, second = (Sample(len(v), float(v.mean()), float(v.std(ddof=1))) for v in (one, two))
    found = compare_means(first, second)
    return max(digits(getattr(found, name), row[name]) for name in ("p", "low", "high"))


def spearman_published() -> float:
    from app.calc.stats.rank_correlation import rank_association

    (row,) = published("rank_association.csv")
    found = rank_association(numbers(row["x"]), numbers(row["y"]))
    return max(digits(getattr(found, name), row[name]) for name in ("rho", "low", "high"))


def spearman_scipy() -> float:
    from scipy import stats

    from app.calc.stats.rank_correlation import rank_association

    chance = np.random.default_rng(3)
    found = []
    for n in (5, 12, 40, 200):
        x = chance.integers(0, n, n)
        y = x + chance.integers(0, n, n)
        reference, mine = stats.spearmanr(x, y), rank_association(x, y)
        found += [(mine.rho, float(reference.statistic)), (mine.p, float(reference.pvalue))]
    return worst(found)


def fisher_scipy() -> float:
    from scipy import stats

    from app.calc.stats.multiple_comparisons import exact_chance

    tables = [(3, 1, 1, 3), (8, 2, 1, 5), (12, 0, 4, 9), (7, 7, 7, 7)]
    return worst((exact_chance(*t), float(stats.fisher_exact([t[:2], t[2:]]).pvalue)) for t in tables)


def cut_scipy() -> float:
    from scipy import stats

    from app.calc.stats.one_cut import best_cut

    pairs = []
    chance = np.random.default_rng(7)
    for n, m in [(3, 3), (9, 6), (4, 20), (30, 25)]:
        values = chance.permutation(n + m) + chance.uniform(0, 0.5, n + m)
        found = best_cut(values.tolist(), [True] * n + [False] * m)
        assert found is not None
        pairs.append((found.p, float(stats.ks_2samp(values[:n], values[n:], method="exact").pvalue)))
    return worst(pairs)


def flight_tracks() -> float:
    """Apogee, its time, two descents and landing of a flight in closed form, at six rates of sampling."""
    from app.calc.base.constants import STANDARD_GRAVITY
    from app.calc.record.track import analyse

    push, burn, drogue, main, opens = 60.0, 1.5, 22.0, 6.0, 150.0
    top = burn + push * burn / STANDARD_GRAVITY
    apogee = push * burn**2 / 2 + (push * burn) ** 2 / (2 * STANDARD_GRAVITY)
    opened = top + (apogee - opens) / drogue
    landed = opened + opens / main
    found = []
    for rate in (100, 20, 10, 5, 2, 1):
        t = np.arange(0, 3 + landed + 10, 1 / rate)
        s = t - 3.0
        pieces = [
            0 * s,
            push * s**2 / 2,
            apogee - STANDARD_GRAVITY / 2 * (s - top) ** 2,
            apogee - drogue * (s - top),
            opens - main * (s - opened),
        ]
        one = analyse(t, np.select([s < 0, s < burn, s < top, s < opened, s < landed], pieces, 0.0))
        assert one.landing_time is not None
        found += [(one.apogee, apogee), (one.apogee_time, top), (one.landing_time, landed)]
        found += zip((d.rate for d in one.descents), (drogue, main), strict=True)
    return worst(found)


def slopes_scipy() -> float:
    from scipy import stats

    from app.calc.record.track import robust_slope

    chance = np.random.default_rng(7)
    found = []
    for _ in range(20):
        x = np.sort(chance.uniform(0, 30, 60))
        y = 200 - 8 * x + chance.standard_t(2, 60)
        found.append((robust_slope(x, y), float(stats.theilslopes(y, x).slope)))
    return worst(found)


def pressure_heights() -> float:
    """Difference of height over the height that one unit of the last printed digit of pressure spans."""
    from app.calc.record.barometer import pressure_altitude

    found = []
    for row in published("standard_atmosphere_1976.csv"):
        mantissa, _, power = row["pressure"].partition("e")
        unit = 10.0 ** (int(power or 0) - len(mantissa.partition(".")[2]))
        here, below = pressure_altitude([float(row["pressure"]), float(row["pressure"]) - unit])
        found.append(float(abs(here - float(row["altitude"])) / (below - here)))
    return max(found)


def spoiled_pans() -> float:
    import numpy as np
    from scipy import stats

    from app.calc.season.rejects import good_in_melt

    pairs = []
    for size, mean, rho in ((4, 0.05, 0.2), (7, 0.3, 0.35), (40, 0.01, 0.02)):
        strength = (1 - rho) / rho
        expected = stats.betabinom(size, (1 - mean) * strength, mean * strength).pmf(np.arange(size + 1))
        found = good_in_melt(size, np.array([mean]), np.array([rho]))[0]
        pairs += list(zip(found.tolist(), expected.tolist(), strict=True))
    return worst(pairs)


def lots_over_time() -> float:
    from tests.calc.season.test_casting import published_lots

    return abs(published_lots()[0] - 864)


ROWS: list[tuple[str, str, str, Callable[[], float], Callable[[float], str]]] = [
    (
        "recipe",
        "400 g of 65/28/7 is 260/112/28 g (common practice, no source)",
        "propellant/test_recipe.py::test_a_400_g_batch_of_65_28_7",
        recipe_grams,
        plain("g"),
    ),
    (
        "blend",
        "density of the three 65/35 blends (R. Nakka's pages, from memory)",
        "propellant/test_recipe.py::test_theoretical_density_of_65_35",
        densities,
        percent,
    ),
    (
        "blend",
        "oxygen balance of nitrate, both conventions, and of sucrose (handbooks, from memory)",
        "propellant/test_recipe.py::test_oxygen_balance_in_both_conventions",
        oxygen,
        plain("percentage points"),
    ),
    (
        "density_check",
        "reading uncertainty of density against 400,000 sampled readings",
        "grain/test_density_check.py::test_uncertainty_agrees_with_sampled_readings",
        rulers,
        percent,
    ),
    (
        "thermochem",
        "flame temperature at 68 atm (DARE, TU Delft; R. Nakka, from memory)",
        "propellant/test_thermochem.py::test_published_states_of_65_35_blends",
        states("temperature"),
        percent,
    ),
    (
        "thermochem",
        "c* at 68 atm (the same)",
        "propellant/test_thermochem.py::test_published_states_of_65_35_blends",
        states("c_star"),
        percent,
    ),
    (
        "thermochem",
        "molar mass of gas and condensed matter (the same)",
        "propellant/test_thermochem.py::test_published_states_of_65_35_blends",
        states("system_molar_mass"),
        percent,
    ),
    (
        "equilibrium",
        "elements kept from blend to products",
        "propellant/test_thermochem.py::test_elements_and_mass_balance",
        elements,
        percent,
    ),
    (
        "equilibrium",
        "entropy kept from chamber to exit",
        "propellant/test_thermochem.py::test_energy_and_entropy_are_kept",
        entropy,
        percent,
    ),
    (
        "equilibrium",
        "main gases against Cantera's single-phase solver with every gas it knows",
        "propellant/test_thermochem.py::test_gas_is_at_equilibrium_by_canteras_single_phase_solver",
        single_phase,
        percent,
    ),
    (
        "burn_rate",
        "published bands, inside them (R. Nakka, from memory)",
        "propellant/test_burn_rate.py::test_inside_a_band_the_law_is_as_printed",
        bands,
        percent,
    ),
    (
        "burn_rate",
        "the same within 4 % of a joint, where the law is blended: rate",
        "propellant/test_burn_rate.py::test_what_the_blends_move_is_what_the_module_says",
        blends("rate"),
        percent,
    ),
    (
        "burn_rate",
        "the same: steady pressure, 1/(1 - n) of it",
        "propellant/test_burn_rate.py::test_what_the_blends_move_is_what_the_module_says",
        blends("pressure"),
        percent,
    ),
    (
        "geometry",
        "volume burned against volume, nine grains, core off centre in six",
        "grain/test_geometry.py::test_volume_burned_is_the_grain_s_volume",
        grain_volume,
        percent,
    ),
    (
        "section, cores",
        "area burned against area, five shapes",
        "grain/test_section.py::test_every_bit_of_area_burns_once",
        section_kept,
        percent,
    ),
    (
        "section",
        "area of a central round core, 192 cells, mean over depth",
        "grain/test_section.py::test_round_core_is_the_closed_form",
        section_error("area", 192, 0.0),
        percent,
    ),
    (
        "section",
        "area of a moon, 96 cells",
        "grain/test_section.py::test_refining_the_grid_converges",
        section_error("area", 96, 0.005),
        percent,
    ),
    (
        "section",
        "area of a moon, 192 cells (used)",
        "grain/test_section.py::test_refining_the_grid_converges",
        section_error("area", 192, 0.005),
        percent,
    ),
    (
        "section",
        "area of a moon, 384 cells",
        "grain/test_section.py::test_refining_the_grid_converges",
        section_error("area", 384, 0.005),
        percent,
    ),
    (
        "section",
        "burning edge of a moon, 192 cells, mean over depth",
        "grain/test_section.py::test_refining_the_grid_converges",
        section_error("edge", 192, 0.005),
        percent,
    ),
    (
        "section",
        "the same, largest, more than four cells from where it meets the wall",
        "grain/test_section.py::test_round_core_is_the_closed_form",
        section_worst,
        percent,
    ),
    (
        "section",
        "burning edge of a five-pointed star against trigonometry",
        "grain/test_section.py::test_star_by_trigonometry",
        star,
        percent,
    ),
    (
        "core_offset",
        "volume left with a tilted core against quadrature along the length",
        "grain/test_section.py::test_tilted_core_by_integrating_along_the_length",
        tilted,
        percent,
    ),
    (
        "tabulated_grain",
        "peak pressure of a tabulated round core against the closed form",
        "grain/test_tabulated_grain.py::test_a_tabulated_round_core_is_the_closed_form_within_a_ten_thousandth",
        round_table("peak_pressure"),
        percent,
    ),
    (
        "tabulated_grain",
        "total impulse of the same",
        "grain/test_tabulated_grain.py::test_a_tabulated_round_core_is_the_closed_form_within_a_ten_thousandth",
        round_table("total_impulse"),
        percent,
    ),
    (
        "tabulated_grain",
        "peak pressure of a star motor against SciPy Radau, rtol 1e-8",
        "grain/test_tabulated_grain.py::test_a_star_against_a_stiff_solver",
        star_march("peak"),
        percent,
    ),
    (
        "tabulated_grain",
        "time to 95 % of the star's web",
        "grain/test_tabulated_grain.py::test_a_star_against_a_stiff_solver",
        star_march("time"),
        percent,
    ),
    (
        "isentropic",
        "NACA 1135 entries at M 2, 3, 4",
        "motor/test_nozzle.py::test_naca_1135_as_printed",
        naca,
        plain("of the last digit printed"),
    ),
    (
        "isentropic",
        "Sutton & Biblarz, example 3-2: 1827 m/s (from memory)",
        "motor/test_nozzle.py::test_sutton_example_3_2",
        sutton,
        percent,
    ),
    (
        "isentropic",
        "worked thrust, k 1.04, 68 atm: 867.2 N (inputs: R. Nakka, worked example)",
        "motor/test_nozzle.py::test_thrust_coefficient_worked_case",
        worked_thrust,
        percent,
    ),
    (
        "nozzle",
        "thrust gained from sea level to 3,000 m against difference of pressure times exit area",
        "motor/test_simulation.py::test_height_of_the_field_changes_thrust_by_ambient_times_exit_area",
        ambient,
        percent,
    ),
    (
        "chamber, simulation",
        "total impulse of 36 motors against SciPy Radau, rtol 1e-8",
        "motor/test_simulation.py::test_agrees_with_a_stiff_solver",
        against_stiff("total_impulse"),
        percent,
    ),
    (
        "chamber, simulation",
        "peak pressure of the same",
        "motor/test_simulation.py::test_agrees_with_a_stiff_solver",
        against_stiff("peak_pressure"),
        percent,
    ),
    (
        "expected",
        "peak pressure of a search's designs against each marched alone",
        "season/test_choosing.py::test_a_motor_chosen_gives_the_same_numbers_run_again_alone",
        searched("peak_pressure"),
        percent,
    ),
    (
        "expected",
        "total impulse of the same",
        "season/test_choosing.py::test_a_motor_chosen_gives_the_same_numbers_run_again_alone",
        searched("total_impulse"),
        percent,
    ),
    (
        "chamber, simulation",
        "burn time of the same",
        "motor/test_simulation.py::test_agrees_with_a_stiff_solver",
        against_stiff("burn_time"),
        percent,
    ),
    (
        "chamber",
        "mass in against mass out and left, the same motors",
        "motor/test_simulation.py::test_mass_is_conserved",
        mass_kept,
        percent,
    ),
    (
        "chamber",
        "steady pressure against (a rho c* Kn)^(1/(1-n))",
        "motor/test_simulation.py::test_steady_pressure_matches_the_closed_form",
        steady,
        percent,
    ),
    (
        "simulation",
        "all lengths doubled: same pressure, twice the time, eight times the impulse",
        "motor/test_simulation.py::test_doubling_all_lengths_doubles_time_and_gives_eight_times_the_impulse",
        scaling,
        percent,
    ),
    (
        "impulse",
        "a triangle by hand: durations and impulse",
        "motor/test_impulse.py::test_a_triangle_by_hand",
        triangle,
        percent,
    ),
    (
        "curve",
        "a half sine in closed form: impulse, burn time, action time",
        "record/test_curve.py::test_a_half_sine_in_closed_form",
        half_sine_curve,
        percent,
    ),
    (
        "curve",
        "impulse of an uneven, noisy curve against scipy.integrate",
        "record/test_curve.py::test_impulse_against_scipy_on_an_uneven_noisy_curve",
        uneven_curve,
        percent,
    ),
    (
        "reduction",
        "thrust of upright, drifting records against the trapezoid they were made of, of its peak",
        "record/test_reduction.py::test_what_a_stand_adds_comes_off",
        reduced_records,
        percent,
    ),
    (
        "uncertainty",
        "slope of a calibration and its standard deviation, JCGM 100:2008, H.3",
        "record/test_uncertainty.py::test_the_slope_of_a_calibration_is_as_sure_as_the_guide_says",
        calibration_sureness,
        plain("of the last digit printed"),
    ),
    (
        "load_cell",
        "impulse before and after smoothing",
        "record/test_curve.py::test_smoothing_keeps_the_impulse_to_rounding",
        smoothed_impulse,
        percent,
    ),
    (
        "load_cell",
        "calibration by five masses against scipy.stats.linregress",
        "record/test_curve.py::test_calibration_against_scipy",
        calibration_line,
        percent,
    ),
    (
        "control_charts",
        "individuals chart's limits (NIST/SEMATECH e-Handbook 6.3.2.2)",
        "stats/test_control_charts.py::test_published_individuals_chart",
        individuals_nist,
        plain("of the last digit printed"),
    ),
    (
        "control_charts",
        "EWMA chart's limits (NIST/SEMATECH e-Handbook 6.3.2.4)",
        "stats/test_control_charts.py::test_published_ewma",
        ewma_nist,
        plain("of the last digit printed"),
    ),
    (
        "control_charts",
        "Welch's test: probability and interval printed by R's t.test",
        "stats/test_multiple_comparisons.py::test_published_welch",
        welch_r,
        plain("of the last digit printed"),
    ),
    (
        "rank_correlation",
        "Spearman's coefficient with Bonett and Wright's interval, printed by statpsych for R",
        "stats/test_rank_correlation.py::test_published_interval",
        spearman_published,
        plain("of the last digit printed"),
    ),
    (
        "rank_correlation",
        "coefficient and probability against scipy.stats.spearmanr",
        "stats/test_rank_correlation.py::test_coefficient_and_probability_are_scipy_s",
        spearman_scipy,
        percent,
    ),
    (
        "multiple_comparisons",
        "Fisher's exact test against scipy.stats.fisher_exact",
        "stats/test_multiple_comparisons.py::test_exact_test_is_scipy_s",
        fisher_scipy,
        percent,
    ),
    (
        "one_cut",
        "chance of the best of all cuts against scipy.stats.ks_2samp, exact",
        "stats/test_one_cut.py::test_its_chance_is_scipy_s_exact_two_sample_kolmogorov_smirnov",
        cut_scipy,
        percent,
    ),
    (
        "least_squares",
        "NIST StRD Norris: line and its standard deviations",
        "stats/test_least_squares.py::test_a_line_gives_nists_certified_answer_for_norris",
        certified_line,
        percent,
    ),
    (
        "least_squares",
        "NIST StRD DanWood (y = b1 x^b2) and Misra1a: values and standard deviations",
        "stats/test_least_squares.py::test_fits_give_nists_certified_answers",
        certified_curves,
        percent,
    ),
    (
        "pressure_fit",
        "factor on a law of bands and c* efficiency, from a SciPy Radau curve without noise",
        "fit/test_pressure_fit.py::test_a_published_law_of_bands_takes_a_factor",
        rate_read_back,
        percent,
    ),
    (
        "pressure_fit",
        "of 100 Radau curves with 1 % noise, those whose 90 % interval holds (least of n, rate, c*; wanted 85)",
        "fit/test_pressure_fit.py::test_a_and_n_come_back_in_ninety_of_a_hundred",
        seeds_held,
        plain("of 100"),
    ),
    (
        "partial_pooling",
        "DerSimonian-Laird on six trials as published (DerSimonian & Kacker 2007)",
        "fit/test_partial_pooling.py::test_dersimonian_laird_as_published_for_six_trials",
        six_trials,
        plain("of the last digit printed"),
    ),
    (
        "multiple_comparisons",
        "exact interval of a share against scipy.stats.binomtest",
        "stats/test_multiple_comparisons.py::test_share_interval_is_scipy_s",
        share_interval,
        percent,
    ),
    (
        "casing",
        "published burst, 5 in x 0.125 in: 2,250 psi (second hand)",
        "case/test_casing.py::test_published_burst",
        burst,
        percent,
    ),
    (
        "casing",
        "Lame against thin wall plus the rest, by algebra",
        "case/test_casing.py::test_lame_tends_to_thin_wall",
        lame,
        percent,
    ),
    (
        "uncertainty",
        "sampled 5 to 95 % width of the peak against the closed form",
        "motor/test_uncertainty.py::test_pressure_follows_burn_rate_as_the_closed_form_says",
        rate_to_pressure,
        percent,
    ),
    (
        "atmosphere",
        "U.S. Standard Atmosphere 1976, all rows on file",
        "base/test_atmosphere.py::test_printed_table",
        atmosphere_table,
        plain("of the last digit printed"),
    ),
    (
        "water",
        "IAPWS-IF97, table 36, and steam tables after NIST, 70 to 95 °C",
        "base/test_water.py::test_printed_tables",
        boiling_water,
        plain("K"),
    ),
    (
        "wind",
        "wind power classes at 10 m and 50 m (Wind Energy Resource Atlas, table 1-1, rounded to 0.1)",
        "flight/test_wind.py::test_printed_classes",
        wind_classes,
        plain("m/s"),
    ),
    (
        "flight",
        "constant thrust in a vacuum: speed and height in closed form (Tsiolkovsky)",
        "flight/test_flight.py::test_vacuum_closed_form",
        vacuum,
        percent,
    ),
    (
        "flight",
        "coast in steady air: height and time in closed form (quadratic drag)",
        "flight/test_flight.py::test_coast_in_uniform_air",
        uniform_air,
        percent,
    ),
    (
        "flight",
        "apogee and its time, six rockets with wind and tilted rails, against SciPy DOP853, rtol 1e-9",
        "flight/test_flight.py::test_scipy_as_reference",
        flights_against_scipy("apogee", "apogee_time"),
        percent,
    ),
    (
        "flight",
        "speed off the rail, the same",
        "flight/test_flight.py::test_scipy_as_reference",
        flights_against_scipy("rail_exit_speed"),
        percent,
    ),
    (
        "flight",
        "largest speed, Mach number and dynamic pressure, the same",
        "flight/test_flight.py::test_scipy_as_reference",
        flights_against_scipy("max_speed", "max_mach", "max_q"),
        percent,
    ),
    (
        "flight",
        "distance at apogee, the same",
        "flight/test_flight.py::test_scipy_as_reference",
        flights_against_scipy("downrange"),
        percent,
    ),
    (
        "recovery",
        "landing time of the four with parachutes, against the same equations",
        "flight/test_flight.py::test_scipy_as_reference",
        flights_against_scipy("landing_time"),
        percent,
    ),
    (
        "recovery",
        "landing distance, the same",
        "flight/test_flight.py::test_scipy_as_reference",
        flights_against_scipy("landing_distance"),
        percent,
    ),
    (
        "recovery",
        "NASA Glenn: 0.0623 kg under 0.435 m comes down at 3 m/s",
        "flight/test_recovery.py::test_parachute",
        parachute,
        percent,
    ),
    (
        "track",
        "apogee, its time, descents and landing of a flight in closed form, 1 to 100 readings a second",
        "record/test_track.py::test_apogee_descents_and_landing_are_those_of_the_closed_form",
        flight_tracks,
        percent,
    ),
    (
        "track",
        "median of slopes against scipy.stats.theilslopes",
        "record/test_track.py::test_a_median_of_slopes_is_scipys",
        slopes_scipy,
        percent,
    ),
    (
        "barometer",
        "U.S. Standard Atmosphere 1976 read from pressure to altitude, all rows on file",
        "record/test_track.py::test_pressure_altitude_is_the_standards",
        pressure_heights,
        plain("of the last digit printed"),
    ),
    (
        "rejects",
        "good grains of a melt against scipy.stats.betabinom, three melts",
        "season/test_rejects.py::test_one_melt_is_scipy_s_beta_binomial",
        spoiled_pans,
        percent,
    ),
    (
        "program",
        "Wagner and Whitin's twelve months (1958, from memory): cost of the best plan, 864",
        "season/test_casting.py::test_lots_over_time_as_published",
        lots_over_time,
        plain("units of cost"),
    ),
]
"""Module, what is compared, the test that asserts it, how it is measured, and how the number is written."""


def table() -> str:
    lines = ["| module | compared with | test | largest difference |", "|---|---|---|---|"]
    for module, what, test, measure, write in ROWS:
        lines.append(f"| {module} | {what} | `{test}` | {write(measure())} |")
    return "\n".join(lines)


def main() -> None:
    made = table()
    if "--write" not in sys.argv:
        print(made)
        return
    page = PAGE.read_text(encoding="utf-8")
    head, _, rest = page.partition(BEGIN)
    _, _, tail = rest.partition(END)
    PAGE.write_text(f"{head}{BEGIN}\n{made}\n{END}{tail}", encoding="utf-8")


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))
    main()
