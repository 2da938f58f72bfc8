"""Whether the stored ranges held."""

from collections.abc import Callable

from fastapi import Request
from fastapi.responses import Response
from markupsafe import Markup

from app import clock, web
from app.charts import Axis, Rule
from app.models.firing import RESULTS
from app.page import Page
from app.routing import late_router
from app.scatters import Cloud, scatter_chart
from app.services.review import coverage
from app.services.review.coverage import Coverage, Held, Record
from app.web import Book

router = late_router("/review")

IN_ROW = 200
"""Firings in a chart of places or ratios, the newest; the table counts all."""

FEW = 3
"""Measured values below which no chart is drawn."""


class CoveragePage(
    Page, template="learning/coverage.html", section="review", tabs=[(6, "/review/calibration", "Did the ranges hold?")]
):
    """How often measured figures fell into the ranges that were stored before their firings."""

    found: Coverage
    results: dict[str, str]
    in_row: int
    charts: dict[str, list[Markup]]
    """Of each figure, by its key, where enough was measured."""


@router.get("/calibration")
def held(request: Request, session: Book) -> Response:
    """How often measured figures fell into the ranges that were stored before their firings."""
    found = coverage.coverage_of(session)
    page = CoveragePage(
        found=found,
        results=RESULTS,
        in_row=IN_ROW,
        charts={r.key: charts(r) for r in found.records if len(r.held) >= FEW},
    )
    return web.render(request, session, page)


def charts(record: Record) -> list[Markup]:
    """Where measured values lay in their ranges, and measured over predicted, both in the order of firing."""
    across = Axis("Firing, oldest first", decimals=0)
    label = record.label.lower()
    first = max(0, len(record.held) - IN_ROW)
    numbered = list(enumerate(record.held, start=1))[first:]

    def clouds(value: Callable[[Held], float]) -> list[Cloud]:
        made = []
        for words, inside in (("inside its range", True), ("outside its range", False)):
            chosen = [(i, one) for i, one in numbered if one.inside is inside]
            made.append(
                Cloud(
                    words,
                    [_named(one) for _, one in chosen],
                    [float(i) for i, _ in chosen],
                    [value(one) for _, one in chosen],
                )
            )
        return made

    n, misses = len(numbered), sum(not one.inside for _, one in numbered)
    ratios = [one.ratio for _, one in numbered]
    return [
        scatter_chart(
            f"Where measured {label} lay in its range",
            across,
            Axis("Place in the range", decimals=2),
            clouds(lambda one: one.place),
            f"{n - misses} of {n} lie between 0 and 1, inside the range stored before.",
            [Rule("Low end", 0.0), Rule("High end", 1.0)],
        ),
        scatter_chart(
            f"Measured over predicted {label} in the order of firing",
            across,
            Axis("Measured / predicted", decimals=2),
            clouds(lambda one: one.ratio),
            f"From {min(ratios):.2f} to {max(ratios):.2f}, the newest {ratios[-1]:.2f}.",
            [Rule("As predicted", 1.0)],
        ),
    ]


def _named(one: Held) -> str:
    return f"{one.motor_code}, {clock.day(one.fired_at)}"
