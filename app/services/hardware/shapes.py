"""The geometry of a pattern's grains: their volume, and the grain that a calculation takes."""

import re
from typing import Protocol

from app.calc.base.errors import CalcError
from app.calc.grain.geometries import GEOMETRIES, Geometry
from app.calc.grain.geometry import AnyGrain
from app.errors import Refused
from app.models import GrainPattern


class Sized(Protocol):
    """What has the sizes that are measured of every grain: a grain, or a pattern as it is meant to be."""

    outer_d_m: float
    core_d_m: float
    length_m: float


def geometry_of(pattern: GrainPattern) -> Geometry:
    """The geometry of a pattern, with the pattern's own sizes."""
    return GEOMETRIES[pattern.geometry].of_sizes(pattern)


def check(pattern: GrainPattern) -> None:
    """Refuse a pattern whose geometry cannot be of its sizes.

    Raises
    ------
    Refused
        An own size of the geometry is missing or cannot be; beside its field.
    """
    geometry = GEOMETRIES[pattern.geometry]
    fields = {re.sub("_m$", "", name): name for name in geometry.own}
    for field, name in fields.items():
        if getattr(pattern, name) is None:
            raise Refused(f"A {geometry.name} has one: type it.", field=field)
    try:
        geometry_of(pattern).grain(
            pattern.outer_d_m, pattern.core_d_m, pattern.length_m, 1.0, burns_outer=pattern.burns_outer
        )
    except CalcError as error:
        raise Refused(error.words, field=error.field if error.field in fields else "core_d") from error


def volume(pattern: GrainPattern, sized: Sized | None = None) -> float:
    """Propellant of one grain of a pattern, as it is meant to be or as it was measured [m3]."""
    sizes = sized or pattern
    return geometry_of(pattern).volume(sizes.outer_d_m, sizes.core_d_m, sizes.length_m)


def grain(pattern: GrainPattern, sizes: Sized, mass: float) -> AnyGrain:
    """A grain of a pattern with its own mass [kg] and sizes, as a motor is built of it."""
    return geometry_of(pattern).grain(
        sizes.outer_d_m, sizes.core_d_m, sizes.length_m, mass, pattern.burning_ends, pattern.burns_outer
    )
