"""Strengths of case materials: specified minimums at room temperature, and how they fall with heat."""

from dataclasses import dataclass
from math import nan

import numpy as np

from app.calc.base.constants import ROOM_TEMPERATURE, positive
from app.calc.base.errors import CalcError, OutOfRange
from app.calc.base.notes import Amount, Note


@dataclass(frozen=True)
class Material:
    """A case material: least strengths at room temperature and how they fall with heat.

    Attributes
    ----------
    name, source : str
        What it is and where the numbers come from.
    yield_strength, ultimate_strength : float
        Specified minimum [Pa].
    temperatures, yield_share, ultimate_share : tuple of float
        Points [K] and strength there over that at room temperature [-]; without points, no use above 338 K.

    Notes
    -----
    From room temperature to the last point.

    References
    ----------
    Each material's own `source`.
    """

    name: str
    yield_strength: float
    ultimate_strength: float
    source: str
    temperatures: tuple[float, ...] = ()
    yield_share: tuple[float, ...] = ()
    ultimate_share: tuple[float, ...] = ()

    @property
    def hottest(self) -> float:
        """Highest temperature that strengths are known for [K]."""
        return self.temperatures[-1] if self.temperatures else _UNTABLED_LIMIT


_UNTABLED_LIMIT = 338.15  # 65 degC: below it these metals keep their strength
_MEM = "minimum, from memory"

MATERIALS: dict[str, Material] = {
    "aluminium_6061_t6": Material(
        "Aluminium 6061-T6",
        240e6,
        260e6,
        "minimum for extrusions (published); hot: typical values at 24, 100, 149, 204 degC (from memory)",
        (297.15, 373.15, 422.15, 477.15),
        (1.0, 262 / 276, 214 / 276, 103 / 276),
        (1.0, 290 / 310, 234 / 310, 131 / 310),
    ),
    "aluminium_6063_t6": Material("Aluminium 6063-T6", 170e6, 205e6, f"{_MEM}: ASTM B221"),
    "aluminium_2024_t3": Material("Aluminium 2024-T3 tube", 290e6, 440e6, f"{_MEM}: ASTM B210"),
    "aluminium_7075_t6": Material("Aluminium 7075-T6", 460e6, 530e6, f"{_MEM}: ASTM B221"),
    "stainless_304_annealed": Material("Stainless steel 304, annealed", 205e6, 515e6, f"{_MEM}: ASTM A269"),
    "steel_4130_normalized": Material("Steel 4130, normalized", 414e6, 621e6, f"{_MEM}: AMS-T-6736"),
    "steel_1020_dom": Material("Steel 1020, drawn over mandrel", 414e6, 483e6, f"{_MEM}: ASTM A513"),
}
"""Case materials by key; anything else is 'other' with a yield strength that the person states."""

OTHER = "other"


def hottest_known(material: str) -> float:
    """Give the highest temperature that a material's strength is known at.

    Parameters
    ----------
    material : str
        A key of `MATERIALS`, or 'other' [-].

    Returns
    -------
    float
        [K].

    Notes
    -----
    As `strengths`; what is not in the table is taken like those without hot values.

    References
    ----------
    `MATERIALS`.

    Examples
    --------
    >>> round(hottest_known("aluminium_6061_t6") - 273.15)
    204
    """
    return MATERIALS[material].hottest if material in MATERIALS else _UNTABLED_LIMIT


def strengths(
    material: str, temperature: float = ROOM_TEMPERATURE, yield_strength: float | None = None
) -> tuple[float, float]:
    """Give the yield and ultimate strength of a case material at a temperature.

    Parameters
    ----------
    material : str
        A key of `MATERIALS`, or 'other' [-].
    temperature : float
        Of the wall at peak pressure [K].
    yield_strength : float, optional
        The person's own minimum [Pa]; needed for 'other', otherwise it replaces the table's.

    Returns
    -------
    yield, ultimate : tuple of float
        [Pa]; ultimate is nan where it is not known.

    Raises
    ------
    CalcError
        A material that is not known, or hotter than its data.

    Notes
    -----
    6061-T6 to 477 K (204 degC) by table; others to 338 K (65 degC) undiminished. An own value is scaled likewise.

    References
    ----------
    `MATERIALS`.

    Examples
    --------
    >>> [round(value / 1e6) for value in strengths("aluminium_6061_t6", 373.15)]
    [228, 243]
    """
    if material.lower() == "pvc":
        raise CalcError(
            "material",
            "PVC breaks into splinters and softens a little above room temperature (common practice, no source).",
            "Use a ductile metal case.",
        )
    known = MATERIALS.get(material)
    if known is None and (material != OTHER or yield_strength is None):
        raise CalcError(
            "material",
            f"'{material}' has no strength here.",
            f"Choose one of {', '.join(MATERIALS)}, or '{OTHER}' with its least yield strength.",
        )
    hottest = known.hottest if known else _UNTABLED_LIMIT
    if not 200.0 <= temperature <= hottest:
        raise OutOfRange(
            "wall_temperature",
            Note(
                "no strength is known at {here}; data ends at {end}.",
                {"here": Amount(temperature, "temperature"), "end": Amount(hottest, "temperature")},
            ),
            "Insulate the wall, or give a material with data at that heat.",
        )
    if yield_strength is not None:
        positive("yield_strength", yield_strength, "Give the least yield strength in pascal.")
    share_y = share_u = 1.0
    if known and known.temperatures:
        share_y = float(np.interp(temperature, known.temperatures, known.yield_share))
        share_u = float(np.interp(temperature, known.temperatures, known.ultimate_share))
    least_yield = yield_strength if yield_strength is not None else (known.yield_strength if known else nan)
    ultimate = known.ultimate_strength * share_u if known and yield_strength is None else nan
    return least_yield * share_y, ultimate
