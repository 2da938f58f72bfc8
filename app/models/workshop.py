"""The workshop's own settings: one row, with the rules and the units."""

from collections.abc import Mapping
from math import radians, tan
from typing import Annotated, Any, Literal, get_args

from pydantic import BeforeValidator
from pydantic import Field as FormField
from sqlalchemy import CheckConstraint

from app.calc.base.notes import Amount
from app.calc.flight.wind import LARGEST_ANGLE
from app.calc.motor.assembly import C_STAR_EFFICIENCY, NOZZLE_EFFICIENCY
from app.calc.motor.spread import C_STAR_SPREAD, NOZZLE_SPREAD
from app.models.base import FormIn, Row, hint
from app.units import METRIC, US, Measure, Quantity, UnitSystem, chosen

LengthUnit = Literal["mm", "in"]
AltitudeUnit = Literal["m", "ft"]
MassUnit = Literal["g", "oz"]
PressureUnit = Literal["MPa", "bar", "psi"]
TemperatureUnit = Literal["°C", "°F"]
SpeedUnit = Literal["m/s", "km/h", "mph"]
HeavyMassUnit = Literal["g", "kg", "lb"]
ForceUnit = Literal["N", "lbf"]
ImpulseUnit = Literal["N·s", "lbf·s"]
BurnRateUnit = Literal["mm/s", "in/s"]
AreaUnit = Literal["mm²", "cm²", "in²"]
VolumeUnit = Literal["cm³", "in³"]
DensityUnit = Literal["g/cm³", "kg/m³", "lb/in³"]

SYSTEMS = {"Metric": METRIC, "US": US}
OWN: Literal["Each by itself"] = "Each by itself"
UNIT_FIELDS = {
    f"{kind}_unit": kind
    for kind in (
        "length",
        "altitude",
        "mass",
        "heavy_mass",
        "pressure",
        "temperature",
        "speed",
        "force",
        "impulse",
        "burn_rate",
        "area",
        "volume",
        "density",
    )
}
"""The columns that hold a chosen unit, with the kinds they are for."""


def _months(text: Any) -> str:
    """Months as numbers in their order, from numbers with commas or spaces between them."""
    parts = str(text or "").replace(",", " ").split()
    if not all(part.isdecimal() and 1 <= int(part) <= 12 for part in parts):
        raise ValueError("Write months as numbers from 1 to 12, such as 11, 12, 1.")
    return ",".join(str(month) for month in sorted({int(part) for part in parts}))


Months = Annotated[str, BeforeValidator(_months)]
Share = Annotated[Quantity, Measure("share", ge=0, le=1, usual=(0.001, 0.6))]
LEAST_PORT = 2.1
"""Port over throat below which a new book's predictions warn [-]: there the gas on its way out alone lifts the pressure
at the closed end of the cores by a tenth over that at the open end (`calc.motor.core_flow`; k of these blends' gas)."""

FAHRENHEIT_220_K = (220 + 459.67) * 5 / 9
FAHRENHEIT_250_K = (250 + 459.67) * 5 / 9


class Workshop(Row, table=True):
    """Rules and units. Defaults are common practice (no source) unless the field says otherwise."""

    __table_args__ = (
        CheckConstraint("id = 1", name="one_row"),
        CheckConstraint("checklist_valid_s > 0", name="checklist_valid"),
        CheckConstraint("remelt_limit_share BETWEEN 0 AND 1", name="remelt_limit"),
        CheckConstraint("reject_share < accept_share", name="verdict_order"),
        CheckConstraint("hold_limit_kg IS NULL OR (hold_limit_kg > 0 AND hold_limit_source <> '')", name="hold_limit"),
        CheckConstraint("damp_cure_s IS NULL OR damp_cure_s >= 0", name="damp_cure"),
    )

    person: str = ""
    length_unit: str = "mm"
    altitude_unit: str = "m"
    mass_unit: str = "g"
    pressure_unit: str = "MPa"
    temperature_unit: str = "°C"
    speed_unit: str = "m/s"
    heavy_mass_unit: str = "g"
    force_unit: str = "N"
    impulse_unit: str = "N·s"
    burn_rate_unit: str = "mm/s"
    area_unit: str = "mm²"
    volume_unit: str = "cm³"
    density_unit: str = "g/cm³"
    scale_resolution_kg: float = 1e-4
    ruler_resolution_m: float = 1e-4
    weigh_tolerance_share: float = 0.005
    over_pour_share: float = 0.05
    test_pieces_kg: float = 0.01
    expected_density_share: float = 0.95
    accept_share: float = 0.95
    reject_share: float = 0.85
    remelt_limit_share: float = 0.15
    checklist_valid_s: float = 4 * 3600.0
    pan_low_k: float = FAHRENHEIT_220_K
    pan_low_typed: str = "220 °F"
    pan_limit_k: float = FAHRENHEIT_250_K
    pan_limit_typed: str = "250 °F"
    pan_capacity_kg: float | None = None
    pan_capacity_typed: str | None = None
    known_melt_kg: float | None = None
    known_melt_typed: str | None = None
    cure_s: float = 7 * 86400.0
    c_star_efficiency_share: float = C_STAR_EFFICIENCY
    c_star_spread_share: float = C_STAR_SPREAD
    nozzle_efficiency_share: float = NOZZLE_EFFICIENCY
    nozzle_spread_share: float = NOZZLE_SPREAD
    grain_gap_m: float = 0.002
    rate_per_kelvin_share: float = 0.003
    igniter_pressure_pa: float = 0.5e6
    rail_angle_rad: float = LARGEST_ANGLE
    least_port_to_throat: float = LEAST_PORT
    learn: bool = True
    elsewhere_folder: str = ""
    elsewhere_key: str = ""
    currency: str = ""
    hold_limit_source: str = ""
    hold_limit_typed: str | None = None
    hold_limit_kg: float | None = None
    damp_months: str = ""
    damp_cure_s: float | None = None

    @property
    def units(self) -> UnitSystem:
        """The units to read bare numbers in and to write numbers in."""
        return chosen(**{kind: getattr(self, column) for column, kind in UNIT_FIELDS.items()})

    @property
    def system(self) -> str:
        """The one choice that these units are, or that each was chosen by itself."""
        return system_of(self.units)


def system_of(units: UnitSystem) -> str:
    """The one choice that these units are, or that each was chosen by itself."""
    return next((name for name, system in SYSTEMS.items() if system == units), OWN)


def units_in(form: Mapping[str, Any], standing: UnitSystem) -> dict[str, str]:
    """The units a settings form means, by column: what was chosen, what the whole system brings, what stood there.

    A system that is newly chosen sets every unit but those that were changed by hand in the same form.
    """
    named = str(form.get("system") or system_of(standing))
    system = SYSTEMS.get(named) if named != system_of(standing) else None
    found = {}
    for column, kind in UNIT_FIELDS.items():
        stood = str(getattr(standing, kind))
        picked = str(form.get(column) or stood)
        if picked not in get_args(WorkshopIn.model_fields[column].annotation):
            picked = stood  # the list will be pointed at
        found[column] = str(getattr(system, kind)) if system is not None and picked == stood else picked
    return found


class WorkshopIn(FormIn):
    """The settings form."""

    together = (("hold_limit", "hold_limit_source"),)

    def signature(self) -> str:
        """Nobody's: the name in this form is a setting."""
        return ""

    @classmethod
    def reads_in(cls, texts: Mapping[str, str], units: UnitSystem) -> UnitSystem:
        """The units chosen in the same save."""
        return chosen(**{UNIT_FIELDS[column]: unit for column, unit in units_in(texts, units).items()})

    person: str = FormField(
        "", max_length=80, title="Who works here", description="Written beside checklists and decisions."
    )
    system: Literal["Metric", "US", "Each by itself"] = FormField(
        title="Units", description="One choice for everything below; a unit changed by itself there counts too."
    )
    length_unit: LengthUnit = FormField(title="Lengths")
    altitude_unit: AltitudeUnit = FormField(title="Heights")
    mass_unit: MassUnit = FormField(title="Masses")
    pressure_unit: PressureUnit = FormField(title="Pressures")
    temperature_unit: TemperatureUnit = FormField(title="Temperatures")
    speed_unit: SpeedUnit = FormField(title="Speeds")
    heavy_mass_unit: HeavyMassUnit = FormField(title="Rockets' masses")
    force_unit: ForceUnit = FormField(title="Thrust")
    impulse_unit: ImpulseUnit = FormField(title="Impulse")
    burn_rate_unit: BurnRateUnit = FormField(title="Burn rates")
    area_unit: AreaUnit = FormField(title="Areas")
    volume_unit: VolumeUnit = FormField(title="Volumes")
    density_unit: DensityUnit = FormField(title="Densities")
    scale_resolution: Annotated[Quantity, Measure("mass", gt=0, le=0.1, usual=(1e-6, 0.01))] = FormField(
        title="The scale reads to", description="The smallest step of your scale."
    )
    ruler_resolution: Annotated[Quantity, Measure("length", gt=0, le=0.005, usual=(5e-6, 0.002))] = FormField(
        title="The caliper reads to"
    )
    weigh_tolerance: Annotated[Quantity, Measure("share", ge=0, le=1, usual=(0.0005, 0.1))] = FormField(
        title="Weigh-out tolerance", description="A weighed amount further off its target than this is marked."
    )
    over_pour: Share = FormField(title="Over-pour", description="Extra for the pan, the spoon and the sprue.")
    test_pieces: Annotated[Quantity, Measure("mass", ge=0, le=1, usual=(0.001, 0.5))] = FormField(
        title="Test pieces per batch", description="Set aside from each pour for test sticks."
    )
    expected_density: Annotated[Quantity, Measure("share", gt=0.5, le=1)] = FormField(
        title="Expected density", description="Share of the ideal density that your grains usually reach."
    )
    accept: Annotated[Quantity, Measure("share", gt=0.5, le=1)] = FormField(
        title="Accept a grain from", description="Share of ideal density. Below it: look at the grain."
    )
    reject: Annotated[Quantity, Measure("share", gt=0, lt=1)] = FormField(
        title="Reject a grain below", description="Share of ideal density. Published failures lie below 85 %."
    )
    remelt_limit: Share = FormField(
        title="Remelt at most", description="Share of earlier leftovers in a batch. About 15 % is common practice."
    )
    checklist_valid: Annotated[Quantity, Measure("time", gt=0, le=86400, unit="h", usual=(900, 43200))] = FormField(
        title="A checklist holds for", description="A cast session must open within this time of its checklist."
    )
    pan_low: Annotated[Quantity, Measure("temperature", gt=300, lt=480, usual=(340, 425))] = FormField(
        title="Pan: work from"
    )
    pan_limit: Annotated[Quantity, Measure("temperature", gt=300, lt=480, usual=(340, 425))] = FormField(
        title="Pan: never above",
        json_schema_extra=hint(
            "{low} to {high} is common practice.",
            low=Amount(FAHRENHEIT_220_K, "temperature"),
            high=Amount(FAHRENHEIT_250_K, "temperature"),
        ),
    )
    pan_capacity: Annotated[Quantity, Measure("mass", gt=0, le=50, usual=(0.1, 20))] | None = FormField(
        None, title="Pan: holds safely", description="Of melt, with room to stir. A plan above it is split into melts."
    )
    known_melt: Annotated[Quantity, Measure("mass", gt=0, le=50, usual=(0.1, 20))] | None = FormField(
        None,
        title="Largest melt before this book",
        description="What you have made before; what was cast in this book is counted by itself.",
    )
    cure: Annotated[Quantity, Measure("time", ge=0, le=90 * 86400, unit="days", usual=(3600, 60 * 86400))] = FormField(
        title="Cure for", description="A week is common practice."
    )
    c_star_efficiency: Annotated[Quantity, Measure("share", gt=0.3, le=1.2)] = FormField(
        title="Combustion efficiency",
        description="Delivered over ideal characteristic velocity (c*). Published: 98 to 99 % for well-made motors "
        "(nakka-rocketry.net); about 78 to 82 % follows from two public static tests (Nakuja N-4). 88 % is the middle.",
    )
    c_star_spread: Annotated[Quantity, Measure("share", ge=0.03, le=0.3)] = FormField(
        title="… how far yours may be off it",
        description="One standard deviation, before your own firings. 12 % lets a range hold from 80 to 98 %.",
    )
    nozzle_efficiency: Annotated[Quantity, Measure("share", gt=0.3, le=1)] = FormField(
        title="Nozzle efficiency",
        description="Delivered over ideal thrust coefficient. 88 % is the middle of 82 to 95 %: an assumption.",
    )
    nozzle_spread: Annotated[Quantity, Measure("share", ge=0.03, le=0.3)] = FormField(
        title="… how far yours may be off it",
        description="One standard deviation, before your own firings. 7 % lets a range hold from 82 to 95 %. Three "
        "static tests are worth more than any default here.",
    )
    hold_limit: Annotated[Quantity, Measure("heavy_mass", gt=0, le=10000, usual=(0.1, 500))] | None = FormField(
        None,
        title="Propellant held at once, at most",
        description="Your law's limit, or your own. The shelf shows it, and a season's plan keeps to it.",
    )
    hold_limit_source: str = FormField(
        "", max_length=300, title="Where that limit stands", description="The law, the paper, the day you read it."
    )
    currency: str = FormField("", max_length=8, title="Currency", description="Of prices typed without one, such as €.")
    damp_months: Months = FormField(
        "", max_length=80, title="Damp months", description="As numbers, such as 11, 12, 1. Nothing is cast in them."
    )
    damp_cure: Annotated[Quantity, Measure("time", ge=0, le=180 * 86400, unit="days")] | None = FormField(
        None,
        title="… or they cure for",
        description="If you do cast in a damp month: how long what is cast then cures. Left empty: no casting then.",
    )
    grain_gap: Annotated[Quantity, Measure("length", ge=0, le=0.05, usual=(0.0001, 0.01))] = FormField(
        title="Gap between grains", description="Spacer or O-ring between burning end faces."
    )
    rate_per_kelvin: Annotated[Quantity, Measure("per_temperature", ge=0, le=0.02)] = FormField(
        title="Burn rate grows by",
        json_schema_extra=hint(
            "For each degree that the grain is warmer. An assumption, and drawn in each range: none is published for "
            "these blends. {low} to {high} follow from a public word on chamber pressure: 30 % from winter to summer "
            "(DARE, TU Delft).",
            low=Amount(0.0016, "per_temperature"),
            high=Amount(0.0058, "per_temperature"),
        ),
    )
    igniter_pressure: Annotated[Quantity, Measure("pressure", ge=2e5, le=5e6, usual=(2e5, 3e6))] = FormField(
        title="Pressure at ignition", description="What the igniter alone brings the chamber to; an assumption."
    )
    least_port_to_throat: float = FormField(
        title="Port over throat, at least",
        ge=1,
        le=10,
        description="Narrowest core over throat, by area. Below it a prediction warns of gas that strips the cores. "
        "At 2.1 the pressure at the front of the cores stands a tenth above that at the nozzle's end (momentum alone). "
        "Your own mark, best from your own firings; 1 warns of none. Of composites, textbooks say 4 (from memory).",
    )
    rail_angle: Annotated[Quantity, Measure("angle", ge=0.05, le=1.0)] = FormField(
        title="Air off the nose at the rail, at most",
        json_schema_extra=hint(
            "As a rocket leaves its rail, in the mean wind and in a gust. A rule of thumb, no source: 15 to 20°. 15° "
            "off a rail at {exit} are {wind} of wind.",
            exit=Amount(14.0, "speed"),
            wind=Amount(14.0 * tan(radians(15)), "speed"),
        ),
    )
    learn: bool = FormField(
        False,
        title="Predictions use what firings taught",
        description="Off: every prediction stands on the published laws and the efficiencies above alone.",
    )
