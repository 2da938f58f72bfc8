"""A core off centre: what it does to a motor."""

from fastapi import Request
from fastapi.responses import Response
from markupsafe import Markup

from app import web
from app.charts import Axis, Panel, Series, line_chart
from app.forms import Form, from_texts, of_model
from app.models.core_offset import CoreOffsetIn
from app.page import Page
from app.routers.motors import designs
from app.routing import late_router
from app.services.book import workshop
from app.services.motors import core_offset
from app.services.motors.core_offset import Comparison
from app.units import UnitSystem, convert, unit_of
from app.web import Book

router = late_router("/motors")


class CoreOffsetPage(
    Page, template="motors/core_offset.html", section="motors", tabs=[(3, "/motors/coring", "A core off centre")]
):
    """A motor with some cores off the axis, beside the same with all of them on it."""

    form: Form
    found: Comparison | None
    chart: Markup | None


@router.get("/coring")
def page(request: Request, session: Book) -> Response:
    """A motor with its cores on the axis beside the same with some off it: the answers stand in the address."""
    house = workshop.get(session)
    choices = designs.design_choices(session, house.units)
    asked = of_model(CoreOffsetIn, request.query_params.multi_items())
    form = from_texts(CoreOffsetIn, asked, "coring", "/motors/coring", choices)
    found = None
    if {"offset_fore", "offset_aft"} & dict(asked).keys():
        found = web.answered(form, house.units, lambda data: core_offset.compare(session, data))
    status = 422 if form.errors else 200
    if found is None and not form.errors:
        start = {**designs.design_start(session, house, choices), "faulty": "1"}
        form.values = {name: [text] for name, text in start.items()} | form.values
    page = CoreOffsetPage(form=form, found=found, chart=_chart(found, house.units) if found else None)
    return web.render(request, session, page, status)


def _chart(found: Comparison, units: UnitSystem) -> Markup:
    """Pressure of both motors, and how much of the wall lies bare, over one time."""
    end = found.gone_at * 1.1
    curves = []
    for name, run in (("Cores on the axis", found.intended), ("As cast", found.cast)):
        shown = run.time <= end
        curves.append(Series(name, run.time[shown], [convert(p, "pressure", units) for p in run.pressure[shown]]))
    shown = found.time <= end
    bare = [Series("Wall laid bare", found.time[shown], (100 * found.share[shown]).tolist())]
    return line_chart(
        "Chamber pressure, and wall laid bare beside a grain so cast",
        Axis("Time from ignition", "s"),
        Panel(Axis("Pressure", unit_of("pressure", units), from_zero=True), curves),
        Panel(Axis("Wall laid bare", "%", from_zero=True), bare),
    )
