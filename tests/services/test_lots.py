"""Mass balance and evenness of lots."""

import pytest
from sqlmodel import Session

from app.models import Batch
from app.models.batch import LeftoverIn, TestPiecesIn, VoidIn
from app.services import casting, grains, lots, weigh_outs
from tests import build


def _test_pieces(session: Session, lot: Batch, mass: str) -> None:
    casting.tell_test_pieces(session, lot, TestPiecesIn.model_validate({"test_pieces": mass}))


def test_mass_is_conserved(session: Session) -> None:
    lot = build.cast(session, 2)
    masses = [build.grain(session, lot).mass_kg for _ in range(2)]
    _test_pieces(session, lot, "10 g")
    casting.keep_leftover(session, lot, LeftoverIn.model_validate({"mark": "L1", "mass": "8 g"}))
    found = lots.balance(session, lot)
    assert found is not None
    assert found.weighed_in == pytest.approx(sum(part.target_kg for part in lot.parts))
    assert found.weighed_in == pytest.approx(sum(masses) + 0.010 + 0.008 + found.loss, abs=1e-12)
    assert (found.grain_count, found.flag) == (2, "accept")


def test_nothing_weighed_in_has_no_balance(session: Session) -> None:
    assert lots.balance(session, build.batch(session)) is None


def test_a_lot_not_wholly_weighed_waits(session: Session) -> None:
    lot = build.cast(session, 3)
    build.grain(session, lot)
    found = lots.balance(session, lot)
    assert found is not None
    assert found.flag == "wait"
    assert "2 of 3 planned grains are not weighed" in found.words
    for _ in range(2):
        build.grain(session, lot)
    assert "test pieces" in lots.balance(session, lot).words  # type: ignore[union-attr]


def test_more_out_than_in_is_flagged(session: Session) -> None:
    lot = build.cast(session, 1)
    build.grain(session, lot)
    build.grain(session, lot)
    found = lots.balance(session, lot)
    assert found is not None
    assert (found.flag, found.loss < 0) == ("reject", True)
    assert "More came out than went in" in found.words


def test_a_loss_beyond_the_over_pour_is_looked_at(session: Session) -> None:
    lot = build.cast(session, 2, over_pour="5 %")
    for _ in range(2):
        build.grain(session, lot, share=0.86, decision=None)
    _test_pieces(session, lot, "10 g")
    found = lots.balance(session, lot)
    assert found is not None
    assert found.loss > 0.05 * found.weighed_in
    assert found.flag == "look"


def test_what_was_struck_out_did_not_go_in(session: Session) -> None:
    lot = build.cast(session, 1)
    before = lots.balance(session, lot)
    drawn = weigh_outs.of_batch(session, lot)[0].draws[0].weigh_out
    weigh_outs.strike_out(session, lot, drawn.pk, VoidIn(why="wrong bowl"))
    after = lots.balance(session, lot)
    assert before is not None
    assert after is not None
    assert before.weighed_in - after.weighed_in == pytest.approx(drawn.mass_kg)


def test_spread_agrees_with_the_certified_values_of_a_reference_set() -> None:
    """NIST StRD univariate set NumAcc1: 10000001, 10000003, 10000002; mean 10000002, sd 1 (from memory)."""
    found = lots.spread([10000001.0, 10000003.0, 10000002.0])
    assert found == lots.Spread(3, 10000002.0, 1.0, 10000001.0, 10000003.0)


def test_one_value_has_no_spread_and_none_has_nothing() -> None:
    assert lots.spread([3.0]) == lots.Spread(1, 3.0, None, 3.0, 3.0)
    assert lots.spread([]) is None


def test_masses_compare_within_one_pattern(session: Session) -> None:
    long, short = build.pattern(session), build.pattern(session, length="50 mm")
    items = [{"pattern_id": long.pk, "count": 2}, {"pattern_id": short.pk, "count": 1}]
    lot = build.cast(session, items=items)
    first, second = build.grain(session, lot, share=0.95), build.grain(session, lot, share=0.97)
    build.grain(session, lot, share=0.96, pattern_id=short.pk)
    found = lots.evenness(grains.of_batch(session, lot))
    assert found.density is not None
    assert (found.density.n, found.density.mean) == (3, pytest.approx(0.96, abs=1e-3))
    assert [(p.name, m.n) for p, m in found.masses] == [(long.name, 2), (short.name, 1)]
    assert found.masses[0][1].mean == pytest.approx((first.mass_kg + second.mass_kg) / 2)
