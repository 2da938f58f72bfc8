"""A motor's prediction: chamber pressure, thrust and impulse from ignition to tail-off.

One engine (`chamber`) marches any number of motors; `simulate` is a batch of one with its curves kept,
`simulate_many` keeps the figures only. Efficiencies are inputs with stated defaults: nothing here is learned.
A prediction is never a statement that a motor is safe.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from app.calc.base.constants import Floats
from app.calc.base.errors import CalcError
from app.calc.motor.arrays import Arrays
from app.calc.motor.assembly import (
    C_STAR_EFFICIENCY,
    IGNITER_PRESSURE,
    NOZZLE_EFFICIENCY,
    Motor,
    Propellant,
    example,
    motor_arrays,
)
from app.calc.motor.chamber import Burn, march
from app.calc.motor.impulse import ACTION_SHARE, BURN_SHARE
from app.calc.motor.motor_run import MotorRun

_SHARES = np.array([BURN_SHARE, ACTION_SHARE])

__all__ = [
    "C_STAR_EFFICIENCY",
    "IGNITER_PRESSURE",
    "NOZZLE_EFFICIENCY",
    "BatchRun",
    "Motor",
    "MotorRun",
    "Propellant",
    "example",
    "figures",
    "motor_arrays",
    "simulate",
    "simulate_many",
]


@dataclass(frozen=True)
class BatchRun:
    """Figures of many motors, each an array of shape (M,); meanings and units as in `MotorRun`."""

    total_impulse: Floats
    burn_time: Floats
    action_time: Floats
    mean_thrust: Floats
    peak_thrust: Floats
    peak_pressure: Floats
    mean_pressure: Floats
    propellant_mass: Floats
    mass_balance: Floats

    def __len__(self) -> int:
        return len(self.total_impulse)


def figures(a: Arrays, burn: Burn) -> dict[str, Floats]:
    """Reduce histories to figures.

    Parameters
    ----------
    a : Arrays
        The motors, shape (M,).
    burn : Burn
        Their march, shape (M, N).

    Returns
    -------
    dict of str to ndarray
        The fields of `BatchRun` [N s], [s], [N], [Pa], [kg], each (M,).

    Raises
    ------
    CalcError
        A thrust that is never above zero.

    Notes
    -----
    Integrals use the march's own weights, so they are as accurate as the march.

    References
    ----------
    Durations: `impulse`.

    Examples
    --------
    >>> arrays = motor_arrays([example()])
    >>> _, burn = next(march(arrays))
    >>> round(float(figures(arrays, burn)["propellant_mass"][0]), 3)
    0.675
    """
    time, thrust, pressure, weights = burn.time.T, burn.thrust.T, burn.pressure.T, burn.weights.T
    peak_pressure, peak_thrust = _highest(np.stack([pressure, thrust])[:, : burn.burnt + 1])
    if not (peak_thrust > 0).all():
        raise CalcError("thrust", "is never above zero.", "Check the nozzle.")
    start, end = _while_above(time, thrust, np.multiply.outer(_SHARES, peak_thrust))
    lasted = end - start
    impulse = (weights * thrust).sum(axis=0)
    within = np.minimum(np.maximum(time, start[0]), end[0])
    apart = time[1:] - time[:-1] - (within[1:] - within[:-1])  # what is spent outside the burn time
    pushing = np.where(thrust > 0, pressure, 0.0)  # a sliver that burns in the open air lies outside for certain
    outside = ((pushing[1:] + pushing[:-1]) * apart).sum(axis=0) / 2
    mass = a.mass.sum(axis=1)
    left_over = burn.start_gas + mass - (weights * burn.outflow.T).sum(axis=0) - burn.end_gas
    return {
        "total_impulse": impulse,
        "burn_time": lasted[0],
        "action_time": lasted[1],
        "mean_thrust": impulse / lasted[0],
        "peak_thrust": peak_thrust,
        "peak_pressure": peak_pressure,
        "mean_pressure": ((weights * pushing).sum(axis=0) - outside) / lasted[0],
        "propellant_mass": mass,
        "mass_balance": left_over / mass,
    }


def _highest(values: Floats) -> Floats:
    """Peaks of histories (..., 2S + 1, M), between nodes too: of the parabola through each step's three (..., M)."""
    start = values[..., :-2:2, :]
    inner, end = values[..., 1::2, :] - start, values[..., 2::2, :] - start
    rise, bend = (9 * inner - end) / 2, (3 * end - 9 * inner) / 2  # at s in the step: start + rise s + bend s**2
    top = np.maximum(end, 0.0)
    np.divide(rise * rise, -4 * bend, out=top, where=(rise > 0) & (rise < -2 * bend))
    top += start
    return np.asarray(top.max(axis=-2))


def _while_above(time: Floats, thrust: Floats, level: Floats) -> tuple[Floats, Floats]:
    """When thrust (N, M) first comes to some levels (L, M) and last falls below them [s]; between nodes by its log."""
    above, motors = thrust >= level[:, None], np.arange(thrust.shape[1])
    first = above.argmax(axis=1)
    last = len(thrust) - 1 - above[:, ::-1].argmax(axis=1)
    inside = np.stack([first, last])
    outside = np.stack([np.maximum(first - 1, 0), np.minimum(last + 1, len(thrust) - 1)])
    here, there, high = time[inside, motors], time[outside, motors], thrust[inside, motors]
    fall = np.log(high / np.maximum(thrust[outside, motors], 1e-3 * level))
    part = np.divide(np.log(high / level), fall, out=np.zeros_like(fall), where=fall > 0)
    start, end = here + np.minimum(part, 1.0) * (there - here)
    return start, end


def simulate_many(motors: Sequence[Motor] | Arrays) -> BatchRun:
    """Predict many motors, figures only.

    Parameters
    ----------
    motors : sequence of Motor, or Arrays
        SI [-].

    Returns
    -------
    BatchRun
        Figures [N s], [s], [N], [Pa], [kg], each of shape (M,).

    Raises
    ------
    CalcError
        A motor that cannot choke its throat, or whose pressure does not settle.

    Notes
    -----
    Cost and time are linear in the number of motors; memory holds a few dozen histories at a time.

    References
    ----------
    As `chamber`.

    Examples
    --------
    >>> len(simulate_many([example(), example()]))
    2
    """
    arrays = motors if isinstance(motors, Arrays) else motor_arrays(motors)
    parts = [figures(arrays.rows(part), burn) for part, burn in march(arrays)]
    return BatchRun(**{name: np.concatenate([part[name] for part in parts]) for name in parts[0]})


def simulate(motor: Motor, least_port_to_throat: float | None = None) -> MotorRun:
    """Predict one motor with its histories, warnings and assumptions.

    Parameters
    ----------
    motor : Motor
        SI.
    least_port_to_throat : float, optional
        Ratio of port to throat area below which to warn [-].

    Returns
    -------
    MotorRun
        Histories and figures [s], [Pa], [N], [N s].

    Raises
    ------
    CalcError
        A motor that cannot choke its throat, or whose pressure does not settle.

    Notes
    -----
    Total impulse and peak pressure lie within 0.2 % of a stiff solver's for 1 to 8 grains and Kn 100 to 450.

    References
    ----------
    Sutton & Biblarz, Rocket Propulsion Elements; `chamber` for the numerical method.

    Examples
    --------
    >>> simulate(example()).impulse_class
    'J'
    """
    arrays = motor_arrays([motor])
    _, burn = next(march(arrays))
    single = {name: float(value[0]) for name, value in figures(arrays, burn).items()}
    return MotorRun(motor, arrays, burn, least_port_to_throat, **single)
