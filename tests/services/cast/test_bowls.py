"""Weighing out one bowl at a time: what is booked at once, what is asked, scoops and a tare."""

import pytest
from sqlmodel import Session

from app.errors import Refused
from app.models import Batch, BatchPart
from app.models.batch import BagBowlIn
from app.services.cast import bowls, casting, weigh_outs
from app.services.cast.bowls import Booked, Verdict
from app.services.cast.steps import settled
from app.services.stock import batches, supplies
from tests import build


@pytest.fixture
def lot(session: Session) -> Batch:
    """A session open, nothing weighed: 4 grains of nitrate, sorbitol and sucrose."""
    made = build.batch(session)
    build.opened_session(session, made)
    return made


def part_of(batch: Batch, ingredient: str) -> BatchPart:
    return next(part for part in batch.parts if part.ingredient == ingredient)


def read(session: Session, batch: Batch, ingredient: str, grams: float, book: str = "") -> Booked:
    part = part_of(batch, ingredient)
    texts = {"supply_id": supplies.bags(session, ingredient)[0].pk, "mass": f"{grams:.4f} g", "book": book}
    return bowls.book(session, casting.the_open(session, batch), batch, part.pk, BagBowlIn.model_validate(texts))


def grams(batch: Batch, ingredient: str) -> float:
    return part_of(batch, ingredient).target_kg * 1000


def booked(session: Session, batch: Batch, ingredient: str) -> float:
    return batches.weighed(session, batch)[part_of(batch, ingredient).pk] * 1000


def refused(session: Session, batch: Batch, ingredient: str, mass: float, book: str = "") -> Verdict:
    before = booked(session, batch, ingredient)
    with pytest.raises(Verdict) as caught:
        read(session, batch, ingredient, mass, book)
    assert booked(session, batch, ingredient) == before
    return caught.value


def test_a_good_reading_is_booked_at_once_and_the_last_settles_the_weighing(session: Session, lot: Batch) -> None:
    weighing = casting.the_open(session, lot).steps[0]
    for number, part in enumerate(lot.parts):
        assert part.ingredient
        last = number == len(lot.parts) - 1
        found = read(session, lot, part.ingredient, grams(lot, part.ingredient) * 1.0005)
        assert found.words.endswith(": good")
        assert found.all_weighed == last
        assert settled(weighing) == last


@pytest.mark.parametrize(("share", "kind"), [(0.985, "under"), (1.015, "over"), (0.4, "under"), (3.0, "over")])
def test_a_reading_off_its_target_is_booked_only_when_it_was_said_what_it_is(
    session: Session, lot: Batch, share: float, kind: str
) -> None:
    mass = grams(lot, "sorbitol") * share
    verdict = refused(session, lot, "sorbitol", mass)
    assert verdict.kind == kind
    assert verdict.head.endswith(f" g {kind}")
    read(session, lot, "sorbitol", mass, verdict.readings[0][0])
    assert booked(session, lot, "sorbitol") == pytest.approx(mass, abs=1e-3)


def test_a_bowl_that_fits_another_one_is_named(session: Session, lot: Batch) -> None:
    verdict = refused(session, lot, "sorbitol", grams(lot, "sucrose"))
    assert (verdict.kind, verdict.head) == ("other", "This looks like the sucrose")
    assert (verdict.other_id, verdict.other) == (part_of(lot, "sucrose").pk, "sucrose")
    read(session, lot, "sucrose", grams(lot, "sucrose"))
    assert refused(session, lot, "sorbitol", grams(lot, "sucrose")).kind == "under"  # that bowl is booked


def test_a_slipped_decimal_sign_is_named(session: Session, lot: Batch) -> None:
    target = grams(lot, "sorbitol")
    slips = refused(session, lot, "sorbitol", target / 10).slips
    assert [round(float(text.split()[0]), 1) for text in slips] == [round(target, 1)]


def test_scoops_add_up_and_a_reading_of_the_whole_bowl_is_told_from_one_more(session: Session, lot: Batch) -> None:
    target = grams(lot, "potassium_nitrate")
    read(session, lot, "potassium_nitrate", 100, "scoop")
    verdict = refused(session, lot, "potassium_nitrate", 200)  # neither makes it whole
    assert verdict.kind == "which"
    assert [answer for answer, _ in verdict.readings] == ["scoop", "whole"]
    read(session, lot, "potassium_nitrate", 200, "scoop")
    assert booked(session, lot, "potassium_nitrate") == pytest.approx(300)
    read(session, lot, "potassium_nitrate", target - 300)  # the scale was set to nought
    assert booked(session, lot, "potassium_nitrate") == pytest.approx(target, abs=1e-3)


def test_the_whole_bowl_read_again_books_what_was_added(session: Session, lot: Batch) -> None:
    target = grams(lot, "potassium_nitrate")
    read(session, lot, "potassium_nitrate", 300, "scoop")
    read(session, lot, "potassium_nitrate", target)
    assert booked(session, lot, "potassium_nitrate") == pytest.approx(target, abs=1e-3)
    with pytest.raises(Refused, match="is booked already"):
        read(session, lot, "potassium_nitrate", target)


def test_the_whole_bowl_as_meant_may_stay_under(session: Session, lot: Batch) -> None:
    read(session, lot, "potassium_nitrate", 100, "scoop")
    read(session, lot, "potassium_nitrate", 250, "whole")
    assert booked(session, lot, "potassium_nitrate") == pytest.approx(250)


def test_what_is_far_off_does_not_settle_the_weighing_by_itself(session: Session, lot: Batch) -> None:
    weighing = casting.the_open(session, lot).steps[0]
    read(session, lot, "potassium_nitrate", grams(lot, "potassium_nitrate") * 1.3, "whole")
    read(session, lot, "sorbitol", grams(lot, "sorbitol"))
    assert not read(session, lot, "sucrose", grams(lot, "sucrose")).all_weighed
    assert not settled(weighing)
    assert {part.name: part.far for part in weigh_outs.of_batch(session, lot)} == {
        "Potassium nitrate": True,
        "Sorbitol": False,
        "Sucrose": False,
    }


def test_a_part_of_another_batch_is_refused(session: Session, lot: Batch) -> None:
    other = build.batch(session)
    data = BagBowlIn.model_validate({"supply_id": 1, "mass": "5 g"})
    with pytest.raises(Refused, match="not a part"):
        bowls.book(session, casting.the_open(session, lot), lot, other.parts[0].pk, data)
