"""A supply: one bag or lot bought, and the corrections to what the book says is left in it."""

from datetime import date
from typing import Annotated

from pydantic import Field as FormField
from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field

from app.calc.propellant.ingredients import INGREDIENTS
from app.models.base import FormIn, Row, one_of
from app.models.money import Price
from app.units import Measure, Quantity


class Supply(Row, table=True):
    """One bag. What is left is received mass plus corrections less what was weighed out."""

    __table_args__ = (
        CheckConstraint("mass_kg > 0", name="mass"),
        CheckConstraint("cost IS NULL OR cost >= 0", name="cost"),
        UniqueConstraint("ingredient", "mark"),
    )

    ingredient: str = Field(index=True, sa_column_kwargs=one_of(*INGREDIENTS))
    mark: str
    received_on: date
    mass_kg: float
    mass_typed: str
    cost: float | None = None
    currency: str = ""
    note: str = ""


class SupplyCorrection(Row, table=True):
    """A difference found between the bag and the book, with its reason."""

    __tablename__ = "supply_correction"

    supply_id: int = Field(foreign_key="supply.id", index=True)
    delta_kg: float
    found_typed: str
    reason: str


class SupplyIn(FormIn):
    """The form for a bag bought."""

    ingredient: str = FormField(
        max_length=80, title="Ingredient", description="Potassium nitrate, sorbitol, sucrose, dextrose…"
    )
    mark: str = FormField(
        max_length=80, title="Bag or lot mark", description="What you can read on the bag; write one on if it has none."
    )
    received_on: date = FormField(title="Received on")
    mass: Annotated[Quantity, Measure("mass", gt=0, le=1000, usual=(0.05, 60))] = FormField(title="Mass received")
    cost: Price | None = FormField(None, title="Cost", description="With its currency, such as € 12.50.")
    note: str = FormField("", max_length=2000, title="Note", json_schema_extra={"rows": 2})


class CorrectionIn(FormIn):
    """The form for what the bag really holds."""

    found: Annotated[Quantity, Measure("mass", ge=0, le=1000, usual=(0.002, 60))] = FormField(
        title="Mass found in the bag", description="Weigh the bag, less its own mass."
    )
    reason: str = FormField(min_length=3, max_length=300, title="Why it differs")
