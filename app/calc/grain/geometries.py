"""The geometries that grains are cast in: an entry in `GEOMETRIES` is what form, scale, prediction and record go by.

Each has an outer diameter, a length, and a diameter of its core: of the circle round it where it is not round. These
three are measured of every grain. What else shapes a core are the geometry's own sizes, which belong to the pattern.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

from app.calc.base.areas import ring_area
from app.calc.grain.cores import Core
from app.calc.grain.geometry import AnyGrain, Grain
from app.calc.grain.section import burn_back, prism


@dataclass(frozen=True)
class Geometry:
    """A kind of grain by its cross-section.

    Attributes
    ----------
    name : str
        What it is called, and stored as.
    port : callable
        Area of the core [m2] by its diameter [m] and the own sizes.
    core : callable or None
        Its outline by the same; None for a round one on the axis, which burns in closed form.
    own : tuple of str
        Names of the own sizes, as `core` and a pattern's columns have them.
    """

    name: str
    port: Callable[..., float]
    core: Callable[..., Core] | None = None
    own: tuple[str, ...] = ()

    def of_sizes(self, sizes: object) -> "Geometry":
        """The geometry with its own sizes as a pattern has them."""
        known = {name: getattr(sizes, name) for name in self.own}
        return replace(self, own=(), port=partial(self.port, **known), core=self.core and partial(self.core, **known))

    def section(self, outer_d: float, core_d: float) -> float:
        """Propellant across a grain [m2] by its diameters [m]."""
        return ring_area(outer_d) - self.port(core_d)

    def volume(self, outer_d: float, core_d: float, length: float) -> float:
        """Propellant of a grain [m3] by its sizes [m]."""
        return self.section(outer_d, core_d) * length

    def grain(
        self,
        outer_d: float,
        core_d: float,
        length: float,
        mass: float,
        burning_ends: int = 2,
        burns_outer: bool = False,
    ) -> AnyGrain:
        """A grain of these sizes [m] and mass [kg] that a motor can be built of; `GeometryError` where it cannot be."""
        if self.core is not None:
            return prism(burn_back(outer_d, self.core(core_d), burns_outer), length, mass, burning_ends)
        return Grain(
            outer_d=outer_d,
            core_d=core_d,
            length=length,
            mass=mass,
            burns_end_a=burning_ends >= 1,
            burns_end_b=burning_ends == 2,
            burns_outer=burns_outer,
        )


HOLLOW_CYLINDER = Geometry("hollow cylinder", port=ring_area)

GEOMETRIES = {geometry.name: geometry for geometry in (HOLLOW_CYLINDER,)}
"""Every geometry by its name."""
