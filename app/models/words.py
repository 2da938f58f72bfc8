"""What tables and columns are called, by the forms that rows are entered with, and which forms speak of a column."""

import sys
from collections.abc import Iterator
from functools import cache
from typing import Any

from pydantic import BaseModel
from sqlalchemy import Table
from sqlalchemy.orm import Mapper
from sqlmodel import SQLModel

from app.models.base import FormIn
from app.units import KINDS

NOUNS = {
    "motor_case": "case",
    "supply": "bag",
    "supply_correction": "what is left in a bag",
    "launch_field": "field",
    "workshop": "settings",
    "motor_build": "motor",
    "build_grain": "grain in a motor",
    "weigh_out": "weighed amount",
    "batch_part": "part of a recipe",
    "batch_item": "grains wanted",
    "cast_step": "step",
    "re_weigh": "re-weigh",
    "temperature_reading": "pan temperature",
    "session_note": "note",
    "cast_session": "evening at the pan",
    "session_opening": "opening of a session",
    "grain_measure": "grain as it stood before",
    "grain_bag": "where a bag lies",
    "grain_look": "look at a grain",
    "grain_picture": "picture of a grain",
    "nozzle_measure": "throat measured",
    "struck_weighing": "undone weighing",
    "formula_part": "part of a formula",
    "curve_file": "logger's file",
    "stand_reading": "reading of a stand",
    "carried_file": "file of a logger or picture",
    "checklist_item": "line of the checklist",
    "run_sheet_line": "line of the run sheet",
    "firing_finding": "what was found",
    "suspect_grain": "suspected grain",
    "firing_picture": "picture of a firing",
    "scale_check": "check of a scale",
    "thermometer_check": "check of a thermometer",
    "firing_reference": "where a picture is kept",
    "altimeter_file": "altimeter's file",
    "altimeter_track": "track of a flight",
    "blend_state": "state of a blend",
    "firing_fit": "what a firing taught",
    "season_day": "day of a season",
    "wish_motor": "motor for a wish",
    "motor_choice": "motor chosen for a wish",
    "choice_grain": "grains of a chosen motor",
    "season_plan": "plan of a season",
    "season_batch": "batch of a season",
    "kept_answer": "kept answer",
    "pack_size": "size sold",
    "disposal_item": "what was disposed of",
    "once_token": "form that was saved",
    "act_in_hand": "act under way",
    "change": "record of a change",
    "change_link": "link of the record",
    "row_digest": "digest of a row",
}
"""Tables whose name is not yet the word for one of their rows."""


def noun(table: str) -> str:
    """The word for a row of a table."""
    return NOUNS.get(table, table.replace("_", " "))


@cache
def mappers() -> dict[str, Mapper[Any]]:
    """How each table is mapped to its model, by the table's name."""
    every = SQLModel._sa_registry.mappers
    return {str(mapper.local_table.name): mapper for mapper in every if isinstance(mapper.local_table, Table)}


@cache
def forms(table: str) -> tuple[type[BaseModel], ...]:
    """The forms that stand in one file with a table's model, the one that its rows are entered with first."""
    mapper = mappers().get(table)
    if mapper is None:
        return ()
    home = sys.modules[mapper.class_.__module__]
    found = [
        form
        for form in vars(home).values()
        if isinstance(form, type) and issubclass(form, BaseModel) and not issubclass(form, SQLModel)
        if form.__module__ == home.__name__
    ]
    own = f"{mapper.class_.__name__}In"
    return tuple(sorted(found, key=lambda form: form.__name__ != own))


@cache
def form(table: str) -> type[FormIn] | None:
    """The form that a table's rows are entered with: `CaseIn` for a case."""
    mapper = mappers().get(table)
    found = next((f for f in forms(table) if mapper and f.__name__ == f"{mapper.class_.__name__}In"), None)
    return found if found is not None and issubclass(found, FormIn) else None


@cache
def stem(column: str) -> tuple[str, str | None]:
    """A column's name without its unit, and what kind of number it is by that unit."""
    for kind in sorted(KINDS.values(), key=lambda k: -len(k.suffix)):
        if column.endswith(kind.suffix):
            return column.removesuffix(kind.suffix), kind.name
    return column.removesuffix("_id").removesuffix("_at"), None


@cache
def label(table: str, column: str) -> str:
    """What a value is called: as its form calls it, else by its column."""
    bare, _ = stem(column)
    entered = form(table)
    for name in (column, bare):
        if entered is not None and name in entered.model_fields and entered.model_fields[name].title:
            return str(entered.model_fields[name].title)
    return bare.replace("_", " ").capitalize()


def said_by_forms(table: str, column: str) -> Iterator[tuple[type[BaseModel], str]]:
    """The forms that speak of a column, each with the name of its field."""
    bare, kind = stem(column)
    for one in forms(table):
        for name in {column, bare} if kind is not None else {column}:
            if name in one.model_fields:
                yield one, name
