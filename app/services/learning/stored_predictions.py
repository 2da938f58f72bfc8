"""Which prediction belongs to a firing: the last one made before it, as it was stored. One rule, for every page.

Moments of firings are typed to the minute, so one made within that minute counts as before. A measurement is held
against nothing that was made afterwards: a firing whose motor was predicted only later has no prediction.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta
from functools import cache
from typing import Any

from sqlalchemy import ColumnElement, ScalarSelect, Select, func, literal
from sqlalchemy import select as select_core
from sqlalchemy.orm import aliased, defer
from sqlmodel import Session, col, select

from app.models import Firing, Prediction
from app.models.base import Utc, attribute

MINUTE = timedelta(minutes=1)


@cache
def id_in_query() -> ScalarSelect[Any]:
    """Within a query of firings: the identity of the prediction that belongs to each."""
    last = _last(col(Firing.motor_build_id), func.datetime(col(Firing.fired_at), "+1 minute"))
    return last.correlate(Firing).scalar_subquery()


def _last(motor: Any, until: ColumnElement[Any]) -> Select[Any]:
    made = aliased(Prediction)
    return (
        select_core(col(made.id))
        .where(col(made.motor_build_id) == motor, col(made.made_at) < until)
        .order_by(col(made.made_at).desc(), col(made.id).desc())
        .limit(1)
    )


def for_firing(session: Session, firing: Firing) -> Prediction | None:
    """The prediction that belongs to a firing, also to one that is not in the book yet."""
    return at(session, firing.motor_build_id, firing.fired_at)


def at(session: Session, motor_build_id: int, moment: datetime) -> Prediction | None:
    """The prediction that a firing of a motor at a moment would be held against."""
    last = _last(literal(motor_build_id), literal(moment + MINUTE, Utc())).scalar_subquery()
    return session.exec(select(Prediction).where(col(Prediction.id) == last)).first()


def ids(session: Session, firing_ids: Iterable[int]) -> dict[int, int]:
    """The identities of the predictions that belong to firings, by the firing's; in one query."""
    query = select_core(col(Firing.id), id_in_query()).where(col(Firing.id).in_(set(firing_ids)))
    return {firing: prediction for firing, prediction in session.execute(query) if prediction is not None}


def for_firings(session: Session, firing_ids: Iterable[int]) -> dict[int, Prediction]:
    """The predictions that belong to firings, by the firing's identity, without their curves."""
    wanted = ids(session, firing_ids)
    bare = (defer(attribute(Prediction.inputs_json)), defer(attribute(Prediction.result_json)))
    query = select(Prediction).where(col(Prediction.id).in_(set(wanted.values()))).options(*bare)
    found = {row.pk: row for row in session.exec(query)}
    return {firing: found[made] for firing, made in wanted.items()}


def made_after(session: Session, firing: Firing) -> Prediction | None:
    """The first prediction of a firing's motor, where it was made only after the firing; nothing where one counts."""
    if for_firing(session, firing) is not None:
        return None
    query = select(Prediction).where(Prediction.motor_build_id == firing.motor_build_id)
    return session.exec(query.order_by(col(Prediction.made_at), col(Prediction.id))).first()
