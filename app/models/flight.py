"""The form of a flight estimate: a motor's curve in a rocket, from a field, on a day."""

from typing import Annotated, Literal

from pydantic import Field as FormField

from app.calc.base.notes import Amount
from app.models.base import FormIn, hint
from app.models.place import STEEPEST
from app.units import Measure, Quantity


class FlightIn(FormIn):
    """Which rocket, from where, in what weather. The rail is the rocket's where it is left empty."""

    rocket_id: int = FormField(title="Rocket")
    launch_field_id: int = FormField(title="Field")
    rail: Annotated[Quantity, Measure("length", gt=0.2, le=20, usual=(0.5, 10))] | None = FormField(
        None, title="Rail length", description="Travel until the last guide leaves it. Left empty: the rocket's own."
    )
    tilt: Annotated[Quantity, Measure("angle", ge=0, le=STEEPEST)] | None = FormField(
        None, title="Rail from upright", description="20° at most. Left empty: the rocket's own."
    )
    leans: Literal["into", "with"] = FormField("into", title="The rail leans")
    empty_motor: Annotated[Quantity, Measure("mass", gt=0, le=100, usual=(0.02, 30))] | None = FormField(
        None, title="Mass of the empty motor", description="Case, closures and nozzle. Left empty: the case's own."
    )
    delay: Annotated[Quantity, Measure("time", ge=0, le=120, usual=(0, 30))] | None = FormField(
        None, title="Ejection delay", description="From burnout, if the motor's charge opens the parachute."
    )
    wind: Annotated[Quantity, Measure("speed", ge=0, le=80, usual=(0, 20))] | None = FormField(
        None, title="Wind", description="A mean over some minutes. Left empty: still air, and no word on landing."
    )
    gust: Annotated[Quantity, Measure("speed", ge=0, le=80, usual=(0, 30))] | None = FormField(
        None,
        title="Gusts up to",
        description="The strongest within some minutes. Left empty: half as much again as the wind.",
    )
    wind_height: Annotated[Quantity, Measure("altitude", ge=0.5, le=100)] | None = FormField(
        None,
        title="Measured at",
        json_schema_extra=hint("Above the ground. Left empty: {usual}.", usual=Amount(2, "altitude")),
    )
    wind_from: Literal["N", "NE", "E", "SE", "S", "SW", "W", "NW"] | None = FormField(None, title="Wind from")
    air_temperature: Annotated[Quantity, Measure("temperature", gt=220, lt=340, usual=(240, 323))] | None = FormField(
        None, title="Air temperature", description="Left empty: the standard for the field's elevation."
    )
