"""A grain that drew water is held until it is dried and weighed again or accepted; its motor and firing say so."""

from datetime import timedelta

import pytest
from sqlmodel import Session

from app import clock
from app.errors import Conflict, Refused
from app.models import Grain, ReWeigh
from app.models.bag import ReWeighIn, WetIn
from app.models.batch import VoidIn
from app.models.grain import GrainCorrectionIn
from app.models.motor import TakeApartIn
from app.services.book import workshop
from app.services.firings import firings
from app.services.grains import grains, reweighs, sets, shelf, undo, wet
from app.services.grains.shelf import ShelfIn
from app.services.learning import learning, learning_pages, learning_switch, prediction_record
from app.services.learning.learning_switch import LEFT_OUT, LET_IN
from app.services.motors import builds
from app.services.today import today
from app.units import say
from tests import build
from tests.services.learning.test_learning import fired

DRY = WetIn(why="The tube alone drew it; the core is hard.", person="Ada")


def weighed(session: Session, grain: Grain, gain_g: float) -> ReWeigh:
    """The grain on the scale again, so much heavier than its label."""
    gross = f"{1000 * grain.mass_kg + gain_g:.1f} g"
    return reweighs.weigh(session, ReWeighIn.model_validate({"serial": grain.serial, "gross": gross}))


def state(session: Session, grain: Grain) -> str:
    return grains.view(session, grain.serial).state


def test_a_wet_grain_is_held_everywhere(session: Session) -> None:
    wet_one, *dry = build.ready_grains(session, 4)
    weighed(session, wet_one, 1.2)
    assert state(session, wet_one) == "wet"
    assert wet_one not in grains.ready(session)
    (kind,) = sets.kinds(session)
    assert [v.grain for v in kind.views] == dry
    on_shelf = grains.on_shelf(session)
    assert [v.grain for _, lot in builds.ready_by_lot(on_shelf) for v in lot] == dry
    assert [v.grain for v in builds.not_ready(on_shelf)] == [wet_one]
    assert [v.grain for v in shelf.page(session, ShelfIn(state="wet")).views] == [wet_one]
    assert [v.grain for v in shelf.page(session, ShelfIn(state="ready")).views] == dry
    day = today.day(session)
    assert (len(day.wet), day.ready) == (1, 3)
    with pytest.raises(Refused, match="is wet; dry it and re-weigh it first, or accept it") as refusal:
        build.motor_build(session, grains=[wet_one, *dry])
    assert refusal.value.field == "grain_ids"


def test_dried_and_weighed_again_it_is_ready(session: Session) -> None:
    grain = build.ready_grains(session, 1)[0]
    weighed(session, grain, 1.2)
    weighed(session, grain, 0.6)
    assert state(session, grain) == "wet", "lighter than it was, and wet still"
    weighed(session, grain, 0.0)
    assert state(session, grain) == "ready"
    weighed(session, grain, -0.4)
    assert state(session, grain) == "ready", "it lost what it had taken up before its label"


def test_one_step_of_the_scale_does_not_hold_a_grain(session: Session) -> None:
    grain = build.ready_grains(session, 1)[0]
    row = weighed(session, grain, 0.1)
    gain = reweighs.gain_of(row).moisture
    assert (gain.real, gain.wet) == (True, False)
    assert "weigh it again" in say(gain.words)
    assert "Dry it" not in say(gain.words)
    workshop.get(session).scale_resolution_kg = 0.001
    coarse = weighed(session, grain, 1.0)
    assert coarse.wet, "a step of 1 g is 0.6 % of this grain"


def test_accepted_with_a_reason_it_goes_into_a_motor_that_says_so(session: Session) -> None:
    inside = build.ready_grains(session, 4)
    weighed(session, inside[1], 1.2)
    with pytest.raises(ValueError, match="why"):
        WetIn.model_validate({"why": ""})
    reweighs.accept(session, inside[1], DRY)
    assert state(session, inside[1]) == "ready"
    with pytest.raises(Refused, match="accepted already"):
        reweighs.accept(session, inside[1], DRY)
    made = build.motor_build(session, grains=inside)
    built = builds.around(session, made)
    assert built.state_words == f"Ready to fire, with wet {inside[1].serial}"
    assert not built.held
    assert built.prediction is not None
    said = prediction_record.from_row(built.prediction).warnings
    assert any(f"Wet at the last re-weigh: {inside[1].serial}" in str(words) for words in said)


def test_the_acceptance_is_taken_back_in_the_motor_too(session: Session) -> None:
    grain = build.ready_grains(session, 1)[0]
    weighed(session, grain, 1.2)
    reweighs.accept(session, grain, DRY)
    reweighs.take_back(session, grain)
    assert state(session, grain) == "wet"
    with pytest.raises(Refused, match="held already"):
        reweighs.take_back(session, grain)
    reweighs.accept(session, grain, DRY)
    made = build.motor_build(session, grains=[grain])
    reweighs.take_back(session, grain)
    built = builds.around(session, made)
    assert built.held
    assert built.state_words == f"Held: wet {grain.serial}"
    reweighs.accept(session, grain, DRY)
    assert not builds.around(session, made).held


def test_wetter_than_when_it_was_accepted_it_is_held_again(session: Session) -> None:
    grain = build.ready_grains(session, 1)[0]
    weighed(session, grain, 0.6)
    reweighs.accept(session, grain, DRY)
    weighed(session, grain, 1.4)
    assert state(session, grain) == "wet"


def test_a_re_weigh_struck_out_lets_the_one_before_it_count(session: Session) -> None:
    grain = build.ready_grains(session, 1)[0]
    weighed(session, grain, 1.2)
    dry = weighed(session, grain, 0.0)
    made = build.motor_build(session, grains=[grain])
    assert not builds.around(session, made).wet
    undo.strike(session, ReWeigh, dry.pk, grain, VoidIn(why="Another grain was on the scale."))
    assert builds.around(session, made).held, "the motor says it at once"
    builds.take_apart(session, made, TakeApartIn(why="To dry it."))
    assert builds.around(session, made).state_words == "Taken apart"
    assert state(session, grain) == "wet"
    (row,) = wet.newest(session, [grain.pk]).values()
    undo.strike(session, ReWeigh, row.pk, grain, VoidIn(why="That one, too."))
    assert state(session, grain) == "ready"


def test_a_grain_in_a_motor_is_weighed_again_only_once_it_is_out(session: Session) -> None:
    grain = build.ready_grains(session, 1)[0]
    made = build.motor_build(session, grains=[grain])
    with pytest.raises(Refused, match="take the motor apart first"):
        weighed(session, grain, 1.2)
    builds.take_apart(session, made, TakeApartIn(why="A month in a damp shed."))
    weighed(session, grain, 1.2)
    assert state(session, grain) == "wet"


def test_the_mass_on_the_label_of_a_wet_grain_is_not_made_its_wet_mass(session: Session) -> None:
    """Or the next re-weigh would find no gain."""
    grain = build.ready_grains(session, 1)[0]
    weighed(session, grain, 1.2)
    again = GrainCorrectionIn.model_validate(
        {"pattern_id": grain.pattern_id, "number": str(grain.number), "gross": "173.4 g", "why": "Weighed again."}
    )
    with pytest.raises(Refused, match="the mass on its label is what tells that"):
        grains.weigh_again(session, grain, again)


def test_a_wet_grain_that_is_rejected_or_held_stays_so(session: Session) -> None:
    lot = build.cast(session)
    for decision, expected in ((None, "weighed"), ("hold", "held"), ("reject", "rejected")):
        grain = build.grain(session, lot, decision=decision)
        weighed(session, grain, 1.2)
        assert state(session, grain) == expected


def test_a_firing_with_a_wet_grain_is_marked_and_teaches_only_when_told_to(session: Session) -> None:
    firing = fired(session, rate=1.08)
    built = firings.its_motor(session, firing)
    line = learning_pages.line_of(session, built.formula, firing)
    assert line is not None
    assert line.state == "counts"
    grain = built.grains[0].grain
    row = ReWeigh(
        grain_id=grain.pk,
        weighed_at=clock.now() - timedelta(days=1),
        gross_kg=grain.mass_kg + 0.0012,
        gross_typed="x",
        mass_kg=grain.mass_kg + 0.0012,
        label_kg=grain.mass_kg,
        scale_resolution_kg=1e-4,
        wet=True,
    )
    session.add(row)  # as a book of before has it, in which nobody was asked
    session.flush()
    built = firings.its_motor(session, firing)
    assert built.state_words == f"Fired, with wet {grain.serial}"
    line = learning_pages.line_of(session, built.formula, firing)
    assert line is not None
    assert line.state == f"left out: wet at the last re-weigh: {grain.serial}"
    assert learning.counted(learning.evidence(session)) == []
    learned = learning_pages.formula_page(session, built.formula)
    assert (learned.overall.firing_ids, learned.overall.left_out) == ([], 1)
    learning_switch.let_wet_in(session, firing, "The paper drew it.")
    assert len(learning.counted(learning.evidence(session))) == 1
    with pytest.raises(Refused, match="already"):
        learning_switch.let_wet_in(session, firing, "The paper drew it.")
    learning_switch.leave_out(session, firing, "The gauge stuck.")
    assert learning.counted(learning.evidence(session)) == []
    LEFT_OUT.end(session, firing.pk)
    assert len(learning.counted(learning.evidence(session))) == 1
    LET_IN.end(session, firing.pk)
    assert learning.counted(learning.evidence(session)) == []
    with pytest.raises(Refused, match="was burned in"):
        reweighs.accept(session, grain, DRY)


def test_only_a_firing_of_wet_grains_is_let_in_for_them(session: Session) -> None:
    firing = fired(session, rate=1.0)
    with pytest.raises(Refused, match="None of its grains was wet"):
        learning_switch.let_wet_in(session, firing, "No reason.")
    with pytest.raises(Refused, match="left out already"):
        LET_IN.end(session, firing.pk)


def test_a_second_tab_does_not_accept_unseen(session: Session) -> None:
    grain = build.ready_grains(session, 1)[0]
    row = weighed(session, grain, 1.2)
    seen = row.version
    reweighs.accept(session, grain, DRY, seen)
    with pytest.raises(Conflict):
        reweighs.take_back(session, grain, seen)
