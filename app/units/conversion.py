"""How large units are: those that workshops write in by the table, any other by pint.

Loading pint takes a quarter of a second of the processor, as long as a fifth of the start, so the first page does not
wait for it. Sizes are exact by definition: NIST Special Publication 811 (2008), appendix B.8, and the SI Brochure.
"""

import math
from functools import cache
from typing import Any

from app.units.kinds import Kind

_INCH, _FOOT, _POUND, _MILE = 0.0254, 0.3048, 0.45359237, 1609.344
_LBF = _POUND * 9.80665

_SIZES = {
    "mm": 0.001,
    "cm": 0.01,
    "m": 1.0,
    "km": 1000.0,
    "inch": _INCH,
    "foot": _FOOT,
    "g": 0.001,
    "kg": 1.0,
    "ounce": _POUND / 16,
    "pound": _POUND,
    "Pa": 1.0,
    "hPa": 100.0,
    "kPa": 1000.0,
    "MPa": 1e6,
    "bar": 1e5,
    "psi": _LBF / _INCH**2,
    "inHg": _INCH * 13595.1 * 9.80665,  # conventional mercury
    "K": 1.0,
    "degC": 1.0,
    "degF": 5 / 9,
    "delta_degC": 1.0,
    "delta_degF": 5 / 9,
    "m/s": 1.0,
    "km/h": 1 / 3.6,
    "mph": _MILE / 3600,
    "ft/s": _FOOT,
    "mm/s": 0.001,
    "inch/s": _INCH,
    "s": 1.0,
    "minute": 60.0,
    "hour": 3600.0,
    "day": 86400.0,
    "N": 1.0,
    "lbf": _LBF,
    "N*s": 1.0,
    "lbf*s": _LBF,
    "degree": math.pi / 180,
    "percent": 0.01,
    "percent/delta_degC": 0.01,
    "percent/K": 0.01,
    "percent/delta_degF": 0.018,
    "g/cm**3": 1000.0,
    "kg/m**3": 1.0,
    "lb/inch**3": _POUND / _INCH**3,
    "mm**2": 1e-6,
    "cm**2": 1e-4,
    "inch**2": _INCH**2,
    "cm**3": 1e-6,
    "inch**3": _INCH**3,
    "lbf/ft**2": _LBF / _FOOT**2,
    "kg/m**2/s": 1.0,
    "lb/inch**2/s": _POUND / _INCH**2,
    "1/kg": 1.0,
    "1/lb": 1 / _POUND,
    "m/s**2": 1.0,
    "ft/s**2": _FOOT,
}
"""One unit in SI, by pint's name for it."""

_ZEROS = {"K": 0.0, "degC": 273.15, "degF": 459.67 * 5 / 9}
"""Where a scale of temperature begins [K]."""


@cache
def _registry() -> Any:
    import pint

    return pint.UnitRegistry(cache_folder=None)


@cache
def _size(unit: str, si: str) -> float:
    """One unit (of temperature: one step) in SI."""
    if unit in _SIZES:
        return _SIZES[unit]
    return float(_registry().Quantity(1.0, unit).to(si).magnitude)


def to_si(value: float, unit: str, kind: Kind) -> float:
    """A number in a unit, by pint's name for it, in SI."""
    return value * _size(unit, kind.si) + (_ZEROS[unit] if kind.offset else 0.0)


def from_si(value: float, unit: str, kind: Kind) -> float:
    """A number in SI, in a unit by pint's name for it."""
    return (value - _ZEROS[unit] if kind.offset else value) / _size(unit, kind.si)
