"""What a workshop has to make motors of, as a search takes it: cases, nozzles, patterns, formulas and the day."""

from dataclasses import dataclass, field, replace
from functools import cached_property
from math import radians

import numpy as np

from app.calc.base.areas import ring_area
from app.calc.base.constants import ATM, ROOM_TEMPERATURE, Floats, positive, within
from app.calc.grain.geometry import AnyGrain, Grain
from app.calc.motor.assembly import C_STAR_EFFICIENCY, IGNITER_PRESSURE, NOZZLE_EFFICIENCY, Propellant
from app.calc.motor.spread import Spread
from app.calc.propellant.burn_rate import BurnLaw
from app.calc.propellant.thermochem import BlendState, between


@dataclass(frozen=True)
class Case:
    """A case: bore and room for grains [m], the pressure that counts against it [Pa] and why it does.

    `empty_mass` flies besides the rocket's own dry mass [kg]; `extra_volume` is free besides bore times length [m3].
    """

    name: str
    inner_d: float
    chamber_length: float
    limit: float
    limit_words: str = "its limit"
    empty_mass: float = 0.0
    extra_volume: float = 0.0

    def __post_init__(self) -> None:
        for name in ("inner_d", "chamber_length", "limit"):
            positive(name, getattr(self, name), "Measure it.")


@dataclass(frozen=True)
class Nozzle:
    """A nozzle as measured: throat and exit [m], half angle [rad], growth in a burn and how well it is known [m]."""

    name: str
    throat_d: float
    exit_d: float
    half_angle: float = field(default=radians(15))
    throat_growth: float = 0.0
    throat_spread: float = Spread().throat_d

    def __post_init__(self) -> None:
        positive("throat_d", self.throat_d, "Measure the nozzle.")
        positive("exit_d", self.exit_d, "Measure the nozzle.")


@dataclass(frozen=True)
class Pattern:
    """A grain as it is cast: its shape, its density over the ideal one [-], and the tube that stays on it [m], [kg].

    `formulas` and `cases` are the places in the hardware's lists that it goes with, all where left out; `most` is how
    many there are of it, as many as fit where left out.
    """

    name: str
    grain: AnyGrain
    share: float
    tube_d: float = 0.0
    tube_mass: float = 0.0
    formulas: frozenset[int] | None = None
    cases: frozenset[int] | None = None
    most: int | None = None

    def __post_init__(self) -> None:
        within("share", self.share, 0.2, 1.1, "Give the density over the ideal one, for example 0.95.")

    @property
    def width(self) -> float:
        """How wide it is in its tube [m]."""
        return max(self.grain.outer_d, self.tube_d)

    @property
    def tube_volume(self) -> float:
        """Of the tube's wall [m3]."""
        return max(ring_area(self.tube_d, self.grain.outer_d), 0.0) * self.grain.length if self.tube_d else 0.0

    @property
    def core_d(self) -> float:
        """Diameter of the core, or of a round one as large [m]."""
        return self.grain.core_d if isinstance(self.grain, Grain) else (4 / np.pi * max(self.grain.port, 0.0)) ** 0.5

    def of(self, ideal_density: float) -> AnyGrain:
        """The grain, cast of a formula of that density [kg/m3]."""
        return replace(self.grain, mass=self.share * ideal_density * self.grain.volume)


@dataclass(frozen=True, eq=False)
class Formula:
    """A blend with its states over pressure, its burn law, both efficiencies and how far all are trusted.

    Attributes
    ----------
    name : str
        What it is called.
    states : tuple of BlendState
        At a few pressures, rising [Pa].
    ideal_density : float
        Without voids [kg/m3].
    law : BurnLaw
        Burn rate over pressure, as learned.
    c_star_efficiency, nozzle_efficiency : float
        Shares delivered [-].
    spread : Spread
        One standard deviation of each input; a nozzle's own takes the place of its throat's.
    correlation : ndarray or None
        As in `uncertainty.predict_range` [-].
    seen : float
        As there [-].
    fired : int
        Firings that it was learned from [-].
    cases : frozenset of int or None
        The places in the hardware's cases that this holds for, all where left out: firings teach by case.
    """

    name: str
    states: tuple[BlendState, ...]
    ideal_density: float
    law: BurnLaw
    c_star_efficiency: float = C_STAR_EFFICIENCY
    nozzle_efficiency: float = NOZZLE_EFFICIENCY
    spread: Spread = field(default_factory=Spread)
    correlation: Floats | None = None
    seen: float = 0.0
    fired: int = 0
    cases: frozenset[int] | None = None

    def propellant(self, state: BlendState) -> Propellant:
        """What grains of it are made of, at one state."""
        return Propellant(
            ideal_density=self.ideal_density,
            c_star=state.c_star,
            gamma=state.gamma_effective or state.gamma_frozen,
            molar_mass=state.system_molar_mass,
            temperature=state.temperature,
            law=self.law,
        )

    @cached_property
    def over_pressure(self) -> tuple[Floats, Floats, Floats]:
        """ln P [ln Pa], c* [m/s] and gamma [-] closely enough to read between them."""
        known = [state.pressure for state in self.states]
        pressure = np.unique(np.concatenate([np.geomspace(min(known), max(known), 65), known]))
        states = [between(self.states, float(p)) for p in pressure]
        gamma = [state.gamma_effective or state.gamma_frozen for state in states]
        return np.log(pressure), np.array([state.c_star for state in states]), np.array(gamma)


@dataclass(frozen=True)
class Day:
    """What is the same for every motor: air and ignition [Pa], grains' temperature [K], gap between them [m]."""

    ambient_pressure: float = ATM
    initial_temperature: float = ROOM_TEMPERATURE
    igniter_pressure: float = IGNITER_PRESSURE
    gap: float = 0.0
    extra_area: float = 0.0


@dataclass(frozen=True, eq=False)
class Hardware:
    """Everything a search may put together.

    Attributes
    ----------
    cases, nozzles, patterns, formulas : tuple
        What there is.
    drills : tuple of float
        Diameters that throats can be drilled out to [m].
    day : Day
        Conditions.
    drilled_spread : float
        How well a drilled throat is known [m]: as measured on the day.
    least_port : float
        Port over throat, at least [-]: the workshop's own mark.
    most_grains, most_designs : int
        In one motor; looked at in one search, more are refused with what to leave out [-].
    """

    cases: tuple[Case, ...]
    nozzles: tuple[Nozzle, ...]
    patterns: tuple[Pattern, ...]
    formulas: tuple[Formula, ...]
    drills: tuple[float, ...] = ()
    day: Day = field(default_factory=Day)
    drilled_spread: float = Spread().throat_d
    least_port: float = 1.0
    most_grains: int = 12
    most_designs: int = 50_000
