"""Systems of units: what a workshop reads and writes in, and with how many decimals."""

from functools import cache
from typing import NamedTuple


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

DECIMALS = {
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


def unit_of(kind_name: str, units: UnitSystem = METRIC) -> str:
    """The unit's sign as printed beside numbers of this kind."""
    return str(getattr(units, kind_name))
