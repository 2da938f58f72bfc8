"""Ports whose burning is known by plane geometry: round, slot, star and D, each as the exact distance to its outline.

Trade names vary; here a moon is a round core off centre, and a D is a grain with one flat burning face.
"""

from math import pi, sqrt

import numpy as np

from app.calc.base.constants import Floats
from app.calc.grain.cores import Core, polygon_core


def round_core(core_d: float, core_offset: float = 0.0) -> Core:
    """A round core [m]: central for a hollow cylinder, off centre for a moon."""
    return Core("round", lambda x, y: np.hypot(x - core_offset, y) - core_d / 2)


def slot_core(width: float, length: float, core_offset: float = 0.0) -> Core:
    """A slot with round ends [m], its middle off the axis along itself."""
    half = (length - width) / 2
    return Core("slot", lambda x, y: np.hypot(np.maximum(np.abs(x - core_offset) - half, 0.0), y) - width / 2)


def star_core(points: int, tip_d: float, root_d: float) -> Core:
    """A star with straight sides and sharp points, by the circles through its points and its inner corners [m]."""
    angles = np.arange(2 * points) * pi / points
    radii = np.where(np.arange(2 * points) % 2 == 0, tip_d / 2, root_d / 2)
    corners = [(float(x), float(y)) for x, y in zip(radii * np.cos(angles), radii * np.sin(angles), strict=True)]
    return Core("star", polygon_core(corners).distance)


def flat_core(outer_d: float, flat_offset: float) -> Core:
    """The port of a D grain [m]: all that lies beyond a flat burning face. Past the flat's edges the front is round."""
    half = sqrt((outer_d / 2) ** 2 - flat_offset**2)

    def distance(x: Floats, y: Floats) -> Floats:
        beside = np.hypot(x - flat_offset, np.maximum(np.abs(y) - half, 0.0))
        return np.asarray(np.where(x > flat_offset, -beside, beside))

    return Core("D", distance, touches_wall=True)
