"""Who works here: names to sign the book with. Nobody is asked for a password; a name is a person's word."""

from sqlmodel import Session, col, select

from app.errors import Refused
from app.models import Person
from app.models.history import AtBenchIn, PersonIn
from app.services.book import repository, workshop


def listed(session: Session, retired: bool = False) -> list[Person]:
    """The people who work here, by name; or those who do no more."""
    return list(session.exec(select(Person).where(col(Person.retired) == retired).order_by(Person.name)))


def save(session: Session, data: PersonIn, row: Person | None = None, version: int | None = None) -> Person:
    """Enter somebody, or change how they are called; what they signed before keeps the name they had then.

    Raises
    ------
    Refused
        There is somebody of that name.
    """
    repository.refuse_same(session, Person, "name", data.name, but=row)
    return repository.store(session, Person, data, row, version)


def names(session: Session) -> list[str]:
    """The names to choose from: the one in the settings first."""
    usual = workshop.get(session).person
    return [*([usual] if usual else []), *(p.name for p in listed(session) if p.name != usual)]


def at_bench(session: Session, data: AtBenchIn) -> str:
    """The name that was chosen.

    Raises
    ------
    Refused
        It is not one of them.
    """
    if data.at_bench and data.at_bench not in names(session):
        raise Refused("Choose one of the names, or add it to the people first.", field="at_bench")
    return data.at_bench
