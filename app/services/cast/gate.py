"""What the checklist gate holds on to besides the checklist: the clock, the day, and sessions opened past it.

The gate itself is `checklists.why_not` and a trigger of the book. Here stands what neither can see in the checklist's
own rows: that the clock was moved since it was signed, that the day it was signed for is over while the session still
stands open, and that a session stands open in the file which no checklist opened.
"""

from datetime import datetime, timedelta

from sqlalchemy import ColumnElement, literal_column
from sqlmodel import Session, col, func, select

from app import clock
from app.errors import Refused
from app.models import Batch, CastSession, CastStep, Checklist, ChecklistItem, OnceToken, SessionNote, SessionOpening
from app.services.book import audit_reasons, moments, workshop

SLACK = timedelta(minutes=1)
"""How far a clock may be put right without a word; network time moves it by less."""

_SIGNING = timedelta(seconds=2)
_SAVED_AS: ColumnElement[int] = literal_column("once_token.rowid")
"""The order in which forms were saved, whatever the clock said."""


def clock_moved(session: Session, checklist: Checklist) -> str | None:
    """Why the clock cannot be believed since a checklist was signed, in words; nothing when it can.

    An expired checklist would hold again if the clock were set back. Every form saved leaves its moment, in the order
    of saving: what was saved after the signing must lie between the signing and now. What happens while nothing is
    saved is seen only by the steady clock of a program that goes on running.
    """
    if clock.set_back() > SLACK:
        return (
            "This machine's clock was set back since Grainbook was started. Set it right. If it is right now, start "
            "Grainbook again and make a new checklist."
        )
    signed = checklist.completed_at
    assert signed is not None
    spent = col(OnceToken.spent_at)
    at_signing = session.exec(select(func.max(_SAVED_AS)).where(spent.between(signed, signed + _SIGNING))).one()
    beside = select(OnceToken.token).where(
        (at_signing or 0) < _SAVED_AS, (spent > clock.now() + SLACK) | (spent < signed - SLACK)
    )
    if at_signing is None or session.exec(beside.limit(1)).first() is None:
        return None
    return (
        "This machine's clock was moved since the checklist was signed: the book has something saved after it at "
        "another time. Set the clock right and make a new checklist."
    )


def until(session: Session, opened_at: datetime) -> datetime:
    """Until when hot work may begin in a session: its day's end, or for as long as a checklist holds, what is later."""
    return max(clock.next_midnight(opened_at), opened_at + timedelta(seconds=workshop.get(session).checklist_valid_s))


def still_holds(session: Session, cast: CastSession, moment: datetime) -> None:
    """Refuse to weigh out or heat in a session that was opened on an earlier day, from a restored book as well.

    Raises
    ------
    Refused
        The day of its checklist was over at that moment.
    """
    opened = cast.openings[-1].opened_at
    if moment >= until(session, opened):
        raise Refused(
            f"This session was opened at {moments.words(opened)}, and its checklist was for that day. Close it and "
            "reopen it with a new checklist before anything is weighed out or heated; then tell the times of what was "
            "done meanwhile."
        )


def hot(step: CastStep) -> bool:
    """Whether a step belongs to the hot pan, up to the pour."""
    return step.set_number == 0 or step.key == "pour"


def at_start(session: Session) -> None:
    """Put right what stands in the file past the gate, in the program's own name."""
    with audit_reasons.signed(session, who="Grainbook", why="At its start."):
        shut_unvouched(session)
        void_expired(session)


def shut_unvouched(session: Session) -> list[str]:
    """Close the sessions that stand open in the file without a checklist that opened them; gives their lots.

    The program cannot make such a row; another program or an older file can. Done at each start, since a file is
    changed behind the program's back only while it is not running, or not for long.
    """
    shut = []
    for cast in session.exec(select(CastSession).where(col(CastSession.closed_at).is_(None))).all():
        batch = session.get(Batch, cast.batch_id)
        assert batch is not None
        if not vouched(session, cast, batch):
            words = "Closed when Grainbook was started: it stood open in the file without a valid checklist."
            session.add(SessionNote(cast_session_id=cast.pk, written_at=clock.now(), words=words))
            session.flush()  # the note is written while the session is open
            openings = [opening.opened_at + timedelta(microseconds=1) for opening in cast.openings]
            cast.closed_at = max([clock.now(), *openings])
            batch.state = "cast" if cast.openings else "planned"
            session.flush()
            shut.append(batch.code)
    return shut


def vouched(session: Session, cast: CastSession, batch: Batch) -> bool:
    """Whether a complete checklist of its batch, made for its last opening, stands behind an open session."""
    if batch.state != "casting" or not cast.openings:
        return False
    last: SessionOpening = cast.openings[-1]
    checklist = session.get(Checklist, last.checklist_id)
    if checklist is None or checklist.batch_id != cast.batch_id or checklist.completed_at is None:
        return False
    if checklist.voided_at is not None or not checklist.answers:
        return False
    lines = select(func.count(col(ChecklistItem.id))).where(
        ChecklistItem.checklist_edition_id == checklist.checklist_edition_id
    )
    age = last.opened_at - checklist.completed_at
    held = timedelta(0) <= age <= timedelta(days=1)
    return held and len(checklist.answers) == session.exec(lines).one()


def void_expired(session: Session) -> int:
    """Void the signed checklists that opened nothing and hold no longer: no clock brings them back; tells how many."""
    used = select(SessionOpening.checklist_id)
    waiting = select(Checklist).where(
        col(Checklist.completed_at).is_not(None), col(Checklist.voided_at).is_(None), col(Checklist.id).not_in(used)
    )
    count = 0
    for checklist in session.exec(waiting).all():
        assert checklist.completed_at is not None
        if clock.now() > checklist.completed_at + timedelta(seconds=workshop.get(session).checklist_valid_s):
            checklist.voided_at, checklist.voided_why = clock.now(), "It was not used while it held."
            count += 1
    session.flush()
    return count
