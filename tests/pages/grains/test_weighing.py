"""Weighing at the bench, through the pages."""

import re
from datetime import timedelta
from typing import Any

import pytest
from fastapi.testclient import TestClient
from httpx2 import Response
from sqlmodel import Session, col, select

from app import clock
from app.db import writing
from app.models import Grain
from tests import build
from tests.behind import engine_of
from tests.browse import Page


def _lot(client: TestClient, **more: Any) -> str:
    """The code of a batch cast in the client's book."""
    with writing(engine_of(client)) as session:
        lot = build.cast(session, **more)
        session.commit()
        return lot.code


def _weighed(client: TestClient) -> list[Grain]:
    with Session(engine_of(client)) as session:
        return list(session.exec(select(Grain).order_by(col(Grain.id))))


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
    with writing(engine_of(client)) as session:
        first, second = build.pattern(session), build.pattern(session, length="50 mm")
        items = [{"pattern_id": first.pk, "count": 1}, {"pattern_id": second.pk, "count": 1}]
        code, wanted = build.cast(session, items=items).code, [str(first.pk), str(second.pk)]
        session.commit()
    proposed = [fields(client.get(f"/cast/{code}/grains"), "next")["pattern_id"]]
    proposed.append(fields(_weigh(client, code, "172 g"), "next")["pattern_id"])
    assert proposed == wanted


def test_the_tube_of_the_pattern_is_taken_off_unless_it_is_said_otherwise(client: TestClient) -> None:
    """A tube forgotten makes a grain with voids look as dense as a good one."""
    with writing(engine_of(client)) as session:
        tubed = build.pattern(session, casting_tube_id=build.tube(session, tare="9.6 g").pk)
        code = build.cast(session, items=[{"pattern_id": tubed.pk, "count": 3}]).code
        session.commit()
    page = client.get(f"/cast/{code}/grains")
    assert fields(page, "next")["in_tube"] == "on"
    assert "Then its tube is taken off: 9.60 g" in page.text
    assert "170.4 g without its tube (9.6 g)" in _weigh(client, code, "180 g").text
    bare = {
        name: text for name, text in fields(client.get(f"/cast/{code}/grains"), "next").items() if name != "in_tube"
    }
    page = client.post(f"/cast/{code}/grains", data={**bare, "gross": "170 g"})
    assert f"Weighed last: {code}-02" in page.text
    assert "in_tube" not in fields(page, "next"), "the next one is weighed as this one was"


def test_what_comes_after_the_last_grain_is_told(client: TestClient) -> None:
    code = _lot(client, count=2)
    _weigh(client, code, "172 g")
    assert "planned grains are weighed and decided on" not in _weigh(client, code, "173 g").text
    accept = fields(client.get(f"/cast/{code}/grains"), "accept-all")
    client.post(f"/cast/{code}/grains/accept", data={**accept, "person": "Ada"})
    assert "planned grains are weighed and decided on" not in client.get(f"/cast/{code}/grains").text, "not bagged yet"
    page = client.post(f"/cast/{code}/grains/bag", data=fields(client.get(f"/cast/{code}/grains"), "bag-all")).text
    assert "All 2 planned grains are weighed and decided on." in page
    assert f'href="/labels?lot={code}"' in page
    assert f'href="/cast/{code}#closing"' in page


def test_a_slipped_decimal_sign_is_asked_about_and_can_be_confirmed(client: TestClient) -> None:
    code = _lot(client)
    page = _weigh(client, code, "1720")
    assert page.status_code == 422
    assert "Did you mean 172 g?" in page.text
    asked = Page(page.text).forms["next"]
    assert list(asked.answers) == ["172 g", "1720 g, as typed"]
    assert fields(page, "next")["gross"] == "1720"
    assert _weighed(client) == []
    page = client.post(f"/cast/{code}/grains", data=asked.answered("1720 g, as typed"))
    assert page.status_code == 200
    assert [g.gross_kg for g in _weighed(client)] == [pytest.approx(1.72)]


def test_the_question_is_not_there_unasked(client: TestClient) -> None:
    assert "as typed" not in client.get(f"/cast/{_lot(client)}/grains").text


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
    with writing(engine_of(client)) as session:
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


# --- A scale that types, and scanned serials -----------------------------------------------------


@pytest.mark.parametrize(
    ("line", "status", "words"),
    [
        ("ST,GS,+0172.3g", 200, "Weighed last"),
        ("N     +   172.30 g  ", 200, "Weighed last"),
        ("US,GS,+0172.3g", 422, "not at rest"),
        ("OL,GS,+9999.9g", 422, "overload"),
        ("ST,GS,-0172.3g", 422, "more than nothing"),
        ("READY", 422, "is not a mass"),
    ],
)
def test_the_line_of_a_scale_is_weighed_or_refused_in_words(
    client: TestClient, line: str, status: int, words: str
) -> None:
    page = _weigh(client, _lot(client), line)
    assert page.status_code == status
    assert words in page.text
    assert [g.mass_kg for g in _weighed(client)] == ([pytest.approx(0.1723)] if status == 200 else [])


def test_a_serial_scanned_instead_of_a_weight_chooses_its_grain_and_saves_nothing(client: TestClient) -> None:
    code = _lot(client)
    _weigh(client, code, "172 g")
    for place in ("gross", "number"):
        page = _weigh(client, code, **{"gross": "", place: f"{code}-01"})
        assert page.status_code == 200
        assert f"On the scale again: {code}-01" in page.text
        assert (fields(page, "next")["gross"], fields(page, "next")["number"]) == ("", "1")
    assert len(_weighed(client)) == 1
    page = _weigh(client, code, f"{code}-07", length="70 mm")
    assert "Next on the scale" in page.text
    assert (fields(page, "next")["number"], fields(page, "next")["length"]) == ("7", "70 mm")


@pytest.mark.parametrize(
    "typed", [{"gross": "99Z9-01"}, {"gross": "", "number": "99Z9-01"}, {"gross": "172 g", "number": "99Z9-01"}]
)
def test_the_grain_of_another_lot_is_refused_in_words(client: TestClient, typed: dict[str, str]) -> None:
    code = _lot(client)
    page = _weigh(client, code, **typed)
    assert page.status_code == 422
    fault = re.search(r'id="next-number-error">([^<]*)<', page.text)
    assert fault
    assert f"99Z9-01 is a grain of lot 99Z9; here the grains of {code} are weighed" in fault[1]
    assert _weighed(client) == []
    assert client.get(f"/cast/{code}/grains?grain=99Z9-01").status_code == 422


def test_a_grain_is_weighed_again_after_one_touch_on_trimmed(client: TestClient) -> None:
    code = _lot(client)
    page = _weigh(client, code, "172 g")
    link = re.search(r'href="([^"]*)">Trimmed</a>', page.text)
    assert link
    page = client.get(link[1].replace("&amp;", "&"))
    sent = fields(page, "next")
    assert (sent["number"], sent["again"], sent["offcut"]) == ("1", "trimmed", "scrap")
    page = client.post(f"/cast/{code}/grains", data={**sent, "gross": "169.5"})
    assert page.status_code == 200
    assert "scrap (2.5 g trimmed off)" in page.text
    assert fields(page, "next")["number"] == "2"
    (grain,) = _weighed(client)
    assert grain.gross_typed == "169.5 g"
    assert "172 g" in client.get(f"/shelf/{code}-01").text


def test_a_number_that_is_taken_offers_what_may_have_happened(client: TestClient) -> None:
    code = _lot(client)
    _weigh(client, code, "172 g")
    page = _weigh(client, code, "171 g", number="1")
    assert "It weighed 172.0 g" in page.text
    page = client.post(f"/cast/{code}/grains", data={**fields(page, "next"), "again": "wrong"})
    assert page.status_code == 200
    assert _weighed(client)[0].mass_kg == pytest.approx(0.171)


# --- Taken back ----------------------------------------------------------------------------------


def test_a_weighing_is_taken_back_with_one_button(client: TestClient) -> None:
    code = _lot(client)
    page = _weigh(client, code, "172 g")
    assert re.search(r"Until \d\d:\d\d:\d\d: after a minute it stays", page.text)
    page = client.post(f"/cast/{code}/grains/1/undo", data=fields(page, "undo-1"))
    assert page.status_code == 200
    assert "is undone; its number is free" in page.text
    assert "the scale read 172 g" in page.text
    assert fields(page, "next")["number"] == "1"
    assert _weighed(client) == []


def test_after_a_minute_the_button_is_gone_and_a_late_press_is_told(client: TestClient) -> None:
    code = _lot(client)
    page = _weigh(client, code, "172 g")
    sent = fields(page, "undo-1")
    with clock.turned_to(clock.now() + timedelta(seconds=61)):
        assert "Undo this weighing" not in client.get(f"/cast/{code}/grains").text
        late = client.post(f"/cast/{code}/grains/1/undo", data=sent)
    assert late.status_code == 422
    assert "a weighing is undone within a minute" in late.text
    assert len(_weighed(client)) == 1


def test_a_weighing_taken_back_twice_is_taken_back_once(client: TestClient) -> None:
    code = _lot(client)
    sent = fields(_weigh(client, code, "172 g"), "undo-1")
    client.post(f"/cast/{code}/grains/1/undo", data=sent)
    assert client.post(f"/cast/{code}/grains/1/undo", data=sent).status_code == 404
    assert _weighed(client) == []


# --- Held, rejected, gone ------------------------------------------------------------------------


def test_a_fault_of_the_trade_is_chosen_with_one_touch(client: TestClient) -> None:
    code = _lot(client)
    page = _decide(client, code, _weigh(client, code, "172 g"), decision="hold", fault="soft", person="Ada")
    assert page.status_code == 200
    assert re.search(r'name="fault" value="soft" checked', page.text), "a held grain is there to decide on again"
    page = _decide(client, code, page, decision="accept", fault="", person="Ada")
    assert (_weighed(client)[0].decision, _weighed(client)[0].decision_fault) == ("accept", None)
    assert "decide-1" not in page.text


def test_a_fault_that_is_not_on_the_list_is_refused(client: TestClient) -> None:
    code = _lot(client)
    page = _decide(client, code, _weigh(client, code, "172 g"), decision="hold", fault="haunted", person="Ada")
    assert page.status_code == 422
    assert 'id="decide-1-fault-error">Choose one' in page.text


@pytest.mark.parametrize(("to", "words"), [("remelt", "of them rejected grain"), ("scrap", "172.0 g scrap")])
def test_a_rejected_grain_goes_and_comes_back(client: TestClient, to: str, words: str) -> None:
    code = _lot(client)
    page = _decide(client, code, _weigh(client, code, "172 g"), decision="reject", fault="crack", person="Ada")
    page = client.post(f"/cast/{code}/grains/1/gone", data={**fields(page, "gone-1"), "to": to})
    assert page.status_code == 200
    line = " ".join(re.sub(r"<[^>]+>", "", page.text).split())
    assert words in line
    assert "0.0 g in 0 grains" in line
    assert "Crack" in page.text
    late = {"once": "another", "version": str(_weighed(client)[0].version), "to": to}
    stale = client.post(f"/cast/{code}/grains/1/gone", data=late)
    assert stale.status_code == 422
    assert "Bring it back first" in stale.text
    page = client.post(f"/cast/{code}/grains/1/back", data=fields(page, "back-1"))
    assert "172.0 g in 1 grain " in " ".join(re.sub(r"<[^>]+>", "", page.text).split())
    assert _weighed(client)[0].gone_to is None


def test_a_rejected_grain_goes_nowhere_unnamed(client: TestClient) -> None:
    code = _lot(client)
    page = _decide(client, code, _weigh(client, code, "172 g"), decision="reject", fault="crack", person="Ada")
    for to in ({}, {"to": "the river"}):
        assert client.post(f"/cast/{code}/grains/1/gone", data={**fields(page, "gone-1"), **to}).status_code == 422
    assert _weighed(client)[0].gone_to is None


def test_all_clear_grains_are_accepted_with_one_button(client: TestClient) -> None:
    code = _lot(client)
    for gross in ("172", "171", "160"):
        page = _weigh(client, code, gross)
    assert "Accept the 2 that nothing speaks against" in page.text
    page = client.post(f"/cast/{code}/grains/accept", data={**fields(page, "accept-all"), "person": ""})
    assert page.status_code == 422
    assert 'id="accept-all-person-error"' in page.text
    page = client.post(f"/cast/{code}/grains/accept", data={**fields(page, "accept-all"), "person": "Ada"})
    assert page.status_code == 200
    assert [g.decision for g in _weighed(client)] == ["accept", "accept", None]


# --- The lot so far ------------------------------------------------------------------------------


def test_the_spread_so_far_stands_beside_the_verdict(client: TestClient) -> None:
    code = _lot(client)
    first = " ".join(_weigh(client, code, "172").text.split())
    assert "The lot so far:</strong> 1 grain, mean" in first
    second = " ".join(_weigh(client, code, "171").text.split())
    assert re.search(r"2 grains, mean 9\d\.\d %, std\. deviation 0\.\d\d %, from 9\d\.\d % to", second)


def test_limits_are_drawn_from_eight_grains_on(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        lot = build.cast(session, 8)
        for share in (0.955, 0.957, 0.954, 0.958, 0.956, 0.955, 0.957):
            build.grain(session, lot, share)
        code = lot.code
        session.commit()
    page = client.get(f"/cast/{code}/grains").text
    assert "Limits are drawn from 8 on" in page
    assert "upper limit" not in page
    page = _weigh(client, code, "172").text
    for where in (page, client.get(f"/review/{code}").text):
        assert "upper limit" in where
        assert "inside the limits" in where
