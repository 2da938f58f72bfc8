"""Sets of even mass from the ready grains of one formula and pattern."""

from dataclasses import dataclass
from itertools import groupby

from pydantic import Field as FormField
from sqlmodel import Session, col

from app.calc.grain.matched_sets import even_sets
from app.errors import Refused
from app.models import BuildGrain, Grain
from app.models.base import FormIn
from app.services.grains import grains
from app.services.grains.grains import GrainView


class SetsIn(FormIn):
    """Which grains to put together, and how many in a set."""

    kind: str = FormField(title="Kind", description="Ready grains of one formula and one pattern.")
    size: int = FormField(4, ge=2, le=20, title="Grains in a set")
    count: int | None = FormField(None, ge=1, le=50, title="How many sets", description="Left empty: one.")
    one_lot: bool = FormField(False, title="Each set from one lot only")


@dataclass(frozen=True)
class Kind:
    """Ready grains that can go together: one formula's version, one pattern."""

    key: str
    name: str
    views: list[GrainView]


@dataclass(frozen=True)
class Proposal:
    """A set: its grains, lightest first, heaviest less lightest [kg], their mass together [kg] and their lots."""

    views: list[GrainView]
    spread: float
    mass: float
    lots: list[str]


def kinds(session: Session) -> list[Kind]:
    """The ready grains by formula and pattern, most numerous first."""
    free = grains.views(session, col(BuildGrain.id).is_(None), col(Grain.decision) == "accept")
    found: dict[str, Kind] = {}
    for view in (v for v in free if v.state == "ready"):
        key = f"{view.formula.pk}-{view.pattern.pk}"
        kind = found.setdefault(key, Kind(key, f"{view.formula.label}, {view.pattern.name}", []))
        kind.views.append(view)
    return sorted(found.values(), key=lambda k: (-len(k.views), k.name))


def propose(kind: Kind, wanted: SetsIn) -> list[Proposal]:
    """The most even sets: least sum of the ranges of mass inside them, exactly (`app.calc.grain.matched_sets`).

    With each set from one lot, how many come from which lot is chosen for the least sum, too.

    Raises
    ------
    Refused
        There are not enough ready grains.
    """
    lots = [list(lot) for _, lot in groupby(kind.views, lambda v: v.batch.pk)] if wanted.one_lot else [kind.views]
    most = sum(len(lot) // wanted.size for lot in lots)
    count = wanted.count or 1
    if most == 0:
        where = "in any one lot" if wanted.one_lot else "of this kind"
        ready = max(len(lot) for lot in lots)
        raise Refused(f"There are {ready} ready grains {where}; a set of {wanted.size} needs more.", field="size")
    if count > most:
        raise Refused(f"There are enough ready grains for {most} {_sets(most)} of {wanted.size}.", field="count")
    best: dict[int, list[Proposal]] = {0: []}  # by how many sets, among the lots so far
    for lot in lots:
        for taken, before in sorted(best.items(), reverse=True):
            for more in range(1, min(len(lot) // wanted.size, count - taken) + 1):
                both = before + _best(lot, wanted.size, more)
                if taken + more not in best or _sum(both) < _sum(best[taken + more]):
                    best[taken + more] = both
    return sorted(best[count], key=lambda p: p.spread)


def _sum(sets: list[Proposal]) -> float:
    return sum(one.spread for one in sets)


def _sets(n: int) -> str:
    return "set" if n == 1 else "sets"


def _best(views: list[GrainView], size: int, count: int) -> list[Proposal]:
    made = []
    for one in even_sets([v.grain.mass_kg for v in views], size, count):
        inside = [views[i] for i in one.members]
        lots = {v.batch.pk: v.batch for v in inside}.values()
        codes = [lot.code for lot in sorted(lots, key=lambda lot: (lot.planned_for, lot.pk))]
        made.append(Proposal(inside, one.spread, sum(v.grain.mass_kg for v in inside), codes))
    return made
