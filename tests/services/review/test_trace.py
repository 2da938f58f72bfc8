"""The walk from firings and grains back to bags, and from bags forward."""

from typing import Any

import pytest
from sqlmodel import Session

from app.errors import NotFound
from app.models import Batch, Supply
from app.models.batch import LeftoverIn, VoidIn
from app.models.supply import CorrectionIn
from app.services.cast import leftovers, weigh_outs
from app.services.review import trace
from app.services.stock import supplies
from tests import build


def _leftover(session: Session, lot: Batch, mark: str) -> int:
    return leftovers.keep(session, lot, LeftoverIn.model_validate({"mark": mark, "mass": "30 g"})).pk


def _remelted(session: Session, leftover_id: int, **more: Any) -> Batch:
    return build.cast(session, 2, remelts=[{"leftover_id": leftover_id, "mass": "20 g"}], **more)


def _empty(session: Session, bag: Supply) -> None:
    """The rest was spilled: the next batch takes another bag."""
    supplies.correct(session, bag, CorrectionIn.model_validate({"found": "0 g", "reason": "spilled"}))


def _marks(found: list[Supply]) -> set[str]:
    return {supply.mark for supply in found}


def test_a_firing_leads_back_to_each_bag(session: Session) -> None:
    blend = build.formula(session)
    for name, mark in (("potassium nitrate", "N-1"), ("sorbitol", "S-1"), ("sucrose", "Z-1")):
        build.supply(session, name, mark=mark)
    lot = build.cast(session, 2, blend=blend)
    shot = build.bare_firing(session, build.bare_motor(session, [build.grain(session, lot) for _ in range(2)]))
    found = trace.of_firing(session, shot.pk)
    assert _marks(found.every_bag) == {"N-1", "S-1", "Z-1"}
    ((origin, views),) = found.lots
    assert [v.grain.serial for v in views] == [f"{lot.code}-01", f"{lot.code}-02"]
    assert {use.ingredient: use.mass_kg for use in origin.bags}["Potassium nitrate"] == pytest.approx(
        next(p.target_kg for p in lot.parts if p.ingredient == "potassium_nitrate")
    )


def test_the_walk_goes_through_remelts_of_remelts(session: Session) -> None:
    blend = build.formula(session)
    old = build.supply(session, "potassium nitrate", mark="old")
    first = build.cast(session, 2, blend=blend)
    _empty(session, old)
    build.supply(session, "potassium nitrate", mark="new")
    second = _remelted(session, _leftover(session, first, "from first"), blend=blend)
    third = _remelted(session, _leftover(session, second, "from second"), blend=blend)
    shot = build.bare_firing(session, build.bare_motor(session, [build.grain(session, third)]))
    ((origin, _),) = trace.of_firing(session, shot.pk).lots
    walked = [(depth, lot.batch.code, led and led.leftover.mark) for depth, lot, led in origin.walk()]
    assert walked == [(0, third.code, None), (1, second.code, "from second"), (2, first.code, "from first")]
    assert "old" not in _marks([use.supply for use in origin.bags])
    assert {"old", "new"} <= _marks(origin.every_bag)
    assert origin.remelts[0].mass_kg == pytest.approx(0.020)


def test_two_lots_in_one_motor_each_have_their_origin(session: Session) -> None:
    lots = [build.cast(session, 1) for _ in range(2)]
    shot = build.bare_firing(session, build.bare_motor(session, [build.grain(session, lot) for lot in lots]))
    assert [origin.batch.code for origin, _ in trace.of_firing(session, shot.pk).lots] == [lot.code for lot in lots]


def test_what_was_struck_out_is_not_in_the_lot(session: Session) -> None:
    lot = build.cast(session, 1)
    drawn = weigh_outs.of_batch(session, lot)[0].draws[0].weigh_out
    weigh_outs.strike_out(session, lot, drawn.pk, VoidIn(why="wrong bowl"))
    assert len(trace.of_batch(session, lot).bags) == len(lot.parts) - 1


def test_a_bag_leads_forward_to_every_lot_and_firing(session: Session) -> None:
    blend = build.formula(session)
    bag = build.supply(session, "potassium nitrate", mark="N-1")
    first = build.cast(session, 1, blend=blend)
    _empty(session, bag)
    build.supply(session, "potassium nitrate", mark="N-2")
    second = _remelted(session, _leftover(session, first, "L1"), blend=blend)
    elsewhere = build.cast(session, 1, blend=blend)
    lit, burned, _ = (
        build.bare_firing(session, build.bare_motor(session, [build.grain(session, lot)]), result)
        for lot, result in ((first, "no_light"), (second, "good"), (elsewhere, "good"))
    )
    found = trace.of_supply(session, bag)
    direct, remelted = found.lots
    assert (direct.batch.code, direct.through) == (first.code, [])
    assert direct.mass_kg == pytest.approx(next(p.target_kg for p in first.parts if p.ingredient == bag.ingredient))
    assert (remelted.batch.code, remelted.mass_kg) == (second.code, 0)
    assert [left.mark for left in remelted.through] == ["L1"]
    assert [shot.pk for shot, _ in found.firings] == [lit.pk, burned.pk]


def test_a_bag_nobody_opened_leads_nowhere(session: Session) -> None:
    found = trace.of_supply(session, build.supply(session))
    assert (found.lots, found.firings) == ([], [])


def test_a_grain_knows_its_motors_and_firings(session: Session) -> None:
    (grain,) = build.ready_grains(session, 1)
    assert trace.of_grain(session, grain).builds == []
    built = build.bare_motor(session, [grain])
    build.bare_firing(session, built, "no_light")
    build.bare_firing(session, built, "good")
    found = trace.of_grain(session, grain)
    assert [(b.code, inside) for b, inside in found.builds] == [(built.code, True)]
    assert [shot.result for shot, _ in found.firings] == ["no_light", "good"]
    assert found.origin.bags


def test_an_unknown_firing_is_not_found(session: Session) -> None:
    with pytest.raises(NotFound):
        trace.of_firing(session, 99)
