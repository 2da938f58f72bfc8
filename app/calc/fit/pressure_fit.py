"""From a measured burn back to the propellant: burn rate, c* efficiency, nozzle efficiency, and a law of its own.

The chamber march (`chamber`) is run again and again with other values until its pressure lies on the measured one.
So web against time, free volume, throat growth and tail-off are those of the prediction itself. What is fitted is a
factor on the motor's burn law, never a new band; a law a P^n is fitted beside it where the pressure ranges enough.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from app.calc.base.constants import Floats, finite_array
from app.calc.base.errors import NoSolution, OutOfRange
from app.calc.fit.sample_blocks import Blocks, blocks
from app.calc.motor.arrays import Arrays
from app.calc.motor.assembly import Motor, motor_arrays
from app.calc.motor.chamber import march
from app.calc.propellant.burn_rate import BurnLaw
from app.calc.stats.least_squares import Fit, Fitted, fit

GAUGE = 0.01
"""How far a gauge may bend between the pressures of a burn [-]: an assumption."""

REPEAT = 0.003
"""How well a gauge and a cell repeat from one firing to the next [-]: an assumption. How far their scales may be off is
the stand's own error, the same in all of its firings: `partial_pooling.STAND`."""

THROAT, CORE = 0.05e-3, 0.15e-3
"""Standard uncertainty of a throat's and a core's diameter [m], as in `spread.Spread`."""

MASS = 0.002
"""Standard uncertainty of the propellant's mass [-]: scale and tube."""

FITTED_FROM = 0.15
"""Share of the peak above which pressure is fitted [-]: below it the igniter and the tail speak."""


_STEP = 1e-4  # of a logarithm, and of the burn's length, for derivatives


@dataclass(frozen=True)
class PressureFit:
    """What a pressure curve says.

    Attributes
    ----------
    rate : Fitted
        ln of the burn rate over the motor's law [-].
    c_star : Fitted
        ln of c* over the ideal one [-].
    start : float
        When the motor was lit, in the record's time [s].
    pressure : float
        Mean pressure over the burn, at which the rate is best known [Pa].
    low, high : float
        Pressures between which the middle 90 % of the burn lay [Pa].
    deviation : float
        Of measured from fitted pressure [Pa].
    correlation : float
        Of neighbouring residuals; near zero where only noise is left [-].
    """

    rate: Fitted
    c_star: Fitted
    start: float
    pressure: float
    low: float
    high: float
    deviation: float
    correlation: float


@dataclass(frozen=True)
class LawFit:
    """A law r = a P^n from one curve: ln r [ln(m/s)] at a pressure [Pa], n, and their covariance (2, 2)."""

    log_rate: Fitted
    exponent: Fitted
    covariance: Floats
    pressure: float
    low: float
    high: float


def _output_fit(base: Arrays, seen: Blocks, change: Callable[[Arrays, Floats], Arrays], start: Floats) -> Fit:
    """Fit by the march itself: the last parameter is the moment of lighting [s], the others are `change`'s."""
    scale = float(seen.value.max())
    k = len(start)
    steps = np.diag([_STEP] * (k - 1) + [_STEP * float(np.ptp(seen.time))])

    def run(points: Floats) -> Floats:
        _, burn = next(march(change(base.repeat(len(points)), points[:, :-1])))
        rows = zip(burn.time, burn.pressure, points[:, -1], strict=True)
        return seen.mean(np.stack([np.interp(seen.time - lit, t, p) for t, p, lit in rows])) / scale

    def residuals(x: Floats) -> Floats:
        return np.asarray(run(x[None])[0] - seen.value / scale)

    def jacobian(x: Floats) -> Floats:
        both = run(np.concatenate([x + steps, x - steps]))
        return np.asarray(((both[:k] - both[k:]) / (2 * np.diag(steps)[:, None])).T)

    return fit(residuals, start, jacobian, correlated=True, tolerance=1e-6)


def _burn(time: Floats, pressure: Floats) -> tuple[Blocks, float]:
    """The stretch of a record that is fitted, and when the pressure rose through half of its peak [s]."""
    t, p = finite_array("time", time), finite_array("pressure", pressure)
    if len(t) < 30:
        raise OutOfRange("curve", f"{len(t)} samples are too few to fit.", "Record faster.")
    above = np.flatnonzero(p >= FITTED_FROM * p.max())
    low, high = int(above[0]), int(above[-1]) + 1
    seen = blocks(t[low:high], p[low:high])
    return seen, float(t[int(np.argmax(p >= 0.5 * p.max()))])


def _begin(arrays: Arrays, seen: Blocks, half: float, n: float) -> Floats:
    """First guess: ln rate by the time above the threshold, ln c* by the area, lighting by the rise [-], [-], [s]."""
    _, burn = next(march(arrays))
    t, p = burn.time[0], burn.pressure[0]
    above = np.flatnonzero(p >= FITTED_FROM * p.max())
    part = slice(int(above[0]), int(above[-1]) + 1)
    lasted, area = float(np.ptp(t[part])), float(np.trapezoid(p[part], t[part]))
    lasts = float(np.ptp(seen.time))
    pushes = lasts * float(seen.value.mean())
    rate = math.log(lasted / lasts) - n * math.log(pushes / lasts / (area / lasted))
    return np.array([rate, math.log(pushes / area), half - float(t[int(np.argmax(p >= 0.5 * p.max()))])])


def _middle(seen: Blocks) -> tuple[float, float, float]:
    """Mean pressure over the burn and the 5 and 95 % marks of it by time [Pa]."""
    low, high = np.quantile(seen.value, (0.05, 0.95))
    return float(seen.value.mean()), float(low), float(high)


def fit_pressure(motor: Motor, time: Floats, pressure: Floats) -> PressureFit:
    """Fit burn rate and c* efficiency to a chamber pressure.

    Parameters
    ----------
    motor : Motor
        Its grains, throat and law; its own efficiencies are where the fit begins.
    time, pressure : ndarray
        Record of the burn [s], [Pa] absolute, shape (N,).

    Returns
    -------
    PressureFit
        Logarithms [-] with standard errors of the fit.

    Raises
    ------
    CalcError
        Too few samples, or the motor cannot be brought to such a pressure.

    Notes
    -----
    The two are told apart because the area under the curve gives c* and the time gives the rate. Errors hold the
    scatter about the fit, widened where neighbours go together (then the model misses something); what the instruments
    add stands in `reading_errors`.

    References
    ----------
    Output-error method: L. Ljung, System Identification (from memory). c*: Sutton & Biblarz, Rocket Propulsion
    Elements.

    Examples
    --------
    >>> from app.calc.motor.simulation import example, simulate
    >>> run = simulate(example())
    >>> t = np.linspace(0.0, 1.6, 400)
    >>> found = fit_pressure(example(), t, np.interp(t, run.time, run.pressure))
    >>> abs(found.rate.value) < 1e-3, round(math.exp(found.c_star.value), 3)
    (True, 0.95)
    """
    seen, half = _burn(time, pressure)
    base = motor_arrays([motor])

    def change(arrays: Arrays, x: Floats) -> Arrays:
        return arrays.changed(rate_scale=arrays.rate_scale * np.exp(x[:, 0]), c_star=arrays.c_star * np.exp(x[:, 1]))

    mean, low, high = _middle(seen)
    found = _output_fit(base, seen, change, _begin(base, seen, half, local_exponent(motor.propellant.law, mean)))
    rate, c_star = found[0], found[1]
    return PressureFit(
        rate=rate,
        c_star=Fitted(c_star.value + math.log(motor.c_star_efficiency), c_star.se, c_star.freedom),
        start=float(found.values[2]),
        pressure=mean,
        low=low,
        high=high,
        deviation=found.deviation * float(seen.value.max()),
        correlation=found.correlation,
    )


def reading_errors(motor: Motor, pressure: float) -> tuple[float, float, float]:
    """Tell what repeats badly: gauge, cell, callipers and scale from one firing to the next, however well it is fitted.

    Parameters
    ----------
    motor : Motor
        Its throat, core and law.
    pressure : float
        Mean chamber pressure [Pa].

    Returns
    -------
    rate, c_star, nozzle : tuple of float
        Standard uncertainty of the logarithm of each [-]; to be added to a fit's own in quadrature.

    Raises
    ------
    CalcError
        The pressure is not positive.

    Notes
    -----
    Rate: the web by the core's diameter, the pressure by n. c*: throat, gauge, mass. Nozzle: throat, gauge, cell.

    References
    ----------
    Propagation: JCGM 100 (GUM), 5.1.6. `REPEAT`, `THROAT`, `CORE`, `MASS`: assumptions of this book.

    Examples
    --------
    >>> from app.calc.motor.simulation import example
    >>> [round(100 * sd, 1) for sd in reading_errors(example(), 3e6)]
    [0.6, 0.9, 0.9]
    """
    throat = 2 * THROAT / motor.throat_d
    web = CORE / 2 / min(grain.web for grain in motor.grains)
    n = local_exponent(motor.propellant.law, pressure)
    return math.hypot(web, n * REPEAT), math.hypot(throat, REPEAT, MASS), math.hypot(throat, REPEAT, REPEAT)


def local_exponent(law: BurnLaw, pressure: float) -> float:
    """Give the exponent of a law about a pressure.

    Parameters
    ----------
    law : BurnLaw
        Published, own or borrowed.
    pressure : float
        [Pa].

    Returns
    -------
    float
        d ln r / d ln P over 5 % to either side [-].

    Raises
    ------
    CalcError
        The pressure is not positive.

    Notes
    -----
    Near a joint of bands it lies between the exponents of both.

    Examples
    --------
    >>> from app.calc.propellant.burn_laws import published_law
    >>> round(local_exponent(published_law("sucrose"), 3e6), 3)
    0.319
    """
    return float(np.log(law.rate(1.05 * pressure) / law.rate(pressure / 1.05)) / (2 * np.log(1.05)))


def fit_law(motor: Motor, time: Floats, pressure: Floats) -> LawFit:
    """Fit a law r = a P^n to a chamber pressure.

    Parameters
    ----------
    motor : Motor
        Its grains and throat; its law is only where the fit begins.
    time, pressure : ndarray
        Record of the burn [s], [Pa] absolute, shape (N,).

    Returns
    -------
    LawFit
        ln of the rate [ln(m/s)] at the mean pressure [Pa] and at the law's reference temperature, and n [-].

    Raises
    ------
    CalcError
        Too few samples, or the pressure hardly changes, so that n cannot be told.

    Notes
    -----
    Level and slope are given at the mean pressure, where they are nearly independent. Valid between `low` and `high`
    only. c* and the moment of lighting are fitted beside them.

    References
    ----------
    Saint-Robert's or Vieille's law: Sutton & Biblarz, Rocket Propulsion Elements; as `fit_pressure`.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from app.calc.propellant.burn_laws import power_law
    >>> from app.calc.motor.simulation import example, simulate
    >>> law = power_law(8.26, 0.319, 1e5, 1e7)
    >>> motor = replace(example(), propellant=replace(example().propellant, law=law))
    >>> run = simulate(motor)
    >>> t = np.linspace(0.0, 2.2, 600)
    >>> round(fit_law(motor, t, np.interp(t, run.time, run.pressure)).exponent.value, 2)
    0.32
    """
    seen, half = _burn(time, pressure)
    mean, low, high = _middle(seen)
    law = motor.propellant.law
    base = motor_arrays([motor])
    ones = np.ones(1)
    base = base.changed(
        law_origin=math.log(mean) * ones,
        law_level=math.log(float(law.rate(mean))) * ones,
        law_slope=local_exponent(law, mean) * ones,
        law_bends=np.zeros_like(base.law_bends),
    )

    def change(arrays: Arrays, x: Floats) -> Arrays:
        return arrays.changed(
            law_level=x[:, 0], law_slope=np.clip(x[:, 1], -0.95, 0.95), c_star=arrays.c_star * np.exp(x[:, 2])
        )

    rate, c_star, lit = _begin(base, seen, half, float(base.law_slope[0]))
    first = np.array([base.law_level[0] + rate, base.law_slope[0], c_star, lit])
    found = _output_fit(base, seen, change, first)
    if abs(found.values[1]) >= 0.95:
        raise NoSolution("exponent", "the pressure changes too little to tell n.", "Use a core that widens more.")
    return LawFit(found[0], found[1], found.covariance[:2, :2], mean, low, high)
