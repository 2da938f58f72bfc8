"""What is bought: sizes that things are sold in, deliveries on their way, and what each motor uses up besides."""

from datetime import date, datetime
from typing import Literal

from pydantic import Field as FormField
from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field

from app.calc.propellant.ingredients import INGREDIENTS
from app.models.base import FormIn, Row, Utc, one_of
from app.models.hardware import Name
from app.models.money import Price

USED_BY = {
    "motor": "each motor",
    "grain": "each grain cast",
    "melt": "each melt",
    "evening": "each evening",
    "flight": "each flight",
}
"""What uses a consumable up."""

_ONE_THING = "(ingredient IS NULL) <> (consumable_id IS NULL)"
_ONE_AMOUNT = "(ingredient IS NULL) = (mass_kg IS NULL) AND (consumable_id IS NULL) = (count IS NULL)"


class Consumable(Row, table=True):
    """A thing that is used up, with how much of it is there and what uses it.

    Used by grains it may be a casting tube: then only grains of that tube's patterns use it. With a case, only motors
    in that case do. What was there on `counted_on` is counted; what was used since is worked out.
    """

    __table_args__ = (
        UniqueConstraint("name"),
        CheckConstraint("used_by IN ('motor', 'grain', 'melt', 'evening', 'flight')", name="used_by"),
        CheckConstraint("per_use > 0", name="per_use"),
        CheckConstraint("in_hand >= 0", name="in_hand"),
    )

    name: str
    used_by: str = Field(default="motor", sa_column_kwargs=one_of(*USED_BY))
    per_use: float = 1.0
    in_hand: float = 0.0
    counted_on: date
    casting_tube_id: int | None = Field(default=None, foreign_key="casting_tube.id")
    case_id: int | None = Field(default=None, foreign_key="motor_case.id")
    retired: bool = False
    note: str = ""


class PackSize(Row, table=True):
    """A size that an ingredient or a consumable is sold in, and its price; `sold` is off where it is no longer.

    The sizes and prices of earlier bags count beside these; a row of the same size stands for them.
    """

    __tablename__ = "pack_size"
    __table_args__ = (
        CheckConstraint(_ONE_THING, name="one_thing"),
        CheckConstraint(_ONE_AMOUNT, name="one_amount"),
        CheckConstraint("coalesce(mass_kg, count) > 0", name="amount"),
        CheckConstraint("price IS NULL OR price >= 0", name="price"),
    )

    ingredient: str | None = Field(default=None, sa_column_kwargs=one_of(*INGREDIENTS))
    consumable_id: int | None = Field(default=None, foreign_key="consumable.id", index=True)
    mass_kg: float | None = None
    mass_typed: str | None = None
    count: int | None = None
    price: float | None = None
    currency: str = ""
    seller: str = ""
    sold: bool = True

    @property
    def name(self) -> str:
        """The size, as typed."""
        return self.mass_typed or f"pack of {self.count}"


class Delivery(Row, table=True):
    """What was ordered or is promised, and the day it comes; arrived it is a bag of its own, or counted in."""

    __table_args__ = (
        CheckConstraint(_ONE_THING, name="one_thing"),
        CheckConstraint(_ONE_AMOUNT, name="one_amount"),
        CheckConstraint("coalesce(mass_kg, count) > 0", name="amount"),
        CheckConstraint("cost IS NULL OR cost >= 0", name="cost"),
        CheckConstraint("voided_at IS NULL OR coalesce(length(voided_why), 0) > 0", name="voided_with_reason"),
    )

    ingredient: str | None = Field(default=None, sa_column_kwargs=one_of(*INGREDIENTS))
    consumable_id: int | None = Field(default=None, foreign_key="consumable.id", index=True)
    mass_kg: float | None = None
    mass_typed: str | None = None
    count: int | None = None
    due_on: date
    cost: float | None = None
    currency: str = ""
    seller: str = ""
    arrived_on: date | None = None
    supply_id: int | None = Field(default=None, foreign_key="supply.id")
    voided_at: datetime | None = Field(default=None, sa_type=Utc)
    voided_why: str | None = None

    @property
    def name(self) -> str:
        """How much it is, as typed."""
        return self.mass_typed or f"{self.count} pieces"


# --- Forms -------------------------------------------------------------------------------------------------------


class ConsumableIn(FormIn):
    """The form of a consumable."""

    name: Name
    used_by: Literal["motor", "grain", "melt", "evening", "flight"] = FormField("motor", title="Used by")
    per_use: float = FormField(1, gt=0, le=1000, title="How many each time")
    in_hand: float = FormField(0, ge=0, le=1e6, title="There now")
    casting_tube_id: int | None = FormField(
        None, title="Casting tube", description="Where it is one: its grains use it."
    )
    case_id: int | None = FormField(None, title="Only in this case", description="Left empty: in any.")
    note: str = FormField("", max_length=300, title="Note")


class PackSizeIn(FormIn):
    """The form of a size that something is sold in: a mass of an ingredient, or so many of a consumable."""

    thing: str = FormField(max_length=80, title="What")
    amount: str = FormField(max_length=40, title="Size", description="Such as 1.2 kg, or 10 for a pack of ten.")
    price: Price | None = FormField(None, title="Price", description="With its currency, such as € 15.60.")
    seller: str = FormField("", max_length=120, title="Where")
    sold: bool = FormField(False, title="It is sold in this size")


class DeliveryIn(FormIn):
    """The form of what is on its way."""

    thing: str = FormField(max_length=80, title="What")
    amount: str = FormField(max_length=40, title="How much", description="Such as 1.2 kg, or 10 for ten pieces.")
    due_on: date = FormField(title="Comes on")
    cost: Price | None = FormField(None, title="Cost")
    seller: str = FormField("", max_length=120, title="From")


class ArrivedIn(FormIn):
    """The form of a delivery that has come: of an ingredient it becomes a bag with a mark."""

    arrived_on: date = FormField(title="Came on")
    mark: str = FormField("", max_length=80, title="Bag or lot mark", description="What you can read on the bag.")
