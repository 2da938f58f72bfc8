"""What a melt gives besides its grains: test pieces, and leftovers kept for later melts.

What is left of a leftover once batches took of it stands in `batches`.
"""

from sqlmodel import Session, col, select

from app.errors import Refused
from app.models import Batch, Leftover
from app.models.base import build
from app.models.batch import LeftoverIn, TestPiecesIn
from app.services.book import audit_reasons, repository, workshop
from app.services.cast import casting
from app.services.stock import batches
from app.units import show


def kept(session: Session, batch: Batch) -> list[Leftover]:
    """What was kept of a batch for later ones."""
    return list(session.exec(select(Leftover).where(Leftover.batch_id == batch.pk).order_by(col(Leftover.id))))


def next_mark(session: Session, batch: Batch) -> str:
    """A mark for the next leftover of a batch that is not taken yet."""
    taken = set(session.exec(select(Leftover.mark)))
    return next(mark for n in range(1, len(taken) + 2) if (mark := f"{batch.code} leftover {n}") not in taken)


def tell_test_pieces(session: Session, batch: Batch, data: TestPiecesIn, version: int | None = None) -> None:
    """Save the mass that went into test pieces.

    Raises
    ------
    Refused
        The session is not open, it is more than went into the pan, or another mass was told before and no reason is
        given.
    """
    casting.the_open(session, batch)
    repository.claim(batch, version)
    audit_reasons.ask_why(batch, data)
    others = sum(row.mass_kg for row in kept(session, batch))
    _not_more_than_weighed(session, batch, data.test_pieces.si + others, "test_pieces")
    batch.test_pieces_kg, batch.test_pieces_typed = data.test_pieces.si, data.test_pieces.typed
    session.flush()


def keep(session: Session, batch: Batch, data: LeftoverIn) -> Leftover:
    """Keep cast material for a later batch.

    Raises
    ------
    Refused
        The session is not open, the mark is taken, or it is more than went into the pan.
    """
    casting.the_open(session, batch)
    if session.exec(select(Leftover.id).where(Leftover.mark == data.mark)).first() is not None:
        raise Refused(f"A leftover marked “{data.mark}” is there already. Write another mark.", field="mark")
    others = sum(row.mass_kg for row in kept(session, batch)) + (batch.test_pieces_kg or 0.0)
    _not_more_than_weighed(session, batch, data.mass.si + others, "mass")
    leftover = build(Leftover, data, batch_id=batch.pk)
    session.add(leftover)
    session.flush()
    return leftover


def _not_more_than_weighed(session: Session, batch: Batch, mass_kg: float, field: str) -> None:
    shop = workshop.get(session)
    weighed_in = sum(batches.weighed(session, batch).values())
    if mass_kg > weighed_in + shop.scale_resolution_kg:
        raise Refused(
            f"With it, test pieces and leftovers come to {show(mass_kg, 'mass', shop.units)}; only "
            f"{show(weighed_in, 'mass', shop.units)} was weighed into the pan.",
            field=field,
        )
