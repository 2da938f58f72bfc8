"""The shelf at the bench: find by a scanner, re-weigh by keyboard alone."""

import re

from playwright.sync_api import Page, expect
from sqlmodel import Session, select

from app.db import writing
from app.models import ReWeigh
from tests import build
from tests.browser.conftest import Site


def test_re_weighing_by_keyboard_alone(site: Site, page: Page) -> None:
    with writing(site.engine) as session:
        one, two = build.ready_grains(session, 2)
        serials, code = (one.serial, two.serial), one.serial.split("-")[0]
        reading = one.mass_kg * 1000
        session.commit()
    page.goto(f"/shelf/reweigh?lot={code}")
    scale = page.get_by_label("Scale reads")
    expect(page.get_by_role("heading", name=f"Next on the scale: {serials[0]}")).to_be_visible()
    expect(scale).to_be_focused()

    page.keyboard.type(f"{reading + 0.4:.1f}")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name=f"Next on the scale: {serials[1]}")).to_be_visible()
    expect(page.get_by_role("region", name="Re-weighed last")).to_contain_text("it has drawn water")
    expect(scale).to_be_focused()
    expect(scale).to_have_value("")

    page.keyboard.type(f"{reading * 10:.0f}")  # the decimal sign slipped
    page.keyboard.press("Enter")
    expect(page.locator("#reweigh-gross-error")).to_contain_text("Did you mean")
    expect(scale).to_be_focused()
    page.keyboard.press("Control+a")
    page.keyboard.type(f"{reading:.1f} g")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="All weighed again today")).to_be_visible()
    expect(page.get_by_role("row", name=serials[1])).to_contain_text("No change that this scale can tell")

    assert site.page_loads(page) == 1, "re-weighing updates its region and loads no page"
    with Session(site.engine) as session:
        assert len(session.exec(select(ReWeigh)).all()) == 2


def test_a_scanner_that_types_and_presses_enter_opens_the_grain(site: Site, page: Page) -> None:
    with writing(site.engine) as session:
        serial = build.ready_grains(session, 1)[0].serial
        session.commit()
    page.goto("/shelf")
    expect(page.get_by_label("Serial")).to_be_focused()
    page.keyboard.type(f"http://127.0.0.1:1/shelf/{serial}")  # a label printed when the book answered elsewhere
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1, name=f"Grain {serial}")).to_be_visible()


def test_ticked_grains_go_to_their_place_and_to_a_motor(site: Site, page: Page) -> None:
    with writing(site.engine) as session:
        serials = [g.serial for g in build.ready_grains(session, 2)]
        session.commit()
    page.goto("/shelf")
    for serial in serials:
        page.get_by_label(f"Take {serial}").check()
    page.get_by_role("button", name="Note where they lie").click()
    page.get_by_label("Place").fill("Tin 2")
    page.get_by_label("There is desiccant in the bag").check()
    page.get_by_role("button", name="Note it").click()
    expect(page.get_by_text("It is noted where these bags lie.")).to_be_visible()
    expect(page.get_by_role("row", name=serials[1])).to_contain_text(re.compile(r"Tin 2\s*desiccant since"))
    page.get_by_role("link", name="Make sets").click()
    page.get_by_label("Grains in a set").fill("2")
    page.get_by_role("button", name="Make sets").click()
    page.get_by_role("link", name="Build a motor of set 1").click()
    for serial in serials:
        expect(page.get_by_label(serial, exact=True)).to_be_checked()
