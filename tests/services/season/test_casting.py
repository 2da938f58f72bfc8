"""From the list to the evenings and back: what the book holds goes into the plan, and what changed since is told."""

from datetime import date, timedelta
from typing import Any

import pytest
from icalendar import Calendar
from sqlmodel import Session

from app import clock
from app.errors import Refused
from app.models import CoringRod, Delivery, GrainPattern, Season, Wish
from app.models.batch import VoidIn
from app.models.season import SeasonDayIn
from app.models.season_plan import PlanEveningIn
from app.services.book import workshop
from app.services.grains import shelf
from app.services.season import (
    calendar_days,
    calendar_file,
    casting,
    casting_inputs,
    opening,
    overview,
    seasons,
    shelf_sets,
    wishes,
)
from app.services.stock import formulas
from tests import build


@pytest.fixture
def season(session: Session) -> Season:
    """A season with six flights of two Gull each, by its end; the pan holds four of them, evenings on Thursdays."""
    build.state_pan(session)
    shop = workshop.get(session)
    shop.pan_capacity_kg = 0.76
    row = build.season(session, weekdays=["4"], melts_per_evening=1)
    gull, blend = build.pattern(session, name="Gull"), build.formula(session, "Marram")
    wish = build.wish(session, row, rocket_id=build.rocket(session, name="Dunlin").pk)
    build.chosen(session, wish, (gull, 2), formula_id=blend.pk)
    return row


def kept(session: Session, season: Season) -> casting.Casting:
    casting.keep(session, season, casting.work_out(session, season))
    found = casting.current(session, season)
    assert found is not None
    return found


def gull(session: Session) -> GrainPattern:
    return session.get_one(GrainPattern, 1)


def test_what_the_book_holds_is_what_the_plan_is_made_from(session: Session, season: Season) -> None:
    """Masses by the pattern's volume and the formula's density; the pan, the cure and the evenings of the workshop."""
    inputs = casting_inputs.of(session, season)
    assert inputs["kinds"]["Gull"]["mass_kg"] == pytest.approx(0.1700, abs=0.0005)
    assert [(f["name"], f["count"], f["grains"], f["priority"]) for f in inputs["flights"]] == [
        ("Dunlin", 6, {"Gull": 2}, 2)
    ]
    assert inputs["bench"]["pan_kg"] == 0.76
    assert inputs["bench"]["cure_days"] == 7
    assert len(inputs["evenings"]) == 29
    assert all(date.fromisoformat(one["on"]).isoweekday() == 4 for one in inputs["evenings"])
    found = kept(session, season)
    assert found.feasible
    (kind,) = found.kinds
    assert (kind.wanted, kind.lying, kind.cast) == (
        12,
        0,
        sum(m.grains["Gull"] for e in found.evenings for m in e.melts),
    )
    assert kind.cast > 12
    assert found.least_chance >= 0.9
    assert all(0 < melt.fill <= 1 for evening in found.evenings for melt in evening.melts)


def test_the_shelf_goes_first_the_oldest_in_even_sets(session: Session, season: Season) -> None:
    grains = build.ready_grains(session, 4, blend=formulas.get(session, 1), shape=gull(session))
    assert {g.state for g in shelf.standing(session)} == {"ready"}
    inputs = casting_inputs.of(session, season)
    assert sum(one["count"] for one in inputs["shelf"]) == 4
    ((line, sets),) = shelf_sets.of(session, overview.of(session, season))
    assert line.name == "Dunlin"
    assert sorted(g.serial for one in sets for g in one.grains) == sorted(g.serial for g in grains)
    assert all(one.cured and len(one.grains) == 2 for one in sets)


def test_rods_of_one_size_are_shared_by_its_patterns(session: Session, season: Season) -> None:
    rod = build.rod(session, owned=3)
    gull(session).coring_rod_id = rod.pk
    session.flush()
    assert casting_inputs.of(session, season)["bench"]["tools"] == [{"patterns": ["Gull"], "sets": 3}]
    assert max(melt.grains["Gull"] for evening in kept(session, season).evenings for melt in evening.melts) == 3
    session.get_one(CoringRod, rod.pk).owned = None
    assert casting_inputs.of(session, season)["bench"]["tools"] == []


def test_what_is_on_its_way_holds_the_melts_back(session: Session, season: Season) -> None:
    """Nothing of it is there: no melt before it comes, and any number afterwards."""
    due = clock.today() + timedelta(days=60)
    session.add(Delivery(ingredient="sorbitol", mass_kg=1.2, mass_typed="1.2 kg", due_on=due))
    session.flush()
    found = kept(session, season)
    assert found.feasible
    assert min(evening.on for evening in found.evenings) >= due


def test_a_spare_set_is_cast_for_a_field_day(session: Session, season: Season) -> None:
    before = kept(session, season).kinds[0].cast
    season.spare_sets = True
    session.flush()
    assert kept(session, season).kinds[0].cast >= before + 2


def test_what_lies_there_may_not_be_more_than_the_workshop_s_limit(session: Session, season: Season) -> None:
    shop = workshop.get(session)
    shop.hold_limit_kg, shop.hold_limit_source = 1.0, "licence"
    found = kept(session, season)
    assert not found.feasible
    assert "What may lie there at once, 1000.0 g, stands in the way" in found.why_not


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda s, season: wishes.strike(s, _wish(s), VoidIn(why="no time")), "Nothing is wanted"),
        (lambda s, season: setattr(workshop.get(s), "pan_capacity_kg", None), "How much does your pan hold"),
        (lambda s, season: build.wish(s, season, rocket_id=build.rocket(s, name="Knot").pk), ""),
    ],
)
def test_what_is_missing_is_said(session: Session, season: Season, spoil: Any, words: str) -> None:
    """A wish without a motor does not keep the others from being cast."""
    spoil(session, season)
    session.flush()
    if words:
        with pytest.raises(Refused, match=words):
            casting.work_out(session, season)
    else:
        assert kept(session, season).feasible


def _wish(session: Session) -> Wish:
    return session.get_one(Wish, 1)


def test_an_evening_becomes_its_batches_and_the_plan_still_holds(session: Session, season: Season) -> None:
    found = kept(session, season)
    first = found.evenings[0]
    (batch,) = opening.evening(session, season, first.on, PlanEveningIn())
    assert (batch.planned_for, [(i.pattern_id, i.count) for i in batch.items]) == (first.on, [(1, 4)])
    again = casting.current(session, season)
    assert again is not None
    assert [one.code for one in again.evenings[0].batches] == [batch.code]
    assert again.moved == ()
    with pytest.raises(Refused, match="planned already"):
        opening.evening(session, season, first.on, PlanEveningIn())
    with pytest.raises(Refused, match="no melts on"):
        opening.evening(session, season, first.on + timedelta(days=1), PlanEveningIn())
    anew = kept(session, season)
    assert [one.on for one in anew.evenings] == [one.on for one in found.evenings[1:]]
    assert anew.changes == ("The evenings stay as they were.",)


def test_leftovers_go_into_the_melts_within_the_rule(session: Session, season: Season) -> None:
    """15 % of a melt of about 724 g: 108 g of the 150 g that are left."""
    old = build.batch(session, 2, blend=formulas.get(session, 1), shape=gull(session))
    old.state = "cast"
    old.planned_for -= timedelta(days=100)
    build.leftover(session, old, 0.15)
    found = kept(session, season)
    (batch,) = opening.evening(session, season, found.evenings[0].on, PlanEveningIn())
    (remelt,) = [part.target_kg for part in batch.parts if part.leftover_id]
    assert 0.1 < remelt <= 0.15 * batch.target_mass_kg + 1e-9


def test_a_rain_day_is_told_and_moves_that_evening_alone(session: Session, season: Season) -> None:
    before = kept(session, season)
    gone = before.evenings[1].on
    seasons.add_day(session, season, SeasonDayIn(kind="off", first_on=gone, why="rain"))
    assert any("is no evening any more" in words for words in casting.current(session, season).moved)  # type: ignore[union-attr]
    after = kept(session, season)
    assert len(after.changes) == 3
    assert "falls away" in after.changes[0]
    assert "comes in" in after.changes[1]
    assert {one.on for one in after.evenings} - {one.on for one in before.evenings} != set()
    assert len({one.on for one in after.evenings} & {one.on for one in before.evenings}) == len(before.evenings) - 1
    assert after.moved == ()


def test_a_rejected_grain_and_another_wish_are_told(session: Session, season: Season) -> None:
    """The first evening is cast, and two of its four grains are rejected: two fewer than counted on, and why."""
    before = kept(session, season)
    first = before.evenings[0].on
    (batch,) = opening.evening(session, season, first, PlanEveningIn())
    with clock.turned_to(clock.midnight(first) + timedelta(hours=20)):
        lot = build.cast(session, batch=batch)
        assert casting_moved(session, season) == ()
        for decision in ("accept", "reject", "reject", "accept"):
            build.grain(session, lot, decision=decision)
        told = "There are 2 Gull fewer than the plan counted on: 2 were rejected."
        assert told in casting_moved(session, season)
        assert "Of Gull, 15% are expected to be rejected instead of 5%." in casting_moved(session, season)
        after = kept(session, season)
        assert told in after.changes
        assert after.kinds[0].cast > sum(melt.grains["Gull"] for e in before.evenings[1:] for melt in e.melts)
        wish = _wish(session)
        wish.count = 7
        session.flush()
        assert casting_moved(session, season) == ("Dunlin is wanted 7 times instead of 6.",)


def casting_moved(session: Session, season: Season) -> tuple[str, ...]:
    found = casting.current(session, season)
    assert found is not None
    return found.moved


def test_an_evening_that_passed_is_told(session: Session, season: Season) -> None:
    first = kept(session, season).evenings[0]
    with clock.turned_to(clock.midnight(first.on + timedelta(days=2))):
        assert casting_moved(session, season)[0].endswith("passed without its melts.")


# --- The calendar --------------------------------------------------------------------------------


def test_the_wall_has_each_evening_its_cure_and_the_field_day(session: Session, season: Season) -> None:
    found = kept(session, season)
    listed = calendar_days.entries(session, season, found, overview.of(session, season))
    wall = calendar_days.wall(session, season, listed, whole=True)
    days = {day.on: day for week in wall.weeks for day in week}
    first = found.evenings[0]
    assert [entry.words for entry in days[first.on].entries] == [first.words]
    assert days[first.on + timedelta(days=3)].cures
    assert [entry.what for entry in days[season.ends_on].entries] == ["flight"]
    assert len(calendar_days.wall(session, season, listed, whole=False).weeks) == 12


def test_the_file_is_read_back_by_its_library_and_folded_by_the_rule(session: Session, season: Season) -> None:
    """RFC 5545: lines end in CRLF and hold at most 75 octets (3.1); UID, DTSTAMP, DTSTART in each event, a whole day's
    end is the day after (3.6.1)."""
    season.name = "Wintersaison mit sehr vielen Worten, Kommas; Strichpunkten und Ölfässern – ein Name " * 2
    found = kept(session, season)
    made = calendar_file.make(session, season)
    lines = made.split(b"\r\n")
    assert lines[-1] == b""
    assert all(len(line) <= 75 and b"\n" not in line for line in lines)
    assert any(line.startswith(b" ") for line in lines), "nothing was long enough to be folded"
    calendar: Any = Calendar.from_ical(made)
    assert calendar["VERSION"] == "2.0"
    assert str(calendar["NAME"]) == season.name
    events = calendar.walk("VEVENT")
    assert all(event["UID"] and event["DTSTAMP"] and event["DTSTART"] for event in events)
    assert len({event["UID"] for event in events}) == len(events)
    days = {event["DTSTART"].dt: event for event in events}
    assert set(days) == {*(one.on for one in found.evenings), season.ends_on}
    first = found.evenings[0]
    assert str(days[first.on]["SUMMARY"]) == f"Cast: {first.words}"
    assert days[first.on]["DTEND"].dt == first.on + timedelta(days=1)


def test_an_event_keeps_its_name_and_what_fell_away_is_cancelled(session: Session, season: Season) -> None:
    before = kept(session, season)
    names = {event["DTSTART"].dt: str(event["UID"]) for event in _events(session, season)}
    gone = before.evenings[1].on
    seasons.add_day(session, season, SeasonDayIn(kind="off", first_on=gone, why="rain"))
    kept(session, season)
    after = {event["DTSTART"].dt: event for event in _events(session, season)}
    assert all(str(after[day]["UID"]) == uid for day, uid in names.items())
    assert {day for day, event in after.items() if event["STATUS"] == "CANCELLED"} == {gone}
    assert after[gone]["SEQUENCE"] == 2


def _events(session: Session, season: Season) -> list[Any]:
    read: Any = Calendar.from_ical(calendar_file.make(session, season))
    return list(read.walk("VEVENT"))
