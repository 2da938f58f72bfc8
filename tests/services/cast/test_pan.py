"""Readings of the pan: against the band, in the unit they were typed in."""

from datetime import timedelta

import pytest
from sqlalchemy import event
from sqlmodel import Session

from app import clock
from app.errors import Refused
from app.models import Batch, TemperatureReading
from app.models.cast import DegreesIn, TemperatureIn
from app.services.book import workshop
from app.services.cast import casting, pan
from tests import build


@pytest.mark.parametrize(
    ("typed", "state"),
    [("219 F", "near"), ("220 F", "in"), ("250 F", "in"), ("251 F", "out"), ("121.2 C", "out"), ("104 C", "near")],
)
def test_temperature_against_the_band(session: Session, typed: str, state: str) -> None:
    """220-250 °F: common practice, no source."""
    batch = build.weighed_batch(session)
    reading = pan.record_temperature(session, batch, TemperatureIn.model_validate({"temperature": typed}))
    advice = pan.advice(workshop.get(session), reading.temperature_k)
    assert advice.state == state
    assert (state == "out") is ("Heat off" in advice.words)
    assert reading.temperature_typed == typed


def test_a_reading_keeps_the_unit_it_was_typed_in(session: Session) -> None:
    batch = build.cast(session)
    cast = casting.the_open(session, batch)
    assert pan.units(session, cast).temperature == "°C"
    reading = pan.record_temperature(session, batch, TemperatureIn(temperature="240", unit="°F"))
    assert reading.temperature_typed == "240 °F"
    assert reading.temperature_k == pytest.approx((240 + 459.67) * 5 / 9)
    units = pan.units(session, cast)
    assert units.temperature == "°F"
    assert "250 °F" in pan.advice(workshop.get(session), 500.0, units).words
    # A unit that was written outranks the one chosen beside it.
    reading = pan.record_temperature(session, batch, TemperatureIn(temperature="118,5 C", unit="°F"))
    assert reading.temperature_typed == "118,5 C"
    assert reading.temperature_k == pytest.approx(391.65)
    assert pan.units(session, cast).temperature == "°C"
    workshop.get(session).temperature_unit = "°F"
    assert pan.readings(session, cast)[0].temperature_typed == "118,5 C"


# --- Which degrees -------------------------------------------------------------------------------


def hot_pan(session: Session) -> Batch:
    """A session weighed out, the pan not poured."""
    return build.weighed_batch(session)


def bare(session: Session, batch: Batch, number: str, unit: str) -> TemperatureReading:
    """A number typed without its degrees, the unit left as it stood beside it."""
    return pan.record_temperature(session, batch, TemperatureIn(temperature=number, unit=unit))


@pytest.mark.parametrize(
    ("number", "unit", "state"),
    [
        ("118", "°F", "asked"),  # 118 °C would be in the band
        ("130", "°F", "out"),  # 130 °C would be above the limit
        ("240", "°C", "out"),  # above the limit as it was taken, 240 °F would be in the band
        ("70", "°F", "near"),  # too cold by either: nothing to ask
        ("118", "°C", "in"),
        ("300", "°C", "out"),  # too hot by either
    ],
)
def test_a_number_that_may_be_in_the_other_degrees_never_advises_to_heat(
    session: Session, number: str, unit: str, state: str
) -> None:
    batch = hot_pan(session)
    reading = bare(session, batch, number, unit)
    advice = pan.of_reading(workshop.get(session), reading)
    assert advice.state == state
    assert ("Warm it" in advice.words) is (state == "near")
    assert ("eat off" in advice.words) is (state == "out")
    now = pan.standing(session, casting.the_open(session, batch))
    assert now is not None
    assert now.hot is (state == "out")
    assert reading.temperature_typed == f"{number} {unit}"
    asked = [words for _, words in now.asked]
    assert asked == ([f"{number} {unit}", f"{number} {'°C' if unit == '°F' else '°F'}"] if now.asked else [])
    assert bool(now.asked) is (number in ("118", "130", "240") and (number, unit) != ("118", "°C"))


def test_degrees_that_were_written_are_believed(session: Session) -> None:
    batch = hot_pan(session)
    reading = pan.record_temperature(session, batch, TemperatureIn(temperature="118 F", unit="°C"))
    assert reading.doubted_k is None
    assert pan.of_reading(workshop.get(session), reading).state == "near"


def test_the_answer_keeps_the_reading_or_keeps_it_anew_in_the_other_degrees(session: Session) -> None:
    batch = hot_pan(session)
    cast = casting.the_open(session, batch)
    honest = bare(session, batch, "118", "°F")
    pan.settle(session, batch, honest.pk, DegreesIn(unit="°F"), honest.version)
    assert (honest.doubted_k, honest.voided_at) == (None, None)
    with pytest.raises(Refused, match="Nothing is asked"):
        pan.settle(session, batch, honest.pk, DegreesIn(unit="°C"))
    wrong = bare(session, batch, "121", "°F")
    assert wrong.doubted_k is None, "it warms on from a reading whose degrees are settled"
    with clock.turned_to(clock.now() + pan.TRUST + timedelta(minutes=1)):
        wrong = bare(session, batch, "121", "°F")
        right = pan.settle(session, batch, wrong.pk, DegreesIn(unit="°C"))
    assert wrong.voided_why == "It was 121 °C."
    assert right.temperature_typed == "121 °C"
    assert right.temperature_k == pytest.approx(394.15)
    assert right.read_at == wrong.read_at
    assert pan.readings(session, cast)[0] is right


def test_a_drop_that_no_pan_makes_is_doubted_beside_a_settled_reading(session: Session) -> None:
    batch = hot_pan(session)
    pan.record_temperature(session, batch, TemperatureIn(temperature="240 F"))
    assert bare(session, batch, "118", "°F").doubted_k == pytest.approx(391.15)  # 118 °C is 244 °F


def test_the_pan_is_over_when_all_of_it_is_poured(session: Session) -> None:
    batch = build.cast(session)
    pan.record_temperature(session, batch, TemperatureIn(temperature="300 F"))
    assert pan.standing(session, casting.the_open(session, batch)) is None
    assert pan.hot(session) == []


def test_every_page_asks_little_for_pans_that_are_too_hot(session: Session) -> None:
    """It asked eleven questions with an evening open, and more with each melt."""
    batch = hot_pan(session)
    pan.record_temperature(session, batch, TemperatureIn(temperature="230 F"))
    session.commit()
    asked: list[str] = []
    event.listen(session.get_bind(), "before_cursor_execute", lambda *args: asked.append(args[2]))
    assert pan.hot(session) == []
    within = sum(one.startswith("SELECT") for one in asked)
    pan.record_temperature(session, batch, TemperatureIn(temperature="300 F"))
    session.commit()
    asked.clear()
    (found,) = pan.hot(session)
    above = sum(one.startswith("SELECT") for one in asked)
    assert (found.code, found.href) == (batch.code, f"/bench/{casting.the_open(session, batch).cast_session_id}")
    assert "300 F, above the limit. Heat off, add nothing." in found.words
    assert (within, above) == (2, 3), "with the settings"
