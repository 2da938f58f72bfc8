"""The page where a melt's sheet of paper is entered afterwards, line by line in its order."""

from fastapi import Request
from fastapi.responses import Response
from sqlmodel import Session

from app.forms import Form
from app.models import Batch
from app.models.runsheet import PaperIn
from app.page import Page
from app.routing import late_router
from app.services.cast import casting, steps
from app.services.cast.steps import Now
from app.services.cast.weigh_outs import PartNow
from app.services.grains import from_paper
from app.services.stock import batches
from app.web import Book, Forms, Typed, render, submit

router = late_router()


class PaperPage(Page, template="grains/from_paper.html", section="cast"):
    """What was written on paper, to be entered."""

    batch: Batch
    form: Form
    open: bool
    bowls: list[PartNow]
    waiting: list[Now]
    unweighed: list[tuple[int, int, str]]


@router.get("/cast/{code}/paper")
def from_sheet(request: Request, session: Book, code: str) -> Response:
    """What was written on paper, to be entered."""
    return _paper(request, session, code)


@router.post("/cast/{code}/paper")
def enter_sheet(request: Request, typed: Typed, code: str) -> Response:
    """Enter what was written on paper."""

    def act(session: Session, data: PaperIn) -> str:
        from_paper.enter(session, batches.by_code(session, code), data)
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
    is_open = melt is not None and melt.evening.closed_at is None
    now = steps.of_melt(melt, batch, batches.weighed(session, batch)) if melt is not None and is_open else []
    bowls = from_paper.bowls(session, batch) if is_open else []
    marks = {f"bowls.{i}.bag": bowl.bags[0][0].mark for i, bowl in enumerate(bowls) if bowl.bags}
    initial = {"why": "From paper.", **marks}
    page = PaperPage(
        batch=batch,
        form=Forms(request, session, failed).get("form", PaperIn, f"/cast/{code}/paper", initial=initial),
        open=is_open,
        bowls=bowls,
        waiting=[one for one in now if not one.settled],
        unweighed=from_paper.unweighed(session, batch) if is_open else [],
    )
    return render(request, session, page)
