"""Motors of one kind that were fired: which they are, what they say of a start, and the burn of a stored prediction."""

from datetime import timedelta

import numpy as np
import pytest
from sqlmodel import Session

from app import clock
from app.models import MotorBuild
from app.services.firings import like_motors
from app.services.learning import prediction_record
from app.services.motors import builds, burn
from tests import build


def test_motors_of_one_kind_share_case_pattern_count_and_throat(session: Session) -> None:
    shape, tools = build.pattern(session), {"case": build.case(session), "nozzle": build.nozzle(session)}
    blend = build.formula(session)
    grains = build.ready_grains(session, 12, blend=blend, shape=shape)
    made: list[MotorBuild] = []
    for first in range(0, 8, 2):
        one = build.bare_motor(session, grains[first : first + 2])
        one.case_id, one.nozzle_id = tools["case"].pk, tools["nozzle"].pk
        made.append(one)
    longer = build.bare_motor(session, grains[8:11])  # a grain more
    longer.case_id = tools["case"].pk
    made[2].throat_d_m *= 1.06  # another throat
    session.flush()
    early = build.bare_firing(session, made[1])
    early.fired_at = clock.now() - timedelta(days=3)
    for other in (made[2], longer):
        build.bare_firing(session, other)
    unlit = build.bare_firing(session, made[3], "no_light")
    unlit.fired_at = early.fired_at
    session.flush()
    kind = like_motors.kind_of_built(builds.around(session, made[0]))
    assert [one.firing for one in like_motors.fired(session, kind)] == [early]
    own = build.bare_firing(session, made[0])
    later = build.bare_firing(session, made[3])
    later.fired_at = own.fired_at + timedelta(days=1)
    session.flush()
    found = like_motors.fired(session, kind, own)
    assert [(one.firing, one.own, one.same_formula) for one in found] == [(own, True, True), (early, False, True)]


def test_the_first_fifth_of_a_steady_push_gives_a_fifth_and_a_high_start_more() -> None:
    time = np.linspace(0, 2, 2001)
    steady = np.where((time > 0.1) & (time < 1.1), 100.0, 0.0)
    assert like_motors.first_part(time.tolist(), steady.tolist()) == pytest.approx(0.2, abs=0.002)
    high = steady * np.where(time < 0.2, 2.0, 1.0)
    assert like_motors.first_part(time.tolist(), high.tolist()) == pytest.approx(0.3 / 1.1, abs=0.003)  # by hand
    assert like_motors.first_part([0.0, 1.0, 2.0], [0.0, 0.0, 0.0]) is None


def test_the_burn_in_steps_is_that_of_the_marched_motor(session: Session) -> None:
    made = build.motor_build(session)
    built = builds.around(session, made)
    assert built.prediction is not None
    told = prediction_record.from_row(built.prediction)
    steps = burn.steps(told)
    assert [step.web_share for step in steps] == [0, 0.25, 0.5, 0.75]
    assert steps[0].kn == pytest.approx(told.kn_start, rel=1e-6)
    assert max(step.kn for step in steps) <= told.kn_peak * 1.0001
    for step in steps:  # each lies on the curve of Kn that was kept
        assert np.abs(np.array(told.curve.kn) / step.kn - 1).min() < 0.01
    front = burn.front_excess(told)
    assert front is not None
    assert 0.05 < front < 0.15  # port over throat 2.25
    older = told.model_copy(update={"curve": told.curve.model_copy(update={"kn": []})})
    assert burn.steps(older) == steps
