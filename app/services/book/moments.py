"""Reading a time told afterwards: by the clock on the bench's wall, stored in UTC."""

import re
from datetime import UTC, datetime, time, timedelta

from app import clock
from app.errors import Refused

AHEAD = timedelta(minutes=1)
"""A wall clock may run this much ahead of the machine's."""
BACK = timedelta(days=7)
_TIME = re.compile(r"(\d{1,2})[:.h](\d{2})")
_DAY = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})[ T]+(\d{1,2})[:.h](\d{2})")


def parse(text: str, field: str = "at") -> datetime:
    """The moment that somebody wrote down, as `14:05` (the last time the clock showed that) or with its day.

    Where a clock change made an hour twice, the later one that is not to come is meant.

    Raises
    ------
    Refused
        It is not a time, it is still to come, it lies more than a week back, or the clock change left it out.
    """
    now = clock.now()
    try:
        if match := _DAY.fullmatch(text.strip()):
            year, month, day, hour, minute = (int(part) for part in match.groups())
            candidates = _moments(field, datetime(year, month, day, hour, minute))
        elif match := _TIME.fullmatch(text.strip()):
            wall = datetime.combine(clock.today(), time(int(match[1]), int(match[2])))
            candidates = _moments(field, wall)
            if min(candidates) > now + AHEAD:
                candidates = _moments(field, wall - timedelta(days=1))
        else:
            raise Refused("Type a time such as 14:05, or with its day: 2026-11-25 14:05.", field=field)
    except ValueError:
        raise Refused("There is no such day or hour. Type a time such as 14:05.", field=field) from None
    past = [moment for moment in candidates if moment <= now + AHEAD]
    if not past:
        raise Refused(f"That time is still to come; it is {clock.local(now):%H:%M} now.", field=field)
    moment = max(past)
    if moment < now - BACK:
        raise Refused("That is more than a week back. Look at the day again.", field=field)
    return moment


def of_wall(wall: datetime, field: str, stood: datetime | None = None) -> datetime:
    """The moment that was meant by what the wall clock showed, past or to come; `stood` is what stood in the form.

    Where a clock change made an hour twice, it is the moment that stood there, else the later one that is not to come.

    Raises
    ------
    Refused
        The clock change left it out, or it is at the edge of the calendar.
    """
    candidates = _moments(field, wall)
    same = [moment for moment in candidates if stood is not None and moment == stood.replace(second=0, microsecond=0)]
    past = [moment for moment in candidates if moment <= clock.now()]
    return (same or past[-1:] or candidates)[0]


def _moments(field: str, wall: datetime) -> list[datetime]:
    """The moments at which the wall clock showed that: one, two where it was set back, none where it was set on."""
    try:
        if wall.tzinfo is not None:  # no wall's time, but the moment itself
            return [wall.astimezone(UTC)]
        both = [wall.replace(fold=fold).astimezone(UTC) for fold in (0, 1)]
        real = sorted({moment for moment in both if clock.local(moment).replace(tzinfo=None, fold=0) == wall})
    except (OverflowError, ValueError, OSError):  # at the edge of what a calendar, or this system, holds
        raise Refused("There is no such day or hour. Type a time such as 14:05.", field=field) from None
    if not real:
        raise Refused("The clock change left that time out. Write the time before or after it.", field=field)
    return real


def words(moment: datetime) -> str:
    """A moment by the wall clock; with its day when that is not today."""
    here = clock.local(moment)
    return f"{here:%H:%M}" if here.date() == clock.today() else f"{here:%H:%M} on {here.day} {here:%b}"
