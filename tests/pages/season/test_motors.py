"""The page of a wish's motors, walked as a person does: looked for, stopped, compared, one kept with its reason."""

import json
import re
import time
from collections.abc import Callable

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from app import clock
from app.calc.season.choosing import Effort, Progress
from app.db import writing
from app.models import Formula, KeptAnswer, MotorChoice, Wish
from app.models.season_choice import DrillIn
from app.services.book import under_way
from app.services.grains import shelf
from app.services.hardware import drills
from app.services.season import expected, figures, motor_search, overview, planned_for, searches
from app.services.season.searches import Running
from tests import build
from tests.behind import engine_of
from tests.browse import Page, opened, refused, saved, send

PAGE = "/season/1/wishes/1/motors"


@pytest.fixture
def shop(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> TestClient:
    """One case, two nozzles, a drill, two formulas and two patterns; a light rocket wished to 500 to 700 m."""
    searches._searches._all.clear()  # of another test's book
    monkeypatch.setattr(motor_search, "EFFORT", Effort(wanted=6, most_ranged=10, samples=16, flights=16))
    with writing(engine_of(client)) as session:
        build.formula(session, "Marram")
        build.pattern(session, name="Gull")
        build.pattern(session, name="Wide", core_d="23.5 mm")
        build.case(session, name="Long 54", empty_mass="700 g")
        build.nozzle(session, name="Graphite", throat_d="11.5 mm")
        drills.save_drill(session, DrillIn.model_validate({"diameter": "13.1 mm"}))
        rocket = build.rocket(session, name="Knot", mass="2.2 kg", diameter="80 mm", rail_length="2.5 m")
        field = build.field(session, name="Pasture", length="2400 m", width="2000 m")
        season = build.season(session)
        build.wish(
            session, season, rocket_id=rocket.pk, launch_field_id=field.pk, height_low="500 m", height_high="750 m"
        )
        build.wished_test(session, season, formula_id=session.exec(select(Formula)).one().pk, case_id=1)
        session.commit()
    return client


def looked(client: TestClient, **typed: str) -> str:
    """The page once a search that was begun by its button is over."""
    url = saved(client, PAGE, typed, "look")
    for _ in range(400):
        text = client.get(url).text
        if 'id="under-way"' not in text:
            return str(text)
        time.sleep(0.02)
    raise AssertionError("the search does not end")


def test_a_motor_is_looked_for_and_kept_with_its_reason(shop: TestClient) -> None:
    """From the wish to its motor in three presses; what is kept is what was shown, and what its own pages work out."""
    assert "Choose a motor" in opened(shop, "/season/1/wishes/1").texts["main"]
    before = opened(shop, PAGE)
    assert "Every case, nozzle, drill, formula and pattern" in before.texts["main"]
    text = looked(shop, wind="0 m/s")
    assert "Every motor that was tried" in text
    assert "ceiling of the field" in text
    assert "the case&#39;s limit" in text or "the case's limit" in text
    assert text.count('class="drilled"') == 1  # one line from the throat as it is to the one that the drill makes
    refusals = re.search(r"are refused: .*?</p>", text, re.DOTALL)
    assert refusals is not None
    assert text.index('class="chart') < refusals.start() < text.index('id="why-head"')
    page = opened(shop, f"{PAGE}?wind=0+m%2Fs")
    assert "First what is expected within the heights wished" in page.texts["main"]
    assert "A prediction is never a statement that a motor is safe" in page.texts["main"]
    assert saved(shop, f"{PAGE}?wind=0+m%2Fs", {"why": "fired before"}, "keep") == "/season/1"
    with Session(engine_of(shop)) as session:
        row = session.exec(select(MotorChoice)).one()
        wish = session.get_one(Wish, 1)
        assert (row.why, row.wish_id) == ("fired before", 1)
        grains = [(grain.pattern_id, grain.count) for grain in row.grains]
        own = expected.of_motor(
            session,
            wish,
            case_id=row.case_id,
            nozzle_id=row.nozzle_id,
            throat_d_m=row.throat_d_m,
            formula_id=row.formula_id,
            grains=grains,
        )
        mine = figures.of(row)
        for name in ("peak_share", "height_m", "exit_m_s", "impulse_ns"):
            kept, again = getattr(mine, name), getattr(own, name)
            assert kept[1] == pytest.approx(again[1], rel=2e-3), name
        (kept_answer,) = session.exec(select(KeptAnswer)).all()
        throats = json.loads(kept_answer.answer_json)["best"][0]["throats"]
        assert [throat for throat, _, _ in throats] == [0.0115, 0.0131]
        assert throats[0][1] > throats[1][1], "a wider throat has less pressure"
    assert "Marram" in opened(shop, "/season/1").texts["main"]


def test_an_answer_opens_again_at_once_and_anew_where_the_workshop_changed(shop: TestClient) -> None:
    looked(shop)
    searches._searches._all.clear()
    assert "Why this one" in shop.get(PAGE).text  # of the book, with no search in memory
    with writing(engine_of(shop)) as session:
        build.nozzle(session, name="Steel", throat_d="12.2 mm")
        session.commit()
    assert "Why this one" not in shop.get(PAGE).text
    assert "Look for motors" in shop.get(PAGE).text


def test_two_are_compared_and_another_taken_to_the_head(shop: TestClient) -> None:
    looked(shop)
    other = opened(shop, f"{PAGE}?take=1")
    assert other.forms["keep"].fields["place"] == "1"
    both = shop.get(f"{PAGE}?pick=0&pick=1").text
    assert "Both on the same axes" in both
    assert "Figures of both" in both
    assert "Both on the same axes" not in shop.get(f"{PAGE}?pick=0").text.replace("Tick two: both", "")
    assert shop.get(f"{PAGE}?take=900").status_code == 200
    assert shop.get(f"{PAGE}?wind=strong").status_code == 422


def test_a_search_tells_how_far_it_is_and_can_be_stopped(shop: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    """Held up at its first word, it shows its bar; stopped, it ends with what it has; the button begins it anew.
    After a restart of the program the page says that it was cut off, without a bar, and begins it again by one press.
    """
    monkeypatch.setattr("app.services.season.choices.AT_ONCE_S", 0.0)
    monkeypatch.setattr(under_way.Work, "tell", _slow(under_way.Work.tell))
    saved(shop, PAGE, {}, "look")
    running = opened(shop, PAGE)
    assert "Stop with what it has" in running.texts["main"]
    saved(shop, PAGE, {}, "stop")
    for one in list(searches._searches._all.values()):
        assert one.over.wait(20)
    searches._searches._all.clear()  # the program was closed
    lost = opened(shop, PAGE)
    assert "This search was cut off" in lost.texts["main"]
    assert "Stop with what it has" not in lost.texts["main"]
    saved(shop, PAGE, {}, "again")
    saved(shop, PAGE, {}, "stop")
    for one in list(searches._searches._all.values()):
        assert one.over.wait(20)
    stopped = opened(shop, PAGE).texts["main"]
    assert "as far as they were looked at" in stopped
    monkeypatch.undo()
    monkeypatch.setattr(motor_search, "EFFORT", Effort(wanted=2, most_ranged=4, samples=16, flights=16))
    assert "Why this one" in looked(shop)


def _slow(tell: Callable[[Running, Progress], bool]) -> Callable[[Running, Progress], bool]:
    def held(self: Running, progress: Progress) -> bool:
        for _ in range(200):
            if self.stopped:
                break
            time.sleep(0.01)
        return tell(self, progress)

    return held


def test_delays_are_held_against_the_flight_and_stay_known(shop: TestClient) -> None:
    """None known: said so. None that fits: refused, with the one that would. One that fits: kept with the motor, and
    the next search has it by itself.
    """
    refusal = refused(shop, PAGE, {"delays": "4,5"}, "look")
    assert "Is “4,5” 4.5 s, or 4 s and 5 s?" in refusal.fault("delays", "look")
    page = opened(shop, PAGE)
    assert page.forms["look"].fields["delays"] == "none"
    assert "No ejection delay is known for Knot: whether" in looked(shop, wind="0 m/s")
    text = Page(looked(shop, wind="0 m/s", delays="1 s and 50 s")).texts["main"]
    assert "No motor is possible" in text
    assert "no such delay" in text
    assert "The refused ones nearest to the wish" in text
    near = text[text.index("The refused ones nearest") :]
    assert re.search(r"The nearest delay is \d+\.\d s; \d+\.\d s pass from burnout to the top\. a delay of \d", near)
    ideal = re.search(r"a delay of (\d+\.\d) s", text)
    assert ideal is not None
    fits = looked(shop, wind="0 m/s", delays=f"1, {ideal[1]} s")
    assert f"of the delays you can have, {float(ideal[1]):g} s is nearest" in fits
    saved(shop, f"{PAGE}?wind=0+m%2Fs&delays=1%2C+{ideal[1]}+s", {}, "keep")
    assert "Looked for in 0.0 m/s of wind, with delays of 1, " in opened(shop, "/season/1/wishes/1").texts["main"]
    again = opened(shop, PAGE)
    assert again.forms["look"].fields["delays"] == f"1, {float(ideal[1]):g} s"
    assert again.forms["look"].fields["wind"] == "0 m/s"


def test_static_tests_are_held_against_their_case_alone(shop: TestClient) -> None:
    url = "/season/1/wishes/2/motors"
    saved(shop, url, {}, "look")
    for one in list(searches._searches._all.values()):
        assert one.over.wait(20)
    page = opened(shop, url)
    assert "Why this one" in page.texts["main"]
    assert "off the rail" not in page.texts["main"]


def test_without_hardware_the_page_leads_to_where_it_is_entered(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        build.wish(session, build.season(session))
        session.commit()
    page = opened(client, PAGE)
    assert "There is nothing to make a motor of yet" in page.texts["main"]
    assert "Enter a case" in page.texts["main"]
    assert 'href="/workshop/nozzles/new"' in client.get(PAGE).text


def test_of_the_shelf_nothing_can_fly_while_it_is_empty(shop: TestClient) -> None:
    text = looked(shop, shelf="on")
    assert "No motor is possible of what lies on the shelf" in text
    assert "There is no grain and no formula to make a motor of." in text


def test_what_lies_on_the_shelf_is_asked_for_by_its_own_numbers(shop: TestClient) -> None:
    """Three grains of one pattern lie there: no motor has more, and all are of their formula."""
    with writing(engine_of(shop)) as session:
        build.ready_grains(session, 3)
        session.commit()
    with Session(engine_of(shop)) as session:
        wish = session.get_one(Wish, 1)
        lying = overview.usable(shelf.standing(session))
        search = motor_search.from_shelf(session, wish, lying, planned_for.of(session, wish))
        assert [pattern.most for pattern in search.hardware.patterns] == [3]
    assert (
        "of what lies on the shelf" in looked(shop, shelf="on") or "Why this one" in shop.get(f"{PAGE}?shelf=on").text
    )


def test_a_choice_from_an_answer_that_is_gone_is_refused_with_what_was_typed(shop: TestClient) -> None:
    looked(shop)
    answer = send(shop, PAGE, {"answer": "0" * 64, "why": "it was there"}, "keep")
    assert answer.status_code == 409
    lost = Page(answer.text)
    assert "Look for motors again" in lost.texts["main"]
    assert "it was there" in str(lost.forms["keep"].fields)
    with writing(engine_of(shop)) as session:
        wish = session.get_one(Wish, 1)  # struck out: no form is left
        wish.struck_at, wish.struck_why = clock.now(), "changed my mind"
        session.commit()
    assert 'id="keep"' not in shop.get(PAGE).text
