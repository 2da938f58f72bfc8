"""The pan: its temperature as read in each melt of an evening, and what it means against the workshop's band.

A number in the wrong degrees is the dangerous slip: 118 typed for °F and meant for °C looks like a cold pan. Such a
reading is kept, for it may be honest while the pan warms, and asked about; until that is answered nothing advises to
heat, and if either reading of it lies above the limit, the pan counts as too hot.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby
from typing import Literal

from sqlmodel import Session, col, select

from app import clock
from app.book.gate_rule import EDGE_K
from app.errors import Refused
from app.models import Batch, CastSession, CastStep, Melt, TemperatureReading, Workshop
from app.models.base import build
from app.models.cast import DegreesIn, TemperatureIn
from app.services.book import moments, repository, workshop
from app.services.cast import casting
from app.units import UnitSystem, parse, show


@dataclass(frozen=True)
class Advice:
    """What a pan temperature means."""

    state: Literal["in", "near", "asked", "out"]
    short: str
    words: str


@dataclass(frozen=True)
class Hot:
    """A pan that is or may be too hot, as every page tells it."""

    code: str
    words: str
    href: str


@dataclass(frozen=True)
class Standing:
    """The pan as it was read last: whether it is or may be too hot, and what is asked about the reading."""

    reading: TemperatureReading
    advice: Advice
    asked: list[tuple[str, str]]
    """The two things that it may mean: degrees and the reading in them; empty when nothing is asked."""

    @property
    def hot(self) -> bool:
        """Above the limit, by one reading of it at least."""
        return self.advice.state == "out"


_NEWEST = (col(TemperatureReading.read_at).desc(), col(TemperatureReading.id).desc())


def readings(session: Session, melt: Melt) -> list[TemperatureReading]:
    """The readings of a melt's pan that count, newest first."""
    return _counting(session, [melt])


def of_evening(session: Session, cast: CastSession) -> list[TemperatureReading]:
    """The readings of all pans of an evening that count, newest first: its whole curve."""
    return _counting(session, cast.melts)


def _counting(session: Session, melts: list[Melt]) -> list[TemperatureReading]:
    query = select(TemperatureReading).where(
        col(TemperatureReading.melt_id).in_([melt.pk for melt in melts]), col(TemperatureReading.voided_at).is_(None)
    )
    return list(session.exec(query.order_by(*_NEWEST)))


def units(session: Session, melt: Melt | None) -> UnitSystem:
    """The units of the pan's page: while it is hot, temperatures in what the thermometer was last read in, this
    evening.
    """
    running = melt is not None and melt.evening.closed_at is None
    return _as_read(workshop.get(session).units, of_evening(session, melt.evening) if melt and running else [])


def _as_read(house: UnitSystem, of_the_evening: Iterable[TemperatureReading]) -> UnitSystem:
    latest = max(of_the_evening, key=lambda reading: reading.pk, default=None)
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


def band_words(low_k: float, high_k: float, units: UnitSystem) -> str:
    """A band of temperatures in words, with the unit once."""
    return f"{show(low_k, 'temperature', units).split(' ')[0]} to {show(high_k, 'temperature', units)}"


def step_band(step: CastStep, units: UnitSystem) -> str:
    """The pan's band at a step in words; empty when the step has none."""
    if step.pan_low_k is None and step.pan_high_k is None:
        return ""
    if step.pan_low_k is None or step.pan_high_k is None:
        side = "up to" if step.pan_low_k is None else "from"
        return f"{side} {show(step.pan_high_k or step.pan_low_k, 'temperature', units)}"
    return band_words(step.pan_low_k, step.pan_high_k, units)


def of_reading(shop: Workshop, reading: TemperatureReading, units: UnitSystem | None = None) -> Advice:
    """What a reading of the pan means; a doubted one asks, and never advises to heat."""
    if reading.doubted_k is None:
        return advice(shop, reading.temperature_k, units)
    (_, one), (_, other) = _meanings(reading)
    limit = show(shop.pan_limit_k, "temperature", units or shop.units)
    if max(reading.temperature_k, reading.doubted_k) > shop.pan_limit_k + EDGE_K:
        hotter = one if reading.temperature_k > reading.doubted_k else other
        return Advice(
            "out",
            f"{one} or {other}?",
            f"Above the limit of {limit} if it is {hotter}. Until you say which it is: heat off, add nothing, lift the "
            "pan off the plate if you can do it without reaching over it. If it smokes hard or darkens fast, leave.",
        )
    return Advice(
        "asked",
        f"{one} or {other}?",
        f"At {one} the pan would be below the working band, at {other} inside it. Leave the heat as it is until you "
        "have said which the thermometer shows.",
    )


def standing(session: Session, melt: Melt | None, units: UnitSystem | None = None) -> Standing | None:
    """How the pan of an open session stands by its last reading; nothing once all of it is poured."""
    if melt is None or melt.evening.closed_at is not None or _poured(melt.steps):
        return None
    latest = next(iter(readings(session, melt)), None)
    return _standing(workshop.get(session), latest, units) if latest is not None else None


def _standing(shop: Workshop, latest: TemperatureReading, units: UnitSystem | None) -> Standing:
    found = of_reading(shop, latest, units)
    return Standing(latest, found, _meanings(latest) if latest.doubted_k is not None else [])


def _alarm(now: Standing) -> str:
    """What other pages say loudly of a pan that is or may be too hot."""
    what = now.advice.short if now.asked else f"{now.reading.temperature_typed}, above the limit"
    return f"The pan was read at {clock.local(now.reading.read_at):%H:%M}: {what}. Heat off, add nothing."


_OF_OPEN_EVENINGS = (
    select(TemperatureReading, col(Melt.cast_session_id), col(Batch.code))
    .join(Melt, col(Melt.id) == TemperatureReading.melt_id)
    .join(CastSession, col(CastSession.id) == Melt.cast_session_id)
    .join(Batch, col(Batch.id) == Melt.batch_id)
    .where(col(CastSession.closed_at).is_(None), col(TemperatureReading.voided_at).is_(None))
    .order_by(col(CastSession.id).desc(), col(Melt.number), *_NEWEST)
)
"""Made once: putting it together takes longer than asking it."""


def hot(session: Session) -> list[Hot]:
    """Each pan of an open evening that is or may be too hot. Every page asks: one question, two where a pan is."""
    rows = session.exec(_OF_OPEN_EVENINGS).all()
    shop = workshop.get(session)
    found: dict[int, Hot] = {}
    for melt_id, of_melt in groupby(rows, key=lambda row: row[0].melt_id):
        latest, evening, code = next(of_melt)
        now = _standing(shop, latest, _as_read(shop.units, [read for read, of, _ in rows if of == evening]))
        if now.hot:
            found[melt_id] = Hot(code, _alarm(now), f"/bench/{evening}")
    if not found:
        return []
    pours: dict[int, list[CastStep]] = {}
    for step in session.exec(select(CastStep).where(col(CastStep.melt_id).in_(found), CastStep.key == "pour")):
        pours.setdefault(step.melt_id, []).append(step)
    return [one for melt_id, one in found.items() if not _poured(pours.get(melt_id, []))]


def _poured(steps: Iterable[CastStep]) -> bool:
    pours = [step for step in steps if step.key == "pour"]
    return bool(pours) and all(step.done_at is not None or step.skipped_why is not None for step in pours)


_SIGNS = ("°F", "°C")


def _meanings(reading: TemperatureReading) -> list[tuple[str, str]]:
    """The degrees a doubted reading was kept in and the other ones, each with the reading as it would be typed."""
    number, own = reading.temperature_typed.rsplit(maxsplit=1)
    return [(sign, f"{number} {sign}") for sign in sorted(_SIGNS, key=lambda sign: sign != own)]


def _other_k(typed: str) -> float | None:
    """What a number typed bare would be in the other degrees [K]."""
    number, _, own = typed.rpartition(" ")
    if own not in _SIGNS:
        return None
    return parse(f"{number} {_SIGNS[own == '°F']}", "temperature").si


TRUST = timedelta(minutes=15)
"""How long a reading whose degrees are settled vouches for those of the next; Grainbook's own choice."""


def _doubt(session: Session, melt: Melt, data: TemperatureIn, read_at: datetime) -> float | None:
    """The other temperature that a bare number may well mean [K]; nothing when there is no doubt.

    There is none when both mean the same to the pan, or when the reading before it, whose degrees are settled and which
    is not old, lies nearer to the number as it was taken.
    """
    other = _other_k(data.temperature.typed) if data.bare else None
    if other is None:
        return None
    shop, own = workshop.get(session), data.temperature.si
    if advice(shop, own).state in ("in", advice(shop, other).state):
        return None
    before = next((r for r in readings(session, melt) if r.read_at <= read_at and r.doubted_k is None), None)
    vouched = before is not None and read_at - before.read_at <= TRUST
    if vouched and before is not None and abs(own - before.temperature_k) < abs(other - before.temperature_k):
        return None
    return other


def record_temperature(session: Session, batch: Batch, data: TemperatureIn) -> TemperatureReading:
    """Keep a reading of the pan with its moment: now, or when it was read by the paper.

    Raises
    ------
    Refused
        The session is not open, or the time told is none.
    """
    melt = casting.the_open(session, batch)
    read_at = moments.parse(data.at) if data.at else clock.now()
    doubted = _doubt(session, melt, data, read_at)
    reading = build(TemperatureReading, data, melt_id=melt.pk, read_at=read_at, doubted_k=doubted)
    session.add(reading)
    session.flush()
    return reading


def settle(
    session: Session, batch: Batch, reading_id: int, data: DegreesIn, version: int | None = None
) -> TemperatureReading:
    """Say which degrees a doubted reading was in; one in the other degrees is struck out and kept anew as it was meant.

    Raises
    ------
    Refused
        The session is not open, the reading is another melt's or struck out, or nothing is asked about it.
    Conflict
        It was changed since the page was opened.
    """
    melt = casting.the_open(session, batch)
    reading = repository.get(session, TemperatureReading, reading_id, "reading")
    if reading.melt_id != melt.pk:
        raise Refused("That reading belongs to another melt.")
    if reading.voided_at is not None or reading.doubted_k is None:
        raise Refused("Nothing is asked about that reading any more.")
    repository.claim(reading, version)
    meant, other_k = dict(_meanings(reading))[data.unit], reading.doubted_k
    reading.doubted_k = None
    if meant == reading.temperature_typed:
        session.flush()
        return reading
    reading.voided_at, reading.voided_why = clock.now(), f"It was {meant}."
    right = TemperatureReading(melt_id=melt.pk, read_at=reading.read_at, temperature_k=other_k, temperature_typed=meant)
    session.add(right)
    session.flush()
    return right
