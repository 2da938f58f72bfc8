"""Rejects wait until their disposal is written down, and what is held is told against the workshop's own limit."""

from datetime import timedelta

import pytest
from sqlmodel import Session

from app import clock
from app.errors import Refused
from app.models import Grain
from app.models.batch import VoidIn
from app.models.disposal import DisposalIn
from app.services.book import workshop
from app.services.grains import rejects, waste
from app.services.stock import batches
from tests import build


def test_all_that_burns_is_held_until_it_is_gone(session: Session) -> None:
    """Grains on the shelf and in motors, rejects, leftovers; not what was burned, and a remelted reject once."""
    motor = build.motor_build(session)
    shelf = build.ready_grains(session, 2)
    lot = build.cast(session)
    bad, again = build.grain(session, lot, decision="reject"), build.grain(session, lot, decision="reject")
    leftover = build.leftover(session, lot, 0.05)
    held = waste.held(session)
    inside = sum(session.get_one(Grain, slot.grain_id).mass_kg for slot in motor.slots)
    assert held.grains_kg == pytest.approx(inside + sum(grain.mass_kg for grain in shelf))
    assert held.rejects_kg == pytest.approx(bad.mass_kg + again.mass_kg)
    assert held.leftovers_kg == pytest.approx(leftover.mass_kg)
    rejects.send_off(session, again, "remelt")
    assert waste.held(session).kg == pytest.approx(held.kg)
    build.bare_firing(session, motor)
    assert waste.held(session).grains_kg == pytest.approx(held.grains_kg - inside)
    assert waste.held(session).over_kg == 0
    shop = workshop.get(session)
    shop.hold_limit_kg, shop.hold_limit_source = 0.1, "The county's rule"
    assert waste.held(session).over_kg == pytest.approx(waste.held(session).kg - 0.1)


def test_a_reject_waits_until_its_disposal_is_written_down(session: Session) -> None:
    lot = build.cast(session)
    bad, leftover = build.grain(session, lot, decision="reject"), build.leftover(session, lot, 0.05)
    assert [one.key for one in waste.waiting(session)] == [f"grain-{bad.pk}", f"leftover-{leftover.pk}"]
    told = DisposalIn(
        things=[f"grain-{bad.pk}", f"leftover-{leftover.pk}"], done_on=clock.today(), how="Dissolved in a barrel."
    )
    row = waste.dispose(session, told)
    assert row.mass_kg == pytest.approx(bad.mass_kg + 0.05)
    assert waste.names(session, row) == [bad.serial, leftover.mark]
    assert waste.waiting(session) == []
    assert (bad.gone_to, waste.held(session).kg) == ("scrap", 0)
    assert batches.leftovers(session) == []
    with pytest.raises(Refused, match="was disposed of"):
        rejects.bring_back(session, bad)
    with pytest.raises(Refused, match="went already"):
        waste.dispose(session, told)
    waste.strike(session, row, VoidIn(why="It was another."))
    assert len(waste.waiting(session)) == 2
    with pytest.raises(Refused, match="struck out already"):
        waste.strike(session, row, VoidIn(why="Once more."))
    rejects.bring_back(session, bad)


@pytest.mark.parametrize(("ahead", "words"), [(1, "still to come"), (-1, "was not there yet")])
def test_a_day_that_cannot_be_is_refused(session: Session, ahead: int, words: str) -> None:
    bad = build.grain(session, build.cast(session), decision="reject")
    day = clock.today() + timedelta(days=ahead)
    with pytest.raises(Refused, match=words) as told:
        waste.dispose(session, DisposalIn(things=[f"grain-{bad.pk}"], done_on=day, how="Burned outdoors."))
    assert told.value.field == "done_on"
