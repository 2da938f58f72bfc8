"""An altimeter's record of a flight: its file, kept as it came, and what was read out of it."""

from typing import Annotated, Literal

from pydantic import Field as FormField
from sqlalchemy import CheckConstraint, Column, LargeBinary, UniqueConstraint
from sqlmodel import Field

from app.models.base import FormIn, Row
from app.units import Measure, Quantity


class AltimeterFile(Row, table=True):
    """The file of a flight's altimeter, byte by byte. Its name is words for a person, never a path."""

    __tablename__ = "altimeter_file"
    __table_args__ = (
        UniqueConstraint("firing_id", "sha256"),
        CheckConstraint("length(raw) = size_bytes AND size_bytes > 0", name="whole"),
    )

    firing_id: int = Field(foreign_key="firing.id", index=True)
    name: str
    sha256: str
    size_bytes: int
    raw: bytes = Field(sa_column=Column(LargeBinary, nullable=False))


class AltimeterTrack(Row, table=True):
    """What was read out of a file, and how it was read. Reading it otherwise makes another row; the newest counts."""

    __tablename__ = "altimeter_track"
    __table_args__ = (CheckConstraint("apogee_m > 0 AND apogee_time_s > 0", name="flew"),)

    firing_id: int = Field(foreign_key="firing.id", index=True)
    altimeter_file_id: int = Field(foreign_key="altimeter_file.id", index=True)
    apogee_m: float
    apogee_time_s: float
    landing_time_s: float | None = None
    first_descent_m_s: float | None = None
    second_descent_m_s: float | None = None
    reading_json: str
    result_json: str


class TrackUploadIn(FormIn):
    """The form that an altimeter's file is sent with."""

    file: str = FormField(title="The altimeter's file", description="CSV or plain text, up to 32 MB.")


class TrackIn(FormIn):
    """How an altimeter's file is read: its columns and units, and the pad's level."""

    delimiter: Literal["comma", "semicolon", "tab", "blank"] = FormField(title="Columns are parted by")
    decimal: Literal[".", ","] = FormField(title="Decimal sign")
    first_line: int = FormField(ge=1, le=10_000, title="First line of numbers")
    time_column: int | None = FormField(None, title="Time")
    time_unit: Literal["s", "ms", "us"] = FormField(title="Unit of time")
    sample_rate: float | None = FormField(
        None, gt=0, le=1e5, title="Samples per second", description="Only for a file without a time column."
    )
    height_column: int = FormField(title="Altitude or air pressure")
    height_unit: Literal["m", "ft", "Pa", "hPa", "kPa"] = FormField(title="Its unit")
    pad: Annotated[Quantity, Measure("altitude", ge=-500, le=9000)] | None = FormField(
        None,
        title="The pad in the file's own altitude",
        description="Left empty: the middle of the readings before the launch.",
    )
