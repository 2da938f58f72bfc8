"""Pages of the bags bought."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app import clock
from app.models import Supply
from app.models.firing import RESULTS
from app.models.supply import CorrectionIn, SupplyIn
from app.routers.book.crud_pages import Noun, add_pages
from app.services.book import repository
from app.services.cast import cautions
from app.services.review import trace
from app.services.stock import supplies
from app.web import Book, Forms, Typed, submit

router = APIRouter()


def _page(session: Session, bag: Supply | None, forms: Forms) -> dict[str, Any]:
    more: dict[str, Any] = {"known": supplies.ingredient_names(), "cautions": cautions.AT_THE_BAGS}
    if bag is not None:
        more |= {
            "stock": supplies.stock_of(session, bag),
            "draws": supplies.draws(session, bag),
            "traced": trace.of_supply(session, bag),
            "results": RESULTS,
            "corrections": supplies.corrections(session, bag),
            "correction": forms.get("correct", CorrectionIn, f"/workshop/supplies/{bag.pk}/corrections"),
        }
    return more


def _initial(bag: Supply | None) -> dict[str, Any]:
    return {"received_on": clock.today()} if bag is None else {"ingredient": supplies.ingredient_name(bag.ingredient)}


SUPPLIES = Noun(
    "stock",
    "supplies",
    "bag",
    Supply,
    SupplyIn,
    supplies.save,
    lambda *_: [],
    page="stock/supply.html",
    initial=_initial,
    list_more=lambda session: {
        "stock": supplies.stock(session),
        "totals": supplies.on_shelf(session),
        "cautions": cautions.AT_THE_BAGS,
    },
    page_more=_page,
)

add_pages(router, SUPPLIES)


@router.post("/workshop/supplies/{row_id}/corrections")
def correct(request: Request, session: Book, row_id: int, typed: Typed) -> Response:
    """Write down what a bag really holds."""
    repository.get(session, Supply, row_id, "bag")

    def act(writing: Session, data: Any) -> str:
        supplies.correct(writing, repository.get(writing, Supply, row_id, "bag"), data)
        return f"/workshop/supplies/{row_id}"

    return submit(
        request,
        typed,
        CorrectionIn,
        act=act,
        form_id="correct",
        page=lambda s, form: SUPPLIES.show(request, s, row_id, form),
        notice="The bag is corrected.",
    )
