"""Hands full: the screen kept awake, and a voice of the device's own, or a line that says why not."""

from collections.abc import Iterator
from datetime import timedelta

import pytest
from playwright.sync_api import Page, expect

from app import clock
from app.db import writing
from tests import build
from tests.browser.conftest import Site
from tests.browser.test_said import read_pan
from tests.browser.test_timers import NOON, Turn, done, look_again
from tests.browser.walk import until

LOCK = """
    window.locks = 0;
    Object.defineProperty(navigator, "wakeLock", { configurable: true, value: { request: async () => {
        const lock = new EventTarget();
        lock.released = false;
        window.locks += 1;
        window.lock = lock;
        return lock;
    } } });
"""
VOICES = """
    window.spoken = [];
    class Said { constructor(text) { this.text = text; } }
    window.SpeechSynthesisUtterance = Said;
    Object.defineProperty(window, "speechSynthesis", { value: Object.assign(new EventTarget(), {
        getVoices: () => [{ name: "Far", lang: "en-GB", localService: false }].concat(window.hasOwn === false ? []
            : [{ name: "Near", lang: "en-GB", localService: true }]),
        speak: said => window.spoken.push([said.voice.name, said.text]),
        cancel: () => {},
    }) });
"""


@pytest.fixture
def turn() -> Iterator[Turn]:
    """The server's clock, held; turned on by hand."""
    with clock.turned_to(NOON) as turn:
        yield turn


@pytest.fixture
def poured(site: Site, turn: Turn) -> str:
    """A session poured at noon: the rods are due at 12:03."""
    with writing(site.engine) as session:
        code = build.cast(session, planned_for="2026-11-25").code
        session.commit()
        return code


def test_the_screen_is_kept_awake_and_again_when_the_page_comes_back(page: Page, poured: str) -> None:
    page.add_init_script(LOCK)
    page.goto(f"/cast/{poured}")
    line = page.locator("#awake")
    expect(line).to_have_text("The screen stays awake on this page.")
    assert page.evaluate("locks") == 1
    page.evaluate("lock.released = true; lock.dispatchEvent(new Event('release'))")
    expect(line).to_contain_text("The screen may go dark")
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    expect(line).to_have_text("The screen stays awake on this page.")
    assert page.evaluate("locks") == 2


@pytest.mark.parametrize(
    ("is_so", "words"),
    [
        ("Object.defineProperty(window, 'isSecureContext', { value: false })", "without encryption (--lan-plain)"),
        ("Object.defineProperty(navigator, 'wakeLock', { value: undefined })", "this browser keeps none awake"),
        (
            "Object.defineProperty(navigator, 'wakeLock', { value: { request: async () => { throw new Error() } } })",
            "the device allows no page",
        ),
    ],
)
def test_a_page_that_cannot_keep_the_screen_awake_says_so(page: Page, poured: str, is_so: str, words: str) -> None:
    page.add_init_script(is_so)
    page.goto(f"/cast/{poured}")
    expect(page.locator("#awake")).to_contain_text(words)


def spoken(page: Page) -> list[str]:
    found: list[list[str]] = page.evaluate("spoken")
    assert {name for name, _ in found} <= {"Near"}, "a voice of the network was used"
    return [text for _, text in found]


@pytest.mark.promise("The voice at the bench is the device's own: nothing that is read leaves it")
def test_a_voice_reads_the_step_and_the_last_minute_once_it_is_chosen(page: Page, poured: str, turn: Turn) -> None:
    page.add_init_script(VOICES)
    page.goto(f"/cast/{poured}")
    button = page.get_by_role("button", name="Voice is off")
    expect(button).to_have_attribute("aria-pressed", "false")  # off by default
    look_again(page)
    assert spoken(page) == []
    button.click()
    rods = "Set the coring rods, straight and down to the stop."
    assert spoken(page) == [rods]
    page.reload()
    expect(page.get_by_role("button", name="Voice is on")).to_be_visible()  # the device remembers
    for left, words in ((120, ""), (59, "One minute"), (29, "30 seconds"), (9, "10 seconds"), (0, "Now")):
        turn(NOON + timedelta(seconds=180 - left))
        look_again(page)
        if words:
            until(page, f"() => spoken.length && spoken.at(-1)[1].startsWith('{words}. {poured}.')")
    assert len(spoken(page)) == 4
    turn(NOON + timedelta(minutes=3, seconds=1))
    done(page)
    until(page, "() => spoken.at(-1)[1].startsWith('Compact the first time')")
    page.get_by_role("button", name="Voice is on").click()
    before = len(spoken(page))
    done(page)
    look_again(page)
    assert len(spoken(page)) == before


def test_a_hot_pan_is_read_once(page: Page, site: Site, turn: Turn) -> None:
    with writing(site.engine) as session:
        code = build.cast(session, until="oxidiser:3", planned_for="2026-11-25").code
        session.commit()
    page.add_init_script(VOICES)
    page.add_init_script("localStorage.setItem('voice', 'on')")
    page.goto(f"/cast/{code}")
    read_pan(site, code, "300 F")
    look_again(page)
    until(page, "() => spoken.some(([, text]) => text.startsWith('Too hot'))")
    look_again(page)
    look_again(page)
    assert len([text for text in spoken(page) if text.startswith("Too hot")]) == 1


def test_a_device_without_a_voice_of_its_own_says_so(page: Page, poured: str) -> None:
    page.add_init_script("window.hasOwn = false;" + VOICES)
    page.add_init_script("localStorage.setItem('voice', 'on')")
    page.goto(f"/cast/{poured}")
    expect(page.locator("#voiceless")).to_contain_text("none of its own that works offline")
    expect(page.locator("#voice")).to_be_hidden()
    assert page.evaluate("spoken") == []
