"""A page's title bar: its own words, then the book's name, alike on every page."""

import re

import pytest
from fastapi.testclient import TestClient

ADDRESSES = [
    "/", "/plan", "/plan/new", "/cast", "/shelf", "/motors", "/motors/design", "/motors/new", "/firings",
    "/firings/new", "/review", "/workshop", "/workshop/supplies/new", "/workshop/settings", "/help", "/help/api",
    "/no-such-page",
]  # fmt: skip


@pytest.mark.parametrize("address", ADDRESSES)
def test_the_title_names_the_page_and_the_book(client: TestClient, address: str) -> None:
    found = re.search(r"<title>([^<]*)</title>", client.get(address).text)
    assert found is not None
    words, book = found[1].rsplit(" · ", 1)
    assert book == "Grainbook"
    assert words
    assert "Grainbook" not in words
