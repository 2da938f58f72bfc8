"""Learning in the book: what firings say, which count, the switches, and what a prediction stands on."""

import inspect
import json
import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from sqlalchemy import Engine
from sqlmodel import Session, select

from app import first_run
from app.calc.motor.assembly import C_STAR_EFFICIENCY
from app.calc.motor.simulation import simulate
from app.db import reading, writing
from app.errors import Refused
from app.models import BlendStateCache, Case, Firing, FiringFit, Formula, MotorBuild, Prediction
from app.models.curve import ReadIn
from app.models.formula import FormulaIn
from app.models.test_piece import TestPieceIn
from app.services.book import calculation_key, workshop
from app.services.firings import curves, firing_fits, firings
from app.services.grains import test_pieces
from app.services.learning import fit_records, learning, learning_pages, learning_switch, prediction_record
from app.services.learning.learning_switch import LEFT_OUT, PAUSED
from app.services.learning.prediction_record import LearnedFactors
from app.services.motors import builds, prediction
from app.services.stock import blends, formulas
from app.units import say
from tests import build
from tests.marks import width
from tests.services.motors.test_prediction import designed


def stand_file(session: Session, made: MotorBuild, rate: float, c_star: float, seed: int, gauge: bool) -> bytes:
    """What a stand's logger wrote of a motor that burned so much faster than the book has it."""
    motor, _ = prediction.motor_of(session, builds.setup_of(session, builds.around(session, made)), taught=None)
    law = motor.propellant.law
    faster = replace(motor.propellant, law=replace(law, rates=tuple(rate * r for r in law.rates)))
    run = simulate(replace(motor, propellant=faster, c_star_efficiency=c_star * motor.c_star_efficiency))
    t = np.arange(0.0, run.time[-1] + 2.0, 0.002)
    chance = np.random.default_rng(seed)
    thrust = np.interp(t - 0.5, run.time, run.thrust, 0.0, 0.0) + chance.normal(0, 0.6, t.size)
    pressure = np.interp(t - 0.5, run.time, run.pressure, 101325.0, 101325.0) / 1e6 - 0.101
    pressure += chance.normal(0, 0.005, t.size)
    columns = [f"{a:.3f},{b:.2f}" + (f",{c:.4f}" if gauge else "") for a, b, c in zip(t, thrust, pressure, strict=True)]
    head = "Time (s),Thrust (N)" + (",Pressure (MPa)" if gauge else "")
    return "\n".join([head, *columns]).encode()


def fired(
    session: Session, rate: float = 1.08, c_star: float = 1.0, seed: int = 0, gauge: bool = True, **more: object
) -> Firing:
    """A static test of four grains that burned so much faster than the book has it, with its stand's curve kept."""
    made = build.motor_build(session, **more)
    raw = stand_file(session, made, rate, c_star, seed, gauge)
    firing = build.firing(session, made)
    row = curves.STAND.take_in(session, firing, "stand.csv", raw)
    texts = {name: text for name, text in curves.STAND.texts_for(session, firing, row).items() if text}
    texts |= {"pressure_column": "3", "pressure_unit": "MPa"} if gauge else {}
    curves.keep(session, firing, row, ReadIn.model_validate(texts))
    return firing


def fit_of(session: Session, firing: Firing) -> fit_records.FitRecord:
    row = session.exec(select(FiringFit).where(FiringFit.firing_id == firing.pk)).one()
    return fit_records.FitRecord.model_validate_json(row.fit_json)


def formula_of(session: Session, firing: Firing) -> Formula:
    return firings.its_motor(session, firing).formula


def taught(session: Session, firing: Firing, case: Case | None = None) -> LearnedFactors:
    return learning.factors(session, formula_of(session, firing), case or firings.its_motor(session, firing).case)


def test_a_pressure_curve_says_all_three(session: Session) -> None:
    firing = fired(session, rate=1.08, c_star=0.97)
    found = fit_of(session, firing)
    assert found.how == "pressure"
    says = {
        say.what: say
        for line in learning_pages.formula_page(session, formula_of(session, firing)).lines
        for say in line.says
    }
    assert says["burn rate"].low < 1.08 < says["burn rate"].high
    assert says["burn rate"].factor == pytest.approx(1.08, rel=0.01)
    assert says["c* efficiency"].factor == pytest.approx(0.97, rel=0.01)
    assert says["nozzle efficiency"].factor == pytest.approx(1.0, rel=0.01)
    assert found.law is not None


def test_thrust_alone_says_less(session: Session) -> None:
    firing = fired(session, rate=1.08, gauge=False)
    found = fit_of(session, firing)
    assert found.how == "figures"
    assert [row.what for row in found.rows] == ["impulse", "burn time"]
    impulse, duration = found.rows
    assert 0 < impulse.mixture[0] < 0.3
    assert impulse.mixture[1] > 1
    assert impulse.mixture[2] > 1
    assert duration.mixture[0] == pytest.approx(-1.0, abs=0.1)  # hardly any exponent at that pressure
    alone = taught(session, firing)
    gauged = fired(session, rate=1.08, nozzle=build.nozzle(session), case=build.case(session))
    both = taught(session, gauged)
    assert alone.rate.factor == pytest.approx(1.08, abs=0.015)
    assert both.rate.factor == pytest.approx(1.08, abs=0.015)
    assert both.c_star.spread < 0.7 * alone.c_star.spread  # thrust tells the product of both efficiencies alone
    assert gauged.pk in both.firing_ids
    assert firing.pk not in both.firing_ids


def test_typed_figures_say_least(session: Session) -> None:
    made = build.motor_build(session)
    told = session.exec(select(Prediction).where(Prediction.motor_build_id == made.pk)).one()
    firing = build.firing(session, made, measured_impulse=f"{0.9 * told.total_impulse_ns:.1f} N·s")
    found = taught(session, firing)
    assert [row.what for row in fit_of(session, firing).rows] == ["impulse"]
    assert 0.90 < found.c_star.factor < 0.97
    assert 0.97 < found.nozzle.factor < 1.0
    assert found.rate.factor == pytest.approx(0.985, abs=0.012)  # an impulse says hardly anything of the rate
    assert found.rate.spread == pytest.approx(found.rate.default_spread, rel=0.03)


def test_typed_figures_are_trusted_as_far_as_a_person_reads_them(session: Session) -> None:
    """The book's own assumptions, no source: 3 % of an impulse, 5 % of a time, 5 % of a peak read off a gauge."""
    motor = build.bare_motor(session, build.ready_grains(session))
    firing = build.bare_firing(session, motor, measured_impulse_ns=700.0, measured_burn_time_s=1.5)
    firing.measured_peak_pressure_pa = 3e6
    assert firing_fits.renew(session, firing) is not None
    errors = {row.what: row.error for row in fit_of(session, firing).rows}
    assert errors == pytest.approx({"impulse": 0.03, "burn time": 0.05, "peak pressure": 0.05})


def test_the_next_prediction_stands_on_it_and_says_so(session: Session) -> None:
    before = designed(session, formula=build.formula(session, name="Untouched"))
    assert before.inputs.taught is not None
    assert not before.inputs.taught.used
    assert before.inputs.c_star_efficiency == pytest.approx(C_STAR_EFFICIENCY)
    assert "No firing has taught anything" in " ".join(map(say, before.assumptions))
    formula = build.formula(session, name="Fired")
    firing = fired(session, 1.10, grains=build.ready_grains(session, formula_id=formula.pk))
    after = designed(session, formula=formula)
    found = after.inputs.taught
    assert found is not None
    assert found.firing_ids == [firing.pk]
    assert found.rate.factor > 1.02
    assert found.rate.spread < found.rate.default_spread
    same = before.peak_pressure
    assert after.peak_pressure.mid > 1.02 * same.mid
    assert after.burn_time.mid < before.burn_time.mid
    assert width(after.burn_time) < width(before.burn_time)
    assert "Learned from 1 firing of this formula" in " ".join(map(say, after.assumptions))
    assert after.inputs.c_star_efficiency == pytest.approx(C_STAR_EFFICIENCY * found.c_star.factor)


def test_an_efficiency_that_cannot_be_is_refused_with_the_way_out(session: Session) -> None:
    made = build.motor_build(session)
    setup = builds.setup_of(session, builds.around(session, made))
    found = learning.factors(session, setup.formula, setup.case)
    wild = found.model_copy(update={"c_star": found.c_star.model_copy(update={"factor": 1.3})})
    with pytest.raises(Refused, match=r"c\* efficiency 11[45]%.*leave out the firing that is wrong"):
        prediction.motor_of(session, setup, wild)


def test_few_firings_move_a_prediction_nearly_all_the_way(session: Session) -> None:
    firing = fired(session, 1.10, grains=build.ready_grains(session, formula_id=sorbitol(session).pk))
    formula, case = formula_of(session, firing), firings.its_motor(session, firing).case
    seen = learning.evidence(session)
    factors = {}
    for n in (1, 3, 30):
        many = replace(seen, shots=seen.shots * n)
        found, _ = learning.learned(session, formula, many)
        factors[n] = float(found.of(learning.family(formula), case.pk).factors[0])
    assert 1.085 < factors[1] < factors[3] < factors[30] < 1.105
    assert factors[3] > 1.09


def test_the_range_before_and_after_is_kept_with_a_prediction(session: Session) -> None:
    formula = build.formula(session, name="Fired")
    before = designed(session, formula=formula)
    assert before.untaught is None
    for seed in (0, 1, 2):
        fired(session, 1.10, seed=seed, grains=build.ready_grains(session, formula_id=formula.pk))
    after = designed(session, formula=formula)
    assert after.untaught is not None
    for name in ("total_impulse", "burn_time", "peak_pressure"):
        then, now = getattr(after.untaught, name), getattr(after, name)
        assert then.mid == pytest.approx(getattr(before, name).mid)
        assert then.width == pytest.approx(getattr(before, name).width, rel=0.1)
        assert now.width < 0.5 * then.width
    assert after.inputs.taught is not None
    assert after.inputs.taught.rate.moved == pytest.approx(0.98, abs=0.02)
    stored = prediction_record.PredictionRecord.model_validate_json(after.model_dump_json())
    assert stored.untaught == after.untaught
    old = {k: v for k, v in json.loads(after.model_dump_json()).items() if k != "untaught"}
    assert prediction_record.PredictionRecord.model_validate(old).untaught is None


def test_a_second_formula_hears_what_the_workshop_is(session: Session) -> None:
    fired(session, c_star=0.92, grains=build.ready_grains(session, formula_id=build.formula(session, name="A").pk))
    other = build.formula(session, name="B", parts={"potassium nitrate": "63 %", "sorbitol": "37 %"})
    told = learning.factors(session, other, None)
    assert told.firing_ids == []
    assert told.other_firings == 1
    assert told.used
    assert 0.93 < told.c_star.factor < 0.98
    assert "1 of others in other cases" in prediction_record.learned_words(told, 0.88, 0.88)


def sorbitol(session: Session, **more: Any) -> Formula:
    """A blend whose law is published, so that its default spread is the narrow one."""
    return build.formula(session, parts={"potassium nitrate": "65 %", "sorbitol": "35 %"}, **more)


def test_learning_is_switched_off_for_all_and_for_one(session: Session) -> None:
    firing = fired(session)
    formula = formula_of(session, firing)
    on = taught(session, firing)
    assert on.used
    PAUSED.begin(session, formula.name, "Another supplier's sorbitol.")
    paused = taught(session, firing)
    assert not paused.on
    assert paused.why_off == "paused for this formula: Another supplier's sorbitol."
    assert paused.rate.factor == 1.0
    assert paused.rate.spread == pytest.approx(paused.rate.default_spread)
    with pytest.raises(Refused, match="already"):
        PAUSED.begin(session, formula.name, "Again.")
    PAUSED.end(session, formula.name)
    assert taught(session, firing) == on
    with pytest.raises(Refused, match="already"):
        PAUSED.end(session, formula.name)
    workshop.get(session).learn = False
    off = taught(session, firing)
    assert not off.on
    assert "settings" in off.why_off
    assert designed(session, formula=formula).inputs.c_star_efficiency == pytest.approx(C_STAR_EFFICIENCY)


def test_a_firing_is_left_out_with_its_reason_and_let_in_again(session: Session) -> None:
    firing = fired(session)
    with_it = taught(session, firing)
    learning_switch.leave_out(session, firing, "The gauge stuck.")
    without = taught(session, firing)
    assert without.firing_ids == []
    assert without.left_out == 1
    assert without.rate.factor == 1.0
    line = learning_pages.formula_page(session, formula_of(session, firing)).lines[0]
    assert line.state == "left out: The gauge stuck."
    with pytest.raises(Refused, match="left out already"):
        learning_switch.leave_out(session, firing, "Twice.")
    LEFT_OUT.end(session, firing.pk)
    assert taught(session, firing).rate.factor == with_it.rate.factor
    with pytest.raises(Refused, match="not left out"):
        LEFT_OUT.end(session, firing.pk)


def test_a_failed_motor_teaches_nothing_of_its_rate(session: Session) -> None:
    made = build.motor_build(session)
    firing = build.firing(session, made, result="burst", words="The closure went at once.", measured_impulse="300 N·s")
    assert session.exec(select(FiringFit)).all() == []
    line = learning_pages.formula_page(session, formula_of(session, firing)).lines[0]
    assert line.state == "does not count: the motor failed"


def test_a_figure_in_the_wrong_unit_is_not_learned_from(session: Session) -> None:
    made = build.motor_build(session)
    firing = build.firing(session, made, measured_impulse="68 N·s", sure=True)
    found = fit_of(session, firing)
    assert found.rows == []
    assert "look at the unit" in say(found.remarks[0])
    assert not taught(session, firing).used


def test_a_fit_counts_only_while_what_it_stands_on_is_unchanged(session: Session) -> None:
    firing = fired(session)
    assert fit_records.waiting(session) == []
    built = firings.its_motor(session, firing)
    built.grains[0].grain.version += 1  # a grain corrected since
    session.flush()
    assert [w.firing_id for w in fit_records.waiting(session)] == [firing.pk]
    assert not taught(session, firing).used
    assert learning_pages.formula_page(session, built.formula).lines[0].state == "waits to be fitted again"
    assert firing_fits.catch_up(session) == 0
    assert taught(session, firing).used
    workshop.get(session).rate_per_kelvin_share = 0.004
    session.flush()
    assert len(fit_records.waiting(session)) == 1
    assert firing_fits.catch_up(session, seconds=0.0) == 1  # no time, nothing done
    assert firing_fits.catch_up(session) == 0


def test_a_fit_from_the_file_read_again_is_that_of_the_samples_at_hand(session: Session) -> None:
    firing = fired(session)
    first = fit_of(session, firing)
    again = firing_fits.renew(session, firing)
    assert again is not None
    assert json.loads(again.fit_json)["rows"] == json.loads(first.model_dump_json())["rows"]


def test_other_efficiencies_in_the_settings_do_not_change_what_is_learned_in_sum(session: Session) -> None:
    """Thirty firings outweigh the default: it moves, and the delivered efficiency hardly does."""
    firing = fired(session, c_star=0.95)
    formula = formula_of(session, firing)
    delivered = {}
    for default in (0.88, 0.95):
        workshop.get(session).c_star_efficiency_share = default
        seen = learning.evidence(session)
        found, _ = learning.learned(session, formula, replace(seen, shots=seen.shots * 30))
        delivered[default] = default * float(found.of(learning.family(formula), seen.shots[0].case_id).factors[1])
    assert delivered[0.88] == pytest.approx(0.88 * 0.95, rel=0.01)
    assert delivered[0.95] == pytest.approx(delivered[0.88], rel=0.01)


def test_sticks_count_for_the_rate_and_weakly_however_many(session: Session) -> None:
    factors = {}
    for name, parts in (("own", {"potassium nitrate": "65 %", "sorbitol": "35 %"}), ("borrowed", None)):
        formula = build.formula(session, name=name, parts=parts)
        lot = build.cast(session, 2, formula_id=formula.pk)
        for seconds in (16.5, 16.4, 16.6):  # a fifth faster than the law has it in the open
            stick = {
                "length": "50 mm",
                "burn_time": f"{seconds} s",
                "elevation": "0 m",
                "by_video": True,
                "burned_on": lot.planned_for,
            }
            test_pieces.record(session, lot, TestPieceIn.model_validate(stick))
        found = learning.factors(session, formula, None)
        assert found.stick_lots == 1
        factors[name] = found.rate.factor
    # the second lot says the same, so what the open air is off is likelier than two formulas off alike
    assert 1.03 < factors["borrowed"] < factors["own"] < 1.15


def test_versions_with_the_same_parts_learn_together_whatever_their_law(session: Session) -> None:
    firing = fired(session, 1.10)
    formula = formula_of(session, firing)
    rate = float(formulas.burn_law(formula).rate(fit_of(session, firing).pressure_pa))
    texts = {
        "name": formula.name,
        "law_rate": "6.83 mm/s",
        "law_exponent": 0.15,
        "law_from": "0.5 MPa",
        "law_to": "6 MPa",
        "law_source": "strands",
        "parts": [{"ingredient": k, "percent": f"{100 * v:.6g} %"} for k, v in formula.blend.items()],
    }
    second = formulas.save(session, FormulaIn.model_validate(texts), formula)
    assert second.edition == 2
    found = learning.factors(session, second, None)
    assert found.firing_ids == [firing.pk]
    own = float(formulas.burn_law(second).rate(fit_of(session, firing).pressure_pa))
    says = {s.what: s for s in learning_pages.formula_page(session, second).lines[0].says}
    assert says["burn rate"].factor == pytest.approx(1.10 * rate / own, rel=0.01)
    other = build.formula(session, name="Other", parts={"potassium nitrate": "63 %", "sorbitol": "37 %"})
    assert learning.factors(session, other, None).firing_ids == []


def test_a_law_fitted_to_curves_becomes_a_version_of_its_own(session: Session) -> None:
    formula, case = sorbitol(session), build.case(session)
    first = fired(session, 1.05, grains=build.ready_grains(session, formula_id=formula.pk), case=case)
    with pytest.raises(Refused, match="within a factor"):
        learning_pages.take_law(session, formula)
    small = build.nozzle(session, throat_d="10.5 mm")
    fired(
        session,
        1.05,
        seed=2,
        grains=build.ready_grains(session, formula_id=formula.pk),
        case=case,
        nozzle=small,
        throat_d="10.5 mm",
    )
    law = learning_pages.formula_page(session, formula).law
    assert law is not None
    assert law.curves == 2
    made = learning_pages.take_law(session, formula)
    assert (made.name, made.edition) == (formula.name, 2)
    own = formulas.own_law(made)
    assert own is not None
    published = formulas.burn_law(formula)
    at = fit_of(session, first).pressure_pa
    assert float(own.rate(at)) == pytest.approx(1.05 * float(published.rate(at)), rel=0.1)  # one line, bands bend
    assert "2 pressure curves" in made.law_source
    assert learning.factors(session, made, case).rate.factor == pytest.approx(1.0, abs=0.06)


def test_a_prediction_that_was_stored_before_learning_is_read_as_it_was(session: Session) -> None:
    made = build.motor_build(session)
    row = session.exec(select(Prediction).where(Prediction.motor_build_id == made.pk)).one()
    old = json.loads(row.inputs_json)
    del old["taught"]
    row = Prediction(**{**row.model_dump(exclude={"id"}), "inputs_json": json.dumps(old)})
    assert prediction_record.from_row(row).inputs.taught is None


def test_learning_never_touches_a_stored_prediction(session: Session) -> None:
    made = build.motor_build(session)
    row = session.exec(select(Prediction).where(Prediction.motor_build_id == made.pk)).one()
    before = (row.inputs_json, row.result_json)
    build.firing(session, made, measured_impulse="550 N·s")
    session.expire(row)
    assert (row.inputs_json, row.result_json) == before
    assert session.exec(select(Prediction)).all() == [row]


def test_far_from_the_default_is_told(session: Session) -> None:
    firing = fired(session, c_star=0.75)
    assert learning_pages.formula_page(session, formula_of(session, firing)).far == ["c* efficiency"]
    assert math.isfinite(taught(session, firing).c_star.spread)
    assert session.exec(select(MotorBuild)).one()


def test_fits_are_made_as_a_book_without_them_is_opened(engine: Engine) -> None:
    with writing(engine) as session:
        firing = fired(session).pk
        made = session.exec(select(FiringFit)).one().fit_json
        session.delete(session.exec(select(FiringFit)).one())  # as a book of an earlier version has none
        session.commit()
    first_run.prepare(engine)
    with reading(engine) as session:
        row = session.exec(select(FiringFit)).one()
        assert row.firing_id == firing
        assert json.loads(row.fit_json)["rows"] == json.loads(made)["rows"]
        assert fit_records.waiting(session) == []


# --- Faults of the program, and calculations that changed ------------------------------------------------


@pytest.mark.parametrize("fault", [TypeError("one argument too many"), ValueError("shapes (3,) and (2,)"), KeyError(1)])
def test_a_fault_of_the_program_teaches_nothing(
    session: Session, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture, fault: Exception
) -> None:
    """A slip in our own code is logged and shown; the firing is saved, and tried again once the program is mended."""

    def slip(*_: object) -> None:
        raise fault

    with monkeypatch.context() as broken:
        broken.setattr(firing_fits, "_from_figures", slip)
        made = build.motor_build(session)
        told = session.exec(select(Prediction).where(Prediction.motor_build_id == made.pk)).one()
        firing = build.firing(session, made, measured_impulse=f"{0.9 * told.total_impulse_ns:.1f} N·s")
    assert firing.measured_impulse_ns is not None
    found = fit_of(session, firing)
    assert (found.fault, found.remarks, found.rows) == (type(fault).__name__, [], [])
    assert f"fitting a firing: {found.fault} at" in caplog.text
    assert not taught(session, firing).used
    assert (
        learning_pages.formula_page(session, formula_of(session, firing)).lines[0].state
        == "not fitted: Grainbook failed at it"
    )
    assert [w.firing_id for w in fit_records.waiting(session)] == [firing.pk]
    assert firing_fits.catch_up(session) == 0
    assert fit_of(session, firing).fault == ""
    assert taught(session, firing).used


def test_a_disk_that_fails_under_a_fit_is_no_fault_of_the_program(
    session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(firing_fits, "_from_figures", full)
    with pytest.raises(OSError, match="No space left"):
        build.firing(session, build.motor_build(session), measured_impulse="300 N·s")


def test_no_fit_outlives_its_calculation(session: Session, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody raises a number: one character of a calculation, and every fit of it waits."""
    firing = fired(session)
    assert fit_records.waiting(session) == []
    text = calculation_key._source
    for module in (
        "app.calc.fit.pressure_fit",
        "app.calc.motor.chamber",
        "app.calc.base.constants",
        *fit_records.CALCULATED_BY,
    ):
        with monkeypatch.context() as changed:
            changed.setattr(
                calculation_key, "_source", lambda one, of=module: f"{text(one)}#" if one == of else text(one)
            )
            calculation_key.name.cache_clear()
            assert [w.firing_id for w in fit_records.waiting(session)] == [firing.pk], module
            assert not taught(session, firing).used
        calculation_key.name.cache_clear()
        assert fit_records.waiting(session) == []


def test_what_has_no_part_in_a_fit_renews_none(monkeypatch: pytest.MonkeyPatch) -> None:
    now, text = calculation_key.name(*fit_records.CALCULATED_BY), calculation_key._source
    monkeypatch.setattr(
        calculation_key, "_source", lambda one: f"{text(one)}#" if one == "app.calc.flight.landing" else text(one)
    )
    assert calculation_key.name.__wrapped__(*fit_records.CALCULATED_BY) == now


def test_every_service_that_a_fit_is_made_by_is_in_its_key() -> None:
    """Of what firing_fits imports, only these give a fit no number but what its key tells."""
    used = {one for one in calculation_key._imported(inspect.getsource(firing_fits)) if one.startswith("app.services.")}
    services = {one for one in used if one.count(".") == 3 and calculation_key._source(one)}  # modules, not their rooms
    told = {"app.services.book.repository", "app.services.book.stored_files", "app.services.book.workshop"}
    assert len(services) >= 6
    assert services - told <= set(fit_records.CALCULATED_BY)
    assert all(calculation_key._source(one) for one in fit_records.CALCULATED_BY)
    puts_together = {"app.services.hardware.shapes", "app.services.motors.motor_setup"}  # the motor that is fitted
    assert puts_together <= set(fit_records.CALCULATED_BY)


def test_states_of_a_blend_are_made_anew_with_their_calculation(
    session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    build.formula(session)
    kept = {row.pressure_pa: row.state_json for row in session.exec(select(BlendStateCache))}
    for row in session.exec(select(BlendStateCache)):
        row.state_json = "{}"
    session.flush()
    text = calculation_key._source
    monkeypatch.setattr(
        calculation_key,
        "_source",
        lambda one: f"{text(one)}#" if one == "app.calc.propellant.equilibrium" else text(one),
    )
    calculation_key.name.cache_clear()
    try:
        blends.catch_up(session, seconds=60.0)
        found = session.exec(select(BlendStateCache)).all()
        assert {row.method for row in found} == {calculation_key.name(blends.CALCULATED_BY)}
    finally:
        calculation_key.name.cache_clear()
    assert {row.pressure_pa: row.state_json for row in found} == kept
    assert kept
