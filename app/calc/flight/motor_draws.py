"""Motors as a flight draws them: impulse and burn time over the expected ones."""

from dataclasses import dataclass
from functools import cache
from math import log
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike

from app.calc.base.constants import Floats, within

_HIGH = NormalDist().inv_cdf(0.95)


@dataclass(frozen=True)
class MotorDraws:
    """Motors as drawn, each as impulse and burn time over the expected ones [-], equally long."""

    impulse: ArrayLike
    time: ArrayLike


def drawn_from_marks(low: float, high: float, time_low: float, time_high: float, samples: int = 256) -> MotorDraws:
    """Motors from nothing but the 5 and 95 % marks of their impulse and burn time.

    Parameters
    ----------
    low, high : float
        Marks of the impulse over the expected one [-].
    time_low, time_high : float
        Marks of the burn time over the expected one [-].
    samples : int
        How many [-].

    Returns
    -------
    MotorDraws
        Shares [-].

    Raises
    ------
    OutOfRange
        Marks that do not lie about one.

    Notes
    -----
    Each side of one is log-normal with its own width; impulse and burn time are taken as independent, which they are
    not quite: a motor that burns fast wastes a little less.

    References
    ----------
    An assumption of this book, no source.

    Examples
    --------
    >>> drawn = drawn_from_marks(0.9, 1.1, 0.8, 1.25)
    >>> [round(float(v), 2) for v in np.quantile(drawn.impulse, (0.05, 0.5, 0.95))]
    [0.9, 1.0, 1.1]
    """
    for name, value in (("low", low), ("time_low", time_low)):
        within(name, value, 0.01, 1.0, "The 5 % mark lies below the middle.")
    for name, value in (("high", high), ("time_high", time_high)):
        within(name, value, 1.0, 100.0, "The 95 % mark lies above the middle.")
    rng = np.random.default_rng(7)
    z, other = normal_marks(samples), rng.permutation(normal_marks(samples))

    def about_one(z: Floats, low: float, high: float) -> Floats:
        shares: Floats = np.exp(z / _HIGH * np.where(z > 0, log(high), -log(low)))
        return shares

    return MotorDraws(about_one(z, low, high), about_one(other, time_low, time_high))


def shares_about(mid: float, low: float | None, high: float | None) -> tuple[float, float]:
    """Give the marks of a figure as shares of its expected value, for `drawn_from_marks`.

    Parameters
    ----------
    mid : float
        As expected [-].
    low, high : float or None
        5 and 95 % marks, in the same unit [-].

    Returns
    -------
    tuple of float
        Both about one [-]; one where a mark is not known.

    Notes
    -----
    A mark on the other side of the expected value counts as that value.

    References
    ----------
    An assumption of this book, no source.

    Examples
    --------
    >>> shares_about(100.0, 80.0, 130.0), shares_about(100.0, None, None)
    ((0.8, 1.3), (1.0, 1.0))
    """
    if low is None or high is None or not mid > 0:
        return 1.0, 1.0
    return min(max(low / mid, 0.05), 1.0), min(max(high / mid, 1.0), 20.0)


@cache
def _even(samples: int) -> tuple[float, ...]:
    return tuple(NormalDist().inv_cdf((i + 0.5) / samples) for i in range(samples))


def normal_marks(samples: int) -> Floats:
    """Give evenly spaced marks of a standard normal.

    Parameters
    ----------
    samples : int
        How many [-].

    Returns
    -------
    ndarray
        Rising, shape (samples,) [-].

    Notes
    -----
    The middle of each of as many equal shares.

    References
    ----------
    statistics.NormalDist.

    Examples
    --------
    >>> normal_marks(3).round(3).tolist()
    [-0.967, 0.0, 0.967]
    """
    return np.array(_even(samples))
