"""What is ruled out before any march: sizes, rules, and bounds that never drop a design which could pass.

The bound on pressure. A march burns the mass m over the web w, and what burned is in the chamber or has left through
the throat: m <= sum of (A_t/c*) P/r(P) dx + P_end V/RT. P/r(P) rises with P in every burn law (n < 1), so while P stays
below a limit L the right side is at most (A_t/c*) L/r(L) w + L V/RT. Where that is less than m, pressure passes L
whatever the march does in between. The rules of `chamber` weigh each step by its length, so it holds for them as well.

The bound on the rail. With P below L no thrust is above that of the whole vacuum coefficient at L, no mass below the
dry one: v**2 <= 2 L_rail (F/m - g cos(tilt)).
"""

from enum import IntFlag

import numpy as np
from numpy.typing import NDArray

from app.calc.base.constants import STANDARD_GRAVITY, Floats
from app.calc.motor.arrays import Arrays, webs
from app.calc.motor.law_lines import Lines
from app.calc.motor.motor_flags import SLENDER
from app.calc.motor.nozzle import exit_pressure_ratio, momentum_coefficient
from app.calc.season.designs import Designs
from app.calc.season.launch import Launch
from app.calc.season.tables import Ints

SURE = 0.995
"""What must be left over for a bound to count [-]: c* is read near the march's own pressure, to a thousandth."""


class Fault(IntFlag):
    """What speaks against a design; several may."""

    PARTS = 1
    PORT = 2
    SLENDER = 4
    LOW = 8
    OVER = 16
    ODD = 32
    RAIL = 64
    WIND = 128
    CEILING = 256
    FIELD = 512
    DELAY = 1024
    DISTANCE = 2048


KINDS = {
    Fault.PARTS: "cannot be put together",
    Fault.PORT: "narrow port",
    Fault.SLENDER: "too slender",
    Fault.LOW: "stays low",
    Fault.OVER: "over the case",
    Fault.ODD: "not computed",
    Fault.RAIL: "slow off the rail",
    Fault.WIND: "wind at the rail",
    Fault.CEILING: "above the ceiling",
    Fault.FIELD: "lands outside",
    Fault.DELAY: "no such delay",
    Fault.DISTANCE: "persons too near",
}
"""What each is called, gravest first."""


def screen(designs: Designs, rows: Ints, launch: Launch | None = None) -> Ints:
    """Tell what rules designs out before they are marched.

    Parameters
    ----------
    designs : Designs
        All.
    rows : ndarray of int
        Which to look at [-], shape (K,).
    launch : Launch, optional
        Rocket and rail; without it nothing is said of a flight.

    Returns
    -------
    ndarray of int
        `Fault`s of each [-], shape (K,); 0 where it is to be marched.

    Notes
    -----
    Sizes and rules are exact; of the bounds see the module. What they leave is not said to be possible.

    References
    ----------
    Conservation of mass; Newton's second law.

    Examples
    --------
    >>> from app.calc.season.example import example_hardware
    >>> from app.calc.season.designs import designs_of
    >>> designs = designs_of(example_hardware())
    >>> bool((screen(designs, np.arange(len(designs), dtype=np.int32)) == 0).any())
    True
    """
    t, house = designs.tables, designs.hardware
    faults = np.zeros(len(rows), dtype=np.int32)
    nozzle, stack, case = designs.nozzle[rows], designs.stack[rows], designs.case[rows]
    throat, grown = designs.throat_d[rows], designs.throat_d[rows] + t.throat_growth[nozzle]
    ratio = designs.port_to_throat[rows]
    free = t.chamber_volume[case] - t.tube_volume[stack] - t.volume[stack]
    parts = (t.exit_d[nozzle] < np.maximum(throat, grown)) | (grown < 0.8 * throat) | (grown > 2 * throat)
    faults[parts | (free <= 0) | t.blocked[stack]] |= Fault.PARTS
    faults[ratio < max(house.least_port, 1.0)] |= Fault.PORT
    faults[designs.slenderness[rows] >= SLENDER] |= Fault.SLENDER
    sound = np.flatnonzero(faults == 0)
    if sound.size:
        a = designs.arrays(rows[sound])
        limit = t.limit[case[sound]]
        faults[sound[surely_over(a, limit)]] |= Fault.OVER
        if launch is not None:
            dry = float(np.asarray(launch.rocket.dry_mass)) + designs.empty_mass[rows[sound]]
            faults[sound[_surely_slow(a, limit, dry, launch)]] |= Fault.RAIL
    return faults


def surely_over(a: Arrays, limit: Floats) -> NDArray[np.bool_]:
    """Tell which motors pass a pressure whatever their march does in between.

    Parameters
    ----------
    a : Arrays
        Motors, shape (M,) and more [SI].
    limit : ndarray
        Of each [Pa], shape (M,).

    Returns
    -------
    ndarray of bool
        True where the peak is above the limit [-], shape (M,).

    Notes
    -----
    False is no statement that a motor stays below it.

    References
    ----------
    Conservation of mass: the module's docstring.

    Examples
    --------
    >>> from app.calc.motor.assembly import example, motor_arrays
    >>> surely_over(motor_arrays([example()] * 2), np.array([1e6, 6e6])).tolist()
    [True, False]
    """
    log_r, _ = Lines.of(a).log_rate_at(np.log(limit))
    widest = np.maximum(a.throat_d, a.throat_d + a.throat_growth)
    through = np.pi / 4 * widest**2 / a.c_star * limit / np.exp(log_r) * webs(a)[0].max(axis=1)
    held = limit * a.chamber_volume / (a.flow_function * a.c_star) ** 2
    return np.asarray(through + held < SURE * a.mass.sum(axis=1))


def _surely_slow(a: Arrays, limit: Floats, dry: Floats, launch: Launch) -> NDArray[np.bool_]:
    """Which leave the rail too slowly, or pass their case's limit."""
    throat = np.stack([a.throat_d, a.throat_d + a.throat_growth])
    ratio = (a.exit_d / throat.min(axis=0)) ** 2
    attached = exit_pressure_ratio(ratio, a.gamma)
    efficiency = np.maximum(a.nozzle_efficiency, 1.0)
    coefficient = efficiency * momentum_coefficient(a.gamma, attached) + attached * ratio
    push = coefficient * limit * np.pi / 4 * throat.max(axis=0) ** 2
    tilt = float(np.asarray(launch.pad.tilt))
    gain = push / dry - STANDARD_GRAVITY * np.cos(tilt)
    fastest = np.sqrt(2 * launch.pad.rail_length * np.maximum(gain, 0.0)) + launch.blows * abs(np.sin(tilt))
    return np.asarray(fastest < SURE * launch.least_speed)
