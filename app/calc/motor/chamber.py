"""The chamber march: pressure from ignition to tail-off for many motors at once, over arrays.

All grains feel one pressure, so all faces have moved by the same depth x, and burned mass and free volume are
known functions of x before anything is solved. With x in place of time the gas balance over a step is

    P1 V1/RT - P0 V0/RT = (mass burned between x0 and x1) - integral of (A_t/c*) P/r(P) dx

which is DESIGN's dP/dt = (RT/V)[A_b r (rho_p - rho_gas) - P A_t/c*] integrated once. Mass burned is the exact
difference of grain volumes, so mass is conserved to rounding whatever the step. The outflow integral is taken
by TR-BDF2 (second order, L-stable), with backward Euler in the short step after a grain burns out. Since every
line of a burn law has n < 1, each step has exactly one solution. All steps of a motor form one lower-banded
system in ln P, solved together by Newton's method from the quasi-steady pressure. After burn-out pressure
decays in closed form.

References: TR-BDF2: R. E. Bank et al., IEEE Trans. Electron Devices 32 (1985) 1992 (from memory).
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.calc.base.constants import Floats
from app.calc.base.errors import NoSolution
from app.calc.base.notes import Amount, Note
from app.calc.motor.arrays import Arrays, choking_pressure
from app.calc.motor.course import GAMMA, course_of, log_rate_at
from app.calc.motor.nozzle import coefficient_from_exit, exit_pressure_ratio

_W, _D = 2**0.5 / 4, 1 - 2**0.5 / 2
_TAIL = np.linspace(0.0, 1.0, 25)
_CHUNK = 64  # motors at a time: the working arrays then stay in the processor's cache
_MAX_ITERATIONS = 40
_SETTLED = 1e-5  # of ln P: each round squares what is left, so that the last one leaves less than 1e-9


@dataclass(frozen=True)
class Burn:
    """What the march gives: (M, N) histories in the order of time, tail-off included.

    `weights` are the quadrature weights of time: sum(weights * f) is the integral of f dt over the burn with the
    march's own accuracy. `burnt` is the index after which the tail-off begins. Where the balance would put the
    pressure below ambient, the time is that of burning at ambient; nothing else is changed there.
    """

    time: Floats
    depth: Floats
    pressure: Floats
    thrust: Floats
    outflow: Floats
    weights: Floats
    throat_area: Floats
    burnt: int
    start_gas: Floats
    end_gas: Floats


def _solve_lower(diagonal: Floats, first: Floats, second: Floats, right: Floats) -> Floats | None:
    """Solve lower-banded systems, one per row, as one long system; coefficients refer to 1 and 2 rows up."""
    n = diagonal.size
    bands = np.zeros((n, 3))
    bands[:, 0] = diagonal.ravel()
    bands[:-1, 1] = first.ravel()[1:]
    bands[:-2, 2] = second.ravel()[2:]
    from scipy.linalg.lapack import dtbtrs  # here, so that pages that predict nothing need not wait for it

    solution, info = dtbtrs(bands.T, right.reshape(n, 1), uplo="L")
    if info != 0 or not np.isfinite(solution).all():
        return None
    return np.array(solution, dtype=np.float64).reshape(right.shape)


class _Rule:
    """Weights of each step (M, S): the middle's on (start, itself), the end's on (start, middle, itself)."""

    def __init__(self, h: Floats, euler: Floats) -> None:
        tr = 1 - euler
        self.s0, self.ss = h * tr * GAMMA / 2, h * (tr * GAMMA / 2 + euler * GAMMA)
        self.e0, self.es = h * tr * _W, h * (tr * _W + euler * GAMMA)
        self.ee = h * (tr * _D + euler * (1 - GAMMA))


@dataclass(frozen=True)
class _Balance:
    """The gas balance to be met in every step: what was burned, what the chamber holds and what the throat drains."""

    a: Arrays
    step: Floats
    drain: Floats
    per_pressure: Floats
    gained: Floats

    def solve(self, start: Floats, rule: _Rule, iterations: int = _MAX_ITERATIONS) -> Floats | None:
        """Newton's method on all steps at once; None where it does not settle."""
        y = start.copy()
        diagonal, first, second, rest = (np.zeros_like(self.gained) for _ in range(4))
        for _ in range(iterations):
            gas = self.per_pressure * np.exp(y)
            log_r, n = log_rate_at(self.a, y)
            out = self.drain * np.exp(y - log_r)
            d_out = (1 - n) * out
            o0, os, oe = out[:, :-1:2], out[:, 1::2], out[:, 2::2]
            g0 = gas[:, :-1:2]
            rest[:, ::2] = self.gained[:, ::2] + g0 - gas[:, 1::2] - rule.s0 * o0 - rule.ss * os
            rest[:, 1::2] = self.gained[:, 1::2] + g0 - gas[:, 2::2] - rule.e0 * o0 - rule.es * os - rule.ee * oe
            diagonal[:, ::2] = gas[:, 1::2] + rule.ss * d_out[:, 1::2]
            diagonal[:, 1::2] = gas[:, 2::2] + rule.ee * d_out[:, 2::2]
            first[:, ::2] = rule.s0 * d_out[:, :-1:2] - g0
            first[:, 1::2] = rule.es * d_out[:, 1::2]
            second[:, 1::2] = rule.e0 * d_out[:, :-1:2] - g0
            first[:, 0] = second[:, 1] = 0.0  # the start is known
            change = _solve_lower(diagonal, first, second, rest)
            if change is None:
                return None
            y[:, 1:] += np.clip(change, -3.0, 3.0)
            if np.abs(change).max() < _SETTLED:
                return y
        return None

    def falls_too_fast(self, y: Floats) -> Floats:
        """Steps over which TR-BDF2 would take out nearly all the gas there is, or more: 1 there, else 0."""
        log_r, _ = log_rate_at(self.a, y)
        out = self.drain * np.exp(y - log_r)
        gas, rule = self.per_pressure * np.exp(y), _Rule(self.step, np.zeros_like(self.step))
        had, o0, os = gas[:, :-1:2], out[:, :-1:2], out[:, 1::2]
        middle = had + self.gained[:, ::2] - rule.s0 * o0
        end = had + self.gained[:, 1::2] - rule.e0 * o0 - rule.es * os
        return np.asarray(np.minimum(middle, end) < 0.2 * had, dtype=np.float64)


def _settle(balance: _Balance, guess: Floats, euler: Floats) -> tuple[Floats, _Rule]:
    """The pressure history [ln Pa] and the rule it was found with.

    Where a motor falls to a small part of its pressure in one step (grains of very unequal webs), the second-order
    rule may have no solution. Backward Euler always has: its history then tells which steps must keep to it.
    """
    rule = _Rule(balance.step, euler)
    y = balance.solve(guess, rule)
    if y is not None:
        return y, rule
    plain = _Rule(balance.step, np.ones_like(euler))
    safe = balance.solve(guess, plain, 10 * _MAX_ITERATIONS)
    if safe is None:
        raise NoSolution(
            "motor", "the pressure did not settle on one history.", "Check the burn law's range and the sizes."
        )
    rule = _Rule(balance.step, np.maximum(euler, balance.falls_too_fast(safe)))
    y = balance.solve(safe, rule)
    return (safe, plain) if y is None else (y, rule)


def _chokes(a: Arrays, steady: Floats) -> NDArray[np.bool_]:
    return np.asarray(np.exp(steady.max(axis=1)) > choking_pressure(a))


def come_up(a: Arrays) -> NDArray[np.bool_]:
    """Which motors come up to a pressure that chokes their throat, shape (M,); `march` refuses the others."""
    return np.asarray(highest_steady(a) > choking_pressure(a))


def highest_steady(a: Arrays) -> Floats:
    """The highest steady pressure of each motor's burn [Pa], shape (M,): what decides whether it comes up."""
    parts = [a.rows(slice(start, start + _CHUNK)) for start in range(0, len(a), _CHUNK)]
    return np.concatenate([np.exp(course_of(part).steady.max(axis=1)) for part in parts])


def _march(a: Arrays, coarse: bool = False) -> Burn:
    course = course_of(a, coarse)
    x, step, euler, burned, guess = course.x, course.step, course.euler, course.burned, course.steady
    per_pressure, throat_area, drain = course.per_pressure, course.throat_area, course.drain
    out_of_reach = np.flatnonzero(~_chokes(a, guess))
    if out_of_reach.size:
        best = float(np.exp(guess[out_of_reach[0]].max()))
        raise NoSolution(
            "throat_d",
            Note(
                "the motor would not rise above {best}, too little to choke its throat.",
                {"best": Amount(best, "pressure")},
            ),
            "Use a smaller throat or more burning area.",
        )
    # The chamber fills first: what burned in it, with nothing gone, bounds the pressure until it is the steady one.
    y = np.log((per_pressure[:, :1] * a.igniter[:, None] + burned) / per_pressure)
    y[:, 1:] = np.minimum(y[:, 1:], np.repeat(guess, 2, axis=1))
    gained = burned[:, 1:] - np.repeat(burned[:, :-1:2], 2, axis=1)
    y, rule = _settle(_Balance(a, step, drain, per_pressure, gained), y, euler)
    pressure = np.exp(y)
    log_r, _ = log_rate_at(a, y)
    slowness = np.exp(-log_r)
    time = np.zeros_like(x)
    clock = slowness
    if (open_air := y < np.log(np.maximum(a.ambient, 1.0))[:, None]).any():  # a last sliver burns in the open air
        at_least, _ = log_rate_at(a, np.where(open_air, np.log(np.maximum(a.ambient, 1.0))[:, None], y))
        clock = np.exp(-at_least)
    s0, ss, se = clock[:, :-1:2], clock[:, 1::2], clock[:, 2::2]
    time[:, 2::2] = np.cumsum(rule.e0 * s0 + rule.es * ss + rule.ee * se, axis=1)
    time[:, 1::2] = time[:, :-1:2] + rule.s0 * s0 + rule.ss * ss
    weights = np.zeros_like(x)
    weights[:, :-1:2] += rule.e0
    weights[:, 1::2] += rule.es
    weights[:, 2::2] += rule.ee
    weights *= slowness
    return _with_tail(a, x, time, pressure, weights, throat_area, per_pressure)


def _with_tail(
    a: Arrays, x: Floats, time: Floats, pressure: Floats, weights: Floats, throat_area: Floats, per_pressure: Floats
) -> Burn:
    """Add the tail-off, P = P_end exp(-t/tau), down to the last choked flow (or 1/1000 of the end in a vacuum)."""
    end = pressure[:, -1]
    last = np.minimum(np.maximum(choking_pressure(a), 1e-3 * end), end)
    tail_p = end[:, None] * (last / end)[:, None] ** _TAIL
    drain = throat_area[:, -1] / a.c_star
    tau = per_pressure[:, -1] / drain
    tail_t = time[:, -1:] + tau[:, None] * np.log(end[:, None] / tail_p)
    # trapezoid of dt = tau dP/P taken in P, which is exact for the outflow
    drop = -np.diff(tail_p, axis=1)
    tail_w = np.zeros_like(tail_p)
    tail_w[:, :-1] += drop / 2
    tail_w[:, 1:] += drop / 2
    tail_w *= tau[:, None] / tail_p

    def joined(burning: Floats, tail: Floats) -> Floats:
        return np.concatenate([burning, tail], axis=1)

    count = _TAIL.size
    all_p = joined(pressure, tail_p)
    area = joined(throat_area, np.repeat(throat_area[:, -1:], count, axis=1))
    return Burn(
        time=joined(time, tail_t),
        depth=joined(x, np.repeat(x[:, -1:], count, axis=1)),
        pressure=all_p,
        thrust=_thrust(a, all_p, area),
        outflow=all_p * area / a.c_star[:, None],
        weights=joined(weights, tail_w),
        throat_area=area,
        burnt=x.shape[1] - 1,
        start_gas=per_pressure[:, 0] * pressure[:, 0],
        end_gas=per_pressure[:, -1] * tail_p[:, -1],
    )


def _thrust(a: Arrays, pressure: Floats, throat_area: Floats) -> Floats:
    """Thrust [N]; pressures below choking are given the thrust of a bare throat, never less than nothing."""
    grows = bool(a.throat_growth.any())
    area = throat_area if grows else throat_area[:, :1]
    ratio = np.pi / 4 * a.exit_d[:, None] ** 2 / area
    g = a.gamma[:, None]
    attached = exit_pressure_ratio(ratio, g)
    coefficient = coefficient_from_exit(g, pressure, a.ambient[:, None], ratio, attached, a.nozzle_efficiency[:, None])
    return np.asarray(np.maximum(coefficient, 0.0) * pressure * throat_area)


def march(a: Arrays, coarse: bool = False) -> Iterator[tuple[slice, Burn]]:
    """March every motor, a few dozen at a time.

    Parameters
    ----------
    a : Arrays
        Motors, shape (M,) and more.
    coarse : bool
        With half as many even steps, for a search: within some ten-thousandths.

    Yields
    ------
    rows, burn : tuple of slice and Burn
        Which motors these are, and their histories [s], [Pa], [N], [kg/s].

    Returns
    -------
    iterator
        Of the above [-].

    Raises
    ------
    NoSolution
        A motor that cannot choke its throat, or whose pressure does not settle.

    Notes
    -----
    Histories differ in length between chunks; a caller that reduces each chunk never holds more than one.

    References
    ----------
    The module's docstring.

    Examples
    --------
    >>> from app.calc.motor.assembly import example, motor_arrays
    >>> rows, burn = next(march(motor_arrays([example()])))
    >>> rows, burn.pressure.shape[0]
    (slice(0, 1, None), 1)
    """
    for start in range(0, len(a), _CHUNK):
        part = slice(start, min(start + _CHUNK, len(a)))
        yield part, _march(a.rows(part), coarse)
