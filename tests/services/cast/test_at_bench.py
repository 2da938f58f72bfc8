"""What the bench view puts in front: one stated rule, and nothing that is due is hidden by it."""

from collections.abc import Callable
from datetime import datetime, timedelta

import pytest
from sqlmodel import Session

from app import clock
from app.models import Batch
from app.models.batch import WeighOutIn
from app.models.cast import SetIn, StepIn, TemperatureIn
from app.services.cast import at_bench, casting, pan, sets_poured, steps, weigh_outs
from app.services.cast.at_bench import Screen
from tests import build
from tests.moment import wall

EVENING = wall("2026-11-25T18:00")
MINUTE = timedelta(minutes=1)
Turn = Callable[[datetime], None]


def shown(session: Session, chosen: str = "", to_weigh: int = 0) -> Screen:
    runs = casting.due(session)
    return at_bench.screen(
        runs,
        {run.batch.pk: pan.standing(session, run.melt) for run in runs},
        {run.batch.pk: weigh_outs.of_batch(session, run.batch) for run in runs},
        {run.batch.pk: to_weigh for run in runs},
        chosen,
    )


def does(session: Session, lot: Batch, *keys: str, of_set: int = 1) -> None:
    cast = casting.the_open(session, lot)
    for key in keys:
        step = next(s for s in cast.steps if s.key == key and s.set_number in (0, of_set))
        steps.record(session, cast, step.pk, StepIn(act="done"), "Ada")


def read(session: Session, lot: Batch, text: str) -> None:
    pan.record_temperature(session, lot, TemperatureIn.model_validate({"temperature": text}))


def test_bowls_come_first_then_the_pan(session: Session) -> None:
    lot = build.batch(session)
    build.opened_session(session, lot)
    first = shown(session)
    assert (first.kind, first.bowl and first.bowl.name) == ("bowl", "Potassium nitrate")
    build.weighed_out(session, lot, but_last=1)
    last = shown(session)
    assert last.bowl is not None
    assert last.bowl.name == "Sucrose"
    assert shown(session, f"bowl-{lot.parts[0].pk}").front == f"bowl-{lot.parts[0].pk}"
    last_mass = {"supply_id": last.bowl.bags[0][0].pk, "mass": f"{last.bowl.part.target_kg * 1000:.4f} g"}
    weigh_outs.weigh_out(session, lot, last.bowl.part.pk, WeighOutIn.model_validate(last_mass))
    does(session, lot, "weigh")
    pan_step = shown(session)
    assert (pan_step.kind, pan_step.act and pan_step.act.said) == ("step", "Melted")


def test_too_hot_goes_before_everything_and_goes_back_by_itself(session: Session) -> None:
    lot = build.weighed_batch(session)
    does(session, lot, "weigh")
    read(session, lot, "300 F")
    assert shown(session, chosen=f"step-{casting.the_open(session, lot).steps[1].pk}").kind == "hot"
    read(session, lot, "240 F")
    assert shown(session).kind == "step"


def test_the_wait_becomes_the_act_shortly_before_its_time(session: Session) -> None:
    with clock.turned_to(EVENING) as turn:
        lot = build.cast(session)
        core = shown(session)  # the cores come three minutes after the pour
        assert (core.kind, core.act and core.act.said) == ("step", "Cores set")
        turn(EVENING + 3 * MINUTE)
        does(session, lot, "core")
        wait = shown(session)
        assert wait.kind == "wait"
        assert wait.renew_s == (15 * MINUTE - at_bench.SOON).total_seconds()
        assert wait.act is not None
        assert shown(session, wait.act.key).kind == "step"  # it can be done before its time
        turn(EVENING + 18 * MINUTE - at_bench.SOON)
        assert shown(session).kind == "step"


def test_what_is_due_in_another_set_stands_beside(session: Session) -> None:
    """Set 2 is compacted while set 1 is to be pulled, late: both are in view, and the later one is in front."""
    with clock.turned_to(EVENING) as turn:
        lot = build.cast(session)
        sets_poured.add_set(session, casting.the_open(session, lot), SetIn(moulds="2 wide"))
        waiting = shown(session).others
        assert [(act.step.key, act.now) for act in waiting] == [("pour", None)]  # after set 1 is compacted
        for minute, key in ((3, "core"), (18, "compact:1"), (28, "compact:2"), (38, "compact:3")):
            turn(EVENING + minute * MINUTE)
            does(session, lot, key)
        for minute, key in ((40, "pour"), (43, "core"), (58, "compact:1"), (68, "compact:2")):
            turn(EVENING + minute * MINUTE)
            does(session, lot, key, of_set=2)
        turn(EVENING + 78 * MINUTE)
        front = shown(session)
        assert (front.act and front.act.step.key, front.act and front.act.step.set_number) == ("compact:3", 2)
        assert [(act.step.key, act.step.set_number) for act in front.others] == [("pull", 1)]
        turn(EVENING + 95 * MINUTE)
        front = shown(session)
        assert front.act is not None
        assert (front.act.step.key, front.act.step.set_number) == ("compact:3", 2)  # due first
        assert [(act.step.key, act.now is not None and act.now.late) for act in front.others] == [("pull", True)]


def test_grains_are_weighed_while_only_the_bag_waits_and_then_the_evening_is_closed(session: Session) -> None:
    with clock.turned_to(EVENING) as turn:
        lot = build.cast(session)
        turn(EVENING + 90 * MINUTE)
        until_bag = [s.key for s in casting.the_open(session, lot).steps if s.key.startswith(("core", "comp", "pull"))]
        does(session, lot, *until_bag)
        assert shown(session, to_weigh=2).kind == "grains"
        assert [act.step.key for act in shown(session, to_weigh=2).others] == ["bag"]
        assert shown(session).kind == "wait"
        does(session, lot, "bag")
        assert shown(session).kind == "close"


@pytest.mark.parametrize(
    ("words", "line", "rest"),
    [
        ("Pour the tubes and the test pieces. Heat off.", "Pour the tubes and the test pieces.", "Heat off."),
        ("Compact again.", "Compact again.", ""),
        ("Stir in a third; wait until it is smooth.", "Stir in a third", "wait until it is smooth."),
        ("Hold 2.5 min over the pan. Then pour.", "Hold 2.5 min over the pan.", "Then pour."),
    ],
)
def test_a_line_is_cut_at_its_first_sentence(words: str, line: str, rest: str) -> None:
    assert at_bench.parted(words) == (line, rest)
