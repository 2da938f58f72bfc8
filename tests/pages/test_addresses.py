"""No page is forgotten: each address that the app answers is looked at by the walk, or answers no page."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from app.main import create_app
from app.settings import Settings
from tests import addresses
from tests.behind import browser_of, copied_with_files, engine_of
from tests.routes import declared


@pytest.fixture(scope="module")
def client(demo_book: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """The demonstration book, looked at only."""
    book = tmp_path_factory.mktemp("addresses") / "book.sqlite3"
    copied_with_files(demo_book, book)
    with browser_of(create_app(Settings(book=book))) as client:
        addresses.complete(engine_of(client))
        yield client


@pytest.fixture(scope="module")
def rows(client: TestClient) -> addresses.Rows:
    return addresses.rows(engine_of(client))


def _forgotten(routes: list[str]) -> list[str]:
    """Routes of which no address is opened and that nobody has called no page."""
    return [path for path in routes if path not in addresses.NO_PAGES and not addresses.of_route(path)]


def test_every_route_is_walked_or_answers_no_page() -> None:
    assert _forgotten(declared("GET")) == [], "say in tests/addresses.py which rows to look at"
    assert len(addresses.pages()) > 80


def test_a_new_page_is_walked_or_missed() -> None:
    assert addresses.pages(["/new-page"]) == ["/new-page", addresses.NOWHERE]
    assert _forgotten(["/new-page", "/new/{code}"]) == ["/new/{code}"]


def test_nothing_is_walked_that_is_no_route() -> None:
    named = {*addresses.NO_PAGES, *addresses.WITH_ROWS, *addresses.AS_ASKED}
    assert named - set(declared("GET")) == set()


@pytest.mark.parametrize("path", [path for path in declared("GET") if path not in addresses.NO_PAGES])
def test_what_is_walked_is_the_routes_own_page(client: TestClient, rows: addresses.Rows, path: str) -> None:
    """Not the page that says there is nothing: that one would pass every check."""
    for address in addresses.of_route(path):
        assert addresses.leads_to(address, path)
        answer = client.get(address.format(**rows), follow_redirects=False)
        assert answer.status_code == addresses.status(address), address
        assert answer.headers["content-type"].startswith("text/html"), address


@pytest.mark.parametrize("path", addresses.NO_PAGES)
def test_what_is_called_no_page_is_none(client: TestClient, rows: addresses.Rows, path: str) -> None:
    address = addresses.NO_PAGES[path]
    assert addresses.leads_to(address, path)
    answer = client.get(address.format(**rows), follow_redirects=False)
    if path in addresses.OF_THE_NETWORK:  # this book is open to its own computer alone
        assert answer.status_code == 404, address
        return
    assert answer.status_code in (200, 303), address
    assert not answer.headers.get("content-type", "").startswith("text/html"), address
