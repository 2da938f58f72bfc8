"""How many of the grains cast will be good: rejects come in spoiled pans, so the melt is the unit, not the grain.

In a melt of n grains each is rejected with a probability of its own pan, drawn anew for each melt from a beta
distribution of mean m and correlation rho between two grains of a melt: the good ones are beta-binomial. m and rho are
not known either; what the workshop's record says of them is laid on a stated prior.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

from app.calc.base.constants import Floats, within
from app.calc.base.errors import OutOfRange

PRIOR_MEAN = 0.05
"""Share rejected where nothing is on record [-]: one in twenty, an assumption, no source."""

PRIOR_GRAINS = 10.0
"""How many grains of an own record that assumption is worth [-]: Grainbook's own choice."""

CORRELATIONS = (0.02, 0.06, 0.12, 0.20, 0.35)
"""Correlations between two grains of a melt that are thought of [-]; equally likely before a record: an assumption.

From grains that hardly know of each other to a pan that spoils a third of what is in it at once."""

_LARGE = 48
"""Melts of more grains than this are put together by Fourier's way, which is quicker then."""

_NODES = 24
"""Means taken for each correlation: those of so many equal shares of its probability."""

_FINE = 1200
"""Means on which that is worked out."""

MOST_GRAINS = 5000
"""More of a pattern at once than this are not counted through [-]."""


@dataclass(frozen=True)
class RejectBelief:
    """What is believed of a pattern's rejects: pairs of mean and correlation [-], each with its weight [-]."""

    mean: tuple[float, ...]
    correlation: tuple[float, ...]
    weight: tuple[float, ...]
    none: bool = field(default=False, kw_only=True)
    """Whether no reject is counted on at all."""

    @property
    def expected(self) -> float:
        """The share expected to be rejected."""
        return float(np.dot(self.mean, self.weight))

    @property
    def clustering(self) -> float:
        """The correlation expected between two grains of a melt."""
        return float(np.dot(self.correlation, self.weight))


NO_REJECTS = RejectBelief((0.0,), (0.02,), (1.0,), none=True)
"""Every grain counts as good."""


def rejects_by_melt(melts: Sequence[tuple[int, int]]) -> RejectBelief:
    """Learn a share of rejects, and how they come together, from melts on record.

    Parameters
    ----------
    melts : sequence of (int, int)
        Of each melt the grains rejected and the grains cast [-]; without any, the prior alone speaks.

    Returns
    -------
    RejectBelief
        Pairs of mean and correlation with their posterior weights [-].

    Raises
    ------
    OutOfRange
        More grains of a melt are rejected than were cast, or a number is below nought.

    Notes
    -----
    The prior of the mean is a beta distribution worth `PRIOR_GRAINS` grains with `PRIOR_MEAN` of them rejected, that of
    the correlation is even over `CORRELATIONS`. Each melt's likelihood is beta-binomial. For each correlation the means
    of even shares of the posterior stand for it.

    References
    ----------
    J. G. Skellam, J. R. Statist. Soc. B 10 (1948) 257 (the beta-binomial), from memory.

    Examples
    --------
    >>> scattered = rejects_by_melt([(1, 6), (0, 6), (1, 6), (0, 6), (1, 6), (1, 6)])
    >>> spoiled = rejects_by_melt([(4, 6), (0, 6), (0, 6), (0, 6), (0, 6), (0, 6)])
    >>> spoiled.clustering > scattered.clustering
    True
    """
    for rejected, cast in melts:
        _checked(rejected, cast)
    counted = [(rejected, cast) for rejected, cast in melts if cast]
    rejected, cast = sum(r for r, _ in counted), sum(n for _, n in counted)
    size = cast / len(counted) if counted else 1.0
    return _posterior(rejected, cast, size, counted)


def rejects_in_all(rejected: int, cast: int, melt_size: int) -> RejectBelief:
    """Learn a share of rejects where only the sums over all melts are known.

    Parameters
    ----------
    rejected, cast : int
        Grains rejected, and grains cast, over all melts [-].
    melt_size : int
        Grains in a usual melt [-].

    Returns
    -------
    RejectBelief
        Pairs of mean and correlation with their weights [-].

    Raises
    ------
    OutOfRange
        More are rejected than were cast, a number is below nought, or a melt holds none.

    Notes
    -----
    Sums say nothing of how rejects come together: the correlation keeps its prior. Grains that go together tell less of
    the mean than as many that do not, so that the counts are divided by the design effect 1 + (size - 1) rho before
    they are laid on the prior, a beta distribution then and after.

    References
    ----------
    J. N. K. Rao, A. J. Scott, Biometrics 48 (1992) 577 (counts over their design effect), from memory.

    Examples
    --------
    >>> round(rejects_in_all(4, 89, melt_size=4).expected, 3)
    0.046
    """
    _checked(rejected, cast)
    if melt_size < 1:
        raise OutOfRange("melt_size", "a melt has one grain or more.", "Give the usual number.")
    return _posterior(rejected, cast, float(melt_size), [])


def _checked(rejected: int, cast: int) -> None:
    if rejected < 0 or cast < rejected:
        raise OutOfRange(
            "rejects",
            f"{rejected} of {cast} grains cannot have been rejected.",
            "Give first how many were rejected, then how many were cast, rejects included.",
        )


@lru_cache(maxsize=256)
def _cached(rejected: int, cast: int, size: float, melts: tuple[tuple[int, int], ...]) -> RejectBelief:
    from scipy.special import betaln, xlog1py, xlogy

    fourth = (np.arange(_FINE) + 0.5) / _FINE
    mean, width = fourth**4, 4 * fourth**3  # closer together towards nought, where most of the chance is
    prior_a, prior_b = PRIOR_MEAN * PRIOR_GRAINS, (1 - PRIOR_MEAN) * PRIOR_GRAINS
    means, chances = [], []
    for rho in CORRELATIONS:
        if melts:
            strength = (1 - rho) / rho
            alpha, beta = mean * strength, (1 - mean) * strength
            a, b = prior_a, prior_b
            log = sum(betaln(bad + alpha, of - bad + beta) - betaln(alpha, beta) for bad, of in melts)
        else:
            effect = 1.0 + (size - 1.0) * rho
            a, b = prior_a + rejected / effect, prior_b + (cast - rejected) / effect
            log = -betaln(a, b)
        log = log + xlogy(a - 1, mean) + xlog1py(b - 1, -mean) + np.log(width / _FINE)
        means.append(_NODES * _mean_of_shares(mean, np.exp(log - log.max())))
        chances.append(np.log(np.exp(log - log.max()).sum()) + log.max())
    weight = np.exp(np.array(chances) - max(chances))
    each = np.repeat(weight / weight.sum() / _NODES, _NODES)
    nodes = np.clip(np.concatenate(means), 1e-9, 1 - 1e-9)
    return RejectBelief(tuple(nodes.tolist()), tuple(np.repeat(CORRELATIONS, _NODES).tolist()), tuple(each.tolist()))


def _mean_of_shares(mean: Floats, weight: Floats) -> Floats:
    """The part of the mean that lies in each of as many equal shares of the probability."""
    whole = np.concatenate([[0.0], np.cumsum(weight)]) / weight.sum()
    moment = np.concatenate([[0.0], np.cumsum(weight * mean)]) / weight.sum()
    found: Floats = np.diff(np.interp(np.linspace(0, 1, _NODES + 1), whole, moment))
    return found


def _posterior(rejected: int, cast: int, size: float, melts: Sequence[tuple[int, int]]) -> RejectBelief:
    return _cached(rejected, cast, size, tuple(sorted(melts)))


def good_in_melt(size: int, mean: Floats, correlation: Floats) -> Floats:
    """Tell how likely each number of good grains of one melt is.

    Parameters
    ----------
    size : int
        Grains in the melt [-].
    mean, correlation : ndarray
        Share rejected and correlation within the melt [-], of one shape (k).

    Returns
    -------
    ndarray
        Probabilities [-] of 0, 1, ... size good ones, shape (k, size + 1).

    Notes
    -----
    Beta-binomial with alpha = m s, beta = (1 - m) s, s = (1 - rho)/rho. Correlations above nought.

    References
    ----------
    J. G. Skellam 1948, from memory; compared with scipy.stats.betabinom.

    Examples
    --------
    >>> good_in_melt(1, np.array([0.25]), np.array([0.1])).round(6).tolist()
    [[0.25, 0.75]]
    """
    from scipy.special import betaln, gammaln

    strength = (1 - correlation) / correlation
    alpha, beta = (mean * strength)[:, None], ((1 - mean) * strength)[:, None]
    good = np.arange(size + 1.0)
    choose = gammaln(size + 1) - gammaln(good + 1) - gammaln(size - good + 1)
    found: Floats = np.exp(choose + betaln(size - good + alpha, good + beta) - betaln(alpha, beta))
    return found


class GoodGrains:
    """The chances of good grains of one pattern, for melts of any sizes; each melt is worked out once."""

    def __init__(self, belief: RejectBelief, full_melt: int) -> None:
        self.belief = belief
        self.full_melt = max(full_melt, 1)
        self._mean, self._correlation = np.array(belief.mean), np.array(belief.correlation)
        self._weight = np.array(belief.weight)
        self._melts: dict[int, Floats] = {}
        self._full: list[Floats] = [np.ones((len(self._mean), 1))]
        self._tails: dict[int, Floats] = {}

    def at_least(self, need: int, cast: int) -> float:
        """The chance that so many are good of so many cast in melts that are full, but for the last one."""
        if need <= 0:
            return 1.0
        if need > cast:
            return 0.0
        if self.belief.none:
            return 1.0
        if cast not in self._tails:
            full, rest = divmod(cast, self.full_melt)
            while len(self._full) <= full:
                self._full.append(_together(self._full[-1], self._melt(self.full_melt)))
            self._tails[cast] = self._tail(_together(self._full[full], self._melt(rest)) if rest else self._full[full])
        return float(self._tails[cast][need])

    def at_least_of(self, need: int, melts: Sequence[int]) -> float:
        """The chance that so many are good of these melts, each with so many cast."""
        if need <= 0:
            return 1.0
        if need > sum(melts):
            return 0.0
        if self.belief.none:
            return 1.0
        whole = self._full[0]
        for size in melts:
            whole = _together(whole, self._melt(size))
        return float(self._tail(whole)[need])

    def _melt(self, size: int) -> Floats:
        if size not in self._melts:
            self._melts[size] = good_in_melt(size, self._mean, self._correlation)
        return self._melts[size]

    def _tail(self, by_pair: Floats) -> Floats:
        found: Floats = np.cumsum((self._weight @ by_pair)[::-1])[::-1]
        return found


def _together(one: Floats, other: Floats) -> Floats:
    """The chances of the sum of two numbers that do not know of each other, row by row."""
    if one.shape[1] < other.shape[1]:
        one, other = other, one
    if other.shape[1] > _LARGE:
        from scipy.signal import fftconvolve

        found: Floats = np.clip(fftconvolve(one, other, axes=1), 0.0, None)
        return found
    total = np.zeros((one.shape[0], one.shape[1] + other.shape[1] - 1))
    for i in range(other.shape[1]):
        total[:, i : i + one.shape[1]] += one * other[:, i : i + 1]
    return total


def cast_for(
    need: dict[str, int],
    odds: dict[str, GoodGrains],
    confidence: float,
    at_least: dict[str, int],
    mass: dict[str, float],
) -> dict[str, int] | None:
    """Work out how many of each pattern to cast, so that all of them together are enough with that confidence.

    Parameters
    ----------
    need : dict of str to int
        Good grains needed of each pattern [-].
    odds : dict of str to GoodGrains
        The chances of each pattern's good grains [-].
    confidence : float
        Joint chance that is wanted of all patterns [-].
    at_least : dict of str to int
        Grains of each pattern that are cast in any case [-].
    mass : dict of str to float
        Mass of one grain of each pattern [kg].

    Returns
    -------
    dict of str to int or None
        Grains to cast of each pattern [-]; nothing where no number is enough.

    Raises
    ------
    OutOfRange
        The confidence is not between 0 and 1.

    Notes
    -----
    Each pattern alone must reach the joint chance; from there on one more is cast of that pattern which adds most to
    the logarithm of the chance by its mass. Patterns count as independent. Where two share a melt they go up and down
    together, and the true joint chance is at least the product.

    References
    ----------
    B. Fox, Operations Research 14 (1966) 210 (marginal analysis); J. D. Esary, F. Proschan, D. W. Walkup, Ann. Math.
    Statist. 38 (1967) 1466 (association): both from memory.

    Examples
    --------
    >>> sure = GoodGrains(NO_REJECTS, 4)
    >>> cast_for({"A": 7}, {"A": sure}, 0.9, {}, {"A": 0.17})
    {'A': 7}
    """
    within("confidence", confidence, 0.0, 0.999, "Give a share below one, such as 0.9.")
    cast = {}
    for pattern, wanted in need.items():
        found = _alone(wanted, odds[pattern], confidence, at_least.get(pattern, 0))
        if found is None:
            return None
        cast[pattern] = found
    chance = {pattern: odds[pattern].at_least(need[pattern], cast[pattern]) for pattern in need}
    while need and np.prod(list(chance.values())) < confidence:
        more = {pattern: odds[pattern].at_least(need[pattern], cast[pattern] + 1) for pattern in need if need[pattern]}
        best = max(more, key=lambda p: (np.log(more[p] / chance[p]) / mass[p], p))
        if more[best] <= chance[best] or cast[best] >= MOST_GRAINS:
            return None
        cast[best] += 1
        chance[best] = more[best]
    for pattern in sorted(need, key=lambda p: -mass[p]):  # a grain too many, where another's came later
        while cast[pattern] > max(need[pattern], at_least.get(pattern, 0)):
            fewer = {**chance, pattern: odds[pattern].at_least(need[pattern], cast[pattern] - 1)}
            if np.prod(list(fewer.values())) < confidence:
                break
            cast[pattern], chance = cast[pattern] - 1, fewer
    return cast


def _alone(need: int, odds: GoodGrains, confidence: float, start: int) -> int | None:
    """The least number cast that reaches the chance for one pattern; the chance grows with each grain."""
    low = max(need, start)
    if odds.at_least(need, low) >= confidence:
        return low
    step = 1
    while odds.at_least(need, low + step) < confidence:
        low, step = low + step, step * 2
        if low + step > min(MOST_GRAINS, 8 * need + 64):
            return None
    high = low + step
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if odds.at_least(need, middle) >= confidence else (middle, high)
    return high
