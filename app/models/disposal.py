"""Rejects and scrap that were destroyed or handed over, as it was written down."""

from datetime import date, datetime

from pydantic import Field as FormField
from sqlalchemy import CheckConstraint, Index, text
from sqlmodel import Field, Relationship

from app.models.base import FormIn, Row, Utc


class Disposal(Row, table=True):
    """What went on a day, how and by whom; struck out with a reason, never erased."""

    __table_args__ = (
        CheckConstraint("length(how) > 0", name="how"),
        CheckConstraint("voided_at IS NULL OR coalesce(length(voided_why), 0) > 0", name="voided_with_reason"),
    )

    done_on: date
    how: str
    person: str = ""
    mass_kg: float
    voided_at: datetime | None = Field(default=None, sa_type=Utc)
    voided_why: str | None = None
    items: list["DisposalItem"] = Relationship(
        sa_relationship_kwargs={"order_by": "DisposalItem.id", "lazy": "selectin"}
    )


class DisposalItem(Row, table=True):
    """A grain or a leftover that went; it went once, unless that was struck out."""

    __tablename__ = "disposal_item"
    __table_args__ = (
        CheckConstraint("(grain_id IS NULL) <> (leftover_id IS NULL)", name="one_thing"),
        CheckConstraint("mass_kg > 0", name="mass"),
        Index("uq_disposal_item_grain", "grain_id", unique=True, sqlite_where=text("released_at IS NULL")),
        Index("uq_disposal_item_leftover", "leftover_id", unique=True, sqlite_where=text("released_at IS NULL")),
    )

    disposal_id: int = Field(foreign_key="disposal.id", index=True)
    grain_id: int | None = Field(default=None, foreign_key="grain.id")
    leftover_id: int | None = Field(default=None, foreign_key="leftover.id")
    mass_kg: float
    released_at: datetime | None = Field(default=None, sa_type=Utc)


class DisposalIn(FormIn):
    """The form of a disposal: what of that which waits, when and how."""

    things: list[str] = FormField(min_length=1, title="What went")
    done_on: date = FormField(title="On")
    how: str = FormField(min_length=3, max_length=300, title="How")
