"""From a logger's text and the way a person says to read it, to thrust in newtons and the figures of the burn."""

from dataclasses import dataclass
from functools import partial

import numpy as np
from pydantic import BaseModel

from app.calc.base.constants import ATM, STANDARD_GRAVITY, Floats
from app.calc.base.errors import CalcError
from app.calc.base.notes import Amount, Note
from app.calc.motor.impulse import CLASS_LIMITS, designation
from app.calc.record import curve, load_cell, logger_text, reduction, spikes
from app.calc.record.columns import FORCE_UNITS, PRESSURE_UNITS, READINGS
from app.calc.record.logger_text import Layout
from app.calc.record.roles import Guess, guess_roles, heads_over
from app.calc.record.runs import Lines, Progress
from app.errors import Asked, Refused
from app.models.curve import ReadIn
from app.pens import thin
from app.services.firings import certainty, doubts, raw_burns, record_words, samples
from app.services.firings.certainty import Certainty, Open
from app.services.firings.doubts import UNIT_NAMES, Motor

DRAWN = 1000
"""Samples kept for drawing; the figures are made of all of them."""

NAMED = 200
"""Places passed over that are kept by name; more are counted."""

_FIELDS = {
    "calibration": "points",
    "zero": "zero_way",
    "period": "smooth",
    "thrust": "force_unit",
    "total_impulse": "force_unit",
    "burn_time": "time_unit",
    "mean_thrust": "force_unit",
}


class PassedOver(BaseModel):
    """Lines in a row that hold no sample, how the first begins and what is said of it."""

    first_line: int
    last_line: int
    begins: str
    fault: str


class Result(BaseModel):
    """What was read out of a file, SI; histories are thinned, for drawing only."""

    samples: int
    designation: str
    impulse_class: str
    total_impulse_ns: float
    burn_time_s: float
    action_time_s: float
    mean_thrust_n: float
    peak_thrust_n: float
    specific_impulse_s: float
    propellant_kg: float
    peak_pressure_pa: float | None = None
    mean_pressure_pa: float | None = None
    c_star_m_s: float | None = None
    thrust_coefficient: float | None = None
    start_s: float
    time_s: list[float]
    thrust_n: list[float]
    pressure_time_s: list[float] = []
    pressure_pa: list[float] = []
    record_time_s: list[float]
    record_force_n: list[float]
    holes_s: list[tuple[float, float]] = []
    records: list[str] = []
    passed_over: list[PassedOver] = []
    lines_passed_over: int = 0
    cut_from_s: float
    cut_to_s: float
    noise_n: float
    slope_n: float | None = None
    offset_n: float | None = None
    residual_n: float | None = None
    ringing_hz: float | None = None
    smoothed: bool = False
    strays: int = 0
    sure: Certainty | None = None
    asked: list[Open] = []
    cautions: list[Note | str] = []
    remarks: list[Note | str] = []


@dataclass(frozen=True)
class Samples:
    """Every sample of a burn: times [s], thrust [N] and, where there was a gauge, absolute pressure [Pa], each (N,)."""

    time: Floats
    thrust: Floats
    pressure: Floats | None


def guess(text: bytes) -> tuple[Layout, Guess]:
    """How a text is probably made up and what its columns probably are.

    Raises
    ------
    Refused
        It holds no table of numbers; beside the file.
    """
    try:
        layout = logger_text.guess_layout(text)
        found = guess_roles(logger_text.first_numbers(text, layout), *heads_over(text, layout))
        return layout, raw_burns.settled(text, layout, found)
    except CalcError as error:
        raise samples.refusal(error, _FIELDS) from None


def read_curve(text: bytes, data: ReadIn, motor: Motor) -> Result:
    """Read a text as a person says.

    Raises
    ------
    Refused
        It cannot be read so; beside the field, with the line at fault where there is one.
    """
    return read_curve_and_samples(text, data, motor)[0]


def read_curve_and_samples(
    text: bytes, data: ReadIn, motor: Motor, progress: Progress | None = None
) -> tuple[Result, Samples]:
    """Read a text as a person says: the result, and every sample of the burn that it was made of.

    `progress` is told how much of the text is read, and may stop it.

    Raises
    ------
    Refused
        As for `read_curve`.
    """
    try:
        return _read(text, data, motor, progress)
    except (CalcError, Refused) as error:
        refused = error if isinstance(error, Refused) else samples.refusal(error, _FIELDS)
        if refused.field in ("force_column", "force_unit") and not data.leave_out:
            _hidden(text, data, motor)
        raise refused from None


def _hidden(text: bytes, data: ReadIn, motor: Motor) -> None:
    """Refuse a record that holds a burn only without its stray samples, beside the field that leaves them out."""
    try:
        found, _ = _read(text, data.model_copy(update={"leave_out": True}), motor)
    except (CalcError, Refused):
        return
    if found.strays:
        raise Refused(
            f"{found.strays} stray samples hide the burn; without them it is {found.designation}. Look at the cell and "
            "its wires, and tick to leave them out.",
            field="leave_out",
        )


def _read(text: bytes, data: ReadIn, motor: Motor, progress: Progress | None = None) -> tuple[Result, Samples]:
    layout = Layout(data.delimiter, data.decimal, data.first_line, 0)
    read, gauge = _columns(text, layout, data, progress)
    time, reading, lines = read.time, read.columns[0], read.lines
    scale = _calibration(data)
    sign = -1.0 if data.turned else 1.0
    force = np.multiply(reading, sign * scale.slope, out=reading)  # in place: there may be ten million
    force += sign * scale.offset
    start, end = (moment.si if moment else None for moment in (data.start, data.end))
    begin, stop = reduction.between(time, start, end)
    _moves(lines, force, begin, stop)
    stray = spikes.find_spikes(force)
    as_it_came = force
    if data.leave_out:
        force = spikes.without_spikes(force, stray)
    chosen = certainty.choose(time, force, data, begin, stop)
    reduce = partial(
        reduction.reduce_record,
        time,
        force,
        start=start,
        end=end,
        lost_weight=load_cell.weight_change(data.stand, motor.propellant_kg),
        smooth=data.smooth,
        ambient=ATM if motor.ambient_pa is None else motor.ambient_pa,
        burn=chosen.burn,
        others=chosen.others,
    )
    burn = reduce(way=certainty.way(data), gauge=gauge)
    stray = certainty.real(burn, stray)
    holes = [burn.low + i for i in curve.gaps(time[burn.low : burn.high + 1])]
    record = np.union1d(thin(burn.zero.thrust, DRAWN), [i + side for i in holes for side in (-1, 0)]).astype(np.intp)
    asked = certainty.about_pulses(data, time, chosen) + certainty.about_zero(data, force, burn, record, reduce)
    found = _figures(burn, data, motor)
    sure = certainty.sure(as_it_came, burn, data, stray)
    cautions = [one.question for one in asked] + record_words.cautions(read, force, burn)
    cautions += certainty.rests(time, chosen)
    if not data.leave_out:
        cautions += certainty.strays(time, force, burn, stray, [lines.of(one.first) for one in stray])
    doubt = doubts.about_impulse(found.total_impulse, data.force_unit or "N", motor)
    cautions += record_words.ringing(burn) + ([doubt.words] if doubt else []) + doubts.about_c_star(found, motor)
    remarks = [*read.said, *record_words.remarks(data, burn, scale, motor.ambient_pa)]
    remarks += [*record_words.beside(data, time, chosen, len(stray)), sure.said]
    t, thrust, absolute, zero, tone = burn.time, burn.thrust, burn.pressure, burn.zero, burn.tone
    drawn = thin(thrust, DRAWN)
    pressed = thin(absolute, DRAWN) if absolute is not None else np.array([], dtype=np.intp)
    result = Result(
        samples=time.size,
        designation=designation(found.total_impulse, found.mean_thrust),
        impulse_class=found.impulse_class,
        total_impulse_ns=found.total_impulse,
        burn_time_s=found.burn_time,
        action_time_s=found.action_time,
        mean_thrust_n=found.mean_thrust,
        peak_thrust_n=found.peak_thrust,
        specific_impulse_s=found.specific_impulse or 0.0,
        propellant_kg=motor.propellant_kg,
        peak_pressure_pa=found.peak_pressure,
        mean_pressure_pa=found.mean_pressure,
        c_star_m_s=found.c_star,
        thrust_coefficient=found.thrust_coefficient,
        start_s=found.start,
        time_s=t[drawn].tolist(),
        thrust_n=thrust[drawn].tolist(),
        pressure_time_s=t[pressed].tolist(),
        pressure_pa=absolute[pressed].tolist() if absolute is not None else [],
        record_time_s=time[record].tolist(),
        record_force_n=zero.thrust[record].tolist(),
        holes_s=[(float(time[i - 1]), float(time[i])) for i in holes],
        records=list(read.records),
        passed_over=[
            PassedOver(first_line=one.first_line, last_line=one.last_line, begins=one.begins, fault=one.fault)
            for one in read.skipped[:NAMED]
        ],
        lines_passed_over=sum(one.count for one in read.skipped),
        cut_from_s=float(time[burn.low]),
        cut_to_s=float(time[burn.high]),
        noise_n=zero.noise,
        slope_n=scale.slope if data.points else None,
        offset_n=scale.offset if data.points else None,
        residual_n=scale.residual if len(data.points) > 2 else None,
        ringing_hz=tone.frequency if tone else None,
        smoothed=burn.smoothed,
        strays=len(stray),
        sure=sure,
        asked=asked,
        cautions=cautions,
        remarks=remarks,
    )
    return result, Samples(t, thrust, absolute)


# --- Columns and units ---------------------------------------------------------------------------


def _columns(
    text: bytes, layout: Layout, data: ReadIn, progress: Progress | None
) -> tuple[samples.Read, Floats | None]:
    """Time [s] and reading of the cell, and gauge pressure [Pa], of every sample."""
    if data.force_column is None:
        raise Refused("Which column is the force is not known. Choose one.", field="force_column")
    if data.pressure_column is not None and data.pressure_unit is None:
        raise Refused("The unit of pressure is not known. Choose one, or no column of pressure.", field="pressure_unit")
    columns = [c for c in (data.force_column, data.pressure_column) if c is not None]
    read = samples.sample_columns(
        text,
        layout,
        data,
        columns,
        field="force_column",
        called="Time, force and pressure",
        made="a curve",
        progress=progress,
    )
    gauge = read.columns[1] * PRESSURE_UNITS[data.pressure_unit or "Pa"] if len(read.columns) > 1 else None
    return read, gauge


def _calibration(data: ReadIn) -> load_cell.Calibration:
    """The line from reading to newtons: by its unit, by known masses, or by the force for one of the reading."""
    unit = data.force_unit
    if unit is None:
        raise Refused("The unit of force is not known. Choose one.", field="force_unit")
    if unit not in READINGS:
        for field, given in (("points", data.points), ("factor", data.factor)):
            if given:
                what = "Known masses go" if field == "points" else "A force for one of the reading goes"
                raise Refused(
                    f"{what} with raw counts or volts. Choose these as the unit, or empty the field.", field=field
                )
        return load_cell.Calibration(FORCE_UNITS[unit], 0.0, 0.0)
    if data.factor is not None:
        if data.points:
            raise Refused("Known masses, or the force for one of the reading: both at once cannot be.", field="factor")
        return load_cell.Calibration(data.factor.si, 0.0, 0.0)
    if not data.points:
        raise Refused(
            f"{UNIT_NAMES[unit].capitalize()} need two known masses at least, of which the empty cell is one, or the "
            "force for one of the reading.",
            field="points",
        )
    return load_cell.calibrate([p.reading for p in data.points], [p.mass.si * STANDARD_GRAVITY for p in data.points])


# --- What to say ---------------------------------------------------------------------------------


def _moves(lines: Lines, force: Floats, begin: int, stop: int) -> None:
    """Refuse a column that never moves, such as one of zeros, with its lines."""
    if not float(np.ptp(force[begin:stop])) > 0:
        raise Refused(
            f"Every reading from line {lines.of(begin)} to line {lines.of(stop - 1)} is the same: it stands still. "
            "Choose another column.",
            field="force_column",
        )


def _figures(burn: reduction.Reduced, data: ReadIn, motor: Motor) -> curve.Figures:
    area = curve.mean_throat_area(motor.throat_d_m, motor.throat_after_m)
    try:
        return curve.figures(burn.time, burn.thrust, motor.propellant_kg, burn.pressure, area)
    except CalcError as error:
        impulse = float(np.trapezoid(burn.thrust, burn.time))
        if error.field != "total_impulse" or not impulse > max(CLASS_LIMITS.values()):
            raise
        explained = doubts.others(impulse, data.force_unit or "N", motor)
        hint = f"Is it in {UNIT_NAMES[explained[0].unit]}?" if explained else "Check its unit."
        words = Note(
            f"This would be an impulse of {{impulse}}, class {doubts.letter(impulse)}. {hint}",
            {"impulse": Amount(impulse, "impulse")},
        )
        each = [(one.unit, UNIT_NAMES[one.unit]) for one in explained if data.force_unit not in READINGS]
        raise Asked(words, "force_unit", each, keep=None, about="beyond") from None
