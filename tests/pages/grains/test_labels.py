"""The page that lays labels out, and the style of each sheet."""

import re

import pytest
from fastapi.testclient import TestClient

from app.db import writing
from app.services.grains.labels import SHEETS
from tests import build
from tests.behind import engine_of


def _lot(client: TestClient, n: int = 2) -> tuple[str, list[int]]:
    with writing(engine_of(client)) as session:
        lot = build.cast(session)
        ids = [build.grain(session, lot).pk for _ in range(n)]
        code = lot.code
        session.commit()
    return code, ids


def test_without_grains_it_says_what_to_do(client: TestClient) -> None:
    assert "No grain is weighed yet" in client.get("/labels").text


def test_a_lot_is_offered_and_laid_out(client: TestClient) -> None:
    code, ids = _lot(client)
    assert f'href="/labels?lot={code}"' in client.get("/labels").text
    page = client.get(f"/labels?lot={code}").text
    assert page.count('<article class="label"') == 2
    assert f"http://localhost/shelf/{code}-01" in page
    one = client.get(f"/labels?lot={code}&grain={ids[1]}&size=roll-62x29").text
    assert one.count('<article class="label"') == 1
    assert "/labels/sheet.css?size=roll-62x29" in one


def test_ticked_grains_of_the_shelf_are_laid_out(client: TestClient) -> None:
    (_, (first, *_)), (_, (second, *_)) = _lot(client), _lot(client)
    page = client.get("/labels", params={"grain": [str(first), str(second)]}).text
    assert page.count('<article class="label"') == 2


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("start=99", "24 places"),
        ("start=0", "at least 1"),
        ("start=x", "whole number"),
        ("size=huge", "of the list"),
        ("right=3+cm", "at most"),
    ],
)
def test_bad_choices_are_told_beside_the_field(client: TestClient, query: str, words: str) -> None:
    code, _ = _lot(client)
    page = client.get(f"/labels?lot={code}&{query}")
    assert page.status_code == 422
    name = query.partition("=")[0]
    assert re.search(rf'id="labels-{name}-error">[^<]*{words}', page.text)


def test_an_unknown_lot_is_told(client: TestClient) -> None:
    _lot(client)
    assert "There is no grain of a lot “99Z9”" in client.get("/labels?lot=99Z9").text


@pytest.mark.parametrize("size", list(SHEETS))
def test_each_sheet_has_its_style(client: TestClient, size: str) -> None:
    answer = client.get(f"/labels/sheet.css?size={size}")
    assert answer.headers["content-type"].startswith("text/css")
    assert f"@page {{ size: {SHEETS[size].paper[0]:g}mm {SHEETS[size].paper[1]:g}mm; margin: 0; }}" in answer.text


def test_a_shift_reaches_the_style_as_a_number(client: TestClient) -> None:
    code, _ = _lot(client)
    page = client.get(f"/labels?lot={code}&right=1,5+mm&down=-0.5").text
    style = re.search(r'href="(/labels/sheet\.css\?[^"]*)"', page)
    assert style is not None
    answer = client.get(style[1].replace("&amp;", "&")).text
    assert "left: 1.5mm; top: 0mm;" in answer


@pytest.mark.parametrize("query", ["size=x", "size=a4-3x8&right=99", "size=a4-3x8&right=x;}", "size=a4-3x8&down=nan"])
def test_no_other_style_is_made(client: TestClient, query: str) -> None:
    assert client.get(f"/labels/sheet.css?{query}").status_code == 404


def test_no_style_stands_in_the_page(client: TestClient) -> None:
    code, _ = _lot(client)
    page = client.get(f"/labels?lot={code}").text
    assert not re.search(r"\sstyle=|<style", page)
