"""Weighing at arm's length, by touch: what stands on the glass in millimetres, and the way from scale to shelf."""

from collections.abc import Iterator
from datetime import timedelta

import pytest
from playwright.sync_api import Browser, Page, expect

from app import clock
from app.db import writing
from app.models import Grain
from app.services.cast import casting
from app.services.stock import batches
from tests import build
from tests.browser.conftest import PATIENCE_MS, Site

READ, ACT, PRESS = 4.65, 5.8, 20.0
"""Capitals read at 1 m and acted on (ISO 9241-3, NUREG-0700), targets of who stands (Colle & Hiszem 2004) [mm]."""

GLASS = {"tablet": (820, 1180, 132), "laptop": (1366, 768, 112)}
"""Width and height [px] and px in an inch: a 10.9 in tablet and a 14 in laptop."""

MEASURE = """({mm, read, act, press}) => {
  const pen = document.createElement("canvas").getContext("2d");
  const capital = function (e) {
    const s = getComputedStyle(e);
    pen.font = `${s.fontWeight} ${s.fontSize} ${s.fontFamily}`;
    return pen.measureText("H").actualBoundingBoxAscent / mm;
  };
  const inView = b => b.width > 1 && b.bottom > 1 && b.top < innerHeight - 1 && b.right > 0 && b.left < innerWidth;
  const hidden = e => !e.checkVisibility({ visibilityProperty: true }) || e.getBoundingClientRect().width <= 1
    || e.closest(".visually-hidden, title, desc, option, script");
  const found = { all: 0, read: 0, small: [], low: [], away: [] };
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const e = walk.currentNode.parentElement, letters = walk.currentNode.textContent.replace(/\\s/g, "");
    const range = document.createRange();
    range.selectNodeContents(walk.currentNode);
    if (!letters || hidden(e) || !inView(range.getBoundingClientRect())) continue;
    found.all += letters.length;
    if (capital(e) >= read - 0.05) found.read += letters.length; else found.small.push(letters);
  }
  const targets = "a, button, summary, select, textarea, label:is(.check, .chip), "
    + "input:not([type=hidden], [type=checkbox], [type=radio])";
  document.querySelectorAll(`:is(.scale, .looks, .at-glass main) :is(${targets})`).forEach(function (e) {
    if (hidden(e)) return;
    const box = e.getBoundingClientRect(), name = e.id || e.textContent.trim();
    const out = box.bottom > innerHeight + 0.5 || box.top < -0.5 || box.right > innerWidth + 0.5;
    if (out && e.closest(".scale")) found.away.push(name);
    const small = capital(e) < act - 0.05;
    if (box.height < press * mm - 0.5 || small) found.low.push([name, box.height / mm, capital(e)]);
  });
  return found;
}"""


@pytest.fixture(params=list(GLASS))
def glass(request: pytest.FixtureRequest, browser: Browser, site: Site) -> Iterator[tuple[Page, float]]:
    """A page on a device's glass, touched, and how many px a millimetre of it has."""
    width, height, inch = GLASS[request.param]
    context = site.opened_in(browser, viewport={"width": width, "height": height}, has_touch=True)
    context.set_default_timeout(PATIENCE_MS)
    if request.param == "laptop":  # one that is touched is taken for a tablet until a bank card says otherwise
        context.add_cookies([{"name": "glass", "value": f"{inch / 25.4:.3f}", "url": site.address}])
    yield context.new_page(), inch / 25.4
    context.close()


def _at_arms_length(page: Page, mm: float) -> None:
    """Nine tenths of the letters in view can be read, all that is acted on is in view, large and high enough."""
    page.wait_for_load_state()
    seen = page.evaluate(MEASURE, {"mm": mm, "read": READ, "act": ACT, "press": PRESS})
    assert seen["read"] >= 0.9 * seen["all"], seen["small"]
    assert seen["low"] == []
    assert seen["away"] == [], "out of the first screen"
    assert page.evaluate("scrollX + scrollY") == 0


def _lot(site: Site) -> str:
    with writing(site.engine) as session:
        shape = build.pattern(session, casting_tube_id=build.tube(session).pk)
        blend = build.formula(session, "Marram")
        for days in (30, 12):
            with clock.turned_to(clock.now() - timedelta(days=days)):
                earlier = build.cast(session, 4, shape=shape, blend=blend)
                for share in (0.948, 0.957, 0.961, 0.967):
                    build.grain(session, earlier, share)
        code = build.cast(session, 4, until="pull", shape=shape, blend=blend).code
        session.commit()
        return code


def test_a_lot_goes_from_the_scale_to_the_shelf_at_arms_length(site: Site, glass: tuple[Page, float]) -> None:
    page, mm = glass
    code = _lot(site)
    page.goto(f"/cast/{code}/grains")
    _at_arms_length(page, mm)  # nothing weighed yet: the same layout
    scale, weigh = page.get_by_label("Scale reads"), page.get_by_role("button", name="Weigh it")
    for number, gross in enumerate(("181.6", "182.3", "173.1", "181.9"), start=1):
        expect(scale).to_be_focused()
        scale.fill(gross)
        weigh.tap()
        expect(page.get_by_role("heading", name=f"Weighed last: {code}-{number:02d}")).to_be_visible()
        _at_arms_length(page, mm)

    # What is clear with one touch, then what is doubtful: what is wrong, and which.
    page.locator(".act-next").get_by_label("Decided by").fill("Ada")
    page.get_by_role("button", name="Accept the 3").tap()
    page.get_by_role("link", name=f"Decide on {code}-03").tap()
    expect(page.get_by_role("heading", name=f"To decide on: {code}-03")).to_be_visible()
    _at_arms_length(page, mm)
    page.locator(".sheet").get_by_label("Void").tap()
    page.locator(".sheet").get_by_label("Decided by").fill("Ada")
    page.get_by_role("button", name="Reject", exact=True).tap()
    expect(page.get_by_role("heading", name=f"Where does {code}-03 go?")).to_be_visible()
    _at_arms_length(page, mm)
    page.get_by_role("button", name="To scrap").tap()
    expect(page.get_by_role("heading", name="Bag 3 with desiccant")).to_be_visible()
    _at_arms_length(page, mm)
    page.get_by_role("button", name="Bag all accepted grains (3)").tap()
    expect(page.get_by_role("heading", name="3 bagged: label them")).to_be_visible()
    _at_arms_length(page, mm)
    with writing(site.engine) as session:
        melt = casting.melt(session, batches.by_code(session, code))
        assert melt is not None
        assert [step.done_at is not None for step in melt.steps if step.key == "bag"] == [True]
    page.get_by_role("link", name="Print the labels", exact=True).tap()
    expect(page.get_by_role("heading", name=f"Labels of lot {code}")).to_be_visible()
    _at_arms_length(page, mm)
    page.get_by_role("link", name="To the shelf").tap()
    expect(page.get_by_role("heading", name="Where bags lie")).to_be_visible()
    _at_arms_length(page, mm)
    page.get_by_label("Place").fill("Dry box")
    page.get_by_role("button", name="Save the place").tap()
    expect(page.get_by_text("It is noted where these bags lie.")).to_be_visible()
    page.goto(f"/cast/{code}/grains")
    expect(page.get_by_role("heading", name="All 4 are put away")).to_be_visible()


def test_a_doubtful_grain_keeps_the_layout_and_says_so_by_shape_and_word(site: Site, glass: tuple[Page, float]) -> None:
    page, mm = glass
    code = _lot(site)
    with writing(site.engine) as session:
        build.grain(session, batches.by_code(session, code), share=0.80, decision=None)
        session.commit()
    page.goto(f"/cast/{code}/grains")
    expect(page.locator(".which .reject")).to_have_text("reject")
    expect(page.locator(".share")).to_have_text("80.0%")
    _at_arms_length(page, mm)
    page.get_by_text("Decide", exact=True).tap()
    expect(page.get_by_role("button", name="Hold", exact=True)).to_be_visible()
    page.locator(".looks").evaluate("e => { e.open = true; }")
    _at_arms_length(page, mm)
    # The way back within its minute lies in the same place.
    with writing(site.engine) as session:
        grain = session.get(Grain, 9)
        assert grain is not None
        grain.weighed_at = clock.now()
        session.commit()
    page.reload()
    page.get_by_text("Decide", exact=True).tap()
    page.get_by_role("button", name="Weighed wrong: undo").tap()
    expect(page.get_by_role("heading", name="No grain is weighed yet")).to_be_visible()
