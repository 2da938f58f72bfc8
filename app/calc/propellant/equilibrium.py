"""Gas, liquids and solids in chemical equilibrium at a pressure and a given enthalpy or entropy.

The sum of Gibbs energies is minimised by Cantera at a fixed temperature and pressure; the temperature that
conserves enthalpy (in the chamber) or entropy (along the nozzle) is searched for here. Asking Cantera for it
directly fails often, or answers wrongly while potassium carbonate freezes: on that plateau both of its
phases are present at one temperature, and their shares follow from the lever rule.
"""

import math
import threading
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

import numpy as np

from app.calc.base.constants import R_UNIVERSAL, Floats
from app.calc.base.errors import NoSolution
from app.calc.base.notes import Amount, Note

CARBONATE_MELTS = 1174.0
"""Melting point of K2CO3, where the two fits of the shipped data meet [K]."""

ATOMS = ("K", "C", "H", "O", "N")

_COLDEST, _HOTTEST = 680.0, 3500.0  # below 679 K KOH(L) has no data; nothing of this family is hotter
_GAS = (
    "H2O CO CO2 H2 N2 CH4 NH3 HCN K KOH KCN K2 K2O2H2 K2C2N2 KH KO H O OH O2 NO HCO HNCO "
    "HCHO,formaldehy HCOOH NH2 C2H2,acetylene C2H4 CH3 HO2 NO2 N2O "
)
_CONDENSED = {"hot": ("K2CO3(L)", "KOH(L)", "C(gr)"), "cold": ("K2CO3(s)", "KOH(L)", "C(gr)")}


@dataclass(frozen=True)
class Equilibrium:
    """Products of one kilogram of blend at one temperature and pressure.

    Attributes
    ----------
    temperature, pressure : float
        [K], [Pa]
    enthalpy, entropy : float
        Of gas and condensed matter together [J/kg], [J/(kg K)].
    gas_moles : float
        Gas per mass of blend [mol/kg].
    gas_molar_mass : float
        Of the gas alone [kg/mol].
    heat_capacity : float
        At constant pressure and composition, gas and condensed matter together [J/(kg K)].
    condensed : dict of str to float
        Mass fraction of each liquid or solid [-].
    gas : dict of str to float
        Mole fractions in the gas above 1e-6 [-].
    balance_error : float
        Largest relative difference of an element between products and blend [-].
    """

    temperature: float
    pressure: float
    enthalpy: float
    entropy: float
    gas_moles: float
    gas_molar_mass: float
    heat_capacity: float
    condensed: dict[str, float]
    gas: dict[str, float]
    balance_error: float

    @property
    def density(self) -> float:
        """Mass of everything per volume of gas [kg/m³]; the condensed volume is neglected."""
        return self.pressure / (self.gas_moles * R_UNIVERSAL * self.temperature)

    @property
    def condensed_fraction(self) -> float:
        """Liquids and solids per mass of blend [-]."""
        return math.fsum(self.condensed.values())

    @property
    def gamma_frozen(self) -> float:
        """Ratio of heat capacities at fixed composition, condensed matter keeping pace [-]."""
        return self.heat_capacity / (self.heat_capacity - self.gas_moles * R_UNIVERSAL)


class _Products:
    """Gas and three condensed phases of Cantera's shipped NASA data, ready to be brought to equilibrium."""

    def __init__(self, condensed: tuple[str, ...]) -> None:
        import cantera as ct

        gases = {s.name: s for s in ct.Species.list_from_file("nasa_gas.yaml")}
        solids = {s.name: s for s in ct.Species.list_from_file("nasa_condensed.yaml")}
        self.error: type[Exception] = ct.CanteraError
        self.names = condensed
        self.phases: list[Any] = [ct.Solution(thermo="ideal-gas", species=[gases[n] for n in _GAS.split()])]
        self.phases += [_condensed_phase(ct, solids[name]) for name in condensed]
        self.mixture = ct.Mixture([(phase, 0.0) for phase in self.phases])
        m = self.mixture
        names = [m.species_name(i) for i in range(m.n_species)]
        self.start = [names.index(n) for n in ("K", "C(gr)", "H2", "O2", "N2")]
        self.atoms: Floats = np.array([[m.n_atoms(i, atom) for i in range(m.n_species)] for atom in ATOMS], dtype=float)
        self.weights = [phase.mean_molecular_weight for phase in self.phases[1:]]

    def at(self, T: float, P: float, elements: Floats) -> Equilibrium:
        """Equilibrium at T [K] and P [Pa] of `elements` (K, C, H, O, N) [kmol/kg]."""
        m = self.mixture
        for estimate in (0, -1):
            moles = np.zeros(m.n_species)
            moles[self.start] = elements / (1, 1, 2, 2, 2)
            m.T, m.P = T, P
            m.species_moles = moles
            try:
                m.equilibrate("TP", solver="vcs", rtol=1e-10, max_steps=500, estimate_equil=estimate)
                break
            except self.error:
                continue
        else:
            raise NoSolution(
                "parts",
                Note(
                    "no equilibrium was found at {hot} and {pressure}.",
                    {"hot": Amount(T, "hot_temperature"), "pressure": Amount(P, "pressure")},
                ),
                "Try another pressure, or a blend nearer 65 % nitrate.",
            )
        species = m.species_moles
        moles = np.array([m.phase_moles(i) for i in range(len(self.phases))])
        gas = self.phases[0]
        gas.TPX = T, P, species[: gas.n_species]
        for phase in self.phases[1:]:
            phase.TP = T, P

        def total(what: str) -> float:
            pairs = zip(moles, self.phases, strict=True)
            return float(sum(n * getattr(phase, what) for n, phase in pairs if n > 0))

        return Equilibrium(
            temperature=T,
            pressure=P,
            enthalpy=total("enthalpy_mole"),
            entropy=total("entropy_mole"),
            gas_moles=1000 * float(moles[0]),
            gas_molar_mass=gas.mean_molecular_weight / 1000,
            heat_capacity=total("cp_mole"),
            condensed={
                name: float(n * w)
                for name, n, w in zip(self.names, moles[1:], self.weights, strict=True)
                if n * w > 1e-9
            },
            gas={k: float(v) for k, v in gas.mole_fraction_dict(1e-6).items()},
            balance_error=float(np.max(np.abs(self.atoms @ species / elements - 1))),
        )


def _condensed_phase(ct: Any, species: Any) -> Any:
    # A huge density keeps P·V of the condensed phase out of the enthalpy: the NASA fits carry none.
    data = {
        "name": species.name,
        "composition": species.composition,
        "thermo": species.input_data["thermo"],
        "equation-of-state": {"model": "constant-volume", "density": "1e9 kg/m^3"},
    }
    return ct.Solution(thermo="fixed-stoichiometry", species=[ct.Species.from_dict(data)])


@cache
def _products(branch: str) -> _Products:
    return _Products(_CONDENSED[branch])


LOCK = threading.RLock()  # the Cantera objects are kept and reused; one caller at a time


def find(
    quantity: Literal["enthalpy", "entropy"], target: float, P: float, elements: Floats, guess: float
) -> Equilibrium:
    """Products at a pressure whose enthalpy or entropy is the target, on whichever side of the plateau.

    Parameters
    ----------
    quantity : str
        'enthalpy' [J/kg] or 'entropy' [J/(kg K)].
    target : float
        Its value, per mass of blend [J/kg] or [J/(kg K)].
    P : float
        Pressure [Pa].
    elements : ndarray, shape (5,)
        Amount of K, C, H, O, N in the blend [kmol/kg].
    guess : float
        Where to start looking [K].

    Returns
    -------
    Equilibrium
        The products.

    Raises
    ------
    NoSolution
        If the solver stalls (solid carbonate beside carbon near 700-770 K) or no temperature fits.

    Notes
    -----
    From 680 to 3500 K; the caller holds `LOCK`. The condensed phases are K2CO3, KOH(L) and graphite; KCN, K,
    K2O, K2O2 and KO2 were tried in the chamber from 50 to 80 % nitrate and do not form there.

    References
    ----------
    Lever rule; S. Gordon and B. J. McBride, NASA RP-1311, on condensed phases in equilibrium.
    """
    molten = _products("hot").at(CARBONATE_MELTS, P, elements)
    if target >= getattr(molten, quantity):
        return _search(
            lambda T: _products("hot").at(T, P, elements), quantity, target, (CARBONATE_MELTS, _HOTTEST), guess
        )
    frozen = _products("cold").at(CARBONATE_MELTS, P, elements)
    if target <= getattr(frozen, quantity):
        return _search(
            lambda T: _products("cold").at(T, P, elements), quantity, target, (_COLDEST, CARBONATE_MELTS), guess
        )
    share = (target - getattr(frozen, quantity)) / (getattr(molten, quantity) - getattr(frozen, quantity))
    return _lever(molten, frozen, share)


def _lever(molten: Equilibrium, frozen: Equilibrium, share: float) -> Equilibrium:
    def mixed(name: str) -> float:
        return share * float(getattr(molten, name)) + (1 - share) * float(getattr(frozen, name))

    condensed = {name: share * w for name, w in molten.condensed.items()}
    for name, w in frozen.condensed.items():
        condensed[name] = condensed.get(name, 0.0) + (1 - share) * w
    return Equilibrium(
        temperature=molten.temperature,
        pressure=molten.pressure,
        enthalpy=mixed("enthalpy"),
        entropy=mixed("entropy"),
        gas_moles=mixed("gas_moles"),
        gas_molar_mass=mixed("gas_molar_mass"),
        heat_capacity=mixed("heat_capacity"),
        condensed=condensed,
        gas=molten.gas,
        balance_error=max(molten.balance_error, frozen.balance_error),
    )


def _search(
    at: Callable[[float], Equilibrium],
    quantity: Literal["enthalpy", "entropy"],
    target: float,
    bracket: tuple[float, float],
    guess: float,
) -> Equilibrium:
    """Secant steps kept inside a bracket that closes from both sides; both quantities rise with T."""
    low, high = bracket
    T = min(max(guess, low), high)
    before: tuple[float, float] | None = None
    for _ in range(60):
        state = at(T)
        gap = target - getattr(state, quantity)
        slope = state.heat_capacity / (T if quantity == "entropy" else 1.0)
        if before is not None and before[0] != T and (gap - before[1]) / (before[0] - T) > 0:
            slope = (gap - before[1]) / (before[0] - T)
        if abs(gap) < 1e-6 * slope * T:
            return state
        before = (T, gap)
        low, high = (T, high) if gap > 0 else (low, T)
        step = T + gap / slope
        T = step if low < step < high else (low + high) / 2
        if high - low < 1e-6:
            break
    raise NoSolution(
        "parts",
        Note(
            f"no temperature from {{low}} to {{high}} conserves {quantity}.",
            {"low": Amount(bracket[0], "hot_temperature"), "high": Amount(bracket[1], "hot_temperature")},
        ),
        "Try a higher exit pressure, or a blend nearer 65 % nitrate.",
    )
