"""A season as an iCalendar file (RFC 5545), with names that stay, so that another calendar follows it.

An evening keeps its name by its day, a wish and a delivery by theirs; what fell away since it was told is in the file
as cancelled, so that it goes from the other calendar too.
"""

import json
from collections.abc import Iterator
from datetime import date, datetime, timedelta

from sqlmodel import Session, col, select

from app import clock
from app.models import Delivery, Season
from app.services.season import calendar_days, casting, kept_plans, overview, wishes
from app.services.season.calendar_days import NAMES, Entry


def make(session: Session, season: Season) -> bytes:
    """The file: each evening, test, field day and delivery as an event of a whole day."""
    from icalendar import Calendar, Event  # seldom asked for; the start does without

    seen = overview.of(session, season)
    plans = kept_plans.every(session, season)
    listed = calendar_days.entries(session, season, casting.current(session, season), seen)
    calendar = Calendar()
    calendar.add("prodid", "-//Grainbook//Season//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("name", season.name)
    changed = max((plan.made_at for plan in plans), default=season.created_at)
    events = [(entry, "CONFIRMED") for entry in listed if entry.what != "cured"]
    told = {entry.key for entry, _ in events}
    events += [(entry, "CANCELLED") for entry in _gone(session, season) if entry.key not in told]
    for entry, status in sorted(events, key=lambda one: (one[0].on, one[0].key)):
        event = Event()
        event.add("uid", f"{entry.key}.{season.uid}@grainbook.invalid")
        event.add("dtstamp", _second(clock.now()))
        event.add("last-modified", _second(changed))
        event.add("sequence", len(plans))
        event.add("dtstart", entry.on)
        event.add("dtend", entry.on + timedelta(days=1))
        event.add("summary", f"{NAMES[entry.what]}: {entry.words}")
        if entry.more:
            event.add("description", entry.more)
        event.add("status", status)
        event.add("transp", "TRANSPARENT" if entry.what == "delivery" else "OPAQUE")
        calendar.add_component(event)
    return bytes(calendar.to_ical())


def _second(moment: datetime) -> datetime:
    return moment.replace(microsecond=0)


def _gone(session: Session, season: Season) -> Iterator[Entry]:
    """What an earlier file may have held: evenings of earlier plans, wishes struck out, deliveries."""
    days = {
        date.fromisoformat(evening["on"])
        for plan in kept_plans.every(session, season)
        for evening in json.loads(plan.result_json)["evenings"]
    }
    for day in sorted(days):
        yield Entry("evening", day, "not any more", f"evening-{day.isoformat()}")
    for wish in wishes.wishes(session, season, struck=True):
        what: calendar_days.What = "flight" if wish.kind == "flight" else "test"
        yield Entry(what, wish.by_on, "not any more", f"wish-{wish.pk}")
    voided = select(Delivery).where(col(Delivery.voided_at).is_not(None))
    for row in session.exec(voided):
        yield Entry("delivery", row.due_on, "not any more", f"delivery-{row.pk}")
