"""Batches: found by code or state, and what was really weighed into them."""

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any

from sqlalchemy import func
from sqlalchemy import select as select_core
from sqlalchemy.orm import lazyload
from sqlmodel import Session, col, select

from app.models import Batch, DisposalItem, Formula, Leftover, WeighOut
from app.models.base import attribute
from app.services.book import repository, serials

BARE = (lazyload(attribute(Batch.items)), lazyload(attribute(Batch.parts)))
"""How batches are loaded by lists that show neither what is to be cast of them nor their recipe."""

OPEN_STATES = ("planned", "casting")


def lot_code(session: Session, day: date) -> str:
    """The code of the next batch of that month (2611P)."""
    return serials.lot_code(day, session.exec(select(Batch.code).where(col(Batch.code).startswith(f"{day:%y%m}"))))


def by_code(session: Session, code: str) -> Batch:
    """The batch of that lot code.

    Raises
    ------
    NotFound
        There is none.
    """
    batch_id = session.exec(select(Batch.id).where(Batch.code == code.upper())).first()
    return repository.get(session, Batch, batch_id or 0, "batch")


def in_states(session: Session, *states: str) -> list[Batch]:
    """Batches in any of these states (all, when none is named), by day, newest last."""
    query = select(Batch).order_by(col(Batch.planned_for), col(Batch.id))
    return list(session.exec(query.where(col(Batch.state).in_(states)) if states else query))


def past(session: Session, page: int = 1) -> repository.Page[Batch]:
    """A page of the batches that are cast or dropped, newest first."""
    query = select(Batch).where(col(Batch.state).not_in(OPEN_STATES))
    return repository.page(session, query.order_by(col(Batch.planned_for).desc(), col(Batch.id).desc()), page)


def any_planned(session: Session) -> bool:
    """Whether a batch was ever planned."""
    return session.exec(select(Batch.id).limit(1)).first() is not None


def formula_of(session: Session, batch: Batch) -> Formula:
    """The formula version a batch is planned with."""
    return repository.get(session, Formula, batch.formula_id, "formula")


def _taken(column: Any, mass: Any, holds: Any) -> Any:
    return select_core(func.coalesce(func.sum(mass), 0.0)).where(column == Leftover.id, holds).scalar_subquery()


_LEFT: Any = (
    col(Leftover.mass_kg)
    - _taken(col(WeighOut.leftover_id), col(WeighOut.mass_kg), col(WeighOut.voided_at).is_(None))
    - _taken(col(DisposalItem.leftover_id), col(DisposalItem.mass_kg), col(DisposalItem.released_at).is_(None))
)
"""Of a leftover what was neither weighed out again nor disposed of [kg]."""

_EMPTY = 1e-9
"""What a bag may seem to hold by rounding alone [kg]."""


def leftovers_left(session: Session) -> dict[int, float]:
    """Mass left of each leftover [kg]."""
    return dict(session.execute(select_core(col(Leftover.id), _LEFT)).all())


def leftovers(session: Session) -> list[tuple[Leftover, float]]:
    """Leftovers with something in the bag, oldest first, and how much [kg]."""
    found = select_core(Leftover, _LEFT).where(_LEFT > _EMPTY).order_by(col(Leftover.id))
    return list(session.execute(found).all())


def leftovers_mass(session: Session) -> float:
    """How much of all leftovers lies there [kg]."""
    return float(session.execute(select_core(func.coalesce(func.sum(_LEFT), 0.0)).where(_LEFT > _EMPTY)).scalar_one())


def weighed(session: Session, batch: Batch) -> dict[int, float]:
    """Mass weighed out for each part of a batch, struck-out amounts left aside [kg]."""
    return weighed_of(session, [batch])


def weighed_of(session: Session, batches: Iterable[Batch]) -> dict[int, float]:
    """Mass weighed out for each part of these batches, struck-out amounts left aside [kg]."""
    sums = {part.pk: 0.0 for batch in batches for part in batch.parts}
    amounts = select(WeighOut.batch_part_id, WeighOut.mass_kg).where(
        col(WeighOut.batch_part_id).in_(list(sums)), col(WeighOut.voided_at).is_(None)
    )
    for part_id, mass in session.exec(amounts):
        sums[part_id] += mass
    return sums


def composition(session: Session, batch: Batch) -> dict[str, float]:
    """What a batch is made of, as mass fractions: as really weighed, its own remelt counted; else as its formula."""
    masses: dict[str, float] = {}
    amounts = weighed(session, batch)
    for part in batch.parts:
        amount = amounts[part.pk]
        if not amount:
            continue
        if part.ingredient is not None:
            masses[part.ingredient] = masses.get(part.ingredient, 0.0) + amount
        else:
            for key, share in of_leftover(session, part.leftover_id or 0).items():
                masses[key] = masses.get(key, 0.0) + share * amount
    total = sum(masses.values())
    if not total:
        return formula_of(session, batch).blend
    return {key: mass / total for key, mass in masses.items()}


def of_leftover(session: Session, leftover_id: int) -> dict[str, float]:
    """Mass fractions of a leftover: those of the batch it came from."""
    leftover = repository.get(session, Leftover, leftover_id, "leftover")
    return composition(session, repository.get(session, Batch, leftover.batch_id, "batch"))


def outstanding(session: Session, batch: Batch) -> dict[int, float]:
    """What is still to be weighed out for each part of a batch [kg]."""
    return outstanding_of(session, [batch])


def outstanding_of(session: Session, batches: Sequence[Batch]) -> dict[int, float]:
    """What is still to be weighed out for each part of these batches [kg]."""
    amounts = weighed_of(session, batches)
    return {part.pk: max(part.target_kg - amounts[part.pk], 0.0) for batch in batches for part in batch.parts}
