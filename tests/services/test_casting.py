"""The cast session: the gate, weighing out, steps in order and on time, temperatures, closing and reopening."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from sqlmodel import Session

from app import clock
from app.errors import Conflict, NotFound, Refused
from app.models import Batch, CastSession, WeighOut
from app.models.batch import LeftoverIn, TestPiecesIn, VoidIn, WeighOutIn
from app.models.cast import CloseIn, NoteIn, OpenSessionIn, StepIn, TemperatureIn
from app.services import batches, casting, checklists, steps, supplies, weigh_outs, workshop
from tests import build

NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
MINUTES = timedelta(minutes=1)


def opening(checklist_id: int) -> OpenSessionIn:
    return OpenSessionIn(checklist_id=checklist_id)


def weighed(mass: str, bag: int | None = None) -> WeighOutIn:
    return WeighOutIn.model_validate({"mass": mass, "supply_id": bag})


def part_of(batch: Batch, ingredient: str) -> Any:
    return next(part for part in batch.parts if part.ingredient == ingredient)


# --- The gate ------------------------------------------------------------------------------------


def test_opening_records_who_and_when(session: Session) -> None:
    batch = build.batch(session)
    build.stock(session, batch)
    with clock.turned_to(NOON):
        checklist = build.checklist(session, batch, "Ada")
        cast = casting.open_session(session, batch, opening(checklist.pk))
    assert cast.closed_at is None
    assert batch.state == "casting"
    (opened,) = cast.openings
    assert (opened.person, opened.opened_at, opened.checklist_id) == ("Ada", NOON, checklist.pk)


def test_no_opening_without_its_own_fresh_checklist(session: Session) -> None:
    batch, other = build.batch(session), build.batch(session)
    build.stock(session, batch)
    with pytest.raises(Refused, match="no checklist"):
        casting.open_session(session, batch, opening(77))
    begun = checklists.start(session, batch)
    with pytest.raises(Refused, match="not complete"):
        casting.open_session(session, batch, opening(begun.pk))
    foreign = build.checklist(session, other)
    with pytest.raises(Refused, match="another batch"):
        casting.open_session(session, batch, opening(foreign.pk))
    assert casting.find(session, batch) is None


def test_the_session_is_opened_once(session: Session) -> None:
    batch = build.batch(session)
    cast = build.opened_session(session, batch)
    with pytest.raises(Refused, match="open already"):
        casting.open_session(session, batch, opening(cast.openings[0].checklist_id))
    assert len(cast.openings) == 1


def test_a_batch_without_supplies_is_not_opened(session: Session) -> None:
    batch = build.batch(session)
    checklist = build.checklist(session, batch)
    with pytest.raises(Refused, match=r"lacks .* of potassium nitrate, .* of sorbitol, .* of sucrose"):
        casting.open_session(session, batch, opening(checklist.pk))
    build.stock(session, batch)
    assert casting.open_session(session, batch, opening(checklist.pk)).closed_at is None


def test_reopening_needs_a_new_checklist(session: Session) -> None:
    batch = build.batch(session)
    with clock.turned_to(NOON) as turn:
        cast = build.opened_session(session, batch)
        used = cast.openings[0].checklist_id
        casting.tell_test_pieces(session, batch, TestPiecesIn.model_validate({"test_pieces": "0 g"}))
        casting.close(session, batch, CloseIn(why="Nothing was poured."))
        assert batch.state == "cast"
        turn(NOON + MINUTES)
        with pytest.raises(Refused, match="opened a session already"):
            casting.open_session(session, batch, opening(used))
        again = build.opened_session(session, batch)
    assert again.id == cast.id
    assert again.closed_at is None
    assert batch.state == "casting"
    assert len(again.openings) == 2


def test_a_clock_set_back_is_told(session: Session) -> None:
    batch = build.batch(session)
    with clock.turned_to(NOON) as turn:
        build.opened_session(session, batch)
        close(session, batch)
        turn(NOON - 60 * MINUTES)
        checklist = build.checklist(session, batch)
        with pytest.raises(Refused, match="clock reads earlier"):
            casting.open_session(session, batch, opening(checklist.pk))


# --- Weighing out --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("mass_g", "state", "words"),
    [
        (0.0, "open", "not weighed yet"),
        (260.0, "in", "in tolerance (0.0 g)"),
        (261.2, "in", "in tolerance (+1.2 g)"),
        (261.3, "in", "in tolerance (+1.3 g)"),
        (261.4, "out", "+1.4 g: over by 0.5 %"),
        (258.6, "near", "−1.4 g: under by 0.5 %"),
        (520.0, "out", "+260.0 g: over by 100.0 %"),
    ],
)
def test_difference_in_words(session: Session, mass_g: float, state: str, words: str) -> None:
    """Half a percent of 260 g is 1.3 g."""
    shop = workshop.get(session)
    shop.weigh_tolerance_share = 0.005
    assert weigh_outs.compare(0.260, mass_g / 1000, shop) == (state, words)


def test_tolerance_is_never_finer_than_the_scale(session: Session) -> None:
    shop = workshop.get(session)
    shop.scale_resolution_kg = 0.001
    assert weigh_outs.compare(0.028, 0.029, shop)[0] == "in"
    assert weigh_outs.compare(0.028, 0.0292, shop)[0] == "out"


@pytest.mark.parametrize(("resolution_kg", "unit", "places"), [
    (1e-4, "g", 1), (1e-5, "g", 2), (1e-3, "g", 0), (5e-4, "g", 1), (1e-4, "oz", 3)])  # fmt: skip
def test_masses_are_shown_to_the_scales_step(session: Session, resolution_kg: float, unit: str, places: int) -> None:
    shop = workshop.get(session)
    shop.scale_resolution_kg, shop.mass_unit = resolution_kg, unit
    assert weigh_outs.places(shop) == places


def test_several_bags_for_one_part_draw_each_down(session: Session) -> None:
    batch = build.batch(session)
    first = build.supply(session, "sorbitol", "50 g")
    second = build.supply(session, "sorbitol", "1 kg")
    build.opened_session(session, batch)
    part = part_of(batch, "sorbitol")
    weigh_outs.weigh_out(session, batch, part.pk, weighed("50 g", first.pk), "Ada")
    weigh_outs.weigh_out(session, batch, part.pk, weighed("30 g", second.pk), "Ada")
    left = supplies.remaining(session)
    assert left[first.pk] == pytest.approx(0.0, abs=1e-12)
    assert left[second.pk] == pytest.approx(0.970)
    now = next(p for p in weigh_outs.of_batch(session, batch) if p.part is part)
    assert now.weighed_kg == pytest.approx(0.080)
    assert [d.source for d in now.draws] == [first.mark, second.mark]
    assert [bag.pk for bag, _ in now.bags] == [second.pk]  # the empty one is not offered


def test_refused_weigh_outs(session: Session) -> None:
    batch = build.batch(session)
    build.opened_session(session, batch)
    sorbitol, nitrate = part_of(batch, "sorbitol"), supplies.bags(session, "potassium_nitrate")[0]
    small = build.supply(session, "sorbitol", "5 g")
    for data, field, words in (
        (weighed("10 g"), "supply_id", "Choose the bag"),
        (weighed("10 g", nitrate.pk), "supply_id", "holds potassium nitrate, not sorbitol"),
        (weighed("10 g", small.pk), "mass", r"holds 5\.0 g"),
    ):
        with pytest.raises(Refused, match=words) as caught:
            weigh_outs.weigh_out(session, batch, sorbitol.pk, data)
        assert caught.value.field == field
    with pytest.raises(NotFound):
        weigh_outs.weigh_out(session, batch, sorbitol.pk, weighed("10 g", 999))
    other = build.batch(session)
    with pytest.raises(Refused, match="is not open"):
        weigh_outs.weigh_out(session, other, other.parts[0].pk, weighed("10 g", nitrate.pk))
    with pytest.raises(Refused, match="not a part of"):
        weigh_outs.weigh_out(session, batch, other.parts[0].pk, weighed("10 g", nitrate.pk))
    assert all(p.weighed_kg == 0 for p in weigh_outs.of_batch(session, batch))


def test_two_tabs_book_one_amount(session: Session) -> None:
    batch = build.batch(session)
    build.opened_session(session, batch)
    part, bag = part_of(batch, "sorbitol"), supplies.bags(session, "sorbitol")[0]
    seen = part.version
    weigh_outs.weigh_out(session, batch, part.pk, weighed("10 g", bag.pk), "Ada", seen)
    with pytest.raises(Conflict):
        weigh_outs.weigh_out(session, batch, part.pk, weighed("10 g", bag.pk), "Ada", seen)
    assert batches.weighed(session, batch)[part.pk] == pytest.approx(0.010)


def test_struck_out_goes_back_to_the_bag_and_stays_readable(session: Session) -> None:
    batch = build.weighed_batch(session)
    part, bag = part_of(batch, "sorbitol"), supplies.bags(session, "sorbitol")[0]
    (draw,) = next(p for p in weigh_outs.of_batch(session, batch) if p.part is part).draws
    before = supplies.remaining(session)[bag.pk]
    weigh_outs.strike_out(session, batch, draw.weigh_out.pk, VoidIn(why="Spilt it."))
    assert supplies.remaining(session)[bag.pk] == pytest.approx(before + draw.weigh_out.mass_kg)
    now = next(p for p in weigh_outs.of_batch(session, batch) if p.part is part)
    assert (now.state, now.draws[0].weigh_out.voided_why) == ("open", "Spilt it.")
    with pytest.raises(Refused, match="already"):
        weigh_outs.strike_out(session, batch, draw.weigh_out.pk, VoidIn(why="Again."))


def test_a_leftover_is_weighed_out_of_its_own_bag(session: Session) -> None:
    old = build.weighed_batch(session)
    kept = casting.keep_leftover(session, old, LeftoverIn.model_validate({"mark": "L1", "mass": "40 g"}))
    blend = batches.formula_of(session, old)
    batch = build.batch(session, blend=blend, remelts=[{"leftover_id": kept.pk, "mass": "30 g"}])
    build.opened_session(session, batch)
    part = next(p for p in batch.parts if p.leftover_id)
    weigh_outs.weigh_out(session, batch, part.pk, weighed("30 g"))
    assert batches.leftovers_left(session)[kept.pk] == pytest.approx(0.010)
    with pytest.raises(Refused, match=r"holds 10\.0 g"):
        weigh_outs.weigh_out(session, batch, part.pk, weighed("11 g"))


# --- Steps ---------------------------------------------------------------------------------------


def run_of(session: Session, batch: Batch) -> list[steps.Now]:
    cast = casting.the_open(session, batch)
    return steps.of_session(cast, batch, batches.weighed(session, batch))


def test_order_of_the_run(session: Session) -> None:
    """Sugar alcohol first, sucrose, the oxidiser in thirds, then pour to bag: common practice, no source."""
    batch = build.weighed_batch(session)
    run = run_of(session, batch)
    assert [n.step.key for n in run] == [
        "weigh", "melt:sorbitol", "melt:sucrose", "oxidiser:1", "oxidiser:2", "oxidiser:3", "pour", "core",
        "compact:1", "compact:2", "compact:3", "pull", "bag",
    ]  # fmt: skip
    nitrate = part_of(batch, "potassium_nitrate").target_kg
    assert [n.amount_kg for n in run if n.step.key.startswith("oxidiser")] == pytest.approx([nitrate / 3] * 3)


def test_a_remelt_goes_in_before_the_oxidiser(session: Session) -> None:
    old = build.weighed_batch(session)
    kept = casting.keep_leftover(session, old, LeftoverIn.model_validate({"mark": "L1", "mass": "40 g"}))
    batch = build.batch(
        session, blend=batches.formula_of(session, old), remelts=[{"leftover_id": kept.pk, "mass": "30 g"}]
    )
    build.opened_session(session, batch)
    keys = [n.step.key for n in run_of(session, batch)]
    assert keys[3:5] == [f"remelt:{kept.pk}", "oxidiser:1"]


def test_times_after_the_pour(session: Session) -> None:
    """Core within minutes, compact near 18 min and every 10 min twice, pull near 1.5 h: common practice, no source."""
    with clock.turned_to(NOON):
        batch = build.cast(session)
        due = {n.step.key: n.due_at for n in run_of(session, batch)}
    assert due["core"] == NOON + 3 * MINUTES
    assert due["compact:1"] == NOON + 18 * MINUTES
    assert due["compact:2"] is None  # counts from the first compaction, which is not done
    assert due["pull"] == NOON + 90 * MINUTES
    assert due["bag"] == NOON + 360 * MINUTES
    assert casting.poured_at(session, batch) == NOON


def test_next_compaction_counts_from_the_last_one(session: Session) -> None:
    with clock.turned_to(NOON) as turn:
        batch = build.cast(session)
        cast = casting.the_open(session, batch)
        by_key = {step.key: step for step in cast.steps}
        steps.record(session, cast, by_key["core"].pk, StepIn(act="done"))
        turn(NOON + 20 * MINUTES)
        steps.record(session, cast, by_key["compact:1"].pk, StepIn(act="done"))
        run = {n.step.key: n for n in run_of(session, batch)}
        assert run["compact:2"].due_at == NOON + 30 * MINUTES
        assert (run["compact:1"].late, run["compact:1"].late_words) == (True, "2 min")
        assert (run["compact:2"].is_next, run["compact:2"].late) == (True, False)
        steps.record(session, cast, by_key["compact:2"].pk, StepIn(act="skip", why="Set already."))
        run = {n.step.key: n for n in run_of(session, batch)}
        assert run["compact:3"].due_at == NOON + 40 * MINUTES  # a skipped step passes its own time on
        turn(NOON + 45 * MINUTES)
        late = {n.step.key: n for n in run_of(session, batch)}["compact:3"]
        assert (late.late, late.late_words) == (True, "5 min")
        (running,) = casting.due(session)
        assert running.next_step is not None
        assert running.next_step.step.key == "compact:3"


def test_out_of_order_is_refused_until_skipped(session: Session) -> None:
    batch = build.weighed_batch(session)
    cast = casting.the_open(session, batch)
    weigh, sorbitol, *_ = cast.steps
    with pytest.raises(Refused, match=r"comes first\. Tick it, or skip it"):
        steps.record(session, cast, sorbitol.pk, StepIn(act="done"))
    with pytest.raises(Refused, match="why it is skipped") as caught:
        steps.record(session, cast, weigh.pk, StepIn(act="skip"))
    assert caught.value.field == "why"
    steps.record(session, cast, weigh.pk, StepIn(act="skip", why="Weighed yesterday."))
    steps.record(session, cast, sorbitol.pk, StepIn(act="done"), "Ada")
    assert (weigh.skipped_why, weigh.done_at, sorbitol.person) == ("Weighed yesterday.", None, "Ada")


def test_weighing_is_not_done_while_something_is_not_weighed(session: Session) -> None:
    batch = build.batch(session)
    cast = build.opened_session(session, batch)
    with pytest.raises(Refused, match="Potassium nitrate, Sorbitol, Sucrose"):
        steps.record(session, cast, cast.steps[0].pk, StepIn(act="done"))
    steps.record(session, cast, cast.steps[0].pk, StepIn(act="skip", why="Weighed on another scale."))


def test_a_step_is_ticked_once_and_taken_back_in_turn(session: Session) -> None:
    batch = build.weighed_batch(session)
    cast = casting.the_open(session, batch)
    weigh, sorbitol, *_ = cast.steps
    seen = weigh.version
    with clock.turned_to(NOON):
        steps.record(session, cast, weigh.pk, StepIn(act="done"), "", seen)
    with pytest.raises(Refused, match="ticked already"):
        steps.record(session, cast, weigh.pk, StepIn(act="done"), "", seen)
    assert weigh.done_at == NOON
    steps.record(session, cast, sorbitol.pk, StepIn(act="done"))
    with pytest.raises(Refused, match="Take that back first"):
        steps.record(session, cast, weigh.pk, StepIn(act="undo"))
    steps.record(session, cast, sorbitol.pk, StepIn(act="undo"))
    steps.record(session, cast, weigh.pk, StepIn(act="undo"))
    assert weigh.done_at is None
    with pytest.raises(Conflict):
        steps.record(session, cast, weigh.pk, StepIn(act="done"), "", seen)
    assert [n.words.split(":")[0] for n in casting.notes(session, cast)] == ["Taken back", "Taken back"]
    with pytest.raises(Refused, match="nothing to take back"):
        steps.record(session, cast, weigh.pk, StepIn(act="undo"))


def test_a_step_of_another_session(session: Session) -> None:
    one, two = build.weighed_batch(session), build.weighed_batch(session)
    foreign = casting.the_open(session, two).steps[0]
    with pytest.raises(Refused, match="another session"):
        steps.record(session, casting.the_open(session, one), foreign.pk, StepIn(act="done"))


# --- Temperatures and notes ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "state"),
    [("219 F", "near"), ("220 F", "in"), ("250 F", "in"), ("251 F", "out"), ("121.2 C", "out"), ("104 C", "near")],
)
def test_temperature_against_the_band(session: Session, typed: str, state: str) -> None:
    """220-250 °F: common practice, no source."""
    batch = build.weighed_batch(session)
    reading = casting.read_temperature(session, batch, TemperatureIn.model_validate({"temperature": typed}))
    advice = casting.advice(workshop.get(session), reading.temperature_k)
    assert advice.state == state
    assert (state == "out") is ("Heat off" in advice.words)
    assert reading.temperature_typed == typed


def test_nothing_is_written_into_a_closed_session(session: Session) -> None:
    batch = build.weighed_batch(session)
    cast = close(session, batch)
    reading = TemperatureIn.model_validate({"temperature": "118 C"})
    for act in (
        lambda: casting.read_temperature(session, batch, reading),
        lambda: casting.write_note(session, batch, NoteIn(words="Later.")),
        lambda: steps.record(session, cast, cast.steps[0].pk, StepIn(act="undo")),
        lambda: casting.keep_leftover(session, batch, LeftoverIn.model_validate({"mark": "L", "mass": "1 g"})),
        lambda: casting.close(session, batch, CloseIn()),
    ):
        with pytest.raises(Refused, match="closed"):
            act()


# --- Closing ---------------------------------------------------------------------------------------


def close(session: Session, batch: Batch) -> CastSession:
    casting.tell_test_pieces(session, batch, TestPiecesIn.model_validate({"test_pieces": "0 g"}))
    return casting.close(session, batch, CloseIn(why="Melt went grainy."))


def test_closing_asks_for_test_pieces_and_open_steps(session: Session) -> None:
    batch = build.weighed_batch(session)
    with pytest.raises(Refused, match="test pieces"):
        casting.close(session, batch, CloseIn(why="Enough."))
    casting.tell_test_pieces(session, batch, TestPiecesIn.model_validate({"test_pieces": "0 g"}))
    with pytest.raises(Refused, match="13 steps are still open") as caught:
        casting.close(session, batch, CloseIn())
    assert caught.value.field == "why"
    cast = casting.close(session, batch, CloseIn(why="Melt went grainy."))
    assert {step.skipped_why for step in cast.steps} == {"Melt went grainy."}
    assert batch.state == "cast"


def test_closing_after_every_step_needs_no_reason(session: Session) -> None:
    batch = build.cast(session, until="bag")
    casting.tell_test_pieces(session, batch, TestPiecesIn.model_validate({"test_pieces": "9.5 g"}))
    assert casting.close(session, batch, CloseIn()).closed_at is not None
    assert batch.test_pieces_typed == "9.5 g"


def test_no_more_comes_out_than_went_in(session: Session) -> None:
    batch = build.weighed_batch(session)
    total = sum(batches.weighed(session, batch).values())
    with pytest.raises(Refused, match="was weighed into the pan") as caught:
        casting.tell_test_pieces(
            session, batch, TestPiecesIn.model_validate({"test_pieces": f"{total * 1000 + 1:.1f} g"})
        )
    assert caught.value.field == "test_pieces"
    casting.tell_test_pieces(session, batch, TestPiecesIn.model_validate({"test_pieces": "10 g"}))
    most = f"{total * 1000 - 10:.1f} g"
    casting.keep_leftover(session, batch, LeftoverIn.model_validate({"mark": "L1", "mass": most}))
    with pytest.raises(Refused, match="was weighed into the pan"):
        casting.keep_leftover(session, batch, LeftoverIn.model_validate({"mark": "L2", "mass": "1 g"}))
    with pytest.raises(Refused, match="there already"):
        casting.keep_leftover(session, batch, LeftoverIn.model_validate({"mark": "L1", "mass": "1 g"}))


def test_leftover_marks_are_proposed_and_free(session: Session) -> None:
    batch = build.weighed_batch(session)
    mark = casting.next_mark(session, batch)
    assert mark == f"{batch.code} leftover 1"
    casting.keep_leftover(session, batch, LeftoverIn.model_validate({"mark": mark, "mass": "1 g"}))
    assert casting.next_mark(session, batch) == f"{batch.code} leftover 2"


def test_weigh_outs_keep_what_was_typed(session: Session) -> None:
    batch = build.batch(session)
    build.opened_session(session, batch)
    part, bag = part_of(batch, "sorbitol"), supplies.bags(session, "sorbitol")[0]
    row = weigh_outs.weigh_out(session, batch, part.pk, weighed("3,5 oz", bag.pk), "Ada")
    kept = session.get(WeighOut, row.pk)
    assert kept is not None
    assert (kept.mass_typed, kept.person) == ("3,5 oz", "Ada")
    assert kept.mass_kg == pytest.approx(0.0992233, abs=1e-7)  # 3.5 × 28.349523125 g, the avoirdupois ounce
