# ruff: noqa: S608  (the names in these statements come from our own models)
"""The record of changes, kept by the database itself: triggers made from the models, installed with the guards.

Each table but the few in `NOT_RECORDED` writes to `change` what came, what changed (column by column, before and
after, with what was typed) and what went (the whole row). Triggers and not session events, for they see plain SQL and
other programs too; made from the models, so that a new column cannot be forgotten. Who, when, why and on which device
are read from `act_in_hand`, which `services.book.audit_reasons.signed` fills for the length of one act; where it is
empty, another program wrote, and no name is put to it. A form that changes what was measured asks why (`ask_why`).
"""

from sqlalchemy import Index, Table, UniqueConstraint
from sqlmodel import SQLModel

import app.models  # noqa: F401  (fills the metadata)
from app.book.stops import stop
from app.units import KINDS

COMPUTED = {"blend_state", "firing_fit", "kept_answer"}
"""What can be computed again from the rest of the book at any time."""

CHAIN = {"change_link", "row_digest"}
"""What the record is held together by."""

NOT_RECORDED = {"change", "act_in_hand", "draft", "once_token", "paired_device", "carried_file"} | CHAIN | COMPUTED
"""The record itself, its chain, texts not saved yet, saves done, keys of devices, files on their way, and what can be
computed again."""

_UNTOLD = {"id", "version"}
"""Columns that are no values: identity, and the count of changes."""

_ACT = "(SELECT {} FROM act_in_hand)"
_AT = f"coalesce({_ACT.format('at')}, strftime('%Y-%m-%d %H:%M:%f000', 'now'))"
_WHO = f"coalesce({_ACT.format('who')}, ''), {_ACT.format('device')}, coalesce({_ACT.format('why')}, '')"
_INTO = "INSERT INTO change (at, who, device, why, what, table_name, row_id"


def recorded() -> list[Table]:
    """The tables whose changes are recorded."""
    return [table for table in SQLModel.metadata.sorted_tables if table.name not in NOT_RECORDED]


def typed_beside(table: Table, column: str) -> str | None:
    """The column that keeps what was typed for a value: `mass_typed` beside `mass_kg`."""
    for kind in KINDS.values():
        typed = column.removesuffix(kind.suffix) + "_typed"
        if column.endswith(kind.suffix) and typed in table.columns:
            return typed
    return None


def values(table: Table) -> list[tuple[str, str | None]]:
    """The columns that are recorded, each with the column of what was typed; that one is not told a second time."""
    names = [c.name for c in table.columns if c.name not in _UNTOLD]
    pairs = [(name, typed_beside(table, name)) for name in names]
    told = {typed for _, typed in pairs if typed}
    return [(name, typed) for name, typed in pairs if name not in told]


def _json(value: str) -> str:
    """A value as JSON. `quote` writes every digit of a number, which `json_quote` of older SQLite does not."""
    return (
        f"CASE typeof({value}) WHEN 'real' THEN quote({value}) WHEN 'blob' THEN "
        f"json_quote(length({value}) || ' bytes') ELSE json_quote({value}) END"
    )


def _came(table: Table) -> str:
    return (
        f"CREATE TRIGGER record_{table.name}_insert AFTER INSERT ON {table.name} BEGIN "
        f"{_INTO}, column_name) VALUES ({_AT}, {_WHO}, 'entered', '{table.name}', NEW.id, ''); END"
    )


def _rows(names: str, lines: list[str]) -> str:
    """Lines of values as a table of those column names."""
    first = ", ".join(f"NULL AS {name}" for name in names.split())
    return f"(SELECT {first} WHERE 0 UNION ALL SELECT {' UNION ALL SELECT '.join(lines)})"


def _changed(table: Table) -> str:
    lines = [
        f"'{name}', OLD.{name}, NEW.{name}, " + (f"OLD.{typed}, NEW.{typed}" if typed else "NULL, NULL")
        for name, typed in values(table)
    ]
    # The row's number is told as it was: a changed number is itself a change, and must not hide what it belongs to.
    lines.append("'id', OLD.id, NEW.id, NULL, NULL")
    return (
        f"CREATE TRIGGER record_{table.name}_update AFTER UPDATE ON {table.name} BEGIN "
        f"{_INTO}, column_name, before, before_typed, after, after_typed) "
        f"SELECT {_AT}, {_WHO}, 'changed', '{table.name}', OLD.id, n, {_json('b')}, bt, {_json('a')}, atyped "
        f"FROM {_rows('n b a bt atyped', lines)} WHERE b IS NOT a OR bt IS NOT atyped; END"
    )


def _went(table: Table) -> str:
    lines = [f"'{c.name}', OLD.{c.name}" for c in table.columns]
    return (
        f"CREATE TRIGGER record_{table.name}_delete AFTER DELETE ON {table.name} BEGIN "
        f"{_INTO}, column_name, before) SELECT {_AT}, {_WHO}, 'deleted', '{table.name}', OLD.id, '', "
        f"'{{' || group_concat(json_quote(n) || ':' || {_json('v')}) || '}}' FROM {_rows('n v', lines)}; END"
    )


def _unique(table: Table) -> list[tuple[list[str], str | None]]:
    """The sets of columns that no two rows share; with the condition under which, if there is one."""
    found: list[tuple[list[str], str | None]] = [(["id"], None)]
    # In a fixed order: a book whose triggers read otherwise than today's gets them anew at its start.
    keys = [[c.name for c in k.columns] for k in table.constraints if isinstance(k, UniqueConstraint)]
    found += [(names, None) for names in sorted(keys)]
    for index in sorted(table.indexes, key=lambda index: str(index.name)):
        if isinstance(index, Index) and index.unique:
            where = index.dialect_options["sqlite"]["where"]
            found.append(([c.name for c in index.columns], None if where is None else str(where)))
    return found


def _same(table: Table) -> str:
    """Whether another row stands where the new one would: REPLACE would delete it unseen by any trigger."""
    as_new = ", ".join(f"NEW.{c.name} AS {c.name}" for c in table.columns)
    found = []
    for names, where in _unique(table):
        match = " AND ".join(f"{name} = NEW.{name}" for name in names)
        known = f"EXISTS (SELECT 1 FROM {table.name} WHERE {match}{f' AND ({where})' if where else ''}{{but}})"
        if where:
            known += f" AND EXISTS (SELECT 1 FROM (SELECT {as_new}) WHERE {where})"
        found.append(f"({known})")
    return " OR ".join(found)


def _replaced(table: Table) -> dict[str, str]:
    """OR REPLACE deletes the row in its way without telling the triggers; so it is stopped before it begins."""
    stop = f"BEGIN SELECT RAISE(ABORT, '{table.name}: this is in the book already; a row is not replaced'); END"
    keys = sorted({name for names, _ in _unique(table) for name in names})
    return {
        f"guard_{table.name}_not_replaced": (
            f"CREATE TRIGGER guard_{table.name}_not_replaced BEFORE INSERT ON {table.name} "
            f"WHEN {_same(table).format(but='')} {stop}"
        ),
        f"guard_{table.name}_not_run_over": (
            f"CREATE TRIGGER guard_{table.name}_not_run_over BEFORE UPDATE OF {', '.join(keys)} ON {table.name} "
            f"WHEN {_same(table).format(but=' AND id <> OLD.id')} {stop}"
        ),
    }


def triggers() -> dict[str, str]:
    """The triggers of the record, by name."""
    made: dict[str, str] = {}
    for table in recorded():
        made[f"record_{table.name}_insert"] = _came(table)
        made[f"record_{table.name}_update"] = _changed(table)
        made[f"record_{table.name}_delete"] = _went(table)
        made |= _replaced(table)
    change = SQLModel.metadata.tables["change"]
    made["guard_change_not_replaced"] = _replaced(change)["guard_change_not_replaced"]
    for act in ("UPDATE", "DELETE"):
        name = f"guard_change_{act.lower()}"
        made[name] = (
            f"CREATE TRIGGER {name} BEFORE {act} ON change BEGIN "
            "SELECT RAISE(ABORT, 'the record of changes is never changed or erased'); END"
        )
    return made | dict(_chain())


def _chain() -> list[tuple[str, str]]:
    """Links are made once. A digest is made anew only while a change of its row waits for its link: within an act."""
    acted_on = (
        "EXISTS (SELECT 1 FROM change c WHERE c.table_name = OLD.table_name AND c.row_id = OLD.row_id "
        "AND c.id > (SELECT coalesce(max(change_id), 0) FROM change_link))"
    )
    moved = "NEW.table_name IS NOT OLD.table_name OR NEW.row_id IS NOT OLD.row_id"
    known_link = "EXISTS (SELECT 1 FROM change_link WHERE change_id = NEW.change_id)"
    known_digest = "EXISTS (SELECT 1 FROM row_digest WHERE table_name = NEW.table_name AND row_id = NEW.row_id)"
    links, digests = "the chain of the record is never changed or erased", "a digest follows a recorded change alone"
    return [
        stop("guard_change_link_update", "BEFORE UPDATE ON change_link", "1", links),
        stop("guard_change_link_delete", "BEFORE DELETE ON change_link", "1", links),
        stop("guard_change_link_not_replaced", "BEFORE INSERT ON change_link", known_link, links),
        stop("guard_row_digest_update", "BEFORE UPDATE ON row_digest", f"{moved} OR NOT {acted_on}", digests),
        stop("guard_row_digest_delete", "BEFORE DELETE ON row_digest", f"NOT {acted_on}", digests),
        stop("guard_row_digest_not_replaced", "BEFORE INSERT ON row_digest", known_digest, digests),
    ]
