"""The cast session: opened by a checklist, kept while the pan is hot, closed when all is told."""

import re
import zlib
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from sqlalchemy.orm import lazyload
from sqlmodel import Session, col, func, select

from app import clock
from app.errors import Asked, Refused
from app.models import (
    Batch,
    BatchPart,
    CastSession,
    Checklist,
    RunSheet,
    SessionNote,
    SessionOpening,
    TemperatureReading,
    WeighOut,
)
from app.models.base import attribute
from app.models.cast import CloseIn, NoteIn, OpenSessionIn
from app.services.book import moments, repository, workshop
from app.services.cast import editions, gate, melts, needs, runsheets, steps
from app.services.stock import batches
from app.units import show


@dataclass(frozen=True)
class Running:
    """An open session, for the day's page."""

    batch: Batch
    cast: CastSession
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
    """A step that can be done now or is timed, of any open session."""

    batch: Batch
    now: steps.Now


# --- Reading -----------------------------------------------------------------------------------


def find(session: Session, batch: Batch) -> CastSession | None:
    """The cast session of a batch, open or closed, if there is one."""
    return session.exec(select(CastSession).where(CastSession.batch_id == batch.pk)).first()


def the_open(session: Session, batch: Batch) -> CastSession:
    """The batch's open session.

    Raises
    ------
    Refused
        None was opened, it is closed, or no valid checklist opened it and nothing is on the heat in it.
    """
    cast = find(session, batch)
    if cast is None:
        raise Refused(f"The cast session of {batch.code} is not open. Go through the checklist to open it.")
    if cast.closed_at is not None:
        raise Refused(f"The cast session of {batch.code} is closed. Reopen it with a new checklist.")
    stands = gate.held(session, cast)
    if not stands.opened and not stands.under_way:
        raise Refused(
            f"The cast session of {batch.code} stands open in the book's file, but no valid checklist opened it. "
            f"{stands.words} Start Grainbook again, which closes it, and make a checklist."
        )
    return cast


def person(cast: CastSession) -> str:
    """Who opened the session last: the person at the bench."""
    return cast.openings[-1].person if cast.openings else ""


def sessions(session: Session, open_only: bool = False) -> list[tuple[CastSession, Batch]]:
    """All cast sessions with their batches, newest first; or the open ones."""
    query = select(CastSession).order_by(col(CastSession.id).desc())
    casts = session.exec(query.where(col(CastSession.closed_at).is_(None)) if open_only else query)
    return [(cast, repository.get(session, Batch, cast.batch_id, "batch")) for cast in casts]


def closed(session: Session, page: int = 1) -> repository.Page[tuple[CastSession, Batch]]:
    """A page of the closed cast sessions with their batches, newest first."""
    query = select(CastSession).where(col(CastSession.closed_at).is_not(None)).order_by(col(CastSession.id).desc())
    found = repository.page(session, query.options(lazyload(attribute(CastSession.steps))), page)
    of = repository.by_id(session, Batch, (cast.batch_id for cast in found.rows), *batches.BARE)
    return replace(found, rows=[(cast, of[cast.batch_id]) for cast in found.rows])


def poured_at(session: Session, batch: Batch) -> datetime | None:
    """When the batch was poured, if it was; the last set counts."""
    cast = find(session, batch)
    if cast is None:
        return None
    return max((step.done_at for step in cast.steps if step.key == "pour" and step.done_at is not None), default=None)


def due(session: Session) -> list[Running]:
    """The open sessions with what can be done next in each, what is due first on top."""
    running = []
    for cast, batch in sessions(session, open_only=True):
        now = steps.of_session(cast, batch, batches.weighed(session, batch))
        held = gate.says(session, cast)
        alarms = tuple(re.sub(r"\d+", "", words) for words in (*steps.warnings(cast, now), held))
        running.append(
            Running(
                batch,
                cast,
                steps.in_turn(now),
                poured_at(session, batch),
                overnight(cast),
                _entries(session, cast),
                held,
                alarms,
            )
        )
    latest = datetime.max.replace(tzinfo=clock.now().tzinfo)
    return sorted(running, key=lambda r: min((n.due_at for n in r.coming if n.due_at), default=latest))


def coming(running: list[Running]) -> list[Coming]:
    """What can be done next in all open sessions together, by its time; what has no time last."""
    found = [Coming(run.batch, now) for run in running for now in run.coming]
    return sorted(found, key=lambda c: (c.now.due_at is None, c.now.due_at or clock.now(), c.batch.code))


def wait_for(running: list[Running], batch: Batch) -> str:
    """Which other session still needs hands, when this one is about to pour; empty when none does."""
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
        f"{r.cast.pk}-{len(r.cast.steps)}-{sum(step.version for step in r.cast.steps)}-{r.entries}" for r in running
    ]
    alarms = zlib.crc32("\n".join(words for r in running for words in r.alarms).encode())
    return ".".join([f"{clock.today():%Y%m%d}", f"{alarms:x}", *shown])


def _entries(session: Session, cast: CastSession) -> int:
    amounts = select(func.total(WeighOut.version)).where(
        col(WeighOut.batch_part_id).in_(select(BatchPart.id).where(BatchPart.batch_id == cast.batch_id))
    )
    readings = select(func.total(TemperatureReading.version)).where(TemperatureReading.cast_session_id == cast.pk)
    return int(session.exec(amounts).one() + session.exec(readings).one())


def overnight(cast: CastSession) -> bool:
    """Whether an open session was opened on an earlier day."""
    if cast.closed_at is not None or not cast.openings:
        return False
    return clock.local(cast.openings[-1].opened_at).date() < clock.today()


# --- Opening and closing -----------------------------------------------------------------------


def open_session(session: Session, batch: Batch, data: OpenSessionIn) -> CastSession:
    """Open the session of a batch, or reopen it, with a fresh, complete, unused checklist.

    Raises
    ------
    Refused
        The checklist does not open it (the message says why), it is open already, the batch was dropped, or
        the shelf lacks what is still to be weighed out.
    Asked
        It was closed later than the clock reads now.
    """
    if batch.state == "dropped":
        raise Refused(f"Batch {batch.code} was dropped. Plan a new one.")
    cast = find(session, batch)
    if cast is not None and cast.closed_at is None:
        raise Refused(f"The cast session of {batch.code} is open already.")
    if cast is None:
        melts.still_fits(session, batch)
    checklist = session.get(Checklist, data.checklist_id)
    fault = gate.why_not(session, batch, checklist)
    if fault is not None:
        raise Refused(fault)
    assert checklist is not None
    if cast is not None and cast.closed_at is not None and clock.now() < cast.closed_at and not data.sure_of():
        raise Asked(
            f"This machine's clock reads earlier than the closing at {moments.words(cast.closed_at)}. Set the clock "
            "right, then reopen. If it stood ahead then and is right now, say so.",
            None,
            keep="The clock is right now: reopen it",
        )
    if cast is None:
        _enough_on_shelf(session, batch)
        cast = _begin(session, batch)
    session.add(
        SessionOpening(
            cast_session_id=cast.pk, checklist_id=checklist.pk, person=checklist.person, opened_at=clock.now()
        )
    )
    session.flush()  # the guard sees the opening before the session opens
    cast.closed_at = None
    batch.state = "casting"
    session.flush()
    session.refresh(cast)
    return cast


def _begin(session: Session, batch: Batch) -> CastSession:
    sheet = editions.now_used(session, RunSheet)
    cast = CastSession(batch_id=batch.pk, run_sheet_id=sheet.pk, closed_at=clock.now())
    session.add(cast)
    session.flush()
    for step in runsheets.lay_out(session, batch, sheet):
        step.cast_session_id = cast.pk
        session.add(step)
    session.flush()
    return cast


def _enough_on_shelf(session: Session, batch: Batch) -> None:
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


def close(session: Session, batch: Batch, data: CloseIn, version: int | None = None) -> CastSession:
    """Close the session; steps still open are left out with the reason given.

    Raises
    ------
    Refused
        It is not open, the test pieces were not told, or no reason is given though steps are open or it was left open
        overnight.
    Conflict
        The session was changed since the page was opened.
    """
    cast = the_open(session, batch)
    repository.claim(cast, version)
    if batch.test_pieces_kg is None:
        raise Refused("Write how much went into test pieces first (0 g if none): the mass of the lot must add up.")
    open_steps = [step for step in cast.steps if step.done_at is None and step.skipped_why is None]
    if open_steps and len(data.why) < 3:
        raise Refused(
            (
                f"{len(open_steps)} steps are still open, from “{open_steps[0].words}” on. Tick them, or say here why "
                "the session ends without them."
                if len(open_steps) > 1
                else f"One step is still open: “{open_steps[0].words}” Tick it, or say here why the session ends "
                "without it."
            ),
            field="why",
        )
    if overnight(cast):
        if len(data.why) < 3:
            opened = moments.words(cast.openings[-1].opened_at)
            raise Refused(
                f"It was left open since {opened}. Say here why, and when the cores were pulled.", field="why"
            )
        session.add(
            SessionNote(cast_session_id=cast.pk, written_at=clock.now(), words=f"Closed a day late: {data.why}")
        )
    for step in open_steps:
        step.skipped_why = data.why
        step.version += 1
    session.flush()  # the steps are written while the session is open
    # A moment after its opening, whatever the clock says: a reopening is told from the opening by its time.
    cast.closed_at = max(clock.now(), cast.openings[-1].opened_at + timedelta(microseconds=1))
    batch.state = "cast"
    session.flush()
    return cast


# --- Notes -------------------------------------------------------------------------------------


def notes(session: Session, cast: CastSession) -> list[SessionNote]:
    """The notes of a session, oldest first."""
    query = select(SessionNote).where(SessionNote.cast_session_id == cast.pk)
    return list(session.exec(query.order_by(col(SessionNote.id))))


def write_note(session: Session, batch: Batch, data: NoteIn) -> SessionNote:
    """Keep words with their moment.

    Raises
    ------
    Refused
        The session is not open.
    """
    cast = the_open(session, batch)
    note = SessionNote(cast_session_id=cast.pk, written_at=clock.now(), words=data.words)
    session.add(note)
    session.flush()
    return note
