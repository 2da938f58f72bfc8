"""From a stand's record to the thrust of its burn, against records made in closed form and a walk by SciPy.

The records are a trapezoid of thrust with what a stand adds to it: a zero that drifts, the weight of propellant that
leaves (SciPy's running integral), a tone. What comes back must be the trapezoid.
"""

import numpy as np
import pytest
from scipy import integrate, interpolate, optimize

from app.calc.base.constants import ATM, STANDARD_GRAVITY, Floats
from app.calc.base.errors import CalcError
from app.calc.record.load_cell import weight_change
from app.calc.record.reduction import between, reduce_record

RATE = 2000
CORNERS = [2.0, 2.1, 3.3, 3.6]
IMPULSE = 400 * (1.2 + 0.4 / 2)
PERIOD = 0.0125


def thrust_at(t: Floats) -> Floats:
    return np.asarray(np.interp(t, CORNERS, [0.0, 400.0, 400.0, 0.0]))


def record(
    zero: float = 12.0, drift: float = 0.7, lost: float = 0.0, tone: float = 0.0, seconds: float = 7.0
) -> tuple[Floats, Floats, Floats]:
    """Times, the true thrust, and what the cell says of it."""
    t = np.arange(round(seconds * RATE)) / RATE
    thrust = thrust_at(t)
    share = np.r_[0.0, integrate.cumulative_trapezoid(thrust, t)] / integrate.trapezoid(thrust, t)
    rung = tone * np.sin(2 * np.pi * (t - CORNERS[0]) / PERIOD) * (thrust > 0)
    return t, thrust, thrust + rung + zero + drift * t + lost * share


@pytest.mark.parametrize("lost", [0.0, -6.0, 6.0])
@pytest.mark.parametrize(("zero", "drift"), [(0.0, 0.0), (12.0, 0.7), (-300.0, -2.0)])
def test_what_a_stand_adds_comes_off(zero: float, drift: float, lost: float) -> None:
    t, thrust, reading = record(zero, drift, lost)
    reading.setflags(write=False)
    found = reduce_record(t, reading, lost_weight=lost)
    assert t[found.low] == pytest.approx(2.0, abs=0.003)
    assert t[found.high] == pytest.approx(3.6, abs=0.003)
    assert np.array_equal(found.time, t[found.low : found.high + 1])
    assert np.abs(found.thrust - thrust[found.low : found.high + 1]).max() < 4e-4  # a millionth of the peak
    assert integrate.trapezoid(found.thrust, found.time) == pytest.approx(IMPULSE, rel=1e-4)
    assert found.zero.drifted
    assert (found.begins, found.ends, found.tone, found.smoothed, found.pressure) == (False, False, None, False, None)


@pytest.mark.parametrize("lost", [-8.0, 8.0])
def test_the_walk_is_that_of_scipy(lost: float) -> None:
    """Uneven, noisy samples: zero by numpy.median and a line, weight by an ODE (solve_ivp) whose end brentq finds."""
    rng = np.random.default_rng(11)
    even, _, clean = record(lost=lost)
    t = np.sort(rng.uniform(0.0, even[-1], 3000))
    reading = np.interp(t, even, clean) + rng.normal(0.0, 0.2, t.size)
    found = reduce_record(t, reading, lost_weight=lost)

    ends = interpolate.make_interp_spline(even, thrust_at(even) - 20.0, k=1)  # 5 % of the peak
    first, last = (optimize.brentq(ends, *span) for span in ((2.0, 2.1), (3.3, 3.6)))
    length = last - first
    before = (t >= first - 1.05 * length) & (t < first - 0.05 * length)
    after = (t >= last + 0.25 * length) & (t < last + 1.25 * length)
    line = np.polyfit(
        [np.median(t[before]), np.median(t[after])], [np.median(reading[before]), np.median(reading[after]) - lost], 1
    )
    at, cell = found.time, (reading - np.polyval(line, t))[found.low : found.high + 1]

    def burned(total: float) -> Floats:
        def push(moment: float, impulse: Floats) -> Floats:
            return np.asarray(np.interp(moment, at, cell) - lost * impulse / total)

        return np.asarray(integrate.solve_ivp(push, (at[0], at[-1]), [0.0], t_eval=at, rtol=1e-6, max_step=0.004).y[0])

    total = optimize.brentq(lambda guess: burned(guess)[-1] - guess, 300.0, 900.0, xtol=1e-4)
    expected = cell - lost * burned(total) / total
    assert np.abs(found.thrust - expected).max() < 0.01
    assert integrate.trapezoid(found.thrust, at) == pytest.approx(total, rel=5e-5)


def test_drift_is_left_in_when_told() -> None:
    t, _, reading = record()
    found = reduce_record(t, reading, way="level")
    assert not found.zero.drifted
    assert integrate.trapezoid(found.thrust, found.time) > IMPULSE + 0.5


@pytest.mark.parametrize("lost", [0.0, -6.0, 6.0])
def test_a_tone_is_told_or_taken_out_with_the_impulse_kept(lost: float) -> None:
    """The smoothed burn is the running mean over one wave of it, here by SciPy's antiderivative of the cut burn."""
    t, _, reading = record(lost=lost, tone=30.0)
    told = reduce_record(t, reading, lost_weight=lost)
    found = reduce_record(t, reading, lost_weight=lost, smooth=True)
    assert told.tone is not None
    assert (told.tone, told.low, told.high) == (found.tone, found.low, found.high)
    assert told.tone.frequency == pytest.approx(1 / PERIOD, rel=0.01)
    assert (told.smoothed, found.smoothed) == (False, True)
    assert told.thrust.max() > 425
    wave = 1 / told.tone.frequency
    assert found.time[0] <= told.time[0] - wave / 2
    assert found.time[-1] >= told.time[-1] + wave / 2
    whole = interpolate.make_interp_spline(told.time, told.thrust, k=1).antiderivative()
    ahead, behind = (whole(np.clip(found.time + s * wave / 2, told.time[0], told.time[-1])) for s in (1, -1))
    assert np.abs(found.thrust - (ahead - behind) / wave).max() < 0.2
    assert integrate.trapezoid(found.thrust, found.time) == pytest.approx(integrate.trapezoid(told.thrust, told.time))
    flat = (found.time > 2.2) & (found.time < 3.2)
    assert np.abs(found.thrust[flat] - 400.0).max() < 1.0  # of 30


def test_nothing_is_smoothed_where_nothing_rings() -> None:
    t, _, reading = record()
    plain, found = reduce_record(t, reading), reduce_record(t, reading, smooth=True)
    assert (found.tone, found.smoothed) == (None, False)
    assert np.array_equal(found.thrust, plain.thrust)


def test_the_cut_is_as_told_and_the_zero_comes_from_outside_it() -> None:
    t, _, reading = record(seconds=16.0)
    other = np.interp(t, [9.0, 9.1, 10.1, 10.2], [0.0, 250.0, 250.0, 0.0])
    assert t[reduce_record(t, reading + other).low] == pytest.approx(2.0, abs=0.003)
    found = reduce_record(t, reading + other, start=9.0, end=10.2)
    assert (found.time[0], found.time[-1]) == (9.0, 10.2)
    assert integrate.trapezoid(found.thrust, found.time) == pytest.approx(250 * 1.1, rel=1e-6)
    early = reduce_record(t, reading + other, end=4.5)
    assert (t[early.low], t[early.high]) == (pytest.approx(2.0, abs=0.003), 4.5)
    assert (early.begins, early.ends) == (False, False)


def test_a_record_that_begins_or_ends_while_the_motor_burns_is_told() -> None:
    t, _, reading = record(drift=0.0)
    late, short = t > 2.5, t < 3.0
    found = reduce_record(t[late], reading[late])
    assert (found.begins, found.ends) == (True, False)
    found = reduce_record(t[short], reading[short])
    assert (found.begins, found.ends) == (False, True)
    found = reduce_record(t[late], reading[late], start=2.5)
    assert (found.low, found.begins, found.ends) == (0, False, False)
    found = reduce_record(t[short], reading[short], end=3.0)
    assert (found.high, found.begins, found.ends) == (short.sum() - 1, False, False)


@pytest.mark.parametrize("smooth", [False, True])
def test_pressure_keeps_its_own_zero_and_stands_at_the_times_of_the_thrust(smooth: bool) -> None:
    t, thrust, reading = record(tone=30.0)
    gauge = 1e4 * thrust + 3e4 + 2e3 * t  # the drift of a gauge stays: only its zero before the burn comes off
    found = reduce_record(t, reading, smooth=smooth, gauge=gauge, ambient=9e4)
    first = optimize.brentq(lambda at: float(thrust_at(np.array(at))) - 20.0, 2.0, 2.1)
    last = optimize.brentq(lambda at: float(thrust_at(np.array(at))) - 20.0, 3.3, 3.6)
    middle = first - 0.55 * (last - first)
    expected = np.interp(found.time, t, 1e4 * thrust + 2e3 * (t - middle)) + 9e4
    assert found.pressure is not None
    assert found.pressure.shape == found.time.shape
    assert (
        np.abs(found.pressure - expected).max() < 60.0
    )  # 0.03 s of the drift: the tone moves where 5 % of the peak lies
    standard = reduce_record(t, reading, smooth=smooth, gauge=gauge)
    assert standard.pressure == pytest.approx(found.pressure + ATM - 9e4)


@pytest.mark.parametrize(("start", "end"), [(None, 0.004), (6.996, None), (3.0, 3.004)])
def test_too_few_samples_are_refused_beside_the_time_given(start: float | None, end: float | None) -> None:
    t, _, reading = record()
    with pytest.raises(CalcError, match="Fewer than ten samples") as fault:
        reduce_record(t, reading, start=start, end=end)
    assert fault.value.field == ("start" if end is None else "end")
    assert between(t) == (0, t.size)
    assert between(t, 1.0, 1.0045) == (2000, 2010)


@pytest.mark.parametrize("lost", [0.0, -6.0])
@pytest.mark.parametrize(("start", "end"), [(None, 2.5), (None, 3.0), (2.7, None), (2.4, 2.9)])
def test_a_cut_through_the_burn_takes_no_thrust_for_its_zero(
    start: float | None, end: float | None, lost: float
) -> None:
    t, thrust, reading = record(lost=lost)
    found = reduce_record(t, reading, start=start, end=end, lost_weight=lost)
    whole = slice(found.low, found.high + 1)
    assert found.thrust == pytest.approx(thrust[whole], abs=0.05)
    assert found.zero.before == pytest.approx(12.7, abs=0.7)
    if start is None:
        assert integrate.trapezoid(found.thrust, found.time) == pytest.approx((end or 0.0) * 400 - 820.0, rel=1e-3)


def test_what_is_no_burn_is_refused() -> None:
    t = np.arange(500) / RATE
    with pytest.raises(CalcError, match="stands still"):
        reduce_record(t, np.zeros(500))
    t, _, reading = record()
    with pytest.raises(CalcError, match="impulse above zero"):
        reduce_record(t, reading, lost_weight=-3000.0)


def test_weight_leaves_the_way_the_motor_stands() -> None:
    """Statics: nozzle up, weight and thrust press the same way, so the reading falls; nozzle down, it rises."""
    assert [weight_change(stand, 1.5) for stand in ("level", "presses", "lifts")] == [
        0.0,
        -1.5 * STANDARD_GRAVITY,
        1.5 * STANDARD_GRAVITY,
    ]
