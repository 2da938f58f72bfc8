"""Every motor that burned: what was known of it before, and what was measured. Reviews of firings are made of these.

A motor that did not light has burned nothing and is not here. Few queries, whatever the size of the book.
"""

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple

from pydantic import Field as FormField
from sqlalchemy import ColumnElement, func
from sqlalchemy import select as select_core
from sqlmodel import Session, col

from app import clock
from app.models import (
    Batch,
    BuildGrain,
    Case,
    Firing,
    Formula,
    Grain,
    GrainPattern,
    Melt,
    MotorBuild,
    Nozzle,
    Prediction,
    ReWeigh,
    TemperatureReading,
)
from app.models.base import FormIn
from app.models.firing import RESULTS
from app.services.firings import heights
from app.services.firings.heights import Height
from app.services.grains import grains
from app.services.learning import stored_predictions

GOOD = ("good", "recovery")
"""Results of a motor that burned well."""

NOT_GOOD = ("weak", "rough", "nozzle", "burst", "burn_through")
"""Results of one that did not; 'something else' counts as neither."""


class LookIn(FormIn):
    """Which motors to look at; every field may stay empty."""

    formula: str | None = FormField(None, title="Formula")
    pattern_id: int | None = FormField(None, title="Pattern")
    case_id: int | None = FormField(None, title="Case")
    since: date | None = FormField(None, title="Fired from")
    until: date | None = FormField(None, title="Fired to")


class Beside(NamedTuple):
    """A figure as it was measured and as it was predicted before, in SI; None where it is not known."""

    measured: float | None
    predicted: float | None

    @property
    def ratio(self) -> float | None:
        """Measured over predicted [-], where both are there."""
        return self.measured / self.predicted if self.measured is not None and self.predicted else None


class Burn(NamedTuple):
    """One motor that burned. SI; shares are of one; None where something is not known.

    `cure_s` is the age of its youngest grains, `mass_spread` the range of its grains' masses over their mean (the
    largest of its patterns), `gain` what its re-weighed grains had gained since their labels (their mean), `pan_k` the
    pan at the pour, `cast_humidity` that of the air it was cast in (means over its grains), `height` what it reached
    beside what it was expected to.
    """

    firing_id: int
    fired_at: datetime
    kind: str
    result: str
    motor_code: str
    case: str
    nozzle: str
    lots: tuple[str, ...]
    formulas: tuple[str, ...]
    patterns: tuple[str, ...]
    grain_count: int
    density: float
    least_density: float
    mass_spread: float | None
    cure_s: float | None
    pan_k: float | None
    gain: float | None
    humidity: float | None
    cast_humidity: float | None
    grain_temperature_k: float
    altitude_m: float | None
    height: Height | None
    impulse: Beside
    burn_time: Beside
    peak_pressure: Beside

    @property
    def result_words(self) -> str:
        """The result for a person."""
        return RESULTS[self.result]

    @property
    def good(self) -> bool | None:
        """Whether the motor burned well; None for 'something else'."""
        return True if self.result in GOOD else False if self.result in NOT_GOOD else None


def burned(session: Session, wanted: LookIn, unlit: bool = False) -> list[Burn]:
    """The motors that burned and meet the filter, oldest first; with `unlit`, attempts that did not light as well."""
    where = _where(wanted, unlit)
    fired = select_core(col(Firing.motor_build_id)).join(MotorBuild, col(MotorBuild.id) == Firing.motor_build_id)
    fired = fired.where(*where)
    heads = [_Head(*row) for row in session.execute(_heads().where(*where))]
    inside = _inside(session, fired)
    lots = _lots(session, {part.batch_id for parts in inside.values() for part in parts})
    patterns = _patterns(session)
    gains = _gains(session, fired)
    flew = heights.heights(session, {head.firing_id: head.altitude_m for head in heads})
    found = []
    for head in heads:
        parts = inside.get(head.motor_build_id, [])
        if not parts:
            continue
        if wanted.formula and all(lots[part.batch_id].formula_name != wanted.formula for part in parts):
            continue
        if wanted.pattern_id is not None and all(part.pattern_id != wanted.pattern_id for part in parts):
            continue
        found.append(_burn(head, parts, lots, patterns, gains.get(head.motor_build_id), flew.get(head.firing_id)))
    return found


def _where(wanted: LookIn, unlit: bool) -> list[ColumnElement[bool]]:
    """What a query of firings and their motors keeps."""
    where: list[ColumnElement[bool]] = [] if unlit else [col(Firing.result) != "no_light"]
    if wanted.since is not None:
        where.append(col(Firing.fired_at) >= clock.midnight(wanted.since))
    if wanted.until is not None:
        where.append(col(Firing.fired_at) < clock.midnight(wanted.until + timedelta(days=1)))
    if wanted.case_id is not None:
        where.append(col(MotorBuild.case_id) == wanted.case_id)
    return where


class _Head(NamedTuple):
    """A firing with its motor and the prediction made before it, in the order of the query's columns."""

    firing_id: int
    fired_at: datetime
    kind: str
    result: str
    altitude_m: float | None
    humidity: float | None
    impulse_ns: float | None
    burn_time_s: float | None
    peak_pressure_pa: float | None
    motor_build_id: int
    code: str
    grain_temperature_k: float
    case: str
    nozzle: str
    predicted_ns: float | None
    predicted_s: float | None
    predicted_pa: float | None


def _heads() -> Any:
    """Firings with their motors and the predictions made before them, oldest first."""
    return (
        select_core(
            col(Firing.id),
            col(Firing.fired_at),
            col(Firing.kind),
            col(Firing.result),
            col(Firing.altitude_m),
            col(Firing.humidity_share),
            col(Firing.measured_impulse_ns),
            col(Firing.measured_burn_time_s),
            col(Firing.measured_peak_pressure_pa),
            col(Firing.motor_build_id),
            col(MotorBuild.code),
            col(MotorBuild.grain_temperature_k),
            col(Case.name),
            col(Nozzle.name),
            col(Prediction.total_impulse_ns),
            col(Prediction.burn_time_s),
            col(Prediction.peak_pressure_pa),
        )
        .join(MotorBuild, col(MotorBuild.id) == Firing.motor_build_id)
        .join(Case, col(Case.id) == MotorBuild.case_id)
        .join(Nozzle, col(Nozzle.id) == MotorBuild.nozzle_id)
        .outerjoin(Prediction, col(Prediction.id) == stored_predictions.id_in_query())
        .order_by(col(Firing.fired_at), col(Firing.id))
    )


class _Part(NamedTuple):
    """The grains of one lot and pattern in a motor."""

    motor_build_id: int
    batch_id: int
    pattern_id: int
    n: int
    density_sum: float
    density_least: float
    mass_least: float
    mass_most: float
    mass_sum: float


def _inside(session: Session, fired: Any) -> dict[int, list[_Part]]:
    query = (
        select_core(
            col(BuildGrain.motor_build_id),
            col(Grain.batch_id),
            col(Grain.pattern_id),
            func.count(),
            func.sum(Grain.density_share),
            func.min(Grain.density_share),
            func.min(Grain.mass_kg),
            func.max(Grain.mass_kg),
            func.sum(Grain.mass_kg),
        )
        .join(Grain, col(BuildGrain.grain_id) == Grain.id)
        .where(col(BuildGrain.motor_build_id).in_(fired))
        .group_by(col(BuildGrain.motor_build_id), col(Grain.batch_id), col(Grain.pattern_id))
        .order_by(col(Grain.batch_id))
    )
    found: dict[int, list[_Part]] = {}
    for row in session.execute(query):
        found.setdefault(row[0], []).append(_Part(*row))
    return found


class _Lot(NamedTuple):
    code: str
    formula_name: str
    formula: str
    poured_at: datetime | None
    pan_k: float | None
    humidity: float | None


def _lots(session: Session, ids: set[int]) -> dict[int, _Lot]:
    query = (
        select_core(col(Batch.id), col(Batch.code), col(Batch.humidity_share), col(Formula.name), col(Formula.edition))
        .join(Formula, col(Batch.formula_id) == Formula.id)
        .where(col(Batch.id).in_(ids))
    )
    pours = grains.poured(session, ids)
    pans = _pans(session, ids, pours)
    return {
        batch_id: _Lot(code, name, f"{name} v{edition}", pours.get(batch_id), pans.get(batch_id), humidity)
        for batch_id, code, humidity, name, edition in session.execute(query)
    }


def _pans(session: Session, ids: Iterable[int], pours: dict[int, datetime]) -> dict[int, float]:
    """The last reading of each pan up to the pour [K]; readings that were struck out do not count."""
    query = (
        select_core(col(Melt.batch_id), col(TemperatureReading.read_at), col(TemperatureReading.temperature_k))
        .join(TemperatureReading, col(TemperatureReading.melt_id) == Melt.id)
        .where(col(Melt.batch_id).in_(list(ids)), col(TemperatureReading.voided_at).is_(None))
        .order_by(col(TemperatureReading.read_at), col(TemperatureReading.id))
    )
    read = session.execute(query).all()
    return {batch_id: kelvin for batch_id, at, kelvin in read if batch_id in pours and at <= pours[batch_id]}


def _patterns(session: Session) -> dict[int, str]:
    found = session.execute(select_core(col(GrainPattern.id), col(GrainPattern.name)))
    return {row[0]: row[1] for row in found}


def _gains(session: Session, fired: Any) -> dict[int, float]:
    """What the re-weighed grains of each motor had gained, by the last re-weigh of each before its firing [-]."""
    last = (
        select_core(
            col(BuildGrain.motor_build_id).label("motor"),
            (col(ReWeigh.mass_kg) / ReWeigh.label_kg - 1).label(
                "gain"
            ),  # of the row that max() takes: SQLite has it so
            func.max(ReWeigh.weighed_at),
        )
        .join(BuildGrain, col(BuildGrain.grain_id) == ReWeigh.grain_id)
        .join(Firing, col(Firing.motor_build_id) == BuildGrain.motor_build_id)
        .where(col(BuildGrain.motor_build_id).in_(fired), col(Firing.result) != "no_light")
        .where(col(ReWeigh.weighed_at) <= Firing.fired_at, col(ReWeigh.voided_at).is_(None))
        .group_by(col(BuildGrain.motor_build_id), col(ReWeigh.grain_id))
        .subquery()
    )
    found = session.execute(select_core(last.c.motor, func.avg(last.c.gain)).group_by(last.c.motor))
    return {row[0]: row[1] for row in found}


def _burn(
    head: _Head,
    parts: list[_Part],
    lots: dict[int, _Lot],
    patterns: dict[int, str],
    gain: float | None,
    height: Height | None,
) -> Burn:
    n = sum([part.n for part in parts])
    inside = [lots[part.batch_id] for part in parts]
    pours = [lot.poured_at for lot in inside if lot.poured_at is not None]
    return Burn(
        firing_id=head.firing_id,
        fired_at=head.fired_at,
        kind=head.kind,
        result=head.result,
        motor_code=head.code,
        case=head.case,
        nozzle=head.nozzle,
        lots=_each([lot.code for lot in inside]),
        formulas=_each([lot.formula for lot in inside]),
        patterns=_each([patterns[part.pattern_id] for part in parts]),
        grain_count=n,
        density=sum([part.density_sum for part in parts]) / n,
        least_density=min([part.density_least for part in parts]),
        mass_spread=_mass_spread(parts),
        cure_s=(head.fired_at - max(pours)).total_seconds() if len(pours) == len(inside) else None,
        pan_k=_mean([(part.n, lot.pan_k) for part, lot in zip(parts, inside, strict=True)]),
        gain=gain,
        humidity=head.humidity,
        cast_humidity=_mean([(part.n, lot.humidity) for part, lot in zip(parts, inside, strict=True)]),
        grain_temperature_k=head.grain_temperature_k,
        altitude_m=head.altitude_m,
        height=height,
        impulse=Beside(head.impulse_ns, head.predicted_ns),
        burn_time=Beside(head.burn_time_s, head.predicted_s),
        peak_pressure=Beside(head.peak_pressure_pa, head.predicted_pa),
    )


def _mean(values: list[tuple[int, float | None]]) -> float | None:
    """The mean over so many grains each, of those for which it is known."""
    known = [(n, value) for n, value in values if value is not None]
    return sum([n * value for n, value in known]) / sum([n for n, _ in known]) if known else None


def _each(names: list[str]) -> tuple[str, ...]:
    """Each name once, in order."""
    return tuple(names) if len(names) == 1 else tuple(dict.fromkeys(names))


def _mass_spread(parts: list[_Part]) -> float | None:
    """Range over mean of the masses of one pattern, the largest of the patterns; nothing where each is alone."""
    spreads = []
    for pattern in {part.pattern_id for part in parts}:
        alike = [part for part in parts if part.pattern_id == pattern]
        n = sum([part.n for part in alike])
        if n > 1:
            spread = max([part.mass_most for part in alike]) - min([part.mass_least for part in alike])
            spreads.append(spread * n / sum([part.mass_sum for part in alike]))
    return max(spreads, default=None)


def cases(session: Session) -> list[tuple[str, str]]:
    """The cases that something burned in, as choices of a list."""
    query = (
        select_core(col(Case.id), col(Case.name))
        .join(MotorBuild, col(MotorBuild.case_id) == Case.id)
        .join(Firing, col(Firing.motor_build_id) == MotorBuild.id)
        .where(col(Firing.result) != "no_light")
        .distinct()
        .order_by(col(Case.name))
    )
    return [(str(case_id), name) for case_id, name in session.execute(query)]
