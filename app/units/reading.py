"""Units at the edge: text typed by a person becomes SI once, and SI becomes text for a person once.

Everything inside is SI. `parse` reads a number and a unit by a strict grammar (never evaluated),
pint converts, `show` writes in the units the workshop likes. `Measure` marks a form field.
"""

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import cache
from typing import Any, NamedTuple

from pydantic import GetCoreSchemaHandler, ValidationInfo
from pydantic_core import PydanticCustomError, core_schema

from app import typed
from app.calc.base.notes import Note


class Quantity(NamedTuple):
    """A number in SI and the words it was typed in."""

    si: float
    typed: str


@dataclass(frozen=True)
class Kind:
    """What a number measures: its SI unit, the units a person may type and how to write it."""

    name: str
    noun: str
    si: str
    suffix: str
    accepted: dict[str, str]
    example: str
    offset: bool = False


_LENGTH = {
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
_MASS = {
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
_PRESSURE = {
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
_SPEED = {"m/s": "m/s", "km/h": "km/h", "mph": "mph", "ft/s": "ft/s", "kt": "knot", "kn": "knot"}

KINDS: dict[str, Kind] = {
    k.name: k
    for k in (
        Kind("length", "a length", "m", "_m", _LENGTH, '19 mm or 3/4"'),
        Kind("altitude", "a height", "m", "_m", _LENGTH, "640 m or 2100 ft"),
        Kind("mass", "a mass", "kg", "_kg", _MASS, "123.4 g or 4.35 oz"),
        Kind("heavy_mass", "a mass", "kg", "_kg", _MASS, "3200 g or 7.05 lb or 3.2 kg"),
        Kind("pressure", "a pressure", "Pa", "_pa", _PRESSURE, "6.9 MPa or 1000 psi or 69 bar"),
        Kind(
            "temperature",
            "a temperature",
            "K",
            "_k",
            {"c": "degC", "°c": "degC", "f": "degF", "°f": "degF", "k": "K"},
            "118 C or 245 F",
            offset=True,
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
        Kind("speed", "a speed", "m/s", "_m_s", _SPEED, "4 m/s or 9 mph or 14 km/h"),
        Kind("angle", "an angle", "rad", "_rad", {"deg": "degree", "°": "degree", "rad": "rad"}, "15 deg"),
        Kind("share", "a share", "", "_share", {"%": "percent", "percent": "percent"}, "65 %"),
        Kind(
            "density",
            "a density",
            "kg/m**3",
            "_kg_m3",
            {"g/cm3": "g/cm**3", "kg/m3": "kg/m**3", "lb/in3": "lb/inch**3", "lb/ft3": "lb/ft**3"},
            "1.8 g/cm3 or 0.065 lb/in3",
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
        Kind("gas_speed", "a speed", "m/s", "_m_s", _SPEED, "900 m/s or 2950 ft/s"),
        Kind("air_pressure", "a pressure", "Pa", "_pa", _PRESSURE, "1013 hPa or 29.92 inHg"),
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


class UnitSystem(NamedTuple):
    """The units a workshop reads and writes; a bare number in a form is taken in these. `chosen` makes one."""

    length: str = "mm"
    altitude: str = "m"
    mass: str = "g"
    pressure: str = "MPa"
    temperature: str = "°C"
    speed: str = "m/s"
    time: str = "s"
    impulse: str = "N·s"
    force: str = "N"
    angle: str = "°"
    share: str = "%"
    density: str = "g/cm³"
    area: str = "mm²"
    burn_rate: str = "mm/s"
    volume: str = "cm³"
    heavy_mass: str = "g"
    temperature_step: str = "°C"
    per_temperature: str = "%/°C"
    hot_temperature: str = "K"
    gas_speed: str = "m/s"
    air_pressure: str = "hPa"
    dynamic_pressure: str = "kPa"
    mass_flux: str = "kg/(m²·s)"
    per_mass: str = "/kg"
    acceleration: str = "m/s²"


METRIC = UnitSystem()

_FOLLOWING = {
    ("temperature", "°F"): {"temperature_step": "°F", "per_temperature": "%/°F", "hot_temperature": "°F"},
    ("pressure", "psi"): {"air_pressure": "inHg", "dynamic_pressure": "lbf/ft²"},
    ("length", "in"): {"mass_flux": "lb/(in²·s)"},
    ("heavy_mass", "lb"): {"per_mass": "/lb"},
    ("altitude", "ft"): {"gas_speed": "ft/s", "acceleration": "ft/s²"},
}
"""Units that nobody chooses, by the choice that brings them."""


@cache
def chosen(**units: str) -> UnitSystem:
    """A system of units in which kinds without a choice of their own follow the choice nearest to them."""
    system = METRIC._replace(**units)
    for (kind, unit), followers in _FOLLOWING.items():
        if getattr(system, kind) == unit:
            system = system._replace(**followers)
    return system


US = chosen(
    length="in",
    altitude="ft",
    mass="oz",
    heavy_mass="lb",
    pressure="psi",
    temperature="°F",
    speed="mph",
    force="lbf",
    impulse="lbf·s",
    density="lb/in³",
    area="in²",
    volume="in³",
    burn_rate="in/s",
)

_DECIMALS = {
    "mm": 2,
    "cm": 3,
    "m": 0,
    "in": 3,
    "ft": 0,
    "g": 1,
    "kg": 3,
    "oz": 2,
    "lb": 2,
    "MPa": 2,
    "bar": 1,
    "psi": 0,
    "°C": 0,
    "°F": 0,
    "K": 0,
    "m/s": 1,
    "km/h": 1,
    "mph": 1,
    "ft/s": 0,
    "s": 2,
    "N·s": 0,
    "lbf·s": 1,
    "N": 0,
    "lbf": 1,
    "°": 1,
    "%": 1,
    "g/cm³": 3,
    "kg/m³": 0,
    "lb/in³": 4,
    "mm²": 1,
    "cm²": 2,
    "in²": 4,
    "mm/s": 2,
    "in/s": 3,
    "cm³": 1,
    "ml": 1,
    "in³": 2,
    "%/°C": 2,
    "%/°F": 3,
    "hPa": 0,
    "inHg": 2,
    "kPa": 1,
    "lbf/ft²": 0,
    "kg/(m²·s)": 0,
    "lb/(in²·s)": 2,
    "/kg": 2,
    "/lb": 2,
    "m/s²": 0,
    "ft/s²": 0,
}

_UNIT_BEFORE_MORE = re.compile(r"\s*(?P<unit>[^\d\s.,+\-−–/][^\d\s.,+\-−–/]*)(?:,\s+|\s*)(?=[0-9])")
"""A unit with another number behind it."""

AIR_PA = 101325.0
"""The standard atmosphere [Pa]; exact, ISO 2533:1975."""

GAUGES = {f"{unit}{mark}": unit for unit in ("psi", "bar", "kpa", "mpa") for mark in "ga"}
"""Pressures said to be above the air's (g) or not (a), and the unit they are in."""


class UnitError(ValueError):
    """What was typed is not a number with a unit this field takes; the message says what to do.

    Where it can mean several things, `readings` are the texts to choose from.
    """

    def __init__(self, message: str, readings: tuple[str, ...] = ()) -> None:
        super().__init__(message)
        self.readings = readings


@cache
def _registry() -> Any:
    import pint

    return pint.UnitRegistry(cache_folder=None)


@cache
def _factor(unit: str, si: str) -> float:
    """Multiplier from a unit without an offset to SI."""
    return float(_registry().Quantity(1.0, unit).to(si).magnitude)


def _to_si(value: float, unit: str, kind: Kind) -> float:
    if kind.offset:
        return float(_registry().Quantity(value, unit).to(kind.si).magnitude)
    return value * _factor(unit, kind.si)


def _from_si(value: float, unit: str, kind: Kind) -> float:
    if kind.offset:
        return float(_registry().Quantity(value, kind.si).to(unit).magnitude)
    return value / _factor(unit, kind.si)


def _key(unit: str) -> str:
    return unit.strip().casefold().replace("²", "2").replace("³", "3").replace(" ", "")


def _known(unit: str, kind: Kind) -> bool:
    return _pint_unit(unit, kind) is not None


def _pint_unit(unit: str, kind: Kind) -> str | None:
    key = _key(unit)
    return kind.accepted.get(GAUGES.get(key, key) if kind.accepted is _PRESSURE else key)


def parse(text: str, kind_name: str, units: UnitSystem = METRIC, *, above_air: bool = False) -> Quantity:
    """Read a number with an optional unit, or several as in `5 ft 6 in`.

    A bare number is taken in the workshop's own unit, and the unit is added to what is kept as typed, so
    that it still means the same when the workshop changes its units. `app.typed` says what is read as a number;
    nothing is evaluated.

    Parameters
    ----------
    above_air
        Whether the pressure asked for is one above the air's. `psig` says that it is, `psia` that it is not; where
        the field means the other, the standard atmosphere is added or taken off.

    Raises
    ------
    UnitError
        Empty, not a number, one that can mean two things, an unknown unit, or a unit of another kind; the message
        says what to type.
    """
    kind = KINDS[kind_name]
    wanted = f"{kind.noun}, such as {example(kind_name, units)}"
    words = text.strip()
    if not words:
        raise UnitError(f"Type {wanted}.")
    folded = typed.fold(text)
    if len(folded) > typed.LONGEST:
        raise UnitError(f"“{words[:20]}…” is too long or too large to be {wanted}.")
    try:
        parts = _parts(folded, kind)
    except typed.TwoReadings as two:
        raise _either(folded, two, unit_of(kind_name, units)) from None
    except typed.NoNumber as error:
        why = f"“{words}” is not {kind.noun}. Type a number and a unit, such as {example(kind_name, units)}."
        raise UnitError(str(error) or why) from None
    si = float(f"{_sum(parts, kind, units, above_air):.12g}")  # 3/4 in is 0.01905 m, not 0.019049999999999997
    if not math.isfinite(si):
        raise UnitError(f"“{words}” is too large to be {kind.noun}.")
    return Quantity(si, words if parts[0][1] else f"{words} {unit_of(kind_name, units)}")


def _parts(text: str, kind: Kind) -> list[tuple[Fraction, str]]:
    """Each number with its unit; more than one where the units are of the kind and grow smaller: `16 lb 4 oz`."""
    value, end = typed.take(text)
    rest = text[end:].strip()
    if kind.offset or not re.search(r"[0-9]", rest) or _known(rest, kind):
        return [(value, rest)]
    found, at = [], end
    while step := _UNIT_BEFORE_MORE.match(text, at):
        found.append((value, step["unit"]))
        value, at = typed.take(text, step.end())
        if text[step.end()] in "+-−–":
            raise typed.NoNumber("")
    if found and not text[at:].strip():
        raise typed.NoNumber("")
    return [*found, (value, text[at:].strip())] if found else [(value, rest)]


def _sum(parts: list[tuple[Fraction, str]], kind: Kind, units: UnitSystem, above_air: bool) -> float:
    own = getattr(units, kind.name)
    sign = -1 if parts[0][0] < 0 else 1
    total, larger = 0.0, math.inf
    for i, (value, unit) in enumerate(parts):
        target = _pint_unit(unit or ("" if i else own), kind)
        if target is None:
            raise UnitError(_wrong_unit(unit or own, kind, units))
        amount = _to_si(float(value), target, kind) + _air(unit, kind, above_air)
        size = _to_si(1.0, target, kind)
        if i and not (amount < larger and size < larger and parts[i - 1][0].denominator == 1):
            raise UnitError(
                f"“{unit}” cannot stand behind “{parts[i - 1][1]}” like this. Type {kind.noun} in one unit."
            )
        total += amount if i == 0 else sign * amount
        larger = size
    return total


def _air(unit: str, kind: Kind, above_air: bool) -> float:
    """What is added to a pressure that was typed as above the air, or not so, for what the field means [Pa]."""
    key = _key(unit)
    if kind.accepted is not _PRESSURE or key not in GAUGES:
        return 0.0
    return (0.0 if above_air else AIR_PA) if key.endswith("g") else (-AIR_PA if above_air else 0.0)


def _either(text: str, two: typed.TwoReadings, own: str) -> UnitError:
    start, end = two.span
    bare = not re.search(r"[^0-9.,+\-−–\s]", text)
    readings = tuple(f"{text[:start]}{one}{text[end:]}{f' {own}' if bare else ''}" for one in two.readings)
    return UnitError(f"“{text}” can mean {readings[0]} or {readings[1]}. Choose one.", readings)


def in_unit(text: str, unit: str, kind_name: str) -> str | None:
    """The same number with another unit behind it; nothing where the text is not one number with one unit."""
    try:
        [(_, typed_unit)] = _parts(typed.fold(text), KINDS[kind_name])
    except (typed.TwoReadings, typed.NoNumber, ValueError):
        return None
    return f"{typed.fold(text).removesuffix(typed_unit).strip()} {unit}"


def _wrong_unit(unit: str, kind: Kind, units: UnitSystem) -> str:
    for other in KINDS.values():
        if other.name != kind.name and _pint_unit(unit, other) is not None:
            return (
                f"“{unit}” goes with {other.noun}; this field takes {kind.noun}, such as {example(kind.name, units)}."
            )
    signs: dict[str, str] = {}
    for sign, target in kind.accepted.items():
        signs.setdefault(target, sign)  # of several ways to write one unit, the first
    known = ", ".join(signs.values())
    return f"The unit “{unit}” is not known here. Use one of: {known}."


def example(kind_name: str, units: UnitSystem = METRIC) -> str:
    """What a person may type for a kind, in the workshop's own unit where an example has it."""
    kind = KINDS[kind_name]
    own = _pint_unit(getattr(units, kind_name), kind)
    texts = kind.example.split(" or ")
    return next((t for t in texts if _pint_unit(re.sub(r"^[\d./]+\s*", "", t), kind) == own), texts[0])


def show(si: float | None, kind_name: str, units: UnitSystem = METRIC, decimals: int | None = None) -> str:
    """Write an SI number in the workshop's unit, with the unit; `–` for what is not known."""
    if si is None or not math.isfinite(si):
        return "–"
    return f"{number(si, kind_name, units, decimals)} {unit_of(kind_name, units)}"


def number(si: float, kind_name: str, units: UnitSystem = METRIC, decimals: int | None = None) -> str:
    """Write an SI number in the workshop's unit without naming the unit (for tables that do).

    `decimals` are those of the kind's metric unit; another unit gets as many as show the number as finely.
    """
    value = convert(si, kind_name, units)
    unit = getattr(units, kind_name)
    places = _DECIMALS.get(unit, 2)
    if decimals is not None:
        places = max(0, decimals + places - _DECIMALS[getattr(METRIC, kind_name)])
    text = f"{value:.{places}f}"
    return text.lstrip("-") if float(text) == 0 else text.replace("-", "−")  # typed back in, it is read as well


def say(note: Note | str, units: UnitSystem = METRIC) -> str:
    """Write a calculation's sentence with its numbers in the workshop's units; a text is given back as it is."""
    if isinstance(note, str):
        return note
    return note.words.format(**{name: show(a.value, a.kind, units, a.decimals) for name, a in note.amounts.items()})


def convert(si: float, kind_name: str, units: UnitSystem = METRIC) -> float:
    """The number alone, in the workshop's unit."""
    return convert_each((si,), kind_name, units)[0]


def convert_each(si: Iterable[float], kind_name: str, units: UnitSystem = METRIC) -> list[float]:
    """Many numbers of one kind, in the workshop's unit; the unit is looked up once."""
    kind = KINDS[kind_name]
    target = _pint_unit(getattr(units, kind_name), kind)
    assert target is not None, "unit systems hold known units only"
    return [_from_si(value, target, kind) for value in si]


def decimals_for(step: float, kind_name: str, units: UnitSystem = METRIC) -> int:
    """Decimals, as `number` counts them, that show one step of an instrument [SI] in the workshop's unit."""
    own = max(math.ceil(-math.log10(convert(step, kind_name, units)) - 1e-9), 0)
    return own + _DECIMALS[getattr(METRIC, kind_name)] - _DECIMALS[getattr(units, kind_name)]


def law_factor(rate_at_1_mpa: float, exponent: float, units: UnitSystem = METRIC) -> float:
    """The a of a burn law r = a Pⁿ with r and P in the workshop's units, from its rate at 1 MPa [m/s] and its n."""
    one = float(parse(f"1 {units.pressure}", "pressure").si)
    return convert(rate_at_1_mpa * (one / 1e6) ** exponent, "burn_rate", units)


def unit_of(kind_name: str, units: UnitSystem = METRIC) -> str:
    """The unit's sign as printed beside numbers of this kind."""
    return str(getattr(units, kind_name))


_OTHERS = {
    "length": ("mm", "in"),
    "altitude": ("m", "ft"),
    "mass": ("g", "oz"),
    "heavy_mass": ("kg", "g", "lb", "oz"),
    "pressure": ("MPa", "bar", "psi"),
    "temperature": ("°C", "°F"),
    "speed": ("m/s", "km/h", "mph"),
    "impulse": ("N·s", "lbf·s"),
    "force": ("N", "lbf"),
    "area": ("mm²", "in²"),
    "burn_rate": ("mm/s", "in/s"),
    "per_temperature": ("%/°C", "%/°F"),
}
"""Units a value may have been thought of in, beside the workshop's own."""

_SHORT = 4
"""Decimals of a number that a person may have typed; one that takes more was thought of in another unit."""


def editable(si: float | None, kind_name: str, units: UnitSystem = METRIC) -> str:
    """Text for an edit field, so that saving it again changes nothing.

    In the workshop's unit, unless the number is long there and short in another unit: 2 mm, not 0.0787401575 in.
    """
    if si is None:
        return ""
    own = exact(si, kind_name, units)
    for unit in _OTHERS.get(kind_name, ()) if _is_long(own) else ():
        other = exact(si, kind_name, units._replace(**{kind_name: unit}))
        if not _is_long(other) and math.isclose(parse(other, kind_name).si, si, rel_tol=1e-12):
            return other
    return own


def exact(si: float, kind_name: str, units: UnitSystem = METRIC) -> str:
    """A value in the workshop's unit, to nine figures."""
    digits = format(Decimal(f"{convert(si, kind_name, units):.9g}"), "f")  # never 1e-05: people do not write so
    return f"{digits} {unit_of(kind_name, units)}"


def _is_long(text: str) -> bool:
    return len(text.partition(" ")[0].partition(".")[2]) > _SHORT


@dataclass(frozen=True)
class Measure:
    """Marks a form field `Annotated[Quantity, Measure("length", gt=0, le=2)]`; bounds are in SI.

    `unit` is for a field with a natural unit of its own: seven for a cure means days, not seconds.
    `usual` is what the thing hardly ever lies outside of; a form asks about such a number once (`app.doubts`).
    `above_air` marks a pressure that counts from the air's.
    """

    kind: str
    gt: float | None = None
    ge: float | None = None
    le: float | None = None
    lt: float | None = None
    unit: str | None = None
    usual: tuple[float, float] | None = None
    above_air: bool = False

    def system(self, units: UnitSystem) -> UnitSystem:
        """The workshop's units, with this field's own in its place."""
        return units._replace(**{self.kind: self.unit}) if self.unit else units

    def read(self, text: str, units: UnitSystem) -> Quantity:
        """What a text says in this field, bounds aside.

        Raises
        ------
        UnitError
            As `parse`.
        """
        return parse(text, self.kind, self.system(units), above_air=self.above_air)

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        """Validate text into a Quantity, with the workshop's units taken from the context."""
        return core_schema.with_info_plain_validator_function(self._validate)

    def _validate(self, value: Any, info: ValidationInfo) -> Quantity:
        if isinstance(value, Quantity):
            return self._bounded(value, self.system(METRIC))
        units = (info.context or {}).get("units", METRIC)
        try:
            quantity = self.read(str(value), units)
        except UnitError as error:
            more = {"message": str(error), "readings": error.readings}
            raise PydanticCustomError("measure", "{message}", more) from None
        return self._bounded(quantity, self.system(units))

    def _bounded(self, quantity: Quantity, units: UnitSystem) -> Quantity:
        if beyond := self.beyond(quantity.si):
            words, bound = beyond
            message = f"This must be {words} {exact(bound, self.kind, units)}; “{quantity.typed}” is not."
            raise PydanticCustomError("measure", "{message}", {"message": message})
        return quantity

    def beyond(self, si: float) -> tuple[str, float] | None:
        """The bound that a number breaks, and how it should lie to it."""
        if self.gt is not None and not si > self.gt:
            return "more than", self.gt
        if self.ge is not None and not si >= self.ge:
            return "at least", self.ge
        if self.lt is not None and not si < self.lt:
            return "less than", self.lt
        if self.le is not None and not si <= self.le:
            return "at most", self.le
        return None
