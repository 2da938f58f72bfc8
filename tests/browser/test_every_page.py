"""Every page of the demonstration book: accessible in light and dark, no sideways scroll, one sheet to print."""

import re
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect
from sqlmodel import Session, col, select

from app.models import AltimeterFile, Batch, CurveFile, Firing, FiringFinding, Formula, GrainPattern, MotorBuild
from app.services.grains import grains
from tests.browser.conftest import Site, serve

SIZES = {"laptop": (1366, 768), "tablet": (820, 1180)}
AXE_RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}


@pytest.fixture(scope="module")
def demo(demo_book: Path) -> Iterator[Site]:
    """The demonstration book, looked at only."""
    yield from serve(demo_book)


@pytest.fixture(scope="module")
def addresses(demo: Site) -> list[str]:
    """The pages: each kind once, and each form."""
    with Session(demo.engine) as session:
        running = session.exec(select(Batch).where(Batch.state == "casting")).one().code
        waiting = session.exec(select(Batch).where(Batch.state == "planned").order_by(col(Batch.id))).first()
        past = session.exec(select(Batch).where(Batch.state == "cast")).first()
        motor = session.exec(select(MotorBuild).order_by(col(MotorBuild.id).desc())).first()
        firing = session.exec(select(Firing)).first()
        file = session.exec(select(CurveFile)).first()
        failed = session.exec(select(FiringFinding)).first()
        flown = session.exec(select(AltimeterFile)).first()
        formula = session.exec(select(Formula)).first()
        pattern = session.exec(select(GrainPattern)).first()
        ready = grains.ready(session)[0]
        grain, lot = ready.serial, ready.serial.split("-")[0]
        assert past is not None
        assert waiting is not None
        planned = waiting.code
        assert motor is not None
        assert firing is not None
        assert file is not None
        assert failed is not None
        assert flown is not None
        assert formula is not None
        assert pattern is not None
        design = f"/motors/design?formula_id={formula.id}&pattern_id={pattern.id}&count=4&case_id=1&nozzle_id=1"
        askew = "&density=95%25&field_elevation=0+m&grain_temperature=20+C&faulty=2&offset_fore=0+mm&offset_aft=3+mm"
        flight = "?rocket_id=2&launch_field_id=1&leans=into&wind=9+m/s&wind_from=NW&delay=2+s"
        nouns = ("supplies", "formulas", "patterns", "tubes", "rods", "cases", "nozzles", "rockets", "fields")
        return [
            "/",
            "/help",
            "/help/api",
            "/plan",
            "/plan/new",
            f"/plan/{planned}",
            f"/plan/{planned}/edit",
            f"/plan/{planned}/checklist",
            f"/plan/{past.code}/checklist/1",
            "/cast",
            f"/cast/{running}",
            f"/cast/{past.code}",
            f"/cast/{running}/grains",
            f"/cast/{past.code}/grains",
            "/shelf",
            f"/shelf/{grain}",
            f"/shelf/bags?grain={ready.id}",
            "/shelf/reweigh",
            f"/shelf/reweigh?lot={lot}",
            "/shelf/sets",
            "/labels",
            f"/labels?lot={lot}",
            f"/labels?lot={lot}&start=99",
            f"/cast/{lot}/test-pieces",
            "/motors",
            "/motors/design",
            design,
            "/motors/new",
            "/motors/coring",
            f"{design.replace('design', 'coring')}{askew}",
            f"/motors/{motor.code}",
            f"/motors/{motor.code}{flight}",
            "/workshop/distances",
            "/firings",
            "/firings/new",
            f"/firings/{firing.id}",
            f"/firings/{firing.id}/edit",
            f"/firings/{file.firing_id}/curve",
            f"/firings/{file.firing_id}/curve/{file.id}",
            f"/firings/{failed.firing_id}",
            f"/firings/{failed.firing_id}/found",
            f"/firings/{failed.firing_id}/pictures",
            f"/firings/{flown.firing_id}",
            f"/firings/{flown.firing_id}/altimeter",
            f"/firings/{flown.firing_id}/altimeter/{flown.id}",
            "/review",
            f"/review/{past.code}",
            "/review/delivered",
            f"/review/delivered?by=lot&of={past.code}",
            "/review/together",
            "/review/good",
            "/review/learned",
            f"/review/learned/{formula.id}",
            f"/review/learned/firing/{file.firing_id}",
            "/review/calibration",
            "/workshop",
            "/workshop/settings",
            "/workshop/checklist",
            "/workshop/devices",
            "/workshop/runsheet",
            f"/cast/{planned}/sheet",
            f"/cast/{running}/paper",
            "/workshop/changes",
            "/workshop/changes?what=deleted&noun=curve",
            "/workshop/people",
            "/workshop/people/new",
            "/workshop/bench",
            *(f"/workshop/{noun}" for noun in nouns),
            *(f"/workshop/{noun}/new" for noun in nouns),
            *(f"/workshop/{noun}/1" for noun in nouns),
            "/no-such-page",
        ]


@pytest.mark.promise(
    "No request to elsewhere, no break of the content security policy",
    figure="every page; every browser test records its own",
)
def test_no_page_asks_for_anything_outside_or_breaks_its_own_policy(
    browser: Browser, demo: Site, addresses: list[str]
) -> None:
    page = _open(browser, demo, "light", "laptop")
    asked: list[str] = []
    said: list[str] = []
    page.context.on("request", lambda request: asked.append(request.url))
    page.context.on("console", lambda message: said.append(message.text))
    page.context.on("weberror", lambda error: said.append(str(error.error)))
    for address in addresses:
        page.goto(address)
    page.context.close()
    assert len(asked) > 10 * len(addresses)  # the styles and scripts of each page too
    assert [url for url in asked if not url.startswith((f"{demo.address}/", "data:"))] == []
    assert [words for words in said if "responded with a status of 4" not in words] == []  # 404 and 422 are pages too


def _open(browser: Browser, demo: Site, scheme: str, size: str) -> Page:
    width, height = SIZES[size]
    context = browser.new_context(
        base_url=demo.address,
        color_scheme="dark" if scheme == "dark" else "light",
        viewport={"width": width, "height": height},
    )
    return context.new_page()


@pytest.mark.parametrize(("scheme", "size"), [("light", "laptop"), ("dark", "tablet")])
def test_axe_finds_nothing(browser: Browser, demo: Site, addresses: list[str], scheme: str, size: str) -> None:
    page = _open(browser, demo, scheme, size)
    axe = Axe()
    found: dict[str, list[tuple[str, str]]] = {}
    for address in addresses:
        reply = page.goto(address)
        assert reply is not None
        assert reply.status < 500, address
        results = axe.run(page, options=AXE_RULES)
        for violation in results.response["violations"]:
            found.setdefault(violation["id"], []).append((address, violation["nodes"][0]["html"][:120]))
    page.context.close()
    assert found == {}


@pytest.mark.parametrize("size", list(SIZES))
def test_no_page_scrolls_sideways(browser: Browser, demo: Site, addresses: list[str], size: str) -> None:
    page = _open(browser, demo, "light", size)
    wide = []
    for address in addresses:
        page.goto(address)
        if page.evaluate("document.documentElement.scrollWidth > window.innerWidth"):
            wide.append(address)
    page.context.close()
    assert wide == []


def test_every_page_has_one_heading_and_no_promise(browser: Browser, demo: Site, addresses: list[str]) -> None:
    page = _open(browser, demo, "light", "laptop")
    for address in addresses:
        page.goto(address)
        expect(page.get_by_role("heading", level=1)).to_have_count(1)
        words = page.locator("main").inner_text()
        assert not re.search(r"\b(is|are|be) safe\b|\bsafe (motor|to (fire|fly|cast))\b", words, re.IGNORECASE), address
    page.context.close()


def test_bench_pages_have_large_targets(browser: Browser, demo: Site, addresses: list[str]) -> None:
    page = _open(browser, demo, "light", "tablet")
    small = []
    for address in addresses:
        page.goto(address)
        if "bench" not in (page.locator("body").get_attribute("class") or ""):
            continue
        for target in page.locator(
            "main button:visible, main select:visible, main input:visible:not([type=checkbox])"
        ).all():
            box = target.bounding_box()
            if box and box["height"] < 43.5 and target.get_attribute("type") != "radio":
                small.append((address, target.inner_text() or target.get_attribute("name"), box["height"]))
    page.context.close()
    assert small == []


def test_fields_side_by_side_stand_level(browser: Browser, demo: Site, addresses: list[str]) -> None:
    page = _open(browser, demo, "light", "laptop")
    askew = []
    for address in addresses:
        page.goto(address)
        for row in page.locator(".field-row").all():
            boxes = [one.bounding_box() for one in row.locator("input:not([type=checkbox]), select").all()]
            tops = sorted(box["y"] for box in boxes if box)
            gaps = [low - high for high, low in pairwise(tops)]
            askew += [(address, gap) for gap in gaps if 0.5 < gap < 40]
    page.context.close()
    assert askew == []


def test_no_page_is_wider_than_its_paper(browser: Browser, demo: Site, addresses: list[str]) -> None:
    page = _open(browser, demo, "light", "laptop")
    page.emulate_media(media="print")
    page.set_viewport_size({"width": 680, "height": 963})  # A4 within its margins, in CSS pixels
    cut = []
    for address in addresses:
        page.goto(address)
        wide = page.evaluate("document.documentElement.scrollWidth > window.innerWidth")
        if wide and not address.startswith("/labels"):  # labels fill their own sheet, margins and all
            cut.append(address)
    page.context.close()
    assert cut == []


@pytest.mark.parametrize("place", ["motor", "plan", "lot"])
def test_prints_to_paper(browser: Browser, demo: Site, addresses: list[str], place: str, tmp_path: Path) -> None:
    starts = {"motor": r"/motors/(M\d|\d\d-)", "plan": r"/plan/\d+[A-Z]+\d*$", "lot": r"/review/\d"}
    address = next(a for a in addresses if re.match(starts[place], a))
    page = _open(browser, demo, "dark", "laptop")
    page.goto(address)
    page.emulate_media(media="print")
    expect(page.get_by_role("navigation", name="Parts of the day")).to_be_hidden()
    paper = tmp_path / f"{place}.pdf"
    page.pdf(path=paper, format="A4")
    page.context.close()
    assert paper.read_bytes().startswith(b"%PDF")
