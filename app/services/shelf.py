"""The shelf: grains that are not burned, looked through by state and serial."""

from typing import Any, Literal

from pydantic import Field as FormField
from sqlalchemy import ColumnElement
from sqlmodel import Session, col

from app.models import BuildGrain, Firing, Grain
from app.models.base import FormIn
from app.services import grains
from app.services.grains import GrainView


class ShelfIn(FormIn):
    """Which grains to look at; every field may stay empty."""

    find: str | None = FormField(None, max_length=40, title="Serial", description="Part of it is enough.")
    state: Literal["weighed", "held", "rejected", "accepted", "curing", "ready", "in motor"] | None = FormField(
        None, title="State"
    )
    sort: Literal["lot", "cured", "mass", "density"] = FormField("lot", title="Sorted by")


STATE_CHOICES = [(key, words) for key, words in grains.STATES.items() if key != "fired"]
SORT_CHOICES = [("lot", "Lot and number"), ("cured", "Ready first"), ("mass", "Heaviest first"),
                ("density", "Densest first")]  # fmt: skip


def look(session: Session, wanted: ShelfIn) -> list[GrainView]:
    """Grains on the shelf, or ready in a motor, that meet the filter, sorted."""
    where: list[ColumnElement[bool]] = [col(Firing.id).is_(None)]
    if wanted.find:
        where.append(col(Grain.serial).contains(wanted.find.upper(), autoescape=True))
    if wanted.state is None:
        where.append(col(BuildGrain.id).is_(None))
    found = [v for v in grains.views(session, *where) if wanted.state in (None, v.state)]
    keys: dict[str, Any] = {
        "cured": lambda v: v.cured_at,
        "mass": lambda v: -v.grain.mass_kg,
        "density": lambda v: -v.grain.density_share,
    }
    return found if wanted.sort == "lot" else sorted(found, key=keys[wanted.sort])


def by_lot(views: list[GrainView]) -> list[tuple[GrainView, list[GrainView]]]:
    """Grains grouped by lot in the order given; the first of each speaks for its lot."""
    lots: dict[int, list[GrainView]] = {}
    for view in views:
        lots.setdefault(view.batch.pk, []).append(view)
    return [(lot[0], lot) for lot in lots.values()]
