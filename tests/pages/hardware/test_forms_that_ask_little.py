"""Forms ask for what a choice needs, all of it in one answer, and for nothing else."""

from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session

from app import models
from app.db import writing
from app.errors import Refused
from app.models import Case
from app.models.base import FormIn
from app.services.cast import needs
from app.services.motors import builds
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


def test_a_plan_and_a_build_tell_all_that_is_in_the_way_at_once(session: Session) -> None:
    lot, shape = build.batch(session), build.pattern(session)
    left = build.leftover(session, lot)
    plan = build.plan_in(
        session,
        items=[{"pattern_id": shape.pk, "count": 1}, {"pattern_id": shape.pk, "count": 2}],
        remelts=[{"leftover_id": left.pk, "mass": "9 kg"}],
    )
    with pytest.raises(Refused) as caught:
        needs.work_out(session, plan)
    told = [caught.value, *caught.value.also]
    assert [refused.field for refused in told] == ["items.1.pattern_id", "remelts.0.mass"]
    first = build.motor_build(session)
    again = build.build_in(session, case_id=first.case_id, nozzle_id=first.nozzle_id)
    with pytest.raises(Refused) as caught:
        builds.build(session, again)
    assert {refused.field for refused in (caught.value, *caught.value.also)} == {"case_id", "nozzle_id"}


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
    typed = {"motor_build_id": motor, "kind": "static", "result": "good", "rocket_id": rocket}
    told = refused(client, "/firings/new", {**typed, "altitude": "300 m"})  # what was measured is never left out
    assert "Only a flight reaches an altitude" in told.fault("altitude")
    answer = send(client, "/firings/new", {**typed, "altitude": ""})
    assert answer.status_code == 303
    assert "Not%20kept" in answer.headers["set-cookie"]
    assert "Rocket%20" in answer.headers["set-cookie"]


LAST = {
    "supplies": ({"ingredient": "KNO3", "mark": "A", "received_on": "2024-01-05", "mass": "10 kg"}, {"ingredient"}),
    "cases": ({**WHOLE, "closure": "ring", **RING, "rated_pressure": "8 MPa"}, {"material", "closure"}),
    "nozzles": ({"name": "N", "throat_d": "12.7 mm", "exit_d": "32 mm", "material": "graphite"}, {"material"}),
}


@pytest.mark.parametrize("slug", LAST)
def test_a_new_one_begins_like_the_last_one_and_says_so_and_measured_values_stay_away(
    client: TestClient, slug: str
) -> None:
    typed, kept = LAST[slug]
    url = f"/workshop/{slug}/new"
    assert "Begun like the last one" not in client.get(url).text
    saved(client, url, typed)
    text = client.get(url).text
    assert "Begun like the last one" in text
    assert "Nothing measured is taken over." in text
    fields = Page(text).forms["form"].fields
    filled = {name for name, stands in fields.items() if stands} - {"once", "received_on"}
    assert filled == kept


def test_a_new_firing_begins_like_the_last_one(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        rocket, field = build.rocket(session), build.field(session)
        more: dict[str, Any] = {
            "kind": "flight",
            "rocket_id": rocket.pk,
            "launch_field_id": field.pk,
            "igniter": "Dipped bulb",
        }
        build.firing(session, altitude="250 m", wind="3 m/s", **more)
        build.motor_build(session)
        session.commit()
        stands = {"kind": "flight", "rocket_id": str(rocket.pk), "launch_field_id": str(field.pk)}
    text = client.get("/firings/new").text
    assert "Begun like the last one, of " in text
    fields = Page(text).forms["form"].fields
    assert {name: fields[name] for name in (*stands, "igniter")} == {**stands, "igniter": "Dipped bulb"}
    assert (fields["altitude"], fields["wind"], fields["result"]) == ("", "", "")
