"""A motor's prediction: chamber pressure, thrust and impulse from ignition to tail-off.

One engine (`chamber`) marches any number of motors; `simulate` is a batch of one with its curves kept,
`simulate_many` keeps the figures only. Efficiencies are inputs with stated defaults: nothing here is learned.
A prediction is never a statement that a motor is safe.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.calc.base.constants import STANDARD_GRAVITY, Floats
from app.calc.base.notes import Note
from app.calc.grain.geometry import burning_area, port_area
from app.calc.motor.arrays import Arrays, choking_pressure
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
from app.calc.motor.impulse import ACTION_SHARE, BURN_SHARE, designation, impulse_class, threshold_times
from app.calc.motor.motor_flags import assumptions, flags

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
class MotorRun:
    """What one motor is predicted to do.

    Attributes
    ----------
    time, depth, pressure, thrust, kn, mass_flow : ndarray
        Histories [s], [m], [Pa], [N], [-], [kg/s], shape (N,), samples closer together where pressure moves.
    total_impulse : float
        From ignition to the last choked flow [N s].
    burn_time, action_time : float
        Thrust above 5 % and above 10 % of its peak [s].
    mean_thrust : float
        Total impulse over burn time [N].
    peak_thrust, peak_pressure, mean_pressure : float
        [N], [Pa], [Pa]; the mean is over the burn time.
    kn_start, kn_peak : float
        Burning area over throat area [-].
    port_to_throat : float or None
        Narrowest port over throat before firing [-].
    slenderness : float
        Length of all propellant over its diameter [-].
    peak_mass_flux : float
        Highest flow per port area at the aft end of any grain [kg/(m2 s)].
    specific_impulse : float
        Total impulse per propellant weight [s].
    propellant_mass : float
        [kg].
    impulse_class, designation : str
        Such as 'J' and 'J432'.
    law_range : tuple of float
        Pressures that the burn law was tested between [Pa].
    time_outside_law : float
        Of the burn spent outside that range while the throat is choked [s].
    burnt_out_at : float
        When the last propellant is gone [s].
    mass_balance : float
        (igniter gas + propellant - outflow - gas left) / propellant [-].
    flags : tuple of Note or str
        What a reader must know, in words.
    assumptions : tuple of Note or str
        What was assumed, in words.
    """

    time: Floats
    depth: Floats
    pressure: Floats
    thrust: Floats
    kn: Floats
    mass_flow: Floats
    total_impulse: float
    burn_time: float
    action_time: float
    mean_thrust: float
    peak_thrust: float
    peak_pressure: float
    mean_pressure: float
    kn_start: float
    kn_peak: float
    port_to_throat: float | None
    slenderness: float
    peak_mass_flux: float
    specific_impulse: float
    propellant_mass: float
    impulse_class: str
    designation: str
    law_range: tuple[float, float]
    time_outside_law: float
    burnt_out_at: float
    mass_balance: float
    flags: tuple[Note | str, ...]
    assumptions: tuple[Note | str, ...]

    @property
    def rising(self) -> NDArray[np.bool_]:
        """Which points come later than the one before; of those of one moment the first counts."""
        return np.concatenate([[True], np.diff(self.time) > 1e-9])


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
    impulse = (burn.weights * burn.thrust).sum(axis=1)
    start, end = threshold_times(burn.time, burn.thrust, BURN_SHARE)
    action_start, action_end = threshold_times(burn.time, burn.thrust, ACTION_SHARE)
    window = (burn.time >= start[:, None]) & (burn.time <= end[:, None])
    weights = burn.weights * window
    mass = a.mass.sum(axis=1)
    left_over = burn.start_gas + mass - (burn.weights * burn.outflow).sum(axis=1) - burn.end_gas
    return {
        "total_impulse": impulse,
        "burn_time": end - start,
        "action_time": action_end - action_start,
        "mean_thrust": impulse / (end - start),
        "peak_thrust": burn.thrust.max(axis=1),
        "peak_pressure": burn.pressure.max(axis=1),
        "mean_pressure": (weights * burn.pressure).sum(axis=1) / weights.sum(axis=1),
        "propellant_mass": mass,
        "mass_balance": left_over / mass,
    }


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
    depth, pressure, throat_area = burn.depth[0], burn.pressure[0], burn.throat_area[0]
    rate = motor.propellant.law.rate(pressure, motor.initial_temperature) * (1 + motor.extra_area)
    areas = np.stack([burning_area(grain, depth) for grain in motor.grains])
    kn = areas.sum(axis=0) * (1 + motor.extra_area) / throat_area
    flux = _peak_mass_flux(motor, depth, areas * rate)
    law = motor.propellant.law
    burning = slice(0, burn.burnt + 1)
    choked = pressure[burning] >= choking_pressure(arrays)[0]
    outside = float(burn.weights[0, burning][choked & ~law.in_range(pressure[burning])].sum())
    impulse, thrust = single["total_impulse"], single["mean_thrust"]
    return MotorRun(
        time=burn.time[0],
        depth=depth,
        pressure=np.maximum(pressure, motor.ambient_pressure),
        thrust=burn.thrust[0],
        kn=kn,
        mass_flow=burn.outflow[0],
        **single,
        kn_start=float(kn[0]),
        kn_peak=float(kn.max()),
        port_to_throat=motor.port_to_throat,
        slenderness=motor.slenderness,
        peak_mass_flux=flux,
        specific_impulse=impulse / (single["propellant_mass"] * STANDARD_GRAVITY),
        impulse_class=impulse_class(impulse),
        designation=designation(impulse, thrust),
        law_range=(law.p_min, law.p_max),
        time_outside_law=outside,
        burnt_out_at=float(burn.time[0, burn.burnt]),
        flags=flags(motor, arrays, burn, outside, least_port_to_throat),
        assumptions=assumptions(motor),
    )


def _peak_mass_flux(motor: Motor, depth: Floats, swept: Floats) -> float:
    """Highest flow per port area at the aft end of a grain [kg/(m2 s)], from it and all grains before it."""
    density = np.array([grain.density for grain in motor.grains])[:, None]
    flow = np.cumsum(swept * density, axis=0)
    ports = np.stack([port_area(grain, depth) for grain in motor.grains])
    return float(np.where(ports > 0, flow / np.where(ports > 0, ports, 1.0), 0.0).max())
