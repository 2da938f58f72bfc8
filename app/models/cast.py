"""A cast session, an evening of melts: opened by a checklist, with steps, temperature readings and notes."""

import re
from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import Field as FormField
from pydantic import model_validator
from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field, Relationship

from app.models.base import FormIn, Row, Utc
from app.units import Measure, Quantity


class CastSession(Row, table=True):
    """An evening at the pan, with one melt or several; open while `closed_at` is empty."""

    __tablename__ = "cast_session"

    closed_at: datetime | None = Field(default=None, sa_type=Utc)
    openings: list["SessionOpening"] = Relationship(
        sa_relationship_kwargs={"order_by": "SessionOpening.id", "lazy": "selectin"}
    )
    melts: list["Melt"] = Relationship(
        back_populates="evening", sa_relationship_kwargs={"order_by": "Melt.number", "lazy": "selectin"}
    )


class Melt(Row, table=True):
    """One pan of one batch in an evening. A trigger lets a further one in only by the short list that it names, or by
    a whole list of its batch that opened the evening anew.
    """

    __table_args__ = (
        UniqueConstraint("batch_id"),
        UniqueConstraint("cast_session_id", "number"),
        UniqueConstraint("checklist_id"),
        CheckConstraint("number >= 1", name="number"),
    )

    batch_id: int = Field(foreign_key="batch.id")
    cast_session_id: int = Field(foreign_key="cast_session.id", index=True)
    number: int
    run_sheet_id: int | None = Field(default=None, foreign_key="run_sheet.id")
    checklist_id: int | None = Field(default=None, foreign_key="checklist.id")
    evening: CastSession = Relationship(back_populates="melts", sa_relationship_kwargs={"lazy": "joined"})
    steps: list["CastStep"] = Relationship(sa_relationship_kwargs={"order_by": "CastStep.position", "lazy": "selectin"})


class SessionOpening(Row, table=True):
    """An opening or reopening. A trigger lets it in only with a fresh, complete, unused checklist."""

    __tablename__ = "session_opening"
    __table_args__ = (UniqueConstraint("checklist_id"),)

    cast_session_id: int = Field(foreign_key="cast_session.id", index=True)
    checklist_id: int = Field(foreign_key="checklist.id")
    person: str
    opened_at: datetime = Field(sa_type=Utc)


class CastStep(Row, table=True):
    """A step of the run: what to do, when it is due (so long after another step), when it was done.

    Set 0 is the pan; each set of moulds poured from it (1, 2, ...) has its own steps from the pour on. The band is
    the pan's temperature at that step, as the run sheet had it.
    """

    __tablename__ = "cast_step"
    __table_args__ = (
        UniqueConstraint("melt_id", "set_number", "key"),
        CheckConstraint("set_number >= 0", name="set_number"),
        CheckConstraint("done_at IS NULL OR skipped_why IS NULL", name="done_or_skipped"),
    )

    melt_id: int = Field(foreign_key="melt.id", index=True)
    set_number: int = 0
    position: int
    key: str
    words: str
    after_key: str | None = None
    after_s: float | None = None
    pan_low_k: float | None = None
    pan_high_k: float | None = None
    done_at: datetime | None = Field(default=None, sa_type=Utc)
    skipped_why: str | None = None
    person: str = ""


class TemperatureReading(Row, table=True):
    """The pan's temperature at a moment; struck out if it was misread, never erased.

    `doubted_k` is what the same number would be in the other degrees, while nobody has said which were meant.
    """

    __tablename__ = "temperature_reading"

    melt_id: int = Field(foreign_key="melt.id", index=True)
    read_at: datetime = Field(sa_type=Utc)
    temperature_k: float
    temperature_typed: str
    doubted_k: float | None = None
    voided_at: datetime | None = Field(default=None, sa_type=Utc)
    voided_why: str | None = None


class SessionNote(Row, table=True):
    """Words written during a session, of one melt of it or of the whole evening."""

    __tablename__ = "session_note"

    cast_session_id: int = Field(foreign_key="cast_session.id", index=True)
    melt_id: int | None = Field(default=None, foreign_key="melt.id", index=True)
    written_at: datetime = Field(sa_type=Utc)
    words: str


class OpenSessionIn(FormIn):
    """The form that opens or reopens a session with a completed checklist."""

    checklist_id: int = FormField(title="Checklist")


class StepIn(FormIn):
    """The form of one step."""

    act: Literal["done", "skip", "undo"] = FormField(title="What happened")
    why: str = FormField("", max_length=300, title="Why it is skipped")
    meant: str = FormField("", max_length=300, title="What was meant")


class StepTimeIn(FormIn):
    """The form that tells afterwards when a step was done, or corrects it."""

    at: str = FormField(
        max_length=40, title="Done at", description="By the clock on the wall: 14:05, or 2026-11-25 14:05."
    )
    why: str = FormField(
        min_length=3, max_length=300, title="Why it is entered late", description="From paper, or forgotten."
    )


class SetIn(FormIn):
    """The form for another set of moulds poured from the same pan."""

    moulds: str = FormField(
        min_length=1, max_length=80, title="What is poured in this set", description="Such as 2 of the wide grains."
    )


_BARE = re.compile(r"[+\-−]?\d+(?:[.,]\d+)?")


class TemperatureIn(FormIn):
    """The form for a reading. A bare number is in the unit chosen beside it, and keeps that unit.

    `bare` tells that the degrees were not written: the ones chosen beside the number may be those of another reading.
    """

    temperature: Annotated[Quantity, Measure("temperature", gt=250, lt=800)] = FormField(title="Pan temperature")
    unit: Literal["", "°F", "°C"] = FormField("", title="Degrees")
    at: str = FormField("", max_length=40, title="Read at", description="Empty means now. From paper: 14:05.")
    bare: bool = FormField(False, title="Degrees not written")

    @model_validator(mode="before")
    @classmethod
    def _with_its_unit(cls, data: Any) -> Any:
        if isinstance(data, dict) and data.get("unit") and _BARE.fullmatch(str(data.get("temperature", "")).strip()):
            return {**data, "temperature": f"{str(data['temperature']).strip()} {data['unit']}", "bare": True}
        return data


class DegreesIn(FormIn):
    """The form that says which degrees a doubted reading was in: one button for each."""

    unit: Literal["°F", "°C"] = FormField(title="Degrees")


class NoteIn(FormIn):
    """The form for words."""

    words: str = FormField(min_length=1, max_length=2000, title="Note", json_schema_extra={"rows": 2})


class CloseIn(FormIn):
    """The form that closes a session."""

    why: str = FormField("", max_length=300, title="Why it ends with steps still open, or a day late")
