"""A motor's prediction: chamber pressure, thrust and impulse from ignition to tail-off.

One engine (`chamber`) marches any number of motors; `simulate` is a batch of one with its curves kept,
`simulate_many` keeps the figures only. Efficiencies are inputs with stated defaults: nothing here is learned.
A prediction is never a statement that a motor is safe.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import pi, radians

import numpy as np

from app.calc.burnrate import BurnLaw, published_law
from app.calc.chamber import Arrays, Burn, choking_pressure, law_arrays, march, webs
from app.calc.constants import ATM, ROOM_TEMPERATURE, STANDARD_GRAVITY, Floats, positive, within
from app.calc.errors import CalcError, GeometryError, OutOfRange
from app.calc.grain import Grain, burning_area, port_area
from app.calc.impulse import ACTION_SHARE, BURN_SHARE, designation, impulse_class, threshold_times
from app.calc.nozzle import (
    SEPARATION_RATIO,
    characteristic_velocity,
    critical_pressure_ratio,
    divergence_factor,
    exit_pressure_ratio,
    flow_function,
)

C_STAR_EFFICIENCY = 0.95
"""Assumed share of ideal c* that a small sugar motor delivers [-]: common practice, no source."""

NOZZLE_EFFICIENCY = 0.90
"""Assumed share of momentum left after friction and condensed particles [-]: common practice, no source."""

IGNITER_PRESSURE = 0.5e6
"""Assumed pressure that the igniter brings the chamber to before the grains burn [Pa]: no source."""

LEAST_PORT_TO_THROAT = 2.0
"""Below this ratio of port to throat area erosive burning is expected [-]: common practice, no source. Sutton &
Biblarz warn below about 4 (from memory)."""

MASS_FLUX_LIMIT = 1400.0
"""Mass flux in a port above which erosive burning is expected [kg/(m2 s)], 2 lb/(in2 s): common practice for
composites, no source for sugar propellants."""


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
                f"is {self.c_star:.0f} m/s, but temperature, molar mass and gamma give {implied:.0f} m/s.",
                "Take all four from one state of the blend.",
            )


@dataclass(frozen=True)
class Motor:
    """Grains in a case with a nozzle, and the day's conditions.

    Attributes
    ----------
    grains : tuple of Grain
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

    grains: tuple[Grain, ...]
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
        within("ambient_pressure", self.ambient_pressure, 0.0, 1.2e5, "Give the air pressure at the field.")
        within("c_star_efficiency", self.c_star_efficiency, 0.3, 1.1, "Usual values lie near 0.95.")
        within("nozzle_efficiency", self.nozzle_efficiency, 0.3, 1.05, "Usual values lie near 0.9.")
        within("throat_growth", self.throat_growth, -0.2 * self.throat_d, self.throat_d, "Measure before and after.")
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
                f"must choke the throat: above {choking / 1e6:.2f} MPa here (and below 50 MPa).",
                f"The usual assumption is {IGNITER_PRESSURE / 1e6:g} MPa.",
            )

    def _check_fit(self) -> None:
        length = sum(grain.length for grain in self.grains)
        if length > self.chamber_length * (1 + 1e-9):
            raise GeometryError(
                "chamber_length",
                f"the grains are {length * 1e3:.1f} mm long, the room for them {self.chamber_length * 1e3:.1f} mm.",
                "Take out a grain or use a longer case.",
            )
        widest = max(grain.outer_d for grain in self.grains)
        if widest > self.case_inner_d * (1 + 1e-9):
            raise GeometryError(
                "case_inner_d",
                f"a grain is {widest * 1e3:.2f} mm wide, the case {self.case_inner_d * 1e3:.2f} mm.",
                "Use a wider case.",
            )
        if not self.free_volume > 0:
            raise GeometryError(
                "free_volume_extra", "no free volume is left in the chamber.", "Check case and grain sizes."
            )
        if any(g.core_d == 0 and not g.burns_outer for g in self.grains[1:]):
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
        return pi / 4 * self.throat_d**2

    @property
    def chamber_volume(self) -> float:
        """Volume of the chamber without grains [m3]."""
        return pi / 4 * self.case_inner_d**2 * self.chamber_length + self.free_volume_extra

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
        ports = [pi / 4 * g.core_d**2 for g in self.grains if g.core_d > 0 and not g.burns_outer]
        return min(ports) / self.throat_area if ports else None


@dataclass(frozen=True)
class MotorRun:
    """What one motor is predicted to do.

    Attributes
    ----------
    time, depth, pressure, thrust, kn, mass_flow : ndarray
        Histories [s], [m], [Pa], [N], [-], [kg/s], shape (N,), samples closer together where pressure moves.
    total_impulse : float
        From ignition to the last choked flow [N s].
    burn_time, action_time : float
        Thrust above 5 % and above 10 % of its peak [s].
    mean_thrust : float
        Total impulse over burn time [N].
    peak_thrust, peak_pressure, mean_pressure : float
        [N], [Pa], [Pa]; the mean is over the burn time.
    kn_start, kn_peak : float
        Burning area over throat area [-].
    port_to_throat : float or None
        Narrowest port over throat before firing [-].
    peak_mass_flux : float
        Highest flow per port area at the aft end of any grain [kg/(m2 s)].
    specific_impulse : float
        Total impulse per propellant weight [s].
    propellant_mass : float
        [kg].
    impulse_class, designation : str
        Such as 'J' and 'J432'.
    law_range : tuple of float
        Pressures that the burn law was tested between [Pa].
    time_outside_law : float
        Of the burn spent outside that range before burn-out [s].
    burnt_out_at : float
        When the last propellant is gone [s].
    mass_balance : float
        (igniter gas + propellant - outflow - gas left) / propellant [-].
    flags : tuple of str
        What a reader must know, in words.
    assumptions : tuple of str
        What was assumed, in words.
    """

    time: Floats
    depth: Floats
    pressure: Floats
    thrust: Floats
    kn: Floats
    mass_flow: Floats
    total_impulse: float
    burn_time: float
    action_time: float
    mean_thrust: float
    peak_thrust: float
    peak_pressure: float
    mean_pressure: float
    kn_start: float
    kn_peak: float
    port_to_throat: float | None
    peak_mass_flux: float
    specific_impulse: float
    propellant_mass: float
    impulse_class: str
    designation: str
    law_range: tuple[float, float]
    time_outside_law: float
    burnt_out_at: float
    mass_balance: float
    flags: tuple[str, ...]
    assumptions: tuple[str, ...]


@dataclass(frozen=True)
class BatchRun:
    """Figures of many motors, each an array of shape (M,); meanings and units as in `MotorRun`."""

    total_impulse: Floats
    burn_time: Floats
    action_time: Floats
    mean_thrust: Floats
    peak_thrust: Floats
    peak_pressure: Floats
    mean_pressure: Floats
    propellant_mass: Floats
    mass_balance: Floats

    def __len__(self) -> int:
        return len(self.total_impulse)


def motor_arrays(motors: Sequence[Motor]) -> Arrays:
    """Lay motors out as arrays for the march.

    Parameters
    ----------
    motors : sequence of Motor
        One or more.

    Returns
    -------
    Arrays
        SI; (M,) per motor, (M, G) per grain, padded where a motor has fewer grains [-].

    Raises
    ------
    CalcError
        No motor given.

    Notes
    -----
    A padded grain has no mass and no length.

    References
    ----------
    None: a change of layout.

    Examples
    --------
    >>> motor_arrays([])
    Traceback (most recent call last):
    app.calc.errors.CalcError: motors: none given. Give at least one.
    """
    if not motors:
        raise CalcError("motors", "none given.", "Give at least one.")
    count = max(len(motor.grains) for motor in motors)
    grains = np.zeros((len(motors), count, 8))
    for row, motor in enumerate(motors):
        for column, g in enumerate(motor.grains):
            grains[row, column] = (
                g.outer_d / 2,
                g.core_d / 2,
                g.core_offset,
                g.length,
                g.mass,
                g.burning_ends,
                g.burns_core,
                g.burns_outer,
            )
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
    per_grain = ("outer_r", "core_r", "offset", "length", "mass", "ends", "burns_core", "burns_outer")
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
    columns = {name: grains[:, :, i].copy() for i, name in enumerate(per_grain)}
    columns |= {name: table[:, i].copy() for i, name in enumerate(per_motor)}
    return Arrays(**columns, **law_arrays([m.propellant.law for m in motors]))


def figures(a: Arrays, burn: Burn) -> dict[str, Floats]:
    """Reduce histories to figures.

    Parameters
    ----------
    a : Arrays
        The motors, shape (M,).
    burn : Burn
        Their march, shape (M, N).

    Returns
    -------
    dict of str to ndarray
        The fields of `BatchRun` [N s], [s], [N], [Pa], [kg], each (M,).

    Raises
    ------
    CalcError
        A thrust that is never above zero.

    Notes
    -----
    Integrals use the march's own weights, so they are as accurate as the march.

    References
    ----------
    Durations: `impulse`.

    Examples
    --------
    >>> arrays = motor_arrays([example()])
    >>> _, burn = next(march(arrays))
    >>> round(float(figures(arrays, burn)["propellant_mass"][0]), 3)
    0.675
    """
    impulse = (burn.weights * burn.thrust).sum(axis=1)
    start, end = threshold_times(burn.time, burn.thrust, BURN_SHARE)
    action_start, action_end = threshold_times(burn.time, burn.thrust, ACTION_SHARE)
    window = (burn.time >= start[:, None]) & (burn.time <= end[:, None])
    weights = burn.weights * window
    mass = a.mass.sum(axis=1)
    left_over = burn.start_gas + mass - (burn.weights * burn.outflow).sum(axis=1) - burn.end_gas
    return {
        "total_impulse": impulse,
        "burn_time": end - start,
        "action_time": action_end - action_start,
        "mean_thrust": impulse / (end - start),
        "peak_thrust": burn.thrust.max(axis=1),
        "peak_pressure": burn.pressure.max(axis=1),
        "mean_pressure": (weights * burn.pressure).sum(axis=1) / weights.sum(axis=1),
        "propellant_mass": mass,
        "mass_balance": left_over / mass,
    }


def simulate_many(motors: Sequence[Motor] | Arrays) -> BatchRun:
    """Predict many motors, figures only.

    Parameters
    ----------
    motors : sequence of Motor, or Arrays
        SI [-].

    Returns
    -------
    BatchRun
        Figures [N s], [s], [N], [Pa], [kg], each of shape (M,).

    Raises
    ------
    CalcError
        A motor that cannot choke its throat, or whose pressure does not settle.

    Notes
    -----
    Cost and time are linear in the number of motors; memory holds a few dozen histories at a time.

    References
    ----------
    As `chamber`.

    Examples
    --------
    >>> len(simulate_many([example(), example()]))
    2
    """
    arrays = motors if isinstance(motors, Arrays) else motor_arrays(motors)
    parts = [figures(arrays.rows(part), burn) for part, burn in march(arrays)]
    return BatchRun(**{name: np.concatenate([part[name] for part in parts]) for name in parts[0]})


def simulate(motor: Motor) -> MotorRun:
    """Predict one motor with its histories, warnings and assumptions.

    Parameters
    ----------
    motor : Motor
        SI.

    Returns
    -------
    MotorRun
        Histories and figures [s], [Pa], [N], [N s].

    Raises
    ------
    CalcError
        A motor that cannot choke its throat, or whose pressure does not settle.

    Notes
    -----
    Total impulse and peak pressure lie within 0.2 % of a stiff solver's for 1 to 8 grains and Kn 100 to 450.

    References
    ----------
    Sutton & Biblarz, Rocket Propulsion Elements; `chamber` for the numerical method.

    Examples
    --------
    >>> simulate(example()).impulse_class
    'J'
    """
    arrays = motor_arrays([motor])
    _, burn = next(march(arrays))
    single = {name: float(value[0]) for name, value in figures(arrays, burn).items()}
    depth, pressure, throat_area = burn.depth[0], burn.pressure[0], burn.throat_area[0]
    rate = motor.propellant.law.rate(pressure, motor.initial_temperature) * (1 + motor.extra_area)
    areas = np.stack([burning_area(grain, depth) for grain in motor.grains])
    kn = areas.sum(axis=0) * (1 + motor.extra_area) / throat_area
    flux = _peak_mass_flux(motor, depth, areas * rate)
    law = motor.propellant.law
    burning = slice(0, burn.burnt + 1)
    outside = float(burn.weights[0, burning][~law.in_range(pressure[burning])].sum())
    impulse, thrust = single["total_impulse"], single["mean_thrust"]
    return MotorRun(
        time=burn.time[0],
        depth=depth,
        pressure=pressure,
        thrust=burn.thrust[0],
        kn=kn,
        mass_flow=burn.outflow[0],
        **single,
        kn_start=float(kn[0]),
        kn_peak=float(kn.max()),
        port_to_throat=motor.port_to_throat,
        peak_mass_flux=flux,
        specific_impulse=impulse / (single["propellant_mass"] * STANDARD_GRAVITY),
        impulse_class=impulse_class(impulse),
        designation=designation(impulse, thrust),
        law_range=(law.p_min, law.p_max),
        time_outside_law=outside,
        burnt_out_at=float(burn.time[0, burn.burnt]),
        flags=_flags(motor, arrays, burn, flux, outside),
        assumptions=_assumptions(motor),
    )


def _peak_mass_flux(motor: Motor, depth: Floats, swept: Floats) -> float:
    """Highest flow per port area at the aft end of a grain [kg/(m2 s)], from it and all grains before it."""
    density = np.array([grain.density for grain in motor.grains])[:, None]
    flow = np.cumsum(swept * density, axis=0)
    ports = np.stack([port_area(grain, depth) for grain in motor.grains])
    return float(np.where(ports > 0, flow / np.where(ports > 0, ports, 1.0), 0.0).max())


def _flags(motor: Motor, a: Arrays, burn: Burn, flux: float, outside: float) -> tuple[str, ...]:
    law = motor.propellant.law
    pressure = burn.pressure[0, : burn.burnt + 1]
    peak = float(pressure.max())
    flags = []
    if law.note:
        flags.append(law.note)
    if outside > 0:
        flags.append(
            f"Pressure leaves the burn law's tested range ({law.p_min / 1e6:.2f} to {law.p_max / 1e6:.2f} MPa) for "
            f"{outside:.2f} s; the law was carried on beyond it."
        )
    if (pressure[1:] < choking_pressure(a)[0]).any():
        flags.append("The throat is not choked for part of the burn; thrust there is a rough figure.")
    ratio = (motor.exit_d / motor.throat_d) ** 2
    leaves = SEPARATION_RATIO * motor.ambient_pressure
    attached = float(exit_pressure_ratio(ratio, motor.propellant.gamma)) * pressure >= leaves
    share = float(burn.weights[0, : burn.burnt + 1][~attached].sum() / burn.time[0, burn.burnt])
    if share > 0.02:  # ignition passes through it in every motor
        flags.append(
            f"Flow leaves the nozzle's wall for {share:.0%} of the burn (exit pressure below {SEPARATION_RATIO:g} of "
            "ambient, Summerfield's rule): the nozzle is too long for this pressure."
        )
    if motor.port_to_throat is not None and motor.port_to_throat < LEAST_PORT_TO_THROAT:
        flags.append(
            f"Port to throat ratio {motor.port_to_throat:.2f} is below {LEAST_PORT_TO_THROAT:g}: erosive burning may "
            "raise the first pressure peak; it is not modelled (common practice, no source)."
        )
    if flux > MASS_FLUX_LIMIT:
        flags.append(
            f"Mass flux reaches {flux:.0f} kg/(m2 s), above {MASS_FLUX_LIMIT:.0f}: erosive burning may raise the first "
            "pressure peak; it is not modelled (common practice for composites, no source for these blends)."
        )
    if any(grain.core_offset > 0 for grain in motor.grains):
        web, near = webs(a)
        early = float(np.interp((near[0] + (web[0] == near[0])).min(), burn.depth[0], burn.time[0]))
        flags.append(f"A core off centre bares the wall on one side from about {early:.2f} s on: it heats there.")
    thin = min(grain.density for grain in motor.grains) / motor.propellant.ideal_density
    if thin < 0.95:
        flags.append(f"A grain has {thin:.1%} of ideal density: voids may open and raise the pressure.")
    if thin > 1.005:
        flags.append("A grain is denser than its blend can be: check its mass and size.")
    if peak > 2 * motor.igniter_pressure and burn.pressure[0, 0] < law.p_min:
        flags.append("The igniter's pressure lies below the burn law's range.")
    return tuple(flags)


def _assumptions(motor: Motor) -> tuple[str, ...]:
    law = motor.propellant.law
    return (
        f"Burn law: {law.name}, {law.source}.",
        f"Rate grows by {law.sigma_p:.2%} per kelvin from {law.reference_temperature - 273.15:.0f} degC.",
        f"c* is {motor.c_star_efficiency:.1%} of ideal; momentum {motor.nozzle_efficiency:.1%} after friction and "
        f"particles, {divergence_factor(motor.half_angle):.1%} after divergence.",
        f"The igniter brings the chamber to {motor.igniter_pressure / 1e6:.2f} MPa.",
        f"Ambient pressure {motor.ambient_pressure / 1e3:.1f} kPa; grains at "
        f"{motor.initial_temperature - 273.15:.0f} degC.",
        f"The throat grows by {motor.throat_growth * 1e3:.2f} mm over the burn.",
        "All faces regress alike; no erosive burning, no heat lost to the walls.",
    )


def example() -> Motor:
    """Give the trade's four-grain motor, for examples and for trying things out.

    Parameters
    ----------
    None

    Returns
    -------
    Motor
        Four hollow grains of 65/35 sorbitol, 44.45 mm wide, 19.05 mm core, 76.2 mm long, at 0.95 of ideal
        density, behind a 12.7 mm throat [m].

    Raises
    ------
    CalcError
        Never.

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
    volume = pi / 4 * (0.04445**2 - 0.01905**2) * 0.0762
    grain = Grain(0.04445, 0.01905, 0.0762, 0.95 * 1841.0 * volume)
    return Motor((grain,) * 4, propellant, 0.0127, 0.033, 0.0472, 0.32)
