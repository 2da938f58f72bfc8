"""Pictures of a firing, kept in the book while they are small; and where larger ones and films lie."""

from urllib.parse import urlsplit

from sqlmodel import Session, col, select

from app import clock, picture_places, pictures
from app.errors import NotFound, Refused
from app.models import Firing, FiringPicture, FiringReference
from app.models.firing_log import LOCATION, PictureIn, ReferenceIn, StrikeIn
from app.services.book import repository, stored_files

LIMIT = 2 * 1024 * 1024
"""Largest picture taken [bytes]."""

MOST = 12
"""Pictures of one firing that are not struck out; films and more pictures are referred to."""

MOST_EVER = 36
"""Pictures of one firing with those struck out, which stay in the book."""


# --- Finding -------------------------------------------------------------------------------------


def shown(session: Session, firing: Firing) -> list[FiringPicture]:
    """The pictures of a firing in the order they came, struck ones too."""
    query = select(FiringPicture).where(FiringPicture.firing_id == firing.pk).order_by(col(FiringPicture.id))
    return list(session.exec(query))


def picture(session: Session, firing: Firing, picture_id: int) -> FiringPicture:
    """One picture of a firing.

    Raises
    ------
    NotFound
        The firing has no such picture.
    """
    found = next((p for p in shown(session, firing) if p.pk == picture_id), None)
    if found is None:
        raise NotFound("This firing has no such picture.")
    return found


def references(session: Session, firing: Firing) -> list[FiringReference]:
    """What is referred to, in the order it was told, struck lines too."""
    query = select(FiringReference).where(FiringReference.firing_id == firing.pk)
    return list(session.exec(query.order_by(col(FiringReference.id))))


def reference(session: Session, firing: Firing, reference_id: int) -> FiringReference:
    """One reference of a firing.

    Raises
    ------
    NotFound
        The firing has no such reference.
    """
    found = next((r for r in references(session, firing) if r.pk == reference_id), None)
    if found is None:
        raise NotFound("This firing has no such reference.")
    return found


def is_link(address: str) -> bool:
    """Whether an address is one that a person may follow: http or https with a host, and nothing else."""
    try:
        parts = urlsplit(address)
    except ValueError:
        return False
    return parts.scheme in ("http", "https") and bool(parts.hostname) and not any(c.isspace() for c in address)


# --- Taking in -----------------------------------------------------------------------------------


def keep(session: Session, firing: Firing, data: PictureIn, raw: bytes) -> FiringPicture:
    """Keep a picture, without the place it was taken at unless that is asked for; else as it came.

    The same one sent again is the one that is there.

    Raises
    ------
    Refused
        It is too large, it is no picture, or the firing has as many as fit; beside the field.
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
    there = shown(session, firing)
    digest = stored_files.keep(session, raw)
    same = next((p for p in there if p.sha256 == digest), None)
    if same is not None and same.voided_at is not None:
        raise Refused(f"This picture was taken away: {same.voided_why}", field="file")
    if same is not None:
        return same
    if sum(p.voided_at is None for p in there) >= MOST or len(there) >= MOST_EVER:
        raise Refused(f"A firing has {MOST} pictures at most. Note where the others lie instead.", field="file")
    row = FiringPicture(
        firing_id=firing.pk,
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


def told_of(row: FiringPicture) -> str:
    """What is said of the place that a picture names; "" where it names none."""
    return LOCATION[row.location]


def too_large() -> str:
    """What is said of a picture over the limit."""
    return f"The picture is larger than {LIMIT // 1024**2} MB. Make it smaller, or note where it is kept instead."


def refer(session: Session, firing: Firing, data: ReferenceIn) -> FiringReference:
    """Note where a picture or a film lies; nothing is fetched from there."""
    row = FiringReference(firing_id=firing.pk, address=data.address, caption=data.caption)
    session.add(row)
    session.flush()
    return row


def strike(session: Session, row: FiringPicture | FiringReference, data: StrikeIn, version: int | None = None) -> None:
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
