"""Lots as they are drawn: each grain's density, what each motor delivered in its stored range, what came of it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from sqlalchemy import select as select_core
from sqlmodel import Session, col, select

from app.models import BuildGrain, Firing, Grain
from app.pens import cut
from app.services.review import coverage
from app.services.review.burned_motors import GOOD, NOT_GOOD
from app.services.review.lot_firings import FiringLine
from app.services.review.lots_review import LotLine

NOTED = 20
"""Letters of a lot's note that stand in its row."""

Kind = Literal["well", "partly", "weak", "rough", "failed", "other", "unlit", "none"]

KINDS: dict[str, tuple[Kind, str]] = {
    "good": ("well", "burned well"),
    "recovery": ("well", "burned well"),
    "weak": ("weak", "weak"),
    "rough": ("rough", "rough"),
    "nozzle": ("failed", "nozzle failed"),
    "burst": ("failed", "case burst"),
    "burn_through": ("failed", "case burned"),
    "other": ("other", "something else"),
    "no_light": ("unlit", "did not light"),
}
"""Of each result: the mark it is drawn with, and a word or two beside the mark."""


@dataclass(frozen=True)
class GrainDot:
    """A grain's density of ideal [-], and whether it is on the shelf still."""

    share: float
    on_shelf: bool


@dataclass(frozen=True)
class ShotRow:
    """What a motor delivered of its predicted impulse, and the range stored for it before, of the same [-]."""

    firing: FiringLine
    low: float | None
    high: float | None

    @property
    def outside(self) -> bool:
        """Whether it fell outside its range."""
        ratio = self.firing.ratio
        if ratio is None or self.low is None or self.high is None:
            return False
        return not self.low <= ratio <= self.high


@dataclass(frozen=True)
class LotRow:
    """A lot of the review with what is drawn of it."""

    line: LotLine
    dots: Sequence[GrainDot]
    shots: Sequence[ShotRow]
    """Its motors that burned, oldest first."""

    @property
    def kind(self) -> Kind:
        """The mark that says what came of it."""
        return self._outcome[0]

    @property
    def words(self) -> str:
        """What came of it, in a few words."""
        return self._outcome[1]

    @property
    def note(self) -> str:
        """The first words of what was noted with it; its page has the whole."""
        return cut(self.line.batch.note, NOTED)

    @property
    def _outcome(self) -> tuple[Kind, str]:
        firings = self.line.firings
        if not firings:
            return "none", "not fired"
        burned = [shot.firing.result for shot in self.shots]
        if not burned:
            return KINDS["no_light"]
        well, ill = sum(r in GOOD for r in burned), [r for r in burned if r in NOT_GOOD]
        if well and len(burned) > well:
            return "partly", f"{well} of {len(burned)} burned well"
        kind, words = KINDS[(ill or burned)[-1]]
        return kind, words if len(burned) == 1 else f"{len(burned)} {words}"


def rows(session: Session, lines: Sequence[LotLine]) -> list[LotRow]:
    """What is drawn of these lots, in two queries."""
    dots = _dots(session, [line.batch.pk for line in lines])
    ranges = coverage.ranges_of(
        session, {f.firing_id for line in lines for f in line.firings if f.result != "no_light"}
    )
    return [
        LotRow(
            line,
            dots.get(line.batch.pk, []),
            [ShotRow(f, *_shares(f, ranges.get(f.firing_id, {}))) for f in line.firings if f.result != "no_light"],
        )
        for line in lines
    ]


def _dots(session: Session, ids: Sequence[int]) -> dict[int, list[GrainDot]]:
    burned = (
        select(BuildGrain.grain_id)
        .join(Firing, col(Firing.motor_build_id) == BuildGrain.motor_build_id)
        .where(col(BuildGrain.released_at).is_(None), Firing.result != "no_light")
    )
    gone = col(Grain.gone_to).is_not(None) | col(Grain.id).in_(burned)
    query = select_core(col(Grain.batch_id), col(Grain.density_share), gone).where(col(Grain.batch_id).in_(ids))
    found: dict[int, list[GrainDot]] = {}
    for batch_id, share, away in session.execute(query.order_by(col(Grain.density_share))):
        found.setdefault(batch_id, []).append(GrainDot(share, not away))
    return found


def _shares(firing: FiringLine, stored: dict[str, tuple[float, float, float]]) -> tuple[float | None, float | None]:
    told = stored.get("total_impulse")
    if told is None or not firing.predicted_ns:
        return None, None
    return told[1] / firing.predicted_ns, told[2] / firing.predicted_ns
