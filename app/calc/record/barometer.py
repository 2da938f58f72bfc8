"""From air pressure to altitude, by the U.S. Standard Atmosphere 1976 read backwards."""

import numpy as np
from numpy.typing import ArrayLike

from app.calc.base.atmosphere import EARTH_RADIUS, GAS_CONSTANT_AIR, atmosphere
from app.calc.base.constants import STANDARD_GRAVITY, Floats, finite_array
from app.calc.base.errors import OutOfRange
from app.calc.base.notes import Amount, Note

_HEIGHTS = (0.0, 11_000.0, 20_000.0, 32_000.0, 47_000.0, 51_000.0, 71_000.0)  # geopotential, where layers begin [m]
_ABOUT_1_KM = 1000.0
PRESSURES = (100.0, 120_000.0)
"""Pressures taken [Pa]: what a barometer of a rocket reads, from about 48 km down to below any field."""


def _geometric(height: float) -> float:
    return EARTH_RADIUS * height / (EARTH_RADIUS - height)


def pressure_altitude(pressure: ArrayLike) -> Floats:
    """Give the geometric altitude at which the standard atmosphere has a pressure.

    Parameters
    ----------
    pressure : array_like
        Static pressure, absolute, shape (N,) [Pa].

    Returns
    -------
    ndarray
        Geometric altitude above sea level, shape (N,) [m].

    Raises
    ------
    OutOfRange
        A pressure outside 100 to 120,000 Pa: the unit is wrong, or it is no air pressure.

    Notes
    -----
    Weather shifts the zero, which a difference of two altitudes does not see; warmth stretches it by the share that the
    air is warmer than standard, in kelvins, which such a difference does see.

    References
    ----------
    U.S. Standard Atmosphere, 1976, equations 18, 33a and 33b solved for altitude.

    Examples
    --------
    >>> pressure_altitude([101325.0, 89876.0]).round(1).tolist()
    [0.0, 1000.0]
    """
    given = finite_array("pressure", pressure)
    low, high = PRESSURES
    if given.size and not (low <= float(given.min()) and float(given.max()) <= high):
        worst = float(given.min()) if float(given.min()) < low else float(given.max())
        fault = Note("{worst} is no air pressure.", {"worst": Amount(worst, "air_pressure")})
        raise OutOfRange("height_unit", fault, "Choose its unit, or another column.")
    bases = [atmosphere(_geometric(height)) for height in _HEIGHTS]
    found = np.empty(given.shape)
    for i, (height, air) in enumerate(zip(_HEIGHTS, bases, strict=True)):
        above = bases[i + 1] if i + 1 < len(bases) else atmosphere(_geometric(height + _ABOUT_1_KM))
        thick = (_HEIGHTS[i + 1] if i + 1 < len(bases) else height + _ABOUT_1_KM) - height
        inside = (given <= air.pressure if i else np.ones(given.shape, bool)) & (
            given > above.pressure if i + 1 < len(bases) else np.ones(given.shape, bool)
        )
        lapse = (above.temperature - air.temperature) / thick
        ratio = given[inside] / air.pressure
        if abs(lapse) < 1e-9:
            rise = -GAS_CONSTANT_AIR * air.temperature / STANDARD_GRAVITY * np.log(ratio)
        else:
            power = -GAS_CONSTANT_AIR * lapse / STANDARD_GRAVITY
            rise = air.temperature / lapse * np.expm1(power * np.log(ratio))
        geopotential = height + rise
        found[inside] = EARTH_RADIUS * geopotential / (EARTH_RADIUS - geopotential)
    return found
