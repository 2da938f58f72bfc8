"""What is known of motors before they are marched: nodes of depth, mass burned there, and the steady pressure.

Even steps over the web, finer ones where pressure rises first and where a grain is gone. Grains that are alike in all
motors are looked at once.
"""

from dataclasses import dataclass

import numpy as np

from app.calc.base.constants import Floats
from app.calc.motor.arrays import Arrays, solid, webs

STEPS = 120
"""Even steps over the web; a graded start and the grains' own burn-out depths come on top."""

GAMMA = 2 - 2**0.5
"""Where the middle stage of TR-BDF2 lies in its step [-]."""

_START = np.geomspace(1e-4, 1 / STEPS, 16)[:-1]  # the pressure rises within the first thousandths of the web
_GRID = np.concatenate([[0.0], _START, np.arange(1, STEPS + 1) / STEPS])
_AFTER = np.array([0.0, 1 / 64, 1 / 16, 1 / 4]) / STEPS  # fine steps after a grain is gone
_COARSE = _GRID[[0, *range(1, 16), *range(17, len(_GRID), 2)]]


def nodes_of(a: Arrays, coarse: bool = False) -> tuple[Floats, Floats, Floats]:
    """Depths with a middle stage in each step (M, 2S+1), steps (M, S), and where backward Euler is due (M, S)."""
    web, near = webs(a)
    deepest = web.max(axis=1)
    breaks = np.sort(np.concatenate([web, near], axis=1), axis=1)
    fine = np.minimum(breaks[:, :, None] + _AFTER * deepest[:, None, None], deepest[:, None, None])
    x = np.concatenate([(_COARSE if coarse else _GRID) * deepest[:, None], fine.reshape(len(a), -1)], axis=1)
    x.sort(axis=1)
    step = np.diff(x, axis=1)
    kept = (step > 0).any(axis=0)
    x = np.concatenate([x[:, :1], x[:, 1:][:, kept]], axis=1)
    step = np.diff(x, axis=1)
    euler = np.zeros_like(step)
    for column in range(breaks.shape[1]):
        euler = np.maximum(euler, x[:, :-1] == breaks[:, column : column + 1])
    staged = np.empty((len(a), 2 * step.shape[1] + 1))
    staged[:, ::2] = x
    staged[:, 1::2] = x[:, :-1] + GAMMA * step
    return staged, step, euler


def log_rate_at(a: Arrays, y: Floats) -> tuple[Floats, Floats]:
    """ln r [ln(m/s)] and its slope n [-] at ln P."""
    none = np.zeros((len(a), 1))
    slopes = a.law_slope[:, None] + np.cumsum(np.concatenate([none, a.law_bends], axis=1), axis=1)
    turned = np.cumsum(np.concatenate([none, a.law_bends * a.law_knots], axis=1), axis=1)
    levels = (a.law_level + np.log(a.rate_scale) - a.law_slope * a.law_origin)[:, None] - turned
    line = np.zeros(y.shape, dtype=np.int8)
    for k in range(a.law_knots.shape[1]):
        line += y > a.law_knots[:, k : k + 1]
    which = line + (slopes.shape[1] * np.arange(len(a), dtype=np.intp))[:, None]
    n = slopes.ravel().take(which)
    return levels.ravel().take(which) + n * y, n


def steady_at(a: Arrays, goal: Floats) -> Floats:
    """Ln P at which ln(P/r) equals `goal`: P/r rises with P throughout, so there is one, line by line."""
    slope = 1 - a.law_slope[:, None]
    at_knot = a.law_origin - a.law_level - np.log(a.rate_scale)
    y = a.law_origin[:, None] + (goal - at_knot[:, None]) / slope
    left = a.law_origin
    for k in range(a.law_knots.shape[1]):
        knot = a.law_knots[:, k]
        at_knot = at_knot + slope[:, 0] * (knot - left)
        next_slope = slope - a.law_bends[:, k : k + 1]
        y += (1 / next_slope - 1 / slope) * np.maximum(goal - at_knot[:, None], 0.0)
        slope, left = next_slope, knot
    return np.asarray(np.minimum(y, 40.0), dtype=np.float64)


@dataclass(frozen=True)
class Course:
    """What is known of motors before they are marched: nodes of depth, and steady pressure at their ends."""

    x: Floats
    step: Floats
    euler: Floats
    burned: Floats
    per_pressure: Floats
    throat_area: Floats
    drain: Floats
    steady: Floats


_OF_GRAINS = ("outer_r", "core_r", "offset", "length", "mass", "ends", "burns_core", "burns_outer", "shape")


def kinds_of(a: Arrays) -> tuple[Arrays, Floats]:
    """Motors with one grain of each kind that is alike in all of them, and how many there are of each."""
    kept: list[int] = []
    count: list[float] = []
    for column in range(a.mass.shape[1]):
        for place, other in enumerate(kept):
            pairs = ((values[:, column], values[:, other]) for values in (getattr(a, name) for name in _OF_GRAINS))
            if all(np.array_equal(one, two) for one, two in pairs):
                count[place] += 1.0
                break
        else:
            kept.append(column)
            count.append(1.0)
    if len(kept) == a.mass.shape[1]:
        return a, np.ones(len(kept))
    return a.changed(**{name: getattr(a, name)[:, kept] for name in _OF_GRAINS}), np.array(count)


def course_of(a: Arrays, coarse: bool = False) -> Course:
    """The course of motors; `coarse` with half as many even steps."""
    a, times = kinds_of(a)
    x, step, euler = nodes_of(a, coarse)
    web, _ = webs(a)
    volume = solid(a, web, x)
    start_volume = volume[:, :, :1]
    share = 1 - volume / np.where(start_volume > 0, start_volume, 1.0)
    burned = np.einsum("mg,mgn->mn", a.mass * times, share)
    free = a.chamber_volume[:, None] - np.einsum("g,mgn->mn", times, volume)
    gas_constant_t = (a.flow_function * a.c_star) ** 2  # R T, kept consistent with the c* in use
    throat = a.throat_d[:, None] + a.throat_growth[:, None] * x / x[:, -1:]
    throat_area = np.pi / 4 * throat**2
    drain = throat_area / a.c_star[:, None]
    inflow = np.maximum(np.diff(burned[:, ::2], axis=1), 1e-300) / np.where(step > 0, step, 1.0)
    steady = steady_at(a, np.log(inflow / drain[:, 2::2]))
    steady = np.where(step > 0, steady, steady.max(axis=1, keepdims=True))
    return Course(x, step, euler, burned, free / gas_constant_t[:, None], throat_area, drain, steady)
