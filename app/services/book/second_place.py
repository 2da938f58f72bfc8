"""The second place for copies as the settings name it: the rules of its form, and how far the book has come."""

from sqlalchemy import text
from sqlmodel import Session

from app.errors import Refused
from app.models import Workshop
from app.models.elsewhere import ENCRYPTED, LEAST_LETTERS, ElsewhereIn
from app.services.book import repository, workshop


def passphrase_of(data: ElsewhereIn, key: str) -> str:
    """The passphrase for a new key; "" where none is wanted, or the key in use stays.

    Raises
    ------
    Refused
        It is missing, too short, or typed twice in two ways.
    """
    if data.form != ENCRYPTED:
        if data.passphrase or data.again:
            raise Refused(
                f"A passphrase is for encrypted copies. Choose “{ENCRYPTED}”, or leave the passphrase empty.",
                field="form",
            )
        return ""
    if not data.passphrase and not data.again:
        if not key:
            raise Refused("Give a passphrase to encrypt the copies with.", field="passphrase")
        return ""
    if data.passphrase != data.again:
        raise Refused("The two do not agree. Type the passphrase twice, in the same way.", field="again")
    if len(data.passphrase) < LEAST_LETTERS:
        raise Refused(
            f"Make it {LEAST_LETTERS} letters or longer. Whoever finds the drive can let a machine try passphrases "
            "for as long as they like, and short ones are found.",
            field="passphrase",
        )
    return data.passphrase


def set_place(session: Session, folder: str, key: str, version: int | None) -> Workshop:
    """Name the second place, and the public key that copies there are closed with; "" for none.

    Raises
    ------
    Conflict
        The settings were changed since the page was opened.
    """
    row = workshop.get(session)
    repository.claim(row, version)
    row.elsewhere_folder, row.elsewhere_key = folder, key
    session.flush()
    return row


def saves(session: Session) -> int:
    """How many saves the book has acknowledged, counted as the copies count them."""
    return int(session.execute(text("SELECT coalesce(max(rowid), 0) FROM once_token")).scalar_one())
