"""The steps in order and on time, sets that overlap, times told afterwards, nights, and clocks that change."""

import os
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest
from sqlmodel import Session

from app import clock
from app.errors import Conflict, Refused
from app.models import Batch, CastStep, Melt
from app.models.batch import LeftoverIn, TestPiecesIn
from app.models.cast import CloseIn, SetIn, StepIn, StepTimeIn
from app.models.runsheet import PaperIn
from app.services.book import moments
from app.services.cast import casting, leftovers, pan, sets_poured, steps
from app.services.grains import from_paper
from app.services.stock import batches
from tests import build
from tests.moment import stand_in, wall

NOON = wall("2026-11-25T12:00")
MINUTES = timedelta(minutes=1)


@pytest.fixture
def berlin() -> Iterator[None]:
    """The machine's local time is Berlin's, which changes with the season."""
    yield from _zone("Europe/Berlin")


def _zone(name: str) -> Iterator[None]:
    if not hasattr(time, "tzset"):
        pytest.skip("this system cannot change its zone for one process")
    before = os.environ["TZ"]
    stand_in(name)
    yield
    stand_in(before)


def of(melt: Melt, key: str, number: int = 1) -> CastStep:
    return next(s for s in melt.steps if s.key == key and s.set_number in (number, 0))


def do(session: Session, melt: Melt, key: str, number: int = 1) -> None:
    steps.record(session, melt, of(melt, key, number).pk, StepIn(act="done"), "Ada")


def run(session: Session, batch: Batch) -> dict[tuple[int, str], steps.Now]:
    cast = casting.the_open(session, batch)
    now = steps.of_melt(cast, batch, batches.weighed(session, batch))
    return {(n.step.set_number, n.step.key): n for n in now}


def next_keys(session: Session, batch: Batch) -> list[tuple[int, str]]:
    return [(n.step.set_number, n.step.key) for n in steps.in_turn(run(session, batch).values())]


def told(at: str, why: str = "Forgot to tap.") -> StepTimeIn:
    return StepTimeIn(at=at, why=why)


# --- In order and on time -----------------------------------------------------------------------


def run_of(session: Session, batch: Batch) -> list[steps.Now]:
    cast = casting.the_open(session, batch)
    return steps.of_melt(cast, batch, batches.weighed(session, batch))


def test_order_of_the_run(session: Session) -> None:
    """Sugar alcohol first, sucrose, the oxidiser in thirds, then pour to bag: common practice, no source."""
    batch = build.weighed_batch(session)
    run = run_of(session, batch)
    assert [n.step.key for n in run] == [
        "weigh",
        "melt:sorbitol",
        "melt:sucrose",
        "oxidiser:1",
        "oxidiser:2",
        "oxidiser:3",
        "pour",
        "core",
        "compact:1",
        "compact:2",
        "compact:3",
        "pull",
        "bag",
    ]
    nitrate = next(part.target_kg for part in batch.parts if part.ingredient == "potassium_nitrate")
    assert [n.amount_kg for n in run if n.step.key.startswith("oxidiser")] == pytest.approx([nitrate / 3] * 3)


def test_a_remelt_goes_in_before_the_oxidiser(session: Session) -> None:
    old = build.weighed_batch(session)
    kept = leftovers.keep(session, old, LeftoverIn.model_validate({"mark": "L1", "mass": "40 g"}))
    batch = build.batch(
        session, blend=batches.formula_of(session, old), remelts=[{"leftover_id": kept.pk, "mass": "30 g"}]
    )
    build.opened_session(session, batch)
    keys = [n.step.key for n in run_of(session, batch)]
    assert keys[3:5] == [f"remelt:{kept.pk}", "oxidiser:1"]


def test_times_after_the_pour(session: Session) -> None:
    """Core within minutes, compact near 18 min and every 10 min twice, pull near 1.5 h: common practice, no source."""
    with clock.turned_to(NOON):
        batch = build.cast(session)
        due = {n.step.key: n.due_at for n in run_of(session, batch)}
    assert due["core"] == NOON + 3 * MINUTES
    assert due["compact:1"] == NOON + 18 * MINUTES
    assert due["compact:2"] is None  # counts from the first compaction, which is not done
    assert due["pull"] == NOON + 90 * MINUTES
    assert due["bag"] == NOON + 360 * MINUTES
    assert casting.poured_at(session, batch) == NOON


def test_next_compaction_counts_from_the_last_one(session: Session) -> None:
    with clock.turned_to(NOON) as turn:
        batch = build.cast(session)
        cast = casting.the_open(session, batch)
        by_key = {step.key: step for step in cast.steps}
        steps.record(session, cast, by_key["core"].pk, StepIn(act="done"))
        turn(NOON + 20 * MINUTES)
        steps.record(session, cast, by_key["compact:1"].pk, StepIn(act="done"))
        run = {n.step.key: n for n in run_of(session, batch)}
        assert run["compact:2"].due_at == NOON + 30 * MINUTES
        assert (run["compact:1"].late, run["compact:1"].late_words) == (True, "2 min")
        assert (run["compact:2"].is_next, run["compact:2"].late) == (True, False)
        steps.record(session, cast, by_key["compact:2"].pk, StepIn(act="skip", why="Set already."))
        run = {n.step.key: n for n in run_of(session, batch)}
        assert run["compact:3"].due_at == NOON + 40 * MINUTES  # a skipped step passes its own time on
        turn(NOON + 45 * MINUTES)
        late = {n.step.key: n for n in run_of(session, batch)}["compact:3"]
        assert (late.late, late.late_words) == (True, "5 min")
        (running,) = casting.due(session)
        assert running.coming[0].step.key == "compact:3"


def test_out_of_order_is_refused_until_skipped(session: Session) -> None:
    batch = build.weighed_batch(session)
    cast = casting.the_open(session, batch)
    weigh, sorbitol, *_ = cast.steps
    with pytest.raises(Refused, match=r"comes first\. Tick it, or skip it"):
        steps.record(session, cast, sorbitol.pk, StepIn(act="done"))
    with pytest.raises(Refused, match="why it is skipped") as caught:
        steps.record(session, cast, weigh.pk, StepIn(act="skip"))
    assert caught.value.field == "why"
    steps.record(session, cast, weigh.pk, StepIn(act="skip", why="Weighed yesterday."))
    steps.record(session, cast, sorbitol.pk, StepIn(act="done"), "Ada")
    assert (weigh.skipped_why, weigh.done_at, sorbitol.person) == ("Weighed yesterday.", None, "Ada")


def test_weighing_is_not_done_while_something_is_not_weighed(session: Session) -> None:
    batch = build.batch(session)
    cast = build.opened_session(session, batch).melts[0]
    with pytest.raises(Refused, match="Potassium nitrate, Sorbitol, Sucrose"):
        steps.record(session, cast, cast.steps[0].pk, StepIn(act="done"))
    steps.record(session, cast, cast.steps[0].pk, StepIn(act="skip", why="Weighed on another scale."))


def test_a_step_is_ticked_once_and_taken_back_in_turn(session: Session) -> None:
    batch = build.weighed_batch(session)
    cast = casting.the_open(session, batch)
    weigh, sorbitol, *_ = cast.steps
    seen = weigh.version
    now = clock.now()
    with clock.turned_to(now):
        steps.record(session, cast, weigh.pk, StepIn(act="done"), "", seen)
    with pytest.raises(Refused, match="ticked already"):
        steps.record(session, cast, weigh.pk, StepIn(act="done"), "", seen)
    assert weigh.done_at == now
    steps.record(session, cast, sorbitol.pk, StepIn(act="done"))
    with pytest.raises(Refused, match="Undo that first"):
        steps.record(session, cast, weigh.pk, StepIn(act="undo"))
    steps.record(session, cast, sorbitol.pk, StepIn(act="undo"))
    steps.record(session, cast, weigh.pk, StepIn(act="undo"))
    assert weigh.done_at is None
    with pytest.raises(Conflict):
        steps.record(session, cast, weigh.pk, StepIn(act="done"), "", seen)
    assert [n.words.split(":")[0] for n in casting.notes(session, cast.evening)] == ["Undone", "Undone"]
    with pytest.raises(Refused, match="nothing to undo"):
        steps.record(session, cast, weigh.pk, StepIn(act="undo"))


def test_a_step_of_another_melt(session: Session) -> None:
    one, two = build.weighed_batch(session), build.weighed_batch(session)
    foreign = casting.the_open(session, two).steps[0]
    with pytest.raises(Refused, match="another melt"):
        steps.record(session, casting.the_open(session, one), foreign.pk, StepIn(act="done"))


# --- Sets ----------------------------------------------------------------------------------------


def test_the_next_set_is_poured_when_the_compactions_of_the_first_are_done(session: Session) -> None:
    with clock.turned_to(NOON) as turn:
        batch = build.cast(session)
        cast = casting.the_open(session, batch)
        assert sets_poured.add_set(session, cast, SetIn(moulds="2 of the 54 mm grains")) == 2
        assert "2 of the 54 mm grains" in of(cast, "pour", 2).words
        with pytest.raises(Refused, match=r"Set 1 still needs your hands: “Set the coring rods"):
            do(session, cast, "pour", 2)
        for minute, key in ((3, "core"), (18, "compact:1"), (28, "compact:2")):
            turn(NOON + minute * MINUTES)
            do(session, cast, key)
            assert (2, "pour") not in next_keys(session, batch)
        turn(NOON + 38 * MINUTES)
        do(session, cast, "compact:3")
        # What is free now comes before what is due later.
        assert next_keys(session, batch) == [(2, "pour"), (1, "pull")]
        do(session, cast, "pour", 2)
        turn(NOON + 42 * MINUTES)
        do(session, cast, "core", 2)
        now = run(session, batch)
        assert now[2, "compact:1"].due_at == NOON + (38 + 18) * MINUTES
        assert now[1, "pull"].due_at == NOON + 90 * MINUTES
        assert now[1, "pull"].words.startswith("Set 1: Pull")
        turn(NOON + 95 * MINUTES)
        assert next_keys(session, batch) == [(2, "compact:1"), (1, "pull")]
        do(session, cast, "pull", 1)  # the other set does not hold it back
        assert casting.poured_at(session, batch) == NOON + 38 * MINUTES  # the cure counts from the last pour


def test_a_set_poured_holds_the_compaction_before_it(session: Session) -> None:
    batch = build.cast(session, until="compact:3")
    cast = casting.the_open(session, batch)
    sets_poured.add_set(session, cast, SetIn(moulds="one more"))
    do(session, cast, "pour", 2)
    with pytest.raises(Refused, match=r"was settled after it\. Undo that first"):
        steps.record(session, cast, of(cast, "compact:3").pk, StepIn(act="undo"))
    with pytest.raises(Refused, match="Set 2 was begun"):
        sets_poured.drop_set(session, cast)


def test_a_set_not_begun_is_taken_out_again(session: Session) -> None:
    batch = build.cast(session)
    cast = casting.the_open(session, batch)
    with pytest.raises(Refused, match="first set stays"):
        sets_poured.drop_set(session, cast)
    seen = cast.version
    sets_poured.add_set(session, cast, SetIn(moulds="one"), seen)
    with pytest.raises(Conflict):
        sets_poured.add_set(session, cast, SetIn(moulds="one"), seen)
    sets_poured.drop_set(session, cast)
    assert steps.sets(cast) == 1


def test_there_is_an_end_to_sets(session: Session) -> None:
    cast = casting.the_open(session, build.cast(session))
    for _ in range(sets_poured.MOST_SETS - 1):
        sets_poured.add_set(session, cast, SetIn(moulds="one"))
    with pytest.raises(Refused, match="at most 9 sets"):
        sets_poured.add_set(session, cast, SetIn(moulds="one"))


def test_two_sessions_overlap_and_the_second_is_told_to_wait(session: Session) -> None:
    with clock.turned_to(NOON) as turn:
        first = build.cast(session, until="core")
        second = build.cast(session, until="oxidiser:3")
        running = casting.due(session)
        assert f"{first.code} still needs your hands" in casting.wait_for(running, second)
        assert casting.wait_for(running, first) == ""
        assert [c.batch.code for c in casting.coming(running)] == [first.code, second.code]
        cast, mark = casting.the_open(session, first), casting.mark(running)
        for minute, key in ((18, "compact:1"), (28, "compact:2"), (38, "compact:3")):
            turn(NOON + minute * MINUTES)
            do(session, cast, key)
        running = casting.due(session)
        assert casting.wait_for(running, second) == ""
        assert casting.mark(running) != mark


# --- Times told afterwards -------------------------------------------------------------------------


def test_a_forgotten_tap_is_told_and_what_follows_counts_from_it(session: Session) -> None:
    with clock.turned_to(NOON) as turn:
        batch = build.cast(session, until="core")
        cast = casting.the_open(session, batch)
        turn(NOON + 25 * MINUTES)
        steps.tell_time(session, cast, of(cast, "compact:1").pk, told("12:18"), "Ada")
        assert of(cast, "compact:1").done_at == NOON + 18 * MINUTES
        assert run(session, batch)[1, "compact:2"].due_at == NOON + 28 * MINUTES
        steps.tell_time(session, cast, of(cast, "compact:1").pk, told("12.20", "Read the sheet again."))
        assert run(session, batch)[1, "compact:2"].due_at == NOON + 30 * MINUTES
    first, second = (note.words for note in casting.notes(session, cast.evening))
    assert "entered as 12:18; it had no time. Forgot to tap." in first
    assert "entered as 12:20; it was 12:18. Read the sheet again." in second


@pytest.mark.parametrize(
    ("at", "words"),
    [
        ("soon", "Type a time such as 14:05"),
        ("", "Type a time such as 14:05"),
        ("25:00", "no such day or hour"),
        ("2026-02-30 10:00", "no such day or hour"),
        ("2026-11-25 12:40", "still to come; it is 12:25 now"),
        ("2026-11-01 12:00", "more than a week back"),
        ("11:59", "“Set the coring rods, straight and down to the stop.” was done at 12:00, after this"),
    ],
)
def test_times_that_cannot_be(session: Session, at: str, words: str) -> None:
    with clock.turned_to(NOON) as turn:
        cast = casting.the_open(session, build.cast(session, until="core"))
        turn(NOON + 25 * MINUTES)
        with pytest.raises(Refused, match=words) as caught:
            steps.tell_time(session, cast, of(cast, "compact:1").pk, told(at))
    assert caught.value.field == "at"
    assert of(cast, "compact:1").done_at is None


def test_a_told_time_stays_between_its_neighbours_and_in_its_turn(session: Session) -> None:
    with clock.turned_to(NOON) as turn:
        cast = casting.the_open(session, build.cast(session, until="core"))
        turn(NOON + 20 * MINUTES)
        do(session, cast, "compact:1")
        turn(NOON + 30 * MINUTES)
        with pytest.raises(Refused, match=r"“Compact the first time\.” was done at 12:20, before this"):
            steps.tell_time(session, cast, of(cast, "core").pk, told("12:25"))
        with pytest.raises(Refused, match="comes first"):
            steps.tell_time(session, cast, of(cast, "pull").pk, told("12:25"))
        steps.record(session, cast, of(cast, "compact:2").pk, StepIn(act="skip", why="Set already."))
        with pytest.raises(Refused, match="was skipped"):
            steps.tell_time(session, cast, of(cast, "compact:2").pk, told("12:28"))


def test_yesterdays_time_is_meant_when_todays_is_to_come() -> None:
    with clock.turned_to(wall("2026-11-26T00:10")):
        assert moments.parse("23:50") == wall("2026-11-25T23:50")
        assert moments.parse("00:05") == wall("2026-11-26T00:05")
        assert moments.words(wall("2026-11-25T23:50")) == "23:50 on 25 Nov"


# --- Clocks that change ----------------------------------------------------------------------------


def test_due_times_hold_over_the_change_to_winter(session: Session, berlin: None) -> None:
    """On 25 October 2026 Berlin's clocks go from 3:00 back to 2:00 (EU directive 2000/84: last Sunday, 1:00 UTC)."""
    poured = datetime(2026, 10, 25, 0, 30, tzinfo=UTC)  # 2:30 summer time
    with clock.turned_to(poured) as turn:
        batch = build.cast(session, until="pour")
        assert run(session, batch)[1, "pull"].due_at == poured + 90 * MINUTES
        turn(poured + 40 * MINUTES)  # 2:10 winter time: the wall clock shows less than at the pour
        assert f"{clock.local(clock.now()):%H:%M}" == "02:10"
        cast = casting.the_open(session, batch)
        said = steps.warnings(cast, list(run(session, batch).values()))
        assert not any("clock reads earlier" in words for words in said)
        do(session, cast, "core")
        assert of(cast, "core").done_at == poured + 40 * MINUTES
        assert run(session, batch)[1, "compact:1"].late_s == 22 * 60
        # 2:40 was there once, in summer time: the second one is still to come.
        assert moments.parse("02:40") == datetime(2026, 10, 25, 0, 40, tzinfo=UTC)
        turn(poured + 75 * MINUTES)  # 2:45 winter time: now the second 2:40 is the last one that was
        assert moments.parse("02:40") == datetime(2026, 10, 25, 1, 40, tzinfo=UTC)


def test_due_times_hold_over_the_change_to_summer(session: Session, berlin: None) -> None:
    """On 29 March 2026 Berlin's clocks go from 2:00 on to 3:00 (EU directive 2000/84)."""
    poured = datetime(2026, 3, 29, 0, 50, tzinfo=UTC)  # 1:50
    with clock.turned_to(poured) as turn:
        batch = build.cast(session, until="pour")
        core = run(session, batch)[1, "compact:1"].due_at
        assert core is not None
        assert f"{clock.local(core):%H:%M}" == "03:08"
        turn(poured + 30 * MINUTES)
        with pytest.raises(Refused, match="clock change left that time out"):
            moments.parse("02:30")
        assert run(session, batch)[1, "compact:1"].late_s == 12 * 60


def test_a_clock_set_back_is_told(session: Session) -> None:
    with clock.turned_to(NOON) as turn:
        batch = build.cast(session, until="core")
        turn(NOON - 60 * MINUTES)
        cast = casting.the_open(session, batch)
        (words,) = steps.warnings(cast, list(run(session, batch).values()))
        assert "clock reads earlier than the last step" in words
        assert run(session, batch)[1, "compact:1"].due_at == NOON + 18 * MINUTES


# --- Nights ------------------------------------------------------------------------------------------


def test_cores_that_come_due_at_night_are_told_before_the_pour(session: Session) -> None:
    """Rods left in overnight seize: common practice, no source."""
    evening = wall("2026-11-25T20:15")
    with clock.turned_to(evening) as turn:
        batch = build.cast(session, until="oxidiser:3")
        cast = casting.the_open(session, batch)
        (words,) = steps.warnings(cast, list(run(session, batch).values()))
        assert words.startswith("The cores of a pour at 20:15 come due at 21:45. Somebody must be here then: left in ")
        do(session, cast, "pour")
        turn(evening + 10 * MINUTES)
        (words,) = steps.warnings(cast, list(run(session, batch).values()))
        assert words.startswith("The cores come due at 21:45.")
        turn(evening + 3 * 60 * MINUTES)
        (words,) = steps.warnings(cast, list(run(session, batch).values()))
        assert words.startswith("The cores are late by 90 min: pull them now.")


def test_a_night_is_the_same_night_after_midnight(session: Session) -> None:
    """Poured at 23:50: what was told of the cores before midnight is told after it, until they are pulled."""
    with clock.turned_to(wall("2026-11-25T23:50")) as turn:
        batch = build.cast(session, until="pour")
        cast = casting.the_open(session, batch)
        before = steps.warnings(cast, list(run(session, batch).values()))
        assert [words[:41] for words in before] == ["The cores come due at 01:20 on 26 Nov. So"]
        turn(wall("2026-11-26T00:10"))
        after = steps.warnings(cast, list(run(session, batch).values()))
        assert [words[:32] for words in after] == ["The cores come due at 01:20. Som"]


def test_a_page_left_open_is_out_of_date_with_the_day_and_with_each_alarm(session: Session) -> None:
    def mark() -> str:
        return casting.mark(casting.due(session))

    with clock.turned_to(wall("2026-11-25T19:00")) as turn:
        quiet = mark()  # no session is open
        cast = casting.the_open(session, build.cast(session, until="oxidiser:3"))
        assert cast.evening.closed_at is None
        marks = [mark()]
        for at in ("25T19:25", "25T19:40", "25T22:00", "25T23:59", "26T00:01"):
            turn(wall(f"2026-11-{at}"))
            marks.append(mark())
    assert marks[0] == marks[1], "nothing is said loudly yet: cores of a pour at 19:25 come due at 20:55"
    assert marks[1] != marks[2], "those of a pour at 19:40 come due at 21:10"
    assert marks[2] == marks[3], "the same words, at another minute"
    assert marks[4] != marks[5], "a new day"
    with clock.turned_to(wall("2026-11-26T19:00")):
        assert quiet.split(".")[0] != mark().split(".")[0]


def test_at_noon_nothing_is_said_of_the_night(session: Session) -> None:
    with clock.turned_to(NOON):
        batch = build.cast(session, until="oxidiser:3")
        assert steps.warnings(casting.the_open(session, batch), list(run(session, batch).values())) == []


def test_a_session_left_open_overnight_is_closed_with_a_reason(session: Session) -> None:
    with clock.turned_to(NOON) as turn:
        batch = build.cast(session, until="bag")
        cast = casting.the_open(session, batch)
        leftovers.tell_test_pieces(session, batch, TestPiecesIn.model_validate({"test_pieces": "0 g"}))
        assert not casting.overnight(cast.evening)
        turn(NOON + timedelta(hours=20))
        assert casting.overnight(cast.evening)
        assert casting.due(session)[0].overnight
        with pytest.raises(Refused, match="open since 12:00 on 25 Nov") as caught:
            casting.close(session, batch, CloseIn())
        assert caught.value.field == "why"
        casting.close(session, batch, CloseIn(why="Forgot to close; cores were out at 13:30."))
    assert "Closed a day late: Forgot to close" in casting.notes(session, cast.evening)[-1].words


# --- Paper --------------------------------------------------------------------------------------


def test_a_sheet_filled_in_on_paper_is_entered_afterwards(session: Session) -> None:
    with clock.turned_to(NOON) as turn:
        batch = build.weighed_batch(session)
        cast = casting.the_open(session, batch)
        turn(NOON + timedelta(hours=4))
        rows = [{"step_id": step.pk, "at": f"12:{5 * i:02d}"} for i, step in enumerate(cast.steps[:10])]
        rows += [
            {"step_id": cast.steps[10].pk, "skipped": "It was set."},
            {"step_id": cast.steps[11].pk, "at": "13:40"},
        ]
        rows += [{"step_id": cast.steps[12].pk}]
        readings = [{"at": "12:08", "temperature": "231 F"}, {"at": "12:20", "temperature": "240 F"}]
        assert from_paper.enter(session, batch, PaperIn.model_validate({"steps": rows, "readings": readings})) == 14
        done = {step.key: step.done_at for step in cast.steps}
        assert done["pour"] == NOON + 30 * MINUTES
        assert (done["compact:3"], of(cast, "compact:3").skipped_why) == (None, "It was set.")
        assert done["bag"] is None
        assert next_keys(session, batch) == [(1, "bag")]
    assert [r.read_at for r in pan.readings(session, cast)] == [NOON + 20 * MINUTES, NOON + 8 * MINUTES]
    assert casting.notes(session, cast.evening)[-1].words == "Entered afterwards, 14 lines: Entered from paper."


def test_a_sheet_that_does_not_fit_is_refused_beside_its_line(session: Session) -> None:
    with clock.turned_to(NOON) as turn:
        batch = build.weighed_batch(session)
        cast = casting.the_open(session, batch)
        turn(NOON + timedelta(hours=4))
        first, second, third = (step.pk for step in cast.steps[:3])
        for rows, field, words in (
            ([{"step_id": first, "at": "12:10"}, {"step_id": second, "at": "12:05"}], "steps.1.at", "after this"),
            ([{"step_id": first}, {"step_id": second, "at": "12:05"}], "steps.1.at", "comes first"),
            ([{"step_id": first, "skipped": "no"}], "steps.0.skipped", "few words"),
            ([{"step_id": third, "at": "12:05", "skipped": "It was."}], "steps.0.at", "empty one"),
            ([{"step_id": first}], None, "Nothing is filled in"),
        ):
            with pytest.raises(Refused, match=words) as caught:
                from_paper.enter(session, batch, PaperIn.model_validate({"steps": rows}))
            assert caught.value.field == field
            session.rollback()
            batch = build.weighed_batch(session)
            cast = casting.the_open(session, batch)
            first, second, third = (step.pk for step in cast.steps[:3])
