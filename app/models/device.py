"""Tablets and other devices that were paired with the book to use it over the network."""

from datetime import datetime
from typing import Annotated

from pydantic import Field as FormField
from sqlalchemy import UniqueConstraint
from sqlmodel import Field

from app import clock
from app.models.base import FormIn, Row, Utc


class PairedDevice(Row, table=True):
    """A device that may use the book while it is open to the network; only a digest of its secret is kept."""

    __tablename__ = "paired_device"
    __table_args__ = (UniqueConstraint("token_hash"),)

    name: str
    token_hash: str
    last_seen_at: datetime = Field(default_factory=clock.now, sa_type=Utc)
    revoked_at: datetime | None = Field(default=None, sa_type=Utc)


class PairIn(FormIn):
    """What a device sends to be paired."""

    code: Annotated[str, FormField(min_length=1, max_length=20, title="Code")] = FormField(
        description="Eight digits, shown on the computer that Grainbook runs on."
    )
    name: Annotated[str, FormField(min_length=1, max_length=40, title="Name of this device")] = FormField(
        description="So that you know it again, such as “bench tablet”."
    )


class GlassIn(FormIn):
    """How wide a drawn card is on a device's screen when a real one covers it."""

    card_px: float = FormField(
        title="Width of the drawn card, in px", description="The drawn card follows the number after “Draw it again”."
    )
