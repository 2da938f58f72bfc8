"""Every page of the demonstration book, loaded once in light on a laptop and once in dark on a tablet, with all checks.

Accessible, no sideways scroll, targets for gloves, one heading, no promise, fields level, nothing asked for elsewhere,
no break of its own policy, no wider than its paper. The pages come from the app's routes (`tests/addresses.py`).
"""

import json
import re
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Browser, Page, expect

from tests import addresses
from tests.behind import copied_with_files
from tests.browser.conftest import PATIENCE_MS, Site, serve

SIZES = {"laptop": (1366, 768), "tablet": (820, 1180)}
PAPER = (680, 963)
"""A4 within its margins, in CSS pixels."""

AXE_RULES = {
    "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    "resultTypes": ["violations"],
}
FIRST = "found => found.violations.map(one => [one.id, one.nodes[0].html.slice(0, 120)])"
PROMISE = re.compile(r"\b(is|are|be) safe\b|\bsafe (motor|to (fire|fly|cast))\b", re.IGNORECASE)

MEASURED = """() => {
    const box = e => e.getBoundingClientRect();
    const seen = e => box(e).height > 0 && box(e).width > 0 && getComputedStyle(e).visibility === "visible";
    const all = (selector, from = document) => [...from.querySelectorAll(selector)].filter(seen);
    const targets = all("main button, main select, main input:not([type=checkbox], [type=radio])");
    return {
        wide: document.documentElement.scrollWidth > innerWidth,
        headings: all("h1").length,
        words: document.querySelector("main").innerText,
        bench: document.body.classList.contains("bench"),
        small: targets.filter(e => box(e).height < 43.5).map(e => [e.innerText || e.name, box(e).height]),
        answers: all(".answer-line, .answer-picture :is(:not(svg) > svg, img, table, summary)")
            .filter(e => e.checkVisibility()).map(e => [e.tagName, box(e).bottom]),
        squeezed: all(".answer-words, main td").filter(e => {
            const words = document.createRange(), em = parseFloat(getComputedStyle(e).fontSize);
            words.selectNodeContents(e);
            return e.innerText && box(words).width < 7.5 * em && box(words).height > 6 * em;
        }).map(e => e.innerText),
        rows: all(".field-row").map(row => all("input:not([type=checkbox]), select", row).map(e => box(e).top)),
    };
}"""
WIDE = "document.documentElement.scrollWidth > innerWidth"
SPACED = """() => {
    const sheet = new CSSStyleSheet();
    sheet.replaceSync(`* { line-height: 1.5 !important; letter-spacing: .12em !important;
        word-spacing: .16em !important }`);
    document.adoptedStyleSheets = [sheet];
}"""
"""The text spacing that a page must bear: WCAG 2.2, 1.4.12."""


@dataclass
class Tab:
    """A tab on the demonstration book, and what its page asked for and complained of since it was opened."""

    page: Page
    site: Site
    scheme: str
    size: str
    asked: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)

    def open(self, address: str) -> int:
        """Load a page, and give the status of the answer."""
        self.asked.clear()
        self.said.clear()
        reply = self.page.goto(address)
        assert reply is not None
        return reply.status

    @contextmanager
    def on_paper(self) -> Iterator[None]:
        """The page as it is printed."""
        self.page.emulate_media(media="print")
        self.page.set_viewport_size({"width": PAPER[0], "height": PAPER[1]})
        yield
        self.page.emulate_media(media="screen")
        self.page.set_viewport_size({"width": SIZES[self.size][0], "height": SIZES[self.size][1]})


@pytest.fixture(scope="module")
def demo(demo_book: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """The demonstration book, looked at only."""
    book = tmp_path_factory.mktemp("every-page") / "book.sqlite3"
    copied_with_files(demo_book, book)
    for site in serve(book):
        addresses.complete(site.engine)
        yield site


@pytest.fixture(scope="module")
def rows(demo: Site) -> addresses.Rows:
    return addresses.rows(demo.engine)


@pytest.fixture(scope="module")
def tab(browser: Browser, demo: Site, request: pytest.FixtureRequest) -> Iterator[Tab]:
    """One tab for all pages, which keeps styles and scripts as a person's browser does."""
    scheme, size = request.param
    width, height = SIZES[size]
    context = demo.opened_in(browser, color_scheme=scheme, viewport={"width": width, "height": height})
    context.set_default_timeout(PATIENCE_MS)
    tab = Tab(context.new_page(), demo, scheme, size)
    context.add_init_script(AXE_SCRIPT)  # half a megabyte, which the browser keeps for all pages
    context.on("request", lambda request: tab.asked.append(request.url))
    context.on("console", lambda message: tab.said.append(message.text))
    context.on("weberror", lambda error: tab.said.append(str(error.error)))
    yield tab
    context.close()


def _violations(page: Page) -> list[list[str]]:
    """What axe finds, told by its rule and its first place alone: all that it looked at would be carried over too."""
    found: list[list[str]] = page.evaluate(f"() => axe.run({json.dumps(AXE_RULES)}).then({FIRST})")
    return found


def _askew(rows: list[list[float]]) -> list[float]:
    """How far fields of one row lie below each other, where they stand neither level nor one under the other."""
    return [low - high for tops in rows for high, low in pairwise(sorted(tops)) if 0.5 < low - high < 40]


@pytest.mark.promise(
    "No request to elsewhere, no break of the content security policy",
    figure="every page; every browser test records its own",
)
@pytest.mark.parametrize("address", addresses.pages())
@pytest.mark.parametrize("tab", [("light", "laptop"), ("dark", "tablet")], indirect=True, ids="-".join)
def test_a_page(tab: Tab, rows: addresses.Rows, address: str) -> None:
    assert tab.open(address.format(**rows)) == addresses.status(address)
    axe = _violations(tab.page)
    found = tab.page.evaluate(MEASURED)
    faults = {
        "axe": axe,
        "scrolls sideways": found["wide"],
        "headings of the first order": found["headings"] - 1,
        "a promise": PROMISE.findall(found["words"]),
        "fields askew": _askew(found["rows"]),
        "an answer or its picture below the first screen": [
            one for one in found["answers"] if one[1] > SIZES["laptop"][1]
        ]
        if tab.size == "laptop"
        else [],
        "small targets at the bench": found["small"] if found["bench"] and tab.size == "tablet" else [],
        "words squeezed into a column": found["squeezed"],
        "asked for elsewhere": [url for url in tab.asked if not url.startswith((f"{tab.site.address}/", "data:"))],
        "complained": [words for words in tab.said if "responded with a status of 4" not in words],  # 404 is a page too
    }
    if tab.scheme == "light" and not address.startswith("/labels"):  # labels fill their own sheet, margins and all
        with tab.on_paper():
            faults["wider than its paper"] = tab.page.evaluate(WIDE)
    assert len(tab.asked) > 5, "the styles and scripts of the page are asked for too"
    assert {what: fault for what, fault in faults.items() if fault} == {}


@pytest.mark.parametrize("tab", [("dark", "tablet")], indirect=True, ids="-".join)
def test_on_a_phone_nothing_scrolls_sideways_and_the_tabs_leave_the_screen_to_the_page(
    tab: Tab, rows: addresses.Rows
) -> None:
    """320 px is WCAG 2.2, 1.4.10; a quarter of a small phone's screen is what the tabs may take at most."""
    tab.page.set_viewport_size({"width": 320, "height": 568})
    for address in ("/", "/cast/{running}", "/motors/{motor}", "/review"):
        assert tab.open(address.format(**rows)) == 200
        assert not tab.page.evaluate(WIDE), address
        assert tab.page.evaluate("document.querySelector('header nav').offsetHeight / innerHeight") < 0.25
        tab.page.evaluate(SPACED)
        assert not tab.page.evaluate(WIDE), f"{address}, spaced"
    tab.page.set_viewport_size({"width": SIZES[tab.size][0], "height": SIZES[tab.size][1]})


@pytest.mark.parametrize(
    "address", ["/motors", "/motors/{motor}", "/plan/{planned}", "/review/{past}", "/season/{season}", "/shelf"]
)
@pytest.mark.parametrize("tab", [("dark", "tablet")], indirect=True, ids="-".join)
def test_prints_to_paper(tab: Tab, rows: addresses.Rows, address: str, tmp_path: Path) -> None:
    assert tab.open(address.format(**rows)) == 200
    with tab.on_paper():
        expect(tab.page.get_by_role("navigation", name="Parts of the day")).to_be_hidden()
        paper = tmp_path / "page.pdf"
        tab.page.pdf(path=paper, format="A4")
    told = subprocess.run(["pdftotext", paper, "-"], capture_output=True, text=True, check=True).stdout
    sheets = told.removesuffix("\f").split("\f")
    assert [sheet for sheet in sheets if len(sheet.split()) < 12] == [], "no sheet for a line that was left over"
