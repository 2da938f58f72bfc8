"""The equilibrium state of a formula's blend: computed once at a pressure, then read from the book."""

import json
from collections.abc import Mapping
from dataclasses import asdict
from functools import lru_cache

from sqlmodel import Session, select

from app.calc.assembly import Propellant
from app.calc.blend import theoretical_density
from app.calc.burnrate import BurnLaw, law_for_blend
from app.calc.constants import ATM
from app.calc.errors import CalcError
from app.calc.thermochem import BlendState, blend_state
from app.models import BlendStateCache, Formula

METHOD = "Gibbs minimum, NASA data, 1"
"""Named beside each stored state; raise the number when the calculation changes."""

USUAL_PRESSURE = 68 * ATM
"""The pressure that published values of these blends are given at [Pa]."""


def state(session: Session, formula: Formula, pressure_pa: float = USUAL_PRESSURE) -> BlendState:
    """The state at a chamber pressure [Pa]: from the book if it is there, else computed; stores nothing.

    Raises
    ------
    CalcError
        No state was found, or the pressure is outside what the calculation covers; the message says which.
    """
    found = _stored(session, formula, pressure_pa)
    if found is not None:
        stored = json.loads(found.state_json)
        return BlendState(**{**stored, "notes": tuple(stored["notes"])})
    return _computed(tuple(sorted(formula.blend.items())), pressure_pa)


def propellant(blend: Mapping[str, float], state: BlendState, law: BurnLaw | None = None) -> Propellant:
    """A blend as a motor's propellant: its own state, and its own law where none is given.

    Raises
    ------
    CalcError
        No burn law is near the blend.
    """
    return Propellant(
        ideal_density=theoretical_density(blend),
        c_star=state.c_star,
        gamma=state.gamma_effective or state.gamma_frozen,
        molar_mass=state.system_molar_mass,
        temperature=state.temperature,
        law=law or law_for_blend(blend),
    )


def remember(session: Session, formula: Formula, pressure_pa: float = USUAL_PRESSURE) -> None:
    """Compute the state and keep it in the book; a failure is left for the page to tell."""
    if _stored(session, formula, pressure_pa) is not None:
        return
    try:
        computed = state(session, formula, pressure_pa)
    except CalcError:
        return
    session.add(
        BlendStateCache(
            formula_id=formula.pk,
            pressure_pa=pressure_pa,
            method=METHOD,
            state_json=json.dumps(asdict(computed)),
        )
    )
    session.flush()


def forget(session: Session, formula: Formula) -> None:
    """Drop what was kept of a formula whose parts have changed."""
    for row in session.exec(select(BlendStateCache).where(BlendStateCache.formula_id == formula.pk)):
        session.delete(row)
    session.flush()


@lru_cache(maxsize=256)
def _computed(blend: tuple[tuple[str, float], ...], pressure_pa: float) -> BlendState:
    return blend_state(dict(blend), pressure_pa)


def _stored(session: Session, formula: Formula, pressure_pa: float) -> BlendStateCache | None:
    return session.exec(
        select(BlendStateCache).where(
            BlendStateCache.formula_id == formula.pk,
            BlendStateCache.pressure_pa == pressure_pa,
            BlendStateCache.method == METHOD,
        )
    ).first()
