"""The checklist: every line, a reason where it does not apply, a name, and a time it holds."""

from collections import Counter
from datetime import datetime, timedelta

import pytest
from sqlmodel import Session

from app import clock
from app.errors import Conflict, NotFound, Refused
from app.models import Batch, Checklist, ChecklistEdition
from app.models.checklist import COVERS, AnswerIn, EditionIn, SignIn
from app.services.book import workshop
from app.services.cast import checklists, editions, gate, planning
from tests import build
from tests.moment import wall

NOON = wall("2026-11-25T12:00")
DONE = AnswerIn(answer="done")


@pytest.fixture
def batch(session: Session) -> Batch:
    return build.batch(session)


def test_every_line_is_answered_and_signed(session: Session, batch: Batch) -> None:
    with clock.turned_to(NOON) as turn:
        checklist = checklists.start(session, batch)
        lines = checklists.lines(session, checklist)
        assert len(lines) == len(editions.now_used(session, ChecklistEdition).lines)
        for line in lines[:-1]:
            checklists.answer(session, checklist, line.item.pk, build.done(line.item))
        with pytest.raises(Refused, match="1 line has no answer"):
            checklists.sign(session, checklist, SignIn(person="Ada", place="Shed"))
        turn(NOON + timedelta(minutes=5))
        checklists.answer(session, checklist, lines[-1].item.pk, AnswerIn(answer="na", reason="No tubes today."))
        checklists.sign(session, checklist, SignIn(person="Ada", place="Shed"))
    assert (checklist.person, checklist.completed_at) == ("Ada", NOON + timedelta(minutes=5))
    answers = {line.item.pk: line.answer for line in checklists.lines(session, checklist)}
    assert {a.answered_at for a in answers.values() if a} == {NOON, NOON + timedelta(minutes=5)}


def test_the_first_list_has_what_prevents_the_worst_harm_first(session: Session, batch: Batch) -> None:
    """Critical items first, about nine lines a screen (Degani & Wiener 1993; NASA CR-177549)."""
    lines = [line.item for line in checklists.lines(session, checklists.start(session, batch))]
    assert [line.covers for line in lines[:7]] == ["water", "water", "clothes", "alone", "fit", "away", "one pan"]
    assert all(line.again == bool(line.covers) == (i < 7) for i, line in enumerate(lines))
    assert max(Counter(line.heading for line in lines).values()) <= 9


@pytest.mark.parametrize("reason", ["", "  ", "no"])
def test_not_applicable_needs_a_reason(session: Session, batch: Batch, reason: str) -> None:
    checklist = checklists.start(session, batch)
    item = checklists.lines(session, checklist)[0].item
    with pytest.raises(Refused, match="why it does not apply") as caught:
        checklists.answer(session, checklist, item.pk, AnswerIn(answer="na", reason=reason))
    assert caught.value.field == "reason"


def test_an_answer_can_be_taken_back_until_signed(session: Session, batch: Batch) -> None:
    checklist = checklists.start(session, batch)
    item = checklists.lines(session, checklist)[0].item
    checklists.answer(session, checklist, item.pk, build.done(item))
    checklists.answer(session, checklist, item.pk, build.done(item))  # twice is once
    assert sum(line.answer is not None for line in checklists.lines(session, checklist)) == 1
    checklists.answer(session, checklist, item.pk, AnswerIn(answer="open"))
    assert checklists.lines(session, checklist)[0].answer is None


def test_a_signed_checklist_stays(session: Session, batch: Batch) -> None:
    checklist = build.checklist(session, batch)
    item = checklists.lines(session, checklist)[0].item
    with pytest.raises(Refused, match="stays as it is"):
        checklists.answer(session, checklist, item.pk, AnswerIn(answer="open"))
    with pytest.raises(Refused, match="stays as it is"):
        checklists.sign(session, checklist, SignIn(person="Eve", place="Shed"))


def test_only_one_at_a_time(session: Session, batch: Batch) -> None:
    first = checklists.start(session, batch)
    with pytest.raises(Refused, match="there already"):
        checklists.start(session, batch)
    second = checklists.start_anew(session, batch, "Somebody came in.")
    assert (first.voided_why, checklists.current(session, batch)) == ("Somebody came in.", second)
    with pytest.raises(Refused, match="voided"):
        checklists.answer(session, first, checklists.lines(session, first)[0].item.pk, DONE)


def test_a_line_of_another_version(session: Session, batch: Batch) -> None:
    checklist = checklists.start(session, batch)
    edition = checklists.new_edition(session, build.edition_in(("Place", "Swept.")))
    with pytest.raises(Refused, match="another version"):
        checklists.answer(session, checklist, edition.lines[0].pk, DONE)
    for line in checklists.lines(session, checklist):
        checklists.answer(session, checklist, line.item.pk, build.done(line.item))
    with pytest.raises(Refused, match="newer version"):
        checklists.sign(session, checklist, SignIn(person="Ada", place="Shed"))


def test_no_checklist_for_a_dropped_batch_or_an_open_session(session: Session, batch: Batch) -> None:
    build.cast(session, batch=batch)
    with pytest.raises(Refused, match="needs no further checklist"):
        checklists.start(session, batch)
    other = build.batch(session)
    planning.drop(session, other, "No time.")
    with pytest.raises(Refused, match="was dropped"):
        checklists.start(session, other)


def test_of_another_batch(session: Session, batch: Batch) -> None:
    checklist = build.checklist(session, batch)
    other = build.batch(session)
    with pytest.raises(NotFound):
        checklists.of_batch(session, other, checklist.pk)
    assert "another batch" in (gate.why_not(session, other, checklist) or "")


def local(hour: int, minute: int = 0, day: int = 25) -> datetime:
    """An hour of the bench's own clock."""
    return datetime(2026, 11, day, hour, minute).astimezone()


def signed_at(session: Session, batch: Batch, moment: datetime) -> Checklist:
    with clock.turned_to(moment):
        return build.checklist(session, batch)


@pytest.mark.parametrize(
    ("signed", "holds"),
    [(local(9), local(13)), (local(22), local(0, day=26))],
    ids=["four hours", "midnight comes first"],
)
def test_how_long_it_holds(session: Session, batch: Batch, signed: datetime, holds: datetime) -> None:
    checklist = signed_at(session, batch, signed)
    assert gate.holds_until(session, checklist) == holds
    for moment, opens in ((holds - timedelta(seconds=1), True), (holds + timedelta(seconds=1), False)):
        with clock.turned_to(moment):
            assert (gate.why_not(session, batch, checklist) is None) is opens


def test_the_workshops_own_limit_counts(session: Session, batch: Batch) -> None:
    workshop.get(session).checklist_valid_s = 1800
    checklist = signed_at(session, batch, local(9))
    with clock.turned_to(local(9, 31)):
        assert "held until 09:30" in (gate.why_not(session, batch, checklist) or "")


def test_every_reason_not_to_open(session: Session, batch: Batch) -> None:
    assert "no checklist" in (gate.why_not(session, batch, None) or "")
    begun = checklists.start(session, batch)
    assert "not complete" in (gate.why_not(session, batch, begun) or "")
    checklists.void_unused(session, batch, "Rain came in.")
    assert "Rain came in." in (gate.why_not(session, batch, begun) or "")
    yesterday = signed_at(session, batch, local(23, day=24))
    with clock.turned_to(local(0, 30)):
        assert "another day" in (gate.why_not(session, batch, yesterday) or "")


# --- Editions of the list -------------------------------------------------------------------------


def test_a_new_edition_leaves_the_old_ones_as_they_are(session: Session) -> None:
    first = editions.now_used(session, ChecklistEdition)
    words = [item.words for item in first.lines]
    second = checklists.new_edition(
        session, build.edition_in(("Place", "Outdoors."), ("Fire", "Water at hand."), note="shorter")
    )
    assert (second.edition, second.note) == (2, "shorter")
    assert [(item.position, item.words) for item in second.lines][:2] == [(1, "Outdoors."), (2, "Water at hand.")]
    assert editions.now_used(session, ChecklistEdition) is second
    assert [item.words for item in editions.all_of(session, ChecklistEdition)[1].lines] == words


def test_an_edition_that_changes_nothing_or_repeats_a_line_is_refused(session: Session) -> None:
    now = editions.now_used(session, ChecklistEdition).lines
    same = {"items": [line.model_dump(include={"heading", "words", "covers", "again"}) for line in now]}
    with pytest.raises(Refused, match="Nothing differs from edition 1"):
        checklists.new_edition(session, EditionIn.model_validate(same))
    with pytest.raises(Refused, match="twice"):
        checklists.new_edition(session, build.edition_in(("Fire", "Water."), ("Fire", "Water.")))


def test_an_edition_made_from_an_older_one_is_a_conflict(session: Session) -> None:
    checklists.new_edition(session, build.edition_in(("Fire", "Water.")), seen=1)
    with pytest.raises(Conflict, match="Edition 2"):
        checklists.new_edition(session, build.edition_in(("Fire", "Sand.")), seen=1)


@pytest.mark.promise(
    "What is looked at before every melt cannot be taken out of the list, nor unmarked", figure="6 things"
)
@pytest.mark.parametrize("kind", COVERS)
def test_what_is_looked_at_before_every_melt_stays_in_the_list_and_marked(session: Session, kind: str) -> None:
    data = build.edition_in(("Place", "Outdoors."))
    line = next(line for line in data.items if line.covers == kind)
    line.again = False
    with pytest.raises(Refused, match=f"covers {COVERS[kind]}, .* leave it marked") as caught:
        checklists.new_edition(session, data)
    assert caught.value.field == f"items.{data.items.index(line)}.again"
    line.covers = ""
    with pytest.raises(Refused, match=f"No line covers: {COVERS[kind]}\\.") as caught:
        checklists.new_edition(session, data)
    assert caught.value.field == "items"


def test_lines_are_proposed_for_what_is_missing(session: Session) -> None:
    lines = checklists.proposed({"water", "clothes", "fit", "alone"})
    assert [line["covers"] for line in lines] == ["away", "one pan"]
    everything = {line["covers"] for line in checklists.proposed(())}
    assert everything == set(COVERS)
    own = {"items": [*checklists.proposed(()), {"heading": "Place", "words": "Outdoors."}]}
    made = checklists.new_edition(session, EditionIn.model_validate(own))
    assert gate.uncovered(made) == []


def test_a_blank_drawn_longer_is_one_blank(session: Session) -> None:
    made = checklists.new_edition(session, build.edition_in(("Fire", "Sand _____ kg")))
    assert made.lines[0].words == "Sand __ kg"
