"""Odd windows: what has the focus is never under what sticks, nothing is one letter a line, typed words stay.

Focus: WCAG 2.2, 2.4.11 (not obscured), here more than its least: more than half of what has the focus can be seen.
Reflow at 320 px: WCAG 2.1, 1.4.10; text at 200 %: 1.4.4.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import pytest
from playwright.sync_api import Page, expect

from app import clock
from app.db import writing
from app.models.cast import SetIn, StepIn, TemperatureIn
from app.services.cast import blanks, casting, checklists, pan, sets_poured, steps
from app.services.stock import batches
from tests import build
from tests.browser.conftest import Site
from tests.browser.test_timers import NOON
from tests.browser.walk import until

WINDOWS = {
    "a laptop": (1366, 768),
    "a laptop at 150 %": (911, 512),
    "a laptop at 200 %": (683, 384),
    "a small tablet": (1024, 600),
    "a tablet turned": (1180, 820),
    "the keyboard up": (390, 450),
    "a phone": (320, 640),
}

WITHIN = """[document.documentElement, document.getElementById("main")].every(e => e.scrollWidth <= e.clientWidth)"""

STOP = """() => {
    const e = document.activeElement, box = e.getBoundingClientRect();
    if (e === document.body || e === document.documentElement) return null;
    const shares = [.1, .5, .9];
    const at = (x, y) => document.elementFromPoint(box.x + x * box.width, box.y + y * box.height);
    const is = hit => hit && (e.contains(hit) || hit.contains(e));
    const seen = shares.flatMap(x => shares.map(y => at(x, y))).filter(is);
    const name = (e.innerText || e.getAttribute("aria-label") || e.name || e.id || e.tagName).trim().slice(0, 40);
    return [`${e.tagName} ${name}`, seen.length, box.height > innerHeight];
}"""

SQUEEZED = """() => {
    const found = [], walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    while (walk.nextNode()) {
        const text = walk.currentNode.textContent.trim();
        if (text.length < 6 || !walk.currentNode.parentElement.checkVisibility()) continue;
        if (walk.currentNode.parentElement.closest(".visually-hidden, option, svg")) continue;
        const range = document.createRange();
        range.selectNodeContents(walk.currentNode);
        const lines = new Set([...range.getClientRects()].map(box => Math.round(box.top))).size;
        if (text.length / lines < 4 && lines > 2) found.push([text.slice(0, 40), lines]);
    }
    return found;
}"""


@dataclass(frozen=True)
class Running:
    """What is going on: the lot of which the pan is too hot, two benches (two sets, too hot), and a line of a
    checklist with a number.
    """

    hot: str
    benches: tuple[str, ...]
    checklist: str


@pytest.fixture
def running(site: Site) -> Iterator[Running]:
    """A session with much in its panel: its pan is too hot, and another one has two sets of which steps are due."""
    with clock.turned_to(NOON):
        with writing(site.engine) as session:
            build.cast(session, planned_for="2026-11-25")
            cast = casting.the_open(session, batches.by_code(session, "2611P"))
            sets_poured.add_set(session, cast, SetIn(moulds="two more"))
            for step in cast.steps:  # one hot pan at a time: the next melt is heated when this one is poured
                of_first = step.set_number == 1 and step.key.startswith(("core", "compact"))
                if (of_first or step.key == "pour") and not steps.settled(step):
                    steps.record(session, cast, step.pk, StepIn(act="done"))
            batch = build.cast(session, until="oxidiser:3", planned_for="2026-11-25")
            pan.record_temperature(session, batch, TemperatureIn.model_validate({"temperature": "300 F"}))
            evenings = [cast.cast_session_id, casting.the_open(session, batch).cast_session_id]
            planned = build.batch(session, planned_for="2026-11-25").code
            lines = checklists.lines(session, checklists.start(session, batches.by_code(session, planned)))
            session.commit()
            number = next(line.item.pk for line in lines if blanks.of_line(line.item.words))
            code = batch.code
        yield Running(code, tuple(f"/bench/{one}" for one in evenings), f"/plan/{planned}/checklist?line={number}")


def stops(page: Page) -> list[tuple[str, int, bool]]:
    """Every stop by Tab: what it is, at how many of nine points it is seen, whether it is taller than the window."""
    page.evaluate("scrollTo(0, 0)")
    page.evaluate("document.querySelector('.skip-link').focus()")
    found: list[tuple[str, int, bool]] = []
    for _ in range(200):
        page.keyboard.press("Tab")
        stop = page.evaluate(STOP)
        if stop is None:
            return found
        found.append(tuple(stop))
    raise AssertionError("no end of stops")


@pytest.mark.promise("What has the focus is never under what sticks", figure="every Tab stop of 5 pages, 7 windows")
def test_the_focus_is_never_hidden(page: Page, site: Site, running: Running) -> None:
    hidden, wide, counted = [], [], 0
    for address in (f"/cast/{running.hot}", f"/cast/{running.hot}/grains", *running.benches, running.checklist):
        page.goto(address)
        assert page.locator("#bench" if address in running.benches else "h1").count() == 1, address
        for window, (width, height) in WINDOWS.items():
            page.set_viewport_size({"width": width, "height": height})
            found = stops(page)
            assert len(found) > 5, (address, window)
            counted += len(found)
            hidden += [(address, window, name, seen) for name, seen, tall in found if seen < (1 if tall else 5)]
            if not page.evaluate(WITHIN):
                wide.append((address, window))
            wide += [(address, window, *squeezed) for squeezed in page.evaluate(SQUEEZED)]
    assert counted > 80 * len(WINDOWS)
    assert hidden == [], hidden
    assert wide == [], wide


FIRST_SCREEN = """selectors => selectors.map(selector => {
    const box = document.querySelector(selector).getBoundingClientRect();
    return [selector, box.height > 0 && box.top >= 0 && box.bottom <= innerHeight];
})"""
ANSWERS = {"running": ["#watch .act-now", "#watch .hot .button"], "2611P": ["#watch [aria-current=step] .act button"]}
PICTURES = ["#evening .evening-line", "#evening .pan-strip"]


def test_no_width_leaves_one_letter_a_line(page: Page, site: Site, running: Running) -> None:
    for address in (f"/cast/{running.hot}", "/cast/2611P", "/", *running.benches, running.checklist):
        page.set_viewport_size({"width": 1366, "height": 768})
        page.goto(address)
        if address not in (*running.benches, running.checklist):
            answer = ANSWERS["running" if address.endswith(running.hot) else "2611P"] + PICTURES
            # what is due next, with its picture, on the first screen, whatever is to be cautioned of and held
            wanted = ["#running .coming > li:last-child", ".find"] if address == "/" else answer
            shown = page.evaluate(FIRST_SCREEN, wanted)
            assert [selector for selector, is_shown in shown if not is_shown] == [], address
            assert page.locator(".find").evaluate("e => e.getBoundingClientRect().height") < 60, "next act comes first"
        for width in (320, 600, 760, 897, 950, 1000, 1100, 1150, 1300):
            page.set_viewport_size({"width": width, "height": 768})
            assert page.evaluate(SQUEEZED) == [], (address, width)
            assert page.evaluate(WITHIN), (address, width)
    page.evaluate("document.documentElement.style.fontSize = '200%'")  # text alone, not the window
    for address in ("/cast/2611P", f"/cast/{running.hot}/grains", *running.benches, running.checklist):
        page.goto(address)
        for width, height in ((1366, 768), (911, 512), (683, 384), (820, 1180)):
            page.set_viewport_size({"width": width, "height": height})
            page.evaluate("document.documentElement.style.fontSize = '200%'")
            assert page.evaluate(WITHIN), (address, width)


SPACED = """() => {
    const wide = new CSSStyleSheet();
    wide.replaceSync("* { letter-spacing: .12em !important; word-spacing: .16em !important; }");
    document.adoptedStyleSheets = [wide];
}"""
"""Text spacing of WCAG 2.1, 1.4.12."""
NARROW = ("/", "/cast/2611P", "/workshop/checklist", "/workshop/cases", "/find?q=2611P", "/review/2611P")
LONG = {"/plan/new": 12, "/workshop/settings": 40, "/motors/design": 15, "/motors/new": 8}
"""Long forms, with the least number of stops by Tab."""


@pytest.mark.promise("Main buttons of long forms stand in reach and hide nothing", figure="4 forms at 911×512")
def test_ways_on_small_windows(page: Page, site: Site, running: Running) -> None:
    page.set_viewport_size({"width": 911, "height": 512})
    for address, least in LONG.items():
        page.goto(address)
        page.evaluate("document.getElementById('hot').hidden = true")  # what comes before any form
        assert page.evaluate(FIRST_SCREEN, [".in-reach .primary"]) == [[".in-reach .primary", True]], address
        found = stops(page)
        assert len(found) >= least, address
        assert [(name, seen) for name, seen, tall in found if seen < (1 if tall else 5)] == [], address
    page.set_viewport_size({"width": 320, "height": 640})
    for address in NARROW:
        page.goto(address)
        assert page.evaluate(WITHIN), address
        page.evaluate(SPACED)
        assert page.evaluate(WITHIN), (address, "spaced")
    page.goto("/workshop/cases")
    assert page.locator("header").evaluate("e => e.getBoundingClientRect().height") < 640 / 4
    page.locator("main").press("/")
    expect(page.locator(".find [name=q]")).to_be_focused()
    page.keyboard.type("2611P/")
    expect(page.locator(".find [name=q]")).to_have_value("2611P/")
    page.get_by_label("The key / searches").uncheck()  # WCAG 2.1.4: a key of one sign can be turned off
    page.goto("/workshop/tubes")
    page.locator("main").press("/")
    expect(page.locator(".find [name=q]")).not_to_be_focused()
    assert page.locator(".find [name=q]").get_attribute("aria-keyshortcuts") is None
    page.get_by_role("button", name="Menu").click()
    page.get_by_role("navigation", name="Parts of the day").get_by_role("link", name="Plan").click()
    page.wait_for_url("**/plan")


def test_a_tablet_turned_in_the_middle_of_typing_keeps_the_words_and_the_field_in_view(
    page: Page, site: Site, running: Running
) -> None:
    page.set_viewport_size({"width": 820, "height": 1180})
    desk = f"/cast/{running.hot}"
    fields = [(desk, "#notes textarea"), (desk, "#temperature [name=temperature]")]
    fields += [(running.benches[1], "#bench [name=temperature]"), (running.checklist, ".say [inputmode]")]
    for address, css in fields:
        page.goto(address)
        field = page.locator(css).first
        field.click()
        page.keyboard.type("24")
        for width, height in ((1180, 820), (390, 450), (820, 1180)):
            page.set_viewport_size({"width": width, "height": height})
            until(page, f"() => ({STOP})()[1] >= 5")
            expect(field).to_be_focused()
        page.keyboard.type("1")
        expect(field).to_have_value("241")


@pytest.mark.parametrize(
    ("address", "fields"),
    [
        ("/cast/2611P", ["#weigh-out [name=mass]", "#temperature [name=temperature]"]),
        ("/cast/2611P/grains", ["[name=gross]", "[name=number]", "[name=tare]"]),
    ],
)
def test_fields_of_numbers_ask_for_the_number_pad(
    page: Page, running: Running, address: str, fields: list[str]
) -> None:
    page.goto(address)
    for field in fields:
        pad = page.locator(field).first.get_attribute("inputmode")
        assert pad in ("decimal", "numeric"), field
