"""What is fired: propellant, grains, case and nozzle put together, checked, and laid out as arrays."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from math import radians

import numpy as np

from app.calc.base.areas import ring_area
from app.calc.base.constants import ATM, ROOM_TEMPERATURE, positive, within
from app.calc.base.errors import CalcError, GeometryError, OutOfRange
from app.calc.base.notes import Amount, Note
from app.calc.grain.geometry import AnyGrain, Grain
from app.calc.grain.tabulated_grain import ShapedGrain
from app.calc.motor.arrays import Arrays, law_arrays
from app.calc.motor.nozzle import characteristic_velocity, critical_pressure_ratio, divergence_factor, flow_function
from app.calc.propellant.burn_laws import published_law
from app.calc.propellant.burn_rate import BurnLaw

C_STAR_EFFICIENCY = 0.88
"""Assumed share of ideal c* that a small sugar motor delivers [-]: the middle, by ratio, of 0.78 and 0.985. From 0.98
to 0.99 is reported for well-made motors (R. Nakka, nakka-rocketry.net, theory pages, seen); about 0.78 to 0.82 follows
from two public static tests with grains of 0.90 to 0.95 of ideal density, worked back by us
(github.com/nakujaproject/N-4_Solid_Propulsion). How far a workshop may be off it: `spread.C_STAR_SPREAD`."""

NOZZLE_EFFICIENCY = 0.88
"""Assumed share of momentum left after friction and condensed particles [-]: the middle, by ratio, of 0.82 and 0.95, an
assumption. How far a workshop may be off it: `spread.NOZZLE_SPREAD`."""

IGNITER_PRESSURE = 0.5e6
"""Assumed pressure that the igniter brings the chamber to before the grains burn [Pa]: no source."""


@dataclass(frozen=True)
class Propellant:
    """What the grains are made of.

    Attributes
    ----------
    ideal_density : float
        Density without voids [kg/m3].
    c_star : float
        Ideal characteristic velocity [m/s].
    gamma : float
        Ratio of specific heats for the nozzle [-].
    molar_mass : float
        Of gas and condensed part together [kg/mol].
    temperature : float
        Ideal chamber temperature [K].
    law : BurnLaw
        Burn rate over pressure.

    Raises
    ------
    OutOfRange, CalcError
        Values no such propellant has, or a c* that temperature and molar mass contradict by more than 5 %.

    Notes
    -----
    The march uses c* and gamma; R T follows from them as (Gamma c*)**2, so the gas in the chamber and the flow
    through the throat agree.

    References
    ----------
    Sutton & Biblarz, Rocket Propulsion Elements.
    """

    ideal_density: float
    c_star: float
    gamma: float
    molar_mass: float
    temperature: float
    law: BurnLaw

    def __post_init__(self) -> None:
        within("ideal_density", self.ideal_density, 1000, 3000, "Give kg/m3; sugar blends lie near 1850.")
        within("c_star", self.c_star, 300, 2000, "Give m/s; sugar blends lie near 900.")
        within("temperature", self.temperature, 500, 4000, "Give kelvin; sugar blends lie near 1600.")
        within("molar_mass", self.molar_mass, 0.01, 0.15, "Give kg/mol, for example 0.040.")
        implied = characteristic_velocity(self.gamma, self.temperature, self.molar_mass)
        if abs(implied / self.c_star - 1) > 0.05:
            raise CalcError(
                "c_star",
                Note(
                    "is {given}, but temperature, molar mass and gamma give {implied}.",
                    {"given": Amount(self.c_star, "gas_speed", 0), "implied": Amount(implied, "gas_speed", 0)},
                ),
                "Take all four from one state of the blend.",
            )


@dataclass(frozen=True)
class Motor:
    """Grains in a case with a nozzle, and the day's conditions.

    Attributes
    ----------
    grains : tuple of Grain or ShapedGrain
        From the forward closure to the nozzle.
    propellant : Propellant
        Of all grains.
    throat_d, exit_d : float
        Nozzle diameters before firing [m].
    case_inner_d, chamber_length : float
        Room for the grains [m].
    ambient_pressure : float
        At the field [Pa].
    c_star_efficiency, nozzle_efficiency : float
        Shares delivered [-].
    half_angle : float
        Of the exit cone [rad].
    throat_growth : float
        By which the throat's diameter grows over the burn [m], in step with the depth burned.
    free_volume_extra : float
        Free volume besides case minus grains; negative for liners and tubes [m3].
    igniter_pressure : float
        At which the march begins [Pa].
    initial_temperature : float
        Of the grains [K].
    extra_area : float
        Burning area that is not seen, from cracks and voids, as a share of the known area throughout [-].

    Raises
    ------
    CalcError
        The field at fault is named: sizes that contradict, no free volume, a throat wider than the port, a
        chamber that cannot choke the throat.

    Notes
    -----
    Erosive burning, heat lost to the walls and the igniter's own gas are not modelled.

    References
    ----------
    Sutton & Biblarz, Rocket Propulsion Elements.
    """

    grains: tuple[AnyGrain, ...]
    propellant: Propellant
    throat_d: float
    exit_d: float
    case_inner_d: float
    chamber_length: float
    ambient_pressure: float = ATM
    c_star_efficiency: float = C_STAR_EFFICIENCY
    nozzle_efficiency: float = NOZZLE_EFFICIENCY
    half_angle: float = field(default=radians(15))
    throat_growth: float = 0.0
    free_volume_extra: float = 0.0
    igniter_pressure: float = IGNITER_PRESSURE
    initial_temperature: float = ROOM_TEMPERATURE
    extra_area: float = 0.0

    def __post_init__(self) -> None:
        if not self.grains:
            raise CalcError("grains", "a motor needs at least one.", "Choose grains from the shelf.")
        for name in ("throat_d", "exit_d", "case_inner_d", "chamber_length"):
            positive(name, getattr(self, name), "Measure it.")
        within(
            "ambient_pressure", self.ambient_pressure, 0.0, 1.2e5, "Give the air pressure at the field.", "air_pressure"
        )
        within("c_star_efficiency", self.c_star_efficiency, 0.3, 1.1, "Usual values lie near 0.95.")
        within("nozzle_efficiency", self.nozzle_efficiency, 0.3, 1.05, "Usual values lie near 0.9.")
        within(
            "throat_growth",
            self.throat_growth,
            -0.2 * self.throat_d,
            self.throat_d,
            "Measure before and after.",
            "length",
        )
        within("extra_area", self.extra_area, 0.0, 1.0, "Give a share of the burning area, for example 0.05.")
        self.propellant.law.temperature_factor(self.initial_temperature)
        divergence_factor(self.half_angle)
        self._check_fit()
        if self.exit_d < max(self.throat_d, self.throat_d + self.throat_growth):
            raise GeometryError("exit_d", "the exit is narrower than the throat.", "Check which is which.")
        choking = self.ambient_pressure / critical_pressure_ratio(self.propellant.gamma)
        if not choking < self.igniter_pressure < 5e7:
            raise OutOfRange(
                "igniter_pressure",
                Note(
                    "must choke the throat: above {choking} here (and below {most}).",
                    {"choking": Amount(choking, "pressure"), "most": Amount(5e7, "pressure", 0)},
                ),
                Note("The usual assumption is {usual}.", {"usual": Amount(IGNITER_PRESSURE, "pressure", 1)}),
            )

    def _check_fit(self) -> None:
        length = sum(grain.length for grain in self.grains)
        if length > self.chamber_length * (1 + 1e-9):
            raise GeometryError(
                "chamber_length",
                Note(
                    "the grains are {long} long, the room for them {room}.",
                    {"long": Amount(length, "length", 1), "room": Amount(self.chamber_length, "length", 1)},
                ),
                "Take out a grain or use a longer case.",
            )
        widest = max(grain.outer_d for grain in self.grains)
        if widest > self.case_inner_d * (1 + 1e-9):
            raise GeometryError(
                "case_inner_d",
                Note(
                    "a grain is {wide} wide, the case {case}.",
                    {"wide": Amount(widest, "length"), "case": Amount(self.case_inner_d, "length")},
                ),
                "Use a wider case.",
            )
        if not self.free_volume > 0:
            raise GeometryError(
                "free_volume_extra", "no free volume is left in the chamber.", "Check case and grain sizes."
            )
        if any(g.port <= 0 and not g.burns_outer for g in self.grains[1:]):
            raise GeometryError("grains", "a grain without a core blocks the gas.", "Put it at the forward end.")
        ratio = self.port_to_throat
        if ratio is not None and ratio < 1:
            raise GeometryError(
                "throat_d",
                f"the throat is wider than the narrowest port (ratio {ratio:.2f}).",
                "The gas would choke inside the grain: use a wider core or a smaller throat.",
            )

    @property
    def throat_area(self) -> float:
        """Throat area before firing [m2]."""
        return ring_area(self.throat_d)

    @property
    def chamber_volume(self) -> float:
        """Volume of the chamber without grains [m3]."""
        return ring_area(self.case_inner_d) * self.chamber_length + self.free_volume_extra

    @property
    def free_volume(self) -> float:
        """Chamber volume not filled with propellant before firing [m3]."""
        return self.chamber_volume - sum(grain.volume for grain in self.grains)

    @property
    def propellant_mass(self) -> float:
        """Mass of all grains [kg]."""
        return sum(grain.mass for grain in self.grains)

    @property
    def port_to_throat(self) -> float | None:
        """Narrowest port over the throat before firing [-]; None where no gas passes a grain."""
        ports = [g.port for g in self.grains if g.port > 0 and not g.burns_outer]
        return min(ports) / self.throat_area if ports else None

    @property
    def slenderness(self) -> float:
        """Length of all propellant over its diameter [-]."""
        return sum(grain.length / grain.outer_d for grain in self.grains)


def motor_arrays(motors: Sequence[Motor]) -> Arrays:
    """Lay motors out as arrays for the march.

    Parameters
    ----------
    motors : sequence of Motor
        One or more.

    Returns
    -------
    Arrays
        SI; (M,) per motor, (M, G) per kind of grain, padded where a motor has fewer [-].

    Raises
    ------
    CalcError
        No motor given.

    Notes
    -----
    A padded grain has no mass and no length.

    Examples
    --------
    >>> motor_arrays([])
    Traceback (most recent call last):
    app.calc.base.errors.CalcError: motors: none given. Give at least one.
    """
    if not motors:
        raise CalcError("motors", "none given.", "Give at least one.")
    kinds = [Counter(motor.grains) for motor in motors]
    width = max(map(len, kinds))
    grains = np.zeros((9, len(motors), width))
    shape = np.full((len(motors), width), -1.0)
    shapes: list[ShapedGrain] = []
    for row, alike in enumerate(kinds):
        for column, (g, count) in enumerate(alike.items()):
            faces = (float(g.burning_ends), 0.0, 0.0, 0.0, 0.0)
            if isinstance(g, ShapedGrain):
                if g not in shapes:
                    shapes.append(g)
                shape[row, column] = shapes.index(g)
            else:
                faces = (float(g.burning_ends), g.burns_core, g.burns_outer, g.core_d / 2, g.core_offset)
            grains[:, row, column] = (g.outer_d / 2, g.length, count * g.mass, count, *faces)
    table = np.array(
        [
            (
                m.chamber_volume,
                m.throat_d,
                m.throat_growth,
                m.exit_d,
                m.propellant.c_star * m.c_star_efficiency,
                m.propellant.gamma,
                flow_function(m.propellant.gamma),
                m.nozzle_efficiency * divergence_factor(m.half_angle),
                m.ambient_pressure,
                m.igniter_pressure,
                m.propellant.law.temperature_factor(m.initial_temperature) * (1 + m.extra_area),
            )
            for m in motors
        ]
    )
    per_grain = ("outer_r", "length", "mass", "count", "ends", "burns_core", "burns_outer", "core_r", "offset")
    per_motor = (
        "chamber_volume",
        "throat_d",
        "throat_growth",
        "exit_d",
        "c_star",
        "gamma",
        "flow_function",
        "nozzle_efficiency",
        "ambient",
        "igniter",
        "rate_scale",
    )
    columns = dict(zip(per_grain + per_motor, (*grains, *table.T.copy()), strict=True))
    laws = law_arrays([m.propellant.law for m in motors])
    return Arrays(**columns, **laws, shape=shape, shapes=tuple(shapes))


def example() -> Motor:
    """Give the trade's four-grain motor, for examples and for trying things out.

    Returns
    -------
    Motor
        Four hollow grains of 65/35 sorbitol, 44.45 mm wide, 19.05 mm core, 76.2 mm long, at 0.95 of ideal
        density, behind a 12.7 mm throat [m], c* efficiency 0.95, nozzle 0.90.

    Notes
    -----
    Expected: class J, about 400-500 N (common practice, no source).

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> len(example().grains)
    4
    """

    propellant = Propellant(1841.0, 909.0, 1.137, 0.0399, 1600.0, published_law("sorbitol"))
    volume = ring_area(0.04445, 0.01905) * 0.0762
    grain = Grain(0.04445, 0.01905, 0.0762, 0.95 * 1841.0 * volume)
    return Motor((grain,) * 4, propellant, 0.0127, 0.033, 0.0472, 0.32, c_star_efficiency=0.95, nozzle_efficiency=0.90)
