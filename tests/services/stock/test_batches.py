"""Batches: their codes, and what they are made of."""

import re
from datetime import date

import pytest
from sqlmodel import Session

from app.services.book import serials
from app.services.cast import planning
from app.services.stock import batches
from tests import build


def test_lot_code_counts_within_its_month(session: Session) -> None:
    codes = [
        build.batch(session, planned_for=day).code
        for day in (date(2026, 11, 2), date(2026, 11, 30), date(2026, 12, 1), date(2027, 1, 1), date(2026, 11, 3))
    ]
    assert codes == ["2611P", "2611Q", "2612P", "2701P", "2611R"]


def test_a_month_of_many_batches_goes_on_with_two_letters(session: Session) -> None:
    day = date(2026, 11, 2)
    codes = [build.batch(session, planned_for=day).code for _ in range(13)]
    assert codes[9:] == ["2611Y", "2611Z", "2611PP", "2611PQ"]
    taken = [f"2611{a}{b}" for a in "PQRSTUVWXYZ" for b in "PQRSTUVWXYZ"]
    assert serials.lot_code(day, taken) == "2611PPP"


def test_no_new_code_reads_like_a_class_of_impulse(session: Session) -> None:
    """Classes go by letters A to O, each twice the one before (NFPA 1125); a motor is named by class and thrust, K1."""
    for month in range(1, 13):
        code = build.batch(session, planned_for=date(2027, month, 2)).code
        motor = serials.motor_prefix(date(2027, month, 2)) + "031"
        for text in (f"{code}-04", motor):
            assert not re.search("[A-O]", text), text


def test_lots_of_older_books_stay_beside_the_new_ones_in_order_of_time(session: Session) -> None:
    day = date(2026, 11, 2)
    old = build.batch(session, planned_for=day)
    old.code = "26K3"  # as a book of before has it
    session.flush()
    new = build.batch(session, planned_for=day)
    assert new.code == "2611P"
    december = build.batch(session, planned_for=date(2026, 12, 2))
    assert [b.code for b in batches.in_states(session, "planned")] == ["26K3", "2611P", december.code]
    assert batches.by_code(session, "26k3") is old


def test_a_dropped_batch_keeps_its_code(session: Session) -> None:
    first = build.batch(session, planned_for=date(2026, 11, 2))
    planning.drop(session, first, "Rain.")
    assert batches.lot_code(session, date(2026, 11, 9)) == "2611Q"


def test_composition_follows_what_was_weighed(session: Session) -> None:
    blend = build.formula(session, parts={"potassium nitrate": "65 %", "sorbitol": "35 %"})
    old = build.weighed_batch(session, blend=blend)
    made = batches.composition(session, old)
    assert made == pytest.approx({"potassium_nitrate": 0.65, "sorbitol": 0.35}, abs=2e-4)
    kept = build.leftover(session, old)
    next_blend = build.formula(session, parts={"potassium nitrate": "65 %", "sorbitol": "28 %", "sucrose": "7 %"})
    batch = build.batch(session, blend=next_blend, remelts=[{"leftover_id": kept.pk, "mass": "40 g"}])
    build.weighed_batch(session, batch=batch)
    assert batches.composition(session, batch) == pytest.approx(next_blend.blend, abs=2e-4)
    assert batches.leftovers_left(session)[kept.pk] == pytest.approx(0.010)
