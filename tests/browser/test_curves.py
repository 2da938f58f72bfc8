"""From a logger's file to the firing's measured figures in a real browser, each page held to axe and width."""

import re
from pathlib import Path

import numpy as np
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from app.db import writing
from tests import build
from tests.browser.conftest import Site
from tests.browser.test_every_page import AXE_RULES, SIZES
from tests.browser.walk import choose, fill, follow, labelled, loaded, press, refused, saved


def logger_file(folder: Path, name: str = "stand test 3.txt") -> Path:
    """A ringing burn as a logger with a comma writes it."""
    t = np.arange(2000) / 500
    force = np.interp(t, [0, 1, 1.1, 2.3, 2.6, 4], [0, 0, 480, 480, 0, 0])
    force = force + 20 * np.sin(2 * np.pi * 70 * t) * (force > 20) + 0.01 * ((np.arange(t.size) * 7) % 11)
    rows = [f"{1000 * a:.0f};{f:.2f};{f / 150:.4f}".replace(".", ",") for a, f in zip(t, force, strict=True)]
    written = folder / name
    written.write_text("Time (ms);Thrust (N);Pressure (MPa)\n" + "\n".join(rows))
    return written


def held_to_axe_and_width(page: Page) -> None:
    """The page as it stands, dark on a tablet and light on a laptop."""
    for scheme, size in (("dark", "tablet"), ("light", "laptop")):
        width, height = SIZES[size]
        page.set_viewport_size({"width": width, "height": height})
        page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
        loaded(page)
        page.evaluate("Promise.all(document.getAnimations().map(change => change.finished))")  # colours fade over
        assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth"), page.url
        found = Axe().run(page, options=AXE_RULES).response["violations"]
        assert [(v["id"], v["nodes"][0]["html"][:120]) for v in found] == [], page.url


def test_from_raw_file_to_measured_figures(page: Page, site: Site, tmp_path: Path) -> None:
    with writing(site.engine) as session:
        firing = build.firing(session).pk
        session.commit()
    page.goto(f"/firings/{firing}")
    follow(page, "Read its thrust curve")
    expect(page.get_by_role("heading", level=1)).to_have_text(re.compile(r"^Curve of motor \S+$"))
    held_to_axe_and_width(page)

    zipped = tmp_path / "burn.csv"
    zipped.write_bytes(b"PK\x03\x04 and more")
    labelled(page, "The logger's file").set_input_files(zipped)
    press(page, "Upload the file")
    refused(page, "zip archive")
    labelled(page, "The logger's file").set_input_files(logger_file(tmp_path))
    press(page, "Upload the file")
    saved(page, "in the book as it came")

    expect(page.get_by_role("heading", name="Read this way, it gives J")).to_be_visible()
    expect(page.get_by_role("note").filter(has_text="rings at 70 Hz")).to_be_visible()
    expect(labelled(page, "Force").first).to_have_value("2")
    held_to_axe_and_width(page)
    choose(labelled(page, "Unit of force"), "kgf")
    press(page, "Read again, save nothing yet")
    expect(page.get_by_role("note").filter(has_text="Is it in newtons?")).to_be_visible()
    choose(labelled(page, "Unit of force"), "N")
    page.get_by_label("Smooth out the stand").check()
    fill(page, first_line="0")
    press(page, "Save this reading")
    refused(page, "First line of numbers")
    held_to_axe_and_width(page)
    fill(page, first_line="2")
    press(page, "Save this reading")
    saved(page, "Read and kept")

    expect(page.get_by_role("img", name="Measured beside predicted")).to_be_visible()
    expect(page.get_by_text("took the ringing out")).to_be_visible()
    held_to_axe_and_width(page)
    page.get_by_role("button", name="Use impulse, burn time and peak pressure").click()
    saved(page, "those of its curve now")
    measured = page.get_by_role("region", name="Figures, measured and predicted")
    expect(measured.get_by_role("row", name="Total impulse")).to_contain_text("672")
    expect(page.get_by_text("Burned as J")).to_be_visible()
    held_to_axe_and_width(page)


def test_a_file_is_sent_and_read_by_keyboard_alone(page: Page, site: Site, tmp_path: Path) -> None:
    with writing(site.engine) as session:
        firing = build.firing(session).pk
        session.commit()
    page.goto(f"/firings/{firing}/curve")
    labelled(page, "The logger's file").set_input_files(logger_file(tmp_path))  # the chooser is the system's own
    labelled(page, "The logger's file").focus()
    page.keyboard.press("Tab")
    expect(page.get_by_role("button", name="Upload the file")).to_be_focused()
    page.keyboard.press("Enter")
    saved(page, "in the book as it came")
    labelled(page, "First line").focus()
    page.keyboard.press("Enter")
    saved(page, "Read and kept")
