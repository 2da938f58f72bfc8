"""Said, not only shown: what is late or too hot is told once, on every page, in its title, by sound where it is on."""

import re
from collections.abc import Iterator
from datetime import timedelta

import pytest
from playwright.sync_api import Page, expect

from app import clock
from app.db import writing
from app.models.cast import TemperatureIn
from app.services.cast import pan
from app.services.stock import batches
from tests import build
from tests.browser.conftest import Site
from tests.browser.test_timers import NOON, Turn, look_again

MINUTES = timedelta(minutes=1)

HEARD = """() => {
    window.heard = [];
    const spoken = "[role=alert], [role=status], [aria-live=polite], [aria-live=assertive]";
    const words = node => node.textContent.replace(/\\s+/g, " ").trim();
    new MutationObserver(changes => changes.forEach(change => {
        const region = (change.target.closest ?? (() => null)).call(change.target, spoken);
        if (region && change.addedNodes.length && words(region)) heard.push(words(region));
        if (!region) change.addedNodes.forEach(node => {
            if (node.nodeType !== 1) return;
            const regions = [node, ...node.querySelectorAll(spoken)].filter(e => e.matches(spoken) && words(e));
            regions.forEach(e => heard.push(words(e)));
        });
    })).observe(document.body, { childList: true, subtree: true });
}"""
"""Keeps what a screen reader would say: words that are put into a live region, and live regions put into the page."""


@pytest.fixture
def turn() -> Iterator[Turn]:
    """The server's clock, held; turned on by hand."""
    with clock.turned_to(NOON) as turn:
        yield turn


@pytest.fixture
def melting(site: Site, turn: Turn) -> str:
    """A session in which the melt is on the heat."""
    with writing(site.engine) as session:
        code = build.cast(session, until="oxidiser:3", planned_for="2026-11-25").code
        session.commit()
        return code


@pytest.fixture
def poured(site: Site, turn: Turn) -> str:
    """A session poured at noon."""
    with writing(site.engine) as session:
        code = build.cast(session, planned_for="2026-11-25").code
        session.commit()
        return code


def read_pan(site: Site, code: str, typed: str) -> None:
    """The pan is read on another device."""
    with writing(site.engine) as session:
        data = TemperatureIn.model_validate({"temperature": typed})
        pan.record_temperature(session, batches.by_code(session, code), data)
        session.commit()


def heard(page: Page) -> list[str]:
    found: list[str] = page.evaluate("heard")
    return found


TONES = """let tones = 0;
    const make = AudioContext.prototype.createOscillator;
    AudioContext.prototype.createOscillator = function () {
        document.documentElement.dataset.tones = String(tones += 1);
        return make.call(this);
    };"""


@pytest.mark.promise("A pan above its limit is told on every page, in its title, and by sound where it is on")
def test_a_pan_that_gets_too_hot_is_told_on_a_page_far_from_it(page: Page, site: Site, melting: str) -> None:
    page.add_init_script(TONES)
    page.add_init_script("localStorage.setItem('sound', 'on')")
    page.goto("/shelf")
    page.locator("h1").click()  # the touch that lets a page sound
    expect(page).to_have_title(re.compile("^Shelf"))
    page.evaluate(HEARD)
    hot = page.locator("#hot")
    expect(hot).to_be_hidden()
    read_pan(site, melting, "300 F")
    look_again(page)
    expect(hot).to_contain_text(f"{melting}: The pan was read at 12:00: 300 F, above the limit. Heat off, add nothing.")
    expect(page).to_have_title(f"TOO HOT {melting} · Shelf · Grainbook")
    expect(page.locator("html")).to_have_attribute("data-tones", re.compile(r"^([3-9]|\d\d+)$"))
    look_again(page)
    look_again(page)
    assert [words for words in heard(page) if "300 F" in words] == [hot.inner_text().replace("\n", " ")]
    hot.get_by_role("link").click()
    bench, sound = page.locator("#bench"), page.locator("#sound")
    expect(bench).to_contain_text("Heat off now. Add nothing.")
    expect(page).to_have_title(re.compile(f"^TOO HOT {melting} · Bench {melting}"))
    bench.locator("summary").filter(has_text="More").click()
    expect(sound).to_have_text("Sound is on")
    with page.expect_response("**/bench/1?look=1"):
        bench.evaluate("e => { e.dataset.was = ''; e.dispatchEvent(new CustomEvent('stale')); }")
    expect(page.locator("#bench:not([data-was])")).to_be_visible()  # another one stands there, and its fold is open
    expect(sound).to_have_text("Sound is on")
    sound.click()
    expect(sound).to_have_text("Sound is off")
    bench.locator("summary").filter(has_text="More").click()
    bench.get_by_label("Pan reads").fill("240 F")
    page.get_by_role("button", name="Read", exact=True).click()
    expect(page).to_have_title(f"Bench {melting} · Grainbook")
    expect(hot).to_be_hidden()


def test_lateness_is_told_once_and_politely_on_every_page(page: Page, site: Site, poured: str, turn: Turn) -> None:
    page.goto("/shelf")
    expect(page).to_have_title(re.compile(f"^[23]:\\d\\d {poured} Set the coring rods.* · Shelf"))
    page.evaluate(HEARD)
    told = page.locator("#told")
    assert told.get_attribute("aria-live") == "polite"
    turn(NOON + 4 * MINUTES)
    look_again(page)
    expect(told).to_have_text(re.compile(f"^Late, {poured}: Set the coring rods"))
    expect(page).to_have_title(re.compile(f"^LATE 1:0\\d {poured} Set the coring rods"))
    turn(NOON + 6 * MINUTES)
    look_again(page)
    look_again(page)
    assert len([words for words in heard(page) if words.startswith("Late")]) == 1
    page.goto("/help")  # the same lateness on the next page of this tab
    expect(page).to_have_title(re.compile("^LATE "))
    expect(page.locator("#told")).to_be_empty()


def test_a_partial_update_tells_nothing_again_and_fills_its_line(page: Page, site: Site, turn: Turn) -> None:
    with writing(site.engine) as session:
        batch = build.batch(session, planned_for="2026-11-25")
        build.opened_session(session, batch)
        session.commit()
        masses = [f"{part.target_kg * 1000:.1f}" for part in batch.parts[:2]]
    read_pan(site, "2611P", "300 F")  # an alert that stands
    page.goto("/cast/2611P")
    standing = page.locator("#watch .hot")
    expect(standing).to_have_attribute("role", "alert")
    page.evaluate(HEARD)
    page.evaluate("document.getElementById('notice').mine = true")
    for done, mass in enumerate(masses, 1):
        page.locator("#weigh-out").get_by_label("Weighed").nth(done - 1).fill(mass)
        page.keyboard.press("Enter")
        expect(page.locator("#weigh-out .tolerance-in")).to_have_count(done)
    expect(standing).to_contain_text("Too hot: 300 F")
    assert page.evaluate("document.getElementById('notice').mine")  # the line stood, and got its words
    assert heard(page) == ["Booked.", "Booked."]
