"""The book's own housekeeping: words typed but not saved yet, and saves already done."""

from datetime import datetime

from sqlalchemy import LargeBinary
from sqlmodel import Field, SQLModel

from app import clock
from app.models.base import SHA256, Utc


class Draft(SQLModel, table=True):
    """What stands in a form that was not saved yet, so that a power cut loses at most one field."""

    page: str = Field(primary_key=True)
    values_json: str
    updated_at: datetime = Field(default_factory=clock.now, sa_type=Utc)


class OnceToken(SQLModel, table=True):
    """A form's once-only token, spent in the same transaction as the act it let through."""

    __tablename__ = "once_token"

    token: str = Field(primary_key=True)
    url: str = ""
    address: str = ""
    """Where the form was sent to."""
    sent_json: str = ""
    """What stood in it: its fields and texts."""
    spent_at: datetime = Field(default_factory=clock.now, sa_type=Utc)


class CarriedFile(SQLModel, table=True):
    """The bytes of a file that rows name, in a copy that travels alone; the book at work has them in a folder."""

    __tablename__ = "carried_file"

    sha256: str = Field(primary_key=True, sa_column_kwargs=SHA256)
    raw: bytes = Field(sa_type=LargeBinary)
