"""The record of changes: signing an act, and reading what stood in the book before."""

from collections.abc import Iterator
from contextlib import contextmanager

from sqlmodel import Session, col, select

from app import clock
from app.models import ActInHand, Person, Workshop

WHY_LENGTH = 300


@contextmanager
def signed(session: Session, who: str = "", why: str = "", device: str | None = None) -> Iterator[None]:
    """Sign what is written inside: who does it, why, on which device. The signature is gone when the act is done.

    It stands in the book only inside the act's own transaction, so no other writer can be taken for this person.
    """
    session.add(ActInHand(id=1, at=clock.now(), who=who, why=why[:WHY_LENGTH], device=device))
    session.flush()
    yield
    session.flush()
    act = session.get(ActInHand, 1)
    if act is not None:
        session.delete(act)
        session.flush()


def because(session: Session, why: str) -> None:
    """Give the reason of the act in hand, where the program knows it and the form did not ask."""
    act = session.get(ActInHand, 1)
    if act is not None:
        act.why = why[:WHY_LENGTH]
        session.flush()


def who(session: Session) -> str:
    """Who does the act in hand; outside of one, the name in the settings."""
    act = session.get(ActInHand, 1)
    return act.who if act is not None and act.who else known(session, "")


def known(session: Session, name: str) -> str:
    """That name if somebody in use here has it, else the one in the settings."""
    if name and session.exec(select(Person.id).where(Person.name == name, col(Person.retired).is_(False))).first():
        return name
    workshop = session.get(Workshop, 1)
    return workshop.person if workshop else ""
