"""The plan's pages, through a browser without script."""

import re
from concurrent.futures import ThreadPoolExecutor

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from app.db import writing
from app.models import Batch, Formula, Leftover
from app.services.book import workshop
from tests import build
from tests.behind import engine_of
from tests.browse import opened


@pytest.fixture
def book(client: TestClient) -> dict[str, int]:
    """A formula, a pattern and a bag of each ingredient."""
    with writing(engine_of(client)) as session:
        blend, shape = build.formula(session, "Everyday"), build.pattern(session, name="Gull 54")
        for ingredient in build.EVERYDAY:
            build.supply(session, ingredient)
        made = {"formula": blend.pk, "pattern": shape.pk}
        session.commit()
    return made


def texts(book: dict[str, int], **more: str) -> dict[str, str]:
    plain = {
        "formula_id": str(book["formula"]),
        "planned_for": "2026-11-25",
        "items.0.pattern_id": str(book["pattern"]),
        "items.0.count": "4",
        "expected_density": "95 %",
        "over_pour": "5 %",
        "test_pieces": "10 g",
    }
    return {**plain, **more}


def planned(client: TestClient, book: dict[str, int], **more: str) -> str:
    answer = client.post("/plan/new", data=texts(book, **more), follow_redirects=False)
    assert answer.status_code == 303, answer.text
    return answer.headers["location"]


def batches(client: TestClient) -> list[Batch]:
    with Session(engine_of(client)) as session:
        return list(session.exec(select(Batch)))


def test_an_empty_book_says_what_is_missing(client: TestClient) -> None:
    page = client.get("/plan/new").text
    assert 'href="/workshop/formulas/new"' in page
    assert 'href="/workshop/patterns/new"' in page
    assert "No batch is waiting" in client.get("/plan").text


def test_plan_a_batch(client: TestClient, book: dict[str, int]) -> None:
    url = planned(client, book)
    assert re.fullmatch(r"/plan/2611P", url)
    page = client.get(url).text
    for words in ("Batch 2611P", "Everyday v1", "Gull 54", "Potassium nitrate", "Sorbitol", "Sucrose", "enough"):
        assert words in page
    assert "2611P" in client.get("/plan").text


def test_work_it_out_saves_nothing(client: TestClient, book: dict[str, int]) -> None:
    page = client.get("/plan/new", params=texts(book, look="1"))
    assert page.status_code == 200
    assert "Worked out, not saved yet" in page.text
    grams = {
        name: float(mass)
        for name, mass in re.findall(
            r"<th scope=\"row\">(\w[\w ]*?)</th>\s*<td class=\"num\"><strong>([\d.]+)</strong>", page.text
        )
    }
    total = sum(grams.values())
    assert grams["Potassium nitrate"] / total == pytest.approx(0.65, abs=2e-4)
    assert grams["Sorbitol"] / total == pytest.approx(0.28, abs=2e-4)
    assert grams["Sucrose"] / total == pytest.approx(0.07, abs=2e-4)
    assert 'value="4"' in page.text
    assert batches(client) == []


def test_prefilled_from_a_motor_design(client: TestClient, book: dict[str, int]) -> None:
    page = client.get(f"/plan/new?formula_id={book['formula']}&pattern={book['pattern']}&count=3").text
    assert re.search(r'name="items\.0\.count" value="3"', page)
    assert f'<option value="{book["pattern"]}" selected>' in page
    assert 'value="95 %"' in page  # the workshop's own density is there too
    assert "Not saved" not in page


@pytest.mark.parametrize(
    ("field", "typed", "words"),
    [
        ("expected_density", "95 mm", "takes a share"),
        ("expected_density", "", "Type a share"),
        ("expected_density", "120 %", "at most 100 %"),
        ("items.0.count", "-1", "at least 1"),
        ("items.0.count", "0", "at least 1"),
        ("items.0.count", "2.5", "whole number"),
        ("items.0.count", "9999", "at most 200"),
        ("test_pieces", "-5 g", "at least 0 g"),
        ("test_pieces", "5 furlongs", "not known here"),
        ("over_pour", "lots", "is not a share"),
        ("planned_for", "someday", "Type a date"),
        ("formula_id", "", "Choose one"),
        ("formula_id", "999", "no such formula"),
    ],
)
def test_bad_input_is_answered_beside_the_field(
    client: TestClient, book: dict[str, int], field: str, typed: str, words: str
) -> None:
    answer = client.post("/plan/new", data=texts(book, **{field: typed}))
    assert answer.status_code in (404, 422)
    assert words in answer.text
    if field not in ("formula_id",):
        assert f'value="{typed}"' in answer.text  # what was typed is kept
        assert 'aria-invalid="true"' in answer.text
    assert batches(client) == []
    look = client.get("/plan/new", params=texts(book, **{field: typed, "look": "1"}))
    assert look.status_code == 422
    assert words in look.text


def test_comma_decimals_are_taken(client: TestClient, book: dict[str, int]) -> None:
    planned(client, book, expected_density="94,5", test_pieces="7,5 g")
    (batch,) = batches(client)
    assert batch.expected_density_share == pytest.approx(0.945)
    assert batch.planned_test_pieces_kg == pytest.approx(0.0075)


def test_no_grains_wanted(client: TestClient, book: dict[str, int]) -> None:
    data = texts(book)
    del data["items.0.pattern_id"], data["items.0.count"]
    answer = client.post("/plan/new", data=data)
    assert answer.status_code == 422
    assert "Fill in at least one." in answer.text


def test_a_double_click_plans_once(client: TestClient, book: dict[str, int]) -> None:
    page = client.get("/plan/new").text
    once = re.search(r'name="once" value="([^"]+)"', page)
    assert once is not None
    data = texts(book, once=once[1])
    first = client.post("/plan/new", data=data, follow_redirects=False)
    second = client.post("/plan/new", data=data, follow_redirects=False)
    assert first.headers["location"] == second.headers["location"]
    assert len(batches(client)) == 1


def test_two_clicks_at_the_same_moment_plan_once(client: TestClient, book: dict[str, int]) -> None:
    data = texts(book, once="one-form-sent-twice")
    with ThreadPoolExecutor(4) as pool:
        sent = [pool.submit(client.post, "/plan/new", data=data, follow_redirects=False) for _ in range(4)]
        places = {answer.result().headers["location"] for answer in sent}
    assert places == {"/plan/2611P"}
    assert len(batches(client)) == 1


def test_change_a_plan_in_two_tabs(client: TestClient, book: dict[str, int]) -> None:
    url = planned(client, book)
    page = client.get(f"{url}/edit").text
    version = re.search(r'name="version" value="(\d+)"', page)
    assert version is not None
    assert "voids any checklist" in page
    good = client.post(
        f"{url}/edit", data=texts(book, version=version[1], **{"items.0.count": "2"}), follow_redirects=False
    )
    assert good.status_code == 303
    stale = client.post(f"{url}/edit", data=texts(book, version=version[1], **{"items.0.count": "6"}))
    assert stale.status_code == 409
    assert "another tab" in stale.text
    assert 'value="6"' in stale.text
    (batch,) = batches(client)
    assert [item.count for item in batch.items] == [2]
    assert ">2<" in client.get(url).text


def test_look_at_a_change_keeps_the_version(client: TestClient, book: dict[str, int]) -> None:
    url = planned(client, book)
    page = client.get(f"{url}/edit", params=texts(book, look="1", version="1", once="x"))
    assert "Worked out" in page.text
    assert 'name="version" value="1"' in page.text


def test_what_is_short_is_said(client: TestClient, book: dict[str, int]) -> None:
    page = client.get("/plan/new", params=texts(book, look="1", **{"items.0.count": "100"})).text
    assert "short of" in page
    assert 'href="/workshop/supplies"' in page


def test_drop_a_plan_with_a_reason(client: TestClient, book: dict[str, int]) -> None:
    url = planned(client, book)
    assert client.post(f"{url}/drop", data={"why": ""}).status_code == 422
    assert client.post(f"{url}/drop", data={"why": "Rain all week."}).status_code == 200
    page = client.get(url).text
    assert "Dropped: Rain all week." in page
    assert "was dropped" in client.post(f"{url}/edit", data=texts(book)).text


def test_remelt_above_the_limit_is_beside_its_rows(client: TestClient, book: dict[str, int]) -> None:
    with writing(engine_of(client)) as session:
        old = build.batch(session)
        session.add(Leftover(batch_id=old.pk, mark="Tail end", mass_kg=0.5, mass_typed="500 g"))
        session.commit()
    more = {"remelts.0.leftover_id": "1", "remelts.0.mass": "400 g"}
    answer = client.post("/plan/new", data=texts(book, **more))
    assert answer.status_code == 422
    assert "the limit is 15 %" in answer.text
    assert 'id="form-remelts-error"' in answer.text
    page = client.get(planned(client, book, **{**more, "remelts.0.mass": "50 g"})).text
    assert "Tail end" in page
    assert "(remelt)" in page


def test_no_such_batch(client: TestClient) -> None:
    for url in ("/plan/26Z9", "/plan/26Z9/edit", "/plan/26Z9/checklist", "/cast/26Z9"):
        assert client.get(url).status_code == 404


def test_what_there_is_one_of_is_chosen_already(client: TestClient, book: dict[str, int]) -> None:
    form = opened(client, "/plan/new").forms["form"].fields
    assert (form["formula_id"], form["items.0.pattern_id"]) == (str(book["formula"]), str(book["pattern"]))
    assert form["items.1.pattern_id"] == ""
    with writing(engine_of(client)) as session:
        build.pattern(session)
        session.commit()
    assert opened(client, "/plan/new").forms["form"].fields["items.0.pattern_id"] == ""


def test_the_same_grains_are_planned_again_by_the_newest_version(client: TestClient, book: dict[str, int]) -> None:
    code = planned(client, book).rsplit("/", 1)[-1]
    with writing(engine_of(client)) as session:
        session.exec(select(Batch)).one().state = "cast"
        first = session.get(Formula, book["formula"])
        newer = build.formula(session, parts={**build.EVERYDAY, "sorbitol": "27", "sucrose": "8"}, row=first).pk
        session.commit()
    page = client.get(f"/plan/{code}").text
    again = re.search(r'href="(/plan/new\?[^"]*)">Plan the same again', page)
    assert again is not None
    form = opened(client, again[1].replace("&amp;", "&")).forms["form"].fields
    assert (form["formula_id"], form["items.0.count"]) == (str(newer), "4")
    assert form["items.0.pattern_id"] == str(book["pattern"])


def test_a_plan_above_the_pans_capacity_is_split_by_the_button_of_its_question(
    client: TestClient, book: dict[str, int]
) -> None:
    with writing(engine_of(client)) as session:
        shop = workshop.get(session)
        shop.pan_capacity_kg = shop.pan_capacity_typed = None
        shop.known_melt_kg = 20.0
        session.commit()
    page = client.get("/plan/new").text
    assert "Your pan holds safely" in page
    answer = client.post("/plan/new", data=texts(book, **{"items.0.count": "53"}))
    assert answer.status_code == 422
    assert "How much does your pan hold safely" in answer.text
    sent = texts(book, **{"items.0.count": "53", "pan_capacity": "2 kg"})
    answer = client.post("/plan/new", data=sent)
    assert answer.status_code == 422
    assert "It takes 5 melts, each of at most 11 grains" in answer.text
    assert '<button name="meant.capacity.melts" value="5">5 melts</button>' in answer.text
    assert batches(client) == []
    answer = client.post("/plan/new", data={**sent, "meant.capacity.melts": "5"}, follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, "/plan")
    assert len(batches(client)) == 5
    page = client.get("/plan/new", params={**texts(book, **{"items.0.count": "53"}), "look": "1"}).text
    assert "It takes 5 melts" in page
    assert "Your pan holds 2000.0 g with room to stir" in page
