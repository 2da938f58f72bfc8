"""What a motor not yet cast would do: its page, and what such a motor can be made of."""

from urllib.parse import urlencode

from fastapi import Request
from fastapi.responses import Response
from sqlmodel import Session

from app import web
from app.forms import Choice, Form, from_texts, of_model
from app.models import Nozzle, Workshop
from app.models.flight import FlightIn
from app.models.motor import DesignIn
from app.page import Page
from app.routers.flight import flights
from app.routers.flight.flights import FlightPart
from app.routers.motors import prediction_part
from app.routers.motors.prediction_part import Expected
from app.routing import late_router
from app.services.book import workshop
from app.services.firings import like_motors
from app.services.flight import grain_count_study
from app.services.flight.flights import Estimate
from app.services.flight.grain_count_study import OfCount
from app.services.hardware import inventory, places
from app.services.learning.prediction_record import PredictionRecord
from app.services.motors import designs, motor_setup
from app.services.stock import formulas
from app.units import UnitSystem, editable, show
from app.web import Book

router = late_router("/motors")


class DesignPage(
    Page, template="motors/design.html", section="motors", tabs=[(2, "/motors/design", "What would it do?")]
):
    """A motor as designed, what it would do by itself and in a rocket, and with other numbers of grains."""

    form: Form
    predicted: PredictionRecord | None
    expected: Expected | None
    flight: FlightPart | None
    others: list[tuple[OfCount, str]]
    """The design with each number of grains that fits, and the query of its address."""
    kept: list[tuple[str, str]]
    """What the address says of a flight."""


@router.get("/design")
def design(request: Request, session: Book) -> Response:
    """What grains of a pattern would do in a case: the answers stand in the address, so it can be kept."""
    house = workshop.get(session)
    choices = design_choices(session, house.units)
    asked = of_model(DesignIn, request.query_params.multi_items())
    predicted, status = None, 200
    form = from_texts(DesignIn, asked, "design", "/motors/design", choices)
    if asked:
        predicted = web.answered(form, house.units, lambda data: designs.predict(session, data))
        status = 200 if predicted else 422
    else:
        form.values = {name: [text] for name, text in design_start(session, house, choices).items()}
    flight = flights.part(request, session, predicted) if predicted else None
    page = DesignPage(
        form=form,
        predicted=predicted,
        expected=_expected(session, form, predicted) if predicted else None,
        flight=flight,
        others=_others(request, session, form, flight.estimate) if flight else [],
        kept=of_model(FlightIn, request.query_params.multi_items()),
    )
    return web.render(request, session, page, status)


def _expected(session: Session, form: Form, predicted: PredictionRecord) -> Expected:
    house = workshop.get(session)
    data = form.check(house.units)
    assert isinstance(data, DesignIn), "it was worked out"
    fired = like_motors.fired(session, like_motors.kind_of_design(data, predicted))
    return prediction_part.expected(session, predicted, house, fired)


def _others(request: Request, session: Session, form: Form, estimate: Estimate | None) -> list[tuple[OfCount, str]]:
    """The design with other numbers of grains, and the query of the address of each."""
    data = form.check(workshop.get(session).units)
    assert isinstance(data, DesignIn), "it was worked out"
    rest = [pair for pair in request.query_params.multi_items() if pair[0] != "count"]
    return [
        (one, urlencode([*rest, ("count", str(one.count))]))
        for one in grain_count_study.compare(session, data, estimate)
    ]


def design_choices(session: Session, units: UnitSystem) -> dict[str, list[Choice]]:
    """What a motor not yet cast can be made of."""
    return {
        "formula_id": web.choose(formulas.current(session), lambda f: f.label),
        "pattern_id": web.choose(inventory.patterns(session)),
        "case_id": web.choose(inventory.cases(session)),
        "nozzle_id": nozzle_choices(session, units),
    }


def design_start(session: Session, house: Workshop, choices: dict[str, list[Choice]]) -> dict[str, str]:
    """What stands in the form of a motor not yet cast: where there is one choice that, and the usual conditions."""
    only = {name: options[0][0] for name, options in choices.items() if len(options) == 1}
    share = editable(house.expected_density_share, "share")
    return {**only, **conditions(session, house), "count": "4", "density": share}


def conditions(session: Session, house: Workshop) -> dict[str, str]:
    """Where it will probably be fired and how warm it will be: the first field in the book, and 20 °C."""
    fields = places.fields(session)
    elevation = fields[0].elevation_m if fields else 0.0
    return {
        "field_elevation": editable(elevation, "altitude", house.units),
        "grain_temperature": editable(motor_setup.ROOM, "temperature", house.units),
    }


def nozzle_choices(session: Session, units: UnitSystem) -> list[Choice]:
    """The nozzles, each with its throat as last measured."""

    def label(nozzle: Nozzle) -> str:
        return f"{nozzle.name}: throat {show(inventory.throat_now(session, nozzle), 'length', units)}"

    return web.choose(inventory.nozzles(session), label)
