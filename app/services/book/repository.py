"""Finding a row, changing it only if it is still as the person saw it, and putting it away without losing history."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from sqlalchemy import func, inspect
from sqlalchemy import select as select_core
from sqlalchemy.orm.util import identity_key
from sqlmodel import Session, SQLModel, col, select

from app.book import record
from app.errors import Conflict, Faults, NotFound, Refused
from app.models.base import FormIn, Row, build, change, table_of
from app.services.book import audit_reasons
from app.units import Quantity

R = TypeVar("R", bound=Row)
T = TypeVar("T")

ON_A_PAGE = 50
"""Rows on one page of a long list."""


def get(session: Session, table: type[R], row_id: int, noun: str = "entry") -> R:
    """The row of that identity.

    Raises
    ------
    NotFound
        There is none.
    """
    row = session.get(table, row_id)
    if row is None:
        raise NotFound(f"There is no such {noun} in this book.")
    return row


def by_id(session: Session, table: type[R], ids: Iterable[int], *options: Any) -> dict[int, R]:
    """The rows of these identities, by identity; those that were not read yet are asked for in one question, with
    options that say what of them is not loaded.
    """
    keys = {row_id: identity_key(table, row_id) for row_id in ids}
    found = {row_id: row for row_id, key in keys.items() if (row := session.identity_map.get(key)) is not None}
    missing = [row_id for row_id in keys if row_id not in found]
    if missing:
        query = select(table).where(col(table.id).in_(missing)).options(*options)
        found |= {row.pk: row for row in session.exec(query)}
    return found


def claim(row: Row, version: int | None) -> None:
    """Count a change to a row, or refuse it when somebody changed the row since the page was opened.

    Raises
    ------
    Conflict
        The version seen is not the row's version now.
    """
    if version is not None and version != row.version:
        raise Conflict(
            "This was changed in another tab or on another device after you opened it. What you typed is kept "
            "here and was not saved. Open the page again to see how it stands now; if it shows your own words, "
            "choose “Start afresh” there."
        )
    row.version += 1


def store(
    session: Session, table: type[R], data: FormIn, row: R | None = None, version: int | None = None, **more: Any
) -> R:
    """A new row from checked form data, or the given row changed to it; in the session, with an identity.

    Raises
    ------
    Conflict
        The row was changed since the person opened it.
    Refused
        Something measured would change and the form gives no reason.
    """
    if row is None:
        row = build(table, data, **more)
        session.add(row)
    else:
        claim(row, version)
        audit_reasons.ask_why(row, data)
        change(row, data)
    session.flush()
    return row


def possible(faults: Faults, data: FormIn) -> None:
    """Add what the form itself knows of quantities that exclude each other."""
    for field, words in data.contradictions({name: of for name, of in data if isinstance(of, Quantity)}):
        faults.add(field, words)


def refuse_same(session: Session, table: type[R], column: str, value: str, but: R | None = None) -> None:
    """Refuse a name that another row has already, whatever its capitals.

    Raises
    ------
    Refused
        Another row has it; beside the field of that name.
    """
    named = getattr(table, column)
    found = session.exec(select(table).where(func.lower(named) == value.lower())).first()
    if found is not None and found is not but:
        retired = " It is retired; bring it back or choose another." if getattr(found, "retired", False) else ""
        raise Refused(
            f"“{getattr(found, column)}” is in the book already.{retired or ' Choose another.'}", field=column
        )


def next_number(session: Session, codes: Any, prefix: str) -> int:
    """The number after the highest one that follows a prefix in a column of codes; 1 where there is none."""
    found = session.exec(select(codes).where(col(codes).startswith(prefix)))
    ends = [code.removeprefix(prefix) for code in found]
    return max((int(end) for end in ends if end.isdecimal()), default=0) + 1


@dataclass(frozen=True)
class Page(Generic[T]):
    """Some rows of a long list: which page of how many it is, counted from 1, and how many rows there are in all."""

    rows: list[T]
    number: int
    last: int
    total: int


def page(session: Session, query: Any, number: int) -> Page[Any]:
    """One page of what a query finds; a page beyond the last one is the last one."""
    counted = query.with_only_columns(func.count(), maintain_column_froms=True).order_by(None)
    total: int = session.execute(counted).scalar_one()
    last = max(1, math.ceil(total / ON_A_PAGE))
    number = max(1, min(number, last))
    found = session.exec(query.offset((number - 1) * ON_A_PAGE).limit(ON_A_PAGE)).all()
    return Page(list(found), number, last, total)


def uses(session: Session, row: Row) -> dict[str, int]:
    """How many rows of each other table refer to a row, by table name; its own parts and what can be computed again
    do not count. Empty when nothing does.
    """
    home = table_of(row)
    own = {link.target for link in inspect(type(row)).relationships if link.cascade.delete}
    found: dict[str, int] = {}
    for table in SQLModel.metadata.sorted_tables:
        if table in own or table.name in record.NOT_RECORDED:
            continue
        for key in table.foreign_keys:
            if key.column.table is home:
                count = session.execute(select_core(func.count()).where(key.parent == row.pk)).scalar_one()
                if count:
                    found[table.name] = found.get(table.name, 0) + count
    return found


def delete(session: Session, row: Row) -> None:
    """Delete a row that nothing refers to, with what was computed from it; the record of changes keeps the row."""
    home = table_of(row)
    for name in record.COMPUTED & set(SQLModel.metadata.tables):
        table = SQLModel.metadata.tables[name]
        for key in [key for key in table.foreign_keys if key.column.table is home]:
            session.execute(table.delete().where(key.parent == row.pk))
    session.flush()
    session.delete(row)
    session.flush()


def put_away(session: Session, row: Row, version: int | None = None) -> bool:
    """Delete a row that nothing refers to, retire one that something does; tells whether it was deleted.

    Raises
    ------
    Conflict
        The row was changed since the person opened it.
    Refused
        Something refers to it and its kind cannot be retired.
    """
    claim(row, version)
    if not uses(session, row):
        delete(session, row)
        return True
    if not hasattr(row, "retired"):
        raise Refused(
            f"This stays, for other entries of the book stand on it: {audit_reasons.counted(uses(session, row))}."
        )
    row.retired = True
    session.flush()
    return False


def bring_back(session: Session, row: Row, version: int | None = None) -> None:
    """Take a retired row into use again.

    Raises
    ------
    Conflict
        The row was changed since the person opened it.
    """
    claim(row, version)
    row.retired = False
    session.flush()
