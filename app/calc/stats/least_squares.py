"""Least squares with what a fit is worth: values, their standard errors, and intervals by Student's t."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from app.calc.base.constants import Floats, finite_array, within
from app.calc.base.errors import CalcError, NoSolution, OutOfRange

_FINE = 1e-10


@dataclass(frozen=True)
class Fitted:
    """A fitted number, its standard error, and the degrees of freedom behind it (inf where the error is known)."""

    value: float
    se: float
    freedom: float = math.inf

    def interval(self, share: float = 0.90) -> tuple[float, float]:
        """The range that holds the true value with that confidence [-], by Student's t, in the unit of the value."""
        from scipy.special import ndtri, stdtrit

        within("share", share, 0.5, 0.999, "Give a confidence such as 0.90.")
        p = 0.5 + share / 2
        reach = self.se * float(ndtri(p) if math.isinf(self.freedom) else stdtrit(self.freedom, p))
        return self.value - reach, self.value + reach


@dataclass(frozen=True)
class Fit:
    """A fit: parameters (K,), their covariance (K, K), residuals (N,) and degrees of freedom.

    `correlation` is that of neighbouring residuals; where it is above zero, the covariance was widened for it.
    """

    values: Floats
    covariance: Floats
    residuals: Floats
    freedom: float
    correlation: float = 0.0

    @property
    def errors(self) -> Floats:
        """Standard errors of the parameters."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))

    @property
    def deviation(self) -> float:
        """Standard deviation of the residuals, in their unit."""
        return float(np.sqrt(self.residuals @ self.residuals / (len(self.residuals) - len(self.values))))

    def __getitem__(self, i: int) -> Fitted:
        return Fitted(float(self.values[i]), float(self.errors[i]), self.freedom)


def fit(
    residuals: Callable[[Floats], Floats],
    start: ArrayLike,
    jacobian: Callable[[Floats], Floats],
    correlated: bool = False,
    tolerance: float = 1e-14,
) -> Fit:
    """Find the parameters with the least sum of squares of residuals.

    Parameters
    ----------
    residuals : callable
        Parameters (K,) to residuals (N,), any one unit [-].
    start : array_like
        First guess, shape (K,) [their unit].
    jacobian : callable
        Parameters to derivatives (N, K), residuals' unit over each parameter's [their unit].
    correlated : bool
        Whether residuals follow each other in time: errors are then widened by their correlation [-].
    tolerance : float
        Relative change at which it stops [-].

    Returns
    -------
    Fit
        Values and covariance in the units of the parameters; errors are those of the linearised problem.

    Raises
    ------
    OutOfRange
        No more residuals than parameters.
    NoSolution
        It does not settle, or a parameter does not show in the residuals.

    Notes
    -----
    Levenberg-Marquardt. Covariance s² (JᵀJ)⁻¹ with s² = RSS/(N - K). For residuals in time, with r the correlation of
    neighbours, N counts as N (1-r)/(1+r), as for a first-order autoregression.

    References
    ----------
    scipy.optimize.least_squares (MINPACK); effective sample size: Bartlett 1946 (from memory).

    Examples
    --------
    >>> x = np.array([0.0, 1.0, 2.0, 3.0])
    >>> y = np.array([1.0, 2.9, 5.1, 7.0])
    >>> found = fit(lambda p: p[0] + p[1] * x - y, [0.0, 0.0], lambda p: np.stack([np.ones(4), x], axis=1))
    >>> [round(float(v), 3) for v in found.values]
    [0.97, 2.02]
    """
    from scipy.optimize import least_squares

    first = finite_array("start", start)
    found = least_squares(
        residuals,
        first,
        jac=jacobian,
        method="lm",
        x_scale="jac",
        ftol=tolerance,
        xtol=tolerance,
        gtol=tolerance,
        max_nfev=400,
    )
    if not found.success or not np.isfinite(found.fun).all():
        raise NoSolution("fit", "did not settle.", "Look at the curve: is it one burn, in the right units?")
    freedom = len(found.fun) - first.size
    if freedom < 1:
        raise OutOfRange("fit", f"{len(found.fun)} values are too few for {first.size} parameters.", "Measure more.")
    values, r, slopes = np.asarray(found.x), np.asarray(found.fun), np.asarray(found.jac)
    turned = _turned(slopes)
    for _ in range(2 if tolerance < _FINE else 0):  # the sum of squares is flat at its foot: two steps more
        values = values - turned @ (slopes.T @ r)
        r, slopes = np.asarray(residuals(values)), np.asarray(jacobian(values))
        turned = _turned(slopes)
    follows = _neighbours(r) if correlated else 0.0
    widened = (1 + follows) / (1 - follows)
    covariance = turned * float(r @ r) / freedom * widened
    return Fit(values, covariance, r, max(freedom / widened, 1.0), follows)


def _turned(slopes: Floats) -> Floats:
    """(JᵀJ)⁻¹, with each parameter brought to one scale first."""
    normal = slopes.T @ slopes
    scale = np.sqrt(np.diag(normal))
    if not (scale > 0).all():
        raise NoSolution("fit", "a parameter does not show in the measurement.", "Fit fewer of them.")
    unit = normal / np.outer(scale, scale)
    if np.linalg.cond(unit) > 1e12:
        raise NoSolution("fit", "two parameters cannot be told apart.", "Fit fewer of them.")
    return np.asarray(np.linalg.inv(unit) / np.outer(scale, scale), dtype=np.float64)


def _neighbours(r: Floats) -> float:
    """Correlation of each residual with the next; what falls below nothing counts as none."""
    total = float(r @ r)
    return float(np.clip(r[1:] @ r[:-1] / total, 0.0, 0.98)) if total > 0 else 0.0


def line(x: ArrayLike, y: ArrayLike, errors: ArrayLike | None = None) -> Fit:
    """Fit a straight line y = b0 + b1 x.

    Parameters
    ----------
    x, y : array_like
        Points, shape (N,), any units [-].
    errors : array_like, optional
        Standard error of each y [their unit], shape (N,); if left out, one for all is found from the residuals.

    Returns
    -------
    Fit
        b0, b1 and their covariance in the units given; residuals y - line.

    Raises
    ------
    OutOfRange
        Fewer than three points (two where errors are given), or an error that is not positive.
    CalcError
        All x are the same, or a number is not finite.

    Notes
    -----
    Given errors are taken as they are: the covariance does not shrink because points happen to lie well.

    References
    ----------
    Weighted least squares: NIST/SEMATECH e-Handbook of Statistical Methods, 4.1.4.3.

    Examples
    --------
    >>> found = line([0.0, 1.0, 2.0], [1.0, 3.1, 4.9])
    >>> [round(float(v), 3) for v in found.values]
    [1.05, 1.95]
    """
    across, up = finite_array("x", x), finite_array("y", y)
    known = errors is not None
    sd = finite_array("errors", errors) if errors is not None else np.ones_like(up)
    if len(across) < (2 if known else 3):
        raise OutOfRange("x", f"{len(across)} points are too few for a line.", "Give more.")
    if (sd <= 0).any():
        raise OutOfRange("errors", "an error is not above zero.", "Give standard errors.")
    if float(np.ptp(across)) == 0:
        raise CalcError("x", "all points lie at one place.", "A line needs two places at least.")
    w = sd**-2
    middle = float(w @ across / w.sum())
    off = across - middle
    slope = float((w * off) @ up / ((w * off) @ off))
    level = float(w @ up / w.sum())
    residuals = up - level - slope * off
    freedom = math.inf if known else float(len(up) - 2)
    scale = 1.0 if known else float(residuals @ residuals) / freedom
    of_level, of_slope = scale / float(w.sum()), scale / float((w * off) @ off)
    cross = -middle * of_slope
    covariance = np.array([[of_level + middle**2 * of_slope, cross], [cross, of_slope]])
    return Fit(np.array([level - slope * middle, slope]), covariance, residuals, freedom)
