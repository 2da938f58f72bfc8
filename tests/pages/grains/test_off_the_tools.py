"""From the scale to the shelf in one flow: what is asked, what is led to, what is ticked."""

import re
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session

from app.db import writing
from app.models import CastStep
from app.services.cast import casting
from app.services.stock import batches
from tests import build
from tests.behind import engine_of
from tests.browse import Page
from tests.pages.grains.test_weighing import _lot, _weigh, _weighed, fields

# --- The last grain's weight sent again ------------------------------------------------------------


@pytest.mark.parametrize("again", ["172 g", "172.1", "ST,GS,+0171.9g"])
def test_the_same_weight_right_after_is_asked_about(client: TestClient, again: str) -> None:
    """A scale that sends twice, or a grain left on it, would make a grain that is not there."""
    code = _lot(client)
    _weigh(client, code, "172 g")
    page = _weigh(client, code, again)
    assert page.status_code == 422
    assert f"{code}-01 again, or the next one that weighs the same?" in page.text
    assert len(_weighed(client)) == 1
    asked = Page(page.text).forms["next"]
    assert list(asked.answers) == [f"It is {code}-01 again", f"The next one, {code}-02, weighs the same"]
    page = client.post(f"/cast/{code}/grains", data=asked.answered(f"The next one, {code}-02, weighs the same"))
    assert page.status_code == 200
    assert [g.number for g in _weighed(client)] == [1, 2]


def test_the_same_grain_again_saves_nothing_and_asks_what_happened_to_it(client: TestClient) -> None:
    code = _lot(client)
    _weigh(client, code, "172 g")
    asked = Page(_weigh(client, code, "172 g").text).forms["next"]
    page = client.post(f"/cast/{code}/grains", data=asked.answered(f"It is {code}-01 again"))
    assert f"On the scale again: {code}-01" in page.text
    assert len(_weighed(client)) == 1


def test_a_weight_that_the_scale_can_tell_apart_is_not_asked_about(client: TestClient) -> None:
    code = _lot(client)
    for gross in ("172", "172.2", "172"):
        assert _weigh(client, code, gross).status_code == 200
    assert len(_weighed(client)) == 3


def test_a_slipped_decimal_sign_and_the_same_weight_are_asked_about_one_after_the_other(client: TestClient) -> None:
    code = _lot(client)
    first = Page(_weigh(client, code, "1720").text).forms["next"]
    client.post(f"/cast/{code}/grains", data=first.answered("1720 g, as typed"))
    asked = Page(_weigh(client, code, "1720").text).forms["next"]
    page = client.post(f"/cast/{code}/grains", data=asked.answered(f"The next one, {code}-02, weighs the same"))
    asked = Page(page.text).forms["next"]
    page = client.post(f"/cast/{code}/grains", data=asked.answered("1720 g, as typed"))
    assert page.status_code == 200
    assert len(_weighed(client)) == 2


# --- Bagging ticks the evening's step ----------------------------------------------------------------


def _bag_steps(client: TestClient, code: str) -> list[CastStep]:
    with Session(engine_of(client)) as session:
        cast = casting.find(session, batches.by_code(session, code))
        assert cast is not None
        return [step for step in cast.steps if step.key == "bag"]


def _bag_all(client: TestClient, code: str) -> str:
    page = client.get(f"/cast/{code}/grains")
    if "accept-all" in Page(page.text).forms:
        page = client.post(f"/cast/{code}/grains/accept", data={**fields(page, "accept-all"), "person": "Ada"})
    page = client.post(f"/cast/{code}/grains/bag", data=fields(page, "bag-all"))
    assert page.status_code == 200
    return " ".join(re.sub(r"<[^>]+>", "", page.text).split())


def test_bagging_the_whole_lot_ticks_the_bagging_of_the_evening(client: TestClient) -> None:
    code = _lot(client, count=2, until="pull")
    for gross in ("172", "173"):
        _weigh(client, code, gross)
    page = _bag_all(client, code)
    (step,) = _bag_steps(client, code)
    assert step.done_at is not None
    bagged = max(g.bagged_at for g in _weighed(client) if g.bagged_at)
    assert bagged <= step.done_at < bagged + timedelta(minutes=1)
    assert step.person == "Ada"
    assert re.search(r"“Bag the grains[^”]*” is ticked, at \d\d:\d\d", page)


def test_what_stands_before_the_bagging_is_told_and_it_is_not_ticked(client: TestClient) -> None:
    code = _lot(client, count=1, until="compact:3")
    _weigh(client, code, "172")
    page = _bag_all(client, code)
    assert [step.done_at for step in _bag_steps(client, code)] == [None]
    assert "“Pull the cores" in page
    assert "comes first" in page


def test_a_lot_that_is_not_all_weighed_is_not_ticked_as_bagged(client: TestClient) -> None:
    code = _lot(client, count=2, until="pull")
    _weigh(client, code, "172")
    page = _bag_all(client, code)
    assert [step.done_at for step in _bag_steps(client, code)] == [None]
    assert "1 of 2 planned grains is not weighed yet" in page
    _weigh(client, code, "173")
    _bag_all(client, code)
    assert [step.done_at is not None for step in _bag_steps(client, code)] == [True]


def test_the_last_bag_sealed_alone_ticks_it_as_well(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        lot = build.cast(session, 1, until="pull")
        serial = build.grain(session, lot, decision="hold").serial
        code = lot.code
        session.commit()
    page = client.get(f"/shelf/{serial}")
    client.post(f"/shelf/{serial}/bag", data=fields(page, "bag"))
    assert [step.done_at is not None for step in _bag_steps(client, code)] == [True]
