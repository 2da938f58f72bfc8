"""What the compute API takes and gives of a motor: one run of it, and the range of many drawn."""

from math import radians
from typing import Annotated

from pydantic import Field

from app.calc.base.constants import ATM, ROOM_TEMPERATURE
from app.calc.motor.assembly import C_STAR_EFFICIENCY, IGNITER_PRESSURE, NOZZLE_EFFICIENCY
from app.calc.propellant.burn_rate import SIGMA_P
from app.models.api import ApiIn, ApiOut, Mass, Parts, Pressure, Share, Size


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
    sigma_p: Annotated[float, Field(ge=0, le=0.5)] | None = Field(
        None, title="Temperature sensitivity of the rate, relative", description="Felt away from 20 °C only."
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
