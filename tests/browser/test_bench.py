"""The bench in a browser: each act is a partial update, and typed words elsewhere on the page stay."""

import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from app.db import writing
from app.models.cast import StepIn
from app.services.cast import casting, steps
from app.services.stock import batches
from tests import build
from tests.browser.conftest import Site

DONE = re.compile("^Done")


@pytest.fixture
def planned(site: Site) -> None:
    """A batch planned, with what it needs on the shelf."""
    with writing(site.engine) as session:
        build.stock(session, build.batch(session, planned_for="2026-11-25"))
        session.commit()


@pytest.fixture
def opened(site: Site) -> None:
    """A session open, nothing weighed."""
    with writing(site.engine) as session:
        build.opened_session(session, build.batch(session, planned_for="2026-11-25"))
        session.commit()


def test_session_updates_in_place(page: Page, site: Site, opened: None) -> None:
    page.goto("/cast/2611P")
    loads = site.page_loads(page)
    note = page.locator("#notes textarea")
    note.fill("Melt a little dark.")
    nitrate = page.get_by_role("group", name="Potassium nitrate")
    nitrate.get_by_label("Weighed").fill("abc")
    nitrate.get_by_role("button", name="Save the amount").click()
    expect(nitrate.get_by_label("Weighed")).to_have_attribute("aria-invalid", "true")
    expect(nitrate.get_by_label("Weighed")).to_be_focused()
    nitrate.get_by_label("Weighed").fill("480 g")
    nitrate.get_by_label("Weighed").press("Enter")
    expect(nitrate).to_contain_text(re.compile(r"\+\d+\.\d g: over by \d+\.\d %"))
    expect(page.get_by_role("status").first).to_have_text("Booked.")
    expect(page.locator("#steps")).to_contain_text("160.0 g")  # a third of what was weighed
    step = page.locator("#steps li.current")
    step.get_by_text("Skip it").first.click()
    step.get_by_label("Why it is skipped").fill("Weighed on the other scale.")
    step.get_by_role("button", name="Skip this step").click()
    expect(page.locator("#watch")).to_contain_text("Melt the sorbitol")
    page.locator("#temperature input[name=temperature]").fill("255 F")
    page.get_by_role("button", name="Save the reading").click()
    expect(page.locator("#temperature").get_by_role("alert")).to_contain_text("Heat off now")
    expect(note).to_have_value("Melt a little dark.")
    page.get_by_role("button", name="Save the note").click()
    expect(page.locator("#notes li")).to_contain_text("Melt a little dark.")
    assert site.page_loads(page) == loads


def test_targets_are_large_enough_for_gloves(page: Page, opened: None) -> None:
    page.set_viewport_size({"width": 820, "height": 1180})
    for url in ("/plan/2611P/checklist", "/cast", "/cast/2611P"):
        page.goto(url)
        small = page.evaluate(
            """[...document.querySelectorAll(
                '.bench main :is(button, a, summary, input:not([type=hidden]), select, textarea)')]
            .map(e => [e.outerHTML, e.getBoundingClientRect().height]).filter(([, h]) => h > 0 && h < 44)"""
        )
        assert small == [], url


def test_whatever_changes_an_amount_renews_every_place_that_shows_it(
    page: Page, browser: Browser, site: Site, opened: None
) -> None:
    """The panel of what is next kept the grams of a weigh-out that had been taken back."""
    with writing(site.engine) as session:
        batch = batches.by_code(session, "2611P")
        build.weighed_out(session, batch)
        cast = casting.the_open(session, batch)
        steps.record(session, cast, cast.steps[0].pk, StepIn(act="done"))
        target = next(part.target_kg for part in batch.parts if part.ingredient == "sorbitol")
        session.commit()
    was, now = f"{target * 1000:.1f} g", f"{target * 1000 + 0.4:.1f} g"
    tablet = site.opened_in(browser)
    other = tablet.new_page()
    for device in (page, other):
        device.goto("/cast/2611P")
        expect(device.locator("#watch")).to_contain_text(f"Melt the sorbitol and stir until it is clear. {was}")
    page.locator("#weigh-out summary").first.click()
    sorbitol = page.get_by_role("group", name="Sorbitol")
    sorbitol.get_by_role("button", name="Undo").click()
    expect(sorbitol).to_contain_text("not weighed yet")
    sorbitol.get_by_label("Weighed").fill(now)
    sorbitol.get_by_label("Weighed").press("Enter")
    expect(sorbitol).to_contain_text("+0.4 g")
    for place in ("#watch", "#steps"):
        expect(page.locator(place)).to_contain_text(f"Melt the sorbitol and stir until it is clear. {now}")
    expect(page.locator("#closing")).to_contain_text("Weighed into the pan")
    with other.expect_response("**/cast/2611P?look=1"):
        other.evaluate("dispatchEvent(new Event('focus'))")
    for place in ("#watch", "#steps", "#weigh-out"):
        expect(other.locator(place)).to_contain_text(now)
    tablet.close()


def test_too_hot_takes_over_the_panel_that_is_always_in_view(page: Page, site: Site, opened: None) -> None:
    page.goto("/cast/2611P")
    reading = page.locator("#temperature input[name=temperature]")
    reading.fill("300 F")
    reading.press("Enter")
    watch = page.locator("#watch")
    alarm = watch.get_by_role("alert").filter(has_text="Read the pan again")
    expect(alarm).to_contain_text("Too hot: 300 F")
    expect(alarm).to_contain_text("Heat off now. Add nothing.")
    expect(watch.get_by_role("button", name=DONE)).to_be_hidden()  # what is to do at the pan waits
    expect(alarm).to_be_in_viewport()
    page.locator("#closing").scroll_into_view_if_needed()
    expect(watch.get_by_text("Heat off now. Add nothing.")).to_be_in_viewport()
    size = watch.get_by_text("Heat off now. Add nothing.").evaluate("e => parseFloat(getComputedStyle(e).fontSize)")
    # Capitals acted on at 1 m: 5.8 mm (ISO 9241-3, NUREG-0700) at 132 px/in, 0.72 of the font's size
    assert size >= 5.8 / 25.4 * 132 / 0.72
    assert Axe().run(page).response["violations"] == []
    page.goto("/")
    expect(page.locator("#hot")).to_contain_text("2611P: The pan was read")
    page.goto("/cast")
    expect(page.locator("#hot")).to_contain_text("Heat off, add nothing.")
    page.goto("/cast/2611P")
    reading.fill("240 F")
    reading.press("Enter")
    expect(watch.get_by_text("Heat off now")).to_have_count(0)
    expect(watch.get_by_role("button", name=DONE)).to_be_visible()


def test_118_in_the_wrong_degrees_is_kept_and_asked_about(page: Page, site: Site, opened: None) -> None:
    page.goto("/cast/2611P")
    page.locator("#temperature").get_by_label("Degrees").select_option("°F")
    reading = page.locator("#temperature input[name=temperature]")
    reading.fill("118")
    reading.press("Enter")
    watch = page.locator("#watch")
    alarm = watch.get_by_role("alert").filter(has_text="Read the pan again")
    expect(alarm).to_contain_text("Which degrees: 118 °F or 118 °C?")
    expect(page.locator("main")).not_to_contain_text("Warm it")
    expect(page.locator("main")).not_to_contain_text("too stiff")
    assert Axe().run(page).response["violations"] == []
    watch.get_by_role("button", name="It was 118 °C").click()
    expect(page.locator("#temperature .big-number")).to_contain_text("118 °C")
    expect(alarm).to_have_count(0)
    reading.fill("140")
    page.locator("#temperature").get_by_label("Degrees").select_option("°F")
    reading.press("Enter")
    expect(alarm).to_contain_text("140 °F or 140 °C?")
    expect(alarm).to_contain_text("Heat off now. Add nothing.")


def test_swapped_bowls_stop_at_the_scale_and_are_booked_the_other_way_round(
    page: Page, site: Site, opened: None
) -> None:
    with writing(site.engine) as session:
        of = {part.ingredient: f"{part.target_kg * 1000:.1f}" for part in batches.by_code(session, "2611P").parts}
        session.commit()
    page.goto("/cast/2611P")
    swapped = {"Potassium nitrate": "potassium_nitrate", "Sorbitol": "sucrose", "Sucrose": "sorbitol"}
    for name, key in swapped.items():
        part = page.get_by_role("group", name=name)
        part.get_by_label("Weighed").fill(of[key])
        part.get_by_label("Weighed").press("Enter")
        if name == "Sorbitol":
            expect(part.locator(".error")).to_contain_text("Swapped? If this bowl holds sucrose, book it there.")
        if name != "Potassium nitrate":
            part.get_by_role("group", name="Which did you mean?").get_by_role("button").last.click()
        expect(part).to_contain_text(re.compile("in tolerance|Far off its target"))
    watch = page.locator("#watch")
    watch.get_by_role("button", name=DONE).click()
    expect(watch.get_by_role("alert").filter(has_text="Not saved")).to_be_visible()
    expect(watch.locator(".error")).to_contain_text("Far off the target")
    expect(watch.get_by_label("What was meant")).to_be_focused()
    expect(page.locator("#steps li.done")).to_have_count(0)
    asked = watch.locator(".asked").filter(has_text="fits the other's target")
    expect(asked).to_contain_text(f"{of['sucrose']} g stands at sorbitol, {of['sorbitol']} g at sucrose")
    assert Axe().run(page).response["violations"] == []
    asked.get_by_role("button", name="Swap the two amounts").click()
    expect(page.locator("#weigh-out .tolerance-in")).to_have_count(3)
    expect(asked).to_have_count(0)
    watch.get_by_role("button", name=DONE).click()
    expect(watch).to_contain_text(f"Melt the sorbitol and stir until it is clear. {of['sorbitol']} g")


def test_done_far_off_a_target_is_ticked_with_one_touch_that_says_what_was_meant(
    page: Page, site: Site, opened: None
) -> None:
    with writing(site.engine) as session:
        batch = batches.by_code(session, "2611P")
        build.weighed_out(session, batch, but_last=1)
        last = batch.parts[-1]
        half = f"{last.target_kg * 500:.1f} g"
        session.commit()
    page.goto("/cast/2611P")
    field = page.locator("#weigh-out").get_by_label("Weighed").last
    field.fill(half)
    field.press("Enter")
    page.get_by_role("button", name=f"{half}, and more follows").click()
    watch = page.locator("#watch")
    expect(page.locator("#weigh-out")).to_contain_text("Far off its target")
    watch.get_by_role("button", name=DONE).click()
    watch.get_by_role("button", name="It is meant so").click()
    expect(watch).to_contain_text("Melt the sorbitol")
    expect(page.locator("#notes")).to_contain_text(f"Weighed out far off the target, and gone on: {half}")
