"""The checklist before hot work: answered by the person, signed, good for one opening within hours."""

from dataclasses import dataclass

from sqlmodel import Session, col, select

from app import clock
from app.book.gate_rule import WORDS
from app.errors import NotFound, Refused
from app.models import Batch, CastSession, Checklist, ChecklistAnswer, ChecklistEdition, ChecklistItem, SessionOpening
from app.models.checklist import AnswerIn, EditionIn, SignIn
from app.services.book import repository
from app.services.cast import editions, gate
from app.services.cast.cautions import FIRST_CHECKLIST


@dataclass(frozen=True)
class Line:
    """One line of a checklist and its answer, if it has one."""

    item: ChecklistItem
    answer: ChecklistAnswer | None


def first(session: Session) -> ChecklistEdition:
    """Give a new book its first list."""
    lines = [{"heading": heading, "words": words} for heading, group in FIRST_CHECKLIST.items() for words in group]
    return editions.make(session, ChecklistEdition, "As the book came.", lines)


def new_edition(session: Session, data: EditionIn, seen: int | None = None) -> ChecklistEdition:
    """Make a new edition of the list; `seen` is the number of the one that the person started from.

    Raises
    ------
    Conflict
        Another edition was made since.
    Refused
        Nothing differs from the newest edition, or a line is there twice.
    """
    editions.claim(session, ChecklistEdition, seen, "list")
    lines = [line.model_dump() for line in data.items]
    for line in lines:
        if lines.count(line) > 1:
            raise Refused(f"“{line['words']}” stands in the list twice; take one of them out.", field="items")
    return editions.make(session, ChecklistEdition, data.note, lines)


def edition_of(session: Session, checklist: Checklist) -> ChecklistEdition:
    """The version of the list that a checklist was made from."""
    return repository.get(session, ChecklistEdition, checklist.checklist_edition_id, "checklist version")


def lines(session: Session, checklist: Checklist) -> list[Line]:
    """The lines of a checklist in order, with their answers."""
    answers = {answer.checklist_item_id: answer for answer in checklist.answers}
    return [Line(item, answers.get(item.pk)) for item in edition_of(session, checklist).lines]


def current(session: Session, batch: Batch) -> Checklist | None:
    """The checklist of a batch that is being answered or waits to open a session; used and voided ones are past."""
    used = select(SessionOpening.checklist_id)
    return session.exec(
        select(Checklist)
        .where(Checklist.batch_id == batch.pk, col(Checklist.voided_at).is_(None), col(Checklist.id).not_in(used))
        .order_by(col(Checklist.id).desc())
    ).first()


def of_batch(session: Session, batch: Batch, checklist_id: int) -> Checklist:
    """The checklist of that identity, if it was made for this batch.

    Raises
    ------
    NotFound
        There is none for this batch.
    """
    checklist = repository.get(session, Checklist, checklist_id, "checklist")
    if checklist.batch_id != batch.pk:
        raise NotFound(f"There is no such checklist for {batch.code}.")
    return checklist


def history(session: Session, batch: Batch) -> list[Checklist]:
    """All checklists of a batch, oldest first."""
    return list(session.exec(select(Checklist).where(Checklist.batch_id == batch.pk).order_by(col(Checklist.id))))


def start(session: Session, batch: Batch) -> Checklist:
    """Begin the newest version of the list for a batch.

    Raises
    ------
    Refused
        The batch cannot be cast now, or a checklist for it is there already.
    """
    _castable(session, batch)
    if current(session, batch) is not None:
        raise Refused(f"A checklist for {batch.code} is there already. Go on with it, or start it anew.")
    checklist = Checklist(batch_id=batch.pk, checklist_edition_id=editions.now_used(session, ChecklistEdition).pk)
    session.add(checklist)
    session.flush()
    return checklist


def start_anew(session: Session, batch: Batch, why: str) -> Checklist:
    """Void the checklist at hand, with the reason, and begin another.

    Raises
    ------
    Refused
        The batch cannot be cast now.
    """
    void_unused(session, batch, why)
    return start(session, batch)


def void_unused(session: Session, batch: Batch, why: str) -> int:
    """Void the checklists of a batch that opened no session yet; tells how many."""
    count = 0
    while (checklist := current(session, batch)) is not None:
        checklist.voided_at, checklist.voided_why = clock.now(), why
        count += 1
        session.flush()
    return count


def answer(session: Session, checklist: Checklist, item_id: int, data: AnswerIn) -> None:
    """Answer one line: done, not applicable with a reason, or open again.

    Raises
    ------
    Refused
        The checklist is complete or voided, the line is of another list, or the reason is missing.
    """
    _changeable(checklist)
    item = repository.get(session, ChecklistItem, item_id, "line")
    if item.checklist_edition_id != checklist.checklist_edition_id:
        raise Refused("That line belongs to another version of the list. Open the checklist again.")
    if data.answer == "na" and len(data.reason) < 3:
        raise Refused("Say in a few words why it does not apply.", field="reason")
    known = next((a for a in checklist.answers if a.checklist_item_id == item.pk), None)
    if data.answer == "open":
        if known is not None:
            checklist.answers.remove(known)
            session.delete(known)
    else:
        row = known or ChecklistAnswer(
            checklist_id=checklist.pk, checklist_item_id=item.pk, answer="done", answered_at=clock.now()
        )
        row.answer, row.answered_at = data.answer, clock.now()
        row.reason = data.reason if data.answer == "na" else ""
        session.add(row)
    session.flush()
    session.refresh(checklist)


def sign(session: Session, checklist: Checklist, data: SignIn) -> None:
    """Complete a checklist with the person's name and the time; from here on it is frozen.

    Raises
    ------
    Refused
        It is complete or voided, a line has no answer of today, or the list has a newer version.
    """
    _changeable(checklist)
    fault = gate.unsigned(session, checklist)
    if fault == "open":
        left = sum(line.answer is None for line in lines(session, checklist))
        raise Refused(f"{left} {'lines have' if left > 1 else 'line has'} no answer yet.")
    if fault is not None:
        raise Refused(WORDS[fault])
    checklist.person, checklist.completed_at = data.person, clock.now()
    session.flush()


def _changeable(checklist: Checklist) -> None:
    if checklist.voided_at is not None:
        raise Refused(f"This checklist was voided ({checklist.voided_why}). Go on with the new one.")
    if checklist.completed_at is not None:
        raise Refused("This checklist is signed and stays as it is. To change an answer, start anew.")


def _castable(session: Session, batch: Batch) -> None:
    if batch.state == "dropped":
        raise Refused(f"Batch {batch.code} was dropped. Plan a new one.")
    cast = session.exec(select(CastSession).where(CastSession.batch_id == batch.pk)).first()
    if cast is not None and cast.closed_at is None:
        raise Refused(f"The cast session of {batch.code} is open; it needs no further checklist.")
