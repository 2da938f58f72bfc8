"""Pictures of a firing, kept in the book while they are small; and where larger ones and films lie."""

from urllib.parse import urlsplit

from sqlmodel import Session, col, select

from app.errors import NotFound
from app.models import Firing, FiringPicture, FiringReference
from app.models.firing_log import ReferenceIn
from app.models.picture import PictureIn
from app.services.book import kept_pictures

# --- Finding -------------------------------------------------------------------------------------


def shown(session: Session, firing: Firing) -> list[FiringPicture]:
    """The pictures of a firing in the order they came, struck ones too."""
    return kept_pictures.shown(session, FiringPicture, firing.pk)


def picture(session: Session, firing: Firing, picture_id: int) -> FiringPicture:
    """One picture of a firing.

    Raises
    ------
    NotFound
        The firing has no such picture.
    """
    return kept_pictures.picture(session, FiringPicture, firing.pk, picture_id)


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
    """Keep a picture of a firing: see `kept_pictures.keep`, which refuses what it cannot be."""
    return kept_pictures.keep(session, FiringPicture, firing.pk, data, raw)


def refer(session: Session, firing: Firing, data: ReferenceIn) -> FiringReference:
    """Note where a picture or a film lies; nothing is fetched from there."""
    row = FiringReference(firing_id=firing.pk, address=data.address, caption=data.caption)
    session.add(row)
    session.flush()
    return row
