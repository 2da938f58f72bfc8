"""Wind over open ground: stronger with height by a power law, up to where the ground is no longer felt."""

import numpy as np
from numpy.typing import ArrayLike

from app.calc.constants import Floats, finite_array, within

EXPONENT = 1 / 7
"""Of the power law over open ground [-]: Wind Energy Resource Atlas of the United States (1986), table 1-1."""

STEADY_ABOVE = 274.32
"""Height above which the wind is taken as steady [m]: gradient height of open terrain, ASCE 7-16, exposure C."""

STRONGEST = 80.0


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
    within("measured_at", measured_at, 0.5, 100, "Measure at head height or on a mast.")
    blown = finite_array("speed", speed)
    if (blown < 0).any() or (blown > STRONGEST).any():
        within("speed", float(blown.flat[int(np.argmax(np.abs(blown)))]), 0, STRONGEST, "Check the wind speed.")
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
