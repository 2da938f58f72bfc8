"""Numbers that can be read but can hardly be meant: beyond what their field usually holds, or a share below 1.

Each is asked about once (`app.errors.Asked`), with the readings that would fit: the same number in another unit.

A field says what its thing usually is by `Measure(usual=…)`; a service raises `Asked` itself unless
`data.sure_of(field)`. An answer is sent as `meant.<question>.<field>`, stands in the field, and holds for that text
alone.
"""

from app.errors import Asked
from app.units import METRIC, Measure, Quantity, UnitError, UnitSystem, exact, in_unit, parse

_UNITS = {
    "length": (("mm", "cm", "m"), ("in", "ft")),
    "altitude": (("m", "km"), ("ft",)),
    "mass": (("g", "kg"), ("oz", "lb")),
    "heavy_mass": (("kg", "g"), ("lb", "oz")),
    "pressure": (("MPa", "bar", "kPa"), ("psi",)),
    "air_pressure": (("hPa", "kPa"), ("inHg", "psi")),
    "temperature": (("°C", "°F"),),
    "time": (("s", "min", "h", "days"),),
    "speed": (("m/s", "km/h"), ("mph", "ft/s")),
    "impulse": (("N·s",), ("lbf·s",)),
    "force": (("N",), ("lbf",)),
    "angle": (("°",),),
    "area": (("mm²", "cm2", "m2"), ("in²", "ft2")),
    "burn_rate": (("mm/s",), ("in/s",)),
}
"""Units that numbers of a kind are thought of in, one system after another."""

_MOST = 3
"""Readings to choose from, beside what was typed."""


def about(name: str, text: str, quantity: Quantity, measure: Measure, units: UnitSystem) -> Asked | None:
    """The question that a readable number raises, if it does."""
    if measure.kind == "share" and _bare(text, quantity) and 0 < abs(quantity.si) < 0.01:
        whole = parse(f"{in_unit(text, '', 'share')}", "share").si * 100
        if not (_usual(quantity.si, measure) and not _usual(whole, measure)):
            percent = f"{whole * 100:.10g} %"
            return Asked(
                f"Is that {quantity.typed} or {percent}? Choose one.",
                name,
                [quantity.typed, percent],
                keep=None,
                about="usual",
            )
    if _usual(quantity.si, measure):
        return None
    assert measure.usual is not None, "else it is usual"
    low, high = (_in_words(bound, measure, units) for bound in measure.usual)
    return Asked(
        f"“{quantity.typed}” is unusual here; from {low} to {high} is usual. Which did you mean?",
        name,
        fitting(text, quantity, measure, units),
        about="usual",
    )


def fitting(text: str, quantity: Quantity, measure: Measure, units: UnitSystem) -> list[str]:
    """The same number in the units in which it would be usual here, those of the workshop's system first."""
    if measure.kind == "share":
        tried = [f"{quantity.si * 1e4:.10g} %"]
    else:
        own = getattr(measure.system(units), measure.kind)
        systems = _UNITS.get("air_pressure" if own == "hPa" else measure.kind, ())
        ordered = [unit for system in sorted(systems, key=lambda system: own not in system) for unit in system]
        tried = [reading for unit in ordered if (reading := in_unit(text, unit, measure.kind))]
    found: dict[float, str] = {}
    for reading in tried:
        si = _si(reading, measure)
        if si is not None and si != quantity.si and measure.beyond(si) is None and _usual(si, measure):
            found.setdefault(si, reading)
    return list(found.values())[:_MOST]


def _in_words(si: float, measure: Measure, units: UnitSystem) -> str:
    """A bound in the unit of the workshop's system in which it is short: 60 kg, not 60000 g."""
    own = getattr(units, measure.kind)
    of_system = next((system for system in _UNITS.get(measure.kind, ()) if own in system), ())
    texts = [exact(si, measure.kind, units._replace(**{measure.kind: unit})) for unit in (own, *of_system)]
    return min(texts, key=len)


def _si(reading: str, measure: Measure) -> float | None:
    try:
        return measure.read(reading, METRIC).si
    except UnitError:
        return None


def _usual(si: float, measure: Measure) -> bool:
    """Within what is usual; nothing at all is clear where the field takes it."""
    return measure.usual is None or si == 0 or measure.usual[0] <= si <= measure.usual[1]


def _bare(text: str, quantity: Quantity) -> bool:
    return quantity.typed != text.strip()
