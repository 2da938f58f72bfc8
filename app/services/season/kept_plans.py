"""Plans of a season as they were worked out, with what changed, and the batches that came of them."""

import json
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from sqlmodel import Session, col, select

from app import clock
from app.models import Batch, Season, SeasonBatch, SeasonPlan
from app.services.book import audit_reasons


def last(session: Session, season: Season) -> SeasonPlan | None:
    """The plan that counts: the one worked out last."""
    found = select(SeasonPlan).where(SeasonPlan.season_id == season.pk).order_by(col(SeasonPlan.id).desc())
    return session.exec(found).first()


def every(session: Session, season: Season) -> list[SeasonPlan]:
    """All plans of a season, the last one first."""
    found = select(SeasonPlan).where(SeasonPlan.season_id == season.pk).order_by(col(SeasonPlan.id).desc())
    return list(session.exec(found))


def keep(
    session: Session,
    season: Season,
    inputs: Mapping[str, Any],
    result: Mapping[str, Any],
    changes: Sequence[str] = (),
    why: str = "",
) -> SeasonPlan:
    """Keep a plan as it was worked out: what was asked, what came of it, and how it differs from the one before."""
    before = last(session, season)
    row = SeasonPlan(
        season_id=season.pk,
        earlier_id=before.pk if before else None,
        made_at=clock.now(),
        person=audit_reasons.who(session),
        why=why,
        inputs_json=json.dumps(inputs, allow_nan=False),
        result_json=json.dumps(result, allow_nan=False),
        changes_json=json.dumps(list(changes), ensure_ascii=False),
    )
    session.add(row)
    session.flush()
    return row


def batches(session: Session, season: Season) -> list[Batch]:
    """The batches that were planned for a season, by their day; plans that were dropped are not among them."""
    found = (
        select(Batch)
        .join(SeasonBatch, col(SeasonBatch.batch_id) == col(Batch.id))
        .where(SeasonBatch.season_id == season.pk, Batch.state != "dropped")
    )
    return list(session.exec(found.order_by(col(Batch.planned_for), col(Batch.id))))


def take_up(session: Session, season: Season, batch: Batch, plan: SeasonPlan | None = None) -> SeasonBatch:
    """Say that a batch is one of the season's."""
    row = SeasonBatch(season_id=season.pk, season_plan_id=plan.pk if plan else None, batch_id=batch.pk)
    session.add(row)
    session.flush()
    return row


def opened_on(session: Session, season: Season) -> dict[date, list[Batch]]:
    """The season's batches by the evening they are planned for."""
    found: dict[date, list[Batch]] = {}
    for batch in batches(session, season):
        found.setdefault(batch.planned_for, []).append(batch)
    return found
