"""Mass balance and evenness of lots."""

import pytest
from sqlmodel import Session, select

from app.models import Batch, WeighOut
from app.models.batch import LeftoverIn, TestPiecesIn, VoidIn
from app.services.cast import leftovers, weigh_outs
from app.services.grains import grains, lots
from tests import build


def _test_pieces(session: Session, lot: Batch, mass: str) -> None:
    leftovers.tell_test_pieces(session, lot, TestPiecesIn.model_validate({"test_pieces": mass}))


def test_mass_is_conserved(session: Session) -> None:
    lot = build.cast(session, 2)
    masses = [build.grain(session, lot).mass_kg for _ in range(2)]
    _test_pieces(session, lot, "10 g")
    leftovers.keep(session, lot, LeftoverIn.model_validate({"mark": "L1", "mass": "8 g"}))
    found = lots.balance(session, lot)
    assert found is not None
    assert found.weighed_in == pytest.approx(sum(part.target_kg for part in lot.parts))
    assert found.weighed_in == pytest.approx(sum(masses) + 0.010 + 0.008 + found.loss, abs=1e-12)
    assert (found.grain_count, found.flag) == (2, "accept")


def test_nothing_weighed_in_has_no_balance(session: Session) -> None:
    assert lots.balance(session, build.batch(session)) is None


def test_grains_of_a_lot_whose_weighed_amounts_were_all_struck_out_are_told(session: Session) -> None:
    """Found by the random walk of tests/reliability/test_mass.py: there was no balance, and so no warning."""
    lot = build.cast(session, 1)
    grain = build.grain(session, lot)
    for row in session.exec(select(WeighOut)).all():
        weigh_outs.strike_out(session, lot, row.pk, VoidIn(why="wrong lot"))
    found = lots.balance(session, lot)
    assert found is not None
    assert (found.weighed_in, found.grains, found.flag) == (0.0, grain.mass_kg, "reject")


def test_a_lot_not_wholly_weighed_waits(session: Session) -> None:
    lot = build.cast(session, 3)
    build.grain(session, lot)
    found = lots.balance(session, lot)
    assert found is not None
    assert found.flag == "wait"
    assert "2 of 3 planned grains are not weighed" in found.words
    for _ in range(2):
        build.grain(session, lot)
    found = lots.balance(session, lot)
    assert found is not None
    assert "test pieces" in found.words


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
    assert found.density.n == 3
    assert found.density.mean == pytest.approx(0.96, abs=1e-3)
    assert [(p.name, m.n) for p, m in found.masses] == [(long.name, 2), (short.name, 1)]
    assert found.masses[0][1].mean == pytest.approx((first.mass_kg + second.mass_kg) / 2)


# --- Control charts ------------------------------------------------------------------------------


def _in_order(values: list[float]) -> list[tuple[str, float]]:
    return [(f"g{i}", value) for i, value in enumerate(values, start=1)]


def test_few_grains_have_points_and_a_mean_and_words_why(session: Session) -> None:
    lot = build.cast(session, 2)
    for share in (0.95, 0.97):
        build.grain(session, lot, share)
    found = lots.density_control(grains.of_batch(session, lot))
    assert found is not None
    assert (found.limits, found.average, found.outside) == (None, None, [])
    assert found.centre == pytest.approx(0.96, abs=1e-3)
    assert "Limits are drawn from 8 on" in found.words
    assert lots.density_control([]) is None


def test_enough_values_have_widened_limits_and_words() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.2: ten values, mean 50.81, mean moving range 1.8778; the factors are our own."""
    values = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
    found = lots.control(_in_order(values), "values")
    assert found is not None
    assert found.limits is not None
    assert found.limits.upper == pytest.approx(50.81 + 3.003 * 1.8778, abs=1e-3)
    assert found.limits.next_lower == pytest.approx(50.81 - 4.175 * 1.8778, abs=1e-3)
    assert found.outside == []
    assert "All 10 values stand inside" in found.words
    strange = lots.control(_in_order([*values, 70.0]), "values")
    assert strange is not None
    assert strange.outside == ["g11"]
    assert "Outside the limits: g11" in strange.words


def test_a_slow_drift_is_told_and_equal_values_are_no_fault() -> None:
    drift = lots.control(_in_order([0.950 + 0.002 * i for i in range(12)]), "grains")
    assert drift is not None
    assert "a slow drift" in drift.words
    even = lots.control(_in_order([0.96] * 9), "grains")
    assert even is not None
    assert (even.limits, even.outside) == (None, [])
    assert "are alike" in even.words


def test_two_lots_are_put_in_order_only_when_they_stand_apart() -> None:
    near = lots.compare(lots.spread([0.95, 0.96, 0.97]), lots.spread([0.955, 0.965, 0.975]))
    apart = lots.compare(lots.spread([0.950, 0.951, 0.952]), lots.spread([0.970, 0.971, 0.972]))
    assert near is not None
    assert apart is not None
    assert (near.order, apart.order) == (0, -1)
    assert lots.compare(lots.spread([0.95]), lots.spread([0.96, 0.97])) is None
    assert lots.compare(None, lots.spread([0.96, 0.97])) is None
