"""Control charts and small samples: whether a grain or a lot differs by more than its fellows do.

Few grains and fewer firings: limits are told only with enough points, and two means are put in order only
when their intervals stand apart.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from app.calc.base.constants import positive, within
from app.calc.base.errors import OutOfRange

ENOUGH = 8
"""Points below which an individuals chart has no limits [-]; Grainbook's own choice, the handbook names none."""

D2_OF_TWO = 1.128
"""Mean range of two values of a normal distribution over its standard deviation [-]; NIST/SEMATECH 6.3.2.2."""


@dataclass(frozen=True)
class IndividualsLimits:
    """Centre, mean moving range, lower and upper limit, in the unit of the values; `sigma` is the range over d2."""

    n: int
    centre: float
    moving_range: float
    lower: float
    upper: float

    @property
    def sigma(self) -> float:
        """The standard deviation that the moving range stands for."""
        return self.moving_range / D2_OF_TWO


FACTORS = {
    8: (3.040, 4.711),
    9: (3.025, 4.406),
    10: (3.003, 4.175),
    12: (2.965, 3.852),
    15: (2.920, 3.560),
    20: (2.858, 3.300),
    25: (2.820, 3.161),
    30: (2.796, 3.069),
    40: (2.762, 2.960),
    60: (2.727, 2.853),
    100: (2.700, 2.778),
    200: (2.681, 2.711),
}
"""Half width of limits over the mean moving range [-] by the number of values, so that 0.27 % of good normal ones fall
outside: for the first or last of the values themselves, whose places are judged most readily, and for one yet to come.
By simulation, three million charts each (seeded again in the tests). Published short-run factors (Hillier 1969, Pyzdek)
take the ranges for independent, which those of neighbours are not: for a value to come they are 4.1 at 8 and 3.0 at 25
(from memory), and leave more false alarms."""


@dataclass(frozen=True)
class ShortRunLimits:
    """Limits widened for how little a few values know of their own scatter, in the unit of the values.

    `lower` and `upper` judge the values that they come from, `next_*` the next one.
    """

    lower: float
    upper: float
    next_lower: float
    next_upper: float


def short_run(limits: IndividualsLimits) -> ShortRunLimits:
    """Widen the limits of an individuals chart so that a small sample does not call good values strange.

    Parameters
    ----------
    limits : IndividualsLimits
        Of at least `ENOUGH` values [their unit].

    Returns
    -------
    ShortRunLimits
        For the values and for one to come [their unit].

    Raises
    ------
    OutOfRange
        With fewer values.

    Notes
    -----
    Centre ± factor × mean moving range, the factor from `FACTORS`, straight in 1/n between its rows, 3 / 1.128 for
    endlessly many. A value outside takes part in its own limits, so that limits for a value to come would let nearly
    everything pass if used for those that made them: each kind has its own.

    References
    ----------
    Two stages of short runs: Hillier, J. Quality Technology 1 (1969) 17; for single values Elam & Case, J. Mod. Appl.
    Stat. Meth. 7 (2008) 275. The factors are this book's, by simulation.

    Examples
    --------
    >>> found = short_run(IndividualsLimits(8, 10.0, 1.0, 7.34, 12.66))
    >>> found.upper, found.next_upper
    (13.04, 14.711)
    """
    if limits.n < ENOUGH:
        raise OutOfRange("limits", f"{limits.n} values know their scatter too badly.", f"Give at least {ENOUGH}.")
    known = sorted(FACTORS, reverse=True)
    at = [0.0] + [1 / n for n in known]
    columns = ([3 / D2_OF_TWO] + [FACTORS[n][kind] for n in known] for kind in (0, 1))
    own, to_come = (limits.moving_range * float(np.interp(1 / limits.n, at, column)) for column in columns)
    centre = limits.centre
    return ShortRunLimits(centre - own, centre + own, centre - to_come, centre + to_come)


def individuals_limits(values: Iterable[float]) -> IndividualsLimits:
    """Limits of an individuals chart from the moving range of neighbours.

    Parameters
    ----------
    values : iterable of float, shape (n,)
        Single values in order of time, in any one unit, for example shares of ideal density [-].

    Returns
    -------
    IndividualsLimits
        Mean, mean moving range and limits in the unit of `values`.

    Raises
    ------
    OutOfRange
        With fewer than two values, or one that is not finite.

    Notes
    -----
    Centre ± 3 MR̄ / 1.128, as printed. Two values are enough to compute, not to trust: see `short_run`. A trend within
    the lot widens the limits less than a sample deviation would, so that it shows.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.

    Examples
    --------
    >>> found = individuals_limits([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
    >>> round(found.centre, 2), round(found.moving_range, 4), round(found.lower, 4), round(found.upper, 4)
    (50.81, 1.8778, 45.8159, 55.8041)
    """
    found = _finite("values", values, 2)
    centre = math.fsum(found) / len(found)
    moving = math.fsum(abs(b - a) for a, b in pairwise(found)) / (len(found) - 1)
    reach = 3 * moving / D2_OF_TWO
    return IndividualsLimits(len(found), centre, moving, centre - reach, centre + reach)


@dataclass(frozen=True)
class Ewma:
    """Weighted averages after each value (the target first), and their limits, in the unit of the values."""

    values: tuple[float, ...]
    lower: float
    upper: float

    @property
    def outside(self) -> tuple[int, ...]:
        """Places, from 0 for the first value, after which the average stands outside its limits."""
        return tuple(i for i, v in enumerate(self.values[1:]) if not self.lower <= v <= self.upper)


def ewma(values: Iterable[float], target: float, sigma: float, weight: float = 0.3) -> Ewma:
    """Exponentially weighted moving average: it sees a small lasting shift sooner than single values do.

    Parameters
    ----------
    values : iterable of float, shape (n,)
        Single values in order of time, in any one unit, for example shares of ideal density [-].
    target : float
        Where the process should stand; the average starts here [their unit].
    sigma : float
        Standard deviation of single values [their unit].
    weight : float
        Share of the newest value [-], above 0, at most 1; the handbook uses 0.3.

    Returns
    -------
    Ewma
        n + 1 averages and the limits target ± 3 sigma √(weight / (2 - weight)).

    Raises
    ------
    OutOfRange
        If a value is not finite, the deviation is not positive, or the weight is outside 0 to 1.

    Notes
    -----
    The limits are those of a long run; for the first few values they are wider than need be.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4.

    Examples
    --------
    >>> found = ewma([52.0, 47.0, 53.0], target=50, sigma=2.0539)
    >>> [round(v, 2) for v in found.values], round(found.upper, 4), round(found.lower, 4)
    ([50.0, 50.6, 49.52, 50.56], 52.5884, 47.4116)
    """
    found = _finite("values", values, 0)
    positive("sigma", sigma, "Give a standard deviation above zero.")
    within("weight", weight, 1e-6, 1.0, "Give a weight above 0 and at most 1.")
    averages = [float(target)]
    for value in found:
        averages.append(weight * value + (1 - weight) * averages[-1])
    reach = 3 * sigma * math.sqrt(weight / (2 - weight))
    return Ewma(tuple(averages), target - reach, target + reach)


@dataclass(frozen=True)
class Sample:
    """A sample in three numbers: how many values, their mean and their standard deviation (n - 1)."""

    n: int
    mean: float
    sd: float


@dataclass(frozen=True)
class MeanInterval:
    """A mean with the range that holds the true one at the stated confidence, in the unit of the values."""

    n: int
    mean: float
    low: float
    high: float
    confidence: float


def _students_t(freedom: float, confidence: float) -> float:
    """Half width of an interval over its standard error [-], by Student's t."""
    from scipy.special import stdtrit  # here: it would cost a fifth of the program's start

    return float(stdtrit(freedom, 0.5 + confidence / 2))


def _chance(freedom: float, t: float) -> float:
    """Probability [-] of Student's t at least so far from zero, on either side."""
    from scipy.special import stdtr

    return 2 * float(stdtr(freedom, -abs(t)))


def mean_interval(sample: Sample, confidence: float = 0.95) -> MeanInterval:
    """How well a small sample knows its mean.

    Parameters
    ----------
    sample : Sample
        At least two values, in any one unit.
    confidence : float
        Of the interval [-], between 0.5 and 0.999.

    Returns
    -------
    MeanInterval
        Mean ± t s / √n, in the unit of the sample.

    Raises
    ------
    OutOfRange
        With fewer than two values, or a confidence out of range.

    Notes
    -----
    Takes the values for independent and about normal. With two values the interval is wide: t is 12.7.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.2.

    Examples
    --------
    >>> found = mean_interval(Sample(195, 9.261460, 0.02278881))
    >>> round(found.low, 6), round(found.high, 6)
    (9.258241, 9.264679)
    """
    _enough("sample", sample)
    within("confidence", confidence, 0.5, 0.999, "Give a confidence such as 0.95.")
    reach = _students_t(sample.n - 1, confidence) * sample.sd / math.sqrt(sample.n)
    return MeanInterval(sample.n, sample.mean, sample.mean - reach, sample.mean + reach, confidence)


@dataclass(frozen=True)
class MeanComparison:
    """Two means: the first less the second with its interval, degrees of freedom, and the order if there is one.

    `p` is the probability [-] of a difference as large by chance alone.
    """

    first: MeanInterval
    second: MeanInterval
    difference: float
    low: float
    high: float
    freedom: float
    order: int
    p: float

    @property
    def ranked(self) -> bool:
        """Whether the samples are apart enough to be put in order."""
        return self.order != 0


def compare_means(first: Sample, second: Sample, confidence: float = 0.95) -> MeanComparison:
    """Compare two small samples without assuming equal spread, and rank them only if they stand apart.

    Parameters
    ----------
    first, second : Sample
        At least two values each, in one unit.
    confidence : float
        Of every interval [-].

    Returns
    -------
    MeanComparison
        Difference of means with Welch's interval, in the unit of the samples; `order` [-] is 1 if the first is
        larger, -1 if smaller, 0 where the intervals of the two means overlap: then no order is given.

    Raises
    ------
    OutOfRange
        With fewer than two values in a sample, or a confidence out of range.

    Notes
    -----
    Intervals that do not touch are a stricter test than a difference whose interval leaves out zero; strict on
    purpose, since many lots get compared.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.3 (variances not assumed equal).

    Examples
    --------
    >>> found = compare_means(Sample(249, 20.14458, 6.41470), Sample(79, 30.48101, 6.10771))
    >>> round(found.freedom, 1), found.order
    (136.9, -1)
    >>> compare_means(Sample(3, 0.95, 0.01), Sample(4, 0.96, 0.01)).ranked
    False
    """
    mine, other = mean_interval(first, confidence), mean_interval(second, confidence)
    difference = first.mean - second.mean
    a, b = first.sd**2 / first.n, second.sd**2 / second.n
    if a + b > 0:
        # shares rather than squares of squares, which would underflow for tiny deviations
        mine_of_it, other_of_it = a / (a + b), b / (a + b)
        freedom = 1 / (mine_of_it**2 / (first.n - 1) + other_of_it**2 / (second.n - 1))
        reach = _students_t(freedom, confidence) * math.sqrt(a + b)
        p = _chance(freedom, difference / math.sqrt(a + b))
    else:
        freedom, reach, p = float(first.n + second.n - 2), 0.0, 1.0 if difference == 0 else 0.0
    order = 1 if mine.low > other.high else -1 if mine.high < other.low else 0
    return MeanComparison(mine, other, difference, difference - reach, difference + reach, freedom, order, p)


def _enough(name: str, sample: Sample) -> None:
    if sample.n < 2:
        raise OutOfRange(name, f"{sample.n} value has no spread.", "Give at least two values.")
    for value in (sample.mean, sample.sd):
        if not math.isfinite(value):
            raise OutOfRange(name, "a number is not finite.", "Give measured values.")
    if sample.sd < 0:
        raise OutOfRange(name, "a standard deviation is never negative.", "Give 0 or more.")


def _finite(name: str, values: Iterable[float], least: int) -> list[float]:
    found = [float(v) for v in values]
    if len(found) < least:
        raise OutOfRange(name, f"{len(found)} values are not enough.", f"Give at least {least}.")
    if not all(math.isfinite(v) for v in found):
        raise OutOfRange(name, "a value is not finite.", "Give measured values.")
    return found
