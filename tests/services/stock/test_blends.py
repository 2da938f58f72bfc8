"""The equilibrium state of a formula: right, kept, and dropped when the parts change."""

from dataclasses import replace

import pytest
from sqlmodel import Session, select

from app.calc.base.constants import ATM
from app.calc.base.errors import NoSolution, OutOfRange
from app.calc.base.notes import Amount, Note
from app.calc.motor.own_pressure import USUAL_PRESSURE
from app.calc.propellant import thermochem
from app.calc.propellant.thermochem import BlendState
from app.models import BlendStateCache
from app.models.formula import FormulaIn
from app.services.motors import designs
from app.services.stock import blends, formulas
from app.units import say
from tests import build


def _kept(session: Session) -> list[BlendStateCache]:
    return list(session.exec(select(BlendStateCache)))


def test_the_state_is_the_published_one(session: Session) -> None:
    formula = build.formula(session, parts={"KNO3": "65", "sorbitol": "35"})
    state = blends.state(session, formula, 68 * ATM)
    assert state.temperature == pytest.approx(1600, abs=5)  # K; published: DARE, TU Delft
    assert state.c_star == pytest.approx(911, rel=0.005)  # m/s; published: DARE, TU Delft
    assert 1000 * state.system_molar_mass == pytest.approx(39.90, abs=0.1)  # g/mol; from memory: R. Nakka
    assert state.condensed_fraction == pytest.approx(0.44, abs=0.01)  # published: about 44 %


def test_a_saved_formula_has_its_state_kept_and_read_back_whole(
    session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    formula = build.formula(session)
    assert [(row.formula_id, row.pressure_pa) for row in _kept(session)] == [(formula.pk, p) for p in blends.PRESSURES]
    fresh = blends._computed(tuple(sorted(formula.blend.items())), USUAL_PRESSURE)
    monkeypatch.setattr(blends, "_computed", lambda *_: pytest.fail("it was computed again"))
    assert blends.state(session, formula) == fresh
    assert fresh in blends.states(session, formula)


def test_looking_at_another_pressure_stores_nothing(session: Session) -> None:
    formula = build.formula(session)
    assert blends.state(session, formula, 3e6).pressure == 3e6
    assert len(_kept(session)) == len(blends.PRESSURES)
    blends.remember(session, formula, [3e6])
    blends.remember(session, formula, [3e6])
    assert len(_kept(session)) == len(blends.PRESSURES) + 1


def test_changed_parts_drop_the_state_of_the_old_ones(session: Session) -> None:
    formula = build.formula(session)
    before = blends.state(session, formula)
    lines = [{"ingredient": "KNO3", "percent": "60"}, {"ingredient": "sucrose", "percent": "40"}]
    formulas.save(session, FormulaIn.model_validate({"name": formula.name, "parts": lines}), formula)
    assert len(_kept(session)) == len(blends.PRESSURES)
    assert blends.state(session, formula).temperature < before.temperature


def test_a_pressure_outside_the_calculation_is_told_and_not_kept(session: Session) -> None:
    formula = build.formula(session)
    with pytest.raises(OutOfRange):
        blends.state(session, formula, 1e3)
    blends.remember(session, formula, [1e3])
    assert len(_kept(session)) == len(blends.PRESSURES)


@pytest.mark.parametrize("throat", ["10 mm", "12.7 mm", "17 mm"])
def test_a_motor_has_c_star_at_its_own_mean_pressure(session: Session, throat: str) -> None:
    # it was that of 6.9 MPa for all, up to 1.4 % too high for a motor at 1 MPa
    found = designs.predict(session, build.design_in(session, throat_d=throat))
    mean = found.mean_pressure.mid
    assert found.inputs.c_star_m_s == pytest.approx(thermochem.blend_state(found.inputs.blend, mean).c_star, rel=1e-3)
    usual = blends.state(session, build.formula(session, name="The same")).c_star
    assert (found.inputs.c_star_m_s < usual) is (mean < USUAL_PRESSURE)
    assert any("the motor's own mean pressure" in say(line) for line in found.assumptions)


def test_a_note_of_a_state_comes_back_from_the_book_as_it_was(
    session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    said = Note("Not solved at {at}.", {"at": Amount(740.0, "temperature")})
    formula, real = build.formula(session), blends._computed
    blends.forget(session, formula)
    monkeypatch.setattr(blends, "_computed", lambda *of: replace(real(*of), notes=(said, "Plain.")))
    blends.remember(session, formula)
    monkeypatch.setattr(blends, "_computed", lambda *_: pytest.fail("it was computed again"))
    assert blends.states(session, formula)[0].notes == (said, "Plain.")


def test_an_odd_pressure_that_has_no_state_leaves_the_others(session: Session, monkeypatch: pytest.MonkeyPatch) -> None:
    formula, real = build.formula(session), blends._computed
    blends.forget(session, formula)

    def some(blend: tuple[tuple[str, float], ...], pressure: float) -> BlendState:
        if pressure != USUAL_PRESSURE:
            raise NoSolution("pressure", "is not solved.", "")
        return real(blend, pressure)

    monkeypatch.setattr(blends, "_computed", some)
    assert [state.pressure for state in blends.states(session, formula)] == [USUAL_PRESSURE]
    monkeypatch.setattr(blends, "PRESSURES", (1e6,))
    with pytest.raises(NoSolution):
        blends.states(session, formula)
