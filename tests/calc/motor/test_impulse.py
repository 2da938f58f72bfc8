"""Classes, designations and durations against the published table and a worked curve."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.calc.base.errors import CalcError, OutOfRange
from app.calc.motor.impulse import burn_time, designation, impulse_class, mean_thrust, threshold_times, total_impulse
from tests.published import published


@pytest.mark.parametrize("row", published("impulse_classes.csv"))
def test_upper_limit_belongs_to_the_class(row: dict[str, str]) -> None:
    limit = float(row["upper_ns"])
    assert impulse_class(limit) == row["letter"]
    if row["letter"] != "O":
        assert impulse_class(limit * (1 + 1e-9)) != row["letter"]


def test_above_o_and_nonsense_are_refused() -> None:
    for bad in (40960.1, 0.0, -5.0, float("nan"), float("inf")):
        with pytest.raises(OutOfRange):
            impulse_class(bad)


def test_mean_thrust_depends_on_the_definition() -> None:
    # NFPA 1125 as summarised by a motor maker's published page (second hand): 80 N s, 1.36 s in full and 1.24 s
    # above 5 %: 59 and 65 N
    assert round(mean_thrust(80.0, 1.36)) == 59
    assert round(mean_thrust(80.0, 1.24)) == 65
    assert designation(80.0, mean_thrust(80.0, 1.24)) == "F65"


@given(st.floats(0.01, 0.5))
def test_a_triangle_by_hand(share: float) -> None:
    # thrust rises over 1 s and falls over 3 s: above a share s of its peak for 4 (1 - s)
    t = np.array([0.0, 1.0, 4.0])
    force = np.array([0.0, 200.0, 0.0])
    assert burn_time(t, force, share) == pytest.approx(4 * (1 - share))
    assert total_impulse(t, force) == pytest.approx(400.0)
    start, end = threshold_times(t, force, share)
    assert float(start) == pytest.approx(share)
    assert float(end) == pytest.approx(4 - 3 * share)


def test_many_curves_at_once_and_a_dip_between_humps() -> None:
    t = np.array([[0, 1, 2, 3, 4], [0, 2, 4, 6, 8]], dtype=float)
    force = np.array([[0, 100, 0, 100, 0], [0, 100, 0, 100, 0]], dtype=float)
    start, end = threshold_times(t, force, 0.05)
    assert (end - start).tolist() == pytest.approx([3.9, 7.8])


@pytest.mark.parametrize(
    ("time", "thrust"),
    [([0, 1], [0, 1, 2]), ([0, 2, 1], [0, 1, 0]), ([0, 1], [0, 0]), ([0, 1], [0, float("nan")]), ([0], [1])],
)
def test_bad_curves_are_refused(time: list[float], thrust: list[float]) -> None:
    with pytest.raises(CalcError):
        burn_time(time, thrust)
