"""The pages of what was learned and whether ranges held, without script; and the switch on each prediction."""

import re
from datetime import timedelta
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine
from sqlmodel import Session, select

from app import clock
from app.db import writing
from app.models import Prediction
from app.services.book import workshop
from app.services.firings import firing_fits, firings
from app.services.learning import learning_pages
from app.services.motors import builds
from app.services.review import coverage
from tests import behind, build
from tests.browse import opened, refused, saved
from tests.services.learning.test_learning import fired


@pytest.fixture
def engine_of(client: TestClient) -> Engine:
    return behind.engine_of(client)


def one_firing(engine: Engine) -> tuple[int, int, str]:
    """A firing with a curve: its identity, its formula's, and its motor's code."""
    with writing(engine) as session:
        firing = fired(session, rate=1.08)
        built = firings.its_motor(session, firing)
        made = firing.pk, built.formula.pk, built.build.code
        session.commit()
    return made


def test_nothing_yet(client: TestClient) -> None:
    assert "Nothing was measured yet" in client.get("/review/calibration").text
    assert "There is no formula" in client.get("/review/learned").text
    assert client.get("/review/learned/7").status_code == 404
    assert client.get("/review/learned/firing/7").status_code == 404


def test_what_was_learned_is_shown_and_paused_and_taken_up_again(client: TestClient, engine_of: Engine) -> None:
    _, formula, code = one_firing(engine_of)
    listed = client.get("/review/learned").text
    assert f'href="/review/learned/{formula}"' in listed
    assert "1 firing" in listed
    address = f"/review/learned/{formula}"
    shown = client.get(address).text
    answer = re.search(r'class="answer-words">1 firing says that .+? v1 burns (\d+) % faster than its law', shown)
    assert answer
    assert int(answer[1]) in range(4, 9), "it was fired at 1.08 of the law; one firing is believed most of the way"
    shrank = re.search(r"burn rate shrank by (\d+) %, of c\* by (\d+) %, of the nozzle by (\d+) %", shown)
    assert shrank
    assert 50 < int(shrank[1]) < 100
    assert shown.index('class="answer-words"') < shown.index('class="before"') < shown.index("How sure?")
    assert code in shown
    assert "burn rate 1.0" in shown
    assert "Not yet. The pressures lie within a factor" in shown
    page = refused(client, address, {"why": "no"}, "pause")
    assert "3" in page.fault("why", "pause")
    assert saved(client, address, {"why": "Another supplier."}, "pause") == address
    assert "paused for this formula: Another supplier." in client.get(address).text
    assert saved(client, address, form_id="resume") == address
    assert "paused for this formula" not in client.get(address).text


def test_a_fault_of_the_program_is_shown_where_the_firing_teaches(
    client: TestClient, engine_of: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as broken:
        broken.setattr(firing_fits, "_from_pressure", lambda *_: [][0])
        firing, formula, _ = one_firing(engine_of)
    for address in (f"/review/learned/firing/{firing}", f"/review/learned/{formula}"):
        page = client.get(address).text
        assert "Grainbook itself failed as it fitted this firing (IndexError)" in page
        assert "not fitted: Grainbook failed at it" in page
        assert "Nothing could be learned" not in page
    assert (
        client.post("/review/learned", data=opened(client, "/review/learned").forms["form"].fields).status_code == 200
    )
    assert "Grainbook itself failed" not in client.get(f"/review/learned/{formula}").text


def test_a_firing_says_what_it_taught_and_is_left_out(client: TestClient, engine_of: Engine) -> None:
    firing, formula, _ = one_firing(engine_of)
    assert f'href="/review/learned/firing/{firing}"' in client.get(f"/firings/{firing}").text
    address = f"/review/learned/firing/{firing}"
    shown = client.get(address).text
    assert re.search(r'class="answer-words">(All 4|[1-3] of 4) measured figures lay inside', shown)
    assert "Read out of its pressure and thrust" in shown
    assert "It counts." in shown
    assert "inside" in shown
    saved(client, address, {"why": "The gauge stuck."}, "leave-out")
    shown = client.get(address).text
    assert "It left out" not in shown
    assert "The gauge stuck." in shown
    assert "1 left out" in client.get(f"/review/learned/{formula}").text
    saved(client, address, form_id="let-in")
    assert "It counts." in client.get(address).text


def test_a_motor_shows_what_firings_taught_and_a_link(client: TestClient, engine_of: Engine) -> None:
    _, formula, _ = one_firing(engine_of)
    with writing(engine_of) as session:
        made = build.motor_build(session, grains=build.ready_grains(session, formula_id=formula)).code
        session.commit()
    page = client.get(f"/motors/{made}").text
    assert "What the firings taught" in page
    assert "It stands on 1 firing of this formula" in page
    assert f'href="/review/learned/{formula}"' in page


def test_switched_off_in_the_settings(client: TestClient, engine_of: Engine) -> None:
    one_firing(engine_of)
    form = opened(client, "/workshop/settings").forms["form"]
    assert form.fields.pop("learn") == "on"
    assert client.post(form.action, data=form.fields, follow_redirects=False).status_code == 303
    assert "Learning is switched off" in client.get("/review/learned").text
    with writing(engine_of) as session:
        made = build.motor_build(session).code
        session.commit()
    assert "Nothing that firings taught is in it" in client.get(f"/motors/{made}").text


def test_calibration_counts_only_what_was_foretold(client: TestClient, engine_of: Engine) -> None:
    with writing(engine_of) as session:
        for share in (0.99, 1.01, 0.6):
            made = build.motor_build(session)
            told = session.exec(select(Prediction).where(Prediction.motor_build_id == made.pk)).one()
            build.firing(session, made, measured_impulse=f"{share * told.total_impulse_ns:.1f} N·s")
        late = build.motor_build(session)
        with clock.turned_to(clock.now() - timedelta(minutes=30)):
            build.bare_firing(session, late, measured_impulse_ns=500.0)
        session.commit()
    page = client.get("/review/calibration").text
    assert (
        "Too few to tell: 2 of 3 inside" in page or "1 of 3 inside" in page or "Too narrow, most likely: 3 of 3" in page
    )
    assert "1 firing with something measured had no range stored before it" in page
    assert "Not known yet: of total impulse too few values tell." in page or "No: total impulse fell outside" in page
    assert page.count("<figure") == 1, "all figures are one set of charts"
    inside = re.search(r">Total impulse <span[^>]*>(\d) of 3 inside<", page)
    assert inside
    assert page.count('class="apart"') == 3 - int(inside[1]) + 1, "each that lay outside, and one in the key"
    assert page.count('data-words="') == 3
    assert "Outside the range, newest first" in page
    assert 'href="/review/calibration"' in client.get("/review").text


def test_the_last_prediction_before_the_firing_counts(client: TestClient, engine_of: Engine) -> None:
    with writing(engine_of) as session:
        made = build.motor_build(session)
        first = session.exec(select(Prediction).where(Prediction.motor_build_id == made.pk)).one()
        with clock.turned_to(clock.now() + timedelta(minutes=5)) as turn:
            workshop_changed(session)
            second = builds.predict_again(session, made)
            turn(clock.now() + timedelta(minutes=5))
            build.firing(session, made, fired_at=clock.now(), measured_impulse="500 N·s")
        found = coverage.coverage_of(session).records[0].held
        assert len(found) == 1
        assert found[0].expected == pytest.approx(second.total_impulse_ns)
        assert found[0].expected != pytest.approx(first.total_impulse_ns, rel=1e-4)


def workshop_changed(session: Session) -> None:
    workshop.get(session).nozzle_efficiency_share = 0.8
    session.flush()


def test_the_words_of_how_much_firings_move_are_worked_out(client: TestClient, engine_of: Engine) -> None:
    one_firing(engine_of)
    with writing(engine_of) as session:
        moves = {m.tests: m for m in learning_pages.moves(session)}
        session.commit()
    assert moves[1].rate > 0.9
    assert moves[3].c_star > 0.9
    assert moves[3].impulse > 0.9
    text = client.get("/review/learned").text
    for m in moves.values():  # as the page writes them
        assert f"{m.tests}, pressure and thrust</th>" in text
        assert f"{100 * m.rate:.0f} %" in text
        assert f"{100 * m.impulse:.0f} %" in text
    assert "Three static tests are worth more than any default" in text
    assert "two fifths" not in text
    assert "that books began with before" not in text
    with writing(engine_of) as session:
        house = workshop.get(session)
        house.c_star_efficiency_share, house.nozzle_efficiency_share = 0.95, 0.90
        session.commit()
    assert "that books began with before" in client.get("/review/learned").text


def test_help_and_readme_say_what_firings_move(client: TestClient, engine_of: Engine) -> None:
    """One test most of the way, three nearly all of it, more hardly any further: as worked out."""
    with writing(engine_of) as session:
        moves = {m.tests: m for m in learning_pages.moves(session)}
        session.commit()
    shares = ([moves[n].rate for n in (1, 3, 30)], [moves[n].impulse for n in (1, 3, 30)])
    for one, three, thirty in shares:
        assert 0.8 < one < three
        assert 0.93 < three < thirty < three + 0.05
    assert "one static test moves a prediction most of the way" in " ".join(client.get("/help").text.split())
    readme = " ".join((Path(__file__).parents[3] / "README.md").read_text(encoding="utf-8").split())
    assert "one static test most of the way, three nearly all of it" in readme
