"""The shelf and the page of a grain."""

import re

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session

from app.db import writing
from app.models import Grain
from app.models.bag import KeepIn
from app.services.grains import grains, shelf
from tests import build
from tests.behind import engine_of
from tests.browse import Page
from tests.pages.grains.test_weighing import fields


def _ready(client: TestClient, n: int = 2) -> list[str]:
    with writing(engine_of(client)) as session:
        serials = [g.serial for g in build.ready_grains(session, n)]
        session.commit()
        return serials


def _undecided(client: TestClient, share: float = 0.96) -> str:
    with writing(engine_of(client)) as session:
        serial = build.grain(session, build.cast(session), share=share, decision=None).serial
        session.commit()
        return serial


def _grain(client: TestClient, serial: str) -> Grain:
    with Session(engine_of(client)) as session:
        return grains.by_serial(session, serial)


def test_an_empty_shelf_says_what_to_do(client: TestClient) -> None:
    page = client.get("/shelf")
    assert "The shelf is empty" in page.text
    assert 'href="/plan"' in page.text


def test_grains_can_be_ticked_for_a_motor_once_one_is_ready(client: TestClient) -> None:
    waiting = _undecided(client)
    assert "Build a motor of the ticked grains" not in client.get("/shelf").text
    serials = _ready(client)
    page = client.get("/shelf").text
    for serial in (*serials, waiting):
        assert f'name="grain" value="{_grain(client, serial).id}"' in page
    assert 'action="/motors/new"' in page
    assert "Build a motor of the ticked grains" in page


def test_the_ticked_grains_arrive_at_the_build_page(client: TestClient) -> None:
    ids = [_grain(client, serial).id for serial in _ready(client)]
    page = client.get("/motors/new", params={"grain": [str(i) for i in ids]})
    assert page.status_code == 200
    for number in ids:
        assert re.search(rf'name="grain_ids"[^>]*value="{number}"[^>]*checked', page.text, re.S)


MIXED = "/shelf?sort=mass"
"""Lots among each other, each row by itself."""


def test_cure_is_shown_with_the_day_it_ends(client: TestClient) -> None:
    _undecided(client)
    page = client.get("/shelf").text
    assert re.search(r"Cure \d+ % over; ready \d+ \w+ \d{4}", page)
    of_lot, every = (text[text.index("<thead>") : text.index("</table>")] for text in (page, client.get(MIXED).text))
    for said, words in (("Cure</th>", "of a cure"), ("Pattern</th>", "of one pattern"), (", ready ", "of its end")):
        assert said in every, words
        assert said not in of_lot, f"{words} the lot's line tells"


def test_the_shelf_is_filtered_by_state_and_part_of_a_serial(client: TestClient) -> None:
    (ready, _), waiting = _ready(client), _undecided(client)
    page = client.get("/shelf?state=weighed").text
    assert waiting in page
    assert ready not in page
    assert ready in client.get(f"/shelf?find={ready[:5].lower()}").text
    assert "No grain on the shelf is like that" in client.get("/shelf?find=ZZZ").text


def test_a_whole_serial_opens_its_grain(client: TestClient) -> None:
    serial = _undecided(client)
    assert client.get(f"/shelf?find=+{serial.lower()}+").url.path == f"/shelf/{serial}"


@pytest.mark.parametrize("query", ["state=nonsense", "sort=nonsense"])
def test_a_filter_that_is_none_is_told(client: TestClient, query: str) -> None:
    page = client.get(f"/shelf?{query}")
    assert page.status_code == 422
    assert "Choose one of the list" in page.text


def test_a_grain_shows_its_bags_and_numbers(client: TestClient) -> None:
    page = client.get(f"/shelf/{_ready(client)[0]}").text
    assert "Where it came from" in page
    assert re.search(r"Potassium nitrate from <a href=\"/workshop/supplies/\d+\">bag “Bag \d+”</a>", page)
    assert "as the pattern" in page
    assert "/motors/new?grain=" in page


def test_a_grain_shows_its_motor_and_firing(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        (grain,) = build.ready_grains(session, 1)
        motor = build.bare_motor(session, [grain])
        shot = build.bare_firing(session, motor)
        serial, code, firing = grain.serial, motor.code, shot.pk
        session.commit()
    page = client.get(f"/shelf/{serial}").text
    assert f'href="/motors/{code}"' in page
    assert f'href="/firings/{firing}"' in page
    assert "Burned well" in page
    assert 'id="measure"' not in page


def test_weighing_again_keeps_the_old_numbers_in_sight(client: TestClient) -> None:
    serial = _undecided(client)
    sent = fields(client.get(f"/shelf/{serial}"), "measure")
    assert sent["length"] == ""
    page = client.post(
        f"/shelf/{serial}/measure", data={**sent, "gross": "170 g", "length": "75,5 mm", "why": "trimmed"}
    )
    assert page.status_code == 200
    assert "How it stood before" in page.text
    assert "trimmed" in page.text
    assert _grain(client, serial).length_m == pytest.approx(0.0755)


def test_weighing_again_needs_a_reason(client: TestClient) -> None:
    serial = _undecided(client)
    sent = fields(client.get(f"/shelf/{serial}"), "measure")
    page = client.post(f"/shelf/{serial}/measure", data={**sent, "gross": "170 g", "why": ""})
    assert page.status_code == 422
    assert 'id="measure-why-error"' in page.text
    assert fields(page, "measure")["gross"] == "170 g"


def test_a_number_corrected_moves_the_grain_to_its_new_serial(client: TestClient) -> None:
    serial = _undecided(client)
    sent = fields(client.get(f"/shelf/{serial}"), "measure")
    page = client.post(f"/shelf/{serial}/measure", data={**sent, "number": "9", "why": "read the wrong tube"})
    assert page.url.path == f"/shelf/{serial[:-2]}09"
    assert client.get(f"/shelf/{serial}").status_code == 404


def test_two_tabs_do_not_measure_over_each_other(client: TestClient) -> None:
    serial = _undecided(client)
    first, second = (fields(client.get(f"/shelf/{serial}"), "measure") for _ in range(2))
    client.post(f"/shelf/{serial}/measure", data={**first, "gross": "170 g", "why": "again"})
    late = client.post(f"/shelf/{serial}/measure", data={**second, "gross": "171 g", "why": "again"})
    assert late.status_code == 409
    assert _grain(client, serial).gross_kg == pytest.approx(0.170)


def test_a_decision_and_a_bag(client: TestClient) -> None:
    serial = _undecided(client)
    sent = fields(client.get(f"/shelf/{serial}"), "decide")
    page = client.post(f"/shelf/{serial}/decision", data={**sent, "decision": "accept", "person": "Ada"})
    sent = fields(page, "bag")
    assert client.post(f"/shelf/{serial}/bag", data=sent).status_code == 200
    assert "not saved a second time" in client.post(f"/shelf/{serial}/bag", data=sent).text
    assert _grain(client, serial).bagged_at is not None


def test_a_decision_on_a_burned_grain_is_refused(client: TestClient) -> None:
    serial = _ready(client, 1)[0]
    sent = fields(client.get(f"/shelf/{serial}"), "decide")
    with writing(engine_of(client)) as session:
        build.bare_firing(session, build.bare_motor(session, [grains.by_serial(session, serial)]))
        session.commit()
    sent |= {"decision": "reject", "why": "late", "person": "Bo"}
    page = client.post(f"/shelf/{serial}/decision", data=sent)
    assert page.status_code == 422
    assert "was burned in" in page.text
    assert _grain(client, serial).decision == "accept"


def test_an_unknown_grain_is_not_there(client: TestClient) -> None:
    assert client.get("/shelf/99Z9-01").status_code == 404
    for act in ("measure", "decision", "bag"):
        assert client.post(f"/shelf/99Z9-01/{act}", data={}).status_code == 404


# --- Finding by label --------------------------------------------------------------------------


def test_a_scanned_label_opens_its_grain(client: TestClient) -> None:
    serial = _undecided(client)
    page = client.get("/shelf", params={"find": f"http://127.0.0.1:8765/shelf/{serial}"})
    assert page.url.path == f"/shelf/{serial}"


def test_a_wrong_label_is_told_beside_the_field(client: TestClient) -> None:
    _undecided(client)
    page = client.get("/shelf", params={"find": "http://127.0.0.1:8765/shelf/2001P-01"})
    assert page.status_code == 422
    assert re.search(r'id="look-find-error">There is no grain 2001P-01 in this book', page.text)


def test_older_lots_are_a_page_further(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shelf, "ON_A_PAGE", 1)
    older, newer = _undecided(client), _undecided(client)
    page = client.get("/shelf?state=weighed").text
    assert newer in page
    assert older not in page
    link = re.search(r'href="(/shelf\?[^"]*start=1[^"]*)">Older lots', page)
    assert link is not None
    further = client.get(link[1].replace("&amp;", "&")).text
    assert older in further
    assert newer not in further
    assert "First page" in further
    assert "There are no more grains" in client.get("/shelf?start=50").text


# --- Bags --------------------------------------------------------------------------------------


def test_several_bags_are_noted_at_once(client: TestClient) -> None:
    ids = [str(_grain(client, serial).id) for serial in _ready(client)]
    answer = client.get("/shelf/bags", params={"grain": ids})
    assert re.search(r"2 grains:", answer.text)
    sent = {**fields(answer, "keep"), "grain": ids, "place": "Tin 3", "desiccant": "on"}
    page = client.post("/shelf/bags", data=sent)
    assert page.url.path == "/shelf"
    assert page.text.count("Tin 3<br>") == 2
    assert "desiccant since" in page.text
    assert client.get("/shelf", params={"place": "Tin 3"}).text.count("Tin 3<br>") == 2


def test_bags_without_grains_say_what_to_do(client: TestClient) -> None:
    assert "Tick the grains on the shelf first" in client.get("/shelf/bags?grain=x").text


def test_a_refused_note_keeps_what_was_typed(client: TestClient) -> None:
    serial = _undecided(client)
    sent = fields(client.get(f"/shelf/{serial}"), "keep") | {"place": "Tin 3", "desiccant_on": "2024-01-05"}
    page = client.post(f"/shelf/{serial}/keep", data=sent)
    assert page.status_code == 422
    assert 'id="keep-desiccant_on-error"' in page.text
    assert fields(page, "keep")["place"] == "Tin 3"


def test_a_bag_moves_and_the_page_says_where_it_lay(client: TestClient) -> None:
    serial = _undecided(client)
    for place in ("Tin 3", "Tin 4"):
        sent = fields(client.get(f"/shelf/{serial}"), "keep") | {"place": place}
        page = client.post(f"/shelf/{serial}/keep", data=sent).text
    assert fields(client.get(f"/shelf/{serial}"), "keep")["place"] == "Tin 4"
    assert "Where it lay" in page
    assert "Tin 3" in page


# --- Re-weighing -------------------------------------------------------------------------------


def test_a_lot_is_re_weighed_grain_by_grain(client: TestClient) -> None:
    one, two = _ready(client)
    lot = one.split("-")[0]
    page = client.get(f"/shelf/reweigh?lot={lot}")
    sent = fields(page, "reweigh")
    assert sent["serial"] == one
    mass = _grain(client, one).mass_kg * 1000
    page = client.post("/shelf/reweigh", data={**sent, "gross": f"{mass + 0.5:.1f} g"})
    assert str(page.url).endswith(f"/shelf/reweigh?lot={lot}")
    assert "it has drawn water" in page.text
    assert "+0.5 g" in re.sub(r"\s+", " ", page.text)
    assert fields(page, "reweigh")["serial"] == two
    again = client.post("/shelf/reweigh", data={**sent, "gross": f"{mass + 0.5:.1f} g"})
    assert "not saved a second time" in again.text
    other = client.post("/shelf/reweigh", data={**sent, "gross": f"{mass:.1f} g"})
    assert other.status_code == 409
    assert f"<td>{mass + 0.5:.1f} g</td><td>{mass:.1f} g</td>" in other.text
    assert "drawn water" in client.get(f"/shelf/{one}").text
    assert "+0.5" in client.get("/shelf").text


def test_the_wrong_grain_is_told_beside_its_field(client: TestClient) -> None:
    lot, other = _ready(client)[0].split("-")[0], _undecided(client)
    sent = fields(client.get(f"/shelf/reweigh?lot={lot}"), "reweigh")
    page = client.post("/shelf/reweigh", data={**sent, "serial": other, "gross": "170 g"})
    assert page.status_code == 422
    assert re.search(rf'id="reweigh-serial-error">This is {other}, and you are re-weighing lot {lot}', page.text)
    assert fields(page, "reweigh")["gross"] == "170 g"


def test_a_slipped_sign_is_asked_about_and_can_be_insisted_on(client: TestClient) -> None:
    serial = _undecided(client)
    sent = fields(client.get(f"/shelf/reweigh?grain={_grain(client, serial).id}"), "reweigh")
    assert sent["serial"] == serial
    page = client.post("/shelf/reweigh", data={**sent, "gross": "17.2"})
    assert "Did you mean" in page.text
    asked = Page(page.text).forms["reweigh"]
    assert list(asked.answers) == ["172 g", "17.2 g, as typed"]
    assert client.post("/shelf/reweigh", data=asked.answered("172 g")).status_code == 200


def test_whatever_is_scanned_can_be_re_weighed(client: TestClient) -> None:
    serial = _undecided(client)
    sent = fields(client.get("/shelf/reweigh"), "reweigh")
    label = f"http://127.0.0.1:8765/shelf/{serial}"
    page = client.post("/shelf/reweigh", data={**sent, "serial": label, "gross": _grain(client, serial).gross_typed})
    assert f'Re-weighed last: <a href="/shelf/{serial}">' in page.text
    assert fields(page, "reweigh")["serial"] == ""


# --- Sets --------------------------------------------------------------------------------------


def test_sets_lead_to_a_motor(client: TestClient) -> None:
    ids = [_grain(client, serial).id for serial in _ready(client)]
    sent = fields(client.get("/shelf/sets"), "sets")
    page = client.get("/shelf/sets", params={**sent, "size": "2"}).text
    assert "Exact" in page
    assert re.search(rf'href="/motors/new\?grain={ids[0]}&amp;grain={ids[1]}"', page)


def test_sets_that_cannot_be_are_told(client: TestClient) -> None:
    assert "No grain is ready yet" in client.get("/shelf/sets").text
    _ready(client)
    sent = fields(client.get("/shelf/sets"), "sets")
    for more, words in (
        ({"size": "3"}, "2 ready grains of this kind"),
        ({"size": "1"}, "at least 2"),
        ({"size": "2", "count": "9"}, "for 1 set of 2"),
        ({"kind": "9-9"}, "Choose one of the list"),
    ):
        page = client.get("/shelf/sets", params={**sent, **more})
        assert page.status_code == 422
        assert words in page.text


# --- What it answers first -----------------------------------------------------------------------


def test_the_shelf_says_what_can_be_built_before_anything_else(client: TestClient) -> None:
    """The answer, its button and the boxes come before the caution and the lists."""
    serials = _ready(client)
    assert "No motor can be built now" in client.get("/shelf").text
    with writing(engine_of(client)) as session:
        build.case(session, name="Long", chamber_length="160 mm")
        build.nozzle(session, name="Graphite")
        shelf.keep(session, [grains.by_serial(session, serials[0]).pk], KeepIn(place="Tin 3"))
        session.commit()
    page = client.get("/shelf").text
    answer = re.search(r'<section class="answer".*?</section>', page, re.S)
    assert answer
    assert page.index(answer[0]) < page.index("caution-title") < page.index('id="look"')
    assert re.search(r"A motor can be built now</strong>: 2 Pattern \d+ of .* in Long with Graphite; their", answer[0])
    assert re.search(r'href="/motors/new\?grain=\d+&amp;grain=\d+&amp;case_id=1&amp;nozzle_id=1">Build it', answer[0])
    assert f"Tin 3: {serials[0].partition('-')[0]}, 1 ready" in answer[0], "the boxes are told in words, too"
    assert "no place noted" in answer[0]
    assert "small-motor" in answer[0]
