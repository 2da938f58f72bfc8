"""Weighing at the bench, through the pages."""

import re
from typing import Any

import pytest
from fastapi.testclient import TestClient
from httpx import Response
from sqlmodel import Session, select

from app.db import writing
from app.models import Grain
from tests import build


def _lot(client: TestClient, **more: Any) -> str:
    """The code of a batch cast in the client's book."""
    with writing(client.app.state.engine) as session:  # type: ignore[attr-defined]
        lot = build.cast(session, **more)
        session.commit()
        return lot.code


def _weighed(client: TestClient) -> list[Grain]:
    with Session(client.app.state.engine) as session:  # type: ignore[attr-defined]
        return list(session.exec(select(Grain).order_by(Grain.id)))


def fields(page: Response, form_id: str) -> dict[str, str]:
    """What stands in a form of a page, as a browser would send it."""
    form = re.search(rf'<form [^>]*id="{form_id}".*?</form>', page.text, re.S)
    assert form, f"no form {form_id}"
    sent: dict[str, str] = {}
    for tag in re.findall(r"<input[^>]*>", form[0]):
        attributes = dict(re.findall(r'([\w-]+)="([^"]*)"', tag))
        if attributes.get("type") in ("checkbox", "radio") and " checked" not in tag:
            continue
        sent[attributes["name"]] = attributes.get("value", "on")
    for name, options in re.findall(r'<select[^>]*name="(\w+)".*?>(.*?)</select>', form[0], re.S):
        chosen = re.search(r'<option value="([^"]*)" selected', options)
        sent[name] = chosen[1] if chosen else ""
    return sent


def _weigh(client: TestClient, code: str, gross: str, **more: str) -> Response:
    page = client.get(f"/cast/{code}/grains")
    return client.post(f"/cast/{code}/grains", data={**fields(page, "next"), "gross": gross, **more})


def test_the_next_grain_is_proposed_until_the_plan_is_done(client: TestClient) -> None:
    code = _lot(client, count=2)
    assert fields(client.get(f"/cast/{code}/grains"), "next")["number"] == "1"
    page = _weigh(client, code, "172 g")
    assert page.status_code == 200
    assert f"Weighed last: {code}-01" in page.text
    assert "of ideal density" in page.text
    assert fields(page, "next")["number"] == "2"
    assert re.search(r'name="gross"[^>]*autofocus', page.text, re.S)


def test_a_second_pattern_is_proposed_when_the_first_is_complete(client: TestClient) -> None:
    with writing(client.app.state.engine) as session:  # type: ignore[attr-defined]
        first, second = build.pattern(session), build.pattern(session, length="50 mm")
        items = [{"pattern_id": first.pk, "count": 1}, {"pattern_id": second.pk, "count": 1}]
        code, wanted = build.cast(session, items=items).code, [str(first.pk), str(second.pk)]
        session.commit()
    proposed = [fields(client.get(f"/cast/{code}/grains"), "next")["pattern_id"]]
    proposed.append(fields(_weigh(client, code, "172 g"), "next")["pattern_id"])
    assert proposed == wanted


def test_a_slipped_decimal_sign_is_asked_about_and_can_be_confirmed(client: TestClient) -> None:
    code = _lot(client)
    page = _weigh(client, code, "1720")
    assert page.status_code == 422
    assert "Did you mean 172.0 g?" in page.text
    assert "Yes, it really weighs that" in page.text
    assert fields(page, "next")["gross"] == "1720"
    assert _weighed(client) == []
    page = client.post(f"/cast/{code}/grains", data={**fields(page, "next"), "sure": "on"})
    assert page.status_code == 200
    assert [g.gross_kg for g in _weighed(client)] == [pytest.approx(1.72)]


def test_the_question_is_not_there_unasked(client: TestClient) -> None:
    assert "Yes, it really weighs that" not in client.get(f"/cast/{_lot(client)}/grains").text


@pytest.mark.parametrize(
    ("typed", "field", "words"),
    [
        ({"gross": ""}, "gross", "Type a mass, such as 123.4 g."),
        ({"gross": "-172 g"}, "gross", "more than"),
        ({"gross": "0"}, "gross", "more than"),
        ({"gross": "heavy"}, "gross", "is not a mass"),
        ({"gross": "172 mm"}, "gross", "goes with a length"),
        ({"gross": "172 stone"}, "gross", "not known here"),
        ({"gross": "172", "number": "0"}, "number", "at least 1"),
        ({"gross": "172", "number": ""}, "number", "Fill this in."),
        ({"gross": "172", "pattern_id": ""}, "pattern_id", "Choose one"),
        ({"gross": "172", "core_d": "60 mm"}, "core_d", "does not fit in a grain of 44.45 mm"),
        ({"gross": "172", "in_tube": "on"}, "tare", "Type the mass of one empty tube"),
    ],
)
def test_faults_are_told_beside_the_field_and_nothing_is_weighed(
    client: TestClient, typed: dict[str, str], field: str, words: str
) -> None:
    code = _lot(client)
    page = _weigh(client, code, **typed)
    assert page.status_code == 422
    fault = re.search(rf'id="next-{field}-error">([^<]*)<', page.text)
    assert fault, page.text
    assert words in fault[1]
    assert re.search(rf'id="next-{field}"[^>]*aria-invalid="true"', page.text, re.S)
    assert fields(page, "next")["gross"] == typed["gross"]
    assert _weighed(client) == []


def test_commas_and_a_scale_s_own_line_are_read(client: TestClient) -> None:
    code = _lot(client)
    assert _weigh(client, code, "+ 172,35 g").status_code == 200
    assert _weighed(client)[0].gross_kg == pytest.approx(0.17235)


def test_a_number_that_is_taken_is_refused_beside_it(client: TestClient) -> None:
    code = _lot(client)
    _weigh(client, code, "172 g")
    page = _weigh(client, code, "171 g", number="1")
    assert page.status_code == 422
    assert "The next free number is 2" in page.text
    assert len(_weighed(client)) == 1


def test_a_double_press_weighs_once(client: TestClient) -> None:
    code = _lot(client)
    sent = {**fields(client.get(f"/cast/{code}/grains"), "next"), "gross": "172 g"}
    for _ in range(2):
        page = client.post(f"/cast/{code}/grains", data=sent)
    assert "not saved a second time" in page.text
    assert len(_weighed(client)) == 1


def test_two_tabs_with_the_same_number_weigh_one(client: TestClient) -> None:
    code = _lot(client)
    tabs = [fields(client.get(f"/cast/{code}/grains"), "next") for _ in range(2)]
    answers = [client.post(f"/cast/{code}/grains", data={**tab, "gross": "172 g"}) for tab in tabs]
    assert [a.status_code for a in answers] == [200, 422]
    assert len(_weighed(client)) == 1


def _decide(client: TestClient, code: str, page: Response, **typed: str) -> Response:
    return client.post(f"/cast/{code}/grains/1/decision", data={**fields(page, "decide-1"), **typed})


def test_a_decision_is_kept_beside_the_verdict(client: TestClient) -> None:
    code = _lot(client)
    page = _weigh(client, code, "165 g")
    assert "look at it" in page.text
    refused = _decide(client, code, page, decision="accept", person="Ada")
    assert refused.status_code == 422
    assert "write why you accept it all the same" in refused.text
    page = _decide(client, code, page, decision="accept", person="Ada", why="chip at one end only")
    assert "chip at one end only" in page.text
    (grain,) = _weighed(client)
    assert (grain.verdict, grain.decision, grain.decided_by) == ("look", "accept", "Ada")


@pytest.mark.parametrize("decision", ["hold", "reject"])
def test_holding_and_rejecting_need_a_reason(client: TestClient, decision: str) -> None:
    code = _lot(client)
    page = _decide(client, code, _weigh(client, code, "172 g"), decision=decision, person="Ada")
    assert page.status_code == 422
    assert re.search(r'id="decide-1-why"[^>]*aria-invalid="true"', page.text, re.S)
    assert re.search(rf'value="{decision}" checked', page.text)


def test_no_decision_is_asked_for(client: TestClient) -> None:
    code = _lot(client)
    page = _weigh(client, code, "165 g")
    sent = {k: v for k, v in fields(page, "decide-1").items() if k != "decision"}
    refused = client.post(f"/cast/{code}/grains/1/decision", data=sent)
    assert refused.status_code == 422
    assert 'id="decide-1-decision-error">Choose one' in refused.text


def test_two_tabs_do_not_decide_twice(client: TestClient) -> None:
    code = _lot(client)
    page = _weigh(client, code, "172 g")
    other = client.get(f"/cast/{code}/grains")
    _decide(client, code, page, decision="accept", person="Ada")
    late = _decide(client, code, other, decision="reject", why="crack", person="Bo")
    assert late.status_code == 409
    assert "changed in another tab" in late.text
    assert _weighed(client)[0].decision == "accept"


def test_all_accepted_grains_go_into_their_bags(client: TestClient) -> None:
    code = _lot(client)
    _decide(client, code, _weigh(client, code, "172 g"), decision="accept", person="Ada")
    page = client.get(f"/cast/{code}/grains")
    sent = fields(page, "bag-all")
    assert "Bagged" in client.post(f"/cast/{code}/grains/bag", data=sent).text
    assert client.post(f"/cast/{code}/grains/bag", data=sent).status_code == 200
    assert client.post(f"/cast/{code}/grains/bag", data={"once": "another"}).status_code == 422
    assert _weighed(client)[0].bagged_at is not None


def test_the_lot_s_mass_is_on_one_line(client: TestClient) -> None:
    page = _weigh(client, _lot(client, count=1), "172 g")
    line = " ".join(re.sub(r"<[^>]+>", "", page.text).split())
    assert re.search(r"weighed in = 172\.0 g in 1 grain \+ test pieces not entered \+ 0\.0 g leftovers", line)


def test_a_pour_that_was_not_ticked_off_is_pointed_out(client: TestClient) -> None:
    assert "The pour is not ticked off" not in client.get(f"/cast/{_lot(client)}/grains").text
    assert "The pour is not ticked off" in client.get(f"/cast/{_lot(client, until='weigh')}/grains").text


def test_three_grains_make_a_chart_of_their_densities(client: TestClient) -> None:
    code = _lot(client)
    for gross, drawn in (("172", False), ("171", False), ("173", True)):
        assert (f"Density of the grains of {code}" in _weigh(client, code, gross).text) == drawn


def test_a_lot_that_was_not_cast_says_what_comes_first(client: TestClient) -> None:
    with writing(client.app.state.engine) as session:  # type: ignore[attr-defined]
        code = build.batch(session).code
        session.commit()
    page = client.get(f"/cast/{code}/grains")
    assert "Nothing was cast" in page.text
    assert f'href="/cast/{code}"' in page.text


def test_an_unknown_lot_or_grain_is_not_there(client: TestClient) -> None:
    assert client.get("/cast/99Z9/grains").status_code == 404
    code = _lot(client)
    assert client.post(f"/cast/{code}/grains/7/decision", data={}).status_code == 404


def test_what_was_typed_comes_back_until_it_is_saved(client: TestClient) -> None:
    code = _lot(client)
    sent = {**fields(client.get(f"/cast/{code}/grains"), "next"), "gross": "17"}
    client.post(f"/drafts?page=/cast/{code}/grains", data=sent)
    assert fields(client.get(f"/cast/{code}/grains"), "next")["gross"] == "17"
    client.post(f"/cast/{code}/grains", data={**sent, "gross": "172"})
    client.post(f"/drafts?page=/cast/{code}/grains", data=sent)  # the draft that comes in after its own save
    assert fields(client.get(f"/cast/{code}/grains"), "next")["gross"] == ""
