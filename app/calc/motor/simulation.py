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
from app.calc.base.errors import CalcError
from app.calc.base.notes import Note
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
from app.calc.motor.impulse import ACTION_SHARE, BURN_SHARE, designation, impulse_class
from app.calc.motor.law_lines import Lines
from app.calc.motor.motor_flags import assumptions, flags

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
    depth, pressure, law = burn.depth[0], burn.pressure[0], motor.propellant.law
    log_rate, _ = Lines.of(arrays).log_rate_at(np.log(burn.pressure.T[: burn.burnt + 1]))
    burning = slice(0, burn.burnt + 1)
    kn = np.zeros_like(depth)
    kn[burning] = arrays.count[0] @ burn.area[:, :, 0] * (1 + motor.extra_area) / burn.throat_area[0, burning]
    flux = _peak_mass_flux(motor, arrays, burn, np.exp(log_rate[:, 0]))
    lit, weights = pressure[burning], burn.weights[0, burning]
    tested = (lit >= law.p_min) & (lit <= law.p_max)
    outside = float(weights[(lit >= choking_pressure(arrays)[0]) & ~tested].sum())
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


def _peak_mass_flux(motor: Motor, a: Arrays, burn: Burn, rate: Floats) -> float:
    """Highest flow per port area at the aft end of a grain [kg/(m2 s)], from it and all grains before it."""
    kinds = {grain: place for place, grain in enumerate(dict.fromkeys(motor.grains))}
    order = [kinds[grain] for grain in motor.grains]
    depth, volume = burn.depth[0, : burn.burnt + 1], burn.volume[:, :, 0]
    density = a.mass[0] / (a.count[0] * volume[:, 0])
    flow = (burn.area[:, :, 0] * rate * density[:, None])[order].cumsum(axis=0)
    length = np.maximum(a.length[0, :, None] - a.ends[0, :, None] * depth, 1e-9)
    ports = (np.pi * a.outer_r[0, :, None] ** 2 - volume / length)[order]
    flux = np.divide(flow, ports, out=np.zeros_like(flow), where=ports > 0).max(axis=0)
    top = min(max(int(flux.argmax()), 1), len(flux) - 2)
    (before, here, after), (u, v, w) = depth[top - 1 : top + 2], flux[top - 1 : top + 2]
    if min(u, w) < 0.9 * v or before == here or here == after:  # a grain lights or is gone there
        return float(v)
    back, on = (u - v) / (before - here), (w - v) / (after - here)
    bend = (on - back) / (after - before)
    rise = on - bend * (after - here)
    return float(v - rise * rise / (4 * bend)) if bend < 0 else float(v)
