"""What the compute API takes and gives: SI throughout, the unit in each field's name.

A field that an argument of `app.calc` answers to bears that argument's name with its unit behind it
(`throat_d` becomes `throat_d_m`), so that a fault of the calculation can be put beside the field.
"""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from app.calc.base.constants import ATM, ROOM_TEMPERATURE
from app.calc.case.casing import FLIGHT_FACTOR
from app.calc.grain.density_check import ACCEPT_SHARE, REJECT_SHARE


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
