"""What measured thrust says: the nozzle's efficiency where pressure is there too, and how single figures answer."""

import math
from dataclasses import dataclass

import numpy as np

from app.calc.assembly import Motor, motor_arrays
from app.calc.burnfit import FITTED_FROM, blocks
from app.calc.constants import Floats, finite_array
from app.calc.errors import NoSolution
from app.calc.leastsquares import Fitted, fit
from app.calc.motor import simulate_many
from app.calc.nozzle import coefficient_from_exit, divergence_factor, exit_pressure_ratio


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
    the burn. The error is the fit's own; `burnfit.reading_errors` tells what the instruments add.

    References
    ----------
    C_F: Sutton & Biblarz, Rocket Propulsion Elements.

    Examples
    --------
    >>> from app.calc.motor import example, simulate
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
        lambda x: (none + math.exp(x[0]) * (full - none) - pushed.value) / scale, [math.log(guess)],
        lambda x: (math.exp(x[0]) * (full - none) / scale)[:, None], correlated=True,
    )  # fmt: skip
    return found[0]


@dataclass(frozen=True)
class Response:
    """How single figures answer to rate, c* and nozzle: figures [N s], [s], [Pa] and d ln figure / d ln input (3, 3).

    Rows: total impulse, burn time, peak pressure; columns: burn rate, c* efficiency, nozzle efficiency.
    """

    figures: Floats
    slopes: Floats


def respond(motor: Motor) -> Response:
    """Give a motor's figures and how each answers to burn rate, c* and nozzle efficiency.

    Parameters
    ----------
    motor : Motor
        As predicted, SI.

    Returns
    -------
    Response
        Impulse [N s], burn time [s], peak pressure [Pa]; logarithmic derivatives [-], shape (3, 3).

    Raises
    ------
    CalcError
        A motor that cannot be marched.

    Notes
    -----
    Central differences over 2 % to either side. So a measured impulse says something of the product of both
    efficiencies, a burn time of the rate, each as far as this very motor lets it.

    References
    ----------
    None: derivatives of `motor`.

    Examples
    --------
    >>> from app.calc.motor import example
    >>> found = respond(example())
    >>> [round(float(v), 2) for v in found.slopes[0]]
    [0.19, 1.19, 1.06]
    """
    step = 0.02
    up, down = math.exp(step), math.exp(-step)
    arrays = motor_arrays([motor]).repeat(7)
    factors = np.ones((7, 3))
    for i in range(3):
        factors[1 + 2 * i, i], factors[2 + 2 * i, i] = up, down
    run = simulate_many(
        arrays.changed(
            rate_scale=arrays.rate_scale * factors[:, 0], c_star=arrays.c_star * factors[:, 1],
            nozzle_efficiency=arrays.nozzle_efficiency * factors[:, 2],
        )
    )  # fmt: skip
    table = np.stack([run.total_impulse, run.burn_time, run.peak_pressure])
    logs = np.log(table)
    return Response(table[:, 0], (logs[:, 1::2] - logs[:, 2::2]) / (2 * step))
