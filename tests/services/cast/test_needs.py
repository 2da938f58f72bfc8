"""A plan worked out: the scaled recipe, the remelt, and what is short."""

import pytest
from sqlmodel import Session

from app.calc.base.errors import BlendError, OutOfRange
from app.errors import Refused
from app.services.book import workshop
from app.services.cast import needs, planning
from app.services.hardware import shapes
from app.services.stock import batches, supplies
from tests import build


def test_400_g_of_the_everyday_blend(session: Session) -> None:
    """400 g of 65/28/7 is 260/112/28 g: common practice, no source."""
    blend, grain = build.formula(session), build.pattern(session)
    ideal = 1 / (0.65 / 2109 + 0.28 / 1489 + 0.07 / 1588)  # volumes add; crystal densities as in DESIGN, from memory
    one = shapes.volume(grain) * ideal * 0.95
    spare = 400 - one * 2 * 1000
    data = build.plan_in(session, 2, blend=blend, shape=grain, over_pour="0 %", test_pieces=f"{spare:.6f} g")
    worked = needs.work_out(session, data)
    assert {n.ingredient: round(n.target_kg * 1000, 4) for n in worked.needs} == {
        "potassium_nitrate": 260.0,
        "sorbitol": 112.0,
        "sucrose": 28.0,
    }
    assert worked.target_kg == pytest.approx(0.400, abs=1e-9)
    assert worked.grains_kg == pytest.approx(one * 2)


def test_over_pour_goes_on_the_grains_and_parts_sum_to_the_target(session: Session) -> None:
    batch = build.batch(session, count=4, over_pour="5 %", test_pieces="10 g")
    worked = needs.work_out(session, build.plan_in(session, blend=batches.formula_of(session, batch)))
    step = workshop.get(session).scale_resolution_kg
    assert batch.target_mass_kg == pytest.approx(worked.grains_kg * 1.05 + 0.010, abs=step)
    assert sum(p.target_kg for p in batch.parts) == pytest.approx(batch.target_mass_kg, abs=1e-12)
    for part in batch.parts:
        assert part.target_kg / step == pytest.approx(round(part.target_kg / step), abs=1e-6)


def test_several_patterns_in_one_melt(session: Session) -> None:
    big, small = build.pattern(session), build.pattern(session, outer_d="31 mm", core_d="10 mm", length="55 mm")
    items = [{"pattern_id": big.pk, "count": 2}, {"pattern_id": small.pk, "count": 3}]
    worked = needs.work_out(session, build.plan_in(session, items=items))
    volume = shapes.volume(big) * 2 + shapes.volume(small) * 3
    assert worked.grains_kg == pytest.approx(volume * worked.ideal_density_kg_m3 * 0.95)
    again = [items[0], items[0]]
    with pytest.raises(Refused, match="named twice") as caught:
        needs.work_out(session, build.plan_in(session, items=again))
    assert caught.value.field == "items.1.pattern_id"


def test_what_is_short_counts_the_other_open_plans(session: Session) -> None:
    first = build.batch(session)
    nitrate = next(p.target_kg for p in first.parts if p.ingredient == "potassium_nitrate")
    build.supply(session, "potassium nitrate", f"{nitrate * 1.5 * 1000:.3f} g")
    blend = batches.formula_of(session, first)
    data = build.plan_in(session, 4, blend=blend)
    need = next(n for n in needs.work_out(session, data).needs if n.ingredient == "potassium_nitrate")
    assert need.promised_kg == pytest.approx(nitrate)
    assert need.short_kg == pytest.approx(0.5 * nitrate, rel=1e-6)
    assert not next(
        n for n in needs.work_out(session, data, first).needs if n.ingredient == "potassium_nitrate"
    ).short_kg
    assert {n.ingredient for n in needs.stock(session).short} == {"sorbitol", "sucrose"}
    planning.drop(session, first, "No time.")
    assert needs.stock(session).short == []


def test_weighed_out_mass_is_no_longer_promised(session: Session) -> None:
    batch = build.weighed_batch(session)
    assert all(v == pytest.approx(0) for v in needs.stock(session).promised()[0].values())
    left = supplies.on_shelf(session)
    for part in batch.parts:
        assert left[part.ingredient or ""] == pytest.approx(10 - part.target_kg)


def test_remelt_counts_by_its_own_composition(session: Session) -> None:
    old = build.batch(session, blend=build.formula(session, parts={"potassium nitrate": "60 %", "sorbitol": "40 %"}))
    kept = build.leftover(session, old)
    blend = build.formula(session, parts={"potassium nitrate": "65 %", "sorbitol": "35 %"})
    data = build.plan_in(session, blend=blend, remelts=[{"leftover_id": kept.pk, "mass": "50 g"}])
    batch = planning.plan(session, data)
    fresh = {p.ingredient: p.target_kg for p in batch.parts if p.ingredient}
    total = batch.target_mass_kg
    assert (fresh["potassium_nitrate"] + 0.60 * 0.05) / total == pytest.approx(0.65, abs=2e-4)
    assert (fresh["sorbitol"] + 0.40 * 0.05) / total == pytest.approx(0.35, abs=2e-4)
    assert batches.composition(session, batch) == pytest.approx(blend.blend)  # nothing weighed yet: as its formula


def test_a_leftover_without_a_mass_goes_in_whole(session: Session) -> None:
    """As far as no other plan has asked for it."""
    old = build.batch(session)
    kept = build.leftover(session, old)
    blend = batches.formula_of(session, old)
    planning.plan(session, build.plan_in(session, blend=blend, remelts=[{"leftover_id": kept.pk, "mass": "30 g"}]))
    batch = planning.plan(session, build.plan_in(session, blend=blend, remelts=[{"leftover_id": kept.pk}]))
    assert [part.target_kg for part in batch.parts if part.leftover_id] == [pytest.approx(0.02)]
    with pytest.raises(Refused, match="no other plan has asked for"):
        planning.plan(session, build.plan_in(session, blend=blend, remelts=[{"leftover_id": kept.pk}]))


def test_remelt_above_the_limit_is_refused(session: Session) -> None:
    """15 % at most: common practice, no source; the workshop's own limit counts."""
    old = build.batch(session)
    kept = build.leftover(session, old, mass_kg=0.5)
    blend = batches.formula_of(session, old)
    total = old.target_mass_kg
    data = build.plan_in(session, blend=blend, remelts=[{"leftover_id": kept.pk, "mass": f"{total * 160:.1f} g"}])
    with pytest.raises(OutOfRange, match="limit is 15 %"):
        planning.plan(session, data)
    workshop.get(session).remelt_limit_share = 0.20
    assert planning.plan(session, data).code


def test_remelt_that_the_formula_cannot_take(session: Session) -> None:
    old = build.batch(session, blend=build.formula(session, parts={"potassium nitrate": "65 %", "dextrose": "35 %"}))
    kept = build.leftover(session, old)
    data = build.plan_in(session, remelts=[{"leftover_id": kept.pk, "mass": "20 g"}])
    with pytest.raises(BlendError, match="dextrose"):
        planning.plan(session, data)


def test_a_leftover_is_not_promised_twice(session: Session) -> None:
    old = build.batch(session)
    kept = build.leftover(session, old, mass_kg=0.05)
    blend = batches.formula_of(session, old)
    planning.plan(session, build.plan_in(session, blend=blend, remelts=[{"leftover_id": kept.pk, "mass": "30 g"}]))
    with pytest.raises(Refused, match=r"20\.0 g") as caught:
        planning.plan(session, build.plan_in(session, blend=blend, remelts=[{"leftover_id": kept.pk, "mass": "30 g"}]))
    assert caught.value.field == "remelts.0.mass"


def test_an_amount_below_the_scale(session: Session) -> None:
    workshop.get(session).scale_resolution_kg = 0.1
    with pytest.raises(OutOfRange, match="less than one step"):
        needs.work_out(session, build.plan_in(session, count=1))
