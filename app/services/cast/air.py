"""The air a batch is cast in: grains take up water from it while they cool, before they are bagged."""

from collections.abc import Mapping
from dataclasses import dataclass

from sqlmodel import Session

from app.calc.propellant.damp import USUAL_MARK, blend_humidity, damp_mark, unknown_parts
from app.models import Batch
from app.models.base import change
from app.models.batch import AirIn
from app.services.book import audit_reasons
from app.services.cast import casting, entering
from app.services.stock import batches


@dataclass(frozen=True)
class Mark:
    """Humidity from which the bench is reminded to bag at once [-], what it stands on, the reminder where it is due."""

    share: float
    why: str
    advice: str


def record_humidity(session: Session, batch: Batch, data: AirIn) -> None:
    """Save the air's temperature and humidity at the bench, for each melt of the evening that has none yet.

    The reason that a correction needs is what keeps two tabs apart: it leaves the batch's version as it is, so that
    nothing typed in another form of the page goes stale.

    Raises
    ------
    Refused
        The session is not open, or something measured would change and no reason is given.
    """
    melt = casting.the_open(session, batch)
    audit_reasons.ask_why(batch, data)
    change(batch, data)
    entering.share_air(session, melt.evening)
    session.flush()


def words(batch: Batch) -> str:
    """The air as it was typed; empty where nothing was written down."""
    humid = f"{batch.humidity_typed} humid" if batch.humidity_typed else ""
    return ", ".join(part for part in (batch.air_temperature_typed, humid) if part)


def mark(session: Session, batch: Batch) -> Mark:
    """From which humidity on the air is damp for a batch, and what to do if it is: its blend may only lower it."""
    blend = batches.formula_of(session, batch).blend
    share = damp_mark(blend)
    damp = batch.humidity_share is not None and batch.humidity_share >= share - 1e-9
    advice = "The grains take up water while they cool. Bag each as soon as it is weighed, with a drying agent."
    return Mark(share, _stands_on(blend, share), advice if damp else "")


def _stands_on(blend: Mapping[str, float], share: float) -> str:
    if share < USUAL_MARK:
        said = (
            f"Lower than the usual {100 * USUAL_MARK:.0f} %: crystals of this blend that touch dissolve together from "
            f"about {100 * blend_humidity(blend):.0f} % on, estimated by the product rule at 25 °C (potassium nitrate: "
            "CRC Handbook; sugars and the rule from memory)."
        )
    else:
        said = "Common practice, without a source; this blend gives no reason for a lower mark."
    if left := unknown_parts(blend):
        said += f" How far {', '.join(left).lower()} lowers it is not known."
    if "sorbitol" in blend:
        said += " Cast sorbitol is amorphous and takes up water below any of these marks: below it is not dry."
    return said
