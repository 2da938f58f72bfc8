"""Whether the stored ranges held."""

from fastapi import Request
from fastapi.responses import Response
from markupsafe import Markup

from app import clock, web
from app.charts import Axis, Rule
from app.models.firing import RESULTS
from app.page import Page
from app.routing import late_router
from app.scatters import Fired, Legend, Multiple, multiples
from app.services.review import coverage
from app.services.review.coverage import Coverage, Held, Record
from app.web import Book

router = late_router("/review")

IN_ROW = 200
"""Firings in a chart, the newest; the table counts all."""

FEW = 3
"""Measured values below which no chart is drawn."""


AS_PREDICTED = Rule("as predicted", 1.0, limit=False)


class CoveragePage(
    Page, template="learning/coverage.html", section="review", tabs=[(6, "/review/calibration", "Did the ranges hold?")]
):
    """How often measured figures fell into the ranges that were stored before their firings."""

    found: Coverage
    results: dict[str, str]
    in_row: int
    chart: Markup | None
    """All figures of which enough was measured, side by side."""


@router.get("/calibration")
def held(request: Request, session: Book) -> Response:
    """How often measured figures fell into the ranges that were stored before their firings."""
    found = coverage.coverage_of(session)
    page = CoveragePage(found=found, results=RESULTS, in_row=IN_ROW, chart=_charts(found))
    return web.render(request, session, page)


def _charts(found: Coverage) -> Markup | None:
    """Every figure measured over expected, in its range, in the order of firing: one chart each on common axes."""
    drawn = [record for record in found.judged if len(record.held) >= FEW]
    if not drawn:
        return None
    order = sorted({(one.fired_at, one.firing_id) for record in drawn for one in record.held})
    place = {firing: i for i, (_, firing) in enumerate(order, start=1)}
    return multiples(
        "Measured over predicted, each in the range stored before",
        Axis("Measured / predicted", decimals=2),
        Legend(
            "inside its range", "outside its range", "nine in ten, as stored", [Rule("as predicted", 1.0, limit=False)]
        ),
        [_chart(record, place) for record in drawn],
        shared=True,
    )


def _chart(record: Record, place: dict[int, int]) -> Multiple:
    held = record.held[-IN_ROW:]
    inside = sum(one.inside for one in held)
    ratios = [one.ratio for one in held]
    return Multiple(
        record.key,
        record.label,
        Axis("Firing in order", decimals=0),
        [
            Fired(
                _named(one),
                float(place[one.firing_id]),
                one.ratio,
                one.low / one.expected,
                one.high / one.expected,
                apart=not one.inside,
            )
            for one in held
        ],
        f"From {min(ratios):.2f} to {max(ratios):.2f} of what was predicted, the newest {ratios[-1]:.2f}.",
        f"{inside} of {len(held)} inside",
    )


def _named(one: Held) -> str:
    return f"{one.motor_code}, {clock.day(one.fired_at)}"
