"""Flights by SciPy's DOP853 from equations written down here anew: rail, flight, and parachutes with their inertia.

The only thing borrowed from the program is the standard atmosphere, which has its own printed table.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp

from app.calc.base.atmosphere import Air, atmosphere
from app.calc.base.constants import Floats
from tests.calc.stop import Stop

G = 9.80665


@dataclass(frozen=True)
class Case:
    """One rocket on one day, SI; tilt and distances with the wind."""

    time: tuple[float, ...]
    thrust: tuple[float, ...]
    propellant: float
    dry: float
    diameter: float
    drag: tuple[tuple[float, float], ...]
    rail: float
    tilt: float = 0.0
    wind: float = 0.0
    wind_height: float = 2.0
    turning: float = 1.0
    elevation: float = 0.0
    warmer: float = 0.0
    drogue: tuple[float, float] | None = None
    main: tuple[float, float] | None = None
    main_height: float = 0.0


CASES = {
    "mid-J, still air": Case(
        (0, 0.05, 0.6, 1.4, 1.8, 2.0), (0, 420, 520, 470, 120, 0), 0.7, 6.5, 0.1, ((0, 0.5),), 2.0
    ),
    "mid-J, windy, into the wind": Case(
        (0, 0.05, 0.6, 1.4, 1.8, 2.0),
        (0, 420, 520, 470, 120, 0),
        0.7,
        6.5,
        0.1,
        ((0, 0.5),),
        2.0,
        tilt=-0.1,
        wind=6.0,
        main=(2.1, 1.5),
    ),
    "small, with the wind, high and warm": Case(
        (0, 0.02, 0.3, 0.9, 1.0),
        (0, 60, 80, 55, 0),
        0.04,
        0.6,
        0.042,
        ((0, 0.6),),
        1.2,
        tilt=0.15,
        wind=3.0,
        turning=0.5,
        elevation=1500,
        warmer=15,
        main=(0.6, 0.8),
    ),
    "fast, with a Mach table": Case(
        (0, 0.03, 1.2, 2.2, 2.5),
        (0, 2600, 2400, 2000, 0),
        2.4,
        5.5,
        0.075,
        ((0.3, 0.45), (0.8, 0.5), (1.05, 0.8), (1.5, 0.62)),
        3.0,
        tilt=-0.05,
        wind=4.0,
        turning=0.7,
        drogue=(0.6, 1.5),
        main=(2.4, 1.8),
        main_height=200.0,
    ),
    "fast over the top, small parachute": Case(
        (0, 0.05, 0.6, 1.4, 1.8, 2.0),
        (0, 420, 520, 470, 120, 0),
        0.7,
        3.2,
        0.1,
        ((0, 0.5),),
        2.0,
        tilt=-0.05,
        wind=6.0,
        main=(0.4, 1.5),
    ),
    "slow start, long burn": Case(
        (0, 0.4, 1.0, 4.0, 5.0), (0, 40, 300, 260, 0), 0.9, 9.0, 0.13, ((0, 0.55),), 4.0, tilt=-0.03, wind=2.0
    ),
}


def solve(case: Case) -> dict[str, float]:
    """Rail exit, apogee, largest Mach number and dynamic pressure, and the landing where a parachute is given."""
    t, force = np.array(case.time, float), np.array(case.thrust, float)
    spent = np.concatenate(([0], np.cumsum(np.diff(t) * (force[1:] + force[:-1]) / 2)))
    area = math.pi / 4 * case.diameter**2
    lean, up = math.sin(case.tilt), math.cos(case.tilt)

    def wind(z: float) -> float:
        return float(case.wind * (min(max(z, 0.0), 274.32) / case.wind_height) ** (1 / 7))

    def air(z: float) -> Air:
        return atmosphere(case.elevation + z, case.warmer)

    def pull(z: float, speed: float) -> float:
        mach = speed / air(z).speed_of_sound
        machs, coefficients = zip(*case.drag, strict=True)
        coefficient = float(np.interp(mach, machs, coefficients))
        return 0.5 * air(z).density * coefficient * area * speed**2

    def thrust(now: float) -> float:
        return float(np.interp(now, t, force)) if now < t[-1] else 0.0

    def on_rail(now: float, y: Floats) -> list[float]:
        _, v, impulse = y
        mass = case.dry + case.propellant * (1 - impulse / spent[-1])
        through = v - wind(case.rail * up / 2) * lean if v > 0 else 0.0
        rate = (thrust(now) - math.copysign(pull(0.0, abs(through)), through)) / mass - G * up
        return [v, max(rate, 0.0) if v <= 0 else rate, thrust(now)]

    def off(now: float, y: Floats) -> float:
        return float(y[0]) - case.rail

    options = {"method": "DOP853", "rtol": 1e-9, "atol": 1e-9}
    rail = solve_ivp(on_rail, (0, 30), [0.0, 0.0, 0.0], events=Stop(off), max_step=0.005, **options)
    left, (_, v, impulse) = float(rail.t_events[0][0]), rail.y_events[0][0]

    def flying(now: float, y: Floats) -> list[float]:
        _, z, vx, vz, impulse = y
        mass = case.dry + case.propellant * (1 - impulse / spent[-1])
        ux = vx - wind(z)
        speed = math.hypot(ux, vz)
        nx = vx - case.turning * wind(z)
        nose = math.hypot(nx, vz)
        drag, push = pull(z, speed), thrust(now)
        ax, az = (push * nx / nose - drag * ux / speed) / mass, (push * vz / nose - drag * vz / speed) / mass
        return [vx, vz, ax, az - G, push]

    def top(now: float, y: Floats) -> float:
        return float(y[3])

    start = [case.rail * lean, case.rail * up, v * lean, v * up, impulse]
    flight = solve_ivp(flying, (left, 300), start, events=Stop(top, direction=-1), max_step=0.02, **options)
    apogee_time, apogee = float(flight.t_events[0][0]), flight.y_events[0][0]
    through = np.hypot(flight.y[2] - [wind(z) for z in flight.y[1]], flight.y[3])
    airs = [air(z) for z in flight.y[1]]
    found = {
        "rail_exit_speed": float(v),
        "rail_exit_time": left,
        "apogee": float(apogee[1]),
        "apogee_time": apogee_time,
        "downrange": float(apogee[0]),
        "max_speed": float(np.hypot(flight.y[2], flight.y[3]).max()),
        "max_mach": float(max(through / [a.speed_of_sound for a in airs])),
        "max_q": float(max(0.5 * through**2 * [a.density for a in airs])),
    }
    if case.main is None:
        return found

    def hanging(chute: tuple[float, float]) -> Callable[[float, Floats], list[float]]:
        def slope(_now: float, y: Floats) -> list[float]:
            _, z, vx, vz = y
            ux = vx - wind(z)
            speed = math.hypot(ux, vz)
            canopy = 0.5 * air(max(z, 0.0)).density * chute[1] * math.pi / 4 * chute[0] ** 2 * speed
            k = (canopy + pull(max(z, 0.0), speed) / speed if speed else 0.0) / case.dry
            return [vx, vz, -k * ux, -k * vz - G]

        return slope

    now, state = apogee_time, apogee[:4]
    for chute, floor in [*([(case.drogue, case.main_height)] if case.drogue else []), (case.main, 0.0)]:

        def down(_now: float, y: Floats, floor: float = floor) -> float:
            return float(y[1]) - floor

        fell = solve_ivp(
            hanging(chute), (now, now + 3000), state, events=Stop(down), method="RK45", rtol=1e-8, atol=1e-8
        )
        now, state = float(fell.t_events[0][0]), fell.y_events[0][0]
    return {
        **found,
        "landing_time": now,
        "landing_distance": float(state[0]),
        "landing_speed": -float(state[3]),
        "landing_ground_speed": abs(float(state[2])),
    }
