"""What is cast in, cored with and burned in: patterns, tubes, rods, cases and nozzles."""

from collections.abc import Iterator, Mapping
from datetime import date, datetime
from typing import Annotated, ClassVar

from pydantic import Field as FormField
from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field

from app.calc.base.notes import Amount
from app.calc.case.materials import MATERIALS, OTHER
from app.models.asking import When, smaller
from app.models.base import FormIn, Row, Utc, hint, one_of
from app.units import Measure, Quantity

Length = Annotated[Quantity, Measure("length", ge=0.0005, le=3, usual=(0.0005, 0.3))]
Core = Annotated[Quantity, Measure("length", ge=0.0005, le=3, usual=(0.004, 0.08))]
Throat = Annotated[Quantity, Measure("length", ge=0.0005, le=3, usual=(0.003, 0.06))]
Width = Annotated[Quantity, Measure("length", ge=0.003, le=3, usual=(0.01, 0.3))]
Size = Annotated[Quantity, Measure("length", ge=0.003, le=3, usual=(0.01, 2))]
"""A size of a grain or of what holds it: below 3 mm it is a slip, such as inches read in a workshop of millimetres."""

Name = Annotated[str, FormField(min_length=1, max_length=80, title="Name")]
Note = Annotated[str, FormField(max_length=2000, title="Note", json_schema_extra={"rows": 2})]


def _inside(read: Mapping[str, Quantity]) -> Iterator[tuple[str, str]]:
    """That a tube is narrower inside than outside."""
    for inner, outer in smaller(read, "inner_d", "outer_d"):
        yield (
            "inner_d",
            f"The inner diameter ({inner.typed}) must be smaller than the outer ({outer.typed}); measure both again.",
        )


class CastingTube(Row, table=True):
    """A liner that a grain is cast in and that stays on it."""

    __tablename__ = "casting_tube"
    __table_args__ = (UniqueConstraint("name"), CheckConstraint("inner_d_m > 0 AND outer_d_m > inner_d_m", name="wall"))

    name: str
    inner_d_m: float
    outer_d_m: float
    length_m: float | None = None
    tare_kg: float | None = None
    retired: bool = False
    note: str = ""


class CastingTubeIn(FormIn):
    """The casting-tube form."""

    @classmethod
    def contradictions(cls, read: Mapping[str, Quantity]) -> Iterator[tuple[str, str]]:
        """A wall without thickness."""
        return _inside(read)

    name: Name
    inner_d: Width = FormField(title="Inner diameter")
    outer_d: Width = FormField(title="Outer diameter")
    length: Size | None = FormField(None, title="Length as cut")
    tare: Annotated[Quantity, Measure("mass", ge=0, le=5, usual=(0.0005, 0.5))] | None = FormField(
        None, title="Mass of one empty tube", description="Taken off when a grain is weighed in its tube."
    )
    note: Note = ""


class CoringRod(Row, table=True):
    """A rod that leaves the core."""

    __tablename__ = "coring_rod"
    __table_args__ = (
        UniqueConstraint("name"),
        CheckConstraint("diameter_m > 0", name="diameter"),
        CheckConstraint("owned IS NULL OR owned >= 1", name="owned"),
    )

    name: str
    diameter_m: float
    owned: int | None = None
    retired: bool = False
    note: str = ""


class CoringRodIn(FormIn):
    """The coring-rod form."""

    name: Name
    diameter: Core = FormField(title="Diameter")
    owned: int | None = FormField(
        None, ge=1, le=200, title="How many of it", description="As many grains are cored at once."
    )
    note: Note = ""


class GrainPattern(Row, table=True):
    """A grain as it is meant to be: sizes and which faces burn."""

    __tablename__ = "grain_pattern"
    __table_args__ = (
        UniqueConstraint("name"),
        CheckConstraint("core_d_m > 0 AND core_d_m < outer_d_m", name="core_inside"),
        CheckConstraint("length_m > 0", name="length"),
        CheckConstraint("burning_ends BETWEEN 0 AND 2", name="ends"),
    )

    name: str
    outer_d_m: float
    core_d_m: float
    length_m: float
    burning_ends: int = 2
    burns_outer: bool = False
    casting_tube_id: int | None = Field(default=None, foreign_key="casting_tube.id")
    coring_rod_id: int | None = Field(default=None, foreign_key="coring_rod.id")
    retired: bool = False
    note: str = ""

    geometry: ClassVar[str] = "hollow cylinder"
    """Of every pattern, as long as there is no column for another."""


class GrainPatternIn(FormIn):
    """The grain-pattern form; in a tube that stays on, the outer surface cannot burn."""

    whens = (When("casting_tube_id", ("",), ("burns_outer",)),)

    @classmethod
    def contradictions(cls, read: Mapping[str, Quantity]) -> Iterator[tuple[str, str]]:
        """A core as wide as the grain."""
        for core, outer in smaller(read, "core_d", "outer_d"):
            yield "core_d", f"The core ({core.typed}) must be narrower than the grain ({outer.typed})."

    name: Name
    outer_d: Width | None = FormField(
        None, title="Outer diameter of the propellant", description="Left empty: the inside of the casting tube below."
    )
    core_d: Core | None = FormField(
        None, title="Core diameter", description="Left empty: the diameter of the coring rod below."
    )
    length: Size = FormField(title="Length")
    burning_ends: Annotated[int, FormField(ge=0, le=2)] = FormField(title="End faces that burn")
    burns_outer: bool = FormField(False, title="The outer surface burns too (no tube, no inhibitor)")
    casting_tube_id: int | None = FormField(None, title="Casting tube")
    coring_rod_id: int | None = FormField(None, title="Coring rod")
    note: Note = ""


class Case(Row, table=True):
    """A reusable motor case."""

    __tablename__ = "motor_case"
    __table_args__ = (
        UniqueConstraint("name"),
        CheckConstraint("inner_d_m > 0 AND outer_d_m > inner_d_m", name="wall"),
        CheckConstraint("chamber_length_m > 0", name="length"),
        CheckConstraint("rated_pressure_pa IS NULL OR rated_pressure_pa > 0", name="rated"),
        CheckConstraint("proof_pressure_pa IS NULL OR proof_pressure_pa > 0", name="proof"),
        CheckConstraint("closure IN ('', 'ring', 'bolts')", name="closure"),
    )

    name: str
    inner_d_m: float
    outer_d_m: float
    chamber_length_m: float
    material: str = Field(sa_column_kwargs=one_of(*MATERIALS, OTHER))
    yield_strength_pa: float | None = None
    rated_pressure_pa: float | None = None
    proof_pressure_pa: float | None = None
    proof_on: date | None = None
    wall_temperature_k: float | None = None
    closure: str = ""
    groove_d_m: float | None = None
    ring_thickness_m: float | None = None
    land_m: float | None = None
    bolt_count: int | None = None
    hole_d_m: float | None = None
    shank_d_m: float | None = None
    edge_m: float | None = None
    holder_yield_pa: float | None = None
    empty_mass_kg: float | None = None
    empty_mass_typed: str | None = None
    retired: bool = False
    note: str = ""


class CaseIn(FormIn):
    """The case form."""

    whens = (
        When(
            "material",
            (OTHER,),
            ("yield_strength",),
            "The book does not know the yield strength of this material; take the least of its standard or data sheet.",
        ),
        When("closure", ("ring",), ("groove_d", "ring_thickness", "land"), "A ring in a groove needs it; measure it."),
        When("closure", ("bolts",), ("bolt_count", "hole_d", "shank_d", "edge"), "Bolts or pins need it; measure it."),
        When("closure", ("ring", "bolts"), ("holder_yield",), "What holds the closures is worked out from it."),
    )
    together = (("proof_pressure", "proof_on"),)

    @classmethod
    def contradictions(cls, read: Mapping[str, Quantity]) -> Iterator[tuple[str, str]]:
        """A wall without thickness."""
        return _inside(read)

    name: Name
    inner_d: Width = FormField(title="Inner diameter")
    outer_d: Width = FormField(title="Outer diameter")
    chamber_length: Size = FormField(
        title="Room for grains", description="Length between the forward closure and the nozzle's seat."
    )
    material: str = FormField(title="Material")
    yield_strength: (
        Annotated[Quantity, Measure("pressure", gt=1e6, le=3e9, usual=(2e7, 2e9), above_air=True)] | None
    ) = FormField(None, title="Yield strength", description="Only for a material that is not in the list.")
    rated_pressure: (
        Annotated[Quantity, Measure("pressure", gt=1e5, le=1e8, usual=(1e6, 3e7), above_air=True)] | None
    ) = FormField(None, title="Rated pressure", description="The maker's rating or your own.")
    proof_pressure: (
        Annotated[Quantity, Measure("pressure", gt=1e5, le=1e8, usual=(1e6, 3e7), above_air=True)] | None
    ) = FormField(None, title="Proof-tested to", description="Your own water-pressure test; it outranks any formula.")
    proof_on: date | None = FormField(None, title="Proof-tested on")
    wall_temperature: Annotated[Quantity, Measure("temperature", gt=230, lt=800, usual=(250, 573))] | None = FormField(
        None,
        title="Wall temperature at the peak",
        json_schema_extra=hint(
            "Your assumption: heat takes strength away. Left empty: {room}.", room=Amount(293.15, "temperature")
        ),
    )
    closure: str = FormField("", title="The closures are held by")
    groove_d: Length | None = FormField(
        None, title="Groove diameter", description="Across the bottom of the groove, inside the case."
    )
    ring_thickness: Length | None = FormField(
        None, title="Ring thickness", description="Along the case; the groove is as wide."
    )
    land: Length | None = FormField(
        None, title="Wall behind the groove", description="Length from the groove to the end of the case."
    )
    bolt_count: int | None = FormField(None, ge=1, le=100, title="Bolts round one closure")
    hole_d: Length | None = FormField(None, title="Hole diameter", description="In the case's wall.")
    shank_d: Length | None = FormField(
        None, title="Bolt diameter where it is sheared", description="The root of the thread if it is threaded there."
    )
    edge: Length | None = FormField(
        None, title="Hole to the end of the case", description="From the middle of the hole."
    )
    holder_yield: Annotated[Quantity, Measure("pressure", gt=1e7, le=3e9, usual=(2e7, 2e9), above_air=True)] | None = (
        FormField(
            None, title="Yield strength of ring or bolts", description="The least value of its standard or data sheet."
        )
    )
    empty_mass: Annotated[Quantity, Measure("mass", ge=0.005, le=100, usual=(0.02, 30))] | None = FormField(
        None, title="Mass of the empty motor", description="Weighed with closures, nozzle and rings, without grains."
    )
    note: Note = ""


class Nozzle(Row, table=True):
    """A nozzle; its throat as last measured is in its history."""

    __table_args__ = (
        UniqueConstraint("name"),
        CheckConstraint("throat_d_m > 0 AND exit_d_m >= throat_d_m", name="throat_inside_exit"),
    )

    name: str
    throat_d_m: float
    exit_d_m: float
    divergence_rad: float | None = None
    material: str = ""
    retired: bool = False
    note: str = ""


class NozzleIn(FormIn):
    """The nozzle form."""

    @classmethod
    def contradictions(cls, read: Mapping[str, Quantity]) -> Iterator[tuple[str, str]]:
        """An exit narrower than the throat."""
        throat, outside = read.get("throat_d"), read.get("exit_d")
        if throat and outside and outside.si < throat.si:
            yield ("exit_d", f"The exit ({outside.typed}) must be at least as wide as the throat ({throat.typed}).")

    name: Name
    throat_d: Throat = FormField(title="Throat diameter as made")
    exit_d: Width = FormField(title="Exit diameter")
    divergence: Annotated[Quantity, Measure("angle", gt=0, lt=1.2, usual=(0.05, 0.8))] | None = FormField(
        None, title="Divergence half angle", description="Between the axis and the exit cone's wall."
    )
    material: str = FormField("", max_length=80, title="Material")
    note: Note = ""


class NozzleMeasure(Row, table=True):
    """A throat measured on a day."""

    __tablename__ = "nozzle_measure"
    __table_args__ = (CheckConstraint("throat_d_m > 0", name="throat"),)

    nozzle_id: int = Field(foreign_key="nozzle.id", index=True)
    measured_on: date
    throat_d_m: float
    throat_d_typed: str
    note: str = ""
    voided_at: datetime | None = Field(default=None, sa_type=Utc)
    voided_why: str | None = None


class NozzleMeasureIn(FormIn):
    """The form for a throat measured."""

    measured_on: date = FormField(title="Measured on")
    throat_d: Throat = FormField(title="Throat diameter")
    note: str = FormField("", max_length=300, title="Note")
