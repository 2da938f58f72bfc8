"""A grain's cross-section burned back by distance, whatever the outline of its core.

What is left at depth x are the points farther than x from the port. Distances to the port's outline are exact
(`cores`); they are taken at the centres of a polar grid that fits the outer circle, and each cell's distances are
spread evenly over what its own gradient spans. That makes the area left a smooth function A(x), and the burning
edge is its slope, -dA/dx: area is conserved whatever the grid.

The outer circle is convex, so the straight way from a point to its nearest port lies in propellant, and distance
is the depth at which the point burns.
"""

from dataclasses import dataclass
from functools import cached_property
from math import pi
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from app.calc.base.constants import Floats, finite_array, positive
from app.calc.base.errors import GeometryError
from app.calc.grain.cores import Core
from app.calc.grain.tabulated_grain import ShapedGrain

CELLS = 192
"""Cells along a radius [-]: measured errors are in the calculations' README."""

_AROUND = 6  # cells around for each one along the radius: nearly square at the rim


@dataclass(frozen=True)
class Section:
    """A cross-section as it burns back.

    Attributes
    ----------
    outer_d : float
        Diameter of the grain [m].
    web : float
        Depth at which the last of it is gone [m].
    breakthrough : float
        Depth at which the front first reaches the wall [m]; the web itself where the outside burns too.
    depths, areas : ndarray
        Depths [m] and propellant left there [m2], shape (K,).
    wall_depths : ndarray
        Depth at which each of evenly spaced places on the wall is bared, sorted [m].
    name : str
        Of its core.
    burns_outer : bool
        Whether the outside burns as well.
    """

    outer_d: float
    web: float
    breakthrough: float
    depths: Floats
    areas: Floats
    wall_depths: Floats
    name: str = ""
    burns_outer: bool = False

    @cached_property
    def _left(self) -> Any:
        from scipy.interpolate import PchipInterpolator  # keeps A(x) falling throughout, with a slope everywhere

        return PchipInterpolator(self.depths, self.areas)

    @cached_property
    def _slope(self) -> Any:
        return self._left.derivative()

    def area(self, x: ArrayLike) -> Floats:
        """Propellant left at depth x [m2]; shape of x [m]."""
        return np.asarray(self._left(np.minimum(_depth(x), self.web)), dtype=np.float64)

    def perimeter(self, x: ArrayLike) -> Floats:
        """Burning edge at depth x, -dA/dx [m]; zero from the web on."""
        depth = _depth(x)
        return np.where(depth < self.web, -self._slope(np.minimum(depth, self.web)), 0.0)

    def port_area(self, x: ArrayLike) -> Floats:
        """Area open to the gas inside the outer circle at depth x [m2]."""
        return np.asarray(pi / 4 * self.outer_d**2 - self.area(x))

    def wall_bared(self, x: ArrayLike) -> Floats:
        """Share of the wall's circle that the flame has reached at depth x [-]."""
        return np.asarray(np.searchsorted(self.wall_depths, _depth(x), side="right") / self.wall_depths.size)


def _depth(x: ArrayLike) -> Floats:
    depth = finite_array("x", x)
    if (depth < 0).any():
        raise GeometryError("x", "the depth burned cannot be negative.", "Start at zero.")
    return depth


def burn_back(outer_d: float, core: Core, burns_outer: bool = False, cells: int = CELLS) -> Section:
    """Burn a cross-section back from its core.

    Parameters
    ----------
    outer_d : float
        Diameter of the grain [m].
    core : Core
        The port at the start.
    burns_outer : bool
        Whether the outside burns as well.
    cells : int
        Cells of the grid along a radius [-].

    Returns
    -------
    Section
        Area [m2] and burning edge [m] over depth [m].

    Raises
    ------
    OutOfRange, GeometryError
        A core that leaves the grain or fills it, or a grid too coarse to see it.

    Notes
    -----
    Errors fall with the cell's size squared for area and about with the size itself for the burning edge; where
    the edge jumps (a round core that reaches a round wall all at once) the jump is spread over two cells.
    The same regression at every face; no erosive burning.

    References
    ----------
    Front at constant normal speed (Huygens' construction); sharp corners: G. P. Sutton and O. Biblarz, Rocket
    Propulsion Elements, on grain configuration.

    Examples
    --------
    >>> from app.calc.grain.cores import polygon_core
    >>> section = burn_back(0.04, polygon_core([(-0.01, -0.01), (0.01, -0.01), (0.01, 0.01), (-0.01, 0.01)]))
    >>> round(section.web, 4), round(float(section.area(0.0)) / (np.pi / 4 * 0.04**2 - 0.02**2), 4)
    (0.01, 1.0)
    """
    positive("outer_d", outer_d, "Measure the propellant's diameter.")
    if cells < 16:
        raise GeometryError("cells", f"a grid of {cells} cells is too coarse.", f"Use {CELLS}.")
    R, around = outer_d / 2, _AROUND * cells
    dr, turn = R / cells, 2 * pi / around
    angle = (np.arange(around) + 0.5) * turn
    rim = np.arange(8 * around) * turn / 8
    on_wall = core.distance(R * np.cos(rim), R * np.sin(rim))
    if not core.touches_wall and float(on_wall.min()) <= 0:
        raise GeometryError(
            "core", f"the {core.name} core reaches the grain's outside.", "Make it smaller, or less off centre."
        )
    r = (np.arange(cells) + 0.5)[:, None] * dr
    distance = core.distance(r * np.cos(angle), r * np.sin(angle))
    if burns_outer:
        distance = np.minimum(distance, R - r)
        on_wall = np.zeros_like(on_wall)
    if float(distance.max()) <= 0 or not (distance < 0).any():
        what = "fills the grain" if float(distance.max()) <= 0 else "is too small for the grid"
        raise GeometryError("core", f"the {core.name} core {what}.", "Check its sizes, or use more cells.")
    web = float(max(distance.max(), on_wall.max()))
    depths = np.linspace(0.0, web, max(int(web / (2 * dr)), 8) + 1)
    spread = np.hypot(np.gradient(distance, axis=0), (np.roll(distance, -1, 1) - np.roll(distance, 1, 1)) / 2)
    weight = np.broadcast_to(r * dr * turn, distance.shape)
    burned = _covered(distance.ravel(), np.maximum(spread, 0.05 * dr).ravel(), weight.ravel(), depths)
    return Section(
        outer_d=outer_d,
        web=web,
        breakthrough=web if burns_outer else max(float(on_wall.min()), 0.0),
        depths=depths,
        areas=burned[-1] - burned,
        wall_depths=np.sort(on_wall),
        name=core.name,
        burns_outer=burns_outer,
    )


def _covered(distance: Floats, spread: Floats, weight: Floats, depths: Floats) -> Floats:
    """Area whose distance is below each depth: the sum of one straight ramp for each cell."""
    end = np.minimum(distance + spread / 2, depths[-1])
    start = np.minimum(distance, depths[-1]) - spread / 2
    steepness = weight / (end - start)
    total = np.zeros_like(depths)
    for sign, knots in ((1.0, start), (-1.0, end)):
        order = np.argsort(knots)
        slope = np.concatenate([[0.0], np.cumsum(steepness[order])])
        level = np.concatenate([[0.0], np.cumsum(steepness[order] * knots[order])])
        passed = np.searchsorted(knots[order], depths)
        total += sign * (slope[passed] * depths - level[passed])
    return total


def prism(section: Section, length: float, mass: float, burning_ends: int = 2) -> ShapedGrain:
    """Make a grain of this section that a motor can be built of.

    Parameters
    ----------
    section : Section
        Its cross-section, the same along its length.
    length, mass : float
        Before firing [m], [kg].
    burning_ends : int
        End faces that burn: 0, 1 or 2 [-].

    Returns
    -------
    ShapedGrain
        Volume [m3] and burning area [m2] at the section's own depths [m].

    Raises
    ------
    OutOfRange, GeometryError
        A size that is not positive.

    Notes
    -----
    As `burn_back`.

    References
    ----------
    Plane geometry.

    Examples
    --------
    >>> from app.calc.grain.cores import polygon_core
    >>> square = polygon_core([(-0.01, -0.01), (0.01, -0.01), (0.01, 0.01), (-0.01, 0.01)])
    >>> grain = prism(burn_back(0.04, square), 0.08, 0.16)
    >>> grain.name, round(grain.density)
    ('outline core', 2335)
    """
    positive("length", length, "Measure the grain's length.")
    web = min(section.web, length / burning_ends) if burning_ends else section.web
    depths = np.append(section.depths[section.depths < web * (1 - 1e-9)], web)
    left = length - burning_ends * depths
    edge = np.maximum(-section._slope(depths), 0.0)  # up to the last of it, where `perimeter` is nothing already
    volumes = section.area(depths) * left
    volumes[-1] = 0.0
    return ShapedGrain(
        name=f"{section.name} core",
        outer_d=section.outer_d,
        length=length,
        mass=mass,
        burning_ends=burning_ends,
        depths=depths,
        volumes=volumes,
        areas=edge * left + burning_ends * section.area(depths),
        breakthrough=min(section.breakthrough, web),
        burns_outer=section.burns_outer,
    )
