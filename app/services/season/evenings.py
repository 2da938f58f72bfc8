"""The evenings that the maker has for casting in a season, by its weekdays, days off and damp months."""

from dataclasses import dataclass
from datetime import date, timedelta

from sqlmodel import Session

from app import clock
from app.models import Season, Workshop
from app.services.book import workshop
from app.services.season import seasons

DAY_S = 86400.0


@dataclass(frozen=True)
class Evening:
    """An evening to cast on: how many melts at most, and how long what is cast then cures [s]."""

    on: date
    melts: int
    cure_s: float


def damp_months(shop: Workshop) -> set[int]:
    """The months that the workshop calls damp, 1 to 12."""
    return {int(month) for month in shop.damp_months.split(",") if month}


def evenings(session: Session, season: Season, since: date | None = None) -> list[Evening]:
    """The evenings of a season from a day on (today where it is left out), earliest first.

    In a damp month nothing is cast, or where the workshop gives those months a cure of their own, it is that.
    """
    shop = workshop.get(session)
    damp = damp_months(shop)
    entries = seasons.days(session, season)
    first = max(season.begins_on, since or clock.today())
    found = []
    for number in range(min((season.ends_on - first).days, seasons.LONGEST_DAYS) + 1):
        on = first + timedelta(days=number)
        about = [entry for entry in entries if entry.first_on <= on <= entry.last_on]
        melts = season.melts_per_evening if str(on.isoweekday()) in season.weekdays else 0
        for entry in about:
            if entry.kind == "evening":
                melts = entry.melts or season.melts_per_evening
        if any(entry.kind == "off" for entry in about):
            melts = 0
        is_damp = on.month in damp
        if melts and not (is_damp and shop.damp_cure_s is None):
            cure = shop.damp_cure_s if is_damp and shop.damp_cure_s is not None else shop.cure_s
            found.append(Evening(on, melts, max(cure, shop.cure_s)))
    return found
