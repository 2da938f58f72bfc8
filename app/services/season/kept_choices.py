"""The motor that the maker chose for a wish: kept with its reason and what was expected, given up with another."""

import json
from collections.abc import Mapping, Sequence
from typing import Any

from sqlmodel import Session, col, select

from app import clock
from app.errors import Refused
from app.models import ChoiceGrain, MotorChoice, Season, Wish
from app.services.book import audit_reasons


def of_wish(session: Session, wish: Wish) -> MotorChoice | None:
    """The motor chosen for a wish."""
    found = select(MotorChoice).where(MotorChoice.wish_id == wish.pk, col(MotorChoice.given_up_at).is_(None))
    return session.exec(found).first()


def earlier(session: Session, wish: Wish) -> list[MotorChoice]:
    """The motors that were chosen for a wish and given up again, the last one first."""
    found = select(MotorChoice).where(MotorChoice.wish_id == wish.pk, col(MotorChoice.given_up_at).is_not(None))
    return list(session.exec(found.order_by(col(MotorChoice.id).desc())))


def standing(session: Session, season: Season) -> dict[int, MotorChoice]:
    """The motors chosen for the wishes of a season, by the wish's identity."""
    found = (
        select(MotorChoice)
        .join(Wish, col(MotorChoice.wish_id) == col(Wish.id))
        .where(Wish.season_id == season.pk, col(Wish.struck_at).is_(None), col(MotorChoice.given_up_at).is_(None))
    )
    return {choice.wish_id: choice for choice in session.exec(found)}


def choose(
    session: Session,
    wish: Wish,
    *,
    case_id: int,
    nozzle_id: int,
    throat_d_m: float,
    formula_id: int,
    grains: Sequence[tuple[int, int]],
    figures: Mapping[str, Any],
    drill_id: int | None = None,
    why: str = "",
) -> MotorChoice:
    """Keep a motor for a wish; the one chosen before is given up.

    Parameters
    ----------
    grains
        Patterns with how many of each, from the closure to the nozzle.
    figures
        What the page showed of it, as plain JSON.

    Raises
    ------
    Refused
        The wish is struck out, or there are no grains.
    """
    if wish.struck_at is not None:
        raise Refused("This wish was struck out; no motor is chosen for it.")
    if not grains:
        raise Refused("A motor has at least one grain.")
    before = of_wish(session, wish)
    if before is not None:
        give_up(session, before, why or "Another motor was chosen.")
    row = MotorChoice(
        wish_id=wish.pk,
        chosen_at=clock.now(),
        person=audit_reasons.who(session),
        why=why,
        case_id=case_id,
        nozzle_id=nozzle_id,
        drill_id=drill_id,
        throat_d_m=throat_d_m,
        formula_id=formula_id,
        figures_json=json.dumps(figures, allow_nan=False),
    )
    session.add(row)
    session.flush()
    for position, (pattern_id, count) in enumerate(grains, 1):
        session.add(ChoiceGrain(motor_choice_id=row.pk, position=position, pattern_id=pattern_id, count=count))
    session.flush()
    session.refresh(row)
    return row


def give_up(session: Session, choice: MotorChoice, why: str) -> None:
    """Give a chosen motor up; it stays readable with the reason.

    Raises
    ------
    Refused
        It is given up already.
    """
    if choice.given_up_at is not None:
        raise Refused("This motor was given up already.")
    choice.given_up_at, choice.given_up_why = clock.now(), why
    choice.version += 1
    session.flush()
