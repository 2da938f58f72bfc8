"""How far firings differ by more than their own errors: the spread between them, and what it is drawn towards."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from app.calc.base.constants import finite_array
from app.calc.base.errors import OutOfRange

WEIGHT = 6.0
"""Firings that the default spread from firing to firing counts for against the one seen [-]: an assumption."""


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
        Values are compared within a group only; one group if left out [-], shape (N,).

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
