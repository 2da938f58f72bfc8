"""Plans written down: saved with their scaled recipe, changed until casting begins, or given up."""

from typing import Any

from sqlmodel import Session, select

from app.errors import Refused
from app.models import Batch, BatchItem, BatchPart, Melt
from app.models.batch import PlanIn
from app.services.book import repository
from app.services.cast import checklists, melts, needs
from app.services.stock import batches


def plan(session: Session, data: PlanIn) -> Batch:
    """Save a plan, one batch for each of its melts; gives the first.

    Raises
    ------
    Refused, CalcError
        As `melts.fitting` and `needs.work_out`; or the formula or a pattern is retired.
    """
    plans = melts.fitting(session, data)
    melts.keep_capacity(session, data)
    made = [_plan(session, one) for one in plans]
    return made[0]


def _plan(session: Session, data: PlanIn) -> Batch:
    worked = needs.work_out(session, data)
    _in_use(worked)
    batch = Batch(code=batches.lot_code(session, data.planned_for), **_columns(data, worked))
    session.add(batch)
    session.flush()
    _fill(session, batch, worked)
    return batch


def edit(session: Session, batch: Batch, data: PlanIn, version: int | None = None) -> Batch:
    """Change a plan that was not cast yet; its checklists are voided, for they were made for another plan.

    With several melts it becomes the first of them, and the others are planned beside it.

    Raises
    ------
    Refused, CalcError
        As `plan`; or the batch was opened for casting or dropped.
    Conflict
        The plan was changed since the page was opened.
    """
    _still_planned(session, batch)
    repository.claim(batch, version)
    data, *more = melts.fitting(session, data, batch)
    melts.keep_capacity(session, data)
    worked = needs.work_out(session, data, batch)
    checklists.void_unused(session, batch, "The plan was changed.")
    for name, value in _columns(data, worked).items():
        setattr(batch, name, value)
    batch.items.clear()
    batch.parts.clear()
    session.flush()
    _fill(session, batch, worked)
    for one in more:
        _plan(session, one)
    return batch


def drop(session: Session, batch: Batch, why: str, version: int | None = None) -> Batch:
    """Give up a plan; it stays in the book with the reason.

    Raises
    ------
    Refused
        The batch was opened for casting or dropped.
    Conflict
        The plan was changed since the page was opened.
    """
    _still_planned(session, batch)
    repository.claim(batch, version)
    checklists.void_unused(session, batch, f"The plan was dropped: {why}")
    batch.state = "dropped"
    batch.note = f"{batch.note}\nDropped: {why}".strip()
    session.flush()
    return batch


def _still_planned(session: Session, batch: Batch) -> None:
    if batch.state == "dropped":
        raise Refused(f"Batch {batch.code} was dropped. Plan a new one.")
    begun = session.exec(select(Melt.id).where(Melt.batch_id == batch.pk)).first()
    if batch.state != "planned" or begun is not None:
        raise Refused(f"Casting of {batch.code} has begun; its plan stays as it was. Plan a new batch for more.")


def _in_use(worked: needs.Worked) -> None:
    if worked.formula.retired:
        raise Refused(f"{worked.formula.label} is retired. Choose the newest version.", field="formula_id")
    for i, grains in enumerate(worked.wanted):
        if grains.pattern.retired:
            raise Refused(f"{grains.pattern.name} is retired. Choose another.", field=f"items.{i}.pattern_id")


def _columns(data: PlanIn, worked: needs.Worked) -> dict[str, Any]:
    return {
        "formula_id": worked.formula.pk,
        "planned_for": data.planned_for,
        "expected_density_share": data.expected_density.si,
        "over_pour_share": data.over_pour.si,
        "planned_test_pieces_kg": data.test_pieces.si,
        "target_mass_kg": worked.target_kg,
        "note": data.note,
    }


def _fill(session: Session, batch: Batch, worked: needs.Worked) -> None:
    for grains in worked.wanted:
        session.add(BatchItem(batch_id=batch.pk, pattern_id=grains.pattern.pk, count=grains.count))
    for need in worked.needs:
        leftover_id = need.leftover.pk if need.leftover else None
        session.add(
            BatchPart(batch_id=batch.pk, ingredient=need.ingredient, leftover_id=leftover_id, target_kg=need.target_kg)
        )
    session.flush()
    session.refresh(batch)
