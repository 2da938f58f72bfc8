"""Whether two measured things go together, by rank, with the interval that few pairs leave.

Going together is all that is told here: nothing in these numbers says that one makes the other.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from app.calc.base.constants import Floats, finite_array, within
from app.calc.base.errors import OutOfRange

ENOUGH_PAIRS = 10
"""Pairs below which nothing is said of going together [-]; Grainbook's own choice: fewer leave an interval that
reaches from hardly anything to nearly everything."""


@dataclass(frozen=True)
class Association:
    """Spearman's coefficient [-] with its interval, and the probability [-] of one as large by chance alone."""

    n: int
    rho: float
    low: float
    high: float
    p: float
    confidence: float


def ranks(values: Iterable[float]) -> Floats:
    """Places in order of size, from 1; equal values share the mean of their places.

    Parameters
    ----------
    values : iterable of float, shape (n,)
        Finite values in any one unit [-].

    Returns
    -------
    ndarray, shape (n,)
        Ranks [-].

    Raises
    ------
    CalcError
        One of the values is infinite or not a number.

    Notes
    -----
    Any unit.

    References
    ----------
    Kendall & Gibbons, Rank Correlation Methods, ch. 3 (mid-ranks), from memory.

    Examples
    --------
    >>> ranks([5.0, 1.0, 5.0, 7.0]).tolist()
    [2.5, 1.0, 2.5, 4.0]
    """
    found = finite_array("values", np.fromiter(values, dtype=np.float64))
    _, place, count = np.unique(found, return_inverse=True, return_counts=True)
    last = np.cumsum(count)
    shared: Floats = last - (count - 1) / 2
    return shared[place]


def rank_association(x: Iterable[float], y: Iterable[float], confidence: float = 0.95) -> Association:
    """Spearman's rank correlation with its interval: 1 where both rise together, -1 where one falls as the other rises.

    Parameters
    ----------
    x, y : iterable of float, shape (n,)
        Pairs of values, each in any one unit [-].
    confidence : float
        Of the interval [-], between 0.5 and 0.999.

    Returns
    -------
    Association
        Coefficient, interval and probability [-].

    Raises
    ------
    OutOfRange
        Not as many x as y, fewer than four pairs, all values of one side alike, or a confidence out of range.
    CalcError
        One of the values is infinite or not a number.

    Notes
    -----
    By rank, so that one odd firing does not make the whole figure, and a bent line counts like a straight one. The
    interval is Fisher's, with the standard error √((1 + ρ²/2)/(n - 3)) of its transform; it is rough below some 25
    pairs and for coefficients above 0.9. In perfect order, where it would have no width, it is that of the order with
    two neighbours swapped, and the probability is that of one order of n! or its reverse. Pairs are taken for
    independent: motors of one lot are less than that.

    References
    ----------
    Bonett & Wright, Psychometrika 65 (2000) 23-28, for the standard error; the probability by Student's t with n - 2
    degrees of freedom, as scipy.stats.spearmanr has it.

    Examples
    --------
    >>> found = rank_association([1, 2, 3, 4, 5, 6, 7], [1, 3, 2, 5, 4, 7, 6])
    >>> round(found.rho, 3), round(found.low, 2), round(found.high, 2)
    (0.893, 0.27, 0.99)
    """
    within("confidence", confidence, 0.5, 0.999, "Give a confidence such as 0.95.")
    first, second = ranks(x), ranks(y)
    n = len(first)
    if len(second) != n:
        raise OutOfRange("y", f"{len(second)} values beside {n}.", "Give pairs.")
    if n < 4:
        raise OutOfRange("x", f"{n} pairs are not enough.", "Give at least four.")
    a, b = first - first.mean(), second - second.mean()
    size = math.sqrt(float(a @ a) * float(b @ b))
    if size == 0:
        raise OutOfRange("x", "all values of one side are alike.", "Nothing can go together with what never differs.")
    rho = max(-1.0, min(1.0, float(a @ b) / size))
    low, high, p = _interval(rho, n, confidence)
    return Association(n, rho, low, high, p, confidence)


def _interval(rho: float, n: int, confidence: float) -> tuple[float, float, float]:
    from scipy.special import ndtri, stdtr  # here: it would cost a fifth of the program's start

    perfect = abs(rho) > 1 - 1e-12
    near = math.copysign(1 - 12 / (n * (n * n - 1)), rho) if perfect else rho  # 1 - 6 sum of d squared / (n (n² - 1))
    middle = math.atanh(near)
    reach = float(ndtri(0.5 + confidence / 2)) * math.sqrt((1 + near * near / 2) / (n - 3))
    low, high = math.tanh(middle - reach), math.tanh(middle + reach)
    if perfect:
        return (low, 1.0, 2 / math.factorial(n)) if rho > 0 else (-1.0, high, 2 / math.factorial(n))
    t = abs(rho) * math.sqrt((n - 2) / (1 - rho * rho))
    return low, high, 2 * float(stdtr(n - 2, -t))
