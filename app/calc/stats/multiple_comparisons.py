"""Several comparisons at once: of twenty at 95 % one shows a difference by chance, so they are judged together."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from app.calc.base.constants import within
from app.calc.base.errors import OutOfRange
from app.calc.stats.control_charts import MeanComparison, Sample, compare_means


def holm(chances: Sequence[float]) -> list[float]:
    """Probabilities of several comparisons, each raised for there being several.

    Parameters
    ----------
    chances : sequence of float, shape (m,)
        Probability of each difference by chance alone [-].

    Returns
    -------
    list of float, shape (m,)
        Adjusted probabilities [-], in the order given, at most 1.

    Raises
    ------
    OutOfRange
        If one of them is not between 0 and 1.

    Notes
    -----
    The least is multiplied by m, the next by m - 1, and so on; none is less than the one before it. Holds whether or
    not the comparisons depend on each other.

    References
    ----------
    S. Holm, A simple sequentially rejective multiple test procedure, Scand. J. Statist. 6 (1979) 65-70.

    Examples
    --------
    >>> [round(p, 3) for p in holm([0.01, 0.04, 0.03, 0.005])]
    [0.03, 0.06, 0.06, 0.02]
    """
    for chance in chances:
        within("chances", chance, 0.0, 1.0, "Give probabilities.")
    adjusted, so_far = [0.0] * len(chances), 0.0
    for done, i in enumerate(sorted(range(len(chances)), key=lambda i: chances[i])):
        so_far = max(so_far, min(1.0, (len(chances) - done) * chances[i]))
        adjusted[i] = so_far
    return adjusted


@dataclass(frozen=True)
class Pair:
    """Two samples of several, by their places: how they compare, the adjusted probability [-], and their order."""

    first: int
    second: int
    means: MeanComparison
    p: float
    order: int


def compare_all(samples: Sequence[Sample], confidence: float = 0.95) -> list[Pair]:
    """Compare every two of several samples; put two in order only where they stand apart among all of them.

    Parameters
    ----------
    samples : sequence of Sample, shape (m,)
        At least two values each, all in one unit [-].
    confidence : float
        Of every interval, and of all orders together [-].

    Returns
    -------
    list of Pair, shape (m (m - 1) / 2,)
        `order` [-] is 1 if the first is larger, -1 if smaller, 0 where no order can be told.

    Raises
    ------
    OutOfRange
        With fewer than two values in a sample, or a confidence out of range.

    Notes
    -----
    Two gates: the intervals of the two means must not overlap, and Welch's test, adjusted by Holm for the number of
    pairs, must leave less than 1 - confidence to chance. Any unit.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.3; S. Holm, Scand. J. Statist. 6 (1979) 65-70.

    Examples
    --------
    >>> pairs = compare_all([Sample(6, 0.98, 0.01), Sample(5, 0.97, 0.02), Sample(6, 0.85, 0.03)])
    >>> [(pair.first, pair.second, pair.order) for pair in pairs]
    [(0, 1, 0), (0, 2, 1), (1, 2, 1)]
    """
    places = [(i, j) for i in range(len(samples)) for j in range(i + 1, len(samples))]
    means = [compare_means(samples[i], samples[j], confidence) for i, j in places]
    chances = holm([m.p for m in means])
    return [
        Pair(i, j, m, p, m.order if p < 1 - confidence else 0)
        for (i, j), m, p in zip(places, means, chances, strict=True)
    ]


def exact_chance(a: int, b: int, c: int, d: int) -> float:
    """Whether two shares of a count differ: Fisher's exact test of a table of two by two, both sides.

    Parameters
    ----------
    a, b : int
        Of the one kind: how many are so, and how many are not [-].
    c, d : int
        The same of the other kind [-].

    Returns
    -------
    float
        Probability of a table as unlikely or more so with the same sums, by chance alone [-].

    Raises
    ------
    OutOfRange
        If a count is negative.

    Notes
    -----
    Exact for any counts; with few it can hardly become small, which is as it should be.

    References
    ----------
    R. A. Fisher, The Design of Experiments (1935), ch. II; the tables counted are those no more likely than this one,
    as scipy.stats.fisher_exact counts them.

    Examples
    --------
    The lady who told whether milk or tea came first, three right of four:

    >>> round(exact_chance(3, 1, 1, 3), 4)
    0.4857
    """
    if min(a, b, c, d) < 0:
        raise OutOfRange("a", "a count is never negative.", "Count again.")
    so, ones, others = a + c, a + b, c + d
    least, most = max(0, so - others), min(ones, so)
    ways = [math.comb(ones, least) * math.comb(others, so - least)]
    for k in range(least, most):  # in whole numbers from one table to the next, exactly
        ways.append(ways[-1] * (ones - k) * (so - k) // ((k + 1) * (others - so + k + 1)))
    mine = ways[a - least]
    return sum(w for w in ways if w <= mine) / sum(ways)


def share_interval(so: int, n: int, confidence: float = 0.95) -> tuple[float, float]:
    """The range that holds the true share behind a count.

    Parameters
    ----------
    so, n : int
        How many are so, of how many [-].
    confidence : float
        At least this, of the interval [-].

    Returns
    -------
    tuple of float
        Lower and upper share [-].

    Raises
    ------
    OutOfRange
        If there are none, more are so than there are, or the confidence is out of range.

    Notes
    -----
    Exact, and rather too wide than too narrow: one of one leaves 2.5 % to 100 %.

    References
    ----------
    Clopper & Pearson, Biometrika 26 (1934) 404-413; by the beta distribution as scipy.stats.binomtest has it.

    Examples
    --------
    >>> low, high = share_interval(4, 5)
    >>> round(low, 4), round(high, 4)
    (0.2836, 0.9949)
    """
    from scipy.special import betaincinv

    within("confidence", confidence, 0.5, 0.999, "Give a confidence such as 0.95.")
    if n < 1 or not 0 <= so <= n:
        raise OutOfRange("so", f"{so} of {n} is no share.", "Count again.")
    tail = (1 - confidence) / 2
    low = float(betaincinv(so, n - so + 1, tail)) if so else 0.0
    high = float(betaincinv(so + 1, n - so, 1 - tail)) if so < n else 1.0
    return low, high
