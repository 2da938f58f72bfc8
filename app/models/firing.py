"""A firing: a static test or a flight of a build, and what came of it."""

from datetime import datetime
from typing import Annotated, Literal

from pydantic import Field as FormField
from sqlalchemy import CheckConstraint, Index, text
from sqlmodel import Field

from app.models.asking import When
from app.models.base import FormIn, Row, Utc
from app.models.hardware import Throat
from app.units import Measure, Quantity

RESULTS = {
    "good": "Burned well",
    "weak": "Weak or slow",
    "rough": "Rough: chuffed or surged",
    "no_light": "Did not light",
    "nozzle": "Nozzle or closure failed",
    "burst": "Case burst",
    "burn_through": "Case burned through",
    "recovery": "Motor good, recovery failed",
    "other": "Something else",
}

FAILED = ("nozzle", "burst", "burn_through")
"""Results that ask for what was found."""

MEASURED = ("delay_seen", "lit_after", "altitude", "measured_impulse", "measured_burn_time", "measured_peak_pressure")
"""What there is to measure of a motor that lit."""

WINDS = {
    "N": "north",
    "NE": "north-east",
    "E": "east",
    "SE": "south-east",
    "S": "south",
    "SW": "south-west",
    "W": "west",
    "NW": "north-west",
}

SMOKE = {"usual": "White, as usual", "thin": "Thin", "dark": "Dark or sooty", "none": "None seen"}

NOZZLES = {
    "clean": "Clean",
    "crust": "Crust in the throat",
    "worn": "Throat worn or oval",
    "cracked": "Cracked or chipped",
    "gone": "Gone",
}


class Firing(Row, table=True):
    """One attempt. All but 'did not light' use up the grains, and count a use of the nozzle."""

    __table_args__ = (
        CheckConstraint("kind IN ('static', 'flight')", name="kind"),
        CheckConstraint("kind = 'flight' OR rocket_id IS NULL", name="rocket_flies"),
        CheckConstraint("measured_impulse_ns IS NULL OR measured_impulse_ns > 0", name="impulse"),
        Index("uq_firing_consumed", "motor_build_id", unique=True, sqlite_where=text("result <> 'no_light'")),
    )

    motor_build_id: int = Field(foreign_key="motor_build.id", index=True)
    kind: str
    fired_at: datetime = Field(sa_type=Utc)
    result: str
    words: str = ""
    rocket_id: int | None = Field(default=None, foreign_key="rocket.id")
    launch_field_id: int | None = Field(default=None, foreign_key="launch_field.id")
    air_temperature_k: float | None = None
    air_temperature_typed: str | None = None
    wind_m_s: float | None = None
    wind_typed: str | None = None
    weather: str = ""
    altitude_m: float | None = None
    altitude_typed: str | None = None
    measured_impulse_ns: float | None = None
    measured_impulse_typed: str | None = None
    measured_burn_time_s: float | None = None
    measured_burn_time_typed: str | None = None
    measured_peak_pressure_pa: float | None = None
    measured_peak_pressure_typed: str | None = None
    throat_after_m: float | None = None
    throat_after_typed: str | None = None
    igniter: str = ""
    igniter_made: str = ""
    delay_planned_s: float | None = None
    delay_planned_typed: str | None = None
    delay_seen_s: float | None = None
    delay_seen_typed: str | None = None
    delay_words: str = ""
    humidity_share: float | None = None
    humidity_typed: str | None = None
    air_pressure_pa: float | None = None
    air_pressure_typed: str | None = None
    wind_from: str | None = None
    smoke: str | None = None
    lit_after_s: float | None = None
    lit_after_typed: str | None = None
    chuffed: bool = False
    spat: bool = False
    nozzle_seen: str | None = None


class FiringIn(FormIn):
    """The firing form; a static test is asked for no rocket, what did not light for nothing measured."""

    whens = (
        When("kind", ("flight",), ("rocket_id",), "A flight needs its rocket; choose which one flew."),
        When("kind", ("flight",), ("altitude",), once=True),
        When("result", ("no_light",), MEASURED, unless=True, once=True),
    )

    motor_build_id: int = FormField(title="Motor")
    kind: Literal["static", "flight"] = FormField(title="Kind")
    fired_at: datetime = FormField(title="When", description="Your local time.")
    launch_field_id: int | None = FormField(None, title="Field or test place")
    rocket_id: int | None = FormField(None, title="Rocket", description="For a flight.")
    air_temperature: Annotated[Quantity, Measure("temperature", gt=220, lt=340, usual=(240, 323))] | None = FormField(
        None, title="Air temperature"
    )
    wind: Annotated[Quantity, Measure("speed", ge=0, le=80, usual=(0, 20))] | None = FormField(None, title="Wind")
    wind_from: Literal["N", "NE", "E", "SE", "S", "SW", "W", "NW"] | None = FormField(None, title="Wind from")
    humidity: Annotated[Quantity, Measure("share", ge=0, le=1, usual=(0.05, 1))] | None = FormField(
        None, title="Humidity"
    )
    air_pressure: Annotated[Quantity, Measure("air_pressure", ge=50_000, le=110_000)] | None = FormField(
        None, title="Air pressure", description="At the place, not reduced to sea level."
    )
    weather: str = FormField("", max_length=300, title="Weather in words")
    igniter: str = FormField("", max_length=200, title="Igniter", description="What it was and where it sat.")
    igniter_made: str = FormField("", max_length=500, title="How it was made")
    delay_planned: Annotated[Quantity, Measure("time", ge=0, le=120, usual=(0, 30))] | None = FormField(
        None, title="Delay planned", description="From burnout to ejection."
    )
    delay_seen: Annotated[Quantity, Measure("time", ge=0, le=600, usual=(0, 60))] | None = FormField(
        None, title="Delay as it was"
    )
    delay_words: str = FormField("", max_length=300, title="What really happened at the ejection")
    result: Literal["good", "weak", "rough", "no_light", "nozzle", "burst", "burn_through", "recovery", "other"] = (
        FormField(title="Result")
    )
    smoke: Literal["usual", "thin", "dark", "none"] | None = FormField(None, title="Smoke")
    lit_after: Annotated[Quantity, Measure("time", ge=0, le=600, usual=(0, 60))] | None = FormField(
        None, title="Lit late by", description="From the igniter's fire to full thrust."
    )
    chuffed: bool = FormField(False, title="It chuffed")
    spat: bool = FormField(False, title="It spat out burning pieces")
    nozzle_seen: Literal["clean", "crust", "worn", "cracked", "gone"] | None = FormField(
        None, title="Nozzle afterwards"
    )
    words: str = FormField(
        "",
        max_length=4000,
        title="What was seen",
        json_schema_extra={"rows": 4},
        description="After a failure you are asked next what was found of case, closures, nozzle and grains.",
    )
    altitude: Annotated[Quantity, Measure("altitude", gt=0, le=200000, usual=(5, 12000))] | None = FormField(
        None, title="Altitude reached", description="Above the field."
    )
    measured_impulse: Annotated[Quantity, Measure("impulse", gt=0, le=200000, usual=(1, 41000))] | None = FormField(
        None, title="Measured impulse"
    )
    measured_burn_time: Annotated[Quantity, Measure("time", gt=0, le=120, usual=(0.2, 20))] | None = FormField(
        None, title="Measured burn time"
    )
    measured_peak_pressure: Annotated[Quantity, Measure("pressure", gt=0, le=1e8, usual=(3e5, 2e7))] | None = FormField(
        None,
        title="Measured peak pressure",
        description="Absolute. Of a gauge that shows 0 in the open: write psig or bar g.",
    )
    throat_after: Throat | None = FormField(
        None, title="Throat afterwards", description="Goes into the nozzle's history."
    )
