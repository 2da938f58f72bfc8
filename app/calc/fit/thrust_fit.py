"""What measured thrust says: the nozzle's efficiency where pressure is there too, and how single figures answer."""

import math
from dataclasses import dataclass

import numpy as np

from app.calc.base.constants import Floats, finite_array
from app.calc.base.errors import NoSolution
from app.calc.fit.pressure_fit import FITTED_FROM
from app.calc.fit.sample_blocks import blocks
from app.calc.motor.assembly import Motor, motor_arrays
from app.calc.motor.nozzle import coefficient_from_exit, divergence_factor, exit_pressure_ratio
from app.calc.motor.simulation import simulate_many
from app.calc.stats.least_squares import Fitted, fit


def fit_nozzle(motor: Motor, time: Floats, pressure: Floats, thrust: Floats) -> Fitted:
    """Fit the nozzle's efficiency to thrust and pressure measured together.

    Parameters
    ----------
    motor : Motor
        Its nozzle, and gamma of its propellant.
    time, pressure, thrust : ndarray
        Record of the burn [s], [Pa] absolute, [N], shape (N,).

    Returns
    -------
    Fitted
        ln of the share of momentum delivered, divergence apart [-].

    Raises
    ------
    CalcError
        Too few samples, or no thrust above that of pressure alone.

    Notes
    -----
    Thrust is a straight line in this efficiency at any pressure, so no march is needed. The throat grows evenly over
    the burn. The error is the fit's own; `pressure_fit.reading_errors` tells what the instruments add.

    References
    ----------
    C_F: Sutton & Biblarz, Rocket Propulsion Elements.

    Examples
    --------
    >>> from app.calc.motor.simulation import example, simulate
    >>> run = simulate(example())
    >>> found = fit_nozzle(example(), run.time[:200], run.pressure[:200], run.thrust[:200])
    >>> round(math.exp(found.value), 3)
    0.9
    """
    p, f = finite_array("pressure", pressure), finite_array("thrust", thrust)
    above = np.flatnonzero(p >= max(FITTED_FROM * p.max(), 2 * motor.ambient_pressure))
    part = slice(int(above[0]), int(above[-1]) + 1)
    seen, pushed = blocks(time[part], p[part]), blocks(time[part], f[part])
    share = (seen.middle - seen.time[0]) / max(float(np.ptp(seen.time)), 1e-9)
    area = np.pi / 4 * (motor.throat_d + motor.throat_growth * share) ** 2
    ratio = np.pi / 4 * motor.exit_d**2 / area
    gamma = motor.propellant.gamma
    attached = exit_pressure_ratio(ratio, gamma)

    def force(efficiency: float) -> Floats:
        c_f = coefficient_from_exit(gamma, seen.value, motor.ambient_pressure, ratio, attached, efficiency)
        return np.asarray(c_f * seen.value * area)

    none, full = force(0.0), force(divergence_factor(motor.half_angle))
    scale = float(pushed.value.max())
    guess = float((pushed.value - none) @ (full - none) / ((full - none) @ (full - none)))
    if not 0.1 < guess < 3:
        raise NoSolution("thrust", "thrust and pressure contradict each other.", "Check their units and the throat.")
    found = fit(
        lambda x: (none + math.exp(x[0]) * (full - none) - pushed.value) / scale,
        [math.log(guess)],
        lambda x: (math.exp(x[0]) * (full - none) / scale)[:, None],
        correlated=True,
    )
    return found[0]


@dataclass(frozen=True)
class Response:
    """How single figures answer to rate, c* and nozzle: figures [N s], [s], [Pa] (N, 3) and d ln figure / d ln input
    (N, 3, 3).

    Figures, and rows of slopes: total impulse, burn time, peak pressure; columns: burn rate, c* efficiency, nozzle
    efficiency.
    """

    figures: Floats
    slopes: Floats


_STEP = 0.02  # of a logarithm, for derivatives
_FARTHEST = math.log(2.0)  # where a motor is never looked at any further
_ROUNDS = 3


def respond(motor: Motor, off: Floats | None = None) -> Response:
    """Give a motor's figures and how each answers to burn rate, c* and nozzle efficiency.

    Parameters
    ----------
    motor : Motor
        As predicted, SI.
    off : ndarray, optional
        Logarithms of the three over the motor's own where it is looked at [-], shape (N, 3); one motor as it is if left
        out.

    Returns
    -------
    Response
        Impulse [N s], burn time [s], peak pressure [Pa]; logarithmic derivatives [-], shape (N, 3, 3).

    Raises
    ------
    CalcError
        A motor that cannot be marched.

    Notes
    -----
    Central differences over 2 % to either side.

    Examples
    --------
    >>> from app.calc.motor.simulation import example
    >>> found = respond(example())
    >>> [round(float(v), 2) for v in found.slopes[0, 0]]
    [0.18, 1.19, 1.06]
    """
    at = np.zeros((1, 3)) if off is None else np.asarray(off, dtype=np.float64)
    steps = np.concatenate([np.zeros((1, 3)), _STEP * np.eye(3), -_STEP * np.eye(3)])
    logs = (at[:, None, :] + steps).reshape(-1, 3)
    arrays = motor_arrays([motor]).repeat(len(logs))
    run = simulate_many(
        arrays.changed(
            rate_scale=arrays.rate_scale * np.exp(logs[:, 0]),
            c_star=arrays.c_star * np.exp(logs[:, 1]),
            nozzle_efficiency=arrays.nozzle_efficiency * np.exp(logs[:, 2]),
        )
    )
    table = np.stack([run.total_impulse, run.burn_time, run.peak_pressure], axis=1).reshape(len(at), 7, 3)
    turned = np.log(table)
    slopes = (turned[:, 1:4] - turned[:, 4:7]) / (2 * _STEP)
    return Response(table[:, 0], np.asarray(slopes.transpose(0, 2, 1)))


@dataclass(frozen=True)
class Told:
    """What single figures say: mixtures (N, 3, 3) of the three logarithms over the motor's own, one row for each figure
    as in `Response`, and their values (N, 3); NaN where a figure is missing."""

    mixture: Floats
    value: Floats


def fit_figures(motor: Motor, figures: Floats, errors: Floats, spreads: Floats) -> Told:
    """Say what measured single figures tell of burn rate and efficiencies.

    Parameters
    ----------
    motor : Motor
        As it was fired, at the book's defaults, SI.
    figures : ndarray
        Impulse [N s], burn time [s] and peak pressure [Pa] of each firing of it, NaN where not measured, shape (N, 3).
    errors, spreads : ndarray
        Standard uncertainty of the logarithm of each figure, and how far the three may be off their defaults [-],
        shape (3,).

    Returns
    -------
    Told
        Straight lines through where the motor most likely was [-].

    Raises
    ------
    CalcError
        A motor that cannot be marched.

    Notes
    -----
    Burn laws bend from band to band, so slopes at the default would mislead where the motor burned far from it: the
    likeliest rate and efficiencies are sought first (Gauss-Newton, three rounds), and the lines are drawn there.

    References
    ----------
    Iterated linearisation about the likeliest point: A. H. Jazwinski, Stochastic Processes and Filtering Theory, 9.7
    (from memory).

    Examples
    --------
    >>> from app.calc.motor.simulation import example, simulate
    >>> run = simulate(example())
    >>> seen = np.array([[1.1 * run.total_impulse, run.burn_time, math.nan]])
    >>> told = fit_figures(example(), seen, np.full(3, 0.03), np.full(3, 0.1))
    >>> round(float(told.mixture[0, 0, 1]), 2), bool(np.isnan(told.value[0, 2]))
    (1.17, True)
    """
    measured = np.log(np.asarray(figures, dtype=np.float64))
    there = np.isfinite(measured)
    at = np.zeros((len(measured), 3))
    for _ in range(_ROUNDS):
        found = respond(motor, at)
        off = np.where(there, measured - np.log(found.figures), 0.0) + np.einsum("nij,nj->ni", found.slopes, at)
        weighted = np.where(there, errors**-2.0, 0.0)[:, :, None] * found.slopes
        precision = found.slopes.transpose(0, 2, 1) @ weighted + np.diag(spreads**-2.0)
        at = np.linalg.solve(precision, np.einsum("nij,ni->nj", weighted, off)[:, :, None])[:, :, 0]
        at = np.clip(at, -_FARTHEST, _FARTHEST)
    found = respond(motor, at)
    value = measured - np.log(found.figures) + np.einsum("nij,nj->ni", found.slopes, at)
    return Told(np.where(np.abs(found.slopes) < 0.02, 0.0, found.slopes), value)
