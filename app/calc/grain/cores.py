"""Port outlines of a cross-section, each as the exact distance to it: any polygon inside the grain."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from app.calc.base.constants import Floats, finite_array
from app.calc.base.errors import GeometryError


@dataclass(frozen=True)
class Core:
    """A port's outline: its name and the signed distance to it [m], negative inside, at points x, y [m]."""

    name: str
    distance: Callable[[Floats, Floats], Floats]
    touches_wall: bool = False


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
