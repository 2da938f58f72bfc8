"""Seasons: entered, changed, and which one is meant now."""

from datetime import date, datetime
from typing import Any

from sqlmodel import Session, col, select

from app import clock
from app.errors import Faults
from app.models import Season, SeasonDay
from app.models.base import EARLIEST, LATEST
from app.models.season import SeasonDayIn, SeasonIn
from app.services.book import repository

LONGEST_DAYS = 800
"""A season is at most so long [days]: two winters and the summers between; more is a slip in a year."""

LAST_YEAR = 2999
"""A season ends in it at the latest; a later one is a slip."""


def seasons(session: Session) -> list[Season]:
    """All seasons, the newest first."""
    return list(session.exec(select(Season).order_by(col(Season.ends_on).desc(), col(Season.id).desc())))


def current(session: Session) -> Season | None:
    """The season that today is in, else the next one to come; None where all are past."""
    found = select(Season).where(Season.ends_on >= clock.today()).order_by(col(Season.begins_on), col(Season.id))
    return session.exec(found).first()


def get(session: Session, season_id: int) -> Season:
    """The season of that identity.

    Raises
    ------
    NotFound
        There is none.
    """
    return repository.get(session, Season, season_id, "season")


def since(season: Season) -> datetime:
    """When its first day begins at the bench; a day at the edge of the calendar, which no form takes, within it."""
    return clock.midnight(min(max(season.begins_on, EARLIEST.date()), LATEST.date()))


def past(season: Season) -> bool:
    """Whether its last day is over."""
    return season.ends_on < clock.today()


def save(session: Session, data: SeasonIn, row: Season | None = None, version: int | None = None) -> Season:
    """Enter a season, or change one.

    Raises
    ------
    Refused
        Its days lie the wrong way round, in the past or years apart, its name is taken, or there is no evening in it.
    Conflict
        It was changed since the page was opened.
    """
    faults = Faults()
    with faults.one():
        repository.refuse_same(session, Season, "name", data.name, row)
    length = (data.ends_on - data.begins_on).days
    if data.ends_on < clock.today() and (row is None or data.ends_on != row.ends_on):
        faults.add("ends_on", f"This day is past: it is {clock.day(clock.today())}. Choose one to come.")
    elif length <= 0:
        faults.add("ends_on", "The last flight comes after the first evening of casting; turn the days round.")
    elif data.ends_on.year > LAST_YEAR:
        faults.add("ends_on", "That year is too far ahead; check the year.")
    elif length > LONGEST_DAYS:
        faults.add("ends_on", f"That is {length // 365} years from the first evening; check the years.")
    if not data.weekdays and (row is None or not _evenings_by_date(session, row)):
        faults.add("weekdays", "Without an evening nothing can be cast. Choose at least one day of the week.")
    faults.tell()
    values: dict[str, Any] = {
        "name": data.name,
        "begins_on": data.begins_on,
        "ends_on": data.ends_on,
        "weekdays": "".join(sorted(set(data.weekdays))),
        "melts_per_evening": data.melts_per_evening,
        "confidence_share": data.confidence.si,
        "spare_sets": data.spare_sets,
        "budget": data.budget.amount if data.budget else None,
        "budget_currency": data.budget.currency if data.budget else "",
        "note": data.note,
    }
    if row is None:
        row = Season(**values)
        session.add(row)
    else:
        repository.claim(row, version)
        for name, value in values.items():
            setattr(row, name, value)
    session.flush()
    return row


def _evenings_by_date(session: Session, season: Season) -> bool:
    return any(day.kind == "evening" for day in days(session, season))


def days(session: Session, season: Season) -> list[SeasonDay]:
    """Its days that are not as the weekdays say, by date."""
    found = select(SeasonDay).where(SeasonDay.season_id == season.pk)
    return list(session.exec(found.order_by(col(SeasonDay.first_on), col(SeasonDay.id))))


def add_day(session: Session, season: Season, data: SeasonDayIn) -> SeasonDay:
    """Enter days off, or an evening more.

    Raises
    ------
    Refused
        They lie outside the season, the wrong way round, in the past, or several evenings are meant at once.
    """
    last = data.last_on or data.first_on
    faults = Faults()
    if last < data.first_on:
        faults.add("last_on", "This day comes before the first; turn them round.")
    if not _within(season, data.first_on):
        faults.add("first_on", _outside(season))
    if data.last_on and not _within(season, data.last_on):
        faults.add("last_on", _outside(season))
    if last < clock.today():
        faults.add("first_on", "This day is past; nothing is planned for it any more.")
    if data.kind == "evening" and last != data.first_on:
        faults.add("last_on", "One evening more is one day; leave this empty, and enter each by itself.")
    faults.tell()
    melts = data.melts if data.kind == "evening" else None
    row = SeasonDay(
        season_id=season.pk, first_on=data.first_on, last_on=last, kind=data.kind, melts=melts, why=data.why
    )
    session.add(row)
    session.flush()
    return row


def _within(season: Season, day: date) -> bool:
    return season.begins_on <= day <= season.ends_on


def _outside(season: Season) -> str:
    return f"The season goes from {clock.day(season.begins_on)} to {clock.day(season.ends_on)}; choose a day in it."


def remove_day(session: Session, season: Season, day_id: int) -> None:
    """Take an entry about a day away again; the record of changes keeps it.

    Raises
    ------
    NotFound
        The season has none of that identity.
    """
    row = repository.get(session, SeasonDay, day_id, "day")
    if row.season_id == season.pk:
        repository.delete(session, row)
