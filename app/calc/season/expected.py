"""What each design is expected to do: those that pass the screen, marched and flown a few at a time.

Memory holds the histories of some dozens of motors and the curves of a thousand; figures are kept of all.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from app.calc.base.constants import Floats
from app.calc.base.errors import CalcError
from app.calc.flight.each_motor import ascend
from app.calc.flight.wind import angle_off_rail, wind_at
from app.calc.motor.arrays import Arrays
from app.calc.motor.chamber import CHUNK, come_up, highest_steady, march
from app.calc.motor.impulse import CLASS_LIMITS
from app.calc.motor.law_lines import Lines
from app.calc.motor.simulation import figures
from app.calc.season.designs import Designs
from app.calc.season.launch import DELAY_OFF, Launch
from app.calc.season.screening import Fault, screen
from app.calc.season.tables import Ints

MARK = 1.6448536269514722
"""Of the normal distribution's 95 % mark [-]."""

GROUP = 1024
"""Designs flown at a time [-]: their curves are what memory holds."""

DENSE = -1.3
"""About the power with which heights go with the dry mass [-]: where ballast is tried first; the flight tells."""

_KEPT = ("peak_pressure", "total_impulse", "burn_time", "mean_thrust", "peak_thrust")


@dataclass(frozen=True, eq=False)
class Expected:
    """Figures of each design as expected, shape (N,), NaN where it was not marched or flown.

    Attributes
    ----------
    faults : ndarray of int
        `Fault`s [-].
    seen : ndarray of bool
        Whether it was looked at at all, for a search may be stopped [-].
    peak_pressure, high_pressure : ndarray
        Expected, and about the 95 % mark by a first estimate: the steady pressure of a motor that much faster [Pa].
    steady_pressure : ndarray
        The highest that a motor which does not come up would reach [Pa].
    total_impulse, burn_time, mean_thrust, peak_thrust : ndarray
        [N s], [s], [N], [N].
    apogee, rail_exit_speed, coast_time, thrust_to_weight, liftoff_mass : ndarray
        [m], [m/s], [s], [-], [kg].
    mass_power : ndarray
        How the height of a flight above the ceiling goes with its dry mass: as the mass to this power [-].
    gust_angle : ndarray
        Between the rail and the air that meets the rocket in the gust as it leaves it [rad].
    """

    faults: Ints
    seen: NDArray[np.bool_]
    peak_pressure: Floats
    high_pressure: Floats
    steady_pressure: Floats
    total_impulse: Floats
    burn_time: Floats
    mean_thrust: Floats
    peak_thrust: Floats
    apogee: Floats
    rail_exit_speed: Floats
    coast_time: Floats
    thrust_to_weight: Floats
    liftoff_mass: Floats
    mass_power: Floats
    gust_angle: Floats

    @classmethod
    def nothing(cls, count: int) -> "Expected":
        """Before anything was looked at."""
        names = [name for name in cls.__dataclass_fields__ if name not in ("faults", "seen")]
        return cls(
            faults=np.zeros(count, dtype=np.int32),
            seen=np.zeros(count, dtype=bool),
            **{name: np.full(count, np.nan) for name in names},
        )


@dataclass(eq=False)
class _Curves:
    """Thrust curves of motors as they are marched, in rows of equal length once all are in."""

    time: list[Floats] = field(default_factory=list)
    force: list[Floats] = field(default_factory=list)

    def joined(self) -> tuple[Floats, Floats]:
        """Times [s] and thrusts [N], shorter ones filled up with their last point."""
        longest = max(part.shape[1] for part in self.time)

        def filled(part: Floats) -> Floats:
            return np.pad(part, ((0, 0), (0, longest - part.shape[1])), mode="edge")

        return np.concatenate([filled(p) for p in self.time]), np.concatenate([filled(p) for p in self.force])


def look_at_all(designs: Designs, launch: Launch | None, found: Expected) -> Iterator[int]:
    """Screen, march and fly designs in their order.

    Parameters
    ----------
    designs : Designs
        All.
    launch : Launch or None
        Rocket, pad and field; without it nothing is flown.
    found : Expected
        Of as many designs, filled in place.

    Yields
    ------
    done : int
        How many were looked at.

    Returns
    -------
    iterator
        Of the above [-].

    Notes
    -----
    A caller that takes no more stops the work; what was looked at stays. Cost is linear in the designs.

    References
    ----------
    `screening`, `chamber`, `each_motor`.

    Examples
    --------
    >>> from app.calc.season.designs import designs_of
    >>> from app.calc.season.example import example_hardware
    >>> designs = designs_of(example_hardware())
    >>> expected = Expected.nothing(len(designs))
    >>> [*look_at_all(designs, None, expected)][-1] == len(designs), bool(np.nanmax(expected.peak_pressure) > 3e6)
    (True, True)
    """
    for start in range(0, len(designs), GROUP):
        rows = np.arange(start, min(start + GROUP, len(designs)), dtype=np.int32)
        _look_at(designs, rows, launch, found)
        found.seen[rows] = True
        yield int(rows[-1]) + 1


def _look_at(designs: Designs, rows: Ints, launch: Launch | None, found: Expected) -> None:
    found.faults[rows] = screen(designs, rows, launch)
    curves, flown = _Curves(), []
    waiting = rows[found.faults[rows] == 0]
    for start in range(0, len(waiting), CHUNK):
        part = waiting[start : start + CHUNK]
        marched = _marched(designs, part, found, curves)
        flown.append(marched)
    burned = np.concatenate(flown) if flown else np.zeros(0, dtype=np.int32)
    if not burned.size:
        return
    over = found.peak_pressure[burned] > designs.tables.limit[designs.case[burned]]
    found.faults[burned[over]] |= Fault.OVER
    if launch is not None:
        _fly(designs, burned, launch, curves, found)


def _marched(designs: Designs, rows: Ints, found: Expected, curves: _Curves) -> Ints:
    """March some designs and keep their figures; which of them burn."""
    a = designs.arrays(rows)
    try:
        _, burn = next(march(a))
        reduced = figures(a, burn)
    except CalcError:
        return _one_or_other(designs, rows, a, found, curves)
    for name in _KEPT:
        getattr(found, name)[rows] = reduced[name]
    found.high_pressure[rows] = _high(designs, rows, a, reduced["peak_pressure"])
    curves.time.append(burn.time)
    curves.force.append(burn.thrust)
    return rows


def _one_or_other(designs: Designs, rows: Ints, a: Arrays, found: Expected, curves: _Curves) -> Ints:
    """Among designs that cannot be marched together: those that do not come up are told, the others tried again."""
    up = come_up(a)
    low = rows[~up]
    found.faults[low] |= Fault.LOW
    if low.size:
        found.steady_pressure[low] = highest_steady(a.rows(np.flatnonzero(~up)))
        return _marched(designs, rows[up], found, curves) if up.any() else low[:0]
    if len(rows) == 1:
        found.faults[rows] |= Fault.ODD
        return rows[:0]
    half = len(rows) // 2
    return np.concatenate([_marched(designs, part, found, curves) for part in (rows[:half], rows[half:])])


def _high(designs: Designs, rows: Ints, a: Arrays, peak: Floats) -> Floats:
    """About the 95 % mark of the peak [Pa]: the steady pressure of a motor faster by that mark of all inputs."""
    house = designs.hardware
    formula, nozzle = designs.formula[rows], designs.nozzle[rows]
    known = np.array([n.throat_spread for n in house.nozzles])[nozzle]
    known = np.where(designs.drilled[rows] > 0, house.drilled_spread, known)
    each = [f.spread for f in house.formulas]
    of_grains = np.array([s.density**2 + s.burn_rate**2 + s.c_star**2 for s in each])[formula]
    unseen = np.array([s.extra_area for s in each])[formula]
    log_p, lines = np.log(peak), Lines.of(a)
    log_r, _ = lines.log_rate_at(log_p)
    faster = MARK * np.sqrt(of_grains + (2 * known / a.throat_d) ** 2) + unseen
    return np.asarray(np.exp(lines.steady_at(log_p - log_r + faster)))


def _fly(designs: Designs, rows: Ints, launch: Launch, curves: _Curves, found: Expected) -> None:
    time, force = curves.joined()
    dry = float(np.asarray(launch.rocket.dry_mass)) + designs.empty_mass[rows]
    pad = launch.still_pad
    flown = ascend(time, force, designs.propellant_mass[rows], dry, launch.rocket, pad)
    for name in ("apogee", "rail_exit_speed", "coast_time", "thrust_to_weight", "liftoff_mass"):
        getattr(found, name)[rows] = getattr(flown, name)
    end = pad.rail_length * np.cos(float(np.asarray(pad.tilt)))
    gust = float(wind_at(end, launch.gusts, pad.wind_height))
    found.gust_angle[rows] = angle_off_rail(np.maximum(flown.rail_exit_speed, 1e-6), pad.tilt, gust)
    slow = flown.rail_exit_speed < launch.least_speed
    tell(found.faults, rows[~flown.stands], Fault.ODD)
    tell(found.faults, rows[flown.stands & (~flown.flies | slow)], Fault.RAIL)
    tell(found.faults, rows[flown.flies & (found.gust_angle[rows] > launch.largest_angle)], Fault.WIND)
    if launch.ceiling is not None:
        high = flown.apogee > launch.ceiling
        tell(found.faults, rows[high], Fault.CEILING)
        if high.any():
            burns, heavier = designs.propellant_mass[rows[high]], heavier_by(flown.apogee[high] / launch.ceiling)
            ballast = ascend(time[high], force[high], burns, heavier * dry[high], launch.rocket, pad)
            with np.errstate(divide="ignore"):
                found.mass_power[rows[high]] = np.log(ballast.apogee / flown.apogee[high]) / np.log(heavier)
    if launch.delays is not None:
        off = np.min([np.abs(flown.coast_time - d) for d in launch.delays] or [np.full(len(rows), np.inf)], axis=0)
        tell(found.faults, rows[flown.flies & (off > DELAY_OFF)], Fault.DELAY)
    tell(found.faults, rows[too_near(found.total_impulse[rows], launch)], Fault.DISTANCE)


def heavier_by(above: Floats) -> Floats:
    """Give the dry mass with which a flight too high is flown again, to learn what ballast does.

    Parameters
    ----------
    above : ndarray
        Height over the height wanted [-].

    Returns
    -------
    ndarray
        Mass over the mass as it is [-], 1.05 to 6.

    Notes
    -----
    Near the mass that is looked for, so that a power law through both flights reads it well.

    References
    ----------
    An assumption of this book, no source.

    Examples
    --------
    >>> heavier_by(np.array([1.0, 2.0])).round(2).tolist()
    [1.05, 1.7]
    """
    return np.clip(above ** (-1 / DENSE), 1.05, 6.0)


def tell(faults: Ints, rows: Ints, fault: Fault) -> None:
    """Write a fault down beside some designs.

    Parameters
    ----------
    faults : ndarray of int
        Of all designs, changed in place [-].
    rows : ndarray of int
        Which [-].
    fault : Fault
        What.

    References
    ----------
    Bits.

    Notes
    -----
    Others that are there stay.

    Examples
    --------
    >>> faults = np.array([0, 1], dtype=np.int32)
    >>> tell(faults, np.array([1], dtype=np.int32), Fault.OVER)
    >>> faults.tolist()
    [0, 17]
    """
    faults[rows] |= int(fault)


def too_near(impulse: Floats, launch: Launch) -> NDArray[np.bool_]:
    """Tell of which motors persons cannot stand far enough away within the field.

    Parameters
    ----------
    impulse : ndarray
        Total impulse [N s], any shape.
    launch : Launch
        With least distances by class and the nearest edge.

    Returns
    -------
    ndarray of bool
        True where the least distance of the class is beyond the nearest edge [-]; nothing where either is unknown.

    Notes
    -----
    A motor above the last class of the table is one.

    References
    ----------
    The distances given.

    Examples
    --------
    >>> from app.calc.flight.launch import Pad, Rocket
    >>> here = Launch(Rocket(2.0, 0.1, 0.5), Pad(2.0), nearest_edge=70.0, distances={"I": 61.0, "J": 91.0})
    >>> too_near(np.array([500.0, 900.0]), here).tolist()
    [False, True]
    """
    if launch.nearest_edge is None or not launch.distances:
        return np.zeros(np.shape(impulse), dtype=bool)
    place = np.searchsorted(np.array(list(CLASS_LIMITS.values())), impulse, side="left")
    wanted = np.array([launch.distances.get(letter, 0.0) for letter in CLASS_LIMITS] + [np.inf])
    return np.asarray(wanted[place] > launch.nearest_edge)
