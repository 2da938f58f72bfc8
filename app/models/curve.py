"""A measured curve: the logger's file, kept as it came, and what was read out of it."""

from typing import Annotated, Literal

from pydantic import Field as FormField
from sqlalchemy import CheckConstraint
from sqlmodel import Field

from app.models.base import FormIn, Row
from app.models.logger_file import LayoutIn, LoggerFile
from app.units import Measure, Quantity


class CurveFile(LoggerFile, table=True):
    """The file of a firing's logger."""

    __tablename__ = "curve_file"


class Curve(Row, table=True):
    """What was read out of a file, and how it was read. Reading it otherwise makes another row; the newest counts."""

    __table_args__ = (CheckConstraint("total_impulse_ns > 0 AND burn_time_s > 0", name="burned"),)

    firing_id: int = Field(foreign_key="firing.id", index=True)
    curve_file_id: int = Field(foreign_key="curve_file.id", index=True)
    designation: str
    total_impulse_ns: float
    burn_time_s: float
    mean_thrust_n: float
    peak_thrust_n: float
    peak_pressure_pa: float | None = None
    reading_json: str
    result_json: str

    @property
    def file_id(self) -> int:
        """The file it was read out of."""
        return self.curve_file_id


class UploadIn(FormIn):
    """The form that a logger's file is sent with."""

    file: str = FormField(
        title="The logger's file", description="CSV, plain text or a workbook (.xlsx, .xls, .ods), up to 256 MB."
    )


class LoadIn(FormIn):
    """One known mass on the cell and what the cell said."""

    mass: Annotated[Quantity, Measure("mass", ge=0, le=1e5, usual=(0.005, 500))] = FormField(title="Known mass")
    reading: float = FormField(title="Reading")


class ReadIn(LayoutIn):
    """How a file is read: its columns and units, how the motor stood, what is cut off and smoothed."""

    force_column: int | None = FormField(None, title="Force")
    force_unit: Literal["N", "kN", "kgf", "gf", "lbf", "ozf", "counts", "mV", "V"] | None = FormField(
        None, title="Unit of force"
    )
    factor: Annotated[Quantity, Measure("force", gt=0, le=1e6)] | None = FormField(
        None,
        title="Force for one of the reading",
        description="Only for counts or volts whose scale is known; known masses tell it too.",
    )
    turned: bool = FormField(False, title="Turn the sign: the reading falls when the motor pushes")
    pressure_column: int | None = FormField(None, title="Pressure")
    pressure_unit: Literal["Pa", "kPa", "MPa", "bar", "psi"] | None = FormField(None, title="Unit of pressure")
    points: list[LoadIn] = FormField(default_factory=list, max_length=12, title="Calibration")
    stand: Literal["level", "presses", "lifts"] = FormField(title="How the motor stood")
    keep_drift: bool = FormField(False, title="Keep drift of the zero in")
    zero_way: Literal["line", "lit", "seen", "out"] | None = FormField(None, title="How the zero went")
    pulse: Literal["all", "1", "2", "3", "4", "5", "6", "7", "8"] | None = FormField(None, title="Which burn")
    leave_out: bool = FormField(False, title="Leave out the stray samples")
    smooth: bool = FormField(False, title="Smooth out the stand's ringing, if there is any")
    start: Annotated[Quantity, Measure("time", ge=0, le=1e5)] | None = FormField(
        None, title="Burn from", description="Time in the chart of the record. Left empty: found."
    )
    end: Annotated[Quantity, Measure("time", gt=0, le=1e5)] | None = FormField(None, title="Burn to")
    of_stand: str = FormField(
        "", max_length=80, title="Stand", description="What is chosen here is proposed for its next file."
    )
