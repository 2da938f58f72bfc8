"""Motors that burned: what was known of them before, and what they delivered of what was predicted."""

from datetime import date, timedelta
from statistics import mean
from typing import Any

import pytest
from sqlalchemy import event, text
from sqlmodel import Session

from app import clock
from app.models import Firing, Grain
from app.models.bag import ReWeighIn, WetIn
from app.models.cast import TemperatureIn
from app.services.cast import casting, pan
from app.services.grains import reweighs
from app.services.review import burned_motors
from app.services.review.burned_motors import Burn, LookIn
from tests import build
from tests.moment import wall

NOON = wall("2026-11-02T12:00")


def _only(session: Session, **wanted: Any) -> Burn:
    (burn,) = burned_motors.burned(session, LookIn.model_validate(wanted))
    return burn


def _fired(session: Session, inside: list[Grain], result: str = "good", **more: Any) -> Firing:
    return build.bare_firing(session, build.bare_motor(session, inside, predicted=500.0), result, **more)


def test_a_motor_is_what_its_grains_are(session: Session) -> None:
    with clock.turned_to(NOON) as turn:
        lot = build.cast(session, 3)
        made = [build.grain(session, lot, share) for share in (0.95, 0.96, 0.97)]
        turn(NOON + timedelta(days=10))
        _fired(session, made, measured_impulse_ns=450.0, measured_burn_time_s=1.8, measured_peak_pressure_pa=4e6)
    burn = _only(session)
    assert (burn.lots, burn.grain_count, burn.result_words) == ((lot.code,), 3, "Burned well")
    assert burn.formulas[0].endswith("v1")
    assert burn.density == pytest.approx(mean(g.density_share for g in made))
    assert burn.least_density == min(g.density_share for g in made)
    masses = [g.mass_kg for g in made]
    assert burn.mass_spread == pytest.approx((max(masses) - min(masses)) / mean(masses))
    assert burn.cure_s == pytest.approx(10 * 86400)
    assert burn.impulse.ratio == pytest.approx(0.9)
    assert burn.burn_time.ratio == pytest.approx(1.8 / 1.5)
    assert burn.peak_pressure.ratio == pytest.approx(0.8)


def test_what_is_not_known_stays_open(session: Session) -> None:
    _fired(session, [build.grain(session, build.cast(session, 1))])
    burn = _only(session)
    assert (burn.impulse.ratio, burn.mass_spread, burn.gain, burn.pan_k) == (None,) * 4
    assert (burn.humidity, burn.cast_humidity) == (None, None)


def test_the_youngest_grains_and_both_lots_of_a_mixed_motor_count(session: Session) -> None:
    with clock.turned_to(NOON) as turn:
        blend = build.formula(session)
        first = build.cast(session, 1, blend=blend)
        old = build.grain(session, first)
        turn(NOON + timedelta(days=4))
        second = build.cast(session, 1, blend=blend)
        young = build.grain(session, second)
        turn(NOON + timedelta(days=14))
        _fired(session, [old, young])
    burn = _only(session)
    assert burn.lots == (first.code, second.code)
    assert burn.formulas == (blend.label,)
    assert burn.cure_s == pytest.approx(10 * 86400)
    assert burn.mass_spread is None or len(burn.patterns) == 1


def test_only_what_was_weighed_again_before_the_firing_counts_and_the_last_of_it(session: Session) -> None:
    def again(grain: Grain, grams: float) -> None:
        texts = {"serial": grain.serial, "gross": f"{grain.mass_kg * 1000 + grams:.1f} g"}
        reweighs.weigh(session, ReWeighIn.model_validate(texts))

    with clock.turned_to(NOON) as turn:
        lot = build.cast(session, 2)
        one, two = build.grain(session, lot), build.grain(session, lot)
        turn(NOON + timedelta(days=5))
        again(one, 5.0)
        turn(NOON + timedelta(days=6))
        again(one, 2.0)
        turn(NOON + timedelta(days=9))
        again(two, 7.0)  # written down afterwards, for a firing of the day before
        for grain in (one, two):  # both are wet
            reweighs.accept(session, grain, WetIn(why="to see what it does", person="Ada"))
        _fired(session, [one, two]).fired_at = NOON + timedelta(days=8)
        session.flush()
    assert _only(session).gain == pytest.approx(0.002 / one.mass_kg, rel=0.06)  # the scale reads 0.1 g


def test_a_re_weigh_struck_out_does_not_count(session: Session) -> None:
    with clock.turned_to(NOON) as turn:
        grain = build.grain(session, build.cast(session, 1))
        turn(NOON + timedelta(days=5))
        texts = {"serial": grain.serial, "gross": f"{grain.mass_kg * 1000 + 2:.1f} g"}
        row = reweighs.weigh(session, ReWeighIn.model_validate(texts))
        row.voided_at, row.voided_why = clock.now(), "misread"
        session.flush()
        turn(NOON + timedelta(days=9))
        _fired(session, [grain])
    assert _only(session).gain is None


def test_the_last_reading_before_the_pour_is_the_pan_s(session: Session) -> None:
    with clock.turned_to(NOON) as turn:
        lot = build.weighed_batch(session, 1)
        for celsius in (105, 117):
            turn(clock.now() + timedelta(minutes=5))
            pan.record_temperature(session, lot, TemperatureIn.model_validate({"temperature": f"{celsius} C"}))
        turn(clock.now() + timedelta(minutes=5))
        for step in casting.the_open(session, lot).steps:
            step.done_at = clock.now()
        turn(clock.now() + timedelta(minutes=5))
        pan.record_temperature(session, lot, TemperatureIn.model_validate({"temperature": "90 C"}))
        session.flush()
        _fired(session, [build.grain(session, lot)])
    assert _only(session).pan_k == pytest.approx(117 + 273.15)


def test_what_did_not_light_has_not_burned(session: Session) -> None:
    _fired(session, [build.grain(session, build.cast(session, 1))], "no_light")
    assert burned_motors.burned(session, LookIn()) == []


@pytest.mark.parametrize(
    ("result", "good"),
    [("good", True), ("recovery", True), ("weak", False), ("rough", False), ("burst", False), ("other", None)],
)
def test_good_is_what_the_motor_did(session: Session, result: str, good: bool | None) -> None:
    _fired(session, [build.grain(session, build.cast(session, 1))], result)
    assert _only(session).good is good


def test_the_book_is_asked_as_often_for_many_motors_as_for_one(session: Session) -> None:
    seen: list[str] = []

    def note(_connection: object, _cursor: object, statement: str, *_rest: object) -> None:
        seen.append(statement)

    def asked() -> int:
        _fired(session, [build.grain(session, build.cast(session, 1))])
        session.flush()
        session.expunge_all()
        seen.clear()
        burned_motors.burned(session, LookIn())
        return len(seen)

    event.listen(session.get_bind(), "before_cursor_execute", note)
    try:
        once = asked()
        assert [asked() for _ in range(2)] == [once, once]
        assert once <= 8
    finally:
        event.remove(session.get_bind(), "before_cursor_execute", note)


def test_motors_are_filtered(session: Session) -> None:
    usual, other = build.formula(session, "Usual"), build.formula(session, "Other")
    short = build.pattern(session)
    codes = []
    with clock.turned_to(NOON) as turn:
        plans: list[dict[str, Any]] = [{"blend": usual}, {"blend": other}, {"blend": usual, "shape": short}]
        for day, more in enumerate(plans):
            turn(NOON + timedelta(days=day))
            shot = _fired(session, [build.grain(session, build.cast(session, 1, **more))])
            codes.append(shot.motor_build_id)

    def found(**wanted: Any) -> list[int]:
        kept = burned_motors.burned(session, LookIn.model_validate(wanted))
        return [session.get_one(Firing, burn.firing_id).motor_build_id for burn in kept]

    assert found() == codes
    assert found(formula="Usual") == [codes[0], codes[2]]
    assert found(pattern_id=short.pk) == [codes[2]]
    assert found(since=date(2026, 11, 3)) == codes[1:]
    assert found(until=date(2026, 11, 3)) == codes[:2]
    case_id = session.execute(text("SELECT case_id FROM motor_build WHERE id = :id"), {"id": codes[1]}).scalar()
    assert found(case_id=case_id) == [codes[1]]
    assert [name for _, name in burned_motors.cases(session)] == sorted(
        name for _, name in burned_motors.cases(session)
    )
