"""A slip at the bench is taken back with one touch, in place, and after a minute with its reason."""

from datetime import timedelta

from playwright.sync_api import Page, expect

from app import clock
from app.db import writing
from tests import build
from tests.browser.conftest import Site
from tests.browser.walk import choose, fill, labelled, press


def test_a_reading_and_a_weighed_amount(page: Page, site: Site) -> None:
    with writing(site.engine) as session:
        build.opened_session(session, build.batch(session, planned_for="2026-11-25"))
        session.commit()
    page.goto("/cast/2611P")
    loads = site.page_loads(page)
    pan = page.locator("#temperature")
    fill(pan, pan_temperature="190")
    choose(labelled(pan, "Degrees"), "°C")
    press(pan, "Save the reading")
    expect(pan.get_by_text("Above the limit of")).to_be_visible()
    pan.get_by_role("button", name="Undo").click()
    expect(pan.get_by_text("Above the limit of")).to_have_count(0)
    pan.get_by_text("Struck out: 1").click()
    expect(pan.get_by_text("Undone within a minute.")).to_be_visible()

    nitrate = page.get_by_role("group", name="Potassium nitrate")
    fill(nitrate, weighed="3 g")
    nitrate.get_by_role("button", name="Save the amount").click()
    nitrate.get_by_role("button", name="3 g, and more follows").click()
    taken_back = nitrate.get_by_role("button", name="Undo")
    expect(taken_back).to_be_visible()
    with clock.turned_to(clock.now() + timedelta(minutes=2)):
        taken_back.click()  # the page is older than the minute
        expect(nitrate.get_by_text("The minute is over").last).to_be_visible()
        fill(nitrate, why="the wrong bag")
        press(nitrate, "Strike it out")
        expect(nitrate.get_by_text("struck out: the wrong bag")).to_be_visible()
    assert site.page_loads(page) == loads, "each of these is a partial update"


def test_who_is_at_the_bench_stays_with_the_device(page: Page, site: Site) -> None:
    page.goto("/workshop/people/new")
    fill(page, name="Bert")
    press(page, "Save the person")
    page.goto("/workshop/bench")
    choose(page.get_by_label("Who is at the bench"), "Bert")
    press(page, "Save it on this device")
    page.goto("/")
    expect(page.get_by_role("contentinfo").get_by_role("link", name="Bert")).to_be_visible()
    page.goto("/workshop/rods/new")
    fill(page, name="Rod", diameter="10 mm")
    press(page, "Save the coring rod")
    page.goto("/workshop/rods/1")
    fill(page, diameter="11 mm", why_it_is_changed="measured again")
    press(page, "Save the coring rod")
    page.goto("/workshop/changes")
    row = page.get_by_role("row").filter(has_text="measured again")
    expect(row).to_contain_text("Bert")
    row.get_by_role("link", name="Rod").click()
    page.get_by_text("Earlier values: changed 1 time").click()
    expect(page.get_by_role("region", name="Earlier values")).to_contain_text("Diameter: 10.00 mm → 11.00 mm")
