"""The walk through the book: from a firing or a grain back to each bag, and from a bag forward to each firing."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime

from sqlalchemy import select as select_core
from sqlalchemy.orm import lazyload
from sqlmodel import Session, col, select

from app.models import Batch, BatchPart, BuildGrain, Firing, Formula, Grain, Leftover, MotorBuild, Supply, WeighOut
from app.models.base import attribute
from app.services.book import repository
from app.services.grains import grains
from app.services.grains.grains import GrainView
from app.services.stock import batches, supplies

# --- Back to the bags --------------------------------------------------------------------------


@dataclass(frozen=True)
class BagUse:
    """What of one bag went into a lot [kg]."""

    supply: Supply
    ingredient: str
    mass_kg: float


@dataclass(frozen=True)
class Remelt:
    """What of a leftover went into a lot [kg], and the lot it came from."""

    leftover: Leftover
    mass_kg: float
    origin: "Origin"


@dataclass(frozen=True)
class Origin:
    """A lot with the bags it was weighed out of and the leftovers it took in, each with its own origin."""

    batch: Batch
    formula: Formula
    poured_at: datetime | None
    bags: list[BagUse] = field(default_factory=list)
    remelts: list[Remelt] = field(default_factory=list)

    def walk(self) -> list[tuple[int, "Origin", Remelt | None]]:
        """This lot and the lots its remelts came from, each once: how far back, the lot, the remelt that led to it."""
        found: list[tuple[int, Origin, Remelt | None]] = []
        waiting: list[tuple[int, Origin, Remelt | None]] = [(0, self, None)]
        while waiting:
            depth, origin, led = waiting.pop(0)
            if all(origin is not known for _, known, _ in found):
                found.append((depth, origin, led))
                waiting += [(depth + 1, remelt.origin, remelt) for remelt in origin.remelts]
        return found

    @property
    def every_bag(self) -> list[Supply]:
        """All bags that anything in the lot came from, through leftovers too, each once."""
        return list({use.supply.pk: use.supply for _, origin, _ in self.walk() for use in origin.bags}.values())


Draws = dict[int, list[tuple[WeighOut, Supply | None, Leftover | None]]]


def origins(session: Session, batch_ids: Iterable[int]) -> dict[int, Origin]:
    """Where lots came from, back through leftovers to every bag; a few queries for each generation of remelt."""
    wanted = set(batch_ids)
    draws: Draws = {}
    level = wanted
    while level:
        found = _draws(session, level)
        draws.update({batch_id: found.get(batch_id, []) for batch_id in level})
        level = {left.batch_id for row in found.values() for _, _, left in row if left is not None} - set(draws)
    lots = _lots(session, draws)
    pours = grains.poured(session, draws)
    made: dict[int, Origin] = {}

    def make(batch_id: int) -> Origin:
        if batch_id not in made:
            batch, formula = lots[batch_id]
            origin = made[batch_id] = Origin(batch, formula, pours.get(batch_id))
            _fill(origin, draws, make)
        return made[batch_id]

    return {batch_id: make(batch_id) for batch_id in wanted if batch_id in lots}


def _fill(origin: Origin, draws: Draws, make: Callable[[int], Origin]) -> None:
    bags: dict[int, BagUse] = {}
    remelts: dict[int, Remelt] = {}
    for weighed, supply, leftover in draws[origin.batch.pk]:
        if supply is not None:
            before = bags[supply.pk].mass_kg if supply.pk in bags else 0.0
            name = supplies.ingredient_name(supply.ingredient)
            bags[supply.pk] = BagUse(supply, name, before + weighed.mass_kg)
        elif leftover is not None:
            before = remelts[leftover.pk].mass_kg if leftover.pk in remelts else 0.0
            remelts[leftover.pk] = Remelt(leftover, before + weighed.mass_kg, make(leftover.batch_id))
    origin.bags.extend(bags.values())
    origin.remelts.extend(remelts.values())


def _draws(session: Session, batch_ids: set[int]) -> Draws:
    query = (
        select(BatchPart.batch_id, WeighOut, Supply, Leftover)
        .join(BatchPart, col(WeighOut.batch_part_id) == BatchPart.id)
        .outerjoin(Supply, col(WeighOut.supply_id) == Supply.id)
        .outerjoin(Leftover, col(WeighOut.leftover_id) == Leftover.id)
        .where(col(BatchPart.batch_id).in_(batch_ids), col(WeighOut.voided_at).is_(None))
        .order_by(col(WeighOut.id))
    )
    found: Draws = {}
    for batch_id, weighed, supply, leftover in session.exec(query):
        found.setdefault(batch_id, []).append((weighed, supply, leftover))
    return found


def _lots(session: Session, batch_ids: Iterable[int]) -> dict[int, tuple[Batch, Formula]]:
    query = (
        select(Batch, Formula)
        .join(Formula, col(Batch.formula_id) == Formula.id)
        .where(col(Batch.id).in_(list(batch_ids)))
        .options(*batches.BARE, lazyload(attribute(Formula.parts)))
    )
    return {batch.pk: (batch, formula) for batch, formula in session.exec(query)}


def of_batch(session: Session, batch: Batch) -> Origin:
    """Where a lot came from, back to every bag."""
    return origins(session, [batch.pk])[batch.pk]


# --- From a grain and a firing -----------------------------------------------------------------


@dataclass(frozen=True)
class GrainTrace:
    """A grain between its bags and its firings; firings that did not light it are there too."""

    view: GrainView
    origin: Origin
    builds: list[tuple[MotorBuild, bool]]
    firings: list[tuple[Firing, MotorBuild]]


def of_grain(session: Session, grain: Grain) -> GrainTrace:
    """The walk from a grain back to every bag and on to its motors (with whether it is in it still) and firings."""
    view = grains.of_grain(session, grain)
    query = (
        select(MotorBuild, BuildGrain.released_at)
        .join(BuildGrain, col(BuildGrain.motor_build_id) == MotorBuild.id)
        .where(BuildGrain.grain_id == grain.pk)
        .order_by(col(BuildGrain.id))
        .options(lazyload(attribute(MotorBuild.slots)))
    )
    builds = [(build, released is None) for build, released in session.exec(query)]
    fired = _firings(session, [build.pk for build, _ in builds])
    return GrainTrace(view, of_batch(session, view.batch), builds, fired)


def _firings(session: Session, build_ids: Iterable[int]) -> list[tuple[Firing, MotorBuild]]:
    query = (
        select(Firing, MotorBuild)
        .join(MotorBuild, col(Firing.motor_build_id) == MotorBuild.id)
        .where(col(Firing.motor_build_id).in_(list(build_ids)))
        .order_by(col(Firing.fired_at))
        .options(lazyload(attribute(MotorBuild.slots)))
    )
    return list(session.exec(query).all())


@dataclass(frozen=True)
class FiringTrace:
    """A firing with the grains that were in its motor, by lot, each lot with its origin."""

    firing: Firing
    build: MotorBuild
    lots: list[tuple[Origin, list[GrainView]]]

    @property
    def every_bag(self) -> list[Supply]:
        """All bags that anything in the motor came from, each once."""
        return list({s.pk: s for origin, _ in self.lots for s in origin.every_bag}.values())


def of_firing(session: Session, firing_id: int) -> FiringTrace:
    """The walk from a firing to its grains, their lots and every bag.

    Raises
    ------
    NotFound
        There is no such firing.
    """
    firing = repository.get(session, Firing, firing_id, "firing")
    build = repository.get(session, MotorBuild, firing.motor_build_id, "motor")
    inside = select(BuildGrain.grain_id).where(BuildGrain.motor_build_id == build.pk)
    views = grains.views(session, col(Grain.id).in_(inside))
    found = origins(session, {v.batch.pk for v in views})
    lots = [(origin, [v for v in views if v.batch.pk == batch_id]) for batch_id, origin in found.items()]
    return FiringTrace(firing, build, sorted(lots, key=lambda lot: lot[0].batch.pk))


# --- Forward from a bag ------------------------------------------------------------------------


@dataclass(frozen=True)
class Fed:
    """A lot that something of a bag went into: weighed from it [kg], or through leftovers of other lots."""

    batch: Batch
    mass_kg: float
    through: list[Leftover]


@dataclass(frozen=True)
class SupplyTrace:
    """Where a bag went: lots, and every firing of a motor with a grain of one of them."""

    lots: list[Fed]
    firings: list[tuple[Firing, MotorBuild]]


def of_supply(session: Session, supply: Supply) -> SupplyTrace:
    """The walk from a bag to every lot, directly or through remelt, and to every firing it fed."""
    direct: dict[int, float] = {}
    through: dict[int, dict[int, Leftover]] = {}
    for batch_id, mass in _fed_by(session, supply):
        direct[batch_id] = direct.get(batch_id, 0.0) + mass
    known, level = set(direct), set(direct)
    while level:
        reached: set[int] = set()
        for batch_id, leftover in _remelted(session, level):
            through.setdefault(batch_id, {})[leftover.pk] = leftover
            reached.add(batch_id)
        level = reached - known
        known |= level
    lots = _lots(session, known)
    fed = [
        Fed(batch, direct.get(batch_id, 0.0), list(through.get(batch_id, {}).values()))
        for batch_id, (batch, _) in lots.items()
    ]
    built = select_core(col(BuildGrain.motor_build_id)).join(Grain, col(BuildGrain.grain_id) == Grain.id)
    build_ids = session.execute(built.where(col(Grain.batch_id).in_(known)).distinct()).scalars().all()
    return SupplyTrace(sorted(fed, key=lambda f: f.batch.pk), _firings(session, build_ids))


def _fed_by(session: Session, supply: Supply) -> list[tuple[int, float]]:
    query = (
        select(BatchPart.batch_id, WeighOut.mass_kg)
        .join(BatchPart, col(WeighOut.batch_part_id) == BatchPart.id)
        .where(WeighOut.supply_id == supply.pk, col(WeighOut.voided_at).is_(None))
    )
    return list(session.exec(query).all())


def _remelted(session: Session, batch_ids: set[int]) -> list[tuple[int, Leftover]]:
    """The lots that leftovers of these lots went into."""
    query = (
        select(BatchPart.batch_id, Leftover)
        .join(WeighOut, col(WeighOut.batch_part_id) == BatchPart.id)
        .join(Leftover, col(WeighOut.leftover_id) == Leftover.id)
        .where(col(Leftover.batch_id).in_(batch_ids), col(WeighOut.voided_at).is_(None))
    )
    return list(session.exec(query).all())
