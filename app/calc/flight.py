"""Flight of a rocket as a point: rail, burn, coast to apogee."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from app.calc.atmosphere import atmosphere, warmer_than_standard
from app.calc.constants import STANDARD_GRAVITY, Floats, positive
from app.calc.errors import CalcError, GeometryError, NoSolution, OutOfRange

MAX_TILT = math.radians(20)
"""Largest tilt of the rail from vertical [rad]."""

_COAST_STEP = 0.05  # s; RK4, so the error is far below that of any drag coefficient
_LONGEST = 600.0  # s

State = tuple[float, float, float, float]  # downrange [m], height [m], and their rates [m/s]


@dataclass(frozen=True)
class Flight:
    """One flight from the pad to apogee.

    Attributes
    ----------
    liftoff_mass : float
        [kg]
    drag_area : float
        Drag coefficient times its reference area [m²].
    area_basis : str
        What that area is, in words.
    total_impulse : float
        Under the thrust curve [N s].
    thrust_to_weight, thrust_to_weight_rail : float
        Mean thrust over the burn, and over the stay on the rail, to liftoff weight [-].
    rail_exit_speed, rail_exit_time : float
        [m/s], [s]
    burnout_speed, burnout_time, burnout_height : float
        When the thrust curve ends [m/s], [s], [m].
    apogee, apogee_time, coast_time, downrange : float
        Height above the field [m], time from ignition [s], time from burnout (the delay) [s], drift [m].
    max_speed, max_mach, max_q, max_acceleration : float
        [m/s], [-], [Pa], [m/s²]
    time, height, speed : ndarray, shape (n,)
        The path [s], [m], [m/s].
    notes : tuple of str
        What to keep in mind, in words.
    """

    liftoff_mass: float
    drag_area: float
    area_basis: str
    total_impulse: float
    thrust_to_weight: float
    thrust_to_weight_rail: float
    rail_exit_speed: float
    rail_exit_time: float
    burnout_speed: float
    burnout_time: float
    burnout_height: float
    apogee: float
    apogee_time: float
    coast_time: float
    downrange: float
    max_speed: float
    max_mach: float
    max_q: float
    max_acceleration: float
    time: Floats
    height: Floats
    speed: Floats
    notes: tuple[str, ...]


@dataclass(frozen=True)
class _Leg:
    """One stretch of time with steady thrust and steady loss of mass."""

    thrust: float
    mass: float
    flow: float
    tilt: float | None  # of the rail while on it, else the nose follows the path
    drag_area: float
    elevation: float
    warmer: float

    def slope(self, t: float, state: State) -> State:
        _, z, u, w = state
        speed = math.hypot(u, w)
        air = atmosphere(self.elevation + z, self.warmer)
        mass = self.mass - self.flow * t
        along = (self.thrust - 0.5 * air.density * self.drag_area * speed * speed) / mass
        if self.tilt is not None:
            along -= STANDARD_GRAVITY * math.cos(self.tilt)
            if speed == 0 and along < 0:
                along = 0.0  # the pad holds it until thrust exceeds weight
            return u, w, along * math.sin(self.tilt), along * math.cos(self.tilt)
        if speed == 0:
            return u, w, 0.0, along - STANDARD_GRAVITY
        return u, w, along * u / speed, along * w / speed - STANDARD_GRAVITY

    def step(self, state: State, dt: float) -> State:
        """Classical Runge-Kutta of fourth order."""
        k1 = self.slope(0.0, state)
        k2 = self.slope(dt / 2, _moved(state, k1, dt / 2))
        k3 = self.slope(dt / 2, _moved(state, k2, dt / 2))
        k4 = self.slope(dt, _moved(state, k3, dt))
        a, b, c, d = (y + dt / 6 * (p + 2 * q + 2 * r + s) for y, p, q, r, s in zip(state, k1, k2, k3, k4, strict=True))
        return a, b, c, d


def _moved(state: State, rate: State, dt: float) -> State:
    return (
        state[0] + dt * rate[0],
        state[1] + dt * rate[1],
        state[2] + dt * rate[2],
        state[3] + dt * rate[3],
    )


def fly(
    time: ArrayLike,
    thrust: ArrayLike,
    propellant_mass: float,
    dry_mass: float,
    diameter: float,
    drag_coefficient: float,
    rail_length: float,
    reference_area: float | None = None,
    field_elevation: float = 0.0,
    field_temperature: float | None = None,
    tilt: float = 0.0,
) -> Flight:
    """Fly a rocket on a thrust curve, straight up or a little tilted, in still air.

    Parameters
    ----------
    time, thrust : array_like, shape (n,)
        Thrust curve, taken as straight between its points [s], [N].
    propellant_mass, dry_mass : float
        What burns; everything else, with the empty motor [kg].
    diameter : float
        Largest body diameter [m].
    drag_coefficient : float
        On the reference area [-].
    rail_length : float
        Travel until the last guide leaves the rail [m].
    reference_area : float, optional
        Area basis of the drag coefficient [m²]; the body's cross-section if not given.
    field_elevation : float
        Above sea level [m].
    field_temperature : float, optional
        Air at the field [K]; standard if not given.
    tilt : float
        Of the rail from vertical [rad].

    Returns
    -------
    Flight
        Speeds [m/s], heights above the field [m], times [s] and the path.

    Raises
    ------
    OutOfRange, GeometryError, CalcError
        If an input is impossible; each names the field.
    NoSolution
        If the thrust cannot lift the rocket off the rail.

    Notes
    -----
    A point mass: no wind, no wobble, no rail friction; nose along the path. Mass is lost in proportion to
    impulse. The drag coefficient is one number, which holds below about Mach 0.8. Gravity is constant.

    References
    ----------
    Equations of motion of a rocket in two dimensions: Sutton & Biblarz, Rocket Propulsion Elements, ch. 4
    (from memory). Air: U.S. Standard Atmosphere, 1976.

    Examples
    --------
    >>> flight = fly([0, 2], [400, 400], 0.7, 6.5, 0.1, 0.5, rail_length=2.0)
    >>> 400 < flight.apogee < 500
    True
    """
    t, force = _checked_curve(time, thrust)
    for field, value in (("propellant_mass", propellant_mass), ("dry_mass", dry_mass), ("rail_length", rail_length)):
        positive(field, value, "Give a number above zero.")
    if not (math.isfinite(diameter) and diameter > 0):
        raise GeometryError("diameter", f"{diameter} m is not possible.", "Give the body's diameter.")
    if not (math.isfinite(drag_coefficient) and 0 <= drag_coefficient <= 5):
        raise OutOfRange("drag_coefficient", f"{drag_coefficient} is odd.", "Usual values lie from 0.3 to 0.8.")
    if not abs(tilt) <= MAX_TILT:
        raise OutOfRange("tilt", f"{math.degrees(tilt):.1f}° is too far from vertical.", "Use 20° or less.")
    area, basis = math.pi / 4 * diameter**2, "body cross-section"
    if reference_area is not None:
        positive("reference_area", reference_area, "Give a number above zero.")
        area, basis = reference_area, "area given with the coefficient"
    warmer = 0.0 if field_temperature is None else warmer_than_standard(field_temperature, field_elevation)
    liftoff = propellant_mass + dry_mass
    weight = liftoff * STANDARD_GRAVITY
    if force.max() <= weight:
        raise NoSolution(
            "thrust",
            f"the largest thrust ({force.max():.0f} N) does not lift {liftoff:.2f} kg.",
            "Use a stronger motor or a lighter rocket.",
        )

    grid = _burn_grid(t)
    impulse = _impulse_at(t, force, grid)
    total = float(impulse[-1])
    state: State = (0.0, 0.0, 0.0, 0.0)
    now, on_rail = 0.0, True
    path = [(now, *state)]
    rail_exit: tuple[float, float, float] | None = None  # time, speed, impulse spent
    burnout: State | None = None
    i, acceleration = 0, 0.0
    while now < _LONGEST:
        burning = i + 1 < len(grid)
        dt = float(grid[i + 1] - grid[i]) if burning else _COAST_STEP
        spent = float(impulse[i + 1] - impulse[i]) if burning else 0.0
        left = propellant_mass * (1 - float(impulse[i]) / total) if burning else 0.0
        leg = _Leg(
            thrust=spent / dt,
            mass=dry_mass + left,
            flow=propellant_mass * spent / total / dt,
            tilt=tilt if on_rail else None,
            drag_area=drag_coefficient * area,
            elevation=field_elevation,
            warmer=warmer,
        )
        after = leg.step(state, dt)
        before_speed, speed = math.hypot(*state[2:]), math.hypot(*after[2:])
        acceleration = max(acceleration, (speed - before_speed) / dt)
        if on_rail:
            travel, further = math.hypot(*state[:2]), math.hypot(*after[:2])
            if further >= rail_length:
                on_rail = False
                share = (rail_length - travel) / (further - travel)
                exit_speed = math.sqrt(before_speed**2 + share * (speed**2 - before_speed**2))
                # Under steady acceleration distance grows with mean speed.
                into = 2 * (rail_length - travel) / (before_speed + exit_speed)
                rail_exit = (now + into, exit_speed, float(impulse[i]) + spent * into / dt)
            elif after[3] < 0 or (not burning and speed == 0):
                if not burning:
                    break
                after = (0.0, 0.0, 0.0, 0.0)  # thrust slumped: it sits back down on the pad
        if not on_rail and after[3] <= 0:
            state, dt = _to_apogee(leg, state, after, dt)
            now += dt
            path.append((now, *state))
            break
        state, now = after, now + dt
        path.append((now, *state))
        if burning:
            i += 1
            if i + 1 == len(grid):
                burnout = state
    if rail_exit is None:
        raise NoSolution(
            "rail_length",
            "the rocket does not leave the rail.",
            "Use a stronger motor, a lighter rocket or a shorter rail.",
        )
    burnout_time = float(grid[-1]) if burnout is not None else now
    return _summary(
        path,
        burnout=burnout if burnout is not None else state,
        burnout_time=burnout_time,
        rail_exit=rail_exit,
        acceleration=acceleration,
        total=total,
        burn=_burn_duration(t, force),
        liftoff=liftoff,
        drag=(drag_coefficient * area, basis),
        place=(field_elevation, warmer),
    )


def _to_apogee(leg: _Leg, state: State, after: State, dt: float) -> tuple[State, float]:
    """Shorten the last step until it ends where the climb does."""
    part = dt * state[3] / (state[3] - after[3])
    for _ in range(3):
        top = leg.step(state, part)
        rate = leg.slope(part, top)[3]
        if abs(top[3]) < 1e-9 or rate >= 0:
            break
        part = min(max(part - top[3] / rate, 0.0), dt)
    return leg.step(state, part), part


def _summary(
    path: Sequence[tuple[float, float, float, float, float]],
    burnout: State,
    burnout_time: float,
    rail_exit: tuple[float, float, float],
    acceleration: float,
    total: float,
    burn: float,
    liftoff: float,
    drag: tuple[float, str],
    place: tuple[float, float],
) -> Flight:
    track = np.array(path)
    now, x, z = track[:, 0], track[:, 1], track[:, 2]
    speed = np.hypot(track[:, 3], track[:, 4])
    airs = [atmosphere(place[0] + float(h), place[1]) for h in z]
    mach = speed / np.array([air.speed_of_sound for air in airs])
    q = 0.5 * np.array([air.density for air in airs]) * speed**2
    weight = liftoff * STANDARD_GRAVITY
    notes = []
    if mach.max() > 0.8:
        notes.append(f"Mach {mach.max():.2f}: drag rises near the speed of sound and one coefficient is too low.")
    ratio, ratio_rail = total / burn / weight, rail_exit[2] / rail_exit[0] / weight
    if ratio_rail < 5:
        notes.append(f"Thrust on the rail is {ratio_rail:.1f} times the weight; a rule of thumb asks for 5.")
    if rail_exit[1] < 13:
        notes.append(f"It leaves the rail at {rail_exit[1]:.1f} m/s; a rule of thumb asks for 13 to 15 m/s.")
    return Flight(
        liftoff_mass=liftoff,
        drag_area=drag[0],
        area_basis=drag[1],
        total_impulse=total,
        thrust_to_weight=ratio,
        thrust_to_weight_rail=ratio_rail,
        rail_exit_speed=rail_exit[1],
        rail_exit_time=rail_exit[0],
        burnout_speed=math.hypot(*burnout[2:]),
        burnout_time=burnout_time,
        burnout_height=burnout[1],
        apogee=float(z[-1]),
        apogee_time=float(now[-1]),
        coast_time=float(now[-1]) - burnout_time,
        downrange=float(x[-1]),
        max_speed=float(speed.max()),
        max_mach=float(mach.max()),
        max_q=float(q.max()),
        max_acceleration=acceleration,
        time=now,
        height=z,
        speed=speed,
        notes=tuple(notes),
    )


def _checked_curve(time: ArrayLike, thrust: ArrayLike) -> tuple[Floats, Floats]:
    t, force = np.asarray(time, dtype=float), np.asarray(thrust, dtype=float)
    if t.ndim != 1 or t.shape != force.shape or len(t) < 2:
        raise CalcError("time", "times and thrusts do not pair up.", "Give one thrust for each of two or more times.")
    if not (np.isfinite(t).all() and np.isfinite(force).all()):
        raise CalcError("thrust", "the curve has gaps.", "Remove the points without a number.")
    if t[0] < 0 or (np.diff(t) <= 0).any():
        raise CalcError("time", "times do not rise from zero.", "Sort the points and start at ignition.")
    if (force < 0).any():
        raise OutOfRange("thrust", "thrust falls below zero.", "Zero the curve first.")
    return t, force


def _burn_grid(t: Floats) -> Floats:
    """Steps of at most 20 ms while burning, 100 to 400 of them."""
    steps = min(max(100, math.ceil(float(t[-1]) / 0.02)), 400)
    return np.linspace(0.0, t[-1], steps + 1)


def _impulse_at(t: Floats, force: Floats, grid: Floats) -> Floats:
    """Impulse up to each time of the grid, exact for a curve of straight pieces [N s]."""
    done = np.concatenate(([0.0], np.cumsum(np.diff(t) * (force[1:] + force[:-1]) / 2)))
    piece = np.clip(np.searchsorted(t, grid, side="right") - 1, 0, len(t) - 2)
    into = np.clip(grid - t[piece], 0.0, None)
    slope = (force[piece + 1] - force[piece]) / (t[piece + 1] - t[piece])
    impulse: Floats = done[piece] + into * (force[piece] + slope * into / 2)
    return impulse


def _burn_duration(t: Floats, force: Floats) -> float:
    """From the first to the last point above 5 % of the peak [s]."""
    above = np.flatnonzero(force > 0.05 * force.max())
    first, last = max(int(above[0]) - 1, 0), min(int(above[-1]) + 1, len(t) - 1)
    return float(t[last] - t[first])
