"""Where a wished motor flies: rocket, pad, ceiling, the field's edges, and what is asked of a flight there."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from math import atan2, cos, hypot, inf, pi, sin

import numpy as np

from app.calc.base.constants import within
from app.calc.base.errors import CalcError
from app.calc.flight.launch import Pad, Rocket
from app.calc.flight.wind import GUST_FACTOR, LARGEST_ANGLE, STRONGEST

LEAST_RAIL_SPEED = 13.0
"""Speed off the rail that is asked for [m/s]: a rule of thumb, common practice, no source."""

DELAY_OFF = 2.0
"""How far an ejection delay may lie from the ideal one [s]: half of what opens at 20 m/s."""

KEPT = 0.90
"""Share of drawn flights that must stay below the ceiling and land in the field [-]."""


@dataclass(frozen=True)
class Launch:
    """A rocket and a field, and what a flight there must keep.

    Attributes
    ----------
    rocket, pad : Rocket, Pad
        Single numbers; the rocket's dry mass is without the case, where cases bring their own [SI].
    windy : bool
        Whether a wind is known; without one landing is not judged.
    gust : float or None
        The strongest of some minutes [m/s]; a usual factor on the wind if left out.
    ceiling : float or None
        Above the field [m].
    edges : tuple of float or None
        From the pad to the edge of the field against the wind, and with it [m].
    nearest_edge : float or None
        From the pad to the edge anywhere [m]: as far as persons can stand away.
    distances : dict of str to float
        Least distance of persons by impulse class [m].
    delays : tuple of float or None
        Ejection delays that can be made [s]; None where the motor's charge opens nothing.
    least_speed, largest_angle : float
        Off the rail, at least [m/s]; of the air that meets the rocket in the gust there, at most [rad].
    wish : tuple of float or None
        Lowest and highest height wished [m].
    """

    rocket: Rocket
    pad: Pad
    windy: bool = True
    gust: float | None = None
    ceiling: float | None = None
    edges: tuple[float, float] | None = None
    nearest_edge: float | None = None
    distances: dict[str, float] = field(default_factory=dict)
    delays: tuple[float, ...] | None = None
    least_speed: float = LEAST_RAIL_SPEED
    largest_angle: float = LARGEST_ANGLE
    wish: tuple[float, float] | None = None

    @property
    def still_pad(self) -> Pad:
        """The pad, without a wind where none is known."""
        return self.pad if self.windy else replace(self.pad, wind=0.0)

    @property
    def flown(self) -> tuple[Rocket, Pad]:
        """What is flown, and from where."""
        return self.rocket, self.still_pad

    @property
    def blows(self) -> float:
        """The mean wind [m/s]."""
        return float(np.asarray(self.still_pad.wind))

    @property
    def gusts(self) -> float:
        """The gust [m/s]."""
        return self.gust if self.gust is not None else min(GUST_FACTOR * self.blows, STRONGEST)


Outline = Sequence[tuple[float, float]]


def edges_along(outline: Outline, towards: float | None) -> tuple[float, float]:
    """Give how far it is from the pad to the edge of a field against the wind and with it.

    Parameters
    ----------
    outline : sequence of (float, float)
        Corners in order round the field, east and north of the pad [m].
    towards : float or None
        Bearing from north that the wind blows to [rad]; None where it is not known.

    Returns
    -------
    tuple of float
        Against the wind, and with it [m]; the nearest edge for both where the wind's direction is not known.

    Raises
    ------
    CalcError
        Fewer than three corners, an outline that crosses itself by hardly being one, or a pad that is not inside.

    Notes
    -----
    To the first edge that is met: what lies behind a dent in the outline does not count.

    References
    ----------
    Plane geometry.

    Examples
    --------
    >>> square = [(-100.0, -100.0), (300.0, -100.0), (300.0, 100.0), (-100.0, 100.0)]
    >>> [round(edge) for edge in edges_along(square, pi / 2)], edges_along(square, None)
    ([100, 300], (100.0, 100.0))
    """
    _around(outline)
    if towards is None:
        near = nearest_edge(outline)
        return near, near
    within("towards", towards, -4 * pi, 4 * pi, "Give a bearing from north.")
    return _ray(outline, towards + pi), _ray(outline, towards)


def nearest_edge(outline: Outline) -> float:
    """Give how far it is from the pad to the nearest edge of a field.

    Parameters
    ----------
    outline : sequence of (float, float)
        As in `edges_along` [m].

    Returns
    -------
    float
        [m]

    Raises
    ------
    CalcError
        As `edges_along`.

    Notes
    -----
    Of a pad inside the outline.

    References
    ----------
    Plane geometry: distance of a point from a stretch.

    Examples
    --------
    >>> nearest_edge([(-100.0, -80.0), (300.0, -80.0), (300.0, 100.0), (-100.0, 100.0)])
    80.0
    """
    _around(outline)
    found = inf
    for (ax, ay), (bx, by) in _sides(outline):
        dx, dy = bx - ax, by - ay
        long = dx**2 + dy**2
        share = 0.0 if long == 0 else min(max(-(ax * dx + ay * dy) / long, 0.0), 1.0)
        found = min(found, hypot(ax + share * dx, ay + share * dy))
    return found


def _sides(outline: Outline) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    return list(zip(outline, [*outline[1:], outline[0]], strict=True))


def _around(outline: Outline) -> None:
    """Refuse an outline that does not go once round the pad."""
    if len(outline) < 3:
        raise CalcError("outline", "needs three corners or more.", "Give the corners in order round the field.")
    turn = 0.0
    for (ax, ay), (bx, by) in _sides(outline):
        turn += atan2(ax * by - ay * bx, ax * bx + ay * by)
    if abs(abs(turn) - 2 * pi) > 1e-6:
        raise CalcError(
            "outline", "does not go once round the pad.", "Give corners from the pad at (0, 0), in order round it."
        )


def _ray(outline: Outline, bearing: float) -> float:
    """To the first edge in a direction [m]."""
    ex, ey = sin(bearing), cos(bearing)
    met = []
    for (ax, ay), (bx, by) in _sides(outline):
        dx, dy = bx - ax, by - ay
        across = ex * dy - ey * dx
        if abs(across) < 1e-12 * hypot(dx, dy):
            continue
        reach, share = (ax * dy - ay * dx) / across, (ax * ey - ay * ex) / across
        if reach > 0 and -1e-9 <= share <= 1 + 1e-9:
            met.append(reach)
    return min(met)
