"""What was found after failures, put together: which part was found how, and in which motors."""

from dataclasses import dataclass, field

from sqlalchemy import func
from sqlalchemy.orm import lazyload
from sqlmodel import Session, col, select

from app.models import FiringFinding
from app.models.base import attribute
from app.models.firing import FAILED
from app.models.firing_log import PARTS
from app.services.firings.findings import PART_NAMES
from app.services.review.burned_motors import Burn


@dataclass(frozen=True)
class State:
    """How a part was found, in words, and the motors it was found so in."""

    part: str
    words: str
    burns: list[Burn] = field(default_factory=list)


@dataclass(frozen=True)
class Failures:
    """Motors that failed: how their parts were found, and those of which nothing was told."""

    burns: list[Burn]
    states: list[State]
    untold: list[Burn]


def found(session: Session, burns: list[Burn]) -> Failures:
    """Put together what was found; the newest account of each firing counts."""
    failed = {burn.firing_id: burn for burn in burns if burn.result in FAILED}
    newest = select(func.max(FiringFinding.id)).where(col(FiringFinding.firing_id).in_(failed))
    query = select(FiringFinding).where(col(FiringFinding.id).in_(newest.group_by(col(FiringFinding.firing_id))))
    told = {row.firing_id: row for row in session.exec(query.options(lazyload(attribute(FiringFinding.suspects))))}
    states = []
    for part, words in PARTS.items():
        for key, state in words.items():
            mine = [failed[i] for i, row in told.items() if getattr(row, f"{part}_found") == key]
            if mine:
                states.append(State(PART_NAMES[part], state, sorted(mine, key=lambda burn: burn.fired_at)))
    return Failures(list(failed.values()), states, [burn for i, burn in failed.items() if i not in told])
