"""The review of lots."""

from urllib.parse import urlencode

from fastapi import Request
from fastapi.responses import Response
from markupsafe import Markup

from app.calc.grain.density_check import GrainCheck
from app.forms import Form, from_texts
from app.models import Batch
from app.page import Page
from app.routers.book.chain_part import chain_of
from app.routers.grains.weighing import density_chart
from app.routers.review.lot_pictures import Drawn, draw
from app.routing import late_router
from app.services.book import workshop
from app.services.cast import air
from app.services.firings import findings
from app.services.firings.findings import Fact
from app.services.grains import grains, lots, weighing
from app.services.grains.grains import GrainView
from app.services.grains.lots import Balance, Control, Evenness
from app.services.hardware import inventory
from app.services.review import flown_well, lot_rows, lot_standing, lots_review, trace
from app.services.review.flown_well import FlownWell
from app.services.review.lot_standing import Standing
from app.services.review.lots_review import Against, LotLine, ReviewIn
from app.services.review.trace import Origin
from app.services.stock import batches
from app.web import Book, choose, render

router = late_router("/review")


SHOWN = 20
"""Lots in the picture; the rest of the page is folded behind it."""


class LotsPage(Page, template="review/review.html", section="review", tabs=[(1, "/review", "Lots")]):
    """Which lots flew well: the answer, a picture of the lots, and the form that chooses and sorts them."""

    form: Form
    wanted: ReviewIn
    found: lots_review.Found
    flown: FlownWell
    drawn: Drawn
    shown: int
    least: int
    """Lots of each kind below which no line is looked for."""
    pages: list[tuple[str, str]]
    """Address and words of the page before and the one after."""
    first: int
    links: dict[str, tuple[str, str]]
    """For each column, the address that sorts by it, and its aria-sort."""
    filtered: bool
    query: str


class LotPage(Page, template="review/lot.html", section="review"):
    """One lot: where it came from, its grains, its motors and what came of them."""

    batch: Batch
    line: LotLine
    chain: Markup
    standing: Standing
    around: Drawn
    """The lot among its neighbours, the one cast last first."""
    around_it: int
    """Neighbours below which nothing is said of its density."""
    views: list[GrainView]
    origin: Origin
    checks: dict[int, GrainCheck]
    balance: Balance | None
    evenness: Evenness
    control: Control | None
    against: Against | None
    chart: Markup | None
    failures: list[Fact]
    told_air: str


FILTERS = ("formula", "pattern_id", "result", "since", "until")


def _sort_links(form: Form, wanted: ReviewIn) -> dict[str, tuple[str, str]]:
    """For each column: the address that sorts by it (the other way round if it does already) and its aria-sort."""
    kept = [(name, form.text(name)) for name in FILTERS if form.text(name)]
    links = {}
    for key in lots_review.SORTS:
        same = key == wanted.sort
        order = "up" if same and wanted.order == "down" else "down"
        state = {"up": "ascending", "down": "descending"}[wanted.order] if same else "none"
        links[key] = ("/review?" + urlencode([*kept, ("sort", key), ("order", order)]), state)
    return links


def _pages(form: Form, wanted: ReviewIn, found: lots_review.Found) -> list[tuple[str, str]]:
    """Address and words of the page before this one and the one after, where there are any."""
    kept = [(name, form.text(name)) for name in FILTERS if form.text(name)]
    kept += [("sort", wanted.sort), ("order", wanted.order)]
    newest_first = wanted.sort == "date" and wanted.order == "down"
    words = {-1: "Newer lots" if newest_first else "Lots before", 1: "Older lots" if newest_first else "Lots after"}
    return [
        ("/review?" + urlencode([*kept, ("page", str(found.page + step))]), words[step])
        for step in (-1, 1)
        if 1 <= found.page + step <= found.pages
    ]


@router.get("")
def show(request: Request, session: Book) -> Response:
    """Every lot, sorted and filtered by the address."""
    patterns = inventory.patterns(session) + inventory.patterns(session, True)
    form = from_texts(
        ReviewIn,
        request.query_params.multi_items(),
        "look",
        "/review",
        {
            "formula": [(name, name) for name in lots_review.formula_names(session)],
            "pattern_id": choose(patterns),
            "result": lots_review.RESULT_CHOICES,
        },
    )
    wanted = form.check(workshop.get(session).units)
    assert wanted is None or isinstance(wanted, ReviewIn)
    asked = wanted or ReviewIn()
    found = lots_review.lots(session, asked)
    flown = flown_well.flown(session, found)
    page = LotsPage(
        form=form,
        found=found,
        flown=flown,
        drawn=draw(
            lot_rows.rows(session, found.lines), flown, workshop.get(session).accept_share, asked.sort == "date"
        ),
        shown=SHOWN,
        least=flown_well.LEAST,
        pages=_pages(form, asked, found),
        first=(found.page - 1) * lots_review.PAGE + 1,
        wanted=asked,
        links=_sort_links(form, asked),
        filtered=any(form.text(name) for name in FILTERS),
        query=urlencode([(name, form.text(name)) for name in (*FILTERS, "sort", "order") if form.text(name)]),
    )
    return render(request, session, page, 200 if wanted else 422)


@router.get("/{code}")
def one(request: Request, session: Book, code: str) -> Response:
    """One lot: where it came from, its grains, its motors and what came of them."""
    batch = batches.by_code(session, code)
    views = grains.of_batch(session, batch)
    found = lots.density_control(views)
    standing = lot_standing.standing(session, batch)
    rows = lot_rows.rows(session, standing.lines)
    page = LotPage(
        batch=batch,
        line=standing.line,
        chain=chain_of(session, "batch", batch.pk),
        standing=standing,
        around=draw(rows, flown_well.said(()), workshop.get(session).accept_share, by_date=True),
        around_it=lot_standing.LEAST,
        views=views,
        origin=trace.of_batch(session, batch),
        checks=weighing.checks(session, standing.line.formula, [(v.grain, v.pattern) for v in views]),
        balance=lots.balance(session, batch),
        evenness=lots.evenness(views),
        control=found,
        against=lots_review.against(session, batch),
        chart=density_chart(f"Density of the grains of {batch.code}", found),
        failures=findings.of_lot(session, batch.pk),
        told_air=air.words(batch),
    )
    return render(request, session, page)
