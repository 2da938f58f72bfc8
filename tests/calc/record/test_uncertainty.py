"""How sure a burn's figures are: the GUM's own numbers, and burns of known truth read through many spoilt records.

The burn is a closed form: a kick and a long hump that ends in a ramp; its impulse, times and peak are known exactly.
What a stand adds is drawn at random: noise, a converter's steps, a zero that jumps, ringing, slow sampling.
"""

from dataclasses import replace

import numpy as np
import pytest

from app.calc.base.constants import Floats
from app.calc.motor.impulse import threshold_times
from app.calc.record.curve import figures
from app.calc.record.load_cell import Ringing, calibrate
from app.calc.record.reduction import reduce_record
from app.calc.record.uncertainty import COVERAGE, Doubts, calibration_error, doubts, intervals, quantum
from app.calc.record.zero import Zeroed
from tests.published import half_digit, published

PEAK = 400.0
CORNERS = np.array([2.0, 2.06, 2.2, 3.0, 3.4, 3.7])
LEVELS = np.array([0.0, 340.0, 300.0, PEAK, 260.0, 0.0])


def thrust_at(t: Floats) -> Floats:
    return np.asarray(np.interp(t, CORNERS, LEVELS))


def truth() -> dict[str, float]:
    start, end = (float(x) for x in threshold_times(CORNERS, LEVELS, 0.05))
    at = np.r_[start, CORNERS[start < CORNERS]]
    total = float(np.trapezoid(thrust_at(at), at))
    return {"total_impulse": total, "burn_time": end - start, "mean_thrust": total / (end - start), "peak_thrust": PEAK}


SPOILT: dict[str, dict[str, float]] = {
    "noise": {"noise": 8.0, "rate": 400},
    "little noise": {"noise": 1.0, "rate": 1000},
    "steps": {"quantum": 12.0, "rate": 300},
    "slow": {"rate": 20, "noise": 0.3},
    "very slow": {"rate": 10, "noise": 0.3},
    "zero": {"zero": 7.5, "rate": 200, "noise": 0.5},
    "ringing": {"tone": 25.0, "rate": 1000, "noise": 0.5},
    "scale": {"scale": 0.02, "rate": 300, "noise": 0.5},
    "all": {"noise": 3.0, "quantum": 3.0, "zero": 5.0, "tone": 12.0, "scale": 0.01, "rate": 250},
}


def spoil(rng: np.random.Generator, how: dict[str, float]) -> tuple[Floats, Floats]:
    t = np.arange(0.0, 6.5, 1 / how["rate"]) + rng.uniform(0, 1 / how["rate"])
    f = thrust_at(t)
    if tone := how.get("tone", 0.0):
        f = f + tone * np.sin(2 * np.pi * 57.0 * t + rng.uniform(0, 6.3)) * (f > 0)
    f = f * (1 + rng.normal(0, how.get("scale", 0.0))) + rng.normal(0, how.get("noise", 0.0), t.size)
    step = rng.uniform(-1, 1) * how.get("zero", 0.0)
    f = f + np.where(t > rng.uniform(2.0, 3.7), step, 0.0) + rng.uniform(-20, 20)
    q = how.get("quantum", 0.0)
    return t, np.round(f / q) * q if q else f


@pytest.mark.parametrize("name", SPOILT)
def test_nine_in_ten_lie_inside(name: str) -> None:
    """Monte Carlo of 120 records a kind; with nine in ten, fewer than 102 inside come three times in a hundred."""
    how, rng, right = SPOILT[name], np.random.default_rng(17), truth()
    inside = dict.fromkeys(right, 0)
    width = dict.fromkeys(right, 0.0)
    for _ in range(120):
        t, f = spoil(rng, how)
        burn = reduce_record(t, f)
        step = quantum(f) if how.get("quantum") else 0.0
        found = intervals(burn.time, burn.thrust, doubts(burn.zero, step, how.get("scale", 0.0), burn.tone))
        said = figures(burn.time, burn.thrust)
        for key, value in right.items():
            one = getattr(found, key)
            assert one.low is not None
            assert one.high is not None
            assert one.low - 1e-9 <= getattr(said, key) <= one.high + 1e-9
            inside[key] += one.low <= value <= one.high
            width[key] += (one.high - one.low) / 2 / value / 120
    print(name, inside, {k: f"±{100 * v:.2f} %" for k, v in width.items()})
    assert min(inside.values()) >= 102, inside
    assert width["total_impulse"] < 0.06, "a range that says nothing covers everything"


def test_the_slope_of_a_calibration_is_as_sure_as_the_guide_says() -> None:
    rows = published("thermometer_calibration.csv")
    x, y = ([float(row[name]) for row in rows] for name in ("reading", "correction"))
    slope = calibrate(x, y).slope
    assert slope == pytest.approx(float(rows[0]["slope"]), abs=half_digit(rows[0]["slope"]))
    share = calibration_error(x, y)
    assert share is not None
    assert share * slope == pytest.approx(float(rows[0]["slope_error"]), abs=half_digit(rows[0]["slope_error"]))
    assert calibration_error(x[:2], y[:2]) is None


def test_a_resolution_counts_as_the_guide_says() -> None:
    """JCGM 100:2008, F.2.2.1: u = 0.29 δx; 4.3.7: a/√3; table G.1: k = 1.645 for 90 %."""
    still = Zeroed(np.zeros(9), 0.0, 0.0, True, 0.0, samples=100)
    assert round(doubts(still, 1.0).zero, 2) == 0.29
    assert doubts(replace(still, wanders=2.0)).zero == pytest.approx(1 / 3**0.5)
    t, f = np.arange(2001) / 1000, np.full(2001, 100.0)
    gone = intervals(t, f, doubts(replace(still, step=2.0))).total_impulse
    assert gone.parts["zero"] == pytest.approx((2 / 3**0.5) ** 2, rel=1e-6)
    assert intervals(t, f, doubts(replace(still, step=2.0, way="out"))).total_impulse.parts["zero"] == 0.0
    assert COVERAGE == 1.645


def test_each_doubt_in_closed_form() -> None:
    """A rectangle of 2 s and 100 N at 1000 a second: the law of propagation by hand, one doubt at a time."""
    t = np.arange(2001) / 1000
    f = np.full(t.size, 100.0)
    f[[0, -1]] = 0.0
    edges = sum(intervals(t, f, Doubts(0.0, 0.0)).total_impulse.parts.values())
    assert edges == pytest.approx((1 + 0.95**4) * (100 * 0.001) ** 2 / 12)  # from 5 % on

    def own(off: Doubts) -> float:
        found = intervals(t, f, off).total_impulse
        return float(np.sqrt(sum(found.parts.values()) - edges))

    assert own(Doubts(0.0, 0.5)) == pytest.approx(1.0, rel=1e-3)
    assert own(Doubts(3.0, 0.0)) == pytest.approx(3.0 * 0.001 * 2000**0.5, rel=5e-3)
    assert own(Doubts(0.0, 0.0, quantum=6.0)) == pytest.approx(6.0 / 12**0.5 * 0.001 * 2000**0.5, rel=5e-3)
    assert own(Doubts(0.0, 0.0, scale=0.02)) == pytest.approx(0.02 * 199.9, rel=1e-3)
    assert own(Doubts(0.0, 0.0, tone=Ringing(50.0, 10.0))) == pytest.approx(2 * 10 / (np.pi * 50), rel=1e-3)


def test_an_end_that_was_cut_off_stays_open_and_classes_are_those_inside() -> None:
    t = np.linspace(0.0, 1.0, 1001)
    f = np.full(t.size, 639.0)
    both = intervals(t, f, Doubts(0.0, 0.0, scale=0.03))
    assert both.classes == ("I", "J")
    assert intervals(t, f - 100, Doubts(0.0, 0.0, scale=0.03)).classes == ("I",)
    cut = intervals(t, f, Doubts(0.0, 1.0), ends=True)
    assert cut.total_impulse.high is None
    assert cut.burn_time.high is None
    assert (cut.mean_thrust.low, cut.mean_thrust.high) == (None, None)
