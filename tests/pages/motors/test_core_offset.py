"""The page of a core off centre, and the forms of what a prediction assumes, walked without script."""

import re
from urllib.parse import urlencode

import pytest
from fastapi.testclient import TestClient

from app.db import writing
from tests import build
from tests.behind import engine_of
from tests.browse import Page, opened, refused, saved

ASKED = {
    "formula_id": "1",
    "pattern_id": "1",
    "case_id": "1",
    "nozzle_id": "1",
    "count": "4",
    "density": "95 %",
    "field_elevation": "0 m",
    "grain_temperature": "20 °C",
    "faulty": "2",
    "offset_fore": "0 mm",
    "offset_aft": "3 mm",
}


def filled(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        build.formula(session, name="Marram")
        build.pattern(session)
        build.case(session, name="Long 54")
        build.nozzle(session)
        session.commit()


def test_an_empty_book_says_what_is_needed(client: TestClient) -> None:
    assert "enter a formula" in client.get("/motors/coring").text


def test_the_page_answers_from_its_address(client: TestClient) -> None:
    filled(client)
    form = opened(client, "/motors/coring").forms["coring"]
    assert form.action == "/motors/coring"
    assert form.fields["count"] == "4"
    answer = client.get("/motors/coring?" + urlencode(ASKED))
    assert answer.status_code == 200
    words = re.sub(r"<[^>]+>", " ", answer.text)
    for said in ("until the flame first reaches the wall", "A bared wall is heated", "How hot the wall gets is not"):
        assert said in words
    assert "As cast: highest" in words  # the chart in words
    assert "Wall laid bare" in words
    assert not re.search(r"\bis safe\b", words)


def test_a_fault_stands_beside_its_field_and_what_was_typed_is_kept(client: TestClient) -> None:
    filled(client)
    answer = client.get("/motors/coring?" + urlencode({**ASKED, "offset_aft": "20 mm"}))
    assert answer.status_code == 422
    page = Page(answer.text)
    assert "break through the side" in page.fault("offset_aft", "coring")
    assert page.forms["coring"].fields["offset_aft"] == "20 mm"
    missing = client.get("/motors/coring?" + urlencode({**ASKED, "offset_fore": ""}))
    assert Page(missing.text).fault("offset_fore", "coring")


def test_the_design_page_leads_there_with_its_answers(client: TestClient) -> None:
    filled(client)
    same = {name: text for name, text in ASKED.items() if not name.startswith("offset") and name != "faulty"}
    answer = client.get("/motors/design?" + urlencode(same))
    link = re.search(r'href="(/motors/coring\?[^"]+)"', answer.text)
    assert link
    form = opened(client, link[1].replace("&amp;", "&")).forms["coring"]
    assert form.fields["formula_id"] == "1"
    assert form.fields["faulty"] == "1"
    assert form.fields["offset_fore"] == ""


# --- What a prediction assumes -------------------------------------------------------------------


def test_closures_are_entered_shown_and_saved_again_unchanged(client: TestClient) -> None:
    filled(client)
    bolts = {
        "closure": "bolts",
        "bolt_count": "8",
        "hole_d": "5 mm",
        "shank_d": "4.2 mm",
        "edge": "12 mm",
        "holder_yield": "640 MPa",
        "wall_temperature": "60 °C",
    }
    saved(client, "/workshop/cases/1", bolts)
    page = client.get("/workshop/cases/1").text
    assert "The closures by formula" in page
    assert page.index("holes crushed") < page.index("bolts sheared")  # the weakest first
    assert "outrank every formula" in page
    before = opened(client, "/workshop/cases/1").forms["form"].fields
    saved(client, "/workshop/cases/1")
    after = opened(client, "/workshop/cases/1").forms["form"].fields
    assert {k: v for k, v in after.items() if k not in ("once", "version")} == {
        k: v for k, v in before.items() if k not in ("once", "version")
    }
    fault = refused(client, "/workshop/cases/1", {"edge": ""})
    assert "need it; measure it" in fault.fault("edge")
    assert "5 mm" in fault.forms["form"].fields["hole_d"]


def test_an_own_burn_law_is_typed_shown_and_told_as_missing_by_halves(client: TestClient) -> None:
    filled(client)
    half = refused(client, "/workshop/formulas/1", {"law_rate": "8,4 mm/s"})
    assert "fill in both, or neither" in half.fault("law_exponent")
    law = {
        "law_rate": "8,4 mm/s",
        "law_exponent": "0,31",
        "law_from": "1 MPa",
        "law_to": "6 MPa",
        "law_source": "nine strands",
    }
    saved(client, "/workshop/formulas/1", law)
    page = client.get("/workshop/formulas/1").text
    assert "nine strands" in page
    assert "8.40 mm/s" in page
    saved(client, "/workshop/formulas/1", dict.fromkeys(law, ""))
    assert "Borrowed" in client.get("/workshop/formulas/1").text  # 65/28/7 has no published law


def test_settings_of_the_igniter_and_of_heat_are_kept(client: TestClient) -> None:
    saved(client, "/workshop/settings", {"rate_per_kelvin": "0,4 %/°C", "igniter_pressure": "1 MPa"})
    form = opened(client, "/workshop/settings").forms["form"]
    assert (form.fields["rate_per_kelvin"], form.fields["igniter_pressure"]) == ("0.4 %/°C", "1 MPa")
    assert refused(client, "/workshop/settings", {"igniter_pressure": "0.1 MPa"}).fault("igniter_pressure")


def test_the_peak_is_told_as_a_share_of_the_case_s_rating(client: TestClient) -> None:
    filled(client)  # a case rated at 8 MPa
    words = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", client.get("/motors/coring?" + urlencode(ASKED)).text))
    peak = re.findall(r"As cast: highest ([\d.]+) MPa", words)[0]
    (share, limit) = re.findall(r"Peak against the case ([\d.]+) % of its limit, ([\d.]+) MPa", words)[0]
    assert float(limit) == 8
    assert float(share) == pytest.approx(100 * float(peak) / 8, abs=0.2)
