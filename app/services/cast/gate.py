"""The checklist gate as the program asks it: what a list opens, what an open session takes, what a start puts right.

The rule is `app.book.gate_rule`, which the triggers are made of; here it is asked with the moment of the program's
clock, the steady clock is added, which SQL cannot see, and a code becomes words that say what to do.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import bindparam, text
from sqlmodel import Session, col, select

from app import clock
from app.book import gate_rule
from app.errors import Refused
from app.models import Batch, CastSession, CastStep, Checklist, SessionNote, SessionOpening
from app.models.base import Utc
from app.services.book import audit_reasons, moments, workshop

SLACK = timedelta(seconds=gate_rule.SLACK_S)
"""How far a clock may be put right without a word."""


@dataclass(frozen=True)
class Held:
    """How an open session stands at the gate."""

    code: str | None
    """What keeps it from anything new being weighed out or heated, as a code of the rule; nothing when nothing does."""
    words: str
    """The same in words; empty when nothing does."""
    under_way: bool
    """Whether something was heated or poured in it: such work goes on, whatever the code."""

    @property
    def opened(self) -> bool:
        """Whether it was rightly opened, though it may take nothing new by now."""
        return self.code in gate_rule.KEEPS_OPEN


# --- Asking the rule -------------------------------------------------------------------------------


def _asked(session: Session, expression: str, **values: object) -> str | int | None:
    """The answer of an expression of the rule, with values bound to it."""
    session.flush()
    times = [bindparam(name, type_=Utc) for name, value in values.items() if isinstance(value, datetime)]
    found: str | int | None = (
        session.connection().execute(text(f"SELECT {expression}").bindparams(*times), values).scalar()
    )
    return found


def why_not(session: Session, batch: Batch, checklist: Checklist | None) -> str | None:
    """What keeps a checklist from opening a session of a batch now, in words; nothing when it opens one."""
    listed = checklist.pk if checklist is not None else None
    asks = gate_rule.of_list(":batch", ":list", ":at")
    code = _asked(session, asks, batch=batch.pk, list=listed, at=clock.now()) or _set_back()
    return _words(session, str(code), batch, checklist) if code else None


def unsigned(session: Session, checklist: Checklist) -> str | None:
    """What keeps a checklist from being signed now, as a code of the rule; nothing when nothing does."""
    asks = gate_rule.of_signing(":list", ":edition", ":at")
    code = _asked(session, asks, list=checklist.pk, edition=checklist.checklist_edition_id, at=clock.now())
    return None if code is None else str(code)


def held(session: Session, cast: CastSession, done: datetime | None = None) -> Held:
    """How an open session stands: whether something new may be weighed out or heated in it, now or at a time told."""
    now = clock.now()
    code = _asked(session, gate_rule.of_new_work(":cast", ":now", ":done"), cast=cast.pk, now=now, done=done or now)
    code = code or _set_back()
    goes_on = bool(_asked(session, gate_rule.under_way(":cast"), cast=cast.pk))
    if not code:
        return Held(None, "", goes_on)
    batch = session.get(Batch, cast.batch_id)
    assert batch is not None
    last: SessionOpening | None = cast.openings[-1] if cast.openings else None
    checklist = session.get(Checklist, last.checklist_id) if last is not None else None
    words = _words(session, str(code), batch, checklist, last)
    if code == "voided" and checklist is not None:
        words = f"The checklist that opened this session was voided: {checklist.voided_why}."
    elif code not in gate_rule.KEEPS_OPEN and code not in ("not opened", "closed"):
        words = f"The checklist that opened this session does not hold. {words}"
    return Held(str(code), words, goes_on)


def _set_back() -> str | None:
    return "set back" if clock.set_back() > SLACK else None


def _words(
    session: Session, code: str, batch: Batch, checklist: Checklist | None, opening: SessionOpening | None = None
) -> str:
    """A code of the rule in words."""
    signed = checklist.completed_at if checklist is not None else None
    until = holds_until(session, checklist) if checklist is not None else None
    return gate_rule.WORDS[code].format(
        lot=batch.code,
        why=checklist.voided_why or "" if checklist is not None else "",
        signed=moments.words(signed) if signed else "",
        until=f"{clock.local(until):%H:%M}" if until else "",
        opened=moments.words(opening.opened_at) if opening is not None else "",
    )


def holds_until(session: Session, checklist: Checklist) -> datetime | None:
    """Until when a complete checklist opens a session: its day's end or the workshop's limit, what comes first."""
    if checklist.completed_at is None:
        return None
    limit = checklist.completed_at + timedelta(seconds=workshop.get(session).checklist_valid_s)
    return min(limit, clock.next_midnight(checklist.completed_at).astimezone(limit.tzinfo))


# --- New work, and work under way ------------------------------------------------------------------

ANEW = (
    "Close it and reopen it with a new checklist before anything is weighed out or heated; then tell the times of what "
    "was done meanwhile."
)
GOES_ON = (
    "What is on the heat, in the tubes or to be pulled goes on: readings, notes and every step of it are taken, the "
    "pour too. A melt that went cold is not heated again here. When all is told, close the session."
)


def weighing(session: Session, cast: CastSession) -> None:
    """Refuse to weigh out in a session whose opening does not hold now, from a restored book as well.

    Raises
    ------
    Refused
        The words of the rule.
    """
    stands = held(session, cast)
    if stands.code:
        raise Refused(f"{stands.words} {ANEW}")


def heating(session: Session, cast: CastSession, done: datetime | None = None) -> Held:
    """Refuse to begin heating in a session whose opening does not hold; a melt under way is poured and finished.

    Raises
    ------
    Refused
        The words of the rule.
    """
    stands = held(session, cast, done)
    if stands.code and not stands.under_way:
        raise Refused(f"{stands.words} {ANEW}")
    return stands


def says(session: Session, cast: CastSession) -> str:
    """Why an open session takes nothing new, and what may go on in it; empty when it takes everything."""
    stands = held(session, cast)
    if not stands.code:
        return ""
    return f"{stands.words} {GOES_ON if stands.under_way else ANEW}"


def hot(step: CastStep) -> bool:
    """Whether a step belongs to the hot pan, up to the pour."""
    return step.set_number == 0 or step.key == "pour"


# --- What a start, an import and a restore put right -----------------------------------------------


def at_start(session: Session) -> list[str]:
    """Put right what stands in the file past the gate, in the program's own name; tells it, one sentence each."""
    with audit_reasons.signed(session, who="Grainbook", why="At its start."):
        void_expired(session)
        return shut_unopened(session)


def shut_unopened(session: Session) -> list[str]:
    """Close the sessions that stand open in the file without a checklist that opened them; tells what was done.

    Where hot work is under way the session stays open to be finished. The program cannot make such a row; another
    program, an older file or a clock that was put right can. Done at each start, since a file is changed behind the
    program's back only while it is not running, or not for long.
    """
    said = []
    for cast in session.exec(select(CastSession).where(col(CastSession.closed_at).is_(None))).all():
        stands, batch = held(session, cast), session.get(Batch, cast.batch_id)
        assert batch is not None
        if stands.opened and stands.code != "ahead":
            continue
        if stands.under_way:
            said.append(f"{batch.code} stays open to be finished, and takes nothing new. {stands.words}")
            continue
        words = (
            f"Closed when Grainbook was started: it stood open in the file without a valid checklist. {stands.words}"
        )
        session.add(SessionNote(cast_session_id=cast.pk, written_at=clock.now(), words=words))
        session.flush()  # the note is written while the session is open
        openings = [opening.opened_at + timedelta(microseconds=1) for opening in cast.openings[-1:]]
        cast.closed_at = max([clock.now(), *openings])
        batch.state = "cast" if cast.openings else "planned"
        session.flush()
        said.append(f"{batch.code} was closed. {stands.words}")
    return said


CAME_BACK = "The book came back from a copy or an earlier hour, and does not know what was opened or closed since"


def came_back(session: Session) -> list[str]:
    """Void the lists of a book that came back from a copy or a zip, in the program's own name; tells what was voided.

    Each signed list that opened nothing may be used up by now, and each session that stands open may be closed.
    """
    stand_open = session.exec(select(CastSession).where(col(CastSession.closed_at).is_(None))).all()
    last = [session.get(Checklist, cast.openings[-1].checklist_id) for cast in stand_open if cast.openings]
    holding = [*_waiting(session), *(checklist for checklist in last if checklist is not None)]
    with audit_reasons.signed(session, who="Grainbook", why=f"{CAME_BACK}."):
        for checklist in holding:
            if checklist.voided_at is None:
                checklist.voided_at, checklist.voided_why = clock.now(), CAME_BACK
    said = "Signed checklists in it open nothing any more: it does not know what they opened since."
    return [said] if holding else []


def void_expired(session: Session) -> int:
    """Void the signed checklists that opened nothing and hold no longer: no clock brings them back; tells how many."""
    count = 0
    for checklist in _waiting(session):
        until = holds_until(session, checklist)
        if until is not None and clock.now() > until:
            checklist.voided_at, checklist.voided_why = clock.now(), "It was not used while it held."
            count += 1
    session.flush()
    return count


def _waiting(session: Session) -> list[Checklist]:
    """The signed checklists that opened nothing."""
    used = select(SessionOpening.checklist_id)
    signed = select(Checklist).where(col(Checklist.completed_at).is_not(None), col(Checklist.voided_at).is_(None))
    return list(session.exec(signed.where(col(Checklist.id).not_in(used))).all())
