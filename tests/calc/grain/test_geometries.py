"""A geometry says one thing in two ways: the area of its core, and the outline that burns back."""

from dataclasses import dataclass
from math import pi, sin
from typing import TypedDict

import pytest

from app.calc.base.errors import GeometryError
from app.calc.grain.geometries import GEOMETRIES, HOLLOW_CYLINDER, Geometry
from tests.calc.grain.shapes import star_core


class Sizes(TypedDict):
    outer_d: float
    core_d: float
    length: float


SIZES: Sizes = {"outer_d": 0.04445, "core_d": 0.01905, "length": 0.0762}
STAR = Geometry(
    "star",
    port=lambda core_d, points, root_d_m: points / 4 * core_d * root_d_m * sin(pi / points),
    core=lambda core_d, points, root_d_m: star_core(points, core_d, root_d_m),
    own=("points", "root_d_m"),
)
"""Its area is that of so many kites: plane geometry."""


@dataclass
class Pattern:
    """Own sizes of every geometry."""

    points: int = 5
    root_d_m: float = 0.009


@pytest.mark.parametrize("geometry", [*GEOMETRIES.values(), STAR], ids=lambda one: one.name)
def test_the_grain_that_burns_has_the_volume_that_is_weighed(geometry: Geometry) -> None:
    """As near as a section's area is burned back: `calc/README.md` has the figures."""
    sized = geometry.of_sizes(Pattern())
    grain = sized.grain(**SIZES, mass=0.169)
    assert grain.volume == pytest.approx(sized.volume(**SIZES), rel=2e-4)
    assert grain.mass == 0.169


def test_a_star_goes_by_its_patterns_own_sizes() -> None:
    """By hand: five kites, 5/4·19.05·9·sin 36° = 126.0 mm²; seven, 7/4·19.05·7·sin(180°/7) = 101.3 mm²."""
    five, seven = STAR.of_sizes(Pattern()), STAR.of_sizes(Pattern(7, 0.007))
    assert five.port(0.01905) * 1e6 == pytest.approx(126.0, abs=0.1)
    assert seven.port(0.01905) * 1e6 == pytest.approx(101.3, abs=0.1)
    assert five.grain(**SIZES, mass=0.169).volume < seven.grain(**SIZES, mass=0.169).volume


def test_faces_are_those_that_are_left_bare() -> None:
    one_end = HOLLOW_CYLINDER.grain(**SIZES, mass=0.169, burning_ends=1)
    assert one_end.burning_ends == 1
    assert STAR.of_sizes(Pattern()).grain(**SIZES, mass=0.169, burning_ends=0, burns_outer=True).burns_outer
    with pytest.raises(GeometryError, match="as wide as the grain"):
        HOLLOW_CYLINDER.grain(0.04, 0.04, 0.08, 0.1)
