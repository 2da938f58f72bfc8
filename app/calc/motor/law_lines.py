"""Burn laws of many motors as lines of ln r over ln P: looked up either way, motors on the last axis.

ln(P/r) rises with ln P throughout (n < 1), so each value of it belongs to one pressure: the one at which the motor is
steady.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from app.calc.base.constants import Floats
from app.calc.motor.arrays import Arrays

_HIGHEST = 40.0  # ln Pa that a steady pressure is told up to: far above any motor's


def _line(knots: Floats, values: Floats) -> NDArray[np.intp]:
    """Which line each value (..., M) lies on, by the knots (K, M) between them, as a place in tables (K + 1, M)."""
    motors = values.shape[-1]
    if motors == 1:  # one call instead of as many as there are knots
        return knots[:, 0].searchsorted(values)
    passed = np.zeros(values.shape, dtype=np.int8)
    for knot in knots:
        passed += values > knot
    place = np.multiply(passed, motors, dtype=np.intp)
    place += np.arange(motors)
    return place


@dataclass(frozen=True)
class Lines:
    """Of each motor's law: knots [ln Pa] (K, M), and slope n [-] and level [ln(m/s)] of each line (K + 1, M)."""

    knots: Floats
    slope: Floats
    level: Floats

    @classmethod
    def of(cls, a: Arrays) -> "Lines":
        """Read off the motors, temperature and extra burning area counted in."""
        knots, bends = a.law_knots.T, a.law_bends.T
        slope = np.empty((len(knots) + 1, len(a)))
        slope[0], slope[1:] = a.law_slope, bends
        level = np.empty_like(slope)
        level[0], level[1:] = a.law_level + np.log(a.rate_scale) - a.law_slope * a.law_origin, -bends * knots
        return cls(knots, slope.cumsum(axis=0), level.cumsum(axis=0))

    @cached_property
    def _goals(self) -> Floats:
        """ln(P/r) at the knots."""
        return (1 - self.slope[:-1]) * self.knots - self.level[:-1]

    def log_rate_at(self, y: Floats) -> tuple[Floats, Floats]:
        """ln r [ln(m/s)] and its slope n [-] at ln P, shape (..., M)."""
        place = _line(self.knots, y)
        n = self.slope.take(place)
        return self.level.take(place) + n * y, n

    def steady_at(self, goal: Floats) -> Floats:
        """ln P [ln Pa] at which ln(P/r) is `goal`, shape (..., M)."""
        place = _line(self._goals, goal)
        return np.minimum((goal + self.level.take(place)) / (1 - self.slope.take(place)), _HIGHEST)
