"""The firing log in a real browser: a flight with igniter, picture and altimeter, a failure told, a record trimmed."""

import base64
import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect
from sqlmodel import Session, select

from app.db import writing
from app.models import Curve, Firing, FiringPicture
from app.pictures import kind_of
from tests import build
from tests.browser.conftest import Site
from tests.browser.test_curves import held_to_axe_and_width, logger_file
from tests.browser.walk import choose, fill, labelled, press, refused, saved
from tests.calc.record.test_track import APOGEE
from tests.pages.firings.test_altimeter_files import text
from tests.test_pictures import png

DRAWN = """async (kind) => {
  const canvas = Object.assign(document.createElement("canvas"), { width: 320, height: 200 });
  const pen = canvas.getContext("2d");
  pen.fillStyle = "#a3431a";
  pen.fillRect(40, 30, 200, 90);
  const blob = await new Promise((done) => canvas.toBlob(done, kind, 0.8));
  const bytes = new Uint8Array(await blob.arrayBuffer());
  return [blob.type, btoa(String.fromCharCode(...bytes))];
}"""


@pytest.mark.parametrize("kind", ["image/png", "image/jpeg", "image/webp"])
def test_pictures_that_a_browser_encodes_are_told_as_it_says(page: Page, site: Site, kind: str) -> None:
    page.goto("/help")
    said, encoded = page.evaluate(DRAWN, kind)
    found = kind_of(base64.b64decode(encoded))
    assert said == kind
    assert (found.media_type, found.width, found.height) == (kind, 320, 200)


def test_a_flight_with_igniter_picture_and_altimeter(page: Page, site: Site, tmp_path: Path) -> None:
    with writing(site.engine) as session:
        code = build.motor_build(session).code
        build.rocket(session, name="Turnstone")
        build.field(session, name="Pasture")
        session.commit()
    page.goto(f"/firings/new?motor={code}")
    choose(labelled(page, "Kind"), "Flight")
    choose(labelled(page, "Rocket"), "Turnstone")
    fill(
        page,
        Igniter="Dipped wire, forward",
        How_it_was_made="Two dips",
        Delay_planned="6 s",
        Delay_as_it_was="7 s",
        Humidity="70 %",
        Wind_from="south-west",
        Result="Burned well",
        Smoke="White",
        Lit_late="0.5 s",
    )
    page.get_by_label("It chuffed").check()
    held_to_axe_and_width(page)
    press(page, "Save the firing")
    saved(page, "Written down")
    expect(page.get_by_text("lit late by 0.5 s; it chuffed")).to_be_visible()

    page.get_by_role("link", name="Add pictures").click()
    held_to_axe_and_width(page)
    wrong = tmp_path / "launch.png"
    wrong.write_bytes(b"<svg xmlns='http://www.w3.org/2000/svg'/>")
    labelled(page, "Picture").set_input_files(wrong)
    press(page, "Upload the picture")
    refused(page, "no JPEG, PNG or WebP")
    right = tmp_path / "launch.jpg"  # a PNG, whatever its name says
    right.write_bytes(png(120, 80))
    labelled(page, "Picture").set_input_files(right)
    page.locator("#form-caption").fill("On the rail")
    press(page, "Upload the picture")
    saved(page, "in the book")
    image = page.get_by_role("img", name="On the rail")
    expect(image).to_be_visible()
    assert image.evaluate("element => element.decode().then(() => element.naturalWidth)") == 120
    page.locator("#refer-address").fill("https://films.example/26K")
    press(page, "Save the reference")
    saved(page, "noted where it lies")
    expect(page.get_by_role("link", name="https://films.example/26K")).to_be_visible()
    held_to_axe_and_width(page)
    page.get_by_text("Remove it").click()
    labelled(page, "Why it is removed").first.fill("Of another rocket.")
    press(page, "Remove picture 1")
    saved(page, "shown no more")
    expect(page.get_by_role("img", name="On the rail")).to_have_count(0)
    assert not [r for r in site.requests if "films.example" in r.url]

    page.get_by_role("link", name="This firing").click()
    page.get_by_role("link", name="Read its file").click()
    written = tmp_path / "flight 1.txt"
    written.write_bytes(text(spike=True))
    labelled(page, "The altimeter's file").set_input_files(written)
    press(page, "Upload the file")
    saved(page, "in the book as it came")
    expect(page.get_by_role("heading", name=f"Read this way, it gives {APOGEE:.0f} m")).to_be_visible()
    held_to_axe_and_width(page)
    choose(labelled(page, "Its unit"), "altitude in ft")
    press(page, "Read again, save nothing yet")
    expect(page.get_by_role("heading", name=f"Read this way, it gives {APOGEE * 0.3048:.0f} m")).to_be_visible()
    choose(labelled(page, "Its unit"), "altitude in m")
    press(page, "Save this reading")
    saved(page, "its apogee is written there now")
    expect(page.get_by_role("img", name="Height of the flight")).to_be_visible()
    expect(page.get_by_text("Spikes, left out:")).to_be_visible()
    held_to_axe_and_width(page)
    page.get_by_role("link", name="This firing").click()
    measured = page.get_by_role("region", name="Figures, measured and predicted")
    expect(measured.get_by_role("row", name="Altitude")).to_contain_text(f"{APOGEE:.0f}")
    held_to_axe_and_width(page)
    with Session(site.engine) as session:
        assert session.exec(select(FiringPicture)).one().voided_why == "Of another rocket."


def test_a_failure_asks_what_was_found_and_its_lot_tells_it(page: Page, site: Site) -> None:
    with writing(site.engine) as session:
        code = build.motor_build(session).code
        session.commit()
    page.goto(f"/firings/new?motor={code}")
    fill(page, Kind="Static", Result="Case burst", What_was_seen="A bang at half a second; the case lay open.")
    press(page, "Save the firing")
    expect(page.get_by_role("heading", level=1)).to_have_text(f"What was found of motor {code}")
    held_to_axe_and_width(page)
    for name, choice in (("case", "Split"), ("closure", "Held"), ("nozzle", "Whole"), ("remains", "Unburned")):
        choose(page.locator(f"#form-{name}_found"), choice)
    page.get_by_label(re.compile(r"^\s*2: ")).check()
    press(page, "Save what was found")
    refused(page, "write where and how")
    expect(page.get_by_label(re.compile(r"^\s*2: "))).to_be_checked()
    held_to_axe_and_width(page)
    page.locator("#form-case_words").fill("Along its length.")
    press(page, "Save what was found")
    saved(page, "What was found is written down")
    expect(page.get_by_text("(grain 2)")).to_be_visible()
    held_to_axe_and_width(page)
    page.get_by_text("Back to each bag").click()
    page.locator("main").get_by_role("link", name=re.compile(r"^\d{4}[P-Z]-02$")).first.click()
    expect(page.get_by_role("heading", name="What was found of failures")).to_be_visible()
    held_to_axe_and_width(page)


def test_a_record_is_trimmed_by_pointer_and_by_keys(page: Page, site: Site, tmp_path: Path) -> None:
    with writing(site.engine) as session:
        build.firing(session)
        session.commit()
        firing = session.exec(select(Firing)).one().pk
    page.goto(f"/firings/{firing}/curve")
    labelled(page, "The logger's file").set_input_files(logger_file(tmp_path))
    press(page, "Upload the file")
    start, end = page.get_by_role("slider", name="Burn from"), page.get_by_role("slider", name="Burn to")
    expect(start).to_have_attribute("aria-valuetext", re.compile(r"^(0\.9|1\.0)\d+ s$"))
    expect(labelled(page, "Burn from").and_(page.locator("input"))).to_have_value("")
    start.focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ArrowRight")
    typed = page.locator("#form-start")
    expect(typed).to_have_value(re.compile(r"^1\.0\d\d s$"))
    drawn = page.locator("[data-trim] svg.field").bounding_box()
    held = end.bounding_box()
    assert drawn is not None
    assert held is not None
    page.mouse.move(held["x"] + held["width"] / 2, held["y"] + held["height"] / 2)
    page.mouse.down()
    page.mouse.move(held["x"] + held["width"] / 2 - 0.1 * drawn["width"], held["y"] + 30, steps=5)
    page.mouse.up()
    # a tenth of the curves' field, whose axis is 3.998 s long
    dragged = float((page.locator("#form-end").input_value()).removesuffix(" s"))
    assert dragged == pytest.approx(2.6 - 0.1 * 3.998, abs=0.06)
    held_to_axe_and_width(page)
    typed.fill("1,05 s")
    expect(start).to_have_attribute("aria-valuenow", "1.050")
    page.keyboard.press("Tab")
    press(page, "Read again, save nothing yet")
    expect(page.get_by_role("slider", name="Burn from")).to_have_attribute("aria-valuenow", "1.050")
    press(page, "Save this reading")
    saved(page, "Read and kept")
    with Session(site.engine) as session:
        curve = session.exec(select(Curve)).one()
        assert '"start": "1,05 s"' in curve.reading_json
        assert f'"end": "{dragged:.3f} s"' in curve.reading_json
