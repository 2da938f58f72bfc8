"""The temperature at which water boils, which hangs on the pressure of the air over it."""

import math

from app.calc.base.constants import within

ICE_POINT = 273.15
"""Melting ice under air [K]."""

# Coefficients of the saturation line, IAPWS-IF97, region 4.
_N = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)


def boiling_point(pressure: float) -> float:
    """Temperature at which water boils under a pressure.

    Parameters
    ----------
    pressure : float
        Of the air over the water, absolute [Pa].

    Returns
    -------
    float
        Saturation temperature of pure water [K].

    Raises
    ------
    OutOfRange
        If the pressure is outside 30 to 120 kPa, which is no air that anybody works in.

    Notes
    -----
    Pure water that boils freely, read in the water and not at the bottom of the pot. Salt or sugar in it raises the
    temperature; 1 hPa of air pressure moves it by 0.028 K at sea level.

    References
    ----------
    IAPWS R7-97(2012), Industrial Formulation 1997, section 8.2: the equation of the saturation line solved for the
    temperature.

    Examples
    --------
    >>> round(boiling_point(101_325.0) - 273.15, 2)
    99.97
    """
    within("pressure", pressure, 30e3, 120e3, "Give the air's pressure at the place, not reduced to sea level.")
    beta = (pressure / 1e6) ** 0.25
    e = beta**2 + _N[2] * beta + _N[5]
    f = _N[0] * beta**2 + _N[3] * beta + _N[6]
    g = _N[1] * beta**2 + _N[4] * beta + _N[7]
    d = 2 * g / (-f - math.sqrt(f**2 - 4 * e * g))
    return float(_N[9] + d - math.sqrt((_N[9] + d) ** 2 - 4 * (_N[8] + _N[9] * d))) / 2
