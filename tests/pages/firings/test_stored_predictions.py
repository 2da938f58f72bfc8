"""Which prediction belongs to a firing: one rule on every page. A story of one day; figures computed.

Predicted at 9:00, fired at 11:00, predicted again at 20:00 with another setting, written down at 21:00.
"""

import csv
import io
import re
from datetime import datetime, timedelta

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine
from sqlmodel import Session

from app import clock
from app.db import reading, writing
from app.models import Firing, MotorBuild, Prediction
from app.services.book import workshop
from app.services.firings import curves, firings
from app.services.learning import stored_predictions
from app.services.motors import builds
from app.services.review import burned_motors, coverage, lot_firings
from app.units import number
from tests import behind, build
from tests.services.firings.test_curves import read_in, record, text

NINE = datetime(2026, 5, 2, 9, 0).astimezone()


def at(hour: int) -> datetime:
    return NINE.replace(hour=hour)


@pytest.fixture
def engine_of(client: TestClient) -> Engine:
    return behind.engine_of(client)


def day_of(session: Session) -> tuple[Firing, MotorBuild, Prediction, Prediction]:
    with clock.turned_to(NINE) as turn:
        made = build.motor_build(session)
        morning = builds.around(session, made).predictions[0]
        turn(at(20))
        workshop.get(session).nozzle_efficiency_share = 0.75
        session.flush()
        evening = builds.predict_again(session, made)
        turn(at(21))
        fired = build.firing(session, made, fired_at=at(11), measured_impulse="452 N·s", measured_burn_time="1.5 s")
        row = curves.STAND.take_in(session, fired, "a.csv", text(*record()))
        curves.keep(session, fired, row, read_in())
    return fired, made, morning, evening


def test_a_prediction_of_the_evening_is_not_what_the_morning_was_held_against(
    client: TestClient, engine_of: Engine
) -> None:
    with writing(engine_of) as session:
        fired, made, morning, evening = day_of(session)
        key, code, lot = fired.pk, made.code, firings.its_motor(session, fired).grains[0].batch.code
        first, second = morning.total_impulse_ns, evening.total_impulse_ns
        session.commit()
    assert second < 0.9 * first
    right, wrong = number(first, "impulse"), number(second, "impulse")
    pages = {
        url: re.sub("<figure.*?</figure>", "", client.get(url).text, flags=re.DOTALL)  # its numbers may be any
        for url in (f"/firings/{key}", "/firings", f"/firings/{key}/curve", f"/review/{lot}", "/motors")
    }
    for url, page in pages.items():
        assert f">{right}<" in page, url
        assert f">{wrong}<" not in page, url
    assert f"otal impulse {100 * (1 - 452 / first):.0f} % under" in pages[f"/firings/{key}"]
    assert f"otal impulse {100 * abs(1 - 452 / second):.0f} %" not in pages[f"/firings/{key}"]
    assert f"{452 / first:.2f}" in pages[f"/review/{lot}"]
    motor = client.get(f"/motors/{code}").text
    assert "the last one before its firing" in motor
    assert f"{wrong} N·s" in motor.partition("Other predictions")[2]
    (line,) = csv.DictReader(io.StringIO(client.get("/review/firings.csv").text))
    (predicted,) = (text for name, text in line.items() if name.startswith("Predicted impulse"))
    assert float(predicted) == pytest.approx(first)
    with reading(engine_of) as session:
        held = coverage.coverage_of(session, key).records[0].held
        assert [one.expected for one in held] == pytest.approx([first])
        assert [
            one.impulse.predicted for one in burned_motors.burned(session, burned_motors.LookIn())
        ] == pytest.approx([first])


def test_one_rule_gives_one_answer_in_python_and_in_queries(session: Session) -> None:
    """Made before, within the minute, after; and a try that did not light before the one that did."""
    with clock.turned_to(NINE) as turn:
        made = build.bare_motor(session, [build.grain(session, build.cast(session, 1))], predicted=500.0)
        turn(at(10) + timedelta(seconds=59))
        within = build.bare_prediction(session, made, 510.0)
        turn(at(10) + timedelta(seconds=60))
        build.bare_prediction(session, made, 520.0)
        tried = build.bare_firing(session, made, "no_light")
        tried.fired_at = at(10)
        turn(at(12))
        late = build.bare_prediction(session, made, 530.0)
        burned = build.bare_firing(session, made)
        burned.fired_at = at(14)
        session.flush()
    assert stored_predictions.for_firing(session, tried) == within
    assert stored_predictions.for_firing(session, burned) == late
    assert stored_predictions.ids(session, [tried.pk, burned.pk]) == {tried.pk: within.pk, burned.pk: late.pk}
    batch = lot_firings.shots_of(session, [1])[1]
    assert [shot.predicted_ns for shot in batch] == [510.0, 530.0]
    assert builds.around(session, made).prediction == late


def test_made_after_the_firing_only(client: TestClient, engine_of: Engine) -> None:
    with writing(engine_of) as session:
        with clock.turned_to(NINE) as turn:
            grains = build.ready_grains(session)
            turn(at(12))
            made = build.motor_build(session, grains=grains)
            fired = build.firing(session, made, fired_at=at(10), measured_impulse="500 N·s")
            first = builds.around(session, made).predictions[0].total_impulse_ns
        key, code = fired.pk, made.code
        session.commit()
    page = client.get(f"/firings/{key}").text
    assert "was made after the firing" in page
    assert f">{number(first, 'impulse')}<" not in page
    assert "after the firing, so nothing measured is held against it" in client.get(f"/motors/{code}").text
    assert "1 firing with something measured had no range stored before it" in client.get("/review/calibration").text
    with reading(engine_of) as session:
        found = coverage.coverage_of(session)
        assert found.unpredicted == 1
        assert not any(record.held for record in found.records)


def test_of_two_made_at_one_moment_the_one_written_later_counts_and_the_first_is_what_came_too_late(
    session: Session,
) -> None:
    with clock.turned_to(NINE) as turn:
        made, other = build.bare_motor(session, [], predicted=500.0), build.bare_motor(session, [])
        second = build.bare_prediction(session, made, 510.0)
        fired, unforeseen = build.bare_firing(session, made), build.bare_firing(session, other)
        turn(at(12))
        build.bare_prediction(session, other, 530.0)
        turn(at(11))  # written down after it and made before it, as by a clock put right
        early = build.bare_prediction(session, other, 520.0)
    assert stored_predictions.for_firing(session, fired) == second
    assert stored_predictions.for_firings(session, [fired.pk, unforeseen.pk]) == {fired.pk: second}
    assert stored_predictions.made_after(session, fired) is None
    assert stored_predictions.made_after(session, unforeseen) == early
