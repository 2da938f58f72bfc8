"""Pages of patterns, tubes, rods, cases and nozzles."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app import clock
from app.models import Case, CastingTube, CoringRod, GrainPattern, Nozzle, NozzleMeasure
from app.models.batch import VoidIn
from app.models.hardware import CaseIn, CastingTubeIn, CoringRodIn, GrainPatternIn, NozzleIn, NozzleMeasureIn
from app.routers.book.crud_pages import Choices, Noun, add_pages
from app.services.book import first_minute, repository, workshop
from app.services.firings import firings
from app.services.grains import undo
from app.services.hardware import closures, inventory, shapes
from app.units import show
from app.web import Book, Forms, Typed, submit

router = APIRouter()


def _pattern_choices(session: Session) -> Choices:
    units = workshop.get(session).units
    return {
        "burning_ends": [("2", "both"), ("1", "one"), ("0", "neither")],
        "casting_tube_id": [
            (str(tube.pk), f"{tube.name} ({show(tube.inner_d_m, 'length', units)} inside{_gone(tube)})")
            for tube in inventory.tubes(session) + inventory.tubes(session, True)
        ],
        "coring_rod_id": [
            (str(rod.pk), f"{rod.name} ({show(rod.diameter_m, 'length', units)}{_gone(rod)})")
            for rod in inventory.rods(session) + inventory.rods(session, True)
        ],
    }


def _gone(row: CastingTube | CoringRod) -> str:
    return ", retired" if row.retired else ""


PATTERNS = Noun(
    "hardware",
    "patterns",
    "grain pattern",
    GrainPattern,
    GrainPatternIn,
    inventory.save_pattern,
    inventory.patterns,
    page="hardware/pattern.html",
    choices=_pattern_choices,
    initial=lambda row: {} if row else {"burning_ends": 2},
    list_more=lambda session: {
        "tube_names": {tube.pk: tube.name for tube in inventory.tubes(session) + inventory.tubes(session, True)},
        "rod_names": {rod.pk: rod.name for rod in inventory.rods(session) + inventory.rods(session, True)},
    },
    page_more=lambda session, row, _forms: (
        {"doubts": inventory.doubts(session, row), "propellant": shapes.volume(row)} if row else {}
    ),
)
TUBES = Noun("hardware", "tubes", "casting tube", CastingTube, CastingTubeIn, inventory.save_tube, inventory.tubes)
RODS = Noun("hardware", "rods", "coring rod", CoringRod, CoringRodIn, inventory.save_rod, inventory.rods)
CASES = Noun(
    "hardware",
    "cases",
    "case",
    Case,
    CaseIn,
    inventory.save_case,
    inventory.cases,
    page="hardware/case.html",
    choices=lambda _: {"material": list(inventory.MATERIALS.items()), "closure": list(closures.KINDS.items())},
    list_more=lambda _: {"materials": inventory.MATERIALS},
    page_more=lambda session, row, _forms: (
        {
            "wall": inventory.wall(row),
            "doubts": inventory.case_doubts(session, row),
            "held": closures.retention(row),
            "wall_temperature": closures.wall_temperature(row),
        }
        if row
        else {}
    ),
)


def _nozzle_list(session: Session) -> dict[str, Any]:
    every = inventory.nozzles(session)
    return {
        "throats": {nozzle.pk: inventory.throat_now(session, nozzle) for nozzle in every},
        "last": {nozzle.pk: next(iter(inventory.measures(session, nozzle)), None) for nozzle in every},
        "counts": {nozzle.pk: firings.nozzle_uses(session, nozzle.pk) for nozzle in every},
    }


def _nozzle_page(session: Session, nozzle: Nozzle | None, forms: Forms) -> dict[str, Any]:
    if nozzle is None:
        return {}
    here = f"/workshop/nozzles/{nozzle.pk}/measures"
    return {
        "measure": forms.get("measure", NozzleMeasureIn, here, initial={"measured_on": clock.today()}),
        "measures": inventory.measures(session, nozzle),
        "struck": undo.struck(session, NozzleMeasure, nozzle),
        "strikes": {
            m.pk: forms.get(f"throat-{m.pk}", VoidIn, f"{here}/{m.pk}/strike", row=m)
            for m in inventory.measures(session, nozzle)
        },
        "fresh": first_minute.fresh,
        "at_once": first_minute.AT_ONCE,
        "throat": inventory.throat_now(session, nozzle),
        "count": firings.nozzle_uses(session, nozzle.pk),
        "firings": inventory.firings_of(session, nozzle),
    }


NOZZLES = Noun(
    "hardware",
    "nozzles",
    "nozzle",
    Nozzle,
    NozzleIn,
    inventory.save_nozzle,
    inventory.nozzles,
    page="hardware/nozzle.html",
    list_more=_nozzle_list,
    page_more=_nozzle_page,
)

for noun in (PATTERNS, TUBES, RODS, CASES, NOZZLES):
    add_pages(router, noun)


@router.post("/workshop/nozzles/{row_id}/measures")
def measure_nozzle(request: Request, session: Book, row_id: int, typed: Typed) -> Response:
    """Add a measured throat to a nozzle's history."""
    repository.get(session, Nozzle, row_id, "nozzle")

    def act(writing: Session, data: Any) -> str:
        inventory.measure_nozzle(writing, repository.get(writing, Nozzle, row_id, "nozzle"), data)
        return f"/workshop/nozzles/{row_id}"

    return submit(
        request,
        typed,
        NozzleMeasureIn,
        act=act,
        form_id="measure",
        page=lambda s, form: NOZZLES.show(request, s, row_id, form),
        notice="The measure is in the nozzle's history.",
    )
