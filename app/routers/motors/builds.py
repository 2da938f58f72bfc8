"""Motors: the list, building one, its page, and taking it apart."""

from typing import Any

from fastapi import Request
from fastapi.responses import Response
from markupsafe import Markup
from sqlmodel import Session

from app import clock, web
from app.errors import Refused
from app.forms import Choice, Form, whole
from app.models import Case, Prediction
from app.models.base import FormIn
from app.models.motor import BuildIn, TakeApartIn
from app.page import Page
from app.routers.book.chain_part import chain_of
from app.routers.flight import flights
from app.routers.flight.flights import FlightPart
from app.routers.motors import designs, pictures, prediction_part
from app.routers.motors.prediction_part import Expected
from app.routing import late_router
from app.services.book import audit_log, repository, workshop
from app.services.book.audit_log import History
from app.services.cast import cautions
from app.services.firings import like_motors
from app.services.grains import grains, looks, reweighs
from app.services.grains.grains import GrainView
from app.services.grains.reweighs import Gain
from app.services.hardware import inventory
from app.services.learning import prediction_record
from app.services.learning.prediction_record import PredictionRecord
from app.services.motors import builds
from app.services.motors.builds import Built
from app.units import UnitSystem, editable, show
from app.web import Book, Forms, Texts, Typed

router = late_router("/motors")


class MotorsPage(Page, template="motors/list.html", section="motors", tabs=[(1, "/motors", "Built")]):
    """A page of all motors built."""

    built: list[Built]
    drawn: list[Markup]
    """Each of them cut along its axis, all at one scale."""
    found: repository.Page[Built]
    ready: list[Built]
    ready_grains: int
    """Cured grains that wait for the first motor."""


class BuildPage(Page, template="motors/new.html", section="motors", tabs=[(4, "/motors/new", "Build one")]):
    """The form to build a motor, with the grains of the shelf."""

    form: Form
    lots: list[tuple[GrainView, list[GrainView]]]
    waiting: list[GrainView]
    changed: dict[int, Gain]
    doubts: dict[int, str]
    """What a look found doubtful, by the grain's identity."""
    cautions: list[str]


class MotorPage(Page, template="motors/motor.html", section="motors"):
    """A motor with its prediction and what it would do in a rocket."""

    built: Built
    chain: Markup
    predicted: PredictionRecord | None
    expected: Expected | None
    flight: FlightPart | None
    earlier: list[Prediction]
    changed: dict[int, Gain]
    doubts: dict[int, str]
    """What a look found doubtful, by the grain's identity."""
    cautions: list[str]
    water: str
    law: str
    take_apart: Form
    again: Form
    history: History


@router.get("")
def listing(request: Request, session: Book, page: web.PageNumber = 1) -> Response:
    """All motors built, newest first."""
    found, gap_m = builds.listed(session, page), workshop.get(session).grain_gap_m
    shown = MotorsPage(
        built=found.rows,
        drawn=[pictures.in_list(built, gap_m) for built in found.rows],
        found=found,
        ready=builds.ready(session),
        ready_grains=0 if found.rows else len(grains.ready(session)),
    )
    return web.render(request, session, shown)


# --- Building ----------------------------------------------------------------------------------


@router.get("/new")
def new(request: Request, session: Book) -> Response:
    """The form to build a motor; the query may hold grains picked on the shelf, a case and a nozzle."""
    house = workshop.get(session)
    nozzles, cases = inventory.nozzles(session), inventory.cases(session)
    asked = request.query_params.get("nozzle_id", "")
    picked = next((n for n in nozzles if str(n.pk) == asked or len(nozzles) == 1), None)
    initial: dict[str, Any] = {**designs.conditions(session, house), "built_on": clock.today()}
    case = request.query_params.get("case_id", "")
    if fits := next((c for c in cases if str(c.pk) == case or len(cases) == 1), None):
        initial["case_id"] = fits.pk
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
    page = BuildPage(
        form=form,
        lots=lots,
        waiting=builds.not_ready(shelf),
        cautions=cautions.AT_THE_MOTOR,
        changed=reweighs.changed(view for _, views in lots for view in views),
        doubts=looks.doubts(session, [view.grain for _, views in lots for view in views]),
    )
    return web.render(request, session, page)


def _build_choices(session: Session, units: UnitSystem) -> dict[str, list[Choice]]:
    def room(case: Case) -> str:
        return f"{case.name}: {show(case.inner_d_m, 'length', units)} × {show(case.chamber_length_m, 'length', units)}"

    return {"case_id": web.choose(inventory.cases(session), room), "nozzle_id": designs.nozzle_choices(session, units)}


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
    house = workshop.get(session)
    predicted = prediction_record.from_row(built.prediction) if built.prediction else None
    base = f"/motors/{built.build.code}"
    fired = like_motors.fired(session, like_motors.kind_of_built(built), built.fired)
    page = MotorPage(
        built=built,
        chain=chain_of(session, "motor", built.build.pk),
        predicted=predicted,
        expected=prediction_part.expected(session, predicted, house, fired) if predicted else None,
        flight=flights.part(request, session, predicted) if predicted else None,
        earlier=[row for row in built.predictions if row is not built.prediction],
        history=audit_log.history_of(session, built.build),
        cautions=cautions.AT_THE_MOTOR,
        law=cautions.LAW,
        water=cautions.WATER,
        changed=reweighs.changed(built.grains),
        doubts=looks.doubts(session, [view.grain for view in built.grains]),
        take_apart=forms.get("take-apart", TakeApartIn, f"{base}/take-apart", row=built.build),
        again=forms.get("predict", FormIn, f"{base}/predict"),
    )
    return web.render(request, session, page)
