"""The chamber equation solved by SciPy's Radau, with its own geometry: what the march is measured against.

Hollow cylinders with a central core and any burning ends; DESIGN's equation as it stands, in time:
dP/dt = (R T / V)[A_b r (rho_p - rho_gas) - P A_t / c*], dx/dt = r, and impulse and outflow as further states.
"""

from bisect import bisect_left
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from math import cos, exp, log, pi

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from app.calc.base.constants import Floats
from app.calc.grain.geometry import Grain
from app.calc.motor.simulation import Motor, Propellant
from app.calc.propellant.burn_laws import published_law
from tests.calc.stop import Stop


@dataclass(frozen=True)
class Reference:
    time: Floats
    pressure: Floats
    thrust: Floats
    total_impulse: float
    peak_pressure: float
    outflow: float

    @property
    def burn_time(self) -> float:
        above = np.flatnonzero(self.thrust >= 0.05 * self.thrust.max())
        return float(self.time[above[-1]] - self.time[above[0]])

    @property
    def mean_pressure(self) -> float:
        above = np.flatnonzero(self.thrust >= 0.05 * self.thrust.max())
        part = slice(above[0], above[-1] + 1)
        return float(np.trapezoid(self.pressure[part], self.time[part]) / self.burn_time)


def _thrust_coefficient(motor: Motor, pressure: float, area_ratio: float, mach: float) -> float:
    """Textbook C_F, written again: attached, or parted where pe < 0.4 pa and then ended there."""
    k, pa = motor.propellant.gamma, motor.ambient_pressure
    exit_ratio = (1 + (k - 1) / 2 * mach**2) ** (-k / (k - 1))
    if exit_ratio * pressure < 0.4 * pa:
        exit_ratio = min(0.4 * pa / pressure, (2 / (k + 1)) ** (k / (k - 1)))
        m2 = (exit_ratio ** ((1 - k) / k) - 1) * 2 / (k - 1)
        area_ratio = (2 / (k + 1) * (1 + (k - 1) / 2 * m2)) ** ((k + 1) / (2 * (k - 1))) / m2**0.5
    momentum = (2 * k**2 / (k - 1) * (2 / (k + 1)) ** ((k + 1) / (k - 1)) * (1 - exit_ratio ** ((k - 1) / k))) ** 0.5
    factor = motor.nozzle_efficiency * (1 + cos(motor.half_angle)) / 2
    return float(factor * momentum + (exit_ratio - pa / pressure) * area_ratio)


def solve(motor: Motor, rtol: float = 1e-8, fine: bool = True, method: str = "Radau") -> Reference:
    """March one motor; `fine` adds samples between the solver's own for the burn time, at some cost."""
    k = motor.propellant.gamma
    c_star = motor.propellant.c_star * motor.c_star_efficiency
    big_gamma = k**0.5 * (2 / (k + 1)) ** ((k + 1) / (2 * (k - 1)))
    rt = (big_gamma * c_star) ** 2
    law = motor.propellant.law
    log_p, log_r = np.log(law.pressures).tolist(), np.log(law.rates).tolist()
    slopes = (np.diff(log_r) / np.diff(log_p)).tolist()
    boost = np.exp(law.sigma_p * (motor.initial_temperature - law.reference_temperature)) * (1 + motor.extra_area)
    hollow = [g for g in motor.grains if isinstance(g, Grain)]
    assert len(hollow) == len(motor.grains), "hollow cylinders only"
    webs = [min((g.outer_d - g.core_d) / 2, g.length / g.burning_ends if g.burning_ends else np.inf) for g in hollow]
    deepest = max(webs)
    chamber = pi / 4 * motor.case_inner_d**2 * motor.chamber_length + motor.free_volume_extra
    choked = motor.ambient_pressure * ((k + 1) / 2) ** (k / (k - 1))

    def rate(p: float) -> float:
        y = log(p)
        i = min(max(bisect_left(log_p, y) - 1, 0), len(slopes) - 1)
        return float(boost * exp(log_r[i] + slopes[i] * (y - log_p[i])))

    def grains(x: float, alive: list[bool]) -> tuple[float, float]:
        """Burning area times density [kg/m], solid volume [m3]."""
        flow = volume = 0.0
        for g, burning in zip(hollow, alive, strict=True):
            if burning:
                core, length = g.core_d + 2 * x, g.length - g.burning_ends * x
                face = pi / 4 * (g.outer_d**2 - core**2)
                density = g.mass / (pi / 4 * (g.outer_d**2 - g.core_d**2) * g.length)
                flow += density * (pi * core * length + g.burning_ends * face)
                volume += face * length
        return flow, volume

    def throat(x: float) -> float:
        return pi / 4 * (motor.throat_d + motor.throat_growth * min(x, deepest) / deepest) ** 2

    def mach(ratio: float) -> float:
        def gap(m: float) -> float:
            return float((2 / (k + 1) * (1 + (k - 1) / 2 * m * m)) ** ((k + 1) / (2 * (k - 1))) / m - ratio)

        return float(brentq(gap, 1.0, 20.0, xtol=1e-13)) if ratio > 1 else 1.0

    fixed = mach((motor.exit_d / motor.throat_d) ** 2)

    def thrust(p: float, x: float) -> float:
        area = throat(x)
        ratio = pi / 4 * motor.exit_d**2 / area
        m = fixed if motor.throat_growth == 0 else mach(ratio)
        return max(_thrust_coefficient(motor, p, ratio, m), 0.0) * p * area

    def march(alive: list[bool]) -> Callable[[float, Floats], list[float]]:
        def slope(_t: float, state: Floats) -> list[float]:
            x, p = float(state[0]), float(state[1])
            flow, volume = grains(x, alive)
            r = rate(p)
            free, out = chamber - volume, p * throat(x) / c_star
            swept = sum(
                r
                * (
                    pi * (g.core_d + 2 * x) * (g.length - g.burning_ends * x)
                    + g.burning_ends * pi / 4 * (g.outer_d**2 - (g.core_d + 2 * x) ** 2)
                )
                for g, burning in zip(hollow, alive, strict=True)
                if burning
            )
            dp = rt / free * (flow * r - swept * p / rt - out)
            return [r if any(alive) else 0.0, dp, thrust(p, x), out]

        return slope

    state = np.array([0.0, motor.igniter_pressure, 0.0, 0.0])
    start, times, states = 0.0, [], []
    for lower, upper in [*pairwise([0.0, *sorted(set(webs))]), (deepest, np.inf)]:
        alive = [web > lower for web in webs]

        def done(_t: float, s: Floats, upper: float = upper) -> float:
            return float(s[0] - upper if np.isfinite(upper) else s[1] - max(choked, 1e-3 * motor.igniter_pressure))

        part = solve_ivp(
            march(alive),
            (start, start + 100.0),
            state,
            method,
            events=Stop(done),
            rtol=rtol,
            atol=[1e-13, 1e-3, 1e-6, 1e-10],
            dense_output=fine,
            max_step=0.05,
        )
        assert part.status == 1, part.message
        if fine:
            samples = np.unique(np.concatenate([part.t, np.linspace(part.t[0], part.t[-1], 1500)]))
            times.append(samples)
            states.append(part.sol(samples))
        else:
            times.append(part.t)
            states.append(part.y)
        start, state = part.t[-1], part.y[:, -1]
    t, y = np.concatenate(times), np.concatenate(states, axis=1)
    force = np.array([thrust(p, x) for x, p in zip(y[0], y[1], strict=True)])
    return Reference(t, y[1], force, float(y[2, -1]), float(y[1].max()), float(y[3, -1]))


def motor_table() -> list[Motor]:
    """Thirty-six motors: 1 to 8 grains, Kn 100 to 450 at the start, three laws, unequal grains in a third of them."""
    blends = {  # DESIGN section 5: ideal density, c*, gamma (rounded), molar mass, T
        "sorbitol": (1841.0, 909.0, 1.137, 0.03990, 1600.0),
        "dextrose": (1879.0, 912.0, 1.131, 0.04239, 1710.0),
        "sucrose": (1889.0, 918.0, 1.133, 0.04198, 1720.0),
    }
    motors = []
    for number in range(36):
        sugar = list(blends)[number % 3]
        count = 1 + number % 8
        kn = 100 + 10 * number
        outer = (0.030, 0.04445, 0.060)[number % 3] * (1 + 0.01 * (number % 5))
        core, length = outer * (0.45 + 0.01 * (number % 4)), outer * (1.2 + 0.1 * (number % 6))
        grains, area = [], 0.0
        for i in range(count):
            odd = number % 3 == 2  # cores that differ burn out one after the other
            c, ln = core * (1 + 0.03 * i * odd), length * (1 - 0.02 * i * odd)
            ends = (True, number % 4 != 1)
            volume = pi / 4 * (outer**2 - c**2) * ln
            share = 0.93 + 0.01 * (i % 4)
            grains.append(Grain(outer, c, ln, share * blends[sugar][0] * volume, True, *ends))
            area += pi * c * ln + sum(ends) * pi / 4 * (outer**2 - c**2)
        throat = (4 / pi * area / kn) ** 0.5
        motors.append(
            Motor(
                tuple(grains),
                Propellant(*blends[sugar], published_law(sugar)),
                throat_d=min(throat, 0.99 * core),
                exit_d=2.4 * throat,
                case_inner_d=outer * 1.05,
                chamber_length=sum(g.length for g in grains) * 1.03 + 0.01,
                throat_growth=0.02 * throat * (number % 5 == 0),
            )
        )
    return motors


@dataclass(frozen=True)
class ShapeMarch:
    """Depths [m], times [s], pressures [Pa] and outflow [kg] of grains of any shape."""

    depth: Floats
    time: Floats
    pressure: Floats
    outflow: Floats


def solve_shape(
    motor: Motor, area: Callable[[float], float], volume: Callable[[float], float], until: float
) -> ShapeMarch:
    """March a motor of grains all alike by their whole burning area and volume over depth, up to a depth [m]."""
    law, k = motor.propellant.law, motor.propellant.gamma
    c_star = motor.propellant.c_star * motor.c_star_efficiency
    rt = k * (2 / (k + 1)) ** ((k + 1) / (k - 1)) * c_star**2
    density = motor.propellant_mass / volume(0.0)

    def slope(_t: float, state: Floats) -> list[float]:
        x, p = max(state[0], 0.0), state[1]
        r, out = float(law.rate(p)), p * motor.throat_area / c_star
        free = motor.chamber_volume - volume(x)
        return [r, rt / free * (area(x) * r * (density - p / rt) - out), out]

    def done(_t: float, state: Floats) -> float:
        return float(state[0] - until)

    found = solve_ivp(
        slope,
        (0.0, 20.0),
        [0.0, motor.igniter_pressure, 0.0],
        "Radau",
        events=Stop(done),
        rtol=1e-8,
        atol=[1e-13, 1e-2, 1e-10],
        max_step=0.02,
    )
    assert found.status == 1, found.message
    return ShapeMarch(found.y[0], found.t, found.y[1], found.y[2])
