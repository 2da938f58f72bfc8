"""The one place that asks what time it is, so that the demonstration book and the tests can turn the clock.

UTC is stored and local time shown; on which day a moment lies is a question of the bench's own clock (`local`), in
services and guards alike. Only what a trigger takes for now where nobody has signed an act is the machine's own clock,
as it is for any other program.
"""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta


def _machine() -> datetime:
    return datetime.now(UTC)


_source: Callable[[], datetime] = _machine
_at_start = (_machine(), time.monotonic())


def now() -> datetime:
    """The moment, in UTC."""
    return _source()


def today() -> date:
    """The calendar day at the bench (local time of this machine)."""
    return local(now()).date()


def local(moment: datetime) -> datetime:
    """A stored moment in the bench's own time."""
    return moment.astimezone()


def midnight(day: date) -> datetime:
    """When a day begins at the bench; a day with a clock change ends by its new offset."""
    return datetime.combine(day, datetime.min.time()).astimezone()


def next_midnight(moment: datetime) -> datetime:
    """When the bench's day of a stored moment is over."""
    return midnight(local(moment).date() + timedelta(days=1))


def day(of: date) -> str:
    """A day in words, as 3 Nov 2026; of a moment its day at the bench."""
    of = local(of) if isinstance(of, datetime) else of
    return f"{of.day} {of:%b %Y}"  # the day without its nought: strftime has no word for it that Windows knows


def day_and_time(moment: datetime) -> str:
    """A stored moment in words, by the bench's own time: 3 Nov 2026, 14:05."""
    return f"{day(moment)}, {local(moment):%H:%M}"


def set_back() -> timedelta:
    """How far the machine's clock reads earlier than it would had nobody touched it since the program's start."""
    if _source is not _machine:
        return timedelta(0)
    wall, steady = _at_start
    return max(wall + timedelta(seconds=time.monotonic() - steady) - _machine(), timedelta(0))


@contextmanager
def turned_to(moment: datetime, *, runs: bool = False) -> Iterator[Callable[[datetime], None]]:
    """Hold the clock at a moment, or let it run on from there; what is given back turns it further."""
    global _source
    before, shown, turned = _source, moment.astimezone(UTC), time.monotonic()
    _source = lambda: shown + timedelta(seconds=time.monotonic() - turned) if runs else shown  # noqa: E731

    def turn(later: datetime) -> None:
        nonlocal shown, turned
        shown, turned = later.astimezone(UTC), time.monotonic()

    try:
        yield turn
    finally:
        _source = before
