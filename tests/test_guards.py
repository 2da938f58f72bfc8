"""The database keeps its own rules: each guard is attacked with plain SQL, past every service."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from app import clock
from app.book import guards, record
from app.models import Batch, CastSession, Checklist, Melt
from app.models.batch import VoidIn
from app.models.cast import CloseIn
from app.models.checklist import AnswerIn
from app.services.book import audit_reasons
from app.services.cast import casting, checklists, weigh_outs
from app.services.season import kept_choices
from app.services.stock import batches
from tests import build
from tests.moment import wall

NOON = wall("2026-11-25T12:00")
Turn = Callable[[datetime], None]


def sql(session: Session, statement: str, **values: Any) -> None:
    """Run one statement as another program would."""
    session.flush()
    session.connection().execute(text(statement), values)


def stamp(moment: datetime) -> str:
    """A moment as the book stores it."""
    return moment.astimezone(UTC).replace(tzinfo=None).isoformat(sep=" ", timespec="microseconds")


@pytest.fixture(autouse=True)
def at_noon() -> Iterator[Turn]:
    with clock.turned_to(NOON) as turn:
        yield turn


@pytest.fixture
def batch(session: Session) -> Batch:
    made = build.batch(session)
    build.stock(session, made)
    return made


@pytest.fixture
def closed(session: Session, batch: Batch) -> CastSession:
    """A session of the batch that nobody opened."""
    cast = CastSession(closed_at=clock.now())
    session.add(cast)
    session.flush()
    session.add(Melt(cast_session_id=cast.pk, batch_id=batch.pk, number=1))
    session.flush()
    return cast


def open_by_hand(session: Session, cast: CastSession, checklist: Checklist | None, when: datetime = NOON) -> None:
    """Insert an opening and open the session."""
    sql(
        session,
        "INSERT INTO session_opening (created_at, version, cast_session_id, checklist_id, person, opened_at)"
        " VALUES (:at, 1, :cast, :list, 'Eve', :at)",
        cast=cast.pk,
        list=checklist.pk if checklist else 999,
        at=stamp(when),
    )
    sql(session, "UPDATE cast_session SET closed_at = NULL WHERE id = :id", id=cast.pk)


def test_each_guard_is_attacked_here() -> None:
    """A guard that no test names is a guard nobody has tried; tests/test_record.py tries those of the record."""
    with open(__file__, encoding="utf-8") as source:
        words = source.read()
    missing = [name for name in guards.GUARDS if name not in words and name not in record.triggers()]
    assert missing == []


# --- The gate: guard_opening_needs_checklist, guard_session_starts_closed, guard_session_reopening ----


def test_a_fresh_complete_checklist_opens(session: Session, batch: Batch, closed: CastSession) -> None:
    """The attacks below fail for their own reason: this one, with nothing wrong, goes through."""
    open_by_hand(session, closed, build.checklist(session, batch))


def test_no_checklist(session: Session, closed: CastSession) -> None:
    with pytest.raises(IntegrityError, match="complete checklist"):
        open_by_hand(session, closed, None)


def test_incomplete(session: Session, batch: Batch, closed: CastSession) -> None:
    checklist = checklists.start(session, batch)
    for line in checklists.lines(session, checklist):
        checklists.answer(session, checklist, line.item.pk, build.done(line.item))
    with pytest.raises(IntegrityError, match="complete checklist"):
        open_by_hand(session, closed, checklist)


def test_voided(session: Session, batch: Batch, closed: CastSession) -> None:
    checklist = build.checklist(session, batch)
    checklists.void_unused(session, batch, "The plan was changed.")
    with pytest.raises(IntegrityError, match="complete checklist"):
        open_by_hand(session, closed, checklist)


def test_yesterdays(session: Session, batch: Batch, closed: CastSession, at_noon: Turn) -> None:
    """Signed an hour before the bench's midnight, used an hour after: within the limit, but another day."""
    midnight = clock.local(NOON).replace(hour=0, minute=0)
    at_noon(midnight - timedelta(hours=1))
    checklist = build.checklist(session, batch)
    with pytest.raises(IntegrityError, match="made today"):
        open_by_hand(session, closed, checklist, midnight + timedelta(hours=1))


@pytest.mark.parametrize(("minutes", "opens"), [(239, True), (241, False), (-1, False)])
def test_too_old_or_from_the_future(
    session: Session, batch: Batch, closed: CastSession, at_noon: Turn, minutes: int, opens: bool
) -> None:
    morning = clock.local(NOON).replace(hour=9, minute=0)  # room for four hours within the bench's day
    at_noon(morning)
    checklist = build.checklist(session, batch)
    when = morning + timedelta(minutes=minutes)
    if opens:
        open_by_hand(session, closed, checklist, when)
    else:
        with pytest.raises(IntegrityError, match="recent enough"):
            open_by_hand(session, closed, checklist, when)


def test_of_another_batch(session: Session, closed: CastSession) -> None:
    with pytest.raises(IntegrityError, match="of its batch"):
        open_by_hand(session, closed, build.checklist(session, build.batch(session)))


def test_used_once_already(session: Session, batch: Batch) -> None:
    cast = build.opened_session(session, batch)
    used = cast.openings[0].checklist_id
    with pytest.raises(IntegrityError, match="opened nothing yet"):
        open_by_hand(session, cast, session.get(Checklist, used))


def test_a_session_is_not_born_open(session: Session) -> None:
    """guard_session_starts_closed"""
    with pytest.raises(IntegrityError, match="opened by a checklist"):
        sql(session, "INSERT INTO cast_session (created_at, version) VALUES ('2026', 1)")


def closed_session(session: Session, batch: Batch) -> CastSession:
    build.opened_session(session, batch)
    batch.test_pieces_kg = 0.0
    return casting.close(session, batch, CloseIn(why="Nothing was poured."))


def test_reopening_by_update(session: Session, batch: Batch) -> None:
    """guard_session_reopening: the opening of the first time does not count again."""
    cast = closed_session(session, batch)
    with pytest.raises(IntegrityError, match="reopened by a new checklist"):
        sql(session, "UPDATE cast_session SET closed_at = NULL WHERE id = :id", id=cast.pk)


@pytest.mark.parametrize(
    "change",
    [
        "closed_at = '2020-01-01 00:00:00.000000'",  # backdated, so that the old opening would count as newer
        "closed_at = (SELECT opened_at FROM session_opening)",
    ],
)
@pytest.mark.parametrize("when", ["open", "closed"])
def test_a_session_keeps_its_times(session: Session, batch: Batch, change: str, when: str) -> None:
    """guard_session_stays"""
    cast = build.opened_session(session, batch) if when == "open" else closed_session(session, batch)
    with pytest.raises(IntegrityError, match="closes after it was opened"):
        sql(session, f"UPDATE cast_session SET {change} WHERE id = :id", id=cast.pk)


@pytest.mark.parametrize(
    "change",
    [
        "batch_id = (SELECT max(id) FROM batch)",
        "cast_session_id = (SELECT max(id) FROM cast_session)",
        "number = 7",
        "checklist_id = 1",
        "id = 99",
    ],
)
@pytest.mark.parametrize("when", ["open", "closed"])
def test_a_melt_keeps_its_batch_and_its_evening(session: Session, batch: Batch, change: str, when: str) -> None:
    """guard_melt_stays, guard_melt_kept"""
    other = build.batch(session)
    assert other.pk > batch.pk
    cast = build.opened_session(session, batch) if when == "open" else closed_session(session, batch)
    session.add(CastSession(closed_at=clock.now()))
    session.flush()
    with pytest.raises(IntegrityError, match="keeps its batch and its evening"):
        sql(session, f"UPDATE melt SET {change} WHERE cast_session_id = :id", id=cast.pk)
    with pytest.raises(IntegrityError, match="never erased"):
        sql(session, "DELETE FROM melt WHERE cast_session_id = :id", id=cast.pk)


@pytest.mark.parametrize("cast", ["1", "2"])
def test_a_melt_joins_by_no_list(session: Session, batch: Batch, cast: str) -> None:
    """guard_melt_joins: into an open evening, and into a closed one"""
    late = closed_session(session, build.batch(session))
    now = build.opened_session(session, batch)
    assert (late.pk, now.pk) == (1, 2)
    another = build.batch(session)
    with pytest.raises(IntegrityError, match="joins an open evening by its short list"):
        sql(
            session,
            "INSERT INTO melt (created_at, version, cast_session_id, batch_id, number) VALUES (:at, 1, :c, :b, 2)",
            at=stamp(NOON),
            c=cast,
            b=another.pk,
        )


def test_a_line_with_blanks_takes_a_number_for_each(session: Session, batch: Batch) -> None:
    """guard_answer_says_insert, guard_answer_says_update"""
    made = checklists.start(session, batch)
    line = next(line.item for line in checklists.lines(session, made) if "__" in line.item.words)
    bare = "INSERT INTO checklist_answer (created_at, version, checklist_id, checklist_item_id, answer, reason,"
    with pytest.raises(IntegrityError, match="takes a number for each"):
        sql(
            session,
            f"{bare} answered_at, numbers_json) VALUES (:at, 1, :c, :i, 'done', '', :at, '[]')",
            at=stamp(NOON),
            c=made.pk,
            i=line.pk,
        )
    checklists.answer(session, made, line.pk, build.done(line))
    with pytest.raises(IntegrityError, match="takes a number for each"):
        sql(session, "UPDATE checklist_answer SET numbers_json = '[]'")


@pytest.mark.parametrize("change", ["melt_id = 2", "key = 'bag'", "set_number = 5"])
def test_a_step_keeps_its_melt(session: Session, batch: Batch, change: str) -> None:
    """guard_step_stays: a step that was done is not moved out of the way"""
    build.opened_session(session, batch)
    build.opened_session(session, build.batch(session))
    with pytest.raises(IntegrityError, match="keeps its melt"):
        sql(session, f"UPDATE cast_step SET {change} WHERE id = 1")


@pytest.mark.parametrize("attack", ["UPDATE session_opening SET person = 'Eve'", "DELETE FROM session_opening"])
def test_openings_stay(session: Session, batch: Batch, attack: str) -> None:
    """guard_opening_stays, guard_opening_kept"""
    build.opened_session(session, batch)
    with pytest.raises(IntegrityError, match="an opening is never"):
        sql(session, attack)


# --- Checklists: guard_checklist_*, guard_answer_*, guard_list_* ------------------------------------


def test_a_checklist_is_not_born_complete(session: Session, batch: Batch) -> None:
    """guard_checklist_starts_open"""
    with pytest.raises(IntegrityError, match="answered before"):
        sql(
            session,
            "INSERT INTO checklist (created_at, version, batch_id, checklist_edition_id, person, completed_at)"
            " VALUES ('2026', 1, :b, 1, 'Eve', :at)",
            b=batch.pk,
            at=stamp(NOON),
        )


def test_completing_with_a_line_open(session: Session, batch: Batch) -> None:
    """guard_checklist_complete"""
    checklist = checklists.start(session, batch)
    for line in checklists.lines(session, checklist)[1:]:
        checklists.answer(session, checklist, line.item.pk, build.done(line.item))
    with pytest.raises(IntegrityError, match="every line"):
        sql(session, "UPDATE checklist SET person = 'Eve', completed_at = :at", at=stamp(NOON))


def test_completing_for_no_place(session: Session, batch: Batch) -> None:
    """guard_checklist_placed"""
    checklist = checklists.start(session, batch)
    for line in checklists.lines(session, checklist):
        checklists.answer(session, checklist, line.item.pk, build.done(line.item))
    with pytest.raises(IntegrityError, match="signed for a place"):
        sql(session, "UPDATE checklist SET person = 'Eve', place = ' ', completed_at = :at", at=stamp(NOON))


def test_completing_with_a_line_of_another_version(session: Session, batch: Batch) -> None:
    """guard_answer_of_this_list: an answer borrowed from elsewhere does not make up the number."""
    checklist = checklists.start(session, batch)
    sql(session, "INSERT INTO checklist_edition (created_at, version, edition, note) VALUES ('2026', 1, 2, '')")
    sql(
        session,
        "INSERT INTO checklist_item (created_at, version, checklist_edition_id, position, heading, words)"
        " VALUES ('2026', 1, 2, 1, 'Place', 'Nothing to check.')",
    )
    with pytest.raises(IntegrityError, match="another version"):
        sql(
            session,
            "INSERT INTO checklist_answer (created_at, version, checklist_id, checklist_item_id, answer, reason,"
            " answered_at) VALUES ('2026', 1, :c, (SELECT max(id) FROM checklist_item), 'done', '', '2026')",
            c=checklist.pk,
        )


@pytest.mark.parametrize("change", ["answer = 'na', reason = ''", "answer = 'na', reason = '   '", "answer = 'maybe'"])
def test_not_applicable_needs_a_reason(session: Session, batch: Batch, change: str) -> None:
    checklist = checklists.start(session, batch)
    checklists.answer(session, checklist, checklists.lines(session, checklist)[-1].item.pk, AnswerIn(answer="done"))
    with pytest.raises(IntegrityError, match="CHECK"):
        sql(session, f"UPDATE checklist_answer SET {change}")


@pytest.mark.parametrize(
    "attack",
    [
        "UPDATE checklist_answer SET numbers_json = '[]'",  # guard_answer_says_update
        'UPDATE checklist_answer SET numbers_json = \'[{"typed": "3 m"}, {"typed": "4 m"}]\'',
        "INSERT INTO checklist_answer (created_at, version, checklist_id, checklist_item_id, answer, reason,"
        " answered_at) SELECT '2026', 1, 1, id, 'done', '', '2026' FROM checklist_item"
        " WHERE words LIKE 'Water for burns%'",  # guard_answer_says_insert
    ],
)
def test_a_line_with_a_blank_is_not_done_without_its_number(session: Session, batch: Batch, attack: str) -> None:
    checklist = checklists.start(session, batch)
    item = next(line.item for line in checklists.lines(session, checklist) if "extinguisher" in line.item.words)
    checklists.answer(session, checklist, item.pk, build.done(item))
    with pytest.raises(IntegrityError, match="takes a number for each"):
        sql(session, attack)


@pytest.mark.parametrize(
    "attack",
    [
        "UPDATE checklist SET completed_at = '2026-11-25 15:59:00.000000'",  # guard_checklist_frozen
        "UPDATE checklist SET person = 'Eve'",
        "UPDATE checklist SET completed_at = NULL",
        "UPDATE checklist SET batch_id = (SELECT max(id) FROM batch)",
        "UPDATE checklist_answer SET reason = 'later'",  # guard_answer_update
        "DELETE FROM checklist_answer",  # guard_answer_delete
        "UPDATE checklist_answer SET checklist_id = 2 WHERE id = 1",
    ],
)
def test_a_complete_checklist_is_frozen(session: Session, batch: Batch, attack: str) -> None:
    build.batch(session)
    build.checklist(session, batch)
    with pytest.raises(IntegrityError, match="complete checklist is not changed"):
        sql(session, attack)


def test_an_answer_added_to_a_complete_checklist(session: Session, batch: Batch) -> None:
    """guard_answer_insert"""
    checklist = build.checklist(session, batch)
    with pytest.raises(IntegrityError, match="complete checklist is not changed"):
        sql(
            session,
            "INSERT INTO checklist_answer (created_at, version, checklist_id, checklist_item_id, answer, reason,"
            " answered_at) VALUES ('2026', 1, :c, 3, 'done', '', '2026')",
            c=checklist.pk,
        )


def test_a_voided_checklist_stays_voided(session: Session, batch: Batch) -> None:
    build.checklist(session, batch)
    checklists.void_unused(session, batch, "The plan was changed.")
    with pytest.raises(IntegrityError, match="complete checklist is not changed"):
        sql(session, "UPDATE checklist SET voided_at = NULL, voided_why = NULL")


@pytest.mark.parametrize(
    "attack",
    [
        "UPDATE checklist_item SET words = 'Anything goes.'",  # guard_list_update
        "DELETE FROM checklist_item WHERE id = 1",  # guard_list_delete
        "INSERT INTO checklist_item (created_at, version, checklist_edition_id, position, heading, words)"
        " VALUES ('2026', 1, 1, 99, 'x', 'x')",  # guard_list_insert
    ],
)
def test_a_signed_version_of_the_list_stays(session: Session, batch: Batch, attack: str) -> None:
    build.checklist(session, batch)
    with pytest.raises(IntegrityError, match="version of the list"):
        sql(session, attack)


# --- The plan behind a checklist: guard_batch_* -----------------------------------------------------


@pytest.mark.parametrize(
    "attack",
    [
        "UPDATE batch_part SET target_kg = target_kg * 2",  # guard_batch_part_update
        "DELETE FROM batch_part WHERE id = 1",  # guard_batch_part_delete
        "INSERT INTO batch_part (created_at, version, batch_id, ingredient, target_kg)"
        " VALUES ('2026', 1, 1, 'dextrose', 0.1)",  # guard_batch_part_insert
        "UPDATE batch_item SET count = 40",  # guard_batch_item_update
        "DELETE FROM batch_item",  # guard_batch_item_delete
        "INSERT INTO batch_item (created_at, version, batch_id, pattern_id, count)"
        " SELECT '2026', 1, 1, max(id), 3 FROM grain_pattern",  # guard_batch_item_insert
        "UPDATE batch SET target_mass_kg = 40",  # guard_batch_update
        "UPDATE batch SET formula_id = (SELECT max(id) FROM formula)",
        "UPDATE batch SET code = '2611X'",
    ],
)
@pytest.mark.parametrize("state", ["signed", "opened"])
def test_a_plan_is_not_changed_under_its_checklist(session: Session, batch: Batch, attack: str, state: str) -> None:
    build.pattern(session)
    build.formula(session)
    if state == "signed":
        build.checklist(session, batch)
    else:
        build.opened_session(session, batch)
    with pytest.raises(IntegrityError, match="void the checklist first"):
        sql(session, attack)


# --- Work at the bench: guard_cast_step_*, guard_temperature_*, guard_session_note_*, guard_weigh_out_* --


@pytest.mark.parametrize(
    "attack",
    [
        "UPDATE cast_step SET skipped_why = 'later'",  # guard_cast_step_update
        "INSERT INTO temperature_reading (created_at, version, melt_id, read_at, temperature_k,"
        " temperature_typed) VALUES ('2026', 1, 1, '2026', 390, '117 C')",  # guard_temperature_reading_insert
        "INSERT INTO session_note (created_at, version, cast_session_id, written_at, words)"
        " VALUES ('2026', 1, 1, '2026', 'later')",  # guard_session_note_insert
    ],
)
def test_a_closed_session_takes_nothing(session: Session, batch: Batch, attack: str) -> None:
    cast = closed_session(session, batch)
    assert cast.pk == 1
    with pytest.raises(IntegrityError, match="session is closed"):
        sql(session, attack)


WEIGH = (
    "INSERT INTO weigh_out (created_at, version, batch_part_id, supply_id, mass_kg, mass_typed, person)"
    f" VALUES ('{stamp(NOON)}', 1, :part, :bag, :mass, 'x', 'Eve')"
)


@pytest.mark.parametrize("state", ["planned", "closed"])
def test_weighing_out_without_an_open_session(session: Session, batch: Batch, state: str) -> None:
    """guard_weigh_out_insert"""
    if state == "closed":
        closed_session(session, batch)
    with pytest.raises(IntegrityError, match="session is not open"):
        sql(session, WEIGH, part=batch.parts[0].pk, bag=1, mass=0.1)


@pytest.mark.parametrize("at", ["2026-11-24 12:00:00.000000", "2026-11-26 16:00:00.000000", "2026", "", "not a date"])
def test_nothing_is_weighed_out_or_heated_on_another_day(session: Session, batch: Batch, at: str) -> None:
    """guard_weigh_out_of_the_day, guard_step_of_the_day: before the opening, a day after it, and at no time at all"""
    cast = build.opened_session(session, batch)
    weigh = "INSERT INTO weigh_out (created_at, version, batch_part_id, supply_id, mass_kg, mass_typed, person)"
    with pytest.raises(IntegrityError, match="its checklist does not hold"):
        sql(session, f"{weigh} VALUES ('{at}', 1, {batch.parts[0].pk}, 1, 0.1, 'x', 'Eve')")
    heat = f"UPDATE cast_step SET done_at = '{at}' WHERE melt_id = {cast.melts[0].pk}"
    for which in ("key = 'weigh'", "key LIKE 'melt:%'", "key = 'pour'"):
        with pytest.raises(IntegrityError, match="its checklist does not hold"):
            sql(session, f"{heat} AND {which}")
    sql(session, f"{heat} AND key IN ('core', 'pull', 'bag')")  # what is in the tubes goes on


def test_a_melt_under_way_is_poured_though_its_list_is_void(session: Session) -> None:
    """guard_step_of_the_day lets hot hands go on; guard_weigh_out_of_the_day lets nothing new begin."""
    batch = build.cast(session, until="oxidiser:1")
    sql(session, "UPDATE checklist SET voided_at = :at, voided_why = 'a copy came back'", at=stamp(NOON))
    with pytest.raises(IntegrityError, match="its checklist does not hold"):
        sql(session, WEIGH, part=batch.parts[0].pk, bag=1, mass=0.1)
    sql(session, "UPDATE cast_step SET done_at = :at WHERE done_at IS NULL", at=stamp(NOON + timedelta(days=2)))


def test_a_list_of_an_older_version(session: Session, batch: Batch, closed: CastSession) -> None:
    """Signed before the list got its newer version; and not signed after it either."""
    checklist, begun = build.checklist(session, batch), checklists.start(session, build.batch(session))
    for line in checklists.lines(session, begun):
        checklists.answer(session, begun, line.item.pk, build.done(line.item))
    sql(session, "INSERT INTO checklist_edition (created_at, version, edition, note) VALUES ('2026', 1, 2, '')")
    with pytest.raises(IntegrityError, match="the newest list"):
        open_by_hand(session, closed, checklist)
    with pytest.raises(IntegrityError, match="in its newest version"):
        sql(
            session,
            "UPDATE checklist SET person = 'Eve', completed_at = :at WHERE id = :id",
            at=stamp(NOON),
            id=begun.pk,
        )


def test_answered_by_as_many_lines_of_another_version(session: Session, batch: Batch, closed: CastSession) -> None:
    checklist = build.checklist(session, batch)
    sql(session, "INSERT INTO checklist_edition (created_at, version, edition, note) VALUES ('2026', 1, 0, '')")
    sql(
        session,
        "INSERT INTO checklist_item (created_at, version, checklist_edition_id, position, heading, words)"
        " SELECT created_at, 1, 2, position, heading, words FROM checklist_item",
    )
    sql(session, "DROP TRIGGER guard_answer_update")
    sql(
        session,
        "UPDATE checklist_answer SET checklist_item_id = checklist_item_id + (SELECT count(*) FROM checklist_answer)",
    )
    with pytest.raises(IntegrityError, match="complete checklist"):
        open_by_hand(session, closed, checklist)


def test_a_list_with_no_lines_is_not_signed(session: Session, batch: Batch) -> None:
    made = f"'{stamp(NOON)}', 1, 2, ''"
    sql(session, f"INSERT INTO checklist_edition (created_at, version, edition, note) VALUES ({made})")
    empty = checklists.start(session, batch)
    with pytest.raises(IntegrityError, match="every line"):
        sql(
            session,
            "UPDATE checklist SET person = 'Eve', completed_at = :at WHERE id = :id",
            at=stamp(NOON),
            id=empty.pk,
        )


@pytest.mark.parametrize(
    "attack",
    [
        "UPDATE checklist_edition SET edition = 99",  # guard_edition_update
        "UPDATE checklist_edition SET id = 99",
        "DELETE FROM checklist_edition",  # guard_edition_delete
    ],
)
def test_a_version_of_the_list_keeps_its_number(session: Session, attack: str) -> None:
    """Else an older version would be made the newest one again."""
    with pytest.raises(IntegrityError, match="keeps its number"):
        sql(session, attack)


def test_a_reopening_is_told_by_the_order_of_what_was_saved(session: Session, batch: Batch, at_noon: Turn) -> None:
    """guard_session_reopening: a clock that stands behind the closing locks nobody out, and lets nobody in."""
    cast = closed_session(session, batch)
    at_noon(NOON - timedelta(hours=2))
    with pytest.raises(IntegrityError, match="reopened by a new checklist"):
        sql(session, "UPDATE cast_session SET closed_at = NULL WHERE id = :id", id=cast.pk)
    open_by_hand(session, cast, build.checklist(session, batch), NOON - timedelta(hours=2))


def test_weighed_amounts_stay(session: Session) -> None:
    """guard_weigh_out_update (closed), guard_weigh_out_stays (rewritten), guard_weigh_out_kept (erased)"""
    batch = build.weighed_batch(session)
    for change in ("mass_kg = mass_kg / 2", "supply_id = 2", "batch_part_id = 2"):
        with pytest.raises(IntegrityError, match=r"not rewritten"):
            sql(session, f"UPDATE weigh_out SET {change} WHERE id = 1")
    with pytest.raises(IntegrityError, match="not erased"):
        sql(session, "DELETE FROM weigh_out")
    weigh_outs.strike_out(session, batch, 1, VoidIn(why="Wrong bowl."))
    with pytest.raises(IntegrityError, match="not rewritten"):
        sql(session, "UPDATE weigh_out SET voided_at = NULL WHERE id = 1")
    batch.test_pieces_kg = 0.0
    casting.close(session, batch, CloseIn(why="Melt spoilt."))
    with pytest.raises(IntegrityError, match="session is not open"):
        sql(session, "UPDATE weigh_out SET voided_at = '2026', voided_why = 'later' WHERE id = 2")


def test_a_bag_gives_no_more_than_it_holds(session: Session) -> None:
    """guard_bag_insert; guard_bag_update stands behind guard_weigh_out_stays, so it is attacked without that one."""
    batch = build.batch(session)
    bag = build.supply(session, "potassium nitrate", "1000 g")
    build.opened_session(session, batch)
    part = next(p for p in batch.parts if p.ingredient == "potassium_nitrate")
    with pytest.raises(IntegrityError, match="does not hold"):
        sql(session, WEIGH, part=part.pk, bag=bag.pk, mass=1.001)
    sql(session, WEIGH, part=part.pk, bag=bag.pk, mass=0.6)
    with pytest.raises(IntegrityError, match="does not hold"):
        sql(session, WEIGH, part=part.pk, bag=bag.pk, mass=0.401)
    sql(session, WEIGH, part=part.pk, bag=bag.pk, mass=0.4)
    sql(session, "DROP TRIGGER guard_weigh_out_stays")
    with pytest.raises(IntegrityError, match="does not hold"):
        sql(session, "UPDATE weigh_out SET mass_kg = 0.401 WHERE mass_kg = 0.4")


def test_a_leftover_gives_no_more_than_it_holds(session: Session) -> None:
    """guard_leftover"""
    old = build.batch(session)
    sql(
        session,
        "INSERT INTO leftover (created_at, version, batch_id, mark, mass_kg, mass_typed, note)"
        " VALUES (:at, 1, :b, 'L1', 0.05, '50 g', '')",
        at=stamp(NOON),
        b=old.pk,
    )
    blend = batches.formula_of(session, old)
    batch = build.batch(session, blend=blend, remelts=[{"leftover_id": 1, "mass": "40 g"}])
    build.opened_session(session, batch)
    part = next(p for p in batch.parts if p.leftover_id)
    with pytest.raises(IntegrityError, match="does not hold"):
        sql(
            session,
            "INSERT INTO weigh_out (created_at, version, batch_part_id, leftover_id, mass_kg, mass_typed, person)"
            f" VALUES ('{stamp(NOON)}', 1, :part, 1, 0.051, 'x', 'Eve')",
            part=part.pk,
        )


# --- What was used is not rewritten ------------------------------------------------------------------


@pytest.mark.parametrize(
    "attack",
    [
        "UPDATE formula SET name = 'Other' WHERE id = :f",  # guard_formula_update
        "UPDATE formula SET edition = 9 WHERE id = :f",
        "UPDATE formula_part SET fraction = 0.6 WHERE formula_id = :f",  # guard_formula_part_update
        "DELETE FROM formula_part WHERE formula_id = :f",  # guard_formula_part_delete
        "INSERT INTO formula_part (created_at, version, formula_id, ingredient, fraction)"
        " VALUES ('2026', 1, :f, 'dextrose', 0.1)",  # guard_formula_part_insert
    ],
)
def test_a_used_formula_stays(session: Session, batch: Batch, attack: str) -> None:
    with pytest.raises(IntegrityError, match="formula in use"):
        sql(session, attack, f=batch.formula_id)


def test_an_unused_formula_may_change(session: Session) -> None:
    sql(session, "UPDATE formula SET name = 'Other' WHERE id = :f", f=build.formula(session).pk)


# --- Grains, motors, firings ---------------------------------------------------------------------------


def motor(session: Session, grain_id: int) -> None:
    """A motor build with one grain, by hand."""
    case, nozzle = build.case(session), build.nozzle(session)
    row: dict[str, Any] = {"case_id": case.pk, "nozzle_id": nozzle.pk}
    insert(session, "motor_build", row)
    insert(session, "build_grain", {"motor_build_id": 1, "grain_id": grain_id, "position": 1})


def insert(session: Session, table: str, given: dict[str, Any]) -> None:
    """Insert a row with what is given, and the plainest value in every other column that needs one."""
    columns = session.connection().exec_driver_sql(f"PRAGMA table_info({table})").all()
    values = dict(given)
    for _, name, kind, needed, default, key in columns:
        if name in values or key or not needed or default is not None:
            continue
        plain: dict[str, Any] = {"FLOAT": 1.0, "INTEGER": 1, "BOOLEAN": 0, "DATE": "2026-11-25"}
        values[name] = plain.get(kind, "2026-11-25 12:00:00.000000" if kind == "DATETIME" else "x")
    names = ", ".join(values)
    sql(session, f"INSERT INTO {table} ({names}) VALUES ({', '.join(':' + n for n in values)})", **values)


def test_only_accepted_grains_go_into_a_motor(session: Session) -> None:
    """guard_build_accepted_grain"""
    lot = build.cast(session)
    for decision in (None, "hold", "reject"):
        grain = build.grain(session, lot, decision=decision)
        with pytest.raises(IntegrityError, match="only accepted grains"):
            insert(session, "build_grain", {"motor_build_id": 1, "grain_id": grain.pk, "position": 1})


def test_a_wet_grain_goes_into_no_motor(session: Session) -> None:
    """guard_build_dry_grain_insert, guard_build_dry_grain_update"""
    grain, dry = build.ready_grains(session, 2)
    told = {"grain_id": grain.pk, "wet": 1, "label_kg": 0.17, "mass_kg": 0.1712, "scale_resolution_kg": 1e-4}
    insert(session, "re_weigh", told)
    motor(session, dry.pk)
    row = {"motor_build_id": 1, "grain_id": grain.pk, "position": 2}
    with pytest.raises(IntegrityError, match="the grain is wet"):
        insert(session, "build_grain", row)
    with pytest.raises(IntegrityError, match="the grain is wet"):
        sql(session, "UPDATE build_grain SET grain_id = :g", g=grain.pk)
    sql(
        session, "UPDATE re_weigh SET accepted_at = :at, accepted_by = 'Ada', accepted_why = 'Dry core'", at=stamp(NOON)
    )
    insert(session, "build_grain", row)


def test_an_accepted_wet_grain_is_signed_and_what_a_re_weigh_said_stays(session: Session) -> None:
    """guard_re_weigh_stays; the rule ck_re_weigh_accepted"""
    grain = build.ready_grains(session, 1)[0]
    told = {"grain_id": grain.pk, "wet": 1, "label_kg": 0.17, "mass_kg": 0.1712, "scale_resolution_kg": 1e-4}
    insert(session, "re_weigh", told)
    with pytest.raises(IntegrityError, match="ck_re_weigh_accepted"):
        sql(session, "UPDATE re_weigh SET accepted_at = :at, accepted_by = '', accepted_why = 'Dry'", at=stamp(NOON))
    with pytest.raises(IntegrityError, match="not rewritten"):
        sql(session, "UPDATE re_weigh SET wet = 0")


@pytest.mark.parametrize("change", ["decision = 'reject'", "decision = NULL", "mass_kg = mass_kg * 1.01"])
def test_a_grain_in_a_motor_stays_as_it_is(session: Session, change: str) -> None:
    """guard_held_grain"""
    grain = build.ready_grains(session, 1)[0]
    motor(session, grain.pk)
    with pytest.raises(IntegrityError, match="take the motor apart"):
        sql(session, f"UPDATE grain SET {change} WHERE id = :g", g=grain.pk)


def test_grains_are_not_erased(session: Session) -> None:
    """guard_grain_kept"""
    build.ready_grains(session, 1)
    with pytest.raises(IntegrityError, match="not erased"):
        sql(session, "DELETE FROM grain")


def _struck(session: Session, grain_id: int, after_s: float) -> None:
    """Note by hand that a weighing was taken back, so many seconds after it."""
    sql(
        session,
        "INSERT INTO struck_weighing (created_at, version, batch_id, pattern_id, serial, number, gross_kg, gross_typed,"
        " tare_kg, mass_kg, length_m, core_d_m, outer_d_m, weighed_at, density_share, verdict, grain_version,"
        " struck_at, why) SELECT weighed_at, 1, batch_id, pattern_id, serial, number, gross_kg, gross_typed, tare_kg,"
        " mass_kg, length_m, core_d_m, outer_d_m, weighed_at, density_share, verdict, version, :struck, 'taken back'"
        " FROM grain WHERE id = :g",
        g=grain_id,
        struck=stamp(NOON + timedelta(seconds=after_s)),
    )


def test_a_weighing_is_taken_back_within_its_minute_only(session: Session) -> None:
    """guard_grain_kept, guard_struck_stays, guard_struck_kept"""
    lot = build.cast(session, 3)
    quick, late, decided = (build.grain(session, lot, decision=d) for d in (None, None, "accept"))
    for grain, after in ((quick, 59.0), (late, 61.0), (decided, 1.0)):
        _struck(session, grain.pk, after)
    for grain in (late, decided):
        with pytest.raises(IntegrityError, match="only a weighing of the last minute"):
            sql(session, "DELETE FROM grain WHERE id = :g", g=grain.pk)
    sql(session, "DELETE FROM grain WHERE id = :g", g=quick.pk)
    with pytest.raises(IntegrityError, match="never changed"):
        sql(session, "UPDATE struck_weighing SET mass_kg = 1")
    with pytest.raises(IntegrityError, match="never erased"):
        sql(session, "DELETE FROM struck_weighing")


def test_a_grain_that_went_to_remelt_is_in_one_place(session: Session) -> None:
    """guard_gone_grain, guard_leftover_of_grain, guard_leftover_stays"""
    grain = build.grain(session, build.cast(session), decision="reject")
    leftover = {
        "batch_id": grain.batch_id,
        "grain_id": grain.pk,
        "mark": "M",
        "mass_kg": grain.mass_kg,
        "mass_typed": "as weighed",
        "note": "",
    }
    with pytest.raises(IntegrityError, match="goes to remelt whole"):
        insert(session, "leftover", leftover)
    sql(session, "UPDATE grain SET gone_to = 'remelt', gone_at = :m WHERE id = :g", m=stamp(NOON), g=grain.pk)
    with pytest.raises(IntegrityError, match="goes to remelt whole"):
        insert(session, "leftover", {**leftover, "mass_kg": grain.mass_kg / 2})
    insert(session, "leftover", leftover)
    for change in ("mass_kg = 0.01", "gone_to = 'scrap'", "gone_to = NULL", "decision = 'accept', gone_to = NULL"):
        with pytest.raises(IntegrityError, match="bring it back first"):
            sql(session, f"UPDATE grain SET {change} WHERE id = :g", g=grain.pk)
    with pytest.raises(IntegrityError, match="keeps its mass"):
        sql(session, "UPDATE leftover SET mass_kg = 0.01")
    sql(session, "DELETE FROM leftover")
    sql(session, "UPDATE grain SET gone_to = NULL, gone_at = NULL WHERE id = :g", g=grain.pk)


def test_only_a_rejected_grain_goes_to_remelt_or_scrap(session: Session) -> None:
    """The CHECK constraint of the table."""
    grain = build.grain(session, build.cast(session))
    with pytest.raises(IntegrityError, match="gone_rejected"):
        sql(session, "UPDATE grain SET gone_to = 'scrap', gone_at = :m WHERE id = :g", m=stamp(NOON), g=grain.pk)


def test_a_grain_that_burned_does_not_come_back(session: Session) -> None:
    """guard_fired_grain_stays; one that did not light may."""
    motor(session, build.ready_grains(session, 1)[0].pk)
    insert(session, "firing", {"motor_build_id": 1, "kind": "static", "result": "no_light"})
    with session.connection().begin_nested() as undone:
        sql(session, "UPDATE build_grain SET released_at = '2026-11-25'")
        undone.rollback()
    insert(session, "firing", {"motor_build_id": 1, "kind": "static", "result": "burst"})
    with pytest.raises(IntegrityError, match="was burned"):
        sql(session, "UPDATE build_grain SET released_at = '2026-11-25'")


def test_a_motor_taken_apart_is_not_fired(session: Session) -> None:
    """guard_firing_of_whole_motor"""
    motor(session, build.ready_grains(session, 1)[0].pk)
    sql(session, "UPDATE motor_build SET taken_apart_at = '2026-11-25'")
    with pytest.raises(IntegrityError, match="taken apart"):
        insert(session, "firing", {"motor_build_id": 1, "kind": "static", "result": "good"})


def test_firings_are_not_erased(session: Session) -> None:
    """guard_firing_kept"""
    motor(session, build.ready_grains(session, 1)[0].pk)
    insert(session, "firing", {"motor_build_id": 1, "kind": "static", "result": "good"})
    with pytest.raises(IntegrityError, match="not erased"):
        sql(session, "DELETE FROM firing")
    sql(session, "UPDATE firing SET created_at = :at", at=stamp(NOON - timedelta(seconds=62)))
    with audit_reasons.signed(session, "Ada"), pytest.raises(IntegrityError, match="in the last minute"):
        sql(session, "DELETE FROM firing")
    with audit_reasons.signed(session, "Ada"):
        sql(session, "UPDATE firing SET created_at = :at", at=stamp(NOON - timedelta(seconds=58)))
        sql(session, "DELETE FROM firing")


@pytest.mark.parametrize("attack", ["UPDATE prediction SET version = 2", "DELETE FROM prediction"])
def test_predictions_stay(session: Session, attack: str) -> None:
    """guard_prediction_stays, guard_prediction_kept"""
    motor(session, build.ready_grains(session, 1)[0].pk)
    insert(session, "prediction", {"motor_build_id": 1})
    with pytest.raises(IntegrityError, match="a prediction is never"):
        sql(session, attack)


@pytest.mark.parametrize(
    ("attack", "words"),
    [
        ("UPDATE curve_file SET name = 'another'", "kept as it came"),
        ("UPDATE curve SET total_impulse_ns = 2", "read again"),
        ("DELETE FROM curve", "read again"),
        ("DELETE FROM curve_file", "FOREIGN KEY"),
        ("UPDATE stand_reading SET stand = 'another'", "read otherwise"),
        ("DELETE FROM stand_reading", "read otherwise"),
    ],
)
def test_a_logger_s_file_and_what_was_read_of_it_stay(session: Session, attack: str, words: str) -> None:
    """guard_curve_file_stays, guard_curve_update, guard_curve_delete, guard_stand_reading_update,
    guard_stand_reading_delete"""
    motor(session, build.ready_grains(session, 1)[0].pk)
    insert(session, "firing", {"motor_build_id": 1, "kind": "static", "result": "good"})
    insert(session, "curve_file", {"firing_id": 1, "size_bytes": 1})
    insert(session, "curve", {"firing_id": 1, "curve_file_id": 1})
    insert(session, "stand_reading", {"curve_id": 1, "columns": 2})
    with pytest.raises(IntegrityError, match=words):
        sql(session, attack)


@pytest.mark.parametrize(
    ("attack", "words"),
    [
        ("UPDATE altimeter_file SET name = 'another'", "kept as it came"),
        ("UPDATE altimeter_track SET apogee_m = 2", "read again"),
        ("DELETE FROM altimeter_track", "read again"),
        ("DELETE FROM altimeter_file", "FOREIGN KEY"),
        ("UPDATE firing_finding SET case_words = 'whole'", "told again"),
        ("DELETE FROM firing_finding", "told again"),
        ("UPDATE suspect_grain SET version = 2", "told again"),
        ("DELETE FROM suspect_grain", "told again"),
        ("UPDATE suspect_grain SET grain_id = 2", "told again"),
        ("UPDATE firing_picture SET sha256 = '00'", "struck out with a reason, not rewritten"),
        ("UPDATE firing_picture SET caption = 'y'", "struck out with a reason, not rewritten"),
        ("UPDATE firing_picture SET voided_at = '2026-11-25'", "voided_with_reason"),
        ("DELETE FROM firing_picture", "not erased"),
        ("UPDATE firing_reference SET address = 'y'", "struck out with a reason, not rewritten"),
        ("DELETE FROM firing_reference", "not erased"),
    ],
)
def test_what_belongs_to_a_firing_stays(session: Session, attack: str, words: str) -> None:
    """guard_altimeter_file_stays, guard_altimeter_track_update, guard_altimeter_track_delete,
    guard_firing_finding_update, guard_firing_finding_delete, guard_suspect_grain_update, guard_suspect_grain_delete,
    guard_suspect_was_in_it, guard_firing_picture_stays, guard_firing_picture_kept, guard_firing_reference_stays,
    guard_firing_reference_kept"""
    inside, other = build.ready_grains(session, 2)
    motor(session, inside.pk)
    insert(session, "firing", {"motor_build_id": 1, "kind": "flight", "result": "burst"})
    insert(session, "altimeter_file", {"firing_id": 1, "size_bytes": 1})
    insert(session, "altimeter_track", {"firing_id": 1, "altimeter_file_id": 1})
    insert(session, "firing_finding", {"firing_id": 1})
    insert(session, "firing_picture", {"firing_id": 1, "size_bytes": 1, "location": "none", "media_type": "image/png"})
    insert(session, "firing_reference", {"firing_id": 1})
    with pytest.raises(IntegrityError, match="only a grain of the motor"):
        insert(session, "suspect_grain", {"firing_finding_id": 1, "grain_id": other.pk})
    insert(session, "suspect_grain", {"firing_finding_id": 1, "grain_id": inside.pk})
    with pytest.raises(IntegrityError, match=words):
        sql(session, attack)
    for table in ("firing_picture", "firing_reference"):
        sql(session, f"UPDATE {table} SET voided_at = '2026-11-25 12:00:00', voided_why = 'another motor'")
        with pytest.raises(IntegrityError, match="struck out with a reason"):
            sql(session, f"UPDATE {table} SET voided_at = NULL")


@pytest.mark.parametrize(("hours", "stopped"), [(3.9, False), (14.0, True), (24.0, True)])
def test_hot_work_is_of_the_day_of_its_checklist(session: Session, batch: Batch, hours: float, stopped: bool) -> None:
    """guard_weigh_out_of_the_day, guard_step_of_the_day"""
    build.opened_session(session, batch)
    at = stamp(NOON + timedelta(hours=hours))
    for attack in (
        (
            "INSERT INTO weigh_out (created_at, version, batch_part_id, supply_id, mass_kg, mass_typed, person)"
            " SELECT :at, 1, p.id, s.id, 0.001, '1 g', 'Eve' FROM batch_part p JOIN supply s USING (ingredient) LIMIT 1"
        ),
        ("UPDATE cast_step SET done_at = :at WHERE set_number = 0"),
        ("UPDATE cast_step SET done_at = :at WHERE key = 'pour'"),
    ):
        if stopped:
            with pytest.raises(IntegrityError, match="opened on an earlier day"):
                sql(session, attack, at=at)
        else:
            sql(session, attack, at=at)
    sql(session, "UPDATE cast_step SET done_at = :at WHERE key = 'pull'", at=at)  # cores are pulled all the same


@pytest.mark.parametrize("attack", ["UPDATE grain_bag SET version = 2", "DELETE FROM grain_bag"])
def test_where_a_stored_grain_lay_stays(session: Session, attack: str) -> None:
    """guard_grain_bag_update, guard_grain_bag_delete"""
    insert(session, "grain_bag", {"grain_id": build.ready_grains(session, 1)[0].pk})
    with pytest.raises(IntegrityError, match="not rewritten or erased"):
        sql(session, attack)


@pytest.mark.parametrize(
    ("table", "rewritten"),
    [
        ("re_weigh", ("mass_kg = 2", "gross_typed = 'y'", "weighed_at = '2020'", "label_kg = 2")),
        ("temperature_reading", ("temperature_k = 300", "temperature_typed = 'y'", "read_at = '2020'")),
        ("nozzle_measure", ("throat_d_m = 2", "throat_d_typed = 'y'", "measured_on = '2020-01-01'")),
    ],
)
def test_a_reading_is_struck_out_only(session: Session, batch: Batch, table: str, rewritten: tuple[str, ...]) -> None:
    """guard_re_weigh_stays, guard_re_weigh_kept, guard_temperature_reading_stays, guard_temperature_reading_kept,
    guard_nozzle_measure_stays, guard_nozzle_measure_kept"""
    held = {
        "re_weigh": lambda: {"grain_id": build.ready_grains(session, 1)[0].pk},
        "temperature_reading": lambda: {"melt_id": build.opened_session(session, batch).melts[0].pk},
        "nozzle_measure": lambda: {"nozzle_id": build.nozzle(session).pk},
    }
    insert(session, table, held[table]())
    for attack in rewritten:
        with pytest.raises(IntegrityError, match="struck out, not rewritten"):
            sql(session, f"UPDATE {table} SET {attack}")
    with pytest.raises(IntegrityError, match="struck out, not erased"):
        sql(session, f"DELETE FROM {table}")
    sql(session, f"UPDATE {table} SET voided_at = '2026-11-25 12:00:00', voided_why = 'misread'")
    with pytest.raises(IntegrityError, match="struck out, not rewritten"):
        sql(session, f"UPDATE {table} SET voided_at = NULL")


def test_a_test_piece_is_struck_out_only(session: Session, batch: Batch) -> None:
    """guard_test_piece_stays, guard_test_piece_kept"""
    insert(session, "test_piece", {"batch_id": batch.pk})
    for attack in ("SET length_m = 2", "SET burn_time_s = 2", "SET pressure_pa = 2", "SET number = 7"):
        with pytest.raises(IntegrityError, match="not rewritten"):
            sql(session, f"UPDATE test_piece {attack}")
    with pytest.raises(IntegrityError, match="not erased"):
        sql(session, "DELETE FROM test_piece")
    sql(session, "UPDATE test_piece SET voided_at = :at, voided_why = 'cracked'", at=stamp(NOON))
    with pytest.raises(IntegrityError, match="not rewritten"):
        sql(session, "UPDATE test_piece SET voided_at = NULL")


@pytest.mark.parametrize(
    "attack",
    [
        "UPDATE incident SET kind = 'near miss'",
        "UPDATE incident SET happened_at = '2026-11-25 09:00:00.000000'",
        "UPDATE incident SET created_at = '2026-11-25 09:00:00.000000'",
        "UPDATE incident SET cast_session_id = NULL",
        "UPDATE incident SET batch_id = NULL",
        "UPDATE incident SET voided_at = NULL",
        "UPDATE incident SET words = 'nothing was'",
        "DELETE FROM incident",
    ],
)
def test_an_incident_is_voided_not_rewritten(session: Session, batch: Batch, attack: str) -> None:
    """guard_incident_stays, guard_incident_kept"""
    build.opened_session(session, batch)
    told = {"cast_session_id": 1, "batch_id": batch.pk, "kind": "incident", "sort": "burn"}
    insert(session, "incident", told)
    with pytest.raises(IntegrityError, match="voided_with_reason"):
        sql(session, "UPDATE incident SET voided_at = '2026-11-25 12:00:00'")
    if attack.endswith(("voided_at = NULL", "'nothing was'")):
        sql(session, "UPDATE incident SET voided_at = '2026-11-25 12:00:00', voided_why = 'a glove on the glass'")
    with pytest.raises(IntegrityError, match="struck out"):
        sql(session, attack)


@pytest.mark.parametrize("table", ["scale_check", "thermometer_check"])
@pytest.mark.parametrize(
    "change",
    ["instrument = 'another'", "{read} = 0.1", "{known} = 0.1", "{tolerance} = 9", "checked_at = '2026-01-01'"],
)
def test_a_check_is_struck_out_not_rewritten(session: Session, table: str, change: str) -> None:
    """guard_scale_check_stays, guard_scale_check_kept, guard_thermometer_check_stays, guard_thermometer_check_kept"""
    unit = "kg" if table == "scale_check" else "k"
    insert(session, table, {"instrument": "the scale"} | ({"against": "ice"} if unit == "k" else {}))
    change = change.format(read=f"read_{unit}", known=f"known_{unit}", tolerance=f"tolerance_{unit}")
    with pytest.raises(IntegrityError, match="struck out, not rewritten"):
        sql(session, f"UPDATE {table} SET {change}")
    with pytest.raises(IntegrityError, match="struck out, not erased"):
        sql(session, f"DELETE FROM {table}")
    with pytest.raises(IntegrityError, match="voided_with_reason"):
        sql(session, f"UPDATE {table} SET voided_at = '2026-11-25 12:00:00'")


@pytest.mark.parametrize("change", ["faces = 'sound'", "inhibitor = 'sound'", "grain_id = 2", "note = 'none'"])
def test_a_look_at_a_grain_is_struck_out_not_rewritten(session: Session, change: str) -> None:
    """guard_grain_look_stays, guard_grain_look_kept"""
    grain, _ = build.ready_grains(session, 2)
    told = {"faces": "chipped", "outer_face": "sound", "inhibitor": "loose"}
    insert(session, "grain_look", {"grain_id": grain.pk, **told})
    with pytest.raises(IntegrityError, match="struck out, not rewritten"):
        sql(session, f"UPDATE grain_look SET {change}")
    with pytest.raises(IntegrityError, match="struck out, not erased"):
        sql(session, "DELETE FROM grain_look")
    with pytest.raises(IntegrityError, match="voided_with_reason"):
        sql(session, "UPDATE grain_look SET voided_at = '2026-11-25 12:00:00'")
    sql(session, "UPDATE grain_look SET voided_at = '2026-11-25 12:00:00', voided_why = 'another grain'")
    with pytest.raises(IntegrityError, match="struck out"):
        sql(session, "UPDATE grain_look SET voided_at = NULL")


@pytest.mark.parametrize("change", ["sha256 = '00'", "caption = 'y'", "grain_id = 2", "location = 'kept'"])
def test_a_picture_of_a_grain_is_taken_away_not_rewritten(session: Session, change: str) -> None:
    """guard_grain_picture_stays, guard_grain_picture_kept"""
    grain, _ = build.ready_grains(session, 2)
    told = {"grain_id": grain.pk, "size_bytes": 1, "location": "none", "media_type": "image/png"}
    insert(session, "grain_picture", told)
    with pytest.raises(IntegrityError, match="struck out with a reason, not rewritten"):
        sql(session, f"UPDATE grain_picture SET {change}")
    with pytest.raises(IntegrityError, match="not erased"):
        sql(session, "DELETE FROM grain_picture")


# --- The season: plans, choices and disposals ------------------------------------------------------


@pytest.mark.parametrize("attack", ["UPDATE season_plan SET result_json = '{}'", "DELETE FROM season_plan"])
def test_a_plan_of_a_season_stays(session: Session, attack: str) -> None:
    """guard_season_plan_stays, guard_season_plan_kept"""
    insert(session, "season_plan", {"season_id": build.season(session).pk, "inputs_json": "{}"})
    with pytest.raises(IntegrityError, match="made anew"):
        sql(session, attack)


def test_a_wish_is_struck_out_not_erased(session: Session) -> None:
    """guard_wish_kept"""
    build.wish(session, build.season(session))
    with pytest.raises(IntegrityError, match="struck out, not erased"):
        sql(session, "DELETE FROM wish")
    with pytest.raises(IntegrityError, match="struck_with_reason"):
        sql(session, "UPDATE wish SET struck_at = '2026-11-25 12:00:00'")


@pytest.mark.parametrize("change", ["throat_d_m = 0.02", "why = 'none'", "figures_json = '{\"a\": 1}'", "case_id = 1"])
def test_a_chosen_motor_is_given_up_not_rewritten(session: Session, change: str) -> None:
    """guard_motor_choice_stays, guard_motor_choice_kept, guard_choice_grain_update, guard_choice_grain_delete"""
    build.case(session)
    chosen = build.chosen(session, build.wish(session, build.season(session)))
    with pytest.raises(IntegrityError, match="given up, not rewritten"):
        sql(session, f"UPDATE motor_choice SET {change}")
    with pytest.raises(IntegrityError, match="given up, not erased"):
        sql(session, "DELETE FROM motor_choice")
    for attack in ("UPDATE choice_grain SET count = 9", "DELETE FROM choice_grain"):
        with pytest.raises(IntegrityError, match="given up, not rewritten or erased"):
            sql(session, attack)
    with pytest.raises(IntegrityError, match="given_up_with_reason"):
        sql(session, "UPDATE motor_choice SET given_up_at = '2026-11-25 12:00:00'")
    kept_choices.give_up(session, chosen, "Too loud.")
    with pytest.raises(IntegrityError, match="given up, not rewritten"):
        sql(session, "UPDATE motor_choice SET given_up_at = NULL, given_up_why = NULL")


def _disposed(session: Session, thing: str) -> None:
    """A rejected grain or a leftover that was disposed of."""
    lot = build.cast(session)
    kept = {"leftover_id": build.leftover(session, lot).pk} if thing == "leftover" else {}
    gone = kept or {"grain_id": build.grain(session, lot, decision="reject").pk}
    insert(session, "disposal", {"how": "handed in"})
    insert(session, "disposal_item", {"disposal_id": 1, **gone})


def test_a_disposal_is_struck_out_not_rewritten(session: Session) -> None:
    """guard_disposal_stays, guard_disposal_kept, guard_disposal_item_stays, guard_disposal_item_kept"""
    _disposed(session, "grain")
    for attack in (
        "UPDATE disposal SET how = 'eaten'",
        "UPDATE disposal_item SET mass_kg = 9",
        "DELETE FROM disposal",
        "DELETE FROM disposal_item",
    ):
        with pytest.raises(IntegrityError, match="a disposal is struck out, not"):
            sql(session, attack)
    with pytest.raises(IntegrityError, match="voided_with_reason"):
        sql(session, "UPDATE disposal SET voided_at = '2026-11-25 12:00:00'")


def test_what_was_disposed_of_is_gone_once(session: Session) -> None:
    """guard_disposed_grain, guard_disposed_leftover, guard_disposal_of_rejects"""
    _disposed(session, "grain")
    for attack in ("decision = 'accept'", "gone_to = 'remelt', gone_at = '2026-11-25 12:00:00'"):
        with pytest.raises(IntegrityError, match="was disposed of"):
            sql(session, f"UPDATE grain SET {attack}")
    with pytest.raises(IntegrityError, match="in the book already"):
        insert(session, "disposal_item", {"disposal_id": 1, "grain_id": 1})
    good = build.grain(session, build.cast(session))
    with pytest.raises(IntegrityError, match="only a rejected grain"):
        insert(session, "disposal_item", {"disposal_id": 1, "grain_id": good.pk})


def test_a_leftover_that_was_disposed_of_is_not_weighed_out(session: Session) -> None:
    """guard_disposed_leftover"""
    _disposed(session, "leftover")
    with pytest.raises(IntegrityError, match="was disposed of"):
        insert(session, "weigh_out", {"leftover_id": 1, "batch_part_id": 1, "mass_kg": 0.01})
