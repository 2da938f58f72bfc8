"""What stood in the book before: the record of changes, read for a person."""

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cache
from itertools import groupby
from operator import itemgetter
from typing import Any

from sqlalchemy import Table, and_, func, literal, not_, or_, tuple_, union_all
from sqlalchemy import select as select_core
from sqlalchemy.orm import aliased
from sqlmodel import Session, SQLModel, col, select

from app.book import record
from app.models import Change, words
from app.models.base import Row, table_of
from app.models.history import ChangesIn
from app.services.book import audit_names, workshop
from app.services.book.audit_names import EMPTY, Names, Place
from app.units import UnitSystem

ON_A_PAGE = 60
"""Changes on one page of the record."""


@dataclass(frozen=True)
class Line:
    """One value that changed, or a row that came or went: of what, which value, before and after in words.

    `home` is the row and what it belongs to: table, identity, name.
    """

    what: str
    noun: str
    subject: str
    table: str
    home: list[tuple[str, int, str]]
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


# --- Reading the record --------------------------------------------------------------------------


def history_of(session: Session, row: Row) -> History:
    """Every change of a row and of what belongs to it and has no page of its own, newest first."""
    table = table_of(row)
    wanted = [(table.name, row.pk), *_parts(session, table.name, [row.pk])]
    here = tuple_(col(Change.table_name), col(Change.row_id)).in_(wanted)
    shown = or_(col(Change.what) != "entered", col(Change.table_name) == table.name)
    # SQLite gives the number of a deleted row to the next one, whose past begins after that.
    gone = select(func.coalesce(func.max(Change.id), 0)).where(
        Change.table_name == table.name, Change.row_id == row.pk, Change.what == "deleted"
    )
    since = col(Change.id) > gone.scalar_subquery()
    found = session.exec(select(Change).where(here, shown, since, not_(_CAME_SO)).order_by(col(Change.id).desc())).all()
    return History(table.name, _acts(session, found))


@cache
def _children(table: str) -> list[Table]:
    """The tables whose rows belong to a row of this one and are known by no name of their own."""
    found = []
    for other in record.recorded():
        column = audit_names.owner(other.name)
        if column is not None and audit_names.home(column) == table and not audit_names.named(other.name):
            found.append(other)
    return found


def _parts(session: Session, table: str, ids: Sequence[int]) -> list[Place]:
    found: list[Place] = []
    children = _children(table)
    gone = select(Change.table_name, Change.row_id, Change.before).where(
        col(Change.table_name).in_([child.name for child in children]), Change.what == "deleted"
    )
    deleted = [(name, i, json.loads(kept)) for name, i, kept in session.exec(gone) if kept] if children else []
    owners = {child.name: column for child in children if (column := audit_names.owner(child.name)) is not None}
    of_each = [select_core(literal(child.name), child.c.id).where(owners[child.name].in_(ids)) for child in children]
    own = [(name, int(i)) for name, i in session.execute(union_all(*of_each))] if of_each else []
    own += [(name, i) for name, i, kept in deleted if kept.get(owners[name].name) in ids]
    for name, of_child in groupby(sorted(own), key=itemgetter(0)):
        places = list(of_child)
        found += places
        found += _parts(session, name, [i for _, i in places])
    return found


_entry = aliased(Change)
_CAME_SO = (
    select(_entry.id)
    .where(
        col(_entry.what) == "entered",
        _entry.table_name == Change.table_name,
        _entry.row_id == Change.row_id,
        _entry.at == Change.at,
        _entry.who == Change.who,
        _entry.why == Change.why,
        col(_entry.who) != "",
        col(_entry.id) < col(Change.id),
        Change.after == "null",
    )
    .exists()
)
"""Emptied by the act that the row came in by, as a session is that opens: nobody saw anything stand there."""

_FILLED = col(Change.before).in_(("null", '""'))
_KINDS = {
    "changed": and_(col(Change.what) == "changed", not_(_FILLED), not_(_CAME_SO)),
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


def _acts(session: Session, changes: Sequence[Change]) -> list[Act]:
    units, called = workshop.get(session).units, Names(session, {(c.table_name, c.row_id) for c in changes})
    acts: list[Act] = []
    for change in changes:
        signed = (change.at, change.who, change.device, change.why)
        if not acts or (acts[-1].at, acts[-1].who, acts[-1].device, acts[-1].why) != signed:
            acts.append(Act(*signed))
        acts[-1].lines.append(_line(called, change, units))
    return acts


def _line(called: Names, change: Change, units: UnitSystem) -> Line:
    table, what, place = change.table_name, change.what, (change.table_name, change.row_id)
    head = (what, words.noun(table), called.title(place), table, called.lineage(place))
    if what == "entered":
        return Line(*head)
    before = audit_names.from_json(change.before)
    if what == "deleted":
        return Line(*head, before=_whole(called, table, before, units) if isinstance(before, dict) else str(before))
    name = change.column_name
    return Line(
        *head,
        label=words.label(table, name),
        before=audit_names.value(called, table, name, before, change.before_typed, units),
        after=audit_names.value(called, table, name, audit_names.from_json(change.after), change.after_typed, units),
    )


def _whole(called: Names, table: str, kept: dict[str, Any], units: UnitSystem) -> str:
    """A row that went, in words: each value that was not empty."""
    known = SQLModel.metadata.tables.get(table)
    told = []
    for name, typed in record.values(known) if known is not None else [(name, None) for name in kept]:
        if name != "created_at" and kept.get(name) not in (None, "", False):
            said = audit_names.value(called, table, name, kept[name], kept.get(typed or ""), units)
            told.append(f"{words.label(table, name)}: {said}")
    return "; ".join(told)
