"""The sheets of an evening to print: the checklist on one, each melt on one of its own."""

from fastapi import Request
from fastapi.responses import Response

from app.models import Batch, ChecklistItem
from app.page import Page
from app.routing import late_router
from app.services.book import workshop
from app.services.cast import casting, cautions, paper, targets
from app.services.cast.paper import MeltSheet
from app.services.stock import batches
from app.web import Book, render

router = late_router()
BLANK_READINGS = 8


class SheetPage(Page, template="cast/sheet.html", section="cast"):
    """Checklist and run sheets to print, with boxes and blanks."""

    batch: Batch
    open: bool
    sheets: list[MeltSheet]
    places: int
    law: str
    burns: str
    items: list[ChecklistItem]
    blank_readings: int
    limit_k: float


@router.get("/cast/{code}/sheet")
def show_paper(request: Request, session: Book, code: str, alone: bool = False) -> Response:
    """Checklist and run sheets to print: of all melts of the evening, or of this one alone."""
    batch = batches.by_code(session, code)
    shop = workshop.get(session)
    evening = casting.find(session, batch)
    page = SheetPage(
        batch=batch,
        open=evening is not None and evening.closed_at is None,
        sheets=paper.sheets(session, batch, alone=alone),
        places=targets.places(shop),
        law=cautions.LAW,
        burns=cautions.BURNS,
        items=paper.checklist_to_print(session, batch),
        blank_readings=BLANK_READINGS,
        limit_k=shop.pan_limit_k,
    )
    return render(request, session, page)
