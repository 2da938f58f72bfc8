"""Typed text becomes SI: a number and a unit by a strict grammar, never evaluated."""

import math
import re
from fractions import Fraction
from typing import NamedTuple

from app import typed
from app.units.conversion import to_si
from app.units.kinds import GAUGES, KINDS, PRESSURE, Kind, pint_name, plain_sign
from app.units.systems import METRIC, UnitSystem, unit_of


class Quantity(NamedTuple):
    """A number in SI and the words it was typed in."""

    si: float
    typed: str


class UnitError(ValueError):
    """What was typed is not a number with a unit this field takes; the message says what to do.

    Where it can mean several things, `readings` are the texts to choose from.
    """

    def __init__(self, message: str, readings: tuple[str, ...] = ()) -> None:
        super().__init__(message)
        self.readings = readings


AIR_PA = 101325.0
"""The standard atmosphere [Pa]; exact, ISO 2533:1975."""

_UNIT_BEFORE_MORE = re.compile(r"\s*(?P<unit>[^\d\s.,+\-−–/][^\d\s.,+\-−–/]*)(?:,\s+|\s*)(?=[0-9])")
"""A unit with another number behind it."""


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
    if kind.offset or not re.search(r"[0-9]", rest) or pint_name(rest, kind) is not None:
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
        target = pint_name(unit or ("" if i else own), kind)
        if target is None:
            raise UnitError(_wrong_unit(unit or own, kind, units))
        amount = to_si(float(value), target, kind) + _air(unit, kind, above_air)
        size = to_si(1.0, target, kind)
        if i and not (amount < larger and size < larger and parts[i - 1][0].denominator == 1):
            raise UnitError(
                f"“{unit}” cannot stand behind “{parts[i - 1][1]}” like this. Type {kind.noun} in one unit."
            )
        total += amount if i == 0 else sign * amount
        larger = size
    return total


def _air(unit: str, kind: Kind, above_air: bool) -> float:
    """What is added to a pressure that was typed as above the air, or not so, for what the field means [Pa]."""
    key = plain_sign(unit)
    if kind.accepted is not PRESSURE or key not in GAUGES:
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
        if other.name != kind.name and pint_name(unit, other) is not None:
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
    own = pint_name(getattr(units, kind_name), kind)
    texts = kind.example.split(" or ")
    return next((t for t in texts if pint_name(re.sub(r"^[\d./]+\s*", "", t), kind) == own), texts[0])
