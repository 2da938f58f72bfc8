"""What the compute API takes and gives: SI throughout, the unit in each field's name.

A field that an argument of `app.calc` answers to bears that argument's name with its unit behind it
(`throat_d` becomes `throat_d_m`), so that a fault of the calculation can be put beside the field.
"""

from math import radians
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from app.calc.assembly import C_STAR_EFFICIENCY, IGNITER_PRESSURE, NOZZLE_EFFICIENCY
from app.calc.burnrate import SIGMA_P
from app.calc.casing import FLIGHT_FACTOR
from app.calc.constants import ATM, ROOM_TEMPERATURE
from app.calc.graincheck import ACCEPT_SHARE, REJECT_SHARE


class ApiIn(BaseModel):
    """A request: nothing that is not asked for, no text for a number, no NaN or infinity."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)


class ApiOut(BaseModel):
    """An answer."""

    model_config = ConfigDict(allow_inf_nan=False)


# Lower limits far below any grain keep the formulas clear of numbers too small to divide by.
Size = Annotated[float, Field(ge=1e-6, le=10)]
Mass = Annotated[float, Field(ge=1e-9, le=1000)]
Pressure = Annotated[float, Field(ge=1, le=1e9)]
Share = Annotated[float, Field(ge=0, le=1)]
Parts = Annotated[
    dict[str, Share],
    Field(
        min_length=1,
        max_length=12,
        title="Blend",
        description="Mass fraction of each ingredient, by key or common spelling, summing to 1. Only potassium "
        "nitrate with sugars and sugar alcohols is taken.",
    ),
]
Density = Annotated[float, Field(ge=500, le=5000)]


# --- Recipe ------------------------------------------------------------------------------------


class RemeltIn(ApiIn):
    """A leftover that goes into the melt."""

    parts: Parts
    mass_kg: Mass = Field(title="Mass", description="Of this leftover.")


class RecipeScaleIn(ApiIn):
    """A formula and the batch wanted of it."""

    parts: Parts
    mass_kg: Mass = Field(title="Batch", description="Mass wanted, remelt included.")
    resolution_kg: Annotated[float, Field(ge=1e-9, le=1)] = Field(
        0.0001, title="Step of the scale", description="Every mass is a whole number of these."
    )
    remelts: list[RemeltIn] = Field([], max_length=20, title="Remelts", description="Leftovers to melt again.")
    remelt_limit: Share = Field(0.15, title="Remelt limit", description="Largest share of remelt in the batch.")


class MeltStepOut(ApiOut):
    """One thing to put in the pot."""

    ingredient: str
    share: float = Field(description="Of the batch.")
    words: str


class RecipeScaleOut(ApiOut):
    """What to weigh out."""

    masses_kg: dict[str, float] = Field(description="Fresh ingredient by key, in whole steps of the scale.")
    fresh_mass_kg: float
    remelt_mass_kg: float
    total_mass_kg: float
    target: dict[str, float] = Field(description="Mass fractions asked for.")
    realised: dict[str, float] = Field(description="Mass fractions of the whole melt, remelt counted.")
    deviation: float = Field(description="Largest difference between the two.")
    ideal_density_kg_m3: float = Field(description="Of the blend without any void.")
    oxygen_balance: float = Field(description="Mass fraction, to K2O; negative when oxygen is short.")
    melt_order: list[MeltStepOut]
    notes: list[str] = Field(description="What is doubtful about the blend.")


# --- Grain -------------------------------------------------------------------------------------


class GrainCheckIn(ApiIn):
    """A grain as weighed and measured, with its blend or with the density it should have."""

    mass_kg: Mass = Field(title="Mass", description="As weighed, with the tube if `tube_tare_kg` is given.")
    outer_d_m: Size = Field(title="Outer diameter", description="Of the propellant.")
    core_d_m: Annotated[float, Field(ge=0, le=10)] = Field(title="Core diameter", description="0 for none.")
    length_m: Size = Field(title="Length")
    parts: Parts | None = Field(None, description="Give the blend or the ideal density, not both.")
    ideal_density_kg_m3: Density | None = Field(None, title="Ideal density", description="Without any void.")
    tube_tare_kg: Annotated[float, Field(ge=0, le=1000)] = Field(
        0.0, title="Tube", description="Mass of the tube weighed along."
    )
    accept_share: Share = Field(ACCEPT_SHARE, title="Accept from", description="Share of ideal density.")
    reject_share: Share = Field(REJECT_SHARE, title="Reject below", description="Share of ideal density.")
    mass_resolution_kg: Annotated[float, Field(ge=1e-9, le=1)] = Field(1e-4, title="Step of the scale")
    length_resolution_m: Annotated[float, Field(ge=1e-9, le=0.1)] = Field(1e-4, title="Step of ruler or caliper")


class GrainCheckOut(ApiOut):
    """What scale and ruler say of it. A full weight does not make a grain safe."""

    mass_kg: float
    volume_m3: float
    density_kg_m3: float
    ideal_density_kg_m3: float
    share: float = Field(description="Density over ideal density.")
    share_uncertainty: float = Field(description="About 95 %, from reading scale and ruler alone.")
    density_uncertainty_kg_m3: float
    missing_mass_kg: float
    void_volume_m3: float
    verdict: Literal["accept", "look", "reject"]
    reasons: list[str]


# --- Blend -------------------------------------------------------------------------------------


class BlendStateIn(ApiIn):
    """A blend and a chamber pressure."""

    parts: Parts
    pressure_pa: Pressure = Field(68 * ATM, title="Chamber pressure", description="0.2 to 20 MPa.")


class BlendStateOut(ApiOut):
    """Chemical equilibrium in the chamber and the ideal expansion to one atmosphere."""

    temperature_k: float
    pressure_pa: float
    gas_molar_mass_kg_mol: float
    system_molar_mass_kg_mol: float = Field(description="Gas and condensed matter per mole of gas.")
    condensed_fraction: float
    gamma_frozen: float
    gamma_effective: float | None = Field(description="The constant exponent that gives the same ideal impulse.")
    c_star_m_s: float
    c_star_equilibrium_m_s: float | None
    ideal_isp_s: float | None = Field(description="To one atmosphere; null where the expansion was not solved.")
    ideal_density_kg_m3: float
    oxygen_balance: float
    condensed: dict[str, float] = Field(description="Mass fraction of each liquid or solid.")
    gas: dict[str, float] = Field(description="Mole fraction of each gas.")
    balance_error: float = Field(description="Largest relative error of an element.")
    notes: list[str]


# --- Motor -------------------------------------------------------------------------------------


class GrainIn(ApiIn):
    """One grain: a cylinder, hollow or not."""

    outer_d_m: Size = Field(title="Outer diameter", description="Of the propellant.")
    core_d_m: Annotated[float, Field(ge=0, le=10)] = Field(title="Core diameter", description="0 for none.")
    length_m: Size = Field(title="Length")
    mass_kg: Mass = Field(title="Mass", description="Of the propellant alone.")
    burns_core: bool = Field(True, title="Core burns")
    burns_end_a: bool = Field(True, title="Forward end burns")
    burns_end_b: bool = Field(True, title="Aft end burns")
    burns_outer: bool = Field(False, title="Outside burns")
    core_offset_m: Annotated[float, Field(ge=0, le=10)] = Field(
        0.0, title="Core off centre", description="Distance of the core's axis from the grain's."
    )
    core_offset_aft_m: Annotated[float, Field(ge=-10, le=10)] | None = Field(
        None,
        title="Core off centre at the aft end",
        description="For a core that stands askew; negative where it crosses the grain's axis.",
    )
    core_outline_m: list[Annotated[list[float], Field(min_length=2, max_length=2)]] | None = Field(
        None,
        min_length=3,
        max_length=64,
        title="Core of any outline",
        description="x and y of each corner from the grain's axis, in order round it. Then core_d_m is 0.",
    )


class BurnLawIn(ApiIn):
    """An own burn law, r = rate_at_1_mpa (P / 1 MPa)^exponent."""

    rate_at_1_mpa_m_s: Annotated[float, Field(ge=1e-6, le=1)] = Field(title="Rate at 1 MPa")
    exponent: Annotated[float, Field(ge=-1, lt=1)] = Field(title="Exponent", description="Below 1.")
    p_min_pa: Pressure = Field(title="Lowest pressure tested")
    p_max_pa: Pressure = Field(title="Highest pressure tested")
    sigma_p_per_k: Annotated[float, Field(ge=-0.02, le=0.02)] = Field(SIGMA_P, title="Temperature sensitivity")


class MotorIn(ApiIn):
    """A motor: grains of one blend in a case with a nozzle, and the day's conditions."""

    parts: Parts
    grains: list[GrainIn] = Field(min_length=1, max_length=20, title="Grains", description="Forward end first.")
    throat_d_m: Size = Field(title="Throat diameter")
    exit_d_m: Size = Field(title="Exit diameter")
    case_inner_d_m: Size = Field(title="Case inner diameter")
    chamber_length_m: Size = Field(title="Room for the grains")
    burn_law: BurnLawIn | None = Field(
        None, title="Own burn law", description="Otherwise the published law of the blend, or the nearest one."
    )
    ambient_pressure_pa: Annotated[float, Field(ge=0, le=1.2e5)] = Field(ATM, title="Air pressure at the field")
    elevation_m: Annotated[float, Field(ge=-500, le=20000)] | None = Field(
        None, title="Elevation of the field", description="Instead of its air pressure: that of a standard day."
    )
    initial_temperature_k: Annotated[float, Field(ge=220, le=340)] = Field(ROOM_TEMPERATURE, title="Grain temperature")
    c_star_efficiency: Annotated[float, Field(ge=0.3, le=1.1)] = Field(C_STAR_EFFICIENCY, title="c* efficiency")
    nozzle_efficiency: Annotated[float, Field(ge=0.3, le=1.05)] = Field(
        NOZZLE_EFFICIENCY, title="Nozzle efficiency", description="Momentum left after friction and particles."
    )
    half_angle_rad: Annotated[float, Field(ge=0, le=1.5)] = Field(radians(15), title="Half angle of the exit cone")
    throat_growth_m: Annotated[float, Field(ge=-1, le=1)] = Field(
        0.0, title="Throat growth", description="Of its diameter over the burn."
    )
    free_volume_extra_m3: Annotated[float, Field(ge=-10, le=10)] = Field(
        0.0, title="Extra free volume", description="Besides case minus grains; negative for liners and tubes."
    )
    igniter_pressure_pa: Pressure = Field(IGNITER_PRESSURE, title="Pressure at ignition")
    extra_area: Share = Field(0.0, title="Unseen burning area", description="As a share of the known area.")


class MotorRunIn(MotorIn):
    """A motor to march from ignition to tail-off."""

    curve_points: int = Field(
        120, ge=0, le=1000, title="Points of the curve", description="At most so many; 0 leaves the curve out."
    )


class CurveOut(ApiOut):
    """Histories, closer together where pressure moves."""

    time_s: list[float]
    depth_m: list[float]
    pressure_pa: list[float]
    thrust_n: list[float]
    kn: list[float]
    mass_flow_kg_s: list[float]


class MotorRunOut(ApiOut):
    """A prediction, not a promise: see flags and assumptions."""

    designation: str
    impulse_class: str
    total_impulse_n_s: float
    burn_time_s: float = Field(description="Thrust above 5 % of its peak.")
    action_time_s: float = Field(description="Thrust above 10 % of its peak.")
    mean_thrust_n: float
    peak_thrust_n: float
    peak_pressure_pa: float
    mean_pressure_pa: float
    specific_impulse_s: float
    propellant_mass_kg: float
    kn_start: float
    kn_peak: float
    port_to_throat: float | None
    peak_mass_flux_kg_m2_s: float
    time_outside_law_s: float = Field(description="Spent outside the pressures the burn law was tested at.")
    burnt_out_at_s: float
    mass_balance: float = Field(description="Mass in, less mass out and left, over propellant.")
    burn_law: str
    law_borrowed: bool
    flags: list[str]
    assumptions: list[str]
    curve: CurveOut | None


class SpreadIn(ApiIn):
    """One standard deviation of each uncertain input; what is left out keeps its default."""

    density: Annotated[float, Field(ge=0, le=0.5)] | None = Field(None, title="Grain density, relative")
    burn_rate: Annotated[float, Field(ge=0, le=0.5)] | None = Field(None, title="Burn rate, relative")
    c_star: Annotated[float, Field(ge=0, le=0.5)] | None = Field(None, title="c* efficiency, relative")
    nozzle: Annotated[float, Field(ge=0, le=0.5)] | None = Field(None, title="Nozzle efficiency, relative")
    throat_d_m: Annotated[float, Field(ge=0, le=5e-3)] | None = Field(None, title="Throat diameter")
    core_d_m: Annotated[float, Field(ge=0, le=5e-3)] | None = Field(None, title="Core diameter")
    temperature_k: Annotated[float, Field(ge=0, le=20)] | None = Field(None, title="Grain temperature")
    extra_area: Annotated[float, Field(ge=0, le=0.5)] | None = Field(
        None, title="Unseen voids and cracks", description="One-sided, as a share of burning area."
    )


class MotorRangeIn(MotorIn):
    """A motor whose uncertain inputs are drawn many times."""

    spread: SpreadIn = Field(default_factory=SpreadIn, title="Spread")
    samples: int = Field(512, ge=16, le=4096, title="Motors to draw", description="Best a power of two.")
    seed: int = Field(20, ge=0, le=2**31 - 1, title="Seed", description="Same seed, same answer.")
    pressure_limit_pa: Pressure | None = Field(
        None, title="Pressure limit", description="A rating or proof test to count draws above."
    )


class MarksOut(ApiOut):
    """5, 50 and 95 % marks: a tenth of the draws lies outside."""

    low: float
    mid: float
    high: float


class DriverOut(ApiOut):
    """What one input does alone, from its 5 to its 95 % mark."""

    input: str
    name: str
    peak_pressure_low_pa: float
    peak_pressure_high_pa: float
    total_impulse_low_n_s: float
    total_impulse_high_n_s: float


class MotorRangeOut(ApiOut):
    """A prediction as ranges; the input that moves peak pressure most is the first driver."""

    peak_pressure_pa: MarksOut
    mean_pressure_pa: MarksOut
    total_impulse_n_s: MarksOut
    burn_time_s: MarksOut
    action_time_s: MarksOut
    mean_thrust_n: MarksOut
    peak_thrust_n: MarksOut
    specific_impulse_s: MarksOut
    classes: dict[str, float] = Field(description="Share of draws in each impulse class.")
    over_limit: float | None = Field(description="Share of draws above the limit; 0 means fewer than one, not never.")
    drivers: list[DriverOut]
    samples: int
    seed: int
    assumptions: list[str]


# --- Case --------------------------------------------------------------------------------------


class RingIn(ApiIn):
    """A retaining ring in a groove inside the case."""

    groove_d_m: Size = Field(title="Groove diameter", description="At its bottom.")
    land_m: Size = Field(title="Wall behind the groove", description="To the end of the case.")
    ring_thickness_m: Size = Field(title="Ring thickness", description="Along the case.")
    ring_yield_pa: Pressure = Field(title="Ring's least yield strength")


class BoltsIn(ApiIn):
    """Bolts or pins through the case's wall."""

    count: int = Field(ge=1, le=100, title="Bolts round one closure")
    hole_d_m: Size = Field(title="Hole diameter")
    shank_d_m: Size = Field(title="Diameter where it is sheared")
    edge_m: Size = Field(title="Hole's middle to the end of the case")
    bolt_yield_pa: Pressure = Field(title="Bolts' least yield strength")


class CaseCheckIn(ApiIn):
    """A case and the highest pressure expected in it."""

    peak_pressure_pa: Pressure = Field(title="Peak pressure")
    inner_d_m: Size = Field(title="Inner diameter")
    outer_d_m: Size = Field(title="Outer diameter")
    material: str = Field(
        max_length=60, title="Material", description="A key such as aluminium_6061_t6, or other with a yield strength."
    )
    rated_pressure_pa: Pressure | None = Field(None, title="Rating")
    proof_pressure_pa: Pressure | None = Field(None, title="Proof test passed")
    yield_strength_pa: Annotated[float, Field(ge=1, le=1e10)] | None = Field(
        None, title="Yield strength", description="The least one, from standard or data sheet."
    )
    wall_temperature_k: Annotated[float, Field(ge=200, le=1000)] = Field(
        ROOM_TEMPERATURE, title="Wall temperature", description="At peak pressure."
    )
    factor: Annotated[float, Field(ge=1, le=10)] = Field(
        FLIGHT_FACTOR, title="Factor", description="Between yield and working pressure: 2 for flight, 1.5 for tests."
    )
    ring: RingIn | None = Field(None, title="Ring", description="If a ring holds the closure.")
    bolts: BoltsIn | None = Field(None, title="Bolts", description="If bolts or pins hold the closure.")


class ClosureModeOut(ApiOut):
    """One way for a closure to begin to give."""

    words: str
    area_m2: float
    pressure_pa: float


class CaseCheckOut(ApiOut):
    """What stands against the pressure. The owner's proof test outranks the formula; no margin makes a motor safe."""

    peak_pressure_pa: float
    bore_stress_pa: float = Field(description="Hoop stress at the bore (Lamé).")
    thin_stress_pa: float = Field(description="Mean hoop stress over the wall.")
    yield_strength_pa: float
    factor: float = Field(description="Yield strength over bore stress.")
    yield_pressure_pa: float
    burst_pressure_pa: float | None
    design_pressure_pa: float
    limit_pa: float
    limit_words: str
    margin: float = Field(description="Limit over peak, less 1; negative means over it.")
    of_rated: float | None
    of_proof: float | None
    set_by_closures: bool = Field(description="Whether the closures are weaker than the wall, by formula.")
    closures: list[ClosureModeOut] = Field(description="The weakest first; empty where nothing is said of them.")
    notes: list[str]
