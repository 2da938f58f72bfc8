"""What a person decides of a grain, and into which bag it goes."""

from sqlmodel import Session, col, select

from app import clock
from app.errors import Refused
from app.models import Batch, Grain
from app.models.grain import DecisionIn
from app.services.book import repository
from app.services.book.audit_reasons import who
from app.services.grains import bagging, looks
from app.services.grains.grains import free, keep


def decide(session: Session, grain: Grain, data: DecisionIn, version: int | None = None) -> Grain:
    """Keep the person's own decision beside the verdict, with who and when.

    Raises
    ------
    Conflict
        The grain was changed since the page was opened.
    Refused
        The grain is in a motor or burned, a reason is missing, or nobody signs.
    """
    free(session, grain)
    if not data.why and data.fault is None and data.decision != "accept":
        raise Refused("Choose what is wrong with it, or write it here.", field="why")
    if not data.why and data.decision == "accept" and grain.verdict != "accept":
        raise Refused(
            "The numbers say otherwise; write why you accept it all the same (what you looked at and found).",
            field="why",
        )
    if not data.why and data.decision == "accept" and (seen := looks.doubt(session, grain)):
        raise Refused(f"It was looked at: {seen}. Write why you accept it all the same.", field="why")
    person = signed(session, data.person)
    repository.claim(grain, version)
    if grain.decision is not None:
        keep(session, grain, f"Decided again: {data.decision}.")
    grain.decision, grain.decision_fault, grain.decision_why = data.decision, data.fault, data.why
    grain.decided_by, grain.decided_at = person, clock.now()
    session.flush()
    return grain


def signed(session: Session, person: str) -> str:
    """Who decides: the name given, or whoever is at the bench.

    Raises
    ------
    Refused
        There is neither.
    """
    name = person or who(session)
    if not name:
        raise Refused("Write your name: a decision needs somebody who made it.", field="person")
    return name


def bag(session: Session, grain: Grain, version: int | None = None) -> Grain:
    """Seal a grain in its bag, now; the last one of the lot ticks the bagging of the evening.

    Raises
    ------
    Conflict
        The grain was changed since the page was opened.
    Refused
        It is bagged already, not decided on, or rejected.
    """
    if grain.bagged_at is not None:
        raise Refused(f"{grain.serial} is in its bag since {clock.day_and_time(grain.bagged_at)}.")
    if grain.decision not in ("accept", "hold"):
        why = "was rejected; it goes to remelt or scrap" if grain.decision else "is not decided on yet"
        raise Refused(f"{grain.serial} {why}, so it is not bagged.")
    repository.claim(grain, version)
    grain.bagged_at = clock.now()
    session.flush()
    bagging.tick(session, repository.get(session, Batch, grain.batch_id, "batch"))
    return grain


def bag_accepted(session: Session, batch: Batch) -> int:
    """Seal all accepted grains of a batch that are not in a bag yet; tells how many.

    Raises
    ------
    Refused
        There is none.
    """
    found = session.exec(
        select(Grain).where(Grain.batch_id == batch.pk, Grain.decision == "accept", col(Grain.bagged_at).is_(None))
    ).all()
    if not found:
        raise Refused("No accepted grain of this lot waits for its bag.")
    for grain in found:
        bag(session, grain)
    return len(found)
