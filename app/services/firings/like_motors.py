"""Motors of one kind that were fired: what a prediction of such a motor is laid beside, and was tested on."""

from dataclasses import dataclass
from datetime import datetime

import numpy as np
from sqlalchemy import select as select_core
from sqlmodel import Session, col, func, select

from app.calc.motor.impulse import BURN_SHARE, threshold_times
from app.models import Batch, BuildGrain, Curve, Firing, Grain, MotorBuild, Prediction
from app.models.motor import DesignIn
from app.services.firings.reading import Result
from app.services.learning import stored_predictions
from app.services.learning.prediction_record import PredictionRecord
from app.services.motors.builds import Built

THROAT_ALIKE = 0.05
"""How far throats of motors of one kind may lie apart [-]: 10 % of area, more than a worn nozzle and less than another
one (our own choice)."""

MOST_CURVES = 3
"""Earlier curves that are drawn behind an expected one; more would hide each other."""

MOST = 12

FIRST_PART = 0.2
"""What counts as the start of a burn, as a share of its time [-]: our own choice."""


@dataclass(frozen=True)
class MotorKind:
    """What makes motors one kind: case, pattern, number of grains and throat [m]; and the formula, which is told."""

    case_id: int
    pattern_id: int
    count: int
    throat_d_m: float
    formula_id: int


@dataclass(frozen=True)
class Fired:
    """A firing of a motor of the kind; its curve where one was read."""

    firing: Firing
    code: str
    same_formula: bool
    curve: Result | None
    own: bool = False

    @property
    def name(self) -> str:
        """What it is called beside its curve."""
        if self.own:
            return "this motor, fired"
        return f"motor {self.code}" + ("" if self.same_formula else ", other mix")


@dataclass(frozen=True)
class Held:
    """A firing that a prediction learned from: measured over what was expected of it, where both are known [-]."""

    code: str
    total_impulse: float | None
    burn_time: float | None
    peak_pressure: float | None


def kind_of_built(built: Built) -> MotorKind | None:
    """The kind of a motor; nothing where its grains are of several patterns."""
    patterns = {view.pattern.pk for view in built.grains}
    if len(patterns) != 1:
        return None
    build = built.build
    return MotorKind(build.case_id, patterns.pop(), len(built.grains), build.throat_d_m, built.formula.pk)


def kind_of_design(data: DesignIn, predicted: PredictionRecord) -> MotorKind:
    """The kind of a motor as designed."""
    return MotorKind(data.case_id, data.pattern_id, data.count, predicted.inputs.throat_d_m, data.formula_id)


def fired(session: Session, kind: MotorKind | None, own: Firing | None = None) -> list[Fired]:
    """Firings of motors of a kind, newest first, a motor's own before them; and a few curves.

    Of curves those of its own formula come before others.

    Where a motor was fired itself, what was fired after it is left out: it could not be known before.
    """
    found = [] if kind is None else _of_kind(session, kind, own.fired_at if own else None)
    if own is not None:
        found.insert(0, (own, "", True))
    nearest = sorted(found, key=lambda one: (one[0] is not own, not one[2]))  # of each the newest first, as found
    drawn = _curves(session, [firing.pk for firing, _, _ in nearest])
    return [
        Fired(firing, code, same, drawn.get(firing.pk), own=own is not None and firing is own)
        for firing, code, same in found
    ]


def _of_kind(session: Session, kind: MotorKind, before: datetime | None) -> list[tuple[Firing, str, bool]]:
    pattern = col(Grain.pattern_id)
    query = (
        select(Firing, MotorBuild.code, func.min(Batch.formula_id))
        .join(MotorBuild, col(Firing.motor_build_id) == MotorBuild.id)
        .join(BuildGrain, col(BuildGrain.motor_build_id) == MotorBuild.id)
        .join(Grain, col(BuildGrain.grain_id) == Grain.id)
        .join(Batch, col(Grain.batch_id) == Batch.id)
        .where(MotorBuild.case_id == kind.case_id, Firing.result != "no_light")
        .where(func.abs(col(MotorBuild.throat_d_m) / kind.throat_d_m - 1) <= THROAT_ALIKE)
        .group_by(col(Firing.id))
        .having(func.count() == kind.count, func.min(pattern) == kind.pattern_id, func.max(pattern) == kind.pattern_id)
        .order_by(col(Firing.fired_at).desc(), col(Firing.id).desc())
        .limit(MOST)
    )
    if before is not None:
        query = query.where(Firing.fired_at < before)
    return [(firing, code, formula == kind.formula_id) for firing, code, formula in session.exec(query)]


def _curves(session: Session, firing_ids: list[int]) -> dict[int, Result]:
    """The curves that count, of the first few firings that have one."""
    newest = select(func.max(Curve.id)).where(col(Curve.firing_id).in_(firing_ids)).group_by(col(Curve.firing_id))
    rows = {row.firing_id: row for row in session.exec(select(Curve).where(col(Curve.id).in_(newest)))}
    kept = [firing_id for firing_id in firing_ids if firing_id in rows][:MOST_CURVES]
    return {firing_id: Result.model_validate_json(rows[firing_id].result_json) for firing_id in kept}


def tested_on(session: Session, predicted: PredictionRecord) -> list[Held]:
    """The firings of its formula that a prediction learned from, each measured over what was expected of it then."""
    taught = predicted.inputs.taught
    if taught is None or not taught.used or not taught.firing_ids:
        return []
    query = (
        select_core(
            col(MotorBuild.code),
            col(Firing.measured_impulse_ns) / col(Prediction.total_impulse_ns),
            col(Firing.measured_burn_time_s) / col(Prediction.burn_time_s),
            col(Firing.measured_peak_pressure_pa) / col(Prediction.peak_pressure_pa),
        )
        .join(MotorBuild, col(Firing.motor_build_id) == MotorBuild.id)
        .join(Prediction, col(Prediction.id) == stored_predictions.id_in_query())
        .where(col(Firing.id).in_(taught.firing_ids))
        .order_by(col(Firing.fired_at))
    )
    return [Held(*row) for row in session.execute(query)]


def first_part(time: list[float], thrust: list[float]) -> float | None:
    """What share of its impulse a curve gives in the first fifth of its burn [-]: gas that strips cores lifts it."""
    t, force = np.asarray(time), np.asarray(thrust)
    if len(t) < 3 or not force.max() > 0:
        return None
    start, end = (float(moment) for moment in threshold_times(t, force, BURN_SHARE))
    gained = np.concatenate([[0.0], np.cumsum(np.diff(t) * (force[1:] + force[:-1]) / 2)])
    at = np.interp([start, start + FIRST_PART * (end - start), end], t, gained)
    whole = float(at[2] - at[0])
    return float(at[1] - at[0]) / whole if whole > 0 else None
