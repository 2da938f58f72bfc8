"""The pan: its temperature as read in a cast session, and what it means against the workshop's band."""

from dataclasses import dataclass
from typing import Literal

from sqlmodel import Session, col, select

from app import clock
from app.models import Batch, CastSession, TemperatureReading, Workshop
from app.models.base import build
from app.models.cast import TemperatureIn
from app.services import casting, moments, workshop
from app.units import UnitSystem, show

EDGE_K = 1e-3
"""Temperatures closer than this are the same [K]: 220 °F typed here and 220 °F kept there differ in the tenth digit."""


@dataclass(frozen=True)
class Advice:
    """What a pan temperature means."""

    state: Literal["in", "near", "out"]
    short: str
    words: str


def readings(session: Session, cast: CastSession) -> list[TemperatureReading]:
    """The readings of a session that count, newest first."""
    query = select(TemperatureReading).where(
        TemperatureReading.cast_session_id == cast.pk, col(TemperatureReading.voided_at).is_(None)
    )
    return list(session.exec(query.order_by(col(TemperatureReading.read_at).desc(), col(TemperatureReading.id).desc())))


def units(session: Session, cast: CastSession | None) -> UnitSystem:
    """The units of the pan's page: temperatures in what the last reading was typed in, so that the choice stays."""
    house = workshop.get(session).units
    latest = max(readings(session, cast) if cast else [], key=lambda reading: reading.pk, default=None)
    typed = latest.temperature_typed.strip().upper() if latest else ""
    for sign in ("°F", "°C"):
        if typed.endswith(sign[1]):
            return house._replace(temperature=sign)
    return house


def advice(shop: Workshop, temperature_k: float, units: UnitSystem | None = None) -> Advice:
    """What a pan temperature means against the workshop's band, and what to do.

    The band is the workshop's own; its default, 220-250 °F, is common practice, no source.
    """
    limit, low = (show(k, "temperature", units or shop.units) for k in (shop.pan_limit_k, shop.pan_low_k))
    if temperature_k > shop.pan_limit_k + EDGE_K:
        return Advice(
            "out",
            "above the limit",
            f"Above the limit of {limit}. Heat off now, lift the pan off the plate if you can do it without "
            "reaching over it, and add nothing. If it smokes hard or darkens fast, leave.",
        )
    if temperature_k < shop.pan_low_k - EDGE_K:
        words = f"Below the working band ({low} to {limit}): too stiff to pour well. Warm it slowly."
        return Advice("near", "below the band", words)
    return Advice("in", "in the band", f"Inside the working band ({low} to {limit}).")


def read(session: Session, batch: Batch, data: TemperatureIn) -> TemperatureReading:
    """Keep a reading of the pan with its moment: now, or when it was read by the paper.

    Raises
    ------
    Refused
        The session is not open, or the time told is none.
    """
    cast = casting.the_open(session, batch)
    read_at = moments.told(data.at) if data.at else clock.now()
    reading = build(TemperatureReading, data, cast_session_id=cast.pk, read_at=read_at)
    session.add(reading)
    session.flush()
    return reading
