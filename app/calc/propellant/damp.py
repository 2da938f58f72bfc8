"""From which humidity of the air a blend takes up water by itself, and the mark that is set below it."""

import math
from collections.abc import Mapping

from app.calc.base.constants import within
from app.calc.base.errors import BlendError
from app.calc.propellant.blend import check_blend
from app.calc.propellant.ingredients import INGREDIENTS

USUAL_MARK = 0.60
"""Humidity from which grains are bagged at once, whatever the blend [-]: common practice, no source."""

ROOM = 298.15
"""The temperature at which the humidities of the sugars are known [K]."""

SUGARS_AT_ROOM = {"sorbitol": 0.70, "dextrose": 0.74, "sucrose": 0.85}
"""Deliquescence humidity of the crystals at 25 °C [-], from memory; nothing is held of the other sugars."""


def deliquescence_humidity(key: str, temperature: float = ROOM) -> float:
    """Humidity of the air from which a crystal of one ingredient dissolves in the water it takes up.

    Parameters
    ----------
    key : str
        Key of the ingredient [text].
    temperature : float
        Of the air [K].

    Returns
    -------
    float
        Relative humidity [-].

    Raises
    ------
    BlendError
        If nothing is held of this ingredient.
    OutOfRange
        If the temperature is outside 273.15 to 323.15 K.

    Notes
    -----
    Potassium nitrate: 43.22 exp(225 / T) %. The sugars: one figure each, at 25 °C, used at any temperature here.
    Below this humidity a crystal takes up next to nothing; what is amorphous, as cast sorbitol is, takes up water at
    any humidity.

    References
    ----------
    CRC Handbook of Chemistry and Physics, relative humidity over saturated salt solutions, for potassium nitrate.
    Sugars: from memory.

    Examples
    --------
    >>> round(100 * deliquescence_humidity("potassium_nitrate"), 1)
    91.9
    """
    within("temperature", temperature, 273.15, 323.15, "Give a room's temperature.", "temperature")
    if key == "potassium_nitrate":
        return 0.4322 * math.exp(225.0 / temperature)
    if key not in SUGARS_AT_ROOM:
        raise BlendError("ingredient", f"no deliquescence humidity of '{key}' is held.", "Leave it out.")
    return SUGARS_AT_ROOM[key]


def blend_humidity(parts: Mapping[str, float], temperature: float = ROOM) -> float:
    """Humidity from which crystals of a blend that touch dissolve together, below that of each of them.

    Parameters
    ----------
    parts : mapping of str to float
        Mass fraction of each ingredient [-].
    temperature : float
        Of the air [K].

    Returns
    -------
    float
        Relative humidity [-]: the product of those of the parts. Where nothing is held of a part it is left out, and
        the true one is lower still.

    Raises
    ------
    BlendError
        As `check_blend`.
    OutOfRange
        As `deliquescence_humidity`.

    Notes
    -----
    The product rule takes the parts to lower the water's activity independently of each other; the shares do not come
    into it, for the solution that forms first has its own. An estimate.

    References
    ----------
    Product rule: Ross, Food Technology 29 (1975) 26, from memory; that mixtures lie below each part: Allan & Mauer.

    Examples
    --------
    >>> round(blend_humidity({"potassium_nitrate": 0.65, "sorbitol": 0.35}), 2)
    0.64
    """
    blend = check_blend(parts)
    known = [key for key in blend if key == "potassium_nitrate" or key in SUGARS_AT_ROOM]
    return math.prod(deliquescence_humidity(key, temperature) for key in known)


def damp_mark(parts: Mapping[str, float]) -> float:
    """Humidity from which a blend's grains are to be bagged at once.

    Parameters
    ----------
    parts : mapping of str to float
        Mass fraction of each ingredient [-].

    Returns
    -------
    float
        Relative humidity [-], in whole percents, rounded down; never above `USUAL_MARK`.

    Raises
    ------
    BlendError
        As `check_blend`.

    Notes
    -----
    The blend lowers the mark where its crystals dissolve together below it, as with sucrose beside sorbitol, and never
    raises it: cast sorbitol is amorphous and takes up water below any deliquescence humidity. Below the mark is not
    dry: no limit under which nothing is taken up is known.

    References
    ----------
    60 %: common practice, no source. Otherwise as `blend_humidity`, at 25 °C.

    Examples
    --------
    >>> damp_mark({"potassium_nitrate": 0.65, "sorbitol": 0.28, "sucrose": 0.07})
    0.54
    >>> damp_mark({"potassium_nitrate": 0.65, "sorbitol": 0.35})
    0.6
    """
    return min(USUAL_MARK, math.floor(100.0 * blend_humidity(parts)) / 100.0)


def unknown_parts(parts: Mapping[str, float]) -> tuple[str, ...]:
    """The ingredients of a blend of which no deliquescence humidity is held, by name.

    Parameters
    ----------
    parts : mapping of str to float
        Mass fraction of each ingredient [-].

    Returns
    -------
    tuple of str
        Names as a person says them [text]; empty where all are known.

    Notes
    -----
    Each of them lowers the blend's humidity by an amount that is not known.

    Examples
    --------
    >>> unknown_parts({"potassium_nitrate": 0.65, "xylitol": 0.35})
    ('Xylitol',)
    """
    return tuple(INGREDIENTS[key].name for key in parts if key != "potassium_nitrate" and key not in SUGARS_AT_ROOM)
