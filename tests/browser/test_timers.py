"""Timers at the bench: one clock for every device, over reloads, sleep, restarts and a pulled plug."""

import os
import re
import select
import shutil
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from app import clock
from app.db import writing
from app.models.cast import SetIn
from app.services.cast import casting, runsheets, sets_poured
from app.services.stock import batches
from tests import build, moment
from tests.browser.conftest import Site, serve
from tests.entering import ONE_TIME
from tests.moment import wall

NOON = wall("2026-11-25T12:00")
MINUTES = timedelta(minutes=1)
HOME = Path(__file__).resolve().parents[2]
Turn = Callable[[datetime], None]


@pytest.fixture
def turn() -> Iterator[Turn]:
    """The server's clock, held; turned on by hand."""
    with clock.turned_to(NOON) as turn:
        yield turn


@pytest.fixture
def poured(site: Site, turn: Turn) -> None:
    """A session poured at noon."""
    with writing(site.engine) as session:
        build.cast(session, planned_for="2026-11-25")
        session.commit()


def look_again(page: Page) -> None:
    """What a device does as it wakes: the page becomes visible."""
    with page.expect_response("**/timers"):
        page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")


def countdown(page: Page) -> tuple[int, int]:
    """Minutes and seconds of the large readout."""
    readout = page.locator("#watch [aria-current=step] .countdown")
    expect(readout).to_be_visible()
    found = re.fullmatch(r"(?:late )?(\d+):(\d\d)", readout.inner_text())
    assert found is not None, readout.inner_text()
    return int(found[1]), int(found[2])


def done(page: Page) -> None:
    """Press the large button of the step at hand, and wait until the next one is shown."""
    step = page.locator("#watch [aria-current=step]")
    words = step.locator("p").first.inner_text()
    step.get_by_role("button", name=re.compile("^Done")).click()
    expect(step.locator("p").first).not_to_have_text(words)


# --- The clock -------------------------------------------------------------------------------------


def test_the_readout_counts_by_the_servers_clock(page: Page, poured: None, turn: Turn) -> None:
    turn(NOON + 1 * MINUTES)
    page.clock.install(time=NOON + timedelta(hours=7))  # the device's own clock is seven hours off
    page.clock.pause_at(NOON + timedelta(hours=7))  # a look at the server between would set the readout back
    page.goto("/cast/2611P")
    assert countdown(page) in ((2, 0), (1, 59))
    page.clock.run_for(12_000)
    expect(page.locator("#watch [aria-current=step] .countdown")).to_have_text(re.compile(r"^1:4\d$"))
    page.clock.resume()
    expect(page).to_have_title(re.compile(r"^1:4\d 2611P Set the coring rods.* · Cast 2611P"))
    turn(NOON + 8 * MINUTES)  # the device slept for five minutes
    look_again(page)
    expect(page.locator("#watch .countdown").first).to_have_text(re.compile(r"^late 5:0\d$"))
    expect(page).to_have_title(re.compile(r"^LATE 5:0\d 2611P"))
    expect(page.locator("#watch .late").first).to_have_text("late by 5 min")  # the page itself was renewed
    page.reload()
    assert countdown(page)[0] == 5


def test_a_device_whose_clock_jumps_asks_again(page: Page, poured: None, turn: Turn) -> None:
    page.clock.install(time=NOON)
    page.goto("/cast/2611P")
    assert countdown(page)[0] in (2, 3)
    with page.expect_response("**/timers"):
        page.clock.set_system_time(NOON + timedelta(hours=1))
        page.clock.run_for(1_500)
    assert countdown(page)[0] in (2, 3)


def test_two_devices_show_the_same(page: Page, browser: Browser, site: Site, poured: None, turn: Turn) -> None:
    tablet = site.opened_in(browser, viewport={"width": 820, "height": 1180})
    other = tablet.new_page()
    turn(NOON + 1 * MINUTES)
    page.goto("/cast/2611P")
    other.goto("/cast/2611P")
    turn(NOON + 4 * MINUTES)
    done(page)
    look_again(other)
    for device in (page, other):
        expect(device.locator("#watch [aria-current=step] p").first).to_have_text("Compact the first time.")
        expect(device.locator("#watch [aria-current=step] .countdown")).to_have_text(re.compile(r"^1[34]:\d\d$"))
    other.goto("/")
    expect(other.locator("#running")).to_contain_text("Compact the first time.")
    done(page)
    look_again(other)  # Today follows as well
    expect(other.locator("#running")).to_contain_text("Compact again.")
    tablet.close()


def test_pages_left_open_over_midnight_are_those_of_the_new_day(
    page: Page, site: Site, poured: None, turn: Turn
) -> None:
    turn(wall("2026-11-25T23:58"))
    page.goto("/")
    expect(page.get_by_role("main")).to_contain_text("25 Nov 2026")
    expect(page.get_by_text("was left open overnight")).to_have_count(0)
    turn(wall("2026-11-26T00:01"))
    look_again(page)
    expect(page.get_by_text("was left open overnight")).to_be_visible()
    expect(page.locator("h1")).to_be_visible()
    expect(page.get_by_role("main")).to_contain_text("26 Nov 2026")
    expect(page.get_by_role("main")).to_have_count(1)


def test_the_panel_in_view_tells_of_the_night_as_it_comes(page: Page, site: Site, turn: Turn) -> None:
    """Nobody presses anything: the hour alone makes the cores come due too late, and no midnight ends the night."""
    turn(wall("2026-11-25T19:00"))
    with writing(site.engine) as session:
        build.cast(session, until="oxidiser:3", planned_for="2026-11-25")
        session.commit()
    page.goto("/cast/2611P")
    night = page.locator("#watch").get_by_role("alert").filter(has_text="left in overnight")
    expect(night).to_have_count(0)
    for at, due in (("25T21:00", "22:30"), ("26T00:20", "01:50")):
        turn(wall(f"2026-11-{at}"))
        look_again(page)
        expect(night).to_contain_text(f"come due at {due}.")


def test_without_script_the_times_are_there(browser: Browser, site: Site, poured: None, turn: Turn) -> None:
    plain = site.opened_in(browser, java_script_enabled=False)
    page = plain.new_page()
    page.goto("/cast/2611P")
    due = f"at {clock.local(NOON + 3 * MINUTES):%H:%M}"
    expect(page.locator("#watch .due").first).to_have_text(due)
    expect(page.locator("#watch .countdown").first).to_be_hidden()
    expect(page.locator(".keypad")).to_be_hidden()
    expect(page.locator("#sound")).to_be_hidden()
    page.locator("#watch").get_by_role("button", name=re.compile("^Done")).click()
    expect(page.locator("#watch [aria-current=step] p").first).to_have_text("Compact the first time.")
    plain.close()


def test_the_sound_is_allowed_once_and_can_be_taken_back(page: Page, poured: None, turn: Turn) -> None:
    page.add_init_script("""let tones = 0;
        const make = AudioContext.prototype.createOscillator;
        AudioContext.prototype.createOscillator = function () {
            document.documentElement.dataset.tones = String(tones += 1);
            return make.call(this);
        };""")
    tones = "Number(document.documentElement.dataset.tones ?? 0)"
    page.goto("/cast/2611P")
    button = page.get_by_role("button", name=re.compile("Sound"))
    expect(button).to_have_attribute("aria-pressed", "false")
    turn(NOON + 4 * MINUTES)
    look_again(page)
    assert page.evaluate(tones) == 0
    button.click()
    expect(button).to_have_text("Sound is on")
    tried = page.evaluate(tones)
    assert tried > 0  # so that one hears it is on
    turn(NOON + 5 * MINUTES)
    look_again(page)  # a minute later, still not done
    expect(page.locator("html")).not_to_have_attribute("data-tones", str(tried))
    page.reload()
    page.locator("h1").click()  # any touch wakes it after a reload
    expect(button).to_have_text("Sound is on")
    button.click()
    expect(button).to_have_text("Sound is off")
    expect(button).to_have_attribute("aria-pressed", "false")
    quiet = page.evaluate(tones)
    turn(NOON + 9 * MINUTES)
    look_again(page)
    assert page.evaluate(tones) == quiet


# --- The page at arm's length -----------------------------------------------------------------------


@pytest.mark.parametrize(("width", "height"), [(1366, 768), (820, 1180)])
def test_the_step_at_hand_is_in_sight(page: Page, poured: None, width: int, height: int) -> None:
    page.set_viewport_size({"width": width, "height": height})
    page.goto("/cast/2611P")
    button = page.locator("#watch [aria-current=step]").get_by_role("button", name=re.compile("^Done"))
    for _ in range(2):  # at the top, and with the page scrolled to its end
        box = button.bounding_box()
        assert box is not None
        assert box["height"] >= 44
        assert box["y"] >= 0
        assert box["y"] + box["height"] <= height
        page.evaluate("scrollTo(0, document.body.scrollHeight)")
    readout = page.locator("#watch .big .countdown").evaluate("e => parseFloat(getComputedStyle(e).fontSize)")
    assert readout >= 36
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_on_the_pages_of_the_run(browser: Browser, site: Site, poured: None, turn: Turn, scheme: str) -> None:
    with writing(site.engine) as session:
        cast = casting.the_open(session, batches.by_code(session, "2611P"))
        sets_poured.add_set(session, cast, SetIn(moulds="two more"))
        session.commit()
    turn(NOON + timedelta(hours=22))  # left open overnight: the loudest page there is
    for width, height in ((1366, 768), (820, 1180)):
        context = site.opened_in(
            browser, color_scheme="dark" if scheme == "dark" else "light", viewport={"width": width, "height": height}
        )
        page = context.new_page()
        for url in ("/", "/cast", "/cast/2611P", "/cast/2611P/sheet", "/cast/2611P/paper", "/workshop/runsheet"):
            page.goto(url)
            found = [(v["id"], v["nodes"][0]["html"][:150]) for v in Axe().run(page).response["violations"]]
            assert found == [], url
            assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), (url, width)
        context.close()


# --- A whole session --------------------------------------------------------------------------------


def weigh_out_by_keyboard(page: Page) -> None:
    for name in ("Potassium nitrate", "Sorbitol", "Sucrose"):
        part = page.get_by_role("group", name=name)
        target = re.search(r"([\d.]+) g", part.get_by_role("heading").inner_text())
        assert target is not None
        field = part.get_by_label("Weighed")
        field.focus()
        page.keyboard.type(target[1])
        page.keyboard.press("Enter")
        expect(part).to_contain_text("in tolerance")


def tab_to(page: Page, name: str) -> None:
    """Go by Tab until the focus stands on something with that name."""
    for _ in range(150):
        page.keyboard.press("Tab")
        if name in page.evaluate("(document.activeElement.innerText || document.activeElement.name || '')"):
            return
    raise AssertionError(f"no way to “{name}” by Tab")


def test_a_session_by_keyboard_alone(page: Page, site: Site, turn: Turn) -> None:
    with writing(site.engine) as session:
        build.opened_session(session, build.batch(session, planned_for="2026-11-25"))
        session.commit()
    page.goto("/cast/2611P")
    weigh_out_by_keyboard(page)
    page.evaluate("document.getElementById('main').focus()")
    tab_to(page, "Done")
    step = page.locator("#watch [aria-current=step] p").first
    moment, ticked = NOON, 0
    while page.locator("#watch [aria-current=step]").count():
        words = step.inner_text()
        moment += 7 * MINUTES
        turn(moment)
        page.keyboard.press("Enter")  # the focus goes on to the next step by itself
        ticked += 1
        expect(page.locator("#steps li.done")).to_have_count(ticked)
        if ticked == 4:
            tab_to(page, "temperature")
            page.keyboard.type("240 F")
            page.keyboard.press("Enter")
            expect(page.locator("#temperature .big-number")).to_contain_text("240 F")
            page.evaluate("document.getElementById('main').focus()")
            tab_to(page, "Done")
        assert words
    assert ticked == 13
    expect(page.locator("#watch")).to_contain_text("all steps are settled")


def test_a_session_by_touch_alone(browser: Browser, site: Site, turn: Turn) -> None:
    with writing(site.engine) as session:
        build.weighed_batch(session, planned_for="2026-11-25")
        session.commit()
    context = site.opened_in(browser, viewport={"width": 820, "height": 1180}, has_touch=True, is_mobile=True)
    page = context.new_page()
    page.goto("/cast/2611P")
    page.locator("#temperature").get_by_label("Degrees").select_option("°F")
    for key in ("2", "5", "7", "take the last one off", "6"):
        page.get_by_role("group", name="Number keys").get_by_role("button", name=key, exact=True).tap()
    expect(page.locator("#temperature input[name=temperature]")).to_have_value("256")
    page.get_by_role("button", name="Save the reading").tap()
    expect(page.locator("#temperature").get_by_role("alert")).to_contain_text("Above the limit of 250 °F. Heat off now")
    expect(page.locator("#watch [aria-current=step]")).to_have_count(0)  # nothing goes on until it is in the band again
    for key in ("2", "4", "4"):
        page.get_by_role("group", name="Number keys").get_by_role("button", name=key, exact=True).tap()
    page.get_by_role("button", name="Save the reading").tap()
    expect(page.locator("#temperature")).to_contain_text("Inside the working band")
    moment = NOON
    for ticked in range(1, 14):
        moment += 7 * MINUTES
        turn(moment)
        page.locator("#watch [aria-current=step]").get_by_role("button", name=re.compile("^Done")).tap()
        expect(page.locator("#steps li.done")).to_have_count(ticked)
    page.get_by_label("Mass in test pieces").fill("0")
    page.get_by_role("button", name="Save the mass").tap()
    page.get_by_role("button", name="Close the session").tap()
    expect(page.get_by_text("Reopening needs a new checklist")).to_be_visible()
    context.close()


def test_two_overlapping_casts_and_a_restart_in_the_middle(
    browser: Browser, tmp_path: Path, empty_book: Path, turn: Turn
) -> None:
    book = tmp_path / "book.sqlite3"
    shutil.copy(empty_book, book)
    first = serve(book)
    site = next(first)
    with writing(site.engine) as session:
        build.weighed_batch(session, planned_for="2026-11-25")
        build.weighed_batch(session, planned_for="2026-11-25")
        session.commit()
    context = site.opened_in(browser, viewport={"width": 820, "height": 1180})
    page = context.new_page()
    page.goto("/cast/2611P")
    for _ in range(8):  # weigh to core
        done(page)
    page.goto("/cast/2611Q")
    for _ in range(6):
        done(page)
    expect(page.locator("#watch [aria-current=step] p").first).to_contain_text("Pour the tubes")
    expect(page.locator("#watch").get_by_role("alert").first).to_contain_text("2611P still needs your hands")
    expect(page.locator("#watch .others")).to_contain_text("Compact the first time.")
    next(first, None)  # the server goes down in the middle
    expect(page.locator(".lost")).to_be_hidden()
    look_once_in_vain(page)
    expect(page.locator(".lost")).to_contain_text("Grainbook does not answer")
    context.close()

    second = serve(book)
    site = next(second)
    turn(NOON + 19 * MINUTES)
    context = site.opened_in(browser, viewport={"width": 820, "height": 1180})
    page = context.new_page()
    page.goto("/")
    rows = page.locator("#running li")
    expect(rows.nth(0)).to_contain_text("2611P Compact the first time.")
    expect(rows.nth(0).locator(".countdown")).to_have_text(re.compile(r"^late 1:0\d$"))
    expect(rows.nth(1)).to_contain_text("2611Q Pour the tubes")
    page.goto("/cast/2611P")
    for minute in (19, 29, 39):
        turn(NOON + minute * MINUTES)
        done(page)
    page.goto("/cast/2611Q")
    expect(page.locator("#watch").get_by_role("alert")).to_have_count(0)
    turn(NOON + 40 * MINUTES)
    done(page)
    page.goto("/")
    expect(rows.nth(0)).to_contain_text("2611Q Set the coring rods")
    expect(rows.nth(1)).to_contain_text("2611P Pull the cores")
    expect(rows.nth(1).locator(".countdown")).to_have_text(re.compile(r"^(50:00|49:5\d)$"))
    context.close()
    next(second, None)


def look_once_in_vain(page: Page) -> None:
    with page.expect_event("requestfailed"):
        page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")


def test_two_sets_from_one_pan(page: Page, site: Site, poured: None, turn: Turn) -> None:
    page.goto("/cast/2611P")
    loads = site.page_loads(page)
    page.get_by_text("Pour another set from this pan").click()
    page.get_by_role("button", name="Add the set").click()
    field = page.get_by_label("What is poured in this set")
    expect(field).to_have_attribute("aria-invalid", "true")
    field.fill("2 of the 54 mm grains")
    page.get_by_role("button", name="Add the set").click()
    expect(page.get_by_role("heading", name="Set 2")).to_be_visible()
    for minute in (3, 18, 28, 38):
        turn(NOON + minute * MINUTES)
        done(page)
    steps_now = page.locator("#watch .coming > li")
    expect(steps_now).to_have_count(2)
    expect(steps_now.nth(0)).to_contain_text("Set 2: Pour the tubes")
    expect(steps_now.nth(1)).to_contain_text("Set 1: Pull the cores")
    assert site.page_loads(page) == loads


def test_a_forgotten_tap_is_told_in_place(page: Page, site: Site, poured: None, turn: Turn) -> None:
    turn(NOON + 12 * MINUTES)
    page.goto("/cast/2611P")
    loads = site.page_loads(page)
    step = page.locator("#steps li.current")
    step.get_by_text("It was done earlier").click()
    step.get_by_label("Done at").fill("noon")
    step.get_by_label("Why it is entered late").fill("Gloves on.")
    step.get_by_role("button", name="Save the time").click()
    expect(step.get_by_label("Done at")).to_be_focused()
    step.get_by_label("Done at").fill(f"{clock.local(NOON + 4 * MINUTES):%H:%M}")
    step.get_by_role("button", name="Save the time").click()
    expect(page.locator("#notes")).to_contain_text("it had no time. Gloves on.")
    expect(page.locator("#watch [aria-current=step] p").first).to_have_text("Compact the first time.")
    assert site.page_loads(page) == loads


# --- Paper --------------------------------------------------------------------------------------------


@pytest.mark.promise("The run sheet of each melt prints on one A4, in the bench's order and words", figure="3 melts")
def test_each_melt_prints_on_one_a4_in_the_order_and_words_of_the_bench(page: Page, site: Site, tmp_path: Path) -> None:
    with writing(site.engine) as session:
        for count in (4, 2, 12):
            lot = build.batch(session, count, planned_for="2026-11-25")
        steps = [" ".join(step.words.split()) for step in runsheets.lay_out(session, lot)]
        session.commit()
    page.goto("/cast/2611Q/sheet")
    expect(page.get_by_role("button", name="Print the sheets")).to_be_visible()
    sheet = tmp_path / "sheet.pdf"
    page.pdf(path=sheet, format="A4")
    # Nothing is cut off at the edge of the sheet.
    page.set_viewport_size({"width": 680, "height": 960})
    page.emulate_media(media="print")
    cut = page.evaluate(
        "[...document.querySelectorAll('.paper .scroll')].filter(e => e.scrollWidth > e.clientWidth + 1).length"
    )
    assert cut == 0
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext (poppler-utils) is not installed: the sheet was printed but not read back")
    info = subprocess.run(["pdfinfo", sheet], capture_output=True, text=True, check=True).stdout
    assert re.search(r"^Pages:\s+4$", info, re.M), info  # the checklist, and one sheet a melt
    told = subprocess.run(["pdftotext", "-raw", sheet, "-"], capture_output=True, text=True, check=True).stdout
    assert "Print the sheets" not in told
    checklist, *melts = [" ".join(text.split()) for text in told.split("\f") if text.strip()]
    for words in ("Does not apply, because", "Signature", "An extinguisher stands"):
        assert words in checklist
    for code, last, text in zip(("2611P", "2611Q", "2611R"), ("-04", "-02", "-12"), melts, strict=True):
        order = ["Weigh out", "Sorbitol", "Usual minute", *steps, "Pan, between the steps", f"{code}{last}", "Leftover"]
        assert [words for words in [code, *order] if words not in text] == []
        shown = " ".join(page.locator(".paper.melt", has_text=code).inner_text().split())
        places = [shown.find(words) for words in order]
        assert places == sorted(places)
        assert min(places) >= 0
        assert {"+18", "+90", "104–121"} <= set(text.split())
        assert ("Again before this melt" in text) == (code != "2611P")


def test_paper_is_entered_from_line_to_line_with_enter(page: Page, site: Site) -> None:
    with writing(site.engine) as session:
        lot = build.batch(session, 2, planned_for="2026-11-25")
        build.opened_session(session, lot)
        session.commit()
    page.goto("/cast/2611P/paper")
    loads = site.page_loads(page)
    page.get_by_label("Scale read").first.focus()
    walked: list[str] = []
    while page.evaluate("document.activeElement.tagName") == "INPUT" and len(walked) < 100:
        walked.append(page.evaluate("document.activeElement.name"))
        if walked[-1] == "why":
            break
        page.keyboard.press("Enter")
    kinds = [name.split(".")[0] for name in walked]
    assert list(dict.fromkeys(kinds)) == ["bowls", "steps", "readings", "grains", "why"]
    assert not [name for name in walked if name.endswith(("skipped", "bag", "in_tube"))]
    assert walked.index("steps.0.at") + 1 == walked.index("steps.0.temperature")
    assert site.page_loads(page) == loads  # Enter sent nothing on its way


# --- The plug is pulled -------------------------------------------------------------------------------


def start(book: Path) -> tuple[subprocess.Popen[str], str]:
    """A server of its own on the book and by the test's clock; its one-time address is read from what it prints."""
    command = [sys.executable, "-m", "tests.moment", "--book", str(book), "--no-browser", "--port", "18865"]
    own = {**os.environ, **moment.environment()}
    process = subprocess.Popen(command, cwd=HOME, env=own, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    ready, _, _ = select.select([process.stdout], [], [], 60)
    assert ready, "the server printed nothing"
    while not (found := ONE_TIME.search(process.stdout.readline())):
        assert process.poll() is None, "the server ended"
    return process, found[0]


def stop(process: subprocess.Popen[str], how: int = signal.SIGTERM) -> None:
    process.send_signal(how)
    process.wait(timeout=30)
    if process.stdout:
        process.stdout.close()


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system has no kill -9")
def test_a_pulled_plug_loses_nothing_that_was_acknowledged(browser: Browser, tmp_path: Path, empty_book: Path) -> None:
    book = tmp_path / "book.sqlite3"
    shutil.copy(empty_book, book)
    process, one_time = start(book)
    try:
        from app.db import open_engine

        engine = open_engine(book)
        with writing(engine) as session:
            batch = build.weighed_batch(session)
            code = batch.code
            session.commit()
        engine.dispose()
        context = browser.new_context(base_url=one_time.partition("/enter/")[0])
        page = context.new_page()
        page.goto(one_time)
        page.goto(f"/cast/{code}")
        for _ in range(7):  # weigh to pour
            done(page)
        due = page.locator("#watch [data-due]").first.get_attribute("data-due")
        page.locator("#temperature input[name=temperature]").fill("241 F")
        page.get_by_role("button", name="Save the reading").click()
        expect(page.locator("#temperature .big-number")).to_contain_text("241 F")
        note = page.locator("#notes textarea")
        with page.expect_response("**/drafts**"):
            note.fill("Thick at the rim.")  # typed and left, not saved
            note.blur()
        stop(process, signal.SIGKILL)
        process, _ = start(book)
        page.goto(f"/cast/{code}")  # the browser stays let in
        expect(page.locator("#steps li.done")).to_have_count(7)
        assert page.locator("#watch [data-due]").first.get_attribute("data-due") == due
        assert countdown(page)[0] in (1, 2)
        expect(page.locator("#temperature .big-number")).to_contain_text("241 F")
        expect(page.locator("#notes textarea")).to_have_value("Thick at the rim.")
        context.close()
    finally:
        stop(process)
    with sqlite3.connect(book) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    connection.close()
