"""Plans of a season as they were worked out, the batches that came of them, and answers kept by their inputs."""

from datetime import datetime
from typing import Annotated

from pydantic import Field as FormField
from sqlalchemy import UniqueConstraint
from sqlmodel import Field

from app.models.base import SHA256, FormIn, Row, Utc, one_of
from app.units import Measure, Quantity


class SeasonPlan(Row, table=True):
    """What to cast on which evening, as it was worked out at a moment; never rewritten, the last one counts.

    `inputs_json` is what was asked of the calculation and `result_json` its answer; `changes_json` is a list of
    sentences: what is otherwise than in the plan before (`earlier_id`) and why.
    """

    __tablename__ = "season_plan"

    season_id: int = Field(foreign_key="season.id", index=True)
    earlier_id: int | None = Field(default=None, foreign_key="season_plan.id")
    made_at: datetime = Field(sa_type=Utc)
    person: str = ""
    why: str = ""
    inputs_json: str
    result_json: str
    changes_json: str = "[]"


class SeasonBatch(Row, table=True):
    """A batch that was planned for a season; its evening is the day that the batch is planned for."""

    __tablename__ = "season_batch"
    __table_args__ = (UniqueConstraint("batch_id"),)

    season_id: int = Field(foreign_key="season.id", index=True)
    season_plan_id: int | None = Field(default=None, foreign_key="season_plan.id")
    batch_id: int = Field(foreign_key="batch.id")


class KeptAnswer(Row, table=True):
    """An answer of a long calculation by the digest of all that went in; it can be worked out again at any time."""

    __tablename__ = "kept_answer"
    __table_args__ = (UniqueConstraint("inputs_sha256"),)

    what: str = Field(sa_column_kwargs=one_of("choices", "plan"))
    inputs_sha256: str = Field(sa_column_kwargs=SHA256)
    answer_json: str


class WorkOutIn(FormIn):
    """The button that works a season's plan out; the pan's capacity is asked for where the settings have none."""

    pan_capacity: Annotated[Quantity, Measure("mass", gt=0, le=50, usual=(0.1, 20))] | None = FormField(
        None, title="Your pan holds safely", description="Of melt, with room to stir. Asked once, kept in the settings."
    )


class PlanEveningIn(FormIn):
    """The button that plans the batches of an evening."""
