"""Weighing by keyboard alone: type, Enter, type, Enter."""

from playwright.sync_api import Page, expect
from sqlmodel import Session, select

from app.db import writing
from app.models import Grain
from tests import build
from tests.browser.conftest import Site


def test_enter_weighs_and_the_scale_field_is_ready_for_the_next_grain(site: Site, page: Page) -> None:
    with writing(site.engine) as session:
        code = build.cast(session).code
        session.commit()
    page.goto(f"/cast/{code}/grains")
    scale = page.get_by_label("Scale reads")
    expect(scale).to_be_focused()

    page.keyboard.type("172.1 g")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name=f"Weighed last: {code}-01")).to_be_visible()
    expect(scale).to_be_focused()
    expect(scale).to_have_value("")
    expect(page.get_by_label("Number")).to_have_value("2")

    page.keyboard.type("1719")  # the decimal sign slipped
    page.keyboard.press("Enter")
    expect(page.locator("#next-gross-error")).to_contain_text("Did you mean 171.9 g?")
    expect(scale).to_be_focused()
    page.keyboard.press("Control+a")
    page.keyboard.type("171.9")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name=f"Weighed last: {code}-02")).to_be_visible()
    expect(page.locator("#notice")).to_have_text("The grain is weighed.")

    assert site.page_loads(page) == 1, "weighing updates its region and loads no page"
    with Session(site.engine) as session:
        assert [g.gross_typed for g in session.exec(select(Grain))] == ["172.1 g", "171.9 g"]


def test_a_refused_decision_puts_the_focus_where_the_words_are_missing(site: Site, page: Page) -> None:
    with writing(site.engine) as session:
        grain = build.grain(session, build.cast(session), share=0.92, decision=None)
        code, serial = grain.serial[:4], grain.serial
        session.commit()
    page.goto(f"/cast/{code}/grains")
    card = page.get_by_role("region", name=f"Decision on {serial}")
    card.get_by_label("Reject").check()
    card.get_by_label("Decided by").fill("Ada")
    card.get_by_role("button", name="Keep this decision").click()
    expect(card.get_by_label("Reason")).to_be_focused()
    expect(card.get_by_label("Reject")).to_be_checked()
    page.keyboard.type("void at the end")
    page.keyboard.press("Enter")
    expect(page.get_by_role("row", name=serial)).to_contain_text("void at the end")
    expect(page.get_by_label("Scale reads")).to_be_focused()
    assert site.page_loads(page) == 1
