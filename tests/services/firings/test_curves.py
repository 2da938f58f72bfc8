"""Reading curves: what a text gives under each way to read it, what is doubted, and what is kept."""

import hashlib
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from sqlmodel import Session

from app import clock
from app.calc.base.constants import STANDARD_GRAVITY
from app.errors import Conflict, NotFound, Refused
from app.models import Curve, CurveFile, Firing
from app.models.curve import ReadIn
from app.services.book import stored_files
from app.services.firings import curves, doubts, firing_fits, firings, reading
from app.services.firings.doubts import Motor
from app.services.firings.reading import Result
from app.services.learning import prediction_record, stored_predictions
from app.services.learning.fit_records import FitRecord
from app.units import say
from tests import build

MOTOR = Motor(propellant_kg=0.6, throat_d_m=0.0127, throat_after_m=0.0129, ambient_pa=100_000.0, predicted_ns=700.0)
RATE = 1000
IMPULSE = 500 * 1.4 - 0.05**2 * 500 * 0.1 / 2
"""A trapezoid of 500 N: up in 0.1 s, 1.2 s flat, down in 0.3 s; less what comes before 5 % of its peak."""

Floats = NDArray[np.float64]


def record(seconds: float = 4.0, rate: int = RATE) -> tuple[Floats, Floats]:
    """Times and thrust; a small pattern on it, as no cell says the same twice."""
    t = np.arange(round(seconds * rate)) / rate
    force = np.interp(t, [0, 1, 1.1, 2.3, 2.6, 9], [0, 0, 500, 500, 0, 0])
    return t, force + 0.01 * ((np.arange(t.size) * 7) % 11 - 5)


def text(*columns: Floats, delimiter: str = ",") -> bytes:
    """Columns as a text without a head."""
    return "\n".join(delimiter.join(f"{v:.6f}" for v in row) for row in np.column_stack(columns)).encode()


def read_in(**more: object) -> ReadIn:
    """How such a text is read."""
    texts: dict[str, object] = {
        "delimiter": "comma",
        "decimal": ".",
        "first_line": 1,
        "time_column": 1,
        "time_unit": "s",
        "force_column": 2,
        "force_unit": "N",
        "pressure_unit": "MPa",
        "stand": "level",
    }
    return ReadIn.model_validate({**texts, **more})


def sure(**more: object) -> ReadIn:
    """The same by somebody who is sure of it: the motors of the book are smaller than these curves."""
    return read_in(**more).answering(None)


def read(*columns: Floats, motor: Motor = MOTOR, **more: object) -> Result:
    return reading.read_curve(text(*columns), read_in(**more), motor)


# --- The same burn, however it is written --------------------------------------------------------


@pytest.mark.parametrize(
    ("unit", "size"), [("N", 1.0), ("kN", 1000.0), ("kgf", 9.80665), ("gf", 0.00980665), ("lbf", 4.4482216152605)]
)
@pytest.mark.parametrize(("time_unit", "second"), [("s", 1.0), ("ms", 1e3), ("us", 1e6)])
def test_the_same_burn_in_any_unit(unit: str, size: float, time_unit: str, second: float) -> None:
    t, force = record()
    found = read(t * second + 77 * second, force / size, time_unit=time_unit, force_unit=unit)
    assert found.total_impulse_ns == pytest.approx(IMPULSE, rel=2e-4)
    assert found.burn_time_s == pytest.approx(1.58, rel=1e-3)
    assert found.action_time_s == pytest.approx(1.56, rel=1e-3)
    assert found.specific_impulse_s == pytest.approx(IMPULSE / (0.6 * STANDARD_GRAVITY), rel=2e-4)
    assert found.impulse_class == "J"
    assert found.cautions == []


def test_a_sample_rate_instead_of_times_and_a_turned_sign() -> None:
    _, force = record()
    found = read(-force, force_column=1, time_column=None, sample_rate=RATE, turned=True)
    assert found.total_impulse_ns == pytest.approx(IMPULSE, rel=2e-4)
    with pytest.raises(Refused, match="how many samples a second") as fault:
        read(force, force_column=1, time_column=None)
    assert fault.value.field == "sample_rate"
    with pytest.raises(Refused, match="Turn the sign") as fault:
        read(-force, force_column=1, time_column=None, sample_rate=RATE)
    assert fault.value.field == "force_column"


def test_calibration_by_masses() -> None:
    t, force = record()
    counts = 8000 + force / STANDARD_GRAVITY * 10_000
    points = [
        {"mass": "0 g", "reading": 8000},
        {"mass": "5 kg", "reading": 58_000},
        {"mass": "10 kg", "reading": 108_000},
    ]
    found = read(t, counts, force_unit="counts", points=points)
    assert found.total_impulse_ns == pytest.approx(IMPULSE, rel=2e-4)
    assert found.slope_n == pytest.approx(STANDARD_GRAVITY / 10_000)
    assert found.residual_n == pytest.approx(0.0, abs=1e-9)
    for bad, words in (
        (points[:1], "two known loads"),
        ([], "two known masses"),
        ([points[0], points[0]], "same reading"),
    ):
        with pytest.raises(Refused, match=words) as fault:
            read(t, counts, force_unit="counts", points=bad)
        assert fault.value.field == "points"
    with pytest.raises(Refused, match="go with raw counts"):
        read(t, counts, points=points)


def test_pressure_gives_c_star_and_the_thrust_coefficient() -> None:
    t, force = record()
    mean_area = np.pi / 12 * (0.0127**2 + 0.0127 * 0.0129 + 0.0129**2)
    gauge = force / (1.4 * mean_area)  # a thrust coefficient of 1.4 on gauge pressure
    found = read(t, force, gauge / 1e6 + 0.02, pressure_column=3)
    assert found.peak_pressure_pa == pytest.approx(500 / (1.4 * mean_area) + 1e5, rel=1e-3)
    absolute = IMPULSE / (1.4 * mean_area) + 1e5 * 1.597  # the air's pressure pushes on from 5 % to the end
    assert found.c_star_m_s == pytest.approx(mean_area * absolute / 0.6, rel=3e-3)
    assert found.thrust_coefficient == pytest.approx(IMPULSE / (mean_area * absolute), rel=3e-3)
    assert found.c_star_m_s is not None
    assert found.thrust_coefficient is not None
    identity = found.c_star_m_s * found.thrust_coefficient / STANDARD_GRAVITY
    assert identity == pytest.approx(found.specific_impulse_s)
    assert len(found.pressure_pa) == len(found.pressure_time_s) > 100


@pytest.mark.parametrize(("stand", "sign"), [("presses", -1.0), ("lifts", 1.0)])
def test_an_upright_stand(stand: str, sign: float) -> None:
    t, force = record()
    share = np.clip(np.cumsum(force) / force.sum(), 0, 1)
    reading_ = force + 50 + sign * 0.6 * STANDARD_GRAVITY * share
    assert read(t, reading_, stand=stand).total_impulse_ns == pytest.approx(IMPULSE, rel=1e-3)
    assert abs(read(t, reading_, keep_drift=True).total_impulse_ns / IMPULSE - 1) > 4e-3


def test_a_range_typed_picks_one_motor_of_several() -> None:
    t, force = record(12.0)
    second = np.interp(t, [0, 7, 7.1, 8.0, 8.1, 12], [0, 0, 300, 300, 0, 0])
    assert read(t, force + second).burn_time_s == pytest.approx(1.58, rel=1e-3)
    found = read(t, force + second, start="6.5 s", end="9 s")
    assert found.total_impulse_ns == pytest.approx(300 * 1.0, rel=1e-3)
    assert (found.cut_from_s, found.cut_to_s) == (6.5, 9.0)
    with pytest.raises(Refused, match="Fewer than ten") as fault:
        read(t, force, end="0.005 s")
    assert fault.value.field == "end"


def test_ringing_is_told_and_smoothed_without_loss_of_impulse() -> None:
    t, force = record()
    rung = force + 40 * np.sin(2 * np.pi * 80 * t) * (force > 25)
    plain, smooth = read(t, rung), read(t, rung, smooth=True)
    assert any("rings at 80 Hz" in say(line) for line in plain.cautions)
    assert smooth.cautions == []
    assert smooth.smoothed
    assert plain.peak_thrust_n > 535
    assert smooth.peak_thrust_n == pytest.approx(500, abs=3)
    assert smooth.total_impulse_ns == pytest.approx(plain.total_impulse_ns, rel=1e-3)
    assert any("No ringing" in say(line) for line in read(t, force, smooth=True).remarks)


# --- What is wrong with it -----------------------------------------------------------------------


def test_a_cell_at_its_end_is_told_with_its_lines() -> None:
    t, force = record()
    found = read(t, np.minimum(force + 3 * np.sin(3 * t), 450.0))
    (line,) = found.cautions
    assert "from line 10" in say(line)
    assert "at least what is shown" in say(line)


def test_a_gap_is_told_with_its_line() -> None:
    t, force = record()
    kept = (t < 1.5) | (t > 1.62)
    (line,) = read(t[kept], force[kept]).cautions
    assert "Samples are missing before line 1501" in say(line)


def test_a_record_that_begins_or_ends_during_the_burn_is_told() -> None:
    t, force = record()
    (line,) = read(t[t > 1.2], force[t > 1.2]).cautions
    assert "begins when the motor burns" in say(line)
    (line,) = read(t[t < 2.2], force[t < 2.2]).cautions
    assert "ends while the motor still burns" in say(line)


def test_a_c_star_beyond_the_ideal_is_doubted() -> None:
    t, force = record()
    best = Motor(0.6, 0.0127, ambient_pa=1e5, ideal_c_star=908.0)
    assert read(t, force, force / 360, motor=best, pressure_column=3).cautions == []
    (line,) = read(t, force, force / 100, motor=best, pressure_column=3).cautions
    assert "ideal is 908 m/s" in say(line)


@pytest.mark.parametrize(
    ("factor", "unit", "words"),
    [
        (1 / 9.80665, "N", "Is it in kilograms?"),
        (1 / 4.448, "N", "Is it in pounds?"),
        (1.0, "kgf", "Is it in newtons?"),
        (0.05, "N", "Check the unit"),
    ],
)
def test_a_unit_that_does_not_fit_the_prediction_is_doubted(factor: float, unit: str, words: str) -> None:
    t, force = record()
    (line,) = read(t, force * factor, force_unit=unit).cautions
    assert words in say(line)


def test_grams_read_as_newtons_are_refused_with_a_hint() -> None:
    t, force = record()
    for motor in (MOTOR, Motor(0.6, 0.0127)):
        with pytest.raises(Refused, match=r"class Q\. Is it in grams\?") as fault:
            read(t, force * 1000 / 9.80665 * 1.3, motor=motor)
        assert fault.value.field == "force_unit"
    assert [doubts.letter_beyond(40_960 * x) for x in (1.01, 2, 2.01, 4.1, 1e6)] == ["P", "P", "Q", "R", "beyond Z"]


def test_columns_chosen_twice_and_too_few_lines() -> None:
    t, force = record()
    with pytest.raises(Refused, match="different columns"):
        read(t, force, force_column=1)
    with pytest.raises(Refused, match="only 9 lines"):
        read(t[:9], force[:9])
    with pytest.raises(Refused, match="Line 1 has 2 of the 5 columns"):
        read(t, force, force_column=5)


@pytest.mark.parametrize("stand", ["level", "presses", "lifts"])
@pytest.mark.parametrize("turned", [False, True])
def test_weight_sign_stray_samples_and_a_jump_come_off_together(stand: str, turned: bool) -> None:
    """What an upright stand adds (the running integral), upside down or not, with a stray sample and a jump on it."""
    t, force = record()
    gone = np.r_[0.0, np.cumsum((force[1:] + force[:-1]) / 2 * np.diff(t))]
    weight = {"level": 0.0, "presses": -1.0, "lifts": 1.0}[stand] * MOTOR.propellant_kg * STANDARD_GRAVITY
    cell = force + weight * gone / gone[-1] + np.where(t >= 1.0, 40.0, 0.0)
    cell[1700] = 1200.0
    found = read(t, -cell if turned else cell, turned=turned, stand=stand, zero_way="lit", leave_out=True)
    assert found.total_impulse_ns == pytest.approx(IMPULSE, rel=2e-3)
    assert found.peak_thrust_n == pytest.approx(500, rel=2e-3)
    gauge = force / 200
    both = read(t, -cell if turned else cell, gauge, turned=turned, stand=stand, zero_way="lit", pressure_column=3)
    assert both.peak_pressure_pa == pytest.approx(2.5e6 + 100_000.0, rel=1e-3)  # absolute: the gauge's and the air's


# --- In the book ---------------------------------------------------------------------------------


def bare(session: Session) -> Firing:
    """A firing of a motor that nothing was predicted of."""
    return build.bare_firing(session, build.bare_motor(session, build.ready_grains(session, 1)))


def test_the_file_is_kept_byte_by_byte_and_its_reading_opens_as_typed(session: Session) -> None:
    fired = bare(session)
    raw = text(*record())
    row = curves.STAND.take_in(session, fired, "a.csv", raw)
    assert (row.sha256, row.size_bytes) == (hashlib.sha256(raw).hexdigest(), len(raw))
    assert stored_files.read(session, row) == raw
    assert curves.STAND.take_in(session, fired, "b.csv", raw) is row
    guessed = curves.STAND.texts_for(session, fired, row)
    assert (guessed["time_column"], guessed["force_column"], guessed["delimiter"]) == ("1", "2", "comma")
    data = sure(
        of_stand="Bench",
        start="0.5 s",
        force_unit="counts",
        points=[{"mass": "0 g", "reading": 0}, {"mass": "1 kg", "reading": 9.5}],
    )
    kept = curves.keep(session, fired, row, data)
    again = curves.STAND.texts_for(session, fired, row)
    assert (again["start"], again["points.1.mass"], again["points.1.reading"]) == ("0.5 s", "1 kg", "9.5")
    assert again["smooth"] == ""
    measured = curves.measured(session, fired)
    assert measured is not None
    assert measured.row is kept
    assert measured.predicted is None
    assert measured.result.total_impulse_ns == kept.total_impulse_ns
    # The next firing of the same stand begins with the same calibration, but not the same times.
    other = bare(session)
    likely = curves.STAND.texts_for(session, other, curves.STAND.take_in(session, other, "c.csv", text(*record(5.0))))
    assert (likely["points.1.mass"], likely.get("start", "")) == ("1 kg", "")


def test_nothing_is_kept_of_what_cannot_be_read(session: Session) -> None:
    fired = bare(session)
    with pytest.raises(Refused):
        curves.STAND.take_in(session, fired, "a.csv", b"PK\x03\x04")
    assert curves.STAND.files(session, fired) == []
    row = curves.STAND.take_in(session, fired, "a.csv", text(*record()))
    with pytest.raises(Refused):
        curves.keep(session, fired, row, sure(force_column=7))
    assert curves.STAND.readings(session, fired) == []
    with pytest.raises(Refused, match="Nothing was read"):
        curves.take_over(session, fired)
    with pytest.raises(NotFound):
        curves.STAND.file(session, fired, row.pk + 1)


def test_a_curve_stands_beside_what_was_predicted_before(session: Session) -> None:
    built = build.motor_build(session)
    fired = build.firing(session, built)
    told = stored_predictions.for_firing(session, fired)
    assert told is not None
    row = curves.STAND.take_in(session, fired, "a.csv", text(*record()))
    kept = curves.keep(session, fired, row, sure())
    measured = curves.measured(session, fired)
    assert measured is not None
    assert measured.predicted is not None
    mass = sum(view.grain.mass_kg for view in firings.its_motor(session, fired).grains)
    assert measured.result.propellant_kg == pytest.approx(mass)
    table = {line.label: line for line in curves.lines(measured.result, measured.predicted)}
    assert all(line.definition for line in table.values())
    expected = table["Total impulse"].expected
    assert expected is not None
    assert expected.mid == told.total_impulse_ns == prediction_record.from_row(told).total_impulse.mid
    # Both rise above 5 % of their peak at one moment.
    moved = curves.shift(measured.result, measured.predicted)
    curve = measured.predicted.curve
    risen = next(t for t, f in zip(curve.time_s, curve.thrust_n, strict=True) if f >= 0.05 * max(curve.thrust_n))
    assert measured.result.start_s + moved == pytest.approx(risen, abs=0.005)
    # A prediction made after the firing is not what a curve is held against.
    fired.fired_at = told.made_at - timedelta(hours=1)
    assert stored_predictions.for_firing(session, fired) is None
    fired.fired_at = clock.now()
    seen = fired.version
    curves.take_over(session, fired, seen)
    assert fired.measured_impulse_ns == pytest.approx(kept.total_impulse_ns, rel=1e-4)
    assert fired.measured_peak_pressure_pa is None
    assert curves.taken_over(fired, kept)
    with pytest.raises(Conflict):
        curves.take_over(session, fired, seen)
    beside = {label: value for label, value, _, _ in firings.beside(fired, measured.predicted, None)}
    assert beside["Total impulse"] == fired.measured_impulse_ns


def test_what_has_a_curve_did_light(session: Session) -> None:
    built = build.motor_build(session)
    fired = build.firing(session, built)
    row = curves.STAND.take_in(session, fired, "a.csv", text(*record()))
    curves.keep(session, fired, row, sure())
    with pytest.raises(Refused, match="so it did light") as fault:
        firings.correct(session, fired, build.firing_in(session, built, result="no_light"))
    assert fault.value.field == "result"


def test_a_file_that_was_read_is_not_thrown_away(session: Session) -> None:
    fired = bare(session)
    row = curves.STAND.take_in(session, fired, "a.csv", text(*record()))
    assert curves.STAND.unread(session, fired) == [row]
    curves.keep(session, fired, row, sure())
    assert curves.STAND.unread(session, fired) == []
    with pytest.raises(Refused, match="stays as its source"):
        curves.STAND.throw_away(session, fired, row.pk)
    spare = curves.STAND.take_in(session, fired, "b.csv", text(*record(5.0)))
    curves.STAND.throw_away(session, fired, spare.pk)
    assert [f.pk for f in curves.STAND.files(session, fired)] == [row.pk]
    assert session.get(Curve, 1) is not None
    assert session.get(CurveFile, spare.pk) is None


# --- What could mean two things, and how sure it is ------------------------------------------------


def test_stray_samples_are_named_and_left_out_only_when_told() -> None:
    t, force = record()
    spoilt = force.copy()
    spoilt[1500] = 2.17 * 500
    found = read(t, spoilt)
    assert found.peak_thrust_n == pytest.approx(1085, rel=1e-3)
    (line,) = (say(one) for one in found.cautions)
    assert "One stray sample in the burn: 1.500 s (line 1501). Without, the peak is 500.1 N rather than" in line
    assert found.sure is not None
    peak = found.sure.ranges["peak_thrust_n"]  # it may be thrust or not
    assert peak.low is not None
    assert peak.high is not None
    assert peak.low < 500 < 1085 < peak.high
    left = read(t, spoilt, leave_out=True)
    assert left.sure is not None
    assert left.sure.ranges["peak_thrust_n"].high == pytest.approx(500 * (1 + 1.645 * 0.03), rel=1e-3)
    assert left.peak_thrust_n == pytest.approx(500, rel=1e-3)
    assert left.total_impulse_ns == pytest.approx(IMPULSE, rel=3e-4)
    assert left.cautions == []
    assert any("1 stray samples were left out" in say(one) for one in left.remarks)


def test_stray_samples_that_hide_the_burn_are_told_beside_what_leaves_them_out() -> None:
    t, force = record()
    spoilt = force.copy()
    spoilt[np.random.default_rng(8).choice(np.arange(30, t.size - 30, 5), 300, replace=False)] = 980_000.0
    with pytest.raises(Refused, match=r"300 stray samples hide the burn; without them it is J4\d\d") as fault:
        read(t, spoilt)
    assert fault.value.field == "leave_out"
    found = read(t, spoilt, leave_out=True)
    assert found.total_impulse_ns == pytest.approx(IMPULSE, rel=0.01)
    assert found.peak_thrust_n == pytest.approx(500, rel=0.01)


def test_a_jump_of_the_zero_is_asked_with_what_each_way_gives(session: Session) -> None:
    t, force = record()
    jumped = force + np.where(t >= 1.0, 60.0, 0.0)
    found = read(t, jumped)
    (asked,) = found.asked
    assert asked.field == "zero_way"
    assert "60.0 N higher after the burn" in say(asked.question)
    given = {one.name: one for one in asked.choices}
    assert set(given) == {"line", "lit", "out"}
    assert given["lit"].total_impulse_ns == pytest.approx(IMPULSE, rel=5e-3)
    assert abs(given["line"].total_impulse_ns / IMPULSE - 1) > 0.03
    assert all(len(one.zero_n) == len(found.record_time_s) for one in asked.choices)
    told = read(t, jumped, zero_way="lit")
    assert told.asked == []
    assert told.total_impulse_ns == given["lit"].total_impulse_ns
    assert any("jumped at ignition, as chosen" in say(one) for one in told.remarks)
    with pytest.raises(Refused, match="both at once") as fault:
        read(t, jumped, zero_way="lit", keep_drift=True)
    assert fault.value.field == "zero_way"
    with pytest.raises(Refused, match="oes not jump where it can be seen") as fault:
        read(t, jumped, zero_way="seen")
    assert fault.value.field == "zero_way"
    fired = bare(session)
    row = curves.STAND.take_in(session, fired, "a.csv", text(t, jumped))
    with pytest.raises(Refused, match="What it did between is not known") as fault:
        curves.keep(session, fired, row, sure())
    assert fault.value.field == "zero_way"
    kept = curves.keep(session, fired, row, sure(zero_way="lit"))
    assert kept.total_impulse_ns == pytest.approx(IMPULSE, rel=5e-3)
    assert curves.STAND.texts_for(session, fired, row)["zero_way"] == "lit"


def test_two_pulses_are_asked_about_and_each_can_be_chosen() -> None:
    t, force = record(6.0)
    both = force + np.interp(t, [3.2, 3.3, 3.9, 4.0], [0, 300, 300, 0])
    found = read(t, both)
    (asked,) = found.asked
    assert asked.field == "pulse"
    assert "This record holds 2 burns: 1.0" in say(asked.question)
    assert [one.name for one in asked.choices] == ["1", "2", "all"]
    first, second, whole = (read(t, both, pulse=name) for name in ("1", "2", "all"))
    assert first.total_impulse_ns == pytest.approx(IMPULSE, rel=1e-3)
    assert second.total_impulse_ns == pytest.approx(300 * 0.7, rel=2e-3)
    assert whole.total_impulse_ns == pytest.approx(IMPULSE + 300 * 0.7, rel=2e-3)
    assert whole.burn_time_s == pytest.approx(3.0, abs=0.03)
    assert whole.asked == second.asked == []
    refused: list[tuple[dict[str, Any], str]] = [
        ({"pulse": "3"}, "2 pulses only"),
        ({"pulse": "1", "end": "3 s"}, "both at once"),
    ]
    for wrong, words in refused:
        with pytest.raises(Refused, match=words) as fault:
            read(t, both, **wrong)
        assert fault.value.field == "pulse"


def test_a_weight_left_on_and_a_knock_are_no_burns() -> None:
    t, force = record(40.0)
    laden = force + np.where((t > 8) & (t < 30), 98.0, 0.0) + 900 * np.exp(-(((t - 35) / 0.004) ** 2))
    found = read(t, laden)
    assert found.asked == []
    assert found.total_impulse_ns == pytest.approx(IMPULSE, rel=1e-3)
    assert any("From 8.00 to 30.00 s the reading stands still" in say(one) for one in found.remarks)
    alone = read(t, np.where((t > 8) & (t < 30), 98.0, 0.0) + 0.01 * np.sin(50 * t))
    assert any("No burn was found beside it" in say(one) for one in alone.cautions)


def test_what_was_cut_off_is_said_and_stays_open() -> None:
    t, force = record()
    early, late = read(t[t > 1.2], force[t > 1.2]), read(t[t < 2.2], force[t < 2.2])
    for found, words in ((early, "What came before cannot be known"), (late, "What came after cannot be known")):
        assert words in say(found.cautions[0])
        assert found.sure is not None
        assert not found.sure.whole
        assert found.sure.ranges["total_impulse_ns"].high is None
        assert found.sure.ranges["burn_time_s"].high is None
        assert found.sure.ranges["total_impulse_ns"].low is not None


def test_every_figure_has_a_range_and_a_calibration_of_many_masses_makes_it_narrow() -> None:
    t, force = record()
    counts = 8000 + force / STANDARD_GRAVITY * 10_000
    points = [{"mass": f"{m} kg", "reading": 8000 + 10_000 * m + off} for m, off in ((0, 3), (5, -4), (10, 2), (20, 0))]
    plain, weighed = read(t, force), read(t, counts, force_unit="counts", points=points)
    for found, least, most in ((plain, 0.045, 0.055), (weighed, 0.0, 0.005)):
        assert found.sure is not None
        one = found.sure.ranges["total_impulse_ns"]
        assert one.low is not None
        assert one.high is not None
        assert one.low < IMPULSE < one.high
        assert least < (one.high - one.low) / 2 / IMPULSE < most  # 1.645 × 3 % where the scale is an assumption
        assert found.sure.impulse_error < 1e-3
    said = {line.label: line.sure for line in curves.lines(plain, None)}
    assert [name for name, range_ in said.items() if range_] == [
        "Total impulse",
        "Burn time",
        "Mean thrust",
        "Peak thrust",
    ]


def test_what_a_record_leaves_in_doubt_is_the_firings_error(session: Session) -> None:
    """Learning takes a curve whose zero went by 1.8 % of the peak for less sure than a clean one, and a cut one not."""
    errors = []
    t, force = record()
    rows = [force, force + np.where(t > 1.9, 9.0, 0.0)]
    for one in rows:
        built = build.motor_build(session)
        fired = build.firing(session, built)
        curves.keep(session, fired, curves.STAND.take_in(session, fired, "a.csv", text(t, one)), sure())
        made = firing_fits.renew(session, fired)
        assert made is not None
        errors.append({row.what: row.error for row in FitRecord.model_validate_json(made.fit_json).rows})
    assert errors[0]["impulse"] == pytest.approx(0.01, rel=0.01)
    share = 9.0 * 1.6 / 12**0.5 / IMPULSE
    assert errors[1]["impulse"] == pytest.approx(np.hypot(0.01, share), rel=0.02)
    fired = build.firing(session, build.motor_build(session))
    row = curves.STAND.take_in(session, fired, "a.csv", text(t[t < 2.2], force[t < 2.2]))
    curves.keep(session, fired, row, sure())
    made = firing_fits.renew(session, fired)
    assert made is not None
    assert FitRecord.model_validate_json(made.fit_json).rows == []
    assert "does not hold the whole burn" in made.fit_json
