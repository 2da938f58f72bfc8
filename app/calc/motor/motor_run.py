"""What the march of one motor tells: its histories, figures and words."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from app.calc.base.constants import STANDARD_GRAVITY, Floats
from app.calc.base.notes import Note
from app.calc.motor.arrays import Arrays, choking_pressure
from app.calc.motor.assembly import Motor
from app.calc.motor.chamber import Burn
from app.calc.motor.impulse import designation, impulse_class
from app.calc.motor.motor_flags import assumptions, flags


@dataclass(frozen=True)
class MotorRun:
    """What one motor is predicted to do.

    Attributes
    ----------
    motor, arrays, burn : Motor, Arrays, Burn
        What was marched, and its march.
    least_port_to_throat : float or None
        Ratio of port to throat area below which to warn [-].
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

    Notes
    -----
    What is not of the march itself is worked out when it is first asked for.
    """

    motor: Motor
    arrays: Arrays
    burn: Burn
    least_port_to_throat: float | None
    total_impulse: float
    burn_time: float
    action_time: float
    mean_thrust: float
    peak_thrust: float
    peak_pressure: float
    mean_pressure: float
    propellant_mass: float
    mass_balance: float

    @property
    def time(self) -> Floats:
        """Moments, later and later [s]."""
        return np.asarray(self.burn.time[0])

    @property
    def depth(self) -> Floats:
        """Depth burned at them [m]."""
        return np.asarray(self.burn.depth[0])

    @cached_property
    def pressure(self) -> Floats:
        """Chamber pressure at them, never below ambient [Pa]."""
        return np.asarray(np.maximum(self.burn.pressure[0], self.motor.ambient_pressure))

    @property
    def thrust(self) -> Floats:
        """Thrust at them [N]."""
        return np.asarray(self.burn.thrust[0])

    @cached_property
    def kn(self) -> Floats:
        """Burning area over throat area at them [-]."""
        burning = self.arrays.count[0] @ self.burn.area[:, :, 0] * (1 + self.motor.extra_area)
        kn = np.zeros_like(self.depth)
        kn[: len(burning)] = burning / self.burn.throat_area[0, : len(burning)]
        return kn

    @property
    def mass_flow(self) -> Floats:
        """What leaves through the throat at them [kg/s]."""
        return np.asarray(self.burn.outflow[0])

    @property
    def kn_start(self) -> float:
        """Burning area over throat area at first [-]."""
        return float(self.kn[0])

    @property
    def kn_peak(self) -> float:
        """The largest of it [-]."""
        return float(self.kn.max())

    @property
    def port_to_throat(self) -> float | None:
        """Narrowest port over throat before firing [-]; None where no gas passes a grain."""
        return self.motor.port_to_throat

    @property
    def slenderness(self) -> float:
        """Length of all propellant over its diameter [-]."""
        return self.motor.slenderness

    @cached_property
    def peak_mass_flux(self) -> float:
        """Highest flow per port area at the aft end of any grain [kg/(m2 s)]."""
        return _peak_mass_flux(self.motor, self.arrays, self.burn)

    @property
    def specific_impulse(self) -> float:
        """Total impulse per propellant weight [s]."""
        return self.total_impulse / (self.propellant_mass * STANDARD_GRAVITY)

    @property
    def impulse_class(self) -> str:
        """Such as J [-]."""
        return impulse_class(self.total_impulse)

    @property
    def designation(self) -> str:
        """Such as J432 [-]."""
        return designation(self.total_impulse, self.mean_thrust)

    @property
    def law_range(self) -> tuple[float, float]:
        """Pressures that the burn law was tested between [Pa]."""
        return self.motor.propellant.law.p_min, self.motor.propellant.law.p_max

    @cached_property
    def time_outside_law(self) -> float:
        """Of the burn spent outside that range while the throat is choked [s]."""
        burning = slice(0, self.burn.burnt + 1)
        pressure, (low, high) = self.burn.pressure[0, burning], self.law_range
        outside = ((pressure < low) | (pressure > high)) & (pressure >= choking_pressure(self.arrays)[0])
        return float(self.burn.weights[0, burning][outside].sum())

    @property
    def burnt_out_at(self) -> float:
        """When the last propellant is gone [s]."""
        return float(self.burn.time[0, self.burn.burnt])

    @cached_property
    def flags(self) -> tuple[Note | str, ...]:
        """What a reader must know, strong ones first [-]."""
        return flags(self.motor, self.arrays, self.burn, self.time_outside_law, self.least_port_to_throat)

    @cached_property
    def assumptions(self) -> tuple[Note | str, ...]:
        """What was assumed [-]."""
        return assumptions(self.motor)

    @property
    def rising(self) -> NDArray[np.bool_]:
        """Which points come later than the one before; of those of one moment the first counts."""
        return np.concatenate([[True], np.diff(self.time) > 1e-9])


def _peak_mass_flux(motor: Motor, a: Arrays, burn: Burn) -> float:
    """Highest flow per port area at the aft end of a grain [kg/(m2 s)], from it and all grains before it."""
    kinds = {grain: place for place, grain in enumerate(dict.fromkeys(motor.grains))}
    order = [kinds[grain] for grain in motor.grains]
    depth, volume = burn.depth[0, : burn.burnt + 1], burn.volume[:, :, 0]
    density = a.mass[0] / (a.count[0] * volume[:, 0])
    flow = (burn.area[:, :, 0] * burn.rate[:, 0] * density[:, None])[order].cumsum(axis=0)
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
