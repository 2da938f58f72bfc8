"""A firing taken from its logger's raw file to a changed next prediction, in a real browser."""

import re
from pathlib import Path

from playwright.sync_api import Page, expect

from app.db import writing
from tests import build
from tests.browser.conftest import Site
from tests.browser.test_curves import held_to_axe_and_width
from tests.browser.walk import fill, labelled, press, saved
from tests.services.learning.test_learning import stand_file


def figure(page: Page, name: str) -> tuple[float, float]:
    """A figure of the prediction, folded on the page: expected, and the width of its middle 90 %."""
    row = page.locator("#figures tr").filter(has_text=re.compile(name))
    cells = [cell.replace("−", "-") for cell in row.locator("td").all_text_contents()]
    low, high = cells[1].split(" to ")
    return float(cells[0]), float(high) - float(low)


def test_from_raw_file_to_a_changed_next_prediction(page: Page, site: Site, tmp_path: Path) -> None:
    written = tmp_path / "stand.csv"
    with writing(site.engine) as session:
        made = build.motor_build(session)
        written.write_bytes(stand_file(session, made, rate=1.15, c_star=1.0, seed=4, gauge=True))
        firing = build.firing(session, made).pk
        session.commit()
    page.goto("/motors/design")
    fill(page, grains="4")
    press(page, "Calculate")
    asked = page.url
    expect(page.locator("main")).to_contain_text("No firing has taught anything of this formula or case yet:")
    before = {name: figure(page, name) for name in ("Action time", "Mean pressure")}

    page.goto(f"/firings/{firing}")
    page.get_by_role("link", name="Read its thrust curve").click()
    labelled(page, "The logger's file").set_input_files(written)
    press(page, "Upload the file")
    saved(page, "in the book as it came")
    press(page, "Save this reading")
    saved(page, "Read and kept")

    page.goto(f"/firings/{firing}")
    told = page.get_by_role("link", name="What it taught, and whether its ranges held", include_hidden=True)
    page.locator("details").filter(has=told).locator("summary").first.click()
    told.click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("taught")
    expect(page.get_by_role("listitem").filter(has_text="burn rate 1.1")).to_be_visible()
    held_to_axe_and_width(page)

    page.goto(asked)
    taught = page.locator("#taught")
    expect(taught).to_contain_text("1 firing of this formula")
    taught.locator("summary").first.click()
    after = {name: figure(page, name) for name in before}
    assert after["Action time"][0] < 0.97 * before["Action time"][0]
    assert after["Mean pressure"][0] > 1.03 * before["Mean pressure"][0]
    assert after["Action time"][1] < 0.8 * before["Action time"][1]  # the range is narrower: its law was borrowed
    held_to_axe_and_width(page)

    page.get_by_role("link", name="Which firings, and what each says").click()
    held_to_axe_and_width(page)
    fill(page, why="Trying another supplier's sorbitol.")
    press(page, "Pause what was learned")
    saved(page, "Paused.")
    page.goto(asked)
    expect(page.locator("main")).to_contain_text("Nothing that firings taught is in it: paused for this formula")
    assert figure(page, "Action time") == before["Action time"]
