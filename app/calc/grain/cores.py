"""Port outlines of a cross-section, each as the exact distance to it: round, slot, star, D, any polygon.

Trade names vary; here a moon is a round core off centre, and a D is a grain with one flat burning face.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import pi, sqrt

import numpy as np
from numpy.typing import ArrayLike

from app.calc.base.constants import Floats, finite_array, positive
from app.calc.base.errors import GeometryError


@dataclass(frozen=True)
class Core:
    """A port's outline: its name and the signed distance to it [m], negative inside, at points x, y [m]."""

    name: str
    distance: Callable[[Floats, Floats], Floats]
    touches_wall: bool = False


def round_core(core_d: float, core_offset: float = 0.0) -> Core:
    """Make a round core: central for a hollow cylinder, off centre for a moon.

    Parameters
    ----------
    core_d : float
        Diameter [m].
    core_offset : float
        Distance of its axis from the grain's [m].

    Returns
    -------
    Core
        Distances [m].

    Raises
    ------
    OutOfRange, GeometryError
        Sizes that cannot be.

    Notes
    -----
    Whether it fits is checked by `burn_back`.

    References
    ----------
    Plane geometry.

    Examples
    --------
    >>> float(round_core(0.02, 0.005).distance(np.array(0.025), np.array(0.0)))
    0.01
    """
    positive("core_d", core_d, "Measure the core.")
    finite_array("core_offset", [core_offset])
    return Core("round", lambda x, y: np.hypot(x - core_offset, y) - core_d / 2)


def slot_core(width: float, length: float, core_offset: float = 0.0) -> Core:
    """Make a slot with round ends.

    Parameters
    ----------
    width, length : float
        Across and along the slot, its round ends included [m].
    core_offset : float
        Distance of its middle from the grain's axis, along the slot [m].

    Returns
    -------
    Core
        Distances [m].

    Raises
    ------
    OutOfRange, GeometryError
        Sizes that cannot be.

    Notes
    -----
    A slot cut in from the side is not covered: the slot must lie inside the grain.

    References
    ----------
    Distance to a line segment, plane geometry.

    Examples
    --------
    >>> round(float(slot_core(0.006, 0.02).distance(np.array(0.0), np.array(0.01))), 4)
    0.007
    """
    positive("width", width, "Measure the slot.")
    positive("length", length, "Measure the slot.")
    finite_array("core_offset", [core_offset])
    if length < width:
        raise GeometryError("length", "is less than the slot's width.", "Give the longer size as its length.")
    half = (length - width) / 2
    return Core("slot", lambda x, y: np.hypot(np.maximum(np.abs(x - core_offset) - half, 0.0), y) - width / 2)


def star_core(points: int, tip_d: float, root_d: float) -> Core:
    """Make a star with straight sides and sharp points.

    Parameters
    ----------
    points : int
        Number of points [-].
    tip_d, root_d : float
        Diameter of the circles through the points and through the corners between them [m].

    Returns
    -------
    Core
        Distances [m].

    Raises
    ------
    OutOfRange, GeometryError
        Fewer than three points, or roots outside the tips.

    Notes
    -----
    Corners that point into the propellant round off as they burn; those that point to the port stay sharp.

    References
    ----------
    Distance to a polygon, plane geometry.

    Examples
    --------
    >>> round(float(star_core(5, 0.03, 0.012).distance(np.array(0.02), np.array(0.0))), 4)
    0.005
    """
    positive("tip_d", tip_d, "Measure across the points.")
    positive("root_d", root_d, "Measure across the corners between the points.")
    if points < 3:
        raise GeometryError("points", f"a star of {points} points encloses nothing.", "Give three or more.")
    if root_d >= tip_d:
        raise GeometryError("root_d", "must be less than the diameter of the points.", "Check which is which.")
    angles = np.arange(2 * points) * pi / points
    radii = np.where(np.arange(2 * points) % 2 == 0, tip_d / 2, root_d / 2)
    corners = np.stack([radii * np.cos(angles), radii * np.sin(angles)], axis=1)
    return Core("star", lambda x, y: _polygon_distance(corners, x, y))


def polygon_core(corners: Sequence[tuple[float, float]]) -> Core:
    """Make a core from the corners of its outline.

    Parameters
    ----------
    corners : sequence of (float, float)
        x and y from the grain's axis, in order round the outline, the last joined to the first [m].

    Returns
    -------
    Core
        Distances [m].

    Raises
    ------
    CalcError, GeometryError
        Fewer than three corners, a number that is none, or an outline without area.

    Notes
    -----
    An outline that crosses itself is taken by the even-odd rule.

    References
    ----------
    Distance to a polygon, plane geometry.

    Examples
    --------
    >>> square = polygon_core([(-0.01, -0.01), (0.01, -0.01), (0.01, 0.01), (-0.01, 0.01)])
    >>> float(square.distance(np.array(0.0), np.array(0.0)))
    -0.01
    """
    points = finite_array("corners", corners)
    if points.ndim != 2 or points.shape[0] < 3 or points.shape[1] != 2:
        raise GeometryError("corners", "an outline needs three corners at least.", "Give x and y of each, in order.")
    x, y = points.T
    if abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1))) < 1e-12:
        raise GeometryError("corners", "the outline encloses nothing.", "Give its corners in order round it.")
    return Core("outline", lambda x, y: _polygon_distance(points, x, y))


def flat_core(outer_d: float, flat_offset: float) -> Core:
    """Make the port of a D grain: all that lies beyond a flat burning face.

    Parameters
    ----------
    outer_d : float
        Diameter of the grain [m].
    flat_offset : float
        Distance of the flat from the grain's axis; negative where less than half is propellant [m].

    Returns
    -------
    Core
        Distances [m].

    Raises
    ------
    OutOfRange, GeometryError
        A flat outside the grain.

    Notes
    -----
    The flat's edges lie on the wall, which is bared from the start. Past them the front is round.

    References
    ----------
    Distance to a line segment, plane geometry.

    Examples
    --------
    >>> round(float(flat_core(0.04, 0.005).distance(np.array(-0.005), np.array(0.0))), 4)
    0.01
    """
    positive("outer_d", outer_d, "Measure the grain.")
    if not abs(flat_offset) < outer_d / 2:
        raise GeometryError(
            "flat_offset", "the flat lies outside the grain.", "Give its distance from the grain's axis."
        )
    half = sqrt((outer_d / 2) ** 2 - flat_offset**2)

    def distance(x: Floats, y: Floats) -> Floats:
        beside = np.hypot(x - flat_offset, np.maximum(np.abs(y) - half, 0.0))
        return np.asarray(np.where(x > flat_offset, -beside, beside))

    return Core("D", distance, touches_wall=True)


def _polygon_distance(corners: Floats, x: ArrayLike, y: ArrayLike) -> Floats:
    """Signed distance to a closed polygon [m]: the nearest edge, negative where a ray crosses an odd number."""
    px, py = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    nearest = np.full(np.broadcast(px, py).shape, np.inf)
    inside = np.zeros(nearest.shape, dtype=bool)
    for (ax, ay), (bx, by) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        ex, ey = bx - ax, by - ay
        along = np.clip(((px - ax) * ex + (py - ay) * ey) / (ex * ex + ey * ey + 1e-300), 0.0, 1.0)
        nearest = np.minimum(nearest, np.hypot(px - ax - along * ex, py - ay - along * ey))
        if ay != by:
            inside ^= ((ay > py) != (by > py)) & (px < ax + (py - ay) * ex / ey)
    return np.asarray(np.where(inside, -nearest, nearest))
