"""Units at the edge: text typed by a person becomes SI once, and SI becomes text for a person once.

Everything inside is SI. `kinds`: what numbers measure and the units each may be typed in; `systems`: the units a
workshop likes; `conversion`: how large units are; `reading`: text to SI; `writing`: SI to text; `measure`: the mark of
a form field. In: what was typed, with the workshop's `UnitSystem`; out: a `Quantity`, or text.
"""

from app.units.kinds import KINDS, Kind, pint_name
from app.units.measure import Measure
from app.units.reading import Quantity, UnitError, example, in_unit, parse
from app.units.systems import METRIC, US, UnitSystem, chosen, unit_of
from app.units.writing import (
    convert,
    convert_each,
    counted,
    decimals_for,
    editable,
    exact,
    law_factor,
    number,
    say,
    show,
)

__all__ = [
    "KINDS",
    "METRIC",
    "US",
    "Kind",
    "Measure",
    "Quantity",
    "UnitError",
    "UnitSystem",
    "chosen",
    "convert",
    "convert_each",
    "counted",
    "decimals_for",
    "editable",
    "exact",
    "example",
    "in_unit",
    "law_factor",
    "number",
    "parse",
    "pint_name",
    "say",
    "show",
    "unit_of",
]
