"""What belongs to a firing beside its figures: what was found of a failure, pictures, and where films lie."""

from datetime import datetime
from typing import Any, ClassVar, Literal

from pydantic import Field as FormField
from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field, Relationship

from app.models.base import FormIn, Row, Utc
from app.models.picture import KeptPicture

CASE = {
    "held": "Whole",
    "bulged": "Bulged",
    "holed": "Burned through",
    "split": "Split or torn open",
    "lost": "Not found",
    "unseen": "Not looked at",
}
CLOSURE = {
    "held": "Held",
    "leaked": "Leaked: soot or burned seals",
    "moved": "Moved or loosened",
    "out": "Blown out",
    "lost": "Not found",
    "unseen": "Not looked at",
}
NOZZLE = {
    "held": "Whole and clear",
    "blocked": "Blocked",
    "worn": "Washed out or oval",
    "cracked": "Cracked or chipped",
    "out": "Blown out",
    "lost": "Not found",
    "unseen": "Not looked at",
}
REMAINS = {
    "none": "Nothing left: all burned",
    "slivers": "Slivers",
    "pieces": "Unburned pieces",
    "whole": "Whole grains",
    "cracked": "A grain that was cracked, hollow or loose from its liner",
    "unseen": "Not looked at",
}
PARTS = {"case": CASE, "closure": CLOSURE, "nozzle": NOZZLE, "remains": REMAINS}
"""The parts that are looked at after a failure, and how each may be found."""

SOUND = {"case": ("held", "unseen"), "closure": ("held", "unseen"), "nozzle": ("held", "unseen")}
"""States of the parts of the motor that are no failure of theirs."""


class FiringFinding(Row, table=True):
    """What was found after a firing, by part. Looking again makes another row; the newest counts."""

    __tablename__ = "firing_finding"

    firing_id: int = Field(foreign_key="firing.id", index=True)
    case_found: str
    case_words: str = ""
    closure_found: str
    closure_words: str = ""
    nozzle_found: str
    nozzle_words: str = ""
    remains_found: str
    remains_words: str = ""
    suspicion: str = ""
    suspects: list["SuspectGrain"] = Relationship(sa_relationship_kwargs={"lazy": "selectin"})


class SuspectGrain(Row, table=True):
    """A grain of the motor that a failure may have begun at."""

    __tablename__ = "suspect_grain"
    __table_args__ = (UniqueConstraint("firing_finding_id", "grain_id"),)

    firing_finding_id: int = Field(foreign_key="firing_finding.id", index=True)
    grain_id: int = Field(foreign_key="grain.id", index=True)


def _words(title: str) -> Any:
    return FormField("", max_length=1000, title=title, json_schema_extra={"rows": 2})


class FindingIn(FormIn):
    """The form of what was found."""

    case_found: Literal["held", "bulged", "holed", "split", "lost", "unseen"] = FormField(title="Case")
    case_words: str = _words("The case in words")
    closure_found: Literal["held", "leaked", "moved", "out", "lost", "unseen"] = FormField(title="Closures")
    closure_words: str = _words("The closures in words")
    nozzle_found: Literal["held", "blocked", "worn", "cracked", "out", "lost", "unseen"] = FormField(title="Nozzle")
    nozzle_words: str = _words("The nozzle in words")
    remains_found: Literal["none", "slivers", "pieces", "whole", "cracked", "unseen"] = FormField(title="Grain remains")
    remains_words: str = _words("The remains in words")
    grain_ids: list[int] = FormField(default_factory=list, max_length=30, title="Suspected grains")
    suspicion: str = FormField(
        "",
        max_length=1000,
        title="Why they are suspected",
        json_schema_extra={"rows": 2},
        description="What points to them; a guess is called one.",
    )


class FiringPicture(KeptPicture, Row, table=True):
    """A small picture of a firing."""

    __tablename__ = "firing_picture"
    __table_args__ = (
        UniqueConstraint("firing_id", "sha256"),
        CheckConstraint("size_bytes > 0", name="whole"),
        CheckConstraint("media_type IN ('image/jpeg', 'image/png', 'image/webp')", name="media_type"),
        CheckConstraint("location IN ('none', 'unknown', 'left_out', 'cut_out', 'kept')", name="location"),
        CheckConstraint("voided_at IS NULL OR coalesce(length(voided_why), 0) > 0", name="voided_with_reason"),
    )

    owner: ClassVar[str] = "firing_id"
    firing_id: int = Field(foreign_key="firing.id", index=True)


class FiringReference(Row, table=True):
    """Where a picture or film of a firing lies outside the book: words, which the book never opens."""

    __tablename__ = "firing_reference"
    __table_args__ = (
        CheckConstraint("voided_at IS NULL OR coalesce(length(voided_why), 0) > 0", name="voided_with_reason"),
    )

    firing_id: int = Field(foreign_key="firing.id", index=True)
    address: str
    caption: str = ""
    voided_at: datetime | None = Field(default=None, sa_type=Utc)
    voided_why: str | None = None


class ReferenceIn(FormIn):
    """The form of a picture or film that lies elsewhere."""

    address: str = FormField(
        min_length=2,
        max_length=1000,
        title="Where it is kept",
        description="A path, a shelf, or an address that begins with https:// or http://. The book only notes it.",
    )
    caption: str = FormField("", max_length=300, title="What it shows")
