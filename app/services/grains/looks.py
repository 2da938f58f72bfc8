"""What was seen of each grain, beside what it weighs: its faces, its outer face, its inhibitor, and pictures.

A look never decides: it proposes to hold a grain, whoever accepts it all the same says why, and a motor that is loaded
with it tells it. What nobody looked at is told as that.
"""

from collections.abc import Iterable

from sqlmodel import Session, col, select

from app import clock
from app.errors import Refused
from app.models import Grain, GrainLook, GrainPicture
from app.models.base import build
from app.models.grain_look import PARTS, UNSEEN, GrainLookIn
from app.models.picture import PictureIn
from app.services.book import kept_pictures


def history(session: Session, grain: Grain) -> list[GrainLook]:
    """Every look at a grain, the newest first, struck ones too."""
    query = select(GrainLook).where(GrainLook.grain_id == grain.pk)
    return list(session.exec(query.order_by(col(GrainLook.id).desc())))


def newest(session: Session, grains: Iterable[Grain]) -> dict[int, GrainLook]:
    """The look that counts of each grain that was looked at, by the grain's identity, in one question."""
    query = select(GrainLook).where(
        col(GrainLook.grain_id).in_([grain.pk for grain in grains]), col(GrainLook.voided_at).is_(None)
    )
    return {row.grain_id: row for row in session.exec(query.order_by(col(GrainLook.id)))}


def doubts(session: Session, grains: Iterable[Grain]) -> dict[int, str]:
    """What is doubtful about each grain that a look found something on, in words, by the grain's identity."""
    return {grain_id: row.doubt for grain_id, row in newest(session, grains).items() if row.doubt}


def doubt(session: Session, grain: Grain) -> str:
    """What is doubtful about one grain; empty when nothing that was looked at is."""
    return doubts(session, [grain]).get(grain.pk, "")


def look(session: Session, grain: Grain, data: GrainLookIn, person: str) -> GrainLook:
    """Save what was seen of a grain, now.

    Raises
    ------
    Refused
        Nothing was looked at and nothing said.
    """
    if all(getattr(data, part) == UNSEEN for part in PARTS) and not data.note:
        raise Refused("Nothing was looked at. Say what you saw of at least one part.", field="faces")
    row = build(GrainLook, data, grain_id=grain.pk, looked_at=clock.now(), person=person)
    session.add(row)
    session.flush()
    return row


def keep_picture(session: Session, grain: Grain, data: PictureIn, raw: bytes) -> GrainPicture:
    """Keep a picture of a grain: see `kept_pictures.keep`, which refuses what it cannot be."""
    return kept_pictures.keep(session, GrainPicture, grain.pk, data, raw)


def pictures(session: Session, grain: Grain) -> list[GrainPicture]:
    """The pictures of a grain in the order they came, struck ones too."""
    return kept_pictures.shown(session, GrainPicture, grain.pk)
