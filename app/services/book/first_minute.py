"""Striking out what was told, and the minute in which a slip is taken back with one touch and without a reason."""

from datetime import timedelta

from sqlmodel import Session

from app import clock
from app.errors import Refused
from app.models import (
    GrainLook,
    Incident,
    NozzleMeasure,
    ReWeigh,
    ScaleCheck,
    TemperatureReading,
    ThermometerCheck,
    WeighOut,
)
from app.models.base import Row
from app.models.batch import VoidIn
from app.services.book import repository

Told = GrainLook | Incident | NozzleMeasure | ReWeigh | ScaleCheck | TemperatureReading | ThermometerCheck | WeighOut
"""What is struck out, never erased."""

TAKE_BACK = timedelta(seconds=60)

AT_ONCE = "Undone within a minute."
"""The reason that the button of the first minute gives by itself."""


def fresh(row: Row) -> bool:
    """Whether a row came into the book within this minute."""
    return 0 <= (clock.now() - row.created_at).total_seconds() <= TAKE_BACK.total_seconds()


def honest(row: Row, data: VoidIn) -> None:
    """Refuse the button's own reason after its minute.

    Raises
    ------
    Refused
        The minute is over.
    """
    if data.why == AT_ONCE and not fresh(row):
        raise Refused("The minute is over; say in a few words why it is struck out.", field="why")


def strike(session: Session, row: Told, data: VoidIn, version: int | None = None, called: str = "struck out") -> None:
    """Strike out what was told: it stays readable with the reason, and the one before it counts again.

    Raises
    ------
    Refused
        It was struck out already, or the button of the first minute came after it.
    Conflict
        It was changed since the page was opened.
    """
    if row.voided_at is not None:
        raise Refused(f"This was {called} already ({row.voided_why}).")
    honest(row, data)
    repository.claim(row, version)
    row.voided_at, row.voided_why = clock.now(), data.why
    session.flush()
