"""What the pages of a built and of a designed motor show of its prediction."""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup
from sqlmodel import Session

from app.models import Workshop
from app.routers.motors import pictures
from app.routers.motors.prediction_chart import BESIDE, chart_of
from app.services.firings import like_motors
from app.services.firings.like_motors import Fired, Held
from app.services.learning.prediction_record import PredictionRecord
from app.services.motors import burn


@dataclass(frozen=True)
class Expected:
    """A prediction drawn, with the firings it is laid beside and those it was tested on.

    `front` is by how much pressure stands higher at the front of the cores as it lights, `first` what share of the
    impulse the first fifth of the burn is expected to give, `firsts` what it gave in the firings beside it.
    """

    chart: Markup
    section: Markup
    burning: Markup | None
    fired: Sequence[Fired]
    held: Sequence[Held]
    front: float | None
    first: float | None
    firsts: Sequence[float]

    @property
    def drawn(self) -> list[Fired]:
        """The firings whose curves are drawn."""
        return [one for one in self.fired if one.curve is not None]


def expected(session: Session, predicted: PredictionRecord, house: Workshop, fired: Sequence[Fired]) -> Expected:
    """A prediction with its pictures."""
    curve = predicted.curve
    firsts = [like_motors.first_part(one.curve.time_s, one.curve.thrust_n) for one in fired if one.curve is not None]
    return Expected(
        chart=chart_of(predicted, house.units, fired=fired, tall=BESIDE),
        section=pictures.section(predicted, house),
        burning=pictures.burning(predicted, house),
        fired=fired,
        held=like_motors.tested_on(session, predicted),
        front=burn.front_excess(predicted),
        first=like_motors.first_part(curve.time_s, curve.thrust_n),
        firsts=[share for share in firsts if share is not None],
    )
