"""What a search for motors is planned for beside the wish: a wind, and the ejection delays that the maker can have.

Each as typed; else as with the motor chosen before, as the flights in the book have it, or as assumed; and in words.
"""

from dataclasses import dataclass
from statistics import median

from sqlmodel import Session, col, select

from app.models import Firing, LaunchField, MotorChoice, Rocket, Wish
from app.models.season_choice import Delays
from app.services.book import workshop
from app.services.season import figures, kept_choices
from app.units import show

SAME_M_S = 1e-6
"""Winds that differ by no more were written and read again [m/s]."""

WIND_M_S = 3.0
"""The wind that a field day is planned for where nothing is known of it [m/s]: a gentle breeze, an assumption."""


@dataclass(frozen=True)
class Planned:
    """A wind [m/s] and how it is known; delays [s], None where the motor's charge is not known to open anything."""

    wind_m_s: float
    wind_words: str = "as typed"
    assumed: bool = False
    delays_s: tuple[float, ...] | None = None
    delay_words: str = ""


def of(session: Session, wish: Wish, wind_m_s: float | None = None, delays: Delays | None = None) -> Planned:
    """What a wish's motors are looked for with; what is not told stands as the book has it."""
    if wish.rocket_id is None or wish.launch_field_id is None:
        return Planned(0.0)
    rocket, field = session.get_one(Rocket, wish.rocket_id), session.get_one(LaunchField, wish.launch_field_id)
    chosen = kept_choices.of_wish(session, wish)
    wind, words, assumed = _wind(session, field, chosen)
    if wind_m_s is not None and abs(wind_m_s - wind) > SAME_M_S:  # a field left as it stood says no more than the book
        wind, words, assumed = wind_m_s, "as typed", False
    known, told = _delays(session, rocket)
    if delays is not None and delays.seconds and delays.seconds != known:
        known, told = delays.seconds, "as typed"
    elif delays is not None and not delays.seconds and known:
        known, told = None, f"no ejection delay is told for {rocket.name}"
    return Planned(wind, words, assumed, known, told)


def _wind(session: Session, field: LaunchField, chosen: MotorChoice | None) -> tuple[float, str, bool]:
    before = figures.of(chosen).wind_m_s if chosen is not None else None
    if before is not None:
        return before, "as for the motor chosen", False
    noted = session.exec(
        select(Firing.wind_m_s).where(
            Firing.launch_field_id == field.pk, Firing.kind == "flight", col(Firing.wind_m_s).is_not(None)
        )
    ).all()
    winds = sorted(wind for wind in noted if wind is not None)
    if not winds:
        return WIND_M_S, f"assumed, for no flight at {field.name} has its wind noted", True
    of = f"the middle of {len(winds)} winds" if len(winds) > 1 else "the one wind"
    return median(winds), f"{of} noted at {field.name}", False


def _delays(session: Session, rocket: Rocket) -> tuple[tuple[float, ...] | None, str]:
    for choice in session.exec(
        select(MotorChoice)
        .join(Wish, col(MotorChoice.wish_id) == col(Wish.id))
        .where(Wish.rocket_id == rocket.pk)
        .order_by(col(MotorChoice.id).desc())
    ):
        if kept := figures.of(choice).delays_s:
            return kept, f"as told for a motor of {rocket.name} before"
    planned = session.exec(
        select(Firing.delay_planned_s).where(
            Firing.rocket_id == rocket.pk, Firing.kind == "flight", col(Firing.delay_planned_s).is_not(None)
        )
    ).all()
    flown = tuple(sorted({delay for delay in planned if delay is not None}))
    if flown:
        return flown, f"as planned for earlier flights of {rocket.name}"
    if rocket.opening_delay_s is not None:
        units = workshop.get(session).units
        after = show(rocket.opening_delay_s, "time", units, 1) if rocket.opening_delay_s else "right"
        return None, f"{rocket.name} opens its parachute {after} after apogee, as its page says"
    return None, f"no ejection delay is known for {rocket.name}"
