"""Gas along a core: against a printed table, and in the limit of a wide core."""

from math import pi

import pytest

from app.calc.base.errors import OutOfRange
from app.calc.motor.core_flow import head_excess, mach_in_port
from app.calc.motor.isentropic import flow_function, pressure_ratio
from app.models.workshop import LEAST_PORT


# from memory: NACA Report 1135 (1953), table I, k 1.4: M 0.30, A/A* 2.0351; M 0.50, 1.3398; M 0.20, 2.9635
@pytest.mark.parametrize(("mach", "ratio"), [(0.2, 2.9635), (0.3, 2.0351), (0.5, 1.3398)])
def test_the_mach_number_in_a_core_is_that_of_the_printed_table(mach: float, ratio: float) -> None:
    assert mach_in_port(ratio, 1.4) == pytest.approx(mach, abs=5e-5)


@pytest.mark.parametrize("ratio", [1.5, 2.25, 4.0])
def test_momentum_is_conserved_along_a_core(ratio: float) -> None:
    """What leaves a core carries mass flow times velocity, and the pressure at its closed end holds that back."""
    k, area = 1.137, pi / 4 * 0.01**2
    mach = mach_in_port(ratio, k)
    still = 3e6  # at the open end, brought to rest
    open_end = still * float(pressure_ratio(mach, k))
    r_t = 1600.0 * 8.314462618 / 0.0399 / (1 + (k - 1) / 2 * mach**2)
    velocity = mach * (k * r_t) ** 0.5
    flow = open_end / r_t * velocity * area
    throat = still * (area / ratio) * flow_function(k) / (r_t * (1 + (k - 1) / 2 * mach**2)) ** 0.5
    assert flow == pytest.approx(throat, rel=1e-9)  # the same gas passes the throat
    closed_end = open_end * (1 + head_excess(ratio, k))
    assert (closed_end - open_end) * area == pytest.approx(flow * velocity, rel=1e-9)


def test_in_a_wide_core_nothing_is_felt() -> None:
    assert head_excess(100.0, 1.2) < 1e-4
    with pytest.raises(OutOfRange):
        head_excess(1.0, 1.2)


def test_a_new_books_mark_is_where_the_front_stands_a_tenth_above() -> None:
    assert head_excess(LEAST_PORT, 1.137) == pytest.approx(0.1, abs=0.002)
