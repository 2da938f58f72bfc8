"""The cast session, an evening of one melt or several: opened by a checklist, kept while a pan is hot, closed once when
all is told. How a further melt joins stands in `evenings`.
"""

import re
import zlib
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from sqlalchemy.orm import selectinload
from sqlmodel import Session, col, func, select

from app import clock
from app.errors import Asked, Refused
from app.models import (
    Batch,
    BatchPart,
    CastSession,
    CastStep,
    Checklist,
    Melt,
    SessionNote,
    SessionOpening,
    TemperatureReading,
    WeighOut,
)
from app.models.base import attribute
from app.models.cast import CloseIn, NoteIn, OpenSessionIn
from app.services.book import moments, repository
from app.services.cast import entering, gate, melts, steps
from app.services.stock import batches


@dataclass(frozen=True)
class Running:
    """A melt of an open evening, for the day's page."""

    batch: Batch
    melt: Melt
    cast: CastSession
    """Its evening."""
    coming: list[steps.Now]
    poured_at: datetime | None
    overnight: bool
    entries: int
    """A number that changes with each amount and each reading of the pan, as it came or was struck out."""
    held: str
    """Why it takes nothing new, and what goes on; empty when it takes everything."""
    alarms: tuple[str, ...]
    """What is said loudly of it at this moment, without the hours and minutes in it."""


@dataclass(frozen=True)
class Coming:
    """A step that can be done now or is timed, of any open melt."""

    batch: Batch
    now: steps.Now


# --- Reading -----------------------------------------------------------------------------------


def melt(session: Session, batch: Batch) -> Melt | None:
    """The melt of a batch, in an open or closed evening, if there is one."""
    return session.exec(select(Melt).where(Melt.batch_id == batch.pk)).first()


def find(session: Session, batch: Batch) -> CastSession | None:
    """The evening of a batch, open or closed, if there is one."""
    found = melt(session, batch)
    return None if found is None else found.evening


def the_open(session: Session, batch: Batch) -> Melt:
    """The batch's melt, in an open evening.

    Raises
    ------
    Refused
        None was opened, it is closed, or no valid checklist let it in and nothing of it is on the heat.
    """
    found = melt(session, batch)
    if found is None:
        raise Refused(f"The cast session of {batch.code} is not open. Go through the checklist to open it.")
    if found.evening.closed_at is not None:
        raise Refused(f"The cast session of {batch.code} is closed. Reopen it with a new checklist.")
    stands = gate.held(session, found)
    if not stands.opened and not stands.under_way:
        raise Refused(
            f"The cast session of {batch.code} stands open in the book's file, but no valid checklist opened it. "
            f"{stands.words} Start Grainbook again, which closes it, and make a checklist."
        )
    return found


def open_evening(session: Session) -> CastSession | None:
    """The evening that is open, the one that was opened last where a book has several; nothing when none is."""
    stands = select(CastSession).where(col(CastSession.closed_at).is_(None))
    return session.exec(stands.order_by(col(CastSession.id).desc())).first()


def person(cast: CastSession) -> str:
    """Who opened the evening last: the person at the bench."""
    return cast.openings[-1].person if cast.openings else ""


def closed(session: Session, page: int = 1) -> repository.Page[tuple[CastSession, list[Batch]]]:
    """A page of the closed evenings with their batches, newest first."""
    query = select(CastSession).where(col(CastSession.closed_at).is_not(None)).order_by(col(CastSession.id).desc())
    bare = selectinload(attribute(CastSession.melts)).lazyload(attribute(Melt.steps))
    found = repository.page(session, query.options(bare), page)
    melted = (melt.batch_id for cast in found.rows for melt in cast.melts)
    of = repository.by_id(session, Batch, melted, *batches.BARE)
    return replace(found, rows=[(cast, [of[melt.batch_id] for melt in cast.melts]) for cast in found.rows])


def poured_at(session: Session, batch: Batch) -> datetime | None:
    """When the batch was poured, if it was; the last set counts."""
    found = melt(session, batch)
    return None if found is None else _poured_at(found)


def _poured_at(found: Melt) -> datetime | None:
    return max((step.done_at for step in found.steps if step.key == "pour" and step.done_at is not None), default=None)


def open_melts(session: Session) -> list[tuple[Melt, Batch]]:
    """The melts of open evenings with their batches, the newest evening first, its melts in their order."""
    stands = select(CastSession).where(col(CastSession.closed_at).is_(None)).order_by(col(CastSession.id).desc())
    melts = [melt for cast in session.exec(stands) for melt in cast.melts]
    return [(melt, repository.get(session, Batch, melt.batch_id, "batch")) for melt in melts]


def due(session: Session) -> list[Running]:
    """The melts of open evenings with what can be done next in each, what is due first on top."""
    running = [_running(session, melt, batch) for melt, batch in open_melts(session)]
    latest = datetime.max.replace(tzinfo=clock.now().tzinfo)
    return sorted(running, key=lambda r: min((n.due_at for n in r.coming if n.due_at), default=latest))


def _running(session: Session, melt: Melt, batch: Batch) -> Running:
    now = steps.of_melt(melt, batch, batches.weighed(session, batch))
    held = gate.says(session, melt)
    return Running(
        batch,
        melt,
        melt.evening,
        steps.in_turn(now),
        _poured_at(melt),
        overnight(melt.evening),
        _entries(session, melt),
        held,
        tuple(re.sub(r"\d+", "", words) for words in (*steps.warnings(melt, now), held)),
    )


def coming(running: list[Running]) -> list[Coming]:
    """What can be done next in all open melts together, by its time; what has no time last."""
    found = [Coming(run.batch, now) for run in running for now in run.coming]
    return sorted(found, key=lambda c: (c.now.due_at is None, c.now.due_at or clock.now(), c.batch.code))


def wait_for(running: list[Running], batch: Batch) -> str:
    """Which other melt still needs hands, when this one is about to pour; empty when none does."""
    mine = next((run for run in running if run.batch.pk == batch.pk), None)
    if mine is None or not any(now.step.key == "pour" for now in mine.coming):
        return ""
    busy = [c for c in coming(running) if c.batch.pk != batch.pk and c.now.step.key.startswith(("core", "compact"))]
    if not busy:
        return ""
    at = f"at {moments.words(busy[0].now.due_at)}" if busy[0].now.due_at else "now"
    return (
        f"{busy[0].batch.code} still needs your hands: “{busy[0].now.words}”, {at}. Alone at the bench, pour when its "
        "compactions are done."
    )


def mark(running: list[Running]) -> str:
    """A short mark that changes with any step, amount or reading of any open session, and with what time alone brings:
    a new day, and each alarm as it comes and goes.

    Two devices see by it that they show the same, and a page left open that it is out of date.
    """
    shown = [
        f"{r.melt.pk}-{len(r.melt.steps)}-{sum(step.version for step in r.melt.steps)}-{r.entries}" for r in running
    ]
    alarms = zlib.crc32("\n".join(words for r in running for words in r.alarms).encode())
    return ".".join([f"{clock.today():%Y%m%d}", f"{alarms:x}", *shown])


def _entries(session: Session, melt: Melt) -> int:
    amounts = select(func.total(WeighOut.version)).where(
        col(WeighOut.batch_part_id).in_(select(BatchPart.id).where(BatchPart.batch_id == melt.batch_id))
    )
    readings = select(func.total(TemperatureReading.version)).where(TemperatureReading.melt_id == melt.pk)
    return int(session.exec(amounts).one() + session.exec(readings).one())


def overnight(cast: CastSession) -> bool:
    """Whether an open evening was opened on an earlier day."""
    if cast.closed_at is not None or not cast.openings:
        return False
    return clock.local(cast.openings[-1].opened_at).date() < clock.today()


# --- Opening and closing -----------------------------------------------------------------------


def open_session(session: Session, batch: Batch, data: OpenSessionIn) -> CastSession:
    """Open an evening for a batch, or reopen its own, with a fresh, complete, unused whole list; where an evening is
    open already, the batch comes into it by that list, which is a new opening of it.

    Raises
    ------
    Refused
        The checklist does not open it (the message says why), it is open already and the whole list is not due, another
        evening is open, the batch was dropped, or the shelf lacks what is still to be weighed out.
    Asked
        It was closed later than the clock reads now.
    """
    if batch.state == "dropped":
        raise Refused(f"Batch {batch.code} was dropped. Plan a new one.")
    own, running = melt(session, batch), open_evening(session)
    cast = own.evening if own is not None else None
    by = [opening.checklist_id for opening in cast.openings] if cast is not None else []
    is_open = own is not None and own.evening.closed_at is None
    if own is not None and is_open and (data.checklist_id in by or not gate.renewable(session, own)):
        raise Refused(f"The cast session of {batch.code} is open already.")
    if own is None:
        melts.still_fits(session, batch)
    checklist = session.get(Checklist, data.checklist_id)
    fault = gate.why_not(session, batch, checklist)
    if fault is not None:
        raise Refused(fault)
    assert checklist is not None
    if cast is not None and cast.closed_at is not None:
        _reopens(session, cast, running, data)
    if own is None:
        entering.enough_on_shelf(session, batch)
        cast = running if running is not None else _begin(session, batch)
    assert cast is not None
    session.add(
        SessionOpening(
            cast_session_id=cast.pk, checklist_id=checklist.pk, person=checklist.person, opened_at=clock.now()
        )
    )
    session.flush()  # the guard sees the opening before the session opens
    if own is None and cast is running:
        entering.let_in(session, cast, batch)
    cast.closed_at = None
    for lot in entering.lots(session, cast):
        lot.state = "casting"
    session.flush()
    session.refresh(cast)
    return cast


def _reopens(session: Session, cast: CastSession, running: CastSession | None, data: OpenSessionIn) -> None:
    """Refuse to reopen a closed evening beside another open one; ask where the clock reads earlier than its closing."""
    assert cast.closed_at is not None
    if running is not None:
        codes = ", ".join(lot.code for lot in entering.lots(session, running))
        raise Refused(f"The evening of {codes} is open. Close it first: one evening at a time.")
    if clock.now() < cast.closed_at and not data.sure_of():
        raise Asked(
            f"This machine's clock reads earlier than the closing at {moments.words(cast.closed_at)}. Set the clock "
            "right, then reopen. If it stood ahead then and is right now, say so.",
            None,
            keep="The clock is right now: reopen it",
        )


def _begin(session: Session, batch: Batch) -> CastSession:
    cast = CastSession(closed_at=clock.now())
    session.add(cast)
    session.flush()
    entering.let_in(session, cast, batch)
    return cast


def close(session: Session, batch: Batch, data: CloseIn, version: int | None = None) -> CastSession:
    """Close the evening of a batch, once for all its melts; steps still open are left out with the reason given.

    Raises
    ------
    Refused
        It is not open, the test pieces of a melt were not told, or no reason is given though steps are open or it was
        left open overnight.
    Conflict
        The evening was changed since the page was opened.
    """
    cast = the_open(session, batch).evening
    repository.claim(cast, version)
    of = {melt.pk: repository.get(session, Batch, melt.batch_id, "batch") for melt in cast.melts}
    untold = [lot.code for lot in of.values() if lot.test_pieces_kg is None]
    if untold:
        which = f" of {', '.join(untold)}" if len(of) > 1 else ""
        raise Refused(
            f"Write how much{which} went into test pieces first (0 g if none): the mass of the lot must add up."
        )
    left = {
        melt.pk: [step for step in melt.steps if step.done_at is None and step.skipped_why is None]
        for melt in cast.melts
    }
    if any(left.values()) and len(data.why) < 3:
        raise Refused(_still_open({of[pk].code: rows for pk, rows in left.items()}), field="why")
    if overnight(cast):
        if len(data.why) < 3:
            opened = moments.words(cast.openings[-1].opened_at)
            raise Refused(
                f"It was left open since {opened}. Say here why, and when the cores were pulled.", field="why"
            )
        session.add(
            SessionNote(cast_session_id=cast.pk, written_at=clock.now(), words=f"Closed a day late: {data.why}")
        )
    for step in (step for rows in left.values() for step in rows):
        step.skipped_why = data.why
        step.version += 1
    session.flush()  # the steps are written while the session is open
    # A moment after its opening, whatever the clock says: a reopening is told from the opening by its time.
    cast.closed_at = max(clock.now(), cast.openings[-1].opened_at + timedelta(microseconds=1))
    for lot in of.values():
        lot.state = "cast"
    session.flush()
    return cast


def _still_open(left: dict[str, list[CastStep]]) -> str:
    """The steps that are open yet, of each melt by its code, and what to do about them."""
    if len(left) > 1:
        said = [f"{code}: {len(rows)}, from “{rows[0].words}” on" for code, rows in left.items() if rows]
        return f"Steps are still open. {'; '.join(said)}. Tick them, or say here why the evening ends without them."
    (rows,) = left.values()
    if len(rows) > 1:
        return (
            f"{len(rows)} steps are still open, from “{rows[0].words}” on. Tick them, or say here why the session ends "
            "without them."
        )
    return f"One step is still open: “{rows[0].words}” Tick it, or say here why the session ends without it."


# --- Notes -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Noted:
    """A note of an evening, and whose it is where the evening has several melts: a melt's code, or the evening's."""

    note: SessionNote
    of: str


def notes(session: Session, cast: CastSession) -> list[SessionNote]:
    """The notes of an evening, of each melt and of all of it, oldest first."""
    query = select(SessionNote).where(SessionNote.cast_session_id == cast.pk)
    return list(session.exec(query.order_by(col(SessionNote.id))))


def noted(session: Session, cast: CastSession) -> list[Noted]:
    """The same, each with whose it is."""
    lots = zip(cast.melts, entering.lots(session, cast), strict=True)
    codes = {melt.pk: lot.code for melt, lot in lots} if len(cast.melts) > 1 else {}
    return [Noted(one, codes.get(one.melt_id or 0, "the evening" if codes else "")) for one in notes(session, cast)]


def write_note(session: Session, batch: Batch, data: NoteIn, of_evening: bool = False) -> SessionNote:
    """Keep words with their moment, of a melt, or of all of its evening.

    Raises
    ------
    Refused
        The session is not open.
    """
    found = the_open(session, batch)
    note = SessionNote(
        cast_session_id=found.cast_session_id,
        melt_id=None if of_evening else found.pk,
        written_at=clock.now(),
        words=data.words,
    )
    session.add(note)
    session.flush()
    return note
