"""A real server on a real book, and Debian's Chromium looking at it."""

import os
import shutil
import threading
import time
from collections.abc import Generator, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from fastapi import FastAPI
from playwright.sync_api import Browser, BrowserContext, Page, Request, expect, sync_playwright
from sqlalchemy import Engine, QueuePool

from app.__main__ import _listen
from app.access.door import Door
from app.main import create_app
from app.settings import Settings
from tests.behind import book_of, door_of, engine_of, renew, unsynced

QUIET = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PATIENCE_MS = 15_000
"""What is waited for: far more than any of it takes, so that a busy machine fails no test [ms]."""

ARTIFACTS = Path(__file__).resolve().parents[2] / "test-artifacts"
FAILED = pytest.StashKey[bool]()


def chromium_path() -> str | None:
    """Where a Chromium or Chrome is, or nothing. The one that has no window draws the same pages with half the work."""
    named = os.environ.get("CHROMIUM")
    candidates = ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome", "chrome")
    return named or next((p for c in candidates if (p := shutil.which(c))), None)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    here = Path(__file__).parent
    ours = [item for item in items if here in item.path.parents]
    for item in ours:
        item.add_marker(pytest.mark.browser)
    if chromium_path() is None and os.environ.get("CI") != "true":
        for item in ours:
            item.add_marker(pytest.mark.skip(reason="NO CHROMIUM: browser test not run"))


@dataclass
class Site:
    """A running book: its address, its engine and every address the browser asked for."""

    address: str
    engine: Engine
    door: Door
    requests: list[Request] = field(default_factory=list)

    def opened_in(self, browser: Browser, **how: Any) -> BrowserContext:
        """A clean profile that is let in by a one-time address, as a person's is."""
        context = browser.new_context(base_url=self.address, **how)
        let_in = context.request.get(self.door.address(self.address))
        assert let_in.ok, let_in.text()
        return context

    def page_loads(self, page: Page) -> int:
        """How many whole pages the browser has loaded, to prove that an update was partial."""
        return sum(1 for r in self.requests if r.is_navigation_request() and r.frame == page.main_frame)


@pytest.fixture(scope="session")
def _kept_site(tmp_path_factory: pytest.TempPathFactory) -> FastAPI:
    app = create_app(Settings(book=tmp_path_factory.mktemp("site") / "book.sqlite3"))
    unsynced(engine_of(app))
    return app


@pytest.fixture
def site(_kept_site: FastAPI, empty_book: Path) -> Iterator[Site]:
    """The app on a fresh, empty book, served on a free loopback port."""
    renew(engine_of(_kept_site), book_of(_kept_site), empty_book)
    yield from served(_kept_site)


def serve(book: Path) -> Iterator[Site]:
    """Serve a book in a thread, by an app of its own, until the test is over."""
    yield from served(create_app(Settings(book=book)))


def served(app: FastAPI) -> Iterator[Site]:
    """Serve an app in a thread until the test is over."""
    listener = _listen("127.0.0.1", 18765)
    server = uvicorn.Server(uvicorn.Config(app, log_level="warning", access_log=False))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    yield Site(f"http://127.0.0.1:{listener.getsockname()[1]}", engine_of(app), door_of(app))
    server.should_exit = True
    thread.join(timeout=5)
    server.force_exit = True  # a connection that a busy browser holds open must not keep it up
    thread.join(timeout=20)
    listener.close()
    assert not thread.is_alive(), "the server did not go down"
    pool = engine_of(app).pool
    assert isinstance(pool, QueuePool)
    for _ in range(PATIENCE_MS // 10):  # a request that nobody waits for any more ends in a thread of its own
        if not pool.checkedout():
            break
        time.sleep(0.01)
    else:
        pytest.fail("a request still holds the book")


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """One Chromium for all browser tests, in their zone (it takes TZ from this process's environment)."""
    expect.set_options(timeout=PATIENCE_MS)
    if chromium_path() is None:
        pytest.fail("CI has no Chromium: the browser tests cannot run, and that is a failure.")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path(), args=QUIET)
        yield browser
        browser.close()


@pytest.fixture
def context(browser: Browser, site: Site) -> Iterator[BrowserContext]:
    """A clean profile at laptop size, opened on the site."""
    context = site.opened_in(browser, viewport={"width": 1366, "height": 768})
    context.set_default_timeout(PATIENCE_MS)
    context.on("request", lambda request: site.requests.append(request))
    yield context
    context.close()
    outside = [r.url for r in site.requests if not r.url.startswith((f"{site.address}/", "data:", "blob:"))]
    assert outside == [], "the browser was sent to something outside this machine"


@pytest.fixture
def page(context: BrowserContext, request: pytest.FixtureRequest) -> Iterator[Page]:
    """A tab; when the test fails, its picture is kept in test-artifacts/."""
    page = context.new_page()
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    yield page
    if request.node.stash.get(FAILED, False):
        ARTIFACTS.mkdir(exist_ok=True)
        page.screenshot(path=ARTIFACTS / f"{request.node.name}.png", full_page=True)
    assert not faults, f"the page's own script failed: {faults}"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    if report.when == "call":
        item.stash[FAILED] = report.failed
    return report
