"""A test piece: a small stick from the pour, burned in the open."""

from datetime import date, datetime
from typing import Annotated

from pydantic import Field as FormField
from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field

from app.models.base import FormIn, Row, Utc
from app.units import Measure, Quantity


class TestPiece(Row, table=True):
    """A stick of a batch, its length between the marks, how long it burned and in what air."""

    __test__ = False
    __tablename__ = "test_piece"
    __table_args__ = (
        UniqueConstraint("batch_id", "number"),
        CheckConstraint("length_m > 0 AND burn_time_s > 0 AND pressure_pa > 0", name="sizes"),
    )

    batch_id: int = Field(foreign_key="batch.id", index=True)
    number: int
    burned_on: date
    length_m: float
    length_typed: str
    length_step_m: float
    burn_time_s: float
    burn_time_typed: str
    time_sd_s: float
    pressure_pa: float
    pressure_typed: str | None = None
    elevation_m: float | None = None
    elevation_typed: str | None = None
    note: str = ""
    voided_at: datetime | None = Field(default=None, sa_type=Utc)
    voided_why: str = ""


class TestPieceIn(FormIn):
    """The form of one stick burned in the open."""

    __test__ = False

    length: Annotated[Quantity, Measure("length", gt=0.004, le=1, usual=(0.01, 0.3))] = FormField(
        title="Length burned", description="Between the two marks you timed."
    )
    burn_time: Annotated[Quantity, Measure("time", gt=0.3, le=600, usual=(2, 300))] = FormField(
        title="Burn time", description="From mark to mark."
    )
    by_video: bool = FormField(
        False, title="Timed from a video", description="30 pictures a second or more; else by hand on a stopwatch."
    )
    elevation: Annotated[Quantity, Measure("altitude", ge=-450, le=5500, usual=(-100, 4500))] | None = FormField(
        None, title="Elevation", description="Where you burned it; the air pressure follows from it."
    )
    pressure: Annotated[Quantity, Measure("air_pressure", gt=4e4, lt=1.2e5)] | None = FormField(
        None, title="Air pressure", description="As a barometer reads there, not reduced to sea level."
    )
    burned_on: date = FormField(title="Burned on")
    note: str = FormField("", max_length=300, title="Note")
