"""The day: first steps of a new book, what runs, what is due, what is short, what is ready."""

from datetime import timedelta
from pathlib import Path

from sqlmodel import Session

from app import clock
from app.db import open_engine, writing
from app.models.batch import TestPiecesIn
from app.models.cast import CloseIn
from app.services.book import workshop
from app.services.cast import casting, leftovers, planning
from app.services.today import next_thing, today
from app.units import METRIC
from tests import build
from tests.moment import wall

NOON = wall("2026-11-25T12:00")


def test_a_new_book_says_what_to_enter_first(new_book: Path, tmp_path: Path) -> None:
    book = tmp_path / "book.sqlite3"
    book.write_bytes(new_book.read_bytes())
    engine = open_engine(book)
    with writing(engine) as session:
        _first_steps(session)
    engine.dispose()


def _first_steps(session: Session) -> None:
    day = today.day(session)
    assert not day.running
    assert not day.plans
    assert [step.done for step in day.first_steps] == [False] * len(day.first_steps)
    build.supply(session)
    build.formula(session)
    done = {step.href.rsplit("/", 1)[-1]: step.done for step in today.day(session).first_steps}
    assert list(done)[:5] == ["start", "settings", "formulas", "patterns", "supplies"], (
        "units first: all is typed in them; bags are asked for once it is known of what"
    )
    assert [name for name, is_done in done.items() if is_done] == ["formulas", "supplies"]
    build.case(session)
    shop = workshop.get(session)
    shop.length_unit, shop.pan_capacity_kg, shop.known_melt_kg = "in", 5.0, 5.0
    session.flush()
    done = {step.href.rsplit("/", 1)[-1]: step.done for step in today.day(session).first_steps}
    assert (done["settings"], done["cases"], done["nozzles"]) == (True, True, False)
    build.batch(session)
    assert today.day(session).first_steps == []


def test_planned_and_short(session: Session) -> None:
    batch = build.batch(session)
    day = today.day(session)
    assert [plan.batch.code for plan in day.plans] == [batch.code]
    assert {need.ingredient for need in day.short} == {"potassium_nitrate", "sorbitol", "sucrose"}
    assert [need.short_kg for need in day.plans[0].short] == [part.target_kg for part in batch.parts]
    build.stock(session, batch)
    day = today.day(session)
    assert (day.short, day.plans[0].short, day.plans[0].overdue) == ([], [], False)
    with clock.turned_to(clock.now() + timedelta(days=1)):
        assert today.day(session).plans[0].overdue
    planning.drop(session, batch, "No time.")
    day = today.day(session)
    assert not day.plans
    assert day.lack is not None
    (nothing_else,) = next_thing.things(day, METRIC)
    assert (nothing_else.words, nothing_else.href) == (day.lack.words, day.lack.href)


def test_running_sessions_the_most_pressing_first(session: Session) -> None:
    with clock.turned_to(NOON) as turn:
        late = build.cast(session, until="core")
        turn(NOON + timedelta(minutes=10))
        later = build.cast(session, until="core")
        turn(NOON + timedelta(minutes=20))
        running = today.day(session).running
    assert [run.batch.code for run in running] == [late.code, later.code]
    first, second = (run.coming[0] for run in running)
    assert (first.step.key, first.late, second.late) == ("compact:1", True, False)


def test_a_closed_session_no_longer_runs(session: Session) -> None:
    batch = build.cast(session, until="bag")
    leftovers.tell_test_pieces(session, batch, TestPiecesIn.model_validate({"test_pieces": "0 g"}))
    casting.close(session, batch, CloseIn())
    assert today.day(session).running == []


def test_grains_from_bench_to_ready(session: Session) -> None:
    lot = build.cast(session, 3)
    build.grain(session, lot, decision=None)
    build.grain(session, lot, decision="accept")
    day = today.day(session)
    assert (len(day.undecided), day.ready) == (1, 0)
    assert [(lot.code, lot.count) for lot in day.curing] == [(lot.code, 1)]
    with clock.turned_to(clock.now() + timedelta(seconds=workshop.get(session).cure_s + 1)):
        day = today.day(session)
        assert (day.ready, day.curing) == (1, [])
