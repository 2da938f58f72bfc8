"""The workshop's own settings, and what it has."""

from typing import Any

from sqlalchemy import func
from sqlmodel import Session, col, select

from app.errors import Faults
from app.models import (
    Case,
    CastingTube,
    CoringRod,
    Formula,
    GrainPattern,
    LaunchField,
    Nozzle,
    Rocket,
    Supply,
    Workshop,
)
from app.models.base import change
from app.models.workshop import UNIT_FIELDS, WorkshopIn, units_in
from app.services.book import repository
from app.units import Quantity


def get(session: Session) -> Workshop:
    """The one row of settings."""
    workshop = session.get(Workshop, 1)
    assert workshop is not None, "a book has its workshop row from the start"
    session.info["workshop"] = workshop  # a session forgets rows that nobody holds, and nearly everything asks for this
    return workshop


OWNED: dict[str, Any] = {
    "patterns": GrainPattern,
    "tubes": CastingTube,
    "rods": CoringRod,
    "cases": Case,
    "nozzles": Nozzle,
    "rockets": Rocket,
    "fields": LaunchField,
}


def counts(session: Session) -> dict[str, int]:
    """How many of each noun the workshop has in use, by the last part of its page's address."""
    found = {"supplies": session.exec(select(func.count()).select_from(Supply)).one()}
    names = select(func.count(func.distinct(Formula.name))).where(col(Formula.retired).is_(False))
    found["formulas"] = session.exec(names).one()
    for slug, table in OWNED.items():
        in_use = select(func.count()).select_from(table).where(col(table.retired).is_(False))
        found[slug] = session.exec(in_use).one()
    return found


def set_up(session: Session, data: WorkshopIn, version: int | None = None) -> Workshop:
    """Change the settings.

    Raises
    ------
    Refused
        Two settings contradict each other.
    Conflict
        The settings were changed since the page was opened.
    """
    faults = Faults()
    if data.pan_low.si >= data.pan_limit.si:
        faults.add(
            "pan_limit", f"The pan's upper limit must be above the temperature you work from ({data.pan_low.typed})."
        )
    if data.reject.si >= data.accept.si:
        faults.add("reject", f"The reject limit must be below the accept limit ({data.accept.typed}).")
    faults.tell()
    workshop = get(session)
    repository.claim(workshop, version)
    units = units_in(data.model_dump(include={"system", *UNIT_FIELDS}), workshop.units)
    change(workshop, data)
    for column, unit in units.items():
        setattr(workshop, column, unit)
    session.flush()
    return workshop


def choose_system(session: Session, name: str) -> None:
    """Read and write all units in one of the two systems; nothing is changed where they are in use."""
    shop = get(session)
    if name == shop.system:
        return
    for column, unit in units_in({"system": name}, shop.units).items():
        setattr(shop, column, unit)
    shop.version += 1
    session.flush()


def state_pan(session: Session, capacity: Quantity) -> None:
    """Say how much melt the pan holds safely."""
    shop = get(session)
    shop.pan_capacity_kg, shop.pan_capacity_typed = capacity
    shop.version += 1
    session.flush()
