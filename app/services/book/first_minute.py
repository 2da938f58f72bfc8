"""The minute in which a slip is taken back with one touch and without a reason of one's own."""

from datetime import timedelta

from app import clock
from app.errors import Refused
from app.models.base import Row
from app.models.batch import VoidIn

TAKE_BACK = timedelta(seconds=60)

AT_ONCE = "Taken back within a minute."
"""The reason that the button of the first minute gives by itself."""


def fresh(row: Row) -> bool:
    """Whether a row came into the book within this minute."""
    return 0 <= (clock.now() - row.created_at).total_seconds() <= TAKE_BACK.total_seconds()


def honest(row: Row, data: VoidIn) -> None:
    """Refuse the button's own reason after its minute.

    Raises
    ------
    Refused
        The minute is over.
    """
    if data.why == AT_ONCE and not fresh(row):
        raise Refused("The minute is over; say in a few words why it is struck out.", field="why")
