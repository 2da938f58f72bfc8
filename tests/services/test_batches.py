"""Batches: their codes, and what they are made of."""

from datetime import date

import pytest
from sqlmodel import Session

from app.services import batches, planning
from tests import build


def test_lot_code_counts_within_its_month(session: Session) -> None:
    codes = [build.batch(session, planned_for=day).code for day in (
        date(2026, 11, 2), date(2026, 11, 30), date(2026, 12, 1), date(2027, 1, 1), date(2026, 11, 3))]  # fmt: skip
    assert codes == ["26K1", "26K2", "26L1", "27A1", "26K3"]


def test_a_dropped_batch_keeps_its_code(session: Session) -> None:
    first = build.batch(session, planned_for=date(2026, 11, 2))
    planning.drop(session, first, "Rain.")
    assert batches.lot_code(session, date(2026, 11, 9)) == "26K2"


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
