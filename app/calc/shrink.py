"""What firings teach together: each says a little, the book's default holds against few of them, and yields to many.

Three logarithms are learned: of burn rate, c* efficiency and nozzle efficiency over the book's default. A firing i of
formula f in case c is taken as

    y_i = formula_f + case_c + chance_i,   seen as   d_i = H_i y_i + error_i

with y of three parts, formulas and cases drawn about nothing with the spreads of `Prior`, chance with what one firing
differs from the next (estimated from the firings, held near the default while they are few). All normal, so the answer
is one set of linear equations. A firing with pressure sees all three; thrust alone sees mixtures, which H holds.
"""

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from app.calc.constants import Floats, finite_array
from app.calc.errors import OutOfRange

CHANCE, CASE = 0.80, 0.05
"""Shares of a default variance that are put down to one firing differing from the next, and to the case [-]; the rest
is the formula's. Assumptions: three like firings then move the book by about two fifths of what they say, thirty by
nearly all of it."""

WEIGHT = 6.0
"""Firings that the default spread from firing to firing counts for against the one seen [-]: an assumption."""

FAR = 3.0
"""A mean this many default spreads from the default is told as hard to believe [-]."""

UNKNOWN = 0.02
"""Spread of an efficiency that a mixture holds besides what it is asked for [-]: the default's."""

RATE, C_STAR, NOZZLE = 0, 1, 2


@dataclass(frozen=True)
class Between:
    """Variance from one to the next beyond their own errors, Cochran's Q, degrees of freedom, and the mean and its
    standard error where there is one group."""

    variance: float
    q: float
    freedom: int
    mean: float
    se: float


def between(values: ArrayLike, errors: ArrayLike, groups: ArrayLike | None = None) -> Between:
    """Estimate how much values differ beyond their own errors.

    Parameters
    ----------
    values, errors : array_like
        Values and their standard errors, shape (N,), one unit [-].
    groups : array_like of int, optional
        Values are compared within a group only; one group if left out.

    Returns
    -------
    Between
        Variance in the square of the unit; mean of all values weighted with it.

    Raises
    ------
    OutOfRange
        No value, or an error that is not above zero.

    Notes
    -----
    Method of moments, never below nothing. With groups, Q and its weights are summed over them.

    References
    ----------
    R. DerSimonian, N. Laird, Controlled Clinical Trials 7 (1986) 177.

    Examples
    --------
    >>> found = between([0.1, 0.3, 0.5], [0.1, 0.1, 0.1])
    >>> round(found.variance, 4), round(found.q, 2), found.freedom
    (0.03, 8.0, 2)
    """
    y, sd = finite_array("values", values), finite_array("errors", errors)
    if len(y) == 0:
        raise OutOfRange("values", "there is none.", "Give at least one.")
    if (sd <= 0).any():
        raise OutOfRange("errors", "an error is not above zero.", "Give standard errors.")
    _, g = np.unique(np.zeros(len(y)) if groups is None else np.asarray(groups), return_inverse=True)
    w = sd**-2
    sums, squares = np.bincount(g, w), np.bincount(g, w**2)
    means = np.bincount(g, w * y) / sums
    q = float(w @ (y - means[g]) ** 2)
    freedom = len(y) - len(sums)
    spare = float((sums - squares / sums).sum())
    variance = max(0.0, (q - freedom) / spare) if freedom else 0.0
    full = 1 / (sd**2 + variance)
    return Between(variance, q, freedom, float(full @ y / full.sum()), float(full.sum() ** -0.5))


def tempered(found: Between | None, default: float) -> float:
    """Give the variance from firing to firing to use: the one seen, held near a default while few have been seen.

    Parameters
    ----------
    found : Between or None
        What firings say, if any do.
    default : float
        Variance taken where nothing is known [-].

    Returns
    -------
    float
        Variance, in the unit of the default [-].

    Raises
    ------
    CalcError
        Never.

    Notes
    -----
    (W default + v seen) / (W + v) with v degrees of freedom: the mean of a scaled inverse chi-square prior worth W
    firings, its own correction left out.

    References
    ----------
    A. Gelman et al., Bayesian Data Analysis, 2.6 (from memory). `WEIGHT`: an assumption.

    Examples
    --------
    >>> tempered(None, 0.0025)
    0.0025
    >>> tempered(Between(0.0, 0.0, 6, 0.0, 0.1), 0.0020)
    0.001
    """
    if found is None or found.freedom == 0:
        return default
    return (WEIGHT * default + found.freedom * found.variance) / (WEIGHT + found.freedom)


@dataclass(frozen=True)
class Said:
    """What one firing (or one lot's test pieces) says: of which formula and case, mixtures H (m, 3), values d (m,) and
    their standard errors (m,), all logarithms over the default [-]. `formula` and `case` are any keys."""

    formula: Hashable
    case: Hashable | None
    mixture: Floats
    value: Floats
    error: Floats
    chamber: bool = True


@dataclass(frozen=True)
class Prior:
    """Default spreads of the three logarithms: of the burn rate by formula (a borrowed law's is wider), and of both
    efficiencies [-]; `rate` is that of a law measured on the very blend."""

    rate_by_formula: dict[Hashable, float]
    rate: float = 0.05
    c_star: float = 0.02
    nozzle: float = 0.02

    def totals(self, formula: Hashable) -> Floats:
        """Default spread of each of the three for a formula."""
        return np.array([self.rate_by_formula.get(formula, self.rate), self.c_star, self.nozzle])

    @property
    def usual(self) -> Floats:
        """Default spreads of a formula with its own published law."""
        return np.array([self.rate, self.c_star, self.nozzle])


@dataclass(frozen=True)
class Correction:
    """What is expected of the next firing of a formula in a case: logarithm over the default and spread, (3,) each.

    `together` is the correlation of c* and nozzle efficiency in that spread; `known` is how well the means themselves
    are known (3,), without what one firing differs from the next.
    """

    mean: Floats
    spread: Floats
    together: float
    known: Floats

    @property
    def factors(self) -> Floats:
        """Factors on burn rate, c* and nozzle efficiency."""
        return np.asarray(np.exp(self.mean))


@dataclass(frozen=True)
class Learned:
    """Everything that firings teach together; ask `of` for a formula in a case.

    `weights` (N, 3) is the share that each thing said has in its formula's mean; what is missing to one is the
    default's. `chance` (3,) is the spread from firing to firing.
    """

    prior: Prior
    formulas: dict[Hashable, int]
    cases: dict[Hashable, int]
    mean: Floats
    covariance: Floats
    chance_covariance: Floats
    weights: Floats

    @property
    def chance(self) -> Floats:
        """Spread of the three from firing to firing [-]."""
        return np.asarray(np.sqrt(np.diag(self.chance_covariance)))

    def of(self, formula: Hashable, case: Hashable | None = None) -> Correction:
        """What is expected of the next firing of a formula in a case, seen or not [-]."""
        mean, covariance = np.zeros(3), np.zeros((3, 3))
        places = [self.formulas.get(formula), None if case is None else self.cases.get(case)]
        known = [p for p in places if p is not None]
        for p in known:
            mean += self.mean[p]
            for other in known:
                covariance += self.covariance[p, :, other, :]
        for place, variance in zip(places, _priors(self.prior, formula), strict=True):
            if place is None:
                covariance += np.diag(variance)
        whole = covariance + self.chance_covariance
        spread = np.sqrt(np.diag(whole))
        return Correction(
            mean, spread, float(whole[C_STAR, NOZZLE] / (spread[C_STAR] * spread[NOZZLE])), np.sqrt(np.diag(covariance))
        )


def _priors(prior: Prior, formula: Hashable) -> tuple[Floats, Floats]:
    """Default variances of a formula's and of a case's effect, (3,) each: with chance they sum to the default's."""
    usual = prior.usual**2
    return prior.totals(formula) ** 2 - (CHANCE + CASE) * usual, CASE * usual


@dataclass(frozen=True)
class _Table:
    """Things said as arrays, filled up with rows that say nothing: mixtures (N, m, 3), values and errors (N, m)."""

    mixture: Floats
    value: Floats
    error: Floats
    chamber: NDArray[np.bool_]
    cell: NDArray[np.intp]

    @classmethod
    def of(cls, said: Sequence[Said]) -> "_Table":
        most = max(len(s.value) for s in said)
        h, d, e = np.zeros((len(said), most, 3)), np.zeros((len(said), most)), np.ones((len(said), most))
        for i, s in enumerate(said):
            m = len(s.value)
            h[i, :m], d[i, :m], e[i, :m] = s.mixture, s.value, s.error
        if not (np.isfinite(d).all() and np.isfinite(h).all() and (e > 0).all() and np.isfinite(e).all()):
            raise OutOfRange("value", "a value is not finite or its error not above zero.", "Look at that firing.")
        cells: dict[tuple[Hashable, Hashable], int] = {}
        cell = [cells.setdefault((s.formula, s.case), len(cells)) for s in said]
        return cls(h, d, e, np.array([s.chamber for s in said]), np.array(cell, dtype=np.intp))

    def alone(self, i: int) -> tuple[NDArray[np.bool_], Floats, Floats]:
        """Who says something of one of the three, the value and its error: wider where another's default is in it."""
        own, others = np.abs(self.mixture[:, :, i]), np.delete(np.abs(self.mixture), i, axis=2)
        chief = (own > 0) & (others.max(axis=2) == 0)
        if i == RATE:  # a burn time is the rate in the main
            chief |= own > 1.5 * others.max(axis=2)
        row = chief.argmax(axis=1)
        at = np.arange(len(row))
        scale = np.where(chief[at, row], self.mixture[at, row, i], 1.0)
        other = UNKNOWN * np.sqrt((others[at, row] ** 2).sum(axis=1))
        return chief.any(axis=1), self.value[at, row] / scale, np.hypot(self.error[at, row], other) / np.abs(scale)

    def product(self) -> tuple[NDArray[np.bool_], Floats, Floats]:
        """Who says something of both efficiencies together: a mixture about one to one, else the sum of the two."""
        mixed = (self.mixture[:, :, C_STAR] != 0) & (self.mixture[:, :, NOZZLE] != 0)
        row = mixed.argmax(axis=1)
        at = np.arange(len(row))
        has = mixed.any(axis=1)
        scale = np.where(has, self.mixture[at, row][:, [C_STAR, NOZZLE]].mean(axis=1), 1.0)
        (one, a, ea), (two, b, eb) = self.alone(C_STAR), self.alone(NOZZLE)
        value = np.where(has, self.value[at, row] / scale, a + b)
        return has | (one & two), value, np.where(has, self.error[at, row] / scale, np.hypot(ea, eb))

    def spread(self, seen: tuple[NDArray[np.bool_], Floats, Floats], default: float) -> float:
        """Variance from firing to firing of what shots say, held near a default."""
        which = seen[0] & self.chamber
        found = between(seen[1][which], seen[2][which], self.cell[which]) if which.any() else None
        return tempered(found, default)


def _chance(table: _Table | None, prior: Prior) -> Floats:
    """Covariance (3, 3) of what one firing differs from the next, from those that fired a chamber."""
    default = CHANCE * prior.usual**2
    if table is None:
        return np.diag(default)
    variances = [table.spread(table.alone(i), float(default[i])) for i in (RATE, C_STAR, NOZZLE)]
    product = table.spread(table.product(), float(default[C_STAR] + default[NOZZLE]))
    most = 0.9 * math.sqrt(variances[C_STAR] * variances[NOZZLE])
    shared = float(np.clip((product - variances[C_STAR] - variances[NOZZLE]) / 2, -most, most))
    made = np.diag(variances)
    made[C_STAR, NOZZLE] = made[NOZZLE, C_STAR] = shared
    return made


def learn(said: Sequence[Said], prior: Prior) -> Learned:
    """Put together what firings and test pieces say.

    Parameters
    ----------
    said : sequence of Said
        Each with its formula and case; logarithms over the default [-].
    prior : Prior
        The book's default spreads [-].

    Returns
    -------
    Learned
        Means and covariances of all effects [-], and the weight of each thing said.

    Raises
    ------
    CalcError
        A value is not finite, or an error is not above zero.

    Notes
    -----
    Nothing said gives the defaults back exactly: no correction, and the default spreads.

    References
    ----------
    Normal-normal model, conditional on its variances: A. Gelman et al., Bayesian Data Analysis, 5.4, 14.8 (from
    memory); D. B. Rubin, J. Educational Statistics 6 (1981) 377.

    Examples
    --------
    >>> firing = Said("blend", "case", np.eye(3), np.array([0.08, 0.0, 0.0]), np.array([0.02, 0.02, 0.02]))
    >>> few, many = (learn([firing] * n, Prior({})).of("blend", "case").mean[0] for n in (3, 30))
    >>> round(float(few), 3), round(float(many), 3)
    (0.035, 0.076)
    """
    formulas: dict[Hashable, int] = {}
    cases: dict[Hashable, int] = {}
    for s in said:
        formulas.setdefault(s.formula, len(formulas))
    for s in said:
        if s.case is not None:
            cases.setdefault(s.case, len(formulas) + len(cases))
    effects = len(formulas) + len(cases)
    table = _Table.of(said) if said else None
    chance = _chance(table, prior)
    precision = np.zeros((effects, 3, effects, 3))
    right = np.zeros((effects, 3))
    for key, place in formulas.items():
        precision[place, range(3), place, range(3)] = 1 / _priors(prior, key)[0]
    for place in cases.values():
        precision[place, range(3), place, range(3)] = 1 / (CASE * prior.usual**2)
    if table is None:
        return Learned(prior, {}, {}, right, np.zeros((0, 3, 0, 3)), chance, np.zeros((0, 3)))
    weight, pull = _informations(table, chance)
    own = np.array([formulas[s.formula] for s in said])
    case = np.array([-1 if s.case is None else cases[s.case] for s in said])
    _add(precision, own, own, weight)
    np.add.at(right, own, pull)
    inside = case >= 0
    for a, b in ((own, case), (case, own), (case, case)):
        _add(precision, a[inside], b[inside], weight[inside])
    np.add.at(right, case[inside], pull[inside])
    size = 3 * effects
    covariance = np.asarray(np.linalg.inv(precision.reshape(size, size)), dtype=np.float64)
    mean = (covariance @ right.reshape(size)).reshape(effects, 3)
    each = np.diagonal(weight, axis1=1, axis2=2)
    total = np.stack([np.diag(precision[p, :, p, :]) for p in formulas.values()])[own]
    return Learned(
        prior, formulas, cases, mean, covariance.reshape(effects, 3, effects, 3), chance, each / total
    )  # fmt: skip


def _add(precision: Floats, a: NDArray[np.intp], b: NDArray[np.intp], weight: Floats) -> None:
    """Add each thing's information (N, 3, 3) to the blocks of its two effects."""
    blocks = precision.transpose(0, 2, 1, 3)  # a view: what is added goes into the whole
    np.add.at(blocks, (a, b), weight)


def _informations(table: _Table, chance: Floats) -> tuple[Floats, Floats]:
    """What each thing said weighs (N, 3, 3) and how it pulls (N, 3): Hᵀ V⁻¹ H and Hᵀ V⁻¹ d, V = H T Hᵀ + errors²."""
    h = table.mixture
    v = h @ chance @ h.transpose(0, 2, 1)
    places = range(h.shape[1])
    v[:, places, places] += table.error**2
    carried = h.transpose(0, 2, 1) @ np.linalg.inv(v)
    return carried @ h, np.einsum("nij,nj->ni", carried, table.value)
