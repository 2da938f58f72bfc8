"""What rows and values are called: the words for tables, columns and recorded values."""

import json
from collections.abc import Iterable
from datetime import UTC, date, datetime
from functools import cache
from typing import Any

from sqlalchemy import Boolean, Column, Date, DateTime
from sqlalchemy import select as select_core
from sqlmodel import Session, SQLModel, col, func, select

from app import clock
from app.book import record
from app.models import Batch, Change, Melt, SessionOpening, words
from app.models.base import Utc, measure_of
from app.models.firing import RESULTS
from app.models.grain import FAULTS
from app.units import UnitSystem, show

_NAMES = ("serial", "code", "mark", "name")
_DETAILS = {
    "cast_step": "words",
    "run_sheet_line": "words",
    "checklist_item": "words",
    "batch_part": "ingredient",
    "formula_part": "ingredient",
    "test_piece": "number",
}
"""What tells a row from its neighbours of the same owner."""

EMPTY = "–"
DEEPEST = 5
"""How many steps a row is at most from what it belongs to."""

_SHORT, _SHORTER = 160, 40

Place = tuple[str, int]
"""A row: its table and its identity."""


# --- Tables and columns --------------------------------------------------------------------------


def nouns() -> list[tuple[str, str]]:
    """The recorded tables with their words, by word."""
    return sorted(((t.name, words.noun(t.name).capitalize()) for t in record.recorded()), key=lambda pair: pair[1])


@cache
def owner(table: str) -> Column[Any] | None:
    """The column that tells what a row belongs to: the first one that refers to another row."""
    known = SQLModel.metadata.tables.get(table)
    return None if known is None else next((c for c in known.columns if c.foreign_keys), None)


def home(column: Column[Any]) -> str:
    """The table that a column refers to."""
    return str(next(iter(column.foreign_keys)).column.table.name)


def named(table: str) -> bool:
    """Whether the rows of a table are known by a name of their own."""
    return bool(set(_NAMES) & set(SQLModel.metadata.tables[table].columns.keys()))


# --- Rows ----------------------------------------------------------------------------------------


class Names:
    """What rows are called, each looked up once, many of a table together."""

    def __init__(self, session: Session, places: Iterable[Place] = ()) -> None:
        self._session = session
        self._rows: dict[Place, dict[str, Any]] = {}
        wanted = set(places)
        for _ in range(DEEPEST):
            self._look_up(wanted - self._rows.keys())
            ups = ((place, owner(place[0])) for place in wanted)
            wanted = {
                (home(column), up)
                for place, column in ups
                if column is not None and isinstance(up := self._rows[place].get(column.name), int)
            }

    def _look_up(self, wanted: set[Place]) -> None:
        for table in {table for table, _ in wanted}:
            ids = [row_id for name, row_id in wanted if name == table]
            found = self._standing(table, ids)
            missing = [i for i in ids if i not in found]
            found |= self._gone(table, missing) if missing else {}
            for row_id in ids:
                self._rows[table, row_id] = found.get(row_id, {})

    def _standing(self, table: str, ids: list[int]) -> dict[int, dict[str, Any]]:
        known = SQLModel.metadata.tables.get(table)
        if known is None:
            return {}
        told = [c for c in known.columns if c.name in (*_NAMES, "edition", _DETAILS.get(table)) or c is owner(table)]
        rows = self._session.execute(select_core(known.c.id, *told).where(known.c.id.in_(ids)))
        found = {row["id"]: dict(row) for row in rows.mappings()}
        return found if table != "cast_session" else {i: row | {"name": self._evening(i)} for i, row in found.items()}

    def _evening(self, cast_id: int) -> str:
        """An evening as the pages name it: its day and the codes of its melts."""
        lots = select(Batch.code).join(Melt, col(Melt.batch_id) == col(Batch.id)).where(Melt.cast_session_id == cast_id)
        codes = self._session.exec(lots.order_by(col(Melt.number))).all()
        opened = select(func.min(SessionOpening.opened_at)).where(SessionOpening.cast_session_id == cast_id)
        at = self._session.exec(opened).one()
        return ", ".join([clock.day(at), *codes]) if at else ", ".join(codes)

    def _gone(self, table: str, ids: list[int]) -> dict[int, dict[str, Any]]:
        """Rows as they were when they were deleted."""
        kept = select(Change.row_id, Change.before).where(
            Change.table_name == table, Change.what == "deleted", col(Change.row_id).in_(ids)
        )
        rows = ((row_id, from_json(text)) for row_id, text in self._session.exec(kept.order_by(col(Change.id))))
        return {row_id: row for row_id, row in rows if isinstance(row, dict)}

    def row(self, place: Place) -> dict[str, Any]:
        """What a row is called and what it belongs to, as it stands or as it was when it went."""
        if place not in self._rows:
            self._look_up({place})
        return self._rows[place]

    def lineage(self, place: Place) -> list[tuple[str, int, str]]:
        """A row and what it belongs to, up to what has a name of its own: table, identity, name (or nothing)."""
        found: list[tuple[str, int, str]] = []
        at: Place | None = place
        while at is not None and len(found) < DEEPEST:
            column, row = owner(at[0]), self.row(at)
            name = _name(row)
            found.append((*at, name))
            up = None if name or column is None else row.get(column.name)
            at = (home(column), up) if column is not None and isinstance(up, int) else None
        return found

    def title(self, place: Place) -> str:
        """A row's name, or that of what it belongs to."""
        if place[0] == "workshop":
            return ""
        name = next((name for _, _, name in self.lineage(place) if name), f"no. {place[1]}")
        detail = str(self.row(place).get(_DETAILS.get(place[0], ""), ""))
        return f"{name}, {_cut(detail, _SHORTER)}" if detail else name


def _name(row: dict[str, Any]) -> str:
    name = next((str(row[key]) for key in _NAMES if row.get(key)), "")
    edition = row.get("edition")
    if edition is None:
        return name
    return f"{name} v{edition}" if name else f"edition {edition}"


# --- Values --------------------------------------------------------------------------------------


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else text[:most].rstrip() + "…"


def from_json(text: str | None) -> Any:
    """A recorded value; what is no JSON, which only another program can have written, as it stands."""
    try:
        return None if text is None else json.loads(text)
    except ValueError:
        return text


def value(names: Names, table: str, column: str, raw: Any, typed: str | None, units: UnitSystem) -> str:
    """A recorded value as a person reads it: as typed where that was kept, else in the workshop's units."""
    if typed:
        return str(typed)
    if raw is None or raw == "":
        return EMPTY
    home_table = SQLModel.metadata.tables.get(table)
    known = None if home_table is None else home_table.columns.get(column)
    if known is not None and known.foreign_keys and isinstance(raw, int):
        return names.title((home(known), raw))
    if known is not None and isinstance(known.type, Boolean):
        return "yes" if raw else "no"
    if known is not None and isinstance(raw, str) and isinstance(known.type, Utc | DateTime | Date):
        return _day(raw, isinstance(known.type, Date))
    stem, kind = words.stem(column)
    form = words.form(table)
    measure = measure_of(form, stem) if form is not None and stem in form.model_fields else None
    if isinstance(raw, int | float) and (measure or kind):
        return show(raw, measure.kind if measure else str(kind), units)
    said = {"result": RESULTS, "decision_fault": FAULTS}.get(column, {}).get(str(raw), str(raw))
    return _cut(said, _SHORT)


def _day(text: str, whole: bool) -> str:
    try:
        if whole:
            return clock.day(date.fromisoformat(text))
        return clock.day_and_time(datetime.fromisoformat(text).replace(tzinfo=UTC))
    except ValueError:  # written by another program
        return text
