"""The first start: six questions, walked as a person does, and what is missing next after each save."""

import json
import re
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from app.db import writing
from app.models import Batch, Case, CastingTube, Change, CoringRod, Formula, GrainPattern, LaunchField, Nozzle, Workshop
from app.services.book import drafts
from app.services.today import lacking
from tests.behind import engine_of
from tests.browse import Page, opened, refused, saved

TOLD = {
    "system": "Metric",
    "tube_inner_d": "44.45",
    "tube_outer_d": "47.2",
    "rod_d": "19.05",
    "grain_length": "76.2",
    "burning_ends": "2",
    "case_inner_d": "48.2",
    "case_outer_d": "54",
    "case_room": "320",
    "case_material": "aluminium_6061_t6",
    "throat_d": "12.7",
    "exit_d": "32",
    "nitrate": "65",
    "sugar": "Sorbitol",
    "pan_capacity": "900",
    "place": "Pasture",
    "elevation": "12",
}


@pytest.fixture
def new(client: TestClient) -> TestClient:
    """A book of which nothing is told, not even the pan."""
    with writing(engine_of(client)) as session:
        shop = session.get_one(Workshop, 1)
        shop.pan_capacity_kg = shop.pan_capacity_typed = shop.known_melt_kg = shop.known_melt_typed = None
        session.commit()
    return client


@contextmanager
def book(client: TestClient) -> Iterator[Session]:
    with Session(engine_of(client)) as session:
        yield session


class Hand:
    """A person's hand: every field typed or chosen and every press is one."""

    def __init__(self, client: TestClient) -> None:
        self.client, self.count, self.at = client, 0, "/"

    def press(self, href: str) -> None:
        """A link of the page that is open."""
        assert f'href="{href}"' in self.client.get(self.at).text, (self.at, href)
        self.at, self.count = href, self.count + 1

    def save(self, typed: dict[str, str], form_id: str = "form") -> None:
        """Fields that differ from what stands in them, and the button."""
        stands = opened(self.client, self.at).forms[form_id].fields
        assert typed.keys() <= stands.keys()
        self.count += 1 + sum(stands[name] != text for name, text in typed.items())
        self.at = saved(self.client, self.at, typed, form_id)


@pytest.mark.promise("A first start to a planned batch", figure="at most 25 presses and fields; 63 and 63 before")
@pytest.mark.parametrize("system", ["Metric", "US"])
def test_a_first_start_leads_to_a_planned_batch_in_25_fields_and_presses(new: TestClient, system: str) -> None:
    hand = Hand(new)
    hand.press("/start")
    hand.save({**TOLD, "system": system} if system == "Metric" else {**_inches(), "system": system})
    hand.press("/plan/new")
    hand.save({"items.0.count": "4"})
    assert hand.count <= 25
    with book(new) as session:
        batch = session.exec(select(Batch)).one()
        assert hand.at == f"/plan/{batch.code}"
        (item,) = batch.items
        pattern = session.get_one(GrainPattern, item.pattern_id)
        assert (item.count, pattern.burning_ends) == (4, 2)
        assert pattern.outer_d_m == pytest.approx(0.04445)
        assert pattern.core_d_m == pytest.approx(0.01905)
        assert session.exec(select(Formula)).one().blend == pytest.approx({"potassium_nitrate": 0.65, "sorbitol": 0.35})


def _inches() -> dict[str, str]:
    of_grains = ("tube_inner_d", "tube_outer_d", "rod_d", "grain_length")
    lengths = (*of_grains, "case_inner_d", "case_outer_d", "case_room", "throat_d", "exit_d")
    inches = {name: f"{float(TOLD[name]) / 25.4:.6g}" for name in lengths}
    return {**TOLD, **inches, "pan_capacity": "32", "elevation": "40"}


def test_only_what_was_said_is_in_the_book(new: TestClient) -> None:
    saved(new, "/start", TOLD)
    with book(new) as session:
        tube, rod = session.exec(select(CastingTube)).one(), session.exec(select(CoringRod)).one()
        case, nozzle = session.exec(select(Case)).one(), session.exec(select(Nozzle)).one()
        field, shop = session.exec(select(LaunchField)).one(), session.get_one(Workshop, 1)
        assert (tube.tare_kg, tube.length_m, rod.name) == (None, None, "Rod 19.05 mm")
        assert (case.rated_pressure_pa, case.proof_pressure_pa, case.closure, case.empty_mass_kg) == (
            None,
            None,
            "",
            None,
        )
        assert (nozzle.divergence_rad, nozzle.material) == (None, "")
        assert (field.name, field.elevation_m, field.ceiling_m) == ("Pasture", 12, None)
        assert shop.pan_capacity_kg == pytest.approx(0.9)
        assert shop.pan_capacity_typed == "900 g"
        changed = select(Change.column_name).where(Change.table_name == "workshop", Change.what == "changed")
        assert "length_unit" not in session.exec(changed).all()


def test_each_question_can_be_skipped_and_what_was_begun_is_to_be_measured(new: TestClient) -> None:
    page = new.post("/start", data={"case_inner_d": "48.2 mm", "case_material": "other", "place": "Pasture"}).text
    assert "to be measured" in page
    assert "case: outer diameter, room for grains, yield strength" in page
    assert "field: elevation" in page
    form = Page(page).forms["form"].fields
    assert (form["case_inner_d"], form["place"], form["tube_inner_d"]) == ("48.2 mm", "Pasture", "")
    with book(new) as session:
        assert not session.exec(select(Case)).all()
        assert not session.exec(select(LaunchField)).all()
        case = next(lack for lack in lacking.of(session) if lack.goal == "a motor")
        assert case.words == "Finish the case, to be measured: outer diameter, room for grains, yield strength"
    begun = opened(new, case.href).forms["form"].fields  # and its own page opens with it
    assert (begun["inner_d"], begun["material"], begun["outer_d"]) == ("48.2 mm", "other", "")
    saved(new, "/start", {"case_outer_d": "54 mm", "case_room": "320 mm", "case_material": "aluminium_6061_t6"})
    with book(new) as session:
        assert session.exec(select(Case)).one().name == "Case 54 mm"
        assert "/workshop/cases/new" not in drafts.unsaved(session)
        assert json.loads(drafts.unsaved(session)["/workshop/fields/new"].values_json) == [["name", "Pasture"]]
    form = opened(new, "/start").forms["form"].fields
    assert "case_inner_d" not in form
    saved(new, "/start", {"place": ""})  # taken out again: nothing of it is left
    with book(new) as session:
        assert drafts.unsaved(session) == {}


def test_all_that_cannot_be_is_told_at_once_and_nothing_is_written(new: TestClient) -> None:
    wrong = {**TOLD, "tube_inner_d": "50", "exit_d": "10", "nitrate": "95", "case_room": "320 g"}
    page = refused(new, "/start", wrong)
    assert all(page.fault(name) for name in ("tube_inner_d", "exit_d", "case_room"))
    page = refused(new, "/start", {**wrong, "case_room": "320"})
    assert all(page.fault(name) for name in ("tube_inner_d", "exit_d", "sugar"))
    with book(new) as session:
        assert not any(session.exec(select(table)).all() for table in (CastingTube, CoringRod, Case, Nozzle, Formula))
        assert session.get_one(Workshop, 1).pan_capacity_kg is None


@pytest.mark.promise(
    "After each save in the workshop the next missing thing is named", figure="plan, cast, motor, firing"
)
def test_after_each_save_the_next_missing_thing_is_named_with_its_link(new: TestClient) -> None:
    def follow(page: str) -> tuple[str, str]:
        found = re.search(r'Next, for (a \w+): <a href="([^"]+)">', page)
        return (found[1], found[2]) if found else ("", "")

    rod = {"name": "Rod 19", "diameter": "19.05 mm"}
    assert follow(new.post("/workshop/rods/new", data=rod).text) == ("a plan", "/workshop/formulas/new")
    assert follow(new.get("/workshop/rods").text) == ("", "")  # after a save only
    assert follow(new.post("/start", data={**TOLD, "rod_d": ""}).text) == ("a cast", "/workshop/supplies/new")
    bag = {"ingredient": "KNO3", "mark": "A", "received_on": "2024-01-05", "mass": "10 kg"}
    page = new.post("/workshop/supplies/new", data=bag).text
    assert "Enter a bag of sorbitol" in page
    page = new.post("/workshop/supplies/new", data={**bag, "ingredient": "sorbitol"}).text
    assert follow(page) == ("a cast", "/workshop/tubes/1#form-tare")
    tube = opened(new, "/workshop/tubes/1").forms["form"].fields
    assert follow(new.post("/workshop/tubes/1", data={**tube, "tare": "9.6 g"}).text)[0] == "a motor"
    case = opened(new, "/workshop/cases/1").forms["form"].fields | {"rated_pressure": "8 MPa"}
    page = new.post("/workshop/cases/1", data=case).text
    assert "Say what holds the closures of Case 54 mm" in page
    ring = {"closure": "ring", "groove_d": "51", "ring_thickness": "1.6", "land": "6", "holder_yield": "1000 MPa"}
    case = opened(new, "/workshop/cases/1").forms["form"].fields | ring
    assert follow(new.post("/workshop/cases/1", data=case).text) == ("a firing", "/workshop/rockets/new")
    rocket = {"name": "Turnstone", "mass": "16 lb", "diameter": "4 in", "drag_coefficient": "0.55"}
    assert follow(new.post("/workshop/rockets/new", data=rocket).text) == ("", "")


def test_what_was_begun_on_a_things_own_page_is_not_lost(new: TestClient) -> None:
    def begin(page: str, **texts: str) -> None:
        opened(new, page)
        assert new.post(f"/drafts?page={page}", data=texts).status_code == 204

    begin("/workshop/cases/new", inner_d="48.2 mm", rated_pressure="eight", note="bought used")
    begin("/workshop/formulas/new", **{"parts.0.ingredient": "sorbitol", "parts.0.percent": "35"})
    form = opened(new, "/start").forms["form"].fields
    assert (form["case_inner_d"], form["nitrate"]) == ("48.2 mm", "")  # 35 is no share of nitrate
    page = refused(new, "/start", TOLD)
    assert "begun already" in page.fault("sugar")
    told = new.post("/start", data={**TOLD, "sugar": "", "nitrate": ""}).text
    assert "case: finish it on its own page" in told
    assert "formula: begun on its own page" in told
    case = opened(new, "/workshop/cases/new").forms["form"].fields
    assert (case["outer_d"], case["rated_pressure"], case["note"]) == ("54 mm", "eight", "bought used")
    assert opened(new, "/workshop/formulas/new").forms["form"].fields["parts.0.percent"] == "35"
    saved(new, "/workshop/cases/new", {"name": "Long 54", "rated_pressure": "8 MPa"})
    begin("/workshop/cases/new", inner_d="30 mm")  # a second one, of which the first start knows nothing
    saved(new, "/start")
    assert opened(new, "/workshop/cases/new").forms["form"].fields["inner_d"] == "30 mm"
    stale = {"nitrate": "65", "sugar": "Sorbitol", "pan_capacity": "2 kg", "case_inner_d": "20 mm"}
    token = opened(new, "/start").forms["form"].fields["once"]
    answer = new.post("/start", data={**stale, "once": token})  # an old tab
    assert answer.status_code == 422
    assert "It is set already (900 g)" in answer.text
