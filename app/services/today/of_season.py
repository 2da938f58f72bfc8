"""The season as the day's page tells it: what it asks for next, and how far it has come."""

from dataclasses import dataclass

from sqlmodel import Session

from app.services.season import casting, next_step, overview, seasons, shopping
from app.services.season.next_step import Step


@dataclass(frozen=True)
class SeasonNow:
    """The season that today is in: its next step, and flights wanted, flown and on the shelf; melts still to go."""

    name: str
    href: str
    step: Step | None
    wanted: int
    flown: int
    on_shelf: int
    melts: int


def now(session: Session) -> SeasonNow | None:
    """How it stands with the season; nothing where there is none, or its list is empty."""
    season = seasons.current(session)
    if season is None:
        return None
    seen = overview.of(session, season)
    if not seen.lines:
        return None
    cast = casting.current(session, season)
    bought = shopping.of(session, season, seen, shopping.melts_of_plan(session, cast)) if cast else None
    return SeasonNow(
        name=season.name,
        href=next_step.address(season.pk),
        step=next_step.following(seen, cast, bought),
        wanted=seen.wanted,
        flown=seen.flown,
        on_shelf=seen.on_shelf,
        melts=cast.melts_ahead if cast else 0,
    )
