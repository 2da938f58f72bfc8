"""The record of a prediction: every input and every answer, stored whole with a build and drawn from there.

What was predicted before a firing can so be read afterwards as it was. SI throughout.
"""

from pydantic import BaseModel, Field

from app.calc.base.notes import Note
from app.calc.grain.geometries import HOLLOW_CYLINDER
from app.models import Prediction


class Range(BaseModel):
    """A figure as computed, with the 5 and 95 % marks of the sampled motors where it was sampled."""

    mid: float
    low: float | None = None
    high: float | None = None

    @property
    def width(self) -> float | None:
        """From the low to the high mark, over the middle [-]."""
        return None if self.low is None or self.high is None else (self.high - self.low) / self.mid


class GrainInput(BaseModel):
    """One grain that was computed with."""

    serial: str
    mass_kg: float
    length_m: float
    geometry: str = Field(HOLLOW_CYLINDER.name, exclude_if=lambda name: name == HOLLOW_CYLINDER.name)
    core_d_m: float
    outer_d_m: float
    burning_ends: int
    burns_outer: bool
    tube_kg: float = 0.0


class CaseInput(BaseModel):
    """The case that was computed with."""

    name: str
    material: str
    inner_d_m: float
    outer_d_m: float
    chamber_length_m: float
    rated_pressure_pa: float | None
    proof_pressure_pa: float | None
    wall_temperature_k: float = 293.15


class Factor(BaseModel):
    """A learned factor on one input, the spread that the input was drawn with, the default spread, and by which share
    firings of the formula move it if all of them say so [-]; predictions made before 0008 kept no share."""

    factor: float
    spread: float
    default_spread: float
    moved: float | None = None


class LearnedFactors(BaseModel):
    """What firings had taught when a prediction was made, and which: identities of the firings that counted.

    `firing_ids` are of the same formula, `case_firing_ids` of others in the same case, `other_firings` how many of
    others in other cases; `left_out` how many of the same formula a person had left out. `together`, `rate_c_star` and
    `rate_nozzle` are the correlations of c* and nozzle, rate and c*, rate and nozzle that the motors were drawn with.
    With `on` false nothing was used, and `why_off` says why.
    """

    on: bool
    why_off: str = ""
    formula_id: int | None = None
    rate: Factor
    c_star: Factor
    nozzle: Factor
    together: float = 0.0
    rate_c_star: float = 0.0
    rate_nozzle: float = 0.0
    firing_ids: list[int] = []
    case_firing_ids: list[int] = []
    other_firings: int = 0
    stick_lots: int = 0
    left_out: int = 0

    @property
    def correlation(self) -> list[list[float]]:
        """Of burn rate, c* and nozzle efficiency, as the motors were drawn [-]."""
        return [
            [1.0, self.rate_c_star, self.rate_nozzle],
            [self.rate_c_star, 1.0, self.together],
            [self.rate_nozzle, self.together, 1.0],
        ]

    @property
    def used(self) -> bool:
        """Whether anything was used."""
        return self.on and bool(self.firing_ids or self.case_firing_ids or self.other_firings or self.stick_lots)


class Inputs(BaseModel):
    """Every input of a prediction, in SI; efficiencies and burn law as they were used, what was learned included."""

    formula: str
    blend: dict[str, float]
    ideal_density_kg_m3: float
    c_star_m_s: float
    gamma: float
    molar_mass_kg_mol: float
    flame_temperature_k: float
    law: str
    law_borrowed: bool
    law_own: bool = False
    rate_per_kelvin: float = 0.002
    igniter_pressure_pa: float = 0.5e6
    grains: list[GrainInput]
    case: CaseInput
    nozzle: str
    throat_d_m: float
    throat_growth_m: float = 0.0
    exit_d_m: float
    half_angle_rad: float
    elevation_m: float
    ambient_pressure_pa: float
    grain_temperature_k: float
    c_star_efficiency: float
    nozzle_efficiency: float
    samples: int
    seed: int
    taught: LearnedFactors | None = None


class Curve(BaseModel):
    """Histories, thinned for drawing; the range has its own, evenly spaced times. Older predictions kept no Kn."""

    time_s: list[float]
    pressure_pa: list[float]
    thrust_n: list[float]
    band_time_s: list[float] = []
    pressure_low_pa: list[float] = []
    pressure_high_pa: list[float] = []
    thrust_low_n: list[float] = []
    thrust_high_n: list[float] = []
    kn: list[float] = []


class Holding(BaseModel):
    """One way for the closures to begin to give, and the pressure for it [Pa]."""

    words: str
    pressure_pa: float


class Wall(BaseModel):
    """Stress in the wall at the expected peak, and what stands against it; ways for the closures to give, weakest
    first, or none where the book does not know what holds them."""

    stress_pa: float
    strength_pa: float
    factor: float
    of_rated: float | None
    of_proof: float | None
    limit_pa: float
    limit_words: str
    notes: list[Note | str]
    closures: list[Holding] = []


class Driver(BaseModel):
    """How far one uncertain input alone moves the peak pressure [Pa]."""

    name: str
    low_pa: float
    high_pa: float


class BeforeLearning(BaseModel):
    """What the same motor was expected to do before any firing had taught anything."""

    total_impulse: Range
    burn_time: Range
    peak_pressure: Range


class PredictionRecord(BaseModel):
    """A prediction: ranges, curves, the case's margin, warnings and assumptions.

    Sentences are kept with their amounts, to be read in the units of the day; older predictions have plain words.
    `untaught` is there where firings had taught something, and not in predictions stored before 0008.
    """

    inputs: Inputs
    designation: str
    impulse_class: str
    classes: dict[str, float]
    total_impulse: Range
    burn_time: Range
    action_time: Range
    mean_thrust: Range
    peak_thrust: Range
    peak_pressure: Range
    mean_pressure: Range
    specific_impulse: Range
    kn_start: float
    kn_peak: float
    port_to_throat: float | None
    slenderness: float | None = None
    peak_mass_flux: float
    propellant_mass: float
    wall: Wall
    over_limit: float
    drivers: list[Driver]
    curve: Curve
    warnings: list[Note | str]
    assumptions: list[Note | str]
    untaught: BeforeLearning | None = None

    @property
    def strong_warnings(self) -> list[Note]:
        """Those that tell of a danger; of older predictions, whose warnings were not rated, none."""
        return [line for line in self.warnings if isinstance(line, Note) and line.strong]

    @property
    def mild_warnings(self) -> list[Note | str]:
        """All the others."""
        return [line for line in self.warnings if isinstance(line, str) or not line.strong]


def from_row(row: Prediction) -> PredictionRecord:
    """A stored prediction as it was made."""
    return PredictionRecord.model_validate_json(f'{{"inputs": {row.inputs_json}, {row.result_json[1:]}')


def learned_words(taught: LearnedFactors, c_star: float, nozzle: float) -> str:
    """In one sentence: which efficiencies and which rate, and whether firings had a say; settings as shares [-]."""
    settings = f"c* {c_star:.0%}, nozzle {nozzle:.0%}"
    if not taught.on:
        return f"Nothing that firings taught is used ({taught.why_off}); efficiencies are the settings: {settings}."
    if not taught.used:
        return (
            f"No firing has taught anything of this formula or case yet; efficiencies are the workshop's settings: "
            f"{settings}. They are wide guesses: three static tests are worth more than any default."
        )
    n, lots = len(taught.firing_ids), taught.stick_lots
    of = [
        f"{n} firing{'s' if n > 1 else ''} of this formula" if n else "",
        f"{len(taught.case_firing_ids)} of others in this case" if taught.case_firing_ids else "",
        f"{taught.other_firings} of others in other cases" if taught.other_firings else "",
        f"sticks of {lots} lot{'s' if lots > 1 else ''}" if lots else "",
    ]
    return (
        f"Learned from {', '.join(words for words in of if words)}: burn rate {taught.rate.factor:.3f} times the law, "
        f"c* {taught.c_star.factor:.3f} and nozzle {taught.nozzle.factor:.3f} times the settings ({settings}). "
        "Firings are taken to differ by chance, and the next to be like them; what the stand itself may be off stays "
        "in the range however many there are."
    )
