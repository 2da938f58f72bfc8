"""A batch: what is to be cast, the scaled recipe, and what was really weighed in and left over."""

from datetime import date, datetime
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict
from pydantic import Field as FormField
from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field, Relationship

from app.calc.propellant.ingredients import INGREDIENTS
from app.models.base import CODE, FormIn, Row, Utc, one_of
from app.models.workshop import Share
from app.units import Measure, Quantity


class Batch(Row, table=True):
    """One melt. Its code is the lot code of all its grains: year, month, letter of the batch (2611P)."""

    __table_args__ = (
        UniqueConstraint("code"),
        CheckConstraint("target_mass_kg > 0", name="target"),
        CheckConstraint("state IN ('planned', 'casting', 'cast', 'dropped')", name="state"),
        CheckConstraint("test_pieces_kg IS NULL OR test_pieces_kg >= 0", name="test_pieces"),
    )

    code: str = Field(index=True, sa_column_kwargs=CODE)
    formula_id: int = Field(foreign_key="formula.id", index=True)
    planned_for: date
    state: str = "planned"
    expected_density_share: float
    over_pour_share: float
    planned_test_pieces_kg: float
    target_mass_kg: float
    test_pieces_kg: float | None = None
    test_pieces_typed: str | None = None
    air_temperature_k: float | None = None
    air_temperature_typed: str | None = None
    humidity_share: float | None = None
    humidity_typed: str | None = None
    note: str = ""
    items: list["BatchItem"] = Relationship(
        sa_relationship_kwargs={"order_by": "BatchItem.id", "cascade": "all, delete-orphan", "lazy": "selectin"}
    )
    parts: list["BatchPart"] = Relationship(
        sa_relationship_kwargs={"order_by": "BatchPart.id", "cascade": "all, delete-orphan", "lazy": "selectin"}
    )


class BatchItem(Row, table=True):
    """So many grains of a pattern in a batch."""

    __tablename__ = "batch_item"
    __table_args__ = (UniqueConstraint("batch_id", "pattern_id"), CheckConstraint("count > 0", name="count"))

    batch_id: int = Field(foreign_key="batch.id", index=True)
    pattern_id: int = Field(foreign_key="grain_pattern.id")
    count: int


class BatchPart(Row, table=True):
    """A target of the scaled recipe: an ingredient, or a leftover to remelt."""

    __tablename__ = "batch_part"
    __table_args__ = (
        CheckConstraint("target_kg >= 0", name="target"),
        CheckConstraint("(ingredient IS NULL) <> (leftover_id IS NULL)", name="one_source"),
        UniqueConstraint("batch_id", "ingredient"),
        UniqueConstraint("batch_id", "leftover_id"),
    )

    batch_id: int = Field(foreign_key="batch.id", index=True)
    ingredient: str | None = Field(default=None, sa_column_kwargs=one_of(*INGREDIENTS))
    leftover_id: int | None = Field(default=None, foreign_key="leftover.id")
    target_kg: float


class WeighOut(Row, table=True):
    """What was really weighed for one part, from which bag; corrected by voiding, never erased."""

    __tablename__ = "weigh_out"
    __table_args__ = (
        CheckConstraint("mass_kg > 0", name="mass"),
        CheckConstraint("(supply_id IS NULL) <> (leftover_id IS NULL)", name="one_source"),
    )

    batch_part_id: int = Field(foreign_key="batch_part.id", index=True)
    supply_id: int | None = Field(default=None, foreign_key="supply.id", index=True)
    leftover_id: int | None = Field(default=None, foreign_key="leftover.id", index=True)
    mass_kg: float
    mass_typed: str
    person: str = ""
    voided_at: datetime | None = Field(default=None, sa_type=Utc)
    voided_why: str | None = None


class Leftover(Row, table=True):
    """Cast material kept for a later batch; it keeps the composition of the batch it came from.

    A rejected grain that is to be melted again is one, with its serial for a mark.
    """

    __table_args__ = (
        CheckConstraint("mass_kg > 0", name="mass"),
        UniqueConstraint("mark"),
        UniqueConstraint("grain_id"),
    )

    batch_id: int = Field(foreign_key="batch.id", index=True)
    grain_id: int | None = Field(default=None, foreign_key="grain.id")
    mark: str
    mass_kg: float
    mass_typed: str
    note: str = ""


class ItemIn(BaseModel):
    """One row of the plan: a pattern and how many."""

    model_config = ConfigDict(str_strip_whitespace=True)

    pattern_id: int = FormField(title="Grain pattern")
    count: int = FormField(ge=1, le=200, title="How many")


class RemeltIn(BaseModel):
    """One row of the plan: a leftover to remelt and how much of it."""

    leftover_id: int = FormField(title="Leftover")
    mass: Annotated[Quantity, Measure("mass", gt=0, le=50, usual=(0.0005, 20))] | None = FormField(None, title="Mass")


class PlanIn(FormIn):
    """The plan form."""

    formula_id: int = FormField(title="Formula")
    planned_for: date = FormField(title="Cast on")
    items: list[ItemIn] = FormField(min_length=1, title="Grains wanted")
    remelts: list[RemeltIn] = FormField([], title="Remelt")
    expected_density: Annotated[Quantity, Measure("share", gt=0.5, le=1)] = FormField(
        title="Expected density", description="Share of ideal."
    )
    over_pour: Share = FormField(title="Over-pour", description="Stays in the pan and on the tools.")
    test_pieces: Annotated[Quantity, Measure("mass", ge=0, le=1, usual=(0.001, 0.5))] = FormField(
        title="For test pieces"
    )
    melts: int | None = FormField(
        None,
        ge=1,
        le=50,
        title="In how many melts",
        description="Left empty: one. Each melt becomes a batch of its own.",
    )
    pan_capacity: Annotated[Quantity, Measure("mass", gt=0, le=50, usual=(0.1, 20))] | None = FormField(
        None, title="Your pan holds safely", description="Of melt, with room to stir. Asked once, kept in the settings."
    )
    note: str = FormField("", max_length=2000, title="Note", json_schema_extra={"rows": 2})


class WeighOutIn(FormIn):
    """The form for one weighed amount; the source is a bag, or the leftover itself for a remelt part."""

    supply_id: int | None = FormField(None, title="From bag")
    mass: Annotated[Quantity, Measure("mass", gt=0, le=100, usual=(0.0005, 20))] = FormField(title="Weighed")


class BagWeighOutIn(WeighOutIn):
    """The form for one weighed amount of an ingredient: it comes out of a bag."""

    supply_id: int = FormField(title="From bag")


class BowlIn(WeighOutIn):
    """The form for what the scale reads with a bowl on it.

    `book` is told by a second press: one more scoop on a scale set to nought, or the whole bowl.
    """

    book: Literal["", "scoop", "whole"] = FormField("", title="How it is booked")


class BagBowlIn(BowlIn):
    """The same for an ingredient: it comes out of a bag."""

    supply_id: int = FormField(title="From bag")


class SwapIn(FormIn):
    """The form of one button: what stands at a part and at this other one goes the other way round."""

    other_id: int = FormField(title="The other one")


class VoidIn(FormIn):
    """The form to strike out a measured value: the number stays readable, with the reason."""

    why: str = FormField(min_length=3, max_length=300, title="Why")


class LeftoverIn(FormIn):
    """The form for what is kept of a batch."""

    mark: str = FormField(min_length=1, max_length=80, title="Mark on the bag")
    mass: Annotated[Quantity, Measure("mass", gt=0, le=100, usual=(0.0005, 20))] = FormField(title="Mass")
    note: str = FormField("", max_length=300, title="Note")


class AirIn(FormIn):
    """The form for the air at the bench while a batch is cast; either may stay empty."""

    air_temperature: Annotated[Quantity, Measure("temperature", gt=250, lt=330, usual=(263, 318))] | None = FormField(
        None, title="Air at the bench"
    )
    humidity: Annotated[Quantity, Measure("share", ge=0, le=1, usual=(0.05, 1))] | None = FormField(
        None, title="Humidity", description="By a hygrometer beside the moulds."
    )


class TestPiecesIn(FormIn):
    """The form for the mass poured into test pieces."""

    __test__ = False

    test_pieces: Annotated[Quantity, Measure("mass", ge=0, le=10, usual=(0.001, 0.5))] = FormField(
        title="Mass in test pieces"
    )
