"""From request to page: saved once, kept when refused, changed only by who saw it last, closed to other sites."""

import re
from typing import Any
from urllib.parse import unquote

import pytest
from fastapi.testclient import TestClient
from httpx2 import Response
from sqlmodel import Session, select

from app.models import CoringRod, Draft, OnceToken
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


def test_a_second_sending_with_other_words_is_not_saved_either(client: TestClient) -> None:
    form = opened(client, NEW).forms["form"]
    _post(client, NEW, {**form.fields, **ROD})
    _post(client, NEW, {**form.fields, **ROD, "name": "Another"})
    assert [rod.name for rod in _rods(client)] == ["Rod 19"]


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
    assert _post(client, form.action, {**form.fields, "once": "", "diameter": "20 mm"}).status_code == 303
    client.post("/drafts?page=/workshop/rods/1", data={**form.fields, "once": "", "diameter": "21 mm"})
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
