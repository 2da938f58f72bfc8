"""Geometry of a hollow cylindrical grain as it burns back: area, volume, port and web.

Every burning face moves inwards along its normal by the same depth x. The core may stand off the axis: then it
reaches the wall on one side first, and a crescent is left that burns on. All of it is closed form, and
dV/dx = -A holds exactly.
"""

from dataclasses import dataclass
from math import inf, pi

import numpy as np
from numpy.typing import ArrayLike

from app.calc.base.areas import ring_area
from app.calc.base.constants import Floats, finite_array, positive
from app.calc.base.errors import GeometryError
from app.calc.base.notes import Amount, Note
from app.calc.grain.tabulated_grain import ShapedGrain

_TINY = 1e-12


@dataclass(frozen=True)
class Grain:
    """One grain as measured.

    Attributes
    ----------
    outer_d, core_d, length : float
        Diameter of the propellant, of the core (0 for none) and length [m].
    mass : float
        Propellant mass, without tube or liner [kg].
    burns_core, burns_end_a, burns_end_b, burns_outer : bool
        Which faces are not inhibited.
    core_offset : float
        Distance of the core's axis from the grain's axis, parallel to it [m].

    Raises
    ------
    OutOfRange, GeometryError
        Sizes that are not positive or contradict each other, or nothing that burns.

    Notes
    -----
    Any size; the regression is the same at every face and along the grain (no erosive burning).

    References
    ----------
    Plane geometry; Sutton & Biblarz, Rocket Propulsion Elements, on grain configuration.

    Examples
    --------
    >>> grain = Grain(outer_d=0.04445, core_d=0.01905, length=0.0762, mass=0.169)
    >>> round(grain.density), round(grain.web * 1e3, 2)
    (1751, 12.7)
    """

    outer_d: float
    core_d: float
    length: float
    mass: float
    burns_core: bool = True
    burns_end_a: bool = True
    burns_end_b: bool = True
    burns_outer: bool = False
    core_offset: float = 0.0

    def __post_init__(self) -> None:
        positive("outer_d", self.outer_d, "Measure the propellant's diameter.")
        positive("length", self.length, "Measure the grain's length.")
        positive("mass", self.mass, "Weigh the grain and take off its tube.")
        finite_array("core_d", [self.core_d, self.core_offset])
        if self.core_d < 0 or (self.core_d == 0 and self.burns_core):
            raise GeometryError("core_d", "a burning core needs a diameter above zero.", "Measure the core.")
        if self.core_d >= self.outer_d:
            raise GeometryError(
                "core_d",
                Note(
                    "the core ({core}) is as wide as the grain ({grain}).",
                    {"core": Amount(self.core_d, "length"), "grain": Amount(self.outer_d, "length")},
                ),
                "Give a core narrower than the grain.",
            )
        if self.core_offset < 0 or self.core_d / 2 + self.core_offset >= self.outer_d / 2:
            raise GeometryError(
                "core_offset", "the core would break through the side.", "Give the distance between the two axes."
            )
        if not np.isfinite(self.web):
            raise GeometryError("burns_core", "no face of the grain burns.", "Leave at least one face bare.")

    @property
    def burning_ends(self) -> int:
        """Number of end faces that burn [-]."""
        return int(self.burns_end_a) + int(self.burns_end_b)

    @property
    def volume(self) -> float:
        """Propellant volume before firing [m3]."""
        return ring_area(self.outer_d, self.core_d) * self.length

    @property
    def density(self) -> float:
        """Mass over volume [kg/m3]."""
        return self.mass / self.volume

    @property
    def port(self) -> float:
        """Area of the core before firing [m2]."""
        return ring_area(self.core_d)

    @property
    def web(self) -> float:
        """Depth at which the last of the grain is gone [m]."""
        sides = int(self.burns_core) + int(self.burns_outer)
        radial = (self.outer_d / 2 + self.core_offset - self.core_d / 2) / sides if sides else inf
        axial = self.length / self.burning_ends if self.burning_ends else inf
        return min(radial, axial)

    @property
    def breakthrough(self) -> float:
        """Depth at which the core first reaches the outer surface [m]; the web itself if the core is central."""
        sides = int(self.burns_core) + int(self.burns_outer)
        if not sides:
            return self.web
        return min(self.web, (self.outer_d / 2 - self.core_offset - self.core_d / 2) / sides)


AnyGrain = Grain | ShapedGrain
"""A grain in closed form, or one that stands in a table: the functions below take both."""


def cross_section(outer_r: ArrayLike, port_r: ArrayLike, offset: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Give the propellant left between an outer circle and a port circle that may stand off its axis.

    Parameters
    ----------
    outer_r, port_r, offset : array_like
        Radius of the outer circle, of the port, and distance of their centres [m]; shapes that broadcast.

    Returns
    -------
    area, port_arc, outer_arc : tuple of ndarray
        Area of propellant [m2], length of the port's edge that lies in propellant and of the outer circle's
        that does [m].

    Raises
    ------
    CalcError
        Nothing is checked here: sizes come from a `Grain`.

    Notes
    -----
    Zero once the port covers the outer circle. Derivatives: dA/d(port_r) = -port_arc, dA/d(outer_r) = outer_arc.

    References
    ----------
    Area common to two circles, plane geometry.

    Examples
    --------
    >>> area, port, outer = cross_section(2.0, 1.0, 0.0)
    >>> round(float(area / np.pi), 6), round(float(port / np.pi), 6)
    (3.0, 2.0)
    """
    R = np.maximum(outer_r, 0.0)
    rho = np.asarray(port_r, dtype=np.float64)
    e = np.asarray(offset, dtype=np.float64)
    if not e.any():  # concentric: the usual case, and much cheaper
        left = rho < R
        area = np.where(left, pi * (R**2 - rho**2), 0.0)
        return area, np.where(left, 2 * pi * rho, 0.0), np.where(left, 2 * pi * R, 0.0)
    e = np.maximum(e, _TINY)
    # half angles of the arcs, seen from the port's and the outer circle's centre
    at_port = np.arccos(np.clip((rho**2 + e**2 - R**2) / (2 * e * np.maximum(rho, _TINY)), -1.0, 1.0))
    at_outer = np.arccos(np.clip((R**2 + e**2 - rho**2) / (2 * e * np.maximum(R, _TINY)), -1.0, 1.0))
    shared = rho**2 * (at_port - np.sin(2 * at_port) / 2) + R**2 * (at_outer - np.sin(2 * at_outer) / 2)
    area = np.maximum(pi * R**2 - shared, 0.0)
    return area, 2 * rho * at_port, 2 * R * (pi - at_outer)


def _state(grain: Grain, x: ArrayLike) -> tuple[Floats, Floats, Floats, Floats]:
    """Cross-section [m2], burning edge [m], length [m] and whether anything is left [0/1] at depth x."""
    depth = finite_array("x", x)
    if (depth < 0).any():
        raise GeometryError("x", "the depth burned cannot be negative.", "Start at zero.")
    area, port_arc, outer_arc = cross_section(
        grain.outer_d / 2 - depth * grain.burns_outer, grain.core_d / 2 + depth * grain.burns_core, grain.core_offset
    )
    edge = port_arc * grain.burns_core + outer_arc * grain.burns_outer
    length = np.maximum(grain.length - depth * grain.burning_ends, 0.0)
    return area, edge, length, np.asarray(depth < grain.web, dtype=np.float64)


def burning_area(grain: AnyGrain, x: ArrayLike) -> Floats:
    """Give the burning area of a grain after each face has moved by x.

    Parameters
    ----------
    grain : Grain or ShapedGrain
        The grain.
    x : array_like
        Depth burned [m], any shape.

    Returns
    -------
    ndarray
        Area [m2], same shape; zero from the web on.

    Raises
    ------
    GeometryError
        A negative depth.

    Notes
    -----
    Equals minus the derivative of `remaining_volume`.

    References
    ----------
    Plane geometry.

    Examples
    --------
    >>> grain = Grain(0.04445, 0.01905, 0.0762, 0.169)
    >>> round(float(burning_area(grain, 0.0)) * 1e4, 2)
    70.94
    """
    if isinstance(grain, ShapedGrain):
        return grain.burning_area(x)
    area, edge, length, left = _state(grain, x)
    return np.asarray((edge * length + grain.burning_ends * area) * left)


def remaining_volume(grain: AnyGrain, x: ArrayLike) -> Floats:
    """Give the propellant volume left after each face has moved by x.

    Parameters
    ----------
    grain : Grain or ShapedGrain
        The grain.
    x : array_like
        Depth burned [m], any shape.

    Returns
    -------
    ndarray
        Volume [m3], same shape; zero from the web on.

    Raises
    ------
    GeometryError
        A negative depth.

    Notes
    -----
    At x = 0 it is `Grain.volume`.

    References
    ----------
    Plane geometry.

    Examples
    --------
    >>> grain = Grain(0.04445, 0.01905, 0.0762, 0.169)
    >>> round(float(remaining_volume(grain, 0.0)) * 1e6, 2)
    96.53
    """
    if isinstance(grain, ShapedGrain):
        return grain.remaining_volume(x)
    area, _, length, left = _state(grain, x)
    return np.asarray(area * length * left)


def port_area(grain: AnyGrain, x: ArrayLike) -> Floats:
    """Give the area open to the gas that flows past a grain, inside its original outer circle.

    Parameters
    ----------
    grain : Grain or ShapedGrain
        The grain.
    x : array_like
        Depth burned [m], any shape.

    Returns
    -------
    ndarray
        Area [m2], same shape.

    Raises
    ------
    GeometryError
        A negative depth.

    Notes
    -----
    Counts what has burned off the outside as well; the gap between grain and case is not counted.

    References
    ----------
    Plane geometry.

    Examples
    --------
    >>> grain = Grain(0.04445, 0.01905, 0.0762, 0.169)
    >>> round(float(port_area(grain, 0.0)) * 1e4, 3)
    2.85
    """
    if isinstance(grain, ShapedGrain):
        return grain.port_area(x)
    area, _, _, left = _state(grain, x)
    return np.asarray(pi / 4 * grain.outer_d**2 - area * left)
