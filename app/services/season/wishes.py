"""Wishes: flights and static tests wanted, written and struck out like a list on paper."""

from datetime import date

from sqlmodel import Session, col, select

from app import clock
from app.errors import Faults, Refused
from app.models import Case, Formula, LaunchField, Rocket, Season, Wish
from app.models.base import build, change
from app.models.batch import VoidIn
from app.models.season import TestWishIn, WishIn
from app.services.book import repository, workshop
from app.services.season import kept_choices
from app.units import show

ORDER = {"must": 0, "usual": 1, "spare": 2}
"""Which wish comes first where not all can be had."""


def wishes(session: Session, season: Season, struck: bool = False) -> list[Wish]:
    """The wishes that stand on the list, in the order they were written; with `struck`, those that were struck out."""
    found = select(Wish).where(Wish.season_id == season.pk)
    found = found.where(col(Wish.struck_at).is_not(None) if struck else col(Wish.struck_at).is_(None))
    return list(session.exec(found.order_by(col(Wish.id))))


def of(session: Session, season: Season, wish_id: int) -> Wish:
    """The wish of that identity on the season's list.

    Raises
    ------
    NotFound
        There is none.
    """
    wish = repository.get(session, Wish, wish_id, "wish")
    if wish.season_id != season.pk:
        repository.get(session, Wish, -1, "wish")
    return wish


def save_flight(
    session: Session, season: Season, data: WishIn, row: Wish | None = None, version: int | None = None
) -> Wish:
    """Write wanted flights on the list, or change a line of it.

    Raises
    ------
    Refused
        The day is past or outside the season, the rocket or field is retired, the height lies above the field's
        ceiling, or the same is on the list already.
    Conflict
        The line was changed since the page was opened.
    """
    faults = Faults()
    rocket = repository.get(session, Rocket, data.rocket_id, "rocket")
    field = repository.get(session, LaunchField, data.launch_field_id, "field")
    _day(season, data.by_on, row, faults)
    repository.possible(faults, data)
    _in_use(faults, "rocket_id", rocket.name, rocket.retired and not (row and row.rocket_id == rocket.pk))
    _in_use(faults, "launch_field_id", field.name, field.retired and not (row and row.launch_field_id == field.pk))
    if field.ceiling_m is not None and data.height_low.si > field.ceiling_m:
        ceiling = show(field.ceiling_m, "altitude", workshop.get(session).units)
        faults.add(
            "height_low",
            f"{field.name} ends at {ceiling}; a flight wanted above it cannot be there. Choose a lower height, or "
            "another field.",
        )
    for other in wishes(session, season):
        if other is not row and _same_flight(other, data):
            faults.add(
                "count", f"{rocket.name} to this height by this day is on the list already; change its number there."
            )
    faults.tell()
    return _store(session, season, "flight", data, row, version)


def _same_flight(other: Wish, data: WishIn) -> bool:
    return (other.rocket_id, other.launch_field_id, other.by_on, other.height_low_m, other.height_high_m) == (
        data.rocket_id,
        data.launch_field_id,
        data.by_on,
        data.height_low.si,
        data.height_high.si,
    )


def save_test(
    session: Session, season: Season, data: TestWishIn, row: Wish | None = None, version: int | None = None
) -> Wish:
    """Write wanted static tests on the list, or change a line of it.

    Raises
    ------
    Refused
        The day is past or outside the season, the formula or case is retired, the same is on the list already, or
        tests that are to come first are due after flights of their formula.
    Conflict
        The line was changed since the page was opened.
    """
    faults = Faults()
    formula = repository.get(session, Formula, data.formula_id, "formula")
    case = repository.get(session, Case, data.case_id, "case")
    _day(season, data.by_on, row, faults)
    _in_use(faults, "formula_id", formula.label, formula.retired and not (row and row.formula_id == formula.pk))
    _in_use(faults, "case_id", case.name, case.retired and not (row and row.case_id == case.pk))
    if data.comes_first:
        _first_in_time(session, season, data, faults)
    for other in wishes(session, season):
        same = (other.formula_id, other.case_id, other.by_on) == (data.formula_id, data.case_id, data.by_on)
        if other is not row and other.kind == "test" and same:
            faults.add(
                "count", f"Tests of {formula.label} in {case.name} are on the list already; change their number there."
            )
    faults.tell()
    return _store(session, season, "test", data, row, version)


def _first_in_time(session: Session, season: Season, data: TestWishIn, faults: Faults) -> None:
    """Tests that come before more of a formula is cast cannot be due after its flights."""
    chosen = kept_choices.standing(session, season)
    for other in wishes(session, season):
        motor = chosen.get(other.pk)
        if other.kind == "flight" and motor and motor.formula_id == data.formula_id and other.by_on <= data.by_on:
            rocket = session.get_one(Rocket, other.rocket_id)
            faults.add(
                "by_on",
                f"{rocket.name} flies this formula by {clock.day(other.by_on)}, and these tests are to come first. "
                "Choose an earlier day for them, or do not ask for them first.",
            )
            return


def _day(season: Season, day: date, row: Wish | None, faults: Faults) -> None:
    if row is not None and row.by_on == day:
        return
    if day < clock.today():
        faults.add("by_on", f"This day is past: it is {clock.day(clock.today())}. Choose one to come.")
    elif not season.begins_on <= day <= season.ends_on:
        faults.add(
            "by_on",
            f"{season.name} goes from {clock.day(season.begins_on)} to {clock.day(season.ends_on)}; choose a day in "
            "it, or give the season other days.",
        )


def _in_use(faults: Faults, field: str, name: str, retired: bool) -> None:
    if retired:
        faults.add(field, f"{name} is retired. Choose another, or take it into use again under Workshop.")


def _store(
    session: Session, season: Season, kind: str, data: WishIn | TestWishIn, row: Wish | None, version: int | None
) -> Wish:
    if row is None:
        row = build(Wish, data, season_id=season.pk, kind=kind)
        session.add(row)
    else:
        if row.struck_at is not None:
            raise Refused("This wish was struck out; write it anew.")
        repository.claim(row, version)
        change(row, data)
    session.flush()
    return row


def strike(session: Session, wish: Wish, data: VoidIn, version: int | None = None) -> None:
    """Strike a wish out of the list, with the reason; it stays readable.

    Raises
    ------
    Refused
        It is struck out already.
    Conflict
        It was changed since the page was opened.
    """
    if wish.struck_at is not None:
        raise Refused("This wish is struck out already.")
    repository.claim(wish, version)
    wish.struck_at, wish.struck_why = clock.now(), data.why
    session.flush()
