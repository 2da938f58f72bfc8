"""Equilibrium of blends against published values, Cantera's own solvers and conservation laws."""

import math
import subprocess
import sys
from itertools import pairwise
from typing import Literal

import cantera as ct
import numpy as np
import pytest

from app.calc.base.constants import ATM, Floats
from app.calc.base.errors import BlendError, NoSolution, OutOfRange
from app.calc.propellant import thermochem
from app.calc.propellant.equilibrium import CARBONATE_MELTS, Equilibrium, find
from app.calc.propellant.thermochem import BlendState, between, blend_state
from app.units import say
from tests.calc.propellant.expansion import expansion
from tests.published import published

SUGARS = ("sorbitol", "sucrose", "dextrose")


def blend(sugar: str, nitrate: float = 0.65) -> dict[str, float]:
    return {"potassium_nitrate": nitrate, sugar: 1 - nitrate}


@pytest.fixture(scope="module")
def states() -> dict[str, BlendState]:
    return {sugar: blend_state(blend(sugar)) for sugar in SUGARS}


@pytest.mark.parametrize(
    "row", published("blend_states.csv"), ids=lambda r: f"{r['sugar']}-{r['quantity']}-{r['source']}"
)
def test_published_states_of_65_35_blends(row: dict[str, str], states: dict[str, BlendState]) -> None:
    value = getattr(states[row["sugar"]], row["quantity"])
    if row["quantity"] == "system_molar_mass":
        value *= 1000
    assert value == pytest.approx(float(row["value"]), rel=float(row["tolerance"]))


def test_about_44_percent_of_the_mass_is_liquid_carbonate(states: dict[str, BlendState]) -> None:
    """DARE, TU Delft: about 44 % for 65/35 sorbitol; to the printed precision."""
    assert states["sorbitol"].condensed["K2CO3(L)"] == pytest.approx(0.44, abs=0.005)
    assert all(0.42 < state.condensed_fraction < 0.44 for state in states.values())


def test_ideal_impulse_from_68_atm_to_1_atm(states: dict[str, BlendState]) -> None:
    """No printed source with two-phase equilibrium; the widely quoted 164 s assumes a constant k of 1.04."""
    assert all(153 <= state.ideal_isp <= 155 for state in states.values() if state.ideal_isp)
    assert all(state.ok and state.ideal_isp for state in states.values())


@pytest.mark.parametrize("sugar", SUGARS)
def test_elements_and_mass_balance(sugar: str) -> None:
    flow = expansion(blend(sugar))
    for state in (flow.chamber, flow.throat, flow.exit):
        assert state.balance_error < 1e-10
        assert state.gas_moles * state.gas_molar_mass + state.condensed_fraction == pytest.approx(1, abs=1e-6)


@pytest.mark.parametrize("sugar", SUGARS)
def test_energy_and_entropy_are_kept(sugar: str) -> None:
    """Enthalpy of the ingredients (NIST, from memory) by hand; entropy is constant along the nozzle."""
    per_mole = {"sorbitol": (-1353.5, 182.172), "sucrose": (-2222.1, 342.297), "dextrose": (-1273.3, 180.156)}
    enthalpy, molar_mass = per_mole[sugar]
    by_hand = 1e6 * (0.65 * -494.6 / 101.1023 + 0.35 * enthalpy / molar_mass)
    flow = expansion(blend(sugar))
    assert flow.chamber.enthalpy == pytest.approx(by_hand, rel=2e-5)
    assert flow.exit.entropy == pytest.approx(flow.chamber.entropy, rel=1e-5)
    assert flow.throat.entropy == pytest.approx(flow.chamber.entropy, rel=1e-5)


@pytest.mark.parametrize("sugar", SUGARS)
def test_gas_is_at_equilibrium_by_canteras_single_phase_solver(sugar: str, states: dict[str, BlendState]) -> None:
    """Reference: Cantera's element-potential solver with every K, C, H, O, N gas it knows, not our list."""
    state = states[sugar]
    all_gases = [
        s for s in ct.Species.list_from_file("nasa_gas.yaml") if set(s.composition) <= {"K", "C", "H", "O", "N"}
    ]
    gas = ct.Solution(thermo="ideal-gas", species=all_gases)
    gas.TPX = state.temperature, state.pressure, state.gas
    gas.equilibrate("TP", solver="element_potential")
    after = gas.mole_fraction_dict()
    for name in ("H2O", "CO", "CO2", "H2", "N2", "KOH"):
        assert after[name] == pytest.approx(state.gas[name], rel=1e-3)


@pytest.mark.parametrize("sugar", SUGARS)
def test_carbonate_is_in_equilibrium_with_the_gas(sugar: str, states: dict[str, BlendState]) -> None:
    """K2CO3(L) + H2O = 2 KOH + CO2 has no driving force; Gibbs energies straight from the NASA fits."""
    state = states[sugar]
    data = {s.name: s for s in ct.Species.list_from_file("nasa_gas.yaml")}
    data |= {s.name: s for s in ct.Species.list_from_file("nasa_condensed.yaml")}

    def gibbs_over_rt(name: str) -> float:
        fit, T = data[name].thermo, state.temperature
        return float((fit.h(T) / T - fit.s(T)) / ct.gas_constant)

    def potential(name: str) -> float:
        # The NASA fits are for one bar or one atmosphere, as the file itself says.
        return gibbs_over_rt(name) + math.log(state.gas[name] * state.pressure / data[name].thermo.reference_pressure)

    drive = 2 * potential("KOH") + potential("CO2") - potential("H2O") - gibbs_over_rt("K2CO3(L)")
    assert drive == pytest.approx(0, abs=1e-3)


def test_largest_mass_flux_agrees_with_the_exponent_of_the_shifting_expansion() -> None:
    for sugar in SUGARS:
        state, flow = blend_state(blend(sugar)), expansion(blend(sugar))
        assert state.c_star_equilibrium == pytest.approx(flow.c_star, rel=2e-4)
        assert state.ideal_isp == pytest.approx(flow.isp, rel=1e-9)
        assert flow.c_star > state.c_star  # recombination adds a little


def test_throat_is_sonic() -> None:
    """At the largest mass flux velocity equals the equilibrium speed of sound, sqrt(dp/drho) at constant s."""
    elements, chamber = thermochem._chamber(blend("sucrose"), 68 * ATM)
    flow = expansion(blend("sucrose"))
    p = flow.throat.pressure
    up, down = (find("entropy", chamber.entropy, p * f, elements, flow.throat.temperature) for f in (1.02, 0.98))
    sound = math.sqrt((up.pressure - down.pressure) / (up.density - down.density))
    speed = math.sqrt(2 * (chamber.enthalpy - flow.throat.enthalpy))
    assert speed == pytest.approx(sound, rel=2e-3)


def test_temperature_stands_still_over_the_freezing_of_carbonate() -> None:
    """On the plateau temperature stands still while both phases are present; beside it only one is."""
    temperatures, both = [], []
    for p in np.geomspace(12 * ATM, ATM, 25):
        leaving = expansion(blend("sorbitol"), p_chamber=68 * ATM, p_exit=float(p)).exit
        temperatures.append(leaving.temperature)
        both.append(len([n for n in leaving.condensed if n.startswith("K2CO3")]) == 2)
    assert all(b <= a for a, b in pairwise(temperatures))
    assert any(both)
    assert all(t == CARBONATE_MELTS for t, mix in zip(temperatures, both, strict=True) if mix)


def test_impulse_rises_with_chamber_pressure_and_with_expansion() -> None:
    by_pressure = [blend_state(blend("dextrose"), p).ideal_isp or 0.0 for p in (1e6, 3e6, 7e6, 12e6)]
    assert by_pressure[0] > 0
    assert by_pressure == sorted(by_pressure)
    by_exit = [expansion(blend("dextrose"), p_exit=p).exit_velocity for p in (4 * ATM, 2 * ATM, ATM)]
    assert by_exit == sorted(by_exit)


@pytest.mark.parametrize("nitrate", [0.58, 0.62, 0.68, 0.72, 0.75])
@pytest.mark.parametrize("sugar", [*SUGARS, "mannitol", "erythritol", "xylitol", "fructose"])
def test_every_usual_blend_is_solved(sugar: str, nitrate: float) -> None:
    for pressure in (0.3e6, 2e6, 10e6):
        state = blend_state(blend(sugar, nitrate), pressure)
        assert state.ok
        assert state.balance_error < 1e-10
        assert 1150 < state.temperature < 2100


def test_a_mixed_blend_lies_between_its_own_kind(states: dict[str, BlendState]) -> None:
    mixed = blend_state({"potassium_nitrate": 0.65, "sorbitol": 0.28, "sucrose": 0.07})
    assert states["sorbitol"].temperature < mixed.temperature < states["sucrose"].temperature
    assert states["sorbitol"].c_star < mixed.c_star < states["sucrose"].c_star


def test_an_unusual_share_is_told() -> None:
    state = blend_state(blend("sucrose", 0.78))
    assert not state.ok
    assert "outside 58-75 %" in say(state.notes[0])


def test_a_failed_expansion_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    def stalls(
        quantity: Literal["enthalpy", "entropy"], target: float, P: float, elements: Floats, guess: float
    ) -> Equilibrium:
        if quantity == "entropy" and pytest.approx(P) == ATM:
            raise NoSolution("parts", "no equilibrium was found at 740 K and 0.10 MPa.")
        return find(quantity, target, P, elements, guess)

    monkeypatch.setattr(thermochem, "find", stalls)
    state = blend_state(blend("sorbitol"))
    assert not state.ok
    assert state.ideal_isp is None
    assert state.c_star == pytest.approx(908.6, abs=0.1)
    assert "740 K" in say(state.notes[0])


def test_too_deep_an_expansion_is_refused() -> None:
    with pytest.raises(NoSolution):
        expansion(blend("sorbitol"), p_exit=200.0)


@pytest.mark.parametrize("pressure", [0, -1, 0.1e6, 25e6, math.nan])
def test_pressure_outside_the_range(pressure: float) -> None:
    with pytest.raises(OutOfRange, match="pressure"):
        blend_state(blend("sorbitol"), pressure)


def test_other_families_are_refused() -> None:
    with pytest.raises(BlendError, match="family"):
        blend_state({"ammonium perchlorate": 0.7, "sorbitol": 0.3})


def test_cantera_is_loaded_only_when_asked() -> None:
    code = "import sys, app.calc.propellant.thermochem; sys.exit('cantera' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


@pytest.mark.parametrize("sugar", ["sorbitol", "sucrose", "dextrose"])
def test_a_state_between_others_is_that_of_its_own_pressure(sugar: str) -> None:
    blend = {"potassium_nitrate": 0.65, sugar: 0.35}
    kept = [blend_state(blend, p) for p in (0.5e6, 2e6, 68 * ATM, 20e6)]
    for pressure in (0.6e6, 1e6, 3.8e6, 11e6):
        found, own = between(kept, pressure), blend_state(blend, pressure)
        assert found.c_star == pytest.approx(own.c_star, rel=1e-3)
        assert found.temperature == pytest.approx(own.temperature, rel=3e-3)
        assert found.system_molar_mass == pytest.approx(own.system_molar_mass, rel=3e-3)
        assert found.gamma_effective == pytest.approx(own.gamma_effective, rel=4e-3)
    assert between(kept, 68 * ATM).c_star == pytest.approx(kept[2].c_star)
    assert between(kept[:1], 5e6) == kept[0]
    assert sum(between(kept, 3e6).gas.values()) == pytest.approx(1.0, abs=0.01)
