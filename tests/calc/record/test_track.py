"""Heights of a flight against closed forms; slopes against SciPy; pressures against the 1976 standard.

The flights are made of constant acceleration, free fall without air, and steady descents: everything that is found has
its closed form (kinematics), and is found to rounding where there is no noise.
"""

import numpy as np
import pytest
from scipy.stats import theilslopes

from app.calc.base.atmosphere import atmosphere
from app.calc.base.constants import STANDARD_GRAVITY, Floats
from app.calc.base.errors import CalcError, OutOfRange
from app.calc.record.barometer import pressure_altitude
from app.calc.record.columns import HEIGHT_UNITS, guess_height
from app.calc.record.track import analyse, find_spikes, robust_slope
from tests.published import half_digit, published

LAUNCH, THRUST, BURN, DROGUE, MAIN, MAIN_AT = 3.0, 60.0, 1.5, 22.0, 6.0, 150.0
COAST = THRUST * BURN / STANDARD_GRAVITY
APOGEE = THRUST * BURN**2 / 2 + (THRUST * BURN) ** 2 / (2 * STANDARD_GRAVITY)
AT = BURN + COAST
MAIN_TIME = AT + (APOGEE - MAIN_AT) / DROGUE
LANDING = MAIN_TIME + MAIN_AT / MAIN


def flown(rate: float = 20.0, until: float = LANDING + 10, ground: float = 0.0) -> tuple[Floats, Floats]:
    """Times and heights of a flight in closed form, over the pad."""
    t = np.arange(0, LAUNCH + until, 1 / rate)
    s = t - LAUNCH
    pieces = [
        0 * s,
        THRUST * s**2 / 2,
        APOGEE - STANDARD_GRAVITY / 2 * (s - AT) ** 2,
        APOGEE - DROGUE * (s - AT),
        MAIN_AT - MAIN * (s - MAIN_TIME),
        ground + 0 * s,
    ]
    late = MAIN_TIME + (MAIN_AT - ground) / MAIN
    return t, np.select([s < 0, s < BURN, s < AT, s < MAIN_TIME, s < late], pieces[:5], pieces[5])


@pytest.mark.parametrize("rate", [100.0, 20.0, 10.0, 5.0, 2.0, 1.0])
@pytest.mark.parametrize("zero", [0.0, 412.5])
def test_apogee_descents_and_landing_are_those_of_the_closed_form(rate: float, zero: float) -> None:
    t, h = flown(rate)
    found = analyse(t, h + zero)
    assert found.apogee == pytest.approx(APOGEE, abs=1e-6)
    assert found.apogee_time == pytest.approx(AT, abs=1e-6)
    assert found.launch == pytest.approx(LAUNCH, abs=1e-6)
    assert found.pad == pytest.approx(zero)
    assert [d.rate for d in found.descents] == pytest.approx([DROGUE, MAIN], abs=1e-6)
    assert found.descents[0].end == pytest.approx(MAIN_TIME, abs=1.0)
    assert found.landing_time == pytest.approx(LANDING, abs=1e-6)
    assert found.ground == pytest.approx(0.0)
    assert (found.before, found.topped, found.spikes) == (True, True, ())


def test_noise_and_spikes_leave_the_figures_nearly_where_they_are() -> None:
    t, h = flown()
    s = t - LAUNCH
    misses = []
    for seed in range(20):
        noisy = h + np.random.default_rng(seed).normal(0, 0.5, t.size)
        noisy[np.abs(s - AT - 0.4) < 0.12] -= 60.0  # the ejection's pressure
        noisy[np.abs(s - MAIN_TIME - 0.2) < 0.08] += 25.0
        found = analyse(t, noisy)
        assert [x.size for x in found.spikes] == pytest.approx([-60.0, 25.0], abs=6.0)
        assert [x.time - LAUNCH for x in found.spikes] == pytest.approx([AT + 0.4, MAIN_TIME + 0.2], abs=0.2)
        assert [d.rate for d in found.descents] == pytest.approx([DROGUE, MAIN], abs=0.1)
        assert found.landing_time == pytest.approx(LANDING, abs=0.3)
        assert found.noise == pytest.approx(0.5, abs=0.2)
        misses.append(found.apogee - APOGEE)
    assert np.abs(misses).max() < 1.5
    assert abs(np.mean(misses)) < 0.3


def test_a_spike_at_the_top_is_no_apogee() -> None:
    t, h = flown()
    h[np.abs(t - LAUNCH - AT) < 0.1] += 80.0
    found = analyse(t, h)
    assert found.apogee == pytest.approx(APOGEE, abs=0.1)
    assert len(found.spikes) == 1
    assert found.spikes[0].size == pytest.approx(80.0, abs=2.0)


def test_one_steady_descent_is_one() -> None:
    t = np.arange(0, 90, 0.1)
    s = np.clip(t - 2, 0, 10)
    h = 98 * s - 4.9 * s**2 - np.clip(7 * (t - 12), 0, 490)
    found = analyse(t, h)
    assert [d.rate for d in found.descents] == pytest.approx([7.0])
    assert found.landing_time is not None
    assert found.launch + found.landing_time == pytest.approx(82.0)


def test_landing_on_a_slope_and_a_told_pad() -> None:
    t, h = flown(ground=-40.0, until=LANDING + 20)
    found = analyse(t, h)
    assert found.ground == pytest.approx(-40.0)
    assert found.landing_time == pytest.approx(MAIN_TIME + 190.0 / MAIN, abs=1e-6)
    aloft = t > LAUNCH + 1.0
    begun = analyse(t[aloft], h[aloft], pad=0.0)
    assert begun.apogee == pytest.approx(APOGEE)
    assert not begun.before
    assert begun.launch == t[aloft][0]


def test_a_record_that_ends_in_the_air() -> None:
    t, h = flown()
    cut = analyse(t[t < LAUNCH + MAIN_TIME - 2], h[t < LAUNCH + MAIN_TIME - 2])
    assert cut.landing_time is None
    assert [d.rate for d in cut.descents] == pytest.approx([DROGUE], abs=1e-6)
    climbing = analyse(t[t < LAUNCH + AT - 1], h[t < LAUNCH + AT - 1])
    assert not climbing.topped
    assert climbing.descents == ()


@pytest.mark.parametrize("heights", [np.zeros(500), np.random.default_rng(3).normal(0, 1, 500), np.linspace(0, 5, 500)])
def test_what_never_flew_is_refused(heights: Floats) -> None:
    with pytest.raises(CalcError, match="never rises") as fault:
        analyse(np.arange(500) / 10, heights)
    assert fault.value.field == "height_column"


def test_a_median_of_slopes_is_scipys() -> None:
    """scipy.stats.theilslopes, SciPy 1.17."""
    chance = np.random.default_rng(7)
    for _ in range(20):
        x = np.sort(chance.uniform(0, 30, 60))
        y = 200 - 8 * x + chance.standard_t(2, 60)
        assert robust_slope(x, y) == pytest.approx(theilslopes(y, x).slope, rel=1e-12)
    with pytest.raises(CalcError):
        robust_slope(np.array([1.0]), np.array([1.0]))


def test_a_steep_climb_is_no_spike() -> None:
    t = np.arange(0, 20, 0.05)
    assert find_spikes(t, np.where(t < 2, 0.0, 250.0 * (t - 2))) == ()


@pytest.mark.parametrize("row", published("standard_atmosphere_1976.csv"), ids=lambda r: r["altitude"])
def test_pressure_altitude_is_the_standards(row: dict[str, str]) -> None:
    """U.S. Standard Atmosphere 1976, Table I, read from pressure to altitude; within what its printed digits leave."""
    pressure, half = float(row["pressure"]), half_digit(row["pressure"])
    low, high = (pressure_altitude([pressure + sign * half])[0] for sign in (1, -1))
    assert low <= float(row["altitude"]) <= high


def test_pressure_altitude_undoes_the_atmosphere() -> None:
    z = np.linspace(-1000, 45_000, 400)
    assert pressure_altitude([atmosphere(float(x)).pressure for x in z]) == pytest.approx(z, abs=1e-6)
    for wrong in ([101_325.0, 50.0], [200_000.0]):
        with pytest.raises(OutOfRange, match="no air pressure"):
            pressure_altitude(wrong)


@pytest.mark.parametrize(
    ("heads", "scale", "expected"),
    [
        (("Time (s)", "Altitude (m)"), 1.0, (1, "s", 2, "m")),
        (("t_ms", "alt ft"), 1.0, (1, "ms", 2, "ft")),
        (("", ""), 1.0, (1, "s", 2, "m")),
        (("time", "Pressure (hPa)"), 1.0, (1, "s", 2, "hPa")),
        (("time", "baro mbar"), 1.0, (1, "s", 2, "hPa")),
        (("time", "pressure"), 1000.0, (1, "s", 2, "hPa")),
        (("", ""), 98_000.0, (1, "s", 2, "Pa")),
    ],
)
def test_columns_are_guessed(heads: tuple[str, str], scale: float, expected: tuple[int, str, int, str]) -> None:
    t = np.arange(0, 5, 0.05)
    height = np.sin(t) if scale == 1.0 else scale + np.sin(t)
    if heads[0] == "t_ms":
        t = t * 1000
    assert guess_height([t, height], heads) == expected


def test_units_are_the_exact_ones() -> None:
    """International foot of 1959, 0.3048 m; NIST SP 811 (from memory)."""
    assert HEIGHT_UNITS == {"m": 1.0, "ft": 0.3048, "Pa": 1.0, "hPa": 100.0, "kPa": 1000.0}
