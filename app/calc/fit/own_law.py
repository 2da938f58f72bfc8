"""A burn law a P^n of a workshop's own, from all its pressure curves of one formula together."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from app.calc.base.constants import Floats
from app.calc.base.errors import CalcError, OutOfRange
from app.calc.stats.least_squares import Fitted

WIDE_ENOUGH = 1.5
"""Highest over lowest pressure below which a law of its own is not offered [-]: Grainbook's own choice."""

LIMITS = (-0.95, 0.95)
"""Exponents that a law may have [-]: nearer to one, no motor is steady."""


@dataclass(frozen=True)
class Seen:
    """What one curve says: ln r [ln(m/s)] at a pressure [Pa], n, their covariance (2, 2), and its pressures [Pa]."""

    log_rate: float
    exponent: float
    covariance: Floats
    pressure: float
    low: float
    high: float


@dataclass(frozen=True)
class OwnLaw:
    """ln a, with a the rate at 1 MPa [m/s], and n, with errors; pressures it stands on [Pa], curves, scatter [-]."""

    log_a: Fitted
    exponent: Fitted
    low: float
    high: float
    curves: int
    scatter: float

    @property
    def rate_at_1_mpa(self) -> float:
        """The a of r = a P^n for P in MPa [m/s]."""
        return math.exp(self.log_a.value)


def gauge_error(exponent: float, low: float, high: float, gauge: float) -> float:
    """Give how far a gauge that bends may move an exponent.

    Parameters
    ----------
    exponent : float
        n of r = a P^n [-].
    low, high : float
        Pressures that it was measured between [Pa].
    gauge : float
        By how much more the gauge may be off at the one than at the other [-].

    Returns
    -------
    float
        Standard error of n [-]; it is the same for every curve of one gauge, so more curves do not lessen it.

    Raises
    ------
    OutOfRange
        The pressures do not rise.

    Notes
    -----
    In a steady chamber P^(1-n) = a rho c* Kn, so (1 - n) ln P follows ln Kn; a slope of ln P that is read too steep
    by gauge / ln(high / low) reads n too high by (1 - n) times that.

    References
    ----------
    The steady balance: Sutton & Biblarz, Rocket Propulsion Elements; propagation: JCGM 100 (GUM), 5.1.2.

    Examples
    --------
    >>> round(gauge_error(0.0, 2e6, 3e6, 0.01), 3)
    0.025
    """
    if not 0 < low < high:
        raise OutOfRange("curves", "the pressures do not rise.", "Give the lower one first.")
    return (1.0 - exponent) * gauge / math.log(high / low)


def own_law(seen: Sequence[Seen], scatter: float, gauge: float = 0.0) -> OwnLaw:
    """Fit one law a P^n to many curves.

    Parameters
    ----------
    seen : sequence of Seen
        One from each curve.
    scatter : float
        Spread of the rate from firing to firing [-], added to each level's own error.
    gauge : float
        By how much more the gauge may be off at the highest pressure than at the lowest [-].

    Returns
    -------
    OwnLaw
        a [m/s at 1 MPa], n [-], and the pressures [Pa] between which curves ran.

    Raises
    ------
    OutOfRange
        No curve, a scatter below zero, pressures too close together, or an exponent that no steady motor has.
    CalcError
        Level and slope cannot be told apart.

    Notes
    -----
    Each curve gives a level and a slope; levels at different pressures add to what is known of the slope. Weighted
    least squares with known errors: two unknowns, two rows a curve. Not to be carried beyond its pressures.

    References
    ----------
    Generalised least squares: A. C. Aitken, Proc. R. Soc. Edinburgh 55 (1936) 42 (from memory).

    Examples
    --------
    >>> at = lambda p: math.log(8.26e-3 * (p / 1e6) ** 0.319)
    >>> sure = np.diag([1e-4, 1e-2])
    >>> curves = [Seen(at(p), 0.319, sure, p, 0.9 * p, 1.1 * p) for p in (2e6, 4e6)]
    >>> found = own_law(curves, 0.02)
    >>> round(1e3 * found.rate_at_1_mpa, 2), round(found.exponent.value, 3)
    (8.26, 0.319)
    """
    if not seen:
        raise OutOfRange("curves", "there is none.", "Fire a motor with a pressure gauge.")
    if scatter < 0:
        raise OutOfRange("scatter", "is below zero.", "Give a spread.")
    low, high = min(s.low for s in seen), max(s.high for s in seen)
    if high < WIDE_ENOUGH * low:
        apart = math.floor(100 * high / low) / 100
        raise OutOfRange(
            "curves",
            f"the pressures lie within a factor of {apart:.2f}; {WIDE_ENOUGH:g} is the least.",
            "Fire with another throat, or with grains that widen more.",
        )
    information, pull = np.zeros((2, 2)), np.zeros(2)
    for s in seen:
        rows = np.array([[1.0, math.log(s.pressure / 1e6)], [0.0, 1.0]])
        weight = np.linalg.inv(s.covariance + np.diag([scatter**2, 0.0]))
        information += rows.T @ weight @ rows
        pull += rows.T @ weight @ np.array([s.log_rate, s.exponent])
    covariance = np.linalg.inv(information)
    values = covariance @ pull
    if not np.isfinite(values).all():
        raise CalcError("curves", "level and slope cannot be told apart.", "Fire at other pressures.")
    if not LIMITS[0] <= values[1] <= LIMITS[1]:
        raise OutOfRange("exponent", f"n = {values[1]:.2f} is none that a steady motor has.", "Look at the curves.")
    errors = np.sqrt(np.diag(covariance))
    errors[1] = math.hypot(errors[1], gauge_error(float(values[1]), low, high, gauge))
    return OwnLaw(
        Fitted(float(values[0]), float(errors[0])),
        Fitted(float(values[1]), float(errors[1])),
        low,
        high,
        len(seen),
        scatter,
    )
