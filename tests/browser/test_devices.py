"""Pairing a tablet in a real browser: big targets, no script needed, and a page that axe has nothing against."""

import re
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
import uvicorn
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect
from sqlalchemy import Engine
from starlette.types import Scope

from app.__main__ import _listen
from app.access import lan, middleware
from app.access.door import Door
from app.access.doorway import Server
from app.access.pairing import Desk
from app.db import writing
from app.main import create_app
from app.settings import Settings
from tests import build
from tests.behind import door_of, engine_of, lan_of
from tests.browser import walk
from tests.browser.test_every_page import AXE_RULES

TABLET_SIDE = "127.0.0.2"
"""A second address of this machine, which stands in for its address on the network: what asks there is a stranger."""


@dataclass
class Open:
    """A book that is open to the network: where the laptop asks, and where the tablet does."""

    laptop: str
    tablet: str
    desk: Desk
    door: Door
    engine: Engine


@pytest.fixture
def site(tmp_path: Path, empty_book: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Open]:
    book = tmp_path / "book.sqlite3"
    book.write_bytes(empty_book.read_bytes())

    def is_this_machine(self: middleware.Gate, scope: Scope) -> bool:
        return bool(scope["server"][0] != TABLET_SIDE)

    monkeypatch.setattr(middleware.Gate, "_is_this_machine", is_this_machine)
    here = _listen("127.0.0.1", 18965)
    port = here.getsockname()[1]
    here, there = lan.listeners(here, TABLET_SIDE, lambda host, port: _listen(host, port, 1))
    app = create_app(Settings(book=book, lan=TABLET_SIDE))
    lan_of(app).addresses = [f"https://{TABLET_SIDE}:{port}/"]
    authority = lan_of(app).authority
    assert authority is not None
    config = uvicorn.Config(app, log_level="warning", access_log=False, proxy_headers=False)
    server = Server(config, (there, authority.context()))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [here]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    yield Open(
        f"http://127.0.0.1:{port}", f"https://{TABLET_SIDE}:{port}", lan_of(app).desk, door_of(app), engine_of(app)
    )
    server.should_exit = True
    thread.join(timeout=5)
    server.force_exit = True
    thread.join(timeout=20)
    assert not thread.is_alive(), "the server did not go down"


def _page(browser: Browser, address: str, script: bool = True, scheme: str = "light") -> Page:
    context = browser.new_context(
        base_url=address,
        viewport={"width": 820, "height": 1180},
        java_script_enabled=script,
        color_scheme="dark" if scheme == "dark" else "light",
        ignore_https_errors=True,  # who passes the browser's warning: the profile of a test trusts no authority
    )
    context.set_default_timeout(15_000)
    return context.new_page()


def _laptop(browser: Browser, site: Open, script: bool = True, scheme: str = "light") -> Page:
    """A tab on the laptop, let in by a one-time address."""
    page = _page(browser, site.laptop, script, scheme)
    page.goto(site.door.address(site.laptop))
    expect(page).to_have_title(re.compile("Today · Grainbook$"))
    return page


@pytest.mark.parametrize("script", [True, False])
def test_a_tablet_is_paired_used_and_put_out(browser: Browser, site: Open, script: bool) -> None:
    laptop, tablet = _laptop(browser, site, script), _page(browser, site.tablet, script)
    tablet.goto("/shelf")
    expect(tablet.get_by_role("heading", level=1)).to_have_text("Pair this device with Grainbook")
    walk.fill(tablet, code="1234", name_of_this_device="bench tablet")
    walk.press(tablet, "Pair this device")
    walk.refused(tablet, "does not hold")
    site.desk.seconds = lambda: time.monotonic() + 2  # the wait that one wrong guess costs
    laptop.goto("/workshop/devices")
    assert laptop.locator("#fingerprint").inner_text() == tablet.locator("#fingerprint").inner_text()
    walk.press(laptop, "Make a code")
    code = laptop.locator("#pairing-code").inner_text()
    expect(laptop.get_by_text(f"{site.tablet}/")).to_be_visible()
    walk.fill(tablet, code=code)
    walk.press(tablet, "Pair this device")
    walk.saved(tablet, "paired as “bench tablet”")
    tablet.goto("/plan/new")
    expect(tablet.get_by_text("open to your network, encrypted")).to_be_visible()
    laptop.goto("/workshop/devices")
    row = laptop.get_by_role("row").filter(has_text="bench tablet")
    walk.press(row, "Sign out")
    walk.saved(laptop, "The device is signed out.")
    tablet.goto("/plan/new")
    expect(tablet.get_by_role("heading", level=1)).to_have_text("Pair this device with Grainbook")
    laptop.context.close()
    tablet.context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_and_targets_are_large(browser: Browser, site: Open, scheme: str) -> None:
    laptop, tablet = _laptop(browser, site, scheme=scheme), _page(browser, site.tablet, scheme=scheme)
    laptop.goto("/workshop/devices")
    walk.press(laptop, "Make a code")
    expect(laptop.locator("#pairing-code")).to_be_visible()
    tablet.goto("/")
    for page in (laptop, tablet):
        walk.loaded(page)
        expect(page.get_by_role("heading", level=1)).to_have_count(1)
        found = Axe().run(page, options=AXE_RULES).response["violations"]
        assert [(one["id"], one["nodes"][0]["html"][:120]) for one in found] == []
        assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth")
    for target in tablet.locator("main :is(input:visible, button:visible)").all():
        box = target.bounding_box()
        assert box is not None
        assert box["height"] >= 48
    laptop.context.close()
    tablet.context.close()


@pytest.mark.parametrize("script", [True, False])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_browser_that_was_not_let_in_is_told_how_and_then_is(
    browser: Browser, site: Open, script: bool, scheme: str
) -> None:
    """Also by a click on a page of another site, where the browser keeps the cookie back: the page's link helps."""
    page = _page(browser, site.laptop, script, scheme)
    page.goto("/shelf")
    expect(page.get_by_role("heading", level=1)).to_have_text("Let this browser in to Grainbook")
    if script:
        found = Axe().run(page, options=AXE_RULES).response["violations"]
        assert [(one["id"], one["nodes"][0]["html"][:120]) for one in found] == []
        assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth")
    one_time = site.door.address(site.laptop)
    page.goto(one_time)
    expect(page).to_have_title(re.compile("Today · Grainbook$"))
    page.goto(one_time)  # what the back button and the list of visited pages lead to
    expect(page).to_have_title(re.compile("Today · Grainbook$"))
    page.goto(f"data:text/html,<a href='{site.laptop}/shelf'>the book</a>")
    page.get_by_role("link").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Let this browser in to Grainbook")
    page.get_by_role("link", name="open the book").click()
    expect(page).to_have_title(re.compile("Today · Grainbook$"))
    page.context.close()


def test_putting_every_other_browser_out_keeps_this_one_in(browser: Browser, site: Open) -> None:
    here, there = _laptop(browser, site), _laptop(browser, site)
    here.goto("/workshop/devices")
    walk.press(here, "Sign out every other browser")
    walk.saved(here, "Every other browser of this computer is signed out.")
    there.goto("/shelf")
    expect(there.get_by_role("heading", level=1)).to_have_text("Let this browser in to Grainbook")
    here.goto("/shelf")
    expect(here).to_have_title("Shelf · Grainbook")
    for page in (here, there):
        page.context.close()


def test_a_browser_put_out_in_the_middle_keeps_what_was_typed(browser: Browser, site: Open) -> None:
    """It is told beside the form, is let in in another tab, and the same press of the button saves it then."""
    with writing(site.engine) as session:
        code = build.cast(session).code
        session.commit()
    page = _laptop(browser, site)
    page.goto(f"/cast/{code}")
    note = page.locator("#notes textarea")
    note.fill("Thick at the rim.")
    site.door.change_key()
    page.get_by_role("button", name="Save the note").click()
    expect(page.locator("#notes .refusal")).to_contain_text("This browser is not let in.")
    expect(page.locator("#notes .refusal")).to_contain_text("What you typed is still here.")
    expect(note).to_have_value("Thick at the rim.")
    other = page.context.new_page()
    other.goto(site.door.address(site.laptop))
    page.get_by_role("button", name="Save the note").click()
    expect(page.locator("#notes li")).to_contain_text("Thick at the rim.")
    page.context.close()
