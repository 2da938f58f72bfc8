"""What files of loggers share, be it a stand's cell or an altimeter: the table's shape, how a text is made up."""

from typing import Annotated, Any, Literal

from pydantic import Field as FormField
from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlalchemy.orm import declared_attr
from sqlmodel import Field

from app.models.base import SHA256, FormIn, Row
from app.units import Measure, Quantity


class LoggerFile(Row):
    """The file of a firing's logger, kept byte by byte under its SHA-256. Its name is words, never a path."""

    @declared_attr.directive
    def __table_args__(cls) -> tuple[Any, ...]:  # noqa: N805 - each table has constraints of its own
        return (UniqueConstraint("firing_id", "sha256"), CheckConstraint("size_bytes > 0", name="whole"))

    firing_id: int = Field(foreign_key="firing.id", index=True)
    name: str
    sha256: str = Field(sa_column_kwargs=SHA256)
    size_bytes: int


class LayoutIn(FormIn):
    """How the text of a logger's file is made up, and which of its columns is time."""

    sheet: str = FormField("", max_length=100, title="Sheet")
    of_sheet: str = FormField("", max_length=100, title="Sheet that the columns were chosen for")
    delimiter: Literal["comma", "semicolon", "tab", "blank", "colon"] = FormField(title="Columns are separated by")
    decimal: Literal[".", ","] = FormField(title="Decimal sign")
    first_line: int = FormField(ge=1, le=10_000, title="First line of numbers")
    time_column: int | None = FormField(None, title="Time")
    time_unit: Literal["s", "ms", "us", "min"] | None = FormField(None, title="Unit of time")
    sample_rate: float | None = FormField(
        None, gt=0, le=1e7, title="Samples per second", description="Only for a file without a time column."
    )
    lasted: Annotated[Quantity, Measure("time", gt=0, le=1e6)] | None = FormField(
        None, title="Or its length", description="From the first sample to the last."
    )
    record: int | None = FormField(
        None, ge=1, le=1000, title="Which record", description="Of a file whose clock began again; the first is 1."
    )
