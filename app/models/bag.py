"""Kept grains: where a grain's bag lies and what is in it, and what the grain weighs later."""

from datetime import date, datetime
from typing import Annotated

from pydantic import Field as FormField
from sqlalchemy import CheckConstraint, text
from sqlmodel import Field

from app.models.base import FormIn, Row, Utc
from app.models.grain import ScaleReading
from app.units import Quantity


class GrainBag(Row, table=True):
    """How a grain lies from a moment on: a row for each change, the newest one counts, none is rewritten."""

    __tablename__ = "grain_bag"
    __table_args__ = (CheckConstraint("desiccant_on IS NULL OR desiccant", name="desiccant_date"),)

    grain_id: int = Field(foreign_key="grain.id", index=True)
    place: str = ""
    desiccant: bool = False
    desiccant_on: date | None = None


class ReWeigh(Row, table=True):
    """A stored grain on the scale again. The mass on its label stays; here is what it was compared with.

    `wet` is what it said then; who accepted the grain all the same, and why, stands beside it.
    """

    __tablename__ = "re_weigh"
    __table_args__ = (
        CheckConstraint("mass_kg > 0 AND label_kg > 0", name="mass"),
        CheckConstraint("accepted_at IS NULL OR (wet AND accepted_why <> '' AND accepted_by <> '')", name="accepted"),
    )

    grain_id: int = Field(foreign_key="grain.id", index=True)
    weighed_at: datetime = Field(sa_type=Utc)
    gross_kg: float
    gross_typed: str
    tare_kg: float = 0.0
    mass_kg: float
    label_kg: float
    scale_resolution_kg: float
    wet: bool = Field(default=False, sa_column_kwargs={"server_default": text("0")})
    accepted_at: datetime | None = Field(default=None, sa_type=Utc)
    accepted_by: str = Field(default="", sa_column_kwargs={"server_default": text("''")})
    accepted_why: str = Field(default="", sa_column_kwargs={"server_default": text("''")})
    note: str = ""
    voided_at: datetime | None = Field(default=None, sa_type=Utc)
    voided_why: str | None = None


class WetIn(FormIn):
    """The form to accept a grain that drew water."""

    why: str = FormField(
        min_length=3, max_length=300, title="Why it may go into a motor", description="What you looked at and found."
    )
    person: str = FormField("", max_length=80, title="Decided by")


class KeepIn(FormIn):
    """The form of where bags lie, for one grain or several."""

    grain: list[int] = FormField([], title="Grains")
    place: str = FormField("", max_length=80, title="Place", description="Box, shelf or drawer, as you call it.")
    desiccant: bool = FormField(False, title="There is desiccant in the bag")
    desiccant_on: date | None = FormField(
        None, title="Desiccant since", description="Left empty with the box ticked: today."
    )


class ReWeighIn(FormIn):
    """The form of a stored grain on the scale again."""

    serial: str = FormField(
        min_length=1, max_length=200, title="Grain", description="Type the serial or scan the label."
    )
    gross: Annotated[Quantity, ScaleReading("mass", gt=0, le=50)] = FormField(title="Scale reads")
    in_tube: bool = FormField(
        False, title="Weighed in its tube", description="Only if it was weighed in its tube for the label, too."
    )
    note: str = FormField("", max_length=300, title="Note")
    lot: str | None = FormField(None, max_length=20, title="Lot in hand")
    grain: list[int] = FormField([], title="Grains in hand")
