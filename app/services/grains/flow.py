"""From the scale to the shelf: what of a lot is still open, and which act comes next."""

from dataclasses import dataclass
from typing import Literal

from sqlmodel import Session

from app.models import Batch
from app.services.grains import shelf
from app.services.grains.grains import GrainView

Act = Literal["weigh", "decide", "accept", "put away", "bag", "keep", "done"]


@dataclass(frozen=True)
class Flow:
    """What of a lot is still to do, in the order of doing: weigh, decide, bag, note where the bags lie."""

    planned: int
    weighed: int
    doubtful: list[GrainView]
    """Not decided on, and the numbers speak against them, or held: a person looks at each."""
    clear: list[GrainView]
    """Not decided on, and nothing speaks against them: one press accepts them all."""
    rejected: list[GrainView]
    """Rejected, and nobody told where they went."""
    loose: list[GrainView]
    """Accepted, and in no bag."""
    unplaced: list[GrainView]
    """In their bags, and nobody noted where these lie."""

    @property
    def act(self) -> Act:
        """What comes next."""
        if self.weighed < self.planned:
            return "weigh"
        found: list[tuple[Act, list[GrainView]]] = [
            ("accept", self.clear),
            ("decide", self.doubtful),
            ("put away", self.rejected),
            ("bag", self.loose),
            ("keep", self.unplaced),
        ]
        return next((act for act, grains in found if grains), "done")

    @property
    def still(self) -> list[str]:
        """What is open behind the next act, in words."""
        to_come = len(self.loose) + len(self.clear)
        told: list[tuple[Act, int, str]] = [
            ("accept", len(self.clear), f"accept {len(self.clear)}"),
            ("decide", len(self.doubtful), f"decide on {len(self.doubtful)}"),
            ("put away", len(self.rejected), f"put away {len(self.rejected)} rejected"),
            ("bag", to_come, f"bag {to_come}"),
            ("keep", to_come + len(self.unplaced), "labels, shelf"),
        ]
        return [words for act, count, words in told if count and act != self.act]


def of_lot(session: Session, batch: Batch, views: list[GrainView]) -> Flow:
    """How the grains of a lot stand on their way to the shelf; `views` are all that were weighed."""
    undecided = [v for v in views if v.grain.decision is None]
    bagged = [v for v in views if v.grain.bagged_at is not None and v.state not in ("in motor", "fired", "gone")]
    kept = shelf.bags(session, [v.grain.pk for v in bagged])
    return Flow(
        planned=sum(item.count for item in batch.items),
        weighed=len(views),
        doubtful=[v for v in views if v.state == "held" and v.grain.bagged_at is None]
        + [v for v in undecided if v.grain.verdict != "accept"],
        clear=[v for v in undecided if v.grain.verdict == "accept"],
        rejected=[v for v in views if v.state == "rejected"],
        loose=[v for v in views if v.grain.bagged_at is None and v.state in ("accepted", "ready", "wet")],
        unplaced=[v for v in bagged if v.grain.pk not in kept],
    )
