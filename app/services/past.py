"""What stood in the book before: the record of changes, in words for a person."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from functools import cache
from typing import Any

from sqlalchemy import Boolean, Column, Date, DateTime, Table, and_, not_, or_, tuple_
from sqlalchemy import select as select_core
from sqlmodel import Session, SQLModel, col, select

from app import clock, models, record
from app.models import Change
from app.models.base import FormIn, Row, Utc, measure_of
from app.models.firing import RESULTS
from app.models.grain import FAULTS
from app.models.history import ChangesIn
from app.services import history, workshop
from app.units import KINDS, UnitSystem, show

ON_A_PAGE = 60
"""Changes on one page of the record."""

_NAMES = ("serial", "code", "mark", "name")
_DETAILS = {"cast_step": "words", "run_sheet_line": "words", "checklist_item": "words", "batch_part": "ingredient",
            "formula_part": "ingredient", "test_piece": "number"}  # fmt: skip
"""What tells a row from its neighbours of the same owner."""

EMPTY = "–"
DEEPEST = 5
"""How many steps a row is at most from what it belongs to."""

_SHORT = 160


@dataclass(frozen=True)
class Line:
    """One value that changed, or a row that came or went: of what, which value, before and after in words."""

    what: str
    noun: str
    subject: str
    table: str
    row_id: int
    label: str = ""
    before: str = ""
    after: str = ""

    @property
    def filled(self) -> bool:
        """Whether nothing stood there before."""
        return self.what == "changed" and self.before == EMPTY


@dataclass(frozen=True)
class Act:
    """What one person changed in one go."""

    at: datetime
    who: str
    device: str | None
    why: str
    lines: list[Line] = field(default_factory=list)

    @property
    def replaced(self) -> bool:
        """Whether something that stood there before does so no more."""
        return any(line.what != "entered" and not line.filled for line in self.lines)


@dataclass(frozen=True)
class History:
    """What happened to a row, newest first; its table tells its own changes from those of what belongs to it."""

    table: str
    acts: list[Act]


@dataclass(frozen=True)
class Acts:
    """A page of the record, newest first, and the number that the next page starts below, if there is one."""

    acts: list[Act]
    next_before: int | None


# --- Tables and their words ----------------------------------------------------------------------


@cache
def _models() -> dict[str, type[Row]]:
    """The model of each recorded table, by the table's name."""
    every = {getattr(models, name) for name in models.__all__}
    return {m.__table__.name: m for m in every if issubclass(m, Row)}


@cache
def _form(table: str) -> type[FormIn] | None:
    """The form that a table's rows are entered with: `CaseIn` for a case."""
    model = _models().get(table)
    if model is None:
        return None
    home = __import__(model.__module__, fromlist=["x"])
    form = getattr(home, f"{model.__name__}In", None)
    return form if isinstance(form, type) and issubclass(form, FormIn) else None


def nouns() -> list[tuple[str, str]]:
    """The recorded tables with their words, by word."""
    return sorted(((t.name, history.noun(t.name).capitalize()) for t in record.recorded()), key=lambda pair: pair[1])


def _stem(column: str) -> tuple[str, str | None]:
    """A column's name without its unit, and what kind of number it is by that unit."""
    for kind in sorted(KINDS.values(), key=lambda k: -len(k.suffix)):
        if column.endswith(kind.suffix):
            return column.removesuffix(kind.suffix), kind.name
    return column.removesuffix("_id").removesuffix("_at"), None


def label(table: str, column: str) -> str:
    """What a value is called: as its form calls it, else by its column."""
    stem, _ = _stem(column)
    form = _form(table)
    for name in (column, stem):
        if form is not None and name in form.model_fields and form.model_fields[name].title:
            return str(form.model_fields[name].title)
    return stem.replace("_", " ").capitalize()


# --- Rows and values in words --------------------------------------------------------------------


def owner(table: str) -> Column[Any] | None:
    """The column that tells what a row belongs to: the first one that refers to another row."""
    return next((c for c in SQLModel.metadata.tables[table].columns if c.foreign_keys), None)


def _home(column: Column[Any]) -> str:
    return str(next(iter(column.foreign_keys)).column.table.name)


def lineage(session: Session, table: str, row_id: int) -> list[tuple[str, int, str]]:
    """A row and what it belongs to, up to what has a name of its own: table, identity, name (or nothing)."""
    found: list[tuple[str, int, str]] = []
    at: tuple[str, int] | None = (table, row_id)
    while at is not None and len(found) < DEEPEST:
        column, row = owner(at[0]), _row(session, *at)
        name = _named(row)
        found.append((*at, name))
        up = None if name or column is None else row.get(column.name)
        at = None if up is None or column is None else (_home(column), int(up))
    return found


def _named(row: dict[str, Any]) -> str:
    name = next((str(row[key]) for key in _NAMES if row.get(key)), "")
    edition = row.get("edition")
    if edition is None:
        return name
    return f"{name} v{edition}" if name else f"edition {edition}"


def _row(session: Session, table: str, row_id: int) -> dict[str, Any]:
    """What a row is called and what it belongs to, as it stands or as it was when it went."""
    home, up = SQLModel.metadata.tables[table], owner(table)
    told = [c for c in home.columns if c.name in (*_NAMES, "edition", _DETAILS.get(table)) or c is up]
    found = session.execute(select_core(home.c.id, *told).where(home.c.id == row_id)).mappings().first()
    if found is not None:
        return dict(found)
    gone = select(Change.before).where(Change.table_name == table, Change.row_id == row_id, Change.what == "deleted")
    kept = session.exec(gone.order_by(col(Change.id).desc())).first()
    return dict(json.loads(kept)) if kept else {}


def title(session: Session, table: str, row_id: int) -> str:
    """A row's name, or that of what it belongs to."""
    if table == "workshop":
        return ""
    name = next((name for _, _, name in lineage(session, table, row_id) if name), f"no. {row_id}")
    detail = str(_row(session, table, row_id).get(_DETAILS.get(table, ""), ""))
    return f"{name}, {_short(detail, 40)}" if detail else name


def _short(words: str, most: int) -> str:
    return words if len(words) <= most else words[:most].rstrip() + "…"


def value(session: Session, table: str, column: str, text: str | None, typed: str | None, units: UnitSystem) -> str:
    """A recorded value as a person reads it: as typed where that was kept, else in the workshop's units."""
    if typed:
        return typed
    raw = None if text is None else json.loads(text)
    if raw is None or raw == "":
        return EMPTY
    known = SQLModel.metadata.tables[table].columns.get(column)
    if known is not None and known.foreign_keys:
        return title(session, _home(known), int(raw))
    if known is not None and isinstance(known.type, Boolean):
        return "yes" if raw else "no"
    if known is not None and isinstance(known.type, Utc | DateTime) and isinstance(raw, str):
        return f"{clock.local(datetime.fromisoformat(raw).replace(tzinfo=UTC)):%-d %b %Y, %H:%M}"
    if known is not None and isinstance(known.type, Date) and isinstance(raw, str):
        return f"{date.fromisoformat(raw):%-d %b %Y}"
    stem, kind = _stem(column)
    form = _form(table)
    measure = measure_of(form, stem) if form is not None and stem in form.model_fields else None
    if isinstance(raw, int | float) and (measure or kind):
        return show(raw, measure.kind if measure else str(kind), units)
    words = {"result": RESULTS, "decision_fault": FAULTS}.get(column, {}).get(raw, str(raw))
    return _short(words, _SHORT)


# --- Reading the record --------------------------------------------------------------------------


def of(session: Session, row: Row) -> History:
    """Every change of a row and of what belongs to it and has no page of its own, newest first."""
    table: Table = type(row).__table__  # type: ignore[attr-defined]
    wanted = [(table.name, row.pk), *_parts(session, table.name, [row.pk])]
    here = tuple_(col(Change.table_name), col(Change.row_id)).in_(wanted)
    shown = or_(col(Change.what) != "entered", col(Change.table_name) == table.name)
    found = session.exec(select(Change).where(here, shown).order_by(col(Change.id).desc())).all()
    return History(table.name, _acts(session, found))


@cache
def _children(table: str) -> list[Table]:
    """The tables whose rows belong to a row of this one and are known by no name of their own."""
    found = []
    for other in record.recorded():
        column = owner(other.name)
        if column is not None and _home(column) == table and not set(_NAMES) & set(other.columns.keys()):
            found.append(other)
    return found


def _parts(session: Session, table: str, ids: Sequence[int]) -> list[tuple[str, int]]:
    found: list[tuple[str, int]] = []
    for child in _children(table):
        column = owner(child.name)
        assert column is not None
        query = select_core(child.c.id).where(column.in_(ids))
        own = [int(i) for i in session.execute(query).scalars()]
        gone = select(Change.row_id, Change.before).where(Change.table_name == child.name, Change.what == "deleted")
        own += [i for i, kept in session.exec(gone) if kept and json.loads(kept).get(column.name) in ids]
        if own:
            found += [(child.name, i) for i in own]
            found += _parts(session, child.name, own)
    return found


_FILLED = col(Change.before).in_(("null", '""'))
_KINDS = {
    "changed": and_(col(Change.what) == "changed", not_(_FILLED)),
    "filled": and_(col(Change.what) == "changed", _FILLED),
    "deleted": col(Change.what) == "deleted",
    "entered": col(Change.what) == "entered",
}


def page(session: Session, wanted: ChangesIn) -> Acts:
    """One page of the record, newest first: what stood before and does no more, or the kind of change asked for."""
    query = select(Change).order_by(col(Change.id).desc()).limit(ON_A_PAGE + 1)
    query = query.where(_KINDS[wanted.what] if wanted.what else or_(_KINDS["changed"], _KINDS["deleted"]))
    if wanted.noun:
        query = query.where(Change.table_name == wanted.noun)
    if wanted.before:
        query = query.where(col(Change.id) < wanted.before)
    found = session.exec(query).all()
    more = len(found) > ON_A_PAGE
    return Acts(_acts(session, found[:ON_A_PAGE]), found[ON_A_PAGE - 1].id if more else None)


def _acts(session: Session, changes: Iterable[Change]) -> list[Act]:
    units = workshop.get(session).units
    acts: list[Act] = []
    for change in changes:
        signed = (change.at, change.who, change.device, change.why)
        if not acts or (acts[-1].at, acts[-1].who, acts[-1].device, acts[-1].why) != signed:
            acts.append(Act(*signed))
        acts[-1].lines.append(_line(session, change, units))
    return acts


def _line(session: Session, change: Change, units: UnitSystem) -> Line:
    table, what = change.table_name, change.what
    head = (what, history.noun(table), title(session, table, change.row_id), table, change.row_id)
    if what == "entered":
        return Line(*head)
    if what == "deleted":
        kept = {name: v for name, v in json.loads(change.before or "{}").items() if name not in ("id", "version")}
        return Line(*head, before=_whole(session, table, kept, units))
    name = change.column_name
    return Line(
        *head, label=label(table, name),
        before=value(session, table, name, change.before, change.before_typed, units),
        after=value(session, table, name, change.after, change.after_typed, units),
    )  # fmt: skip


def _whole(session: Session, table: str, kept: dict[str, Any], units: UnitSystem) -> str:
    """A row that went, in words: each value that was not empty."""
    told = []
    for name, typed in record.values(SQLModel.metadata.tables[table]):
        if name != "created_at" and kept.get(name) not in (None, "", False):
            words = value(session, table, name, json.dumps(kept[name]), kept.get(typed or ""), units)
            told.append(f"{label(table, name)}: {words}")
    return "; ".join(told)
