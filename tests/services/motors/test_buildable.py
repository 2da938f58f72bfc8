"""What the shelf and the workshop can put together: widths, lengths and masses that can be reckoned by hand."""

from datetime import timedelta

import pytest
from sqlmodel import Session

from app import clock
from app.models import Grain
from app.models.firing import FAILED
from app.services.book import workshop
from app.services.grains import shelf
from app.services.motors import buildable
from app.services.motors.buildable import Buildables
from tests import build


def now(session: Session) -> Buildables:
    return buildable.now(session, shelf.standing(session))


def weigh(session: Session, made: list[Grain], *masses_kg: float) -> None:
    for grain, mass in zip(made, masses_kg, strict=True):
        grain.mass_kg = mass
    session.flush()


def test_a_case_is_filled_with_the_most_even_set(session: Session) -> None:
    """76.2 mm grains with the workshop's gap: two go into 160 mm; the evenest two of four are 1 g apart."""
    made = build.ready_grains(session, 4)
    weigh(session, made, 0.170, 0.165, 0.172, 0.166)
    case, nozzle = build.case(session, chamber_length="160 mm"), build.nozzle(session)
    (one,) = now(session).motors
    assert [grain.serial for grain in one.grains] == [made[1].serial, made[3].serial]
    assert one.spread_kg == pytest.approx(0.001)
    assert (one.case, one.nozzle, one.further) == (case, nozzle, 1)
    assert one.query == [
        ("grain", str(made[1].pk)),
        ("grain", str(made[3].pk)),
        ("case_id", str(case.pk)),
        ("nozzle_id", str(nozzle.pk)),
    ]
    assert "within 1.0 g" in one.words(workshop.get(session).units)


def test_a_grain_in_its_tube_that_is_wider_than_the_case_goes_in_none(session: Session) -> None:
    """The tube is 47.2 mm outside, the case 46 mm inside."""
    tube = build.tube(session)
    build.ready_grains(session, 2, shape=build.pattern(session, casting_tube_id=tube.pk))
    build.case(session, inner_d="46 mm")
    assert now(session).motors == []
    assert "No free case takes the grains" in now(session).lacking


def test_the_nozzle_is_the_one_of_the_last_motor_that_held(session: Session) -> None:
    blend, shape = build.formula(session), build.pattern(session)
    case = build.case(session, chamber_length="160 mm")
    first, _, other = (build.nozzle(session, name=name) for name in ("First", "Second", "Third"))
    assert now(session).lacking == "No grain on the shelf is accepted and dry."
    built = build.motor_build(
        session, grains=build.ready_grains(session, 2, blend=blend, shape=shape), case=case, nozzle=first
    )
    build.ready_grains(session, 2, blend=blend, shape=shape)
    assert now(session).lacking == "Every case is in a motor that waits to be fired."
    shot = build.firing(session, built)
    (one,) = now(session).motors
    assert (one.nozzle, one.as_in, one.held) == (first, built.code, True)
    shot.result = FAILED[0]
    session.flush()
    (one,) = now(session).motors
    assert one.nozzle is None, "of a motor that failed nothing is proposed, and three nozzles fit"
    first.retired = other.retired = True
    session.flush()
    (one,) = now(session).motors
    assert one.nozzle is not None
    assert one.nozzle.name == "Second"


def test_what_is_missing_is_told_with_the_day_it_comes(session: Session) -> None:
    build.case(session, name="Long", chamber_length="160 mm")
    build.nozzle(session)
    blend, shape = build.formula(session), build.pattern(session, name="Gull")
    build.ready_grains(session, 1, blend=blend, shape=shape)
    assert now(session).lacking == "Long takes 2 Gull, and 1 is ready."
    build.grain(session, build.cast(session, 1, blend=blend, shape=shape))
    lacking = now(session).lacking
    cured = clock.now() + timedelta(seconds=workshop.get(session).cure_s)
    assert lacking == f"Long takes 2 Gull, and so many are cured {clock.day_and_time(cured)}."
