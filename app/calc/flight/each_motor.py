"""Flights of one rocket on many motors, each with a thrust curve of its own, from the pad to apogee, all at once.

The equations, steps and air are those of `flight.fly_many`, whose flights share one curve; what comes after apogee is
left to it.
"""

from dataclasses import dataclass, replace
from typing import cast

import numpy as np
from numpy.typing import ArrayLike

from app.calc.base.constants import STANDARD_GRAVITY, Floats, finite_array
from app.calc.base.errors import CalcError
from app.calc.flight.ascent import LIT, Bools, U, W, X, Z, climb, leave_rail
from app.calc.flight.launch import HARDEST, Motor, Pad, Rocket, air_over, batch_of

_APART = 1e4
"""Between two flights' times where all stand in one rising line [s]; longer than any burn."""

FEWER_STEPS = 120
"""Steps along the rail [-]: fewer than one flight alone takes, for its speed off it to some ten-thousandths."""

_SAME = 1e-9
"""Two points of a curve nearer than this are one instant [s]."""


@dataclass(frozen=True)
class Curves:
    """Thrust curves, one a flight, straight between their points: times [s] and thrusts [N], shape (N, K).

    A shorter curve is filled up with its last point.
    """

    time: Floats
    force: Floats
    done: Floats

    @property
    def total(self) -> Floats:
        """Impulse of each flight [N s]."""
        return self.done[:, -1]

    @property
    def end(self) -> Floats:
        """When the curve of each flight ends [s]."""
        return self.time[:, -1]

    @property
    def hardest(self) -> Floats:
        """Largest thrust of each flight [N]."""
        return cast(Floats, self.force.max(axis=1))

    @property
    def lasts(self) -> Floats:
        """From the first to the last point above 5 % of the largest thrust of each flight [s]."""
        above = self.force > LIT * self.hardest[:, None]
        count, rows = self.time.shape[1], np.arange(len(self.time))
        first = np.maximum(above.argmax(axis=1) - 1, 0)
        last = np.minimum(count - above[:, ::-1].argmax(axis=1), count - 1)
        return np.asarray(self.time[rows, last] - self.time[rows, first])

    def _piece(self, t: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats]:
        """Of each time: impulse before its piece, thrust at its start and end, length of the piece, and how far in."""
        flights, points = self.time.shape
        at = np.clip(t, 0.0, self.end)
        line = (self.time + _APART * np.arange(flights)[:, None]).ravel()
        place = np.searchsorted(line, (at + _APART * np.arange(flights)).ravel(), side="right").reshape(at.shape)
        start = np.clip(place - 1, points * np.arange(flights), points * np.arange(1, flights + 1) - 2)
        time, force = self.time.ravel(), self.force.ravel()
        length = time[start + 1] - time[start]
        into = np.clip(at - time[start], 0.0, length)
        return self.done.ravel()[start], force[start], force[start + 1], length, into

    def impulse(self, t: Floats) -> Floats:
        """Impulse up to t, exact for a curve of straight pieces [N s]; flights in the last axis."""
        before, first, last, length, into = self._piece(t)
        slope = np.where(length > _SAME, (last - first) / np.maximum(length, _SAME), 0.0)
        return np.asarray(before + into * (first + slope * into / 2))

    def thrust(self, t: Floats) -> Floats:
        """Thrust at t [N]; none before and after the burn."""
        _, first, last, length, into = self._piece(t)
        found = first + (last - first) * into / np.maximum(length, _SAME)
        return np.where((t < 0) | (t > self.end), 0.0, found)


@dataclass(frozen=True)
class Ascents:
    """What flights do up to apogee, arrays of shape (N,); meanings and units as in `flight.Flown`.

    `flies` tells which leave the rail, `stands` which push no harder than anything stands; of the others all is zero.
    """

    flies: Bools
    stands: Bools
    liftoff_mass: Floats
    thrust_to_weight: Floats
    rail_exit_speed: Floats
    apogee: Floats
    downrange: Floats
    coast_time: Floats
    max_speed: Floats


def ascend(
    time: ArrayLike, thrust: ArrayLike, propellant: ArrayLike, dry_mass: ArrayLike, rocket: Rocket, pad: Pad
) -> Ascents:
    """Fly one rocket on many motors up to apogee.

    Parameters
    ----------
    time, thrust : array_like
        Thrust curves, straight between their points [s], [N], shape (N, K); times never fall along a row.
    propellant, dry_mass : array_like
        What burns, and everything else, of each flight [kg], shape (N,).
    rocket : Rocket
        Sizes [m] and drag [-]; its own dry mass is not read.
    pad : Pad
        Rail [m], [rad], elevation [m], temperature [K] and wind [m/s], the same for all.

    Returns
    -------
    Ascents
        Speeds [m/s], heights above the field [m], times [s].

    Raises
    ------
    OutOfRange, GeometryError, CalcError
        As `flight.fly_many`; or curves that do not pair up.

    Notes
    -----
    As `flight.fly_many`, with fewer steps along the rail; figures agree with a flight alone to some ten-thousandths.

    References
    ----------
    As `flight.fly_many`.

    Examples
    --------
    >>> both = ascend([[0, 2], [0, 1]], [[400, 400], [800, 800]], [0.7, 0.7], [6.5, 6.5], Rocket(1, 0.1, 0.5), Pad(2.0))
    >>> bool(both.rail_exit_speed[1] > both.rail_exit_speed[0]), bool(both.apogee[0] > 400)
    (True, True)
    """
    t, force = finite_array("time", time), finite_array("thrust", thrust)
    burns, dry = finite_array("propellant_mass", propellant), finite_array("dry_mass", dry_mass)
    if t.ndim != 2 or t.shape != force.shape or t.shape[1] < 2 or not len(t) == len(burns) == len(dry):
        raise CalcError("time", "curves and masses do not pair up.", "Give times, thrusts and masses of each flight.")
    if (np.diff(t, axis=1) < 0).any() or (t[:, 0] < 0).any() or (force < 0).any():
        raise CalcError("time", "a curve runs backwards or pulls.", "Sort the points; zero the curve first.")
    step = np.diff(t, axis=1) * (force[:, 1:] + force[:, :-1]) / 2
    curves = Curves(t, force, np.concatenate((np.zeros((len(t), 1)), np.cumsum(step, axis=1)), axis=1))
    if (curves.total <= 0).any() or (burns <= 0).any():
        raise CalcError("thrust", "a motor has no thrust or no propellant.", "Leave it out.")
    stands = curves.hardest / dry <= HARDEST * STANDARD_GRAVITY
    checked, _ = batch_of(
        Motor([0.0, 1.0], [1e-9, 1e-9], 1.0), replace(rocket, dry_mass=dry), pad
    )  # refuses what is impossible of rocket and pad, and lays them out
    safe = np.where(stands, 1.0, 1e-9)  # what nothing stands is not flown, and must not stretch the air's table
    tamed = replace(curves, force=force * safe[:, None], done=curves.done * safe[:, None])
    batch = replace(
        checked, curve=tamed, propellant=burns, air=air_over(tamed, burns, checked.dry, checked.air.wind, pad)
    )
    leaves, left, exit_speed = leave_rail(batch, FEWER_STEPS)
    flies = leaves & stands
    way_up, _, top_time, top = climb(batch, left, exit_speed, flies)
    burnt = np.minimum(np.maximum(batch.curve.end, left), top_time)
    weight = (dry + burns) * STANDARD_GRAVITY
    fastest = np.max([np.hypot(state[U], state[W]) for state in way_up.states], axis=0)

    def of_flight(values: Floats) -> Floats:
        return np.where(flies, values, 0.0)

    return Ascents(
        flies=flies,
        stands=stands,
        liftoff_mass=dry + burns,
        thrust_to_weight=curves.total / curves.lasts / weight,
        rail_exit_speed=of_flight(exit_speed),
        apogee=of_flight(top[Z]),
        downrange=of_flight(top[X]),
        coast_time=of_flight(top_time - burnt),
        max_speed=of_flight(fastest),
    )
