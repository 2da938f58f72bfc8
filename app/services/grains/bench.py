"""Acts at the bench on top of weighing: a grain again, a weighing taken back, all clear grains accepted."""

from datetime import timedelta

from sqlmodel import Session, col, select

from app import clock
from app.errors import Asked, Refused
from app.models import Batch, Grain, Leftover, StruckWeighing
from app.models.grain import AGAIN, BenchIn, DecisionIn
from app.services.book import repository, workshop
from app.services.book.first_minute import TAKE_BACK
from app.services.grains import decisions, grains, looks, rejects, weighing
from app.units import show


def weigh_at_bench(session: Session, batch: Batch, data: BenchIn) -> Grain:
    """Weigh the next grain, or one that was weighed already if the person says what happened to it.

    What was trimmed off is accounted for: as scrap of the lot, or as a leftover of it.

    Raises
    ------
    Refused
        As for `weigh` and `weigh_again`; a trimmed grain that weighs more than before.
    Asked
        It weighs the same as the grain before it, to what the scale can tell.
    """
    serial = grains.serial_of(batch, weighing.number_of(batch, data.number))
    grain = grains.find(session, serial)
    if grain is None:
        _another_one(session, batch, serial, data)
    if grain is None or data.again is None:
        return grains.weigh(session, batch, data)
    before, why = grain.mass_kg, AGAIN[data.again] + "."
    measure = grains.measured_again(session, grain, data, why)
    if data.again == "trimmed":
        off = _cut_off(session, before, grain)
        if data.offcut == "scrap":
            measure.offcut_kg = off
        elif off > 0:
            _keep_offcut(session, grain, off)
        session.flush()
    return grain


def last_weighed(session: Session, batch: Batch) -> Grain | None:
    """The grain of a lot that was on the scale last."""
    found = select(Grain).where(Grain.batch_id == batch.pk)
    return session.exec(found.order_by(col(Grain.weighed_at).desc(), col(Grain.id).desc())).first()


def _another_one(session: Session, batch: Batch, serial: str, data: BenchIn) -> None:
    """Ask about a reading that came right before, for another grain: a scale that sends twice makes one too many.

    Readings one step of the scale apart may be of one grain, so they are asked about as well.
    """
    before, about = last_weighed(session, batch), "same"
    step = workshop.get(session).scale_resolution_kg
    if before is None or abs(data.gross.si - before.gross_kg) > 1.001 * step or data.sure_of("gross", about):
        return
    raise Asked(
        f"The scale read {before.gross_typed} for {before.serial} just before. Is it {before.serial} again, or the "
        "next one that weighs the same?",
        "gross",
        [(before.serial, f"It is {before.serial} again")],
        keep=f"The next one, {serial}, weighs the same",
        about=about,
    )


def _cut_off(session: Session, before_kg: float, grain: Grain) -> float:
    """What trimming took off a grain [kg]; nothing where the scale cannot tell the two weights apart.

    Raises
    ------
    Refused
        The grain weighs more than before.
    """
    house = workshop.get(session)
    off = before_kg - grain.mass_kg
    if off < -house.scale_resolution_kg:
        raise Refused(
            f"A trimmed grain weighs less than before; this one weighed {show(before_kg, 'mass', house.units)}. Look "
            "at the tube and at the scale.",
            field="gross",
        )
    return max(off, 0.0)


def _keep_offcut(session: Session, grain: Grain, mass_kg: float) -> Leftover:
    """Keep what was trimmed off a grain as a leftover of its lot, under a mark made of the serial."""
    house = workshop.get(session)
    leftover = Leftover(
        batch_id=grain.batch_id,
        mark=rejects.free_mark(session, f"{grain.serial} offcut"),
        mass_kg=mass_kg,
        mass_typed=show(mass_kg, "mass", house.units),
        note=f"Trimmed off {grain.serial}.",
    )
    session.add(leftover)
    return leftover


def take_back(session: Session, grain: Grain, version: int | None = None) -> StruckWeighing:
    """Take a weighing back within its minute: the number is free again, for the grain itself may carry it already.

    Nothing is erased: what the scale read moves to the struck weighings of the lot, with both moments, and is
    shown below its grains. It leaves the table of grains, so that nothing else has to ask whether a grain counts;
    a guard lets a grain go only with its struck copy, undecided, and within the minute. A page left open on the
    old weighing cannot touch a new one of the same number: that has another version.

    Raises
    ------
    Conflict
        The grain was changed since the page was opened.
    Refused
        The minute is over, or something was done with the grain since.
    """
    if grain.decision is not None or grain.bagged_at is not None or grains.history(session, grain):
        raise Refused(f"{grain.serial} was decided on or weighed again; open it to correct it.")
    age = clock.now() - grain.weighed_at
    if not timedelta(0) <= age <= TAKE_BACK:
        raise Refused(
            f"{grain.serial} was weighed at {clock.local(grain.weighed_at):%H:%M:%S}; a weighing is undone within "
            "a minute. To correct it now, weigh it again and say that the first weighing was wrong."
        )
    repository.claim(grain, version)
    kept = {name: getattr(grain, name) for name in StruckWeighing.model_fields if name in Grain.model_fields}
    for name in ("id", "created_at", "version"):
        del kept[name]
    struck = StruckWeighing(**kept, grain_version=grain.version, struck_at=clock.now(), why="undone")
    session.add(struck)
    session.flush()
    session.delete(grain)
    session.flush()
    return struck


def taken_back(session: Session, batch: Batch) -> list[StruckWeighing]:
    """The weighings of a lot that were taken back, newest first."""
    found = select(StruckWeighing).where(StruckWeighing.batch_id == batch.pk).order_by(col(StruckWeighing.id).desc())
    return list(session.exec(found))


def accept_clear(session: Session, batch: Batch, person: str = "") -> int:
    """Accept every grain of a lot that is not decided on, that the numbers accept and no look doubts; tells how many.

    Raises
    ------
    Refused
        There is none, or nobody signs.
    """
    clear = select(Grain).where(Grain.batch_id == batch.pk, col(Grain.decision).is_(None), Grain.verdict == "accept")
    undecided = session.exec(clear).all()
    doubted = looks.doubts(session, undecided)
    found = [grain for grain in undecided if grain.pk not in doubted]
    if not found:
        raise Refused("No grain of this lot waits for a decision that the numbers make clear.")
    name = decisions.signed(session, person)
    for grain in found:
        decisions.decide(session, grain, DecisionIn(decision="accept", person=name))
    return len(found)
