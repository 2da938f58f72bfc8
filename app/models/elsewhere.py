"""The form that chooses the second place for copies."""

from typing import Final, Literal

from pydantic import Field as FormField

from app.models.base import FormIn

LEAST_LETTERS = 12
"""Of a passphrase: whoever has the drive can try as many as they like. Common practice, no source."""

READABLE: Final = "Anybody who has the drive can read them"
ENCRYPTED: Final = "Encrypted with a passphrase"


class ElsewhereIn(FormIn):
    """Where copies go besides the folder beside the book, and whether they are encrypted there."""

    folder: str = FormField(
        "",
        max_length=1000,
        title="Folder of the second place",
        description="On a USB stick, a network drive, or a folder that another program keeps in step with another "
        "computer; its whole path, such as /media/you/STICK or E:\\. Left empty: no second place.",
    )
    form: Literal["Anybody who has the drive can read them", "Encrypted with a passphrase"] = FormField(
        title="The copies there"
    )
    passphrase: str = FormField(
        "",
        max_length=200,
        title="Passphrase",
        description=f"Only for encrypted copies: {LEAST_LETTERS} letters or more, better four words that nobody would "
        "put together. Left empty where copies are encrypted already: the passphrase stays as it is. It is kept "
        "nowhere: who loses it has lost these copies.",
        json_schema_extra={"secret": True},
    )
    again: str = FormField("", max_length=200, title="Passphrase, once more", json_schema_extra={"secret": True})
