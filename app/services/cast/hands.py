"""Who heats a melt first, and where: hours may lie between its list and the heat, so that it is told with the press.

Another person, or another place, than the whole list was signed for takes the whole list again.
"""

from sqlmodel import Session

from app.errors import Asked
from app.models import Batch, CastStep, Checklist, Melt
from app.models.cast import StepIn, StepTimeIn
from app.services.book import repository
from app.services.cast import gate, steps


def about(melt: Melt) -> str:
    """Names the question: an answer holds for the list that the evening stands on."""
    return f"hands{melt.evening.openings[-1].pk if melt.evening.openings else 0}"


def signer(session: Session, melt: Melt) -> Checklist | None:
    """The whole list that the evening of a melt stands on, for its person and its place."""
    openings = melt.evening.openings
    return session.get(Checklist, openings[-1].checklist_id) if openings else None


def unchanged(session: Session, melt: Melt, step: CastStep | None) -> str:
    """Who heats a melt first and where, by the whole list, at a step that would do so; empty at any other."""
    if step is None or step.melt_id != melt.pk or not gate.heats(step) or gate.begun(session, melt):
        return ""
    whole = signer(session, melt)
    return ", ".join(filter(None, (whole.person, whole.place))) if whole is not None else ""


def record(
    session: Session, melt: Melt, step_id: int, data: StepIn, person: str, version: int | None = None
) -> CastStep:
    """Tick, skip or take back a step as `steps.record`; at the first heating it is told that person and place are
    those of the whole list.

    Parameters
    ----------
    person
        Who the device says is at the bench.

    Raises
    ------
    Refused
        As `steps.record`, which speaks first.
    Asked
        It is the first heating, and nothing is told of person and place.
    Conflict
        The step was changed since the page was opened.
    """
    words = unchanged(session, melt, session.get(CastStep, step_id)) if data.act == "done" else ""
    done = steps.record(session, melt, step_id, data, _person(session, melt, words, person), version)
    told(session, melt, words, data.sure_of(about=about(melt)), person)
    return done


def tell_time(
    session: Session, melt: Melt, step_id: int, data: StepTimeIn, person: str, version: int | None = None
) -> CastStep:
    """Tell afterwards when a step was done as `steps.tell_time`; of the first heating as `record`."""
    words = unchanged(session, melt, session.get(CastStep, step_id))
    done = steps.tell_time(session, melt, step_id, data, _person(session, melt, words, person), version)
    told(session, melt, words, data.sure_of(about=about(melt)), person)
    return done


def _person(session: Session, melt: Melt, words: str, person: str) -> str:
    whole = signer(session, melt) if words else None
    return whole.person if whole is not None else person


def told(session: Session, melt: Melt, words: str, sure: bool, person: str = "") -> None:
    """Ask who heats a melt first and where, if it is its first heating (`words`) and that is not told.

    Raises
    ------
    Asked
        Its one answer says that person and place are those of the whole list.
    """
    if not words or sure:
        return
    lot = repository.get(session, Batch, melt.batch_id, "batch")
    other = f" This device is named for {person}." if person != _person(session, melt, words, person) else ""
    raise Asked(
        f"Who heats {lot.code}, and where?{other} Anybody or anywhere else takes the whole list again.",
        None,
        keep=words,
        about=about(melt),
    )
