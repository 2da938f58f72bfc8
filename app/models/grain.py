"""A grain: what came off the tools, what the scale said and what the person decided."""

from datetime import datetime
from typing import Annotated, Literal

from pydantic import BeforeValidator
from pydantic import Field as FormField
from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field

from app import scale_lines
from app.models.base import CODE, FormIn, Row, Utc, one_of
from app.models.hardware import Length
from app.units import Measure, Quantity, UnitError, UnitSystem

FAULTS = {
    "void": "Void",
    "crack": "Crack",
    "off centre": "Core off centre",
    "soft": "Soft",
    "wet": "Wet",
    "chipped": "Chipped",
}
"""What a grain is held or rejected for, in words of the trade."""


VERDICTS = ("accept", "look", "reject")
"""What the numbers say of a grain."""


class Decided:
    """What a person decided on a grain, as it is read."""

    decision_fault: str | None
    decision_why: str

    @property
    def decision_words(self) -> str:
        """What is wrong with it and what the person wrote, as they are read together."""
        return ": ".join(part for part in (FAULTS.get(self.decision_fault or "", ""), self.decision_why) if part)


class Grain(Row, Decided, table=True):
    """One grain. Sizes not measured are the pattern's; the verdict is kept as it stood at the decision."""

    __table_args__ = (
        UniqueConstraint("serial"),
        UniqueConstraint("batch_id", "number"),
        CheckConstraint("mass_kg > 0", name="mass"),
        CheckConstraint("length_m > 0 AND core_d_m > 0 AND core_d_m < outer_d_m", name="sizes"),
        CheckConstraint("verdict IN ('accept', 'look', 'reject')", name="verdict"),
        CheckConstraint("decision IS NULL OR decision IN ('accept', 'hold', 'reject')", name="decision"),
        CheckConstraint("gone_to IS NULL OR gone_to IN ('remelt', 'scrap')", name="gone_to"),
        CheckConstraint("gone_to IS NULL OR (decision = 'reject' AND gone_at IS NOT NULL)", name="gone_rejected"),
    )

    serial: str = Field(index=True, sa_column_kwargs=CODE)
    batch_id: int = Field(foreign_key="batch.id", index=True)
    pattern_id: int = Field(foreign_key="grain_pattern.id")
    number: int
    gross_kg: float
    gross_typed: str
    tare_kg: float = 0.0
    mass_kg: float
    length_m: float
    length_typed: str | None = None
    core_d_m: float
    core_d_typed: str | None = None
    outer_d_m: float
    outer_d_typed: str | None = None
    weighed_at: datetime = Field(sa_type=Utc)
    density_kg_m3: float
    density_share: float
    verdict: str
    verdict_why: str
    decision: str | None = None
    decision_fault: str | None = Field(default=None, sa_column_kwargs=one_of(*FAULTS))
    decision_why: str = ""
    decided_by: str = ""
    decided_at: datetime | None = Field(default=None, sa_type=Utc)
    bagged_at: datetime | None = Field(default=None, sa_type=Utc)
    gone_to: str | None = None
    gone_at: datetime | None = Field(default=None, sa_type=Utc)
    gone_by: str = ""
    note: str = ""


class GrainMeasure(Row, Decided, table=True):
    """How a grain stood before it was measured or decided on again; nothing is erased."""

    __tablename__ = "grain_measure"

    grain_id: int = Field(foreign_key="grain.id", index=True)
    serial: str = Field(sa_column_kwargs=CODE)
    pattern_id: int = Field(foreign_key="grain_pattern.id")
    gross_kg: float
    gross_typed: str
    tare_kg: float
    mass_kg: float
    length_m: float
    core_d_m: float
    outer_d_m: float
    weighed_at: datetime = Field(sa_type=Utc)
    density_share: float
    verdict: str = Field(sa_column_kwargs=one_of(*VERDICTS))
    decision: str | None = None
    decision_fault: str | None = Field(default=None, sa_column_kwargs=one_of(*FAULTS))
    decision_why: str = ""
    decided_by: str = ""
    decided_at: datetime | None = Field(default=None, sa_type=Utc)
    offcut_kg: float = 0.0
    why: str


class StruckWeighing(Row, table=True):
    """A weighing taken back within its minute: it never was a grain of its lot, but its numbers stay readable."""

    __tablename__ = "struck_weighing"

    batch_id: int = Field(foreign_key="batch.id", index=True)
    pattern_id: int = Field(foreign_key="grain_pattern.id")
    serial: str = Field(index=True, sa_column_kwargs=CODE)
    number: int
    gross_kg: float
    gross_typed: str
    tare_kg: float
    mass_kg: float
    length_m: float
    core_d_m: float
    outer_d_m: float
    weighed_at: datetime = Field(sa_type=Utc)
    density_share: float
    verdict: str = Field(sa_column_kwargs=one_of(*VERDICTS))
    grain_version: int
    struck_at: datetime = Field(sa_type=Utc)
    why: str


class ScaleReading(Measure):
    """A mass as a person types it or as a scale that types like a keyboard sends it; the line is kept as it came."""

    def read(self, text: str, units: UnitSystem) -> Quantity:
        """The weight in a text, or in a scale's line; raises `UnitError`."""
        try:
            line = scale_lines.parse(text)
        except scale_lines.ScaleLineError as error:
            raise UnitError(str(error)) from None
        found = super().read(line.text, units)
        came = " ".join(text.split())
        return Quantity(found.si, came if line.kind != "typed" and line.text in came else found.typed)


class GrainIn(FormIn):
    """The form of one grain on the scale."""

    pattern_id: int = FormField(title="Pattern")
    number: Annotated[str, BeforeValidator(str)] = FormField(
        min_length=1, max_length=40, title="Number", description="Or the serial, typed or scanned."
    )
    gross: Annotated[Quantity, ScaleReading("mass", gt=0, le=50)] = FormField(title="Scale reads")
    in_tube: bool = FormField(False, title="Weighed in its tube")
    tare: Annotated[Quantity, Measure("mass", ge=0, le=5, usual=(0.0005, 0.5))] | None = FormField(
        None, title="Tube's mass", description="Left empty: the mass kept with the casting tube."
    )
    length: Length | None = FormField(None, title="Length", description="Left empty: as the pattern.")
    core_d: Length | None = FormField(None, title="Core", description="Left empty: as the pattern.")
    outer_d: Length | None = FormField(None, title="Outer diameter", description="Left empty: as the pattern.")
    note: str = FormField("", max_length=300, title="Note")


AGAIN = {"trimmed": "Trimmed", "wrong": "The first weighing was wrong", "later": "Weighed again later"}
"""Why a grain that was weighed already is on the scale again."""


class BenchIn(GrainIn):
    """The form at the bench: the next grain, or one that was weighed already with what happened to it."""

    again: Literal["trimmed", "wrong", "later"] | None = FormField(None, title="Weighed already; now it is")
    offcut: Literal["scrap", "remelt"] = FormField("scrap", title="What was cut off goes")


class GrainCorrectionIn(GrainIn):
    """The form to weigh or measure a grain again."""

    why: str = FormField(min_length=3, max_length=300, title="Why it is measured again")


class DecisionIn(FormIn):
    """The form of the person's own decision."""

    decision: Literal["accept", "hold", "reject"] = FormField(title="Decision")
    fault: Literal["void", "crack", "off centre", "soft", "wet", "chipped"] | None = FormField(
        None, title="What is wrong"
    )
    why: str = FormField("", max_length=300, title="Reason")
    person: str = FormField("", max_length=80, title="Decided by")


class AcceptAllIn(FormIn):
    """The form to accept every grain that the numbers accept."""

    person: str = FormField("", max_length=80, title="Decided by")


class GoneIn(FormIn):
    """Where a rejected grain goes: one button for each."""

    to: Literal["remelt", "scrap"] = FormField(title="Where it goes")


class OneButtonIn(FormIn):
    """The form of one button that needs nothing typed."""


class BagIn(FormIn):
    """The form of one button: seal it in its bag, now."""
