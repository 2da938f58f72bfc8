"""What the compute API takes and gives of a search for motors: hardware, a rocket and a field; every design with its
figures and what speaks against it.
"""

from math import pi, radians
from typing import Annotated, Literal

from pydantic import Field

from app.calc.base.constants import ATM, ROOM_TEMPERATURE
from app.calc.case.casing import FLIGHT_FACTOR
from app.calc.motor.assembly import C_STAR_EFFICIENCY, IGNITER_PRESSURE, NOZZLE_EFFICIENCY
from app.calc.season.choosing import MOST_RANGED, WANTED
from app.calc.season.launch import LEAST_RAIL_SPEED
from app.models.api import ApiIn, ApiOut, BoltsIn, Parts, Pressure, RingIn, Share, Size
from app.models.api_flight import AirframeIn, RailIn, WeatherIn
from app.models.api_motor import BurnLawIn, GrainIn, MarksOut, SpreadIn

Name = Annotated[str, Field(min_length=1, max_length=80)]

Distance = Annotated[float, Field(ge=0, le=10_000)]

Coordinate = Annotated[float, Field(ge=-50_000, le=50_000)]


class FormulaIn(ApiIn):
    """A formula that grains can be cast of."""

    name: Name = Field(title="Name", description="By which grains and answers mean it.")
    parts: Parts
    burn_law: BurnLawIn | None = Field(
        None, title="Own burn law", description="Otherwise the published law of the blend, or the nearest one."
    )
    c_star_efficiency: Annotated[float, Field(ge=0.3, le=1.1)] = Field(C_STAR_EFFICIENCY, title="c* efficiency")
    nozzle_efficiency: Annotated[float, Field(ge=0.3, le=1.05)] = Field(
        NOZZLE_EFFICIENCY, title="Nozzle efficiency", description="Momentum left after friction and particles."
    )
    spread: SpreadIn | None = Field(None, title="Its own spread", description="Instead of the one for all formulas.")
    fired: Annotated[int, Field(ge=0, le=100_000)] = Field(
        0, title="Firings", description="Of it so far: a formula that was fired comes before one that was not."
    )


class PatternIn(GrainIn):
    """A grain that can be cast, or that lies there."""

    name: Name = Field(title="Name")
    formula: Name | None = Field(
        None,
        title="Formula",
        description="The one it is of. Left out: it can be cast of each; mass_kg is then of the first, and goes with "
        "the ideal density for the others.",
    )
    count: Annotated[int, Field(ge=0, le=1000)] | None = Field(
        None, title="How many there are", description="Left out: as many as fit."
    )
    tube_outer_d_m: Size | None = Field(None, title="Its tube's outer diameter", description="If one stays on it.")
    tube_mass_kg: Annotated[float, Field(ge=0, le=100)] = Field(
        0.0, title="Its tube's mass", description="Flies along."
    )


class NozzleIn(ApiIn):
    """A nozzle as measured."""

    name: Name = Field(title="Name")
    throat_d_m: Size = Field(title="Throat diameter")
    exit_d_m: Size = Field(title="Exit diameter")
    half_angle_rad: Annotated[float, Field(ge=0, le=1)] = Field(radians(15), title="Half angle of the exit cone")
    throat_growth_m: Annotated[float, Field(ge=-1, le=1)] = Field(
        0.0, title="Throat growth", description="Of its diameter over the burn."
    )


class CaseIn(ApiIn):
    """A case and what stands against pressure in it: a rating, a proof test, or by formula wall and closures."""

    name: Name = Field(title="Name")
    case_inner_d_m: Size = Field(title="Case inner diameter")
    chamber_length_m: Size = Field(title="Room for the grains")
    free_volume_extra_m3: Annotated[float, Field(ge=-10, le=10)] = Field(
        0.0, title="Extra free volume", description="Besides case minus grains and tubes; negative for liners."
    )
    empty_mass_kg: Annotated[float, Field(ge=0, le=1000)] = Field(
        0.0, title="Mass of the empty motor", description="Added to the rocket's dry mass, where that is without it."
    )
    rated_pressure_pa: Pressure | None = Field(None, title="Rating")
    proof_pressure_pa: Pressure | None = Field(
        None, title="Proof test passed", description="Over 1.5 where there is no rating; before a rating above it."
    )
    outer_d_m: Size | None = Field(None, title="Outer diameter", description="Needed without rating and proof test.")
    material: str | None = Field(
        None, max_length=60, title="Material", description="Needed without rating and proof test; as in /case/check."
    )
    yield_strength_pa: Annotated[float, Field(ge=1, le=1e10)] | None = Field(None, title="Yield strength")
    wall_temperature_k: Annotated[float, Field(ge=200, le=1000)] = Field(ROOM_TEMPERATURE, title="Wall temperature")
    factor: Annotated[float, Field(ge=1, le=10)] = Field(
        FLIGHT_FACTOR, title="Factor", description="On wall and closures, where there is neither rating nor proof test."
    )
    ring: RingIn | None = Field(None, title="Ring", description="If a ring holds the closure.")
    bolts: BoltsIn | None = Field(None, title="Bolts", description="If bolts or pins hold the closure.")


class RocketIn(AirframeIn, RailIn):
    """The rocket of the wish and its rail, as in /flight/run."""

    least_rail_speed_m_s: Annotated[float, Field(ge=0, le=100)] = Field(
        LEAST_RAIL_SPEED, title="Speed off the rail, at least", description="A rule of thumb, no source."
    )
    delays_s: list[Annotated[float, Field(ge=0, le=120)]] | None = Field(
        None,
        max_length=60,
        title="Ejection delays that can be made",
        description="From burnout, where the motor's charge makes the first event. Left out: something else does.",
    )


class FieldIn(WeatherIn):
    """The field of the wish and its weather, as in /flight/run, with its ceiling and its outline."""

    ceiling_m: Annotated[float, Field(gt=0, le=80_000)] | None = Field(
        None, title="Ceiling", description="Above the field."
    )
    outline_m: list[Annotated[list[Coordinate], Field(min_length=2, max_length=2)]] | None = Field(
        None,
        min_length=3,
        max_length=200,
        title="Outline",
        description="Of each corner in order round the field: metres east and north of the pad.",
    )
    wind_to_rad: Annotated[float, Field(ge=-2 * pi, le=2 * pi)] | None = Field(
        None,
        title="The wind blows to",
        description="Bearing from north. Left out: the nearest edge of the outline counts both ways.",
    )
    distances_m: dict[str, Distance] = Field(
        {}, max_length=30, title="Least distances of persons", description="By impulse class, one letter each."
    )


class ChoicesIn(ApiIn):
    """What there is and what is wished; without a rocket, motors are held against their cases alone."""

    formulas: list[FormulaIn] = Field(max_length=12, title="Formulas")
    grains: list[PatternIn] = Field(max_length=24, title="Grains", description="One of each pattern.")
    nozzles: list[NozzleIn] = Field(max_length=24, title="Nozzles")
    cases: list[CaseIn] = Field(max_length=12, title="Cases")
    drills_m: list[Size] = Field(
        [], max_length=400, title="Drills", description="Throats are also tried drilled out to these."
    )
    spread: SpreadIn = Field(default_factory=SpreadIn, title="Spread", description="As in /motor/range.")
    rocket: RocketIn | None = Field(None, title="Rocket")
    field: FieldIn | None = Field(None, title="Field", description="Together with a rocket.")
    wish_low_m: Annotated[float, Field(ge=0, le=80_000)] | None = Field(None, title="Height wished, from")
    wish_high_m: Annotated[float, Field(ge=0, le=80_000)] | None = Field(None, title="to")
    most_grains: Annotated[int, Field(ge=1, le=20)] = Field(12, title="Grains in a motor, at most")
    gap_m: Annotated[float, Field(ge=0, le=0.1)] = Field(0.0, title="Gap between grains")
    least_port_to_throat: Annotated[float, Field(ge=1, le=10)] = Field(
        1.0, title="Port over throat, at least", description="The workshop's own mark; 1 asks for none."
    )
    ambient_pressure_pa: Annotated[float, Field(ge=0, le=1.2e5)] = Field(
        ATM, title="Air pressure", description="With a field, that of its elevation on a standard day."
    )
    initial_temperature_k: Annotated[float, Field(ge=220, le=340)] = Field(ROOM_TEMPERATURE, title="Grain temperature")
    igniter_pressure_pa: Pressure = Field(IGNITER_PRESSURE, title="Pressure at ignition")
    extra_area: Share = Field(0.0, title="Unseen burning area", description="As a share of the known area.")
    wanted: Annotated[int, Field(ge=1, le=200)] = Field(
        WANTED, title="Possible motors wanted", description="Ranged from the best on until so many stand."
    )
    most_ranged: Annotated[int, Field(ge=0, le=400)] = Field(MOST_RANGED, title="Motors to range, at most")
    samples: Annotated[int, Field(ge=16, le=1024)] = Field(128, title="Motors to draw of each")
    flights: Annotated[int, Field(ge=16, le=1024)] = Field(128, title="Flights to draw of each")
    seed: int = Field(20, ge=0, le=2**31 - 1, title="Seed", description="Same seed, same answer.")


class OfGrainOut(ApiOut):
    """So many grains of one pattern."""

    pattern: str
    count: int


class ReasonOut(ApiOut):
    """What speaks against a design, and the nearest change that would lift it; null where there is none."""

    kind: str
    words: str
    change: str | None


class RangesOut(ApiOut):
    """5, 50 and 95 % marks of a design that was ranged; null where it was not flown."""

    peak_pressure_pa: MarksOut
    total_impulse_n_s: MarksOut
    burn_time_s: MarksOut
    highest_m: MarksOut | None
    rail_exit_speed_m_s: MarksOut | None
    coast_time_s: MarksOut | None
    landing_distance_m: MarksOut | None
    above_ceiling: float | None = Field(description="Share of drawn flights above the ceiling.")
    outside_field: float | None = Field(description="Share of drawn flights that land outside.")


class DesignOut(ApiOut):
    """One design. Figures are as expected: null where it was ruled out before any march, or not flown."""

    case: str
    nozzle: str
    throat_d_m: float
    drilled_by_m: float = Field(description="What drilling takes off the throat; 0 for the nozzle as it is.")
    formula: str
    grains: list[OfGrainOut] = Field(description="Forward end first.")
    standing: Literal["possible", "refused", "not ranged"]
    rank: int | None = Field(description="1 for the best of the possible ones.")
    propellant_mass_kg: float
    port_to_throat: float | None
    slenderness: float = Field(description="Length of the propellant over its diameter.")
    peak_pressure_pa: float | None
    of_limit: float | None = Field(description="Peak over what the case is held to.")
    total_impulse_n_s: float | None
    burn_time_s: float | None
    mean_thrust_n: float | None
    liftoff_mass_kg: float | None
    thrust_to_weight: float | None
    rail_exit_speed_m_s: float | None
    apogee_m: float | None = Field(description="If nothing opens before.")
    coast_time_s: float | None = Field(description="From burnout to apogee: the ideal delay.")
    delay_s: float | None = Field(description="The ejection delay it was flown with.")
    ranges: RangesOut | None
    reasons: list[ReasonOut]


class CaseLimitOut(ApiOut):
    """What a case is held to, and why."""

    case: str
    limit_pa: float
    limit_words: str


class ChoicesOut(ApiOut):
    """Every design, in the order of cases, formulas, grains, nozzles and throats. None of them is said to be safe."""

    designs: list[DesignOut]
    best: list[int] = Field(description="Places of the possible ones among the designs, the best first.")
    possible: int
    refused: int
    not_ranged: int
    why_not: str | None = Field(description="Where nothing is possible: what stands in the way.")
    rule: str = Field(description="How they are ranked.")
    limits: list[CaseLimitOut]
    left_out: list[str] = Field(description="What cannot be put together at all.")
    notes: list[str]
    assumptions: list[str]
