"""Lots, grains and firings as tables for a spreadsheet: in the workshop's units, which stand in the heads."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from operator import attrgetter
from typing import Any

from sqlmodel import Session, col, select

from app import clock
from app.models import Firing, Grain
from app.services.book import workshop
from app.services.firings.firings import KINDS as FIRING_KINDS
from app.services.grains import grains, reweighs
from app.services.grains.lots import Spread
from app.services.review import burned_motors, lots_review
from app.services.review.burned_motors import Burn, LookIn
from app.services.review.lots_review import ReviewIn
from app.tables import Cell
from app.units import UnitSystem, convert, unit_of

AT_ONCE = 50
"""Lots or firings read at once; a table of any size needs the memory of so many."""


@dataclass(frozen=True)
class Column:
    """A head, where its cells come from (in SI), and the kind of unit they have: 'days', or '' for none."""

    head: str
    value: Callable[[Any], Cell]
    kind: str = ""


@dataclass(frozen=True)
class Table:
    """Heads with their units, and rows that are read as they are asked for."""

    heads: list[str]
    rows: Iterator[Sequence[Cell]]


def _table(session: Session, columns: Sequence[Column], items: Iterable[Any]) -> Table:
    units = workshop.get(session).units
    heads = [f"{c.head} ({_unit(c.kind, units)})" if c.kind else c.head for c in columns]
    return Table(heads, ([_cell(c, item, units) for c in columns] for item in items))


def _unit(kind: str, units: UnitSystem) -> str:
    return "days" if kind == "days" else unit_of(kind, units)


def _cell(column: Column, item: Any, units: UnitSystem) -> Cell:
    value = column.value(item)
    if isinstance(value, datetime):
        return clock.local(value).replace(microsecond=0)
    if isinstance(value, float):
        if column.kind:
            value = value / 86400 if column.kind == "days" else convert(value, column.kind, units)
        return float(f"{value:.10g}")  # 172.3 g is not 172.29999999999998 g
    return value


def _all(names: Iterable[str]) -> str:
    return ", ".join(names)


# --- Firings -----------------------------------------------------------------------------------


def _height(burn: Burn, of: str) -> float | None:
    return attrgetter(of)(burn.height) if burn.height is not None else None


_FIRINGS = (
    Column("Fired at", lambda row: row[0].fired_at),
    Column("Motor", lambda row: row[0].motor_code),
    Column("Kind", lambda row: FIRING_KINDS[row[0].kind]),
    Column("Result", lambda row: row[0].result_words),
    Column("Case", lambda row: row[0].case),
    Column("Nozzle", lambda row: row[0].nozzle),
    Column("Formulas", lambda row: _all(row[0].formulas)),
    Column("Patterns", lambda row: _all(row[0].patterns)),
    Column("Lots", lambda row: _all(row[0].lots)),
    Column("Grains", lambda row: row[0].grain_count),
    Column("Mean density", lambda row: row[0].density, "share"),
    Column("Least density", lambda row: row[0].least_density, "share"),
    Column("Spread of masses", lambda row: row[0].mass_spread, "share"),
    Column("Age of youngest grains", lambda row: row[0].cure_s, "days"),
    Column("Pan at pour", lambda row: row[0].pan_k, "temperature"),
    Column("Mass gained since label", lambda row: row[0].gain, "share"),
    Column("Grain temperature", lambda row: row[0].grain_temperature_k, "temperature"),
    Column("Air temperature", lambda row: row[1].air_temperature_k, "temperature"),
    Column("Humidity at the cast", lambda row: row[0].cast_humidity, "share"),
    Column("Humidity", lambda row: row[0].humidity, "share"),
    Column("Wind", lambda row: row[1].wind_m_s, "speed"),
    Column("Weather", lambda row: row[1].weather),
    Column("Igniter", lambda row: row[1].igniter),
    Column("Measured impulse", lambda row: row[0].impulse.measured, "impulse"),
    Column("Predicted impulse", lambda row: row[0].impulse.predicted, "impulse"),
    Column("Impulse, measured over predicted", lambda row: row[0].impulse.ratio),
    Column("Measured burn time", lambda row: row[0].burn_time.measured, "time"),
    Column("Predicted burn time", lambda row: row[0].burn_time.predicted, "time"),
    Column("Burn time, measured over predicted", lambda row: row[0].burn_time.ratio),
    Column("Measured peak pressure", lambda row: row[0].peak_pressure.measured, "pressure"),
    Column("Predicted peak pressure", lambda row: row[0].peak_pressure.predicted, "pressure"),
    Column("Peak pressure, measured over predicted", lambda row: row[0].peak_pressure.ratio),
    Column("Altitude", lambda row: row[0].altitude_m, "altitude"),
    Column("Expected height", lambda row: _height(row[0], "expected.mid"), "altitude"),
    Column("Height, reached over expected", lambda row: _height(row[0], "ratio")),
    Column("Nine in ten expected from", lambda row: _height(row[0], "low")),
    Column("Nine in ten expected to", lambda row: _height(row[0], "high")),
    Column("Throat afterwards", lambda row: row[1].throat_after_m, "length"),
    Column("What was seen", lambda row: row[1].words),
)


def firings(session: Session, wanted: LookIn) -> Table:
    """Every firing that meets the filter, attempts that did not light too, oldest first."""

    def rows() -> Iterator[Any]:
        found = burned_motors.burned(session, wanted, unlit=True)
        for start in range(0, len(found), AT_ONCE):
            some = found[start : start + AT_ONCE]
            query = select(Firing).where(col(Firing.id).in_([burn.firing_id for burn in some]))
            rows = {row.pk: row for row in session.exec(query)}
            yield from ((burn, rows[burn.firing_id]) for burn in some)
            session.expunge_all()

    return _table(session, _FIRINGS, rows())


# --- Lots --------------------------------------------------------------------------------------


def _of(spread: Spread | None, name: str) -> float | None:
    return getattr(spread, name) if spread is not None else None


_LOTS = (
    Column("Lot", lambda line: line.batch.code),
    Column("Cast on", lambda line: line.cast_on),
    Column("Formula", lambda line: line.formula.label),
    Column("Patterns", lambda line: _all(line.patterns)),
    Column("Grains weighed", lambda line: line.counts.weighed),
    Column("Accepted", lambda line: line.counts.accepted),
    Column("Held", lambda line: line.counts.held),
    Column("Rejected", lambda line: line.counts.rejected),
    Column("Used", lambda line: line.counts.used),
    Column("Mean density", lambda line: _of(line.counts.density, "mean"), "share"),
    Column("Standard deviation of density", lambda line: _of(line.counts.density, "sd"), "share"),
    Column("Least density", lambda line: _of(line.counts.density, "low"), "share"),
    Column("Greatest density", lambda line: _of(line.counts.density, "high"), "share"),
    Column("Firings", lambda line: len(line.firings)),
    Column("Results", lambda line: _all(f.result_words for f in line.firings)),
    Column("Impulse, measured over predicted, mean", lambda line: _of(line.ratio, "mean")),
    Column("Firings behind it", lambda line: line.ratio.n if line.ratio else 0),
    Column("Height, reached over expected, mean", lambda line: _of(line.height_ratio, "mean")),
    Column("Flights behind it", lambda line: line.height_ratio.n if line.height_ratio else 0),
    Column("Note", lambda line: line.batch.note),
)


def lots(session: Session, wanted: ReviewIn) -> Table:
    """Every lot that meets the filter, in the order asked for."""
    return _table(session, _LOTS, lots_review.every_line(session, wanted, AT_ONCE))


# --- Grains ------------------------------------------------------------------------------------

_GRAINS = (
    Column("Serial", lambda row: row[0].grain.serial),
    Column("Lot", lambda row: row[0].batch.code),
    Column("Formula", lambda row: row[0].formula.label),
    Column("Pattern", lambda row: row[0].pattern.name),
    Column("State", lambda row: row[0].state_words),
    Column("Poured at", lambda row: row[0].poured_at),
    Column("Weighed at", lambda row: row[0].grain.weighed_at),
    Column("Mass", lambda row: row[0].grain.mass_kg, "mass"),
    Column("Outer diameter", lambda row: row[0].grain.outer_d_m, "length"),
    Column("Core", lambda row: row[0].grain.core_d_m, "length"),
    Column("Length", lambda row: row[0].grain.length_m, "length"),
    Column("Density", lambda row: row[0].grain.density_kg_m3, "density"),
    Column("Density of ideal", lambda row: row[0].grain.density_share, "share"),
    Column("Verdict", lambda row: row[0].grain.verdict),
    Column("Decision", lambda row: row[0].grain.decision),
    Column("Reason", lambda row: row[0].grain.decision_words),
    Column("Decided by", lambda row: row[0].grain.decided_by),
    Column("Bagged at", lambda row: row[0].grain.bagged_at),
    Column("Weighed again at", lambda row: row[1].row.weighed_at if row[1] else None),
    Column("Mass gained since label", lambda row: row[1].row.mass_kg - row[1].row.label_kg if row[1] else None, "mass"),
    Column("Motor", lambda row: row[0].motor),
    Column("Note", lambda row: row[0].grain.note),
)


def grains_of_lots(session: Session, wanted: ReviewIn) -> Table:
    """Every grain of the lots that meet the filter, a few lots at a time."""

    def rows() -> Iterator[Any]:
        for ids in lots_review.every_id(session, wanted, AT_ONCE):
            views = grains.views(session, col(Grain.batch_id).in_(ids))
            gains = reweighs.latest(views)
            yield from ((view, gains.get(view.grain.pk)) for view in views)
            session.expunge_all()

    return _table(session, _GRAINS, rows())
