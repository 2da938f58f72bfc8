"""An altimeter's record of a flight: its file, kept as it came, and what was read out of it."""

from collections.abc import Mapping
from typing import Annotated, Literal

from pydantic import Field as FormField
from sqlalchemy import CheckConstraint
from sqlmodel import Field

from app.models.base import FormIn, Row
from app.models.logger_file import LayoutIn, LoggerFile
from app.units import Measure, Quantity, UnitSystem


class AltimeterFile(LoggerFile, table=True):
    """The file of a flight's altimeter."""

    __tablename__ = "altimeter_file"


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

    @property
    def file_id(self) -> int:
        """The file it was read out of."""
        return self.altimeter_file_id


class TrackUploadIn(FormIn):
    """The form that an altimeter's file is sent with."""

    file: str = FormField(
        title="The altimeter's file", description="CSV, plain text or a workbook (.xlsx, .xls, .ods), up to 32 MB."
    )


class TrackIn(LayoutIn):
    """How an altimeter's file is read: its columns and units, and the pad's level."""

    @classmethod
    def reads_in(cls, texts: Mapping[str, str], units: UnitSystem) -> UnitSystem:
        """The pad's level is one of the file's own heights, in the file's own unit."""
        unit = texts.get("height_unit", "")
        return units._replace(altitude=unit) if unit in ("m", "ft") else units

    sample_rate: float | None = FormField(
        None, gt=0, le=1e5, title="Samples per second", description="Only for a file without a time column."
    )
    height_column: int = FormField(title="Altitude or air pressure")
    height_unit: Literal["m", "ft", "Pa", "hPa", "kPa"] = FormField(title="Its unit")
    pad: Annotated[Quantity, Measure("altitude", ge=-500, le=9000, usual=(-100, 5000))] | None = FormField(
        None,
        title="The pad in the file's own altitude",
        description="Left empty: the middle of the readings before the launch.",
    )
