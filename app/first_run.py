"""The rows every book starts with: the workshop's rules, and the first checklist and run sheet."""

from sqlalchemy import Engine
from sqlmodel import Session

from app.db import writing
from app.models import Workshop
from app.services.book import devices
from app.services.cast import checklists, gate, runsheets
from app.services.firings import firing_fits, heights
from app.services.stock import blends


def prepare(engine: Engine) -> None:
    """Add the first rows to a book that has none; shut what stands open past the checklist; make what the
    program's calculations keep of blends and firings anew where they changed.
    """
    with writing(engine) as session:
        if session.get(Workshop, 1) is None:
            _fill(session)
        put_right(session)
        blends.catch_up(session)
        firing_fits.catch_up(session)
        heights.catch_up(session)
        session.commit()


def put_right(session: Session) -> list[str]:
    """See to what stands in the file past the checklist gate, and to a book that came back; tells it, in sentences."""
    connection, said = session.connection(), []
    if connection.exec_driver_sql("PRAGMA user_version").scalar():
        said += gate.came_back(session)
        if put_out := devices.revoke_all(session):  # they may have been put out since
            said.append(f"Devices that were paired in it are signed out ({put_out}); pair them again.")
        connection.exec_driver_sql("PRAGMA user_version=0")
    return said + gate.at_start(session)


def _fill(session: Session) -> None:
    session.add(Workshop(id=1))
    checklists.first(session)
    runsheets.first(session)
