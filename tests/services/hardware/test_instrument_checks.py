"""Checks of scales and thermometers: off by how much, boiling water on a hill, drift, and what is asked or refused."""

from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from sqlmodel import Session

from app import clock
from app.errors import Asked, Refused
from app.models import ScaleCheck, ThermometerCheck
from app.models.batch import VoidIn
from app.models.instrument import ScaleCheckIn, ThermometerCheckIn
from app.services.book import first_minute
from app.services.hardware import instrument_checks
from app.units import METRIC, US
from tests.moment import wall

NOON = wall("2026-11-25T12:00")
SCALE = {"instrument": "the scale", "known": "200 g", "read": "200.1 g", "tolerance": "0.2 g"}
KETTLE = {
    "instrument": "the pan's thermometer",
    "against": "boiling",
    "elevation": "0 m",
    "read": "99.5 C",
    "tolerance": "1 C",
}


def scale(session: Session, sure: bool = False, **more: str) -> ScaleCheck:
    data = ScaleCheckIn.model_validate({**SCALE, **more})
    return instrument_checks.check_scale(session, data.answering(None) if sure else data, "Ada")


def kettle(session: Session, **more: Any) -> ThermometerCheck:
    told = {name: text for name, text in {**KETTLE, **more}.items() if text is not None}
    return instrument_checks.check_thermometer(session, ThermometerCheckIn.model_validate(told), "Ada")


@pytest.mark.parametrize(
    ("told", "celsius"),
    [
        ({"elevation": "0 m"}, 99.97),  # IAPWS-IF97 at 1013.25 hPa, the standard atmosphere's pressure at sea level
        ({"air_pressure": "1000 hPa", "elevation": None}, 99.61),  # IAPWS R7-97(2012), table 36
        ({"elevation": "1000 m"}, 96.66),  # 898.76 hPa (U.S. Standard Atmosphere 1976); at 900 hPa 96.69
        ({"air_pressure": "701.8 hPa", "elevation": "0 m", "read": "90 C"}, 90.0),  # steam tables after NIST
        ({"against": "ice", "elevation": None, "read": "0.4 C"}, 0.0),
        ({"against": "other", "elevation": None, "known": "110 C", "read": "111 C"}, 110.0),
    ],
)
def test_what_was_there(session: Session, told: dict[str, Any], celsius: float) -> None:
    assert kettle(session, **told).known_k - 273.15 == pytest.approx(celsius, abs=0.03)


@pytest.mark.parametrize(("told", "field"), [({"elevation": None}, "elevation"), ({"against": "other"}, "known")])
def test_without_what_is_known_nothing_is_kept(session: Session, told: dict[str, Any], field: str) -> None:
    with pytest.raises(Refused) as refused:
        kettle(session, **told)
    assert refused.value.field == field
    assert instrument_checks.of_kind(session, ThermometerCheck) == []


def test_what_can_hardly_be_is_asked_and_kept_when_it_is_so(session: Session) -> None:
    with pytest.raises(Asked, match=r"read 20\.1 g with 200 g on it"):
        scale(session, read="20.1 g")
    with pytest.raises(Asked, match="read 210 C where it was 100"):
        kettle(session, read="210 C")
    assert scale(session, sure=True, read="20.1 g").read_kg == pytest.approx(0.0201)


@pytest.mark.parametrize(
    ("read", "within", "said"),
    [
        ("200.0 g", True, "exact"),
        ("200.2 g", True, "0.20 g too high"),
        ("199.8 g", True, "0.20 g too low"),
        ("200.3 g", False, "0.30 g too high"),
        ("7.065 oz", False, "0.29 g too high"),  # 200.29 g
    ],
)
def test_near_enough_or_not(session: Session, read: str, within: bool, said: str) -> None:
    row = scale(session, read=read)
    assert instrument_checks.within(row) is within
    assert said in instrument_checks.words(row, METRIC)


def test_off_is_said_in_the_readers_own_units(session: Session) -> None:
    row = kettle(session, read="98.2 C")
    assert "1.8 °C too low" in instrument_checks.words(row, METRIC)
    assert "3.2 °F too low" in instrument_checks.words(row, US)
    assert "at 212.0 °F" in instrument_checks.words(row, US)


def test_the_newest_check_of_each_scale_counts(session: Session) -> None:
    with clock.turned_to(NOON) as turn:
        scale(session, read="200.4 g")
        scale(session, instrument="The kitchen scale", read="201 g")
        assert len(instrument_checks.doubts(session, ScaleCheck)) == 2
        turn(NOON + timedelta(hours=1))
        again = scale(session, instrument="The Scale")  # the same one: capitals tell no two scales apart
        (left,) = instrument_checks.doubts(session, ScaleCheck)
        assert "The kitchen scale read 201 g at 200 g: 1.00 g too high" in left
        assert instrument_checks.in_short(session, ScaleCheck) == "The kitchen scale 1.00 g high: set it right."
        first_minute.strike(session, again, VoidIn(why="The weight was another."))
        assert len(instrument_checks.doubts(session, ScaleCheck)) == 2
        with pytest.raises(Refused, match="already"):
            first_minute.strike(session, again, VoidIn(why="Once more."))


def test_a_check_of_ninety_days_ago_is_overdue(session: Session) -> None:
    """Ninety days are Grainbook's own choice; an instrument that lies in a drawer is not asked for."""
    with clock.turned_to(NOON) as turn:
        assert instrument_checks.doubts(session, ScaleCheck) == []  # never checked: none is missed
        scale(session, instrument="The old one")
        turn(NOON + timedelta(days=30))
        scale(session)
        turn(NOON + timedelta(days=120))
        assert instrument_checks.in_short(session, ScaleCheck) == ""
        turn(NOON + timedelta(days=120, minutes=1))
        assert instrument_checks.in_short(session, ScaleCheck) == "Scale last checked 25 Dec 2026: check it."
        (said,) = instrument_checks.doubts(session, ScaleCheck)
        assert said == "No scale was checked since 25 Dec 2026: check it before you use it."
        assert instrument_checks.in_short(session, ThermometerCheck) == ""


def test_a_check_is_of_today_until_midnight(session: Session) -> None:
    with clock.turned_to(NOON) as turn:
        row = scale(session)
        assert instrument_checks.of_today(session, ScaleCheck) is row
        turn(NOON + timedelta(hours=13))
        assert instrument_checks.of_today(session, ScaleCheck) is None


@pytest.mark.parametrize(
    ("line", "table"),
    [
        ("The scale is checked with a known mass.", ScaleCheck),
        ("The scale shows __ g/oz with its known mass, which is right.", ScaleCheck),
        ("The thermometer is checked (boiling water, or a second thermometer)", ThermometerCheck),
        ("Nobody else is near.", None),
        ("The scale stands level.", None),
    ],
)
def test_a_line_that_asks_for_a_check(line: str, table: type[Any] | None) -> None:
    assert instrument_checks.speaks_of(line) is table


def test_the_drift_is_the_least_squares_line_and_says_when_it_shows(session: Session) -> None:
    """NumPy's own fit is the reference."""
    read = [200.0, 200.0, 200.1, 200.1, 200.2, 200.2]
    days = [0, 31, 58, 91, 122, 150]
    with clock.turned_to(NOON) as turn:
        rows = []
        for day, grams in zip(days, read, strict=True):
            turn(NOON + timedelta(days=day))
            rows.append(scale(session, read=f"{grams} g"))
    found = instrument_checks.drift(rows)
    (slope, level), covariance = np.polyfit(days, np.array(read) - 200.0, 1, cov=True)
    assert found.per_month * 1e3 == pytest.approx(slope * 30)
    assert found.at(150.0) * 1e3 == pytest.approx(level + 150 * slope)
    assert found.range is not None
    # Student's t for 95 in 100 at 4 degrees of freedom is 2.776: NIST/SEMATECH e-Handbook 1.3.6.7.2.
    assert (found.range[1] - found.per_month) * 1e3 == pytest.approx(2.776 * np.sqrt(covariance[0, 0]) * 30, rel=1e-3)
    assert found.certain
    few = instrument_checks.drift([rows[0], rows[1], rows[5]])
    assert few.per_month > 0
    assert not few.certain  # three points on a line by chance


def test_few_checks_show_no_drift(session: Session) -> None:
    with clock.turned_to(NOON):
        rows = [scale(session) for _ in range(3)]  # all at one moment
    assert instrument_checks.drift(rows).range is None
    assert instrument_checks.drift(rows[:2]).range is None


def test_the_next_form_begins_with_what_the_last_one_had(session: Session) -> None:
    assert instrument_checks.first_texts(session, ScaleCheck)["tolerance"] == "0.2 g"  # two steps of 0.1 g
    scale(session, instrument="Kitchen", known="500 g", read="500 g", tolerance="2 g")
    first = instrument_checks.first_texts(session, ScaleCheck)
    assert first == {"instrument": "Kitchen", "known": "500 g", "tolerance": "2 g"}
