"""Weighing by keyboard alone: type, Enter, type, Enter."""

from playwright.sync_api import Page, expect
from sqlmodel import Session, col, select

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
        code, serial = grain.serial[:5], grain.serial
        session.commit()
    page.goto(f"/cast/{code}/grains")
    card = page.get_by_role("region", name=f"Decision on {serial}")
    card.get_by_label("Reject").check()
    card.get_by_label("Decided by").fill("Ada")
    card.get_by_role("button", name="Save this decision").click()
    expect(card.get_by_label("Reason")).to_be_focused()
    expect(card.get_by_label("Reject")).to_be_checked()
    page.keyboard.type("void at the end")
    page.keyboard.press("Enter")
    expect(page.get_by_role("row", name=serial)).to_contain_text("void at the end")
    expect(page.get_by_label("Scale reads")).to_be_focused()
    assert site.page_loads(page) == 1


def test_a_wedge_scale_and_a_scanner_do_the_whole_job_by_typing(site: Site, page: Page) -> None:
    """Both send characters and Enter into whatever has the focus; the focus stays on the scale's field."""
    with writing(site.engine) as session:
        code = build.cast(session).code
        session.commit()
    page.goto(f"/cast/{code}/grains")
    scale = page.get_by_label("Scale reads")

    def send(line: str) -> None:
        expect(scale).to_be_focused()
        page.keyboard.type(line)
        page.keyboard.press("Enter")

    send("ST,GS,+0172.3g")
    expect(page.get_by_role("heading", name=f"Weighed last: {code}-01")).to_be_visible()
    expect(page.get_by_text("The lot so far: 1 grain")).to_be_visible()
    send("US,GS,+0099.9g")
    expect(page.locator("#next-gross-error")).to_contain_text("not at rest")
    page.keyboard.press("Control+a")
    send("N     +   171.90 g  ")
    expect(page.get_by_role("heading", name=f"Weighed last: {code}-02")).to_be_visible()
    send(f"http://127.0.0.1:8765/shelf/{code}-01")  # the code on a label
    expect(page.get_by_role("heading", name=f"On the scale again: {code}-01")).to_be_visible()
    expect(scale).to_have_value("")
    page.get_by_label("Trimmed").check()
    scale.focus()
    send("170.0 g")
    expect(page.get_by_text("2.3 g trimmed off")).to_be_visible()
    assert site.page_loads(page) == 1
    with Session(site.engine) as session:
        assert [g.gross_typed for g in session.exec(select(Grain).order_by(col(Grain.number)))] == [
            "170.0 g",
            "N + 171.90 g",
        ]


def test_a_slip_is_taken_back_by_touch_and_weighed_anew(site: Site, page: Page) -> None:
    with writing(site.engine) as session:
        code = build.cast(session).code
        session.commit()
    page.goto(f"/cast/{code}/grains")
    page.get_by_label("Scale reads").fill("165")
    page.get_by_role("button", name="Weigh it").click()
    page.get_by_role("button", name="Undo this weighing").click()
    expect(page.locator("#notice")).to_have_text(f"{code}-01 is undone; its number is free.")
    expect(page.get_by_label("Scale reads")).to_be_focused()
    expect(page.get_by_label("Number")).to_have_value("1")
    page.keyboard.type("172")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name=f"Weighed last: {code}-01")).to_be_visible()
    assert site.page_loads(page) == 1


def test_a_rejected_grain_goes_to_remelt_by_touch(site: Site, page: Page) -> None:
    with writing(site.engine) as session:
        grain = build.grain(session, build.cast(session), share=0.92, decision=None)
        code, serial = grain.serial[:5], grain.serial
        session.commit()
    page.goto(f"/cast/{code}/grains")
    card = page.get_by_role("region", name=f"Decision on {serial}")
    card.get_by_label("Reject").check()
    card.get_by_label("Crack").check()
    card.get_by_label("Decided by").fill("Ada")
    card.get_by_role("button", name="Save this decision").click()
    where = page.get_by_role("region", name=f"Where {serial} goes")
    where.get_by_role("button", name="To remelt").click()
    expect(page.locator("#notice")).to_have_text(f"{serial} is put away.")
    expect(page.get_by_role("row", name=serial)).to_contain_text("Put with the leftovers for remelt")
    assert site.page_loads(page) == 1
