"""Fast hands on a slow line: a scale, a scanner and a keyboard type on while a save is on its way."""

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect
from sqlmodel import Session, col, select

from app.db import writing
from app.models import Batch, Grain, WeighOut
from app.models.cast import StepIn
from app.services.cast import casting, steps
from app.services.stock import batches
from tests import build
from tests.browser.conftest import Site

LATE = pytest.mark.parametrize("late_ms", [400, 1200])
Slow = Callable[[int], None]


@pytest.fixture
def slow(page: Page) -> Slow:
    """Let each answer of the server take so long on its way [ms]."""

    def let(late_ms: int) -> None:
        line = page.context.new_cdp_session(page)
        line.send("Network.enable")
        line.send(
            "Network.emulateNetworkConditions",
            {"offline": False, "latency": late_ms, "downloadThroughput": -1, "uploadThroughput": -1},
        )

    return let


@pytest.fixture
def code(site: Site) -> str:
    """A session open, nothing weighed."""
    with writing(site.engine) as session:
        batch = build.batch(session, planned_for="2026-11-25")
        build.opened_session(session, batch)
        session.commit()
        return batch.code


@pytest.fixture
def lot(site: Site) -> str:
    """A lot that was poured, no grain weighed."""
    with writing(site.engine) as session:
        code = build.cast(session).code
        session.commit()
        return code


def targets(site: Site, code: str) -> list[str]:
    """What is to be weighed out, as the scale would read it [g]."""
    with Session(site.engine) as session:
        return [f"{part.target_kg * 1000:.1f}" for part in batches.by_code(session, code).parts]


def booked(site: Site) -> list[str]:
    """What was booked, in the order of booking."""
    with Session(site.engine) as session:
        return [row.mass_typed for row in session.exec(select(WeighOut).order_by(col(WeighOut.id)))]


def weighed(site: Site) -> list[tuple[int, str]]:
    """The grains weighed: number, and what the scale read."""
    with Session(site.engine) as session:
        return [(g.number, g.gross_typed) for g in session.exec(select(Grain).order_by(col(Grain.number)))]


@LATE
def test_amounts_typed_on_without_looking_go_whole_into_their_fields(
    site: Site, page: Page, code: str, slow: Slow, late_ms: int
) -> None:
    masses = targets(site, code)
    page.goto(f"/cast/{code}")
    page.locator("#weigh-out").get_by_label("Weighed").first.focus()
    slow(late_ms)
    for mass in masses:
        page.keyboard.type(mass)
        page.keyboard.press("Enter")
    expect(page.locator("#weigh-out .tolerance-in")).to_have_count(len(masses), timeout=20_000)
    assert booked(site) == [f"{mass} g" for mass in masses]


@LATE
def test_a_number_begun_in_flight_is_finished_in_the_field_that_comes(
    site: Site, page: Page, code: str, slow: Slow, late_ms: int
) -> None:
    first, second, *_ = targets(site, code)
    page.goto(f"/cast/{code}")
    page.locator("#weigh-out").get_by_label("Weighed").first.focus()
    slow(late_ms)
    page.keyboard.type(first)
    page.keyboard.press("Enter")
    page.keyboard.type(second[:1])
    expect(page.locator(".waits")).to_contain_text(f"“{second[:1]}”")
    expect(page.locator("#weigh-out .tolerance-in")).to_have_count(1)
    page.keyboard.type(second[1:])
    page.keyboard.press("Enter")
    expect(page.locator("#weigh-out .tolerance-in")).to_have_count(2)
    assert booked(site) == [f"{first} g", f"{second} g"]


def test_between_an_answer_and_its_field_no_key_gets_lost(site: Site, page: Page, code: str, slow: Slow) -> None:
    """The keys held stand in the field before the browser can handle another one: no task lies between."""
    first, second, *_ = targets(site, code)
    page.goto(f"/cast/{code}")
    page.locator("#weigh-out").get_by_label("Weighed").first.focus()
    slow(400)
    page.keyboard.type(first)
    page.keyboard.press("Enter")
    page.keyboard.type(second[:1])
    came = page.evaluate(
        """() => new Promise(told => {
          const task = new MessageChannel();
          task.port1.onmessage = () => told(document.activeElement.value);
          new MutationObserver((_, watch) => {
            if (!document.querySelector("#weigh-out .tolerance-in")) return;
            watch.disconnect();
            task.port2.postMessage(null);
          }).observe(document.getElementById("main"), { childList: true, subtree: true });
        })"""
    )
    assert came == second[:1]


@LATE
def test_a_scale_that_prints_on_and_on_weighs_one_grain_after_the_other(
    site: Site, page: Page, lot: str, slow: Slow, late_ms: int
) -> None:
    page.goto(f"/cast/{lot}/grains")
    expect(page.get_by_label("Scale reads")).to_be_focused()
    slow(late_ms)
    for line in ("172.3", "ST,GS,+0180.9g", "N     +   171.90 g  "):
        page.keyboard.type(line)
        page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name=f"Weighed last: {lot}-03")).to_be_visible(timeout=20_000)
    assert weighed(site) == [(1, "172.3 g"), (2, "ST,GS,+0180.9g"), (3, "N + 171.90 g")]
    expect(page.get_by_label("Scale reads")).to_be_focused()
    expect(page.get_by_label("Scale reads")).to_have_value("")


@LATE
def test_a_scanner_in_flight_chooses_its_grain_afterwards(
    site: Site, page: Page, lot: str, slow: Slow, late_ms: int
) -> None:
    page.goto(f"/cast/{lot}/grains")
    expect(page.get_by_label("Scale reads")).to_be_focused()
    slow(late_ms)
    page.keyboard.type("172.3")
    page.keyboard.press("Enter")
    page.keyboard.type(f"http://127.0.0.1:8765/shelf/{lot}-01")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name=f"On the scale again: {lot}-01")).to_be_visible(timeout=20_000)
    assert weighed(site) == [(1, "172.3 g")]


@LATE
def test_after_a_question_what_was_typed_on_is_told_and_not_entered(
    site: Site, page: Page, lot: str, slow: Slow, late_ms: int
) -> None:
    page.goto(f"/cast/{lot}/grains")
    scale = page.get_by_label("Scale reads")
    expect(scale).to_be_focused()
    slow(late_ms)
    page.keyboard.type("1723")
    page.keyboard.press("Enter")
    page.keyboard.type("180.9")
    page.keyboard.press("Enter")
    expect(page.locator("#next-gross-error")).to_contain_text("Did you mean 172.3 g?")
    expect(page.get_by_role("alert").filter(has_text="meanwhile").or_(page.locator(".unheard"))).to_contain_text(
        "“180.9”"
    )
    expect(scale).to_be_focused()
    expect(scale).to_have_value("1723")
    assert weighed(site) == []
    page.keyboard.type("172.3")  # over what stands there, which is selected
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name=f"Weighed last: {lot}-01")).to_be_visible()
    assert weighed(site) == [(1, "172.3 g")]


@LATE
def test_a_kept_draft_and_a_typed_weight_are_never_put_together(
    site: Site, page: Page, lot: str, slow: Slow, late_ms: int
) -> None:
    page.goto(f"/cast/{lot}/grains")
    with page.expect_response(re.compile("/drafts")):
        page.keyboard.type("17")
    page.reload()
    expect(page.get_by_text("did not save it")).to_be_visible()
    expect(page.get_by_label("Scale reads")).to_have_value("17")
    slow(late_ms)
    page.keyboard.type("172.3")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name=f"Weighed last: {lot}-01")).to_be_visible()
    assert weighed(site) == [(1, "172.3 g")]


def test_a_touched_field_is_selected_and_a_second_touch_sets_the_cursor(page: Page, lot: str) -> None:
    page.goto(f"/cast/{lot}/grains")
    number = page.get_by_label("Number")
    number.click()
    page.keyboard.type("3")
    expect(number).to_have_value("3")
    number.click()
    page.keyboard.press("End")
    page.keyboard.type("1")
    expect(number).to_have_value("31")


@LATE
def test_another_form_pressed_in_flight_is_sent_after_the_answer(
    site: Site, page: Page, code: str, slow: Slow, late_ms: int
) -> None:
    first, second, *_ = targets(site, code)
    page.goto(f"/cast/{code}")
    fields = page.locator("#weigh-out").get_by_label("Weighed")
    fields.nth(1).fill(second)
    fields.first.fill(first)
    slow(late_ms)
    page.get_by_role("button", name=re.compile("^Save the amount")).first.click()
    page.get_by_role("button", name=re.compile("^Save the amount")).nth(1).click()
    expect(page.locator("#weigh-out .tolerance-in")).to_have_count(2, timeout=20_000)
    assert booked(site) == [f"{first} g", f"{second} g"]


@LATE
def test_words_begun_elsewhere_stay_when_an_answer_comes(
    site: Site, page: Page, code: str, slow: Slow, late_ms: int
) -> None:
    first, *_ = targets(site, code)
    page.goto(f"/cast/{code}")
    page.locator("#weigh-out").get_by_label("Weighed").nth(2).fill("12.5")
    step = page.locator("#steps li.current")
    step.get_by_text("Skip it").first.click()
    step.get_by_label("Why it is skipped").fill("On the other sc")
    page.locator("#weigh-out").get_by_label("Weighed").first.fill(first)
    slow(late_ms)
    page.keyboard.press("Enter")
    note = page.locator("#notes textarea")
    note.click()
    page.keyboard.type("Da")
    expect(page.locator("#weigh-out .tolerance-in")).to_have_count(1)
    page.keyboard.type("mp")
    expect(note).to_have_value("Damp")
    expect(note).to_be_focused()
    expect(page.locator("#steps").get_by_label("Why it is skipped").first).to_have_value("On the other sc")
    expect(page.locator("#steps").get_by_label("Why it is skipped").first).to_be_visible()
    expect(page.locator("#weigh-out").get_by_label("Weighed").nth(2)).to_have_value("12.5")


def test_a_press_without_a_field_for_the_numbers_typed_on_tells_them(
    site: Site, page: Page, code: str, slow: Slow
) -> None:
    *others, last = targets(site, code)
    with writing(site.engine) as session:
        batch = session.exec(select(Batch).where(Batch.code == code)).one()
        build.weighed_out(session, batch, but_last=1)
        session.commit()
    page.goto(f"/cast/{code}")
    page.locator("#weigh-out").get_by_label("Weighed").last.focus()
    slow(400)
    page.keyboard.type(last)
    page.keyboard.press("Enter")
    page.keyboard.type("77.7")
    page.keyboard.press("Enter")
    expect(page.locator(".unheard")).to_contain_text("“77.7”")
    assert len(booked(site)) == len(others) + 1


def test_what_a_tablets_keyboard_composes_in_flight_goes_into_the_field_that_comes(
    site: Site, page: Page, lot: str, slow: Slow
) -> None:
    """A keyboard on the glass composes whole words: no key is told, and what it writes cannot be held back."""
    page.goto(f"/cast/{lot}/grains")
    scale = page.get_by_label("Scale reads")
    expect(scale).to_be_focused()
    slow(1200)
    page.keyboard.type("172.3")
    page.keyboard.press("Enter")
    keyboard = page.context.new_cdp_session(page)
    keyboard.send("Input.imeSetComposition", {"text": "180", "selectionStart": 3, "selectionEnd": 3})
    keyboard.send("Input.imeSetComposition", {"text": "180.9", "selectionStart": 5, "selectionEnd": 5})
    expect(page.get_by_role("heading", name=f"Weighed last: {lot}-01")).to_be_visible(timeout=20_000)
    expect(scale).to_have_value("180.9")
    assert weighed(site) == [(1, "172.3 g")]


def test_what_is_chosen_and_typed_in_the_form_that_is_being_saved_stays(
    site: Site, page: Page, code: str, slow: Slow
) -> None:
    page.goto(f"/cast/{code}")
    form = page.locator("#temperature")
    form.get_by_label("Degrees").select_option("°F")
    reading = form.locator("input[name=temperature]")
    reading.fill("240")
    slow(1200)
    reading.press("Enter")
    form.get_by_label("Degrees").select_option("°C")
    step = page.locator("#steps li.current")
    step.get_by_text("Skip it").first.click()
    step.get_by_label("Why it is skipped").fill("Later")
    page.locator("#weigh-out").get_by_label("Weighed").nth(1).fill("12.5")
    expect(form.locator(".big-number")).to_contain_text("240 °F", timeout=20_000)
    expect(form.get_by_label("Degrees")).to_have_value("°C")
    expect(page.locator("#steps").get_by_label("Why it is skipped").first).to_have_value("Later")
    expect(page.locator("#weigh-out").get_by_label("Weighed").nth(1)).to_have_value("12.5")


def test_a_refusal_goes_when_it_is_no_longer_true(site: Site, page: Page, code: str) -> None:
    masses = targets(site, code)
    page.goto(f"/cast/{code}")
    page.locator("#watch").get_by_role("button", name=re.compile("^Done")).first.click()
    refusal = page.get_by_text("Not weighed yet:").first
    expect(refusal).to_be_visible()
    for done, mass in enumerate(masses, 1):
        page.locator("#weigh-out").get_by_label("Weighed").nth(done - 1).fill(mass)
        page.keyboard.press("Enter")
        expect(page.locator("#weigh-out .tolerance-in")).to_have_count(done)
    expect(page.get_by_text("Not weighed yet:")).to_have_count(0)
    # a form that is not on the page any more: its refusal stands at the page's top, and goes with the next act
    with writing(site.engine) as session:
        cast = casting.the_open(session, batches.by_code(session, code))
        steps.record(session, cast, cast.steps[0].pk, StepIn(act="done"))
        session.commit()
    page.locator("#watch").get_by_role("button", name=re.compile("^Done")).first.click()
    stray = page.locator("#main .refusal").filter(has_text="Not saved")
    expect(stray).to_be_visible()
    page.locator("#notes textarea").fill("Damp")
    page.get_by_role("button", name="Save the note").click()
    expect(page.locator("#notes li")).to_contain_text("Damp")
    expect(stray).to_have_count(0)
