"""The inside of `flight`: many flights from apogee to the ground, what opens and when.

Under a parachute a flight keeps the velocity that it opens with and slows by the drag of parachute and body, each with
its own coefficient, in the air that meets it: the equations of `ascent` with more drag. They are stiff where a wide
parachute opens fast, so the steps are of a Rosenbrock method, which stays stable at any length.
"""

from dataclasses import dataclass

import numpy as np

from app.calc.base.constants import STANDARD_GRAVITY, Floats
from app.calc.base.errors import CalcError
from app.calc.flight.ascent import Batch, Bools, Track, U, W, X, Z, fall
from app.calc.flight.recovery import Parachute, Recovery

GAMMA = 1 - 0.5**0.5
"""Of the Rosenbrock method [-]; with it the method damps what is stiff."""

FINE = 0.12
"""Longest step over the time in which the velocity changes by itself [-]."""

PIECES = 20
"""Steps at least between two heights [-]."""

MOST_STEPS = 4000


@dataclass(frozen=True)
class Hanging(Batch):
    """Flights under an open parachute: its drag area, and with the body at rest [m²]."""

    chute: float
    both: Floats

    def open_drag_area(self) -> float:
        """Of the parachute [m²]."""
        return self.chute

    def _through(self, state: Floats) -> tuple[Floats, Floats, Floats]:
        """Velocity through the air [m/s], and drag over mass and the square of its speed, body at rest [1/m]."""
        k = 0.5 * self.air.density_at(state[Z]) * self.both / self.dry
        return state[U] - self.air.wind_over(state[Z]), state[W], k

    def step(self, state: Floats, dt: Floats, force: Floats | float, mass: Floats, flow: Floats | float) -> Floats:
        """One step of second order: (1 - γ dt J) k1 = f(y), (1 - γ dt J) k2 = f(y + dt k1) - 2 k1; dt (3 k1 + k2)/2.

        ROS2: Verwer, Spee, Blom, Hundsdorfer, SIAM J. Sci. Comput. 20 (1999) 1456 (from memory). It keeps its order
        with any J; this one holds drag over velocity, -k (s + v vᵀ/s), whose inverse is closed, and rate over place.
        """
        u, w, k = self._through(state)
        s = np.maximum(np.hypot(u, w), 1e-9)
        more = GAMMA * dt * k * s

        def solved(right: Floats) -> Floats:
            along = (u * right[U] + w * right[W]) / s**2 * more / (1 + 2 * more)
            found = np.empty_like(right)
            found[U], found[W] = (right[U] - u * along) / (1 + more), (right[W] - w * along) / (1 + more)
            found[:2] = right[:2] + GAMMA * dt * found[2:]
            return found

        k1 = solved(self.slope(state, force, mass))
        k2 = solved(self.slope(state + dt * k1, force, mass) - 2 * k1)
        after: Floats = state + dt / 2 * (3 * k1 + k2)
        return after

    def length(self, state: Floats, drop: Floats) -> Floats:
        """Of the next step [s]: short while the velocity changes, and near the ground, where the wind falls off."""
        u, w, k = self._through(state)
        steady = np.sqrt(STANDARD_GRAVITY / k)
        s = np.hypot(u, w)
        rate = np.hypot(k * s * u, k * s * w + STANDARD_GRAVITY)
        changing = FINE * np.hypot(s, steady) / np.maximum(rate, 1e-9)
        speed = np.maximum(np.abs(w), 0.1 * steady)
        ground = 0.25 * np.maximum(state[Z], 0.0) / speed + 0.005 * steady / STANDARD_GRAVITY
        found: Floats = np.minimum(np.minimum(changing, ground), np.maximum(drop, 0.1) / PIECES / speed)
        return found


@dataclass
class Descents:
    """Arrays of shape (N,), NaN for what never happens; the path is `times`, `distances`, `heights` in pieces (., N).

    `opening_*`: the first parachute [s], [m], [m/s through the air]; `main_opening_speed`: the main parachute where
    it opens later [m/s through the air]; `highest` [m]; `landing_time` [s]; `landing`: the state there.
    """

    opening_time: Floats
    opening_height: Floats
    opening_speed: Floats
    main_opening_speed: Floats
    highest: Floats
    landing_time: Floats
    landing: Floats
    times: list[Floats]
    distances: list[Floats]
    heights: list[Floats]


def come_down(
    batch: Batch, recovery: Recovery, burnout: Floats, way_up: Track, top_time: Floats, top: Floats, flies: Bools
) -> Descents:
    """From apogee (times [s] and states) to the ground; an ejection before apogee is found on the way up."""
    n = len(batch)
    nowhere, zero = np.full(n, np.nan), np.zeros(n)
    first, main = recovery.first, recovery.main
    down = Descents(nowhere, nowhere, nowhere, nowhere, top[Z], top_time, top, [], [], [])
    if first is None:
        floor = np.minimum(zero if main is None else zero + (recovery.main_height or 0.0), top[Z])
        dropped = fall(batch, top_time, top, floor, np.full(n, np.inf), flies)
        if dropped.going.any():
            raise CalcError("drag_coefficient", "it falls too slowly to be followed.", "Check mass, size and drag.")
        _keep(down, dropped)
        if main is not None:
            _opens(batch, down, dropped.time, dropped.state, flies)
            _hang(batch, down, main, dropped.time, dropped.state, flies)
        else:
            down.landing_time, down.landing = dropped.time, dropped.state
        return down
    at = burnout + recovery.delay if recovery.delay is not None else top_time + recovery.after_apogee
    early = flies & (at < top_time)
    dropped = fall(batch, top_time, top, zero, np.maximum(at, top_time), flies & ~early)
    _keep(down, dropped)
    hit = flies & ~early & (dropped.time < at - 1e-9)
    caught = _on_the_way_up(batch, way_up, np.minimum(at, top_time))
    state = np.where(early, caught, dropped.state)
    time = np.where(early, at, dropped.time)
    if early.any():  # from the ejection on nothing of the climb without a parachute stays in the path
        for i, passed in enumerate(way_up.times):
            over = early & (passed > at)
            way_up.times[i] = np.where(over, at, passed)
            way_up.states[i] = np.where(over, caught, way_up.states[i])
        down.times, down.distances, down.heights = (
            [np.where(early, end, piece) for piece in pieces]
            for pieces, end in ((down.times, at), (down.distances, caught[X]), (down.heights, caught[Z]))
        )
        down.highest = np.where(early, caught[Z], top[Z])
    opens = flies & ~hit
    _opens(batch, down, time, state, opens)
    if recovery.drogue is not None and main is not None:
        time, state = _hang(batch, down, first, time, state, opens, recovery.main_height or 0.0)
        down.main_opening_speed = np.where(opens, _through_air(batch, state), np.nan)
        _hang(batch, down, main, time, state, opens)
    else:
        _hang(batch, down, first, time, state, opens)
    return down


def _keep(down: Descents, track: Track) -> None:
    down.times += track.times[1:]
    down.distances += [state[X] for state in track.states[1:]]
    down.heights += [state[Z] for state in track.states[1:]]


def _through_air(batch: Batch, state: Floats) -> Floats:
    speed: Floats = np.hypot(state[U] - batch.air.wind_over(state[Z]), state[W])
    return speed


def _opens(batch: Batch, down: Descents, time: Floats, state: Floats, flies: Bools) -> None:
    down.opening_time = np.where(flies, time, np.nan)
    down.opening_height = np.where(flies, state[Z], np.nan)
    down.opening_speed = np.where(flies, _through_air(batch, state), np.nan)


def _on_the_way_up(batch: Batch, way_up: Track, at: Floats) -> Floats:
    """States at given times of the way up, after burnout: one step on from the last one kept before."""
    times = np.stack(way_up.times)
    row = np.clip((times <= at).sum(axis=0) - 1, 0, len(times) - 1)
    flights = np.arange(len(batch))
    before = np.stack(way_up.states)[row, :, flights].T
    return batch.step(before, at - times[row, flights], 0.0, batch.dry, 0.0)


def _hang(
    batch: Batch, down: Descents, chute: Parachute, time: Floats, state: Floats, flies: Bools, low: float = 0.0
) -> tuple[Floats, Floats]:
    """Under an open parachute, over the top where it still climbs, down to a height; when and how it comes there."""
    under = Hanging(**vars(batch), chute=chute.drag_area, both=batch.body_drag_area + chute.drag_area)
    climbs = flies & (state[W] > 0)
    if climbs.any():
        rise = state[W] ** 2 / (2 * STANDARD_GRAVITY)
        time, state = _march(down, Track(under, state, time, lambda _, after: after[W] <= 0, climbs), rise, W, 0.0)
        down.highest = np.where(climbs, np.maximum(down.highest, state[Z]), down.highest)
    floor = np.minimum(low, state[Z])
    falls = Track(under, state, time, lambda _, after: after[Z] <= floor, flies & (state[Z] > floor))
    down.landing_time, down.landing = _march(down, falls, state[Z] - floor, Z, floor)
    return down.landing_time, down.landing


def _march(down: Descents, track: Track, reach: Floats, part: int, target: Floats | float) -> tuple[Floats, Floats]:
    """On until that part of the state has fallen to `target`, over heights of about `reach`; kept in the path."""
    under = track.batch
    assert isinstance(under, Hanging)
    for _ in range(MOST_STEPS):
        if not track.going.any():
            break
        track.advance(under.length(track.state, reach), 0.0, under.dry, 0.0)
    else:
        raise CalcError("main_diameter", "it comes down too slowly to be followed.", "Check mass and parachutes.")
    found = track.finish(part, target)
    _keep(down, track)
    return found
