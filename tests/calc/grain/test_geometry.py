"""Grain geometry against conservation of volume, closed forms and a count of points."""

from math import nan, pi
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from app.calc.base.errors import CalcError, GeometryError
from app.calc.grain.geometry import Grain, burning_area, cross_section, port_area, remaining_volume

FACES = st.fixed_dictionaries(
    {name: st.booleans() for name in ("burns_core", "burns_end_a", "burns_end_b", "burns_outer")}
).filter(lambda faces: any(faces.values()))
GRAINS = st.builds(
    lambda outer, share, slack, length, faces: Grain(
        outer, outer * share, length, 0.1, core_offset=slack * outer * (1 - share) / 2 * 0.95, **faces
    ),
    st.floats(0.02, 0.1),
    st.floats(0.1, 0.9),
    st.one_of(st.just(0.0), st.floats(0.01, 0.99)),
    st.floats(0.01, 0.3),
    FACES,
)


@given(GRAINS)
def test_volume_burned_is_the_grain_s_volume(grain: Grain) -> None:
    # the integral of burning area over depth is the volume: exact law, quadrature to 1e-6
    kinks = sorted({min(grain.breakthrough, grain.web), grain.web})
    total = start = 0.0
    for end in kinks:
        if end > start:
            # a square-root start at break-through: substitute to keep the quadrature exact
            width = end - start
            total += quad(
                lambda s, a=start, w=width: (
                    float(burning_area(grain, a + w * s * s * (3 - 2 * s))) * w * 6 * s * (1 - s)
                ),
                0,
                1,
                epsabs=1e-14,
                epsrel=1e-9,
                limit=200,
            )[0]
        start = end
    left = float(remaining_volume(grain, np.nextafter(grain.web, 0)))  # what ends at once when a grain parts
    assert total + left == pytest.approx(grain.volume, rel=1e-6)
    assert left <= 1e-6 * grain.volume


@given(GRAINS, st.floats(0.01, 0.98))
def test_area_is_minus_the_slope_of_volume(grain: Grain, part: float) -> None:
    x, h = part * grain.web, 1e-7 * grain.web
    if abs(x - grain.breakthrough) < 1e-3 * grain.web:
        return  # the area has a kink there
    slope = (float(remaining_volume(grain, x + h)) - float(remaining_volume(grain, x - h))) / (2 * h)
    assert -slope == pytest.approx(float(burning_area(grain, x)), rel=1e-3)


def test_both_ends_and_core_by_hand() -> None:
    grain = Grain(0.04445, 0.01905, 0.0762, 0.169)
    ends = 2 * pi / 4 * (0.04445**2 - 0.01905**2)
    assert float(burning_area(grain, 0.0)) == pytest.approx(pi * 0.01905 * 0.0762 + ends)
    assert grain.density == pytest.approx(0.169 / (pi / 4 * (0.04445**2 - 0.01905**2) * 0.0762))
    assert grain.web == pytest.approx(0.0127)
    assert float(port_area(grain, 0.0)) == pytest.approx(pi / 4 * 0.01905**2)
    assert float(remaining_volume(grain, grain.web)) == 0.0


def test_a_tube_burning_inside_and_out_keeps_its_area() -> None:
    tube = Grain(0.05, 0.02, 0.1, 0.2, True, False, False, True)
    x = np.linspace(0, 0.999 * tube.web, 20)
    assert burning_area(tube, x) == pytest.approx(float(burning_area(tube, 0.0)))


def test_short_grains_are_ended_by_their_faces() -> None:
    assert Grain(0.05, 0.01, 0.01, 0.02).web == pytest.approx(0.005)


def test_a_core_off_centre_breaks_through_first_on_one_side() -> None:
    grain = Grain(0.04, 0.02, 0.05, 0.08, True, False, False, core_offset=0.002)
    assert grain.breakthrough == pytest.approx(0.008)
    assert grain.web == pytest.approx(0.012)
    centred = Grain(0.04, 0.02, 0.05, 0.08, True, False, False)
    assert burning_area(grain, 0.007) == pytest.approx(float(burning_area(centred, 0.007)))
    assert float(burning_area(grain, 0.0095)) < float(burning_area(centred, 0.0095))


@pytest.mark.parametrize(("outer", "port", "offset"), [(1.0, 0.5, 0.3), (1.0, 0.9, 0.4), (1.0, 1.2, 0.5)])
def test_crescent_area_by_counting_points(outer: float, port: float, offset: float) -> None:
    # a grid of points inside one circle and outside the other: an outside count, good to 0.1 %
    n = 2000
    axis = (np.arange(n) + 0.5) / n * 2 * outer - outer
    x, y = np.meshgrid(axis, axis)
    inside = (x**2 + y**2 < outer**2) & ((x - offset) ** 2 + y**2 > port**2)
    area, _, _ = cross_section(outer, port, offset)
    assert float(area) == pytest.approx(inside.sum() * (2 * outer / n) ** 2, abs=2e-3)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"core_d": 0.05}, "core_d"),
        ({"core_d": 0.06}, "core_d"),
        ({"core_d": -0.01}, "core_d"),
        ({"core_d": 0.0}, "core_d"),
        ({"outer_d": nan}, "outer_d"),
        ({"length": -1.0}, "length"),
        ({"mass": 0.0}, "mass"),
        ({"core_offset": 0.02}, "core_offset"),
        ({"burns_core": False, "burns_end_a": False, "burns_end_b": False}, "burns_core"),
    ],
)
def test_what_cannot_be_is_refused_by_name(changes: dict[str, Any], field: str) -> None:
    with pytest.raises(CalcError) as caught:
        Grain(**({"outer_d": 0.05, "core_d": 0.02, "length": 0.1, "mass": 0.2} | changes))
    assert caught.value.field == field


def test_a_negative_depth_is_refused() -> None:
    with pytest.raises(GeometryError, match="negative"):
        burning_area(Grain(0.05, 0.02, 0.1, 0.2), -0.001)
