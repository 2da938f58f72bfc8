"""What numbers can measure: each kind with its SI unit and the units a person may type for it.

A new unit is a line here; one that a workshop may choose to write in also stands in `systems` and `conversion`.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Kind:
    """What a number measures: its SI unit, the units a person may type and how to write it.

    `least` and `most` bound in SI what anything in a book can have: far outside of what any form takes, so that what
    lies beyond was never measured, computed or typed.
    """

    name: str
    noun: str
    si: str
    suffix: str
    accepted: dict[str, str]
    example: str
    offset: bool = False
    least: float = -1e9
    most: float = 1e9


LENGTH = {
    "mm": "mm",
    "cm": "cm",
    "m": "m",
    "km": "km",
    "in": "inch",
    "inch": "inch",
    "inches": "inch",
    '"': "inch",
    "″": "inch",
    "”": "inch",
    "''": "inch",
    "′′": "inch",
    "’’": "inch",
    "ft": "foot",
    "feet": "foot",
    "foot": "foot",
    "'": "foot",
    "′": "foot",
    "’": "foot",
    "metre": "m",
    "metres": "m",
    "meter": "m",
    "meters": "m",
    "thou": "thou",
    "mil": "thou",
}
MASS = {
    "g": "g",
    "gram": "g",
    "grams": "g",
    "kg": "kg",
    "kgs": "kg",
    "kilo": "kg",
    "kilos": "kg",
    "mg": "mg",
    "oz": "ounce",
    "ounce": "ounce",
    "ounces": "ounce",
    "lb": "pound",
    "lbs": "pound",
    "pound": "pound",
    "pounds": "pound",
}
PRESSURE = {
    "pa": "Pa",
    "kpa": "kPa",
    "mpa": "MPa",
    "bar": "bar",
    "psi": "psi",
    "atm": "atm",
    "hpa": "hPa",
    "mbar": "mbar",
    "inhg": "inHg",
}
SPEED = {"m/s": "m/s", "km/h": "km/h", "mph": "mph", "ft/s": "ft/s", "kt": "knot", "kn": "knot"}

KINDS: dict[str, Kind] = {
    k.name: k
    for k in (
        Kind("length", "a length", "m", "_m", LENGTH, '19 mm or 3/4"', least=-1e6, most=1e6),
        Kind("altitude", "a height", "m", "_m", LENGTH, "640 m or 2100 ft", least=-1e6, most=1e6),
        Kind("mass", "a mass", "kg", "_kg", MASS, "123.4 g or 4.35 oz", least=-1e6, most=1e6),
        Kind("heavy_mass", "a mass", "kg", "_kg", MASS, "3200 g or 7.05 lb or 3.2 kg", least=-1e6, most=1e6),
        Kind("pressure", "a pressure", "Pa", "_pa", PRESSURE, "6.9 MPa or 1000 psi or 69 bar", least=0, most=1e12),
        Kind(
            "temperature",
            "a temperature",
            "K",
            "_k",
            {"c": "degC", "°c": "degC", "f": "degF", "°f": "degF", "k": "K"},
            "118 C or 245 F",
            offset=True,
            least=0,
            most=1e4,
        ),
        Kind(
            "time",
            "a time",
            "s",
            "_s",
            {
                "s": "s",
                "sec": "s",
                "ms": "ms",
                "min": "minute",
                "minutes": "minute",
                "h": "hour",
                "hours": "hour",
                "d": "day",
                "days": "day",
            },
            "1.4 s",
        ),
        Kind(
            "impulse",
            "an impulse",
            "N*s",
            "_ns",
            {"ns": "N*s", "n·s": "N*s", "n*s": "N*s", "lbf·s": "lbf*s", "lbfs": "lbf*s", "lbf*s": "lbf*s"},
            "560 N·s or 126 lbf·s",
        ),
        Kind("force", "a force", "N", "_n", {"n": "N", "kn": "kN", "lbf": "lbf", "kgf": "kgf"}, "450 N or 100 lbf"),
        Kind("speed", "a speed", "m/s", "_m_s", SPEED, "4 m/s or 9 mph or 14 km/h", least=-1e5, most=1e5),
        Kind(
            "angle",
            "an angle",
            "rad",
            "_rad",
            {"deg": "degree", "°": "degree", "rad": "rad"},
            "15 deg",
            least=-100,
            most=100,
        ),
        Kind("share", "a share", "", "_share", {"%": "percent", "percent": "percent"}, "65 %", least=-100, most=100),
        Kind(
            "density",
            "a density",
            "kg/m**3",
            "_kg_m3",
            {"g/cm3": "g/cm**3", "kg/m3": "kg/m**3", "lb/in3": "lb/inch**3", "lb/ft3": "lb/ft**3"},
            "1.8 g/cm3 or 0.065 lb/in3",
            least=0,
            most=1e5,
        ),
        Kind(
            "area",
            "an area",
            "m**2",
            "_m2",
            {"mm2": "mm**2", "cm2": "cm**2", "m2": "m**2", "in2": "inch**2", "sqin": "inch**2", "ft2": "ft**2"},
            "60 mm2 or 0.1 in2",
        ),
        Kind(
            "volume",
            "a volume",
            "m**3",
            "_m3",
            {
                "cm3": "cm**3",
                "ml": "ml",
                "mm3": "mm**3",
                "l": "liter",
                "m3": "m**3",
                "in3": "inch**3",
                "cuin": "inch**3",
                "ft3": "ft**3",
            },
            "96 cm3 or 5.9 in3",
        ),
        Kind(
            "burn_rate",
            "a burn rate",
            "m/s",
            "_m_s",
            {"mm/s": "mm/s", "cm/s": "cm/s", "in/s": "inch/s"},
            "7.8 mm/s or 0.31 in/s",
        ),
        # The kinds below have no choice of their own: `chosen` lets them follow one of those above.
        Kind(
            "temperature_step",
            "a difference of temperature",
            "K",
            "_k",
            {"°c": "delta_degC", "c": "delta_degC", "k": "K", "°f": "delta_degF", "f": "delta_degF"},
            "5 C or 9 F",
        ),
        Kind(
            "per_temperature",
            "a share for each degree",
            "1/K",
            "_share",
            {
                "%/°c": "percent/delta_degC",
                "%/c": "percent/delta_degC",
                "%/k": "percent/K",
                "%/°f": "percent/delta_degF",
                "%/f": "percent/delta_degF",
            },
            "0.2 %/°C or 0.11 %/°F",
        ),
        Kind("hot_temperature", "a temperature", "K", "_k", {"k": "K", "°f": "degF"}, "1600 K or 2420 °F", offset=True),
        Kind("gas_speed", "a speed", "m/s", "_m_s", SPEED, "900 m/s or 2950 ft/s"),
        Kind("air_pressure", "a pressure", "Pa", "_pa", PRESSURE, "1013 hPa or 29.92 inHg"),
        Kind(
            "dynamic_pressure",
            "a pressure",
            "Pa",
            "_pa",
            {"kpa": "kPa", "lbf/ft2": "lbf/ft**2"},
            "10 kPa or 209 lbf/ft2",
        ),
        Kind(
            "mass_flux",
            "a flow for each area",
            "kg/m**2/s",
            "_kg_m2_s",
            {"kg/(m2·s)": "kg/m**2/s", "lb/(in2·s)": "lb/inch**2/s"},
            "700 kg/(m2·s) or 1 lb/(in2·s)",
        ),
        Kind(
            "per_mass", "an amount for each mass", "1/kg", "_per_kg", {"/kg": "1/kg", "/lb": "1/lb"}, "12 /kg or 5 /lb"
        ),
        Kind(
            "acceleration",
            "an acceleration",
            "m/s**2",
            "_m_s2",
            {"m/s2": "m/s**2", "ft/s2": "ft/s**2"},
            "98 m/s2 or 322 ft/s2",
        ),
    )
}


GAUGES = {f"{unit}{mark}": unit for unit in ("psi", "bar", "kpa", "mpa") for mark in "ga"}
"""Pressures said to be above the air's (g) or not (a), and the unit they are in."""


def plain_sign(unit: str) -> str:
    """A unit's sign as the table has it: small letters, no raised figures, no spaces."""
    return unit.strip().casefold().replace("²", "2").replace("³", "3").replace(" ", "")


def pint_name(unit: str, kind: Kind) -> str | None:
    """The unit that a sign means in fields of a kind, by the name that pint has for it; None if it means none there."""
    key = plain_sign(unit)
    return kind.accepted.get(GAUGES.get(key, key) if kind.accepted is PRESSURE else key)
