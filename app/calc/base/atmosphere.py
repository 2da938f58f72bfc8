"""U.S. Standard Atmosphere 1976, and the same on a day that is warmer or colder."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from app.calc.base.constants import STANDARD_GRAVITY, Floats, finite_array, positive
from app.calc.base.errors import OutOfRange
from app.calc.base.notes import Amount, Note

EARTH_RADIUS = 6_356_766.0
GAS_CONSTANT_AIR = 8314.32 / 28.9644  # the 1976 standard's own molar gas constant
GAMMA_AIR = 1.4
ALTITUDES = (-5000.0, 80_000.0)
"""Geometric altitudes taken [m]; above 80 km the mean molar mass of air begins to change."""

# Base geopotential altitude [m], lapse rate [K/m]; Table 4 of the standard.
_LAPSE = (
    (0.0, -0.0065),
    (11_000.0, 0.0),
    (20_000.0, 0.001),
    (32_000.0, 0.0028),
    (47_000.0, 0.0),
    (51_000.0, -0.0028),
    (71_000.0, -0.002),
)


def _bases() -> tuple[tuple[float, float, float, float], ...]:
    layers = []
    temperature, pressure = 288.15, 101_325.0
    for i, (base, lapse) in enumerate(_LAPSE):
        layers.append((base, lapse, temperature, pressure))
        if i + 1 < len(_LAPSE):
            rise = _LAPSE[i + 1][0] - base
            pressure = _pressure(pressure, temperature, lapse, rise)
            temperature += lapse * rise
    return tuple(layers)


def _pressure(base: float, temperature: float, lapse: float, rise: float) -> float:
    if lapse == 0:
        return base * math.exp(-STANDARD_GRAVITY * rise / (GAS_CONSTANT_AIR * temperature))
    return base * math.pow(1 + lapse * rise / temperature, -STANDARD_GRAVITY / (GAS_CONSTANT_AIR * lapse))


_BASES = _bases()


@dataclass(frozen=True)
class Air:
    """Air at one altitude.

    Attributes
    ----------
    temperature : float
        [K]
    pressure : float
        [Pa]
    density : float
        [kg/m³]
    speed_of_sound : float
        [m/s]
    """

    temperature: float
    pressure: float
    density: float
    speed_of_sound: float


def atmosphere(altitude: float, warmer: float = 0.0) -> Air:
    """Air at a geometric altitude above sea level.

    Parameters
    ----------
    altitude : float
        Geometric altitude [m].
    warmer : float
        How much warmer than standard the day is, the same at all altitudes [K].

    Returns
    -------
    Air
        Temperature [K], pressure [Pa], density [kg/m³], speed of sound [m/s].

    Raises
    ------
    OutOfRange
        Below -5 km or above 80 km, or a shift of more than 60 K.

    Notes
    -----
    A warmer day keeps the standard pressure and changes density; weather moves pressure by a few percent.

    References
    ----------
    U.S. Standard Atmosphere, 1976, NOAA-S/T 76-1562, equations 18, 23, 33a, 33b, 42, 50.

    Examples
    --------
    >>> air = atmosphere(1000.0)
    >>> round(air.temperature, 3), round(air.pressure), round(air.density, 4)
    (281.651, 89876, 1.1117)
    """
    low, high = ALTITUDES
    if not low <= altitude <= high:
        fault = Note(
            "{altitude} is outside {low} to {high}.",
            {
                "altitude": Amount(altitude, "altitude"),
                "low": Amount(low, "altitude"),
                "high": Amount(high, "altitude"),
            },
        )
        raise OutOfRange("altitude", fault, "Check it.")
    if not abs(warmer) <= 60:
        fault = Note("{warmer} away from standard is no weather.", {"warmer": Amount(warmer, "temperature_step")})
        raise OutOfRange("warmer", fault, "Check the temperature.")
    height = EARTH_RADIUS * altitude / (EARTH_RADIUS + altitude)
    base, lapse, at_base, p_base = _BASES[0]
    for layer in _BASES[1:]:
        if height < layer[0]:
            break
        base, lapse, at_base, p_base = layer
    standard = at_base + lapse * (height - base)
    pressure = _pressure(p_base, at_base, lapse, height - base)
    temperature = standard + warmer
    return Air(
        temperature,
        pressure,
        pressure / (GAS_CONSTANT_AIR * temperature),
        math.sqrt(GAMMA_AIR * GAS_CONSTANT_AIR * temperature),
    )


def air_column(altitude: ArrayLike, warmer: float = 0.0) -> tuple[Floats, Floats]:
    """Density and speed of sound at many altitudes at once.

    Parameters
    ----------
    altitude : array_like
        Geometric altitudes [m].
    warmer : float
        As `atmosphere` [K].

    Returns
    -------
    tuple of ndarray
        Density [kg/m³] and speed of sound [m/s], shape as `altitude`.

    Raises
    ------
    OutOfRange
        As `atmosphere`.

    Notes
    -----
    As `atmosphere`.

    References
    ----------
    U.S. Standard Atmosphere, 1976.

    Examples
    --------
    >>> density, sound = air_column([0.0, 1000.0])
    >>> density.round(4).tolist(), sound.round(1).tolist()
    ([1.225, 1.1117], [340.3, 336.4])
    """
    geometric = finite_array("altitude", altitude)
    for end in (geometric.min(), geometric.max()):
        atmosphere(float(end), warmer)  # the same limits, told the same way
    height = EARTH_RADIUS * geometric / (EARTH_RADIUS + geometric)
    bases = np.array(_BASES)
    layer = np.clip(np.searchsorted(bases[:, 0], height, side="right") - 1, 0, None)
    base, lapse, at_base, p_base = bases[layer].T
    standard = at_base + lapse * (height - base)
    steady = lapse == 0
    exponent = -STANDARD_GRAVITY / (GAS_CONSTANT_AIR * np.where(steady, 1.0, lapse))
    thinner = np.where(
        steady,
        np.exp(-STANDARD_GRAVITY * (height - base) / (GAS_CONSTANT_AIR * at_base)),
        (standard / at_base) ** np.where(steady, 0.0, exponent),
    )
    temperature = standard + warmer
    return p_base * thinner / (GAS_CONSTANT_AIR * temperature), np.sqrt(GAMMA_AIR * GAS_CONSTANT_AIR * temperature)


def warmer_than_standard(temperature: float, altitude: float) -> float:
    """How much warmer a field is than the standard atmosphere there.

    Parameters
    ----------
    temperature : float
        Measured in the shade [K].
    altitude : float
        Of the field above sea level [m].

    Returns
    -------
    float
        Difference, for `atmosphere` [K].

    Raises
    ------
    OutOfRange
        As `atmosphere`.

    Notes
    -----
    Takes one measurement to hold for the whole column of air.

    References
    ----------
    U.S. Standard Atmosphere, 1976.

    Examples
    --------
    >>> round(warmer_than_standard(298.15, 0.0), 2)
    10.0
    """
    positive("temperature", temperature, "Give the air temperature.")
    shift = temperature - atmosphere(altitude).temperature
    atmosphere(altitude, shift)
    return shift
