"""The one place that asks what time it is, so that a test can turn the clock."""

from datetime import UTC, date, datetime


def now() -> datetime:
    """The moment, in UTC."""
    return datetime.now(UTC)


def today() -> date:
    """The calendar day at the bench (local time of this machine)."""
    return local(now()).date()


def local(moment: datetime) -> datetime:
    """A stored moment in the bench's own time."""
    return moment.astimezone()
