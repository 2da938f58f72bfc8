"""Pages of the bags bought."""

from dataclasses import dataclass
from typing import Any

from fastapi import Request
from fastapi.responses import Response
from markupsafe import Markup
from sqlmodel import Session

from app import clock
from app.forms import Form
from app.models import Batch, Supply, SupplyCorrection, WeighOut
from app.models.firing import RESULTS
from app.models.supply import CorrectionIn, SupplyIn
from app.page import Page
from app.routers.book.chain_part import chain_of
from app.routers.book.crud_pages import Listed, Noun, Shown, add_pages
from app.routing import late_router
from app.services.book import repository
from app.services.cast import cautions
from app.services.review import trace
from app.services.review.trace import SupplyTrace
from app.services.stock import supplies
from app.services.stock.supplies import Stock
from app.web import Book, Forms, Typed, submit

router = late_router()


class SuppliesPage(
    Page,
    template="stock/supplies.html",
    section="workshop",
    group="Stock",
    tabs=[(2, "/workshop/supplies", "Supplies")],
):
    """Every bag, with what is left of it, and of each ingredient."""

    listed: Listed[Supply]
    stock: list[Stock]
    totals: dict[str, float]
    cautions: list[str]


@dataclass(frozen=True)
class BagHistory:
    """What is left of a bag, what was weighed out of it, what it fed and how it was corrected."""

    stock: Stock
    draws: list[tuple[WeighOut, Batch]]
    traced: SupplyTrace
    corrections: list[SupplyCorrection]
    correction: Form


class SupplyPage(Page, template="stock/supply.html", section="workshop"):
    """A bag, and what became of it; a new one has no history."""

    shown: Shown[Supply]
    chain: Markup | None
    bag: BagHistory | None
    known: list[str]
    """The ingredients that the book knows."""
    results: dict[str, str]
    cautions: list[str]


def _list_page(session: Session, listed: Listed[Supply]) -> Page:
    return SuppliesPage(
        listed=listed, stock=supplies.stock(session), totals=supplies.on_shelf(session), cautions=cautions.AT_THE_BAGS
    )


def _page(session: Session, shown: Shown[Supply], forms: Forms) -> Page:
    return SupplyPage(
        shown=shown,
        chain=None if shown.row is None else chain_of(session, "bag", shown.row.pk),
        bag=None if shown.row is None else _history(session, shown.row, forms),
        known=supplies.ingredient_names(),
        results=RESULTS,
        cautions=cautions.AT_THE_BAGS,
    )


def _history(session: Session, bag: Supply, forms: Forms) -> BagHistory:
    return BagHistory(
        stock=supplies.stock_of(session, bag),
        draws=supplies.draws(session, bag),
        traced=trace.of_supply(session, bag),
        corrections=supplies.corrections(session, bag),
        correction=forms.get("correct", CorrectionIn, f"/workshop/supplies/{bag.pk}/corrections"),
    )


def _initial(bag: Supply | None) -> dict[str, Any]:
    return {"received_on": clock.today()} if bag is None else {"ingredient": supplies.ingredient_name(bag.ingredient)}


SUPPLIES = Noun(
    "supplies",
    "bag",
    Supply,
    SupplyIn,
    supplies.save,
    lambda *_: [],  # its list is one of stock
    list_page=_list_page,
    page=_page,
    initial=_initial,
    like=("ingredient",),
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
