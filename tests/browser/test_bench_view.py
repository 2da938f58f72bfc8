"""The bench view in a browser with touch: letters and targets in millimetres, one step a screen, keys for full hands.

Capitals read at 1 m are 4.65 mm high, 5.8 mm where one acts on them (ISO 9241-3, NUREG-0700); targets for standing
users 20 mm (Colle & Hiszem 2004). Capitals are 0.72 of the font's size; 820×1180 has 132 px/in, 1366×768 112 px/in.
"""

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect
from sqlmodel import Session

from app import clock
from app.db import writing
from app.models import Batch
from app.models.cast import SetIn, StepIn, TemperatureIn
from app.models.instrument import ScaleCheckIn, ThermometerCheckIn
from app.services.cast import casting, pan, sets_poured, steps
from app.services.hardware import instrument_checks
from tests import build
from tests.browser.conftest import Site
from tests.browser.test_windows import SQUEEZED, WITHIN
from tests.moment import wall

EVENING = wall("2026-11-25T18:00")
MINUTE = timedelta(minutes=1)
DEVICES = {"tablet": (820, 1180, 132 / 25.4), "laptop": (1366, 768, 112 / 25.4)}
CAPITALS = 0.72
Turn = Callable[[datetime], None]

MEASURED = """mm => {
    const bench = document.getElementById("bench"), main = document.getElementById("main");
    const box = e => e.getBoundingClientRect();
    const shown = e => e.checkVisibility() && box(e).width > 2 && box(e).height > 2;
    const high = e => parseFloat(getComputedStyle(e).fontSize) * 0.72 / mm;
    let all = 0, read = 0; const small = [];
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    while (walker.nextNode()) {
        const node = walker.currentNode, text = node.data.trim(), range = document.createRange();
        range.selectNodeContents(node);
        const place = range.getBoundingClientRect();
        if (!text || !shown(node.parentElement) || place.width < 2) continue;
        if (place.top >= innerHeight || place.bottom <= 0) continue;
        all += text.length;
        if (high(node.parentElement) >= 4.65 - 0.01) read += text.length; else small.push(text);
    }
    const acted = "h2, .largest, .act-now, .verdict strong, button, .button, input:not([type=hidden]), select, .what";
    const targets = "a, button, input:not([type=hidden]), select, textarea, summary";
    const list = selector => [...bench.querySelectorAll(selector)].filter(shown);
    return {
        share: read / all, small,
        faint: list(acted).filter(e => high(e) < 5.8 - 0.01).map(e => [e.className, e.innerText, high(e)]),
        low: list(targets).filter(e => box(e).height / mm < 20 - 0.05).map(e => [e.innerText, box(e).height / mm]),
        outside: list("*:not(svg *)").filter(e => box(e).bottom > innerHeight + 1 || box(e).right > innerWidth + 1)
            .map(e => [e.tagName, e.className, box(e).bottom, box(e).right]),
        scrolls: main.scrollHeight > main.clientHeight + 1 ? main.scrollHeight : 0,
        wide: document.documentElement.scrollWidth > innerWidth,
    };
}"""


@pytest.fixture
def turn() -> Iterator[Turn]:
    """The clock, which stands at six in the evening until it is turned on."""
    with clock.turned_to(EVENING, runs=True) as further:
        yield further


def does(session: Session, lot: Batch, *keys: str, of_set: int = 1) -> None:
    melt = casting.the_open(session, lot)
    for key in keys:
        step = next(s for s in melt.steps if s.key == key and s.set_number in (0, of_set))
        steps.record(session, melt, step.pk, StepIn(act="done"), "Ada")


def until(session: Session, lot: Batch, last: str) -> None:
    keys = [s.key for s in casting.the_open(session, lot).steps if s.set_number < 2]
    does(session, lot, *keys[: keys.index(last) + 1])


def reads(session: Session, lot: Batch, *typed: str) -> None:
    for one in typed:
        pan.record_temperature(session, lot, TemperatureIn.model_validate({"temperature": one}))


def weighing(session: Session, _turn: Turn) -> None:
    lot = build.batch(session, 2, planned_for="2026-11-25")
    build.opened_session(session, lot)
    build.weighed_out(session, lot, but_last=2)


def compacting(session: Session, turn: Turn) -> None:
    """Set 2 is to be compacted, beside the cores of set 1 that are to be pulled in some minutes."""
    lot = build.cast(session, 2, planned_for="2026-11-25")
    sets_poured.add_set(session, casting.the_open(session, lot), SetIn(moulds="2 wide"))
    for minute, key in ((3, "core"), (18, "compact:1"), (28, "compact:2"), (38, "compact:3")):
        turn(EVENING + minute * MINUTE)
        does(session, lot, key)
    for minute, key in ((40, "pour"), (43, "core")):
        turn(EVENING + minute * MINUTE)
        does(session, lot, key, of_set=2)
    turn(EVENING + 58.5 * MINUTE)


def too_hot(session: Session, turn: Turn) -> None:
    lot = build.weighed_batch(session, 2, planned_for="2026-11-25")
    until(session, lot, "melt:sorbitol")
    for minute, typed in ((2, "98 C"), (6, "112 C"), (9, "127 C")):
        turn(EVENING + minute * MINUTE)
        reads(session, lot, typed)


def two_melts(session: Session, turn: Turn) -> Batch:
    """Four sets of grains of two melts: the first melt is all poured, the second, returned, is weighed out."""
    first = build.cast(session, 2, planned_for="2026-11-25")
    evening = casting.the_open(session, first)
    sets_poured.add_set(session, evening, SetIn(moulds="2 wide"))
    for minute, key in ((3, "core"), (18, "compact:1"), (28, "compact:2"), (38, "compact:3")):
        turn(EVENING + minute * MINUTE)
        does(session, first, key)
    turn(EVENING + 40 * MINUTE)
    does(session, first, "pour", "core", of_set=2)
    second = build.batch(session, 2, planned_for="2026-11-25")
    sets_poured.add_set(session, build.joined(session, second, evening.evening), SetIn(moulds="2 wide"))
    build.weighed_out(session, second)
    return second


def two_compacting(session: Session, turn: Turn) -> None:
    """A compaction of the first melt is due beside countdowns of both, each of two sets."""
    second = two_melts(session, turn)
    turn(EVENING + 50 * MINUTE)
    until(session, second, "pour")
    reads(session, second, "118 C")
    turn(EVENING + 53 * MINUTE)
    does(session, second, "core")
    turn(EVENING + 55.5 * MINUTE)
    instruments_off(session)


def two_too_hot(session: Session, turn: Turn) -> None:
    """The pan of the second melt is too hot while a compaction of the first is late."""
    second = two_melts(session, turn)
    turn(EVENING + 43 * MINUTE)
    until(session, second, "melt:sorbitol")
    for minute, typed in ((44, "98 C"), (50, "112 C"), (55, "127 C")):
        turn(EVENING + minute * MINUTE)
        reads(session, second, typed)
    turn(EVENING + 55.5 * MINUTE)
    instruments_off(session)


def two_weighing(session: Session, turn: Turn) -> None:
    """The second melt is weighed out while the sets of the first set hard."""
    first = build.cast(session, 2, planned_for="2026-11-25")
    evening = casting.the_open(session, first)
    turn(EVENING + 3 * MINUTE)
    does(session, first, "core")
    second = build.batch(session, 2, planned_for="2026-11-25")
    build.joined(session, second, evening.evening)
    build.weighed_out(session, second, but_last=2)
    instruments_off(session)


def two_melting(session: Session, turn: Turn) -> None:
    """The second melt is on the heat beside the sets of the first, its pan read with a thermometer that is off."""
    second = two_melts(session, turn)
    turn(EVENING + 43 * MINUTE)
    until(session, second, "melt:sorbitol")
    reads(session, second, "112 C")
    instruments_off(session)


def instruments_off(session: Session) -> None:
    """The scale and the thermometer read too much at their last checks."""
    instrument_checks.check_scale(
        session,
        ScaleCheckIn.model_validate({"instrument": "Scale", "known": "200 g", "read": "201.4 g", "tolerance": "0.2 g"}),
        "Ada",
    )
    told = {"instrument": "Probe", "against": "ice", "read": "2.3 C", "tolerance": "1 C"}
    instrument_checks.check_thermometer(session, ThermometerCheckIn.model_validate(told), "Ada")


STATES = {
    "weighing": weighing,
    "compacting": compacting,
    "too hot": too_hot,
    "weighing beside another melt": two_weighing,
    "melting beside another melt": two_melting,
    "compacting, four sets": two_compacting,
    "too hot, four sets": two_too_hot,
}
OFF = "Thermometer 2.3 °C high: use another."
SAID_IN = {
    "compacting": ["set 1 pull cores"],
    "weighing beside another melt": ["2611P compact", "Scale 1.40 g high: set it right."],
    "melting beside another melt": ["2611P 2 compact", "2611P 1 pull cores", OFF],
    "compacting, four sets": ["2611Q 1 compact", "then 2611P 1 pull cores 19:30, 2611Q 2 pour", OFF],
    "too hot, four sets": ["Heat off now. Add nothing.", "2611P 2 compact", "2611P 1 pull cores", OFF],
}
"""What is due next in each other set, and what is said of instruments, stands beside what is in front."""


@pytest.mark.promise(
    "At the bench nine tenths of what is in view is read at a metre, and every button is for a glove",
    figure="4.65 and 5.8 mm, 20 mm",
)
@pytest.mark.parametrize("state", STATES)
def test_letters_and_targets_in_millimetres_on_the_glass(page: Page, site: Site, turn: Turn, state: str) -> None:
    """Every state on both devices, one page for both."""
    with writing(site.engine) as session:
        STATES[state](session, turn)
        session.commit()
    faults: dict[str, Any] = {}
    bench = page.locator("#bench")
    for device, (width, height, mm) in DEVICES.items():
        page.set_viewport_size({"width": width, "height": height})
        page.goto("/bench/1")
        expect(bench.locator(".timer .countdown[hidden]")).to_have_count(0)  # counting, where anything is timed
        faults[device] = _seen(page, mm)
        if state == "weighing":  # what the sucrose wants: a verdict and its two answers
            bench.get_by_label("Scale reads").fill("25.6")
            bench.get_by_role("button", name="Weighed").click()
            expect(bench.get_by_role("alert")).to_contain_text("This looks like the sucrose")
            faults[f"verdict, {device}"] = _seen(page, mm)
    for width, height in ((320, 640), (390, 450), (911, 512), (1024, 600)):  # these scroll down, never sideways
        page.set_viewport_size({"width": width, "height": height})
        assert page.evaluate(WITHIN), (width, height)
        assert page.evaluate(SQUEEZED) == [], (width, height)
    for words in SAID_IN.get(state, ()):
        expect(bench).to_contain_text(words)
    assert {where: found for where, found in faults.items() if found} == {}
    if state in ("weighing", "compacting, four sets", "too hot, four sets"):
        assert Axe().run(page).response["violations"] == []


def _seen(page: Page, mm: float) -> dict[str, Any]:
    """What is too small to read or to press, or out of the screen."""
    found = page.evaluate(MEASURED, mm)
    enough = found.pop("share") >= 0.9
    return {what: where for what, where in found.items() if where and not (what == "small" and enough)}


def test_full_hands_do_the_step_in_front_by_a_key_and_a_held_key_does_one(page: Page, site: Site, turn: Turn) -> None:
    with writing(site.engine) as session:
        lot = build.weighed_batch(session, 2, planned_for="2026-11-25")
        does(session, lot, "weigh")
        session.commit()
    page.goto("/bench/1")
    bench, melted = page.locator("#bench"), page.get_by_role("button", name="Melted")
    expect(melted).to_be_focused()
    page.locator("body").evaluate("() => document.activeElement.blur()")
    page.keyboard.down("PageDown")
    for _ in range(5):
        page.keyboard.down("PageDown")  # held: the same key again and again
    expect(bench).to_contain_text("25.6 g")
    for _ in range(20):
        page.keyboard.down("PageDown")
    page.keyboard.up("PageDown")
    page.keyboard.press("PageDown")  # a switch that bounces as the next step comes
    expect(bench).to_contain_text("25.6 g")
    expect(melted).not_to_have_attribute("aria-disabled", "true")
    page.keyboard.press("Enter")  # the button has the focus, and is pressed by its own key
    stirred = page.get_by_role("button", name="Stirred in")
    expect(stirred).to_be_focused()
    reading = bench.get_by_label("Pan reads")
    reading.fill("112")
    reading.press("Enter")  # in a field Enter sends it
    expect(page.get_by_role("status").first).to_contain_text("Pan 112 °C. Next:")
    expect(stirred).to_be_visible()
    reading.fill("127")
    reading.press("Enter")
    expect(bench).to_contain_text("Heat off now. Add nothing.")
    expect(reading).to_be_focused()
    reading.evaluate("e => e.blur()")
    page.keyboard.press("PageDown")
    expect(bench).to_contain_text("Heat off now. Add nothing.")
    reading.fill("118")
    reading.press("Enter")
    expect(stirred).to_be_visible()
    with writing(site.engine) as session:
        melt = casting.the_open(session, session.get_one(Batch, 1))
        assert [s.key for s in melt.steps if s.done_at is not None] == ["weigh", "melt:sorbitol", "melt:sucrose"]


def test_a_page_left_open_follows_another_device_and_keeps_what_is_being_typed(
    page: Page, browser: Browser, site: Site, turn: Turn
) -> None:
    with writing(site.engine) as session:
        lot = build.weighed_batch(session, 2, planned_for="2026-11-25")
        does(session, lot, "weigh")
        session.commit()
    page.goto("/bench/1")
    reading = page.locator("#bench").get_by_label("Pan reads")
    reading.fill("11")
    with writing(site.engine) as session:
        does(session, session.get_one(Batch, 1), "melt:sorbitol")
        session.commit()
    with page.expect_response("**/bench/1?look=1"):
        page.evaluate("dispatchEvent(new Event('focus'))")
    expect(page.locator("#bench")).to_contain_text("25.6 g")
    expect(reading).to_have_value("11")
    expect(reading).to_be_focused()


def test_time_alone_brings_the_next_act_to_the_front(page: Page, site: Site, turn: Turn) -> None:
    with writing(site.engine) as session:
        lot = build.cast(session, 2, planned_for="2026-11-25")
        turn(EVENING + 3 * MINUTE)
        does(session, lot, "core")
        session.commit()
    turn(EVENING + 14.9 * MINUTE)
    page.goto("/bench/1")
    expect(page.get_by_role("link", name="Do it now")).to_be_visible()
    expect(page.get_by_role("button", name="Compacted")).to_be_visible()  # three minutes before it is due
