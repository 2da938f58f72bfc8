"""What a plan, a cast, a motor and a firing still lack, each with the page where it is told: the next comes first.

What was begun and not measured whole is a form that was not saved (`Draft`): it is named by what is missing in it.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from sqlmodel import Session, select

from app.models import Firing
from app.models.asking import needed
from app.models.base import FormIn
from app.models.start import PARTS
from app.services.book import drafts, workshop
from app.services.cast import needs
from app.services.cast.needs import Stock
from app.services.hardware import inventory, places
from app.services.stock import formulas, supplies

Goal = Literal["a plan", "a cast", "a motor", "a firing"]


@dataclass(frozen=True)
class Lack:
    """Something missing: what it is needed for, what to do in words, and where."""

    goal: Goal
    words: str
    href: str


def following(session: Session, stock: Stock | None = None) -> Lack | None:
    """The next missing thing; None where nothing is missing. `stock` is the shelf where it was read already."""
    return next(of(session, stock), None)


def of(session: Session, stock: Stock | None = None) -> Iterator[Lack]:
    """All that is missing, in the order in which it is needed."""
    yield from _plan(session)
    yield from _cast(session, stock or needs.stock(session))
    yield from _motor(session)
    yield from _firing(session)


def _plan(session: Session) -> Iterator[Lack]:
    if not formulas.current(session):
        yield _enter(session, "a plan", "formula")
    if not inventory.patterns(session):
        begun = [noun for noun in ("casting tube", "coring rod") if begun_of(session, noun)]
        yield _enter(session, "a plan", begun[0] if begun else "grain pattern")
    if workshop.get(session).pan_capacity_kg is None:
        yield Lack("a plan", "Say how much melt your pan holds safely", "/workshop/settings#form-pan_capacity")


def _cast(session: Session, stock: Stock) -> Iterator[Lack]:
    short = [need.name for need in stock.short]
    if not short:
        wanted = dict.fromkeys(key for formula in formulas.current(session) for key in formula.blend)
        short = [supplies.ingredient_name(key) for key in wanted if not stock.on_shelf.get(key)]
    for name in short:
        yield Lack("a cast", f"Enter a bag of {name.lower()}", "/workshop/supplies/new")
    for tube in inventory.tubes(session):
        if tube.tare_kg is None:
            yield Lack("a cast", f"Weigh one empty {tube.name}, to be measured", f"/workshop/tubes/{tube.pk}#form-tare")


def _motor(session: Session) -> Iterator[Lack]:
    cases = inventory.cases(session)
    if not cases:
        yield _enter(session, "a motor", "case")
    if not inventory.nozzles(session):
        yield _enter(session, "a motor", "nozzle")
    for case in cases:
        if case.rated_pressure_pa is None and case.proof_pressure_pa is None:
            words = f"Say what {case.name} was rated or tested for"
            yield Lack("a motor", words, f"/workshop/cases/{case.pk}#form-rated_pressure")
        if not case.closure:
            words = f"Say what holds the closures of {case.name}"
            yield Lack("a motor", words, f"/workshop/cases/{case.pk}#form-closure")


def _firing(session: Session) -> Iterator[Lack]:
    if not places.fields(session):
        yield _enter(session, "a firing", "field")
    if not places.rockets(session) and session.exec(select(Firing.id).limit(1)).first() is None:
        yield Lack("a firing", "Enter your rocket, if it is to fly", "/workshop/rockets/new")


def begun_of(session: Session, noun: str) -> dict[str, str]:
    """What was begun of a thing and not saved, by the fields of its form."""
    page = next(part.page for part in PARTS if part.noun == noun)
    draft = drafts.unsaved(session).get(page)
    return {} if draft is None else {name: text for name, text in json.loads(draft.values_json) if text.strip()}


def missing_in(model: type[FormIn], texts: dict[str, str]) -> list[str]:
    """The fields that are to be filled in before a form can be saved; a name is no matter of measuring."""
    required = [name for name, info in model.model_fields.items() if info.is_required() and name != "name"]
    found = [name for name in required if not any(key.partition(".")[0] == name for key in texts)]
    every = {name: texts.get(name, "") for name in model.model_fields}
    return [*found, *(name for name, _, _ in needed(model.whens, model.together, every))]


def label(model: type[FormIn], name: str) -> str:
    """What a field is called, within a sentence."""
    return str(model.model_fields[name].title or name).lower()


def _enter(session: Session, goal: Goal, noun: str) -> Lack:
    part = next(part for part in PARTS if part.noun == noun)
    begun = begun_of(session, noun)
    if not begun:
        return Lack(goal, f"Enter a {noun}", part.page)
    lacks = [label(part.model, name) for name in missing_in(part.model, begun)]
    return Lack(goal, f"Finish the {noun}{', to be measured: ' if lacks else ''}{', '.join(lacks)}", part.page)
