"""The workshop's forms with script: drafts survive, a double click saves once, the focus goes to the fault."""

from playwright.sync_api import Page, expect
from sqlmodel import Session, select

from app.models import CoringRod
from tests.browser.conftest import Site


def _rods(site: Site) -> list[str]:
    with Session(site.engine) as session:
        return list(session.exec(select(CoringRod.name)))


def test_what_was_typed_survives_a_closed_tab(page: Page) -> None:
    page.goto("/workshop/rods/new")
    page.get_by_label("Name").fill("Rod 19")
    with page.expect_response(lambda answer: "/drafts" in answer.url):
        page.get_by_label("Diameter").focus()  # leaving a field keeps it
    page.goto("/workshop")
    page.goto("/workshop/rods/new")
    expect(page.get_by_text("did not save it")).to_be_visible()
    expect(page.get_by_label("Name")).to_have_value("Rod 19")
    page.get_by_role("link", name="Start afresh").click()
    expect(page.get_by_label("Name")).to_have_value("")


def test_a_double_click_saves_once(page: Page, site: Site) -> None:
    page.goto("/workshop/rods/new")
    page.get_by_label("Name").fill("Rod 19")
    page.get_by_label("Diameter").fill('3/4"')
    page.get_by_role("button", name="Save the coring rod").dblclick()
    expect(page.get_by_role("link", name="Rod 19")).to_be_visible()
    expect(page.get_by_role("cell", name="19.05")).to_be_visible()
    assert _rods(site) == ["Rod 19"]
    page.goto("/workshop/rods/new")
    expect(page.get_by_label("Name")).to_have_value("")  # no draft came in behind the save


def test_the_focus_goes_to_the_first_fault(page: Page) -> None:
    page.goto("/workshop/formulas/new")
    page.get_by_label("Name").fill("Trial")
    page.get_by_label("Ingredient").nth(0).fill("KNO3")
    page.get_by_label("Share by mass").nth(0).fill("65")
    page.get_by_label("Ingredient").nth(2).fill("aluminium")
    page.get_by_label("Share by mass").nth(2).fill("35")
    page.get_by_role("button", name="Save the formula").click()
    wrong = page.get_by_label("Ingredient").nth(2)
    expect(wrong).to_be_focused()
    expect(wrong).to_have_value("aluminium")
    expect(wrong).to_have_accessible_description("".join(page.locator("p.error").all_inner_texts()))
    page.get_by_role("link", name="Ingredient, line 3").click()
    expect(wrong).to_be_focused()
