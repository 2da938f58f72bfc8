"""The cast session: the gate, closing and reopening."""

from datetime import timedelta

import pytest
from sqlmodel import Session

from app import clock
from app.errors import Refused
from app.models import Batch, CastSession
from app.models.batch import LeftoverIn, TestPiecesIn
from app.models.cast import CloseIn, NoteIn, OpenSessionIn, StepIn, TemperatureIn
from app.services.cast import casting, checklists, leftovers, pan, steps
from tests import build
from tests.moment import wall

NOON = wall("2026-11-25T12:00")
MINUTES = timedelta(minutes=1)


def opening(checklist_id: int) -> OpenSessionIn:
    return OpenSessionIn(checklist_id=checklist_id)


# --- The gate -----------------------------------------------------------------------------------


def test_opening_records_who_and_when(session: Session) -> None:
    batch = build.batch(session)
    build.stock(session, batch)
    with clock.turned_to(NOON):
        checklist = build.checklist(session, batch, "Ada")
        cast = casting.open_session(session, batch, opening(checklist.pk))
    assert cast.closed_at is None
    assert batch.state == "casting"
    (opened,) = cast.openings
    assert (opened.person, opened.opened_at, opened.checklist_id) == ("Ada", NOON, checklist.pk)


def test_no_opening_without_its_own_fresh_checklist(session: Session) -> None:
    batch, other = build.batch(session), build.batch(session)
    build.stock(session, batch)
    with pytest.raises(Refused, match="no checklist"):
        casting.open_session(session, batch, opening(77))
    begun = checklists.start(session, batch)
    with pytest.raises(Refused, match="not complete"):
        casting.open_session(session, batch, opening(begun.pk))
    foreign = build.checklist(session, other)
    with pytest.raises(Refused, match="another batch"):
        casting.open_session(session, batch, opening(foreign.pk))
    assert casting.find(session, batch) is None


def test_the_session_is_opened_once(session: Session) -> None:
    batch = build.batch(session)
    cast = build.opened_session(session, batch)
    with pytest.raises(Refused, match="open already"):
        casting.open_session(session, batch, opening(cast.openings[0].checklist_id))
    assert len(cast.openings) == 1


def test_a_batch_without_supplies_is_not_opened(session: Session) -> None:
    batch = build.batch(session)
    checklist = build.checklist(session, batch)
    with pytest.raises(Refused, match=r"lacks .* of potassium nitrate, .* of sorbitol, .* of sucrose"):
        casting.open_session(session, batch, opening(checklist.pk))
    build.stock(session, batch)
    assert casting.open_session(session, batch, opening(checklist.pk)).closed_at is None


def test_reopening_needs_a_new_checklist(session: Session) -> None:
    batch = build.batch(session)
    with clock.turned_to(NOON) as turn:
        cast = build.opened_session(session, batch)
        used = cast.openings[0].checklist_id
        leftovers.tell_test_pieces(session, batch, TestPiecesIn.model_validate({"test_pieces": "0 g"}))
        casting.close(session, batch, CloseIn(why="Nothing was poured."))
        assert batch.state == "cast"
        turn(NOON + MINUTES)
        with pytest.raises(Refused, match="opened a session already"):
            casting.open_session(session, batch, opening(used))
        again = build.opened_session(session, batch)
    assert again.id == cast.id
    assert again.closed_at is None
    assert batch.state == "casting"
    assert len(again.openings) == 2


def test_a_clock_set_back_is_told(session: Session) -> None:
    batch = build.batch(session)
    with clock.turned_to(NOON) as turn:
        build.opened_session(session, batch)
        close(session, batch)
        turn(NOON - 60 * MINUTES)
        checklist = build.checklist(session, batch)
        with pytest.raises(Refused, match="clock reads earlier"):
            casting.open_session(session, batch, opening(checklist.pk))


# --- Closing ------------------------------------------------------------------------------------


def close(session: Session, batch: Batch) -> CastSession:
    leftovers.tell_test_pieces(session, batch, TestPiecesIn.model_validate({"test_pieces": "0 g"}))
    return casting.close(session, batch, CloseIn(why="Melt went grainy."))


def test_nothing_is_written_into_a_closed_session(session: Session) -> None:
    batch = build.weighed_batch(session)
    cast = close(session, batch)
    reading = TemperatureIn.model_validate({"temperature": "118 C"})
    for act in (
        lambda: pan.record_temperature(session, batch, reading),
        lambda: casting.write_note(session, batch, NoteIn(words="Later.")),
        lambda: steps.record(session, cast.melts[0], cast.melts[0].steps[0].pk, StepIn(act="undo")),
        lambda: leftovers.keep(session, batch, LeftoverIn.model_validate({"mark": "L", "mass": "1 g"})),
        lambda: casting.close(session, batch, CloseIn()),
    ):
        with pytest.raises(Refused, match="closed"):
            act()


def test_closing_asks_for_test_pieces_and_open_steps(session: Session) -> None:
    batch = build.weighed_batch(session)
    with pytest.raises(Refused, match="test pieces"):
        casting.close(session, batch, CloseIn(why="Enough."))
    leftovers.tell_test_pieces(session, batch, TestPiecesIn.model_validate({"test_pieces": "0 g"}))
    with pytest.raises(Refused, match="13 steps are still open") as caught:
        casting.close(session, batch, CloseIn())
    assert caught.value.field == "why"
    cast = casting.close(session, batch, CloseIn(why="Melt went grainy."))
    assert {step.skipped_why for step in cast.melts[0].steps} == {"Melt went grainy."}
    assert batch.state == "cast"


def test_closing_after_every_step_needs_no_reason(session: Session) -> None:
    batch = build.cast(session, until="bag")
    leftovers.tell_test_pieces(session, batch, TestPiecesIn.model_validate({"test_pieces": "9.5 g"}))
    assert casting.close(session, batch, CloseIn()).closed_at is not None
    assert batch.test_pieces_typed == "9.5 g"
