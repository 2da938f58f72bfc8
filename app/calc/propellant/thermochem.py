"""What a blend makes when it burns: flame temperature, products, c*, and the ideal impulse of a nozzle."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from app.calc.base.constants import ATM, STANDARD_GRAVITY, Floats, positive
from app.calc.base.errors import NoSolution, OutOfRange
from app.calc.base.notes import Amount, Note, joined
from app.calc.propellant.blend import blend_warnings, check_blend
from app.calc.propellant.equilibrium import ATOMS, CARBONATE_MELTS, LOCK, Equilibrium, find
from app.calc.propellant.ingredients import INGREDIENTS

PRESSURE_LIMITS = (0.2e6, 20e6)
"""Chamber pressures taken [Pa]."""


@dataclass(frozen=True)
class BlendState:
    """A blend burned at one chamber pressure, and its ideal expansion to one atmosphere.

    Attributes
    ----------
    temperature, pressure : float
        In the chamber [K], [Pa].
    gas_molar_mass, system_molar_mass : float
        Of the gas alone; of gas and condensed matter per mole of gas [kg/mol].
    condensed_fraction : float
        Liquids and solids per mass [-].
    gamma_frozen : float
        At fixed composition, condensed matter in step with the gas [-].
    gamma_effective : float or None
        The one constant exponent that gives the ideal impulse below [-]; for a thrust coefficient.
    c_star : float
        Characteristic velocity with `gamma_frozen` [m/s].
    c_star_equilibrium : float or None
        With the exponent of the shifting expansion from chamber to throat [m/s].
    ideal_isp : float or None
        To one atmosphere, shifting equilibrium, condensed matter in step, no loss [s].
    condensed, gas : dict of str to float
        Mass fraction of each liquid or solid; mole fraction of each gas [-].
    balance_error : float
        Largest relative error of an element [-].
    ok : bool
        True when everything was solved and the blend is within the usual range.
    notes : tuple of Note or str
        What to keep in mind, in words.
    """

    temperature: float
    pressure: float
    gas_molar_mass: float
    system_molar_mass: float
    condensed_fraction: float
    gamma_frozen: float
    gamma_effective: float | None
    c_star: float
    c_star_equilibrium: float | None
    ideal_isp: float | None
    condensed: dict[str, float]
    gas: dict[str, float]
    balance_error: float
    ok: bool
    notes: tuple[Note | str, ...]


def _elements(blend: Mapping[str, float]) -> Floats:
    amounts = [
        math.fsum(f / INGREDIENTS[k].molar_mass * INGREDIENTS[k].elements.get(atom, 0) for k, f in blend.items())
        for atom in ATOMS
    ]
    return np.array(amounts) / 1000


def _chamber(parts: Mapping[str, float], pressure: float) -> tuple[Floats, Equilibrium]:
    blend = check_blend(parts)
    low, high = PRESSURE_LIMITS
    if not (math.isfinite(pressure) and low <= pressure <= high):
        raise OutOfRange(
            "pressure",
            Note(
                "{pressure} is outside {low} to {high}.",
                {
                    "pressure": Amount(pressure, "pressure"),
                    "low": Amount(low, "pressure"),
                    "high": Amount(high, "pressure"),
                },
            ),
            "Give a chamber pressure in that range.",
        )
    elements = _elements(blend)
    enthalpy = math.fsum(
        f / INGREDIENTS[key].molar_mass * INGREDIENTS[key].enthalpy_of_formation for key, f in blend.items()
    )
    return elements, find("enthalpy", enthalpy, pressure, elements, guess=1650.0)


def blend_state(parts: Mapping[str, float], pressure: float = 68 * ATM) -> BlendState:
    """Burn a blend at a chamber pressure, adiabatically and to equilibrium.

    Parameters
    ----------
    parts : mapping of str to float
        Mass fraction of each ingredient [-].
    pressure : float
        Chamber pressure [Pa].

    Returns
    -------
    BlendState
        Temperature [K], molar masses [kg/mol], c* [m/s], ideal Isp [s] and the rest, see there.

    Raises
    ------
    BlendError
        If the blend is not of the family.
    OutOfRange
        If the pressure is outside 0.2-20 MPa.
    NoSolution
        If no chamber state is found. A failed expansion is told in `notes` instead.

    Notes
    -----
    Ingredients at 298.15 K; no heat loss; condensed matter in thermal and velocity equilibrium with the gas.
    A real small motor delivers less. Checked for 65/35 blends at 68 atm; doubtful outside 58-75 % nitrate.

    References
    ----------
    Method: S. Gordon and B. J. McBride, NASA RP-1311. Data: NASA fits shipped with Cantera; enthalpies of
    formation by the source of each ingredient.

    Examples
    --------
    >>> state = blend_state({"potassium_nitrate": 0.65, "sorbitol": 0.35})
    >>> round(state.temperature), round(state.c_star)
    (1600, 909)
    """
    notes: list[Note | str] = list(blend_warnings(parts))
    isp = gamma = c_star_shifting = None
    with LOCK:
        elements, chamber = _chamber(parts, pressure)
        try:
            throat = find("entropy", chamber.entropy, 0.575 * pressure, elements, chamber.temperature - 50)
            exponent = math.log(pressure / throat.pressure) / math.log(chamber.density / throat.density)
            c_star_shifting = _c_star(chamber, exponent)
            cold = find("entropy", chamber.entropy, ATM, elements, CARBONATE_MELTS)
            velocity = math.sqrt(2 * (chamber.enthalpy - cold.enthalpy))
            isp, gamma = velocity / STANDARD_GRAVITY, _gamma_for(velocity, chamber, ATM)
        except NoSolution as failure:
            notes.append(joined("The expansion to one atmosphere was not solved:", failure.fault))
    gamma_frozen = chamber.gamma_frozen
    return BlendState(
        temperature=chamber.temperature,
        pressure=pressure,
        gas_molar_mass=chamber.gas_molar_mass,
        system_molar_mass=1 / chamber.gas_moles,
        condensed_fraction=chamber.condensed_fraction,
        gamma_frozen=gamma_frozen,
        gamma_effective=gamma,
        c_star=_c_star(chamber, gamma_frozen),
        c_star_equilibrium=c_star_shifting,
        ideal_isp=isp,
        condensed=chamber.condensed,
        gas=chamber.gas,
        balance_error=chamber.balance_error,
        ok=not notes,
        notes=tuple(notes),
    )


def between(states: Sequence[BlendState], pressure: float) -> BlendState:
    """Give a blend's state at a pressure from its states at a few others.

    Parameters
    ----------
    states : sequence of BlendState
        One or more of one blend, pressures rising [Pa].
    pressure : float
        Chamber pressure [Pa].

    Returns
    -------
    BlendState
        Each number straight in ln P between the two nearest; the end state beyond them.

    Raises
    ------
    OutOfRange
        The pressure is not above zero.

    Notes
    -----
    c* of a 65/35 blend so found from states at 0.5, 2, 6.9 and 20 MPa is within 0.1 % of its own there.
    Why ln P: an equilibrium's shift goes with the logarithm of pressure.

    Examples
    --------
    >>> blend = {"potassium_nitrate": 0.65, "sorbitol": 0.35}
    >>> found = between([blend_state(blend, p) for p in (2e6, 5e6)], 3e6)
    >>> round(found.c_star), round(blend_state(blend, 3e6).c_star)
    (906, 906)
    """
    positive("pressure", pressure, "Give absolute pressure in pascal.")
    if pressure <= states[0].pressure or pressure >= states[-1].pressure:
        return states[0] if pressure <= states[0].pressure else states[-1]
    after = next(i for i, state in enumerate(states) if state.pressure > pressure)
    low, high = states[after - 1], states[after]
    share = math.log(pressure / low.pressure) / math.log(high.pressure / low.pressure)

    def mixed(a: Any, b: Any) -> Any:
        if isinstance(a, dict):
            return {key: mixed(a.get(key, 0.0), b.get(key, 0.0)) for key in {**a, **b}}
        return None if a is None or b is None else (1 - share) * a + share * b

    figures = [f.name for f in fields(BlendState) if f.name not in ("pressure", "ok", "notes")]
    numbers = {name: mixed(getattr(low, name), getattr(high, name)) for name in figures}
    notes = low.notes + tuple(note for note in high.notes if note not in low.notes)
    return BlendState(**numbers, pressure=pressure, ok=low.ok and high.ok, notes=notes)


def _c_star(chamber: Equilibrium, k: float) -> float:
    """c* of a gas with constant exponent k: Sutton & Biblarz, eq. for characteristic velocity [m/s]."""
    rt = chamber.pressure / chamber.density
    return math.sqrt(rt / k) * math.pow((k + 1) / 2, (k + 1) / (2 * (k - 1)))


def _gamma_for(velocity: float, chamber: Equilibrium, p_exit: float) -> float:
    """Constant exponent with which the chamber's RT gives this exit velocity."""
    from scipy.optimize import brentq

    rt = chamber.pressure / chamber.density

    def gap(k: float) -> float:
        power = (k - 1) / k
        return 2 * rt / power * (1 - math.pow(p_exit / chamber.pressure, power)) - velocity**2

    root: float = brentq(gap, 1.0001, 1.66)
    return root
