"""The workshop's own settings, and new editions of the checklist."""

from typing import Any

from sqlalchemy import func
from sqlmodel import Session, col, select

from app.errors import Conflict, Refused
from app.models import (
    Case,
    CastingTube,
    ChecklistEdition,
    ChecklistItem,
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
from app.models.checklist import EditionIn
from app.models.workshop import UNIT_FIELDS, WorkshopIn, units_in
from app.services.book import repository


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
    if data.pan_low.si >= data.pan_limit.si:
        raise Refused(
            f"The pan's upper limit must be above the temperature you work from ({data.pan_low.typed}).",
            field="pan_limit",
        )
    if data.reject.si >= data.accept.si:
        raise Refused(f"The reject limit must be below the accept limit ({data.accept.typed}).", field="reject")
    workshop = get(session)
    repository.claim(workshop, version)
    units = units_in(data.model_dump(include={"system", *UNIT_FIELDS}), workshop.units)
    change(workshop, data)
    for column, unit in units.items():
        setattr(workshop, column, unit)
    session.flush()
    return workshop


def checklist_now(session: Session) -> ChecklistEdition:
    """The newest edition of the checklist: the one that new checklists are made from."""
    edition = session.exec(select(ChecklistEdition).order_by(col(ChecklistEdition.edition).desc())).first()
    assert edition is not None, "a book has its first checklist from the start"
    return edition


def checklist_editions(session: Session) -> list[ChecklistEdition]:
    """All editions of the checklist, newest first."""
    return list(session.exec(select(ChecklistEdition).order_by(col(ChecklistEdition.edition).desc())))


def new_edition(session: Session, data: EditionIn, seen: int | None = None) -> ChecklistEdition:
    """Make a new edition of the checklist; the earlier ones stay with the checklists made from them.

    Parameters
    ----------
    seen
        Number of the edition that the person started from.

    Raises
    ------
    Conflict
        Another edition was made since.
    Refused
        Nothing differs from the newest edition, or a line is there twice.
    """
    newest = checklist_now(session)
    if seen is not None and seen != newest.edition:
        raise Conflict(
            f"Edition {newest.edition} of the list was made after you opened this page. What you typed is kept here "
            "and was not saved; open the page again to see how the list stands now."
        )
    lines = [(line.heading, line.words) for line in data.items]
    for line in lines:
        if lines.count(line) > 1:
            raise Refused(f"“{line[1]}” stands in the list twice; take one of them out.", field="items")
    if lines == [(item.heading, item.words) for item in newest.items]:
        raise Refused(f"Nothing differs from edition {newest.edition}, so no new edition was made.")
    edition = ChecklistEdition(edition=newest.edition + 1, note=data.note)
    session.add(edition)
    session.flush()
    for position, (heading, words) in enumerate(lines, start=1):
        session.add(ChecklistItem(checklist_edition_id=edition.pk, position=position, heading=heading, words=words))
    session.flush()
    return edition
