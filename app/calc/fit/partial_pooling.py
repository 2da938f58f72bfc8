"""What firings teach together: a wide default says what a workshop may be, and a few firings say what it is.

Three logarithms are learned: of burn rate, c* efficiency and nozzle efficiency over the book's default. A firing i of
formula f in case c, measured on the workshop's stand, is taken as

    y_i = workshop + formula_f + case_c + chance_i,   seen as   d_i = H_i y_i + L_i stand + error_i

with y of three parts. Workshop, formulas and cases are drawn about nothing with the systematic spreads of `Prior`;
chance is what one firing differs from the next (estimated from the firings, held near its default while they are few).
The stand's own error, one of force and one of pressure, is the same in all firings: however many there are, it stays in
what is known. All normal, so the answer is one set of linear equations. A firing with pressure sees all three; thrust
alone sees mixtures, which H holds.
"""

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.calc.base.constants import Floats
from app.calc.base.errors import OutOfRange
from app.calc.fit.between_firings import between, tempered
from app.calc.motor.spread import C_STAR_SPREAD, CHANCE, NOZZLE_SPREAD, RATE_SPREAD

CASE = 0.05
"""Share of a systematic variance that is put down to the case [-]: an assumption."""

WORKSHOP = (0.3, 0.6, 0.8)
"""Share of the systematic variance of rate, c* and nozzle that all formulas of a workshop have in common [-]: melting,
curing and turning are its own, a law is its formula's. Assumptions; what is missing to one is formula and case."""

STAND = 0.03
"""Systematic error of a stand's force and of its pressure, one standard deviation each [-]: an assumption. The same in
all its firings, so never learned away."""

OPEN_AIR = 0.15
"""How far a rate in the open may be from telling the rate in a chamber, both over their law [-]: an assumption. The
same for all sticks, so no number of them tells a chamber's rate surely."""


FAR = 2.0
"""A mean this many default spreads from the default is told as hard to believe [-]."""

RATE, C_STAR, NOZZLE = 0, 1, 2

_SHOP, _STAND = 0, 1  # places of the two effects that are always there
_FIRST = 2


@dataclass(frozen=True)
class Said:
    """What one firing (or one lot's test pieces) says: of which formula and case, mixtures H (m, 3), values d (m,) and
    their standard errors (m,), all logarithms over the default [-]. `formula` and `case` are any keys; `stand` (m, 3)
    is how each value answers to what is the same in all: an error of the stand's force and of its pressure, and what
    the open air is off; not at all if left out."""

    formula: Hashable
    case: Hashable | None
    mixture: Floats
    value: Floats
    error: Floats
    chamber: bool = True
    stand: Floats | None = None


_SHIFTS = {
    "impulse": (1.0, 0.0, 0.0),
    "burn time": (0.0, 0.0, 0.0),
    "peak pressure": (0.0, 1.0, 0.0),
    "c* efficiency": (0.0, 1.0, 0.0),
    "nozzle efficiency": (1.0, -1.0, 0.0),
    "rate in the open": (0.0, 0.0, 1.0),
}


def stand_shifts(what: str, exponent: float) -> tuple[float, float, float]:
    """Tell how a value answers to what is the same in all: an error of the stand, and what the open air is off.

    Parameters
    ----------
    what : str
        'impulse', 'burn time', 'peak pressure', 'burn rate', 'c* efficiency', 'nozzle efficiency' or 'rate in the
        open'.
    exponent : float
        Of the burn law at the firing's pressure [-].

    Returns
    -------
    force, pressure, open_air : tuple of float
        Change of the value's logarithm for that of the force, of the pressure and of a rate in the open [-].

    Raises
    ------
    KeyError
        Another value.

    Notes
    -----
    The rate in mm/s comes from web and time, so a gauge that reads high only makes the law at its pressure higher. c*
    is the area under pressure, the nozzle is thrust over pressure.

    References
    ----------
    Definitions of the values: `pressure_fit`, `thrust_fit`.

    Examples
    --------
    >>> stand_shifts("burn rate", 0.3)
    (0.0, -0.3, 0.0)
    """
    return (0.0, -exponent, 0.0) if what == "burn rate" else _SHIFTS[what]


@dataclass(frozen=True)
class Prior:
    """Systematic spreads of the three logarithms, what a workshop, formula and case may be: of the burn rate by formula
    (a borrowed law's is wider), and of both efficiencies [-]; `rate` is that of a law measured on the very blend.
    `chance` is the default spread from one firing to the next of each, `stand` that of the stand's own error,
    `open_air` that of a rate in the open [-]."""

    rate_by_formula: dict[Hashable, float]
    rate: float = RATE_SPREAD
    c_star: float = C_STAR_SPREAD
    nozzle: float = NOZZLE_SPREAD
    chance: float = CHANCE
    stand: float = STAND
    open_air: float = OPEN_AIR

    def systematic(self, formula: Hashable) -> Floats:
        """Systematic spread of each of the three for a formula."""
        return np.array([self.rate_by_formula.get(formula, self.rate), self.c_star, self.nozzle])

    def totals(self, formula: Hashable) -> Floats:
        """Default spread of the next firing of a formula in each of the three: systematic and chance."""
        return np.hypot(self.systematic(formula), self.chance)

    @property
    def shop(self) -> Floats:
        """Variance of each of the three that the whole workshop has in common."""
        return np.asarray(np.array(WORKSHOP) * np.array([self.rate, self.c_star, self.nozzle]) ** 2)

    @property
    def case(self) -> Floats:
        """Variance of each of the three that is put down to a case."""
        return CASE * np.array([self.rate, self.c_star, self.nozzle]) ** 2

    def own(self, formula: Hashable) -> Floats:
        """Variance of each of the three that is a formula's own: what workshop and case leave."""
        return self.systematic(formula) ** 2 - self.shop - self.case


@dataclass(frozen=True)
class Correction:
    """What is expected of the next firing of a formula in a case: logarithm over the default and spread, (3,) each.

    `correlation` (3, 3) is of that spread; `known` is how well the means themselves are known (3,), without what one
    firing differs from the next; `moved` (3,) is the share by which firings of the formula move the mean of each if
    all of them say so.
    """

    mean: Floats
    spread: Floats
    correlation: Floats
    known: Floats
    moved: Floats

    @property
    def factors(self) -> Floats:
        """Factors on burn rate, c* and nozzle efficiency."""
        return np.asarray(np.exp(self.mean))


@dataclass(frozen=True)
class Learned:
    """Everything that firings teach together; ask `of` for a formula in a case.

    `weights` (N, 3) is by how much each thing said moves its formula's mean of each, if it says so in all of its values
    at once: the sum over them is what they move together, what is missing to one is the default's. `chance` (3,) is the
    spread from firing to firing.
    """

    prior: Prior
    formulas: dict[Hashable, int]
    cases: dict[Hashable, int]
    mean: Floats
    covariance: Floats
    chance_covariance: Floats
    weights: Floats
    responses: Floats

    @property
    def chance(self) -> Floats:
        """Spread of the three from firing to firing [-]."""
        return np.asarray(np.sqrt(np.diag(self.chance_covariance)))

    def of(self, formula: Hashable, case: Hashable | None = None) -> Correction:
        """What is expected of the next firing of a formula in a case, seen or not [-]."""
        places = [_SHOP, self.formulas.get(formula), None if case is None else self.cases.get(case)]
        known = [p for p in places if p is not None]
        mean = self.mean[known].sum(axis=0)
        covariance = np.asarray(self.covariance[np.ix_(known, range(3), known, range(3))].sum(axis=(0, 2)))
        for place, variance in zip(places[1:], (self.prior.own(formula), self.prior.case), strict=True):
            if place is None:
                covariance = covariance + np.diag(variance)
        moved = np.zeros(3)
        if formula in self.formulas:
            moved = np.diag(self.responses[known, :, self.formulas[formula] - _FIRST].sum(axis=0))
        whole = covariance + self.chance_covariance
        spread = np.sqrt(np.diag(whole))
        return Correction(mean, spread, whole / np.outer(spread, spread), np.sqrt(np.diag(covariance)), moved)


@dataclass(frozen=True)
class _Table:
    """Things said as arrays, filled up with rows that say nothing: mixtures and answers to the stand (N, m, 3), values
    and errors (N, m)."""

    mixture: Floats
    stand: Floats
    value: Floats
    error: Floats
    chamber: NDArray[np.bool_]
    cell: NDArray[np.intp]

    @classmethod
    def of(cls, said: Sequence[Said]) -> "_Table":
        most = max(len(s.value) for s in said)
        h, d, e = np.zeros((len(said), most, 3)), np.zeros((len(said), most)), np.ones((len(said), most))
        stand = np.zeros_like(h)
        for i, s in enumerate(said):
            m = len(s.value)
            h[i, :m], d[i, :m], e[i, :m] = s.mixture, s.value, s.error
            if s.stand is not None:
                stand[i, :m] = s.stand
        if not (np.isfinite(d).all() and np.isfinite(h).all() and (e > 0).all() and np.isfinite(e).all()):
            raise OutOfRange("value", "a value is not finite or its error not above zero.", "Look at that firing.")
        cells: dict[tuple[Hashable, Hashable], int] = {}
        cell = [cells.setdefault((s.formula, s.case), len(cells)) for s in said]
        return cls(h, stand, d, e, np.array([s.chamber for s in said]), np.array(cell, dtype=np.intp))

    def alone(self, i: int, chance: float) -> tuple[NDArray[np.bool_], Floats, Floats]:
        """Who says something of one of the three, the value and its error: wider where another's default is in it."""
        own, others = np.abs(self.mixture[:, :, i]), np.delete(np.abs(self.mixture), i, axis=2)
        chief = (own > 0) & (others.max(axis=2) == 0)
        if i == RATE:  # a burn time is the rate in the main
            chief |= own > 1.5 * others.max(axis=2)
        row = chief.argmax(axis=1)
        at = np.arange(len(row))
        scale = np.where(chief[at, row], self.mixture[at, row, i], 1.0)
        other = chance * np.sqrt((others[at, row] ** 2).sum(axis=1))
        return chief.any(axis=1), self.value[at, row] / scale, np.hypot(self.error[at, row], other) / np.abs(scale)

    def product(self, chance: float) -> tuple[NDArray[np.bool_], Floats, Floats]:
        """Who says something of both efficiencies together: a mixture about one to one, else the sum of the two."""
        mixed = (self.mixture[:, :, C_STAR] != 0) & (self.mixture[:, :, NOZZLE] != 0)
        row = mixed.argmax(axis=1)
        at = np.arange(len(row))
        has = mixed.any(axis=1)
        scale = np.where(has, self.mixture[at, row][:, [C_STAR, NOZZLE]].mean(axis=1), 1.0)
        (one, a, ea), (two, b, eb) = self.alone(C_STAR, chance), self.alone(NOZZLE, chance)
        value = np.where(has, self.value[at, row] / scale, a + b)
        return has | (one & two), value, np.where(has, self.error[at, row] / scale, np.hypot(ea, eb))

    def spread(self, seen: tuple[NDArray[np.bool_], Floats, Floats], default: float) -> float:
        """Variance from firing to firing of what shots say, held near a default."""
        which = seen[0] & self.chamber
        found = between(seen[1][which], seen[2][which], self.cell[which]) if which.any() else None
        return tempered(found, default)


def _chance(table: _Table | None, prior: Prior) -> Floats:
    """Covariance (3, 3) of what one firing differs from the next, from those that fired a chamber."""
    default = prior.chance**2
    if table is None:
        return np.diag(np.full(3, default))
    variances = [table.spread(table.alone(i, prior.chance), default) for i in (RATE, C_STAR, NOZZLE)]
    product = table.spread(table.product(prior.chance), 2 * default)
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
    >>> few, many = (learn([firing] * n, Prior({})).of("blend", "case").mean[0] for n in (1, 3))
    >>> round(float(few), 3), round(float(many), 3)
    (0.076, 0.079)
    """
    formulas: dict[Hashable, int] = {}
    cases: dict[Hashable, int] = {}
    for s in said:
        formulas.setdefault(s.formula, _FIRST + len(formulas))
    for s in said:
        if s.case is not None:
            cases.setdefault(s.case, _FIRST + len(formulas) + len(cases))
    effects = _FIRST + len(formulas) + len(cases)
    table = _Table.of(said) if said else None
    chance = _chance(table, prior)
    precision = np.zeros((effects, 3, effects, 3))
    precision[_SHOP, range(3), _SHOP, range(3)] = 1 / prior.shop
    precision[_STAND, range(3), _STAND, range(3)] = np.array([prior.stand, prior.stand, prior.open_air]) ** -2.0
    for key, place in formulas.items():
        precision[place, range(3), place, range(3)] = 1 / prior.own(key)
    for place in cases.values():
        precision[place, range(3), place, range(3)] = 1 / prior.case
    size = 3 * effects
    if table is None:
        covariance = np.asarray(np.linalg.inv(precision.reshape(size, size)), dtype=np.float64)
        covariance = covariance.reshape(effects, 3, effects, 3)
        return Learned(
            prior, {}, {}, np.zeros((effects, 3)), covariance, chance, np.zeros((0, 3)), np.zeros((effects, 3, 0, 3))
        )
    own = np.array([formulas[s.formula] for s in said])
    cased = np.array([s.case is not None for s in said])
    case = np.array([_SHOP if s.case is None else cases[s.case] for s in said])
    everybody = np.full(len(said), _SHOP)
    v = table.mixture @ chance @ table.mixture.transpose(0, 2, 1)
    v[:, range(v.shape[1]), range(v.shape[1])] += table.error**2
    inverse = np.linalg.inv(v)
    answers = (  # which effects each thing said answers to, and how
        (everybody, table.mixture),
        (everybody + _STAND, table.stand),
        (own, table.mixture),
        (case, table.mixture * cased[:, None, None]),
    )
    right = np.zeros((effects, 3))
    pulls = np.zeros((effects, 3, len(formulas), 3))
    pulled, blocks = pulls.transpose(0, 2, 1, 3), precision.transpose(0, 2, 1, 3)  # views: what is added goes into both
    alike = []  # how each effect is pulled where a thing says one more of all three
    for places, design in answers:
        carried = design.transpose(0, 2, 1) @ inverse
        alike.append((places, carried @ table.mixture))
        np.add.at(right, places, np.einsum("nij,nj->ni", carried, table.value))
        np.add.at(pulled, (places, own - _FIRST), alike[-1][1])
        for others, other in answers:
            np.add.at(blocks, (places, others), carried @ other)
    covariance = np.asarray(np.linalg.inv(precision.reshape(size, size)), dtype=np.float64)
    mean = (covariance @ right.reshape(size)).reshape(effects, 3)
    responses = (covariance @ pulls.reshape(size, -1)).reshape(effects, 3, len(formulas), 3)
    covariance = covariance.reshape(effects, 3, effects, 3)
    to = covariance[_SHOP] + covariance[own]  # a formula's mean against every effect, (N, 3, effects, 3)
    weights = sum(np.einsum("nij,nji->ni", to[range(len(said)), :, places], pull) for places, pull in alike)
    return Learned(prior, formulas, cases, mean, covariance, chance, np.asarray(weights), responses)
