"""Measured curves: the logger's file kept as it came, read as a person says, and set beside the prediction."""

import json
from dataclasses import dataclass, replace
from math import floor, log10, pi

import numpy as np
from sqlmodel import Session

from app.calc.base.errors import CalcError
from app.calc.motor.impulse import BURN_SHARE, threshold_times
from app.calc.record import one_line
from app.calc.record.columns import READINGS, TIME_UNITS
from app.calc.record.runs import Progress
from app.errors import Asked
from app.models import Curve, CurveFile, Firing
from app.models.curve import ReadIn
from app.services.book import audit_reasons, repository, workshop
from app.services.firings import doubts, firing_fits, firings, large_files, questions, reading, stands
from app.services.firings.certainty import Ranged
from app.services.firings.doubts import UNIT_NAMES, Motor
from app.services.firings.logger_files import Counting, Logger
from app.services.firings.opened_files import Opened, as_texts, as_typed
from app.services.firings.questions import Looked
from app.services.firings.reading import Result
from app.services.learning import prediction_record, stored_predictions
from app.services.learning.prediction_record import PredictionRecord, Range
from app.services.motors.builds import Built
from app.services.stock import blends
from app.units import convert, parse, show


@dataclass(frozen=True)
class Measured(Counting[CurveFile, Curve, Result]):
    """The curve that counts with the prediction it stands beside."""

    predicted: PredictionRecord | None


PARTS = {
    "Impulse": ("Total impulse", "Specific impulse"),
    "Time": ("Burn time", "Action time"),
    "Thrust": ("Mean thrust", "Peak thrust"),
    "Pressure": ("Peak pressure", "Mean pressure", "c*", "Thrust coefficient"),
}
"""What the figures of a curve are of, in this order."""


@dataclass(frozen=True)
class Line:
    """A figure: what it is, how it is defined, measured and expected; `kind` is a unit kind, or '' for none."""

    label: str
    definition: str
    measured: float
    expected: Range | None
    kind: str
    decimals: int | None = None
    sure: Ranged | None = None

    @property
    def part(self) -> str:
        """What it is a figure of, of `PARTS`."""
        return next(part for part, labels in PARTS.items() if self.label in labels)


# --- Reading -------------------------------------------------------------------------------------


def _has_none(firing: Firing) -> str:
    return "This motor did not light, so there is no curve of it." if firing.result == "no_light" else ""


def begun(text: bytes) -> dict[str, str]:
    """How a text that was never read is to be read, as texts of the form; what the file does not say is left empty.

    Raises
    ------
    Refused
        It holds no table of numbers; beside the file.
    """
    layout, roles = reading.guess(text)
    texts = {
        "delimiter": layout.delimiter,
        "decimal": layout.decimal,
        "first_line": str(layout.first_line),
        "time_column": "" if roles.time is None else str(roles.time),
        "time_unit": roles.time_unit or "",
        "force_column": "" if roles.force is None else str(roles.force),
        "force_unit": roles.force_unit or "",
        "pressure_column": "" if roles.pressure is None else str(roles.pressure),
        "pressure_unit": roles.pressure_unit or "",
        "stand": "level",
    }
    took = one_line.recorded_for(text) if roles.time is None else None
    return {**texts, "lasted": f"{took.length * TIME_UNITS[took.unit]:g} s"} if took and took.unit else texts


def _guess(session: Session, text: bytes) -> dict[str, str]:
    return {**begun(text), "of_stand": next(iter(stands.names(session)), stands.FIRST_NAME)}


def _read(session: Session, firing: Firing, row: CurveFile, opened: Opened, data: ReadIn) -> Looked:
    """What a file gives, with every sample of its burn; a large one is read aside."""
    motor = its_motor(session, firing)

    def do(progress: Progress) -> Looked:
        return questions.look(opened.text(data.sheet), data, motor, progress)

    found: Looked = large_files.read(large_files.Asked(row.sha256, as_texts(data)), motor, opened, do)
    return found


STAND: Logger[CurveFile, Curve, Result] = Logger(
    file_table=CurveFile,
    reading_table=Curve,
    result=Result,
    limit=256 * 1024 * 1024,  # some ten million samples
    firing="firing",
    gives="A curve",
    has_none=_has_none,
    guess=_guess,
    read=_read,
    proposals=stands.proposals,
)
"""What logs the force on a stand, or the thrust and pressure of a motor that flies."""


def keep(session: Session, firing: Firing, row: CurveFile, data: ReadIn) -> Curve:
    """Read a file and keep what was read; what was read of this firing before stays, and counts no more.

    Raises
    ------
    Refused
        The motor did not light, the file cannot be read so, or it could mean two things; beside the field.
    FileLost
        The file is missing, or is not what it was.
    StillReading
        It is large, and was not read so yet.
    """
    STAND.allow(firing)
    opened = STAND.opened(session, row)
    looked = _read(session, firing, row, opened, data)
    questions.answer_first(opened.text(data.sheet), data, looked)
    found = looked.result
    assert found is not None, "what gives nothing has a question or a fault"
    _doubt(found, data, its_motor(session, firing))
    curve = Curve(
        firing_id=firing.pk,
        curve_file_id=row.pk,
        designation=found.designation,
        total_impulse_ns=found.total_impulse_ns,
        burn_time_s=found.burn_time_s,
        mean_thrust_n=found.mean_thrust_n,
        peak_thrust_n=found.peak_thrust_n,
        peak_pressure_pa=found.peak_pressure_pa,
        reading_json=as_typed(data),
        result_json=found.model_dump_json(),
    )
    session.add(curve)
    session.flush()
    stands.remember(session, curve, data, opened.text(data.sheet))
    firing_fits.renew(session, firing, looked.samples)
    return curve


def _doubt(found: Result, data: ReadIn, motor: Motor) -> None:
    """Ask about an impulse that can hardly be, once, before it is kept."""
    unit = data.force_unit or "N"
    doubt = doubts.about_impulse(found.total_impulse_ns, unit, motor)
    if doubt is None or data.sure_of("force_unit", "impulse"):
        return
    others = [] if unit in READINGS else [(one.unit, UNIT_NAMES[one.unit]) for one in doubt.others]
    keep = f"Keep it in {UNIT_NAMES[unit]}: it was so"
    raise Asked(doubt.words, "force_unit", others, keep=keep, about="impulse")


def _ideal_isp(session: Session, built: Built) -> float | None:
    """What the blend gives without any loss [s], where that can be worked out."""
    try:
        return blends.state(session, built.formula).ideal_isp
    except CalcError:
        return None


def its_motor(session: Session, firing: Firing) -> Motor:
    """What the book knows of the motor of a firing, to read its curve by."""
    built = firings.its_motor(session, firing)
    told = stored_predictions.for_firing(session, firing)
    inputs = prediction_record.from_row(told).inputs if told else None
    return Motor(
        propellant_kg=sum(view.grain.mass_kg for view in built.grains),
        throat_d_m=built.build.throat_d_m,
        throat_after_m=firing.throat_after_m,
        ambient_pa=inputs.ambient_pressure_pa if inputs else None,
        predicted_ns=told.total_impulse_ns if told else None,
        ideal_c_star=inputs.c_star_m_s if inputs else None,
        ideal_isp_s=_ideal_isp(session, built),
    )


def as_read(row: Curve) -> str:
    """What was chosen for a curve, in a few words: its columns with their units, and its stand."""
    texts: dict[str, str] = json.loads(row.reading_json)

    def column(name: str) -> str:
        unit = texts.get(f"{name}_unit", "")
        return f"column {texts.get(f'{name}_column', '–')}" + (f" in {unit}" if unit else "")

    time = f"time: {column('time')}" if texts.get("time_column") else "no times"
    parts = [time, f"force: {column('force')}" + (", turned" if texts.get("turned") else "")]
    parts += [f"pressure: {column('pressure')}"] if texts.get("pressure_column") else []
    parts += [f"stand “{texts['of_stand']}”"] if texts.get("of_stand") else []
    return ", ".join(parts)


def measured(session: Session, firing: Firing) -> Measured | None:
    """The curve that counts for a firing, if there is one."""
    counts = STAND.counting(session, firing)
    if counts is None:
        return None
    told = stored_predictions.for_firing(session, firing)
    return Measured(counts.row, counts.file, counts.result, prediction_record.from_row(told) if told else None)


# --- Beside the prediction -----------------------------------------------------------------------


def lines(found: Result, told: PredictionRecord | None) -> list[Line]:
    """The figures of a curve, each with its definition and what was expected of it."""

    def expected(name: str) -> Range | None:
        value = getattr(told, name) if told else None
        return value if isinstance(value, Range) else None

    sure = found.sure.ranges if found.sure else {}
    ranges = {
        "Total impulse": sure.get("total_impulse_ns"),
        "Burn time": sure.get("burn_time_s"),
        "Mean thrust": sure.get("mean_thrust_n"),
        "Peak thrust": sure.get("peak_thrust_n"),
    }
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
    told_sure = [replace(line, sure=ranges.get(line.label)) for line in table]
    return sorted(told_sure, key=lambda line: list(PARTS).index(line.part))


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
    newest = STAND.newest(session, firing)
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
