"""The equilibrium state of a formula: right, kept, and dropped when the parts change."""

import pytest
from sqlmodel import Session, select

from app.calc.constants import ATM
from app.calc.errors import OutOfRange
from app.models import BlendStateCache
from app.models.formula import FormulaIn
from app.services import blends, formulas
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
    (kept,) = _kept(session)
    assert (kept.formula_id, kept.pressure_pa) == (formula.pk, blends.USUAL_PRESSURE)
    fresh = blends._computed(tuple(sorted(formula.blend.items())), blends.USUAL_PRESSURE)
    monkeypatch.setattr(blends, "_computed", lambda *_: pytest.fail("it was computed again"))
    assert blends.state(session, formula) == fresh


def test_looking_at_another_pressure_stores_nothing(session: Session) -> None:
    formula = build.formula(session)
    assert blends.state(session, formula, 3e6).pressure == 3e6
    assert len(_kept(session)) == 1
    blends.remember(session, formula, 3e6)
    blends.remember(session, formula, 3e6)
    assert len(_kept(session)) == 2


def test_changed_parts_drop_the_state_of_the_old_ones(session: Session) -> None:
    formula = build.formula(session)
    before = blends.state(session, formula)
    lines = [{"ingredient": "KNO3", "percent": "60"}, {"ingredient": "sucrose", "percent": "40"}]
    formulas.save(session, FormulaIn.model_validate({"name": formula.name, "parts": lines}), formula)
    assert len(_kept(session)) == 1
    assert blends.state(session, formula).temperature < before.temperature


def test_a_pressure_outside_the_calculation_is_told_and_not_kept(session: Session) -> None:
    formula = build.formula(session)
    with pytest.raises(OutOfRange):
        blends.state(session, formula, 1e3)
    blends.remember(session, formula, 1e3)
    assert len(_kept(session)) == 1
