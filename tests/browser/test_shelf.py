"""The shelf at the bench: find by a scanner, re-weigh by keyboard alone."""

import re
from typing import Literal

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect
from sqlmodel import Session, select

from app import clock
from app.db import writing
from app.models import Batch, ReWeigh
from app.models.bag import KeepIn, ReWeighIn
from app.models.batch import VoidIn
from app.models.test_piece import TestPieceIn
from app.services.grains import reweighs, shelf, test_pieces
from tests import build
from tests.browser.conftest import Site
from tests.browser.test_every_page import AXE_RULES

TARGETS = ".bench main :is(button, .button, select, input:not([type=checkbox], [type=radio], [type=hidden]))"
"""What a glove must hit; the target of a checkbox or radio button is its label."""


def test_re_weighing_by_keyboard_alone(site: Site, page: Page) -> None:
    with writing(site.engine) as session:
        one, two = build.ready_grains(session, 2)
        serials, code = (one.serial, two.serial), one.serial.split("-")[0]
        reading = one.mass_kg * 1000
        session.commit()
    page.goto(f"/shelf/reweigh?lot={code}")
    scale = page.get_by_label("Scale reads")
    expect(page.get_by_role("heading", name=f"Next on the scale: grain {serials[0]}")).to_be_visible()
    expect(scale).to_be_focused()

    page.keyboard.type(f"{reading + 0.4:.1f}")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name=f"Next on the scale: grain {serials[1]}")).to_be_visible()
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
    expect(page.get_by_role("search").get_by_role("searchbox")).to_be_focused()
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
    page.get_by_role("button", name="Save the place").click()
    expect(page.get_by_text("It is noted where these bags lie.")).to_be_visible()
    expect(page.get_by_role("row", name=serials[1])).to_contain_text(re.compile(r"Tin 2\s*desiccant since"))
    page.get_by_role("link", name="Make sets").click()
    page.get_by_label("Grains in a set").fill("2")
    page.get_by_role("button", name="Make sets").click()
    page.get_by_role("link", name="Build a motor of set 1").click()
    for serial in serials:
        expect(page.get_by_label(serial, exact=True)).to_be_checked()


@pytest.mark.parametrize(("scheme", "width"), [("light", 1366), ("dark", 820)])
def test_full_pages_are_accessible_and_fit(
    site: Site, browser: Browser, scheme: Literal["light", "dark"], width: int
) -> None:
    """The demonstration book has no bags, re-weighs and sticks: here the pages are full."""
    with writing(site.engine) as session:
        blend = build.formula(session, "Everyday with a rather long name")
        for _ in range(2):
            made = build.ready_grains(session, 4, blend=blend)
            shelf.keep(session, [g.pk for g in made], KeepIn(place="Tin 2 on the upper shelf", desiccant=True))
            shelf.keep(session, [made[0].pk], KeepIn(place="Tin 3"))
            for grain, gain in zip(made, (0.0, 0.4), strict=False):
                gross = f"{grain.mass_kg * 1000 + gain:.1f} g"
                reweighs.weigh(session, ReWeighIn.model_validate({"serial": grain.serial, "gross": gross}))
            lot = session.get(Batch, made[0].batch_id)
            assert lot is not None
            for time in ("19 s", "20 s"):
                texts = {"length": "50 mm", "burn_time": time, "elevation": "12 m", "burned_on": clock.today()}
                test_pieces.record(session, lot, TestPieceIn.model_validate(texts))
            test_pieces.void(session, lot, 2, VoidIn(why="burned along the side"))
            code = lot.code
        serial, kind = made[0].serial, f"{blend.pk}-{made[0].pattern_id}"
        session.commit()
    context = site.opened_in(browser, color_scheme=scheme, viewport={"width": width, "height": 900})
    page = context.new_page()
    for address in (
        "/shelf",
        "/shelf?find=2001P-01",
        f"/shelf/{serial}",
        f"/shelf/reweigh?lot={code}",
        f"/cast/{code}/test-pieces",
        f"/shelf/sets?kind={kind}&size=2&count=2",
        f"/labels?lot={code}&size=letter-2x5",
    ):
        page.goto(address)
        found = Axe().run(page, options=AXE_RULES).response["violations"]
        assert [(v["id"], v["nodes"][0]["html"][:120]) for v in found] == [], address
        assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth"), address
        for target in page.locator(TARGETS).all():
            box = target.bounding_box()
            assert box is None or box["height"] >= 43.5, (address, target.inner_text() or target.get_attribute("name"))
    context.close()
