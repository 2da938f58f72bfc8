"""SI becomes text, in the units the workshop likes."""

import math
from collections.abc import Iterable
from decimal import Decimal

from app.calc.base.notes import Note
from app.units.conversion import from_si
from app.units.kinds import KINDS, pint_name
from app.units.reading import parse
from app.units.systems import DECIMALS, METRIC, UnitSystem, unit_of


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
    places = DECIMALS.get(unit, 2)
    if decimals is not None:
        places = max(0, decimals + places - DECIMALS[getattr(METRIC, kind_name)])
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
    target = pint_name(getattr(units, kind_name), kind)
    assert target is not None, "unit systems hold known units only"
    return [from_si(value, target, kind) for value in si]


def decimals_for(step: float, kind_name: str, units: UnitSystem = METRIC) -> int:
    """Decimals, as `number` counts them, that show one step of an instrument [SI] in the workshop's unit."""
    own = max(math.ceil(-math.log10(convert(step, kind_name, units)) - 1e-9), 0)
    return own + DECIMALS[getattr(METRIC, kind_name)] - DECIMALS[getattr(units, kind_name)]


def law_factor(rate_at_1_mpa: float, exponent: float, units: UnitSystem = METRIC) -> float:
    """The a of a burn law r = a Pⁿ with r and P in the workshop's units, from its rate at 1 MPa [m/s] and its n."""
    one = float(parse(f"1 {units.pressure}", "pressure").si)
    return convert(rate_at_1_mpa * (one / 1e6) ** exponent, "burn_rate", units)


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


def counted(number: int, one: str, several: str = "") -> str:
    """So many of a thing, in words.

    >>> counted(1, "melt"), counted(3, "melt"), counted(2, "test of it", "tests of it")
    ('1 melt', '3 melts', '2 tests of it')
    """
    return f"{number} {one if number == 1 else several or one + 's'}"
