"""How many presses a further melt of an evening takes at the bench, by touch: what is asked of the hands is counted.

A press of a button or a link counts, and so does Enter in a field; a line of the safety list and what is typed do not.
Its grains are weighed and accepted, and its pan is read. A whole evening of four melts is counted without a browser, by
the same rule: `tests/pages/bench/test_evening_presses.py`.
"""

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from app import clock
from app.db import writing
from app.models import Batch, CastSession, GrainPattern
from app.services.book import workshop
from app.services.cast import casting, pan
from app.services.grains import grains
from app.services.hardware import shapes
from app.services.stock import batches, formulas
from tests import build
from tests.browser.conftest import PATIENCE_MS, Site
from tests.moment import wall

EVENING = wall("2026-11-25T17:00")
MINUTE = timedelta(minutes=1)
Turn = Callable[[datetime], None]


@pytest.fixture
def turn() -> Iterator[Turn]:
    with clock.turned_to(EVENING, runs=True) as further:
        yield further


class Hands:
    """Gloved hands at a tablet: each press is counted."""

    def __init__(self, page: Page) -> None:
        self.page, self.pressed = page, list[str]()

    def press(self, target: Locator) -> None:
        words = target.inner_text().strip()
        target.tap()
        self.pressed.append(words)

    def type_and_press(self, label: str, typed: str, button: str) -> None:
        """Type into the field, and press the button beside it."""
        self.page.get_by_label(label).fill(typed)
        self.press(self.page.get_by_role("button", name=button, exact=True))


def weigh_out(hands: Hands, targets: list[str]) -> None:
    """Each bowl to its target, with the button beside the field."""
    for target in targets:
        front = hands.page.locator("#bench").get_attribute("data-front")
        hands.type_and_press("Scale reads", target, "Weighed")
        expect(hands.page.locator(f'#bench:not([data-front="{front}"])')).to_be_visible()


def follow(hands: Hands, turn: Turn) -> None:
    """Every step in front, waited for where it has a time, until the scale's page is there by itself; the pan is read
    before the oxidiser.
    """
    page, read = hands.page, False
    while True:
        bench, done = page.locator("#bench"), page.locator("#bench button[data-do]")
        front = bench.get_attribute("data-front")
        if done.count() == 0:
            due = bench.locator(".front [data-due]").first.get_attribute("data-due")
            turn(datetime.fromisoformat(due or ""))
            page.goto("/bench/1")
            continue
        words = done.inner_text()
        if words == "Stirred in" and not read:
            hands.type_and_press("Pan reads", "118", "Read")
            expect(bench.locator(".pan .state")).to_contain_text("in the band")
            read = True
        hands.press(done)
        if words == "Cores pulled":
            page.wait_for_url("**/grains")
            return
        expect(page.locator(f'#bench:not([data-front="{front}"])')).to_be_visible()


def go_through(hands: Hands) -> None:
    """The lines of the list at hand; they are counted apart, what begins and signs it is not."""
    page = hands.page
    hands.press(page.get_by_role("button", name="Next melt 2611Q"))
    sign = page.get_by_role("button", name="Sign as Ada and join")
    expect(page.locator("#at-hand")).to_be_visible()
    while not sign.count():
        line = page.locator("#at-hand").inner_text()
        for number in page.locator(".with-unit input").all():
            number.fill("3")
        page.get_by_role("button", name="Done").tap()
        expect(page.locator("#at-hand", has_text=line)).to_have_count(0)
        expect(page.locator("#at-hand").or_(sign)).to_be_visible()
    assert sign.evaluate("button => button !== document.activeElement"), "a key held down signs nothing"
    hands.press(sign)
    page.wait_for_url("**/bench/1")


def weigh_grains(hands: Hands, gross: list[str]) -> None:
    """Each grain on the scale, then one press for all that nothing speaks against."""
    for number, text in enumerate(gross, start=1):
        hands.type_and_press("Scale reads", text, "Weigh it")
        expect(hands.page.locator("#shown-head")).to_contain_text(f"2611Q-{number:02d}")
    hands.press(hands.page.get_by_role("button", name=f"Accept all {len(gross)}"))
    expect(hands.page.get_by_role("link", name="Back to the bench")).to_be_visible()


@pytest.mark.promise(
    "A further melt of two grains takes few presses at the bench, its grains weighed and its pan read",
    figure="at most 20",
)
def test_a_second_melt_takes_at_most_twenty_presses(browser: Browser, site: Site, turn: Turn) -> None:
    with writing(site.engine) as session:
        workshop.get(session).person = "Ada"
        first = build.cast(session, 2, until="pull", planned_for="2026-11-25")
        for share in (0.96, 0.958):
            build.grain(session, first, share, decision=None)
        lot = build.batch(session, 2, planned_for="2026-11-25")
        build.stock(session, lot)
        session.commit()
        bowls = [f"{part.target_kg * 1000:.1f}" for part in batches.by_code(session, lot.code).parts]
        shape = session.get_one(GrainPattern, lot.items[0].pattern_id)
        full = formulas.ideal_density(formulas.get(session, lot.formula_id)) * shapes.volume(shape) * 1000
    context = site.opened_in(browser, viewport={"width": 820, "height": 1180}, has_touch=True)
    context.set_default_timeout(PATIENCE_MS)
    hands = Hands(context.new_page())
    hands.page.goto("/bench/1")
    go_through(hands)
    weigh_out(hands, bowls)
    follow(hands, turn)
    weigh_grains(hands, [f"{share * full:.1f}" for share in (0.96, 0.957)])
    assert len(hands.pressed) <= 20, hands.pressed
    with writing(site.engine) as session:
        evening, second = session.get_one(CastSession, 1), session.get_one(Batch, 2)
        assert [melt.number for melt in evening.melts] == [1, 2]
        assert casting.find(session, second) is evening
        assert len(pan.readings(session, evening.melts[1])) == 1
        assert {view.grain.decision for view in grains.of_batch(session, second)} == {"accept"}
        assert [s.key for s in evening.melts[1].steps if s.done_at is None] == ["bag"]
    context.close()
