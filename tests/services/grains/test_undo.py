"""Slips are taken back: struck out or reversed, with what was there kept in the record of changes."""

import json
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest
from sqlmodel import Session, col, select

from app import clock
from app.errors import Conflict, Refused
from app.models import Change, Firing, Leftover, NozzleMeasure, ReWeigh, TemperatureReading
from app.models.bag import ReWeighIn
from app.models.batch import LeftoverIn, TestPiecesIn, VoidIn
from app.models.cast import TemperatureIn
from app.models.firing import FiringIn
from app.models.grain import DecisionIn
from app.models.hardware import NozzleMeasureIn
from app.models.history import correction_of
from app.services.book import audit_log, audit_reasons, repository
from app.services.book.first_minute import AT_ONCE
from app.services.cast import casting, leftovers, pan, planning, weigh_outs
from app.services.firings import firings
from app.services.grains import decisions, grains, reweighs, undo
from app.services.hardware import inventory
from app.services.motors import builds
from app.services.stock import blends
from tests import build
from tests.moment import wall

NOON = wall("2026-11-25T12:00")
LATER = NOON + timedelta(seconds=61)
STRUCK, BECAUSE = VoidIn(why=AT_ONCE), VoidIn(why="misread")
Turn = Callable[[datetime], None]


@pytest.fixture(autouse=True)
def turn() -> Iterator[Turn]:
    with clock.turned_to(NOON) as turned:
        yield turned


def told(session: Session, table: str, what: str) -> list[Change]:
    return list(session.exec(select(Change).where(Change.table_name == table, Change.what == what)))


# --- Struck out: readings --------------------------------------------------------------------------


@pytest.mark.promise("A slip is taken back and stays readable", figure="9 kinds")
def test_a_pan_temperature_counts_no_more(session: Session, turn: Turn) -> None:
    lot = build.weighed_batch(session)
    for typed in ("110 C", "180 C"):
        reading = pan.record_temperature(session, lot, TemperatureIn.model_validate({"temperature": typed}))
    undo.strike_temperature(session, lot, reading.pk, STRUCK, reading.version)
    cast = casting.the_open(session, lot)
    assert [r.temperature_typed for r in pan.readings(session, cast)] == ["110 C"]
    struck = undo.struck(session, TemperatureReading, cast)
    assert [(r.temperature_typed, r.voided_why) for r in struck] == [("180 C", AT_ONCE)]
    with pytest.raises(Refused, match="struck out already"):
        undo.strike_temperature(session, lot, reading.pk, BECAUSE)
    first = pan.readings(session, cast)[0]
    turn(LATER)
    with pytest.raises(Refused, match="minute is over"):
        undo.strike_temperature(session, lot, first.pk, STRUCK)
    with pytest.raises(Conflict):
        undo.strike_temperature(session, lot, first.pk, BECAUSE, 99)
    with pytest.raises(Refused, match="another melt"):
        undo.strike_temperature(session, build.weighed_batch(session), first.pk, BECAUSE)
    assert undo.strike_temperature(session, lot, first.pk, BECAUSE).voided_why == "misread"


def test_a_weighed_amount_goes_back_to_its_bag(session: Session, turn: Turn) -> None:
    """The button of the first minute is a striking like any other; afterwards it asks for a reason."""
    lot = build.weighed_batch(session)
    draws = [part.draws[0].weigh_out for part in weigh_outs.of_batch(session, lot)]
    weigh_outs.strike_out(session, lot, draws[0].pk, STRUCK)
    assert draws[0].voided_why == AT_ONCE
    turn(LATER)
    with pytest.raises(Refused, match="minute is over") as refusal:
        weigh_outs.strike_out(session, lot, draws[1].pk, STRUCK)
    assert refusal.value.field == "why"


def test_the_re_weigh_before_counts_again(session: Session) -> None:
    (grain, other) = build.ready_grains(session, 2)
    made = [
        reweighs.weigh(session, ReWeighIn.model_validate({"serial": grain.serial, "gross": f"{m} g"}).answering(None))
        for m in (grain.mass_kg * 1000 + 0.1, grain.mass_kg * 1000 + 9)
    ]
    with pytest.raises(Refused, match="another grain"):
        undo.strike(session, ReWeigh, made[1].pk, other, BECAUSE)
    undo.strike(session, ReWeigh, made[1].pk, grain, BECAUSE)
    assert [g.row for g in reweighs.history(session, grain)] == [made[0]]
    assert grains.view(session, grain.serial).again is made[0]
    last = reweighs.last(session)
    assert last is not None
    assert last[1].row is made[0]
    assert undo.struck(session, ReWeigh, grain) == [made[1]]


def test_the_throat_before_counts_again(session: Session) -> None:
    nozzle, other = build.nozzle(session), build.nozzle(session)
    for mm in (nozzle.throat_d_m * 1000 + 0.1, nozzle.throat_d_m * 1000 + 0.9):
        data = NozzleMeasureIn.model_validate({"throat_d": f"{mm:.2f} mm", "measured_on": clock.today()})
        row = inventory.measure_nozzle(session, nozzle, data)
    with pytest.raises(Refused, match="another nozzle"):
        undo.strike(session, NozzleMeasure, row.pk, other, BECAUSE)
    undo.strike(session, NozzleMeasure, row.pk, nozzle, BECAUSE)
    assert abs(inventory.throat_now(session, nozzle) - nozzle.throat_d_m - 0.0001) < 1e-9
    assert undo.struck(session, NozzleMeasure, nozzle) == [row]


# --- Reversed: decisions, bags, plans --------------------------------------------------------------


def test_a_decision_and_a_bagging_are_taken_back(session: Session) -> None:
    grain = build.grain(session, build.cast(session), decision=None)
    with pytest.raises(Refused, match="not decided"):
        undo.undecide(session, grain)
    decisions.decide(session, grain, DecisionIn(decision="hold", why="a chip", person="Ada"))
    decisions.bag(session, grain)
    with pytest.raises(Refused, match="undo that first"):
        undo.undecide(session, grain)
    with audit_reasons.signed(session, "Bert"):
        undo.unbag(session, grain, grain.version)
        undo.undecide(session, grain, grain.version)
    assert (grain.decision, grain.decided_by, grain.bagged_at) == (None, "", None)
    assert grains.history(session, grain)[0].decision_words == "a chip", "the decision stays readable"
    changed = {c.column_name: (c.who, json.loads(c.before or "")) for c in told(session, "grain", "changed")}
    assert changed["decision"] == ("Bert", "hold")
    assert changed["bagged_at"][0] == "Bert"
    with pytest.raises(Refused, match="in no bag"):
        undo.unbag(session, grain)


def test_a_grain_in_a_motor_keeps_its_decision(session: Session) -> None:
    inside = build.ready_grains(session, 1)
    build.bare_motor(session, inside)
    for act in (undo.undecide, undo.unbag):
        with pytest.raises(Refused, match="in motor"):
            act(session, inside[0])


def test_a_dropped_plan_is_taken_up_again(session: Session) -> None:
    plan = build.batch(session)
    with pytest.raises(Refused, match="not dropped"):
        undo.take_up_plan(session, plan)
    planning.drop(session, plan, "the wrong button")
    undo.take_up_plan(session, plan, plan.version)
    assert plan.state == "planned"
    assert plan.note.endswith("Dropped: the wrong button\nTaken up again.")


# --- Taken back within the minute ------------------------------------------------------------------


def test_a_leftover_just_written_down(session: Session, turn: Turn) -> None:
    lot = build.cast(session)
    kept = [leftovers.keep(session, lot, LeftoverIn.model_validate({"mark": f"L{n}", "mass": "1 g"})) for n in "12"]
    gone = kept[0].pk
    with audit_reasons.signed(session, "Ada"):
        undo.take_back_leftover(session, lot, gone)
    assert session.get(Leftover, gone) is None
    row = told(session, "leftover", "deleted")[0]
    assert (row.row_id, row.who, row.why) == (gone, "Ada", AT_ONCE)
    assert json.loads(row.before or "")["mass_typed"] == "1 g"
    turn(LATER)
    with pytest.raises(Refused, match="within a minute only"):
        undo.take_back_leftover(session, lot, kept[1].pk)


def fired(session: Session, **more: Any) -> Firing:
    """A firing written down now; its motor was built of cured grains."""
    made = build.firing(session, **more)
    session.flush()
    return made


def test_a_firing_just_written_down(session: Session) -> None:
    """The motor is whole again, the nozzle's history strikes the throat out, and the record keeps all of it."""
    motor = build.motor_build(session)
    wide = f"{motor.throat_d_m * 1000 + 0.2:.2f} mm"
    firing = fired(session, build=motor, throat_after=wide, measured_impulse="300 N s")
    gone = firing.pk
    with audit_reasons.signed(session, "Ada"):
        assert undo.take_back_firing(session, firing, firing.version) == motor.code
    assert session.get(Firing, gone) is None
    assert builds.around(session, motor).state == "ready"
    measure = session.exec(select(NozzleMeasure)).one()
    assert measure.voided_why == "Its firing was undone."
    row = json.loads(told(session, "firing", "deleted")[0].before or "")
    assert (row["measured_impulse_typed"], row["throat_after_typed"]) == ("300 N s", wide)


def test_the_next_firing_has_no_past_of_one_taken_back(session: Session) -> None:
    """SQLite gives it the same number."""
    motor = build.motor_build(session)
    firing = fired(session, build=motor)
    gone = firing.pk
    with audit_reasons.signed(session, "Ada"):
        undo.take_back_firing(session, firing, firing.version)
    seen = firing.version
    other = fired(session, build=motor)
    assert other.pk == gone
    with pytest.raises(Conflict):  # sent from a page left open on the one taken back
        undo.take_back_firing(session, other, seen)
    assert [line.what for act in audit_log.history_of(session, other).acts for line in act.lines] == ["entered"]


def test_a_firing_that_something_stands_on_stays(session: Session, turn: Turn) -> None:
    firing = fired(session)
    session.connection().exec_driver_sql(
        "INSERT INTO curve_file (created_at, version, firing_id, name, sha256, size_bytes)"
        f" VALUES ('2026', 1, {firing.pk}, 'a.csv', 'x', 1)"
    )
    with pytest.raises(Refused, match="1 × logger's file"):
        undo.take_back_firing(session, firing)
    other = fired(session)
    turn(LATER)
    with pytest.raises(Refused, match="within a minute only"):
        undo.take_back_firing(session, other)


# --- Corrected with a reason -----------------------------------------------------------------------


@pytest.mark.promise(
    "What was measured changes or is emptied with a reason only", figure="bags, firings, test pieces, throats"
)
def test_a_firing_s_figures_change_with_a_reason_only(session: Session) -> None:
    motor = build.motor_build(session)
    firing = fired(session, build=motor, measured_impulse="300 N s", wind="3 m/s")
    same: dict[str, Any] = {"measured_impulse": "300 N s", "wind": "3 m/s"}

    def corrected(**more: Any) -> FiringIn:
        data = build.firing_in(session, motor)
        texts = {k: v for k, v in data.model_dump().items() if v is not None and not isinstance(v, tuple)}
        return correction_of(FiringIn).model_validate({**texts, **same, **more})

    firings.correct(session, firing, corrected(measured_burn_time="2 s"))  # filling in needs none
    for change in ({"measured_impulse": "310 N s"}, {"wind": None}):
        with pytest.raises(Refused, match="was measured and stands in the book") as refusal:
            firings.correct(session, firing, corrected(measured_burn_time="2 s", **change))
        assert refusal.value.field == "why"
        session.expire_all()
    with audit_reasons.signed(session, "Ada", "the scale slipped"):
        data = corrected(measured_burn_time="2 s", measured_impulse="310 N s", wind=None, why="the scale slipped")
        firings.correct(session, firing, data)
    changed = {c.column_name: c for c in told(session, "firing", "changed")}
    impulse, wind = changed["measured_impulse_ns"], changed["wind_m_s"]
    assert (impulse.before_typed, impulse.after_typed, impulse.why) == ("300 N s", "310 N s", "the scale slipped")
    assert (wind.before_typed, wind.after, wind.after_typed) == ("3 m/s", "null", None)


def test_a_corrected_throat_strikes_the_one_it_corrects(session: Session) -> None:
    motor = build.motor_build(session)
    first, second = (f"{motor.throat_d_m * 1000 + more:.2f} mm" for more in (0.5, 0.2))
    firing = fired(session, build=motor, throat_after=first)
    data = build.firing_in(session, motor, throat_after=second)
    with pytest.raises(Refused, match="was measured"):
        firings.correct(session, firing, data)
    session.expire_all()
    texts = {k: v for k, v in data.model_dump().items() if v is not None and not isinstance(v, tuple)}
    why = correction_of(FiringIn).model_validate({**texts, "throat_after": second, "why": "read off by one"})
    firings.correct(session, firing, why)
    measures = session.exec(select(NozzleMeasure).order_by(col(NozzleMeasure.id))).all()
    assert [(m.throat_d_typed, m.voided_why) for m in measures] == [(first, "read off by one"), (second, None)]


def test_the_mass_of_test_pieces_changes_with_a_reason_only(session: Session) -> None:
    lot = build.weighed_batch(session)
    leftovers.tell_test_pieces(session, lot, TestPiecesIn.model_validate({"test_pieces": "5 g"}))
    with pytest.raises(Refused, match="5 g was measured"):
        leftovers.tell_test_pieces(session, lot, TestPiecesIn.model_validate({"test_pieces": "6 g"}))
    again = correction_of(TestPiecesIn).model_validate({"test_pieces": "6 g", "why": "one more stick"})
    leftovers.tell_test_pieces(session, lot, again)
    assert lot.test_pieces_typed == "6 g"


# --- Deleted only where nothing refers to it -------------------------------------------------------


@pytest.mark.promise(
    "Only what nothing refers to is deleted; the record keeps the row", figure="names what stands on it"
)
def test_what_is_used_stays_and_says_why(session: Session) -> None:
    lot = build.weighed_batch(session)
    bag = weigh_outs.of_batch(session, lot)[0].bags[0][0]
    with pytest.raises(Refused, match=r"1 × weighed amount"):
        repository.put_away(session, bag)


def test_a_formula_that_no_batch_uses_is_deleted(session: Session) -> None:
    """Its own parts are no use of it; the record keeps them."""
    unused, used = build.formula(session), build.formula(session)
    build.batch(session, formula_id=used.pk)
    gone = unused.pk
    blends.state(session, unused)  # keeps what it computed
    assert repository.put_away(session, unused)
    assert not repository.put_away(session, used)
    assert used.retired
    assert [json.loads(c.before or "")["id"] for c in told(session, "formula", "deleted")] == [gone]
    parts = [json.loads(c.before or "") for c in told(session, "formula_part", "deleted")]
    assert {p["formula_id"] for p in parts} == {gone}
    assert abs(sum(p["fraction"] for p in parts) - 1) < 1e-9
