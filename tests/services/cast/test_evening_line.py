"""The time line's rows: known moments as they are, the rest along the run sheet's own waits and marked as estimates."""

from datetime import timedelta

from sqlmodel import Session

from app import clock
from app.drawings.evening_line import Act, Row
from app.models import Batch
from app.models.cast import SetIn, StepIn
from app.services.cast import casting, evening_line, sets_poured, steps
from app.services.stock import batches
from tests import build
from tests.moment import wall

NOON = wall("2026-11-25T12:00")
MINUTES = timedelta(minutes=1)


def line_of(session: Session, batch: Batch) -> evening_line.MeltLine:
    cast = casting.the_open(session, batch)
    return evening_line.MeltLine(batch.code, cast, steps.of_melt(cast, batch, batches.weighed(session, batch)))


def rows(session: Session, *lots: Batch) -> dict[str, Row]:
    return {row.name: row for row in evening_line.rows(line_of(session, lot) for lot in lots)}


def told(row: Row) -> list[tuple[str, float, str, bool]]:
    """Kind, minutes after noon, state, estimate."""
    return [(a.kind, (a.at - NOON) / MINUTES, a.state, a.estimate) for a in row.acts]


def settle(session: Session, batch: Batch, *keys: str, number: int = 1, skip: bool = False) -> None:
    cast = casting.the_open(session, batch)
    act = StepIn(act="skip", why="Not needed.") if skip else StepIn(act="done")
    for key in keys:
        step = next(s for s in cast.steps if s.key == key and s.set_number in (number, 0))
        steps.record(session, cast, step.pk, act, "Ada")


def test_what_follows_the_pour_stands_at_the_sheets_own_times(session: Session) -> None:
    """Known from the pour: core, first compaction, pull, bag; the later compactions by the chain, as estimates."""
    with clock.turned_to(NOON):
        batch = build.cast(session)
        grains = told(rows(session, batch)["Grains"])
    assert grains == [
        ("pour", 0, "done", False),
        ("core", 3, "next", False),
        ("compact", 18, "next", False),
        ("compact", 28, "next", True),
        ("compact", 38, "next", True),
        ("pull", 90, "next", False),
        ("bag", 360, "next", False),
    ]


def test_a_late_step_is_due_now_and_what_counts_from_it_comes_later(session: Session) -> None:
    with clock.turned_to(NOON) as turn:
        batch = build.cast(session)
        settle(session, batch, "core")
        turn(NOON + 25 * MINUTES)
        grains = told(rows(session, batch)["Grains"])
    assert ("compact", 18, "now", False) in grains
    assert ("compact", 35, "next", True) in grains
    assert ("compact", 45, "next", True) in grains


def test_a_second_set_is_poured_after_the_hand_work_on_the_first(session: Session) -> None:
    with clock.turned_to(NOON):
        batch = build.cast(session)
        sets_poured.add_set(session, casting.the_open(session, batch), SetIn(moulds="2 more"))
        found = rows(session, batch)
    assert list(found) == ["Pan", "Set 1", "Set 2"]
    assert told(found["Set 2"])[:3] == [
        ("pour", 38, "next", True),
        ("core", 41, "next", True),
        ("compact", 56, "next", True),
    ]
    pours = [act for act in found["Pan"].acts if act.kind == "pour"]
    assert [act.at for act in pours] == [NOON, NOON + 38 * MINUTES]


def test_the_pan_before_the_pour_is_an_estimate_in_order(session: Session) -> None:
    with clock.turned_to(NOON):
        batch = build.weighed_batch(session)
        settle(session, batch, "weigh")
        found = rows(session, batch)
    pan = told(found["Pan"])
    assert [kind for kind, *_ in pan] == ["weigh", "heat", "add", "add", "add", "add", "pour"]
    assert pan[1] == ("heat", 0, "now", False)
    assert [at for _, at, _, _ in pan[2:]] == [10, 20, 30, 40, 50]
    assert all(estimate for *_, estimate in pan[2:])
    assert told(found["Grains"])[0] == ("pour", 50, "next", True)


def test_a_step_passed_over_stands_there_only_if_it_had_a_time(session: Session) -> None:
    with clock.turned_to(NOON):
        batch = build.cast(session)
        settle(session, batch, "core", skip=True)
        grains = told(rows(session, batch)["Grains"])
    assert ("core", 3, "skipped", False) in grains


def test_a_second_melt_waits_for_the_pan(session: Session) -> None:
    """One hot pan at a time: what is estimated of the second begins when the first is poured."""
    with clock.turned_to(NOON):
        first = build.weighed_batch(session)
        settle(session, first, "weigh")
        line = line_of(session, first)
        second = evening_line.MeltLine("2611Q", line.melt, line.now)
        found = evening_line.rows([line, second])
    assert [row.name for row in found] == ["Pan", first.code, "2611Q"]
    pours = [act.at for act in found[0].acts if act.kind == "pour"]
    assert pours == [NOON + 50 * MINUTES, NOON + 100 * MINUTES]
    assert len(found[0].runs) == 4  # weighing out is cold: no part of the line of a hot pan
    assert isinstance(found[1].acts[0], Act)
