"""Two motors or firings on the same axes, from any list: what is expected with its range, and what was measured."""

from collections.abc import Sequence
from dataclasses import replace

from fastapi import Request
from fastapi.responses import Response
from markupsafe import Markup
from sqlmodel import Session

from app import web
from app.calc.base.notes import Note
from app.charts import Axis, Band, Panel, Series, line_chart
from app.errors import NotFound, Refused
from app.forms import Choice
from app.page import Page
from app.routing import late_router
from app.services.book import workshop
from app.services.firings import compare, curves
from app.services.firings.compare import Figure, Side
from app.units import UnitSystem, convert_each, unit_of
from app.web import Book

router = late_router()

TALL = 150.0
"""Height of a panel, so that the figures begin in the first screen."""


class ComparePage(Page, template="firings/compare.html", section="firings"):
    """Two motors or firings beside each other, or the choice of them."""

    sides: list[Side]
    figures: list[Figure]
    chart: Markup | None
    choices: list[Choice]
    chosen: list[str]
    fault: Note | str


@router.get("/compare")
def page(request: Request, session: Book) -> Response:
    """Two of what the address names: `a` and `b`, or two of a list ticked as `pick`."""
    keys = [key for name, key in request.query_params.multi_items() if name in ("a", "b", "pick") and key]
    fault: Note | str = compare.picked(keys) if len(keys) > 1 else ""
    sides: list[Side] = []
    if len(keys) > 1 and not fault:
        try:
            sides = [compare.side(session, key) for key in dict.fromkeys(keys)]
        except (NotFound, Refused) as error:
            fault = error.message
    return _shown(request, session, sides, keys, fault)


def _shown(request: Request, session: Session, sides: list[Side], keys: Sequence[str], fault: Note | str) -> Response:
    page = ComparePage(
        sides=sides,
        figures=compare.figures(*sides) if sides else [],
        chart=_chart(sides, workshop.get(session).units) if sides else None,
        choices=compare.offered(session),
        chosen=[one.key for one in sides] or list(keys)[:2],
        fault=fault,
    )
    return web.render(request, session, page, 422 if fault else 200)


def _chart(sides: Sequence[Side], units: UnitSystem) -> Markup | None:
    """Thrust and pressure of both over one time, each expected one with its range."""
    panels: list[Panel] = []
    for kind, label in (("force", "Thrust"), ("pressure", "Pressure")):
        series: list[Series] = []
        bands: list[Band] = []
        for one in sides:
            line, band = _line(one, kind, units)
            bands += [replace(found, of=len(series)) for found in band]
            series += line
        if series:
            axis = Axis(label, unit_of(kind, units), from_zero=True)
            panels.append(Panel(axis, series, also=bands, legend=not panels, height=TALL))
    if not panels:
        return None
    return line_chart("Both on the same axes", Axis("Time from ignition", "s"), *panels)


def _line(one: Side, kind: str, units: UnitSystem) -> tuple[list[Series], list[Band]]:
    """The curve of one side, and the range of what is expected."""
    if one.predicted is not None:
        told = one.predicted.curve
        mid, low, high = (
            (told.thrust_n, told.thrust_low_n, told.thrust_high_n)
            if kind == "force"
            else (told.pressure_pa, told.pressure_low_pa, told.pressure_high_pa)
        )
        ends = (convert_each(low, kind, units), convert_each(high, kind, units))
        band = [Band(f"{one.name}, nine in ten", told.band_time_s, *ends)] if low else []
        return [Series(one.name, told.time_s, convert_each(mid, kind, units))], band
    if one.measured is None:
        return [], []
    found = one.measured
    time, values = (found.time_s, found.thrust_n) if kind == "force" else (found.pressure_time_s, found.pressure_pa)
    if not time:
        return [], []
    moved = curves.shift(found, None)
    shown = convert_each([max(value, 0.0) for value in values], kind, units)
    return [Series(one.name, [t + moved for t in time], shown)], []
