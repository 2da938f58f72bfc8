"""What stands on the first screen of the main pages: `python -m tests.browser.first_screen`.

For each page of the demonstration book at 1366×768: its height, its words, where its answer and the answer's picture
begin and end, and how long the server works on it. On a page that has no answer the big number counts for one, and the
first drawing for its picture. With a folder behind it (`… first_screen pictures/`) each first screen is kept there.
"""

import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from fastapi.testclient import TestClient
from playwright.sync_api import Page, sync_playwright

from app.demo import fill
from app.main import create_app
from app.settings import Settings
from tests import addresses
from tests.behind import browser_of
from tests.browser.conftest import QUIET, chromium_path, served

SCREEN = (1366, 768)
REQUESTS = 9

PAGES = {
    "Today": "/",
    "Motor": "/motors/{motor}",
    "Design": addresses.AS_ASKED["/motors/design"][0],
    "Firing": "/firings/{curve_firing}",
    "Lot": "/review/{past}",
    "Review": "/review",
    "Good against bad": "/review/good",
    "What goes together": "/review/together",
    "Did the ranges hold?": "/review/calibration",
    "Shelf": "/shelf",
    "Rocket": "/workshop/rockets/1",
    "Field": "/workshop/fields/1",
}

MEASURE = """() => {
    const main = document.querySelector("main");
    const words = text => text.split(/\\s+/).filter(Boolean).length;
    const first = (...selectors) => {
        for (const selector of selectors) for (const e of main.querySelectorAll(selector)) {
            const box = e.getBoundingClientRect();
            if (box.height > 0 && box.width > 0) return [box.top, box.bottom].map(at => Math.round(at + scrollY));
        }
        return null;
    };
    return {
        height: document.documentElement.scrollHeight,
        words: words(main.innerText),
        answer: first(".answer-line", ".big-number"),
        picture: first(".answer-picture", "figure svg", ".drawing svg"),
    };
}"""


@dataclass(frozen=True)
class Seen:
    """What was measured of a page."""

    name: str
    height: int
    """[px]"""
    words: int
    answer: list[int] | None
    """Its top and bottom [px]."""
    picture: list[int] | None
    cpu_s: float

    @property
    def line(self) -> str:
        """A row of the printed table."""
        places = ["–" if at is None else f"{at[0]}–{at[1]}" for at in (self.answer, self.picture)]
        return f"{self.name:<22}{self.height:>8}{self.words:>8}{places[0]:>13}{places[1]:>13}{1000 * self.cpu_s:>9.0f}"


def cpu_of(client: TestClient, address: str) -> float:
    """How long the server works on a page, the median of several requests [s of the processor]."""
    took = []
    for _ in range(REQUESTS + 1):
        begun = time.process_time()
        client.get(address)
        took.append(time.process_time() - begun)
    return statistics.median(took[1:])  # the first one makes the template into code


def seen(page: Page, client: TestClient, name: str, address: str) -> Seen:
    """A page as it opens on a laptop."""
    reply = page.goto(address)
    if reply is None or not reply.ok:
        raise SystemExit(f"{name}: {address} is not answered")
    found = page.evaluate(MEASURE)
    return Seen(name, found["height"], found["words"], found["answer"], found["picture"], cpu_of(client, address))


@contextmanager
def opened(folder: Path, pictures: Path | None) -> Iterator[Iterator[Seen]]:
    """The main pages of a fresh demonstration book, one by one."""
    book = folder / "book.sqlite3"
    fill(book)
    app = create_app(Settings(book=book))
    running = served(app)
    site = next(running)
    addresses.complete(site.engine)
    rows = addresses.rows(site.engine)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path(), args=QUIET)
        page = site.opened_in(browser, viewport={"width": SCREEN[0], "height": SCREEN[1]}).new_page()
        client = browser_of(app)

        def every() -> Iterator[Seen]:
            for name, address in PAGES.items():
                yield seen(page, client, name, address.format(**rows))
                if pictures:
                    page.screenshot(path=pictures / f"{name.lower().replace(' ', '-').replace('?', '')}.png")

        yield every()
        browser.close()
    next(running, None)  # the server goes down


def main() -> None:
    """Print the table."""
    pictures = Path(sys.argv[1]) if sys.argv[1:] else None
    if pictures:
        pictures.mkdir(parents=True, exist_ok=True)
    print(f"{SCREEN[0]}×{SCREEN[1]}{'':<14}{'high':>7}{'words':>8}{'answer':>13}{'picture':>13}{'CPU':>9}")
    print(f"{'':<22}{'px':>8}{'':>8}{'px':>13}{'px':>13}{'ms':>9}")
    with tempfile.TemporaryDirectory() as folder, opened(Path(folder), pictures) as pages:
        for one in pages:
            print(one.line, flush=True)


if __name__ == "__main__":
    main()
