"""Whether ranges keep what they promise: how often measured values fell into them, and where in them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from app.calc.base.errors import OutOfRange
from app.calc.stats.multiple_comparisons import share_interval

PROMISED = 0.90
"""Share of measured values that a predicted range is to hold [-]."""

FEW = 10
"""Below this many values hardly anything is told [-]: eight or more of ten would be expected by chance alone."""

SURE = 0.05
"""Probability by chance alone [-] below which predictions are called high or low; a customary choice."""


@dataclass(frozen=True)
class Interval:
    """A share [-] and the range that holds the true one at the stated confidence."""

    share: float
    low: float
    high: float


def at_most(hits: int, n: int, share: float) -> float:
    """Give the probability of so few hits, or fewer, where each try hits with a known share.

    Parameters
    ----------
    hits, n : int
        How many of how many [-].
    share : float
        Of tries that hit [-].

    Returns
    -------
    float
        Probability [-].

    Raises
    ------
    OutOfRange
        No try, or more hits than tries.

    Notes
    -----
    Exact, by the binomial distribution.

    References
    ----------
    The binomial distribution, e.g. NIST/SEMATECH e-Handbook 1.3.6.6.18 (from memory).

    Examples
    --------
    >>> round(at_most(0, 2, 0.9), 4)
    0.01
    """
    if n < 1 or not 0 <= hits <= n:
        raise OutOfRange("hits", f"{hits} of {n} cannot be.", "Count again.")
    from scipy.special import bdtr  # here: it would cost a fifth of the program's start

    return float(bdtr(hits, n, share))


def sign_test(above: int, n: int) -> float:
    """Give the probability that a fair coin falls at least as unevenly as this, to either side.

    Parameters
    ----------
    above, n : int
        How many of how many lie above the middle [-].

    Returns
    -------
    float
        Probability [-].

    Raises
    ------
    OutOfRange
        No value, or more above than there are.

    Notes
    -----
    Exact, by counting.

    References
    ----------
    J. Arbuthnott, Phil. Trans. 27 (1710) 186; W. J. Conover, Practical Nonparametric Statistics, 3.4 (from memory).

    Examples
    --------
    >>> round(sign_test(1, 10), 4)
    0.0215
    """
    if n < 1 or not 0 <= above <= n:
        raise OutOfRange("above", f"{above} of {n} cannot be.", "Count again.")
    ways = of_k = 1  # of n values, k above: whole numbers, each from the one before
    for k in range(min(above, n - above)):
        of_k = of_k * (n - k) // (k + 1)
        ways += of_k
    return min(1.0, ways / (1 << (n - 1)))


def place(value: float, low: float, high: float) -> float:
    """Tell where a value lies in its range.

    Parameters
    ----------
    value, low, high : float
        Measured value and its range, one unit [-], low below high.

    Returns
    -------
    float
        0 at the low mark, 1 at the high one; outside, below 0 or above 1 [-].

    Raises
    ------
    OutOfRange
        The range is empty.

    Notes
    -----
    On a logarithm's scale where all three are above zero, as the spreads are.

    Examples
    --------
    >>> round(place(2.0, 1.0, 4.0), 3), place(4.0, 1.0, 4.0)
    (0.5, 1.0)
    """
    if not low < high:
        raise OutOfRange("low", "the range is empty.", "Give low below high.")
    if low > 0 and value > 0:
        return math.log(value / low) / math.log(high / low)
    return (value - low) / (high - low)


@dataclass(frozen=True)
class Verdict:
    """How often ranges held: counts, interval, and what can be said of it in words."""

    n: int
    hits: int
    interval: Interval
    words: str


def verdict(places: Sequence[float], promised: float = PROMISED) -> Verdict:
    """Judge ranges by where measured values fell in them.

    Parameters
    ----------
    places : sequence of float
        From `place` [-]; at least one.
    promised : float
        Share that a range is to hold [-].

    Returns
    -------
    Verdict
        With 95 % interval of the share [-].

    Raises
    ------
    OutOfRange
        There is none.

    Notes
    -----
    Says only what the exact interval allows: with one value nothing, with two that both ranges missed.
    Both ends of a range count as inside.

    References
    ----------
    `multiple_comparisons.share_interval`, `at_most`, `sign_test`.

    Examples
    --------
    >>> verdict([0.5, 0.6, 1.2]).hits
    2
    """
    n, hits = len(places), sum(0 <= p <= 1 for p in places)
    if n == 0:
        raise OutOfRange("places", "there is none.", "Fire and measure a motor first.")
    found = Interval(hits / n, *share_interval(hits, n))
    if found.high < promised:
        chance = at_most(hits, n, promised)
        often = f"1 time in {float(f'{1 / chance:.2g}'):.0f}" if chance > 1e-4 else "less than 1 time in 10000"
        words = (
            f"Too narrow, most likely: {n - hits} of {n} fell outside; where nine in ten hold, chance alone does that "
            f"{often}."
        )
        words += " So few values tell it of these firings only." if n < FEW else ""
    elif found.low > promised:
        words = "The ranges were wider than need be."
    elif n < FEW:
        words = (
            "Too few to tell: 1 measured value cannot show whether nine in ten hold."
            if n == 1
            else f"Too few to tell: {hits} of {n} inside is no proof either way whether nine in ten hold."
        )
    else:
        words = f"In keeping with nine in ten, as far as {n} values can tell."
    above = sum(p > 0.5 for p in places)
    if n >= FEW and sign_test(above, n) < SURE:
        words += f" {above} of {n} lie above the middle: predictions are {'low' if above > n / 2 else 'high'}."
    return Verdict(n, hits, found, words)
