"""Taking back what was a slip: a reading is struck out, an act is reversed; what was there stays in the record.

What can be taken back, and how: a weighing of a grain within its minute (`bench`), a step of the run sheet until a
later one is settled (`steps`), a line of the checklist until it is signed (`checklists`), a weighed amount, a reading
of the pan, a re-weigh and a measured throat by striking them out, with one touch within a minute and with a reason
at any time; a decision and a bagging while the grain is free; a plan that was dropped; a leftover and a firing within
their minute and before anything builds on them.
"""

from typing import TypeVar

from sqlmodel import Session, col, select

from app.errors import Refused
from app.models import Batch, Firing, Grain, Leftover, MotorBuild, NozzleMeasure, ReWeigh, TemperatureReading
from app.models.base import Row
from app.models.batch import VoidIn
from app.services.book import audit_reasons, first_minute, repository
from app.services.book.first_minute import AT_ONCE, fresh
from app.services.cast import casting
from app.services.grains import grains

# --- Readings ------------------------------------------------------------------------------------

R = TypeVar("R", TemperatureReading, ReWeigh, NozzleMeasure)

_BELONGS: dict[type[Row], tuple[str, str, str]] = {
    TemperatureReading: ("reading", "melt", "melt_id"),
    ReWeigh: ("re-weigh", "grain", "grain_id"),
    NozzleMeasure: ("measure", "nozzle", "nozzle_id"),
}
"""What a reading is called, what it was taken of, and the column that says of which."""


def strike(session: Session, table: type[R], row_id: int, of: Row, data: VoidIn, version: int | None = None) -> R:
    """Strike out a reading taken of something: it stays readable with the reason, and the one before it counts again.

    Raises
    ------
    Refused
        It was taken of another one, or is struck out already.
    Conflict
        It was changed since the page was opened.
    """
    noun, thing, column = _BELONGS[table]
    row = repository.get(session, table, row_id, noun)
    if getattr(row, column) != of.pk:
        raise Refused(f"That {noun} belongs to another {thing}.")
    first_minute.strike(session, row, data, version)
    return row


def strike_temperature(
    session: Session, batch: Batch, reading_id: int, data: VoidIn, version: int | None = None
) -> TemperatureReading:
    """Strike out a reading of the pan, as `strike` does, while the batch's session is open.

    Raises
    ------
    Refused, Conflict
        As `strike`; or the session is not open.
    """
    return strike(session, TemperatureReading, reading_id, casting.the_open(session, batch), data, version)


def struck(session: Session, table: type[R], of: Row) -> list[R]:
    """The readings of something that were struck out, newest first."""
    found = select(table).where(getattr(table, _BELONGS[table][2]) == of.pk, col(table.voided_at).is_not(None))
    return list(session.exec(found.order_by(col(table.id).desc())))


def unsay_throat(session: Session, firing: Firing, typed: str | None, why: str) -> None:
    """Strike out the measure that a firing put into its nozzle's history, found by what was typed there."""
    build = repository.get(session, MotorBuild, firing.motor_build_id, "motor")
    found = select(NozzleMeasure).where(
        NozzleMeasure.nozzle_id == build.nozzle_id,
        NozzleMeasure.throat_d_typed == typed,
        NozzleMeasure.note == f"After firing {build.code}.",
        col(NozzleMeasure.voided_at).is_(None),
    )
    measure = session.exec(found.order_by(col(NozzleMeasure.id).desc())).first()
    if measure is not None:
        first_minute.strike(session, measure, VoidIn(why=why or "Its firing was corrected."), None)


# --- Decisions and acts --------------------------------------------------------------------------


def undecide(session: Session, grain: Grain, version: int | None = None) -> Grain:
    """Take a decision on a grain back: it waits for one again, and the old one stays readable.

    Raises
    ------
    Refused
        There is none, or the grain is bagged, in a motor, burned or gone.
    Conflict
        The grain was changed since the page was opened.
    """
    grains.free(session, grain)
    if grain.decision is None:
        raise Refused(f"{grain.serial} is not decided on.")
    if grain.bagged_at is not None:
        raise Refused(f"{grain.serial} is in its bag; undo that first.")
    repository.claim(grain, version)
    grains.keep(session, grain, "The decision was undone.")
    audit_reasons.because(session, "The decision was undone.")
    grain.decision, grain.decision_fault, grain.decision_why = None, None, ""
    grain.decided_by, grain.decided_at = "", None
    session.flush()
    return grain


def unbag(session: Session, grain: Grain, version: int | None = None) -> Grain:
    """Take a bagging back: the grain was not in its bag.

    Raises
    ------
    Refused
        It is not bagged, or in a motor, burned or gone.
    Conflict
        The grain was changed since the page was opened.
    """
    grains.free(session, grain)
    if grain.bagged_at is None:
        raise Refused(f"{grain.serial} is in no bag.")
    repository.claim(grain, version)
    audit_reasons.because(session, "The bagging was undone.")
    grain.bagged_at = None
    session.flush()
    return grain


def take_up_plan(session: Session, batch: Batch, version: int | None = None) -> Batch:
    """Take a dropped plan up again; its note tells that it was dropped.

    Raises
    ------
    Refused
        It was not dropped.
    Conflict
        The plan was changed since the page was opened.
    """
    if batch.state != "dropped":
        raise Refused(f"Batch {batch.code} was not dropped.")
    repository.claim(batch, version)
    audit_reasons.because(session, "The plan was taken up again.")
    batch.state = "planned"
    batch.note = f"{batch.note}\nTaken up again.".strip()
    session.flush()
    return batch


def _nothing_on(session: Session, row: Row, what: str) -> None:
    """Refuse to take a row back after its minute, or when something refers to it."""
    if not fresh(row):
        raise Refused(f"{what} is undone within a minute only. After that it stays, and is corrected.")
    used = repository.uses(session, row)
    if used:
        raise Refused(f"{what} stays, for other entries stand on it already: {audit_reasons.counted(used)}.")


def take_back_leftover(session: Session, batch: Batch, leftover_id: int, version: int | None = None) -> None:
    """Take a leftover back that was just written down; the record of changes keeps what it said.

    Raises
    ------
    Refused
        It is another batch's or a rejected grain, its minute is over, or a plan asks for it.
    Conflict
        It was changed since the page was opened.
    """
    row = repository.get(session, Leftover, leftover_id, "leftover")
    if row.batch_id != batch.pk or row.grain_id is not None:
        raise Refused("That leftover is not of this batch, or is a rejected grain: bring the grain back instead.")
    _nothing_on(session, row, f"The leftover “{row.mark}”")
    repository.claim(row, version)
    audit_reasons.because(session, AT_ONCE)
    repository.delete(session, row)


def take_back_firing(session: Session, firing: Firing, version: int | None = None) -> str:
    """Take a firing back that was just written down: its motor is whole again; gives the motor's code.

    The row goes, so that nothing else has to ask whether a firing counts; the record of changes keeps all of it, and
    the throat it put into the nozzle's history is struck out there.

    Raises
    ------
    Refused
        Its minute is over, or something stands on it already: a curve, a finding, a picture, a flight.
    Conflict
        The firing was changed since the page was opened.
    """
    _nothing_on(session, firing, "The firing")
    build = repository.get(session, MotorBuild, firing.motor_build_id, "motor")
    repository.claim(firing, version)
    audit_reasons.because(session, AT_ONCE)
    if firing.throat_after_m is not None:
        unsay_throat(session, firing, firing.throat_after_typed, "Its firing was undone.")
    repository.delete(session, firing)
    return build.code
