"""The review of lots: what was cast, how even it is, what came of it; few queries, whatever the size of the book.

Only what sorts and filters is read of every lot; the rest is read of the lots of one page.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Literal

from pydantic import Field as FormField
from sqlalchemy import and_, case, func, tuple_
from sqlalchemy import select as select_core
from sqlalchemy.orm import lazyload
from sqlmodel import Session, col, select

from app import clock
from app.calc.stats.control_charts import MeanComparison
from app.models import Batch, BatchItem, BuildGrain, Firing, Formula, Grain, GrainPattern
from app.models.base import FormIn, attribute
from app.models.firing import RESULTS
from app.services.grains import grains
from app.services.grains.lots import Spread, compare, spread
from app.services.review import lot_firings
from app.services.review.lot_firings import FiringLine
from app.services.stock import batches

SORTS = {
    "date": "cast",
    "lot": "lot",
    "formula": "formula",
    "grains": "grains weighed",
    "density": "mean density",
    "spread": "density spread",
    "firings": "firings",
    "ratio": "delivered over predicted",
}
"""What lots can be sorted by, in words."""


class ReviewIn(FormIn):
    """Which lots to look at; every field may stay empty."""

    formula: str | None = FormField(None, title="Formula")
    pattern_id: int | None = FormField(None, title="Pattern")
    result: (
        Literal["good", "weak", "rough", "no_light", "nozzle", "burst", "burn_through", "recovery", "other", "none"]
        | None
    ) = FormField(None, title="Result")
    since: date | None = FormField(None, title="Cast from")
    until: date | None = FormField(None, title="Cast to")
    sort: Literal["date", "lot", "formula", "grains", "density", "spread", "firings", "ratio"] = FormField(
        "date", title="Sorted by"
    )
    order: Literal["up", "down"] = FormField("down", title="Order")
    page: int = FormField(1, ge=1, le=10_000, title="Page")


PAGE = 50
"""Lots on one page of the review."""

RESULT_CHOICES = [*RESULTS.items(), ("none", "Not fired yet")]


@dataclass(frozen=True)
class Counts:
    """How many grains of a lot stand where; `density` is the share of ideal over all of them."""

    weighed: int = 0
    accepted: int = 0
    held: int = 0
    rejected: int = 0
    used: int = 0
    density: Spread | None = None


@dataclass(frozen=True)
class LotLine:
    """One lot of the review."""

    batch: Batch
    formula: Formula
    cast_on: date
    patterns: tuple[str, ...]
    counts: Counts
    firings: list[FiringLine] = field(default_factory=list)

    @property
    def ratio(self) -> Spread | None:
        """Measured over predicted impulse over the lot's firings that have both."""
        return spread(f.ratio for f in self.firings if f.ratio is not None)

    @property
    def height_ratio(self) -> Spread | None:
        """Height reached over expected, over the lot's flights of which both are known."""
        return spread(f.height.ratio for f in self.firings if f.height is not None)


@dataclass(frozen=True)
class Found:
    """One page of the lots that were found: how many there are in all, and which page of how many this is.

    `newest` are the identities of all of them, the one cast last first.
    """

    lines: list[LotLine]
    total: int
    page: int
    pages: int
    newest: Sequence[int] = ()


@dataclass(frozen=True)
class _Head:
    """What every lot is found by."""

    batch_id: int
    code: str
    formula: str
    edition: int
    planned_for: date


def lots(session: Session, wanted: ReviewIn) -> Found:
    """Lots that were opened for casting and meet the filter, sorted; lots without a value to sort by come last."""
    met = _met(session, _heads(session, wanted), wanted)
    heads = _sorted(session, met, wanted)
    pages = max(1, math.ceil(len(heads) / PAGE))
    page = min(wanted.page, pages)
    shown = [head.batch_id for head in heads[(page - 1) * PAGE : page * PAGE]]
    newest = tuple(head.batch_id for head in reversed(met))
    return Found(_lines(session, _batches(session, shown)), len(heads), page, pages, newest)


def every_id(session: Session, wanted: ReviewIn, at_once: int) -> Iterator[list[int]]:
    """The identities of all lots that meet the filter, sorted, so many at once."""
    heads = _sorted(session, _met(session, _heads(session, wanted), wanted), wanted)
    for start in range(0, len(heads), at_once):
        yield [head.batch_id for head in heads[start : start + at_once]]


def every_line(session: Session, wanted: ReviewIn, at_once: int) -> Iterator[LotLine]:
    """All lots that meet the filter, sorted; read so many at once, and none of them kept."""
    for ids in every_id(session, wanted, at_once):
        yield from _lines(session, _batches(session, ids))
        session.expunge_all()


def _lines(session: Session, found: list[tuple[Batch, Formula]]) -> list[LotLine]:
    ids = [batch.pk for batch, _ in found]
    counts, patterns, pours = _counts(session, ids), _patterns(session, ids), grains.poured(session, ids)
    shots = lot_firings.firings_of(session, ids, pours)
    days = _days_of(pours, {batch.pk: batch.planned_for for batch, _ in found})
    return [
        LotLine(
            batch=batch,
            formula=formula,
            cast_on=days[batch.pk],
            patterns=tuple(patterns.get(batch.pk, {}).values()),
            counts=counts.get(batch.pk, Counts()),
            firings=shots.get(batch.pk, []),
        )
        for batch, formula in found
    ]


def _heads(session: Session, wanted: ReviewIn) -> list[_Head]:
    query = (
        select_core(col(Batch.id), col(Batch.code), col(Formula.name), col(Formula.edition), col(Batch.planned_for))
        .join(Formula, col(Batch.formula_id) == Formula.id)
        .where(col(Batch.state).in_(("casting", "cast")))
        .order_by(col(Batch.planned_for), col(Batch.id))
    )
    if wanted.formula:
        query = query.where(col(Formula.name) == wanted.formula)
    if wanted.pattern_id is not None:
        cast = select(Grain.batch_id).where(Grain.pattern_id == wanted.pattern_id)
        planned = select(BatchItem.batch_id).where(BatchItem.pattern_id == wanted.pattern_id)
        query = query.where(col(Batch.id).in_(cast.union(planned)))
    return [_Head(*row) for row in session.execute(query)]


def _batches(session: Session, ids: list[int]) -> list[tuple[Batch, Formula]]:
    """Lots with their formulas, in the order of their identities given."""
    query = (
        select(Batch, Formula)
        .join(Formula, col(Batch.formula_id) == Formula.id)
        .where(col(Batch.id).in_(ids))
        .options(*batches.BARE, lazyload(attribute(Formula.parts)))
    )
    found = {batch.pk: (batch, formula) for batch, formula in session.exec(query)}
    return [found[key] for key in ids]


def _days(session: Session, planned: dict[int, date]) -> dict[int, date]:
    """The day each lot was poured; as planned where no pour was ticked off."""
    return _days_of(grains.poured(session, planned), planned)


def _days_of(pours: dict[int, datetime], planned: dict[int, date]) -> dict[int, date]:
    return {key: clock.local(pours[key]).date() if key in pours else day for key, day in planned.items()}


def _met(session: Session, heads: list[_Head], wanted: ReviewIn) -> list[_Head]:
    """The lots whose day and results are the wanted ones."""
    if wanted.since is not None or wanted.until is not None:
        days = _days(session, {head.batch_id: head.planned_for for head in heads})
        first, last = wanted.since or date.min, wanted.until or date.max
        heads = [head for head in heads if first <= days[head.batch_id] <= last]
    if wanted.result is not None:
        shots = lot_firings.shots_of(session, [head.batch_id for head in heads])
        came = {key: {shot.result for shot in found} for key, found in shots.items()}
        if wanted.result == "none":
            return [head for head in heads if head.batch_id not in came]
        heads = [head for head in heads if wanted.result in came.get(head.batch_id, set())]
    return heads


def _counts(session: Session, ids: list[int]) -> dict[int, Counts]:
    """Counts and density of each lot in one query; the sums are taken about 1 to keep the spread's figures."""
    burned = (
        select(BuildGrain.grain_id)
        .join(Firing, col(Firing.motor_build_id) == BuildGrain.motor_build_id)
        .where(col(BuildGrain.released_at).is_(None), Firing.result != "no_light")
    )
    used = col(Grain.id).in_(burned)
    off = col(Grain.density_share) - 1.0

    def number(condition: Any) -> Any:
        return func.sum(case((condition, 1), else_=0))

    query = select_core(
        col(Grain.batch_id),
        func.count(),
        number(col(Grain.decision) == "accept"),
        number(col(Grain.decision) == "hold"),
        number(col(Grain.decision) == "reject"),
        number(used),
        func.sum(off),
        func.sum(off * off),
        func.min(Grain.density_share),
        func.max(Grain.density_share),
    )
    query = query.where(col(Grain.batch_id).in_(ids)).group_by(col(Grain.batch_id))
    return {
        batch_id: Counts(n, accepted, held, rejected, spent, _spread(n, first, second, low, high))
        for batch_id, n, accepted, held, rejected, spent, first, second, low, high in session.execute(query)
    }


def _spread(n: int, first: float, second: float, low: float, high: float) -> Spread:
    sd = math.sqrt(max(second - first * first / n, 0.0) / (n - 1)) if n > 1 else None
    return Spread(n, 1.0 + first / n, sd, low, high)


def _patterns(session: Session, ids: list[int]) -> dict[int, dict[int, str]]:
    query = (
        select(Grain.batch_id, GrainPattern.id, GrainPattern.name)
        .join(GrainPattern, col(Grain.pattern_id) == GrainPattern.id)
        .where(col(Grain.batch_id).in_(ids))
        .distinct()
        .order_by(GrainPattern.name)
    )
    found: dict[int, dict[int, str]] = {}
    for batch_id, pattern_id, name in session.exec(query):
        found.setdefault(batch_id, {})[pattern_id or 0] = name
    return found


def _sorted(session: Session, heads: list[_Head], wanted: ReviewIn) -> list[_Head]:
    keys = _keys(session, heads, wanted.sort)
    known = [head for head in heads if keys.get(head.batch_id) is not None]
    unknown = [head for head in heads if keys.get(head.batch_id) is None]
    return sorted(known, key=lambda head: keys[head.batch_id], reverse=wanted.order == "down") + unknown


def _keys(session: Session, heads: list[_Head], sort: str) -> dict[int, Any]:
    """What each lot is sorted by; only what that needs is read."""
    ids = [head.batch_id for head in heads]
    if sort == "date":
        return {**_days(session, {head.batch_id: head.planned_for for head in heads})}
    if sort == "lot":
        return {head.batch_id: head.code for head in heads}
    if sort == "formula":
        return {head.batch_id: (head.formula.lower(), head.edition) for head in heads}
    if sort in ("grains", "density", "spread"):
        counts = _counts(session, ids)
        if sort == "grains":
            return {key: counts[key].weighed if key in counts else 0 for key in ids}
        spreads = {key: found.density for key, found in counts.items() if found.density is not None}
        return {key: found.mean if sort == "density" else found.sd for key, found in spreads.items()}
    shots = lot_firings.shots_of(session, ids)
    if sort == "firings":
        return {key: len(shots.get(key, [])) for key in ids}
    return {key: lot_firings.mean_ratio(found) for key, found in shots.items()}


@dataclass(frozen=True)
class Against:
    """A lot's densities against those of the lot before it, shares of ideal [-]; ranked only where they stand apart."""

    other: Batch
    means: MeanComparison


def against(session: Session, batch: Batch) -> Against | None:
    """Compare a lot with the last one cast of the same formula before it; nothing where either has too few grains."""
    earlier = (
        select(Batch)
        .where(Batch.formula_id == batch.formula_id, col(Batch.state).in_(("casting", "cast")))
        .where(tuple_(col(Batch.planned_for), col(Batch.id)) < (batch.planned_for, batch.pk))
        .order_by(col(Batch.planned_for).desc(), col(Batch.id).desc())
        .options(*batches.BARE)
    )
    other = session.exec(earlier).first()
    if other is None:
        return None
    counts = _counts(session, [batch.pk, other.pk])
    means = compare(*(counts.get(key, Counts()).density for key in (batch.pk, other.pk)))
    return Against(other, means) if means else None


def lines(session: Session, ids: list[int]) -> list[LotLine]:
    """The lots of these identities, in their order."""
    return _lines(session, _batches(session, ids))


def formula_names(session: Session) -> list[str]:
    """The names of formulas that something was cast of."""
    cast = and_(col(Batch.formula_id) == Formula.id, col(Batch.state).in_(("casting", "cast")))
    return list(session.exec(select(Formula.name).join(Batch, cast).distinct().order_by(Formula.name)))
