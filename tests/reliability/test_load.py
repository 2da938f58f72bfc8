"""Many at once on a real server: everybody is answered, and memory does not grow with the requests.

Nothing is timed here; the figures come from `python -m tests.reliability.load`.
"""

import sys
from pathlib import Path

import pytest

from tests.behind import copied_with_files
from tests.reliability import load

PAGES = [
    "/",
    "/plan",
    "/cast/{lot}",
    "/shelf",
    "/shelf/{grain}",
    "/motors",
    "/firings",
    "/review",
    "/workshop",
    "/help",
]
GROWTH_MB = 40.0
"""Of the second half of the requests: more than still settles, less than pages left behind would take."""


@pytest.mark.promise("Everybody of 20 clients is answered, memory settles", figure="500 requests (`--long`: 20,000)")
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="memory is read from /proc")
def test_twenty_clients_are_answered_and_leave_nothing_behind(
    demo_book: Path, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    book = tmp_path / "book.sqlite3"
    copied_with_files(demo_book, book)
    requests = 20_000 if request.config.getoption("--long") else 500
    pages = [page.format(**load.places(book)) for page in PAGES]
    with load.running("--serve-book", str(book)) as server:
        points = load.memory(server, pages, requests, clients=20)
    first, last = points[0][1], points[-1][1]
    print(f"\n{points[-1][0]} requests, {first:.0f} MB after the first twentieth, {last:.0f} MB at the end")
    assert points[-1][0] == requests
    assert points[-1][1] - points[len(points) // 2][1] < GROWTH_MB
