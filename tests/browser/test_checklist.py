"""The checklist in a browser: a line a press, numbers where the line has a blank, and a signature of its own."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect
from sqlmodel import col, select

from app.db import reading, writing
from app.models import Checklist, ChecklistAnswer
from app.services.book import workshop
from app.services.cast import checklists
from tests import build
from tests.browser.conftest import Site

URL = "/plan/2611P/checklist"
SMALL = """([least, acted]) => {
    const mm = parseFloat(getComputedStyle(document.body).getPropertyValue("--mm"));
    const seen = (box) => box.height > 0 && box.top < innerHeight && box.bottom > 0;
    let all = 0, large = 0;
    const walk = document.createTreeWalker(document.querySelector("main"), NodeFilter.SHOW_TEXT);
    for (let node = walk.nextNode(); node; node = walk.nextNode()) {
        const text = node.textContent.trim(), range = document.createRange();
        range.selectNodeContents(node);
        if (!text || !seen(range.getBoundingClientRect()) || node.parentElement.closest(".visually-hidden")) continue;
        all += text.length;
        const capitals = parseFloat(getComputedStyle(node.parentElement).fontSize) * .72 / mm;
        if (capitals >= least - .01) large += text.length;
    }
    const targets = [...document.querySelectorAll("main :is(button, a, summary, input:not([type=hidden]))")]
        .filter((e) => !e.matches(".visually-hidden") && seen(e.getBoundingClientRect()));
    return {
        share: large / all,
        low: targets.filter((e) => e.getBoundingClientRect().height / mm < 19.95).map((e) => e.outerHTML),
        faint: [...document.querySelectorAll(".to-do, .say button, .say input:not([type=hidden]), .say .with-unit")]
            .filter((e) => parseFloat(getComputedStyle(e).fontSize) * .72 / mm < acted - .01).map((e) => e.outerHTML),
        mm: mm,
        wide: document.documentElement.scrollWidth - innerWidth,
        lines: document.querySelectorAll(".around > li").length + 1,
        done: document.querySelector("[data-done]").getBoundingClientRect().bottom <= innerHeight,
    };
}"""
"""What is in view at arm's length: the share of letters whose capitals have so many mm, and what is smaller [mm]."""


@pytest.fixture(autouse=True)
def planned(site: Site) -> None:
    """A batch planned, with what it needs on the shelf, by somebody whose name is known."""
    with writing(site.engine) as session:
        build.stock(session, build.batch(session, planned_for="2026-11-25"))
        workshop.get(session).person = "Ada"
        session.commit()


def signed(site: Site) -> int:
    with reading(site.engine) as session:
        return len(session.exec(select(Checklist).where(col(Checklist.completed_at).is_not(None))).all())


def answered(site: Site) -> int:
    with reading(site.engine) as session:
        return len(session.exec(select(ChecklistAnswer)).all())


def begin(page: Page) -> int:
    """Start the list; how many lines it has."""
    page.goto(URL)
    page.get_by_role("button", name="Start the checklist").click()
    return int(page.get_by_role("progressbar").get_attribute("max") or 0)


@pytest.mark.promise("A key held down through the checklist answers one line and signs nothing", figure="200 Enters")
def test_enter_held_or_pressed_on_and_on_signs_nothing(page: Page, site: Site) -> None:
    lines = begin(page)
    for number in (2, 3):  # water and extinguisher come first, each with what is seen
        page.locator(".with-unit input").fill("3")
        page.get_by_role("button", name="Done").click()
        expect(page.get_by_text(f"Line {number} of")).to_be_visible()
    page.keyboard.down("Enter")
    for _ in range(100):
        page.keyboard.down("Enter")  # down again without up: the key repeats
    page.keyboard.up("Enter")
    expect(page.get_by_text("Line 4 of")).to_be_visible()
    page.wait_for_timeout(200)
    assert answered(site) == 3, "a key held down is one press"
    for number in range(3, lines):  # pressed anew, as a foot switch is
        expect(page.get_by_role("progressbar")).to_have_attribute("value", str(number))
        blanks = page.locator(".with-unit input").count()
        if blanks:
            page.keyboard.type("3")  # the focus went on to it
        page.keyboard.press("Enter" if blanks else ["Enter", " ", "PageDown"][number % 3])
    expect(page.get_by_text("This is the end of the checklist")).to_be_visible()
    for where in ("list", "signature"):
        if where == "signature":
            page.get_by_role("link", name="To the signature").click()
            expect(page.get_by_role("button", name="Sign as Ada")).to_be_visible()
        page.keyboard.down("Enter")
        for key in ("Enter", " ", "PageDown") * 16:
            page.keyboard.down(key)
            page.keyboard.press(key)
        page.keyboard.up("Enter")
        page.wait_for_timeout(200)
        assert (answered(site), signed(site)) == (lines, 0), where
    page.get_by_label("Where").fill("Shed")
    page.get_by_role("button", name="Sign as Ada").click()
    expect(page.get_by_text("Signed by Ada")).to_be_visible()
    assert Axe().run(page).response["violations"] == []


def test_a_line_is_read_and_answered_at_arms_length(page: Page, site: Site) -> None:
    """Capitals of 4.65 mm to be read, 5.8 mm to be acted on (ISO 9241-3, NUREG-0700); 20 mm to be pressed (Colle &
    Hiszem 2004); about nine lines a screen (Degani & Wiener 1993).
    """
    begin(page)
    with reading(site.engine) as session:
        lines = session.exec(select(Checklist)).one()
        items = checklists.lines(session, lines)
        plain = items[2].item.id
        blank = next(line.item.id for line in items if "extinguisher" in line.item.words)
    for width, height, mm in ((1366, 768, 4.409), (820, 1180, 5.197)):
        page.set_viewport_size({"width": width, "height": height})
        for line in (plain, blank):
            page.goto(f"{URL}?line={line}")
            seen = page.evaluate(SMALL, [4.65, 5.8])
            assert seen["mm"] == pytest.approx(mm)
            assert seen["share"] >= 0.9
            assert (seen["low"], seen["faint"]) == ([], [])
            assert seen["lines"] <= 9
            assert seen["done"]
            assert Axe().run(page).response["violations"] == []
    for width, height in ((320, 640), (390, 450), (911, 512)):
        page.set_viewport_size({"width": width, "height": height})
        page.goto(f"{URL}?line={blank}")
        page.get_by_role("button", name="Done").click()
        field = page.locator(".with-unit input")
        expect(field).to_be_focused()
        expect(field).to_be_in_viewport(ratio=1)
        expect(page.locator(".field .error")).to_have_text("Look, and type the number that you see.")
        assert page.evaluate(SMALL, [4.65, 5.8])["wide"] <= 0
