"""Grains that drew water: what the newest re-weigh of each says, who accepted it, which motors hold one.

A wet grain is held by the book until it is dried and weighed again, or accepted with a reason. What counts as wet is
`app.calc.grain.density_check.moisture_gain`; a re-weigh keeps it as it was said then.
"""

from collections.abc import Iterable, Sequence
from typing import Any

from sqlalchemy import Select, func
from sqlalchemy import select as select_core
from sqlmodel import Session, col, select

from app import clock
from app.errors import Refused
from app.models import BuildGrain, Firing, FiringLetIn, Grain, ReWeigh


def _newest() -> Select[Any]:
    """The newest re-weigh of each grain that was not struck out."""
    return select_core(func.max(ReWeigh.id)).where(col(ReWeigh.voided_at).is_(None)).group_by(col(ReWeigh.grain_id))


def newest(session: Session, grain_ids: Iterable[int]) -> Sequence[ReWeigh]:
    """The newest re-weigh of each of these grains, for those that have one."""
    theirs = _newest().where(col(ReWeigh.grain_id).in_(list(grain_ids)))
    return session.exec(select(ReWeigh).where(col(ReWeigh.id).in_(theirs))).all()


def wet_readings(session: Session, grain_ids: Iterable[int]) -> dict[int, ReWeigh]:
    """By grain the re-weigh that says it is wet, accepted or not."""
    return {row.grain_id: row for row in newest(session, grain_ids) if row.wet}


def held(row: ReWeigh | None) -> bool:
    """Whether the book holds a grain of which this says that it is wet."""
    return row is not None and row.accepted_at is None


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


# --- What firings of wet grains teach ------------------------------------------------------------


def left_out(session: Session) -> dict[int, str]:
    """The firings of wet grains that predictions do not learn from, by identity, and why in words."""
    let_in = set(session.exec(select(FiringLetIn.firing_id).where(col(FiringLetIn.ended_at).is_(None))))
    inside = in_motors(session)
    fired = session.execute(
        select_core(col(Firing.id), col(Firing.motor_build_id)).where(col(Firing.motor_build_id).in_(list(inside)))
    )
    return {
        firing_id: f"wet at the last re-weigh: {', '.join(inside[build_id])}"
        for firing_id, build_id in fired
        if firing_id not in let_in
    }


def let_in_now(session: Session, firing: Firing) -> FiringLetIn | None:
    """That a firing of wet grains is learned from all the same, if it is."""
    now = select(FiringLetIn).where(FiringLetIn.firing_id == firing.pk, col(FiringLetIn.ended_at).is_(None))
    return session.exec(now).first()


def let_in(session: Session, firing: Firing, why: str) -> FiringLetIn:
    """Learn from a firing of wet grains all the same, for a reason that stays beside it.

    Raises
    ------
    Refused
        None of its grains was wet, it did not light, or it is learned from already.
    """
    if firing.result == "no_light":
        raise Refused("This motor did not light, so nothing is learned from it anyway.")
    if firing.motor_build_id not in in_motors(session):
        raise Refused("None of its grains was wet, so it is not left out for that.")
    if let_in_now(session, firing) is not None:
        raise Refused("Its wet grains are no reason any more to leave it out: it was let in already.")
    row = FiringLetIn(firing_id=firing.pk, why=why)
    session.add(row)
    session.flush()
    return row


def end_let_in(session: Session, firing: Firing) -> None:
    """Learn from a firing of wet grains no more; that it was let in stays in the book.

    Raises
    ------
    Refused
        It was not let in.
    """
    row = let_in_now(session, firing)
    if row is None:
        raise Refused("This firing is left out already, for its wet grains.")
    row.ended_at = clock.now()
    row.version += 1
    session.flush()
