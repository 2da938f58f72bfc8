"""The flight part of a motor's page: its form, the estimate and its charts; and a person's own distances."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from fastapi import Request
from fastapi.responses import Response
from markupsafe import Markup
from sqlmodel import Session

from app import web
from app.charts import Axis, Band, Panel, Rule, Series, line_chart
from app.forms import Form, from_texts, of_model
from app.models import LaunchField, Rocket
from app.models.distance import DistancesIn
from app.models.firing import WINDS
from app.models.flight import FlightIn
from app.page import Page
from app.routers.flight import flight_picture
from app.routing import late_router
from app.services.book import workshop
from app.services.cast import cautions
from app.services.flight import flight_answer, flight_cautions, flights
from app.services.flight.flight_cautions import Caution
from app.services.flight.flights import Estimate
from app.services.hardware import distances, places
from app.services.hardware.distances import DistanceRow, Distances, Least
from app.services.learning.prediction_record import PredictionRecord
from app.units import UnitSystem, convert, convert_each, editable, show, unit_of
from app.web import Book, Forms, Typed

router = late_router()

LEANS = [("into", "into the wind"), ("with", "with the wind")]


@dataclass(frozen=True)
class FlightPart:
    """The flight part of a motor's page: the form, and what it comes to once it is asked."""

    form: Form
    estimate: Estimate | None
    rockets: list[Rocket]
    fields: list[LaunchField]
    cautions: list[Caution]
    least: Least | None
    headline: str
    judged: str
    """The estimate in a sentence and how it is judged; empty before it is asked for."""
    picture: Markup | None
    charts: list[Markup]
    kept: list[tuple[str, str]]
    """The other answers of the page's address."""
    pointers: tuple[str, ...]


class DistancesPage(
    Page,
    template="flight/distances.html",
    section="workshop",
    group="People and places",
    tabs=[(15, "/workshop/distances", "Distances")],
):
    """A person's own distances, to be edited, and the printed tables."""

    form: Form
    printed: list[tuple[Distances, list[DistanceRow]]]
    law: str
    pointers: tuple[str, ...]
    example: str


def part(request: Request, session: Session, predicted: PredictionRecord) -> FlightPart:
    """The flight part of a page: its form, answered from the address, and the estimate once there is one."""
    house = workshop.get(session)
    rockets, fields = places.rockets(session), places.fields(session)
    choices = {
        "rocket_id": web.choose(rockets),
        "launch_field_id": web.choose(fields),
        "leans": LEANS,
        "wind_from": list(WINDS.items()),
    }
    query = request.query_params.multi_items()
    asked = of_model(FlightIn, query)
    form = from_texts(FlightIn, asked, "flight", request.url.path, choices)
    estimate = None
    if asked:
        estimate = web.answered(form, house.units, lambda data: flights.estimate(session, predicted, data))
    else:
        form.values = {
            name: [choices[name][0][0]] for name in ("rocket_id", "launch_field_id") if len(choices[name]) == 1
        }
        form.values["leans"] = ["into"]
    least = distances.least(session, predicted.impulse_class) if estimate else None
    return FlightPart(
        form=form,
        estimate=estimate,
        rockets=rockets,
        fields=fields,
        cautions=flight_cautions.look_at(session, estimate) if estimate else [],
        least=least,
        headline=flight_answer.headline(estimate, house.units) if estimate else "",
        judged=flight_answer.judged(estimate, house.units) if estimate else "",
        picture=flight_picture.of_estimate(estimate, house.units, least) if estimate else None,
        charts=charts(estimate, house.units) if estimate else [],
        kept=[pair for pair in query if pair not in asked],
        pointers=distances.LEGAL_POINTERS,
    )


def charts(estimate: Estimate, units: UnitSystem, measured_m: float | None = None) -> list[Markup]:
    """Height over time with its range, and the path in the plane of the wind, in the workshop's units."""
    flight, ranged = estimate.flight, estimate.range

    def high(values: Any) -> list[float]:
        return convert_each((float(value) for value in values), "altitude", units)

    levels = [("Ceiling", estimate.field.ceiling_m, True), ("Measured", measured_m, False)]
    rules = [
        Rule(name, convert(level, "altitude", units), is_limit) for name, level, is_limit in levels if level is not None
    ]
    axis = Axis("Height above the field", unit_of("altitude", units), from_zero=True)
    band = Band("Middle 90 %", ranged.time, high(ranged.low), high(ranged.high))
    drawn = [
        line_chart(
            "Height over time",
            Axis("Time from ignition", "s"),
            Panel(axis, [Series("Expected", flight.time, high(flight.height))], band, rules),
        )
    ]
    if estimate.wind_m_s is None and not np.ptp(flight.distance):
        return drawn
    across = Axis("Distance with the wind", unit_of("altitude", units))
    path = Series("Expected", high(flight.distance), high(flight.height))
    return [*drawn, line_chart("Path in the plane of the wind", across, Panel(axis, [path], None, rules))]


# --- A person's own distances --------------------------------------------------------------------


@router.get("/workshop/distances")
def show_distances(request: Request, session: Book) -> Response:
    """The person's own figures, to be edited, and the printed tables."""
    return _distances(request, session)


@router.post("/workshop/distances")
def save_distances(request: Request, typed: Typed) -> Response:
    """Take the figures of the form for the person's own."""

    def act(session: Session, data: DistancesIn) -> str:
        distances.save(session, data, web.version_of(typed))
        return "/workshop/distances"

    return web.submit(
        request,
        typed,
        DistancesIn,
        act=act,
        page=lambda s, form: _distances(request, s, form),
        notice="Your figures are in the book and come before the printed ones.",
    )


def _distances(request: Request, session: Session, failed: Form | None = None) -> Response:
    units = workshop.get(session).units
    lines: dict[str, str] = {}
    for i, row in enumerate(distances.own(session)):
        lines |= {
            f"lines.{i}.impulse_class": row.impulse_class,
            f"lines.{i}.single": editable(row.single_m, "altitude", units),
            f"lines.{i}.complex": editable(row.complex_m, "altitude", units),
            f"lines.{i}.source": row.source,
            f"lines.{i}.dated": row.dated.isoformat(),
        }
    form = Forms(request, session, failed).get("form", DistancesIn, "/workshop/distances", initial=lines)
    if form.version is None:
        form.version = distances.version(session)
    page = DistancesPage(
        form=form,
        printed=distances.printed(),
        law=cautions.LAW,
        pointers=distances.LEGAL_POINTERS,
        example=show(60.96, "altitude", units),
    )
    return web.render(request, session, page)
