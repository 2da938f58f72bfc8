"""The review of lots."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, timedelta
from statistics import mean, stdev
from typing import Any

import pytest
from sqlalchemy import event
from sqlmodel import Session, col, select

from app import clock
from app.models import Batch, CastStep
from app.services.grains import grains, shelf
from app.services.grains.shelf import ShelfIn
from app.services.review import lot_firings, lots_review, trace
from app.services.review.lots_review import ReviewIn
from tests import build
from tests.moment import wall

NOON = wall("2026-11-02T12:00")


def _codes(session: Session, **wanted: Any) -> list[str]:
    return [line.batch.code for line in lots_review.lots(session, ReviewIn.model_validate(wanted)).lines]


def test_a_lot_shows_its_grains_and_their_spread(session: Session) -> None:
    lot = build.cast(session, 4)
    shares = [0.96, 0.93, 0.97, 0.80]
    made = [build.grain(session, lot, s, d) for s, d in zip(shares, ("accept", "hold", None, "reject"), strict=True)]
    (line,) = lots_review.lots(session, ReviewIn()).lines
    c = line.counts
    assert (c.weighed, c.accepted, c.held, c.rejected, c.used) == (4, 1, 1, 1, 0)
    assert c.density is not None
    measured = [g.density_share for g in made]
    assert c.density.mean == pytest.approx(mean(measured))
    assert c.density.sd == pytest.approx(stdev(measured))  # Python's own statistics module as the reference
    assert (c.density.low, c.density.high) == (min(measured), max(measured))


def test_a_firing_shows_its_cure_and_what_it_delivered(session: Session) -> None:
    with clock.turned_to(NOON) as turn:
        lot = build.cast(session, 2)
        made = [build.grain(session, lot) for _ in range(2)]
        turn(NOON + timedelta(days=10))
        built = build.bare_motor(session, made, predicted=500.0)
        turn(NOON + timedelta(days=12))
        build.bare_firing(session, built, "no_light")
        build.bare_firing(session, built, "good", measured_impulse_ns=450.0)
        (line,) = lots_review.lots(session, ReviewIn()).lines
    lit, burned = line.firings
    assert (lit.result, burned.result_words) == ("no_light", "Burned well")
    assert burned.cure_s == pytest.approx(12 * 86400)
    assert (burned.grain_count, burned.designation) == (2, "J400")
    assert burned.ratio == pytest.approx(0.9)
    assert line.ratio is not None
    assert line.ratio.n == 1
    assert line.ratio.mean == pytest.approx(0.9)
    assert line.counts.used == 2


def test_a_prediction_made_after_the_firing_does_not_count(session: Session) -> None:
    with clock.turned_to(NOON) as turn:
        built = build.bare_motor(session, [build.grain(session, build.cast(session, 1))], predicted=500.0)
        turn(NOON + timedelta(hours=1))
        build.bare_prediction(session, built, 520.0)
        turn(NOON + timedelta(hours=2))
        build.bare_firing(session, built, measured_impulse_ns=450.0)
        turn(NOON + timedelta(hours=3))
        build.bare_prediction(session, built, 450.0)
        (line,) = lots_review.lots(session, ReviewIn()).lines
    assert line.firings[0].predicted_ns == 520.0


def test_nothing_measured_is_no_ratio(session: Session) -> None:
    grain = build.grain(session, build.cast(session, 1))
    build.bare_firing(session, build.bare_motor(session, [grain], predicted=500.0))
    assert lots_review.lots(session, ReviewIn()).lines[0].ratio is None


def test_a_lot_whose_pour_was_not_ticked_has_its_planned_day_and_no_cure(session: Session) -> None:
    bare, lot = build.cast(session, 1), build.cast(session, 1)
    build.bare_firing(session, build.bare_motor(session, [build.grain(session, lot)]), measured_impulse_ns=450.0)
    assert lots_review.lines(session, [lot.pk])[0].firings[0].cure_s is not None
    pour = session.exec(select(CastStep).where(CastStep.key == "pour").order_by(col(CastStep.id).desc())).first()
    assert pour is not None
    pour.done_at = None
    lot.planned_for -= timedelta(days=3)
    session.flush()
    line = lots_review.lines(session, [lot.pk])[0]
    (firing,) = line.firings
    assert (firing.cure_s, firing.predicted_ns, firing.ratio, line.ratio) == (None, None, None, None)
    assert (firing.measured_ns, firing.lots, line.cast_on) == (450.0, (lot.code,), lot.planned_for)
    assert lots_review.lines(session, [bare.pk])[0].firings == []


def test_two_motors_of_a_lot_are_two_firings_with_a_mean(session: Session) -> None:
    lot = build.cast(session, 3)
    grains = [build.grain(session, lot) for _ in range(3)]
    for inside, measured in ((grains[:2], 450.0), (grains[2:], 550.0)):
        build.bare_firing(session, build.bare_motor(session, inside, predicted=500.0), measured_impulse_ns=measured)
    shots = lot_firings.shots_of(session, [lot.pk])[lot.pk]
    assert sorted((shot.grain_count, shot.measured_ns) for shot in shots) == [(1, 550.0), (2, 450.0)]
    assert lot_firings.mean_ratio(shots) == pytest.approx((0.9 + 1.1) / 2)
    assert lot_firings.mean_ratio([]) is None


def test_a_motor_of_two_lots_counts_for_both(session: Session) -> None:
    first, second = build.cast(session, 1), build.cast(session, 1)
    mixed = [build.grain(session, lot) for lot in (first, second)]
    build.bare_firing(session, build.bare_motor(session, mixed, predicted=500.0))
    for line in lots_review.lots(session, ReviewIn()).lines:
        assert line.firings[0].lots == (first.code, second.code)
        assert line.firings[0].grain_count == 1


def test_only_what_was_opened_for_casting_is_a_lot(session: Session) -> None:
    build.batch(session)
    assert lots_review.lots(session, ReviewIn()) == lots_review.Found([], 0, 1, 1)


def _three(session: Session) -> list[Batch]:
    """Three lots on three days: never fired, fired well at 0.9, burst; of two formulas and patterns."""
    other, short = build.formula(session, "Other"), build.pattern(session, length="50 mm")
    blend, shape = build.formula(session, "Usual"), build.pattern(session)
    lots = []
    kinds = [(blend, shape, 0.95, None, None), (other, shape, 0.97, "good", 450.0), (blend, short, 0.96, "burst", None)]
    with clock.turned_to(NOON) as turn:
        for day, (formula, pattern, share, result, measured) in enumerate(kinds):
            turn(NOON + timedelta(days=day))
            lot = build.cast(session, 2, blend=formula, shape=pattern)
            made = [build.grain(session, lot, share + step) for step in (0.0, 0.002 * (day + 1))]
            if result:
                motor = build.bare_motor(session, made, predicted=500.0)
                build.bare_firing(session, motor, result, measured_impulse_ns=measured)
            lots.append(lot)
    return lots


def test_lots_are_filtered(session: Session) -> None:
    first, second, third = (lot.code for lot in _three(session))
    assert _codes(session, formula="Usual", order="up") == [first, third]
    assert _codes(session, pattern_id=third and _pattern(session, third)) == [third]
    assert _codes(session, result="burst") == [third]
    assert _codes(session, result="none") == [first]
    assert _codes(session, since=date(2026, 11, 3), order="up") == [second, third]
    assert _codes(session, until=date(2026, 11, 2)) == [first]
    assert _codes(session, since=date(2026, 11, 5)) == []
    assert _codes(session, formula="nothing") == []


def _pattern(session: Session, code: str) -> int:
    return grains.by_serial(session, f"{code}-01").pattern_id


def test_lots_are_sorted_and_those_without_a_value_come_last(session: Session) -> None:
    first, second, third = (lot.code for lot in _three(session))
    assert _codes(session) == [third, second, first]
    assert _codes(session, sort="density", order="down") == [second, third, first]
    assert _codes(session, sort="spread", order="up") == [first, second, third]
    for order in ("up", "down"):
        assert _codes(session, sort="ratio", order=order)[0] == second
    for sort in lots_review.SORTS:
        assert len(_codes(session, sort=sort)) == 3


@contextmanager
def _queries(session: Session) -> Iterator[list[str]]:
    seen: list[str] = []

    def note(_connection: object, _cursor: object, statement: str, *_rest: object) -> None:
        seen.append(statement)

    session.flush()
    session.expunge_all()
    event.listen(session.get_bind(), "before_cursor_execute", note)
    try:
        yield seen
    finally:
        event.remove(session.get_bind(), "before_cursor_execute", note)


def test_pages_ask_the_book_as_often_for_many_lots_as_for_one(session: Session) -> None:
    reads: dict[str, Callable[[], object]] = {
        "review": lambda: lots_review.lots(session, ReviewIn()),
        "shelf": lambda: shelf.page(session, ShelfIn()).views,
        "trace": lambda: trace.origins(
            session, [line.batch.pk for line in lots_review.lots(session, ReviewIn()).lines]
        ),
    }

    def grow() -> dict[str, int]:
        lot = build.cast(session, 2)
        build.grain(session, lot)
        build.bare_firing(session, build.bare_motor(session, [build.grain(session, lot)], predicted=500.0))
        counted = {}
        for name, read in reads.items():
            with _queries(session) as seen:
                read()
            counted[name] = len(seen)
        return counted

    once = grow()
    assert [grow() for _ in range(3)][-1] == once
    assert all(count <= 20 for count in once.values()), once


def test_the_shelf_is_searched_and_sorted(session: Session) -> None:
    lot = build.cast(session, 3)
    made = [build.grain(session, lot, share) for share in (0.95, 0.97, 0.96)]
    held = build.grain(session, lot, 0.9, "hold")
    assert [v.grain for v in shelf.page(session, ShelfIn(sort="density")).views] == [made[1], made[2], made[0], held]
    assert [v.grain for v in shelf.page(session, ShelfIn(state="held")).views] == [held]
    assert [v.grain for v in shelf.page(session, ShelfIn(find=f"{lot.code.lower()}-02")).views] == [made[1]]
    assert shelf.page(session, ShelfIn(find="%")).views == []
    assert shelf.page(session, ShelfIn(state="ready")).views == []


def test_lots_come_by_the_page(session: Session, monkeypatch: pytest.MonkeyPatch) -> None:
    codes = [lot.code for lot in _three(session)]
    monkeypatch.setattr(lots_review, "PAGE", 2)
    for sort in lots_review.SORTS:
        every = ReviewIn.model_validate({"sort": sort, "order": "up"})
        first, second, beyond = (lots_review.lots(session, every.model_copy(update={"page": n})) for n in (1, 2, 99))
        assert (first.total, first.page, first.pages, second.page) == (3, 1, 2, 2)
        assert beyond == second, "past the last page is the last page"
        shown = [line.batch.code for line in (*first.lines, *second.lines)]
        assert sorted(shown) == sorted(codes)
        monkeypatch.setattr(lots_review, "PAGE", 50)
        assert shown == [line.batch.code for line in lots_review.lots(session, every).lines]
        monkeypatch.setattr(lots_review, "PAGE", 2)
    assert lots_review.lots(session, ReviewIn(result="none")).pages == 1


def test_a_lot_is_compared_with_the_one_before_it_of_its_formula(session: Session) -> None:
    blend, other = build.formula(session, "Usual"), build.formula(session, "Other")
    shares = {0: (0.950, 0.951, 0.952), 1: (0.90, 0.91, 0.92), 2: (0.970, 0.971, 0.972), 3: (0.968, 0.972, 0.970)}
    lots = []
    with clock.turned_to(NOON) as turn:
        for day, row in shares.items():
            turn(NOON + timedelta(days=day))
            lots.append(build.cast(session, 3, blend=other if day == 1 else blend))
            for share in row:
                build.grain(session, lots[-1], share, decision=None)
    assert [lots_review.against(session, lot) for lot in lots[:2]] == [None, None]
    denser, alike = (lots_review.against(session, lot) for lot in lots[2:])
    assert denser is not None
    assert alike is not None
    assert (denser.other.code, denser.means.order) == (lots[0].code, 1)
    assert (alike.other.code, alike.means.ranked) == (lots[2].code, False)
