"""Where predictions do not use what firings taught: the book, a formula, a firing, each for a reason that stays."""

from sqlmodel import Session, col, select

from app import clock
from app.errors import Refused
from app.models import Firing, FiringLeftOut, Formula, LearningPause
from app.services.book import workshop

OFF_HERE, OFF_BOOK = "paused for this formula", "switched off in the workshop's settings"


def why_off(session: Session, formula: Formula) -> str:
    """Why predictions of a formula do not use what was learned; '' where they do."""
    if not workshop.get(session).learn:
        return OFF_BOOK
    paused = pause_of(session, formula.name)
    return f"{OFF_HERE}: {paused.why}" if paused else ""


def pause_of(session: Session, name: str) -> LearningPause | None:
    """The pause of a formula that is in force, if there is one."""
    now = select(LearningPause).where(LearningPause.formula_name == name, col(LearningPause.ended_at).is_(None))
    return session.exec(now).first()


def pause(session: Session, formula: Formula, why: str) -> LearningPause:
    """Let predictions of a formula, all its versions, stand on the book's defaults from now on.

    Raises
    ------
    Refused
        They do already.
    """
    if pause_of(session, formula.name) is not None:
        raise Refused(f"Learning is paused for {formula.name} already.")
    row = LearningPause(formula_name=formula.name, why=why)
    session.add(row)
    session.flush()
    return row


def resume(session: Session, formula: Formula) -> None:
    """Let predictions of a formula use what was learned again; that they did not stays in the book.

    Raises
    ------
    Refused
        They do already.
    """
    row = pause_of(session, formula.name)
    if row is None:
        raise Refused(f"Predictions of {formula.name} use what was learned already.")
    row.ended_at = clock.now()
    row.version += 1
    session.flush()


def out_now(session: Session, firing: Firing) -> FiringLeftOut | None:
    """That a firing is left out, if it is."""
    now = select(FiringLeftOut).where(FiringLeftOut.firing_id == firing.pk, col(FiringLeftOut.back_at).is_(None))
    return session.exec(now).first()


def leave_out(session: Session, firing: Firing, why: str) -> FiringLeftOut:
    """Learn nothing from a firing, for a reason that stays beside it.

    Raises
    ------
    Refused
        It is left out already, or it did not light.
    """
    if firing.result == "no_light":
        raise Refused("This motor did not light, so nothing is learned from it anyway.")
    if out_now(session, firing) is not None:
        raise Refused("This firing is left out already.")
    row = FiringLeftOut(firing_id=firing.pk, why=why)
    session.add(row)
    session.flush()
    return row


def let_in(session: Session, firing: Firing) -> None:
    """Learn from a firing again; that it was left out stays in the book.

    Raises
    ------
    Refused
        It is not left out.
    """
    row = out_now(session, firing)
    if row is None:
        raise Refused("This firing is not left out.")
    row.back_at = clock.now()
    row.version += 1
    session.flush()
