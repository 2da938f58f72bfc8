"""The shelf: grains that are not burned, a page at a time, where their bags lie, and finding one by its label."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Literal

from pydantic import Field as FormField
from sqlalchemy import ColumnElement, and_, func
from sqlalchemy import select as select_core
from sqlmodel import Session, col, select

from app import clock
from app.errors import NotFound, Refused
from app.models import Batch, BuildGrain, Firing, Grain, GrainBag, MotorBuild
from app.models.bag import KeepIn
from app.models.base import FormIn
from app.services.book import serials, workshop
from app.services.grains import grains, wet
from app.services.grains.grains import GrainView

ON_A_PAGE = 60
"""Grains on one page of the shelf; a lot that begins on a page is shown whole."""


class ShelfIn(FormIn):
    """Which grains to look at; every field may stay empty."""

    find: str | None = FormField(
        None, max_length=200, title="Serial", description="Type it or scan the label; part of it is enough."
    )
    state: Literal["weighed", "held", "rejected", "accepted", "curing", "wet", "ready", "in motor"] | None = FormField(
        None, title="State"
    )
    place: str | None = FormField(None, max_length=80, title="Place")
    sort: Literal["lot", "oldest", "mass", "density"] = FormField("lot", title="Sorted by")
    start: int = FormField(0, ge=0)


STATE_CHOICES = [(key, words) for key, words in grains.STATES.items() if key != "fired"]
SORT_CHOICES = [
    ("lot", "Newest lots first"),
    ("oldest", "Oldest lots first"),
    ("mass", "Heaviest first"),
    ("density", "Densest first"),
]

# --- Finding one -------------------------------------------------------------------------------


def find(session: Session, text: str) -> Grain | None:
    """The grain that was typed or scanned; nothing when the text is only part of a serial.

    Raises
    ------
    NotFound
        A whole serial or a label that this book does not have.
    """
    serial = serials.scanned(text)
    grain = grains.find(session, serial) if serial else None
    if grain is not None:
        return grain
    if serials.is_address(serial):
        raise NotFound("What was scanned is not the label of a grain. Scan the label on the bag, or type its serial.")
    if serials.parts(serial):
        raise NotFound(
            f"There is no grain {serial} in this book. Compare it with the label; a label of another book, or a serial "
            "corrected after printing, is not found here."
        )
    return None


# --- Looking through ---------------------------------------------------------------------------


@dataclass(frozen=True)
class ShelfPage:
    """Some grains of the shelf in order, their bags by grain, and where the next page starts, if there is one."""

    views: list[GrainView]
    bags: dict[int, GrainBag]
    start: int
    next_start: int | None


def page(session: Session, wanted: ShelfIn) -> ShelfPage:
    """One page of the grains that meet the filter, sorted; only what is on the page is read in full."""
    rows = _in_order(session, wanted)
    found: list[GrainView] = []
    at = wanted.start
    while at < len(rows) and len(found) < ON_A_PAGE:
        end = min(at + ON_A_PAGE - len(found), len(rows))
        if wanted.sort in ("lot", "oldest"):
            while end < len(rows) and rows[end][1] == rows[end - 1][1]:
                end += 1
        ids = [grain_id for grain_id, _ in rows[at:end]]
        by_id = {v.grain.id: v for v in grains.views(session, col(Grain.id).in_(ids))}
        found += [by_id[i] for i in ids if i in by_id and wanted.state in (None, by_id[i].state)]
        at = end
    kept = bags(session, [v.grain.pk for v in found])
    return ShelfPage(found, kept, wanted.start, at if at < len(rows) else None)


BEFORE_A_POUR = timedelta(days=7)
"""A grain is weighed after its pour; where a lot is poured more than once, at most so long before the last one."""

_DECIDED = {"weighed": None, "held": "hold", "rejected": "reject"}


def _in_order(session: Session, wanted: ShelfIn) -> Sequence[tuple[int, int]]:
    """Grain and batch of everything that can meet the filter; whether a cure is over is left to the views."""
    where: list[ColumnElement[bool]] = [col(Firing.id).is_(None), col(Grain.gone_to).is_(None)]
    where.append(col(BuildGrain.id).is_not(None) if wanted.state == "in motor" else col(BuildGrain.id).is_(None))
    if wanted.state is not None and wanted.state != "in motor":
        decision = _DECIDED.get(wanted.state, "accept")
        where.append(col(Grain.decision).is_(None) if decision is None else col(Grain.decision) == decision)
    if wanted.state in ("accepted", "curing"):
        cure = timedelta(seconds=workshop.get(session).cure_s)
        where.append(col(Grain.weighed_at) > clock.now() - cure - BEFORE_A_POUR)
    if wanted.state == "wet":
        where.append(col(Grain.id).in_(wet.held_ids()))
    if wanted.find:
        where.append(col(Grain.serial).contains(serials.scanned(wanted.find), autoescape=True))
    query = (
        select_core(col(Grain.id), col(Grain.batch_id))
        .join(Batch, col(Grain.batch_id) == Batch.id)
        .outerjoin(BuildGrain, grains.IN_A_MOTOR)
        .outerjoin(MotorBuild, col(BuildGrain.motor_build_id) == MotorBuild.id)
        .outerjoin(Firing, and_(col(Firing.motor_build_id) == MotorBuild.id, col(Firing.result) != "no_light"))
    )
    if wanted.place:
        query = query.join(GrainBag, col(GrainBag.grain_id) == Grain.id)
        where += [col(GrainBag.id).in_(_newest()), col(GrainBag.place) == wanted.place]
    orders: dict[str, tuple[Any, ...]] = {
        "lot": (col(Batch.planned_for).desc(), col(Batch.id).desc(), col(Grain.number)),
        "oldest": (col(Batch.planned_for), col(Batch.id), col(Grain.number)),
        "mass": (col(Grain.mass_kg).desc(), col(Grain.id)),
        "density": (col(Grain.density_share).desc(), col(Grain.id)),
    }
    return [(row[0], row[1]) for row in session.execute(query.where(*where).order_by(*orders[wanted.sort]))]


def of_ids(session: Session, grain_ids: Sequence[int]) -> list[GrainView]:
    """The grains of these identities, by lot and number."""
    return grains.views(session, col(Grain.id).in_(list(grain_ids))) if grain_ids else []


def by_lot(views: list[GrainView]) -> list[tuple[GrainView, list[GrainView]]]:
    """Grains grouped by lot in the order given; the first of each speaks for its lot."""
    lots: dict[int, list[GrainView]] = {}
    for view in views:
        lots.setdefault(view.batch.pk, []).append(view)
    return [(lot[0], lot) for lot in lots.values()]


@dataclass(frozen=True)
class Standing:
    """How a grain on the shelf stands: what it is, what it weighs [kg], its diameters [m], where its bag lies.

    `weighed_at` is when it was on the scale last, for its label or again.
    """

    grain_id: int
    serial: str
    lot: str
    formula_id: int
    pattern_id: int
    state: str
    bagged: bool
    poured_at: datetime
    cured_at: datetime
    weighed_at: datetime
    mass_kg: float
    outer_d_m: float
    core_d_m: float
    place: str

    @property
    def cure_share(self) -> float:
        """How much of the cure is over, from 0 to 1."""
        return grains.cure_share(self.poured_at, self.cured_at)


def standing(session: Session) -> list[Standing]:
    """How each grain on the shelf stands, by lot and number: a full shelf is counted without reading it whole."""
    query = (
        select_core(
            col(Grain.id),
            col(Grain.serial),
            col(Batch.code),
            col(Batch.formula_id),
            col(Grain.pattern_id),
            col(Grain.batch_id),
            col(Grain.weighed_at),
            col(Grain.decision),
            col(Grain.gone_to),
            col(Grain.bagged_at),
            col(Grain.mass_kg),
            col(Grain.outer_d_m),
            col(Grain.core_d_m),
        )
        .join(Batch, col(Grain.batch_id) == Batch.id)
        .outerjoin(BuildGrain, grains.IN_A_MOTOR)
        .where(*grains.ON_SHELF)
        .order_by(col(Batch.planned_for), col(Batch.id), col(Grain.number))
    )
    found = session.execute(query).all()
    pours = grains.poured(session, {row.batch_id for row in found})
    cure = timedelta(seconds=workshop.get(session).cure_s)
    ids = [row.id for row in found]
    again = wet.newest(session, ids)
    newest = _newest().where(col(GrainBag.grain_id).in_(ids))
    where = select_core(col(GrainBag.grain_id), col(GrainBag.place)).where(col(GrainBag.id).in_(newest))
    lie = dict(session.execute(where).all())
    listed = []
    for row in found:
        poured, last = pours.get(row.batch_id, row.weighed_at), again.get(row.id)
        listed.append(
            Standing(
                grain_id=row.id,
                serial=row.serial,
                lot=row.code,
                formula_id=row.formula_id,
                pattern_id=row.pattern_id,
                state=grains.state_of(row, poured + cure, again=last),
                bagged=row.bagged_at is not None,
                poured_at=poured,
                cured_at=poured + cure,
                weighed_at=last.weighed_at if last else row.weighed_at,
                mass_kg=row.mass_kg,
                outer_d_m=row.outer_d_m,
                core_d_m=row.core_d_m,
                place=lie.get(row.id, ""),
            )
        )
    return listed


# --- Bags --------------------------------------------------------------------------------------


def _newest() -> Any:
    return select_core(func.max(col(GrainBag.id))).group_by(col(GrainBag.grain_id))


def bags(session: Session, grain_ids: Iterable[int]) -> dict[int, GrainBag]:
    """How each of these grains lies now, for those of which something was noted."""
    newest = _newest().where(col(GrainBag.grain_id).in_(list(grain_ids)))
    return {bag.grain_id: bag for bag in session.exec(select(GrainBag).where(col(GrainBag.id).in_(newest)))}


def moves(session: Session, grain: Grain) -> list[GrainBag]:
    """Every note of where a grain lay, newest first."""
    found = select(GrainBag).where(GrainBag.grain_id == grain.pk).order_by(col(GrainBag.id).desc())
    return list(session.exec(found))


def places(session: Session) -> list[str]:
    """The places where bags lie now, by name."""
    query = select(GrainBag.place).where(col(GrainBag.id).in_(_newest()), GrainBag.place != "").distinct()
    return sorted(session.exec(query), key=str.casefold)


def keep(session: Session, grain_ids: Sequence[int], data: KeepIn) -> int:
    """Note where bags lie and whether there is desiccant in them; tells how many.

    Raises
    ------
    Refused
        No grain was ticked, nothing is said, one is in a motor or burned, or the desiccant's date cannot be.
    """
    found = of_ids(session, grain_ids)
    if not found:
        raise Refused("Tick at least one grain.", field="grain")
    if not data.place and not data.desiccant:
        raise Refused("Write where it lies, or tick that there is desiccant in the bag.", field="place")
    since = data.desiccant_on
    if since is not None and not data.desiccant:
        raise Refused("Tick that there is desiccant, or leave its date empty.", field="desiccant_on")
    if since is not None and since > clock.today():
        raise Refused("This day is still to come.", field="desiccant_on")
    for view in found:
        if view.state == "gone":
            raise Refused(f"{view.grain.serial} went to {view.grain.gone_to}; it lies in no bag.", field="grain")
        if view.state in ("in motor", "fired"):
            gone = "is in motor" if view.state == "in motor" else "was burned in"
            raise Refused(f"{view.grain.serial} {gone} {view.motor}; it lies in no bag.", field="grain")
    if data.desiccant and since is None:
        since = clock.today()
    for view in found:
        row = GrainBag(grain_id=view.grain.pk, place=data.place, desiccant=data.desiccant, desiccant_on=since)
        session.add(row)
    session.flush()
    return len(found)
