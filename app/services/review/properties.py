"""What is known of a motor before it burns, as reviews look at it: how it is called, counted and compared in words."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from app.pens import written
from app.services.review.burned_motors import Burn
from app.units import UnitSystem, convert, unit_of

DAY = 86400.0


@dataclass(frozen=True)
class Property:
    """One property of a motor. `kind` is a kind of unit, or 'days'; `more` and `less` complete 'the good ones ...'."""

    key: str
    label: str
    kind: str
    decimals: int
    more: str
    less: str
    lacks: str
    value: Callable[[Burn], float | None]

    def number(self, si: float, units: UnitSystem) -> float:
        """A value in the unit it is shown in."""
        return si / DAY if self.kind == "days" else convert(si, self.kind, units)

    def numbers(self, values: Sequence[float], units: UnitSystem) -> list[float]:
        """Many values in the unit they are shown in; from one unit to another is a straight line, asked for once."""
        zero, far = self.number(0.0, units), self.number(1000.0, units)
        return [zero + (far - zero) / 1000 * value for value in values]

    def unit(self, units: UnitSystem) -> str:
        """The unit it is shown in."""
        return "days" if self.kind == "days" else unit_of(self.kind, units)

    def text(self, si: float, units: UnitSystem) -> str:
        """A value without its unit."""
        return written(self.number(si, units), self.decimals)


PROPERTIES = (
    Property(
        "density",
        "Density of the grains, mean",
        "share",
        1,
        "were denser",
        "were less dense",
        "Weigh the grains with their sizes.",
        lambda b: b.density,
    ),
    Property(
        "least_density",
        "Density of the lightest grain",
        "share",
        1,
        "had a denser lightest grain",
        "had a less dense lightest grain",
        "Weigh the grains with their sizes.",
        lambda b: b.least_density,
    ),
    Property(
        "mass_spread",
        "Spread of the grains' masses",
        "share",
        2,
        "had less even grains",
        "had more even grains",
        "It takes two grains of one pattern in a motor.",
        lambda b: b.mass_spread,
    ),
    Property(
        "cure",
        "Age of the youngest grains",
        "days",
        1,
        "had older grains",
        "had younger grains",
        "Tick off the pour in the cast session.",
        lambda b: b.cure_s,
    ),
    Property(
        "pan",
        "Pan at the pour",
        "temperature",
        1,
        "were poured hotter",
        "were poured cooler",
        "Write down the pan's temperature before the pour.",
        lambda b: b.pan_k,
    ),
    Property(
        "gain",
        "Mass gained since the label",
        "share",
        2,
        "had gained more since the label",
        "had gained less since the label",
        "Weigh the grains again before they go into the motor.",
        lambda b: b.gain,
    ),
    Property(
        "cast_humidity",
        "Humidity at the cast",
        "share",
        0,
        "were cast in damper air",
        "were cast in drier air",
        "Write down the humidity in the cast session.",
        lambda b: b.cast_humidity,
    ),
    Property(
        "humidity",
        "Humidity at the firing",
        "share",
        0,
        "were fired in damper air",
        "were fired in drier air",
        "Write down the humidity with the firing.",
        lambda b: b.humidity,
    ),
    Property(
        "temperature",
        "Temperature of the grains",
        "temperature",
        1,
        "were warmer",
        "were colder",
        "It is asked for when a motor is built.",
        lambda b: b.grain_temperature_k,
    ),
)
"""What is looked at. `lacks` says how it comes into the book."""
