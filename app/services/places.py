"""Rockets and fields: what is flown, and where."""

from sqlmodel import Session, col, select

from app.models import LaunchField, Rocket
from app.models.place import LaunchFieldIn, RocketIn
from app.services import rows


def rockets(session: Session, retired: bool = False) -> list[Rocket]:
    """The rockets in use, by name; or the retired ones."""
    return list(session.exec(select(Rocket).where(col(Rocket.retired) == retired).order_by(Rocket.name)))


def fields(session: Session, retired: bool = False) -> list[LaunchField]:
    """The fields in use, by name; or the retired ones."""
    found = select(LaunchField).where(col(LaunchField.retired) == retired).order_by(LaunchField.name)
    return list(session.exec(found))


def save_rocket(session: Session, data: RocketIn, row: Rocket | None = None, version: int | None = None) -> Rocket:
    """Enter a rocket, or change one."""
    rows.refuse_same(session, Rocket, "name", data.name, but=row)
    return rows.store(session, Rocket, data, row, version)


def save_field(
    session: Session, data: LaunchFieldIn, row: LaunchField | None = None, version: int | None = None
) -> LaunchField:
    """Enter a field, or change one."""
    rows.refuse_same(session, LaunchField, "name", data.name, but=row)
    return rows.store(session, LaunchField, data, row, version)
