"""A season day by day: evenings with what is cast, cures, tests, field days and deliveries, in the weeks of a wall."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from sqlmodel import Session, col, select

from app import clock
from app.drawings.season_line import Happening
from app.models import Batch, Consumable, Delivery, Season
from app.models.base import LATEST
from app.services.book import workshop
from app.services.season import evenings, seasons
from app.services.season.casting import Casting
from app.services.season.overview import Line, Overview
from app.services.stock import batches, supplies
from app.units import show

WEEKS = 12
"""So many weeks are shown where not the whole season is asked for."""

FARTHEST = timedelta(days=20 * 366)
"""What is farther from today is a slip that no form takes, and stands on no calendar."""

What = Literal["evening", "test", "flight", "delivery", "cured"]

NAMES: dict[What, str] = {
    "evening": "Cast",
    "test": "Static test",
    "flight": "Field day",
    "delivery": "Delivery",
    "cured": "Cured",
}


@dataclass(frozen=True)
class Entry:
    """Something on a day; `key` names it for good, `until` is the last day of the cure that it begins."""

    what: What
    on: date
    words: str
    key: str
    more: str = ""
    done: bool = False
    until: date | None = None


@dataclass(frozen=True)
class Day:
    """A day of the wall: its entries, whether grains cure on it, and whether the maker has an evening or days off."""

    on: date
    inside: bool
    entries: tuple[Entry, ...]
    cures: bool
    free: bool
    off: str
    off_begins: bool
    """Whether the words of days off are written here: at their first day, and at the beginning of each week."""

    @property
    def today(self) -> bool:
        """Whether it is today."""
        return self.on == clock.today()


@dataclass(frozen=True)
class Wall:
    """Weeks from Monday to Sunday."""

    weeks: tuple[tuple[Day, ...], ...]

    @property
    def first(self) -> date:
        """Its first day."""
        return self.weeks[0][0].on

    @property
    def last(self) -> date:
        """Its last day."""
        return self.weeks[-1][-1].on


def entries(session: Session, season: Season, found: Casting | None, seen: Overview) -> list[Entry]:
    """What is on which day of a season, by day."""
    listed = [*_evenings(found), *_other_melts(session, season, found), *_wished(seen), *_deliveries(session, season)]
    listed = [entry for entry in listed if abs(entry.on - clock.today()) < FARTHEST]
    return sorted(listed, key=lambda entry: (entry.on, list(NAMES).index(entry.what), entry.key))


def _evenings(found: Casting | None) -> Iterator[Entry]:
    for evening in found.evenings if found else ():
        melts = "; ".join(f"{melt.words} of {melt.formula}" for melt in evening.melts)
        codes = ", ".join(batch.code for batch in evening.batches)
        more = f"{melts}. Cured on {clock.day(evening.cured)}." + (f" Batches: {codes}." if codes else "")
        done = bool(evening.batches) and all(batch.state == "cast" for batch in evening.batches)
        key = f"evening-{evening.on.isoformat()}"
        yield Entry("evening", evening.on, evening.words, key, more, done, evening.cured - timedelta(days=1))
        yield Entry("cured", evening.cured, evening.words, f"cured-{evening.on.isoformat()}")


def _other_melts(session: Session, season: Season, found: Casting | None) -> Iterator[Entry]:
    """Melts that are planned or cast in the season's time, but not out of the plan."""
    planned = {batch.pk for evening in (found.evenings if found else ()) for batch in evening.batches}
    query = select(Batch).where(
        Batch.state != "dropped", col(Batch.planned_for).between(season.begins_on, season.ends_on)
    )
    cure = timedelta(seconds=workshop.get(session).cure_s)
    for batch in session.exec(query.order_by(col(Batch.planned_for), col(Batch.id)).options(*batches.BARE)):
        if batch.pk not in planned:
            until = min(batch.planned_for, LATEST.date() - cure) + cure - timedelta(days=1)
            yield Entry("evening", batch.planned_for, batch.code, f"batch-{batch.pk}", "", batch.state == "cast", until)


def _wished(seen: Overview) -> Iterator[Entry]:
    for line in seen.lines:
        what: What = "flight" if line.wish.kind == "flight" else "test"
        key = f"wish-{line.wish.pk}"
        yield Entry(what, line.wish.by_on, _line(line), key, _grains(line), not line.left)


def _line(line: Line) -> str:
    count = line.left or line.wish.count
    if line.formula is not None:
        return f"{count} tests of {line.formula.name}" if count > 1 else f"test of {line.formula.name}"
    return f"{count} {line.name}"


def _grains(line: Line) -> str:
    place = f" at {line.field.name}" if line.field else ""
    motor = f" {line.motor.grains_words} each." if line.motor else " No motor is chosen yet."
    return f"{line.name}{place}.{motor}"


def _deliveries(session: Session, season: Season) -> Iterator[Entry]:
    units = workshop.get(session).units
    within = col(Delivery.due_on).between(season.begins_on, season.ends_on)
    found = select(Delivery).where(col(Delivery.voided_at).is_(None), within).order_by(col(Delivery.due_on))
    for row in session.exec(found):
        if row.ingredient is not None:
            name, amount = supplies.ingredient_name(row.ingredient), show(row.mass_kg, "mass", units)
        else:
            name, amount = session.get_one(Consumable, row.consumable_id).name, f"{row.count}"
        done = row.arrived_on is not None
        key = f"delivery-{row.pk}"
        yield Entry("delivery", row.arrived_on or row.due_on, f"{amount} {name}", key, row.seller, done)


def happenings(listed: Sequence[Entry]) -> list[Happening]:
    """The same for the time line: melts of the plan and others that are to come, tests and flights."""
    return [
        Happening(
            "melt" if entry.what == "evening" else "test" if entry.what == "test" else "flight",
            entry.on,
            entry.words,
            entry.done,
            entry.until + timedelta(days=1) if entry.until else None,
        )
        for entry in listed
        if entry.what in ("evening", "test", "flight") and not (entry.done and entry.key.startswith("batch-"))
    ]


def wall(session: Session, season: Season, listed: Sequence[Entry], whole: bool) -> Wall:
    """The weeks of a season from today's on, or from its first; twelve of them, or the whole of it."""
    start = season.begins_on if whole else min(max(season.begins_on, clock.today()), season.ends_on)
    start = min(max(start, clock.today() - FARTHEST), clock.today() + FARTHEST)
    first = start - timedelta(days=start.weekday())
    ends = min(season.ends_on, first + timedelta(days=seasons.LONGEST_DAYS))
    last = max(ends, first) if whole else first + timedelta(days=7 * WEEKS - 1)
    free = {evening.on for evening in evenings.evenings(session, season, first)}
    off = {
        row.first_on + timedelta(days=number): row.why or "off"
        for row in seasons.days(session, season)
        if row.kind == "off"
        for number in range((row.last_on - row.first_on).days + 1)
    }
    by_day: dict[date, list[Entry]] = {}
    for entry in listed:
        by_day.setdefault(entry.on, []).append(entry)
    cures = [(entry.on, entry.until) for entry in listed if entry.until]

    def day(on: date) -> Day:
        return Day(
            on,
            season.begins_on <= on <= season.ends_on,
            tuple(by_day.get(on, ())),
            any(start < on <= until for start, until in cures),
            on in free,
            off.get(on, ""),
            on.isoweekday() == 1 or off.get(on) != off.get(on - timedelta(days=1)),
        )

    weeks = (last - first).days // 7 + 1
    return Wall(tuple(tuple(day(first + timedelta(days=7 * w + d)) for d in range(7)) for w in range(weeks)))
