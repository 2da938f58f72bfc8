"""Motors: what may be put together, what is refused and why, and taking apart."""

from datetime import timedelta
from math import pi

import pytest
from sqlalchemy import event
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, select

from app import clock
from app.errors import Conflict, NotFound, Refused
from app.models import BuildGrain, MotorBuild, Nozzle, NozzleMeasure
from app.models.batch import WeighOutIn
from app.models.grain import DecisionIn
from app.models.hardware import NozzleMeasureIn
from app.models.motor import TakeApartIn
from app.services.book import workshop
from app.services.cast import weigh_outs
from app.services.firings import firings
from app.services.grains import decisions, grains
from app.services.hardware import inventory
from app.services.learning import prediction_record
from app.services.motors import builds
from app.services.stock import supplies
from app.units import say
from tests import build
from tests.moment import wall

WHY = TakeApartIn(why="The weather turned.")


def test_codes_count_within_their_year(session: Session) -> None:
    with clock.turned_to(wall("2026-11-20T12:00")) as turn:
        first = build.motor_build(session)
        first.code = "M26K-07"  # as older books have it
        session.flush()
        assert build.motor_build(session).code == "26-001"
        assert build.motor_build(session).code == "26-002"
        turn(wall("2026-12-02T12:00"))
        assert build.motor_build(session).code == "26-003"
        turn(wall("2027-01-02T12:00"))
        assert build.motor_build(session).code == "27-001"
        assert builds.by_code(session, "m26k-07").build is first


def test_a_build_holds_its_grains_in_the_order_picked(session: Session) -> None:
    ready = build.ready_grains(session)
    picked = [ready[i] for i in (2, 0, 3, 1)]
    built = builds.by_code(session, build.motor_build(session, grains=picked).code.lower())
    assert [v.grain.serial for v in built.grains] == [g.serial for g in picked]
    assert {v.state for v in built.grains} == {"in motor"}
    assert (built.state, built.fired) == ("ready", None)
    assert grains.ready(session) == []
    assert builds.ready_by_lot(grains.on_shelf(session)) == []


def test_grains_stand_on_the_shelf_by_lot(session: Session) -> None:
    first, second = build.ready_grains(session, 2), build.ready_grains(session, 3)
    lots = builds.ready_by_lot(grains.on_shelf(session))
    assert [(lot.batch.pk, len(views)) for lot, views in lots] == [(first[0].batch_id, 2), (second[0].batch_id, 3)]


def test_a_grain_that_is_not_cured_is_refused_with_the_moment_it_will_be(session: Session) -> None:
    lot = build.cast(session, 4)
    young = [build.grain(session, lot) for _ in range(4)]
    ready = grains.view(session, young[0].serial).cured_at
    with pytest.raises(Refused, match=f"{young[0].serial} is not cured; it will be ready on") as fault:
        build.motor_build(session, grains=young)
    assert fault.value.field == "grain_ids"
    assert clock.day_and_time(ready) in say(fault.value.message)
    assert builds.not_ready(grains.on_shelf(session))[0].grain is young[0]
    with clock.turned_to(ready + timedelta(minutes=1)):
        build.motor_build(session, grains=young)


@pytest.mark.parametrize(
    ("decision", "words"),
    [("reject", r"was rejected \(cracked\)"), ("hold", r"is held \(cracked\)"), (None, "is not decided on yet")],
)
def test_a_grain_that_was_not_accepted_is_refused(session: Session, decision: str | None, words: str) -> None:
    ready = build.ready_grains(session, 4)
    if decision is None:
        ready[1].decision = None
        session.flush()
    else:
        decisions.decide(session, ready[1], DecisionIn(decision=decision, why="cracked", person="Ada"))
    with pytest.raises(Refused, match=f"{ready[1].serial} {words}") as fault:
        build.motor_build(session, grains=ready)
    assert fault.value.field == "grain_ids"


def test_a_grain_in_a_motor_or_burned_is_refused(session: Session) -> None:
    ready = build.ready_grains(session, 4)
    built = build.motor_build(session, grains=ready[:2])
    with pytest.raises(Refused, match=f"{ready[0].serial} is in motor {built.code}; take that motor apart first"):
        build.motor_build(session, grains=ready[:1])
    build.firing(session, built)
    with pytest.raises(Refused, match=f"{ready[0].serial} was burned in {built.code}"):
        build.motor_build(session, grains=ready[:1])


def test_a_grain_picked_twice_or_unknown_is_refused(session: Session) -> None:
    ready = build.ready_grains(session, 2)
    with pytest.raises(Refused, match="picked twice"):
        build.motor_build(session, grains=[ready[0], ready[0]])
    with pytest.raises(Refused, match="not in this book"):
        build.motor_build(session, grain_ids=[ready[0].pk, 999])


def test_grains_of_several_formulas_are_refused(session: Session) -> None:
    one = build.ready_grains(session, 2)
    other = build.ready_grains(session, 2, blend=build.formula(session, parts={"KNO3": "65 %", "dextrose": "35 %"}))
    with pytest.raises(Refused, match="several formulas"):
        build.motor_build(session, grains=one + other)


@pytest.mark.parametrize(
    ("hardware_texts", "texts", "field", "words"),
    [
        ({"case": {"inner_d": "44 mm"}}, {}, "grain_ids", "44.45 mm wide; .* is 44.00 mm inside"),
        ({"case": {"chamber_length": "310 mm"}}, {}, "grain_ids", "4 grains with gaps of 2.00 mm need 310.80 mm"),
        ({}, {"throat_d": "33 mm"}, "throat_d", "wider than the exit"),
        ({"nozzle": {"throat_d": "19.5 mm"}}, {"throat_d": "19.5 mm"}, "throat_d", "wider than the narrowest port"),
    ],
)
def test_what_does_not_fit_is_refused(
    session: Session, hardware_texts: dict[str, dict[str, str]], texts: dict[str, str], field: str, words: str
) -> None:
    things = {noun: getattr(build, noun)(session, **more) for noun, more in hardware_texts.items()}
    with pytest.raises(Refused, match=words) as fault:
        build.motor_build(session, **things, **texts)
    assert fault.value.field == field


def test_a_motor_is_not_built_tomorrow_nor_before_its_grains_were_cured(session: Session) -> None:
    ready = build.ready_grains(session)
    with pytest.raises(Refused, match="still to come") as fault:
        build.motor_build(session, grains=ready, built_on=clock.today() + timedelta(days=1))
    assert fault.value.field == "built_on"
    with pytest.raises(Refused, match="was not cured before"):
        build.motor_build(session, grains=ready, built_on=clock.today() - timedelta(days=3))


def test_one_case_and_one_nozzle_are_in_one_motor_at_a_time(session: Session) -> None:
    case, nozzle = build.case(session), build.nozzle(session)
    first = build.motor_build(session, case=case, nozzle=nozzle)
    for same, field in (({"case": case}, "case_id"), ({"nozzle": nozzle}, "nozzle_id")):
        with pytest.raises(Refused, match=f"is in motor {first.code}") as fault:
            build.motor_build(session, **same)
        assert fault.value.field == field
    build.firing(session, first)
    build.motor_build(session, case=case, nozzle=nozzle)


def test_a_retired_case_is_refused(session: Session) -> None:
    case = build.case(session)
    case.retired = True
    session.flush()
    with pytest.raises(Refused, match="is retired"):
        build.motor_build(session, case=case)


def test_a_throat_measured_today_goes_into_the_nozzles_history_once(session: Session) -> None:
    nozzle = build.nozzle(session)
    inventory.measure_nozzle(
        session, nozzle, NozzleMeasureIn.model_validate({"measured_on": "2024-05-01", "throat_d": "12.8 mm"})
    )
    same = build.motor_build(session, nozzle=nozzle, throat_d="12.8 mm")
    assert len(inventory.measures(session, nozzle)) == 1
    builds.take_apart(session, same, WHY)
    wider = build.motor_build(session, nozzle=nozzle, throat_d="12,95 mm")
    newest = inventory.measures(session, nozzle)[0]
    assert (newest.throat_d_m, newest.measured_on, newest.throat_d_typed) == (0.01295, clock.today(), "12,95 mm")
    assert inventory.throat_now(session, nozzle) == wider.throat_d_m == 0.01295


def test_a_motor_taken_apart_gives_its_grains_back(session: Session) -> None:
    ready = build.ready_grains(session)
    built = build.motor_build(session, grains=ready)
    version = built.version
    builds.take_apart(session, built, WHY, version)
    assert builds.by_code(session, built.code).state == "taken apart"
    assert len(builds.by_code(session, built.code).grains) == 4
    assert {g.pk for g in grains.ready(session)} == {g.pk for g in ready}
    with pytest.raises(Refused, match="taken apart already"):
        builds.take_apart(session, built, WHY, built.version)
    with pytest.raises(Refused, match="stays as it was made"):
        builds.predict_again(session, built)
    build.motor_build(session, grains=ready)


def test_a_motor_seen_in_an_old_tab_is_not_taken_apart(session: Session) -> None:
    built = build.motor_build(session)
    with pytest.raises(Conflict):
        builds.take_apart(session, built, WHY, built.version - 1)
    assert builds.by_code(session, built.code).state == "ready"


def test_a_fired_motor_is_not_taken_apart_by_anybody(session: Session) -> None:
    built = build.motor_build(session)
    build.firing(session, built)
    with pytest.raises(Refused, match="its grains are burned"):
        builds.take_apart(session, built, WHY)
    slot = session.exec(select(BuildGrain).where(BuildGrain.motor_build_id == built.pk)).first()
    assert slot is not None
    slot.released_at = clock.now()
    with pytest.raises(IntegrityError, match="it does not go back to the shelf"):
        session.flush()


def test_the_book_itself_keeps_a_grain_in_one_motor(session: Session) -> None:
    built = build.motor_build(session)
    slot = built.slots[0]
    session.add(BuildGrain(motor_build_id=built.pk, grain_id=slot.grain_id, position=9))
    with pytest.raises(IntegrityError):
        session.flush()


def test_a_lot_weighed_away_from_its_formula_is_told(session: Session) -> None:
    ready = build.ready_grains(session)
    assert not any(
        "weighed up to" in say(line) for line in _warnings(session, build.motor_build(session, grains=ready))
    )
    with clock.turned_to(clock.now() - timedelta(days=8)):
        lot = build.cast(session, 4)
        sugar = next(part.pk for part in lot.parts if part.ingredient == "sorbitol")
        more = {"supply_id": supplies.bags(session, "sorbitol")[0].pk, "mass": "50 g"}
        weigh_outs.weigh_out(session, lot, sugar, WeighOutIn.model_validate(more).answering(None))
        sweet = [build.grain(session, lot) for _ in range(4)]
    told = [w for w in _warnings(session, build.motor_build(session, grains=sweet)) if "weighed up to" in w]
    assert told
    assert lot.code in told[0]


def test_unknown_motors_are_not_found(session: Session) -> None:
    with pytest.raises(NotFound, match="26-099"):
        builds.by_code(session, "26-099")


def test_a_refused_build_leaves_nothing_behind(session: Session) -> None:
    nozzle = build.nozzle(session)
    before = workshop.get(session).version
    with pytest.raises(Refused):
        build.motor_build(session, nozzle=nozzle, throat_d="33 mm")
    assert session.exec(select(MotorBuild)).all() == []
    assert session.exec(select(NozzleMeasure)).all() == []
    assert session.get(Nozzle, nozzle.pk) is nozzle
    assert workshop.get(session).version == before


def _warnings(session: Session, built: MotorBuild) -> list[str]:
    row = builds.around(session, built).predictions[0]
    assert row is not None
    return [say(words) for words in prediction_record.from_row(row).warnings]


def test_a_long_list_takes_no_more_queries_than_a_short_one(session: Session) -> None:
    asked: list[str] = []

    def queries() -> int:
        session.flush()
        session.expire_all()
        asked.clear()
        builds.listed(session)
        firings.listed(session)
        return len(asked)

    event.listen(session.get_bind(), "before_cursor_execute", lambda *args: asked.append(args[2]))
    case, nozzle = build.case(session), build.nozzle(session)
    build.firing(session, build.motor_build(session, case=case, nozzle=nozzle))
    few = queries()
    for _ in range(3):
        build.firing(session, build.motor_build(session, case=case, nozzle=nozzle))
    assert builds.listed(session).total == 4
    assert queries() <= few + 3  # identities that only the longer list holds


def test_a_built_motor_s_tubes_take_room_from_its_gas(session: Session) -> None:
    # by plane geometry, from the grains as measured: tubes of 47.2 mm outside around 44.45 mm of propellant
    lot = build.cast(session, 2, shape=build.pattern(session, casting_tube_id=build.tube(session).pk))
    grains = [build.grain(session, lot, length=length) for length in ("76.2 mm", "70 mm")]
    setup = builds.setup_of(session, builds.around(session, build.bare_motor(session, grains)))
    paper = [pi / 4 * (0.0472**2 - 0.04445**2) * length for length in (0.0762, 0.07)]
    assert [one.tube_m3 for one in setup.grains] == pytest.approx(paper)
    assert [one.tube_kg for one in setup.grains] == pytest.approx([0.0096] * 2)
