"""Next summer 12 flights of this rocket to about 550 m and 6 of a smaller one: what must I cast, when, in how many
evenings, what must I buy, and what will it cost? Answered in a browser from a workshop that has hardware and no more;
what hands do is counted: each press of a button or a link, each field typed or chosen.
"""

import re
from datetime import timedelta

import pytest
from playwright.sync_api import Locator, Page, expect

from app import clock
from app.db import writing
from app.services.book import workshop
from tests import build
from tests.browser.conftest import Site
from tests.browser.walk import labelled

MOST = 40
"""Presses and fields, of the issue that asked for it."""


@pytest.fixture
def shop(site: Site) -> Site:
    """Two sizes of case with their grains, nozzles and drills, a formula, two rockets and a field; an empty shelf."""
    with writing(site.engine) as session:
        shop = workshop.get(session)
        shop.pan_capacity_kg, shop.pan_capacity_typed = 2.5, "2.5 kg"
        for name, outer, core, length, owned in (
            ("Gull 54", "44.45 mm", "19.05 mm", "76.2 mm", 4),
            ("Plover 38", "31 mm", "10 mm", "55 mm", 6),
        ):
            rod = build.rod(session, name=f"Rod of {name}", diameter=core, owned=owned)
            build.pattern(session, name=name, outer_d=outer, core_d=core, length=length, coring_rod_id=rod.pk)
        build.case(session, name="Long 54", empty_mass="862 g")
        build.case(
            session,
            name="Short 38",
            inner_d="34 mm",
            outer_d="38.1 mm",
            chamber_length="180 mm",
            rated_pressure="7 MPa",
            empty_mass="300 g",
        )
        build.nozzle(session, name="Graphite 12.7")
        build.nozzle(session, name="Steel 8", throat_d="8 mm", exit_d="19 mm")
        build.formula(session, "Plain sorbitol", {"potassium nitrate": "65 %", "sorbitol": "35 %"})
        chutes = {"main_d": "1.2 m", "main_cd": "0.8", "rail_length": "3 m"}
        build.rocket(session, name="Turnstone", mass="4 kg", diameter="90 mm", **chutes)
        build.rocket(session, name="Knot", mass="1.35 kg", diameter="54 mm", **chutes)
        build.field(session, name="Pasture", radius="1500 m")
        session.commit()
    return site


class Hands:
    """What a person does, counted."""

    def __init__(self, page: Page) -> None:
        self.page, self.done = page, list[str]()

    def press(self, words: str, role: str = "button") -> None:
        self.done.append(words)
        found = self.page.get_by_role("link" if role == "link" else "button", name=words, exact=True).first
        with self.page.expect_event("load"):
            found.click()

    def tick(self, words: str) -> None:
        self.done.append(words)
        self.page.get_by_label(words).check()

    def fill(self, **texts: str) -> None:
        for name, text in texts.items():
            self.done.append(f"{name}: {text}")
            self._set(labelled(self.page.locator("form"), name).first, text)

    def _set(self, field: Locator, text: str) -> None:
        if field.evaluate("element => element.tagName") == "SELECT":
            field.select_option(label=text)
        else:
            field.fill(text)


@pytest.mark.promise(
    "What to cast, when, what to buy and what it costs for 18 wanted flights, from an empty shelf",
    figure="at most 40 presses and fields",
)
def test_eighteen_flights_are_answered_from_an_empty_workshop(shop: Site, page: Page) -> None:
    hands = Hands(page)
    page.goto("/")
    hands.press("Plan", "link")
    hands.press("Season", "link")
    hands.tick("Tuesday")
    hands.tick("Thursday")
    hands.press("Begin the season")
    by = (clock.today() + timedelta(days=200)).isoformat()
    hands.fill(how_many="12", rocket="Turnstone", height_from="500 m", height_up_to="600 m", by=by)
    hands.press("Write it on the list")
    hands.fill(how_many="6", rocket="Knot", height_from="350 m", height_up_to="600 m")
    hands.press("Write it on the list")
    for _ in range(2):
        hands.press("Choose a motor", "link")
        if page.get_by_role("button", name="Choose this one").count() == 0:
            hands.done.append("Look for motors")
            page.get_by_role("button", name=re.compile("^Look")).first.click()
        expect(page.get_by_role("button", name="Choose this one")).to_be_visible(timeout=30_000)
        hands.press("Choose this one")
    hands.press("To the evenings", "link")
    hands.press("Work it out")
    expect(page.locator("main .answer-words")).to_contain_text(re.compile(r"Cast \d+ melts on \d+ evenings"))
    page.goto("/workshop/sizes/new")
    hands.done.append("Sizes sold")
    hands.fill(what="Potassium nitrate", size="10 kg", price="€ 38")
    hands.press("Save the size")
    hands.done.append("Add a size")
    page.goto("/workshop/sizes/new")
    hands.fill(what="Sorbitol", size="5 kg", price="€ 29")
    hands.press("Save the size")
    hands.press("Plan", "link")
    hands.press("Season", "link")
    answer = " ".join(page.locator("main .answer-words").inner_text().split())
    assert re.search(r"Cast \d+ melts on \d+ evenings, the last on \d+ \w+ \d{4}\.", answer), answer
    assert "0 of 18 flights are on the shelf." in answer
    assert re.search(r"Buy potassium nitrate \(10 kg\) and sorbitol \(\d?.*5 kg\), [\d.]+ €\.", answer), answer
    assert re.search(r"All that is left costs [\d.]+ €\.", answer), answer
    assert len(hands.done) <= MOST, hands.done
