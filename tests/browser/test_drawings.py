"""Drawings of the bench as they are seen: letters keep their size, and no words stand on others or on a mark."""

import subprocess
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from tests.browser.conftest import PATIENCE_MS
from tests.drawings.plans import PLANS
from tests.drawings.scenes import SCENES

CSS = Path(__file__).resolve().parents[2] / "static" / "css"
WIDTHS = (1800, 1366, 1100, 820, 600, 520, 390)
MEASURE = """() => [...document.querySelectorAll("section")].map(section => {
  const seen = [...section.querySelectorAll(".drawing > svg")].filter(svg => svg.getClientRects().length);
  const box = e => { const r = e.getBoundingClientRect(); return [r.left, r.top, r.right, r.bottom]; };
  return {
    name: section.id,
    forms: seen.length,
    frame: box(section),
    sizes: [...seen[0].querySelectorAll("text")].map(text => parseFloat(getComputedStyle(text).fontSize)),
    words: [...seen[0].querySelectorAll("text")].map(text => [text.textContent, ...box(text)]),
    marks: [...seen[0].querySelectorAll("path.mark, path.reading, path.hand, path.bubble, .now-line, circle")].map(box),
  };
})"""
"""Of each drawing: what is seen of it, with the boxes of its words and marks [px]."""


@pytest.fixture
def sheet(browser: Browser) -> Any:
    page = browser.new_page()
    page.set_default_timeout(PATIENCE_MS)
    css = "".join(
        (CSS / name).read_text(encoding="utf-8")
        for name in ("tokens.css", "base.css", "glass.css", "drawings.css", "wall.css")
    )
    drawn = "".join(f'<section id="{name}">{svg}</section>' for name, svg in {**SCENES, **PLANS}.items())
    page.set_content(f"<!doctype html><style>{css} body {{ padding: 15px }}</style><body>{drawn}")
    yield page
    page.close()


def ink(box: list[float]) -> tuple[float, float, float, float]:
    """The part of a line of words that letters fill: its box without the room above capitals and below descenders."""
    left, top, right, bottom = box
    high = bottom - top
    return left + 1, top + 0.2 * high, right - 1, bottom - 0.2 * high


def on_each_other(one: tuple[float, ...], other: tuple[float, ...]) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def faults(found: dict[str, Any]) -> list[str]:
    """Words on others, on a mark, or off the sheet."""
    words = [(text, ink(box)) for text, *box in found["words"]]
    left, _, right, _ = found["frame"]
    said = [f"{one} on {two}" for i, (one, a) in enumerate(words) for two, b in words[:i] if on_each_other(a, b)]
    said += [f"{text} off the sheet" for text, box in words if box[0] < left - 1 or box[2] > right + 1]
    return said + [f"{text} on a mark" for text, box in words for mark in found["marks"] if on_each_other(box, mark)]


def test_letters_keep_their_size_and_never_stand_on_each_other(sheet: Page) -> None:
    """Boxes as Chromium draws them at a laptop's, a tablet's and a telephone's width, and between."""
    seen = 0
    for width in WIDTHS:
        sheet.set_viewport_size({"width": width, "height": 900})
        read = sheet.evaluate("() => parseFloat(getComputedStyle(document.querySelector('.drawing')).fontSize)")
        assert read >= 4.65 * 4.409 / 0.72 - 0.01, "capitals of 4.65 mm, ISO 9241-3 and NUREG-0700"
        for found in sheet.evaluate(MEASURE):
            assert found["forms"] == 1, (width, found["name"])
            assert all(size >= read - 0.01 for size in found["sizes"]), (width, found["name"])
            assert faults(found) == [], (width, found["name"])
            seen += len(found["words"])
    assert seen > 100 * len(WIDTHS)
    sheet.add_style_tag(content=".drawing { font-size: 1rem !important }")  # at the desk, where letters are smaller
    for width in (1366, 720, 320):
        sheet.set_viewport_size({"width": width, "height": 900})
        for found in sheet.evaluate(MEASURE):
            if found["name"] in PLANS:
                assert (found["forms"], faults(found)) == (1, []), (width, found["name"])


def test_words_that_do_stand_on_each_other_are_seen(sheet: Page) -> None:
    sheet.evaluate(
        "() => document.querySelectorAll('[id=\"pan: many\"] text').forEach(t => t.setAttribute('y', '2em'))"
    )
    (found,) = [f for f in sheet.evaluate(MEASURE) if f["name"] == "pan: many"]
    assert faults(found)


def test_drawings_take_the_colours_of_the_system_and_print_as_vectors(sheet: Page, tmp_path: Path) -> None:
    """In forced colours words are the system's text on halos of its ground; on paper nothing is a bitmap."""
    sheet.set_viewport_size({"width": 1366, "height": 900})
    sheet.emulate_media(forced_colors="active", color_scheme="dark")
    found = sheet.evaluate("""() => {
      const probe = document.createElement("i");
      document.body.append(probe);
      const system = Object.fromEntries(["CanvasText", "Highlight", "Canvas"].map(name => {
        probe.style.cssText = `forced-color-adjust: none; color: ${name}`;
        return [getComputedStyle(probe).color, name];
      }));
      const words = [...document.querySelectorAll(".drawing text:not(.on-now)")].map(text => getComputedStyle(text));
      return words.map(css => [system[css.fill], system[css.stroke] ?? css.stroke]);
    }""")
    assert {fill for fill, _ in found} == {"CanvasText", "Highlight"}
    assert {stroke for _, stroke in found} <= {"Canvas", "none", "rgba(0, 0, 0, 0)"}
    sheet.emulate_media(forced_colors="none", color_scheme="light")
    paper = str(tmp_path / "drawings.pdf")
    sheet.pdf(path=paper, format="A4")
    told = subprocess.run(["pdftotext", "-raw", paper, "-"], capture_output=True, text=True, check=True).stdout
    for words in ("25L1-04", "throat Ø 8.03", "centre of mass 812", "ceiling 900 m", "26K2", "75 % of the web"):
        assert words in told.replace("\N{NO-BREAK SPACE}", " ")
    listed = subprocess.run(["pdfimages", "-list", paper], capture_output=True, text=True, check=True).stdout
    assert len(listed.splitlines()) == 2, "its heading alone: no bitmap"
