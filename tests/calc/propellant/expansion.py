"""The whole expansion of a blend's products through a nozzle, the throat found as where mass flux is largest.

The independent way to c* and impulse that tests hold `thermochem` against: NASA RP-1311, chapter 6.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from scipy.optimize import minimize_scalar

from app.calc.base.constants import ATM, STANDARD_GRAVITY
from app.calc.propellant.equilibrium import CARBONATE_MELTS, LOCK, Equilibrium, find
from app.calc.propellant.thermochem import _chamber, _gamma_for


@dataclass(frozen=True)
class Expansion:
    """Ideal expansion in shifting equilibrium from the chamber through the throat to an exit pressure.

    Attributes
    ----------
    chamber, throat, exit : Equilibrium
        The three states.
    exit_velocity, isp : float
        Velocity at the exit [m/s]; the same over standard gravity [s], for ambient = exit pressure.
    c_star : float
        Chamber pressure over the largest mass flux [m/s].
    area_ratio : float
        Exit over throat area [-].
    gamma_effective : float
        The one constant exponent with the same chamber and the same exit velocity [-].
    """

    chamber: Equilibrium
    throat: Equilibrium
    exit: Equilibrium
    exit_velocity: float
    isp: float
    c_star: float
    area_ratio: float
    gamma_effective: float


def expansion(parts: Mapping[str, float], p_chamber: float = 68 * ATM, p_exit: float = ATM) -> Expansion:
    """Expand the products of a blend through a nozzle, in equilibrium all the way; pressures in Pa."""
    with LOCK:
        elements, chamber = _chamber(parts, p_chamber)

        def at(p: float, guess: float) -> Equilibrium:
            return find("entropy", chamber.entropy, p, elements, guess)

        def velocity(state: Equilibrium) -> float:
            return math.sqrt(2 * max(chamber.enthalpy - state.enthalpy, 0.0))

        def flux(state: Equilibrium) -> float:
            return state.density * velocity(state)

        def minus_flux(ratio: float) -> float:
            return -flux(at(ratio * p_chamber, chamber.temperature - 50))

        best = minimize_scalar(minus_flux, bounds=(0.5, 0.7), method="bounded", options={"xatol": 1e-4})
        throat = at(float(best.x) * p_chamber, chamber.temperature - 50)
        leaving = at(p_exit, CARBONATE_MELTS)
    speed = velocity(leaving)
    return Expansion(
        chamber=chamber,
        throat=throat,
        exit=leaving,
        exit_velocity=speed,
        isp=speed / STANDARD_GRAVITY,
        c_star=p_chamber / flux(throat),
        area_ratio=flux(throat) / flux(leaving),
        gamma_effective=_gamma_for(speed, chamber, p_exit),
    )
