"""Weighing, deciding, bagging and the state of a grain."""

import math
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from sqlmodel import Session, select

from app import clock
from app.errors import Conflict, NotFound, Refused
from app.models import Batch, Grain
from app.models.grain import DecisionIn, GrainCorrectionIn, GrainIn
from app.services.book import workshop
from app.services.cast import casting
from app.services.grains import decisions, grains
from app.services.stock import formulas
from tests import build
from tests.moment import wall

VOLUME_CM3 = 96.5278  # pi/4 (44.45² - 19.05²) 76.2 mm³ = 0.785398 × 1612.9 × 76.2 / 1000, by hand


def _weigh(session: Session, lot: Batch, gross: str, sure: bool = False, **more: Any) -> Grain:
    texts = {"pattern_id": lot.items[0].pattern_id, "number": grains.next_number(session, lot), "gross": gross}
    data = GrainIn.model_validate({**texts, **more})
    return grains.weigh(session, lot, data.answering([("gross", "likely")] if sure else []))


def test_density_is_mass_over_the_volume_of_a_hollow_cylinder(session: Session) -> None:
    lot = build.cast(session)
    grain = _weigh(session, lot, "169.0 g")
    assert grain.serial == f"{lot.code}-01"
    assert grain.density_kg_m3 == pytest.approx(169.0 / VOLUME_CM3 * 1000, rel=1e-5)
    # Volumes of the parts add; crystal densities of the handbooks: KNO3 2.109, sorbitol 1.489, sucrose 1.588 g/cm³
    ideal = 1 / (0.65 / 2.109 + 0.28 / 1.489 + 0.07 / 1.588)
    assert grain.density_share == pytest.approx(169.0 / VOLUME_CM3 / ideal, rel=2e-3)


@pytest.mark.parametrize(("share", "verdict"), [(0.96, "accept"), (0.92, "look"), (0.80, "reject")])
def test_the_verdict_follows_the_workshop_s_limits(session: Session, share: float, verdict: str) -> None:
    grain = build.grain(session, build.cast(session), share=share, decision=None)
    assert grain.verdict == verdict
    assert "% of ideal density" in grain.verdict_why


def test_other_limits_give_another_verdict(session: Session) -> None:
    workshop.get(session).accept_share = 0.97
    assert build.grain(session, build.cast(session), share=0.96, decision=None).verdict == "look"


def test_the_tube_is_taken_off(session: Session) -> None:
    shape = build.pattern(session, casting_tube_id=build.tube(session, tare="9.6 g").pk)
    lot = build.cast(session, shape=shape)
    assert _weigh(session, lot, "178.6 g", in_tube=True).mass_kg == pytest.approx(0.169)
    assert _weigh(session, lot, "180 g", in_tube=True, tare="11 g").mass_kg == pytest.approx(0.169)


def test_a_tube_nobody_weighed_is_asked_for(session: Session) -> None:
    with pytest.raises(Refused) as refused:
        _weigh(session, build.cast(session), "178.6 g", in_tube=True)
    assert refused.value.field == "tare"


def test_a_tube_heavier_than_the_whole_is_refused(session: Session) -> None:
    with pytest.raises(Refused) as refused:
        _weigh(session, build.cast(session), "169 g", tare="170 g")
    assert refused.value.field == "gross"


def test_measured_sizes_count_and_the_pattern_s_where_none_was_measured(session: Session) -> None:
    grain = _weigh(session, build.cast(session), "169 g", length="75,2 mm")
    assert (grain.length_m, grain.core_d_m) == pytest.approx((0.0752, 0.01905))
    assert (grain.length_typed, grain.core_d_typed) == ("75,2 mm", None)
    volume = math.pi / 4 * (0.04445**2 - 0.01905**2) * 0.0752
    assert grain.density_kg_m3 == pytest.approx(0.169 / volume)


@pytest.mark.parametrize(("typed", "meant"), [("1690 g", "169 g"), ("16.9 g", "169 g"), ("169 kg", None)])
def test_a_slipped_decimal_sign_is_asked_about_once(session: Session, typed: str, meant: str | None) -> None:
    lot = build.cast(session)
    if meant is None:  # beyond what the field takes at all
        with pytest.raises(ValueError, match="at most"):
            _weigh(session, lot, typed)
        return
    with pytest.raises(Refused, match=f"Did you mean {meant}") as refused:
        _weigh(session, lot, typed)
    assert refused.value.field == "gross"
    assert session.exec(select(Grain)).all() == []
    assert _weigh(session, lot, typed, sure=True).gross_typed == typed


def test_kilograms_typed_for_grams_are_asked_about(session: Session) -> None:
    with pytest.raises(Refused, match=r"Did you mean 169 g"):
        _weigh(session, build.cast(session), "0.169 g")


def test_a_weight_that_is_merely_odd_is_asked_about_without_a_guess(session: Session) -> None:
    with pytest.raises(Refused, match="Look at the scale"):
        _weigh(session, build.cast(session), "60 g")


def test_a_number_is_taken_once(session: Session) -> None:
    lot = build.cast(session)
    _weigh(session, lot, "169 g")
    with pytest.raises(Refused, match="next free number is 2") as refused:
        _weigh(session, lot, "170 g", number=1)
    assert refused.value.field == "number"


@pytest.mark.parametrize(("sizes", "field"), [({"core_d": "50 mm"}, "core_d"), ({"outer_d": "19 mm"}, "outer_d")])
def test_a_core_wider_than_the_grain_is_refused_beside_its_field(
    session: Session, sizes: dict[str, Any], field: str
) -> None:
    with pytest.raises(Refused, match="does not fit") as refused:
        _weigh(session, build.cast(session), "169 g", **sizes)
    assert refused.value.field == field


def test_nothing_is_weighed_of_a_batch_that_was_not_cast(session: Session) -> None:
    with pytest.raises(Refused, match="checklist"):
        _weigh(session, build.batch(session), "169 g")


def test_an_unknown_pattern_is_refused(session: Session) -> None:
    with pytest.raises(Refused) as refused:
        _weigh(session, build.cast(session), "169 g", pattern_id=999)
    assert refused.value.field == "pattern_id"


# --- Deciding ------------------------------------------------------------------------------------


def _decide(session: Session, grain: Grain, decision: str, why: str = "", person: str = "Ada") -> Grain:
    texts = {"decision": decision, "why": why, "person": person}
    return decisions.decide(session, grain, DecisionIn.model_validate(texts))


def test_a_decision_keeps_who_and_when(session: Session) -> None:
    moment = wall("2026-11-20T18:00")
    lot = build.cast(session)
    with clock.turned_to(moment):
        grain = _decide(session, build.grain(session, lot, decision=None), "accept")
    assert (grain.decision, grain.decided_by, grain.decided_at) == ("accept", "Ada", moment)


@pytest.mark.parametrize(("share", "decision"), [(0.96, "hold"), (0.96, "reject"), (0.92, "accept")])
def test_a_reason_is_needed_where_the_decision_does_not_follow(session: Session, share: float, decision: str) -> None:
    grain = build.grain(session, build.cast(session), share=share, decision=None)
    with pytest.raises(Refused) as refused:
        _decide(session, grain, decision)
    assert refused.value.field == "why"
    assert _decide(session, grain, decision, "void at the end").decision == decision


def test_a_decision_is_signed(session: Session) -> None:
    grain = build.grain(session, build.cast(session), decision=None)
    with pytest.raises(Refused) as refused:
        _decide(session, grain, "accept", person="")
    assert refused.value.field == "person"
    workshop.get(session).person = "Bo"
    assert _decide(session, grain, "accept", person="").decided_by == "Bo"


def test_two_tabs_do_not_decide_over_each_other(session: Session) -> None:
    grain = build.grain(session, build.cast(session), decision=None)
    seen = grain.version
    decisions.decide(session, grain, DecisionIn(decision="accept", person="Ada"), seen)
    with pytest.raises(Conflict):
        decisions.decide(session, grain, DecisionIn(decision="reject", why="crack", person="Bo"), seen)
    assert grain.decision == "accept"


def test_an_earlier_decision_stays_readable(session: Session) -> None:
    grain = build.grain(session, build.cast(session))
    _decide(session, grain, "reject", "crack along the core", "Bo")
    (before,) = grains.history(session, grain)
    assert (before.decision, before.decided_by) == ("accept", "Ada")


# --- Weighing again ------------------------------------------------------------------------------


def _again(session: Session, grain: Grain, gross: str, **more: Any) -> Grain:
    texts = {"pattern_id": grain.pattern_id, "number": grain.number, "gross": gross, "why": "trimmed the end"}
    return grains.weigh_again(session, grain, GrainCorrectionIn.model_validate({**texts, **more}))


def test_weighing_again_keeps_the_old_numbers(session: Session) -> None:
    lot = build.cast(session)
    grain = _weigh(session, lot, "169 g")
    _again(session, grain, "165 g", length="74.4 mm")
    assert (grain.gross_kg, grain.length_m) == pytest.approx((0.165, 0.0744))
    (before,) = grains.history(session, grain)
    assert (before.gross_typed, before.why) == ("169 g", "trimmed the end")
    assert before.length_m == pytest.approx(0.0762)


def test_a_decision_on_other_numbers_falls_when_the_verdict_changes(session: Session) -> None:
    grain = build.grain(session, build.cast(session))
    assert _again(session, grain, "172 g").decision == "accept"
    fallen = _again(session, grain, "150 g")
    assert (fallen.verdict, fallen.decision) == ("reject", None)
    assert grains.history(session, grain)[0].decision == "accept"


def test_a_number_is_corrected_only_to_a_free_one(session: Session) -> None:
    lot = build.cast(session)
    first, second = build.grain(session, lot), build.grain(session, lot)
    with pytest.raises(Refused) as refused:
        _again(session, second, "169 g", number=1)
    assert refused.value.field == "number"
    assert _again(session, second, "169 g", number=7).serial == f"{lot.code}-07"
    assert first.serial == f"{lot.code}-01"


def test_a_grain_in_a_motor_is_left_alone(session: Session) -> None:
    grain = build.ready_grains(session, 1)[0]
    motor = build.bare_motor(session, [grain])
    acts: list[Callable[[], object]] = [
        lambda: _again(session, grain, "165 g"),
        lambda: _decide(session, grain, "reject", "crack"),
    ]
    for act in acts:
        with pytest.raises(Refused, match="take the motor apart"):
            act()
    build.bare_firing(session, motor)
    with pytest.raises(Refused, match=f"burned in {motor.code}"):
        _again(session, grain, "165 g")


# --- Bags, cure, shelf ---------------------------------------------------------------------------


def test_accepted_grains_are_bagged_all_at_once_and_once(session: Session) -> None:
    lot = build.cast(session)
    for decision in ("accept", "hold", "reject", None):
        grain = build.grain(session, lot, decision=None)
        if decision:
            _decide(session, grain, decision, "as seen")
    assert decisions.bag_accepted(session, lot) == 1
    with pytest.raises(Refused):
        decisions.bag_accepted(session, lot)
    rejected = grains.by_serial(session, f"{lot.code}-03")
    with pytest.raises(Refused, match="remelt or scrap"):
        decisions.bag(session, rejected)


def test_the_cure_counts_from_the_pour(session: Session) -> None:
    moment = wall("2026-11-20T10:00")
    with clock.turned_to(moment) as turn:
        lot = build.cast(session)
        turn(moment + timedelta(hours=5))
        grain = build.grain(session, lot)
        assert casting.poured_at(session, lot) == moment
        assert grains.view(session, grain.serial).cured_at == moment + timedelta(days=7)
        assert grains.view(session, grain.serial).state == "curing"
        turn(moment + timedelta(days=3, hours=12))
        assert grains.view(session, grain.serial).cure_share == pytest.approx(0.5)
        turn(moment + timedelta(days=7))
        assert grains.view(session, grain.serial).state == "ready"


def test_states_follow_a_grain_through_its_life(session: Session) -> None:
    lot = build.cast(session)
    grain = build.grain(session, lot, decision=None)
    seen = [grains.view(session, grain.serial).state]
    for decision in ("hold", "reject", "accept"):
        _decide(session, grain, decision, "as seen")
        seen.append(grains.view(session, grain.serial).state)
    decisions.bag(session, grain)
    seen.append(grains.view(session, grain.serial).state)
    with clock.turned_to(clock.now() + timedelta(days=8)):
        seen.append(grains.view(session, grain.serial).state)
    motor = build.bare_motor(session, [grain])
    seen.append(grains.view(session, grain.serial).state)
    build.bare_firing(session, motor, "no_light")
    seen.append(grains.view(session, grain.serial).state)
    build.bare_firing(session, motor)
    seen.append(grains.view(session, grain.serial).state)
    assert seen == ["weighed", "held", "rejected", "accepted", "curing", "ready", "in motor", "in motor", "fired"]
    assert {*seen, "wet"} == set(grains.STATES)  # of wet ones: test_wet.py


def test_the_shelf_holds_what_is_in_no_motor(session: Session) -> None:
    first, second = build.ready_grains(session, 2)
    build.bare_motor(session, [first])
    assert [v.grain for v in grains.on_shelf(session)] == [second]
    assert grains.ready(session) == [second]


def test_an_unknown_serial_is_not_found(session: Session) -> None:
    with pytest.raises(NotFound, match="99Z9-01"):
        grains.view(session, "99Z9-01")


def test_the_ideal_density_of_the_lot_s_own_formula_counts(session: Session) -> None:
    blend = build.formula(session, parts={"potassium nitrate": "65 %", "sucrose": "35 %"})
    grain = _weigh(session, build.cast(session, blend=blend), "169 g")
    assert grain.density_share == pytest.approx(grain.density_kg_m3 / formulas.ideal_density(blend))
