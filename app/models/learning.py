"""What firings teach: what was read out of each, which are left out, and where learning is paused."""

from datetime import datetime

from pydantic import Field as FormField
from sqlalchemy import Index, UniqueConstraint, text
from sqlmodel import Field

from app.models.base import FormIn, Row, Utc


class FiringFit(Row, table=True):
    """What one firing says of burn rate and efficiencies: made from the record, and made again when that changes.

    `key` names everything it was made from; a row whose key is not today's is not used until it is made again.
    """

    __tablename__ = "firing_fit"
    __table_args__ = (UniqueConstraint("firing_id"),)

    firing_id: int = Field(foreign_key="firing.id")
    key: str
    fit_json: str


class FiringLeftOut(Row, table=True):
    """A firing that predictions do not learn from, and why; `back_at` once it was let in again."""

    __tablename__ = "firing_left_out"
    __table_args__ = (Index("uq_firing_left_out_now", "firing_id", unique=True, sqlite_where=text("back_at IS NULL")),)

    firing_id: int = Field(foreign_key="firing.id", index=True)
    why: str
    back_at: datetime | None = Field(default=None, sa_type=Utc)


class FiringLetIn(Row, table=True):
    """A firing of wet grains that predictions learn from all the same, and why; `ended_at` once they do not."""

    __tablename__ = "firing_let_in"
    __table_args__ = (Index("uq_firing_let_in_now", "firing_id", unique=True, sqlite_where=text("ended_at IS NULL")),)

    firing_id: int = Field(foreign_key="firing.id", index=True)
    why: str
    ended_at: datetime | None = Field(default=None, sa_type=Utc)


class LearningPause(Row, table=True):
    """A formula, by its name, whose predictions do not use what was learned; `ended_at` once they do again."""

    __tablename__ = "learning_pause"
    __table_args__ = (
        Index("uq_learning_pause_now", "formula_name", unique=True, sqlite_where=text("ended_at IS NULL")),
    )

    formula_name: str
    why: str
    ended_at: datetime | None = Field(default=None, sa_type=Utc)


class WhyIn(FormIn):
    """The form to leave a firing out, or to pause a formula."""

    why: str = FormField(min_length=3, max_length=300, title="Why")
