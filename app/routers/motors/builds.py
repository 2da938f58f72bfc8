"""Motors: the list, what one would do, building one, its page, and taking it apart."""

from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import Response
from markupsafe import Markup
from sqlmodel import Session

from app import clock, web
from app.charts import Axis, Band, Panel, Rule, Series, line_chart
from app.errors import Refused
from app.forms import Choice, Form, from_texts, of_model, whole
from app.models import Workshop
from app.models.base import FormIn
from app.models.flight import FlightIn
from app.models.motor import BuildIn, DesignIn, TakeApartIn
from app.routers.flight import flights
from app.services.book import audit_log, workshop
from app.services.cast import cautions
from app.services.flight import grain_count_study
from app.services.flight.flights import Estimate
from app.services.grains import grains, reweighs
from app.services.hardware import inventory, places
from app.services.learning import prediction_record, stored_predictions
from app.services.learning.prediction_record import PredictionRecord
from app.services.motors import builds, designs, prediction
from app.services.stock import formulas
from app.units import UnitSystem, convert, convert_each, editable, show, unit_of
from app.web import Book, Forms, Texts, Typed

router = APIRouter(prefix="/motors")

TABS = [
    ("/motors", "Built"),
    ("/motors/design", "What would it do?"),
    ("/motors/coring", "A core off centre"),
    ("/motors/new", "Build one"),
]


@router.get("")
def listing(request: Request, session: Book, page: web.PageNumber = 1) -> Response:
    """All motors built, newest first."""
    found = builds.listed(session, page)
    return web.render(
        request,
        session,
        "motors/list.html",
        section="motors",
        tabs=TABS,
        built=found.rows,
        found=found,
        ready_grains=0 if found.rows else len(grains.ready(session)),
    )


# --- What would it do ----------------------------------------------------------------------------


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
    return web.render(
        request,
        session,
        "motors/design.html",
        status=status,
        section="motors",
        tabs=TABS,
        form=form,
        predicted=predicted,
        chart=chart_of(predicted, house.units) if predicted else None,
        flight=flight,
        others=_others(request, session, form, flight["estimate"]) if flight else [],
        kept=of_model(FlightIn, request.query_params.multi_items()),
    )


def _others(
    request: Request, session: Session, form: Form, estimate: Estimate | None
) -> list[tuple[grain_count_study.OfCount, str]]:
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
        "nozzle_id": _nozzles(session, units),
    }


def design_start(session: Session, house: Workshop, choices: dict[str, list[Choice]]) -> dict[str, str]:
    """What stands in the form of a motor not yet cast: where there is one choice that, and the usual conditions."""
    only = {name: options[0][0] for name, options in choices.items() if len(options) == 1}
    share = editable(house.expected_density_share, "share")
    return {**only, **_conditions(session, house), "count": "4", "density": share}


def _conditions(session: Session, house: Workshop) -> dict[str, str]:
    """Where it will probably be fired and how warm it will be: the first field in the book, and 20 °C."""
    fields = places.fields(session)
    elevation = fields[0].elevation_m if fields else 0.0
    return {
        "field_elevation": editable(elevation, "altitude", house.units),
        "grain_temperature": editable(prediction.ROOM, "temperature", house.units),
    }


def _nozzles(session: Session, units: UnitSystem) -> list[Choice]:
    def label(nozzle: Any) -> str:
        return f"{nozzle.name}: throat {show(inventory.throat_now(session, nozzle), 'length', units)}"

    return web.choose(inventory.nozzles(session), label)


# --- Building ----------------------------------------------------------------------------------


@router.get("/new")
def new(request: Request, session: Book) -> Response:
    """The form to build a motor; the query may hold grains picked on the shelf and a nozzle."""
    house = workshop.get(session)
    nozzles, cases = inventory.nozzles(session), inventory.cases(session)
    asked = request.query_params.get("nozzle_id", "")
    picked = next((n for n in nozzles if str(n.pk) == asked or len(nozzles) == 1), None)
    initial: dict[str, Any] = {**_conditions(session, house), "built_on": clock.today()}
    if len(cases) == 1:
        initial["case_id"] = cases[0].pk
    if picked is not None:
        initial["nozzle_id"] = picked.pk
        initial["throat_d"] = editable(inventory.throat_now(session, picked), "length", house.units)
    form = web.blank(request, session, BuildIn, initial=initial, choices=_build_choices(session, house.units))
    grains = request.query_params.getlist("grain")
    if grains:
        form.values["grain_ids"] = grains
    if asked and picked is not None:
        form.values["throat_d"] = [str(initial["throat_d"])]
    return _new_page(request, session, form)


@router.post("/new")
def build(request: Request, session: Book, typed: Typed) -> Response:
    """Build a motor."""

    def act(writing: Session, data: BuildIn) -> str:
        _places_told(typed)
        return f"/motors/{builds.build(writing, data).code}"

    choices = _build_choices(session, workshop.get(session).units)
    session.close()
    return web.submit(
        request,
        _in_order(typed),
        BuildIn,
        act=act,
        page=lambda s, form: _new_page(request, s, form),
        notice="Built. The grains are off the shelf.",
        choices=choices,
    )


def _new_page(request: Request, session: Session, form: Form) -> Response:
    shelf = grains.on_shelf(session)
    lots = builds.ready_by_lot(shelf)
    return web.render(
        request,
        session,
        "motors/new.html",
        section="motors",
        tabs=TABS,
        form=form,
        lots=lots,
        waiting=builds.not_ready(shelf),
        cautions=cautions.AT_THE_MOTOR,
        changed=reweighs.changed(session, [view.grain.pk for _, views in lots for view in views]),
    )


def _build_choices(session: Session, units: UnitSystem) -> dict[str, list[Choice]]:
    def room(case: Any) -> str:
        return f"{case.name}: {show(case.inner_d_m, 'length', units)} × {show(case.chamber_length_m, 'length', units)}"

    return {"case_id": web.choose(inventory.cases(session), room), "nozzle_id": _nozzles(session, units)}


def _place_of(typed: Texts) -> dict[str, str]:
    return {name.removeprefix("place."): text.strip() for name, text in typed if name.startswith("place.")}


def _in_order(typed: Texts) -> Texts:
    """The ticked grains by the place typed beside them; those without a place come after, as listed."""
    place = _place_of(typed)

    def rank(pair: tuple[str, str]) -> int:
        return whole(place.get(pair[1], "")) or 10**9

    ticked = sorted((pair for pair in typed if pair[0] == "grain_ids"), key=rank)
    return [pair for pair in typed if pair[0] != "grain_ids"] + ticked


def _places_told(typed: Texts) -> None:
    """Refuse places that say no order, rather than guess one."""
    ticked = {text for name, text in typed if name == "grain_ids"}
    told = {grain: whole(text) for grain, text in _place_of(typed).items() if text}
    if any(not place for place in told.values()):
        raise Refused("A place is a whole number: 1 at the forward closure, then on to the nozzle.", field="grain_ids")
    if set(told) - ticked:
        raise Refused("A grain has a place but no tick. Tick it, or empty its place.", field="grain_ids")
    if len(set(told.values())) != len(told):
        raise Refused("Two grains have the same place; give each its own.", field="grain_ids")


# --- One motor ---------------------------------------------------------------------------------


@router.get("/{code}")
def page(request: Request, session: Book, code: str) -> Response:
    """One motor with its prediction."""
    return _motor_page(request, session, code)


@router.post("/{code}/take-apart")
def take_apart(request: Request, code: str, typed: Typed) -> Response:
    """Take a motor apart."""

    def act(session: Session, data: TakeApartIn) -> str:
        built = builds.by_code(session, code)
        builds.take_apart(session, built.build, data, web.version_of(typed))
        return f"/motors/{built.build.code}"

    return web.submit(
        request,
        typed,
        TakeApartIn,
        act=act,
        page=lambda s, form: _motor_page(request, s, code, form),
        form_id="take-apart",
        notice="Taken apart. The grains are back on the shelf.",
    )


@router.post("/{code}/predict")
def predict_again(request: Request, code: str, typed: Typed) -> Response:
    """Predict a motor again with the workshop's settings of today."""

    def act(session: Session, _data: FormIn) -> str:
        built = builds.by_code(session, code)
        builds.predict_again(session, built.build)
        return f"/motors/{built.build.code}"

    return web.submit(
        request,
        typed,
        FormIn,
        act=act,
        page=lambda s, form: _motor_page(request, s, code, form),
        form_id="predict",
        notice="Predicted again; the earlier prediction stays below.",
    )


def _motor_page(request: Request, session: Session, code: str, failed: Form | None = None) -> Response:
    built = builds.by_code(session, code)
    forms = Forms(request, session, failed)
    units = workshop.get(session).units
    predicted = prediction_record.from_row(built.prediction) if built.prediction else None
    base = f"/motors/{built.build.code}"
    return web.render(
        request,
        session,
        "motors/motor.html",
        section="motors",
        built=built,
        predicted=predicted,
        chart=chart_of(predicted, units) if predicted else None,
        flight=flights.part(request, session, predicted) if predicted else None,
        earlier=[row for row in builds.predictions(session, built.build) if row is not built.prediction],
        is_told=built.fired is not None and built.prediction is stored_predictions.for_firing(session, built.fired),
        history=audit_log.history_of(session, built.build),
        cautions=cautions.AT_THE_MOTOR,
        law=cautions.LAW,
        water=cautions.WATER,
        changed=reweighs.changed(session, [view.grain.pk for view in built.grains]),
        take_apart=forms.get("take-apart", TakeApartIn, f"{base}/take-apart", row=built.build),
        again=forms.get("predict", FormIn, f"{base}/predict"),
    )


# --- Charts ------------------------------------------------------------------------------------


def chart_of(predicted: PredictionRecord, units: UnitSystem, measured_peak_pa: float | None = None) -> Markup:
    """Pressure and thrust over one time, with their range and the case's limits, in the workshop's units."""
    curve, case = predicted.curve, predicted.inputs.case
    limits = [
        ("Rated", case.rated_pressure_pa, True),
        ("Proof test", case.proof_pressure_pa, True),
        ("Measured peak", measured_peak_pa, False),
    ]
    rules = [Rule(name, convert(at, "pressure", units), is_limit) for name, at, is_limit in limits if at is not None]
    pressure = _panel(
        "pressure", "Pressure", units, curve, (curve.pressure_pa, curve.pressure_low_pa, curve.pressure_high_pa), rules
    )
    thrust = _panel("force", "Thrust", units, curve, (curve.thrust_n, curve.thrust_low_n, curve.thrust_high_n), [])
    return line_chart("Chamber pressure and thrust", Axis("Time from ignition", "s"), pressure, thrust)


def _panel(
    kind: str,
    label: str,
    units: UnitSystem,
    curve: prediction_record.Curve,
    values: tuple[list[float], list[float], list[float]],
    rules: list[Rule],
) -> Panel:
    mid, low, high = (convert_each(column, kind, units) for column in values)
    band = Band("Middle 90 %", curve.band_time_s, low, high) if low else None
    axis = Axis(label, unit_of(kind, units), from_zero=True)
    return Panel(axis, [Series("Expected", curve.time_s, mid)], band, rules)
