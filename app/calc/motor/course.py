"""What is known of motors before they are marched: nodes of depth, mass burned there, and the steady pressure.

Pressure moves where the motor lights, where a grain is gone and where a core off centre reaches the wall; there the
steps are fine, in measures of the depth that burns while the chamber fills once. In between it follows the burning
area closely, and few steps do. All arrays have the motors last: (nodes, M), (steps, M).
"""

from dataclasses import dataclass

import numpy as np

from app.calc.base.constants import Floats
from app.calc.motor.arrays import Arrays, regressed, webs
from app.calc.motor.law_lines import Lines

STEPS = 32
"""Even steps over the web."""

INNER = 1 / 3
"""Where the inner stage of Radau IIA's third-order rule lies in its step [-]."""

_LIGHTING = 0.04 * np.cumsum(1.28 ** np.arange(20))[:, None]  # in fillings of the chamber
_AFTER = np.array([0.0, 0.2, 0.6, 1.2, 2.2, 4.0, 8.0, 16.0])[:, None]  # the same, once a grain is gone
_SLIVER = (1 - np.cos(np.pi * np.arange(1, 24) / 24))[:, None] / 2  # shares of what a core off centre leaves
_EVEN = np.arange(1, STEPS + 1)[:, None] / STEPS
_TABLED = np.arange(1, 3 * STEPS + 1)[:, None] / (3 * STEPS)  # a table's burning area is not as smooth


@dataclass(frozen=True)
class Course:
    """Nodes, each step's inner stage and end after its start (2S + 1, M), and what is known there.

    `gas` is what the chamber holds per pressure [kg/Pa], `drain` what the throat lets pass per pressure [kg/(s Pa)].
    `volume` and `area` are what is left and what burns of one grain of each kind, (G, 2S + 1, M). At the stages alone
    (2S, M): `flow`, the mass burned per depth [kg/m], such that each step's weights give exactly what burns in it, and
    `steady`, the steady pressure [ln Pa].
    """

    x: Floats
    step: Floats
    burned: Floats
    flow: Floats
    mean_flow: Floats
    gas: Floats
    throat_area: Floats
    drain: Floats
    lines: Lines
    steady: Floats
    volume: Floats
    area: Floats


def _fillings(a: Arrays, lines: Lines, mean_flow: Floats, gas_constant_t: Floats) -> tuple[Floats, Floats]:
    """Depth that burns while the gas of the mean steady pressure is made, in the chamber as it is and empty [m]."""
    steady = np.exp(lines.steady_at(np.log(mean_flow * a.c_star / (np.pi / 4 * a.throat_d**2))))
    solid = np.pi * ((a.outer_r**2 - a.core_r**2) * a.length * a.count).sum(axis=1)
    empty = steady / (gas_constant_t * mean_flow) * a.chamber_volume
    return empty * np.maximum(1 - solid / a.chamber_volume, 0.05), empty


def _nodes(a: Arrays, web: Floats, near: Floats, filling: Floats, later: Floats) -> Floats:
    """Depths between which the steps lie, (S + 1, M); none of them is of no length in all motors."""
    deepest = web.max(axis=0)
    x = [np.zeros((1, len(a))), _LIGHTING * filling, _EVEN * deepest]
    if (tabled := (a.shape >= 0).any(axis=1)).any():
        x.append(np.where(tabled, _TABLED, 1.0) * deepest)
    breaks = np.concatenate([web, near])
    breaks = np.where(breaks > 0, breaks, deepest)  # of a motor with fewer kinds of grain: none
    breaks = breaks[(breaks < deepest).any(axis=1)]
    if len(breaks):
        x.extend(depth + _AFTER * later for depth in breaks)
        x.extend(one + _SLIVER * (other - one) for one, other in zip(near, web, strict=True) if (one < other).any())
    found = np.minimum(np.concatenate(x), deepest)
    found.sort(axis=0)
    kept = np.ones(len(found), dtype=bool)
    kept[1:] = (found[1:] > found[:-1]).any(axis=1)
    return np.asarray(found[kept])


def course_of(a: Arrays) -> Course:
    """The course of motors."""
    web, near = webs(a)
    lines = Lines.of(a)
    deepest = web.max(axis=1)
    gas_constant_t = (a.flow_function * a.c_star) ** 2  # R T, kept consistent with the c* in use
    x = _nodes(a, web.T, near.T, *_fillings(a, lines, a.mass.sum(axis=1) / deepest, gas_constant_t))
    step = x[1:] - x[:-1]
    staged = np.empty((2 * len(step) + 1, len(a)))
    staged[::2] = x
    staged[1::2] = x[:-1] + INNER * step
    volume, area = regressed(a, web, staged)
    whole = np.maximum(volume[:, 0], 1e-300)
    per_volume = a.mass.T / whole
    left = np.einsum("gm,gnm->nm", per_volume, volume)
    burned = left[0] - left
    flow = np.empty_like(burned[1:])
    inner = np.einsum("gm,gnm->nm", per_volume, area[:, 1::2])
    mean_flow = np.divide(burned[2::2] - burned[:-2:2], step, out=inner.copy(), where=step > 0)
    flow[::2] = np.minimum(inner, 4 / 3 * mean_flow)  # so that a last sliver does not end in less than nothing
    flow[1::2] = 4 * mean_flow - 3 * flow[::2]
    gas = (a.chamber_volume - np.einsum("gm,gnm->nm", a.count.T, volume)) / gas_constant_t
    throat_area = np.pi / 4 * (a.throat_d + a.throat_growth * staged / deepest) ** 2
    drain = throat_area / a.c_star
    goal = np.log(np.maximum(flow, 1e-6 * flow.max(axis=0)) / drain[1:])
    steady = lines.steady_at(goal)
    return Course(staged, step, burned, flow, mean_flow, gas, throat_area, drain, lines, steady, volume, area)
