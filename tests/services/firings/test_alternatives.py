"""What a file leaves open: each way with what comes of it, the likely one marked, none taken; and what is doubted.

The burns are trapezoids in closed form; the files are invented. Units: pint's registry, exact by definition.
"""

import random
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pint
import pytest
from numpy.typing import NDArray
from sqlmodel import Session

from app.calc.base.constants import STANDARD_GRAVITY
from app.calc.record import reduction, runs
from app.calc.record.plain_text import plain_text
from app.calc.record.plausible import IDEAL_ISP
from app.errors import Asked, Refused
from app.forms import from_texts
from app.models.curve import ReadIn
from app.services.firings import curves, doubts, questions, reading, samples
from app.services.firings.alternatives import Alternative, alternatives
from app.services.firings.doubts import Motor
from app.units import METRIC, say
from tests import build
from tests.calc.record.dressed import AXES, CLOCKED, HEADLESS, USUAL, Dressed, dress, possible

ureg: pint.UnitRegistry[float] = pint.UnitRegistry()
Floats = NDArray[np.float64]

MOTOR = Motor(0.6, 0.0127, ideal_isp_s=155.0)
IMPULSE = 500 * 1.4 - 0.05**2 * 500 * 0.1 / 2
"""A trapezoid of 500 N: up in 0.1 s, 1.2 s flat, down in 0.3 s; less what comes before 5 % of its peak: 119 s."""


def record(rate: int = 500) -> tuple[Floats, Floats]:
    t = np.arange(4 * rate) / rate
    force = np.interp(t, [0, 1, 1.1, 2.3, 2.6, 9], [0, 0, 500, 500, 0, 0])
    return t, force + 0.01 * ((np.arange(t.size) * 7) % 11 - 5)


def text(*columns: Floats, head: str = "", form: str = "{:.5f}") -> bytes:
    rows = "\n".join(",".join(form.format(v) for v in row) for row in np.column_stack(columns))
    return (f"{head}\n{rows}" if head else rows).encode()


def data_of(raw: bytes, told: Mapping[str, str] | None = None, begun: Mapping[str, str] | None = None) -> ReadIn:
    """The form as it opens, with what is told besides."""
    form = from_texts(ReadIn, [*{**(begun or curves.begun(raw)), **(told or {})}.items()], "form", "/", {})
    data = form.check(METRIC)
    assert isinstance(data, ReadIn), form.errors
    return data


def offered(raw: bytes, motor: Motor = MOTOR, told: Mapping[str, str] | None = None) -> list[Alternative]:
    return alternatives(raw, data_of(raw, told), motor)


def marked(found: Sequence[Alternative]) -> Alternative:
    (one,) = (one for one in found if one.likely)
    assert one is found[0]
    return one


# --- Never taken, and rightly marked --------------------------------------------------------------


RIGHT = ("force_column", "force_unit", "time_unit", "turned")


def unsaid_file(seed: int) -> Dressed:
    """A random file in whose heads no unit stands."""
    chance = random.Random(seed)
    while True:
        kinds = {axis: chance.choice(names) for axis, names in AXES.items()}
        for axis in chance.sample(sorted(set(AXES) - {"unit", "clock"}), 3):
            kinds[axis] = USUAL[axis]
        if kinds["style"] in HEADLESS:
            kinds["head"] = "no head"
        if possible(kinds) and kinds["clock"] != "none":
            return dress(kinds, seed, says_units=False)


@pytest.mark.promise(
    "Of a file that does not say its unit none is taken; the likely one is marked", figure="19 of 20 marked rightly"
)
@pytest.mark.parametrize("count", [40, pytest.param(1000, marks=pytest.mark.long)])
def test_a_unit_that_is_not_said_is_never_taken_and_the_likely_one_is_right(count: int) -> None:
    wrong: list[object] = []
    for seed in range(count):
        case = unsaid_file(seed)
        raw = plain_text(case.raw)
        begun = curves.begun(raw)
        assert begun["force_unit"] == "", (seed, case.kinds)
        clock = case.kinds["clock"] in (*CLOCKED, "epoch")
        assert clock or begun["time_unit"] == "", (seed, case.kinds)
        isp = random.Random(seed).uniform(0.5, 0.95) * IDEAL_ISP
        found = alternatives(raw, data_of(raw, begun=begun), Motor(case.burn.impulse / (isp * STANDARD_GRAVITY), 0.02))
        likely = [one for one in found if one.likely]
        right = {key: likely[0].texts.get(key, "") for key in RIGHT} if likely else {}
        if right != {key: case.known.get(key, "s" if key == "time_unit" else "") for key in RIGHT}:
            wrong.append((seed, case.kinds, [(one.texts, one.impulse_ns, one.isp_s) for one in found[:3]]))
    print(f"{count - len(wrong)} of {count} marked rightly")
    assert len(wrong) <= 0.05 * count, wrong


@pytest.mark.parametrize(
    ("unit", "name"), [("N", "N"), ("kgf", "kgf"), ("gf", "gf"), ("lbf", "lbf"), ("ozf", "ozf"), ("kN", "kN")]
)
def test_each_way_gives_what_reading_it_so_gives(unit: str, name: str) -> None:
    t, force = record()
    raw = text(1000 * t + 77, force / ureg.Quantity(1.0, name).to("N").magnitude, form="{:.6f}")
    found = offered(raw)
    best = marked(found)
    assert (best.unit, best.time_unit) == (unit, "ms")
    assert len({one.unit for one in found}) >= 6
    for one in [one for one in found if one.impulse_ns is not None][:3]:
        assert one.impulse_ns is not None
        told = data_of(raw, one.texts)
        try:
            read = reading.read_curve(raw, told, MOTOR)
        except Refused:  # above class O
            assert one.impulse_ns > 40_960
            continue
        assert one.impulse_ns == pytest.approx(read.total_impulse_ns, rel=1e-6)
        assert one.burn_time_s == pytest.approx(read.burn_time_s, rel=1e-6)
        assert one.mean_n == pytest.approx(read.mean_thrust_n, rel=1e-6)
        assert one.isp_s == pytest.approx(read.specific_impulse_s, rel=1e-6)
        assert one.impulse_class == read.impulse_class
        assert max(one.thrust_n) == pytest.approx(read.peak_thrust_n, rel=0.01)
    assert best.impulse_ns == pytest.approx(IMPULSE, rel=1e-3)


def test_the_file_is_read_once_and_the_burn_found_once(monkeypatch: pytest.MonkeyPatch) -> None:
    raw = text(*record())
    data = data_of(raw)
    calls: dict[str, int] = {"read": 0, "found": 0}

    def counted(name: str, act: Any) -> Any:
        def do(*given: Any, **more: Any) -> Any:
            calls[name] += 1
            return act(*given, **more)

        return do

    monkeypatch.setattr(samples, "read_table", counted("read", runs.read_table))
    monkeypatch.setattr(reduction, "reduce_record", counted("found", reduction.reduce_record))
    assert len(alternatives(raw, data, MOTOR)) >= 8
    assert calls["read"] == 1
    assert calls["found"] <= 3, "once for each sign, and without stray samples where there is none"


def test_a_prediction_tells_two_units_apart_that_the_propellant_cannot() -> None:
    """60 s in pounds is 132 s in kilograms: both can be."""
    t, force = record()
    raw = text(t, force / 4.4482216152605, head="Time (s),Thrust")
    mass = IMPULSE / (60 * STANDARD_GRAVITY)
    assert marked(offered(raw, Motor(mass, 0.0127))).unit == "kgf"
    assert marked(offered(raw, Motor(mass, 0.0127, predicted_ns=1.1 * IMPULSE))).unit == "lbf"


# --- Counts, volts, signs, several columns --------------------------------------------------------


def test_counts_about_their_middle_are_marked_and_need_known_masses() -> None:
    t, force = record()
    raw = text(np.round(1000 * t), np.round(8_388_608 + 61.4 * force), head="ms,value", form="{:.0f}")
    best = marked(offered(raw))
    assert (best.unit, best.factor, best.impulse_ns, best.turned) == ("counts", None, None, False)
    assert max(best.thrust_n) == pytest.approx(61.4 * 500, rel=1e-2), "the curve is in counts"
    told = {"force_unit": "counts", "points.0.mass": "0 kg", "points.0.reading": "8388608"}
    told |= {"points.1.mass": "10 kg", "points.1.reading": f"{8_388_608 + 61.4 * 98.0665:.1f}"}
    by_masses = next(one for one in offered(raw, told=told) if one.unit == "counts")
    assert by_masses.impulse_ns == pytest.approx(IMPULSE, rel=1e-3)
    factor = {"force_unit": "counts", "factor": "0.016286645 N"}
    scaled = next(one for one in offered(raw, told=factor) if one.unit == "counts")
    assert scaled.impulse_ns == pytest.approx(IMPULSE, rel=1e-3)
    read = reading.read_curve(raw, data_of(raw, factor), MOTOR)
    assert read.total_impulse_ns == pytest.approx(IMPULSE, rel=1e-3)


def test_ten_bits_over_a_zero_of_their_own_are_marked_as_counts() -> None:
    t, force = record()
    best = marked(offered(text(np.round(1000 * t), np.round(102 + 1.5 * force), form="{:.0f}")))
    assert (best.unit, best.time_unit) == ("counts", "ms")
    laden = marked(offered(text(np.round(1000 * t), np.round(5300 + force / 9.80665e-3), form="{:.0f}")))
    assert laden.unit == "gf", "a motor on an untared cell"


def test_a_file_without_a_burn_says_what_is_wrong_and_one_of_pressure_alone_has_no_force() -> None:
    t, force = record()
    still = text(t, 0 * force, head="Time (s),Thrust")
    looked = questions.look(still, data_of(still), MOTOR)
    assert "is the same" in str(looked.fault)
    raw = text(t, force / 100, head="Time (s),Pressure (MPa)")
    assert curves.begun(raw)["force_column"] == ""
    assert "Which column is the force is not known" in str(questions.look(raw, data_of(raw), MOTOR).fault)


@pytest.mark.parametrize(("size", "unit"), [(0.004, "V"), (4.0, "mV")])
def test_volts_are_marked_where_no_force_fits(size: float, unit: str) -> None:
    t, force = record()
    raw = text(t, np.round((0.5 + size * force) / (size / 4), 0) * size / 4, head="Time (s),signal")
    found = offered(raw, Motor(0.6, 0.0127, predicted_ns=IMPULSE))
    assert unit in {one.unit for one in found}
    if unit == "V":
        assert marked(found).unit == "V"


def test_a_reading_that_falls_is_offered_turned() -> None:
    t, force = record()
    raw = text(t, -force, head="Time (s),Load (N)")
    best = marked(offered(raw))
    assert best.texts["turned"] == "on"
    assert best.impulse_ns == pytest.approx(IMPULSE, rel=1e-3)


def test_raw_and_filtered_are_both_offered_with_what_they_give() -> None:
    t, force = record()
    slow = np.convolve(force, np.ones(40) / 40, "same")
    raw = text(t, slow, force, head="Time (s),Filtered (N),Raw thrust (N)")
    assert curves.begun(raw)["force_column"] == ""
    found = offered(raw)
    assert [(one.column, one.head) for one in found] == [(3, "Raw thrust (N)"), (2, "Filtered (N)")]
    looked = questions.look(raw, data_of(raw), MOTOR)
    assert looked.result is None
    assert [way.texts["force_column"] for one in looked.questions for way in one.ways] == ["3", "2"]


def test_the_one_column_that_burns_is_the_force_and_said_so() -> None:
    t, force = record()
    still = 20 + 0.01 * np.sin(300 * t)
    raw = text(t, still, force)
    begun = curves.begun(raw)
    assert (begun["force_column"], begun["force_unit"]) == ("3", "")
    assert any("Only column 3" in words for words in reading.guess(raw)[1].said)


def test_stray_samples_that_hide_the_burn_are_left_out_of_what_is_offered_and_it_says_so() -> None:
    t, force = record()
    force[np.random.default_rng(8).choice(np.arange(30, t.size - 30, 5), 150, replace=False)] = 980_000.0
    best = offered(text(t, force, head="Time (s),Thrust"))[0]
    assert best.texts["leave_out"] == "on"


def test_a_unit_in_the_head_is_the_only_one_offered_unless_it_cannot_be() -> None:
    t, force = record()
    (one,) = offered(text(t, force, head="Time (s),Thrust (N)"))
    assert one.said
    assert one.likely
    found = offered(text(t, force / STANDARD_GRAVITY, head="Time (s),Thrust (N)"))
    assert marked(found).unit == "kgf", "12 s cannot be"
    assert any(other.said and other.unit == "N" for other in found)


# --- What can hardly be ---------------------------------------------------------------------------


SIZES = {"N": 1.0, "kgf": 9.80665, "lbf": 4.4482216152605, "gf": 9.80665e-3, "kN": 1e3}
MIXED = [(true, said) for true in SIZES for said in SIZES if true != said]


@pytest.mark.parametrize(("true", "said"), MIXED)
def test_a_unit_that_was_mixed_up_is_named_by_what_was_predicted(true: str, said: str) -> None:
    """2.2, 4.45, 9.81, 1,000, their inverses and 1,000 / 9.81: whatever the specific impulse says."""
    read_as = IMPULSE * SIZES[said] / SIZES[true]
    doubt = doubts.about_impulse(read_as, said, Motor(0.6, 0.0127, predicted_ns=1.05 * IMPULSE))
    assert doubt is not None
    assert doubt.others[0].unit == true
    assert doubt.others[0].impulse_ns == pytest.approx(IMPULSE)
    assert f"Is it in {doubts.UNIT_NAMES[true]}?" in say(doubt.words)


@pytest.mark.parametrize(("true", "said"), MIXED)
def test_without_a_prediction_what_cannot_be_is_doubted_and_the_unit_named(true: str, said: str) -> None:
    doubt = doubts.about_impulse(IMPULSE * SIZES[said] / SIZES[true], said, MOTOR)
    if (true, said) == ("kgf", "lbf"):
        assert doubt is None, "54 s can be: only a prediction tells"
        return
    assert doubt is not None
    assert doubt.others[0].unit == true


@pytest.mark.parametrize(
    ("isp", "words"), [(161.0, "the blend's ideal is 155 s, and no motor gives more"), (39.0, "more than 40 s")]
)
def test_above_the_ideal_and_below_40_s_is_doubted(isp: float, words: str) -> None:
    doubt = doubts.about_impulse(isp * 0.6 * STANDARD_GRAVITY, "N", MOTOR)
    assert doubt is not None
    assert words in say(doubt.words).replace(".00", "")
    for good in (41.0, 100.0, 155.0):
        assert doubts.about_impulse(good * 0.6 * STANDARD_GRAVITY, "N", MOTOR) is None


def test_known_masses_in_another_unit_are_doubted() -> None:
    doubt = doubts.about_impulse(IMPULSE * 2.2046, "counts", Motor(0.6, 0.0127, predicted_ns=IMPULSE))
    assert doubt is not None
    assert "Were the known masses, or the force for one of the reading, in pounds?" in say(doubt.words)


# --- Asked before anything is kept ----------------------------------------------------------------


def test_what_is_open_is_one_question_that_a_single_choice_answers() -> None:
    t, force = record()
    raw = text(1000 * t + 5, -force / 9.80665)
    (question,) = questions.look(raw, data_of(raw), MOTOR).questions
    first = question.ways[0]
    assert first.called == "Kilograms, times in milliseconds, turned"
    assert first.likely
    assert first.texts == {"force_column": "2", "force_unit": "kgf", "turned": "on", "time_unit": "ms"}
    newtons = next(one for one in question.ways if one.called.startswith("Newtons, times in milli"))
    assert newtons.isp_s == pytest.approx(12.1, abs=0.1)
    assert "motor that burned whole" in say(newtons.why)
    found = questions.look(raw, data_of(raw, first.texts), MOTOR).result
    assert found is not None
    assert found.total_impulse_ns == pytest.approx(IMPULSE, rel=1e-3)


def test_of_a_chosen_unit_the_open_unit_of_time_is_offered_too() -> None:
    t, force = record()
    raw = text(1000 * t + 5, force / 9.80665)
    pounds = [one for one in offered(raw, told={"force_unit": "lbf"}) if one.unit == "lbf"]
    assert {one.time_unit for one in pounds} == {"s", "ms", "us"}


def test_a_unit_of_pressure_that_is_not_said_is_asked_by_the_peak_it_gives() -> None:
    t, force = record()
    raw = text(t, force, force / 20 + 1, head="Time (s),Thrust (N),Pressure")
    looked = questions.look(raw, data_of(raw), MOTOR)
    (question,) = looked.questions
    assert (question.key, question.ways[0].texts, question.ways[0].likely) == (
        "pressure",
        {"pressure_unit": "bar"},
        True,
    )
    assert "A peak of 2.50 MPa" in say(question.ways[0].why)
    with pytest.raises(Refused, match="in which unit the pressure is") as fault:
        questions.answer_first(raw, data_of(raw), looked)
    assert fault.value.field == "pressure_unit"
    read = questions.look(raw, data_of(raw, {"pressure_unit": "bar"}), MOTOR).result
    assert read is not None
    assert read.peak_pressure_pa == pytest.approx(2.5e6 + 101_325, rel=1e-3)


def test_an_impulse_that_can_hardly_be_is_asked_about_before_it_is_kept(session: Session) -> None:
    """Pounds under a head that says newtons: 25 s, and 111 s in pounds."""
    fired = build.bare_firing(session, build.bare_motor(session, build.ready_grains(session, 1)))
    motor = curves.its_motor(session, fired)
    assert motor.ideal_isp_s == pytest.approx(154, abs=2)  # of 65/35 sorbitol, by the book's own equilibrium
    t, force = record()
    true = 111 * motor.propellant_kg * STANDARD_GRAVITY
    raw = text(t, force * true / IMPULSE / 4.4482216152605, head="Time (s),Thrust (N)")
    row = curves.STAND.take_in(session, fired, "a.csv", raw)
    with pytest.raises(Asked, match=r"specific impulse comes out as .* Is it in pounds") as fault:
        curves.keep(session, fired, row, data_of(raw))
    assert fault.value.field == "force_unit"
    assert fault.value.readings[0] == ("lbf", "pounds")
    assert curves.STAND.readings(session, fired) == []
    kept = curves.keep(session, fired, row, data_of(raw, {"force_unit": "lbf"}))
    assert kept.total_impulse_ns == pytest.approx(true, rel=1e-3)
    sure = data_of(raw).answering([("force_unit", "impulse")])
    assert curves.keep(session, fired, row, sure).total_impulse_ns == pytest.approx(true / 4.448, rel=1e-3)


def test_a_column_that_falls_is_offered_turned_where_it_is_refused() -> None:
    t, force = record()
    raw = text(t, -force, head="Time (s),Thrust (N)")
    looked = questions.look(raw, data_of(raw), MOTOR)
    assert looked.fault is not None
    assert "Turn the sign" in str(looked.fault)
    ((way,),) = (one.ways for one in looked.questions)
    assert (way.called, way.texts["turned"]) == ("Newtons, turned", "on")
    found = questions.look(raw, data_of(raw, way.texts), MOTOR).result
    assert found is not None
    assert found.total_impulse_ns == pytest.approx(IMPULSE, rel=1e-3)


def test_minutes_are_read_where_they_are_said_and_never_offered() -> None:
    t, force = record()
    raw = text(t / 60, force, head="Tempo (min),Empuxo (N)", form="{:.7f}")
    data = data_of(raw)
    assert data.time_unit == "min"
    assert reading.read_curve(raw, data, MOTOR).burn_time_s == pytest.approx(1.58, rel=1e-3)
    assert {one.time_unit for one in offered(text(t, force))} == {"s", "ms", "us"}
