"""The list itself, edited: what is looked at before every melt stays in it, and an incident proposes a line."""

from urllib.parse import quote

import pytest
from fastapi.testclient import TestClient
from sqlmodel import col, select

from app.db import writing
from app.models import ChecklistEdition, ChecklistItem
from app.models.checklist import COVERS
from app.services.cast import editions
from tests.behind import engine_of
from tests.browse import Page, opened

URL = "/workshop/checklist"


def rows_with(fields: dict[str, str], kind: str) -> list[str]:
    return [name.rsplit(".", 1)[0] for name, text in fields.items() if name.endswith(".covers") and text == kind]


def now(client: TestClient) -> list[ChecklistItem]:
    with writing(engine_of(client)) as session:
        return list(editions.now_used(session, ChecklistEdition).lines)


@pytest.mark.parametrize("kind", COVERS)
def test_a_list_that_lacks_a_thing_is_refused_beside_the_field_and_gets_its_line_by_one_button(
    client: TestClient, kind: str
) -> None:
    form, before = opened(client, URL).forms["form"], [line.words for line in now(client)]
    gone = {f"{row}.{name}": "" for row in rows_with(form.fields, kind) for name in ("heading", "words", "covers")}
    for row in rows_with(form.fields, kind):
        form.fields.pop(f"{row}.again")
    fields = {**form.fields, **gone}
    answer = client.post(URL, data=fields)
    assert answer.status_code == 422
    page = Page(answer.text)
    assert f"No line covers: {COVERS[kind]}." in page.texts["form-items-error"]
    assert 'aria-describedby="form-items-error"' in answer.text
    typed = page.forms["form"].fields
    row = next(name for name, text in typed.items() if name.endswith(".words") and text)
    answer = client.post(URL, data={**typed, row: "My own words.", "add": "missing"})
    assert answer.status_code == 200
    assert "Add the missing lines" not in answer.text
    assert [line.words for line in now(client)] == before, "nothing is saved by it"
    added = Page(answer.text).forms["form"].fields
    assert "My own words." in added.values()
    answer = client.post(URL, data=added, follow_redirects=False)
    assert answer.is_redirect, answer.text
    lines = now(client)
    assert {line.covers for line in lines if line.again} >= set(COVERS)
    assert "My own words." in [line.words for line in lines]


def test_a_line_that_covers_one_of_them_cannot_be_unmarked(client: TestClient) -> None:
    form = opened(client, URL).forms["form"]
    (row,) = rows_with(form.fields, "alone")
    fields = {name: text for name, text in form.fields.items() if name != f"{row}.again"}
    answer = client.post(URL, data=fields)
    assert answer.status_code == 422
    place = f"form-{row.replace('.', '-')}-again"
    assert "leave it marked" in Page(answer.text).texts[f"{place}-error"]
    assert f'aria-describedby="{place}-error"' in answer.text


def test_a_line_of_the_makers_own_is_marked_to_come_again(client: TestClient) -> None:
    form = opened(client, URL).forms["form"]
    (row,) = rows_with(form.fields, "")[:1]
    client.post(URL, data={**form.fields, f"{row}.again": "on"})
    assert now(client)[0].again
    assert "again before each melt" in client.get(URL).text


def test_an_incident_proposes_a_line(client: TestClient) -> None:
    words = "The funnel hangs on its hook, __ cm from the pan."
    page = client.get(f"{URL}?line={quote(words)}")
    fields = Page(page.text).forms["form"].fields
    assert words in fields.values()
    assert words not in {line.words for line in now(client)}, "it is proposed, not saved"
    client.post(URL, data=fields)
    assert words in {line.words for line in now(client)}


def test_an_old_list_says_that_no_further_melt_can_join(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        for item in session.exec(select(ChecklistItem).where(col(ChecklistItem.covers).in_(("away", "one pan")))).all():
            item.covers, item.again = "", False
        session.commit()
    text = client.get(URL).text
    assert "No further melt can join an evening yet" in text
    assert f"{COVERS['away']}; {COVERS['one pan']}." in text
