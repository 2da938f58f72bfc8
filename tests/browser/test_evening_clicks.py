"""How many presses an evening of several melts takes at the bench, by touch: what is asked of the hands is counted.

A press of a button or a link counts, and so does Enter in a field; a line of the safety list and what is typed do not.
The evening of four melts takes minutes: `python -m pytest tests/browser/test_evening_clicks.py --long`.
"""

import re
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from app import clock
from app.db import writing
from app.models import Batch, CastSession
from app.services.cast import casting
from app.services.stock import batches
from tests import build
from tests.browser.conftest import PATIENCE_MS, Site
from tests.moment import wall

EVENING = wall("2026-11-25T17:00")
MINUTE = timedelta(minutes=1)
Turn = Callable[[datetime], None]
LAST = "Cores pulled"


@pytest.fixture
def turn() -> Iterator[Turn]:
    with clock.turned_to(EVENING, runs=True) as further:
        yield further


class Hands:
    """Gloved hands at a tablet: each press is counted, by the melt it was for."""

    def __init__(self, page: Page) -> None:
        self.page, self.presses, self.pressed = page, 0, list[str]()

    def press(self, target: Locator) -> None:
        self.presses += 1
        words = target.inner_text().strip()
        target.tap()
        self.pressed.append(words)


def weigh_out(hands: Hands, targets: list[str]) -> None:
    """Each bowl to its target, with the button beside the field."""
    for target in targets:
        front = hands.page.locator("#bench").get_attribute("data-front")
        hands.page.get_by_label("Scale reads").fill(target)
        hands.press(hands.page.get_by_role("button", name="Weighed"))
        expect(hands.page.locator(f'#bench:not([data-front="{front}"])')).to_be_visible()


def follow(hands: Hands, turn: Turn, until: str) -> None:
    """Every step in front, waited for where it has a time."""
    while True:
        bench = hands.page.locator("#bench")
        front = bench.get_attribute("data-front")
        if bench.locator("button[data-do]").count() == 0:
            turn(clock.now() + 8 * MINUTE)
            hands.page.goto("/bench/1")
            continue
        done = bench.locator("button[data-do]")
        words = done.inner_text()
        hands.press(done)
        expect(hands.page.locator(f'#bench:not([data-front="{front}"])')).to_be_visible()
        if words == until:
            return


def go_through(hands: Hands) -> None:
    """The lines of the list at hand; they are counted apart, what begins and signs it is not."""
    page = hands.page
    hands.press(page.get_by_role("button", name=re.compile("^Start the")).first)
    while page.get_by_role("link", name="To the signature").count() == 0:
        line = page.locator("#at-hand").inner_text()
        for number in page.locator(".with-unit input").all():
            number.fill("3")
        page.get_by_role("button", name="Done").tap()
        expect(page.locator("#at-hand", has_text=line)).to_have_count(0)
    hands.press(page.get_by_role("link", name="To the signature"))
    expect(page.get_by_role("heading", level=1)).to_contain_text("Sign")
    known = page.get_by_role("button", name="Sign as Ada")
    if known.count():
        hands.press(known)
    else:
        page.get_by_label("Your name").fill("Ada")
        hands.press(page.get_by_role("button", name="Sign the checklist"))
    hands.press(page.get_by_role("button", name=re.compile("^(Join|Let it|Open)")).first)


def plan(site: Site, melts: int) -> None:
    with writing(site.engine) as session:
        first = build.batch(session, 2, planned_for="2026-11-25")
        build.opened_session(session, first)
        for _ in range(melts - 1):
            build.stock(session, build.batch(session, 2, planned_for="2026-11-25"))
        session.commit()


def targets(site: Site, code: str) -> list[str]:
    with writing(site.engine) as session:
        return [f"{part.target_kg * 1000:.1f}" for part in batches.by_code(session, code).parts]


def melt(hands: Hands, site: Site, turn: Turn, code: str, until: str) -> int:
    """Weigh out and follow a melt, come in by its list where it is a further one; gives its presses."""
    begin = hands.presses
    hands.page.goto("/bench/1")
    if code != "2611P":
        hands.press(hands.page.get_by_role("link", name=f"Next melt {code}"))
        go_through(hands)
        expect(hands.page).to_have_url(re.compile(r"/bench/1(\?|$)"))
    weigh_out(hands, targets(site, code))
    follow(hands, turn, until)
    return hands.presses - begin


def tablet(browser: Browser, site: Site) -> Hands:
    context = site.opened_in(browser, viewport={"width": 820, "height": 1180}, has_touch=True)
    context.set_default_timeout(PATIENCE_MS)
    return Hands(context.new_page())


@pytest.mark.promise("A second melt of two grains takes few presses at the bench", figure="at most 20")
def test_a_second_melt_takes_at_most_twenty_presses(browser: Browser, site: Site, turn: Turn) -> None:
    plan(site, 2)
    hands = tablet(browser, site)
    melt(hands, site, turn, "2611P", LAST)
    hands.pressed = []
    assert melt(hands, site, turn, "2611Q", LAST) <= 20, hands.pressed
    with writing(site.engine) as session:
        evening = session.get_one(CastSession, 1)
        assert [melt.number for melt in evening.melts] == [1, 2]
        for one in evening.melts:
            assert [s.key for s in one.steps if s.done_at is None] == ["bag"]
        assert casting.find(session, session.get_one(Batch, 2)) is evening
    hands.page.context.close()


@pytest.mark.long
def test_an_evening_of_four_melts_takes_at_most_a_hundred_presses(browser: Browser, site: Site, turn: Turn) -> None:
    """From the first bowl to the closing, the bagging left for the next day with a reason; safety lines apart."""
    plan(site, 4)
    hands = tablet(browser, site)
    codes = ["2611P", "2611Q", "2611R", "2611S"]
    each = [melt(hands, site, turn, code, LAST) for code in codes]
    page = hands.page
    hands.press(page.locator("#bench summary", has_text="More"))
    hands.press(page.locator("#bench").get_by_role("link", name="Close the evening"))
    for code in codes:
        hands.press(page.get_by_role("link", name=f"Tell it of {code}"))
        page.get_by_label("Mass in test pieces").fill("10 g")
        hands.press(page.get_by_role("button", name="Keep the mass"))
        hands.press(page.get_by_role("link", name="To closing at the bench"))
    page.get_by_label("Why it ends").fill("They are bagged tomorrow, when they are cold.")
    hands.press(page.get_by_role("button", name="Close the evening"))
    expect(page.locator("main")).to_contain_text("This evening was closed")
    assert hands.presses <= 100, (each, hands.pressed)
    with writing(site.engine) as session:
        assert session.get_one(CastSession, 1).closed_at is not None
    page.context.close()
