"""The review of lots."""

from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.forms import Form, from_texts
from app.routers.grains.weighing import density_chart
from app.services.book import workshop
from app.services.cast import air
from app.services.firings import findings
from app.services.grains import grains, lots, weighing
from app.services.hardware import inventory
from app.services.review import lots_review, trace
from app.services.review.lots_review import ReviewIn
from app.services.stock import batches
from app.web import Book, choose, render

router = APIRouter(prefix="/review")

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
    return render(
        request,
        session,
        "review/review.html",
        section="review",
        status=200 if wanted else 422,
        form=form,
        found=found,
        pages=_pages(form, asked, found),
        first=(found.page - 1) * lots_review.PAGE + 1,
        wanted=asked,
        links=_sort_links(form, asked),
        sorts=lots_review.SORTS,
        filtered=any(form.text(name) for name in FILTERS),
        query=urlencode([(name, form.text(name)) for name in (*FILTERS, "sort", "order") if form.text(name)]),
    )


@router.get("/{code}")
def one(request: Request, session: Book, code: str) -> Response:
    """One lot: where it came from, its grains, its motors and what came of them."""
    batch = batches.by_code(session, code)
    line, views = lots_review.line(session, batch), grains.of_batch(session, batch)
    found = lots.density_control(views)
    return render(
        request,
        session,
        "review/lot.html",
        section="review",
        batch=batch,
        line=line,
        views=views,
        origin=trace.of_batch(session, batch),
        checks=weighing.checks(session, line.formula, [(v.grain, v.pattern) for v in views]),
        balance=lots.balance(session, batch),
        evenness=lots.evenness(views),
        control=found,
        against=lots_review.against(session, batch),
        chart=density_chart(f"Density of the grains of {batch.code}", found),
        failures=findings.of_lot(session, batch.pk),
        told_air=air.words(batch),
    )
