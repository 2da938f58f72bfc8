"""Firings: the list, writing one down, its page and its correction."""

from datetime import datetime
from typing import Any

from fastapi import Request
from fastapi.responses import Response
from markupsafe import Markup
from sqlmodel import Session

from app import clock, web
from app.calc.base.notes import Note
from app.forms import Choice, Form
from app.models import AltimeterFile, CurveFile, Firing, FiringLetIn, LaunchField, OwnDistance, Prediction, Rocket
from app.models.base import FormIn
from app.models.firing import FAILED, NOZZLES, RESULTS, SMOKE, WINDS, FiringIn
from app.models.history import correction_of
from app.page import Page
from app.routers.book.chain_part import chain_of
from app.routers.firings import altimeters, curves, firing_log
from app.routers.firings.altimeters import TrackShown
from app.routers.firings.curves import CurveShown
from app.routers.firings.firing_log import FiringLog
from app.routers.flight import flight_picture
from app.routers.flight.flights import charts as flight_charts
from app.routing import late_router
from app.services.book import audit_log, first_minute, last_entry, repository, workshop
from app.services.book.audit_log import History
from app.services.cast import cautions
from app.services.firings import findings, firings, heights, outcome
from app.services.firings.altimeters import ALTIMETER
from app.services.firings.curves import STAND, Line
from app.services.firings.heights import Height
from app.services.firings.outcome import Kept, Outcome
from app.services.flight import flight_answer, flights
from app.services.flight.flights import Estimate
from app.services.hardware import distances, places
from app.services.hardware.distances import DistanceRow, Distances
from app.services.learning import prediction_record, stored_predictions
from app.services.learning.learning_switch import LET_IN
from app.services.learning.prediction_record import PredictionRecord
from app.services.motors.builds import Built
from app.services.review import coverage, trace
from app.services.review.trace import FiringTrace
from app.web import Book, Typed

router = late_router("/firings")

LIKE = ("kind", "launch_field_id", "rocket_id", "igniter", "igniter_made")
"""In what a new firing begins like the last one: nothing that is measured or seen."""

NOT_NOTED: Choice = ("", "not noted")


class FiringsPage(Page, template="firings/list.html", section="firings"):
    """A page of all firings, each with the prediction that it is held against."""

    firings: list[tuple[Firing, Built]]
    found: repository.Page[tuple[Firing, Built]]
    told: dict[int, Prediction]
    ranges: dict[int, dict[str, tuple[float, float, float]]]
    """Expected value and both marks of each figure, as stored before each firing."""
    heights: dict[int, Height]
    kept: tuple[Kept, Kept]
    """How many of their impulses and heights fell where nine in ten were expected."""
    failed: int
    results: dict[str, str]
    kinds: dict[str, str]
    ready: list[Built]
    untold: list[Firing]


class FiringPage(Page, template="firings/firing.html", section="firings"):
    """A firing: measured beside predicted, what loggers wrote of it, its day, and the way back to each bag."""

    firing: Firing
    built: Built
    chain: Markup
    results: dict[str, str]
    kinds: dict[str, str]
    fresh: bool
    back: Form
    wet_let_in: FiringLetIn | None
    history: History

    # Measured beside predicted
    told: Prediction | None
    predicted: PredictionRecord | None
    made_after: Prediction | None
    outcome: Outcome
    chart: Markup | None
    """The expected pressure and thrust, where nothing was logged."""
    curve: CurveShown | None
    beside_curve: list[Line]
    """What its curve tells beyond the figures of the outcome."""
    unread: list[CurveFile]

    # The flight
    estimate: Estimate | None
    refusal: Note | str
    flight_charts: list[Markup]
    flight_judged: str
    """The estimate against ceiling, field and rail, in words; empty where there is none."""
    field_picture: Markup | None
    track: TrackShown | None
    track_unread: list[AltimeterFile]

    # The day and its log
    rocket: Rocket | None
    field: LaunchField | None
    winds: dict[str, str]
    smoke: dict[str, str]
    nozzles: dict[str, str]
    log: FiringLog
    trace: FiringTrace


class FiringFormPage(Page, template="firings/form.html", section="firings"):
    """The form of a firing, and how far people stay away."""

    form: Form
    firing: Firing | None
    asked: str
    """The motor that the address asked for and that is not there to be fired."""
    begun: str
    """What it has from the last firing, as a sentence."""
    ready: list[Built]
    rockets: list[Rocket]
    fields: list[LaunchField]
    cautions: list[str]
    law: str
    distances: list[tuple[Distances, list[DistanceRow]]]
    own_distances: list[OwnDistance]
    pointers: tuple[str, ...]


@router.get("")
def listing(request: Request, session: Book, page: web.PageNumber = 1) -> Response:
    """All firings, newest first."""
    found = firings.listed(session, page)
    shots = [firing for firing, _ in found.rows]
    ranges = coverage.ranges_of(session, [firing.pk for firing in shots])
    flown = heights.heights(session, {firing.pk: firing.altitude_m for firing in shots})
    shown = FiringsPage(
        firings=found.rows,
        found=found,
        results=RESULTS,
        kinds=firings.KINDS,
        ready=firings.fireable(session),
        untold=findings.untold(session),
        told=stored_predictions.for_firings(session, [firing.pk for firing in shots]),
        ranges=ranges,
        heights=flown,
        kept=outcome.kept(shots, ranges, flown.values()),
        failed=sum(firing.result in FAILED for firing in shots),
    )
    return web.render(request, session, shown)


@router.get("/new")
def new(request: Request, session: Book, motor: str = "") -> Response:
    """The form of a firing, for the motor named in the query if one is."""
    ready = firings.fireable(session)
    wanted = next((b for b in ready if b.build.code.upper() == motor.strip().upper()), None)
    if wanted is None and len(ready) == 1 and not motor:
        wanted = ready[0]
    last, begun = last_entry.of(session, Firing, FiringIn, LIKE, called=lambda row: f"of {clock.day(row.fired_at)}")
    initial: dict[str, Any] = {**last, "fired_at": _local(clock.now())}
    if wanted is not None:
        initial["motor_build_id"] = wanted.build.pk
    fields = places.fields(session)
    if len(fields) == 1:
        initial["launch_field_id"] = fields[0].pk
    form = web.blank(request, session, FiringIn, initial=initial, choices=_choices(session, ready))
    if wanted is not None and motor:
        form.values["motor_build_id"] = [str(wanted.build.pk)]
    asked = motor.strip() if motor and wanted is None else ""
    return _form_page(request, session, form, asked=asked, begun="" if form.draft_at else begun)


@router.post("/new")
def log(request: Request, session: Book, typed: Typed) -> Response:
    """Write a firing down; a failure goes on to what was found."""
    choices = _choices(session, firings.fireable(session))
    session.close()
    return web.submit(
        request,
        typed,
        FiringIn,
        act=lambda s, data: _then(s, firings.log(s, data)),
        page=lambda s, form: _form_page(request, s, form),
        notice="Written down.",
        choices=choices,
    )


@router.get("/{firing_id}")
def page(request: Request, session: Book, firing_id: int) -> Response:
    """One firing: measured beside predicted, and the way back to each bag."""
    return page_of(request, session, firing_id)


def page_of(request: Request, session: Session, firing_id: int, failed: Form | None = None) -> Response:
    """The page of a firing, with the form that failed."""
    firing = firings.get(session, firing_id)
    built = firings.its_motor(session, firing)
    told = stored_predictions.for_firing(session, firing)
    predicted = prediction_record.from_row(told) if told else None
    estimate, refusal = flights.estimate_of(session, predicted, firing)
    rocket, field = firings.where(session, firing)
    units = workshop.get(session).units
    track = altimeters.of_firing(session, firing, estimate)
    curve = curves.of_firing(session, firing, web.Forms(request, session))
    told_already = {label for label, *_ in firings.beside(firing, None, None)} if curve and curve.taken_over else set()
    page = FiringPage(
        firing=firing,
        built=built,
        chain=chain_of(session, "firing", firing.pk),
        predicted=predicted,
        told=told,
        made_after=stored_predictions.made_after(session, firing),
        results=RESULTS,
        kinds=firings.KINDS,
        rocket=rocket,
        field=field,
        estimate=estimate,
        refusal=refusal,
        outcome=outcome.of_firing(session, firing, built, predicted, estimate, curve.measured.row if curve else None),
        flight_charts=flight_charts(estimate, units, firing.altitude_m)[1 if track else 0 :] if estimate else [],
        flight_judged=flight_answer.judged(estimate, units) if estimate else "",
        field_picture=_field_picture(session, estimate, predicted, firing) if estimate and predicted else None,
        chart=curves.expected(predicted, units, firing.measured_peak_pressure_pa) if predicted and not curve else None,
        trace=trace.of_firing(session, firing.pk),
        unread=STAND.unread(session, firing),
        history=audit_log.history_of(session, firing),
        fresh=first_minute.fresh(firing),
        wet_let_in=LET_IN.now(session, firing.pk),
        back=web.Forms(request, session, failed).get("back", FormIn, f"/firings/{firing.pk}/back", row=firing),
        winds=WINDS,
        smoke=SMOKE,
        nozzles=NOZZLES,
        log=firing_log.of_firing(session, firing),
        track=track,
        track_unread=ALTIMETER.unread(session, firing),
        curve=curve,
        beside_curve=[line for line in curve.lines if line.label not in told_already] if curve else [],
    )
    return web.render(request, session, page)


def _field_picture(session: Session, estimate: Estimate, predicted: PredictionRecord, firing: Firing) -> Markup:
    """Where the flight was expected to come down and how high it went, seen from above and in profile."""
    least = distances.least(session, predicted.impulse_class)
    return flight_picture.of_estimate(estimate, workshop.get(session).units, least, firing.altitude_m)


@router.get("/{firing_id}/edit")
def edit(request: Request, session: Book, firing_id: int) -> Response:
    """The form to correct a firing."""
    firing = firings.get(session, firing_id)
    form = web.blank(
        request,
        session,
        correction_of(FiringIn),
        row=firing,
        initial={"fired_at": _local(firing.fired_at)},
        choices=_choices(session, [firings.its_motor(session, firing)], firing),
    )
    return _form_page(request, session, form, firing)


@router.post("/{firing_id}/edit")
def correct(request: Request, session: Book, firing_id: int, typed: Typed) -> Response:
    """Correct a firing."""
    firing = firings.get(session, firing_id)
    choices = _choices(session, [firings.its_motor(session, firing)], firing)
    session.close()

    def act(writing: Session, data: FiringIn) -> str:
        changed = firings.correct(writing, firings.get(writing, firing_id), data, web.version_of(typed))
        return _then(writing, changed)

    return web.submit(
        request,
        typed,
        correction_of(FiringIn),
        act=act,
        choices=choices,
        page=lambda s, form: _form_page(request, s, form, firings.get(s, firing_id)),
        notice="Corrected.",
    )


def _form_page(
    request: Request, session: Session, form: Form, firing: Firing | None = None, asked: str = "", begun: str = ""
) -> Response:
    page = FiringFormPage(
        form=form,
        firing=firing,
        asked=asked,
        begun=begun,
        ready=firings.fireable(session),
        distances=distances.printed(),
        fields=places.fields(session),
        rockets=places.rockets(session),
        cautions=cautions.AT_THE_MOTOR,
        law=cautions.LAW,
        pointers=distances.LEGAL_POINTERS,
        own_distances=distances.own(session),
    )
    return web.render(request, session, page)


def _then(session: Session, firing: Firing) -> str:
    """Where to go on after a firing was written down: a failure asks for what was found."""
    asked = findings.asked(firing) and not findings.accounts(session, firing)
    return f"/firings/{firing.pk}" + ("/found" if asked else "")


def _local(moment: datetime) -> str:
    return f"{clock.local(moment):%Y-%m-%dT%H:%M}"


def _choices(session: Session, built: list[Built], firing: Firing | None = None) -> dict[str, list[Choice]]:
    """The lists of the form; a firing being corrected keeps its rocket and field though they are retired since."""

    def motor(one: Built) -> str:
        predicted = f"expected to be a {one.prediction.designation}" if one.prediction else "no prediction"
        held = f" ({one.state_words.lower()})" if one.held else ""
        return f"Motor {one.build.code}{held}: {len(one.grains)} × {one.formula.label}, {one.case.name}; {predicted}"

    rockets, fields = places.rockets(session), places.fields(session)
    if firing is not None:
        rocket, field = firings.where(session, firing)
        rockets += [rocket] if rocket and rocket.retired else []
        fields += [field] if field and field.retired else []
    return {
        "motor_build_id": [(str(b.build.pk), motor(b)) for b in built],
        "kind": list(firings.KINDS.items()),
        "result": list(RESULTS.items()),
        "wind_from": [NOT_NOTED, *WINDS.items()],
        "smoke": [NOT_NOTED, *SMOKE.items()],
        "nozzle_seen": [NOT_NOTED, *NOZZLES.items()],
        "rocket_id": web.choose(rockets),
        "launch_field_id": web.choose(fields),
    }
