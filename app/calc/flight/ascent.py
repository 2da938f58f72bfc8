"""The inside of `flight`: many flights at once, from the pad to apogee and, without a parachute, down again.

Equations. On the rail: dv/dt = (F - D)/m - g cos(tilt), never backwards. Off it, a point mass: m dV/dt = F n - D U/|U|
- m g, with V the speed over the ground, w the wind, U = V - w the speed through the air, and the nose n along V - c w:
c is the share of its turning into the wind, at once; 1 is wholly into the air that meets it, 0 along its path. F is
the mean thrust of each step, so impulse is kept exactly; mass falls with impulse, so that the exhaust speed is steady
and the rail is solved in closed form but for drag. Steps are classical Runge-Kutta of fourth order; each flight has
its own length of step, all have the same number of them.

State: downrange [m], height [m] and their rates [m/s], shape (4, N).
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from app.calc.base.constants import STANDARD_GRAVITY, Floats
from app.calc.flight.drag import Drag
from app.calc.flight.wind import shear

X, Z, U, W = range(4)

RAIL_STEPS = 400
BURN_STEPS = 48
COAST_STEPS = 24
FALL_STEPS = 40
MOST_STEPS = 400
MOST_FALL_STEPS = 4000
LOOSEST = 0.4
"""Longest step of the burn over the time in which drag brings a flight to its steady speed [-]."""

LIT = 0.05
"""Share of its largest thrust above which a motor counts as burning [-]."""

Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class Air:
    """The air over the field: a table over height, and the wind of each flight."""

    height: Floats
    density: Floats
    sound: Floats
    wind: Floats
    measured_at: float

    def wind_over(self, z: Floats) -> Floats:
        """Wind at heights, one for each flight in the last axis [m/s]."""
        blown: Floats = self.wind * shear(z, self.measured_at)
        return blown

    def density_at(self, z: Floats) -> Floats:
        """[kg/m3]"""
        return np.asarray(np.interp(z, self.height, self.density), dtype=np.float64)

    def sound_at(self, z: Floats) -> Floats:
        """[m/s]"""
        return np.asarray(np.interp(z, self.height, self.sound), dtype=np.float64)


class Push(Protocol):
    """What pushes flights, one in the last axis each: impulse [N s], thrust [N] and time [s]."""

    @property
    def total(self) -> Floats:
        """Impulse of each flight [N s]."""

    @property
    def end(self) -> Floats:
        """When the curve of each flight ends [s]."""

    @property
    def hardest(self) -> Floats:
        """Largest thrust of each flight [N]."""

    @property
    def lasts(self) -> Floats:
        """From the first to the last point above 5 % of the largest thrust of each flight [s]."""

    def impulse(self, t: Floats) -> Floats:
        """Impulse up to t [N s]."""

    def thrust(self, t: Floats) -> Floats:
        """Thrust at t [N]."""


@dataclass(frozen=True)
class Curve:
    """One thrust curve, and for each flight how much of its impulse and of its time it has."""

    time: Floats
    force: Floats
    done: Floats
    more: Floats
    longer: Floats

    @property
    def total(self) -> Floats:
        """Impulse of each flight [N s]."""
        found: Floats = self.done[-1] * self.more
        return found

    @property
    def end(self) -> Floats:
        """When the curve of each flight ends [s]."""
        found: Floats = self.time[-1] * self.longer
        return found

    @property
    def hardest(self) -> Floats:
        """Largest thrust of each flight [N]."""
        found: Floats = self.force.max() * self.more / self.longer
        return found

    @property
    def lasts(self) -> Floats:
        """From the first to the last point above 5 % of the largest thrust of each flight [s]."""
        above = np.flatnonzero(self.force > LIT * self.force.max())
        first, last = max(int(above[0]) - 1, 0), min(int(above[-1]) + 1, len(self.time) - 1)
        found: Floats = (self.time[last] - self.time[first]) * self.longer
        return found

    def impulse(self, t: Floats) -> Floats:
        """Impulse up to t, exact for a curve of straight pieces [N s]; flights in the last axis."""
        at = np.clip(t / self.longer, 0.0, self.time[-1])
        piece = np.clip(np.searchsorted(self.time, at, side="right") - 1, 0, len(self.time) - 2)
        into = np.clip(at - self.time[piece], 0.0, None)
        slope = (self.force[piece + 1] - self.force[piece]) / (self.time[piece + 1] - self.time[piece])
        found: Floats = self.more * (self.done[piece] + into * (self.force[piece] + slope * into / 2))
        return found

    def thrust(self, t: Floats) -> Floats:
        """Thrust at t [N]."""
        found: Floats = np.interp(t / self.longer, self.time, self.force, left=0.0, right=0.0) * self.more / self.longer
        return found


@dataclass(frozen=True)
class Batch:
    """Flights as arrays of shape (N,)."""

    curve: Push
    air: Air
    drag: Drag
    drag_scale: Floats
    propellant: Floats
    dry: Floats
    rail: Floats
    tilt: Floats
    turning: Floats

    def __len__(self) -> int:
        return len(self.dry)

    @property
    def body_drag_area(self) -> Floats:
        """Coefficient at rest times area [m2]."""
        found: Floats = self.drag_scale * self.drag.area * self.drag.at(np.zeros(len(self)))
        return found

    def open_drag_area(self) -> float:
        """Of what has opened [m2]: nothing yet."""
        return 0.0

    def mass(self, t: Floats) -> Floats:
        """At a time [kg]."""
        found: Floats = self.dry + self.propellant * (1 - self.curve.impulse(t) / self.curve.total)
        return found

    def slope(self, state: Floats, force: Floats | float, mass: Floats) -> Floats:
        """Rates of the state off the rail."""
        z, w = state[Z], state[W]
        blown = self.air.wind_over(z)
        u, nose = state[U] - blown, state[U] - self.turning * blown
        speed = np.hypot(u, w)
        coefficient = self.drag.at(speed / self.air.sound_at(z)) if self.drag.tabled else self.drag.coefficient
        drag_area = self.drag_scale * self.drag.area * coefficient + self.open_drag_area()
        pull = 0.5 * self.air.density_at(z) * drag_area * speed
        push = force / np.maximum(np.hypot(nose, w), 1e-9)
        rate = np.empty_like(state)
        rate[:2] = state[2:]
        rate[U] = (push * nose - pull * u) / mass
        rate[W] = (push - pull) * w / mass - STANDARD_GRAVITY
        return rate

    def step(self, state: Floats, dt: Floats, force: Floats | float, mass: Floats, flow: Floats | float) -> Floats:
        """One step of fourth order with steady thrust and steady loss of mass."""
        half = dt / 2
        between = mass - flow * half
        k1 = self.slope(state, force, mass)
        k2 = self.slope(state + half * k1, force, between)
        k3 = self.slope(state + half * k2, force, between)
        k4 = self.slope(state + dt * k3, force, mass - flow * dt)
        after: Floats = state + dt / 6 * (k1 + 2 * (k2 + k3) + k4)
        return after


# --- On the rail -------------------------------------------------------------------------------


def leave_rail(batch: Batch, steps: int = RAIL_STEPS) -> tuple[Bools, Floats, Floats]:
    """Which flights leave the rail, when [s] and how fast along it [m/s]; those that do not: end of burn, 0."""
    end = batch.curve.end
    t = np.linspace(0.0, 1.0, steps + 1)[:, None] * end
    dt = end / steps
    mass = batch.mass(t)
    exhaust = batch.curve.total / batch.propellant
    pull = STANDARD_GRAVITY * np.cos(batch.tilt)
    push = exhaust * np.log(mass[0] / mass) - pull * t
    slowing = np.zeros_like(push)
    speed, travel = _along(push, dt)
    for _ in range(3):  # drag is small here, so it is put in by turns
        slowing = _drag_on_rail(batch, speed) / mass
        lost = np.concatenate((np.zeros((1, len(batch))), np.cumsum((slowing[1:] + slowing[:-1]) / 2 * dt, axis=0)))
        speed, travel = _along(push - lost, dt)
    out = travel[-1] >= batch.rail
    last = np.clip((travel < batch.rail).sum(axis=0) - 1, 0, steps - 1)
    rows = np.arange(len(batch))
    into, exit_speed = _within(
        batch.rail - travel[last, rows],
        dt,
        speed[last, rows],
        speed[last + 1, rows],
        travel[last + 1, rows] - travel[last, rows],
    )
    left = t[last, rows] + into
    # After the burn: steady slowing over what is left of the rail.
    brake = pull + slowing[-1]
    squared = speed[-1] ** 2 - 2 * brake * (batch.rail - travel[-1])
    coasts = ~out & (squared > 0)
    coasted = np.sqrt(np.maximum(squared, 0.0))
    left = np.where(out, left, np.where(coasts, end + (speed[-1] - coasted) / brake, end))
    return out | coasts, left, np.where(out, exit_speed, np.where(coasts, coasted, 0.0))


def _along(gained: Floats, dt: Floats) -> tuple[Floats, Floats]:
    """Speed and travel along the rail from what speed is gained without a pad; nothing falls back."""
    speed = gained - np.minimum(np.minimum.accumulate(gained, axis=0), 0.0)
    rate = np.diff(speed, axis=0, prepend=speed[:1])
    rate[1:-1] = (rate[1:-1] + rate[2:]) / 2
    step = (speed[1:] + speed[:-1]) / 2 + np.where(speed[:-1] > 0, rate[:-1] - rate[1:], 0.0) / 12
    return speed, np.concatenate((np.zeros((1, speed.shape[1])), np.cumsum(np.maximum(step, 0.0) * dt, axis=0)))


def _drag_on_rail(batch: Batch, speed: Floats) -> Floats:
    """Along the rail, in the wind at half its height [N]."""
    against = batch.air.wind_over(batch.rail * np.cos(batch.tilt) / 2) * np.sin(batch.tilt)
    through = np.where(speed > 0, speed - against, 0.0)
    area = batch.drag_scale * batch.drag.area * batch.drag.at(np.abs(through) / batch.air.sound[0])
    found: Floats = 0.5 * batch.air.density[0] * area * through * np.abs(through)
    return found


def _within(left: Floats, dt: Floats, v0: Floats, v1: Floats, whole: Floats) -> tuple[Floats, Floats]:
    """Time and speed after `left` metres of a step of `whole` metres; speed a parabola that fits both ends and it."""
    mean = whole / dt
    a, b = v0, 6 * mean - 4 * v0 - 2 * v1
    c = 3 * (v0 + v1 - 2 * mean)
    share = np.clip(left / np.maximum(whole, 1e-12), 0.0, 1.0)
    for _ in range(6):
        gone = dt * share * (a + share * (b / 2 + share * c / 3))
        rate = dt * (a + share * (b + share * c))
        share = np.clip(share - (gone - left) / np.maximum(rate, 1e-9), 0.0, 1.0)
    return share * dt, a + share * (b + share * c)


# --- Off the rail ------------------------------------------------------------------------------


@dataclass
class Track:
    """The path as it is marched: after each step the times (N,) and states (4, N) of all flights.

    A flight that reached what the march looks for keeps its last state before it; `finish` puts it there.
    """

    batch: Batch
    state: Floats
    time: Floats
    reached: Callable[[Floats, Floats], Bools]
    going: Bools
    steps: Floats = field(init=False)
    force: Floats = field(init=False)
    flow: Floats = field(init=False)
    mass: Floats = field(init=False)
    times: list[Floats] = field(init=False)
    states: list[Floats] = field(init=False)

    def __post_init__(self) -> None:
        self.steps, self.force, self.flow = (np.zeros(len(self.batch)) for _ in range(3))
        self.mass = self.batch.dry.copy()
        self.times, self.states = [self.time], [self.state]

    def advance(self, dt: Floats, force: Floats | float, mass: Floats, flow: Floats | float) -> None:
        """One step; what reached its end stays where it was, with what the step was made of."""
        after = self.batch.step(self.state, dt, force, mass, flow)
        stops = self.going & self.reached(self.state, after)
        if stops.any():
            self.steps = np.where(stops, dt, self.steps)
            self.force, self.flow = np.where(stops, force, self.force), np.where(stops, flow, self.flow)
            self.mass = np.where(stops, mass, self.mass)
            self.going = self.going & ~stops
        self.state = np.where(self.going, after, self.state)
        self.time = np.where(self.going, self.time + dt, self.time)
        self.times.append(self.time)
        self.states.append(self.state)

    def finish(self, part: int, target: Floats | float) -> tuple[Floats, Floats]:
        """Shorten each last step until that part of the state is `target`; time and state there."""
        stuck = self.steps > 0
        into, low, high = self.steps / 2, np.zeros_like(self.steps), self.steps
        end = self.state
        for _ in range(5):
            end = self.batch.step(self.state, into, self.force, self.mass, self.flow)
            rate = self.batch.slope(end, self.force, self.mass - self.flow * into)[part]
            off = end[part] - target
            falling = rate < 0
            guess = into - off / np.where(falling, rate, -1.0)
            low, high = np.where(off > 0, into, low), np.where(off > 0, high, into)
            inside = falling & (guess > low) & (guess < high)
            into = np.where(inside, guess, np.where(np.abs(off) < 1e-9, into, (low + high) / 2))
        end = self.batch.step(self.state, into, self.force, self.mass, self.flow)
        state, time = np.where(stuck, end, self.state), np.where(stuck, self.time + into, self.time)
        held = len(self.times) - 1
        while held > 0 and (self.times[held] == self.time).any():
            here = self.times[held] == self.time
            self.times[held] = np.where(here, time, self.times[held])
            self.states[held] = np.where(here, state, self.states[held])
            held -= 1
        return time, state


def climb(batch: Batch, left: Floats, speed: Floats, flies: Bools) -> tuple[Track, Floats, Floats, Floats]:
    """From the end of the rail to apogee: the path, the state at burnout, and apogee's time and state.

    A flight that never left the rail stays where it is.
    """
    lean, up = np.sin(batch.tilt), np.cos(batch.tilt)
    start = np.stack((batch.rail * lean, batch.rail * up, speed * lean, speed * up))
    track = Track(batch, start, left, lambda _, after: after[W] <= 0, flies.copy())
    steps = _burn_steps(batch)
    dt = np.maximum(batch.curve.end - left, 1e-9) / steps
    times = left + dt * np.arange(steps + 1)[:, None]
    impulse = batch.curve.impulse(times)
    mass = batch.dry + batch.propellant * (1 - impulse / batch.curve.total)
    spent, lost = np.diff(impulse, axis=0) / dt, -np.diff(mass, axis=0) / dt
    for i in range(steps):
        track.advance(dt, spent[i], mass[i], lost[i])
    burnout = track.state
    for i, share in enumerate(_coasting(batch, burnout)):
        track.advance(share, 0.0, batch.dry, 0.0)
        if i >= COAST_STEPS // 2 and not track.going.any():
            break
    time, top = track.finish(W, 0.0)
    return track, burnout, time, top


def _burn_steps(batch: Batch) -> int:
    """Enough of them for drag, which brings a light wide rocket to its steady speed within moments."""
    k = 0.5 * batch.air.density[0] * batch.body_drag_area
    needed = batch.curve.end * 2 * np.sqrt(batch.curve.hardest * k) / batch.dry / LOOSEST
    return int(min(max(BURN_STEPS, np.ceil(needed.max())), 10 * MOST_STEPS))


def _coasting(batch: Batch, state: Floats) -> list[Floats]:
    """Steps to apogee, short while drag is large: about COAST_STEPS of them, more where the guess is short."""
    k = 0.5 * batch.air.density_at(state[Z]) * batch.body_drag_area
    rise = np.maximum(state[W], 0.01)
    ratio = np.maximum(rise * np.sqrt(k / (batch.dry * STANDARD_GRAVITY)), 1e-6)
    needed = rise / STANDARD_GRAVITY * np.arctan(ratio) / ratio
    marks = (np.arange(COAST_STEPS + 1) / COAST_STEPS) ** 1.5
    steps = [needed * share for share in np.diff(marks)]
    return steps + [steps[-1]] * (MOST_STEPS - COAST_STEPS)


def fall(batch: Batch, time: Floats, top: Floats, floor: Floats, until: Floats, flies: Bools) -> Track:
    """Nose along the path from apogee until a height [m] or a time [s], whichever comes first; `finish`ed."""
    drop = np.maximum(top[Z] - floor, 0.0)
    going = flies & (until > time) & (drop > 0)
    track = Track(batch, top, time, lambda _, after: after[Z] <= floor, going)
    steady = np.sqrt(
        2 * batch.dry / (STANDARD_GRAVITY * batch.air.density[0] * np.maximum(batch.body_drag_area, 1e-12))
    )
    length = np.minimum(np.minimum(np.sqrt(2 * drop / STANDARD_GRAVITY), until - time) / FALL_STEPS, 0.8 * steady)
    for _ in range(MOST_FALL_STEPS):
        dt = np.clip(until - track.time, 0.0, length)
        if not (track.going & (dt > 1e-12)).any():
            break
        track.advance(dt, 0.0, batch.dry, 0.0)
        track.going = track.going & (track.time < until)
    track.time, track.state = track.finish(Z, floor)
    return track
