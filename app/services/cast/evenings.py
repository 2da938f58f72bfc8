"""An evening of several melts: how a further one joins it, and what all of them share."""

from dataclasses import dataclass

from sqlmodel import Session

from app.errors import Refused
from app.models import Batch, CastSession, Checklist, ChecklistEdition, Melt
from app.models.cast import OpenSessionIn
from app.services.cast import casting, editions, entering, gate, melts


@dataclass(frozen=True)
class Entry:
    """How a batch comes to the pan now: into an evening that is open, by the short list or the whole one, or alone."""

    evening: CastSession | None
    """The open evening that it would come into; nothing when none is open, or when it is a melt of one."""
    short: bool
    """Whether the short list is enough."""
    why: str
    """Why it takes the whole list though an evening is open; empty when it does not."""


def entry(session: Session, batch: Batch) -> Entry:
    """Which list a batch takes now, and why."""
    own, running = casting.melt(session, batch), casting.open_evening(session)
    if own is not None or running is None:
        again = gate.due(session, own.evening, batch, own) if own is not None and own.evening is running else ""
        return Entry(None, False, again)
    why = gate.no_short_list(session, batch, running, editions.now_used(session, ChecklistEdition))
    return Entry(running, not why, why)


def fault(session: Session, batch: Batch, checklist: Checklist | None) -> str | None:
    """What keeps a list, whole or short, from what it is for now, in words; nothing when nothing does."""
    if checklist is not None and checklist.again:
        return gate.why_not_join(session, batch, _evening_of(session, checklist), checklist)
    return gate.why_not(session, batch, checklist)


def join(session: Session, batch: Batch, data: OpenSessionIn) -> Melt:
    """Let a batch into the open evening as a further melt, by its signed short list; what was told of the air this
    evening holds for it too.

    Raises
    ------
    Refused
        The short list lets it not in (the message says why), the evening was closed meanwhile, the batch was dropped or
        is a melt already, or the shelf lacks what is to be weighed out.
    """
    if batch.state == "dropped":
        raise Refused(f"Batch {batch.code} was dropped. Plan a new one.")
    own = casting.melt(session, batch)
    if own is not None:
        stands = "open" if own.evening.closed_at is None else "closed; reopening takes the whole list"
        raise Refused(f"{batch.code} is a melt already, of an evening that is {stands}.")
    melts.still_fits(session, batch)
    checklist = session.get(Checklist, data.checklist_id)
    cast = _evening_of(session, checklist)
    fault = gate.why_not_join(session, batch, cast, checklist)
    if fault is not None:
        raise Refused(fault)
    assert cast is not None
    entering.enough_on_shelf(session, batch)
    made = entering.let_in(session, cast, batch, checklist)
    batch.state = "casting"
    session.flush()
    return made


def _evening_of(session: Session, checklist: Checklist | None) -> CastSession | None:
    """The evening that a short list was made for; else the open one, for the rule to say what the list is not."""
    if checklist is not None and checklist.cast_session_id is not None:
        return session.get(CastSession, checklist.cast_session_id)
    return casting.open_evening(session)
