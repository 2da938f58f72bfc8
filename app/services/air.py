"""The air a batch is cast in: grains take up water from it while they cool, before they are bagged."""

from sqlmodel import Session

from app.models import Batch
from app.models.base import change
from app.models.batch import AirIn
from app.services import casting, history

DAMP = 0.6
"""Humidity from which the bench is reminded to bag at once (common practice, no source)."""


def tell(session: Session, batch: Batch, data: AirIn) -> None:
    """Keep the air's temperature and humidity at the bench.

    The reason that a correction needs is what keeps two tabs apart: it leaves the batch's version as it is, so that
    nothing typed in another form of the page goes stale.

    Raises
    ------
    Refused
        The session is not open, or something measured would change and no reason is given.
    """
    casting.the_open(session, batch)
    history.ask_why(batch, data)
    change(batch, data)
    session.flush()


def words(batch: Batch) -> str:
    """The air as it was typed; empty where nothing was written down."""
    humid = f"{batch.humidity_typed} humid" if batch.humidity_typed else ""
    return ", ".join(part for part in (batch.air_temperature_typed, humid) if part)


def advice(batch: Batch) -> str:
    """What to do in damp air; empty where it is dry or not known."""
    if batch.humidity_share is None or batch.humidity_share < DAMP:
        return ""
    return (
        "The grains take up water while they cool. Bag each as soon as it is weighed, with a drying agent. "
        f"From {100 * DAMP:.0f} % on this is said; the figure is common practice, without a source."
    )
