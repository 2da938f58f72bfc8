"""Measured curves: the logger's file kept as it came, read as a person says, and set beside the prediction."""

import json
from dataclasses import dataclass
from math import floor, log10, pi

import numpy as np
from sqlmodel import Session, col, select

from app.calc.motor.impulse import BURN_SHARE, threshold_times
from app.calc.record import logger_text
from app.errors import Refused
from app.models import Curve, CurveFile, Firing
from app.models.base import FormIn
from app.models.curve import ReadIn
from app.services.book import audit_reasons, repository, workshop
from app.services.firings import firing_fits, firings, logger_files, reading
from app.services.firings.reading import Motor, Result
from app.services.learning import prediction_record, stored_predictions
from app.services.learning.prediction_record import PredictionRecord, Range
from app.services.motors.builds import Built
from app.units import Quantity, convert, parse, show

LIMIT = 256 * 1024 * 1024
"""Largest file taken [bytes]: some ten million samples."""


@dataclass(frozen=True)
class Measured:
    """A curve with its file, its result and the prediction it stands beside."""

    curve: Curve
    file: CurveFile
    result: Result
    predicted: PredictionRecord | None


@dataclass(frozen=True)
class Line:
    """A figure: what it is, how it is defined, measured and expected; `kind` is a unit kind, or '' for none."""

    label: str
    definition: str
    measured: float
    expected: Range | None
    kind: str
    decimals: int | None = None


# --- Finding -------------------------------------------------------------------------------------


def files(session: Session, firing: Firing) -> list[CurveFile]:
    """The files of a firing, newest first; their content is fetched only when it is read."""
    return logger_files.of_firing(session, CurveFile, firing)


def file(session: Session, firing: Firing, file_id: int) -> CurveFile:
    """One file of a firing.

    Raises
    ------
    NotFound
        The firing has no such file.
    """
    return logger_files.one(session, CurveFile, firing, file_id)


def readings(session: Session, firing: Firing) -> list[Curve]:
    """What was read out of a firing's files, newest first; the first one counts."""
    return list(session.exec(select(Curve).where(Curve.firing_id == firing.pk).order_by(col(Curve.id).desc())))


def measured(session: Session, firing: Firing) -> Measured | None:
    """The curve that counts for a firing, if there is one."""
    newest = next(iter(readings(session, firing)), None)
    if newest is None:
        return None
    told = stored_predictions.for_firing(session, firing)
    return Measured(
        newest,
        file(session, firing, newest.curve_file_id),
        Result.model_validate_json(newest.result_json),
        prediction_record.from_row(told) if told else None,
    )


def unread(session: Session, firing: Firing) -> list[CurveFile]:
    """Files that nothing was read out of yet."""
    read = {c.curve_file_id for c in readings(session, firing)}
    return [f for f in files(session, firing) if f.pk not in read]


# --- Taking in -----------------------------------------------------------------------------------


def take_in(session: Session, firing: Firing, name: str, raw: bytes) -> CurveFile:
    """Keep a logger's file as it came; the same file sent again is the one that is there.

    Raises
    ------
    Refused
        The motor did not light, the file is too large, or it is no text with numbers.
    """
    if firing.result == "no_light":
        raise Refused("This motor did not light, so there is no curve of it. Correct the firing first.", field="file")
    return logger_files.take_in(session, CurveFile, firing, name, raw, LIMIT)


def throw_away(session: Session, firing: Firing, file_id: int) -> None:
    """Take a file out of the book that nothing was read out of.

    Raises
    ------
    Refused
        A curve was read out of it.
    """
    row = file(session, firing, file_id)
    logger_files.throw_away(session, row, unread(session, firing), "A curve")


# --- Reading -------------------------------------------------------------------------------------


def texts_for(session: Session, firing: Firing, row: CurveFile) -> dict[str, str]:
    """What the reading form begins with: how the file was read last, or a guess."""
    last = next((c for c in readings(session, firing) if c.curve_file_id == row.pk), None)
    if last is not None:
        return dict(json.loads(last.reading_json))
    layout, roles = reading.guess(logger_text.plain_text(row.raw))
    texts = {
        "delimiter": layout.delimiter,
        "decimal": layout.decimal,
        "first_line": str(layout.first_line),
        "time_column": "" if roles.time is None else str(roles.time),
        "time_unit": roles.time_unit,
        "force_column": str(roles.force),
        "force_unit": roles.force_unit,
        "pressure_column": "" if roles.pressure is None else str(roles.pressure),
        "pressure_unit": roles.pressure_unit,
        "stand": "level",
    }
    before = next((c for c in _readings_before(session, firing)), None)
    if before is not None:  # the same stand and logger as last time, most likely
        kept = json.loads(before.reading_json)
        same = all(kept.get(k, "") == texts[k] for k in ("delimiter", "decimal", "force_column", "time_column"))
        if same:
            texts |= {k: v for k, v in kept.items() if k not in ("first_line", "start", "end")}
    return texts


def _readings_before(session: Session, firing: Firing) -> list[Curve]:
    query = select(Curve).where(Curve.firing_id != firing.pk).order_by(col(Curve.id).desc()).limit(1)
    return list(session.exec(query))


def look(session: Session, firing: Firing, row: CurveFile, data: ReadIn) -> Result:
    """What a file holds when it is read so; nothing is kept.

    Raises
    ------
    Refused
        It cannot be read so; beside the field.
    """
    return reading.read(logger_text.plain_text(row.raw), data, _motor(session, firing))


def keep(session: Session, firing: Firing, row: CurveFile, data: ReadIn) -> Curve:
    """Read a file and keep what was read; what was read of this firing before stays, and counts no more.

    Raises
    ------
    Refused
        It cannot be read so; beside the field.
    """
    if firing.result == "no_light":
        raise Refused("This motor did not light, so there is no curve of it. Correct the firing first.")
    found, samples = reading.read_whole(logger_text.plain_text(row.raw), data, _motor(session, firing))
    curve = Curve(
        firing_id=firing.pk,
        curve_file_id=row.pk,
        designation=found.designation,
        total_impulse_ns=found.total_impulse_ns,
        burn_time_s=found.burn_time_s,
        mean_thrust_n=found.mean_thrust_n,
        peak_thrust_n=found.peak_thrust_n,
        peak_pressure_pa=found.peak_pressure_pa,
        reading_json=json.dumps(as_typed(data)),
        result_json=found.model_dump_json(),
    )
    session.add(curve)
    firing_fits.renew(session, firing, samples)
    return curve


def as_typed(data: FormIn) -> dict[str, str]:
    """A reading as the texts of its form, to open the form again as it was filled in."""

    def text(value: object) -> str:
        if isinstance(value, Quantity):
            return value.typed
        if value is None or value is False:
            return ""
        return "on" if value is True else f"{value:.12g}" if isinstance(value, float) else str(value)

    texts = {name: text(getattr(data, name)) for name in type(data).model_fields if name != "points"}
    for i, point in enumerate(getattr(data, "points", [])):
        texts[f"points.{i}.mass"], texts[f"points.{i}.reading"] = text(point.mass), text(point.reading)
    return texts


def _motor(session: Session, firing: Firing) -> Motor:
    built = firings.its_motor(session, firing)
    told = stored_predictions.for_firing(session, firing)
    inputs = prediction_record.from_row(told).inputs if told else None
    return Motor(
        propellant_kg=_propellant(built),
        throat_d_m=built.build.throat_d_m,
        throat_after_m=firing.throat_after_m,
        ambient_pa=inputs.ambient_pressure_pa if inputs else None,
        predicted_ns=told.total_impulse_ns if told else None,
        ideal_c_star=inputs.c_star_m_s if inputs else None,
    )


def _propellant(built: Built) -> float:
    return sum(view.grain.mass_kg for view in built.grains)


# --- Beside the prediction -----------------------------------------------------------------------


def lines(found: Result, told: PredictionRecord | None) -> list[Line]:
    """The figures of a curve, each with its definition and what was expected of it."""

    def expected(name: str) -> Range | None:
        value = getattr(told, name) if told else None
        return value if isinstance(value, Range) else None

    table = [
        Line(
            "Total impulse",
            "from first above 5 % of the peak to the last measurable thrust",
            found.total_impulse_ns,
            expected("total_impulse"),
            "impulse",
        ),
        Line(
            "Burn time",
            "from first above 5 % of the peak until below it",
            found.burn_time_s,
            expected("burn_time"),
            "time",
        ),
        Line("Action time", "above 10 % of the peak", found.action_time_s, expected("action_time"), "time"),
        Line("Mean thrust", "impulse over burn time", found.mean_thrust_n, expected("mean_thrust"), "force"),
        Line("Peak thrust", "highest sample", found.peak_thrust_n, expected("peak_thrust"), "force"),
        Line(
            "Specific impulse",
            "impulse over the weight of the grains as weighed",
            found.specific_impulse_s,
            expected("specific_impulse"),
            "time",
            1,
        ),
    ]
    if found.peak_pressure_pa is not None:
        table.append(
            Line(
                "Peak pressure",
                "absolute, highest sample",
                found.peak_pressure_pa,
                expected("peak_pressure"),
                "pressure",
            )
        )
    if found.mean_pressure_pa is not None:
        table.append(
            Line(
                "Mean pressure",
                "absolute, over the burn time",
                found.mean_pressure_pa,
                expected("mean_pressure"),
                "pressure",
            )
        )
    if found.c_star_m_s is not None:
        wanted = told.inputs.c_star_m_s * told.inputs.c_star_efficiency if told else None
        table.append(
            Line(
                "c*",
                "throat area × ∫ pressure over the mass of the grains",
                found.c_star_m_s,
                Range(mid=wanted) if wanted else None,
                "gas_speed",
                0,
            )
        )
    if found.thrust_coefficient is not None:
        table.append(
            Line(
                "Thrust coefficient",
                "impulse over throat area × ∫ pressure",
                found.thrust_coefficient,
                _expected_coefficient(told),
                "",
                3,
            )
        )
    return table


def _expected_coefficient(told: PredictionRecord | None) -> Range | None:
    if told is None or len(told.curve.time_s) < 2:
        return None
    t, thrust, pressure = (np.asarray(v) for v in (told.curve.time_s, told.curve.thrust_n, told.curve.pressure_pa))
    area = pi / 4 * told.inputs.throat_d_m**2
    return Range(mid=float(np.trapezoid(thrust, t) / (area * np.trapezoid(pressure, t))))


def shift(found: Result, told: PredictionRecord | None) -> float:
    """What to add to a record's time so that both curves rise above 5 % of their peak at one moment [s]."""
    if told is None:
        return -found.start_s
    start, _ = threshold_times(told.curve.time_s, told.curve.thrust_n, BURN_SHARE)
    return float(start) - found.start_s


def taken_over(firing: Firing, curve: Curve) -> bool:
    """Whether a firing's measured figures are those of its curve already."""
    pairs = [(firing.measured_impulse_ns, curve.total_impulse_ns), (firing.measured_burn_time_s, curve.burn_time_s)] + (
        [(firing.measured_peak_pressure_pa, curve.peak_pressure_pa)] if curve.peak_pressure_pa else []
    )
    return all(a is not None and b is not None and abs(a / b - 1) < 1e-4 for a, b in pairs)


def take_over(session: Session, firing: Firing, version: int | None = None) -> Firing:
    """Make a curve's impulse, burn time and peak pressure the measured figures of its firing.

    Raises
    ------
    Conflict
        The firing was changed since the page was opened.
    Refused
        The firing has no curve.
    """
    newest = next(iter(readings(session, firing)), None)
    if newest is None:
        raise Refused("Nothing was read out of a file of this firing yet.")
    repository.claim(firing, version)
    audit_reasons.because(session, "Taken from its curve.")
    units = workshop.get(session).units
    for name, suffix, kind, value in (
        ("measured_impulse", "_ns", "impulse", newest.total_impulse_ns),
        ("measured_burn_time", "_s", "time", newest.burn_time_s),
        ("measured_peak_pressure", "_pa", "pressure", newest.peak_pressure_pa),
    ):
        if value is not None:
            typed = show(value, kind, units, max(0, 4 - floor(log10(convert(value, kind, units)))))
            setattr(firing, name + suffix, parse(typed, kind, units).si)  # what is shown is what is kept
            setattr(firing, name + "_typed", typed)
    firing_fits.renew(session, firing)
    return firing
