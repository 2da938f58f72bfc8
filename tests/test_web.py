"""From request to page: saved once, kept when refused, changed only by who saw it last, closed to other sites."""

import re
from typing import Any
from urllib.parse import unquote

import pytest
from fastapi.testclient import TestClient
from httpx2 import Response
from pydantic import Field
from sqlmodel import Session, select

from app.db import writing
from app.forms import from_texts, spent
from app.models import CoringRod, Draft, OnceToken
from app.models.base import FormIn
from tests.behind import engine_of
from tests.browse import Page, opened, saved, send

NEW = "/workshop/rods/new"
ROD = {"name": "Rod 19", "diameter": "0,75 in"}


def _rods(client: TestClient) -> list[CoringRod]:
    with Session(engine_of(client)) as session:
        return list(session.exec(select(CoringRod).order_by(CoringRod.name)))


def _drafts(client: TestClient) -> list[Draft]:
    with Session(engine_of(client)) as session:
        return list(session.exec(select(Draft)))


def _post(client: TestClient, url: str, data: dict[str, str], **more: Any) -> Response:
    return client.post(url, data=data, follow_redirects=False, **more)


# --- Saved once -------------------------------------------------------------------------------------


def test_the_same_form_sent_twice_is_saved_once_and_leads_to_the_first_save(client: TestClient) -> None:
    form = opened(client, NEW).forms["form"]
    sent = {**form.fields, **ROD}
    first, second = _post(client, NEW, sent), _post(client, NEW, sent)
    assert (first.status_code, second.status_code) == (303, 303)
    assert second.headers["location"] == first.headers["location"]
    assert [rod.name for rod in _rods(client)] == ["Rod 19"]
    assert "not saved a second time" in client.get(second.headers["location"]).text


@pytest.mark.promise("A form sent again with something else in it is never dropped: both are shown, and asked about")
def test_a_second_sending_with_other_words_shows_both_and_can_be_saved_as_well(client: TestClient) -> None:
    form = opened(client, NEW).forms["form"]
    _post(client, NEW, {**form.fields, **ROD, "note": "two\r\nlines"})
    answer = _post(client, NEW, {**form.fields, **ROD, "name": "Another <b>", "note": "two\r\nlines"})
    assert answer.status_code == 409
    assert [rod.name for rod in _rods(client)] == ["Rod 19"]
    said = " ".join(answer.text.split())
    assert '<th scope="row">Name</th><td>Rod 19</td><td>Another &lt;b&gt;</td>' in said
    assert '<th scope="row">Diameter' not in said  # only what differs
    assert 'href="/workshop/rods">Cancel' in said
    again = Page(answer.text).forms["again"]
    assert again.fields["once"] != form.fields["once"]
    assert again.fields["note"].splitlines() == ["two", "lines"]
    assert _post(client, again.action, again.fields).status_code == 303
    assert {rod.name for rod in _rods(client)} == {"Rod 19", "Another <b>"}
    assert _post(client, again.action, again.fields).status_code == 303  # twice, once more
    assert len(_rods(client)) == 2


def test_what_means_the_same_is_the_same(client: TestClient) -> None:
    """Empty fields left out, blanks at the ends, line ends of another browser, the words of a button: no question."""
    form = opened(client, NEW).forms["form"]
    _post(client, NEW, {**form.fields, **ROD, "note": "two\r\nlines"})
    same = {"once": form.fields["once"], "name": " Rod 19 ", "diameter": "0,75 in", "note": "two\nlines", "go": "1"}
    assert "not saved a second time" in client.post(NEW, data=same).text
    assert len(_rods(client)) == 1


def test_an_edit_sent_again_with_other_words_is_saved_in_its_place_unless_somebody_else_was_there(
    client: TestClient,
) -> None:
    saved(client, NEW, ROD)
    form = opened(client, "/workshop/rods/1").forms["form"]
    for other in ("22 mm", "24 mm"):
        _post(client, form.action, {**form.fields, "diameter": "20 mm"})
        answer = _post(client, form.action, {**form.fields, "diameter": other})
        assert answer.status_code == 409
        assert f"<td>20 mm</td><td>{other}</td>" in answer.text
        again = Page(answer.text).forms["again"]
        told = _post(client, again.action, again.fields)
        if other == "22 mm":
            assert told.status_code == 303
            assert _rods(client)[0].diameter_m == 0.022
        else:
            assert told.status_code == 409  # the row was changed after the save that the page speaks of
            assert Page(told.text).forms["form"].fields["diameter"] == "24 mm"
            assert _rods(client)[0].diameter_m == 0.022


def test_a_token_of_another_form_saves_nothing_and_loses_nothing(client: TestClient) -> None:
    form = opened(client, NEW).forms["form"]
    _post(client, NEW, {**form.fields, **ROD})
    tube = {"once": form.fields["once"], "name": "Tube 1", "inner_d": "44 mm", "outer_d": "47 mm", "tare": "9 g"}
    answer = _post(client, "/workshop/tubes/new", tube)
    assert answer.status_code == 409
    assert "used for another form" in answer.text
    again = Page(answer.text).forms["again"]
    assert (again.action, again.fields["name"]) == ("/workshop/tubes/new", "Tube 1")
    assert _post(client, again.action, again.fields).status_code == 303


def test_a_token_that_an_older_grainbook_spent_is_answered_as_it_was(client: TestClient) -> None:
    form = opened(client, NEW).forms["form"]
    _post(client, NEW, {**form.fields, **ROD})
    with writing(engine_of(client)) as session:
        for token in session.exec(select(OnceToken)):
            token.address = token.sent_json = ""
        session.commit()
    assert "not saved a second time" in client.post(NEW, data={**form.fields, **ROD, "name": "Another"}).text
    assert len(_rods(client)) == 1


def test_what_was_saved_with_a_token_is_kept_small_and_without_secrets(client: TestClient) -> None:
    class Locked(FormIn):
        name: str
        phrase: str = Field(json_schema_extra={"secret": True})

    sent = [("once", "t"), ("version", "7"), ("name", "A"), ("phrase", "open sesame"), ("junk", "x" * 9000)]
    form = from_texts(Locked, sent, "form", "/locked", {})
    token = spent.spend(form, "/", {})
    assert "sesame" not in token.sent_json
    assert len(token.sent_json) < 200
    assert spent.is_same(token, form, {})
    other = from_texts(Locked, [*sent[:3], ("phrase", "open barley")], "form", "/locked", {})
    assert not spent.is_same(token, other, {})
    assert "barley" not in str(spent.differences(token, other, {}))


# --- Not from a page ----------------------------------------------------------------------------------


def test_a_form_without_a_token_is_shown_again_with_one(client: TestClient) -> None:
    answer = _post(client, NEW, {**ROD, "once": ""})
    assert answer.status_code == 422
    assert "without the mark" in answer.text
    assert _rods(client) == []
    again = Page(answer.text).forms["form"].fields
    assert again["name"] == "Rod 19"
    assert _post(client, NEW, again).status_code == 303
    assert _post(client, NEW, {**ROD, "name": "Rod 20", "once": "x" * 65}).status_code == 422  # no token of ours


def test_a_change_without_a_version_is_refused_with_what_was_typed(client: TestClient) -> None:
    saved(client, NEW, ROD)
    fields = opened(client, "/workshop/rods/1").forms["form"].fields
    del fields["version"]
    answer = _post(client, "/workshop/rods/1", {**fields, "diameter": "21 mm"})
    assert answer.status_code == 409
    assert "without telling which state" in answer.text
    assert Page(answer.text).forms["form"].fields["diameter"] == "21 mm"
    assert _rods(client)[0].diameter_m == 0.01905


def test_a_draft_of_no_form_is_not_kept(client: TestClient) -> None:
    assert client.post(f"/drafts?page={NEW}", data={"name": "Half", "once": ""}).status_code == 422
    assert _drafts(client) == []


def test_a_refused_form_does_not_spend_its_token(client: TestClient) -> None:
    form = opened(client, NEW).forms["form"]
    answer = _post(client, NEW, {**form.fields, **ROD, "diameter": "wide"})
    again = Page(answer.text).forms["form"]
    assert again.fields["once"] == form.fields["once"]
    assert _post(client, NEW, {**again.fields, "diameter": "19 mm"}).status_code == 303
    assert len(_rods(client)) == 1


def test_each_opened_form_has_a_token_of_its_own(client: TestClient) -> None:
    tokens = {opened(client, NEW).forms["form"].fields["once"] for _ in range(5)}
    assert len(tokens) == 5
    assert all(len(token) >= 20 for token in tokens)


def test_the_token_is_spent_in_the_same_transaction_as_the_save(client: TestClient) -> None:
    saved(client, NEW, ROD)
    with Session(engine_of(client)) as session:
        assert [token.url for token in session.exec(select(OnceToken))] == ["/workshop/rods"]
    send(client, NEW, ROD)  # refused: the name is taken
    with Session(engine_of(client)) as session:
        assert len(session.exec(select(OnceToken)).all()) == 1


# --- Refused in words -------------------------------------------------------------------------------


def test_a_failed_form_answers_422_with_the_texts_kept_and_the_message_tied_to_its_field(client: TestClient) -> None:
    answer = send(client, NEW, {"name": "Rod <19>", "diameter": "19 kg", "note": "two\nlines"})
    assert answer.status_code == 422
    page = Page(answer.text)
    form = page.forms["form"]
    assert form.fields["name"] == "Rod <19>"
    assert form.fields["diameter"] == "19 kg"
    assert form.fields["note"].strip() == "two\nlines"
    assert form.described["diameter"] == "form-diameter-error"
    assert "goes with a mass" in page.fault("diameter")
    assert re.search(r'id="form-diameter"[^>]*aria-invalid="true"', answer.text, re.DOTALL)
    assert re.search(r'class="refusal" role="alert" tabindex="-1"', answer.text)
    assert '<a href="#form-diameter">Diameter</a>' in answer.text
    assert _rods(client) == []


def test_what_was_typed_is_never_markup(client: TestClient) -> None:
    nasty = '"><script>alert(1)</script>'
    answer = send(client, NEW, {"name": nasty, "diameter": nasty})
    assert "<script>alert" not in answer.text
    saved(client, NEW, {"name": nasty, "diameter": "19 mm"})
    assert "<script>alert" not in client.get("/workshop/rods").text
    assert "<script>alert" not in client.get("/workshop/rods/1").text


def test_a_saved_form_says_so_once(client: TestClient) -> None:
    url = saved(client, NEW, ROD)
    assert "The coring rod is in the book." in opened(client, url).texts["notice"]
    assert "in the book" not in opened(client, url).texts.get("notice", "")


def test_what_the_database_refuses_is_told_and_nothing_is_changed(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    from app.services.book import repository

    saved(client, NEW, ROD)
    monkeypatch.setattr(repository, "refuse_same", lambda *_, **__: None)  # as if two writers passed the check together
    answer = send(client, NEW, ROD)
    assert answer.status_code == 422
    assert "The book refused this" in answer.text
    assert len(_rods(client)) == 1


# --- Two tabs ---------------------------------------------------------------------------------------


def test_a_row_changed_in_another_tab_is_not_overwritten(client: TestClient) -> None:
    saved(client, NEW, ROD)
    first = opened(client, "/workshop/rods/1").forms["form"]
    second = opened(client, "/workshop/rods/1").forms["form"]
    assert _post(client, first.action, {**first.fields, "diameter": "20 mm"}).status_code == 303
    answer = _post(client, second.action, {**second.fields, "diameter": "21 mm"})
    assert answer.status_code == 409
    assert "changed in another tab" in answer.text
    kept = Page(answer.text).forms["form"].fields
    assert kept["diameter"] == "21 mm"
    assert _post(client, second.action, {**kept}).status_code == 409  # sending it again does not wear the check down
    assert _rods(client)[0].diameter_m == 0.02
    saved(client, "/workshop/rods/1", {"diameter": "21 mm"})
    assert _rods(client)[0].diameter_m == 0.021


def test_a_row_deleted_in_another_tab_is_told(client: TestClient) -> None:
    saved(client, NEW, ROD)
    form = opened(client, "/workshop/rods/1").forms["form"]
    saved(client, "/workshop/rods/1", form_id="away")
    answer = _post(client, form.action, {**form.fields, "diameter": "21 mm"})
    assert answer.status_code == 404
    assert "no such coring rod" in answer.text


# --- Drafts -----------------------------------------------------------------------------------------


def test_a_draft_is_kept_shown_again_and_dropped_by_the_save(client: TestClient) -> None:
    form = opened(client, NEW).forms["form"]
    assert client.post(f"/drafts?page={NEW}", data={**form.fields, "name": "Half", "diameter": ""}).status_code == 204
    client.post(f"/drafts?page={NEW}", data={**form.fields, "name": "Half typed", "diameter": "19"})
    assert len(_drafts(client)) == 1
    answer = client.get(NEW).text
    assert "did not save it; here is what you typed" in answer
    again = Page(answer).forms["form"]
    assert (again.fields["name"], again.fields["diameter"]) == ("Half typed", "19")
    assert again.fields["once"] != form.fields["once"]
    saved(client, NEW)
    assert _drafts(client) == []
    assert "did not save it" not in client.get(NEW).text


def test_a_draft_of_one_row_does_not_show_in_another(client: TestClient) -> None:
    saved(client, NEW, ROD)
    saved(client, NEW, {**ROD, "name": "Rod 20"})
    client.post("/drafts?page=/workshop/rods/1", data={"name": "Changed", "version": "1"})
    assert opened(client, "/workshop/rods/1").forms["form"].fields["name"] == "Changed"
    assert opened(client, "/workshop/rods/2").forms["form"].fields["name"] == "Rod 20"


def test_a_draft_keeps_the_version_it_was_begun_on(client: TestClient) -> None:
    saved(client, NEW, ROD)
    form = opened(client, "/workshop/rods/1").forms["form"]
    client.post("/drafts?page=/workshop/rods/1", data={**form.fields, "diameter": "21 mm"})
    assert _post(client, form.action, {**form.fields, "once": "another", "diameter": "20 mm"}).status_code == 303
    client.post("/drafts?page=/workshop/rods/1", data={**form.fields, "diameter": "21 mm"})
    assert send(client, "/workshop/rods/1").status_code == 409  # begun before the change: not saved over it
    client.get("/drafts/discard?page=/workshop/rods/1&back=/workshop/rods/1")
    assert opened(client, "/workshop/rods/1").forms["form"].fields["diameter"] == "20 mm"


def test_a_draft_that_comes_in_after_its_own_save_is_let_go(client: TestClient) -> None:
    form = opened(client, NEW).forms["form"]
    _post(client, NEW, {**form.fields, **ROD})
    client.post(f"/drafts?page={NEW}", data={**form.fields, **ROD})
    assert _drafts(client) == []


def test_starting_afresh_drops_the_draft(client: TestClient) -> None:
    client.post(f"/drafts?page={NEW}", data={"name": "Half"})
    answer = client.get(f"/drafts/discard?page={NEW}&back={NEW}", follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, NEW)
    assert "name" not in {k for k, v in opened(client, NEW).forms["form"].fields.items() if v}


@pytest.mark.parametrize("back", ["//evil.example", "https://evil.example", "/\\evil.example", "evil.example", ""])
def test_discarding_leads_nowhere_but_into_the_book(client: TestClient, back: str) -> None:
    answer = client.get("/drafts/discard", params={"page": NEW, "back": back}, follow_redirects=False)
    assert answer.headers["location"] == "/"


# --- Closed to other sites ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    "host", ["evil.example", "localhost.evil.example", "192.168.1.5:8765", "127.0.0.1.evil.example"]
)
def test_another_host_name_is_refused(client: TestClient, host: str) -> None:
    """DNS rebinding: a page of another name that resolves to this machine."""
    assert client.get("/workshop", headers={"host": host}).status_code == 400


@pytest.mark.parametrize("host", ["localhost", "localhost:8765", "127.0.0.1:8765"])
def test_the_machines_own_names_are_served(client: TestClient, host: str) -> None:
    assert client.get("/workshop", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "origin",
    ["https://evil.example", "http://localhost:9999", "http://localhost.evil.example", "null", "http://127.0.0.1"],
)
def test_a_post_from_another_site_is_refused(client: TestClient, origin: str) -> None:
    form = opened(client, NEW).forms["form"]
    answer = _post(client, NEW, {**form.fields, **ROD}, headers={"origin": origin})
    assert answer.status_code == 403
    assert _rods(client) == []


def test_a_post_from_the_books_own_page_is_taken(client: TestClient) -> None:
    form = opened(client, NEW).forms["form"]
    answer = _post(client, NEW, {**form.fields, **ROD}, headers={"origin": "http://localhost"})
    assert answer.status_code == 303


@pytest.mark.parametrize("url", ["/workshop", NEW, "/workshop/rods/99", "/static/css/base.css", "/nothing-here"])
def test_every_answer_forbids_foreign_and_inline_script(client: TestClient, url: str) -> None:
    headers = client.get(url).headers
    policy = dict(part.strip().split(" ", 1) for part in headers["content-security-policy"].split(";"))
    assert policy["default-src"] == "'self'"  # script-src and style-src fall back to it
    assert "script-src" not in policy
    assert "unsafe" not in headers["content-security-policy"]
    assert (policy["frame-ancestors"], policy["base-uri"], policy["form-action"]) == ("'none'", "'none'", "'self'")
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"


@pytest.mark.parametrize(
    "url", ["/workshop", NEW, "/workshop/settings", "/workshop/checklist", "/workshop/formulas/new"]
)
def test_pages_hold_no_inline_script_or_style_which_the_policy_would_block(client: TestClient, url: str) -> None:
    text = client.get(url).text
    assert not re.search(r"<script(?![^>]*\bsrc=)", text)
    assert "<style" not in text
    assert not re.search(r"\s(style|on[a-z]+)=", text)


def test_pages_are_not_kept_by_the_browser_and_files_are(client: TestClient) -> None:
    assert client.get("/workshop").headers["cache-control"] == "no-store"
    assert "cache-control" not in client.get("/static/css/base.css").headers


def test_the_notice_cookie_is_closed_to_script_and_other_sites(client: TestClient) -> None:
    answer = send(client, NEW, ROD)
    cookie = answer.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    assert "in the book" in unquote(cookie)


def test_an_address_that_is_not_there_is_told_in_words(client: TestClient) -> None:
    answer = client.get("/workshop/rods/first")
    assert answer.status_code == 404
    assert "does not fit" in answer.text
    answer = client.post("/workshop/rods")
    assert answer.status_code == 405
    assert "does not take that kind of request" in answer.text


def test_an_address_that_only_saves_leads_to_the_page_of_its_form(client: TestClient) -> None:
    """It stands in the address bar after a refusal, and a tab opened again asks for it without the form."""
    send(client, NEW, ROD)
    answer = client.get("/workshop/rods/1/away")
    assert answer.status_code == 405
    assert "only takes what a form sends" in answer.text
    assert '<a href="/workshop/rods/1">To the page it belongs to</a>' in answer.text
