"""Acts at the bench: a serial scanned, a grain trimmed, a weighing taken back, all clear grains accepted."""

from datetime import timedelta
from typing import Any

import pytest
from sqlmodel import Session, select

from app import clock
from app.errors import Conflict, Refused
from app.models import Batch, Grain, Leftover, StruckWeighing
from app.models.grain import BenchIn, DecisionIn
from app.services.grains import bench, decisions, grains, lots, weighing
from tests import build
from tests.moment import wall

NOON = wall("2026-11-25T12:00")


def _weigh(session: Session, lot: Batch, gross: str, number: str | int | None = None, **more: Any) -> Grain:
    texts = {"pattern_id": lot.items[0].pattern_id, "number": number or grains.next_number(session, lot)}
    return bench.weigh_at_bench(session, lot, BenchIn.model_validate({**texts, "gross": gross, **more}))


# --- The grain that is meant ---------------------------------------------------------------------


@pytest.mark.parametrize("text", ["4", "04", " 4 ", "{lot}-04", "{lot}-4", "http://127.0.0.1:8765/shelf/{lot}-04"])
def test_a_number_or_a_serial_names_a_grain(session: Session, text: str) -> None:
    lot = build.batch(session)
    for typed in (text.format(lot=lot.code), text.format(lot=lot.code.lower())):
        assert weighing.number_of(lot, typed) == 4


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("99Z9-04", "is a grain of lot 99Z9"),
        ("heavy", "is no grain of this lot"),
        ("0", "at least 1"),
        ("1000", "is no grain"),
        ("-4", "is no grain"),
        ("4.5", "is no grain"),
        ("٤", "is no grain"),
    ],
)
def test_another_lot_s_grain_and_no_grain_at_all_are_refused_in_words(session: Session, text: str, words: str) -> None:
    with pytest.raises(Refused, match=words) as refused:
        weighing.number_of(build.batch(session), text)
    assert refused.value.field == "number"


# --- A grain on the scale again ------------------------------------------------------------------


def test_a_trimmed_grain_keeps_both_weights_and_its_offcut_is_scrap(session: Session) -> None:
    lot = build.cast(session)
    grain = _weigh(session, lot, "172 g")
    assert _weigh(session, lot, "168,5 g", grain.serial, again="trimmed") is grain
    assert grain.mass_kg == pytest.approx(0.1685)
    (before,) = grains.history(session, grain)
    assert (before.gross_typed, before.why) == ("172 g", "Trimmed.")
    assert before.offcut_kg == pytest.approx(0.0035)
    assert session.exec(select(Leftover)).all() == []


def test_an_offcut_can_be_kept_for_remelt(session: Session) -> None:
    lot = build.cast(session)
    grain = _weigh(session, lot, "172 g")
    _weigh(session, lot, "170 g", 1, again="trimmed", offcut="remelt")
    _weigh(session, lot, "169 g", 1, again="trimmed", offcut="remelt")
    kept = session.exec(select(Leftover)).all()
    assert [(row.mark, round(row.mass_kg, 6)) for row in kept] == [
        (f"{grain.serial} offcut", 0.002),
        (f"{grain.serial} offcut 2", 0.001),
    ]
    assert [m.offcut_kg for m in grains.history(session, grain)] == [0.0, 0.0]


def test_trimming_takes_mass_off(session: Session) -> None:
    lot = build.cast(session)
    _weigh(session, lot, "169 g")
    with pytest.raises(Refused, match="weighs less than before") as refused:
        _weigh(session, lot, "172 g", 1, again="trimmed")
    assert refused.value.field == "gross"


def test_a_first_weighing_that_was_wrong_is_no_offcut(session: Session) -> None:
    lot = build.cast(session)
    grain = _weigh(session, lot, "172 g")
    _weigh(session, lot, "169 g", 1, again="wrong")
    (before,) = grains.history(session, grain)
    assert (before.why, before.offcut_kg) == ("The first weighing was wrong.", 0.0)


def test_a_grain_weighed_already_is_asked_about(session: Session) -> None:
    lot = build.cast(session)
    _weigh(session, lot, "172 g")
    with pytest.raises(Refused, match="say below what happened") as refused:
        _weigh(session, lot, "171 g", f"{lot.code}-01")
    assert refused.value.field == "number"


# --- Taken back within a minute ------------------------------------------------------------------


def test_a_weighing_is_taken_back_within_a_minute_and_stays_readable(session: Session) -> None:
    with clock.turned_to(NOON) as turn:
        lot = build.cast(session)
        _weigh(session, lot, "172 g")
        grain = _weigh(session, lot, "171 g")
        turn(NOON + timedelta(seconds=60))
        bench.take_back(session, grain)
        assert [g.number for g in session.exec(select(Grain))] == [1]
        assert grains.next_number(session, lot) == 2
        (struck,) = bench.taken_back(session, lot)
        assert (struck.serial, struck.gross_typed) == (f"{lot.code}-02", "171 g")
        assert struck.mass_kg == pytest.approx(0.171)
        assert (struck.weighed_at, struck.struck_at) == (NOON, NOON + timedelta(seconds=60))
        assert _weigh(session, lot, "170 g").serial == f"{lot.code}-02"


@pytest.mark.parametrize("seconds", [61, -1])
def test_after_a_minute_or_with_the_clock_set_back_it_stays(session: Session, seconds: int) -> None:
    with clock.turned_to(NOON) as turn:
        grain = _weigh(session, build.cast(session), "172 g")
        turn(NOON + timedelta(seconds=seconds))
        with pytest.raises(Refused, match="within a minute"):
            bench.take_back(session, grain)
    assert session.exec(select(StruckWeighing)).all() == []


def test_what_was_decided_on_or_weighed_again_is_not_taken_back(session: Session) -> None:
    lot = build.cast(session)
    decided = build.grain(session, lot, decision="hold")
    again = _weigh(session, lot, "172 g")
    _weigh(session, lot, "171 g", again.number, again="wrong")
    for grain in (decided, again):
        with pytest.raises(Refused, match="decided on or weighed again"):
            bench.take_back(session, grain)


def test_a_page_left_open_cannot_decide_on_the_new_weighing_of_that_number(session: Session) -> None:
    lot = build.cast(session)
    old = _weigh(session, lot, "172 g")
    seen = old.version
    bench.take_back(session, old)
    new = _weigh(session, lot, "171 g")
    assert (new.number, new.version != seen) == (1, True)
    with pytest.raises(Conflict):
        decisions.decide(session, new, DecisionIn(decision="accept", person="Ada"), seen)


def test_a_weighing_taken_back_leaves_no_mass_behind(session: Session) -> None:
    lot = build.cast(session)
    before = lots.balance(session, lot)
    bench.take_back(session, _weigh(session, lot, "172 g"))
    assert lots.balance(session, lot) == before


# --- All at once ---------------------------------------------------------------------------------


def test_only_what_the_numbers_accept_is_accepted_at_once(session: Session) -> None:
    lot = build.cast(session, 4)
    clear = [build.grain(session, lot, 0.96, None) for _ in range(2)]
    look, held = build.grain(session, lot, 0.92, None), build.grain(session, lot, 0.96, "hold")
    assert bench.accept_clear(session, lot, "Ada") == 2
    assert [(g.decision, g.decided_by) for g in clear] == [("accept", "Ada")] * 2
    assert (look.decision, held.decision) == (None, "hold")
    with pytest.raises(Refused, match="No grain of this lot waits"):
        bench.accept_clear(session, lot, "Ada")


def test_accepting_at_once_is_signed(session: Session) -> None:
    lot = build.cast(session)
    build.grain(session, lot, 0.96, None)
    with pytest.raises(Refused) as refused:
        bench.accept_clear(session, lot)
    assert refused.value.field == "person"
