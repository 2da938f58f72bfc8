"""Sets of grains that one melt is poured into, while a session runs."""

from sqlmodel import Session

from app.errors import Refused
from app.models import CastStep, Melt
from app.models.cast import SetIn
from app.services.book import repository
from app.services.cast.steps import sets, settled, still_open

MOST_SETS = 9


def add_set(session: Session, melt: Melt, data: SetIn, version: int | None = None) -> int:
    """Add another set of moulds, poured when the compactions of the set before are done; gives its number.

    Raises
    ------
    Refused
        The session is closed, or it has as many sets as one pan can feed.
    Conflict
        The session was changed since the page was opened.
    """
    still_open(melt)
    repository.claim(melt, version)
    number = sets(melt) + 1
    if number > MOST_SETS:
        raise Refused(f"A session has at most {MOST_SETS} sets. Plan another batch for the rest.", field="moulds")
    last = max(step.position for step in melt.steps)
    for step in [s for s in melt.steps if s.set_number == 1]:
        last += 1
        words = f"{step.words} In this set: {data.moulds}." if step.key == "pour" else step.words
        session.add(
            CastStep(
                melt_id=melt.pk,
                set_number=number,
                position=last,
                key=step.key,
                words=words,
                after_key=step.after_key,
                after_s=step.after_s,
                pan_low_k=step.pan_low_k,
                pan_high_k=step.pan_high_k,
            )
        )
    session.flush()
    session.refresh(melt, ["steps"])
    return number


def drop_set(session: Session, melt: Melt, version: int | None = None) -> None:
    """Take out the last set, if nothing of it was settled.

    Raises
    ------
    Refused
        The session is closed, there is one set only, or the last one was begun.
    Conflict
        The session was changed since the page was opened.
    """
    still_open(melt)
    repository.claim(melt, version)
    number = sets(melt)
    own = [step for step in melt.steps if step.set_number == number]
    if number < 2:
        raise Refused("The first set stays.")
    if any(settled(step) for step in own):
        raise Refused(f"Set {number} was begun; skip what is left of it with a reason.")
    for step in own:
        session.delete(step)
    session.flush()
    session.refresh(melt, ["steps"])
