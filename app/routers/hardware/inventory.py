"""Pages of patterns, tubes, rods, cases and nozzles."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from fastapi import Request
from fastapi.responses import Response
from sqlmodel import Session

from app import clock
from app.calc.case.casing import CaseMargin
from app.calc.case.closure import Retention
from app.forms import Form
from app.models import Case, CastingTube, CoringRod, Firing, GrainPattern, MotorBuild, Nozzle, NozzleMeasure
from app.models.base import Row
from app.models.batch import VoidIn
from app.models.hardware import CaseIn, CastingTubeIn, CoringRodIn, GrainPatternIn, NozzleIn, NozzleMeasureIn
from app.page import Page
from app.routers.book.crud_pages import Choices, Listed, Noun, Shown, add_pages
from app.routing import late_router
from app.services.book import first_minute, repository, workshop
from app.services.firings import firings, heights
from app.services.grains import undo
from app.services.hardware import closures, inventory, shapes
from app.units import show
from app.web import Book, Forms, Typed, submit

router = late_router()


def _pattern_choices(session: Session) -> Choices:
    units = workshop.get(session).units
    return {
        "burning_ends": [("2", "both"), ("1", "one"), ("0", "neither")],
        "casting_tube_id": [
            (str(tube.pk), f"{tube.name} ({show(tube.inner_d_m, 'length', units)} inside{_gone(tube)})")
            for tube in _all_tubes(session)
        ],
        "coring_rod_id": [
            (str(rod.pk), f"{rod.name} ({show(rod.diameter_m, 'length', units)}{_gone(rod)})")
            for rod in _all_rods(session)
        ],
    }


def _gone(row: CastingTube | CoringRod) -> str:
    return ", retired" if row.retired else ""


def _all_tubes(session: Session) -> list[CastingTube]:
    return inventory.tubes(session) + inventory.tubes(session, True)


def _all_rods(session: Session) -> list[CoringRod]:
    return inventory.rods(session) + inventory.rods(session, True)


# --- Patterns, tubes and rods --------------------------------------------------------------------


class PatternsPage(
    Page,
    template="hardware/patterns.html",
    section="workshop",
    group="Tools",
    tabs=[(7, "/workshop/patterns", "Patterns")],
):
    """The grain patterns, each with its tube and its rod."""

    listed: Listed[GrainPattern]
    tube_names: dict[int, str]
    rod_names: dict[int, str]


class PatternPage(Page, template="hardware/pattern.html", section="workshop"):
    """A grain pattern, what it comes to and what is odd about it."""

    shown: Shown[GrainPattern]
    propellant: float | None
    doubts: list[str]


class TubesPage(
    Page, template="hardware/tubes.html", section="workshop", group="Tools", tabs=[(8, "/workshop/tubes", "Tubes")]
):
    """The casting tubes."""

    listed: Listed[CastingTube]


class RodsPage(
    Page, template="hardware/rods.html", section="workshop", group="Tools", tabs=[(9, "/workshop/rods", "Rods")]
):
    """The coring rods."""

    listed: Listed[CoringRod]


def _pattern_list(session: Session, listed: Listed[GrainPattern]) -> Page:
    return PatternsPage(
        listed=listed,
        tube_names={tube.pk: tube.name for tube in _all_tubes(session)},
        rod_names={rod.pk: rod.name for rod in _all_rods(session)},
    )


def _pattern_page(session: Session, shown: Shown[GrainPattern], _forms: Forms) -> Page:
    pattern = shown.row
    return PatternPage(
        shown=shown,
        propellant=shapes.volume(pattern) if pattern else None,
        doubts=inventory.doubts(session, pattern) if pattern else [],
    )


PATTERNS = Noun(
    "patterns",
    "grain pattern",
    GrainPattern,
    GrainPatternIn,
    inventory.save_pattern,
    inventory.patterns,
    list_page=_pattern_list,
    page=_pattern_page,
    choices=_pattern_choices,
    initial=lambda row: {} if row else {"burning_ends": 2},
    like=("burning_ends", "casting_tube_id", "coring_rod_id"),
)
TUBES = Noun(
    "tubes",
    "casting tube",
    CastingTube,
    CastingTubeIn,
    inventory.save_tube,
    inventory.tubes,
    list_page=lambda _session, listed: TubesPage(listed=listed),
)
RODS = Noun(
    "rods",
    "coring rod",
    CoringRod,
    CoringRodIn,
    inventory.save_rod,
    inventory.rods,
    list_page=lambda _session, listed: RodsPage(listed=listed),
)


# --- Cases ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class CaseFigures:
    """What a case bears by formula, and what is odd about its figures."""

    wall: CaseMargin
    wall_temperature: float
    held: Retention | None
    doubts: list[str]


class CasesPage(
    Page, template="hardware/cases.html", section="workshop", group="Tools", tabs=[(11, "/workshop/cases", "Cases")]
):
    """The cases."""

    listed: Listed[Case]
    materials: dict[str, str]


class CasePage(Page, template="hardware/case.html", section="workshop"):
    """A case, and what follows from its sizes; a new one has none yet."""

    shown: Shown[Case]
    figures: CaseFigures | None


def _case_page(session: Session, shown: Shown[Case], _forms: Forms) -> Page:
    case, figures = shown.row, None
    if case is not None:
        figures = CaseFigures(
            wall=inventory.wall(case),
            wall_temperature=closures.wall_temperature(case),
            held=closures.retention(case),
            doubts=inventory.case_doubts(session, case),
        )
    return CasePage(shown=shown, figures=figures)


CASES = Noun(
    "cases",
    "case",
    Case,
    CaseIn,
    inventory.save_case,
    inventory.cases,
    list_page=lambda _session, listed: CasesPage(listed=listed, materials=inventory.MATERIALS),
    page=_case_page,
    choices=lambda _: {"material": list(inventory.MATERIALS.items()), "closure": list(closures.KINDS.items())},
    changed=heights.catch_up,
    like=("material", "yield_strength", "wall_temperature", "closure"),
)


# --- Nozzles -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class ThroatHistory:
    """A nozzle's throat as it grew: what was measured and what was struck out, with the forms for both."""

    now: float
    measures: list[NozzleMeasure]
    struck: list[NozzleMeasure]
    measure: Form
    strikes: dict[int, Form]
    count: int
    firings: list[tuple[Firing, MotorBuild]]


class NozzlesPage(
    Page,
    template="hardware/nozzles.html",
    section="workshop",
    group="Tools",
    tabs=[(12, "/workshop/nozzles", "Nozzles")],
):
    """The nozzles, each with its throat now, when it was last measured and how often it was fired."""

    listed: Listed[Nozzle]
    throats: dict[int, float]
    last: dict[int, NozzleMeasure | None]
    counts: dict[int, int]


class NozzlePage(Page, template="hardware/nozzle.html", section="workshop"):
    """A nozzle, and how its throat grew; a new one has no history."""

    shown: Shown[Nozzle]
    throat: ThroatHistory | None
    fresh: Callable[[Row], bool]
    at_once: str


def _nozzle_list(session: Session, listed: Listed[Nozzle]) -> Page:
    return NozzlesPage(
        listed=listed,
        throats={nozzle.pk: inventory.throat_now(session, nozzle) for nozzle in listed.rows},
        last={nozzle.pk: next(iter(inventory.measures(session, nozzle)), None) for nozzle in listed.rows},
        counts={nozzle.pk: firings.nozzle_uses(session, nozzle.pk) for nozzle in listed.rows},
    )


def _nozzle_page(session: Session, shown: Shown[Nozzle], forms: Forms) -> Page:
    throat = None if shown.row is None else _throat(session, shown.row, forms)
    return NozzlePage(shown=shown, throat=throat, fresh=first_minute.fresh, at_once=first_minute.AT_ONCE)


def _throat(session: Session, nozzle: Nozzle, forms: Forms) -> ThroatHistory:
    here, measures = f"/workshop/nozzles/{nozzle.pk}/measures", inventory.measures(session, nozzle)
    return ThroatHistory(
        now=inventory.throat_now(session, nozzle),
        measures=measures,
        struck=undo.struck(session, NozzleMeasure, nozzle),
        measure=forms.get("measure", NozzleMeasureIn, here, initial={"measured_on": clock.today()}),
        strikes={m.pk: forms.get(f"throat-{m.pk}", VoidIn, f"{here}/{m.pk}/strike", row=m) for m in measures},
        count=firings.nozzle_uses(session, nozzle.pk),
        firings=inventory.firings_of(session, nozzle),
    )


NOZZLES = Noun(
    "nozzles",
    "nozzle",
    Nozzle,
    NozzleIn,
    inventory.save_nozzle,
    inventory.nozzles,
    list_page=_nozzle_list,
    page=_nozzle_page,
    like=("material",),
)

add_pages(router, PATTERNS)
add_pages(router, TUBES)
add_pages(router, RODS)
add_pages(router, CASES)
add_pages(router, NOZZLES)


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
