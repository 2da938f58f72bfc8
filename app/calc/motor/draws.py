"""Motors drawn from what is not known of them: evenly spread points, and the inputs that each stands for."""

from dataclasses import fields
from functools import lru_cache

import numpy as np

from app.calc.base.constants import Floats, finite_array
from app.calc.base.errors import CalcError
from app.calc.motor.arrays import Arrays
from app.calc.motor.simulation import Motor, motor_arrays
from app.calc.motor.spread import Spread

_EDGE = 0.00134989803163  # share of a normal below -3: draws end there, beyond lies nothing measured


def _normal(unit: Floats) -> Floats:
    """Standard normal draws from even ones, cut at three deviations."""
    from scipy.special import ndtri

    return np.asarray(ndtri(_EDGE + (1 - 2 * _EDGE) * unit), dtype=np.float64)


HALF_NORMAL_MEAN = (2 / np.pi) ** 0.5
"""Mean of a half normal of scale one [-]."""


LEARNED = ("burn_rate", "c_star", "nozzle")
"""Inputs that firings teach, in the order of a correlation's rows."""


def sobol(samples: int, seed: int) -> Floats:
    """Give draws that fill the unit cube evenly.

    Parameters
    ----------
    samples, seed : int
        How many, best a power of two, and from where [-].

    Returns
    -------
    ndarray
        One column for each field of `Spread` [-], shape (samples, 9).

    Raises
    ------
    ValueError
        No sample.

    Notes
    -----
    The first of a scrambled sequence whose length is a power of two.

    References
    ----------
    Sobol sequences: scipy.stats.qmc.

    Examples
    --------
    >>> sobol(16, 1).shape
    (16, 9)
    """
    return _drawn_once(samples, seed)


@lru_cache(maxsize=8)
def _drawn_once(samples: int, seed: int) -> Floats:
    """Of the same numbers the same draws, kept: a search asks for them with every motor it ranges."""
    from scipy.stats import qmc  # costs half of the program's start; wanted only here

    made = qmc.Sobol(len(fields(Spread)), scramble=True, rng=np.random.default_rng(seed))
    found = np.array(made.random_base2((samples - 1).bit_length())[:samples])
    found.setflags(write=False)
    return found


def taught_logs(spread: Spread, unit: Floats, correlation: Floats | None = None) -> Floats:
    """Draw the logarithms of burn rate and both efficiencies over their middles.

    Parameters
    ----------
    spread : Spread
        Of all inputs.
    unit : ndarray
        Draws in the unit cube, one column for each field of `Spread` [-], shape (N, 9).
    correlation : ndarray, optional
        Of the three as in `LEARNED` [-], shape (3, 3); independent if left out.

    Returns
    -------
    ndarray
        Logarithms [-], shape (N, 3).

    Raises
    ------
    CalcError
        What is given is no correlation of three.

    Notes
    -----
    Normal, cut at three deviations before they are mixed.

    References
    ----------
    Cholesky's factor of a correlation.

    Examples
    --------
    >>> taught_logs(Spread(), np.full((1, 9), 0.5)).round(9).tolist()
    [[0.0, 0.0, 0.0]]
    """
    order = [f.name for f in fields(spread)]
    z = _normal(unit[:, [order.index(name) for name in LEARNED]])
    if correlation is not None:
        given = finite_array("correlation", correlation)
        if given.shape != (3, 3) or not np.allclose(np.diag(given), 1.0) or np.linalg.eigvalsh(given)[0] <= 0:
            raise CalcError("correlation", "is none of three inputs.", "Give a correlation matrix.")
        z = z @ np.linalg.cholesky(given).T
    return np.asarray(z * [getattr(spread, name) for name in LEARNED])


def drawn(motor: Motor, spread: Spread, unit: Floats, correlation: Floats | None = None, seen: float = 0.0) -> Arrays:
    """Draw motors.

    Parameters
    ----------
    motor : Motor
        At its middle values, SI.
    spread, unit, correlation : Spread, ndarray, ndarray or None
        As in `taught_logs` [-].
    seen : float
        Share by which firings have taught the burn rate [-]: they burned with unseen voids too, so what these add on
        average is in that rate already and is not drawn twice.

    Returns
    -------
    Arrays
        Motors for the engine, SI, shape (N,).

    Raises
    ------
    CalcError
        A spread that the sizes do not allow.

    Notes
    -----
    Density is drawn as such, so a wider core takes mass away.

    References
    ----------
    `Spread`.

    Examples
    --------
    >>> from app.calc.motor.simulation import example
    >>> len(drawn(example(), Spread(), sobol(16, 1)))
    16
    """
    z = {f.name: _normal(unit[:, i]) for i, f in enumerate(fields(spread))}
    logs = taught_logs(spread, unit, correlation)
    one_sided = _normal((1 + unit[:, [f.name for f in fields(spread)].index("extra_area")]) / 2)
    base = motor_arrays([motor]).repeat(len(unit))
    core = base.core_r + np.where(base.core_r > 0, 0.5 * spread.core_d * z["core_d"][:, None], 0.0)
    throat = base.throat_d + spread.throat_d * z["throat_d"]
    if (core < 0).any() or (core + base.offset >= base.outer_r).any():
        raise CalcError("core_d", "the spread is wider than the grain allows.", "Give a smaller spread.")
    if (throat <= 0).any() or (throat >= base.exit_d).any():
        raise CalcError("throat_d", "the spread is wider than the nozzle allows.", "Give a smaller spread.")
    # density is drawn as such, so a wider core takes mass away
    lighter = (base.outer_r**2 - core**2) / (base.outer_r**2 - base.core_r**2)
    law = motor.propellant.law
    warmer = motor.initial_temperature - law.reference_temperature
    sigma = law.sigma_p * np.exp(spread.sigma_p * z["sigma_p"])
    log_rate = logs[:, 0] + sigma * spread.temperature * z["temperature"]
    log_rate += (sigma - law.sigma_p) * warmer
    unseen = (1 + spread.extra_area * one_sided) / (1 + spread.extra_area * HALF_NORMAL_MEAN) ** seen
    return base.changed(
        core_r=core,
        mass=base.mass * lighter * np.exp(spread.density * z["density"])[:, None],
        throat_d=throat,
        c_star=base.c_star * np.exp(logs[:, 1]),
        nozzle_efficiency=base.nozzle_efficiency * np.exp(logs[:, 2]),
        rate_scale=base.rate_scale * np.exp(log_rate) * unseen,
    )
