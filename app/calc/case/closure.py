"""What holds a closure in its case: ring in a groove, bolts or pins through the wall, and the wall between them.

Each way to fail has an area, a strength and so a pressure at which the closure's thrust reaches it.
"""

from dataclasses import dataclass
from math import pi

from app.calc.base.areas import ring_area
from app.calc.base.constants import positive
from app.calc.base.errors import GeometryError
from app.calc.case.casing import SHEAR_SHARE


@dataclass(frozen=True)
class Mode:
    """One way for a closure to let go: its words, area [m2], strength [Pa] and the chamber pressure for it [Pa]."""

    words: str
    area: float
    strength: float
    pressure: float


@dataclass(frozen=True)
class Retention:
    """All ways for a closure to let go, the weakest first."""

    modes: tuple[Mode, ...]

    @property
    def weakest(self) -> Mode:
        """The way that needs the least pressure."""
        return self.modes[0]


def _modes(bore_d: float, parts: list[tuple[str, float, float]]) -> Retention:
    face = ring_area(bore_d)
    modes = [Mode(words, area, strength, area * strength / face) for words, area, strength in parts]
    return Retention(tuple(sorted(modes, key=lambda mode: mode.pressure)))


def ring_retention(
    bore_d: float,
    outer_d: float,
    groove_d: float,
    land: float,
    ring_thickness: float,
    wall_yield: float,
    ring_yield: float,
) -> Retention:
    """Give the pressures at which a ring in an inner groove lets a closure go.

    Parameters
    ----------
    bore_d, outer_d, groove_d : float
        Inner and outer diameter of the case and of the groove's bottom [m].
    land : float
        Length of wall between the groove and the case's end [m].
    ring_thickness : float
        Along the case [m].
    wall_yield, ring_yield : float
        Least yield strength in tension [Pa].

    Returns
    -------
    Retention
        Shear of land and ring, bearing on the groove's side, tension of the wall at the groove [m2], [Pa].

    Raises
    ------
    OutOfRange, GeometryError
        Sizes that are not positive or contradict each other.

    Notes
    -----
    Yield, not rupture; no factor is in it. Bending of a loose ring is not: it needs a snug fit in its groove.

    References
    ----------
    Direct shear, bearing and net tension, as in Shigley's Mechanical Engineering Design; shear yield by von Mises.

    Examples
    --------
    >>> held = ring_retention(0.05, 0.056, 0.053, 0.006, 0.0016, 240e6, 1000e6)
    >>> held.weakest.words, round(held.weakest.pressure / 1e6)
    ('groove crushed', 30)
    """
    for name, value in (("land", land), ("ring_thickness", ring_thickness), ("wall_yield", wall_yield)):
        positive(name, value, "Measure it.")
    positive("ring_yield", ring_yield, "Give the ring's yield strength.")
    if not 0 < bore_d < groove_d < outer_d:
        raise GeometryError("groove_d", "must lie between bore and outside of the case.", "Measure the groove.")
    bearing = ring_area(groove_d, bore_d)
    return _modes(
        bore_d,
        [
            ("wall sheared off behind the groove", pi * groove_d * land, SHEAR_SHARE * wall_yield),
            ("ring sheared", pi * bore_d * ring_thickness, SHEAR_SHARE * ring_yield),
            ("groove crushed", bearing, min(wall_yield, ring_yield)),
            ("wall torn in tension at the groove", ring_area(outer_d, groove_d), wall_yield),
        ],
    )


def bolt_retention(
    bore_d: float,
    outer_d: float,
    count: int,
    hole_d: float,
    shank_d: float,
    edge: float,
    wall_yield: float,
    bolt_yield: float,
) -> Retention:
    """Give the pressures at which radial bolts or pins let a closure go.

    Parameters
    ----------
    bore_d, outer_d : float
        Of the case [m].
    count : int
        Number of bolts round the case [-].
    hole_d, shank_d : float
        Of the hole, and of the bolt where it is sheared (root of the thread if threaded there) [m].
    edge : float
        From a hole's centre to the case's end [m].
    wall_yield, bolt_yield : float
        Least yield strength in tension [Pa].

    Returns
    -------
    Retention
        Shear of bolts, bearing in the wall, tear-out to the end, tension of the wall net of holes [m2], [Pa].

    Raises
    ------
    OutOfRange, GeometryError
        Sizes that are not positive or holes that meet.

    Notes
    -----
    Load shared alike; single shear; yield without a factor. Edges below two hole diameters are poor practice.

    References
    ----------
    Direct shear, bearing and net section, as in Shigley's Mechanical Engineering Design; shear yield by von Mises.

    Examples
    --------
    >>> held = bolt_retention(0.05, 0.056, 8, 0.005, 0.0042, 0.012, 240e6, 640e6)
    >>> held.weakest.words, round(held.weakest.pressure / 1e6, 1)
    ('holes crushed', 12.3)
    """
    for name, value in (("hole_d", hole_d), ("shank_d", shank_d), ("edge", edge), ("bore_d", bore_d)):
        positive(name, value, "Measure it.")
    positive("wall_yield", wall_yield, "Give the wall's yield strength.")
    positive("bolt_yield", bolt_yield, "Give the bolts' yield strength.")
    if count < 1:
        raise GeometryError("count", "a closure needs at least one bolt.", "Count the bolts.")
    if outer_d <= bore_d:
        raise GeometryError("outer_d", "must be larger than the bore.", "Check which is which.")
    if shank_d > hole_d or edge <= hole_d / 2:
        raise GeometryError("hole_d", "does not fit the bolt or the edge.", "Measure hole, bolt and edge.")
    wall = (outer_d - bore_d) / 2
    around = pi * (outer_d + bore_d) / 2
    if count * hole_d >= around:
        raise GeometryError("count", "the holes would meet.", "Use fewer or smaller bolts.")
    return _modes(
        bore_d,
        [
            ("bolts sheared", count * ring_area(shank_d), SHEAR_SHARE * bolt_yield),
            ("holes crushed", count * shank_d * wall, wall_yield),
            ("wall torn out to its end", count * 2 * (edge - hole_d / 2) * wall, SHEAR_SHARE * wall_yield),
            ("wall torn in tension between holes", (around - count * hole_d) * wall, wall_yield),
        ],
    )
