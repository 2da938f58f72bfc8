"""An incident or a near miss: told in two taps while it is fresh, written out when there is time."""

from datetime import datetime
from typing import Literal

from pydantic import Field as FormField
from sqlalchemy import CheckConstraint
from sqlmodel import Field

from app.models.base import FormIn, Row, Utc, one_of

KINDS = {"incident": "Incident", "near miss": "Near miss"}

SORTS = {
    "burn": "Burn",
    "smoke": "Smoke or foam",
    "fire": "Fire",
    "spill": "Spill",
    "hot": "Too hot",
    "dropped": "Something dropped",
    "other": "Something else",
}
"""What sort of thing it was, in words of the trade."""


class Incident(Row, table=True):
    """Something that hurt or broke, or nearly did. Never erased; voided with a reason if it was tapped by mistake.

    The melt it was told at is that of its batch. One told afterwards, or away from the pan, belongs to no evening.
    """

    __table_args__ = (
        CheckConstraint("kind IN ('incident', 'near miss')", name="kind"),
        CheckConstraint("voided_at IS NULL OR coalesce(length(voided_why), 0) > 0", name="voided_with_reason"),
        CheckConstraint("written_at IS NULL OR length(words) > 0", name="written_in_words"),
    )

    cast_session_id: int | None = Field(default=None, foreign_key="cast_session.id", index=True)
    batch_id: int | None = Field(default=None, foreign_key="batch.id", index=True)
    happened_at: datetime = Field(sa_type=Utc)
    kind: str
    sort: str = Field(sa_column_kwargs=one_of(*SORTS))
    person: str = ""
    words: str = ""
    lesson: str = ""
    line: str = ""
    """What it proposes for the checklist."""
    written_at: datetime | None = Field(default=None, sa_type=Utc)
    voided_at: datetime | None = Field(default=None, sa_type=Utc)
    voided_why: str | None = None

    @property
    def told(self) -> str:
        """What it was, in a few words."""
        return f"{KINDS.get(self.kind, self.kind)}: {SORTS.get(self.sort, self.sort).lower()}"


class TapIn(FormIn):
    """The form of the second tap: one button for each kind and sort, such as `near miss:spill`."""

    what: Literal[
        "incident:burn",
        "incident:smoke",
        "incident:fire",
        "incident:spill",
        "incident:hot",
        "incident:dropped",
        "incident:other",
        "near miss:burn",
        "near miss:smoke",
        "near miss:fire",
        "near miss:spill",
        "near miss:hot",
        "near miss:dropped",
        "near miss:other",
    ] = FormField(title="What happened")
    back: Literal["cast", "bench"] = FormField("cast", title="The page that it was told on")


class WrittenIn(FormIn):
    """The form that an incident is written out with."""

    sort: Literal["burn", "smoke", "fire", "spill", "hot", "dropped", "other"] = FormField(title="Sort")
    words: str = FormField(
        min_length=3,
        max_length=4000,
        title="What happened",
        description="In order, with what was in hand and what was hurt or broken.",
        json_schema_extra={"rows": 4},
    )
    lesson: str = FormField(
        "",
        max_length=4000,
        title="What was learned",
        description="What led to it, and what will be done otherwise.",
        json_schema_extra={"rows": 3},
    )
    line: str = FormField(
        "",
        max_length=400,
        title="A line for the checklist",
        description="What to see before the next melt, so that it does not happen again. Leave it empty if none helps.",
    )


class IncidentIn(WrittenIn):
    """The form of one that is told afterwards."""

    kind: Literal["incident", "near miss"] = FormField(title="Kind")
    happened_at: datetime = FormField(title="When", description="Your local time.")
