"""How large a melt may be: the pan's capacity, what was cast before, and plans split into melts."""

import pytest
from sqlmodel import Session, select

from app.errors import Asked, Refused
from app.models import Batch
from app.models.batch import PlanIn
from app.services.book import workshop
from app.services.cast import casting, melts, planning
from tests import build


@pytest.fixture
def unsaid(session: Session) -> Session:
    """A workshop that has said nothing of its pan, as a new book has it."""
    shop = workshop.get(session)
    shop.pan_capacity_kg = shop.pan_capacity_typed = shop.known_melt_kg = shop.known_melt_typed = None
    session.flush()
    return session


def plan_of(session: Session, count: int, **more: object) -> PlanIn:
    return build.plan_in(session, count, **more)


def test_without_a_capacity_it_is_asked_for_and_kept_in_the_settings(unsaid: Session) -> None:
    with pytest.raises(Refused, match="How much does your pan hold") as caught:
        planning.plan(unsaid, plan_of(unsaid, 4))
    assert caught.value.field == "pan_capacity"
    planning.plan(unsaid, plan_of(unsaid, 4, pan_capacity="2 kg"))
    assert (workshop.get(unsaid).pan_capacity_kg, workshop.get(unsaid).pan_capacity_typed) == (2.0, "2 kg")
    planning.plan(unsaid, plan_of(unsaid, 4))


def test_a_melt_above_the_capacity_is_split_never_accepted_whole(unsaid: Session) -> None:
    """Four grains make a melt of about 0.72 kg: 53 of them are the 9.6 kg that a plan once let through."""
    shop = workshop.get(unsaid)
    shop.pan_capacity_kg, shop.known_melt_kg = 2.0, 2.0
    big = plan_of(unsaid, 53)
    with pytest.raises(
        Asked, match=r"more than the 2000\.0 g that your pan holds.*5 melts, each of at most 11"
    ) as caught:
        planning.plan(unsaid, big)
    assert (caught.value.field, caught.value.readings, caught.value.keep) == ("melts", [("5", "5 melts")], None)
    with pytest.raises(Asked, match="It takes 5 melts"):
        planning.plan(unsaid, big.answering(None))  # no answer lets it through whole
    first = planning.plan(unsaid, big.model_copy(update={"melts": 5}))
    made = unsaid.exec(select(Batch).where(Batch.formula_id == first.formula_id)).all()
    assert sorted(sum(item.count for item in batch.items) for batch in made) == [10, 10, 11, 11, 11]
    assert all(batch.target_mass_kg <= 2.0 for batch in made)


def test_two_patterns_and_a_leftover_are_shared_out_evenly(unsaid: Session) -> None:
    shop = workshop.get(unsaid)
    shop.pan_capacity_kg, shop.known_melt_kg = 20.0, 20.0
    one, other = build.pattern(unsaid), build.pattern(unsaid)
    old = build.batch(unsaid)
    left = build.leftover(unsaid, old, 0.09)
    data = plan_of(
        unsaid,
        4,
        melts=3,
        items=[{"pattern_id": one.pk, "count": 4}, {"pattern_id": other.pk, "count": 7}],
        remelts=[{"leftover_id": left.pk}],
    )
    shares = melts.split(unsaid, data, 3)
    assert [sum(item.count for item in share.items) for share in shares] == [4, 4, 3]
    assert [share.remelts[0].mass.si for share in shares if share.remelts[0].mass] == [pytest.approx(0.03)] * 3
    assert sum(item.count for share in shares for item in share.items if item.pattern_id == one.pk) == 4


def test_one_grain_too_large_for_the_pan_is_refused(unsaid: Session) -> None:
    workshop.get(unsaid).pan_capacity_kg = 0.1
    with pytest.raises(Refused, match="one of these grains alone") as caught:
        planning.plan(unsaid, plan_of(unsaid, 4))
    assert caught.value.field == "items"


def test_a_melt_well_above_any_before_is_asked_about_with_the_numbers(unsaid: Session) -> None:
    shop = workshop.get(unsaid)
    shop.pan_capacity_kg = 20.0
    with pytest.raises(Asked, match="nothing was cast in this book before"):
        planning.plan(unsaid, plan_of(unsaid, 8))
    build.cast(unsaid, 4)
    before = melts.largest_cast(unsaid)
    assert before == pytest.approx(0.7228, abs=1e-3)
    planning.plan(unsaid, plan_of(unsaid, 5))
    big = plan_of(unsaid, 53)
    with pytest.raises(Asked, match=r"This is a melt of 9\d+\.\d g, 13\.\d times the largest melt before, 722\.\d g"):
        planning.plan(unsaid, big)
    shop.known_melt_kg = 8.0
    planning.plan(unsaid, big)
    shop.known_melt_kg = None
    with pytest.raises(Asked) as caught:
        planning.plan(unsaid, big)
    planning.plan(unsaid, big.answering([("", caught.value.about)]))


def test_only_what_was_poured_is_experience(unsaid: Session) -> None:
    workshop.get(unsaid).pan_capacity_kg = 20.0
    build.weighed_batch(unsaid, 4)
    assert melts.largest_cast(unsaid) == 0.0


def test_an_older_plan_above_the_capacity_is_not_opened(unsaid: Session) -> None:
    workshop.get(unsaid).pan_capacity_kg = 20.0
    batch = build.batch(unsaid, 4)
    build.stock(unsaid, batch)
    workshop.get(unsaid).pan_capacity_kg = 0.5
    with pytest.raises(Refused, match=r"more than the 500\.0 g that your pan holds"):
        build.opened_session(unsaid, batch)
    assert casting.find(unsaid, batch) is None
