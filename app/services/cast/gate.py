"""The checklist gate as the program asks it: what a list opens, what an open evening takes, what a start puts right.

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
from app.models import (
    Batch,
    CastSession,
    CastStep,
    Checklist,
    ChecklistEdition,
    Incident,
    Melt,
    SessionNote,
    SessionOpening,
)
from app.models.base import Utc
from app.models.checklist import COVERS
from app.services.book import audit_reasons, moments, workshop

SLACK = timedelta(seconds=gate_rule.SLACK_S)
"""How far a clock may be put right without a word."""


@dataclass(frozen=True)
class Held:
    """How a melt of an open evening, or the evening, stands at the gate."""

    code: str | None
    """What keeps it from anything new being weighed out or heated, as a code of the rule; nothing when nothing does."""
    words: str
    """The same in words; empty when nothing does."""
    under_way: bool
    """Whether something of it was heated or poured: such work goes on, whatever the code."""

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
    """What keeps a whole list from opening an evening for a batch now, in words; nothing when it opens one."""
    listed = checklist.pk if checklist is not None else None
    asks = gate_rule.of_list("c.batch_id = :batch", ":list", ":at")
    code = _asked(session, asks, batch=batch.pk, list=listed, at=clock.now()) or _set_back()
    return _words(session, str(code), batch, checklist) if code else None


def why_not_join(session: Session, batch: Batch, cast: CastSession | None, checklist: Checklist | None) -> str | None:
    """What keeps a short list from letting a batch into an evening now, in words; nothing when it does."""
    listed, evening = (row.pk if row is not None else None for row in (checklist, cast))
    asks = gate_rule.of_joining(":batch", ":cast", ":list", ":at")
    values = {"batch": batch.pk, "cast": evening, "list": listed, "at": clock.now()}
    code = _asked(session, asks, **values) or _set_back()
    if not code:
        return None
    if code in gate_rule.DUE and cast is not None:
        return _due_again(session, str(code), cast, batch)
    return _words(session, str(code), batch, checklist, _last(cast))


def unsigned(session: Session, checklist: Checklist) -> str | None:
    """What keeps a checklist from being signed now, in words; nothing when nothing does."""
    asks = gate_rule.of_signing(":list", ":edition", ":again", ":at")
    edition = checklist.checklist_edition_id
    values = {"list": checklist.pk, "edition": edition, "again": checklist.again, "at": clock.now()}
    code = _asked(session, asks, **values)
    batch = session.get(Batch, checklist.batch_id)
    assert batch is not None
    return _words(session, str(code), batch, checklist) if code else None


def uncovered(edition: ChecklistEdition) -> list[str]:
    """What an edition has no line for that comes again before each melt, of those things that are never left out."""
    again = {line.covers for line in edition.lines if line.again}
    return [words for kind, words in COVERS.items() if kind not in again]


def held(session: Session, melt: Melt, done: datetime | None = None) -> Held:
    """How a melt of an open evening stands: whether something of it may be weighed out now, or at a time told."""
    now = clock.now()
    asks = gate_rule.of_new_work(":melt", ":now", ":done")
    code = _asked(session, asks, melt=melt.pk, now=now, done=done or now) or _set_back()
    goes_on = begun(session, melt)
    return _held(session, code, goes_on, melt.evening, _batch(session, melt), melt)


def evening(session: Session, cast: CastSession) -> Held:
    """How an open evening stands as a whole: whether anything new may be weighed out, heated or joined in it now."""
    now = clock.now()
    code = _asked(session, gate_rule.of_evening(":cast", ":now", ":done"), cast=cast.pk, now=now, done=now)
    goes_on = bool(_asked(session, gate_rule.under_way_in(":cast"), cast=cast.pk))
    return _held(session, code or _set_back(), goes_on, cast, _batch(session, cast.melts[0]) if cast.melts else None)


def _held(
    session: Session, code: object, goes_on: bool, cast: CastSession, batch: Batch | None, melt: Melt | None = None
) -> Held:
    if not code:
        return Held(None, "", goes_on)
    last = _last(cast)
    checklist = session.get(Checklist, last.checklist_id) if last is not None else None
    words = _words(session, str(code), batch, checklist, last, melt)
    if code == "voided" and checklist is not None:
        words = f"The checklist that opened this session was voided: {checklist.voided_why}."
    elif code not in gate_rule.KEEPS_OPEN and code not in ("not opened", "closed", "not joined"):
        words = f"The checklist that opened this session does not hold. {words}"
    return Held(str(code), words, goes_on)


def due(session: Session, cast: CastSession, batch: Batch, melt: Melt | None = None, at: datetime | None = None) -> str:
    """Why the whole list of an open evening is due again, before a batch joins it or a melt is heated first; or ""."""
    asks = gate_rule.of_due(":cast", ":at", ":melt")
    code = _asked(session, asks, cast=cast.pk, at=at or clock.now(), melt=melt.pk if melt is not None else None)
    return _due_again(session, str(code), cast, batch) if code else ""


def begun(session: Session, melt: Melt) -> bool:
    """Whether a melt is under way: something of it was heated or poured."""
    return bool(_asked(session, gate_rule.under_way(":melt"), melt=melt.pk))


def renewable(session: Session, melt: Melt) -> bool:
    """Whether the open evening of a melt takes a whole list once more: nothing of it is heated yet (somebody else
    may heat it, or elsewhere), it takes nothing new, or that list is due.
    """
    cast = melt.evening
    again = not begun(session, melt) or due(session, cast, _batch(session, melt), melt)
    return bool(again) or evening(session, cast).code is not None


def no_short_list(session: Session, batch: Batch, cast: CastSession, edition: ChecklistEdition) -> str:
    """Why a short list by this edition would not let a batch into an evening now; empty when it would."""
    if cast.closed_at is not None:
        return gate_rule.WORDS["evening closed"].format(lot=batch.code)
    if missing := uncovered(edition):
        return gate_rule.WORDS["uncovered"].format(missing=", ".join(missing))
    return evening(session, cast).words or due(session, cast, batch)


def _due_again(session: Session, code: str, cast: CastSession, batch: Batch) -> str:
    last = _last(cast)
    checklist = session.get(Checklist, last.checklist_id) if last is not None else None
    words = _words(session, code, batch, checklist, last)
    return f"{words} The whole list is due again: go through it for {batch.code}."


def _last(cast: CastSession | None) -> SessionOpening | None:
    return cast.openings[-1] if cast is not None and cast.openings else None


def _set_back() -> str | None:
    return "set back" if clock.set_back() > SLACK else None


def _words(
    session: Session,
    code: str,
    batch: Batch | None,
    checklist: Checklist | None,
    opening: SessionOpening | None = None,
    melt: Melt | None = None,
) -> str:
    """A code of the rule in words."""
    signed = checklist.completed_at if checklist is not None else None
    until = holds_until(session, checklist) if checklist is not None else None
    edition = session.get(ChecklistEdition, checklist.checklist_edition_id) if checklist is not None else None
    return gate_rule.WORDS[code].format(
        lot=batch.code if batch is not None else "an evening without a melt",
        why=checklist.voided_why or "" if checklist is not None else "",
        signed=moments.words(signed) if signed else "",
        until=f"{clock.local(until):%H:%M}" if until else "",
        opened=moments.words(opening.opened_at) if opening is not None else "",
        missing=", ".join(uncovered(edition)) if edition is not None else "",
        hot=_on_the_heat(session, melt),
        hours=f"{workshop.get(session).checklist_valid_s / 3600:.3g} h",
        person=checklist.person if checklist is not None else "",
        place=f", {checklist.place}" if checklist is not None and checklist.place else "",
        incident=_incident(session, opening) if code == "due incident" and opening is not None else "",
    )


def _incident(session: Session, opening: SessionOpening) -> str:
    """The last incident since the whole list of an opening was signed, in its own words where they are written."""
    asks = gate_rule.incident_since(":cast", ":at")
    row = session.get(Incident, _asked(session, asks, cast=opening.cast_session_id, at=clock.now()))
    return f" ({row.told}{f', “{row.words}”' if row.words else ''})" if row is not None else ""


def _on_the_heat(session: Session, melt: Melt | None) -> str:
    """The code of another melt of the evening that is on the heat."""
    found = _asked(session, gate_rule.other_on_the_heat(":melt"), melt=melt.pk) if melt is not None else None
    other = session.get(Melt, found) if found is not None else None
    batch = session.get(Batch, other.batch_id) if other is not None else None
    return batch.code if batch is not None else "Another melt"


def holds_until(session: Session, checklist: Checklist) -> datetime | None:
    """Until when a complete checklist opens an evening or lets a melt in: its day's end or the workshop's limit, what
    comes first; a short one no longer than the whole list it stands on.
    """
    if checklist.completed_at is None:
        return None
    limit = checklist.completed_at + timedelta(seconds=workshop.get(session).checklist_valid_s)
    own = min(limit, clock.next_midnight(checklist.completed_at).astimezone(limit.tzinfo))
    cast = session.get(CastSession, checklist.cast_session_id) if checklist.cast_session_id is not None else None
    last = _last(cast)
    whole = session.get(Checklist, last.checklist_id) if last is not None else None
    until = holds_until(session, whole) if whole is not None else None
    return own if until is None else min(own, until)


# --- New work, and work under way ------------------------------------------------------------------

ANEW = (
    "Close it and reopen it with a new checklist before anything is weighed out or heated; then tell the times of what "
    "was done meanwhile."
)
GOES_ON = (
    "What is on the heat, in the tubes or to be pulled goes on: readings, notes and every step of it are taken, the "
    "pour too. A melt that went cold is not heated again here. When all is told, close the session."
)


def _refuse(stands: Held) -> None:
    raise Refused(stands.words if stands.code == "one pan" else f"{stands.words} {ANEW}")


def weighing(session: Session, melt: Melt) -> None:
    """Refuse to weigh out in an evening whose opening does not hold now, from a restored book as well, or while another
    melt of it is on the heat.

    Raises
    ------
    Refused
        The words of the rule.
    """
    stands = held(session, melt)
    if stands.code:
        _refuse(stands)


def heating(session: Session, melt: Melt, step: CastStep, done: datetime | None = None) -> Held:
    """Refuse to begin heating where the opening does not hold, another melt is on the heat, or the whole list is due
    again; a melt under way is poured and finished.

    Raises
    ------
    Refused
        The words of the rule.
    """
    stands = held(session, melt, done)
    if stands.under_way:
        return stands
    if stands.code:
        _refuse(stands)
    if heats(step) and (again := due(session, melt.evening, _batch(session, melt), melt, done)):
        raise Refused(again)
    return stands


def says(session: Session, melt: Melt) -> str:
    """Why a melt of an open evening takes nothing new, and what may go on in it; empty when it takes everything."""
    stands = held(session, melt)
    if not stands.code or (stands.code == "one pan" and not stands.under_way):
        return stands.words
    return f"{stands.words} {GOES_ON if stands.under_way else ANEW}"


def heats(step: CastStep) -> bool:
    """Whether a step is work on the heat: something goes into the hot pan, or is poured from it."""
    return step.key.partition(":")[0] in ("melt", "remelt", "oxidiser", "pour")


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
        stands, lots = evening(session, cast), [_batch(session, melt) for melt in cast.melts]
        codes = ", ".join(batch.code for batch in lots) or "An evening without a melt"
        if stands.opened and stands.code != "ahead":
            said += [f"{_batch(session, m).code}: {held(session, m).words}" for m in cast.melts if _strange(session, m)]
            continue
        if stands.under_way:
            said.append(f"{codes} stays open to be finished, and takes nothing new. {stands.words}")
            continue
        words = (
            f"Closed when Grainbook was started: it stood open in the file without a valid checklist. {stands.words}"
        )
        session.add(SessionNote(cast_session_id=cast.pk, written_at=clock.now(), words=words))
        session.flush()  # the note is written while the session is open
        openings = [opening.opened_at + timedelta(microseconds=1) for opening in cast.openings[-1:]]
        cast.closed_at = max([clock.now(), *openings])
        for batch in lots:
            batch.state = "cast" if cast.openings else "planned"
        session.flush()
        said.append(f"{codes} was closed. {stands.words}")
    return said


def _strange(session: Session, melt: Melt) -> bool:
    """Whether a melt stands in its evening past the gate, and nothing of it is under way."""
    stands = held(session, melt)
    return not stands.opened and not stands.under_way


def _batch(session: Session, melt: Melt) -> Batch:
    batch = session.get(Batch, melt.batch_id)
    assert batch is not None
    return batch


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
    signed = select(Checklist).where(col(Checklist.completed_at).is_not(None), col(Checklist.voided_at).is_(None))
    opened, joined = select(SessionOpening.checklist_id), select(Melt.checklist_id)
    unused = (
        col(Checklist.id).not_in(opened),
        col(Checklist.id).not_in(joined.where(col(Melt.checklist_id).is_not(None))),
    )
    return list(session.exec(signed.where(*unused)).all())
