"""Grains: weighed as they come off the tools, judged, decided on, bagged, and where each one is now."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import ColumnElement, and_, func
from sqlalchemy import select as select_core
from sqlalchemy.orm import lazyload
from sqlmodel import Session, col, select

from app import clock
from app.errors import NotFound, Refused
from app.models import (
    Batch,
    BuildGrain,
    CastStep,
    Firing,
    Formula,
    Grain,
    GrainMeasure,
    GrainPattern,
    Melt,
    MotorBuild,
    ReWeigh,
)
from app.models.base import attribute
from app.models.grain import GrainCorrectionIn, GrainIn
from app.services.book import repository, workshop
from app.services.grains import weighing, wet
from app.services.stock import batches

STATES = {
    "weighed": "Weighed, not decided on yet",
    "held": "Held: look at it again",
    "rejected": "Rejected",
    "accepted": "Accepted, not in its bag yet",
    "curing": "In its bag, curing",
    "wet": "Held: wet at its re-weigh",
    "ready": "Cured and ready",
    "in motor": "In a motor",
    "fired": "Fired",
}
"""The states of a grain on the shelf or used, in words, in the order a grain runs through them."""

GONE = {"remelt": "Rejected; it lies with the leftovers, to be melted again", "scrap": "Rejected and thrown away"}
"""Where a rejected grain went, in words; its state is `gone`."""

# --- Weighing ----------------------------------------------------------------------------------


def weigh(session: Session, batch: Batch, data: GrainIn) -> Grain:
    """Put a grain on the scale: its density, and what it says of the grain, are worked out and kept.

    Raises
    ------
    Refused
        Nothing was cast of this batch, the number is taken or of another lot, the sizes contradict each other,
        the tube's mass is not known, or the weight can hardly be and the person has not said that it is right.
    """
    _cast_at_all(session, batch)
    number = weighing.number_of(batch, data.number)
    _number_free(session, batch, number)
    values = {**weighing.work_out(session, batch, data), "number": number, "weighed_at": clock.now()}
    grain = Grain(batch_id=batch.pk, serial=serial_of(batch, number), **values)
    session.add(grain)
    session.flush()
    return grain


def weigh_again(session: Session, grain: Grain, data: GrainCorrectionIn, version: int | None = None) -> Grain:
    """Weigh or measure a grain again; the old numbers stay readable beside the new ones.

    A decision made on the old numbers falls when the verdict on the new ones differs.

    Raises
    ------
    Conflict
        The grain was changed since the page was opened.
    Refused
        The grain is in a motor, burned, gone or wet, or as for `weigh`.
    """
    measured_again(session, grain, data, data.why, version)
    return grain


def measured_again(session: Session, grain: Grain, data: GrainIn, why: str, version: int | None = None) -> GrainMeasure:
    """Do what `weigh_again` says, with the reason given; gives back how the grain stood before."""
    free(session, grain)
    if wet.held(wet.newest(session, [grain.pk]).get(grain.pk)):
        raise Refused(
            f"{grain.serial} is wet, and the mass on its label is what tells that. Dry it and re-weigh it first, or "
            "accept it with a reason."
        )
    batch = repository.get(session, Batch, grain.batch_id, "batch")
    number = weighing.number_of(batch, data.number)
    _number_free(session, batch, number, but=grain)
    values = weighing.work_out(session, batch, data)
    measure = keep(session, grain, why)
    repository.claim(grain, version)
    if values["verdict"] != grain.verdict:
        grain.decision, grain.decision_fault, grain.decision_why = None, None, ""
        grain.decided_by, grain.decided_at = "", None
    for name, value in values.items():
        setattr(grain, name, value)
    grain.number, grain.serial, grain.weighed_at = number, serial_of(batch, number), clock.now()
    session.flush()
    return measure


def serial_of(batch: Batch, number: int) -> str:
    """The serial of a grain: its lot's code and its number."""
    return f"{batch.code}-{number:02d}"


def _cast_at_all(session: Session, batch: Batch) -> None:
    if session.exec(select(Melt.id).where(Melt.batch_id == batch.pk)).first() is None:
        raise Refused(
            f"Nothing was cast of {batch.code} yet. Open its cast session with a checklist first; grains are weighed "
            "when they come off the tools."
        )


def _number_free(session: Session, batch: Batch, number: int, but: Grain | None = None) -> None:
    same = session.exec(select(Grain).where(Grain.batch_id == batch.pk, Grain.number == number)).first()
    if same is not None and same is not but:
        raise Refused(
            f"{same.serial} was weighed already ({same.gross_typed} at {clock.local(same.weighed_at):%H:%M}). "
            f"The next free number is {next_number(session, batch)}; if it is {same.serial} again, say below what "
            "happened to it.",
            field="number",
        )


def next_number(session: Session, batch: Batch) -> int:
    """The number after the highest one weighed of a batch."""
    highest = session.exec(select(func.max(Grain.number)).where(Grain.batch_id == batch.pk)).one()
    return (highest or 0) + 1


def keep(session: Session, grain: Grain, why: str) -> GrainMeasure:
    """Write down how a grain stands, before it changes."""
    kept = {
        name: getattr(grain, name)
        for name in GrainMeasure.model_fields
        if name in Grain.model_fields and name not in ("id", "created_at", "version")
    }
    measure = GrainMeasure(grain_id=grain.pk, why=why, created_at=clock.now(), **kept)
    session.add(measure)
    return measure


def history(session: Session, grain: Grain) -> list[GrainMeasure]:
    """How a grain stood before each change, newest first."""
    found = select(GrainMeasure).where(GrainMeasure.grain_id == grain.pk).order_by(col(GrainMeasure.id).desc())
    return list(session.exec(found))


# --- Deciding and bagging ----------------------------------------------------------------------


def free(session: Session, grain: Grain) -> None:
    """Refuse an act on a grain that is in a motor, burned, or gone to remelt or scrap.

    Raises
    ------
    Refused
        It is one of these; the message says what comes first.
    """
    if grain.gone_to is not None:
        where = {"remelt": "lies with the leftovers for remelt", "scrap": "was thrown away as scrap"}[grain.gone_to]
        raise Refused(f"{grain.serial} {where}. Bring it back first, if that was a mistake.")
    now = of_grain(session, grain)
    if now.state == "fired":
        raise Refused(f"{grain.serial} was burned in {now.motor}; its numbers stay as they were.")
    if now.state == "in motor":
        raise Refused(f"{grain.serial} is in motor {now.motor}; take the motor apart first.")


# --- Where each grain is -----------------------------------------------------------------------


@dataclass(frozen=True)
class GrainView:
    """A grain with what stands around it."""

    grain: Grain
    pattern: GrainPattern
    batch: Batch
    formula: Formula
    state: str
    poured_at: datetime
    cured_at: datetime
    motor: str | None
    motor_build_id: int | None
    firing_id: int | None
    again: ReWeigh | None = None
    """Its newest re-weigh."""

    @property
    def wet(self) -> ReWeigh | None:
        """The newest re-weigh where it says that the grain is wet, accepted or not."""
        return self.again if self.again is not None and self.again.wet else None

    @property
    def state_words(self) -> str:
        """The state for a person."""
        return GONE[self.grain.gone_to] if self.grain.gone_to else STATES[self.state]

    @property
    def cure_share(self) -> float:
        """How much of the cure is over, from 0 to 1."""
        return cure_share(self.poured_at, self.cured_at)


def cure_share(poured_at: datetime, cured_at: datetime) -> float:
    """How much of a cure is over, from 0 to 1."""
    whole = (cured_at - poured_at).total_seconds()
    return 1.0 if whole <= 0 else min(max((clock.now() - poured_at).total_seconds() / whole, 0.0), 1.0)


IN_A_MOTOR = and_(col(BuildGrain.grain_id) == Grain.id, col(BuildGrain.released_at).is_(None))
"""How a grain's place in a motor is joined to it, if it is in one."""

ON_SHELF = (col(BuildGrain.id).is_(None), col(Grain.gone_to).is_(None))
"""Neither in a motor nor burned, nor gone to remelt or scrap."""


def views(session: Session, *where: ColumnElement[bool]) -> list[GrainView]:
    """Grains that meet the conditions (all, when there is none), by serial.

    What many grains share (pattern, batch, formula) is fetched once for all of them, not once for each.
    """
    query = (
        select_core(Grain, col(MotorBuild.code), col(MotorBuild.id), col(Firing.id))
        .join(Batch, col(Grain.batch_id) == Batch.id)
        .outerjoin(BuildGrain, IN_A_MOTOR)
        .outerjoin(MotorBuild, col(BuildGrain.motor_build_id) == MotorBuild.id)
        .outerjoin(Firing, and_(col(Firing.motor_build_id) == MotorBuild.id, col(Firing.result) != "no_light"))
        .where(*where)
        .order_by(col(Batch.planned_for), col(Batch.id), col(Grain.number))
    )
    found = session.execute(query).all()
    patterns = repository.by_id(session, GrainPattern, (row[0].pattern_id for row in found))
    lots = repository.by_id(session, Batch, (row[0].batch_id for row in found), *batches.BARE)
    formula_ids = (batch.formula_id for batch in lots.values())
    formulas = repository.by_id(session, Formula, formula_ids, lazyload(attribute(Formula.parts)))
    pours = poured(session, lots)
    cure = timedelta(seconds=workshop.get(session).cure_s)
    weighed_again = wet.newest(session, [row[0].pk for row in found])
    listed = []
    for grain, motor, build_id, firing_id in found:
        pattern, batch = patterns[grain.pattern_id], lots[grain.batch_id]
        start = pours.get(batch.pk, grain.weighed_at)
        again = weighed_again.get(grain.pk)
        state = state_of(grain, start + cure, build_id, firing_id, again)
        formula = formulas[batch.formula_id]
        where_now = (motor, build_id, firing_id, again)
        listed.append(GrainView(grain, pattern, batch, formula, state, start, start + cure, *where_now))
    return listed


def state_of(
    grain: Any, cured: datetime, build_id: int | None = None, firing_id: int | None = None, again: ReWeigh | None = None
) -> str:
    """The state of a grain with its newest re-weigh, or of a row with its columns: one of `STATES`, or "gone"."""
    if build_id is not None:
        return "in motor" if firing_id is None else "fired"
    if grain.gone_to is not None:
        return "gone"
    if grain.decision != "accept":
        return {None: "weighed", "hold": "held", "reject": "rejected"}[grain.decision]
    if wet.held(again):
        return "wet"
    if clock.now() >= cured:
        return "ready"
    return "accepted" if grain.bagged_at is None else "curing"


def poured(session: Session, batch_ids: Iterable[int]) -> dict[int, datetime]:
    """When each batch was poured, for those where the pour was ticked off; the last pour counts."""
    query = (
        select(Melt.batch_id, CastStep.done_at)
        .join(CastStep, col(CastStep.melt_id) == Melt.id)
        .where(col(CastStep.key) == "pour", col(CastStep.done_at).is_not(None))
        .where(col(Melt.batch_id).in_(list(batch_ids)))
    )
    pours: dict[int, datetime] = {}
    for batch_id, moment in session.exec(query):
        assert moment is not None
        pours[batch_id] = max(moment, pours.get(batch_id, moment))
    return pours


def find(session: Session, serial: str) -> Grain | None:
    """The grain of that serial, as typed or scanned, if there is one."""
    return session.exec(select(Grain).where(Grain.serial == serial.strip().upper())).first()


def by_serial(session: Session, serial: str) -> Grain:
    """The grain of that serial.

    Raises
    ------
    NotFound
        There is none.
    """
    grain = find(session, serial)
    if grain is None:
        raise NotFound(f"There is no grain “{serial}” in this book.")
    return grain


def of_number(session: Session, batch: Batch, number: int) -> Grain:
    """The grain of that number in a lot.

    Raises
    ------
    NotFound
        There is none.
    """
    return by_serial(session, serial_of(batch, number))


def view(session: Session, serial: str) -> GrainView:
    """One grain with what stands around it.

    Raises
    ------
    NotFound
        There is no grain of that serial.
    """
    return of_grain(session, by_serial(session, serial))


def of_grain(session: Session, grain: Grain) -> GrainView:
    """A grain with what stands around it."""
    return views(session, col(Grain.id) == grain.pk)[0]


def of_batch(session: Session, batch: Batch) -> list[GrainView]:
    """The grains of a batch, by number."""
    return views(session, col(Grain.batch_id) == batch.pk)


def on_shelf(session: Session) -> list[GrainView]:
    """The grains that are neither in a motor nor burned, nor gone to remelt or scrap, by lot and number."""
    return views(session, *ON_SHELF)


def ready(session: Session) -> list[Grain]:
    """The grains a motor can be built of: accepted, cured, and in no motor."""
    free = views(session, col(BuildGrain.id).is_(None), col(Grain.decision) == "accept")
    return [v.grain for v in free if v.state == "ready"]
