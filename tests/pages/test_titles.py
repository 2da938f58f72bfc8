"""A page's title bar: its own words, then the book's name, alike on every page; and the tabs of its section."""

import html
import re

import pytest
from fastapi.testclient import TestClient

from app.page import every, tabs_of
from app.settings import resource
from tests.addresses import NO_PAGES
from tests.routes import declared

PAGES = [path for path in declared("GET") if "{" not in path and path not in NO_PAGES]


def test_the_title_names_the_page_and_the_book(client: TestClient) -> None:
    assert len(PAGES) > 40
    for address in [*PAGES, "/no-such-page"]:
        found = re.search(r"<title>([^<]*)</title>", client.get(address).text)
        assert found is not None, address
        words, book = found[1].rsplit(" · ", 1)
        assert book == "Grainbook", address
        assert words, address
        assert "Grainbook" not in words, address


def test_no_template_writes_the_books_name_itself() -> None:
    titled = [path for path in resource("templates").rglob("*.html") if "{% block title %}" in path.read_text("utf-8")]
    assert len(titled) > 40
    for path in titled:
        title = re.search(r"{% block title %}(.*?){% endblock %}", path.read_text("utf-8"), re.DOTALL)
        assert title is not None
        assert path.name == "base.html" or title[1].strip(), path
        assert "Grainbook" not in title[1], path


def test_the_help_lists_every_part_of_it_in_order(client: TestClient) -> None:
    page = client.get("/help").text
    parts = re.findall(r'<section id="([^"]+)"', page)
    listed = re.findall(r'<li><a href="#([^"]+)"', page)
    assert listed == parts


@pytest.mark.parametrize("section", sorted({page.section for page in every() if page.tabs}))
def test_tabs_stand_in_order_and_each_leads_to_its_page(client: TestClient, section: str) -> None:
    places = sorted(place for page in every() if page.section == section for place, _, _ in page.tabs)
    assert places == list(range(1, len(places) + 1))
    for address, words in tabs_of(section):
        page = client.get(address).text
        current = re.search(r'<nav class="tabs".*?<a href="([^"]*)" aria-current="page">([^<]*)<', page, re.DOTALL)
        assert current is not None, address
        assert (current[1], html.unescape(current[2])) == (address, words)
