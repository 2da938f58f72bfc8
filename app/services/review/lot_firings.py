"""The firings of lots: every motor that held a grain of a lot, with what was predicted before it was fired."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func
from sqlalchemy import select as select_core
from sqlmodel import Session, col, select

from app.models import Batch, BuildGrain, Firing, Grain, MotorBuild, Prediction
from app.models.firing import RESULTS
from app.services.firings import heights
from app.services.firings.heights import Height
from app.services.grains import grains
from app.services.learning import stored_predictions


@dataclass(frozen=True)
class Shot:
    """A firing that burned, or tried to burn, grains of a lot; with the prediction that belongs to it."""

    motor_build_id: int
    grain_count: int
    firing_id: int
    kind: str
    fired_at: datetime
    result: str
    altitude_m: float | None
    measured_ns: float | None
    motor_code: str
    predicted_ns: float | None
    designation: str | None


def shots_of(session: Session, ids: list[int]) -> dict[int, list[Shot]]:
    """The firings of motors that held a grain of each lot, oldest first, in one query."""
    held = (
        select_core(col(Grain.batch_id), col(BuildGrain.motor_build_id), func.count().label("grain_count"))
        .join(Grain, col(BuildGrain.grain_id) == Grain.id)
        .where(col(Grain.batch_id).in_(ids))
        .group_by(col(Grain.batch_id), col(BuildGrain.motor_build_id))
        .subquery()
    )
    query = (
        select_core(
            held.c.batch_id,
            held.c.motor_build_id,
            held.c.grain_count,
            col(Firing.id),
            col(Firing.kind),
            col(Firing.fired_at),
            col(Firing.result),
            col(Firing.altitude_m),
            col(Firing.measured_impulse_ns),
            col(MotorBuild.code),
            col(Prediction.total_impulse_ns),
            col(Prediction.designation),
        )
        .join(Firing, col(Firing.motor_build_id) == held.c.motor_build_id)
        .join(MotorBuild, col(MotorBuild.id) == Firing.motor_build_id)
        .outerjoin(Prediction, col(Prediction.id) == stored_predictions.id_in_query())
        .order_by(col(Firing.fired_at), col(Firing.id))
    )
    found: dict[int, list[Shot]] = {}
    for batch_id, *shot in session.execute(query):
        found.setdefault(batch_id, []).append(Shot(*shot))
    return found


def mean_ratio(shots: list[Shot]) -> float | None:
    """Measured over predicted impulse [-], mean over the firings that have both."""
    ratios = [s.measured_ns / s.predicted_ns for s in shots if s.measured_ns is not None and s.predicted_ns]
    return math.fsum(ratios) / len(ratios) if ratios else None


@dataclass(frozen=True)
class FiringLine:
    """A firing as a lot sees it; impulses in N s, cure in seconds from the pour to the firing.

    `height` is what it reached beside what it was expected to, of flights of which both are known.
    """

    firing_id: int
    kind: str
    fired_at: datetime
    result: str
    motor_code: str
    grain_count: int
    lots: tuple[str, ...]
    cure_s: float | None
    altitude_m: float | None
    height: Height | None
    measured_ns: float | None
    predicted_ns: float | None
    designation: str | None

    @property
    def result_words(self) -> str:
        """The result for a person."""
        return RESULTS[self.result]

    @property
    def ratio(self) -> float | None:
        """Measured over predicted impulse [-], where both are there."""
        if self.measured_ns is None or not self.predicted_ns:
            return None
        return self.measured_ns / self.predicted_ns


def firings_of(
    session: Session, ids: Iterable[int], pours: dict[int, datetime] | None = None
) -> dict[int, list[FiringLine]]:
    """The firings of motors that held a grain of each lot, oldest first, each with its prediction.

    `pours` are the moments the lots were poured at, where they were read already.
    """
    wanted = list(ids)
    shots = shots_of(session, wanted)
    everyone = _lots_in(session, {shot.motor_build_id for found in shots.values() for shot in found})
    pours = grains.poured(session, wanted) if pours is None else pours
    flew = heights.heights(session, {shot.firing_id: shot.altitude_m for found in shots.values() for shot in found})
    return {
        batch_id: [
            FiringLine(
                firing_id=shot.firing_id,
                kind=shot.kind,
                fired_at=shot.fired_at,
                result=shot.result,
                motor_code=shot.motor_code,
                grain_count=shot.grain_count,
                lots=everyone[shot.motor_build_id],
                cure_s=(shot.fired_at - pours[batch_id]).total_seconds() if batch_id in pours else None,
                altitude_m=shot.altitude_m,
                height=flew.get(shot.firing_id),
                measured_ns=shot.measured_ns,
                predicted_ns=shot.predicted_ns,
                designation=shot.designation,
            )
            for shot in found
        ]
        for batch_id, found in shots.items()
    }


def _lots_in(session: Session, builds: set[int]) -> dict[int, tuple[str, ...]]:
    query = (
        select(BuildGrain.motor_build_id, Batch.code)
        .join(Grain, col(BuildGrain.grain_id) == Grain.id)
        .join(Batch, col(Grain.batch_id) == Batch.id)
        .where(col(BuildGrain.motor_build_id).in_(builds))
        .group_by(col(BuildGrain.motor_build_id), col(Batch.id))
        .order_by(col(Batch.planned_for), col(Batch.id))
    )
    found: dict[int, list[str]] = {}
    for build_id, code in session.exec(query):
        found.setdefault(build_id, []).append(code)
    return {build_id: tuple(codes) for build_id, codes in found.items()}
