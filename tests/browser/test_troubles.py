"""A save that cannot be, as a person with script sees it: told in its place or the page's, and the words are kept."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from app import clock, db, troubles
from app.db import writing
from tests import build
from tests.browser.conftest import Site, serve
from tests.moment import wall


@pytest.fixture
def site(tmp_path: Path, empty_book: Path) -> Iterator[Site]:
    """A book with a server of its own, which is damaged here and held by others."""
    book = tmp_path / "book.sqlite3"
    book.write_bytes(empty_book.read_bytes())
    yield from serve(book)


@pytest.fixture
def open_cast(site: Site, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """An open cast session, on a book that has little patience; its address.

    At noon: in the evening the page also tells that the cores come due late.
    """
    monkeypatch.setattr(db, "BUSY_MS", 50)
    site.engine.dispose()
    with clock.turned_to(wall("2026-11-25T12:00")):
        with writing(site.engine) as session:
            batch = build.batch(session)
            build.opened_session(session, batch)
            address = f"/cast/{batch.code}"
            session.commit()
        yield address


def book_of(site: Site) -> Path:
    return Path(str(site.engine.url.database))


def test_a_held_book_is_told_in_the_form_and_the_words_stay(page: Page, site: Site, open_cast: str) -> None:
    page.goto(open_cast)
    loads = site.page_loads(page)
    with closing(sqlite3.connect(book_of(site), isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        page.get_by_role("textbox", name="Note").first.fill("It smells of caramel")
        page.get_by_role("button", name="Save the note").click()
        expect(page.get_by_role("alert").filter(has_text=troubles.HELD)).to_be_visible()
        expect(page.get_by_role("textbox", name="Note").first).to_have_value("It smells of caramel")
        other.execute("ROLLBACK")
    page.get_by_role("button", name="Save the note").click()
    expect(page.get_by_text("It smells of caramel").first).to_be_visible()
    expect(page.get_by_role("alert")).to_have_count(0)
    assert site.page_loads(page) == loads


def test_a_damaged_book_is_told_in_place_of_the_page(page: Page, site: Site, open_cast: str) -> None:
    page.goto(open_cast)
    loads = site.page_loads(page)
    page.get_by_role("textbox", name="Note").first.fill("It smells of caramel")
    site.engine.dispose()
    book_of(site).write_bytes(b"no book " * 10_000)
    page.get_by_role("button", name="Save the note").click()
    expect(page.get_by_role("alert")).to_have_text(troubles.DAMAGED)
    expect(page.get_by_label("Words")).to_have_value("It smells of caramel")
    expect(page.get_by_role("heading", level=1)).to_have_text("That did not work")
    assert site.page_loads(page) == loads


def test_a_press_that_gets_no_answer_is_told_beside_the_button(page: Page, site: Site, open_cast: str) -> None:
    """On a page without timers too: a silent failure looks like a save."""
    page.goto(f"{open_cast}/grains")
    page.route("**/grains", lambda route: route.abort() if route.request.method == "POST" else route.continue_())
    page.get_by_label("Scale reads").fill("186.2 g")
    page.get_by_role("button", name="Weigh it").click()
    expect(page.get_by_role("alert")).to_contain_text("Not saved: Grainbook does not answer.")
    expect(page.get_by_label("Scale reads")).to_have_value("186.2 g")
    page.unroute("**/grains")
    page.get_by_role("button", name="Weigh it").click()
    expect(page.get_by_text("Weighed last")).to_be_visible()
    expect(page.get_by_role("alert")).to_have_count(0)


def test_words_are_kept_while_the_hand_is_still_in_the_field(page: Page, site: Site, open_cast: str) -> None:
    page.goto(open_cast)
    note = page.get_by_role("textbox", name="Note").first
    with page.expect_response(lambda response: "/drafts" in response.url):
        note.press_sequentially("Foggy, lid on the pan")
    page.reload()
    expect(page.get_by_text("You began this on")).to_be_visible()
    expect(page.get_by_role("textbox", name="Note").first).to_have_value("Foggy, lid on the pan")


@pytest.mark.parametrize(
    ("status", "kind", "body", "words"),
    [
        (500, "text/plain", "Grainbook made a mistake, and this was not saved.", "Grainbook made a mistake"),
        (
            404,
            "text/html",
            '<main id="main"><p class="refusal" role="alert">There is no grain 7.</p></main>',
            "no grain 7",
        ),
    ],
)
def test_an_answer_that_is_another_page_does_not_take_the_form_away(
    page: Page, site: Site, open_cast: str, status: int, kind: str, body: str, words: str
) -> None:
    page.goto(f"{open_cast}/grains")
    page.route(
        "**/grains",
        lambda route: (
            route.fulfill(status=status, body=body, content_type=kind)
            if route.request.method == "POST"
            else route.continue_()
        ),
    )
    page.get_by_label("Scale reads").fill("186.2 g")
    page.get_by_role("button", name="Weigh it").click()
    expect(page.get_by_role("alert")).to_contain_text("Not saved:")
    expect(page.get_by_role("alert")).to_contain_text(words)
    expect(page.get_by_label("Scale reads")).to_have_value("186.2 g")
    page.unroute("**/grains")
    page.get_by_role("button", name="Weigh it").click()
    expect(page.get_by_text("Weighed last")).to_be_visible()
