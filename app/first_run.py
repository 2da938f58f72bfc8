"""The rows every book starts with: the workshop's rules, and the first checklist and run sheet."""

from sqlalchemy import Engine
from sqlmodel import Session

from app.db import writing
from app.models import ChecklistEdition, ChecklistItem, Workshop
from app.services.cast import gate, runsheets
from app.services.cast.cautions import FIRST_CHECKLIST
from app.services.firings import firing_fits
from app.services.stock import blends


def prepare(engine: Engine) -> None:
    """Add the first rows to a book that has none; shut what stands open past the checklist; make what the
    program's calculations keep of blends and firings anew where they changed.
    """
    with writing(engine) as session:
        if session.get(Workshop, 1) is None:
            _fill(session)
        gate.at_start(session)
        blends.catch_up(session)
        firing_fits.catch_up(session)
        session.commit()


def _fill(session: Session) -> None:
    session.add(Workshop(id=1))
    edition = ChecklistEdition(edition=1, note="As the book came.")
    session.add(edition)
    session.flush()
    lines = [(heading, words) for heading, group in FIRST_CHECKLIST.items() for words in group]
    for position, (heading, words) in enumerate(lines, start=1):
        session.add(ChecklistItem(checklist_edition_id=edition.pk, position=position, heading=heading, words=words))
    runsheets.first(session)
