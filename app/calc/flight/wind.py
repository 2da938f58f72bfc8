"""Wind over open ground: stronger with height by a power law; and how it meets a rocket that leaves its rail."""

from dataclasses import dataclass
from math import cos, radians, sin

import numpy as np
from numpy.typing import ArrayLike

from app.calc.base.constants import Floats, finite_array, within

EXPONENT = 1 / 7
"""Of the power law over open ground [-]: Wind Energy Resource Atlas of the United States (1986), table 1-1."""

STEADY_ABOVE = 274.32
"""Height above which the wind is taken as steady [m]: gradient height of open terrain, ASCE 7-16, exposure C."""

STRONGEST = 80.0

GUST_FACTOR = 1.5
"""Gust over the mean where no gust is told [-]: an assumption, about what guides print for 3 s in a minute over open
ground (from memory)."""

CODES_WIND = 20 * 0.44704
"""Wind that clubs' codes commonly do not fly above [m/s], 20 mph: common practice, no source; see your own code."""

LARGEST_ANGLE = radians(20)
"""Of the air that meets a rocket off its rail [rad]. A rule of thumb, 15 to 20°, no source; here it also holds for the
gust, and 20° in a gust of 1.5 times the mean are 14° in the mean."""


def wind_at(height: ArrayLike, speed: ArrayLike, measured_at: float) -> Floats:
    """Wind at a height over open ground, from the wind measured at another.

    Parameters
    ----------
    height : array_like
        Above the ground [m]; nothing blows at or below it.
    speed : array_like
        Measured [m/s], shape as `height` or a number.
    measured_at : float
        Height of the measurement above the ground [m], 0.5 to 100.

    Returns
    -------
    ndarray
        Speed [m/s].

    Raises
    ------
    OutOfRange
        Measured too near the ground or too high, or faster than a storm.

    Notes
    -----
    A mean over some minutes over flat, open ground in a neutral layer: no gusts, no trees, no thermals, no change
    of direction with height. On calm nights the real exponent is larger, at noon in summer smaller. Steady above
    274 m.

    References
    ----------
    Power law with exponent 1/7: Wind Energy Resource Atlas of the United States, DOE/CH 10093-4 (1986), table 1-1.
    Gradient height 274.32 m: ASCE 7-16, exposure C (second hand).

    Examples
    --------
    >>> float(round(wind_at(50.0, 5.1, 10.0), 1))
    6.4
    """
    within("measured_at", measured_at, 0.5, 100, "Measure at head height or on a mast.", "altitude")
    blown = finite_array("speed", speed)
    if (blown < 0).any() or (blown > STRONGEST).any():
        within(
            "speed", float(blown.flat[int(np.argmax(np.abs(blown)))]), 0, STRONGEST, "Check the wind speed.", "speed"
        )
    found: Floats = blown * shear(finite_array("height", height), measured_at)
    return found


def shear(height: Floats, measured_at: float) -> Floats:
    """Wind at heights over the wind at the height of its measurement.

    Parameters
    ----------
    height : ndarray
        Above the ground [m].
    measured_at : float
        [m]

    Returns
    -------
    ndarray
        Ratio [-].

    Notes
    -----
    Unchecked: the inside of `wind_at`.

    References
    ----------
    As `wind_at`.

    Examples
    --------
    >>> float(shear(np.array([10.0]), 10.0)[0])
    1.0
    """
    ratio: Floats = (np.clip(height, 0.0, STEADY_ABOVE) / measured_at) ** EXPONENT
    return ratio


@dataclass(frozen=True)
class AtTheRail:
    """How the wind meets a rocket as it leaves its rail.

    Attributes
    ----------
    mean, gust : float
        Wind at the end of the rail [m/s].
    mean_angle, gust_angle : float
        Between the rail and the air that meets the rocket in either [rad].
    limit : float
        Wind, at the height of the measurement, at which that angle is the largest one [m/s].
    """

    mean: float
    gust: float
    mean_angle: float
    gust_angle: float
    limit: float

    @property
    def keep_below(self) -> float:
        """The limit, or what clubs' codes commonly do not fly above where that is less [m/s]."""
        return min(self.limit, CODES_WIND)


def at_the_rail(
    exit_speed: float, rail_length: float, tilt: float, mean: float, gust: float, measured_at: float, largest: float
) -> AtTheRail:
    """How mean wind and gust meet a rocket as it leaves its rail, and the wind that meets it at the largest angle.

    Parameters
    ----------
    exit_speed : float
        Along the rail [m/s].
    rail_length : float
        [m]
    tilt : float
        Of the rail from vertical, with the wind where above zero [rad].
    mean, gust : float
        Measured [m/s].
    measured_at : float
        Height of the measurement above the ground [m].
    largest : float
        Angle that is looked for [rad], below 70°.

    Returns
    -------
    AtTheRail
        Winds [m/s] and angles [rad].

    Raises
    ------
    OutOfRange
        A gust below the mean, an angle beyond reason, a wind that is none.

    Notes
    -----
    Sines in the triangle of exit speed and wind: w = v sin(angle) / cos(angle - tilt). The speed off the rail is that
    of the mean wind; a gust on a leaning rail changes it a little, by its drag.

    References
    ----------
    Plane trigonometry; height of the wind as `wind_at`.

    Examples
    --------
    >>> found = at_the_rail(14.0, 2.0, 0.0, 3.0, 4.5, 2.0, radians(15))
    >>> round(found.limit, 1), round(float(np.degrees(found.mean_angle)), 1)
    (3.8, 12.1)
    """
    within("exit_speed", exit_speed, 0, 2000, "Give the speed off the rail.")
    within("largest", largest, 0, radians(70), "Usual are 15 to 20 degrees.")
    within("gust", gust, mean, STRONGEST, "A gust is at least as strong as the mean wind.")
    height = rail_length * cos(tilt)
    here = wind_at([height, height], [mean, gust], measured_at)
    ratio = float(shear(np.asarray(height), measured_at))
    angles = angle_off_rail(exit_speed, tilt, here)
    return AtTheRail(
        mean=float(here[0]),
        gust=float(here[1]),
        mean_angle=float(angles[0]),
        gust_angle=float(angles[1]),
        limit=exit_speed * sin(largest) / cos(largest - tilt) / ratio,
    )


def angle_off_rail(exit_speed: ArrayLike, tilt: ArrayLike, wind: ArrayLike) -> Floats:
    """Angle between a rail and the air that meets the rocket as it leaves it.

    Parameters
    ----------
    exit_speed : array_like
        Along the rail [m/s].
    tilt : array_like
        From vertical, with the wind where above zero [rad].
    wind : array_like
        At the end of the rail [m/s].

    Returns
    -------
    ndarray
        [rad]

    Notes
    -----
    Unchecked, for many flights at once.

    References
    ----------
    Plane trigonometry.

    Examples
    --------
    >>> float(np.degrees(angle_off_rail(10.0, 0.0, 10.0)).round(6))
    45.0
    """
    speed, lean, blown = np.asarray(exit_speed), np.asarray(tilt), np.asarray(wind)
    found: Floats = np.abs(np.arctan2(blown * np.cos(lean), speed - blown * np.sin(lean)))
    return found
