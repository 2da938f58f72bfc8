"""What is used up besides propellant: how much was counted, and how much was used since then."""

from sqlmodel import Session, col, func, select

from app import clock
from app.errors import Faults
from app.models import Batch, Consumable, Firing, Grain, GrainPattern, Melt, MotorBuild
from app.models.base import EARLIEST, LATEST
from app.models.buying import ConsumableIn
from app.services.book import repository
from app.services.stock import things

listed = things.consumables


def save(session: Session, data: ConsumableIn, row: Consumable | None = None, version: int | None = None) -> Consumable:
    """Enter a consumable, or change one; what is there was counted today if it is another number than before.

    Raises
    ------
    Refused
        The name is taken, or a casting tube is used by something else than grains.
    Conflict
        It was changed since the page was opened.
    """
    faults = Faults()
    with faults.one():
        repository.refuse_same(session, Consumable, "name", data.name, but=row)
    if data.casting_tube_id is not None and data.used_by != "grain":
        faults.add("used_by", "A casting tube is used by each grain cast.")
    faults.tell()
    if row is None:
        return repository.store(session, Consumable, data, counted_on=clock.today())
    if data.in_hand != row.in_hand:
        row.counted_on = clock.today()
    return repository.store(session, Consumable, data, row, version)


def left(session: Session, row: Consumable) -> float:
    """How many are there: what was counted less what was used since that day; never below none."""
    return max(row.in_hand - row.per_use * _uses(session, row), 0.0)


def _uses(session: Session, row: Consumable) -> int:
    """How often it was used after the day it was counted on."""
    since = clock.midnight(min(max(row.counted_on, EARLIEST.date()), LATEST.date()))
    if row.used_by == "grain":
        grains = select(func.count(col(Grain.id))).join(GrainPattern, col(Grain.pattern_id) == col(GrainPattern.id))
        grains = grains.where(col(Grain.weighed_at) > clock.next_midnight(since))
        if row.casting_tube_id is not None:
            grains = grains.where(GrainPattern.casting_tube_id == row.casting_tube_id)
        return int(session.exec(grains).one())
    if row.used_by in ("melt", "evening"):
        what = col(Melt.id) if row.used_by == "melt" else func.distinct(col(Melt.cast_session_id))
        melts = select(func.count(what)).join(Batch, col(Melt.batch_id) == col(Batch.id))
        return int(session.exec(melts.where(col(Batch.planned_for) > row.counted_on)).one())
    fired = select(func.count(func.distinct(col(Firing.motor_build_id)))).join(
        MotorBuild, col(Firing.motor_build_id) == col(MotorBuild.id)
    )
    fired = fired.where(col(Firing.fired_at) > clock.next_midnight(since))
    if row.used_by == "flight":
        fired = fired.where(Firing.kind == "flight")
    if row.case_id is not None:
        fired = fired.where(MotorBuild.case_id == row.case_id)
    return int(session.exec(fired).one())
