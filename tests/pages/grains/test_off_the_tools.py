"""From the scale to the shelf in one flow: what is asked, what is led to, what is ticked."""

import math
import re
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from httpx2 import Response
from sqlmodel import Session

from app import clock
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
        melt = casting.melt(session, batches.by_code(session, code))
        assert melt is not None
        return [step for step in melt.steps if step.key == "bag"]


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


# --- One grain fills the screen, and the page leads on -----------------------------------------------


def _panel(page: Response) -> str:
    """What stands on the first screen, without its marks."""
    panel = re.search(r'<div class="scale">(.*?)<div id="desk"', page.text, re.S)
    assert panel
    return " ".join(re.sub(r"<title>.*?</title>|<desc>.*?</desc>|<[^>]+>", " ", panel[1], flags=re.S).split())


def test_the_grain_just_weighed_fills_the_screen(client: TestClient) -> None:
    code = _lot(client)
    assert "No grain is weighed yet" in _panel(client.get(f"/cast/{code}/grains"))
    page = _weigh(client, code, "172 g")
    assert re.search(rf"Weighed last: {code}-01 accept 96\.\d % Hold or reject", _panel(page))
    assert re.search(r"of ideal ± 0\.\d · 172\.0 g · pattern’s sizes", _panel(page))
    assert f"Next on the scale: {code}-02" in _panel(page)
    page = _weigh(client, code, "171 g", length="76 mm")
    assert "pattern’s sizes" not in _panel(page)


def test_the_bubble_is_what_is_missing_at_the_scale_of_the_section(client: TestClient) -> None:
    """A sphere of V (1 - share) has the diameter (6 V (1 - share) / pi)^(1/3), by geometry; so has the allowed one."""
    code = _lot(client)
    page = _weigh(client, code, "163 g")
    (grain,) = _weighed(client)
    volume = math.pi / 4 * (44.45**2 - 19.05**2) * 76.2
    missing, allowed = (math.cbrt(6 * volume * (1 - share) / math.pi) for share in (grain.density_share, 0.95))
    assert f"Ø {missing:.0f} mm" in page.text
    assert f"limit {allowed:.0f} mm" in page.text
    circles = [float(r) for r in re.findall(r'<circle[^>]* r="([\d.]+)em"', page.text)][:2]
    along = float(re.findall(r'<rect[^>]* width="([\d.]+)em"[^>]*class="hatched grain"', page.text)[0])
    assert [2 * r / along * 76.2 for r in circles] == pytest.approx([missing, allowed], abs=0.1)


def test_a_lot_stands_beside_earlier_ones(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        for days in (30, 20, 10):
            with clock.turned_to(clock.now() - timedelta(days=days)):
                build.grain(session, build.cast(session), 0.97)
        session.commit()
    code = _lot(client)
    drawing = re.search(r'<div class="drawing lot-strip">.*?</div>', _weigh(client, code, "172 g").text, re.S)
    assert drawing
    assert code in drawing[0]
    assert "before" in drawing[0]


def test_a_grain_is_held_from_the_scale_in_two_touches(client: TestClient) -> None:
    code = _lot(client)
    page = _weigh(client, code, "172 g")
    sent = {**fields(page, "hold-1"), "decision": "hold", "fault": "soft"}
    refused = client.post(f"/cast/{code}/grains/1/hold", data={**sent, "person": ""})
    assert refused.status_code == 422
    assert 'id="hold-1-person-error">Write your name' in refused.text
    assert re.search(r'<details class="wrong" open', refused.text)
    page = client.post(f"/cast/{code}/grains/1/hold", data={**sent, "person": "Ada"})
    assert page.status_code == 200
    assert (_weighed(client)[0].decision, _weighed(client)[0].decision_fault) == ("hold", "soft")
    assert f"Weighed last: {code}-01 held" in _panel(page)


def test_enter_in_the_reason_decides_nothing(client: TestClient) -> None:
    code = _lot(client)
    page = _weigh(client, code, "172 g")
    sent = {**fields(page, "hold-1"), "person": "Ada", "why": "rings dull"}
    page = client.post(f"/cast/{code}/grains/1/hold", data=sent)
    assert page.status_code == 422
    assert 'value="rings dull"' in page.text
    assert _weighed(client)[0].decision is None


def test_the_page_leads_from_the_last_grain_to_the_shelf(client: TestClient) -> None:
    code = _lot(client, count=3, until="pull")
    for gross in ("172", "173.5"):
        assert "Weigh it" in _panel(_weigh(client, code, gross))
    page = _weigh(client, code, "160")
    assert "Nothing speaks against 2 of 3" in _panel(page)
    assert "Still open: decide on 1, bag 2, labels, shelf." in _panel(page)
    page = client.post(f"/cast/{code}/grains/accept", data={**fields(page, "accept-all"), "person": "Ada"})
    assert f"Look at {code}-03 Decide on {code}-03" in _panel(page)
    page = client.get(f"/cast/{code}/grains?show=3")
    assert f"To decide on: {code}-03" in _panel(page)
    sent = {**fields(page, "hold-3"), "decision": "reject", "fault": "void", "person": "Ada"}
    page = client.post(f"/cast/{code}/grains/3/hold", data=sent)
    assert f"Where does {code}-03 go?" in _panel(page)
    page = client.post(f"/cast/{code}/grains/3/gone", data={**fields(page, "gone-3"), "to": "scrap"})
    assert "Bag 2 with desiccant" in _panel(page)
    page = client.post(f"/cast/{code}/grains/bag", data=fields(page, "bag-all"))
    assert "2 bagged: label them Print the labels To the shelf" in _panel(page)
    to_shelf = re.search(r'href="(/shelf/bags\?[^"]*)">To the shelf', client.get(f"/labels?lot={code}").text)
    assert to_shelf, "the labels lead on"
    ids = [str(grain.pk) for grain in _weighed(client) if grain.bagged_at]
    sent = {**fields(client.get(to_shelf[1].replace("&amp;", "&")), "keep"), "place": "Dry box"}
    assert client.post("/shelf/bags", data={**sent, "grain": ids}).status_code == 200
    page = client.get(f"/cast/{code}/grains")
    assert "All 3 are put away Back to the evening" in _panel(page)
    assert "To the shelf" not in client.get(f"/labels?lot={code}").text
