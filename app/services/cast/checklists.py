"""The checklist before hot work: answered by the person, signed, good for one opening within hours."""

from collections.abc import Container
from dataclasses import dataclass

from sqlmodel import Session, col, select

from app import clock
from app.book.gate_rule import WORDS
from app.errors import NotFound, Refused
from app.models import (
    Batch,
    CastSession,
    Checklist,
    ChecklistAnswer,
    ChecklistEdition,
    ChecklistItem,
    Melt,
    SessionOpening,
)
from app.models.checklist import COVERS, AnswerIn, EditionIn, SignIn
from app.services.book import people, repository, workshop
from app.services.cast import blanks, editions, gate
from app.services.cast.blanks import Piece
from app.services.cast.cautions import FIRST_CHECKLIST
from app.units import UnitSystem


@dataclass(frozen=True)
class Line:
    """One line of a checklist and its answer, if it has one."""

    item: ChecklistItem
    answer: ChecklistAnswer | None

    def pieces(self, system: UnitSystem) -> list[Piece]:
        """Its words, with what was said in its blanks."""
        return blanks.pieces(self.item.words, system, self.answer.numbers if self.answer else None)


def first(session: Session) -> ChecklistEdition:
    """Give a new book its first list."""
    lines = [{"heading": heading, **line._asdict()} for heading, group in FIRST_CHECKLIST.items() for line in group]
    return editions.make(session, ChecklistEdition, "As the book came.", lines)


def new_edition(session: Session, data: EditionIn, seen: int | None = None) -> ChecklistEdition:
    """Make a new edition of the list; `seen` is the number of the one that the person started from.

    Raises
    ------
    Conflict
        Another edition was made since.
    Refused
        Nothing differs from the newest edition, a line is there twice, or something that is never left out before a
        melt has no line that is marked so.
    """
    editions.claim(session, ChecklistEdition, seen, "list")
    lines = [line.model_dump() for line in data.items]
    for number, line in enumerate(lines):
        if line["covers"] and not line["again"]:
            raise Refused(
                f"This line covers {COVERS[line['covers']]}, which is looked at before every melt: leave it marked.",
                field=f"items.{number}.again",
            )
    if missing := [words for kind, words in COVERS.items() if kind not in {line["covers"] for line in lines}]:
        raise Refused(
            f"No line covers: {'; '.join(missing)}. These come again before every melt. Say which line of yours covers "
            "each, or add the missing lines by the button below.",
            field="items",
        )
    for line in lines:
        if lines.count(line) > 1:
            raise Refused(f"“{line['words']}” stands in the list twice; take one of them out.", field="items")
    return editions.make(session, ChecklistEdition, data.note, lines)


def proposed(covered: Container[str]) -> list[dict[str, str]]:
    """Lines for what is never left out and is not covered, as texts of the form: in the words that a new book has."""
    return [
        {"heading": heading, "words": line.words, "again": "on", "covers": line.covers}
        for heading, group in FIRST_CHECKLIST.items()
        for line in group
        if line.covers and line.covers not in covered
    ]


def edition_of(session: Session, checklist: Checklist) -> ChecklistEdition:
    """The version of the list that a checklist was made from."""
    return repository.get(session, ChecklistEdition, checklist.checklist_edition_id, "checklist version")


def lines(session: Session, checklist: Checklist) -> list[Line]:
    """The lines of a checklist in order, with their answers; of a short one those that come again before each melt."""
    answers = {answer.checklist_item_id: answer for answer in checklist.answers}
    asked = [item for item in edition_of(session, checklist).lines if item.again or not checklist.again]
    headings = list(dict.fromkeys(item.heading for item in asked))  # lines of one heading stand together
    asked.sort(key=lambda item: headings.index(item.heading))
    return [Line(item, answers.get(item.pk)) for item in asked]


def current(session: Session, batch: Batch) -> Checklist | None:
    """The checklist of a batch, whole or short, that is being answered or waits to be used; used and voided ones are
    past.
    """
    opened, joined = select(SessionOpening.checklist_id), select(Melt.checklist_id)
    unused = (
        col(Checklist.id).not_in(opened),
        col(Checklist.id).not_in(joined.where(col(Melt.checklist_id).is_not(None))),
    )
    return session.exec(
        select(Checklist)
        .where(Checklist.batch_id == batch.pk, col(Checklist.voided_at).is_(None), *unused)
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


def start(session: Session, batch: Batch, evening: CastSession | None = None) -> Checklist:
    """Begin the newest version of the list for a batch: the whole list, or with an open evening the short one by which
    the batch joins it.

    Raises
    ------
    Refused
        The batch cannot be cast now, a checklist for it is there already, or the short list is not enough: it has no
        line for something that is never left out, or the whole list is due again.
    """
    _castable(session, batch)
    if current(session, batch) is not None:
        raise Refused(f"A checklist for {batch.code} is there already. Go on with it, or start it anew.")
    edition = editions.now_used(session, ChecklistEdition)
    if evening is not None and (fault := gate.no_short_list(session, batch, evening, edition)):
        raise Refused(fault)
    key = evening.pk if evening is not None else None
    checklist = Checklist(
        batch_id=batch.pk, checklist_edition_id=edition.pk, again=evening is not None, cast_session_id=key
    )
    session.add(checklist)
    session.flush()
    return checklist


def start_anew(session: Session, batch: Batch, why: str, evening: CastSession | None = None) -> Checklist:
    """Void the checklist at hand, with the reason, and begin another, whole or short, as `start`.

    Raises
    ------
    Refused
        The batch cannot be cast now.
    """
    void_unused(session, batch, why)
    return start(session, batch, evening)


def void_unused(session: Session, batch: Batch, why: str) -> int:
    """Void the checklists of a batch that opened no session yet; tells how many."""
    count = 0
    while (checklist := current(session, batch)) is not None:
        checklist.voided_at, checklist.voided_why = clock.now(), why
        count += 1
        session.flush()
    return count


def answer(session: Session, checklist: Checklist, item_id: int, data: AnswerIn) -> None:
    """Answer one line: done, with a number for each of its blanks; not applicable with a reason; or open again.

    Raises
    ------
    Refused
        The checklist is complete or voided, the line is of another list, or a number or the reason is missing.
    """
    _changeable(checklist)
    item = repository.get(session, ChecklistItem, item_id, "line")
    if item.checklist_edition_id != checklist.checklist_edition_id:
        raise Refused("That line belongs to another version of the list. Open the checklist again.")
    if data.answer == "na" and len(data.reason) < 3:
        raise Refused("Say in a few words why it does not apply.", field="reason")
    said = blanks.said_in(item.words, data) if data.answer == "done" else []
    missing = [blank for blank in blanks.of_line(item.words) if getattr(data, blank.name, None) is None]
    if data.answer == "done" and missing:
        raise Refused("Look, and type the number that you see.", field=missing[0].name)
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
        row.numbers = said
        if known is None:
            checklist.answers.append(row)
    session.flush()


def said_before(session: Session, checklist: Checklist, item: ChecklistItem, most: int = 3) -> list[ChecklistAnswer]:
    """The last answers with numbers to a line of these words in other signed checklists, newest first."""
    wanted = (
        select(ChecklistAnswer)
        .join(ChecklistItem, col(ChecklistItem.id) == ChecklistAnswer.checklist_item_id)
        .join(Checklist, col(Checklist.id) == ChecklistAnswer.checklist_id)
        .where(
            ChecklistItem.words == item.words,
            ChecklistAnswer.numbers_json != "[]",
            Checklist.id != checklist.id,
            col(Checklist.completed_at).is_not(None),
        )
        .order_by(col(ChecklistAnswer.answered_at).desc())
    )
    return list(session.exec(wanted.limit(most)))


def form_of(session: Session, item_id: int) -> type[AnswerIn]:
    """The form that answers a line, with a field for each of its blanks; of a line that is gone, the plain one."""
    item = session.get(ChecklistItem, item_id)
    return blanks.form_of(item.words, workshop.get(session).units) if item else AnswerIn


def who_may_sign(session: Session, at_bench: str) -> list[str]:
    """The names to choose from: who is at the bench first, then who works here."""
    return list(dict.fromkeys(name for name in (at_bench, *people.names(session)) if name))


def unsigned(session: Session, checklist: Checklist) -> str:
    """What keeps a checklist from being signed now, in words; empty when nothing does."""
    fault = gate.unsigned(session, checklist)
    if fault == WORDS["open"]:
        left = sum(line.answer is None for line in lines(session, checklist))
        return f"{left} {'lines have' if left > 1 else 'line has'} no answer yet."
    return fault or ""


def sign(session: Session, checklist: Checklist, data: SignIn) -> None:
    """Complete a checklist with the person's name and the time; from here on it is frozen.

    Raises
    ------
    Refused
        It is complete or voided, a line has no answer of today, the list has a newer version, nobody or no place is
        named, or a short list is signed by another person or for another place than the evening's whole one.
    """
    _changeable(checklist)
    person, place = _one(data.chosen, data.person, "person"), data.spot()
    if not person:
        raise Refused("Say who signs: press the button with your name, or type it.", field="person")
    if not place:
        raise Refused("Say where you work, such as the shed or the yard: the list holds for that place.", field="place")
    if fault := unsigned(session, checklist):
        raise Refused(fault)
    checklist.person, checklist.place, checklist.completed_at = person, place, clock.now()
    session.flush()


def _one(chosen: str, typed: str, field: str) -> str:
    """What was chosen or typed, of which only one is told."""
    if chosen and typed and chosen != typed:
        raise Refused(
            f"“{typed}” stands here, and {chosen} was chosen as well. Empty the field, or leave it.", field=field
        )
    return chosen or typed


def whole_of(session: Session, checklist: Checklist) -> Checklist | None:
    """The whole list that the evening of a short one stands on."""
    evening = session.get(CastSession, checklist.cast_session_id) if checklist.cast_session_id is not None else None
    return session.get(Checklist, evening.openings[-1].checklist_id) if evening and evening.openings else None


def same_hands(session: Session, checklist: Checklist, data: SignIn) -> None:
    """Refuse before it is signed that a short list is signed by somebody else, or for another place.

    Raises
    ------
    Refused
        That takes the whole list; the gate would say so afterwards.
    """
    whole = whole_of(session, checklist)
    if whole is None:
        return
    told = {"person": data.signature(), "place": data.spot()}
    for field, was in (("person", whole.person), ("place", whole.place)):
        if told[field] and was != told[field]:
            signed = f"{'by' if field == 'person' else 'for'} {was or 'no place'}"
            raise Refused(
                f"The whole list of this evening was signed {signed}. With another {field} the whole list is due: begin"
                " it below.",
                field=field,
            )


def places(session: Session) -> list[str]:
    """Where lists were signed for so far, the last place first."""
    signed = select(Checklist.place).where(Checklist.place != "", col(Checklist.completed_at).is_not(None))
    return list(dict.fromkeys(session.exec(signed.order_by(col(Checklist.id).desc()))))


def _changeable(checklist: Checklist) -> None:
    if checklist.voided_at is not None:
        raise Refused(f"This checklist was voided ({checklist.voided_why}). Go on with the new one.")
    if checklist.completed_at is not None:
        raise Refused("This checklist is signed and stays as it is. To change an answer, start anew.")


def _castable(session: Session, batch: Batch) -> None:
    if batch.state == "dropped":
        raise Refused(f"Batch {batch.code} was dropped. Plan a new one.")
    melt = session.exec(select(Melt).where(Melt.batch_id == batch.pk)).first()
    if melt is not None and melt.evening.closed_at is None and not gate.renewable(session, melt):
        raise Refused(f"The cast session of {batch.code} is open; it needs no further checklist.")
