"""What is held that burns, against the workshop's limit; rejects and scrap until their disposal is written down."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import func
from sqlmodel import Session, col, select

from app import clock
from app.errors import Faults, Refused
from app.models import BuildGrain, Disposal, DisposalItem, Firing, Grain, Leftover, MotorBuild
from app.models.batch import VoidIn
from app.models.disposal import DisposalIn
from app.services.book import audit_reasons, repository, workshop
from app.services.grains import rejects
from app.services.stock import batches


@dataclass(frozen=True)
class Held:
    """Propellant that is held at once, by what it is [kg], with the workshop's limit and where that comes from."""

    grains_kg: float
    rejects_kg: float
    leftovers_kg: float
    limit_kg: float | None
    source: str

    @property
    def kg(self) -> float:
        """All of it."""
        return self.grains_kg + self.rejects_kg + self.leftovers_kg

    @property
    def over_kg(self) -> float:
        """How much it is over the limit; 0 where it is not, or no limit is told."""
        return max(self.kg - self.limit_kg, 0.0) if self.limit_kg is not None else 0.0


def held(session: Session) -> Held:
    """Every grain that is not burned, in motors too, rejects and scrap not disposed of yet, and leftovers.

    Test pieces are not counted: the book knows what was poured into them, and not what of it was burned.
    """
    shop = workshop.get(session)
    burned = (
        select(BuildGrain.grain_id)
        .join(MotorBuild, col(BuildGrain.motor_build_id) == col(MotorBuild.id))
        .join(Firing, col(Firing.motor_build_id) == col(MotorBuild.id))
        .where(col(BuildGrain.released_at).is_(None), Firing.result != "no_light")
    )
    there = select(col(Grain.decision) == "reject", func.sum(Grain.mass_kg)).where(
        col(Grain.id).not_in(burned), col(Grain.id).not_in(_gone()), col(Grain.gone_to).is_distinct_from("remelt")
    )
    masses: dict[bool, float] = {False: 0.0, True: 0.0}
    for rejected, mass in session.exec(there.group_by(col(Grain.decision) == "reject")):
        masses[bool(rejected)] += mass
    left = batches.leftovers_mass(session)
    return Held(masses[False], masses[True], left, shop.hold_limit_kg, shop.hold_limit_source)


def _gone() -> Any:
    return select(DisposalItem.grain_id).where(
        col(DisposalItem.released_at).is_(None), col(DisposalItem.grain_id).is_not(None)
    )


@dataclass(frozen=True)
class Waiting:
    """Something that waits to be disposed of, or can be: its key in the form, what it is, its mass and since when."""

    key: str
    name: str
    why: str
    mass_kg: float
    since: datetime
    is_leftover: bool


def waiting(session: Session) -> list[Waiting]:
    """Rejects and scrap that wait, the longest waiting first; then leftovers, which may be melted again instead."""
    return [*sorted(_rejects(session), key=lambda one: one.since), *_leftovers(session)]


def _rejects(session: Session) -> Iterator[Waiting]:
    found = select(Grain).where(
        Grain.decision == "reject", col(Grain.gone_to).is_distinct_from("remelt"), col(Grain.id).not_in(_gone())
    )
    for grain in session.exec(found):
        since = grain.decided_at or grain.weighed_at
        yield Waiting(f"grain-{grain.pk}", grain.serial, grain.decision_words, grain.mass_kg, since, False)


def _leftovers(session: Session) -> Iterator[Waiting]:
    for row, left in batches.leftovers(session):
        yield Waiting(f"leftover-{row.pk}", row.mark, row.note, left, row.created_at, True)


def disposals(session: Session) -> list[Disposal]:
    """Every disposal, the last one first; those that were struck out too."""
    return list(session.exec(select(Disposal).order_by(col(Disposal.done_on).desc(), col(Disposal.id).desc())))


def dispose(session: Session, data: DisposalIn) -> Disposal:
    """Write down that things went: rejected grains go to scrap by it, leftovers are empty from then on.

    Raises
    ------
    Refused
        Nothing is ticked, something of it does not wait, or the day lies ahead or before a thing was there.
    """
    there = {one.key: one for one in waiting(session)}
    faults = Faults()
    if any(key not in there for key in data.things):
        faults.add("things", "Something of this went already, or does not wait any more. Open the page again.")
    chosen = [there[key] for key in dict.fromkeys(data.things) if key in there]
    if data.done_on > clock.today():
        faults.add("done_on", "This day is still to come; write it down when it is done.")
    late = [one.name for one in chosen if clock.local(one.since).date() > data.done_on]
    if late:
        faults.add("done_on", f"{late[0]} was not there yet on this day.")
    faults.tell()
    row = Disposal(
        done_on=data.done_on,
        how=data.how,
        person=audit_reasons.who(session),
        mass_kg=sum(one.mass_kg for one in chosen),
    )
    session.add(row)
    session.flush()
    for one in chosen:
        kind, _, number = one.key.partition("-")
        if kind == "grain":
            grain = repository.get(session, Grain, int(number), "grain")
            if grain.gone_to is None:
                rejects.send_off(session, grain, "scrap")
            item = DisposalItem(disposal_id=row.pk, grain_id=grain.pk, mass_kg=grain.mass_kg)
        else:
            leftover = repository.get(session, Leftover, int(number), "leftover")
            item = DisposalItem(disposal_id=row.pk, leftover_id=leftover.pk, mass_kg=one.mass_kg)
        session.add(item)
    session.flush()
    session.refresh(row)
    return row


def strike(session: Session, row: Disposal, data: VoidIn, version: int | None = None) -> None:
    """Strike a disposal out, with the reason: what it named waits again.

    Raises
    ------
    Refused
        It is struck out already.
    Conflict
        It was changed since the page was opened.
    """
    if row.voided_at is not None:
        raise Refused("This was struck out already.")
    repository.claim(row, version)
    for item in row.items:
        item.released_at = clock.now()
        item.version += 1
    session.flush()
    row.voided_at, row.voided_why = clock.now(), data.why
    session.flush()


def names(session: Session, row: Disposal) -> list[str]:
    """What went, by serial and mark."""
    grains = repository.by_id(session, Grain, [item.grain_id for item in row.items if item.grain_id])
    leftovers = repository.by_id(session, Leftover, [item.leftover_id for item in row.items if item.leftover_id])
    return [
        grains[item.grain_id].serial if item.grain_id else leftovers[item.leftover_id or 0].mark for item in row.items
    ]
