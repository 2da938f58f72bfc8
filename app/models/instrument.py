"""Checks of scales and thermometers: what they were held against, and what they read."""

from datetime import datetime
from typing import Annotated, Literal

from pydantic import Field as FormField
from sqlalchemy import CheckConstraint
from sqlmodel import Field

from app.models.asking import When
from app.models.base import FormIn, Row, Utc, one_of
from app.units import Measure, Quantity

AGAINST = {
    "boiling": "Boiling water",
    "ice": "Melting ice in water",
    "other": "Another thermometer, or a temperature that is known",
}
"""What a thermometer is held against."""

Instrument = Annotated[str, FormField(min_length=1, max_length=80)]


class ScaleCheck(Row, table=True):
    """A known mass on a scale, and what it read; struck out with a reason, never erased."""

    __tablename__ = "scale_check"
    __table_args__ = (
        CheckConstraint("known_kg > 0", name="known"),
        CheckConstraint("tolerance_kg > 0", name="tolerance"),
        CheckConstraint("voided_at IS NULL OR coalesce(length(voided_why), 0) > 0", name="voided_with_reason"),
    )

    instrument: str = Field(index=True)
    checked_at: datetime = Field(sa_type=Utc)
    known_kg: float
    known_typed: str
    read_kg: float
    read_typed: str
    tolerance_kg: float
    tolerance_typed: str
    person: str = ""
    note: str = ""
    voided_at: datetime | None = Field(default=None, sa_type=Utc)
    voided_why: str | None = None


class ThermometerCheck(Row, table=True):
    """A thermometer in boiling water, melting ice or beside another one, and what it read; struck out, never erased.

    The boiling point is that of the height or the air's pressure told, and stays as it was reckoned.
    """

    __tablename__ = "thermometer_check"
    __table_args__ = (
        CheckConstraint("tolerance_k > 0", name="tolerance"),
        CheckConstraint("voided_at IS NULL OR coalesce(length(voided_why), 0) > 0", name="voided_with_reason"),
    )

    instrument: str = Field(index=True)
    checked_at: datetime = Field(sa_type=Utc)
    against: str = Field(sa_column_kwargs=one_of(*AGAINST))
    known_k: float
    known_typed: str | None = None
    elevation_m: float | None = None
    elevation_typed: str | None = None
    air_pressure_pa: float | None = None
    air_pressure_typed: str | None = None
    read_k: float
    read_typed: str
    tolerance_k: float
    tolerance_typed: str
    person: str = ""
    note: str = ""
    voided_at: datetime | None = Field(default=None, sa_type=Utc)
    voided_why: str | None = None


class ScaleCheckIn(FormIn):
    """The form of a scale's check."""

    instrument: Instrument = FormField(title="Scale", description="What you call it: the small scale, the kitchen one.")
    known: Annotated[Quantity, Measure("mass", gt=0, le=50, usual=(0.001, 10))] = FormField(
        title="Known mass", description="A check weight, or a thing weighed on a scale that is trusted."
    )
    read: Annotated[Quantity, Measure("mass", ge=0, le=60)] = FormField(title="Scale reads")
    tolerance: Annotated[Quantity, Measure("mass", gt=0, le=1)] = FormField(
        title="May be off by", description="Beyond that it is said wherever the scale is used."
    )
    note: str = FormField("", max_length=300, title="Note")


class ThermometerCheckIn(FormIn):
    """The form of a thermometer's check."""

    whens = (
        When("against", ("boiling",), ("elevation", "air_pressure")),
        When("against", ("other",), ("known",), "Say what the other thermometer read."),
    )

    instrument: Instrument = FormField(title="Thermometer", description="What you call it.")
    against: Literal["boiling", "ice", "other"] = FormField(title="Held against")
    elevation: Annotated[Quantity, Measure("altitude", ge=-500, le=6000, usual=(-100, 4500))] | None = FormField(
        None, title="Height above sea level", description="For boiling water: it boils cooler on a hill."
    )
    air_pressure: Annotated[Quantity, Measure("air_pressure", ge=40_000, le=110_000)] | None = FormField(
        None,
        title="Or the air's pressure",
        description="At the place, not reduced to sea level: nearer than the height, for weather moves the boiling "
        "point by up to a degree.",
    )
    known: Annotated[Quantity, Measure("temperature", gt=250, lt=500)] | None = FormField(
        None, title="Known temperature", description="Of another thermometer; boiling water and ice are reckoned."
    )
    read: Annotated[Quantity, Measure("temperature", gt=220, lt=600)] = FormField(title="Thermometer reads")
    tolerance: Annotated[Quantity, Measure("temperature_step", gt=0, le=30)] = FormField(
        title="May be off by", description="Beyond that it is said wherever the pan's temperature is read."
    )
    note: str = FormField("", max_length=300, title="Note")
