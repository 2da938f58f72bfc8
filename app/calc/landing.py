"""The inside of `flight`: many flights from apogee to the ground, what opens and when."""

from dataclasses import dataclass

import numpy as np

from app.calc.ascent import Batch, Bools, Track, U, W, X, Z, fall
from app.calc.constants import STANDARD_GRAVITY, Floats
from app.calc.errors import CalcError
from app.calc.recovery import Parachute, Recovery, drift


@dataclass
class Descents:
    """Arrays of shape (N,), NaN for what never happens; the path is `times`, `distances`, `heights` in pieces (., N).

    `opening_*`: the first parachute [s], [m], [m/s through the air]; `main_opening_speed`: the main parachute where
    it opens later [m/s]; `highest` [m]; `landing_*` [s], [m with the wind], [m/s].
    """

    opening_time: Floats
    opening_height: Floats
    opening_speed: Floats
    main_opening_speed: Floats
    highest: Floats
    landing_time: Floats
    landing_distance: Floats
    landing_speed: Floats
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
    down = Descents(nowhere, nowhere, nowhere, nowhere, top[Z], top_time, top[X], zero, [], [], [])
    if first is None:
        floor = np.minimum(zero if main is None else zero + (recovery.main_height or 0.0), top[Z])
        dropped = fall(batch, top_time, top, floor, np.full(n, np.inf), flies)
        if dropped.going.any():
            raise CalcError("drag_coefficient", "it falls too slowly to be followed.", "Check mass, size and drag.")
        _keep(down, dropped)
        if main is not None:
            _opens(batch, down, dropped.time, dropped.state, flies)
            _drift(batch, down, main, dropped.time, dropped.state, flies)
        else:
            _lands(batch, down, dropped.time, dropped.state)
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
    _opens(batch, down, time, state, flies & ~hit)
    state, time = _rise(batch, first, early, state, time, top[Z])
    down.highest = np.where(early, state[Z], top[Z])
    if recovery.drogue is not None and main is not None:
        low = np.minimum(recovery.main_height or 0.0, state[Z])
        time, state = _drift(batch, down, first, time, state, flies & ~hit, low)
        down.main_opening_speed = np.where(flies & ~hit, down.landing_speed, np.nan)
        _drift(batch, down, main, time, state, flies & ~hit)
    else:
        _drift(batch, down, first, time, state, flies & ~hit)
    ballistic = _through_air(batch, dropped.state)
    down.landing_speed = np.where(hit, ballistic, down.landing_speed)
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


def _lands(batch: Batch, down: Descents, time: Floats, state: Floats) -> None:
    down.landing_time, down.landing_distance = time, state[X]
    down.landing_speed = _through_air(batch, state)


def _on_the_way_up(batch: Batch, way_up: Track, at: Floats) -> Floats:
    """States at given times of the way up, after burnout: one step on from the last one kept before."""
    times = np.stack(way_up.times)
    row = np.clip((times <= at).sum(axis=0) - 1, 0, len(times) - 1)
    flights = np.arange(len(batch))
    before = np.stack(way_up.states)[row, :, flights].T
    return batch.step(before, at - times[row, flights], 0.0, batch.dry, 0.0)


def _rise(
    batch: Batch, chute: Parachute, early: Bools, state: Floats, time: Floats, most: Floats
) -> tuple[Floats, Floats]:
    """What is left of the climb with a parachute open, in closed form: quadratic drag of both, steady air."""
    up = np.where(early, np.maximum(state[W], 0.0), 0.0)
    both = chute.drag_area + batch.body_drag_area
    square = 2 * batch.dry * STANDARD_GRAVITY / (batch.air.density_at(state[Z]) * both)
    longer = np.sqrt(square) / STANDARD_GRAVITY * np.arctan(up / np.sqrt(square))
    after = state.copy()
    risen = state[Z] + square / (2 * STANDARD_GRAVITY) * np.log1p(up**2 / square)
    after[Z] = np.where(early, np.minimum(risen, np.maximum(most, state[Z])), state[Z])
    after[X] += longer * batch.air.wind_over(state[Z])
    return after, time + longer


def _drift(
    batch: Batch, down: Descents, chute: Parachute, time: Floats, state: Floats, flies: Bools, low: Floats | float = 0.0
) -> tuple[Floats, Floats]:
    """Steady descent to a height; where and when it ends. What does not fly stays where it is."""
    end = np.where(flies, low, state[Z])
    height, spent, carried = drift(batch.air, batch.dry, chute.drag_area, state[Z], end)
    down.times += list(time + spent)
    down.distances += list(state[X] + carried)
    down.heights += list(height)
    after = np.zeros_like(state)
    after[X], after[Z] = state[X] + carried[-1], end
    down.landing_time, down.landing_distance = time + spent[-1], after[X]
    steady = np.sqrt(2 * batch.dry * STANDARD_GRAVITY / (batch.air.density_at(end) * chute.drag_area))
    down.landing_speed = np.where(flies, steady, 0.0)
    return down.landing_time, after
