"""The chamber march: pressure from ignition to tail-off for many motors at once, over arrays.

All grains feel one pressure, so all faces have moved by the same depth x, and burned mass and free volume are
known functions of x before anything is solved. With x in place of time DESIGN's balance
dP/dt = (RT/V)[A_b r (rho_p - rho_gas) - P A_t/c*] becomes one of the gas in the chamber, G = P V/RT:

    dG/dx = (mass burned per depth) - (A_t/c*) P/r(P)

Steps are taken by Radau IIA of third order (two stages, L-stable). Where the chamber fills and empties within much
less than a step, which is nearly everywhere, its stages are the steady pressure but for a small term, so that few
steps do. The mass burned per depth is so given that each step's weights make it the exact difference of grain volumes:
mass is conserved to rounding whatever the step. Since every line of a burn law has n < 1, each step has exactly one
solution. All steps of a motor are solved together by Newton's method in G: the stages of a step follow from its start
in closed form, which leaves a two-banded system of the steps' ends. After burn-out pressure decays in closed form.

Inside, arrays have the motors last; a `Burn` has them first.

References: Radau IIA: E. Hairer & G. Wanner, Solving Ordinary Differential Equations II (1996), table IV.5.5 (from
memory; `tests/calc/motor/test_simulation.py` holds its order and its answers against SciPy's).
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.calc.base.constants import Floats
from app.calc.base.errors import NoSolution
from app.calc.base.notes import Amount, Note
from app.calc.motor.arrays import Arrays, choking_pressure
from app.calc.motor.course import Course, course_of
from app.calc.motor.nozzle import coefficient_from_exit, exit_pressure_ratio

CHUNK = 128
"""Motors marched at a time [-]: the working arrays then stay in the processor's cache."""

_TAIL = np.linspace(0.0, 1.0, 19)[:, None]
_SIMPSON = np.array([1.0, *[4.0, 2.0] * 8, 4.0, 1.0])[:, None]
_MAX_ITERATIONS = 16  # four are usual; backward Euler, which takes over, gets more
_SETTLED = 2e-4  # of the gas: each round squares what is left, so that the last one leaves about 1e-8


@dataclass(frozen=True)
class Burn:
    """What the march gives: (M, N) histories in the order of time, tail-off included.

    `weights` are the quadrature weights of time: sum(weights * f) is the integral of f dt over the burn with the
    march's own accuracy. `exit_ratio` (M,) is exit over chamber pressure while the flow fills the nozzle, as it is
    before firing. `burnt` is the index after which the tail-off begins; until there, `rate` (B, M) is how fast all
    faces move, and `volume` and `area` (G, B, M) are what is left and what burns of one grain of each kind. Where the
    balance would put the pressure below ambient, the time is that of burning at ambient; nothing else is changed there.
    """

    time: Floats
    depth: Floats
    pressure: Floats
    thrust: Floats
    outflow: Floats
    weights: Floats
    throat_area: Floats
    exit_ratio: Floats
    burnt: int
    start_gas: Floats
    end_gas: Floats
    rate: Floats
    volume: Floats
    area: Floats


@dataclass(frozen=True)
class _Rule:
    """How the two stages of a step stand in its balance: slopes of the gas at them by what was gained until them, and
    the weights of integrals up to the inner stage and over the step."""

    of_inner: tuple[Floats | float, Floats | float]
    of_end: tuple[Floats | float, Floats | float]
    inner: tuple[Floats | float, Floats | float]
    whole: tuple[Floats | float, Floats | float]

    def but(self, there: NDArray[np.bool_], other: "_Rule") -> "_Rule":
        """This rule, but `other` in some steps."""

        def either(ours: tuple[Floats | float, ...], theirs: tuple[Floats | float, ...]) -> tuple[Floats, Floats]:
            first, second = (np.where(there, b, a) for a, b in zip(ours, theirs, strict=True))
            return first, second

        return _Rule(*(either(getattr(self, name), getattr(other, name)) for name in self.__dataclass_fields__))


_RADAU = _Rule((1.5, 0.5), (-4.5, 2.5), (5 / 12, -1 / 12), (3 / 4, 1 / 4))
_EULER = _Rule((3.0, 0.0), (-1.5, 1.5), (1 / 3, 0.0), (1 / 3, 2 / 3))


class _Balance:
    """The gas balance to be met in every step: mass burned per depth at the stages as given, by a rule."""

    def __init__(self, course: Course, rule: _Rule, flow: Floats) -> None:
        self.lines, self.rule = course.lines, rule
        step = course.step.repeat(2, axis=0)
        self.burned, self.drained = step * flow, step * course.drain[1:]
        self.log_capacity = np.log(course.gas[1:])

    def outflow(self, gas: Floats) -> tuple[Floats, Floats]:
        """What would leave in a step at each stage's rate [kg], and its slope over the gas there [-]."""
        y = np.log(gas)
        y -= self.log_capacity
        log_r, n = self.lines.log_rate_at(y)
        out = np.exp(np.subtract(y, log_r, out=y), out=y)
        out *= self.drained
        slope = np.subtract(1.0, n, out=n)
        slope *= out
        slope /= gas
        return out, slope

    def solve(self, guess: Floats, iterations: int = _MAX_ITERATIONS) -> Floats | None:
        """Newton's method on all steps at once; None where it does not settle."""
        gas = guess.copy()
        stages, start, first, last = gas[1:], gas[:-2:2], gas[1::2], gas[2::2]
        (a11, a12), (a21, a22) = self.rule.of_inner, self.rule.of_end
        change, at_start = np.empty_like(stages), np.zeros_like(first)
        for _ in range(iterations):
            out, slope = self.outflow(stages)
            off = self.burned - out
            inner, end = first - start, last - start
            off_inner = off[::2] - a11 * inner - a12 * end
            off_end = off[1::2] - a21 * inner - a22 * end
            d11, d22 = slope[::2] + a11, slope[1::2] + a22
            determinant = d11 * d22 - a12 * a21
            # what the start of a step moves is known from the step before: move = own + passed * (start's move)
            own = (d11 * off_end - a21 * off_inner) / determinant
            passed = (d11 * (a21 + a22) - a21 * (a11 + a12)) / determinant
            change[1::2] = moved = _chained(own, passed)
            at_start[1:] = moved[:-1]
            off_inner += (a11 + a12) * at_start - a12 * moved
            change[::2] = off_inner / d11
            change /= stages
            most = np.abs(change).max()
            change += 1.0
            stages *= change if most < 0.5 else np.clip(change, 0.05, 20.0)
            if most < _SETTLED:
                return gas
        return None


def _chained(own: Floats, passed: Floats) -> Floats:
    """Solve move[s] = own[s] + passed[s] move[s - 1] along the first axis, all motors as one long system."""
    from scipy.linalg.lapack import dtbtrs  # here, so that pages that predict nothing need not wait for it

    bands = np.zeros((own.size, 2))
    links = bands[:, 1].reshape(own.shape[::-1])
    np.negative(passed[1:].T, out=links[:, :-1])  # none from a motor to the next
    solution, _ = dtbtrs(bands.T, own.T.reshape(-1, 1), uplo="L", diag="U")
    return np.asarray(solution.reshape(own.shape[::-1]).T)


def _settle(course: Course, guess: Floats) -> tuple[Floats, _Rule]:
    """The gas in the chamber [kg] and the rule it was found with.

    Where a motor falls to a small part of its pressure in one step (grains of very unequal webs), the third-order
    rule may have no solution. Backward Euler always has: its history then tells which steps must keep to it.
    """
    gas = _Balance(course, _RADAU, course.flow).solve(guess)
    if gas is not None:
        return gas, _RADAU
    even = course.mean_flow.repeat(2, axis=0)
    safe = _Balance(course, _EULER, even).solve(guess, 25 * _MAX_ITERATIONS)
    if safe is None:
        raise NoSolution(
            "motor", "the pressure did not settle on one history.", "Check the burn law's range and the sizes."
        )
    start, inner = safe[:-2:2], safe[1::2]
    too_fast = course.step * course.flow[1::2] + 4.5 * inner - 2 * start < 0.2 * start
    rule = _RADAU.but(too_fast, _EULER)
    mixed = np.where(too_fast.repeat(2, axis=0), even, course.flow)
    gas = _Balance(course, rule, mixed).solve(safe)
    return (safe, _EULER) if gas is None else (gas, rule)


def _chokes(a: Arrays, steady: Floats) -> NDArray[np.bool_]:
    return np.asarray(np.exp(steady.max(axis=0)) > choking_pressure(a))


def come_up(a: Arrays) -> NDArray[np.bool_]:
    """Which motors come up to a pressure that chokes their throat, shape (M,); `march` refuses the others."""
    return np.asarray(highest_steady(a) > choking_pressure(a))


def highest_steady(a: Arrays) -> Floats:
    """The highest steady pressure of each motor's burn [Pa], shape (M,): what decides whether it comes up."""
    parts = [a.rows(slice(start, start + CHUNK)) for start in range(0, len(a), CHUNK)]
    return np.concatenate([np.exp(course_of(part).steady.max(axis=0)) for part in parts])


def _march(a: Arrays) -> Burn:
    course = course_of(a)
    out_of_reach = np.flatnonzero(~_chokes(a, course.steady))
    if out_of_reach.size:
        best = float(np.exp(course.steady[:, out_of_reach[0]].max()))
        raise NoSolution(
            "throat_d",
            Note(
                "the motor would not rise above {best}, too little to choke its throat.",
                {"best": Amount(best, "pressure")},
            ),
            "Use a smaller throat or more burning area.",
        )
    # As the chamber fills, the gas goes from the igniter's to the steady one; exactly so where the rate is constant.
    guess = course.gas * a.igniter
    steady = course.gas[1:] * np.exp(course.steady)
    guess[1:] = steady + np.exp(-course.burned[1:] / steady) * (guess[1:] - steady)
    gas, rule = _settle(course, guess)
    pressure = gas / course.gas
    y = np.log(pressure)
    rate = np.exp(course.lines.log_rate_at(y)[0])
    slowness = 1 / rate
    clock = slowness
    air = np.log(np.maximum(a.ambient, 1.0))
    if (y < air).any():  # a last sliver burns in the open air
        clock = np.exp(-course.lines.log_rate_at(np.maximum(y, air))[0])
    h, time, weights = course.step, np.zeros_like(y), np.zeros_like(y)
    (i1, i2), (w1, w2) = rule.inner, rule.whole
    spent = h * (w1 * clock[1::2] + w2 * clock[2::2])
    spent.cumsum(axis=0, out=time[2::2])
    time[1::2] = np.minimum(np.maximum(h * (i1 * clock[1::2] + i2 * clock[2::2]), 0.0), spent)
    time[1::2] += time[:-2:2]
    weights[1::2], weights[2::2] = h * w1 * slowness[1::2], h * w2 * slowness[2::2]
    return _with_tail(a, course, time, pressure, rate, weights)


def _with_tail(a: Arrays, course: Course, time: Floats, pressure: Floats, rate: Floats, weights: Floats) -> Burn:
    """Add the tail-off, P = P_end exp(-t/tau), down to the last choked flow (or 1/1000 of the end in a vacuum)."""
    end, count = pressure[-1], len(_TAIL)
    last = np.minimum(np.maximum(choking_pressure(a), 1e-3 * end), end)
    fall = np.log(end / last)
    tau = course.gas[-1] / course.drain[-1]
    # Simpson's rule in t, scaled to be exact for the outflow, which goes with P
    each = np.maximum(fall / (count - 1), 1e-9)
    once = np.exp(-each)
    scale = tau * (1 - once**2) / (1 + 4 * once + once**2)
    everything = np.concatenate([pressure, end * np.exp(-fall * _TAIL)])
    area = np.concatenate([course.throat_area, course.throat_area[-1:].repeat(count, axis=0)])
    thrust, exit_ratio = _thrust(a, everything, area)
    return Burn(
        time=np.concatenate([time, time[-1] + tau * fall * _TAIL]).T,
        depth=np.concatenate([course.x, course.x[-1:].repeat(count, axis=0)]).T,
        pressure=everything.T,
        thrust=thrust.T,
        outflow=(everything * area / a.c_star).T,
        weights=np.concatenate([weights, scale * _SIMPSON]).T,
        throat_area=area.T,
        exit_ratio=exit_ratio,
        burnt=len(pressure) - 1,
        start_gas=course.gas[0] * pressure[0],
        end_gas=course.gas[-1] * everything[-1],
        rate=rate,
        volume=course.volume,
        area=course.area,
    )


def _thrust(a: Arrays, pressure: Floats, throat_area: Floats) -> tuple[Floats, Floats]:
    """Thrust [N], and the ratio of pressures that the nozzle expands to at first [-] (M,); pressures below choking are
    given the thrust of a bare throat, never less than nothing."""
    area = throat_area if a.throat_growth.any() else throat_area[:1]
    ratio = np.pi / 4 * a.exit_d**2 / area
    attached = exit_pressure_ratio(ratio, a.gamma)
    coefficient = coefficient_from_exit(a.gamma, pressure, a.ambient, ratio, attached, a.nozzle_efficiency)
    return np.asarray(np.maximum(coefficient, 0.0) * pressure * throat_area), attached[0]


def march(a: Arrays) -> Iterator[tuple[slice, Burn]]:
    """March every motor, a few dozen at a time.

    Parameters
    ----------
    a : Arrays
        Motors, shape (M,) and more.

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
    for start in range(0, len(a), CHUNK):
        part = slice(start, min(start + CHUNK, len(a)))
        yield part, _march(a if len(a) <= CHUNK else a.rows(part))
