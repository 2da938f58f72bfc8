"""The record of changes: what stood in the book before, who changed it, when and why."""

from datetime import datetime
from functools import cache
from typing import Literal, TypeVar, cast

from pydantic import AwareDatetime, create_model
from pydantic import Field as FormField
from sqlalchemy import CheckConstraint, Index, UniqueConstraint
from sqlmodel import Field, SQLModel

from app.models.base import FormIn, Row, Utc
from app.models.hardware import Name, Note

F = TypeVar("F", bound=FormIn)


class Change(SQLModel, table=True):
    """One value that changed, or a row that came or went. Written by the triggers of `app/book/record.py` alone.

    `before` and `after` are JSON: one value each, or the whole row that was deleted. What was typed stands beside.
    """

    __table_args__ = (
        CheckConstraint("what IN ('entered', 'changed', 'deleted')", name="what"),
        CheckConstraint("(what = 'changed') = (column_name <> '')", name="column"),
        Index("ix_change_row", "table_name", "row_id"),
    )

    id: int | None = Field(default=None, primary_key=True)
    at: datetime = Field(sa_type=Utc)
    who: str = ""
    device: str | None = None
    why: str = ""
    what: str
    table_name: str
    row_id: int
    column_name: str = ""
    before: str | None = None
    before_typed: str | None = None
    after: str | None = None
    after_typed: str | None = None


class ChangeLink(SQLModel, table=True):
    """A link of the record: the hash of the link before it and of its change. Made by the program at each commit.

    All links of one commit share the number of the save; `outside` tells that another program wrote the change.
    """

    __tablename__ = "change_link"

    change_id: int = Field(primary_key=True, foreign_key="change.id")
    save: int
    outside: bool
    link: str


class RowDigest(SQLModel, table=True):
    """The hash of a recorded row as its last act left it: what a figure that changed by itself is found by."""

    __tablename__ = "row_digest"

    table_name: str = Field(primary_key=True)
    row_id: int = Field(primary_key=True)
    digest: str


class ActInHand(SQLModel, table=True):
    """Who is doing what in the transaction under way, for the triggers to read. Empty between two acts."""

    __tablename__ = "act_in_hand"
    __table_args__ = (CheckConstraint("id = 1", name="one_row"),)

    id: int | None = Field(default=None, primary_key=True)
    at: datetime = Field(sa_type=Utc)
    who: str = ""
    device: str | None = None
    why: str = ""


class Person(Row, table=True):
    """Somebody who works here besides the one named in the settings."""

    __table_args__ = (UniqueConstraint("name"), CheckConstraint("name <> ''", name="name"))

    name: str
    retired: bool = False
    note: str = ""


class PersonIn(FormIn):
    """The form of somebody who works here."""

    name: Name
    note: Note = ""


class AtBenchIn(FormIn):
    """The form that tells a device who is at the bench."""

    at_bench: str = FormField("", max_length=80, title="Who is at the bench, on this device")


class ToldIn(FormIn):
    """The form that says that what was told of the book was read: all of it up to a moment."""

    until: AwareDatetime = FormField(title="Read up to")


class ChangesIn(FormIn):
    """Which changes to look at."""

    noun: str | None = FormField(None, max_length=40, title="Entry")
    what: Literal["changed", "filled", "deleted", "entered"] | None = FormField(None, title="What happened")
    before: int | None = FormField(None, ge=1)


def correction_of(model: type[F]) -> type[F]:
    """The form that changes what another form entered: the same, and why."""
    return cast("type[F]", _correction_of(model))  # the cache forgets which form it was asked about


@cache
def _correction_of(model: type[FormIn]) -> type[FormIn]:
    why = FormField(
        "",
        max_length=300,
        title="Why it is changed",
        description="Needed when something measured changes. It is kept beside what stood before.",
    )
    made: type[FormIn] = create_model(f"{model.__name__}Correction", __base__=model, why=(str, why))
    return made
