"""Fits against NIST's certified answers, to the digits printed, and against SciPy."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy.stats import linregress

from app.calc.base.constants import Floats
from app.calc.base.errors import CalcError, NoSolution, OutOfRange
from app.calc.stats.least_squares import Fitted, fit, line
from tests.published import published


def columns(name: str) -> tuple[Floats, Floats]:
    rows = published(name)
    return np.array([float(r["y"]) for r in rows]), np.array([float(r["x"]) for r in rows])


def printed(value: float, text: str) -> bool:
    """Whether a value, written with as many digits, is what is printed."""
    digits = len(text.partition("E")[0].replace(".", "").replace("-", "").lstrip("0"))
    return f"{value:.{digits - 1}E}" == f"{float(text):.{digits - 1}E}"


def test_a_line_gives_nists_certified_answer_for_norris() -> None:
    y, x = columns("nist_norris.csv")
    found = line(x, y)
    # the last of fifteen certified digits is below what double precision of such data holds
    assert found.values[0] == pytest.approx(-0.262323073774029, rel=1e-11)
    assert found.values[1] == pytest.approx(1.00211681802045, rel=1e-13)
    assert found[0].se == pytest.approx(0.232818234301152, rel=1e-11)
    assert found[1].se == pytest.approx(0.429796848199937e-03, rel=1e-11)


def power(x: Floats, b: Floats) -> Floats:
    made: Floats = b[0] * x ** b[1]
    return made


def power_slopes(x: Floats, b: Floats) -> Floats:
    return np.stack([x ** b[1], b[0] * x ** b[1] * np.log(x)], axis=1)


def adsorption(x: Floats, b: Floats) -> Floats:
    made: Floats = b[0] * -np.expm1(-b[1] * x)
    return made


def adsorption_slopes(x: Floats, b: Floats) -> Floats:
    return np.stack([-np.expm1(-b[1] * x), b[0] * x * np.exp(-b[1] * x)], axis=1)


@pytest.mark.parametrize(
    ("name", "model", "slopes", "start", "values", "errors", "rss"),
    [
        (
            "danwood",
            power,
            power_slopes,
            start,
            ("7.6886226176E-01", "3.8604055871E+00"),
            ("1.8281973860E-02", "5.1726610913E-02"),
            "4.3173084083E-03",
        )
        for start in ((1.0, 5.0), (0.7, 4.0))
    ]
    + [
        (
            "misra1a",
            adsorption,
            adsorption_slopes,
            start,
            ("2.3894212918E+02", "5.5015643181E-04"),
            ("2.7070075241E+00", "7.2668688436E-06"),
            "1.2455138894E-01",
        )
        for start in ((500.0, 1e-4), (250.0, 5e-4))
    ],
)
def test_fits_give_nists_certified_answers(
    name: str,
    model: Callable[[Floats, Floats], Floats],
    slopes: Callable[[Floats, Floats], Floats],
    start: tuple[float, float],
    values: tuple[str, str],
    errors: tuple[str, str],
    rss: str,
) -> None:
    y, x = columns(f"nist_{name}.csv")
    found = fit(lambda b: model(x, b) - y, start, lambda b: slopes(x, b))
    for i in range(2):
        assert printed(found[i].value, values[i])
        assert printed(found[i].se, errors[i])
    assert printed(float(found.residuals @ found.residuals), rss)


def test_a_line_with_known_errors_is_scipys_weighted_line() -> None:
    x = np.array([0.0, 1.0, 2.0, 4.0, 7.0])
    y = np.array([1.1, 2.9, 5.2, 8.8, 15.3])
    sd = np.array([0.1, 0.2, 0.1, 0.3, 0.2])
    found = line(x, y, sd)
    slope, covariance = np.polyfit(x, y, 1, w=1 / sd, cov="unscaled")
    assert found.values == pytest.approx(slope[::-1], rel=1e-10)
    assert found.covariance == pytest.approx(covariance[::-1, ::-1], rel=1e-9)
    plain = line(x, y)
    other = linregress(x, y)
    assert plain[1].se == pytest.approx(other.stderr, rel=1e-10)
    assert plain[0].se == pytest.approx(other.intercept_stderr, rel=1e-10)
    low, high = plain[1].interval(0.95)
    assert high - low == pytest.approx(2 * 3.182446 * other.stderr, rel=1e-6)  # Student's t, 3 degrees, tables


def test_errors_widen_where_neighbours_go_together() -> None:
    chance = np.random.default_rng(3)
    x = np.linspace(0, 1, 400)
    hits = {True: 0, False: 0}
    for _ in range(200):
        noise = np.zeros(400)
        for i in range(1, 400):
            noise[i] = 0.8 * noise[i - 1] + chance.normal(0, 0.1)
        for together in hits:

            def off(b: Floats, noise: Floats = noise) -> Floats:
                made: Floats = b[0] + b[1] * x - 2 - x - noise
                return made

            found = fit(off, [0.0, 0.0], lambda _b: np.stack([np.ones_like(x), x], axis=1), correlated=together)
            low, high = found[1].interval(0.90)
            hits[together] += low <= 1.0 <= high
    assert hits[True] >= 170  # of 200: nine in ten
    assert hits[False] < 120  # as if neighbours were strangers


def test_refusals() -> None:
    x = np.linspace(0, 1, 9)
    with pytest.raises(NoSolution, match="does not show"):
        fit(lambda b: b[0] * x - 1, [1.0, 1.0], lambda _b: np.stack([x, 0 * x], axis=1))
    with pytest.raises(NoSolution, match="told apart"):
        fit(lambda b: (b[0] + b[1]) * x - 1, [1.0, 1.0], lambda _b: np.stack([x, x], axis=1))
    with pytest.raises(OutOfRange):
        fit(lambda b: np.array([b[0] - 1]), [0.0], lambda _b: np.ones((1, 1)))
    with pytest.raises(CalcError, match="one place"):
        line([1.0, 1.0, 1.0], [1.0, 2.0, 3.0])
    with pytest.raises(OutOfRange):
        line([0.0, 1.0], [1.0, 2.0])
    with pytest.raises(OutOfRange):
        line([0.0, 1.0, 2.0], [1.0, 2.0, 3.0], [0.1, 0.0, 0.1])
    assert Fitted(1.0, 0.1).interval(0.95) == pytest.approx((1 - 0.1959964, 1 + 0.1959964))
    assert math.isinf(Fitted(1.0, 0.1).freedom)
