"""The notes of a grain's evening, as one wants them with the grain in the hand: pan, acts with their times, words."""

from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from app.book.gate_rule import EDGE_K
from app.services.book import workshop
from app.services.cast import casting, pan, runsheets, steps
from app.services.cast.casting import Noted
from app.services.cast.steps import Now
from app.services.grains.grains import GrainView
from app.services.stock import batches


@dataclass(frozen=True)
class Done:
    """An act on a lot's grains: what, when, and how it kept its time; `set_number` is 0 where there is one set only."""

    name: str
    set_number: int
    at: datetime | None
    timing: str
    """"on time", how late, why it was left out, or nothing where it has no time to keep."""


@dataclass(frozen=True)
class CastNotes:
    """What is known of the evening a grain was cast in; temperatures [K]."""

    poured_k: float | None
    """The pan as it was read last before the pour."""
    low_k: float | None
    high_k: float | None
    readings: int
    over: int
    """How many readings lie above the workshop's limit."""
    acts: list[Done]
    notes: list[Noted]
    """Of its melt and of the whole evening."""


def of_grain(session: Session, view: GrainView) -> CastNotes | None:
    """The notes of the evening of a grain's lot; nothing where no evening is in the book.

    The book does not know which set of moulds a grain came out of: of several, each is told.
    """
    melt = casting.melt(session, view.batch)
    if melt is None:
        return None
    found = steps.of_melt(melt, view.batch, batches.weighed(session, view.batch))
    read = pan.readings(session, melt)
    poured = max((now.step.done_at for now in found if now.step.key == "pour" and now.step.done_at), default=None)
    before = [reading for reading in read if poured is not None and reading.read_at <= poured]
    heat = [reading.temperature_k for reading in read]
    limit = workshop.get(session).pan_limit_k + EDGE_K
    several = steps.sets(melt) > 1
    return CastNotes(
        poured_k=before[0].temperature_k if before else None,
        low_k=min(heat, default=None),
        high_k=max(heat, default=None),
        readings=len(heat),
        over=sum(kelvin > limit for kelvin in heat),
        acts=[_done(now, several) for now in found if now.step.set_number],
        notes=[one for one in casting.noted(session, melt.evening) if one.note.melt_id in (None, melt.pk)],
    )


def _done(now: Now, several: bool) -> Done:
    kind = now.step.key.partition(":")[0]
    name = runsheets.KINDS[kind] if kind != "other" else now.step.words
    if now.step.skipped_why is not None:
        timing = f"left out: {now.step.skipped_why}"
    elif now.step.done_at is None:
        timing = "not done"
    elif now.due_at is None:
        timing = ""
    else:
        timing = f"{now.late_words} late" if now.late else "on time"
    return Done(name, now.step.set_number if several else 0, now.step.done_at, timing)
