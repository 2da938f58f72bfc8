"""The moment and the zone that the tests run in: the same at any hour and in any place, and others when asked.

`pytest --at 2028-02-29T23:50 --zone Pacific/Auckland` begins every test at that reading of the wall clock there. A
server in a process of its own goes by the test's clock where it is started as `python -m tests.moment` in place of
`python -m app`, with `environment()`; the program itself has no such door. Where a test starts the real program, as a
person does, its clock is the machine's, and nothing but the zone is set.
"""

import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta

from app import clock

AT = "2026-11-25T12:00"
ZONE = "UTC"
_AHEAD = "GRAINBOOK_TESTS_AHEAD_S"


def stand_in(zone: str) -> None:
    """Set this process, and those it starts, in a zone; where the system has no such thing, its own zone stays."""
    if hasattr(time, "tzset"):
        os.environ["TZ"] = zone
        time.tzset()


def wall(text: str) -> datetime:
    """The moment at which the clock on the wall shows that: `2026-11-25T12:00`; in an hour that comes twice, the first.

    An offset may stand behind it, as in `2026-10-25T02:30+01:00`, which tells the two apart.
    """
    return datetime.fromisoformat(text).astimezone(UTC)


def environment() -> dict[str, str]:
    """What a process that is started now needs, to go by the test's clock from here on."""
    return {_AHEAD: str((clock.now() - datetime.now(UTC)).total_seconds())}


@contextmanager
def of_the_test() -> Iterator[None]:
    """Go by the clock of the test that started this process."""
    ahead = timedelta(seconds=float(os.environ[_AHEAD]))
    with clock.turned_to(datetime.now(UTC) + ahead, runs=True):
        yield


if __name__ == "__main__":
    from app.__main__ import main

    with of_the_test():
        sys.exit(main())
