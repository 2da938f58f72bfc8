"""Pictures that belong to a row, of a firing or of a grain: taken in without the place they name, each kept once by its
SHA-256, taken away with a reason and never erased.
"""

from typing import Any, TypeVar

from sqlmodel import Session, col, select

from app import clock, picture_places, pictures
from app.errors import NotFound, Refused
from app.models import FiringPicture, FiringReference, GrainPicture
from app.models.picture import LOCATION, KeptPicture, PictureIn, StrikeIn
from app.services.book import repository, stored_files

P = TypeVar("P", FiringPicture, GrainPicture)

LIMIT = 2 * 1024 * 1024
"""Largest picture taken [bytes]."""

MOST = 12
"""Pictures of one row that are not struck out; films and more pictures are referred to."""

MOST_EVER = 36
"""Pictures of one row with those struck out, which stay in the book."""


def shown(session: Session, table: type[P], owner_id: int) -> list[P]:
    """The pictures of a row in the order they came, struck ones too."""
    of: Any = getattr(table, table.owner)
    return list(session.exec(select(table).where(of == owner_id).order_by(col(table.id))))


def picture(session: Session, table: type[P], owner_id: int, picture_id: int) -> P:
    """One picture of a row.

    Raises
    ------
    NotFound
        The row has no such picture.
    """
    found = next((p for p in shown(session, table, owner_id) if p.pk == picture_id), None)
    if found is None:
        raise NotFound(f"This {_noun(table)} has no such picture.")
    return found


def keep(session: Session, table: type[P], owner_id: int, data: PictureIn, raw: bytes) -> P:
    """Keep a picture, without the place it was taken at unless that is asked for; else as it came.

    The same one sent again is the one that is there.

    Raises
    ------
    Refused
        It is too large, it is no picture, or the row has as many as fit; beside the field.
    """
    if len(raw) > LIMIT:
        raise Refused(too_large(), field="file")
    if not raw:
        raise Refused("Choose a picture; this one is empty.", field="file")
    try:
        kind = pictures.kind_of(raw)
        raw, location = _looked_at(raw, data.keep_location)
    except pictures.NoPicture as error:
        raise Refused(str(error), field="file") from None
    there = shown(session, table, owner_id)
    digest = stored_files.keep(session, raw)
    same = next((p for p in there if p.sha256 == digest), None)
    if same is not None and same.voided_at is not None:
        raise Refused(f"This picture was taken away: {same.voided_why}", field="file")
    if same is not None:
        return same
    if sum(p.voided_at is None for p in there) >= MOST or len(there) >= MOST_EVER:
        noun = _noun(table)
        raise Refused(f"A {noun} has {MOST} pictures at most. Note where the others lie instead.", field="file")
    of: dict[str, Any] = {table.owner: owner_id}
    row = table(
        **of,
        name=data.file or "no name",
        caption=data.caption,
        media_type=kind.media_type,
        width=kind.width,
        height=kind.height,
        sha256=digest,
        size_bytes=len(raw),
        location=location,
    )
    session.add(row)
    session.flush()
    return row


def _noun(table: type[P]) -> str:
    return table.owner.removesuffix("_id")


def _looked_at(raw: bytes, keep: bool) -> tuple[bytes, str]:
    """A picture as it is kept, and what became of the place that it names."""
    try:
        looked = picture_places.without_place(raw)
    except pictures.NoPicture:
        if not keep:
            raise
        return raw, "unknown"
    if keep:
        return raw, "kept" if looked.found else "unknown" if looked.cut else "none"
    return looked.raw, "cut_out" if looked.cut else "left_out" if looked.found else "none"


def told_of(row: KeptPicture) -> str:
    """What is said of the place that a picture names; "" where it names none."""
    return LOCATION[row.location]


def too_large() -> str:
    """What is said of a picture over the limit."""
    return f"The picture is larger than {LIMIT // 1024**2} MB. Make it smaller, or note where it is kept instead."


def strike(
    session: Session, row: FiringPicture | GrainPicture | FiringReference, data: StrikeIn, version: int | None = None
) -> None:
    """Take a picture or a reference away: it is shown no more, and stays in the book with the reason.

    Raises
    ------
    Conflict
        It was changed since the page was opened.
    Refused
        It was taken away already.
    """
    if row.voided_at is not None:
        raise Refused("This was taken away already.")
    repository.claim(row, version)
    row.voided_at, row.voided_why = clock.now(), data.why
    session.flush()
