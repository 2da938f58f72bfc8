"""The run sheet: the workshop's own steps, words, bands and times, in editions like the checklist."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict
from pydantic import Field as FormField
from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field, Relationship

from app.models.base import FormIn, Row
from app.units import Measure, Quantity

LineKind = Literal["weigh", "sugar", "remelt", "oxidiser", "pour", "core", "compact", "pull", "bag", "other"]
After = Literal["", "before", "pour"]


class RunSheet(Row, table=True):
    """An edition of the sheet; the newest is used, old ones stay with the sessions made from them."""

    __tablename__ = "run_sheet"
    __table_args__ = (UniqueConstraint("edition"),)

    edition: int
    note: str = ""
    lines: list["RunSheetLine"] = Relationship(
        sa_relationship_kwargs={"order_by": "RunSheetLine.position", "lazy": "selectin"}
    )


class RunSheetLine(Row, table=True):
    """One line of an edition. A line for the sugars or the oxidiser becomes a step for each thing that goes in."""

    __tablename__ = "run_sheet_line"
    __table_args__ = (
        UniqueConstraint("run_sheet_id", "position"),
        CheckConstraint("after_s IS NULL OR after_s >= 0", name="time"),
        CheckConstraint("pan_low_k IS NULL OR pan_high_k IS NULL OR pan_low_k < pan_high_k", name="band"),
    )

    run_sheet_id: int = Field(foreign_key="run_sheet.id", index=True)
    position: int
    kind: str
    words: str
    after: str = ""
    after_s: float | None = None
    pan_low_k: float | None = None
    pan_high_k: float | None = None

    @property
    def wait_s(self) -> float | None:
        """What its form calls the time."""
        return self.after_s


Minutes = Annotated[Quantity, Measure("time", ge=0, le=48 * 3600, unit="min", usual=(0, 12 * 3600))]
PanTemperature = Annotated[Quantity, Measure("temperature", gt=300, lt=480, usual=(340, 425))]


class RunSheetLineIn(BaseModel):
    """One line of the sheet being edited."""

    model_config = ConfigDict(str_strip_whitespace=True)

    kind: LineKind = FormField(title="Step")
    words: str = FormField(min_length=3, max_length=300, title="What to do")
    wait: Minutes | None = FormField(None, title="After")
    after: After = FormField("", title="Counted from")
    pan_low: PanTemperature | None = FormField(None, title="Pan from")
    pan_high: PanTemperature | None = FormField(None, title="Pan to")


class RunSheetIn(FormIn):
    """The form that makes a new edition of the sheet."""

    note: str = FormField("", max_length=300, title="What changed")
    lines: list[RunSheetLineIn] = FormField(min_length=1, title="Lines")


class PaperBowlIn(BaseModel):
    """One bowl as it stands on paper."""

    model_config = ConfigDict(str_strip_whitespace=True)

    part_id: int = FormField(title="Bowl")
    bag: str = FormField("", max_length=80, title="Bag")
    mass: Annotated[Quantity, Measure("mass", gt=0, le=100, usual=(0.0005, 20))] | None = FormField(
        None, title="Scale read"
    )


class PaperStepIn(BaseModel):
    """One step as it stands on paper."""

    model_config = ConfigDict(str_strip_whitespace=True)

    step_id: int = FormField(title="Step")
    at: str = FormField("", max_length=40, title="Done at")
    temperature: Annotated[Quantity, Measure("temperature", gt=250, lt=800)] | None = FormField(None, title="Pan")
    skipped: str = FormField("", max_length=300, title="or skipped, because")


class PaperReadingIn(BaseModel):
    """One reading of the pan as it stands on paper."""

    model_config = ConfigDict(str_strip_whitespace=True)

    at: str = FormField(min_length=1, max_length=40, title="Read at")
    temperature: Annotated[Quantity, Measure("temperature", gt=250, lt=800)] = FormField(title="Pan temperature")


class PaperGrainIn(BaseModel):
    """One grain as it stands on paper."""

    model_config = ConfigDict(str_strip_whitespace=True)

    number: int = FormField(ge=1, le=999, title="Grain")
    pattern_id: int = FormField(title="Pattern")
    gross: Annotated[Quantity, Measure("mass", gt=0, le=50)] | None = FormField(None, title="Scale read")
    in_tube: bool = FormField(False, title="In its tube")
    note: str = FormField("", max_length=300, title="What was seen")


class PaperIn(FormIn):
    """The form for a melt's whole sheet filled in on paper, in the sheet's order."""

    bowls: list[PaperBowlIn] = FormField(default_factory=list, title="Weighed out")
    steps: list[PaperStepIn] = FormField(default_factory=list, title="Steps")
    readings: list[PaperReadingIn] = FormField(default_factory=list, title="Readings of the pan")
    grains: list[PaperGrainIn] = FormField(default_factory=list, title="Grains")
    why: str = FormField("Entered from paper.", min_length=3, max_length=300, title="Why it is entered late")
