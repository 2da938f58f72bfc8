"""A number that can mean two things, answered with a button: by keyboard, in place, and Enter alone chooses none."""

from playwright.sync_api import Page, expect
from sqlmodel import Session, select

from app.db import writing
from app.models import Grain, Rocket
from tests import build
from tests.browser.conftest import Site


def test_a_press_on_a_reading_saves_it(site: Site, page: Page) -> None:
    page.goto("/workshop/rockets/new")
    page.get_by_label("Name").fill("Gull")
    page.get_by_label("Mass without a motor").fill("7,260 g")
    page.get_by_label("Largest body diameter").fill("102 mm")
    page.keyboard.press("Enter")
    group = page.get_by_role("group", name="Which did you mean?")
    expect(group.get_by_role("button")).to_have_text(["7.26 g", "7260 g"])
    mass = page.get_by_label("Mass without a motor")
    expect(mass).to_be_focused()
    page.keyboard.press("Enter")  # chooses none of the two
    expect(group.get_by_role("button")).to_have_text(["7.26 g", "7260 g"])
    with Session(site.engine) as session:
        assert session.exec(select(Rocket)).all() == []
    mass.focus()
    page.keyboard.press("Tab")
    expect(group.get_by_role("button", name="7.26 g")).to_be_focused()
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Rockets")).to_be_visible()
    with Session(site.engine) as session:
        assert [r.mass_kg for r in session.exec(select(Rocket))] == [7.26]


def test_a_reading_at_the_scale_is_chosen_in_place(site: Site, page: Page) -> None:
    with writing(site.engine) as session:
        code = build.cast(session).code
        session.commit()
    page.goto(f"/cast/{code}/grains")
    page.keyboard.type("1719")  # the decimal sign slipped
    page.keyboard.press("Enter")
    group = page.get_by_role("group", name="Which did you mean?")
    expect(group.get_by_role("button")).to_have_text(["171.9 g", "1719 g, as typed"])
    for button in group.get_by_role("button").all():
        box = button.bounding_box()
        assert box is not None
        assert box["height"] >= 44
    group.get_by_role("button", name="171.9 g").click()
    expect(page.get_by_role("heading", name=f"Weighed last: {code}-01")).to_be_visible()
    expect(page.get_by_label("Scale reads")).to_be_focused()
    assert site.page_loads(page) == 1, "the answer updates its region and loads no page"
    with Session(site.engine) as session:
        assert [g.gross_typed for g in session.exec(select(Grain))] == ["171.9 g"]
