"""A grain whose propellant over depth stands in a table: any section, or a core that no closed form covers.

Whoever knows a shape (`section.prism`, `core_offset.askew`) hands over volume and burning area at some depths. Between
them the volume is the cubic that has both, so the burning area is exactly minus its slope and the whole volume
burns, whatever the table. The march reads such grains as it reads `grain.Grain`.
"""

from dataclasses import dataclass
from functools import cached_property
from math import pi
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from app.calc.base.constants import Floats, finite_array, positive
from app.calc.base.errors import GeometryError


@dataclass(frozen=True, eq=False)
class ShapedGrain:
    """One grain by its table.

    Attributes
    ----------
    name : str
        What shape it is, in words.
    outer_d, length, mass : float
        Diameter of the propellant [m], length [m], mass without tube or liner [kg].
    burning_ends : int
        End faces that burn [-].
    depths, volumes, areas : ndarray
        Depths from zero to the web [m], propellant left [m3] and burning area [m2] there, shape (K,).
    breakthrough : float
        Depth at which the flame first reaches the wall [m]; the web where it never does before.
    burns_outer : bool
        Whether the outside burns as well.

    Raises
    ------
    OutOfRange, GeometryError
        A size that is not positive, or a table that does not begin at zero, rise and end at nothing left.

    Notes
    -----
    The same regression at every face; no erosive burning.

    References
    ----------
    Cubic Hermite interpolation.
    """

    name: str
    outer_d: float
    length: float
    mass: float
    burning_ends: int
    depths: Floats
    volumes: Floats
    areas: Floats
    breakthrough: float
    burns_outer: bool = False

    def __post_init__(self) -> None:
        positive("outer_d", self.outer_d, "Measure the propellant's diameter.")
        positive("length", self.length, "Measure the grain's length.")
        positive("mass", self.mass, "Weigh the grain and take off its tube.")
        depths, volumes, areas = (finite_array(name, getattr(self, name)) for name in ("depths", "volumes", "areas"))
        if depths.ndim != 1 or depths.size < 2 or not depths.size == volumes.size == areas.size:
            raise GeometryError("depths", "need volume and area at each of two depths or more.", "Check the table.")
        if depths[0] != 0 or (np.diff(depths) <= 0).any():
            raise GeometryError("depths", "must begin at zero and rise.", "Sort the table by depth.")
        if volumes[-1] != 0 or (np.diff(volumes) > 0).any() or (areas < 0).any():
            raise GeometryError("volumes", "must fall until nothing is left.", "Check the table.")
        if not 0 <= self.breakthrough <= self.web:
            raise GeometryError("breakthrough", "lies outside the table.", "Give a depth between zero and the web.")

    @property
    def web(self) -> float:
        """Depth at which the last of it is gone [m]."""
        return float(self.depths[-1])

    @property
    def volume(self) -> float:
        """Propellant volume before firing [m3]."""
        return float(self.volumes[0])

    @property
    def density(self) -> float:
        """Mass over volume [kg/m3]."""
        return self.mass / self.volume

    @property
    def port(self) -> float:
        """Mean area open to the gas inside the outer circle before firing [m2]."""
        return pi / 4 * self.outer_d**2 - self.volume / self.length

    @cached_property
    def _left(self) -> Any:
        from scipy.interpolate import CubicHermiteSpline  # here: few motors need it, and it takes time to load

        return CubicHermiteSpline(self.depths, self.volumes, -self.areas)

    @cached_property
    def _slope(self) -> Any:
        return self._left.derivative()

    def remaining_volume(self, x: ArrayLike) -> Floats:
        """Propellant left at depth x [m3]; shape of x [m]; zero from the web on."""
        depth = np.asarray(x, dtype=np.float64)
        return np.where(depth < self.web, self._left(np.minimum(depth, self.web)), 0.0)

    def burning_area(self, x: ArrayLike) -> Floats:
        """Burning area at depth x [m2], minus the volume's slope; shape of x [m]; zero from the web on."""
        depth = np.asarray(x, dtype=np.float64)
        return np.where(depth < self.web, -self._slope(np.minimum(depth, self.web)), 0.0)

    def port_area(self, x: ArrayLike) -> Floats:
        """Mean area open to the gas inside the outer circle at depth x [m2]; shape of x [m]."""
        depth = np.minimum(x, self.web)
        length = np.maximum(self.length - self.burning_ends * depth, 1e-9)
        return np.asarray(pi / 4 * self.outer_d**2 - self.remaining_volume(depth) / length)
