"""The review of lots: what was cast, how even it is, what came of it; few queries, whatever the size of the book."""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Literal

from pydantic import Field as FormField
from sqlalchemy import and_, case, func
from sqlalchemy import select as select_core
from sqlalchemy.orm import lazyload
from sqlmodel import Session, col, select

from app import clock
from app.models import (
    Batch,
    BatchItem,
    BuildGrain,
    Firing,
    Formula,
    Grain,
    GrainPattern,
    MotorBuild,
    Prediction,
)
from app.models.base import FormIn
from app.models.firing import RESULTS
from app.services import grains, rows
from app.services.lots import Spread, spread

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


RESULT_CHOICES = [*RESULTS.items(), ("none", "Not fired yet")]


@dataclass(frozen=True)
class FiringLine:
    """A firing as a lot sees it; impulses in N s, cure in seconds from the pour to the firing."""

    firing_id: int
    kind: str
    fired_at: datetime
    result: str
    motor_code: str
    grain_count: int
    lots: tuple[str, ...]
    cure_s: float | None
    altitude_m: float | None
    measured_ns: float | None
    predicted_ns: float | None
    designation: str | None

    @property
    def result_words(self) -> str:
        """The result for a person."""
        return RESULTS[self.result]

    @property
    def ratio(self) -> float | None:
        """Measured over predicted impulse [-], where both are there."""
        if self.measured_ns is None or not self.predicted_ns:
            return None
        return self.measured_ns / self.predicted_ns


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


def lots(session: Session, wanted: ReviewIn) -> list[LotLine]:
    """Lots that were opened for casting and meet the filter, sorted; lots without a value to sort by come last."""
    lines = _lines(session, _batches(session, wanted))
    return _sorted([line for line in lines if _meets(line, wanted)], wanted)


def _lines(session: Session, found: list[tuple[Batch, Formula]]) -> list[LotLine]:
    ids = [batch.pk for batch, _ in found]
    counts, patterns, shots = _counts(session, ids), _patterns(session, ids), firings_of(session, ids)
    pours = grains.poured(session, ids)
    return [
        LotLine(
            batch=batch,
            formula=formula,
            cast_on=clock.local(pours[batch.pk]).date() if batch.pk in pours else batch.planned_for,
            patterns=tuple(patterns.get(batch.pk, {}).values()),
            counts=counts.get(batch.pk, Counts()),
            firings=shots.get(batch.pk, []),
        )
        for batch, formula in found
    ]


def _batches(session: Session, wanted: ReviewIn) -> list[tuple[Batch, Formula]]:
    query = (
        select(Batch, Formula)
        .join(Formula, col(Batch.formula_id) == Formula.id)
        .where(col(Batch.state).in_(("casting", "cast")))
        .order_by(col(Batch.planned_for), col(Batch.id))
        .options(lazyload(Batch.items), lazyload(Batch.parts), lazyload(Formula.parts))  # type: ignore[arg-type]
    )
    if wanted.formula:
        query = query.where(Formula.name == wanted.formula)
    if wanted.pattern_id is not None:
        cast = select(Grain.batch_id).where(Grain.pattern_id == wanted.pattern_id)
        planned = select(BatchItem.batch_id).where(BatchItem.pattern_id == wanted.pattern_id)
        query = query.where(col(Batch.id).in_(cast.union(planned)))
    return list(session.exec(query).all())


def _meets(line: LotLine, wanted: ReviewIn) -> bool:
    if wanted.since is not None and line.cast_on < wanted.since:
        return False
    if wanted.until is not None and line.cast_on > wanted.until:
        return False
    if wanted.result == "none":
        return not line.firings
    return wanted.result is None or any(f.result == wanted.result for f in line.firings)


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


def firings_of(session: Session, ids: Iterable[int]) -> dict[int, list[FiringLine]]:
    """The firings of motors that held a grain of each lot, oldest first; the last prediction before each counts."""
    wanted = list(ids)
    held = _held(session, wanted)
    builds = {build_id for _, build_id in held}
    everyone = _lots_in(session, builds)
    expected = _predictions(session, builds)
    pours = grains.poured(session, wanted)
    query = (
        select(Firing, MotorBuild.code)
        .join(MotorBuild, col(Firing.motor_build_id) == MotorBuild.id)
        .where(col(Firing.motor_build_id).in_(builds))
        .order_by(col(Firing.fired_at))
    )
    shots: dict[int, list[tuple[Firing, str]]] = {}
    for firing, code in session.exec(query):
        shots.setdefault(firing.motor_build_id, []).append((firing, code))
    found: dict[int, list[FiringLine]] = {}
    for (batch_id, build_id), count in held.items():
        for firing, code in shots.get(build_id, []):
            poured = pours.get(batch_id)
            made = expected.get(build_id, [])
            made = [p for p in made if p[0] <= firing.fired_at] or made[:1]
            found.setdefault(batch_id, []).append(
                FiringLine(
                    firing_id=firing.pk,
                    kind=firing.kind,
                    fired_at=firing.fired_at,
                    result=firing.result,
                    motor_code=code,
                    grain_count=count,
                    lots=everyone[build_id],
                    cure_s=(firing.fired_at - poured).total_seconds() if poured else None,
                    altitude_m=firing.altitude_m,
                    measured_ns=firing.measured_impulse_ns,
                    predicted_ns=made[-1][1] if made else None,
                    designation=made[-1][2] if made else None,
                )
            )
    return {batch_id: sorted(lines, key=lambda f: f.fired_at) for batch_id, lines in found.items()}


def _held(session: Session, ids: list[int]) -> dict[tuple[int, int], int]:
    """How many grains of each lot went into each motor: (batch, build) -> number."""
    query = (
        select(Grain.batch_id, BuildGrain.motor_build_id, func.count())
        .join(Grain, col(BuildGrain.grain_id) == Grain.id)
        .where(col(Grain.batch_id).in_(ids))
        .group_by(col(Grain.batch_id), col(BuildGrain.motor_build_id))
    )
    return {(batch_id, build_id): number for batch_id, build_id, number in session.exec(query)}


def _lots_in(session: Session, builds: set[int]) -> dict[int, tuple[str, ...]]:
    query = (
        select(BuildGrain.motor_build_id, Batch.code)
        .join(Grain, col(BuildGrain.grain_id) == Grain.id)
        .join(Batch, col(Grain.batch_id) == Batch.id)
        .where(col(BuildGrain.motor_build_id).in_(builds))
        .distinct()
        .order_by(Batch.code)
    )
    found: dict[int, list[str]] = {}
    for build_id, code in session.exec(query):
        found.setdefault(build_id, []).append(code)
    return {build_id: tuple(codes) for build_id, codes in found.items()}


def _predictions(session: Session, builds: set[int]) -> dict[int, list[tuple[datetime, float, str]]]:
    """Moment, impulse [N s] and designation of the predictions of each motor, oldest first."""
    query = (
        select(Prediction.motor_build_id, Prediction.made_at, Prediction.total_impulse_ns, Prediction.designation)
        .where(col(Prediction.motor_build_id).in_(builds))
        .order_by(col(Prediction.id))
    )
    found: dict[int, list[tuple[datetime, float, str]]] = {}
    for build_id, made_at, impulse, designation in session.exec(query):
        found.setdefault(build_id, []).append((made_at, impulse, designation))
    return found


def _sorted(lines: list[LotLine], wanted: ReviewIn) -> list[LotLine]:
    keys: dict[str, Callable[[LotLine], Any]] = {
        "date": lambda line: line.cast_on,
        "lot": lambda line: line.batch.code,
        "formula": lambda line: line.formula.label.lower(),
        "grains": lambda line: line.counts.weighed,
        "density": lambda line: line.counts.density and line.counts.density.mean,
        "spread": lambda line: line.counts.density and line.counts.density.sd,
        "firings": lambda line: len(line.firings),
        "ratio": lambda line: line.ratio and line.ratio.mean,
    }
    key = keys[wanted.sort]
    known = [line for line in lines if key(line) is not None]
    unknown = [line for line in lines if key(line) is None]
    return sorted(known, key=key, reverse=wanted.order == "down") + unknown


def line(session: Session, batch: Batch) -> LotLine:
    """One lot as the review sees it."""
    return _lines(session, [(batch, rows.get(session, Formula, batch.formula_id, "formula"))])[0]


def formula_names(session: Session) -> list[str]:
    """The names of formulas that something was cast of."""
    cast = and_(col(Batch.formula_id) == Formula.id, col(Batch.state).in_(("casting", "cast")))
    return list(session.exec(select(Formula.name).join(Batch, cast).distinct().order_by(Formula.name)))
