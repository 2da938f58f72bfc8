"""Labels on paper: printed by Chromium, turned into a picture, and the codes read back from it."""

import os
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
import zxingcpp
from playwright.sync_api import Page
from sqlmodel import Session, select

from app.db import writing
from app.models import Grain
from app.services.grains.labels import SHEETS
from tests import build
from tests.browser.conftest import Site

DPI = 203
"""What a plain label printer prints; a laser prints finer."""


@pytest.fixture(autouse=True)
def _poppler() -> None:
    if shutil.which("pdftoppm") is None and os.environ.get("CI") != "true":
        pytest.skip("no poppler: install poppler-utils (apt) or poppler (brew) to read printed labels back")


def picture(paper: Path, page: int) -> np.ndarray:
    """A page of a PDF as grey values, by poppler."""
    order = ["pdftoppm", "-r", str(DPI), "-gray", "-f", str(page), "-l", str(page), str(paper)]
    raw = subprocess.run(order, capture_output=True, check=True).stdout
    magic, size, depth, pixels = raw.split(b"\n", 3)
    assert (magic, depth) == (b"P5", b"255")
    width, height = map(int, size.split())
    return np.frombuffer(pixels, dtype=np.uint8).reshape(height, width)


def pages_of(paper: Path) -> int:
    """How many pages a PDF has, by poppler."""
    said = subprocess.run(["pdfinfo", str(paper)], capture_output=True, check=True, text=True).stdout
    return int(next(line.split()[1] for line in said.splitlines() if line.startswith("Pages:")))


@pytest.fixture
def serials(site: Site) -> list[str]:
    """Three grains of one lot."""
    with writing(site.engine) as session:
        lot = build.cast(session, 4, blend=build.formula(session, "Everyday with a rather long name"))
        for share in (0.95, 0.96, 0.97):
            build.grain(session, lot, share=share)
        session.commit()
    with Session(site.engine) as session:
        return list(session.exec(select(Grain.serial).order_by(Grain.serial)))


@pytest.mark.parametrize("size", list(SHEETS))
def test_codes_are_read_from_paper_where_they_should_lie(
    site: Site, page: Page, serials: list[str], size: str, tmp_path: Path
) -> None:
    sheet = SHEETS[size]
    start = sheet.places - 1 if sheet.places > 1 else 1  # the last two places of a used sheet, and one on the next
    page.goto(f"/labels?lot={serials[0].split('-')[0]}&size={size}&start={start}")
    paper = tmp_path / f"{size}.pdf"
    page.pdf(path=paper, prefer_css_page_size=True, print_background=False)
    assert pages_of(paper) == (2 if sheet.places > 1 else 3)
    places = [start + k for k in range(3)]
    for serial, place in zip(serials, places, strict=True):
        on_page, cell = divmod(place - 1, sheet.places)
        grey = picture(paper, on_page + 1)
        assert grey.shape[1] / DPI * 25.4 == pytest.approx(sheet.paper[0], abs=0.3)
        assert grey.shape[0] / DPI * 25.4 == pytest.approx(sheet.paper[1], abs=0.3)
        row, column = divmod(cell, sheet.columns)
        left, top = sheet.left + column * sheet.across, sheet.top + row * sheet.down
        x, y, w, h = (round(mm / 25.4 * DPI) for mm in (left, top, *sheet.label))
        label = np.ascontiguousarray(grey[y : y + h, x : x + w])
        (code,) = zxingcpp.read_barcodes(label)
        assert code.text == f"{site.address}/shelf/{serial}"


def test_the_code_opens_the_grain(site: Site, page: Page, serials: list[str], tmp_path: Path) -> None:
    page.goto(f"/labels?lot={serials[0].split('-')[0]}")
    paper = tmp_path / "labels.pdf"
    page.pdf(path=paper, prefer_css_page_size=True)
    read = {code.text for code in zxingcpp.read_barcodes(picture(paper, 1))}
    assert len(read) == 3
    for address in read:
        page.goto(address)
        assert page.get_by_role("heading", level=1).inner_text() == f"Grain {address.rpartition('/')[2]}"


def test_only_the_labels_are_printed_and_a_person_can_read_them(page: Page, serials: list[str], tmp_path: Path) -> None:
    page.goto(f"/labels?lot={serials[0].split('-')[0]}&size=roll-57x32")
    paper = tmp_path / "roll.pdf"
    page.pdf(path=paper, prefer_css_page_size=True)
    text = subprocess.run(["pdftotext", str(paper), "-"], capture_output=True, check=True, text=True).stdout
    words = text.split("\f")[0].split("\n")
    assert serials[0] in words
    assert any(line.endswith(" g") for line in words)
    assert f"Lot {serials[0].split('-')[0]}" in words
    assert any(line.startswith("Cast ") for line in words)
    assert not any(word in text for word in ("Grainbook", "Show the labels", "Today", "law"))
    assert not page.evaluate(
        "[...document.querySelectorAll('.label')].some(l => l.querySelector('.words').scrollHeight > l.clientHeight)"
    )


def test_the_longest_serial_is_not_cut(site: Site, page: Page, serials: list[str]) -> None:
    """A month of more than eleven batches has two letters, a lot of a hundred grains three figures."""
    with writing(site.engine) as session:
        for serial, longer in zip(serials, ("2611PP-04", "2611ZZ-99", "2611P-104"), strict=True):
            session.exec(select(Grain).where(Grain.serial == serial)).one().serial = longer
        session.commit()
    for size in SHEETS:
        page.goto(f"/labels?lot={serials[0].partition('-')[0]}&size={size}")
        cut = page.locator(".label .serial").evaluate_all("all => all.map(e => e.scrollWidth > e.clientWidth)")
        assert cut == [False] * 3, size
