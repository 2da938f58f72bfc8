"""A form that was saved and comes again: by going back, by a double click, out of two tabs."""

from playwright.sync_api import BrowserContext, Page, expect
from sqlmodel import Session, col, select

from app.db import writing
from app.models import CoringRod, SessionNote
from tests import build
from tests.browser.conftest import Site

NEW = "/workshop/rods/new"


def rods(site: Site) -> list[str]:
    with Session(site.engine) as session:
        return list(session.exec(select(CoringRod.name).order_by(col(CoringRod.id))))


def fill(page: Page, name: str) -> None:
    page.get_by_label("Name").fill(name)
    page.get_by_label("Diameter").fill("19 mm")


def press(page: Page) -> None:
    page.locator("form#form button.primary").click()


def test_going_back_and_changing_the_name_drops_nothing(site: Site, page: Page) -> None:
    page.goto(NEW)
    fill(page, "Rod 19")
    press(page)
    expect(page.locator("#notice")).to_contain_text("in the book")
    page.go_back()
    fill(page, "Rod 20")
    press(page)
    if page.get_by_role("heading", name="This form was saved already").count():  # the page came out of the memory
        page.get_by_role("button", name="Save this as well").click()
    expect(page.locator("#notice")).to_contain_text("in the book")
    assert rods(site) == ["Rod 19", "Rod 20"]


def test_a_double_click_saves_once_and_asks_nothing(site: Site, page: Page) -> None:
    page.goto(NEW)
    fill(page, "Rod 19")
    page.locator("form#form button.primary").dblclick()
    expect(page).to_have_url(f"{site.address}/workshop/rods")
    expect(page.locator("#main")).to_contain_text("Rod 19")
    assert rods(site) == ["Rod 19"]


def test_an_old_tab_shows_both_and_saves_as_well_when_told(site: Site, page: Page, context: BrowserContext) -> None:
    page.goto(NEW)
    token = page.locator("form#form input[name=once]").input_value()
    old = context.new_page()
    old.goto(NEW)
    old.locator("form#form input[name=once]").evaluate("(field, token) => { field.value = token }", token)
    fill(page, "Rod 19")
    press(page)
    expect(page.locator("#notice")).to_contain_text("in the book")
    fill(old, "Rod 20")
    press(old)
    row = old.get_by_role("row").filter(has_text="Name")
    expect(row).to_contain_text("Rod 19")
    expect(row).to_contain_text("Rod 20")
    assert rods(site) == ["Rod 19"]
    old.get_by_role("button", name="Save this as well").click()
    expect(old.locator("#notice")).to_contain_text("in the book")
    assert rods(site) == ["Rod 19", "Rod 20"]


def test_a_form_that_htmx_sends_shows_both_too(site: Site, page: Page) -> None:
    with writing(site.engine) as session:
        batch = build.batch(session, planned_for="2026-11-25")
        build.opened_session(session, batch)
        session.commit()
        code = batch.code
    page.goto(f"/cast/{code}")
    note = page.locator("#notes textarea")
    token = page.locator("#note-form input[name=once]").input_value()
    note.fill("Stirred.")
    page.locator("#note-form button").click()
    expect(page.locator("#notes")).to_contain_text("Stirred.")
    page.locator("#note-form input[name=once]").evaluate("(field, token) => { field.value = token }", token)
    page.locator("#notes textarea").fill("Stirred twice.")
    page.locator("#note-form button").click()
    expect(page.get_by_role("heading", name="This form was saved already")).to_be_visible()
    page.get_by_role("link", name="Cancel: keep what was saved").click()
    expect(page.locator("#notes")).to_contain_text("Stirred.")
    with Session(site.engine) as session:
        assert [row.words for row in session.exec(select(SessionNote))] == ["Stirred."]
