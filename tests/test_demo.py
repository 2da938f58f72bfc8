"""The demonstration book obeys every rule of the book, because it is acted out through the services."""

import re
from collections.abc import Iterator
from datetime import timedelta
from itertools import chain, pairwise
from pathlib import Path

import pytest
from sqlalchemy import Engine
from sqlmodel import Session, col, select

from app import first_run
from app.book import export, import_zip
from app.db import open_engine, reading
from app.models import Batch, CastSession, Checklist, Firing, Grain, MotorBuild, Prediction
from app.services.cast import casting, pan, steps
from app.services.firings import curves
from app.services.grains import grains, looks, lots, reweighs, shelf, test_pieces
from app.services.hardware import inventory, throats
from app.services.season import casting as season_casting
from app.services.season import seasons
from app.services.stock import formulas
from app.services.today import today
from app.settings import resource
from tests.test_backups import everything


@pytest.fixture(scope="module")
def demo(demo_book: Path) -> Iterator[Engine]:
    assert not demo_book.with_suffix(".unfinished").exists()
    engine = open_engine(demo_book)
    yield engine
    engine.dispose()


@pytest.fixture
def book(demo: Engine) -> Iterator[Session]:
    with reading(demo) as session:
        yield session


def test_all_of_it_goes_out_and_in_again(demo: Engine, tmp_path: Path) -> None:
    book, again = Path(str(demo.url.database)), tmp_path / "again.sqlite3"
    export.write(book, tmp_path / "demo.zip")
    import_zip.import_book(tmp_path / "demo.zip", again, first_run.prepare)
    assert everything(again) == everything(book)


def test_the_file_is_whole(book: Session) -> None:
    connection = book.connection()
    assert connection.exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"
    assert connection.exec_driver_sql("PRAGMA foreign_key_check").all() == []


def test_both_kinds_of_code_are_in_it(book: Session) -> None:
    """Bags of a year ago bear the older codes: lists, labels and scans have both."""
    kinds_of: list[tuple[type[Batch | MotorBuild], str, str]] = [
        (Batch, r"\d\d[A-L]\d", r"\d{4}[P-Z]"),
        (MotorBuild, r"M\d\d[A-L]-\d\d", r"\d\d-\d{3}"),
    ]
    for table, older, new in kinds_of:
        codes = book.exec(select(table.code).order_by(col(table.id))).all()
        kinds = [bool(re.fullmatch(new, code)) for code in codes]
        assert set(kinds) == {True, False}, codes
        assert all(made_new or re.fullmatch(older, code) for made_new, code in zip(kinds, codes, strict=True)), codes


def test_two_winters_with_good_and_bad(book: Session) -> None:
    assert len(book.exec(select(Batch)).all()) >= 9
    results = {f.result for f in book.exec(select(Firing))}
    assert {"good", "weak"} <= results
    verdicts = {g.verdict for g in book.exec(select(Grain))}
    assert verdicts == {"accept", "look", "reject"}


def test_an_evening_of_three_melts_was_spent_last_winter(book: Session) -> None:
    """Each further melt came in by its short list; the second fed two sets; two melts' times overlap, two pans' do not.

    All of it invented, as its folder says.
    """
    cast = next(cast for cast in book.exec(select(CastSession)) if len(cast.melts) > 1)
    (opening,) = cast.openings
    lists = [book.get_one(Checklist, melt.checklist_id or opening.checklist_id) for melt in cast.melts]
    assert [listed.again for listed in lists] == [False, True, True]
    assert all(listed.completed_at and listed.person == opening.person for listed in lists)
    assert [steps.sets(melt) for melt in cast.melts] == [1, 2, 1]
    assert cast.closed_at is not None
    assert [note.melt_id for note in casting.notes(book, cast)] == [None]
    assert all(len(pan.readings(book, melt)) >= 2 for melt in cast.melts)
    done = [{step.key: step.done_at for step in melt.steps if step.done_at} for melt in cast.melts]
    for before, after in pairwise(done):
        assert before["pour"] < after["oxidiser:1"], "one hot pan at a time"
        assert after["weigh"] < max(before.values()), "nobody waits for the cores"
    lots = [book.get_one(Batch, melt.batch_id) for melt in cast.melts]
    weighed = [[v.grain for v in grains.of_batch(book, lot)] for lot in lots]
    assert [len(of) for of in weighed] == [2, 2, 2]
    assert len(looks.newest(book, chain(*weighed))) == 3
    assert "invented" in (resource("demo_data") / "README.md").read_text(encoding="utf-8")


def test_every_firing_has_its_prediction(book: Session) -> None:
    predicted = {p.motor_build_id for p in book.exec(select(Prediction))}
    assert {f.motor_build_id for f in book.exec(select(Firing))} <= predicted


def test_static_tests_have_the_curve_of_their_stand(book: Session) -> None:
    static = [f for f in book.exec(select(Firing)) if f.kind == "static" and f.measured_impulse_ns]
    assert static
    for firing in static:
        measured = curves.measured(book, firing)
        assert measured is not None
        assert measured.predicted is not None
        assert measured.result.total_impulse_ns == pytest.approx(firing.measured_impulse_ns, rel=0.01)
        assert measured.result.c_star_m_s is not None


def test_a_session_is_running_and_grains_are_ready(book: Session) -> None:
    running = casting.due(book)
    assert len(running) == 1
    assert running[0].coming[0].step.key == "compact:2"
    assert len(grains.ready(book)) >= 4


def test_its_next_step_is_due_as_the_book_is_opened(book: Session) -> None:
    made_at = max(b.created_at for b in book.exec(select(Batch)) if b.state == "planned")
    due_at = casting.due(book)[0].coming[0].due_at
    assert due_at is not None
    assert timedelta(0) < due_at - made_at <= timedelta(minutes=2)


def test_every_page_has_something_to_show(book: Session) -> None:
    day = today.day(book)
    assert day.running
    assert len(day.plans) == 2
    assert [need.ingredient for need in day.short] == ["dextrose"]
    fired = list(book.exec(select(Firing)))
    assert {"no_light", "rough", "weak", "good"} <= {f.result for f in fired}
    assert any(f.measured_peak_pressure_pa for f in fired)
    worn = next(n for n in inventory.nozzles(book) if len(inventory.measures(book, n)) > 2)
    assert 0 < throats.growth(book, worn).per_firing < 1e-4


def test_the_season_s_evenings_are_worked_out_and_hold(book: Session) -> None:
    season = seasons.current(book)
    assert season is not None
    found = season_casting.current(book, season)
    assert found is not None
    assert found.feasible
    assert found.ahead
    assert found.moved == ()


def test_no_lot_weighs_more_than_went_in(book: Session) -> None:
    closed = [b for b in book.exec(select(Batch)) if b.state == "cast"]
    for batch in closed:
        balance = lots.balance(book, batch)
        assert balance is not None
        assert balance.loss >= -1e-3, batch.code


def test_the_lot_of_the_wet_bags_gained_water_and_burned_slowly(book: Session) -> None:
    wet = next(b for b in book.exec(select(Batch)) if "wet night" in b.note)
    gains = reweighs.latest(grains.of_batch(book, wet))
    assert len(gains) == 4
    assert all(gain.moisture.real for gain in gains.values())
    rates = {line.batch.code: line.mean.mean for line in test_pieces.by_lot(book, formulas.get(book, wet.formula_id))}
    assert rates.pop(wet.code) < min(rates.values()) - 0.1


def test_bags_lie_somewhere(book: Session) -> None:
    assert "Drum, upper tray" in shelf.places(book)
