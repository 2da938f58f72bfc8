"""A further melt joins an open evening by a short list, one pan is hot at a time, and the evening closes once."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col, select

from app import clock
from app.errors import Refused
from app.models import Batch, CastSession, Checklist, Incident, Melt
from app.models.batch import AirIn, TestPiecesIn, WeighOutIn
from app.models.cast import CloseIn, OpenSessionIn, StepIn, TemperatureIn
from app.models.checklist import SignIn
from app.services.cast import air, casting, checklists, evenings, gate, leftovers, pan, steps, weigh_outs
from app.services.stock import supplies
from tests import build
from tests.moment import wall

NOON = wall("2026-11-25T12:00")
Turn = Callable[[datetime], None]


@pytest.fixture(autouse=True)
def turn() -> Iterator[Turn]:
    with clock.turned_to(NOON) as turn:
        yield turn


@pytest.fixture
def first(session: Session) -> Batch:
    """The evening's first melt, weighed out."""
    lot = build.batch(session, 2)
    build.opened_session(session, lot)
    build.weighed_out(session, lot)
    return lot


@pytest.fixture
def second(session: Session, first: Batch) -> Batch:
    """A batch planned beside it, with what it needs on the shelf."""
    lot = build.batch(session, 2)
    build.stock(session, lot)
    return lot


def evening(session: Session, lot: Batch) -> CastSession:
    found = casting.find(session, lot)
    assert found is not None
    return found


def do(session: Session, lot: Batch, until: str) -> None:
    """Tick the steps of a melt that are open, up to one."""
    melt = casting.the_open(session, lot)
    for step in melt.steps:
        if step.done_at is None and step.skipped_why is None:
            steps.record(session, melt, step.pk, StepIn(act="done"), "Ada")
        if step.key == until:
            return


def weigh(session: Session, lot: Batch) -> None:
    part = lot.parts[0]
    bag = supplies.bags(session, str(part.ingredient))[0].pk
    data = WeighOutIn.model_validate({"supply_id": bag, "mass": f"{part.target_kg * 1000:.9g} g"})
    weigh_outs.weigh_out(session, lot, part.pk, data)


def read(session: Session, lot: Batch, typed: str) -> None:
    pan.record_temperature(session, lot, TemperatureIn.model_validate({"temperature": typed}))


def join(session: Session, lot: Batch, checklist: Checklist) -> Melt:
    return evenings.join(session, lot, OpenSessionIn(checklist_id=checklist.pk))


def insert(session: Session, lot: Batch, cast: CastSession, checklist: int | None, at: datetime) -> None:
    """A melt put into an evening by another program."""
    session.flush()
    session.connection().execute(
        text(
            "INSERT INTO melt (created_at, version, cast_session_id, batch_id, number, checklist_id)"
            " VALUES (:at, 1, :cast, :lot, 9, :list)"
        ),
        {"at": stamp(at), "cast": cast.pk, "lot": lot.pk, "list": checklist},
    )


def stamp(moment: datetime) -> str:
    return moment.astimezone(UTC).replace(tzinfo=None).isoformat(sep=" ", timespec="microseconds")


def shut(session: Session, lot: Batch, checklist: Checklist, words: str) -> None:
    """Neither the service nor the file lets a batch in by a list; the service says why."""
    with pytest.raises(Refused, match=words):
        join(session, lot, checklist)
    assert casting.melt(session, lot) is None
    with pytest.raises(IntegrityError, match="joins an open evening by its short list"):
        insert(session, lot, evening_now(session), checklist.pk, clock.now())


def evening_now(session: Session) -> CastSession:
    found = session.exec(select(CastSession).order_by(col(CastSession.id).desc())).first()
    assert found is not None
    return found


# --- Joining -------------------------------------------------------------------------------------


def test_a_further_melt_joins_by_the_lines_that_come_again(session: Session, first: Batch, second: Batch) -> None:
    cast = evening(session, first)
    entry = evenings.entry(session, second)
    assert (entry.evening, entry.short, entry.why) == (cast, True, "")
    short = build.checklist(session, second, evening=cast)
    lines = checklists.lines(session, short)
    assert 7 <= len(lines) < 18
    assert {line.item.covers for line in lines} >= {"water", "clothes", "fit", "alone", "away", "one pan"}
    melt = join(session, second, short)
    assert (melt.number, melt.evening, second.state) == (2, cast, "casting")
    assert [run.batch for run in sorted(casting.due(session), key=lambda r: r.melt.number)] == [first, second]
    assert len(cast.openings) == 1
    weigh(session, second)


def test_a_whole_list_lets_a_melt_in_as_a_new_opening(session: Session, first: Batch, second: Batch) -> None:
    build.opened_session(session, second)
    cast = evening(session, first)
    assert evening(session, second) is cast
    assert [len(cast.melts), len(cast.openings)] == [2, 2]
    weigh(session, second)


def test_the_air_told_once_holds_for_all_melts(session: Session, first: Batch, second: Batch) -> None:
    air.record_humidity(session, first, AirIn.model_validate({"air_temperature": "18 C", "humidity": "55 %"}))
    build.joined(session, second, evening(session, first))
    assert air.words(second) == air.words(first) != ""


# --- What keeps a short list out -----------------------------------------------------------------


def test_a_short_list_opens_no_evening(session: Session, first: Batch, second: Batch) -> None:
    short = build.checklist(session, second, evening=evening(session, first))
    with pytest.raises(Refused, match="short list, for a further melt"):
        casting.open_session(session, second, OpenSessionIn(checklist_id=short.pk))


def test_a_short_list_of_another_evening(session: Session, first: Batch, second: Batch, turn: Turn) -> None:
    short = build.checklist(session, second, evening=evening(session, first))
    close(session, first)
    turn(NOON + timedelta(minutes=5))
    build.opened_session(session, build.batch(session, 2))
    with pytest.raises(Refused, match="closed meanwhile"):
        join(session, second, short)
    with pytest.raises(IntegrityError, match="joins an open evening"):
        insert(session, second, evening_now_open(session), short.pk, clock.now())


def evening_now_open(session: Session) -> CastSession:
    found = casting.open_evening(session)
    assert found is not None
    return found


def test_an_evening_closed_on_another_device(session: Session, first: Batch, second: Batch) -> None:
    short = build.checklist(session, second, evening=evening(session, first))
    close(session, first)
    shut(session, second, short, "closed meanwhile, maybe on another device")


def test_a_whole_list_is_no_short_one(session: Session, first: Batch, second: Batch) -> None:
    shut(session, second, build.checklist(session, second), "whole list")


def test_of_another_batch_or_used(session: Session, first: Batch, second: Batch) -> None:
    third = build.batch(session, 2)
    build.stock(session, third)
    used = build.joined(session, second, evening(session, first)).checklist_id
    again = session.get(Checklist, used)
    assert again is not None
    shut(session, third, again, "another batch")


def test_not_signed(session: Session, first: Batch, second: Batch) -> None:
    shut(session, second, checklists.start(session, second, evening(session, first)), "not complete")


@pytest.mark.parametrize(("who", "words"), [("Bob", "somebody else"), ("Ada", "another place")])
def test_another_person_or_place(session: Session, first: Batch, second: Batch, who: str, words: str) -> None:
    place = "Yard" if who == "Ada" else "Shed"
    short = build.checklist(session, second, who, evening(session, first), place)
    shut(session, second, short, words)


DUE: dict[str, tuple[Callable[[Session, Batch, Turn], Any], str]] = {
    "four hours": (lambda s, lot, turn: turn(NOON + timedelta(hours=4, minutes=1)), "holds for 4 h only"),
    "too hot": (lambda s, lot, turn: read_later(s, lot, turn), "above the limit since"),
    "incident": (
        lambda s, lot, turn: tell(s, turn, "incident"),
        r"was an incident since .* \(Incident: spill, “Hot mix on the plate.”\)",
    ),
}


def read_later(session: Session, lot: Batch, turn: Turn) -> None:
    turn(NOON + timedelta(minutes=30))
    read(session, lot, "130 C")


def tell(session: Session, turn: Turn, kind: str) -> None:
    turn(NOON + timedelta(minutes=30))
    session.add(Incident(happened_at=clock.now(), kind=kind, sort="spill", person="Ada", words="Hot mix on the plate."))
    session.flush()


@pytest.mark.parametrize("how", DUE)
def test_the_whole_list_is_due_again(session: Session, first: Batch, second: Batch, turn: Turn, how: str) -> None:
    """Before a melt joins, and before one that is in is heated first; a whole list is the way out of both."""
    third = build.batch(session, 2)
    build.stock(session, third)
    build.joined(session, second, evening(session, first))
    build.weighed_out(session, second)
    do(session, first, "pour")
    turn(NOON + timedelta(minutes=20))
    short = build.checklist(session, third, evening=evening(session, first))
    act, words = DUE[how]
    act(session, first, turn)
    with pytest.raises(Refused, match=words if how != "four hours" else "holds for 4 h only|held until"):
        join(session, third, short)
    with pytest.raises(IntegrityError, match="joins an open evening"):
        insert(session, third, evening(session, first), short.pk, clock.now())
    assert not evenings.entry(session, third).short
    do(session, second, "weigh")
    melt = casting.the_open(session, second)
    with pytest.raises(Refused, match=words):
        steps.record(session, melt, melt.steps[1].pk, StepIn(act="done"), "Ada")
    session.flush()
    with pytest.raises(IntegrityError, match="does not hold"), session.begin_nested():
        session.connection().execute(
            text("UPDATE cast_step SET done_at = :at WHERE id = :id"),
            {"at": stamp(clock.now()), "id": melt.steps[1].pk},
        )
    do(session, first, "core")  # a melt under way is never shut
    turn(clock.now() + timedelta(minutes=1))
    build.opened_session(session, second)
    do(session, second, "pour")


@pytest.mark.parametrize("hours", [-1.0, 5.0, 12.5, 24.0, 24.0 * 365])
def test_a_clock_set_on_or_back(session: Session, first: Batch, second: Batch, turn: Turn, hours: float) -> None:
    """It lets no further melt in, and one that is in is neither weighed out nor heated."""
    third = build.batch(session, 2)
    build.stock(session, third)
    build.joined(session, second, evening(session, first))
    build.weighed_out(session, second)
    short = build.checklist(session, third, evening=evening(session, first))
    turn(NOON + timedelta(hours=hours))
    shut(session, third, short, ".")
    takes_no_heat(session, second)


def takes_no_heat(session: Session, lot: Batch) -> None:
    """Neither the service nor the file lets the first sugar of a melt into the pan."""
    melt = casting.melt(session, lot)
    assert melt is not None
    weighing, heating = melt.steps[:2]
    if weighing.skipped_why is None:
        weighing.skipped_why = "Weighed before."
        session.flush()
    with pytest.raises(Refused):
        steps.record(session, melt, heating.pk, StepIn(act="done"), "Ada")
    with pytest.raises(IntegrityError), session.begin_nested():
        session.connection().execute(
            text("UPDATE cast_step SET done_at = :at WHERE id = :id"), {"at": stamp(clock.now()), "id": heating.pk}
        )


def test_a_book_that_came_back_lets_no_melt_in_and_heats_none(session: Session, first: Batch, second: Batch) -> None:
    """From a copy, a zip or an earlier hour (`gate.came_back`): what is under way is finished."""
    third = build.batch(session, 2)
    build.stock(session, third)
    build.joined(session, second, evening(session, first))
    build.weighed_out(session, second)
    short = build.checklist(session, third, evening=evening(session, first))
    do(session, first, "melt:sorbitol")
    assert gate.came_back(session)
    shut(session, third, short, "voided")
    do(session, first, "core")
    takes_no_heat(session, second)
    assert not evenings.entry(session, third).short


FORGED: dict[str, str] = {
    "with a line less": "DELETE FROM checklist_answer WHERE id = (SELECT max(id) FROM checklist_answer)",
    "of another batch": "UPDATE checklist SET batch_id = 1 WHERE id = :list",
    "a whole one": "UPDATE checklist SET again = 0, cast_session_id = NULL WHERE id = :list",
    "not signed": "UPDATE checklist SET completed_at = NULL WHERE id = :list",
    "voided": "UPDATE checklist SET voided_at = completed_at, voided_why = 'people came in' WHERE id = :list",
    "signed long before": "UPDATE checklist SET completed_at = '2026-11-20 09:00:00.000000' WHERE id = :list",
    "none": "UPDATE melt SET checklist_id = NULL WHERE checklist_id = :list",
    "of the first melt": "UPDATE melt SET checklist_id = 1 WHERE checklist_id = :list",
    "heated by somebody else": "UPDATE cast_step SET person = 'Eve' WHERE melt_id = 2 AND :list",
}


@pytest.mark.parametrize("how", FORGED)
def test_a_melt_whose_list_was_forged(session: Session, first: Batch, second: Batch, how: str) -> None:
    """By a program that took the guards off: the melt takes nothing, and the evening's first one goes on."""
    listed = build.joined(session, second, evening(session, first)).checklist_id
    build.weighed_out(session, second)
    connection = session.connection()
    rows = connection.execute(
        text("SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND name GLOB 'guard_*'")
    )
    guards = rows.all()
    for name, _ in guards:
        connection.execute(text(f'DROP TRIGGER "{name}"'))
    assert connection.execute(text(FORGED[how]), {"list": listed}).rowcount > 0
    for _, made in guards:
        connection.exec_driver_sql(made)
    session.expire_all()
    if how != "heated by somebody else":
        takes_no_heat(session, second)
    else:
        with pytest.raises(IntegrityError, match="does not hold"), session.begin_nested():
            connection.execute(
                text("UPDATE cast_step SET done_at = :at WHERE id = :id"),
                {"at": stamp(NOON), "id": casting.the_open(session, second).steps[1].pk},
            )
    do(session, first, "pour")


def test_after_midnight(session: Session, turn: Turn) -> None:
    turn(wall("2026-11-25T22:30"))
    first, second = build.batch(session, 2), build.batch(session, 2)
    build.opened_session(session, first)
    build.stock(session, second)
    turn(wall("2026-11-26T00:10"))
    with pytest.raises(Refused, match="midnight has passed since"):
        checklists.start(session, second, evening(session, first))
    build.opened_session(session, second)
    assert evening(session, second) is evening(session, first)


def test_a_list_that_lacks_a_line_lets_no_melt_in(session: Session, first: Batch, second: Batch) -> None:
    """Unmarked by SQL in an edition that nobody signed yet; a signed one is not changed (guard_list_update)."""
    session.connection().execute(
        text(
            "INSERT INTO checklist_edition (created_at, version, edition, note)"
            " VALUES ('2026-11-25 10:00:00', 1, 2, '')"
        )
    )
    session.connection().execute(
        text(
            "INSERT INTO checklist_item (created_at, version, checklist_edition_id, position, heading, words, covers,"
            " again) SELECT created_at, 1, 2, position, heading, words, iif(covers = 'one pan', '', covers),"
            " iif(covers = 'one pan', 0, again) FROM checklist_item WHERE checklist_edition_id = 1"
        )
    )
    session.expire_all()
    with pytest.raises(Refused, match="no line, marked to come again before each melt, for one hot pan at a time"):
        checklists.start(session, second, evening(session, first))
    short = Checklist(
        batch_id=second.pk, checklist_edition_id=2, again=True, cast_session_id=evening(session, first).pk
    )
    session.add(short)
    session.flush()
    for line in checklists.lines(session, short):
        checklists.answer(session, short, line.item.pk, build.done(line.item))
    with pytest.raises(Refused, match="no line, marked to come again"):
        checklists.sign(session, short, SignIn(person="Ada", place="Shed"))
    with pytest.raises(IntegrityError, match="in its newest version"):
        session.connection().execute(
            text("UPDATE checklist SET person = 'Eve', completed_at = :at WHERE id = :id"),
            {"at": stamp(NOON), "id": short.pk},
        )


# --- One hot pan at a time -----------------------------------------------------------------------


def test_one_hot_pan_at_a_time(session: Session, first: Batch, second: Batch) -> None:
    build.joined(session, second, evening(session, first))
    steps.record(
        session,
        casting.the_open(session, second),
        casting.the_open(session, second).steps[0].pk,
        StepIn(act="skip", why="Weighed before."),
    )
    do(session, first, "melt:sorbitol")
    words = f"{first.code} is on the heat and not poured: one hot pan at a time"
    with pytest.raises(Refused, match=words):
        weigh(session, second)
    melt = casting.the_open(session, second)
    with pytest.raises(Refused, match="one hot pan at a time"):
        steps.record(session, melt, melt.steps[1].pk, StepIn(act="done"), "Ada")
    with pytest.raises(IntegrityError, match="does not hold"), session.begin_nested():
        session.connection().execute(
            text("UPDATE cast_step SET done_at = :at WHERE id = :id"), {"at": stamp(NOON), "id": melt.steps[1].pk}
        )
    do(session, first, "pour")
    build.weighed_out(session, second)
    do(session, second, "melt:sorbitol")


# --- Closing -------------------------------------------------------------------------------------


def close(session: Session, *lots: Batch) -> None:
    for lot in lots:
        leftovers.tell_test_pieces(session, lot, TestPiecesIn.model_validate({"test_pieces": "0 g"}))
    casting.close(session, lots[0], CloseIn(why="Enough."))


def test_the_evening_closes_once_with_the_mass_of_each_melt(
    session: Session, first: Batch, second: Batch, turn: Turn
) -> None:
    build.joined(session, second, evening(session, first))
    leftovers.tell_test_pieces(session, first, TestPiecesIn.model_validate({"test_pieces": "0 g"}))
    with pytest.raises(Refused, match=f"how much of {second.code} went into test pieces"):
        casting.close(session, first, CloseIn(why="Enough."))
    leftovers.tell_test_pieces(session, second, TestPiecesIn.model_validate({"test_pieces": "0 g"}))
    with pytest.raises(Refused, match=f"{first.code}: .*; {second.code}: "):
        casting.close(session, first, CloseIn())
    cast = casting.close(session, second, CloseIn(why="Enough."))
    assert (first.state, second.state, cast.closed_at) == ("cast", "cast", NOON + timedelta(microseconds=1))
    turn(NOON + timedelta(minutes=5))
    build.opened_session(session, second)  # a whole list of any of its melts opens it again
    assert cast.closed_at is None
    assert casting.the_open(session, first).evening is cast
