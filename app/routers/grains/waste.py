"""The page of what waits to be disposed of, and of what is held against the workshop's limit."""

from dataclasses import dataclass

from fastapi import Request
from fastapi.responses import Response
from sqlmodel import Session

from app import clock
from app.forms import Form
from app.models import Disposal
from app.models.batch import VoidIn
from app.models.disposal import DisposalIn
from app.page import Page
from app.routing import late_router
from app.services.book import repository
from app.services.cast import cautions
from app.services.grains import waste
from app.services.grains.waste import Held, Waiting
from app.web import Book, Forms, Typed, render, submit, version_of

router = late_router("/shelf/waste")


@dataclass(frozen=True)
class Gone:
    """A disposal with what went and the form to strike it out."""

    row: Disposal
    names: list[str]
    strike: Form


class WastePage(Page, template="grains/waste.html", section="shelf"):
    """What waits, how much is held, and what went."""

    held: Held
    waiting: list[Waiting]
    form: Form
    gone: list[Gone]
    cautions: list[str]


@router.get("")
def show(request: Request, session: Book) -> Response:
    """What waits to be disposed of."""
    return _page(request, session)


@router.post("")
def dispose(request: Request, typed: Typed) -> Response:
    """Write a disposal down."""

    def act(session: Session, data: DisposalIn) -> str:
        waste.dispose(session, data)
        return "/shelf/waste"

    return submit(
        request, typed, DisposalIn, act=act, page=lambda s, form: _page(request, s, form), notice="It is written down."
    )


@router.post("/{row_id}/strike")
def strike(request: Request, typed: Typed, row_id: int) -> Response:
    """Strike a disposal out."""

    def act(session: Session, data: VoidIn) -> str:
        waste.strike(session, repository.get(session, Disposal, row_id, "disposal"), data, version_of(typed))
        return "/shelf/waste"

    return submit(
        request,
        typed,
        VoidIn,
        act=act,
        page=lambda s, form: _page(request, s, form),
        form_id=f"strike-{row_id}",
        notice="It is struck out; what it named waits again.",
    )


def _page(request: Request, session: Session, failed: Form | None = None) -> Response:
    forms = Forms(request, session, failed)
    page = WastePage(
        held=waste.held(session),
        waiting=waste.waiting(session),
        form=forms.get("form", DisposalIn, "/shelf/waste", initial={"done_on": clock.today()}),
        gone=[
            Gone(
                row,
                waste.names(session, row),
                forms.get(f"strike-{row.pk}", VoidIn, f"/shelf/waste/{row.pk}/strike", row=row),
            )
            for row in waste.disposals(session)
        ],
        cautions=cautions.AT_THE_SCRAP,
    )
    return render(request, session, page)
