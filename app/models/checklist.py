"""The checklist before hot work: versioned lists, and one person's answers for one batch.

A whole list opens an evening; a short one, the lines that are marked `again`, lets a further melt into an open evening.
"""

import re
from datetime import datetime
from typing import Literal

from pydantic import BaseModel, ConfigDict, TypeAdapter, field_validator
from pydantic import Field as FormField
from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field, Relationship

from app.models.base import FormIn, Row, Utc, one_of

COVERS = {
    "water": "water and an extinguisher",
    "clothes": "clothes and gloves",
    "fit": "fit to work",
    "alone": "nobody near",
    "away": "poured grains and bowls away from the heat",
    "one pan": "one hot pan at a time",
}
"""What is looked at again before each melt, whatever the maker does to the list: a line that covers one of these stays
marked, and a list that lacks one of them lets no further melt in."""

MARK = "__"
"""A blank in a line, which takes a number; `app.services.cast.blanks` reads it."""


class NumberSaid(BaseModel):
    """A number that a line took: as typed, and what it is, in SI where its unit is known."""

    typed: str
    kind: str = ""
    si: float | None = None
    value: float | None = None
    """The number alone where its unit is none that is known."""


_NUMBERS = TypeAdapter(list[NumberSaid], config=ConfigDict(defer_build=True))


class ChecklistEdition(Row, table=True):
    """A version of the list; the newest is used, old ones stay with the checklists made from them."""

    __tablename__ = "checklist_edition"
    __table_args__ = (UniqueConstraint("edition"),)

    edition: int
    note: str = ""
    lines: list["ChecklistItem"] = Relationship(
        sa_relationship_kwargs={"order_by": "ChecklistItem.position", "lazy": "selectin"}
    )


class ChecklistItem(Row, table=True):
    """One line of a version: marked `again` if it is gone through before each melt, with what of `COVERS` it covers."""

    __tablename__ = "checklist_item"
    __table_args__ = (
        UniqueConstraint("checklist_edition_id", "position"),
        CheckConstraint("covers = '' OR again", name="covers_again"),
    )

    checklist_edition_id: int = Field(foreign_key="checklist_edition.id", index=True)
    position: int
    heading: str
    words: str
    covers: str = Field(default="", sa_column_kwargs=one_of("", *COVERS))
    again: bool = False


class Checklist(Row, table=True):
    """A list being answered, or answered, for a batch. Complete ones are frozen by the database.

    A short one (`again`) is for a further melt of the evening that it names, and holds the lines marked so.
    """

    __table_args__ = (
        CheckConstraint("completed_at IS NULL OR person <> ''", name="signed"),
        CheckConstraint("again = (cast_session_id IS NOT NULL)", name="short"),
    )

    batch_id: int = Field(foreign_key="batch.id", index=True)
    checklist_edition_id: int = Field(foreign_key="checklist_edition.id")
    person: str = ""
    place: str = ""
    again: bool = False
    cast_session_id: int | None = Field(default=None, foreign_key="cast_session.id", index=True)
    completed_at: datetime | None = Field(default=None, sa_type=Utc)
    voided_at: datetime | None = Field(default=None, sa_type=Utc)
    voided_why: str | None = None
    answers: list["ChecklistAnswer"] = Relationship(sa_relationship_kwargs={"lazy": "selectin"})


class ChecklistAnswer(Row, table=True):
    """One line answered: done, with a number for each blank in its words; or not applicable with a reason."""

    __tablename__ = "checklist_answer"
    __table_args__ = (
        UniqueConstraint("checklist_id", "checklist_item_id"),
        CheckConstraint("answer IN ('done', 'na')", name="answer"),
        CheckConstraint("answer = 'done' OR length(trim(reason)) >= 3", name="reason"),
        CheckConstraint("answer = 'done' OR numbers_json = '[]'", name="numbers"),
    )

    checklist_id: int = Field(foreign_key="checklist.id", index=True)
    checklist_item_id: int = Field(foreign_key="checklist_item.id")
    answer: str
    reason: str = ""
    numbers_json: str = "[]"
    answered_at: datetime = Field(sa_type=Utc)

    @property
    def numbers(self) -> list[NumberSaid]:
        """What was said in the line's blanks, in their order."""
        return _NUMBERS.validate_json(self.numbers_json)

    @numbers.setter
    def numbers(self, said: list[NumberSaid]) -> None:
        self.numbers_json = _NUMBERS.dump_json(said, exclude_defaults=True).decode()


class AnswerIn(FormIn):
    """The form of one line; one with blanks has a field for each (`app.services.cast.blanks`)."""

    answer: Literal["done", "na", "open"] = FormField(title="Answer")
    reason: str = FormField("", max_length=300, title="Why it does not apply")


class SignIn(FormIn):
    """The form that completes a checklist: a name that is chosen by its button, or typed.

    No field of it is filled in beforehand with a name, so that a key held down sends none.
    """

    person: str = FormField("", max_length=80, title="Your name")
    chosen: str = FormField("", max_length=80, title="Who signs")
    place: str = FormField("", max_length=80, title="Where", description="Such as: the shed, the yard.")
    where: str = FormField("", max_length=80, title="One of the places before")
    """Chosen beforehand on the page; another place that is typed counts in its stead."""
    join: bool = FormField(False, title="Join the evening at once")

    def signature(self) -> str:
        """The name that signs."""
        return self.chosen or self.person

    def spot(self) -> str:
        """The place that it is signed for."""
        return self.place or self.where


class StartIn(FormIn):
    """The form that begins a list; `whole` is the whole one where a short one would do."""

    whole: bool = FormField(False, title="The whole list")


class StartAnewIn(StartIn):
    """The form that voids a list and begins another."""

    why: str = FormField(min_length=3, max_length=300, title="Why")


class EditionItemIn(BaseModel):
    """One line of the list being edited."""

    model_config = ConfigDict(str_strip_whitespace=True)

    heading: str = FormField(min_length=1, max_length=80, title="Heading")
    words: str = FormField(min_length=3, max_length=400, title="What to check")

    @field_validator("words")
    @classmethod
    def _blanks(cls, words: str) -> str:
        """A blank drawn longer is one blank."""
        return re.sub(f"{MARK}+", MARK, words)

    again: bool = FormField(False, title="Again before each melt")
    covers: Literal["", "water", "clothes", "fit", "alone", "away", "one pan"] = FormField("", title="It covers")


class EditionIn(FormIn):
    """The form that makes a new version of the list."""

    note: str = FormField("", max_length=300, title="What changed")
    items: list[EditionItemIn] = FormField(min_length=1, title="Lines")
