"""The equilibrium state of a formula's blend: computed once at a pressure, then read from the book."""

import json
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from functools import lru_cache
from typing import Any

from sqlmodel import Session, select

from app import logbook
from app.calc.base.errors import CalcError
from app.calc.base.notes import Amount, Note
from app.calc.motor.assembly import Propellant
from app.calc.motor.own_pressure import USUAL_PRESSURE
from app.calc.propellant.blend import theoretical_density
from app.calc.propellant.burn_laws import law_for_blend
from app.calc.propellant.burn_rate import BurnLaw
from app.calc.propellant.thermochem import BlendState, blend_state
from app.models import BlendStateCache, Formula
from app.services.book import calculation_key, repository
from app.troubles import trouble_of

CALCULATED_BY = "app.calc.propellant.thermochem"
"""What makes a state, with all of `app.calc` that it uses: any change of them makes every state anew."""

START_SECONDS = 2.0
"""Time spent on states whose calculation has changed, at most, as a book is opened [s]."""

PRESSURES = (0.5e6, 2e6, USUAL_PRESSURE, 20e6)
"""Where states are computed and kept; a motor's own is read between them [Pa]."""


def state(session: Session, formula: Formula, pressure_pa: float = USUAL_PRESSURE) -> BlendState:
    """The state at a chamber pressure [Pa]: from the book if it is there, else computed; stores nothing.

    Raises
    ------
    CalcError
        No state was found, or the pressure is outside what the calculation covers; the message says which.
    """
    found = _stored(session, formula, pressure_pa)
    if found is not None:
        return _read(found.state_json)
    return _computed(tuple(sorted(formula.blend.items())), pressure_pa)


def states(session: Session, formula: Formula) -> list[BlendState]:
    """The states at `PRESSURES`: from the book where they are there, else computed; stores nothing.

    Raises
    ------
    CalcError
        None was found.
    """
    asked = select(BlendStateCache).where(
        BlendStateCache.formula_id == formula.pk, BlendStateCache.method == calculation_key.name(CALCULATED_BY)
    )
    kept = {row.pressure_pa: row.state_json for row in session.exec(asked)}
    blend = tuple(sorted(formula.blend.items()))
    return _found(lambda p: _read(kept[p]) if p in kept else _computed(blend, p))


def states_of(blend: Mapping[str, float]) -> list[BlendState]:
    """The states of a blend that is in no book, at `PRESSURES`.

    Raises
    ------
    CalcError
        None was found.
    """
    parts = tuple(sorted(blend.items()))
    return _found(lambda p: _computed(parts, p))


def _found(at: Callable[[float], BlendState]) -> list[BlendState]:
    """Those that can be; an odd blend may have a state at the usual pressure and none at another."""
    found, fault = [], None
    for pressure in PRESSURES:
        try:
            found.append(at(pressure))
        except CalcError as error:
            fault = error
    if fault is not None and not found:
        raise fault
    return found


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


def remember(session: Session, formula: Formula, pressures: Sequence[float] = PRESSURES) -> None:
    """Compute the states and keep them in the book; a failure is left for the page to tell."""
    for pressure in pressures:
        if _stored(session, formula, pressure) is not None:
            continue
        try:
            computed = state(session, formula, pressure)
        except CalcError:
            continue
        row = BlendStateCache(
            formula_id=formula.pk,
            pressure_pa=pressure,
            method=calculation_key.name(CALCULATED_BY),
            state_json=json.dumps(asdict(computed)),
        )
        session.add(row)
    session.flush()


def catch_up(session: Session, seconds: float = START_SECONDS) -> None:
    """Compute the states again that were kept of a calculation that has changed since, newest formulas first, until
    time is up; the others are computed where a page asks.
    """
    until = time.monotonic() + seconds
    old = BlendStateCache.method != calculation_key.name(CALCULATED_BY)
    for formula_id in sorted(set(session.exec(select(BlendStateCache.formula_id).where(old))), reverse=True):
        if time.monotonic() > until:
            return
        try:
            remember(session, repository.get(session, Formula, formula_id, "formula"))
        except Exception as error:  # what a page cannot show must not keep the book from opening
            if trouble_of(error) is not None:
                raise
            logbook.fault("computing a blend's states again", error)
            continue
        for row in session.exec(select(BlendStateCache).where(BlendStateCache.formula_id == formula_id, old)):
            session.delete(row)
        session.flush()


def forget(session: Session, formula: Formula) -> None:
    """Drop what was kept of a formula whose parts have changed."""
    for row in session.exec(select(BlendStateCache).where(BlendStateCache.formula_id == formula.pk)):
        session.delete(row)
    session.flush()


@lru_cache(maxsize=256)
def _read(state_json: str) -> BlendState:
    stored = json.loads(state_json)
    return BlendState(**{**stored, "notes": tuple(_note(note) for note in stored["notes"])})


def _note(stored: Any) -> Note | str:
    if isinstance(stored, str):
        return stored
    return Note(stored["words"], {name: Amount(*amount) for name, amount in stored["amounts"].items()})


@lru_cache(maxsize=256)
def _computed(blend: tuple[tuple[str, float], ...], pressure_pa: float) -> BlendState:
    return blend_state(dict(blend), pressure_pa)


def _stored(session: Session, formula: Formula, pressure_pa: float) -> BlendStateCache | None:
    return session.exec(
        select(BlendStateCache).where(
            BlendStateCache.formula_id == formula.pk,
            BlendStateCache.pressure_pa == pressure_pa,
            BlendStateCache.method == calculation_key.name(CALCULATED_BY),
        )
    ).first()
