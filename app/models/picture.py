"""Small pictures that belong to a row: of a firing, of a grain. Their bytes lie in the folder of files."""

from datetime import datetime

from pydantic import Field as FormField
from sqlmodel import Field, SQLModel

from app.models.base import SHA256, FormIn, Utc, one_of

LOCATION = {
    "none": "",
    "unknown": "Whether the picture says where it was taken was not looked at, or could not be read.",
    "left_out": "The picture said where it was taken; that was left out.",
    "cut_out": "A part of the picture could not be read and might have said where it was taken; it was left out whole.",
    "kept": "The picture says where it was taken; that was kept, as asked.",
}
"""What became of the place that a picture names, and what is said of it."""


class KeptPicture(SQLModel):
    """A picture, kept under its SHA-256. Its name is words for a person, never a path."""

    name: str
    caption: str = ""
    media_type: str
    width: int
    height: int
    sha256: str = Field(sa_column_kwargs=SHA256)
    size_bytes: int
    location: str = Field(default="none", sa_column_kwargs={"server_default": "unknown", **one_of(*LOCATION)})
    """What it says of where it was taken: see `LOCATION`."""
    voided_at: datetime | None = Field(default=None, sa_type=Utc)
    voided_why: str | None = None


class PictureIn(FormIn):
    """The form that a picture is sent with."""

    file: str = FormField(title="Picture", description="JPEG, PNG or WebP, up to 2 MB.")
    caption: str = FormField("", max_length=300, title="What it shows")
    keep_location: bool = FormField(
        False,
        title="Keep where it was taken, if the picture says so",
        description="Left empty, the place is left out and the rest of the picture is kept byte by byte.",
    )


class StrikeIn(FormIn):
    """Why a picture or a reference is taken away."""

    why: str = FormField(min_length=3, max_length=300, title="Why it is removed")
