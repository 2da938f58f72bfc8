"""Grains that stand in a table, marched beside those in closed form by the same engine."""

from dataclasses import replace
from itertools import pairwise
from math import pi
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad

from app.calc.base.errors import CalcError
from app.calc.grain.core_offset import askew, core_offset_fault
from app.calc.grain.cores import Core, polygon_core
from app.calc.grain.geometry import Grain, burning_area, port_area, remaining_volume
from app.calc.grain.section import burn_back, prism
from app.calc.grain.tabulated_grain import ShapedGrain
from app.calc.motor.simulation import Motor, MotorRun, example, simulate, simulate_many
from app.calc.motor.uncertainty import predict_range
from app.units import say
from tests.calc import stiff_reference as reference
from tests.calc.grain.shapes import flat_core, round_core, slot_core, star_core

D = 0.04445
CORES: dict[str, Core] = {
    "round": round_core(0.01905),
    "moon": round_core(0.01905, 0.004),
    "slot": slot_core(0.010, 0.026),
    "star": star_core(5, 0.030, 0.014),
    "D": flat_core(D, 0.003),
    "outline": polygon_core([(-0.009, -0.008), (0.011, -0.006), (0.006, 0.011)]),
}


def shaped(core: Core, length: float = 0.0762, ends: int = 2, cells: int = 192) -> ShapedGrain:
    section = burn_back(D, core, cells=cells)
    return prism(section, length, 0.95 * 1841.0 * float(section.area(0.0)) * length, ends)


def motor(grain: ShapedGrain | Grain, count: int = 4, **more: Any) -> Motor:
    return replace(example(), grains=(grain,) * count, **more)


def near(run: MotorRun, other: MotorRun, rel: float) -> None:
    assert run.total_impulse == pytest.approx(other.total_impulse, rel=rel)
    assert run.peak_pressure == pytest.approx(other.peak_pressure, rel=rel)
    assert run.burn_time == pytest.approx(other.burn_time, rel=5 * rel)


@pytest.mark.parametrize("ends", [0, 1, 2])
def test_a_tabulated_round_core_is_the_closed_form_within_a_ten_thousandth(ends: int) -> None:
    closed = Grain(D, 0.01905, 0.0762, 0.169, burns_end_a=ends > 0, burns_end_b=ends > 1)
    table = prism(burn_back(D, CORES["round"]), 0.0762, 0.169, ends)
    near(simulate(motor(table)), simulate(motor(closed)), 1e-4)
    x = np.linspace(0.0, 0.9 * closed.web, 50)
    assert burning_area(table, x) == pytest.approx(burning_area(closed, x), rel=5e-3)
    assert port_area(table, x) == pytest.approx(port_area(closed, x), rel=2e-3)
    assert remaining_volume(table, x) == pytest.approx(remaining_volume(closed, x), rel=2e-4)


def test_a_tabulated_moon_is_the_closed_form_of_a_core_off_centre() -> None:
    closed = Grain(D, 0.01905, 0.0762, 0.169, core_offset=0.004)
    near(simulate(motor(replace(shaped(CORES["moon"]), mass=0.169))), simulate(motor(closed)), 5e-4)


def test_a_core_parallel_off_centre_is_the_closed_form() -> None:
    closed = Grain(D, 0.01905, 0.0762, 0.169, core_offset=0.002)
    near(simulate(motor(askew(closed, core_offset_fault(closed, 0.002, 0.002)))), simulate(motor(closed)), 1e-5)


@pytest.mark.parametrize("name", CORES)
def test_volume_is_conserved(name: str) -> None:
    """Burning area integrated over depth is the volume; mass in is mass out and left: both to 1e-6."""
    grain = shaped(CORES[name], cells=96)
    burned = sum(quad(grain.burning_area, a, b)[0] for a, b in pairwise(grain.depths))
    assert burned == pytest.approx(grain.volume, rel=1e-6)
    assert float(grain.remaining_volume(grain.web)) == 0.0
    assert abs(simulate(motor(grain, throat_d=0.0115)).mass_balance) < 1e-6


@pytest.mark.parametrize("offsets", [(0.0, 0.003), (-0.003, 0.003), (0.001, 0.006), (0.0, 0.0)])
@pytest.mark.parametrize("ends", [(False, False), (True, True), (True, False)])
def test_volume_is_conserved_with_a_core_askew(offsets: tuple[float, float], ends: tuple[bool, bool]) -> None:
    grain = Grain(D, 0.01905, 0.0762, 0.169, burns_end_a=ends[0], burns_end_b=ends[1])
    made = askew(grain, core_offset_fault(grain, *offsets))
    burned = sum(quad(made.burning_area, a, b)[0] for a, b in pairwise(made.depths))
    assert burned == pytest.approx(grain.volume, rel=1e-6)
    assert abs(simulate(motor(made)).mass_balance) < 1e-6


def test_a_star_against_a_stiff_solver() -> None:
    """SciPy Radau, rtol 1e-8, in time, on the section's own area and edge instead of the grain's table:
    dP/dt = (RT/V)[A_b r (rho_p - rho_gas) - P A_t/c*], dx/dt = r, and the outflow as a third state."""
    section, length, grain = burn_back(D, CORES["star"]), 0.0762, shaped(CORES["star"])
    m = motor(grain, throat_d=0.0115)
    until = 0.95 * grain.web  # after it the throat is no longer choked
    found = reference.solve_shape(
        m,
        lambda x: 4 * float(section.perimeter(x) * (length - 2 * x) + 2 * section.area(x)),
        lambda x: 4 * float(section.area(x) * (length - 2 * x)),
        until,
    )
    run = simulate(m)
    assert run.peak_pressure == pytest.approx(found.pressure.max(), rel=2e-3)
    assert np.interp(until, run.depth, run.time) == pytest.approx(found.time[-1], rel=1e-2)
    x = np.linspace(0.02, 0.9, 40) * grain.web
    assert np.interp(x, run.depth, run.pressure) == pytest.approx(np.interp(x, found.depth, found.pressure), rel=1e-2)
    passed = np.concatenate([[0.0], np.cumsum(np.diff(run.time) * (run.mass_flow[1:] + run.mass_flow[:-1]) / 2)])
    assert np.interp(until, run.depth, passed) == pytest.approx(found.outflow[-1], rel=2e-3)


def test_shapes_mix_with_cylinders_and_with_each_other_in_one_batch() -> None:
    star, cylinder = shaped(CORES["star"]), example().grains[0]
    alone = [motor(star, throat_d=0.0115), example(), replace(example(), grains=(star, cylinder, star))]
    together = simulate_many(alone)
    for i, one in enumerate(alone):
        run = simulate(one)
        assert together.total_impulse[i] == pytest.approx(run.total_impulse, rel=1e-3)
        assert together.peak_pressure[i] == pytest.approx(run.peak_pressure, rel=1e-3)


def test_a_range_of_a_shaped_motor_leaves_its_core_alone_and_says_so() -> None:
    found = predict_range(motor(shaped(CORES["star"]), throat_d=0.0115), samples=64)
    assert found.peak_pressure.low < found.peak_pressure.mid < found.peak_pressure.high
    assert any("shape" in say(line) for line in found.assumptions)


def test_the_wall_bared_early_is_told() -> None:
    flags = " ".join(map(say, simulate(motor(shaped(CORES["moon"]))).flags))
    assert "bares a part of the wall" in flags
    assert "bares" not in " ".join(map(say, simulate(motor(shaped(CORES["round"]))).flags))


def test_a_sliver_burns_no_slower_than_in_the_open_air() -> None:
    """A core askew leaves a sliver that fades away; its last must not take the minutes that a vacuum would."""
    grain = Grain(D, 0.01905, 0.0762, 0.169)
    run = simulate(motor(askew(grain, core_offset_fault(grain, 0.0, 0.004))))
    slowest = float(example().propellant.law.rate(example().ambient_pressure))
    assert run.burnt_out_at < run.depth[-1] / slowest
    assert (run.pressure >= example().ambient_pressure).all()


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"depths": np.array([0.0, 0.0, 0.01])}, "depths"),
        ({"depths": np.array([0.001, 0.005, 0.01])}, "depths"),
        ({"volumes": np.array([1e-4, 5e-5, 1e-6])}, "volumes"),
        ({"volumes": np.array([1e-4, 2e-4, 0.0])}, "volumes"),
        ({"areas": np.array([0.01, -0.01, 0.01])}, "volumes"),
        ({"areas": np.array([0.01, np.nan, 0.01])}, "areas"),
        ({"breakthrough": 0.02}, "breakthrough"),
        ({"mass": 0.0}, "mass"),
    ],
)
def test_a_table_that_cannot_be_is_refused(change: dict[str, Any], field: str) -> None:
    parts: dict[str, Any] = {
        "name": "trial",
        "outer_d": D,
        "length": 0.07,
        "mass": 0.1,
        "burning_ends": 0,
        "breakthrough": 0.01,
        "depths": np.array([0.0, 0.005, 0.01]),
        "volumes": np.array([1e-4, 5e-5, 0.0]),
        "areas": np.full(3, 0.01),
    }
    assert ShapedGrain(**parts).web == 0.01
    with pytest.raises(CalcError) as caught:
        ShapedGrain(**{**parts, **change})
    assert caught.value.field == field


def test_a_shaped_grain_without_a_port_blocks_the_gas_behind_another() -> None:
    table = ShapedGrain(
        "end burner",
        D,
        0.05,
        0.1,
        1,
        np.array([0.0, 0.05]),
        pi / 4 * D**2 * np.array([0.05, 0.0]),
        np.full(2, pi / 4 * D**2),
        0.05,
    )
    with pytest.raises(CalcError, match="blocks the gas"):
        replace(example(), grains=(example().grains[0], table))
