"""Grains that drew water: what the newest re-weigh of each says, who accepted it, which motors hold one.

A wet grain is held by the book until it is dried and weighed again, or accepted with a reason. What counts as wet is
`app.calc.grain.density_check.moisture_gain`; a re-weigh keeps it as it was said then.
"""

from collections.abc import Iterable
from typing import Any

from sqlalchemy import Select, func
from sqlalchemy import select as select_core
from sqlmodel import Session, col, select

from app.models import BuildGrain, Grain, ReWeigh


def _newest() -> Select[Any]:
    """The newest re-weigh of each grain that was not struck out."""
    return select_core(func.max(ReWeigh.id)).where(col(ReWeigh.voided_at).is_(None)).group_by(col(ReWeigh.grain_id))


def newest(session: Session, grain_ids: Iterable[int]) -> dict[int, ReWeigh]:
    """The newest re-weigh of each of these grains, for those that have one."""
    theirs = _newest().where(col(ReWeigh.grain_id).in_(list(grain_ids)))
    return {row.grain_id: row for row in session.exec(select(ReWeigh).where(col(ReWeigh.id).in_(theirs)))}


def held(row: ReWeigh | None) -> bool:
    """Whether the book holds a grain of which this is the newest re-weigh."""
    return row is not None and row.wet and row.accepted_at is None


def held_ids() -> Select[Any]:
    """The grains that the book holds, for a query."""
    return select_core(col(ReWeigh.grain_id)).where(
        col(ReWeigh.id).in_(_newest()), col(ReWeigh.wet), col(ReWeigh.accepted_at).is_(None)
    )


def in_motors(session: Session) -> dict[int, list[str]]:
    """By motor the serials of the wet grains that are in it or burned in it, accepted or not."""
    query = (
        select_core(col(BuildGrain.motor_build_id), col(Grain.serial))
        .join(Grain, col(Grain.id) == BuildGrain.grain_id)
        .join(ReWeigh, col(ReWeigh.grain_id) == Grain.id)
        .where(col(BuildGrain.released_at).is_(None), col(ReWeigh.wet), col(ReWeigh.id).in_(_newest()))
        .order_by(col(BuildGrain.motor_build_id), col(BuildGrain.position))
    )
    found: dict[int, list[str]] = {}
    for build_id, serial in session.execute(query):
        found.setdefault(build_id, []).append(serial)
    return found
