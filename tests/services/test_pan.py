"""Readings of the pan: against the band, in the unit they were typed in."""

import pytest
from sqlmodel import Session

from app.models.cast import TemperatureIn
from app.services import casting, pan, workshop
from tests import build


@pytest.mark.parametrize(
    ("typed", "state"),
    [("219 F", "near"), ("220 F", "in"), ("250 F", "in"), ("251 F", "out"), ("121.2 C", "out"), ("104 C", "near")],
)
def test_temperature_against_the_band(session: Session, typed: str, state: str) -> None:
    """220-250 °F: common practice, no source."""
    batch = build.weighed_batch(session)
    reading = pan.read(session, batch, TemperatureIn.model_validate({"temperature": typed}))
    advice = pan.advice(workshop.get(session), reading.temperature_k)
    assert advice.state == state
    assert (state == "out") is ("Heat off" in advice.words)
    assert reading.temperature_typed == typed


def test_a_reading_keeps_the_unit_it_was_typed_in(session: Session) -> None:
    batch = build.cast(session)
    cast = casting.the_open(session, batch)
    assert pan.units(session, cast).temperature == "°C"
    reading = pan.read(session, batch, TemperatureIn(temperature="240", unit="°F"))
    assert (reading.temperature_typed, reading.temperature_k) == ("240 °F", pytest.approx((240 + 459.67) * 5 / 9))
    units = pan.units(session, cast)
    assert units.temperature == "°F"
    assert "250 °F" in pan.advice(workshop.get(session), 500.0, units).words
    # A unit that was written outranks the one chosen beside it.
    reading = pan.read(session, batch, TemperatureIn(temperature="118,5 C", unit="°F"))
    assert (reading.temperature_typed, reading.temperature_k) == ("118,5 C", pytest.approx(391.65))
    assert pan.units(session, cast).temperature == "°C"
    workshop.get(session).temperature_unit = "°F"
    assert pan.readings(session, cast)[0].temperature_typed == "118,5 C"
