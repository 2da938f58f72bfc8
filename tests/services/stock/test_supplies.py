"""Bags: what is left of them, and what they will not take."""

from datetime import date

import pytest
from sqlmodel import Session

from app.calc.base.errors import BlendError
from app.errors import Conflict, Refused
from app.models.batch import VoidIn
from app.models.history import correction_of
from app.models.supply import CorrectionIn, SupplyIn
from app.services.cast import weigh_outs
from app.services.stock import supplies
from tests import build


def _bag(model: type[SupplyIn] = SupplyIn, **more: object) -> SupplyIn:
    texts = {"ingredient": "sorbitol", "mark": "Pail", "received_on": date(2024, 1, 5), "mass": "5 kg"}
    return model.model_validate({**texts, **more})


@pytest.mark.parametrize(
    ("typed", "key"),
    [
        ("KNO3", "potassium_nitrate"),
        ("Saltpetre", "potassium_nitrate"),
        ("table sugar", "sucrose"),
        ("glucose", "dextrose"),
    ],
)
def test_an_ingredient_is_known_by_its_common_names(session: Session, typed: str, key: str) -> None:
    assert supplies.save(session, _bag(ingredient=typed)).ingredient == key


@pytest.mark.parametrize("typed", ["ammonium perchlorate", "aluminium", "sulfur", "charcoal", "iron oxide", "flour"])
def test_what_is_outside_the_family_is_refused_with_the_reason(session: Session, typed: str) -> None:
    with pytest.raises(BlendError, match="stays inside the potassium-nitrate/sugar family") as caught:
        supplies.save(session, _bag(ingredient=typed))
    assert caught.value.field == "ingredient"


def test_two_bags_of_one_ingredient_need_two_marks(session: Session) -> None:
    supplies.save(session, _bag())
    supplies.save(session, _bag(ingredient="sucrose"))
    with pytest.raises(Refused, match="marked “Pail” already") as caught:
        supplies.save(session, _bag(mark="PAIL"))
    assert caught.value.field == "mark"


def test_what_is_left_is_received_less_weighed_out_plus_corrections(session: Session) -> None:
    batch = build.weighed_batch(session)
    part = next(part for part in batch.parts if part.ingredient == "sorbitol")
    (bag,) = supplies.bags(session, "sorbitol")
    weighed = supplies.draws(session, bag)[0][0].mass_kg
    assert weighed == pytest.approx(part.target_kg, abs=1e-9)
    assert supplies.remaining(session)[bag.pk] == pytest.approx(10 - weighed)
    supplies.correct(session, bag, CorrectionIn.model_validate({"found": "9 kg", "reason": "spilled"}))
    assert supplies.remaining(session)[bag.pk] == pytest.approx(9.0)
    assert supplies.corrections(session, bag)[0].delta_kg == pytest.approx(9 - (10 - weighed))
    assert supplies.on_shelf(session)["sorbitol"] == pytest.approx(9.0)


def test_a_struck_out_amount_is_back_in_the_bag_but_stays_readable(session: Session) -> None:
    batch = build.weighed_batch(session)
    (bag,) = supplies.bags(session, "sucrose")
    weighed, of = supplies.draws(session, bag)[0]
    assert of.pk == batch.pk
    weigh_outs.strike_out(session, batch, weighed.pk, VoidIn(why="wrong bag"))
    assert supplies.remaining(session)[bag.pk] == pytest.approx(10.0)
    assert supplies.draws(session, bag)[0][0].voided_why == "wrong bag"


def test_bags_come_oldest_first_and_empty_ones_not_at_all(session: Session) -> None:
    young = build.supply(session, "sorbitol", received_on=date(2025, 1, 1))
    old = build.supply(session, "sorbitol", received_on=date(2023, 1, 1))
    gone = build.supply(session, "sorbitol", received_on=date(2022, 1, 1))
    supplies.correct(session, gone, CorrectionIn.model_validate({"found": "0", "reason": "used up"}))
    assert supplies.bags(session, "sorbitol") == [old, young]
    assert [stock.bag for stock in supplies.stock(session)] == [old, young, gone]
    assert supplies.stock_of(session, gone).empty


def test_a_correction_that_corrects_nothing_is_refused(session: Session) -> None:
    bag = build.supply(session, mass="10 kg")
    with pytest.raises(Refused, match="nothing to correct"):
        supplies.correct(session, bag, CorrectionIn.model_validate({"found": "10000", "reason": "weighed"}))


def test_a_bag_that_was_drawn_from_keeps_its_ingredient_and_its_mass(session: Session) -> None:
    build.weighed_batch(session)
    (bag,) = supplies.bags(session, "sorbitol")
    with pytest.raises(Refused, match="went into batches as sorbitol"):
        supplies.save(session, _bag(ingredient="sucrose", mark=bag.mark), bag)
    with pytest.raises(Refused, match="booked out of this bag"):
        supplies.save(session, _bag(mark=bag.mark, mass="10 g"), bag)
    with pytest.raises(Refused, match="10 kg was measured") as refusal:
        supplies.save(session, _bag(mark=bag.mark, mass="9 kg"), bag)
    assert refusal.value.field == "why"
    supplies.save(session, _bag(correction_of(SupplyIn), mark=bag.mark, mass="9 kg", why="net"), bag)
    assert supplies.remaining(session)[bag.pk] < 9.0


def test_a_bag_changed_elsewhere_is_not_overwritten(session: Session) -> None:
    bag = supplies.save(session, _bag())
    seen = bag.version
    supplies.save(session, _bag(note="moved"), bag, seen)
    with pytest.raises(Conflict):
        supplies.save(session, _bag(note="lost"), bag, seen)


def test_cost_per_kilogram(session: Session) -> None:
    bag = build.supply(session, mass="5 lb", cost="11.34")
    assert supplies.stock_of(session, bag).cost_per_kg == pytest.approx(11.34 / (5 * 0.45359237))  # NIST SP 811: pound
