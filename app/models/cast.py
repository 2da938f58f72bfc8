"""A cast session: opened by a checklist, with its steps, temperature readings and notes."""

from datetime import datetime
from typing import Annotated, Literal

from pydantic import Field as FormField
from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field, Relationship

from app.models.base import FormIn, Row, Utc
from app.units import Measure, Quantity


class CastSession(Row, table=True):
    """The session of one batch; open while `closed_at` is empty."""

    __tablename__ = "cast_session"
    __table_args__ = (UniqueConstraint("batch_id"),)

    batch_id: int = Field(foreign_key="batch.id")
    closed_at: datetime | None = Field(default=None, sa_type=Utc)
    openings: list["SessionOpening"] = Relationship(
        sa_relationship_kwargs={"order_by": "SessionOpening.id", "lazy": "selectin"}
    )
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
    """A step of the run: what to do, when it is due (minutes after another step), when it was done."""

    __tablename__ = "cast_step"
    __table_args__ = (
        UniqueConstraint("cast_session_id", "key"),
        CheckConstraint("done_at IS NULL OR skipped_why IS NULL", name="done_or_skipped"),
    )

    cast_session_id: int = Field(foreign_key="cast_session.id", index=True)
    position: int
    key: str
    words: str
    after_key: str | None = None
    after_s: float | None = None
    done_at: datetime | None = Field(default=None, sa_type=Utc)
    skipped_why: str | None = None
    person: str = ""


class TemperatureReading(Row, table=True):
    """The pan's temperature at a moment."""

    __tablename__ = "temperature_reading"

    cast_session_id: int = Field(foreign_key="cast_session.id", index=True)
    read_at: datetime = Field(sa_type=Utc)
    temperature_k: float
    temperature_typed: str


class SessionNote(Row, table=True):
    """Words written during a session."""

    __tablename__ = "session_note"

    cast_session_id: int = Field(foreign_key="cast_session.id", index=True)
    written_at: datetime = Field(sa_type=Utc)
    words: str


class OpenSessionIn(FormIn):
    """The form that opens or reopens a session with a completed checklist."""

    checklist_id: int = FormField(title="Checklist")


class StepIn(FormIn):
    """The form of one step."""

    act: Literal["done", "skip", "undo"] = FormField(title="What happened")
    why: str = FormField("", max_length=300, title="Why it is skipped")


class TemperatureIn(FormIn):
    """The form for a reading."""

    temperature: Annotated[Quantity, Measure("temperature", gt=250, lt=800)] = FormField(title="Pan temperature")


class NoteIn(FormIn):
    """The form for words."""

    words: str = FormField(min_length=1, max_length=2000, title="Note", json_schema_extra={"rows": 2})


class CloseIn(FormIn):
    """The form that closes a session."""

    why: str = FormField("", max_length=300, title="Why it ends with steps still open")
