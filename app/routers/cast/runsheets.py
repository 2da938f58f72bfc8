"""Pages of the run sheet of a cast: the sheet to print, and its entry afterwards."""

from fastapi import Request
from fastapi.responses import Response
from sqlmodel import Session

from app.forms import Form
from app.models import Batch, CastSession, CastStep, ChecklistItem, Formula
from app.models.runsheet import PaperIn
from app.page import Page
from app.routing import late_router
from app.services.book import workshop
from app.services.cast import casting, cautions, needs, paper, runsheets, steps, targets, weigh_outs
from app.services.cast.needs import Wanted
from app.services.cast.steps import Now
from app.services.cast.weigh_outs import PartNow
from app.services.stock import batches
from app.units import show
from app.web import Book, Forms, Typed, render, submit

router = late_router()
BLANK_READINGS = 12


class SheetPage(Page, template="cast/sheet.html", section="cast"):
    """Checklist and run sheet to print, with boxes and blanks."""

    batch: Batch
    formula: Formula
    cast: CastSession | None
    parts_now: list[PartNow]
    places: int
    law: str
    burns: str
    items: list[ChecklistItem]
    blank_readings: int
    bands: dict[int, list[str]]
    lines: list[tuple[CastStep, float | None, float | None]]
    grains: list[Wanted]


class PaperPage(Page, template="cast/paper.html", section="cast"):
    """What was written on paper, to be entered."""

    batch: Batch
    form: Form
    waiting: list[Now]


@router.get("/cast/{code}/sheet")
def show_paper(request: Request, session: Book, code: str) -> Response:
    """Checklist and run sheet to print, with boxes and blanks."""
    batch = batches.by_code(session, code)
    shop = workshop.get(session)
    parts = weigh_outs.of_batch(session, batch)
    listed = paper.steps_to_print(session, batch)
    bands = {
        step.position: [show(k, "temperature", shop.units).split(" ")[0] for k in (step.pan_low_k, step.pan_high_k)]
        for step in listed
    }
    page = SheetPage(
        batch=batch,
        formula=batches.formula_of(session, batch),
        cast=casting.find(session, batch),
        parts_now=parts,
        places=targets.places(shop),
        law=cautions.LAW,
        burns=cautions.BURNS,
        items=paper.checklist_to_print(session, batch),
        blank_readings=BLANK_READINGS,
        bands=bands,
        lines=[(step, steps.amount(step, batch), runsheets.usual_s(listed, step)) for step in listed],
        grains=needs.wanted(session, batch),
    )
    return render(request, session, page)


@router.get("/cast/{code}/paper")
def from_paper(request: Request, session: Book, code: str) -> Response:
    """What was written on paper, to be entered."""
    return _paper(request, session, code)


@router.post("/cast/{code}/paper")
def enter_paper(request: Request, typed: Typed, code: str) -> Response:
    """Enter what was written on paper."""

    def act(session: Session, data: PaperIn) -> str:
        paper.enter(session, batches.by_code(session, code), data)
        return f"/cast/{code}"

    return submit(
        request,
        typed,
        PaperIn,
        act=act,
        page=lambda s, form: _paper(request, s, code, form),
        notice="What was on the paper is in the book.",
    )


def _paper(request: Request, session: Session, code: str, failed: Form | None = None) -> Response:
    batch = batches.by_code(session, code)
    melt = casting.melt(session, batch)
    now = steps.of_melt(melt, batch, batches.weighed(session, batch)) if melt else []
    waiting = [n for n in now if not n.settled] if melt and melt.evening.closed_at is None else []
    form = Forms(request, session, failed).get("form", PaperIn, f"/cast/{code}/paper", initial={"why": "From paper."})
    return render(request, session, PaperPage(batch=batch, form=form, waiting=waiting))
