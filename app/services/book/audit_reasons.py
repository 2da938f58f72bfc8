"""The record of changes: signing an act, and reading what stood in the book before."""

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import delete
from sqlmodel import Session, SQLModel, col, select

from app import clock
from app.book import record
from app.errors import Refused
from app.models import ActInHand, Person, Workshop, words
from app.models.base import FormIn, Row, columns

WHY_LENGTH = 300
WHY_LEAST = 3


@contextmanager
def signed(session: Session, who: str = "", why: str = "", device: str | None = None) -> Iterator[None]:
    """Sign what is written inside: who does it, why, on which device. The signature is gone when the act is done.

    It stands in the book only inside the act's own transaction, so no other writer can be taken for this person.
    """
    session.execute(delete(ActInHand))  # one that came with a file is nobody's
    act = ActInHand(id=1, at=clock.now(), who=who, why=why[:WHY_LENGTH], device=device)
    session.add(act)
    session.flush()
    session.info[_IN_HAND] = act
    try:
        yield
    finally:
        session.info.pop(_IN_HAND, None)
    session.flush()
    session.execute(delete(ActInHand))


_IN_HAND = "act in hand"
"""Where a session keeps the act that is signed in it: a page, which acts on nothing, need not look for one."""


def _in_hand(session: Session) -> ActInHand | None:
    act: ActInHand | None = session.info.get(_IN_HAND)
    return act


def because(session: Session, why: str) -> None:
    """Give the reason of the act in hand, where the program knows it and the form did not ask."""
    act = _in_hand(session)
    if act is not None:
        act.why = why[:WHY_LENGTH]
        session.flush()


def who(session: Session) -> str:
    """Who does the act in hand; outside of one, the name in the settings."""
    act = _in_hand(session)
    if act is not None and act.who:
        return act.who
    workshop = session.get(Workshop, 1)
    return workshop.person if workshop else ""


def known(session: Session, name: str) -> str:
    """That name if somebody who works here has it, else nothing."""
    workshop = session.get(Workshop, 1)
    if not name or (workshop and workshop.person == name):
        return name
    found = select(Person.id).where(Person.name == name, col(Person.retired).is_(False))
    return name if session.exec(found).first() else ""


def ask_why(row: Row, data: FormIn) -> None:
    """Refuse to change or empty what was measured without a reason; what was not measured yet is just filled in.

    Raises
    ------
    Refused
        A measured value differs and no reason is given.
    """
    wanted, table = columns(data, type(row)), SQLModel.metadata.tables[str(row.__tablename__)]
    for name, typed in record.values(table):
        if typed is None or name not in wanted or getattr(row, typed) is None or wanted[name] == getattr(row, name):
            continue
        if len(str(getattr(data, "why", ""))) < WHY_LEAST:
            raise Refused(
                f"{getattr(row, typed)} was measured and stands in the book. Say in a few words why it is "
                f"{'emptied' if wanted[name] is None else 'changed'}; what stood before is kept with it.",
                field="why",
            )


def counted(uses: dict[str, int]) -> str:
    """How many rows of each kind, in words."""
    return ", ".join(f"{count} × {words.noun(table)}" for table, count in uses.items())
