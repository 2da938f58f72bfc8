"""Pages of patterns, tubes, rods, cases and nozzles."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app import clock
from app.models import Case, CastingTube, CoringRod, GrainPattern, Nozzle, NozzleMeasure
from app.models.batch import VoidIn
from app.models.hardware import CaseIn, CastingTubeIn, CoringRodIn, GrainPatternIn, NozzleIn, NozzleMeasureIn
from app.routers.nouns import Choices, Noun, add_pages
from app.services import closures, firings, hardware, rows, slips, workshop
from app.units import show
from app.web import Book, Forms, Typed, submit

router = APIRouter()


def _pattern_choices(session: Session) -> Choices:
    units = workshop.get(session).units
    return {
        "burning_ends": [("2", "both"), ("1", "one"), ("0", "neither")],
        "casting_tube_id": [
            (str(tube.pk), f"{tube.name} ({show(tube.inner_d_m, 'length', units)} inside{_gone(tube)})")
            for tube in hardware.tubes(session) + hardware.tubes(session, True)
        ],
        "coring_rod_id": [
            (str(rod.pk), f"{rod.name} ({show(rod.diameter_m, 'length', units)}{_gone(rod)})")
            for rod in hardware.rods(session) + hardware.rods(session, True)
        ],
    }


def _gone(row: CastingTube | CoringRod) -> str:
    return ", retired" if row.retired else ""


PATTERNS = Noun(
    "patterns", "grain pattern", GrainPattern, GrainPatternIn, hardware.save_pattern, hardware.patterns,
    page="pattern", choices=_pattern_choices, initial=lambda row: {} if row else {"burning_ends": 2},
    list_more=lambda session: {
        "tube_names": {tube.pk: tube.name for tube in hardware.tubes(session) + hardware.tubes(session, True)},
        "rod_names": {rod.pk: rod.name for rod in hardware.rods(session) + hardware.rods(session, True)},
    },
    page_more=lambda session, row, _forms: {"doubts": hardware.doubts(session, row) if row else []},
)  # fmt: skip
TUBES = Noun("tubes", "casting tube", CastingTube, CastingTubeIn, hardware.save_tube, hardware.tubes)
RODS = Noun("rods", "coring rod", CoringRod, CoringRodIn, hardware.save_rod, hardware.rods)
CASES = Noun(
    "cases", "case", Case, CaseIn, hardware.save_case, hardware.cases,
    page="case",
    choices=lambda _: {"material": list(hardware.MATERIALS.items()), "closure": list(closures.KINDS.items())},
    list_more=lambda _: {"materials": hardware.MATERIALS},
    page_more=lambda session, row, _forms: (
        {
            "wall": hardware.wall(row), "doubts": hardware.case_doubts(session, row),
            "held": closures.retention(row), "wall_temperature": closures.wall_temperature(row),
        } if row else {}
    ),
)  # fmt: skip


def _nozzle_list(session: Session) -> dict[str, Any]:
    every = hardware.nozzles(session)
    return {
        "throats": {nozzle.pk: hardware.throat_now(session, nozzle) for nozzle in every},
        "last": {nozzle.pk: next(iter(hardware.measures(session, nozzle)), None) for nozzle in every},
        "counts": {nozzle.pk: firings.nozzle_uses(session, nozzle.pk) for nozzle in every},
    }


def _nozzle_page(session: Session, nozzle: Nozzle | None, forms: Forms) -> dict[str, Any]:
    if nozzle is None:
        return {}
    here = f"/workshop/nozzles/{nozzle.pk}/measures"
    return {
        "measure": forms.get(
            "measure", NozzleMeasureIn, here,
            initial={"measured_on": clock.today()},
        ),
        "measures": hardware.measures(session, nozzle), "struck": slips.struck(session, NozzleMeasure, nozzle),
        "strikes": {m.pk: forms.get(f"throat-{m.pk}", VoidIn, f"{here}/{m.pk}/strike", row=m)
                    for m in hardware.measures(session, nozzle)},
        "fresh": slips.fresh, "at_once": slips.AT_ONCE,
        "throat": hardware.throat_now(session, nozzle),
        "count": firings.nozzle_uses(session, nozzle.pk),
        "firings": hardware.firings_of(session, nozzle),
    }  # fmt: skip


NOZZLES = Noun(
    "nozzles", "nozzle", Nozzle, NozzleIn, hardware.save_nozzle, hardware.nozzles,
    page="nozzle", list_more=_nozzle_list, page_more=_nozzle_page,
)  # fmt: skip

for noun in (PATTERNS, TUBES, RODS, CASES, NOZZLES):
    add_pages(router, noun)


@router.post("/workshop/nozzles/{row_id}/measures")
def measure_nozzle(request: Request, session: Book, row_id: int, typed: Typed) -> Response:
    """Add a measured throat to a nozzle's history."""
    rows.get(session, Nozzle, row_id, "nozzle")

    def act(writing: Session, data: Any) -> str:
        hardware.measure_nozzle(writing, rows.get(writing, Nozzle, row_id, "nozzle"), data)
        return f"/workshop/nozzles/{row_id}"

    return submit(
        request, typed, NozzleMeasureIn, act=act, form_id="measure",
        page=lambda s, form: NOZZLES.show(request, s, row_id, form), notice="The measure is in the nozzle's history.",
    )  # fmt: skip
