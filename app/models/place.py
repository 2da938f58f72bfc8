"""What is flown and where: rockets and fields."""

from typing import Annotated

from pydantic import Field as FormField
from sqlalchemy import CheckConstraint, UniqueConstraint

from app.models.base import FormIn, Row
from app.models.hardware import Name, Note, Size
from app.units import Measure, Quantity


class Rocket(Row, table=True):
    """An airframe without its motor. The drag coefficient is based on the body's cross-section."""

    __table_args__ = (
        UniqueConstraint("name"),
        CheckConstraint("mass_kg > 0 AND diameter_m > 0 AND drag_coefficient > 0", name="positive"),
    )

    name: str
    mass_kg: float
    diameter_m: float
    drag_coefficient: float = 0.5
    retired: bool = False
    note: str = ""


class RocketIn(FormIn):
    """The rocket form."""

    name: Name
    mass: Annotated[Quantity, Measure("mass", ge=0.01, le=500)] = FormField(
        title="Mass without a motor", description="Ready to fly, recovery packed, no case and no grains."
    )
    diameter: Size = FormField(title="Largest body diameter")
    drag_coefficient: float = FormField(
        0.5, gt=0.05, le=3, title="Drag coefficient", description="Based on the body's cross-section."
    )
    note: Note = ""


class LaunchField(Row, table=True):
    """A place to fly from or to test at."""

    __tablename__ = "launch_field"
    __table_args__ = (
        UniqueConstraint("name"),
        CheckConstraint("ceiling_m IS NULL OR ceiling_m > 0", name="ceiling"),
    )

    name: str
    elevation_m: float = 0.0
    ceiling_m: float | None = None
    rules: str = ""
    retired: bool = False
    note: str = ""


class LaunchFieldIn(FormIn):
    """The field form."""

    name: Name
    elevation: Annotated[Quantity, Measure("altitude", ge=-500, le=6000)] = FormField(title="Elevation")
    ceiling: Annotated[Quantity, Measure("altitude", gt=0, le=50000)] | None = FormField(
        None, title="Ceiling above ground", description="As waived or agreed with the land owner."
    )
    rules: str = FormField(
        "",
        max_length=2000,
        title="Rules of the site",
        json_schema_extra={"rows": 3},
        description="Who to ask, distances, seasons. Local law comes first.",
    )
    note: Note = ""
