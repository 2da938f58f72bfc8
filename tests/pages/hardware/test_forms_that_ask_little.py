"""Forms ask for what a choice needs, all of it in one answer, and for nothing else."""

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session

from app import models
from app.db import writing
from app.models import Case
from app.models.base import FormIn
from app.settings import resource
from tests import build
from tests.behind import engine_of
from tests.browse import Page, opened, refused, saved, send

NEW = "/workshop/cases/new"
WHOLE = {
    "name": "Long 54",
    "inner_d": "48.2 mm",
    "outer_d": "54 mm",
    "chamber_length": "320 mm",
    "material": "aluminium_6061_t6",
}
RING = {"groove_d": "51 mm", "ring_thickness": "1.6 mm", "land": "6 mm", "holder_yield": "1000 MPa"}
BOLTS = {"bolt_count": "8", "hole_d": "5 mm", "shank_d": "4.2 mm", "edge": "12 mm", "holder_yield": "640 MPa"}


@pytest.mark.promise("One refused save names every field at fault", figure="a case: 10 fields, 1 save")
def test_one_save_of_an_empty_case_with_a_ring_names_all_that_is_missing(client: TestClient) -> None:
    page = refused(client, NEW, {"closure": "ring", "proof_pressure": "9 MPa"})
    missing = [*WHOLE, *RING, "proof_on"]
    assert {name for name in page.forms["form"].described if page.fault(name)} == set(missing)
    assert "A ring in a groove needs it" in page.fault("land")
    assert "“Proof-tested to”" in page.fault("proof_on")
    typed = {**WHOLE, **RING, "closure": "ring", "proof_pressure": "9 MPa", "proof_on": "2024-03-01"}
    saved(client, NEW, typed)  # and the second save is the last


def test_what_contradicts_is_told_with_what_is_missing(client: TestClient) -> None:
    page = refused(client, NEW, {"inner_d": "54 mm", "outer_d": "48 mm", "closure": "bolts", **BOLTS, "edge": ""})
    assert "must be smaller than the outer" in page.fault("inner_d")
    assert page.fault("name")
    assert "Bolts or pins need it" in page.fault("edge")


def test_what_each_service_refuses_comes_in_one_answer(client: TestClient) -> None:
    saved(client, NEW, WHOLE)
    typed = {**WHOLE, "name": "LONG 54", "inner_d": "54 mm", "proof_pressure": "9 MPa", "proof_on": "2999-01-01"}
    page = refused(client, NEW, typed)
    assert "in the book already" in page.fault("name")
    assert "smaller than the outer" in page.fault("inner_d")
    assert "still to come" in page.fault("proof_on")


def test_what_is_not_asked_for_is_neither_checked_nor_kept_and_told(client: TestClient) -> None:
    typed = {**WHOLE, "closure": "bolts", **BOLTS, "groove_d": "a finger wide", "land": "6 mm", "yield_strength": "x"}
    answer = client.post(NEW, data=typed)
    assert answer.status_code == 200
    notice = Page(answer.text).texts["notice"]
    assert "Not kept, for the choices made do not ask for it: Yield strength (x), Groove diameter (a finger wide)" in (
        notice
    )
    with Session(engine_of(client)) as session:
        case = session.get_one(Case, 1)
        assert (case.groove_d_m, case.land_m, case.yield_strength_pa, case.bolt_count) == (None, None, None, 8)
    saved(client, "/workshop/cases/1", {"closure": "", "why": "They are held otherwise."})
    with Session(engine_of(client)) as session:
        assert session.get_one(Case, 1).hole_d_m is None


def test_each_field_of_a_choice_has_the_class_and_the_rule_that_hides_it(client: TestClient) -> None:
    css = resource("static") / "css" / "forms.css"
    rules = css.read_text(encoding="utf-8")
    forms = [form for form in _subclasses(FormIn) if form.whens and form.__module__.startswith(models.__name__)]
    assert len(forms) >= 4
    for form in forms:
        for when in form.whens:
            assert f".{when.css}" in rules, when
            assert f'[name="{when.choice}"]' in rules, when
            assert all(f'[value="{value}"]' in rules for value in when.values), when
            assert {when.choice, *when.fields} <= form.model_fields.keys()
    page = client.get(NEW).text
    assert '<fieldset class="when-closure-ring">' in page
    assert 'class="field  when-material-other"' in page


def _subclasses(of: type[FormIn]) -> list[type[FormIn]]:
    return [found for one in of.__subclasses__() for found in (one, *_subclasses(one))]


def test_a_firing_is_asked_for_a_rocket_only_if_it_flew(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        built = build.motor_build(session)
        motor, rocket = str(built.pk), str(build.rocket(session).pk)
        session.commit()
    form = opened(client, "/firings/new").forms["form"].fields
    page = Page(client.post("/firings/new", data={**form, "motor_build_id": motor, "kind": "flight"}).text)
    assert "A flight needs its rocket" in page.fault("rocket_id")
    assert page.fault("result")
    typed = {"motor_build_id": motor, "kind": "static", "result": "good", "rocket_id": rocket, "altitude": "300 m"}
    answer = send(client, "/firings/new", typed)
    assert answer.status_code == 303
    assert "Altitude%20reached%20%28300%20m%29" in answer.headers["set-cookie"]
