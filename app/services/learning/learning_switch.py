"""Where predictions do not use what firings taught, or do all the same: the book, a formula, a firing of wet grains.

Each is a `Decision` for a reason: it holds until it is ended, and stays in the book.
"""

from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from sqlalchemy import select as select_core
from sqlmodel import Session, col, select

from app import clock
from app.errors import Refused
from app.models import Firing, FiringLeftOut, FiringLetIn, Formula, LearningPause
from app.services.book import workshop
from app.services.grains import wet

OFF_HERE, OFF_BOOK = "paused for this formula", "switched off in the workshop's settings"
D = TypeVar("D", FiringLeftOut, FiringLetIn, LearningPause)


@dataclass(frozen=True)
class Decision(Generic[D]):
    """A kind of decision: its rows, the columns of what it is about and of its end, what is said if it holds or not."""

    table: type[D]
    about: str
    ended: str
    holds: str
    holds_not: str

    def all_now(self, session: Session) -> dict[Any, D]:
        """Those in force, by what they are about."""
        rows = session.exec(select(self.table).where(getattr(self.table, self.ended).is_(None)))
        return {getattr(row, self.about): row for row in rows}

    def now(self, session: Session, about: int | str) -> D | None:
        """The one in force, if there is one."""
        query = select(self.table).where(getattr(self.table, self.about) == about)
        return session.exec(query.where(getattr(self.table, self.ended).is_(None))).first()

    def begin(self, session: Session, about: int | str, why: str) -> D:
        """Decide so from now on.

        Raises
        ------
        Refused
            It is so already.
        """
        if self.now(session, about) is not None:
            raise Refused(self.holds.format(about))
        columns: dict[str, Any] = {self.about: about, "why": why}
        row = self.table(**columns)
        session.add(row)
        session.flush()
        return row

    def end(self, session: Session, about: int | str) -> None:
        """Decide so no more.

        Raises
        ------
        Refused
            It is not so.
        """
        row = self.now(session, about)
        if row is None:
            raise Refused(self.holds_not.format(about))
        setattr(row, self.ended, clock.now())
        row.version += 1
        session.flush()


PAUSED = Decision(
    LearningPause,
    "formula_name",
    "ended_at",
    "Learning is paused for {} already.",
    "Predictions of {} use what was learned already.",
)
"""Predictions of a formula, all its versions by its name, stand on the book's defaults."""

LEFT_OUT = Decision(
    FiringLeftOut, "firing_id", "back_at", "This firing is left out already.", "This firing is not left out."
)
"""Nothing is learned from a firing."""

LET_IN = Decision(
    FiringLetIn,
    "firing_id",
    "ended_at",
    "Its wet grains are no reason any more to leave it out: it was let in already.",
    "This firing is left out already, for its wet grains.",
)
"""A firing of wet grains is learned from all the same."""


def why_off(session: Session, formula: Formula) -> str:
    """Why predictions of a formula do not use what was learned; '' where they do."""
    if not workshop.get(session).learn:
        return OFF_BOOK
    paused = PAUSED.now(session, formula.name)
    return f"{OFF_HERE}: {paused.why}" if paused else ""


def left_out(session: Session) -> dict[int, str]:
    """The firings that predictions do not learn from, by identity, and why: for wet grains, or as a person said."""
    inside, let_in = wet.in_motors(session), LET_IN.all_now(session)
    fired = session.execute(
        select_core(col(Firing.id), col(Firing.motor_build_id)).where(col(Firing.motor_build_id).in_(list(inside)))
    )
    found = {i: f"wet at the last re-weigh: {', '.join(inside[build])}" for i, build in fired if i not in let_in}
    return found | {firing_id: row.why for firing_id, row in LEFT_OUT.all_now(session).items()}


def leave_out(session: Session, firing: Firing, why: str) -> FiringLeftOut:
    """Learn nothing from a firing, for a reason that stays beside it.

    Raises
    ------
    Refused
        It is left out already, or it did not light.
    """
    _lit(firing)
    return LEFT_OUT.begin(session, firing.pk, why)


def let_wet_in(session: Session, firing: Firing, why: str) -> FiringLetIn:
    """Learn from a firing of wet grains all the same, for a reason that stays beside it.

    Raises
    ------
    Refused
        None of its grains was wet, it did not light, or it is learned from already.
    """
    _lit(firing)
    if firing.motor_build_id not in wet.in_motors(session):
        raise Refused("None of its grains was wet, so it is not left out for that.")
    return LET_IN.begin(session, firing.pk, why)


def _lit(firing: Firing) -> None:
    if firing.result == "no_light":
        raise Refused("This motor did not light, so nothing is learned from it anyway.")
