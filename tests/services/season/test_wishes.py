"""A season's list: what is wanted, when there is time for it, and which firing counts for which wish."""

from datetime import date, timedelta
from typing import Any

import pytest
from sqlmodel import Session

from app import clock
from app.errors import Conflict, Refused
from app.models import Batch, Grain, GrainPattern, Season
from app.models.batch import VoidIn
from app.models.season import SeasonDayIn, SeasonIn, TestWishIn, WishIn
from app.services.book import workshop
from app.services.season import (
    evenings,
    fulfilled,
    kept_answers,
    kept_choices,
    kept_plans,
    seasons,
    seasons_seen,
    wishes,
)
from app.services.season.seasons_seen import Grains
from tests import build


@pytest.fixture
def season(session: Session) -> Season:
    return build.season(session)


def faults_of(refused: Refused) -> dict[str | None, str]:
    """What was refused, by field."""
    return {one.field: str(one.message) for one in (refused, *refused.also)}


def season_in(**more: Any) -> SeasonIn:
    today = clock.today()
    texts = {"name": "Winter", "begins_on": today, "ends_on": today + timedelta(days=90), "weekdays": ["4"]}
    return SeasonIn.model_validate({**texts, "melts_per_evening": 1, "confidence": "90 %", **more})


# --- Seasons ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("more", "field", "words"),
    [
        ({"begins_on": date(2060, 1, 1)}, "ends_on", "turn the days round"),
        ({"begins_on": date(2020, 1, 1), "ends_on": date(2020, 3, 1)}, "ends_on", "is past"),
        ({"ends_on": date(2040, 1, 1)}, "ends_on", "check the years"),
        ({"begins_on": date(9999, 6, 1), "ends_on": date(9999, 12, 31)}, "ends_on", "check the year"),
        ({"weekdays": []}, "weekdays", "Without an evening nothing can be cast"),
    ],
)
def test_a_season_that_cannot_be_is_refused_beside_its_field(
    session: Session, more: dict[str, Any], field: str, words: str
) -> None:
    with pytest.raises(Refused) as told:
        seasons.save(session, season_in(**more))
    assert words in faults_of(told.value)[field]


def test_a_season_keeps_its_currency_and_two_have_not_one_name(session: Session) -> None:
    row = seasons.save(session, season_in(budget="€ 80"))
    assert (row.budget, row.budget_currency, row.weekdays, len(row.uid)) == (80.0, "€", "4", 32)
    with pytest.raises(Refused, match="in the book already"):
        seasons.save(session, season_in(name="WINTER"))
    seasons.save(session, season_in(weekdays=["1", "4"]), row, row.version)
    assert row.weekdays == "14"
    with pytest.raises(Conflict):
        seasons.save(session, season_in(), row, row.version + 7)


def test_the_season_meant_is_the_one_that_today_is_in(session: Session) -> None:
    assert seasons.current(session) is None
    today = clock.today()
    later = seasons.save(
        session, season_in(name="Next", begins_on=today + timedelta(days=300), ends_on=today + timedelta(days=400))
    )
    assert seasons.current(session) == later
    now = seasons.save(session, season_in())
    assert seasons.current(session) == now
    assert not seasons.past(now)


# --- Evenings ---------------------------------------------------------------------------------------------------


def test_evenings_follow_weekdays_days_off_and_evenings_more(session: Session) -> None:
    today = clock.today()
    monday = today + timedelta(days=7 - today.weekday())
    row = seasons.save(
        session, season_in(begins_on=monday, ends_on=monday + timedelta(days=20), weekdays=["2", "4"], name="Three")
    )
    tuesdays_and_thursdays = [monday + timedelta(days=n) for n in (1, 3, 8, 10, 15, 17)]
    assert [one.on for one in evenings.evenings(session, row)] == tuesdays_and_thursdays
    off = SeasonDayIn(kind="off", first_on=monday + timedelta(days=7), last_on=monday + timedelta(days=13), why="Away")
    seasons.add_day(session, row, off)
    more = seasons.add_day(session, row, SeasonDayIn(kind="evening", first_on=monday + timedelta(days=19), melts=3))
    found = evenings.evenings(session, row)
    assert [(one.on - monday).days for one in found] == [1, 3, 15, 17, 19]
    assert [one.melts for one in found] == [1, 1, 1, 1, 3]
    seasons.remove_day(session, row, more.pk)
    assert len(evenings.evenings(session, row)) == 4


def test_a_damp_month_has_no_evening_or_a_cure_of_its_own(session: Session) -> None:
    today = clock.today()
    row = seasons.save(session, season_in(weekdays=list("1234567"), ends_on=today + timedelta(days=40)))
    shop = workshop.get(session)
    shop.damp_months = str(today.month)
    dry = {one.on.month for one in evenings.evenings(session, row)}
    assert dry
    assert today.month not in dry
    shop.damp_cure_s = 14 * evenings.DAY_S
    cures = {one.on.month: one.cure_s / evenings.DAY_S for one in evenings.evenings(session, row)}
    assert cures == {today.month: 14} | dict.fromkeys(dry, 7)


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"first_on": date(2020, 1, 1)}, "first_on"),
        ({"last_on": date(2060, 1, 1)}, "last_on"),
        ({"kind": "evening", "last_on": "+3"}, "last_on"),
        ({"last_on": "-3"}, "last_on"),
    ],
)
def test_days_that_cannot_be_are_refused_beside_their_field(
    session: Session, season: Season, more: dict[str, Any], field: str
) -> None:
    first = clock.today() + timedelta(days=10)
    texts: dict[str, Any] = {"kind": "off", "first_on": first, **more}
    if isinstance(texts.get("last_on"), str):
        texts["last_on"] = first + timedelta(days=int(texts["last_on"]))
    with pytest.raises(Refused) as told:
        seasons.add_day(session, season, SeasonDayIn.model_validate(texts))
    assert field in faults_of(told.value)


# --- Wishes -----------------------------------------------------------------------------------------------------


def test_a_list_is_written_changed_and_struck_out(session: Session, season: Season) -> None:
    first, test = build.wish(session, season), build.wished_test(session, season)
    assert wishes.wishes(session, season) == [first, test]
    assert (first.height_low_m, first.height_high_typed) == (500.0, "600 m")
    again = WishIn(
        count=9,
        rocket_id=first.rocket_id,
        launch_field_id=first.launch_field_id,
        height_low="510 m",
        height_high="600 m",
        by_on=first.by_on,
        matters="must",
    )
    wishes.save_flight(session, season, again, first, first.version)
    assert (first.count, first.matters, first.height_low_m) == (9, "must", 510.0)
    wishes.strike(session, first, VoidIn(why="The rocket is lost."), first.version)
    assert wishes.wishes(session, season) == [test]
    assert wishes.wishes(session, season, struck=True) == [first]
    with pytest.raises(Refused, match="struck out"):
        wishes.save_flight(session, season, again, first, first.version)


def test_wishes_that_cannot_be_are_refused_beside_their_fields(session: Session, season: Season) -> None:
    """A day past, a height above the ceiling, what is retired: all told at once; and the same line twice."""
    rocket, field = build.rocket(session), build.field(session)
    rocket.retired = True
    with pytest.raises(Refused) as told:
        build.wish(
            session,
            season,
            rocket_id=rocket.pk,
            launch_field_id=field.pk,
            height_low="1000 m",
            height_high="950 m",
            by_on=clock.today() - timedelta(days=1),
        )
    found = faults_of(told.value)
    assert set(found) == {"rocket_id", "height_low", "height_high", "by_on"}
    assert "ends at 900 m" in found["height_low"]
    assert "is past" in found["by_on"]
    with pytest.raises(Refused, match="choose a day in it"):
        build.wish(session, season, by_on=season.ends_on + timedelta(days=1))
    first = build.wish(session, season)
    with pytest.raises(Refused, match="on the list already"):
        build.wish(session, season, rocket_id=first.rocket_id, launch_field_id=first.launch_field_id)
    flown = build.chosen(session, first)
    with pytest.raises(Refused, match="these tests are to come first") as told:
        build.wished_test(session, season, formula_id=flown.formula_id)
    assert told.value.field == "by_on"
    build.wished_test(session, season, formula_id=flown.formula_id, by_on=first.by_on - timedelta(days=30))
    test = build.wished_test(session, season)
    with pytest.raises(Refused, match="on the list already"):
        build.wished_test(session, season, formula_id=test.formula_id, case_id=test.case_id)


@pytest.mark.parametrize(("form", "count"), [(WishIn, 10_000), (WishIn, 0), (TestWishIn, 10_000)])
def test_ten_thousand_flights_are_a_slip(form: type[WishIn], count: int) -> None:
    with pytest.raises(ValueError, match="count"):
        form.model_validate({"count": count})


# --- What was flown of them -------------------------------------------------------------------------------------


def test_a_firing_counts_for_the_wish_that_its_motor_was_chosen_for(session: Session, season: Season) -> None:
    """Two wishes of one rocket: the motor tells them apart, then the height, then the day; none takes more than it
    wanted.
    """
    rocket, field = build.rocket(session), build.field(session)
    low = build.wish(
        session, season, count=1, rocket_id=rocket.pk, launch_field_id=field.pk, height_low="300 m", height_high="400 m"
    )
    high = build.wish(session, season, count=2, rocket_id=rocket.pk, launch_field_id=field.pk)
    motor = build.motor_build(session)
    build.chosen(session, high, *_inside(session, motor), case_id=motor.case_id)
    flown = build.bare_firing(session, motor, kind="flight", rocket_id=rocket.pk, launch_field_id=field.pk)
    assert fulfilled.fired(session, season) == {0: [], low.pk: [], high.pk: [flown]}
    other = build.bare_motor(session, build.ready_grains(session, 1))
    by_height = build.bare_firing(session, other, kind="flight", rocket_id=rocket.pk, altitude_m=350.0)
    more = build.bare_motor(session, build.ready_grains(session, 1))
    too_many = build.bare_firing(session, more, kind="flight", rocket_id=rocket.pk, altitude_m=360.0)
    stranger = build.bare_firing(session, build.bare_motor(session, build.ready_grains(session, 1)))
    found = fulfilled.fired(session, season)
    assert found == {0: [stranger], low.pk: [by_height], high.pk: [flown, too_many]}


def test_the_picture_of_seasons_counts_every_grain_that_was_there(session: Session, season: Season) -> None:
    """Two grains cast before the season and one in it; one of the two burns, and the season ends: all three were cast
    for its motors, two are left.
    """
    before = build.ready_grains(session, 2)
    burning = build.bare_motor(session, before[:1])
    build.grain(session, build.cast(session, 1))
    pattern = session.get_one(GrainPattern, before[0].pattern_id)
    formula = session.get_one(Batch, before[0].batch_id).formula_id
    wish = build.wish(session, season, count=2)
    build.chosen(session, wish, (pattern, 1), formula_id=formula)
    build.bare_firing(session, burning, kind="flight", rocket_id=wish.rocket_id)
    with clock.turned_to(clock.now() + timedelta(days=300)):
        seen = next(one for one in seasons_seen.every(session) if one.season is season)
    assert seen.is_past
    assert (seen.rows[0].cast, seen.rows[0].fired) == (2, 1)
    assert seen.grains == Grains(cast=1, rejected=0, burned=0, kept=1, from_before=1)
    with clock.turned_to(clock.now() + timedelta(days=300)):
        after = build.season(session)
        assert next(one for one in seasons_seen.every(session) if one.season is after).grains == Grains()


def _inside(session: Session, motor: Any) -> list[tuple[Any, int]]:
    counts: dict[int, int] = {}
    for slot in motor.slots:
        grain = session.get(Grain, slot.grain_id)
        assert grain is not None
        counts[grain.pattern_id] = counts.get(grain.pattern_id, 0) + 1
    return [(session.get(GrainPattern, pattern), count) for pattern, count in counts.items()]


# --- What is kept -----------------------------------------------------------------------------------------------


def test_a_choice_is_kept_with_its_reason_and_given_up_by_the_next(session: Session, season: Season) -> None:
    wish = build.wish(session, season)
    first = build.chosen(session, wish, why="It needs no drilling.")
    thick, thin = build.pattern(session), build.pattern(session, core_d="16 mm")
    second = build.chosen(session, wish, (thick, 1), (thin, 2), (thick, 1), why="It goes higher.")
    assert kept_choices.of_wish(session, wish) == second
    assert second.counts == {thick.pk: 2, thin.pk: 2}
    assert [(one.pk, one.given_up_why) for one in kept_choices.earlier(session, wish)] == [
        (first.pk, "It goes higher.")
    ]
    assert kept_choices.standing(session, season) == {wish.pk: second}
    wishes.strike(session, wish, VoidIn(why="Not this year."))
    assert kept_choices.standing(session, season) == {}
    with pytest.raises(Refused, match="struck out"):
        build.chosen(session, wish)


def test_plans_are_kept_one_after_the_other_with_what_changed(session: Session, season: Season) -> None:
    first = kept_plans.keep(session, season, {"pan_kg": 0.76}, {"feasible": True})
    second = kept_plans.keep(session, season, {"pan_kg": 0.8}, {"feasible": True}, ["One melt fewer."], "A larger pan.")
    assert kept_plans.last(session, season) == second
    assert second.earlier_id == first.pk
    assert kept_plans.every(session, season) == [second, first]
    batch = build.batch(session)
    kept_plans.take_up(session, season, batch, second)
    assert kept_plans.opened_on(session, season) == {batch.planned_for: [batch]}


def test_answers_are_found_by_all_that_went_in(session: Session) -> None:
    kept_answers.keep(session, "plan", {"a": 1, "b": [2.5]}, {"gap": 0.0})
    assert kept_answers.find(session, "plan", {"b": [2.5], "a": 1}) == {"gap": 0.0}
    assert kept_answers.find(session, "plan", {"b": [2.5], "a": 2}) is None
    assert kept_answers.find(session, "choices", {"b": [2.5], "a": 1}) is None
    for n in range(50):
        kept_answers.keep(session, "plan", {"n": n}, {"gap": n})
    assert kept_answers.find(session, "plan", {"n": 0}) is None
    assert kept_answers.find(session, "plan", {"n": 49}) == {"gap": 49}
