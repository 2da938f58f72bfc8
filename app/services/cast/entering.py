"""How a batch comes into an evening: as its next melt, with its steps, if the shelf has what it takes."""

from sqlmodel import Session

from app import clock
from app.errors import Refused
from app.models import Batch, CastSession, Checklist, Melt, RunSheet
from app.services.book import repository, workshop
from app.services.cast import editions, needs, runsheets
from app.units import show


def lots(session: Session, cast: CastSession) -> list[Batch]:
    """The batches of an evening, in the order of its melts."""
    return [repository.get(session, Batch, melt.batch_id, "batch") for melt in cast.melts]


def let_in(session: Session, cast: CastSession, batch: Batch, checklist: Checklist | None = None) -> Melt:
    """Put a batch into an evening as its next melt, with the steps of the run sheet; a trigger asks whether it may."""
    sheet = editions.now_used(session, RunSheet)
    made = Melt(
        cast_session_id=cast.pk,
        batch_id=batch.pk,
        run_sheet_id=sheet.pk,
        number=len(cast.melts) + 1,
        checklist_id=checklist.pk if checklist is not None else None,
        created_at=clock.now(),
    )
    session.add(made)
    session.flush()
    for step in runsheets.lay_out(session, batch, sheet):
        step.melt_id = made.pk
        session.add(step)
    session.flush()
    session.refresh(cast)
    share_air(session, cast)
    return made


_AIR = ("air_temperature_k", "air_temperature_typed", "humidity_share", "humidity_typed")


def share_air(session: Session, cast: CastSession) -> None:
    """Let what was told of the air hold for each melt of the evening that has nothing told; the last one counts."""
    of_evening = lots(session, cast)
    told = [lot for lot in of_evening if lot.air_temperature_typed or lot.humidity_typed]
    for lot in of_evening if told else []:
        if lot not in told:
            for name in _AIR:
                setattr(lot, name, getattr(told[-1], name))


def enough_on_shelf(session: Session, batch: Batch) -> None:
    """Refuse to begin what the shelf lacks an ingredient for."""
    shop = workshop.get(session)
    lacking = []
    for need in needs.of_batch(session, batch):
        short = need.target_kg - need.on_shelf_kg
        if short > max(shop.weigh_tolerance_share * need.target_kg, shop.scale_resolution_kg):
            lacking.append(f"{show(short, 'mass', shop.units)} of {need.name.lower()}")
    if lacking:
        raise Refused(
            f"The shelf lacks {', '.join(lacking)}. Enter the bag under Supplies, correct what a bag holds, or "
            "plan a smaller batch; the checklist stays good meanwhile."
        )
