"""What the demonstration's maker saw and told beside the figures: near misses at the pan; all invented."""

from collections.abc import Mapping
from typing import Any

from sqlmodel import Session

from app.models import Batch
from app.models.incident import TapIn, WrittenIn
from app.services.book import workshop
from app.services.cast import incidents

Told = Mapping[str, Any]


def incident(session: Session, lot: Batch, told: Told) -> None:
    """Tap what nearly went wrong at a lot, and write it out where the story has words."""
    row = incidents.tap(session, lot, TapIn(what=told["what"]), workshop.get(session).person)
    if "words" in told:
        incidents.write_out(session, row, WrittenIn.model_validate({**told, "sort": row.sort}))
