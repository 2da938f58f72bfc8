"""Weighing out: what is in tolerance, from which bag, once, and struck out."""

import pytest
from sqlmodel import Session

from app import clock
from app.errors import Asked, Conflict, NotFound, Refused
from app.models import Batch, WeighOut
from app.models.batch import BatchPart, LeftoverIn, SwapIn, VoidIn, WeighOutIn
from app.models.cast import StepIn, StepTimeIn
from app.services.book import workshop
from app.services.cast import casting, leftovers, steps, targets, weigh_outs
from app.services.stock import batches, supplies
from app.units import show
from tests import build


def weighed(mass: str, bag: int | None = None, sure: bool = False) -> WeighOutIn:
    data = WeighOutIn.model_validate({"mass": mass, "supply_id": bag})
    return data.answering(None) if sure else data


def part_of(batch: Batch, ingredient: str) -> BatchPart:
    return next(part for part in batch.parts if part.ingredient == ingredient)


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
    assert targets.compare(0.260, mass_g / 1000, shop) == (state, words)


def test_tolerance_is_never_finer_than_the_scale(session: Session) -> None:
    shop = workshop.get(session)
    shop.scale_resolution_kg = 0.001
    assert targets.compare(0.028, 0.029, shop)[0] == "in"
    assert targets.compare(0.028, 0.0292, shop)[0] == "out"


@pytest.mark.parametrize(
    ("resolution_kg", "unit", "places"),
    [(1e-4, "g", 1), (1e-5, "g", 2), (1e-3, "g", 0), (5e-4, "g", 1), (1e-4, "oz", 3)],
)
def test_masses_are_shown_to_the_scales_step(session: Session, resolution_kg: float, unit: str, places: int) -> None:
    shop = workshop.get(session)
    shop.scale_resolution_kg, shop.mass_unit = resolution_kg, unit
    shown = show(0.1234567, "mass", shop.units, targets.places(shop)).split()[0]
    assert len(shown.partition(".")[2]) == places


def test_several_bags_for_one_part_draw_each_down(session: Session) -> None:
    batch = build.batch(session)
    first = build.supply(session, "sorbitol", "50 g")
    second = build.supply(session, "sorbitol", "1 kg")
    build.opened_session(session, batch)
    part = part_of(batch, "sorbitol")
    weigh_outs.weigh_out(session, batch, part.pk, weighed("50 g", first.pk), "Ada")
    weigh_outs.weigh_out(session, batch, part.pk, weighed("30 g", second.pk, sure=True), "Ada")
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
    weigh_outs.weigh_out(session, batch, part.pk, weighed("10 g", bag.pk, sure=True), "Ada", seen)
    with pytest.raises(Conflict):
        weigh_outs.weigh_out(session, batch, part.pk, weighed("10 g", bag.pk, sure=True), "Ada", seen)
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
    kept = leftovers.keep(session, old, LeftoverIn.model_validate({"mark": "L1", "mass": "40 g"}))
    blend = batches.formula_of(session, old)
    batch = build.batch(session, blend=blend, remelts=[{"leftover_id": kept.pk, "mass": "30 g"}])
    build.opened_session(session, batch)
    part = next(p for p in batch.parts if p.leftover_id)
    weigh_outs.weigh_out(session, batch, part.pk, weighed("30 g"))
    assert batches.leftovers_left(session)[kept.pk] == pytest.approx(0.010)
    with pytest.raises(Refused, match=r"holds 10\.0 g"):
        weigh_outs.weigh_out(session, batch, part.pk, weighed("11 g"))


def test_weigh_outs_keep_what_was_typed(session: Session) -> None:
    batch = build.batch(session)
    build.opened_session(session, batch)
    part, bag = part_of(batch, "sorbitol"), supplies.bags(session, "sorbitol")[0]
    row = weigh_outs.weigh_out(session, batch, part.pk, weighed("3,5 oz", bag.pk, sure=True), "Ada")
    kept = session.get(WeighOut, row.pk)
    assert kept is not None
    assert (kept.mass_typed, kept.person) == ("3,5 oz", "Ada")
    assert kept.mass_kg == pytest.approx(0.0992233, abs=1e-7)  # 3.5 × 28.349523125 g, the avoirdupois ounce


def test_a_slipped_decimal_sign_is_asked_about_once(session: Session) -> None:
    """Ten times what is still wanted is a slip far more often than so much in the bowl."""
    batch = build.batch(session)
    bag = build.supply(session, "sorbitol", "9 kg")
    build.opened_session(session, batch)
    part = part_of(batch, "sorbitol")
    wanted = round(part.target_kg * 1000, 1)
    with pytest.raises(Refused, match=f"Did you mean {wanted:g} g") as caught:
        weigh_outs.weigh_out(session, batch, part.pk, weighed(f"{wanted * 10:.0f} g", bag.pk))
    assert caught.value.field == "mass"
    weigh_outs.weigh_out(session, batch, part.pk, weighed(f"{wanted / 2:.1f} g", bag.pk, sure=True))
    weigh_outs.weigh_out(session, batch, part.pk, weighed(f"{wanted:.1f} g", bag.pk, sure=True))
    sure = WeighOutIn.model_validate({"mass": f"{wanted * 10:.0f} g", "supply_id": bag.pk})
    sure.answering([("mass", "likely")])
    assert weigh_outs.weigh_out(session, batch, part.pk, sure).mass_kg == pytest.approx(wanted / 100)


@pytest.mark.parametrize(("share", "words"), [(0.01, "Did you mean"), (0.3, "far less than"), (1.4, "far more than")])
def test_an_amount_far_off_its_target_is_asked_about_either_way(session: Session, share: float, words: str) -> None:
    batch = build.batch(session)
    build.opened_session(session, batch)
    part, bag = part_of(batch, "sucrose"), supplies.bags(session, "sucrose")[0]
    mass = f"{part.target_kg * 1000 * share:.2f} g"
    with pytest.raises(Asked, match=words) as caught:
        weigh_outs.weigh_out(session, batch, part.pk, weighed(mass, bag.pk))
    assert caught.value.field == "mass"
    assert caught.value.keep == ("{typed}, and more follows" if share < 1 else "{typed}, as typed")
    assert batches.weighed(session, batch)[part.pk] == 0
    weigh_outs.weigh_out(session, batch, part.pk, weighed(mass, bag.pk, sure=True))


def test_the_rest_of_a_bag_is_no_slip(session: Session) -> None:
    batch = build.batch(session)
    rest = build.supply(session, "sorbitol", "20 g")
    build.opened_session(session, batch)
    part = part_of(batch, "sorbitol")
    assert weigh_outs.weigh_out(session, batch, part.pk, weighed("20 g", rest.pk)).mass_kg == pytest.approx(0.020)


# --- Swapped bowls -------------------------------------------------------------------------------


def in_each_others_line(session: Session) -> Batch:
    """Sorbitol and sucrose weighed out to each other's targets, the weigher sure of both."""
    batch = build.batch(session)
    build.opened_session(session, batch)
    amounts = {part.ingredient: f"{part.target_kg * 1000:.1f} g" for part in batch.parts}
    amounts["sorbitol"], amounts["sucrose"] = amounts["sucrose"], amounts["sorbitol"]
    for part in batch.parts:
        assert part.ingredient is not None
        bag = supplies.bags(session, part.ingredient)[0]
        weigh_outs.weigh_out(session, batch, part.pk, weighed(amounts[part.ingredient], bag.pk, sure=True))
    return batch


def test_the_first_of_two_swapped_bowls_is_asked_about_with_the_other_by_name(session: Session) -> None:
    batch = build.batch(session)
    build.opened_session(session, batch)
    sorbitol, sucrose = part_of(batch, "sorbitol"), part_of(batch, "sucrose")
    bag = supplies.bags(session, "sorbitol")[0]
    with pytest.raises(Asked, match=r"still wanted of sucrose.*Swapped"):
        weigh_outs.weigh_out(session, batch, sorbitol.pk, weighed(f"{sucrose.target_kg * 1000:.1f} g", bag.pk))


def test_done_is_refused_for_swapped_bowls_until_it_is_said_what_was_meant(session: Session) -> None:
    batch = in_each_others_line(session)
    cast = casting.the_open(session, batch)
    first = cast.steps[0]
    with pytest.raises(Asked, match=r"Far off the target: .*sorbitol.*sucrose.*swapped") as caught:
        steps.record(session, cast, first.pk, StepIn(act="done"))
    assert caught.value.field == "meant"
    with pytest.raises(Refused, match="Far off the target"):
        steps.tell_time(session, cast, first.pk, StepTimeIn(at=f"{clock.local(clock.now()):%H:%M}", why="Forgotten."))
    assert first.done_at is None
    steps.record(session, cast, first.pk, StepIn(act="done", meant="A richer blend, for a test."))
    assert first.done_at is not None
    assert any(
        "far off the target" in n.words and "richer blend" in n.words for n in casting.notes(session, cast.evening)
    )


def test_swapped_bowls_are_booked_the_other_way_round_from_their_own_bags(session: Session) -> None:
    batch = in_each_others_line(session)
    sorbitol, sucrose = part_of(batch, "sorbitol"), part_of(batch, "sucrose")
    bag = supplies.bags(session, "sucrose")[0]
    before = supplies.remaining(session)[bag.pk]
    assert targets.swapped(session, batch) == [(sorbitol, sucrose), (sucrose, sorbitol)]
    weigh_outs.swap_over(session, batch, sorbitol.pk, SwapIn(other_id=sucrose.pk), "Ada", sorbitol.version)
    assert targets.off(session, batch) == []
    assert supplies.remaining(session)[bag.pk] == pytest.approx(
        before + sorbitol.target_kg - sucrose.target_kg, abs=1e-4
    )
    now = next(p for p in weigh_outs.of_batch(session, batch) if p.part is sucrose)
    assert [(d.weigh_out.voided_why, d.weigh_out.mass_typed) for d in now.draws] == [
        ("Booked into each other's line.", f"{sorbitol.target_kg * 1000:.1f} g"),
        (None, f"{sucrose.target_kg * 1000:.1f} g"),
    ]
    with pytest.raises(Refused, match="do not fit each other"):
        weigh_outs.swap_over(session, batch, sorbitol.pk, SwapIn(other_id=sucrose.pk))
    cast = casting.the_open(session, batch)
    steps.record(session, cast, cast.steps[0].pk, StepIn(act="done"))
