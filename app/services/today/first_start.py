"""The first start: what a person says of the workshop goes into the book, and nothing else does.

A thing told whole is entered as its own page would enter it, by a name made of its sizes. One that was begun and not
told whole is kept as the unsaved form of that page, where it waits to be measured.
"""

import json
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError
from sqlmodel import Session

from app.calc.base.errors import CalcError
from app.calc.propellant.ingredients import INGREDIENTS
from app.errors import Faults
from app.models import Case, CastingTube, CoringRod, Formula, GrainPattern, LaunchField, Nozzle
from app.models.base import FormIn
from app.models.start import PARTS, Part, StartIn
from app.services.book import drafts, workshop
from app.services.hardware import inventory, places
from app.services.stock import formulas
from app.services.today import lacking
from app.units import METRIC, Measure

NITRATE = INGREDIENTS["potassium_nitrate"].name
SUGARS = [item.name for item in INGREDIENTS.values() if item.kind == "sugar"]
ENDS = {"2": "both", "1": "one", "0": "neither"}

_OWN: dict[str, Any] = {
    "casting tube": (CastingTube, inventory.tubes, inventory.save_tube),
    "coring rod": (CoringRod, inventory.rods, inventory.save_rod),
    "grain pattern": (GrainPattern, inventory.patterns, inventory.save_pattern),
    "case": (Case, inventory.cases, inventory.save_case),
    "nozzle": (Nozzle, inventory.nozzles, inventory.save_nozzle),
    "formula": (Formula, formulas.current, formulas.save),
    "field": (LaunchField, places.fields, places.save_field),
}

_QUESTIONS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Tubes, rods and grains", ("casting tube", "coring rod", "grain pattern")),
    ("Case and nozzle, as measured", ("case", "nozzle")),
    ("Formula", ("formula",)),
    ("Pan", ()),
    ("Place", ("field",)),
)


@dataclass(frozen=True)
class Question:
    """One question: the fields that are still asked, what stands in the book of it, what waits to be measured."""

    title: str
    fields: list[str]
    stands: list[tuple[str, str]]
    """Names, each with its address."""
    to_measure: list[str]


def questions(session: Session) -> list[Question]:
    """The six questions as they stand."""
    shop = workshop.get(session)
    found = [Question("Units", ["system"], [], [])]
    for title, nouns in _QUESTIONS:
        parts = [part for part in PARTS if part.noun in nouns]
        fields = [name for part in parts if not _has(session, part) for name in part.fields]
        stands = [one for part in parts for one in _stands(session, part)]
        measure = [words for part in parts if not _has(session, part) for words in _to_measure(session, part)]
        if not parts:
            fields = ["pan_capacity"] if shop.pan_capacity_kg is None else []
            stands = [] if fields else [(f"It holds {shop.pan_capacity_typed}", "/workshop/settings")]
        found.append(Question(title, fields, stands, measure))
    return found


def begun(session: Session) -> dict[str, str]:
    """The texts that the form opens with: the system in use, and what was begun and not told whole."""
    texts = {"system": workshop.get(session).system}
    for part in PARTS:
        kept = _begun(session, part) or {}
        texts |= {name: kept[to] for name, to in part.fields.items() if to in kept}
    return texts


def answered(session: Session) -> bool:
    """Whether nothing is left to ask."""
    return not any(question.fields for question in questions(session)[1:])


def keep(session: Session, data: StartIn) -> list[str]:
    """Put what was said in the book; gives the names of what is new in it.

    Raises
    ------
    Refused
        What cannot be, all of it at once, each beside its field; then nothing is kept.
    """
    faults, entered = Faults(), []
    shop = workshop.get(session)
    if data.system:
        workshop.choose_system(session, data.system)
    if data.pan_capacity is not None and shop.pan_capacity_kg is None:
        workshop.state_pan(session, data.pan_capacity)
        entered.append(f"pan of {data.pan_capacity.typed}")
    elif data.pan_capacity is not None:
        faults.add("pan_capacity", f"It is set already ({shop.pan_capacity_typed}); change it in the settings.")
    for part in PARTS:
        entered += _keep(session, part, data, faults)
    faults.tell()
    return entered


def _keep(session: Session, part: Part, data: StartIn, faults: Faults) -> list[str]:
    told, first = data.told(part), next(iter(part.fields))
    asked, kept = not _has(session, part), _begun(session, part)
    if not told and not (asked and kept):
        return []
    if told and (not asked or (kept is None)):
        faults.add(first, f"A {part.noun} is in the book or begun already; enter this one on its own page.")
        return []
    texts = {to: text for to, text in (kept or {}).items() if to not in part.fields.values()} | told
    if part.noun == "grain pattern" and told:
        texts |= _tube_and_rod(session)
    if part.noun == "formula":
        texts = {**texts, "parts.0.ingredient": NITRATE} if told else {}
    form = _form(part, texts) if told and not _lacks(part, texts) else None
    drafts.discard(session, part.page)
    if form is None:
        if texts:
            drafts.keep(session, part.page, json.dumps([*texts.items()]))
        return []
    _, _, save = _OWN[part.noun]
    here, own = {to: name for name, to in part.fields.items()}, Faults()
    with own.one():
        try:
            return [save(session, form).name]
        except CalcError as error:
            own.add(error.field, error.words)
    for fault in own.found:
        field = "parts.1.ingredient" if fault.field == "parts" else fault.field or ""
        faults.add(here.get(field, first if field == "name" else None), fault.message)
    return []


def _begun(session: Session, part: Part) -> dict[str, str] | None:
    """What was begun of a thing; None for a formula begun on its own page, whose lines are in an order of its own."""
    texts = lacking.begun_of(session, part.noun)
    of_its_page = part.noun == "formula" and texts and texts.get("parts.0.ingredient") != NITRATE
    return None if of_its_page else texts


def _form(part: Part, texts: dict[str, str]) -> FormIn | None:
    """The form of a thing told whole, under a name made of its sizes; None where it was begun with what cannot be."""
    named: dict[str, Any] = {"name": _name(part.noun, texts), **texts}
    if part.noun == "formula":
        nitrate, sugar = texts["parts.0.percent"], texts["parts.1.ingredient"]
        rest = 1 - Measure("share").read(nitrate, METRIC).si
        named["parts"] = [
            {"ingredient": NITRATE, "percent": nitrate},
            {"ingredient": sugar, "percent": f"{100 * rest:.10g} %"},
        ]
    try:
        return part.model.model_validate(named)
    except ValidationError:
        return None


def _name(noun: str, texts: dict[str, str]) -> str:
    if noun == "casting tube":
        return f"Tube {texts['inner_d']}"
    if noun == "coring rod":
        return f"Rod {texts['diameter']}"
    if noun == "grain pattern":
        return f"Grain {texts['length']} long"
    if noun == "case":
        return f"Case {texts['outer_d']}"
    if noun == "nozzle":
        return f"Nozzle {texts['throat_d']}"
    if noun == "formula":
        return f"{texts['parts.1.ingredient']}, {texts['parts.0.percent']} nitrate"
    return texts.get("name", "")


def _lacks(part: Part, texts: dict[str, str]) -> list[str]:
    """The labels of what is still to be measured or decided of a thing that was begun."""
    if part.noun == "formula":
        missing = [name for name, to in part.fields.items() if to not in texts]
        return [lacking.label(StartIn, name) for name in missing]
    found = [lacking.label(part.model, name) for name in lacking.missing_in(part.model, texts)]
    if part.noun == "grain pattern":
        found += [
            noun
            for noun, of in (("casting tube", "casting_tube_id"), ("coring rod", "coring_rod_id"))
            if of not in texts
        ]
    if part.noun == "field" and "name" not in texts:
        found.append("its name")
    return found


def _to_measure(session: Session, part: Part) -> list[str]:
    texts = _begun(session, part)
    if texts is None:
        return [f"{part.noun}: begun on its own page"]
    if not any(to in texts for to in part.fields.values()):
        return []
    return [f"{part.noun}: {', '.join(_lacks(part, texts)) or 'finish it on its own page'}"]


def _tube_and_rod(session: Session) -> dict[str, str]:
    """The one tube and the one rod of the book; of several, none is taken for granted."""
    tubes, rods = inventory.tubes(session), inventory.rods(session)
    found = {"casting_tube_id": str(tubes[0].pk)} if len(tubes) == 1 else {}
    return {**found, "coring_rod_id": str(rods[0].pk)} if len(rods) == 1 else found


def _has(session: Session, part: Part) -> bool:
    _, listing, _ = _OWN[part.noun]
    if listing(session):
        return True
    several = len(inventory.tubes(session)) > 1 or len(inventory.rods(session)) > 1
    return part.noun == "grain pattern" and several


def _stands(session: Session, part: Part) -> list[tuple[str, str]]:
    _, listing, _ = _OWN[part.noun]
    return [(row.name, f"{part.page.removesuffix('/new')}/{row.pk}") for row in listing(session)]
