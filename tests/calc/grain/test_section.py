"""Cross-sections burned back on a grid, and cores cast askew, against closed forms of plane geometry.

Tolerances are the grid's order: the area is second order in the cell, the burning edge first order near places
where it bends or jumps. `deviations.py` prints the largest differences seen.
"""

from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import dblquad, quad

from app.calc.base.errors import CalcError, GeometryError
from app.calc.grain.core_offset import core_offset_fault
from app.calc.grain.cores import Core, polygon_core
from app.calc.grain.geometry import Grain, burning_area, cross_section, remaining_volume
from app.calc.grain.section import Section, burn_back, prism
from tests.calc.grain.shapes import flat_core, round_core, slot_core, star_core

R = 0.02
CORES: dict[str, Core] = {
    "round": round_core(0.016),
    "moon": round_core(0.016, 0.005),
    "slot": slot_core(0.006, 0.02, 0.002),
    "star": star_core(5, 0.024, 0.010),
    "D": flat_core(2 * R, 0.004),
    "outline": polygon_core([(-0.008, -0.006), (0.010, -0.004), (0.006, 0.009)]),
}


def depths(section: Section, n: int = 300) -> np.ndarray:
    return np.linspace(0.0, section.web, n)


@pytest.mark.parametrize("name", CORES)
@pytest.mark.parametrize("burns_outer", [False, True])
def test_every_bit_of_area_burns_once(name: str, burns_outer: bool) -> None:
    """The integral of the burning edge over depth is the section's area; exact but for rounding."""
    section = burn_back(2 * R, CORES[name], burns_outer, cells=96)
    knots = section.depths
    burned = sum(quad(section.perimeter, a, b, epsabs=1e-15)[0] for a, b in pairwise(knots))
    assert burned == pytest.approx(float(section.area(0.0)), rel=1e-9)
    assert float(section.area(section.web)) == pytest.approx(0.0, abs=1e-15)
    assert (section.perimeter(depths(section)) >= 0).all()
    x = depths(section)
    assert section.area(x) + section.port_area(x) == pytest.approx(np.pi * R**2, rel=1e-12)


@pytest.mark.parametrize("offset", [0.0, 0.003, 0.007])
def test_round_core_is_the_closed_form(offset: float) -> None:
    """Area common to two circles (arccos form), which grain.py has and is itself checked by its derivative."""
    section = burn_back(2 * R, round_core(0.016, offset))
    x = depths(section)
    area, edge, _ = cross_section(R, 0.008 + x, offset)
    assert np.abs(section.area(x) - area).max() < 2e-4 * area[0]
    assert np.abs(section.perimeter(x) - edge)[:-1].mean() < 2e-3 * edge.max()
    assert section.web == pytest.approx(R + offset - 0.008, rel=1e-5)
    assert section.breakthrough == pytest.approx(R - offset - 0.008, rel=1e-5)


def test_annulus_by_hand() -> None:
    """Independent of grain.py: 40 mm outside, 16 mm core, 4 mm burned: pi (20^2 - 12^2) mm2 and 2 pi 12 mm."""
    section = burn_back(0.040, round_core(0.016))
    assert float(section.area(0.004)) * 1e6 == pytest.approx(804.25, rel=2e-4)
    assert float(section.perimeter(0.004)) * 1e3 == pytest.approx(75.40, rel=1e-3)


def test_off_centre_core_by_double_integral() -> None:
    """The propellant left, integrated point by point by scipy, without any formula for circles in common."""
    rho, e = 0.013, 0.005  # 5 mm burned from a 16 mm core
    left, _ = dblquad(
        lambda r, t: r * ((r * np.cos(t) - e) ** 2 + (r * np.sin(t)) ** 2 > rho**2),
        0.0,
        np.pi,
        lambda t: e * np.cos(t) + np.sqrt(rho**2 - (e * np.sin(t)) ** 2) if _inside(t, rho, e) else R,
        R,
        epsabs=1e-10,
    )
    section = burn_back(2 * R, round_core(0.016, e))
    assert float(section.area(0.005)) == pytest.approx(2 * left, rel=1e-3)


def _inside(t: float, rho: float, e: float) -> bool:
    return bool(e * np.cos(t) + np.sqrt(rho**2 - (e * np.sin(t)) ** 2) < R)


@pytest.mark.parametrize("flat", [-0.006, 0.0])
def test_d_grain_is_a_shrinking_segment(flat: float) -> None:
    """Less than half full: the front stays a chord. Segment R^2 acos(c/R) - c sqrt(R^2 - c^2)."""
    section = burn_back(2 * R, flat_core(2 * R, flat))
    x = depths(section)
    c = np.minimum(x - flat, R)
    segment = R**2 * np.arccos(c / R) - c * np.sqrt(R**2 - c**2)
    assert np.abs(section.area(x) - segment).max() < 3e-4 * segment[0]
    chord = 2 * np.sqrt(R**2 - c**2)
    assert np.abs(section.perimeter(x) - chord)[x < 0.9 * section.web].max() < 5e-3 * chord[0]
    assert section.breakthrough == pytest.approx(0.0, abs=1e-7)  # the flat's edges lie on the wall


def test_d_grain_more_than_half_full_rounds_past_its_edges() -> None:
    """Burned area = region of the disc within x of the chord, by scipy's double integral."""
    flat, x = 0.004, 0.008
    half = np.sqrt(R**2 - flat**2)

    def burned(v: float, u: float) -> float:
        return float(u <= flat and np.hypot(u - flat, max(abs(v) - half, 0.0)) <= x)

    found, _ = dblquad(
        burned, flat - x, flat, lambda u: -np.sqrt(R**2 - u**2), lambda u: np.sqrt(R**2 - u**2), epsabs=1e-7
    )
    section = burn_back(2 * R, flat_core(2 * R, flat))
    assert float(section.area(0.0) - section.area(x)) == pytest.approx(found, rel=3e-3)


def test_slot_grows_by_a_ring_until_it_meets_the_wall() -> None:
    """Steiner's formula for a convex port: A(x) = A0 + P0 x + pi x^2, P(x) = P0 + 2 pi x."""
    section = burn_back(2 * R, slot_core(0.006, 0.020))
    x = np.linspace(0.0, 0.99 * section.breakthrough, 200)
    edge = 2 * 0.014 + np.pi * 0.006
    port = 0.006 * 0.014 + np.pi * 0.003**2 + edge * x + np.pi * x**2
    assert np.abs(section.port_area(x) - port).max() < 1e-3 * port[0]
    assert section.perimeter(x) == pytest.approx(edge + 2 * np.pi * x, rel=1e-2)
    assert section.breakthrough == pytest.approx(R - 0.010, rel=1e-6)


def test_polygon_core_grows_by_steiner() -> None:
    """A 3-4-5 triangle port: edge 12 units, area 6 units; convex, so Steiner's formula holds till the wall."""
    unit = 0.003
    section = burn_back(2 * R, polygon_core([(-unit, -unit), (2 * unit, -unit), (-unit, 3 * unit)]))
    x = np.linspace(0.0, 0.99 * section.breakthrough, 100)
    assert section.port_area(x) == pytest.approx(6 * unit**2 + 12 * unit * x + np.pi * x**2, rel=3e-3)
    assert section.breakthrough == pytest.approx(R - unit * np.sqrt(10), rel=1e-4)


def test_star_by_trigonometry() -> None:
    """Half the angle at a point is a. Points grow arcs x (pi - 2a); at a root the front turns by pi - 2a - 2 pi/N,
    so each side loses x / tan(a + pi/N) there. Holds while the sides keep a straight piece and the wall is far."""
    points, tip, root = 5, 0.012, 0.005
    section = burn_back(2 * R, star_core(points, 2 * tip, 2 * root))
    across, along = root * np.sin(np.pi / points), tip - root * np.cos(np.pi / points)
    a, side = np.arctan2(across, along), np.hypot(across, along)
    lost = 1 / np.tan(a + np.pi / points)
    x = np.linspace(0.0, 0.9 * min(side / lost, section.breakthrough), 80)
    edge = 2 * points * (side - x * lost) + points * x * (np.pi - 2 * a)
    assert section.perimeter(x) == pytest.approx(edge, rel=1e-2)
    assert float(section.port_area(0.0)) == pytest.approx(points * tip * across, rel=1e-3)
    assert section.breakthrough == pytest.approx(R - tip, rel=1e-6)
    assert 0 < float(section.area(section.breakthrough)) < float(section.area(0.0))


@pytest.mark.parametrize("offset", [0.0, 0.005])
def test_refining_the_grid_converges(offset: float) -> None:
    """Mean errors of area and burning edge at least halve each time the cells do; the area's falls faster."""
    area_errors, edge_errors = [], []
    for cells in (48, 96, 192, 384):
        section = burn_back(2 * R, round_core(0.016, offset), cells=cells)
        x = np.linspace(0.0, 0.98 * section.web, 400)
        area, edge, _ = cross_section(R, 0.008 + x, offset)
        area_errors.append(np.abs(section.area(x) - area).mean() / area[0])
        edge_errors.append(np.abs(section.perimeter(x) - edge).mean() / edge[0])
    assert (np.array(area_errors[1:]) < 0.5 * np.array(area_errors[:-1])).all()
    assert area_errors[-1] < area_errors[0] / 20
    assert edge_errors[-1] < edge_errors[0] / 8


def test_burning_outside_too_halves_the_web() -> None:
    section = burn_back(2 * R, round_core(0.016), burns_outer=True)
    x = np.linspace(0.0, 0.0057, 50)
    assert section.web == pytest.approx(0.006, rel=1e-2)
    assert section.perimeter(x) == pytest.approx(2 * np.pi * (R + 0.008), rel=1e-2)  # one grows as the other shrinks


def test_wall_bared_by_a_moon() -> None:
    """Angle of the wall inside the port's circle: cos(t) = (R^2 + e^2 - rho^2) / (2 R e)."""
    section = burn_back(2 * R, round_core(0.016, 0.005))
    x = np.array([0.008, 0.011, 0.014, 0.0165])
    share = np.arccos((R**2 + 0.005**2 - (0.008 + x) ** 2) / (2 * R * 0.005)) / np.pi
    assert section.wall_bared(x) == pytest.approx(share, abs=2e-3)


def test_prism_agrees_with_grain() -> None:
    grain = Grain(0.040, 0.016, 0.07, 0.1)
    made = prism(burn_back(0.040, round_core(0.016)), 0.07, 0.1)
    x = np.linspace(0.0, 0.0115, 60)
    assert remaining_volume(made, x) == pytest.approx(remaining_volume(grain, x), rel=3e-3)
    assert burning_area(made, x) == pytest.approx(burning_area(grain, x), rel=3e-3)


# --- A core cast askew -------------------------------------------------------------------------


@pytest.mark.parametrize("ends", [(False, False), (True, False), (True, True)])
@pytest.mark.parametrize("offset", [0.0, 0.003])
def test_parallel_core_is_grain_with_an_offset(ends: tuple[bool, bool], offset: float) -> None:
    grain = Grain(0.04, 0.016, 0.07, 0.1, burns_end_a=ends[0], burns_end_b=ends[1], core_offset=offset)
    fault = core_offset_fault(grain, offset, offset)
    inside = fault.depth < grain.web * (1 - 1e-9)
    assert fault.volume[inside] == pytest.approx(remaining_volume(grain, fault.depth[inside]), rel=1e-9)
    assert fault.burning_area[inside] == pytest.approx(burning_area(grain, fault.depth[inside]), rel=1e-9)
    assert fault.breakthrough == pytest.approx(grain.breakthrough, rel=1e-12)


@pytest.mark.parametrize("offsets", [(0.0, 0.003), (-0.002, 0.002), (0.001, 0.004)])
def test_tilted_core_by_integrating_along_the_length(offsets: tuple[float, float]) -> None:
    """scipy's adaptive quadrature over the slices, with the parts that the ends burned away left out."""
    grain = Grain(0.04, 0.016, 0.07, 0.1)
    fault = core_offset_fault(grain, *offsets)
    for i in (0, 60, 120, 180):
        x = fault.depth[i]

        def slice_area(z: float, x: float = x) -> float:
            e = abs(offsets[0] + (offsets[1] - offsets[0]) * z / 0.07)
            return float(cross_section(R, 0.008 + x, e)[0])

        whole, _ = quad(slice_area, x, 0.07 - x, points=[0.035], limit=200)
        assert fault.volume[i] == pytest.approx(whole, rel=2e-4)


@pytest.mark.parametrize("offsets", [(0.0, 0.003), (-0.002, 0.002)])
def test_tilted_core_conserves_volume(offsets: tuple[float, float]) -> None:
    grain = Grain(0.04, 0.016, 0.07, 0.1)
    fault = core_offset_fault(grain, *offsets, samples=20001)
    assert fault.volume[0] == pytest.approx(grain.volume, rel=1e-12)  # a tilted core drills the same volume
    assert fault.volume[-1] == pytest.approx(0.0, abs=1e-12)
    assert np.trapezoid(fault.burning_area, fault.depth) == pytest.approx(grain.volume, rel=1e-4)


def test_tilted_core_breaks_through_where_the_wall_is_thinnest_and_still_there() -> None:
    """Ends inhibited: at the end, R - r - e. Both burning: at z = L - x, so x = (R - r - e) / (1 - e/L) by hand."""
    e, length = 0.003, 0.07
    closed = core_offset_fault(Grain(0.04, 0.016, length, 0.1, burns_end_a=False, burns_end_b=False), 0.0, e)
    assert closed.breakthrough == pytest.approx(0.012 - e, abs=e / 500)
    open_ends = core_offset_fault(Grain(0.04, 0.016, length, 0.1), 0.0, e)
    assert open_ends.breakthrough == pytest.approx((0.012 - e) / (1 - e / length), abs=3e-4)
    assert (closed.wall_bared[closed.depth < closed.breakthrough] == 0).all()
    assert closed.wall_bared[-1] == pytest.approx(1.0, abs=1e-6)


def test_a_fault_burns_longer_and_less_after_breaking_through() -> None:
    grain = Grain(0.04, 0.016, 0.07, 0.1, burns_end_a=False, burns_end_b=False)
    fault = core_offset_fault(grain, 0.002, 0.004)
    before, after = fault.depth < fault.breakthrough, fault.depth > fault.intended_web
    assert fault.burning_area[before] == pytest.approx(fault.intended_area[before], rel=1e-12)
    assert (fault.intended_area[after] == 0).all()
    assert (fault.burning_area[after][:-1] > 0).all()
    assert 0 < fault.sliver_volume < grain.volume


# --- What is refused ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: burn_back(0.04, round_core(0.04)), "core"),
        (lambda: burn_back(0.04, round_core(0.016, 0.013)), "core"),
        (lambda: burn_back(0.04, slot_core(0.006, 0.05)), "core"),
        (lambda: burn_back(0.04, star_core(5, 0.041, 0.01)), "core"),
        (lambda: burn_back(0.04, round_core(1e-5)), "core"),
        (lambda: burn_back(float("nan"), round_core(0.01)), "outer_d"),
        (lambda: burn_back(0.04, round_core(0.01), cells=3), "cells"),
        (lambda: polygon_core([(0, 0), (1, 1)]), "corners"),
        (lambda: polygon_core([(0, 0), (0.01, 0.01), (0.02, 0.02)]), "corners"),
        (lambda: burn_back(0.04, round_core(0.02)).area(-1e-3), "x"),
        (lambda: core_offset_fault(Grain(0.04, 0.016, 0.07, 0.1), 0.0, 0.012), "offset_b"),
        (lambda: core_offset_fault(Grain(0.04, 0.016, 0.07, 0.1, burns_core=False), 0.0, 0.0), "burns_core"),
    ],
)
def test_refused_with_the_field_and_the_way_out(make: Callable[[], object], field: str) -> None:
    with pytest.raises(CalcError) as caught:
        make()
    assert caught.value.field == field
    assert caught.value.remedy


def test_too_wide_is_a_fault_of_geometry() -> None:
    with pytest.raises(GeometryError):
        burn_back(0.04, round_core(0.05))
