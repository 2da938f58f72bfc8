"""The whole job, once through, in a real browser: from an empty book to a firing walked back to the bag."""

import re
from collections.abc import Callable
from datetime import datetime, timedelta

from playwright.sync_api import Page, expect

from app import clock
from tests.browser.conftest import Site
from tests.browser.walk import choose, fill, labelled, press, refused, saved

Turn = Callable[[datetime], None]
MINUTES = {
    "Set the coring rods": 3,
    "Compact the first": 15,
    "Compact again": 10,
    "Compact the last": 10,
    "Pull the cores": 55,
    "Bag the grains": 240,
}


def enter_workshop(page: Page) -> None:
    """Bags, a formula, tools, a case, a nozzle, a rocket and a field."""
    page.goto("/")
    page.get_by_role("link", name="Workshop", exact=True).first.click()
    for ingredient, mark, mass in (
        ("saltpetre", "Sack 1", "5 kg"),
        ("sorbitol", "Pail 1", "2 kg"),
        ("sugar", "Bag 1", "1 kg"),
    ):
        page.goto("/workshop/supplies/new")
        fill(page, ingredient=ingredient, bag_or_lot_mark=mark, received_on="2026-01-05", mass_received=mass)
        press(page, "Save the bag")
        saved(page, "in the book")

    page.goto("/workshop/formulas/new")
    fill(page, name="Everyday")
    for row, (ingredient, share) in enumerate([("potassium nitrate", "65"), ("sorbitol", "28"), ("sulfur", "7")]):
        page.get_by_label("Ingredient").nth(row).fill(ingredient)
        page.get_by_label("Share by mass").nth(row).fill(share)
    press(page, "Save the formula")
    refused(page, "potassium-nitrate/sugar family")
    page.get_by_label("Ingredient").nth(2).fill("sucrose")
    press(page, "Save the formula")
    saved(page, "in the book")

    page.goto("/workshop/tubes/new")
    fill(page, name="Paper", inner_diameter="44,45 mm", outer_diameter="47.2 mm", mass_of_one_empty_tube="9.6 g")
    press(page, "Save the casting tube")
    page.goto("/workshop/rods/new")
    fill(page, name="Three quarter", diameter='3/4"')
    press(page, "Save the coring rod")
    page.goto("/workshop/patterns/new")
    fill(page, name="Long", outer_diameter="19 mm", core_diameter="44.45 mm", length="76.2 mm")
    press(page, "Save the grain pattern")
    refused(page, "core")
    fill(page, outer_diameter="44.45 mm", core_diameter="0.75 in", casting_tube="Paper", coring_rod="Three quarter")
    press(page, "Save the grain pattern")
    saved(page, "in the book")
    page.goto("/workshop/cases/new")
    fill(page, name="Case 54", inner_diameter="48.2 mm", outer_diameter="54 mm", room_for_grains="320 mm")
    labelled(page, "material").select_option("aluminium_6061_t6")
    fill(page, rated_pressure="1200 psi")
    press(page, "Save the case")
    saved(page, "in the book")
    page.goto("/workshop/nozzles/new")
    fill(page, name="Graphite", throat_diameter="12.7 mm", exit_diameter="32 mm")
    press(page, "Save the nozzle")
    page.goto("/workshop/rockets/new")
    fill(page, name="Heavy", mass="16 lb", largest_body_diameter="4 in")
    press(page, "Save the rocket")
    page.goto("/workshop/fields/new")
    fill(page, name="Pasture", elevation="40 ft", ceiling="900 m")
    press(page, "Save the field")
    saved(page, "in the book")


def plan(page: Page) -> str:
    """Four grains of one pattern; gives the lot code."""
    page.goto("/plan/new")
    fill(page, formula="Everyday v1", cast_on=f"{clock.today():%Y-%m-%d}")
    choose(page.get_by_label("Grain pattern").nth(0), "Long")
    page.get_by_label("How many").nth(0).fill("4")
    press(page, "Calculate")
    worked = page.locator("#worked")
    expect(worked).to_contain_text("Melt")
    expect(worked).to_contain_text("Potassium nitrate")
    press(page, "Plan this batch")
    saved(page, "planned")
    code = page.url.rsplit("/", 1)[-1]
    assert re.fullmatch(r"\d{4}[P-Z]", code)
    return code


def go_through_checklist(page: Page, site: Site, code: str) -> None:
    """Every line answered in place, one of them as not applicable; signed; the session opens."""
    page.goto(f"/cast/{code}")
    expect(page.locator("main")).to_contain_text("hecklist")
    page.goto(f"/plan/{code}/checklist")
    press(page, "Start the checklist")
    loads = site.page_loads(page)
    progress = page.get_by_role("progressbar")
    lines = int(progress.get_attribute("max") or 0)
    for answered in range(lines):
        expect(progress).to_have_attribute("value", str(answered))
        if "dwelling" in (page.locator("#at-hand").text_content() or ""):
            page.locator("summary", has_text="Does not apply").click()
            page.get_by_role("button", name="It does not apply").click()
            refused(page, "why it does not apply")
            page.get_by_label("Why it does not apply").fill("Out in the yard.")
            page.get_by_role("button", name="It does not apply").click()
            continue
        for number in page.locator(".with-unit input").all():
            number.fill("3")
        page.get_by_role("button", name="Done").click()
    expect(page.get_by_text("This is the end of the checklist")).to_be_visible()
    expect(page.locator("li", has_text="dwelling")).to_contain_text("Out in the yard.")
    assert site.page_loads(page) == loads, "answering a line must not load the page"
    page.get_by_role("link", name="To the signature").click()
    page.get_by_label("Where").fill("Barn")
    fill(page, your_name="Robin")
    press(page, "Sign the checklist")
    press(page, "Open the cast session")
    expect(page).to_have_url(re.compile(r"/bench/\d+$"))
    expect(page.get_by_role("heading", level=1)).to_contain_text(code)
    page.goto(f"/cast/{code}")


def weigh_out(page: Page) -> None:
    """Each part from its bag; one too much is marked, struck out and weighed again."""
    for name in ("Potassium nitrate", "Sorbitol", "Sucrose"):
        part = page.get_by_role("group", name=name)
        target = re.search(r"([\d.]+) g", part.get_by_role("heading").inner_text())
        assert target is not None
        if name == "Sorbitol":
            part.get_by_label("Weighed").fill(f"{float(target[1]) * 1.05:.1f} g")
            part.get_by_role("button", name="Save the amount").click()
            expect(part).to_contain_text(re.compile(r"over by (4\.9|5)"))
            part.locator("summary").click()
            part.get_by_label("Why").fill("A spoon too much, put back.")
            part.get_by_role("button", name="Strike it out").click()
            expect(part).to_contain_text("struck out")
        part.get_by_label("Weighed").fill(f"{target[1]} g")
        part.get_by_role("button", name="Save the amount").click()
        expect(part).to_contain_text("in tolerance")


def follow_steps(page: Page, turn: Turn, until: str = "") -> None:
    """Tick the steps in order, the clock going on; note the pan's temperature once too hot."""
    while True:
        step = page.locator('li[aria-current="step"]')
        words = step.locator("p").first.inner_text()
        minutes = next((m for key, m in MINUTES.items() if words.startswith(key)), 6)
        turn(clock.now() + timedelta(minutes=minutes))
        if "first third" in words:
            fill(page, pan_temperature="262 F")
            press(page, "Save the reading")
            expect(page.locator("#temperature")).to_contain_text("Above the limit")
            fill(page, pan_temperature="244 F")
            press(page, "Save the reading")
            expect(page.locator("#temperature")).to_contain_text("Inside the working band")
        step.get_by_role("button", name=re.compile("^Done")).click()
        expect(page.locator("li.done", has_text=words.split(".")[0])).to_be_visible()
        if until and words.startswith(until):
            break
        if page.locator('li[aria-current="step"]').count() == 0:
            break


def weigh_grains(page: Page, site: Site, code: str, turn: Turn) -> None:
    """Four grains: a slip asked about, a light one to look at; decided on, and bagged."""
    page.goto(f"/cast/{code}/grains")
    loads = site.page_loads(page)
    page.get_by_label("Weighed in its tube").check()
    for number, reading in enumerate(("186.0", "184.9 g", "177,0", "185.2"), start=1):
        turn(clock.now() + timedelta(minutes=1))
        gross = labelled(page, "scale reads")
        if number == 1:
            gross.fill("1860 g")
            gross.press("Enter")
            refused(page, "186")
            gross = labelled(page, "scale reads")
        gross.fill(reading)
        gross.press("Enter")
        expect(page.get_by_role("heading", name=f"Weighed last: {code}-{number:02d}")).to_be_visible()
    expect(page.get_by_role("row", name=re.compile(f"{code}-03"))).to_contain_text("look")
    for number in range(1, 5):
        card = page.get_by_label(f"Decision on {code}-{number:02d}")
        card.get_by_label("Accept").check()
        if number == 3:
            card.get_by_role("button", name="Save this decision").click()
            refused(page, "why")
            card.get_by_label("Accept").check()
            card.get_by_label(re.compile("^Reason")).fill("Held to the light: no void.")
        labelled(card, "decided by").fill("Robin")
        card.get_by_role("button", name="Save this decision").click()
        expect(card).to_have_count(0)
    page.get_by_role("button", name=re.compile("Bag all accepted")).click()
    expect(page.get_by_role("row", name=re.compile(f"{code}-01"))).to_contain_text("Bagged")
    assert site.page_loads(page) == loads, "weighing must not load the page"


def close(page: Page, code: str) -> None:
    """What went into test pieces, what is kept, and the session is closed."""
    page.goto(f"/cast/{code}")
    fill(page, mass_in_test_pieces="10 g")
    press(page, "Save the mass")
    expect(page.locator("#closing")).to_contain_text("10.0 g")
    press(page, "Close the session")
    expect(page.locator("main")).to_contain_text("Closed")


def build(page: Page, code: str) -> str:
    """A motor of the four grains, refused while they cure; gives its code."""
    page.goto("/motors/new")
    for number in range(1, 5):
        page.get_by_label(f"{code}-{number:02d}", exact=True).check()
    fill(page, case="Case 54", nozzle="Graphite", throat_as_measured_today="12.7 mm")
    fill(page, elevation_it_will_fire_at="40 ft", grain_temperature="68 F")
    press(page, "Build it and predict")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Motor")
    main = page.locator("main")
    expect(main).to_contain_text(re.compile(r"\bJ\d{3}\b"))
    expect(page.get_by_role("img", name=re.compile("pressure", re.I))).to_be_visible()
    expect(page.get_by_role("img", name=re.compile("thrust", re.I))).to_be_visible()
    expect(main).to_contain_text("Kn, surface over throat")
    expect(main).to_contain_text("Wall stress")
    assert not re.search(r"\bsafe\b", main.inner_text(), re.I)
    return page.url.rsplit("/", 1)[-1]


def fire(page: Page, motor: str) -> None:
    """A flight, logged once although the button is pressed twice."""
    page.goto(f"/firings/new?motor={motor}")
    fill(page, kind="Flight", rocket="Heavy", field_or_test_place="Pasture", air_temperature="50 F")
    page.get_by_label("Wind", exact=True).fill("9 mph")  # beside “Wind from”
    labelled(page, "result").select_option("good")
    fill(page, what_was_seen="Straight up.", altitude_reached="1900 ft", measured_impulse="800 N·s")
    page.get_by_role("button", name="Save the firing").dblclick()
    expect(page).to_have_url(re.compile(r"/firings/\d+"))


def review(page: Page, code: str, motor: str) -> None:
    """From the lot to its firing, and from the firing back to the bag of oxidiser."""
    page.goto("/firings")
    expect(page.get_by_role("link", name=motor)).to_have_count(1)
    page.goto("/review")
    page.get_by_role("link", name=code).click()
    page.get_by_role("link", name=re.compile("Burned well")).first.click()
    expect(page.locator("main")).to_contain_text(code)
    page.get_by_text("Back to each bag").click()
    page.get_by_role("link", name="Sack 1").first.click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Sack 1")
    expect(page.locator("main")).to_contain_text(code)


def test_the_whole_job(page: Page, site: Site) -> None:
    start = clock.local(clock.now()).replace(hour=9, minute=0)
    with clock.turned_to(start) as turn:
        page.goto("/")
        expect(page.get_by_role("heading", level=1)).to_contain_text("Today")
        enter_workshop(page)
        code = plan(page)
        go_through_checklist(page, site, code)
        weigh_out(page)
        follow_steps(page, turn, until="Pull the cores")
        page.goto("/")
        expect(page.locator("main")).to_contain_text(code)
        expect(page.locator("main")).to_contain_text("Bag the grains")
        weigh_grains(page, site, code, turn)
        page.goto(f"/cast/{code}")
        expect(page.locator("li.done", has_text="Bag the grains")).to_be_visible()  # bagging them all ticked it
        expect(page.locator('li[aria-current="step"]')).to_have_count(0)
        close(page, code)
        page.goto("/motors/new")
        expect(page.get_by_label(f"{code}-01", exact=True)).to_have_count(0)
        turn(start + timedelta(days=8))
        page.goto("/")
        expect(page.locator("main")).to_contain_text("ready for a motor")
        motor = build(page, code)
        turn(start + timedelta(days=9))
        fire(page, motor)
        page.goto("/motors/new")
        expect(page.get_by_label(f"{code}-01", exact=True)).to_have_count(0)
        review(page, code, motor)
    elsewhere = [r.url for r in site.requests if not r.url.startswith((site.address, "data:"))]
    assert elsewhere == [], "the browser asked for something outside this machine"
