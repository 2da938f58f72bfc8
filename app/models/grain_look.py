"""What was seen of a grain: its faces, its outer face, its inhibitor; and pictures of it."""

from datetime import datetime
from typing import ClassVar, Literal

from pydantic import Field as FormField
from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field

from app.models.base import FormIn, Row, Utc, one_of
from app.models.picture import KeptPicture

UNSEEN = "unseen"

FACE = {UNSEEN: "Not looked at", "sound": "Sound", "chipped": "Chipped", "bubbles": "Bubbles"}
INHIBITOR = {
    UNSEEN: "Not looked at",
    "sound": "Sound",
    "loose": "Loose",
    "chipped": "Chipped",
    "bubbles": "Bubbles under it",
    "none": "It has none",
}
PARTS = {"faces": FACE, "outer_face": FACE, "inhibitor": INHIBITOR}
"""What is looked at, and how each may be found."""

FINE = (UNSEEN, "sound", "none")
"""States that raise no doubt; what was not looked at is no doubt, and no praise either."""

NAMES = {"faces": "faces", "outer_face": "outer face", "inhibitor": "inhibitor"}

DOUBTS = {
    ("faces", "chipped"): "a face is chipped",
    ("faces", "bubbles"): "bubbles in a face",
    ("outer_face", "chipped"): "the outer face is chipped",
    ("outer_face", "bubbles"): "bubbles in the outer face",
    ("inhibitor", "loose"): "the inhibitor is loose",
    ("inhibitor", "chipped"): "the inhibitor is chipped",
    ("inhibitor", "bubbles"): "bubbles under the inhibitor",
}
"""What is said of each state that is doubtful."""


class GrainLook(Row, table=True):
    """One look at a grain. Looking again makes another row, and the newest counts; struck out, never erased."""

    __tablename__ = "grain_look"
    __table_args__ = (
        CheckConstraint("voided_at IS NULL OR coalesce(length(voided_why), 0) > 0", name="voided_with_reason"),
    )

    grain_id: int = Field(foreign_key="grain.id", index=True)
    looked_at: datetime = Field(sa_type=Utc)
    faces: str = Field(default=UNSEEN, sa_column_kwargs=one_of(*FACE))
    outer_face: str = Field(default=UNSEEN, sa_column_kwargs=one_of(*FACE))
    inhibitor: str = Field(default=UNSEEN, sa_column_kwargs=one_of(*INHIBITOR))
    note: str = ""
    person: str = ""
    voided_at: datetime | None = Field(default=None, sa_type=Utc)
    voided_why: str | None = None

    @property
    def doubt(self) -> str:
        """What is doubtful about the grain, in words; empty when nothing that was looked at is."""
        found = [DOUBTS[part, getattr(self, part)] for part in PARTS if getattr(self, part) not in FINE]
        return ", ".join(found)

    @property
    def words(self) -> str:
        """What was seen, part by part."""
        return ", ".join(f"{NAMES[part]}: {states[getattr(self, part)].lower()}" for part, states in PARTS.items())


class GrainPicture(KeptPicture, Row, table=True):
    """A small picture of a grain."""

    __tablename__ = "grain_picture"
    __table_args__ = (
        UniqueConstraint("grain_id", "sha256"),
        CheckConstraint("size_bytes > 0", name="whole"),
        CheckConstraint("media_type IN ('image/jpeg', 'image/png', 'image/webp')", name="media_type"),
        CheckConstraint("location IN ('none', 'unknown', 'left_out', 'cut_out', 'kept')", name="location"),
        CheckConstraint("voided_at IS NULL OR coalesce(length(voided_why), 0) > 0", name="voided_with_reason"),
    )

    owner: ClassVar[str] = "grain_id"
    grain_id: int = Field(foreign_key="grain.id", index=True)


class GrainLookIn(FormIn):
    """The form of a look. What was not looked at stays told as that."""

    faces: Literal["unseen", "sound", "chipped", "bubbles"] = FormField("unseen", title="Its two faces")
    outer_face: Literal["unseen", "sound", "chipped", "bubbles"] = FormField("unseen", title="Outer face")
    inhibitor: Literal["unseen", "sound", "loose", "chipped", "bubbles", "none"] = FormField(
        "unseen", title="Inhibitor"
    )
    note: str = FormField("", max_length=300, title="What was seen")
    back: Literal["shelf", "weigh"] = FormField("shelf", title="The page that it was told on")
