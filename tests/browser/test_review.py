"""The review on the demonstration book: grouped and looked at over time, read out by keys, taken along as a file."""

import csv
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.behind import copied_with_files
from tests.browser.conftest import Site, serve
from tests.browser.walk import fill, press


@pytest.fixture(scope="module")
def demo(demo_book: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """A copy of the demonstration book."""
    copy = tmp_path_factory.mktemp("review") / "demo.sqlite3"
    copied_with_files(demo_book, copy)
    yield from serve(copy)


@pytest.fixture
def look(browser: Browser, demo: Site) -> Iterator[Page]:
    """A tab at the review."""
    context = demo.opened_in(browser, viewport={"width": 1366, "height": 768})
    context.set_default_timeout(15_000)
    page = context.new_page()
    page.goto("/review")
    yield page
    context.close()


def test_from_all_motors_to_one_group_over_time(look: Page) -> None:
    look.locator("#sure > summary").click()
    look.get_by_role("navigation", name="Pages of the review").get_by_role("link", name="Delivered").click()
    expect(look.get_by_role("heading", level=1)).to_have_text("What motors delivered")
    fill(look, grouped_by="Case")
    press(look, "Show these motors")
    look.get_by_role("region", name="Delivered by case").get_by_role("link", name="Long 54").click()
    expect(look.get_by_role("heading", name="Over time: Long 54")).to_be_in_viewport()
    chart = look.get_by_role("img", name=re.compile("^One by one: Long 54"))
    expect(chart).to_be_visible()
    expect(look.get_by_role("img", name=re.compile("^Running average.*Long 54"))).to_be_visible()
    fill(look, fired_from="2999-01-01")
    press(look, "Show these motors")
    expect(look.get_by_text("No motor that burned is like that.")).to_be_visible()


def test_the_first_screen_says_which_lots_flew_well_and_reads_its_rows_out(look: Page) -> None:
    answer = look.locator(".answer-words")
    expect(answer).to_contain_text("lots that burned well are at 95.7 % of ideal density or more")
    box = answer.bounding_box()
    assert box
    assert box["y"] + box["height"] < 300
    rows = look.get_by_role("region", name="Lots", exact=True).get_by_role("row")
    tenth = rows.nth(10).bounding_box()
    assert tenth
    assert tenth["y"] + tenth["height"] < 768, "ten lots stand in the first screen"
    words = len(look.locator("main").inner_text().split())
    assert words <= 336, "half of the 673 before"
    rows.nth(8).hover()
    said = look.locator(".row-plots > .readout")
    expect(said).to_contain_text("of ideal")
    first = said.inner_text()
    look.get_by_role("region", name="Lots", exact=True).focus()
    look.keyboard.press("ArrowDown")
    expect(said).not_to_have_text(first)


def test_a_scatter_is_read_out_by_keys(look: Page) -> None:
    look.goto("/review/together")
    frame = look.get_by_role("group", name="Drawing: Density of the grains, mean")
    frame.focus()
    look.keyboard.press("ArrowRight")
    said = look.locator("figure", has=frame).get_by_role("status")
    expect(said).to_contain_text("burned well: Density of the grains, mean")
    expect(said).to_contain_text("Measured over predicted impulse")
    first = said.inner_text()
    look.keyboard.press("ArrowRight")
    expect(said).not_to_have_text(first)


def test_an_answer_opens_the_motors_behind_it(look: Page) -> None:
    look.goto("/review/good")
    counted = re.search(r"(\d+) motors burned well", look.locator(".answer").inner_text())
    assert counted
    look.get_by_text("The motors behind it").click()
    rows = look.get_by_role("region", name="Motors: burned well").get_by_role("row")
    expect(rows).to_have_count(int(counted[1]) + 1)
    rows.nth(1).get_by_role("link").first.click()
    expect(look).to_have_url(re.compile(r"/firings/\d+$"))


def test_the_firings_of_a_formula_are_taken_along(look: Page, tmp_path: Path) -> None:
    look.goto("/review/good")
    fill(look, formula="Plain sorbitol")
    press(look, "Show these motors")
    with look.expect_download() as taken:
        look.get_by_role("link", name="Export these firings (CSV)").click()
    file = tmp_path / taken.value.suggested_filename
    taken.value.save_as(file)
    assert re.fullmatch(r"grainbook-firings-\d{4}-\d\d-\d\d\.csv", file.name)
    with file.open(encoding="utf-8", newline="") as text:
        rows = list(csv.DictReader(text, strict=True))
    assert len(rows) >= 3
    assert {row["Formulas"] for row in rows} == {"Plain sorbitol v1"}
    assert "Measured impulse (N·s)" in rows[0]
