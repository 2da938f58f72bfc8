"""Firings: a static test or a flight of a built motor, and what came of it."""

from dataclasses import replace
from datetime import datetime

from sqlmodel import Session, col, func, select

from app import clock
from app.errors import Asked, Faults, Refused
from app.models import AltimeterTrack, Curve, Firing, LaunchField, MotorBuild, Nozzle, NozzleMeasure, Rocket
from app.models.base import build as build_row
from app.models.base import change
from app.models.firing import MEASURED, RESULTS, FiringIn
from app.models.hardware import NozzleMeasureIn
from app.services.book import audit_reasons, moments, repository, workshop
from app.services.firings import firing_fits, heights
from app.services.flight import flights
from app.services.flight.flights import Estimate
from app.services.grains import undo
from app.services.grains.weighing import SLIPS
from app.services.hardware import inventory
from app.services.learning import prediction_record, stored_predictions
from app.services.learning.prediction_record import PredictionRecord, Range
from app.services.motors import builds
from app.services.motors.builds import Built
from app.units import exact, show

KINDS = {"static": "Static test", "flight": "Flight"}

NEEDS_WORDS = ("nozzle", "burst", "burn_through", "other")
"""Results that say little without words."""

BESIDE = ("measured_impulse", "measured_burn_time", "measured_peak_pressure", "altitude")
"""The columns of `beside`, in its order."""

SLIPPED = 0.4
"""How near to a tenth, a hundredth or ten times of a figure the predicted one makes a slip likely (our own choice)."""

FAR_ABOVE = 2.5
"""A figure so many times the predicted one is asked about: feet for metres are 3.3 times (our own choice)."""

Beside = tuple[str, float | None, Range | None, str]


# --- Reading -----------------------------------------------------------------------------------


def get(session: Session, firing_id: int) -> Firing:
    """The firing of that identity.

    Raises
    ------
    NotFound
        There is none.
    """
    return repository.get(session, Firing, firing_id, "firing")


def listed(session: Session, page: int = 1) -> repository.Page[tuple[Firing, Built]]:
    """A page of all firings, newest first, with their motors."""
    found = repository.page(session, select(Firing).order_by(col(Firing.fired_at).desc(), col(Firing.id).desc()), page)
    around = builds.of_builds(session, [firing.motor_build_id for firing in found.rows])
    return replace(found, rows=[(firing, around[firing.motor_build_id]) for firing in found.rows])


def its_motor(session: Session, firing: Firing) -> Built:
    """The motor of a firing with what stands around it."""
    return builds.around(session, repository.get(session, MotorBuild, firing.motor_build_id, "motor"))


def where(session: Session, firing: Firing) -> tuple[Rocket | None, LaunchField | None]:
    """The rocket and the field of a firing, where they are told."""
    rocket = session.get(Rocket, firing.rocket_id) if firing.rocket_id is not None else None
    return rocket, session.get(LaunchField, firing.launch_field_id) if firing.launch_field_id is not None else None


def fireable(session: Session) -> list[Built]:
    """The motors that can be fired: built, whole, with grains that were not burned."""
    return builds.ready(session)


def nozzle_uses(session: Session, nozzle_id: int) -> int:
    """How many firings a nozzle has been through; a motor that did not light does not count."""
    query = select(func.count(col(Firing.id))).join(MotorBuild, col(Firing.motor_build_id) == MotorBuild.id)
    return session.exec(query.where(MotorBuild.nozzle_id == nozzle_id, Firing.result != "no_light")).one()


def beside(firing: Firing, predicted: PredictionRecord | None, estimate: Estimate | None) -> list[Beside]:
    """Measured beside predicted, one row for each figure: what it is, measured, expected, its kind; in SI."""
    altitude = estimate.highest if estimate is not None else None
    figures: list[Beside] = [
        ("Total impulse", firing.measured_impulse_ns, predicted.total_impulse if predicted else None, "impulse"),
        ("Burn time", firing.measured_burn_time_s, predicted.burn_time if predicted else None, "time"),
        ("Peak pressure", firing.measured_peak_pressure_pa, predicted.peak_pressure if predicted else None, "pressure"),
    ]
    return figures + ([("Altitude", firing.altitude_m, altitude, "altitude")] if firing.kind == "flight" else [])


# --- Writing -----------------------------------------------------------------------------------


def log(session: Session, data: FiringIn) -> Firing:
    """Write down a firing: its motor's grains are used up and its nozzle counts a use, unless it did not light.

    Raises
    ------
    Refused
        The motor is gone, the moment cannot be right, or what is told does not go together; beside the field.
    """
    built = builds.around(session, _motor(session, data))
    if built.state == "taken apart":
        raise Refused(f"{built.build.code} was taken apart; it cannot be fired.", field="motor_build_id")
    if built.fired is not None:
        raise Refused(
            f"{built.build.code} was fired on {clock.day(built.fired.fired_at)}; a motor fires once.",
            field="motor_build_id",
        )
    data = _checked(session, data, built)
    firing = build_row(Firing, data)
    _likely(session, built, firing, data)
    session.add(firing)
    session.flush()
    _throat_found(session, firing, built, data)
    firing_fits.renew(session, firing)
    heights.renew(session, firing)
    return firing


def correct(session: Session, firing: Firing, data: FiringIn, version: int | None = None) -> Firing:
    """Correct what was written of a firing.

    Raises
    ------
    Conflict
        It was changed since the page was opened.
    Refused
        As for `log`; or another motor is named, or the grains are in the book as burned by another firing.
    """
    if data.motor_build_id != firing.motor_build_id:
        raise Refused("The motor of a firing stays; write another firing for another motor.", field="motor_build_id")
    built = builds.around(session, _motor(session, data))
    if data.result != "no_light":
        if built.state == "taken apart":
            raise Refused(
                f"{built.build.code} was taken apart after it did not light; its grains cannot have burned.",
                field="result",
            )
        if built.fired is not None and built.fired is not firing:
            raise Refused(
                f"{built.build.code} was burned in a later firing; this one did not light it.", field="result"
            )
    if data.result == "no_light" and session.exec(select(Curve.id).where(Curve.firing_id == firing.pk)).first():
        raise Refused(
            "A thrust curve was read of this firing, so it did light; choose what came of it.", field="result"
        )
    flew = data.kind == "flight" and data.result != "no_light"
    if not flew and session.exec(select(AltimeterTrack.id).where(AltimeterTrack.firing_id == firing.pk)).first():
        raise Refused(
            "An altimeter's file was read of this firing, so it flew.",
            field="kind" if data.kind != "flight" else "result",
        )
    data = _checked(session, data, built, firing.fired_at)
    wanted = build_row(Firing, data)
    told_anew = any(getattr(wanted, f"{name}_typed") != getattr(firing, f"{name}_typed") for name in BESIDE)
    if told_anew:
        _likely(session, built, wanted, data)
    repository.claim(firing, version)
    audit_reasons.ask_why(firing, data)
    before, typed = firing.throat_after_m, firing.throat_after_typed
    change(firing, data)
    session.flush()
    if firing.throat_after_m != before:
        undo.unsay_throat(session, firing, typed, str(getattr(data, "why", "")))
        _throat_found(session, firing, built, data)
    firing_fits.renew(session, firing)
    heights.renew(session, firing)
    return firing


def _motor(session: Session, data: FiringIn) -> MotorBuild:
    build = session.get(MotorBuild, data.motor_build_id)
    if build is None:
        raise Refused("Choose one of the motors that are ready to fire.", field="motor_build_id")
    return build


def _checked(session: Session, data: FiringIn, built: Built, stood: datetime | None = None) -> FiringIn:
    """What was typed, with its moment in UTC, once everything in it goes together."""
    faults = Faults()
    with faults.one():
        data = data.model_copy(update={"fired_at": _moment(data.fired_at, built, stood)})
    for name, table, noun in (("rocket_id", Rocket, "rockets"), ("launch_field_id", LaunchField, "fields")):
        chosen = getattr(data, name)
        if chosen is not None and session.get(table, chosen) is None:
            faults.add(name, f"Choose one of the {noun} of this book.")
    if data.kind == "flight" and data.rocket_id is None:
        faults.add("rocket_id", "A flight needs its rocket; choose which one flew.")
    if data.kind == "static" and data.rocket_id is not None:
        faults.add("rocket_id", "A static test has no rocket. Choose none here, or “Flight” as the kind.")
    if data.altitude is not None and data.kind != "flight":
        faults.add("altitude", "Only a flight reaches an altitude. Leave this empty, or choose “Flight”.")
    if data.result in NEEDS_WORDS and len(data.words) < 3:
        faults.add(
            "words",
            f"“{RESULTS[data.result]}”: write what was seen and what was found of case, closure, nozzle and grains. "
            "The next motor learns from it.",
        )
    if data.result == "no_light":
        for name in MEASURED:
            if getattr(data, name) is not None:
                faults.add(name, "It did not light, so there is nothing to measure here; leave it empty.")
    if data.throat_after is not None and data.throat_after.si > built.build.exit_d_m:
        faults.add("throat_after", "The throat would be wider than the nozzle's exit; measure it again.")
    faults.tell()
    return data


def _likely(session: Session, built: Built, firing: Firing, data: FiringIn) -> None:
    """Ask once about a figure that can hardly be: a slipped decimal sign, or another unit than was meant."""
    if all(getattr(firing, f"{name}_typed") is None for name in BESIDE):
        return
    row = stored_predictions.for_firing(session, firing) or built.prediction
    told = prediction_record.from_row(row) if row else None
    estimate = flights.estimate_of(session, told, firing)[0] if firing.altitude_m is not None else None
    units = workshop.get(session).units
    for name, (label, measured, expected, kind) in zip(BESIDE, beside(firing, told, estimate), strict=False):
        if measured is None or expected is None or not expected.mid > 0 or data.sure_of(name):
            continue
        share = measured / expected.mid
        slip = next((slip for slip in SLIPS if abs(share * slip - 1) <= SLIPPED), None)
        if slip is None and share <= FAR_ABOVE:
            continue
        meant = [exact(measured * slip, kind, units)] if slip else []
        guess = (*meant, getattr(firing, f"{name}_typed"))[0]
        raise Asked(
            f"Did you mean {guess}? {label} is predicted as about {show(expected.mid, kind, units)}. "
            "Look at the decimal sign and the unit.",
            name,
            meant,
        )


def _moment(typed: datetime, built: Built, stood: datetime | None) -> datetime:
    """The moment as UTC knows it; a time without zone is the bench's own."""
    moment = moments.of_wall(typed, "fired_at", stood)
    if moment > clock.now():
        raise Refused("This moment is still to come; a firing is written down afterwards.", field="fired_at")
    if clock.local(moment).date() < built.build.built_on:
        raise Refused(
            f"{built.build.code} was built on {clock.day(built.build.built_on)}, after this.", field="fired_at"
        )
    last = max(built.grains, key=lambda v: v.cured_at)
    if moment < last.cured_at:
        raise Refused(
            f"{last.grain.serial} was cured only on {clock.day_and_time(last.cured_at)}, after this.", field="fired_at"
        )
    return moment


def _throat_found(session: Session, firing: Firing, built: Built, data: FiringIn) -> NozzleMeasure | None:
    """The throat measured afterwards goes into the nozzle's history, on the day of the firing."""
    if data.throat_after is None:
        return None
    nozzle = repository.get(session, Nozzle, built.build.nozzle_id, "nozzle")
    measured = NozzleMeasureIn(
        measured_on=clock.local(firing.fired_at).date(),
        throat_d=data.throat_after,
        note=f"After firing {built.build.code}.",
    )
    return inventory.measure_nozzle(session, nozzle, measured)
