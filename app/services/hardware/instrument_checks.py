"""Checks of scales and thermometers as readings: how far off each was, whether it drifts, and what to say where it is
used.

A check belongs to the instrument of the name that it was given; the newest one of a name counts.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import TypeVar

from sqlmodel import Session, col, select

from app import clock
from app.calc.base.atmosphere import atmosphere
from app.calc.base.water import ICE_POINT, boiling_point
from app.calc.stats.least_squares import line
from app.errors import Asked, Refused
from app.models import LaunchField, ScaleCheck, ThermometerCheck
from app.models.base import build
from app.models.instrument import ScaleCheckIn, ThermometerCheckIn
from app.services.book import workshop
from app.units import UnitSystem, show

Check = ScaleCheck | ThermometerCheck
C = TypeVar("C", ScaleCheck, ThermometerCheck)

DAY_S = 86_400.0
MONTH_D = 30.0
CONFIDENCE = 0.95

USUAL_STEPS = 2
"""A scale may be off by so many of its steps, where nothing was said: common practice, no source."""
USUAL_K = 1.0
"""A thermometer may be off by so much [K], where nothing was said: common practice, no source."""
AGAIN = timedelta(days=90)
"""So long after the last check of its kind the next one is due; Grainbook's own choice."""
HARDLY_SHARE, HARDLY_K = 0.1, 10.0
"""A scale that is off by a tenth, a thermometer by ten degrees: that is asked about."""


def off(row: Check) -> float:
    """How much more an instrument read than was there [kg] or [K]."""
    return row.read_kg - row.known_kg if isinstance(row, ScaleCheck) else row.read_k - row.known_k


def tolerance(row: Check) -> float:
    """By how much it may be off [kg] or [K]."""
    return row.tolerance_kg if isinstance(row, ScaleCheck) else row.tolerance_k


def within(row: Check) -> bool:
    """Whether it read near enough; the last digit of a reading in other units does not decide."""
    return abs(off(row)) <= tolerance(row) * (1 + 1e-6) + 1e-9


def fine(si: float, row: Check, units: UnitSystem, more: int = 0) -> str:
    """A difference of an instrument's readings, one decimal finer than it is read, or some `more`."""
    kind, places = ("mass", 2) if isinstance(row, ScaleCheck) else ("temperature_step", 1)
    return show(si, kind, units, places + more)


def known(row: Check, units: UnitSystem) -> str:
    """What was there: as typed, or as it was reckoned."""
    if row.known_typed:
        return row.known_typed
    assert isinstance(row, ThermometerCheck), "a known mass is typed"
    return show(row.known_k, "temperature", units, 1)


def off_words(row: Check, units: UnitSystem) -> str:
    """How far off it was, in words."""
    more = off(row)
    text = fine(abs(more), row, units)
    if text == fine(0.0, row, units):
        return "exact"
    return f"{text} too {'high' if more > 0 else 'low'}"


def words(row: Check, units: UnitSystem) -> str:
    """A check in one line, in the reader's units."""
    return f"{row.instrument} read {row.read_typed} at {known(row, units)}: {off_words(row, units)}"


# --- Finding -------------------------------------------------------------------------------------


def of_kind(session: Session, table: type[C]) -> list[C]:
    """All checks of scales, or of thermometers, in the order of their moments, struck ones too."""
    return list(session.exec(select(table).order_by(col(table.checked_at), col(table.id))))


def by_instrument(rows: Sequence[C]) -> dict[str, list[C]]:
    """Checks that count, by the name of their instrument, the one checked last first."""
    found: dict[str, list[C]] = {}
    for row in rows:
        if row.voided_at is None:
            found.setdefault(row.instrument.casefold(), []).append(row)
    ordered = sorted(found.values(), key=lambda of: of[-1].checked_at, reverse=True)
    return {of[-1].instrument: of for of in ordered}


def newest(session: Session, table: type[C]) -> list[C]:
    """The newest check that counts of each instrument, the latest first."""
    return [of[-1] for of in by_instrument(of_kind(session, table)).values()]


def doubts(session: Session, table: type[C]) -> list[str]:
    """What is said where such an instrument is used: each one whose newest check was outside its tolerance, and that
    the next check is overdue.
    """
    units, late = workshop.get(session).units, overdue(session, table)
    kind = "scale" if table is ScaleCheck else "thermometer"
    said = [
        f"Checked, and off: {words(row, units)}; it may be off by {row.tolerance_typed}."
        for row in newest(session, table)
        if not within(row)
    ]
    if late is not None:
        said.append(f"No {kind} was checked since {clock.day(late.checked_at)}: check it before you use it.")
    return said


def overdue(session: Session, table: type[C]) -> C | None:
    """The last check of such an instrument, where the next one is overdue. Where none was ever made, none is missed."""
    last = next(iter(newest(session, table)), None)
    return last if last is not None and clock.now() - last.checked_at > AGAIN else None


def in_short(session: Session, table: type[C]) -> str:
    """What is wrong with such an instrument and what to do, in one line to be read at arm's length; empty where nothing
    is known to be.
    """
    rows, units = newest(session, table), workshop.get(session).units
    kind, mend = ("Scale", "set it right") if table is ScaleCheck else ("Thermometer", "use another")
    wrong = next((row for row in rows if not within(row)), None)
    if wrong is not None:
        name = wrong.instrument[:1].upper() + wrong.instrument[1:] if len(rows) > 1 else kind
        return f"{name} {fine(abs(off(wrong)), wrong, units)} {'high' if off(wrong) > 0 else 'low'}: {mend}."
    late = overdue(session, table)
    return f"{kind} last checked {clock.day(late.checked_at)}: check it." if late is not None else ""


def of_today(session: Session, table: type[C]) -> C | None:
    """The newest check of today, whether or not it was within its tolerance."""
    found = [row for row in newest(session, table) if clock.local(row.checked_at).date() == clock.today()]
    return found[0] if found else None


def speaks_of(line_words: str) -> type[ScaleCheck] | type[ThermometerCheck] | None:
    """Which instrument's check a line of the checklist asks for; nothing where it asks for none."""
    said = line_words.casefold()
    if "check" not in said and "known mass" not in said:
        return None
    return ScaleCheck if "scale" in said else ThermometerCheck if "thermometer" in said else None


@dataclass(frozen=True)
class CheckOfToday:
    """What a line of the checklist that asks for a check is answered from."""

    words: str
    """Today's newest check, in one line with its moment; empty where nothing was checked today."""
    reading: str
    """What was read of a scale, as typed, to stand in the line's blank; empty where it was off by more than it may."""


def for_line(session: Session, line_words: str) -> CheckOfToday | None:
    """Today's check for a line of the checklist; nothing where the line asks for none."""
    table = speaks_of(line_words)
    if table is None:
        return None
    row: Check | None = of_today(session, ScaleCheck) if table is ScaleCheck else of_today(session, ThermometerCheck)
    if row is None:
        return CheckOfToday("", "")
    said = f"{clock.local(row.checked_at):%H:%M}: {words(row, workshop.get(session).units)}."
    return CheckOfToday(said, row.read_typed if isinstance(row, ScaleCheck) and within(row) else "")


# --- Drift ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Drift:
    """How the checks of one instrument go in time.

    Attributes
    ----------
    days, offs : list of float
        Days since the first check [d]; what it read too much [kg] or [K].
    level, per_month : float
        A straight line through them: at the first check, and its rise in 30 days [kg] or [K].
    range : tuple of float or None
        What holds the true rise in 30 days at 95 in 100, by Student's t; None before there are three checks on two
        days.
    """

    days: list[float]
    offs: list[float]
    level: float = 0.0
    per_month: float = 0.0
    range: tuple[float, float] | None = None

    @property
    def certain(self) -> bool:
        """Whether no drift at all is left out."""
        return self.range is not None and self.range[0] * self.range[1] > 0

    def at(self, day: float) -> float:
        """The line at a day."""
        return self.level + self.per_month / MONTH_D * day


def drift(rows: Sequence[Check]) -> Drift:
    """The drift of one instrument, by least squares over its checks in their order."""
    first = rows[0].checked_at
    days = [(row.checked_at - first).total_seconds() / DAY_S for row in rows]
    offs = [off(row) for row in rows]
    if len(rows) < 3 or max(days) - min(days) < 1:
        return Drift(days, offs)
    found = line(days, offs)
    low, high = found[1].interval(CONFIDENCE)
    return Drift(days, offs, found[0].value, found[1].value * MONTH_D, (low * MONTH_D, high * MONTH_D))


# --- Telling -------------------------------------------------------------------------------------


def check_scale(session: Session, data: ScaleCheckIn, person: str) -> ScaleCheck:
    """Keep what a scale read of a known mass, now.

    Raises
    ------
    Asked
        It is off by more than a tenth.
    """
    if abs(data.read.si - data.known.si) > HARDLY_SHARE * data.known.si and not data.sure_of("read"):
        raise Asked(
            f"The scale read {data.read.typed} with {data.known.typed} on it. Is that so?", "read", keep="Yes, {typed}"
        )
    return _keep(session, build(ScaleCheck, data, person=person, checked_at=clock.now()))


def check_thermometer(session: Session, data: ThermometerCheckIn, person: str) -> ThermometerCheck:
    """Keep what a thermometer read, now, with the temperature that was there.

    Raises
    ------
    Refused
        It is not told how high the water boils, or what the other thermometer read.
    Asked
        It is off by more than ten degrees.
    """
    there = _known(data)
    if abs(data.read.si - there) > HARDLY_K and not data.sure_of("read"):
        was = show(there, "temperature", workshop.get(session).units, 1)
        raise Asked(
            f"The thermometer read {data.read.typed} where it was {was}. Is that so?", "read", keep="Yes, {typed}"
        )
    row = build(ThermometerCheck, data, person=person, checked_at=clock.now())
    row.known_k = there
    if data.against != "other":
        row.known_typed = None
    return _keep(session, row)


def _known(data: ThermometerCheckIn) -> float:
    """The temperature that was there [K]."""
    if data.against == "other":
        if data.known is None:
            raise Refused("Say what the other thermometer read.", field="known")
        return data.known.si
    if data.against == "ice":
        return ICE_POINT
    if data.air_pressure is not None:
        return boiling_point(data.air_pressure.si)
    if data.elevation is None:
        raise Refused(
            "Say how high above sea level you are, or the air's pressure: water boils cooler on a hill.",
            field="elevation",
        )
    return boiling_point(atmosphere(data.elevation.si).pressure)


def _keep(session: Session, row: C) -> C:
    session.add(row)
    session.flush()
    return row


# --- What stands in a new form -------------------------------------------------------------------


def first_texts(session: Session, table: type[C]) -> dict[str, str]:
    """What stands in the form of the next check: as it was at the last one, but for the reading."""
    house = workshop.get(session)
    last: Check | None = next(iter(newest(session, table)), None)
    if last is not None:
        kept = {"instrument": last.instrument, "tolerance": last.tolerance_typed}
        if isinstance(last, ScaleCheck):
            return {**kept, "known": last.known_typed}
        return {**kept, "against": last.against, "elevation": last.elevation_typed or ""}
    if table is ScaleCheck:
        step = USUAL_STEPS * house.scale_resolution_kg
        return {"instrument": "the scale", "tolerance": show(step, "mass", house.units)}
    field = session.exec(select(LaunchField).order_by(col(LaunchField.id))).first()
    return {
        "instrument": "the pan's thermometer",
        "against": "boiling",
        "tolerance": show(USUAL_K, "temperature_step", house.units),
        "elevation": "" if field is None else show(field.elevation_m, "altitude", house.units),
    }
