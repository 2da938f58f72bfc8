"""What each firing says of burn rate and efficiencies: fitted once, kept with what it was made from.

A fit is made when a curve is kept or a firing is written down or corrected. Its key names everything it stands on:
the curve, the firing, the motor and its grains by their versions, the workshop's heat of burning, and the calculation
by its own source. When one of them changes, the fit no longer counts until `catch_up` has made it again; pages never
fit.
"""

import json
import time
from dataclasses import replace
from math import hypot, log

import numpy as np
from sqlmodel import Session, col, select

from app import logbook
from app.calc.base.atmosphere import atmosphere
from app.calc.base.constants import Floats
from app.calc.base.errors import CalcError
from app.calc.base.notes import Note, joined
from app.calc.fit.partial_pooling import STAND
from app.calc.fit.pressure_fit import GAUGE, fit_law, fit_pressure, reading_errors
from app.calc.fit.thrust_fit import fit_figures, fit_nozzle, respond
from app.calc.motor.assembly import Motor
from app.calc.motor.spread import Spread
from app.calc.record import plain_text
from app.errors import FileLost, Refused
from app.models import Curve, CurveFile, Firing, FiringFit, MotorBuild
from app.models.curve import ReadIn
from app.services.book import repository, stored_files, workshop
from app.services.firings import doubts, reading
from app.services.firings.certainty import Certainty
from app.services.firings.reading import Samples
from app.services.learning.fit_records import (
    BY_CELL,
    BY_HAND,
    FIGURES,
    NO_FIT,
    TIME_BY_CELL,
    TIME_BY_HAND,
    FitRecord,
    LawSeen,
    Row,
    height_in,
    keys,
    waiting,
)
from app.services.motors import builds, prediction
from app.troubles import trouble_of

PEAK = 0.05
"""Standard uncertainty of a peak pressure that is a single number [-]: an assumption."""

BELIEVABLE = log(2.5)
"""A factor beyond two and a half either way is a wrong unit, gauge or motor, and is not learned from [ln]."""

_PARTIAL = "Its record does not hold the whole burn, or the cell stood at its end. Nothing is learned from it."

START_SECONDS = 2.0
"""Time spent on fits that wait, at most, as a book is opened [s]."""


# --- Making --------------------------------------------------------------------------------------


def renew(session: Session, firing: Firing, samples: Samples | None = None) -> FiringFit | None:
    """Make the fit of a firing from what is in the book now; nothing where nothing was measured.

    `samples` are those of its newest curve where they are at hand; else the file is read again.
    """
    session.flush()
    key = keys(session, firing.pk).get(firing.pk)
    row = session.exec(select(FiringFit).where(FiringFit.firing_id == firing.pk)).first()
    height = height_in(row.fit_json) if row is not None else None
    if key is None:
        if row is not None and height is None:
            session.delete(row)
        elif row is not None:
            row.key, row.fit_json = NO_FIT, FitRecord(height=height).model_dump_json()
            row.version += 1
        session.flush()
        return None
    record = _fitted(session, firing, samples)
    made = record.model_copy(update={"height": height}).model_dump_json()
    if record.fault:
        key = f"failed; {key}"  # is no day's key, so it waits
    if row is None:
        row = FiringFit(firing_id=firing.pk, key=key, fit_json=made)
        session.add(row)
    else:
        row.key, row.fit_json = key, made
        row.version += 1
    session.flush()
    return row


def catch_up(session: Session, seconds: float = START_SECONDS) -> int:
    """Make fits that wait, newest firings first, until time is up; how many still wait."""
    until = time.monotonic() + seconds
    left = waiting(session)
    while left and time.monotonic() < until:
        renew(session, repository.get(session, Firing, left.pop(0).firing_id, "firing"))
    return len(left)


def _fitted(session: Session, firing: Firing, samples: Samples | None) -> FitRecord:
    """What a firing says; that it says nothing is told apart from a fault of the program, which keeps nobody's save."""
    try:
        return _read_out(session, firing, samples)
    except CalcError as error:
        return FitRecord(remarks=[_nothing(error.field.replace("_", " "), error.fault)])
    except Refused as error:
        return FitRecord(remarks=[_nothing(error.message)])
    except Exception as error:
        if trouble_of(error) is not None:  # the disk or the file: nothing is saved, and the page says why
            raise
        logbook.fault("fitting a firing", error)
        return FitRecord(fault=type(error).__name__)


def _nothing(*why: Note | str) -> Note:
    return joined("Nothing could be learned from it:", *why)


def _read_out(session: Session, firing: Firing, samples: Samples | None) -> FitRecord:
    motor = _motor(session, firing)
    curve = session.exec(select(Curve).where(Curve.firing_id == firing.pk).order_by(col(Curve.id).desc())).first()
    if curve is not None and (sure := _sure(curve)) is not None and not sure.whole:
        return FitRecord(remarks=[_PARTIAL])
    if curve is not None and curve.peak_pressure_pa is not None:
        try:
            samples = samples or _samples(session, firing, curve)
        except FileLost:
            again = _believed(_from_figures(motor, firing, curve))
            again.remarks.insert(
                0, "The file of its curve is missing or was altered, so its figures count, until it is fitted again."
            )
            return again
        if samples.pressure is not None:
            try:
                return _believed(_from_pressure(motor, samples, _sure(curve)))
            except CalcError as error:
                again = _believed(_from_figures(motor, firing, curve))
                said = joined("Its pressure could not be fitted (", error.fault, "); its figures count.", between="")
                again.remarks.insert(0, said)
                return again
    return _believed(_from_figures(motor, firing, curve))


def _motor(session: Session, firing: Firing) -> Motor:
    """The motor as it was fired, at the book's defaults: nothing learned, its own throat before and after."""
    build = repository.get(session, MotorBuild, firing.motor_build_id, "motor")
    motor, _ = prediction.motor_of(session, builds.setup_of(session, builds.around(session, build)), taught=None)
    if firing.throat_after_m is None:
        return motor
    grown = max(firing.throat_after_m - build.throat_d_m, -0.1 * build.throat_d_m)
    return replace(motor, throat_growth=min(grown, motor.exit_d - motor.throat_d))


def _samples(session: Session, firing: Firing, curve: Curve) -> Samples:
    """Every sample of a curve, read from the file again as it was read then."""
    data = ReadIn.model_validate(
        {name: text for name, text in _nested(json.loads(curve.reading_json)).items() if text != ""},
        context={"units": workshop.get(session).units},
    )
    raw = stored_files.read(session, repository.get(session, CurveFile, curve.curve_file_id, "file"))
    found = reading.Result.model_validate_json(curve.result_json)
    build = repository.get(session, MotorBuild, firing.motor_build_id, "motor")
    air = atmosphere(build.field_elevation_m).pressure
    known = doubts.Motor(found.propellant_kg, build.throat_d_m, firing.throat_after_m, air)
    return reading.read_curve_and_samples(plain_text.plain_text(raw, data.sheet), data, known)[1]


def _nested(texts: dict[str, str]) -> dict[str, object]:
    """The texts of a reading with its known masses as a list again."""
    flat: dict[str, object] = {k: v for k, v in texts.items() if not k.startswith("points.")}
    count = len({k.split(".")[1] for k in texts if k.startswith("points.")})
    if count:
        flat["points"] = [
            {"mass": texts[f"points.{i}.mass"], "reading": texts[f"points.{i}.reading"]} for i in range(count)
        ]
    return flat


def _sure(curve: Curve) -> Certainty | None:
    """How sure the figures of a curve are; curves that were read before this was told have none."""
    return reading.Result.model_validate_json(curve.result_json).sure


def _from_pressure(motor: Motor, samples: Samples, sure: Certainty | None) -> FitRecord:
    """Rate, c* and nozzle each by itself, from pressure and thrust together."""
    assert samples.pressure is not None
    t, p = samples.time, samples.pressure
    own = sure.impulse_error if sure is not None else 0.0
    found = fit_pressure(motor, t, p)
    nozzle = fit_nozzle(motor, t, p, samples.thrust)
    known = reading_errors(motor, found.pressure)
    law = motor.propellant.law
    level = found.rate.value + log(float(law.rate(found.pressure)))
    made = [
        Row(what="burn rate", mixture=(1, 0, 0), value=level, error=hypot(found.rate.se, known[0])),
        Row(what="c* efficiency", mixture=(0, 1, 0), value=found.c_star.value, error=hypot(found.c_star.se, known[1])),
        Row(what="nozzle efficiency", mixture=(0, 0, 1), value=nozzle.value, error=hypot(nozzle.se, known[2], own)),
    ]
    remarks = []
    if found.correlation > 0.5 and found.deviation > 0.01 * float(p.max()):
        remarks.append(
            f"The fit misses part of the curve, by {100 * found.deviation / float(p.max()):.0f} % of its peak: "
            "its errors are wider for it."
        )
    return FitRecord(
        how="pressure",
        pressure_pa=found.pressure,
        rows=made,
        law=_law(motor, t, p, known[0]),
        deviation_pa=found.deviation,
        correlation=found.correlation,
        remarks=remarks,
    )


def _law(motor: Motor, t: Floats, p: Floats, known: float) -> LawSeen | None:
    try:
        own = fit_law(motor, t, p)
    except CalcError:
        return None
    along = own.log_rate.value
    covariance = own.covariance + np.diag([known**2 + (own.exponent.value * GAUGE) ** 2, 0.0])
    return LawSeen(
        log_rate=along, exponent=own.exponent.value, covariance=covariance.tolist(), low=own.low, high=own.high
    )


def _from_figures(motor: Motor, firing: Firing, curve: Curve | None) -> FitRecord:
    """Mixtures of the three, from impulse, burn time and peak pressure."""
    expected = respond(motor).figures[0]
    impulse, duration = firing.measured_impulse_ns, firing.measured_burn_time_s
    if curve is not None:
        impulse, duration = curve.total_impulse_ns, curve.burn_time_s
        sure = _sure(curve)
        own = (sure.impulse_error, sure.time_error) if sure is not None else (0.0, 0.0)
        errors = np.array((hypot(BY_CELL, own[0]), hypot(TIME_BY_CELL, own[1]), PEAK))
    else:
        errors = np.array((BY_HAND, TIME_BY_HAND, PEAK))
    measured = [np.nan if m is None else m for m in (impulse, duration, firing.measured_peak_pressure_pa)]
    for what, figure, guess in zip(FIGURES, measured, expected.tolist(), strict=True):
        if abs(log(figure / guess)) > BELIEVABLE:
            return FitRecord(
                remarks=[
                    f"Its {what} is {figure / guess:.2g} times what the book expects: look at the unit and the "
                    "motor. Nothing is learned from it."
                ]
            )
    usual = Spread()
    lines = fit_figures(
        motor, np.array([measured]), np.hypot(errors, STAND), np.array([usual.burn_rate, usual.c_star, usual.nozzle])
    )
    at = float(expected[2])
    defaults = np.log([float(motor.propellant.law.rate(at)), motor.c_star_efficiency, motor.nozzle_efficiency])
    made = [
        Row(what=what, mixture=(h[0], h[1], h[2]), value=float(value + h @ defaults), error=float(error))
        for what, h, value, error in zip(FIGURES, lines.mixture[0], lines.value[0], errors, strict=True)
        if np.isfinite(value)
    ]
    return FitRecord(pressure_pa=at, rows=made)


def _believed(record: FitRecord) -> FitRecord:
    """The record, or one that says why it cannot be believed."""
    for row in record.rows:
        if record.how == "pressure" and row.what != "burn rate" and abs(row.value) > BELIEVABLE:
            share = 100 * float(np.exp(row.value))
            return FitRecord(
                remarks=[
                    f"Its {row.what} would be {share:.0f} %: look at the units, the gauge and the throat. "
                    "Nothing is learned from it."
                ]
            )
    return record
