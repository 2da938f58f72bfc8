"""What may stand in a column: read off the models, their forms and the kinds of numbers, in no list of its own.

A rule says it twice: as SQL that is true of nearly all that is sound, for whole tables at a time, and in Python, for
the rows that SQL lets drop; Python decides. What no type, no form and no unit says of a column its model does, with
`one_of` or `made_of` (`app.models.base`).
"""

import json
import math
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Literal, get_args, get_origin

from annotated_types import Ge, Gt, Le, Lt
from pydantic import BaseModel
from pydantic.fields import FieldInfo
from sqlalchemy import Boolean, Column, Date, DateTime, Float, Integer, LargeBinary

from app.book.values import NotText
from app.models import words
from app.models.base import Utc, measure_of
from app.units import KINDS

SLACK = 100
"""How many times beyond a form's bounds a number may lie: they moved over the years, and what was right then is."""

PLAIN = (-1e12, 1e12)
"""What a number of no kind lies between."""

WHOLE = (-(2**63), 2**63 - 1)

Shape = Callable[[str], object]
"""Reads a stored text, and raises where it has not the shape that is read."""


@dataclass(frozen=True)
class Rule:
    """What may stand in one column.

    `sieve` is SQL that is true of sound values only, with `{c}` for the column; `refuse` says what was expected in the
    place of a value that cannot be, else nothing.
    """

    sieve: str
    refuse: Callable[[Any], str | None]


def rule_of(table: str, column: Column[Any], shape: Shape | None = None) -> Rule:
    """The rule of a column; an empty place is right where the column allows it."""
    rule = _rule(table, column, shape)
    if not column.nullable:
        return Rule(f"({rule.sieve})", lambda value: "a value" if value is None else rule.refuse(value))
    return Rule(f"({{c}} IS NULL OR ({rule.sieve}))", lambda value: None if value is None else rule.refuse(value))


def _rule(table: str, column: Column[Any], shape: Shape | None) -> Rule:
    match column.type:
        case Boolean():
            return Rule("typeof({c}) = 'integer' AND {c} IN (0, 1)", _boolean)
        case Integer():
            return _number(table, column, whole=True)
        case Float():
            return _number(table, column, whole=False)
        case Utc() | DateTime():
            return Rule(_MOMENT, _moment)
        case Date():
            return Rule(_DAY, _day)
        case LargeBinary():
            return Rule("typeof({c}) = 'blob'", lambda value: None if isinstance(value, bytes) else "a file's bytes")
    return _text(table, column, shape)


# --- Numbers and moments -----------------------------------------------------------------------------------


def _boolean(value: Any) -> str | None:
    return None if isinstance(value, int) and value in (0, 1) else "yes (1) or no (0)"


def _number(table: str, column: Column[Any], whole: bool) -> Rule:
    low, high = bounds(table, column)
    what = "a whole number" if whole else "a number"

    def refuse(value: Any) -> str | None:
        if not isinstance(value, int if whole else int | float):
            return what
        return None if low <= value <= high else f"{what} from {low:.9g} to {high:.9g}"

    types = "typeof({c}) = 'integer'" if whole else "typeof({c}) IN ('real', 'integer')"
    return Rule(f"{types} AND {{c}} BETWEEN {low!r} AND {high!r}", refuse)


def bounds(table: str, column: Column[Any]) -> tuple[float, float]:
    """What a number in a column lies between, in SI: what its kind can be, and its forms' bounds with room to spare."""
    if column.primary_key or column.foreign_keys or column.name == "row_id":
        return WHOLE
    low, high = PLAIN
    _, kind = words.stem(column.name)
    if kind is not None:
        low, high = KINDS[kind].least, KINDS[kind].most
    said = [_of_form(form, name) for form, name in words.said_by_forms(table, column.name)]
    if said:
        low = max(low, min(_spared(lo, -1) for lo, _ in said))
        high = min(high, max(_spared(hi, 1) for _, hi in said))
    return low, high


def _spared(bound: float, side: int) -> float:
    return bound * SLACK if bound * side > 0 else bound / SLACK


def _of_form(form: type[BaseModel], name: str) -> tuple[float, float]:
    measure, info = measure_of(form, name), form.model_fields[name]
    if measure is not None:
        lows, highs = (measure.gt, measure.ge), (measure.lt, measure.le)
    else:
        marks = [mark for one in _parts(info) for mark in one]
        lows = (_largest(m.gt for m in marks if isinstance(m, Gt)), _largest(m.ge for m in marks if isinstance(m, Ge)))
        highs = (_least(m.lt for m in marks if isinstance(m, Lt)), _least(m.le for m in marks if isinstance(m, Le)))
    low = max((b for b in lows if b is not None), default=-math.inf)
    high = min((b for b in highs if b is not None), default=math.inf)
    return float(low), float(high)


def _parts(info: FieldInfo) -> Iterator[list[Any]]:
    """The marks of a field, and of the parts of its annotation."""
    yield info.metadata
    for part in get_args(info.annotation):
        for mark in getattr(part, "__metadata__", ()):
            yield mark.metadata if isinstance(mark, FieldInfo) else [mark]


def _largest(found: Iterator[Any]) -> float | None:
    return max((float(f) for f in found), default=None)


def _least(found: Iterator[Any]) -> float | None:
    return min((float(f) for f in found), default=None)


# A column of days takes texts for numbers where it compares; what a function gives back is compared as it is.
_DAY = "typeof({c}) = 'text' AND length({c}) = 10 AND substr({c}, 1, 4) >= '0001' AND date({c}, '+0 days') IS {c}"
_MOMENT = (
    "typeof({c}) = 'text' AND length({c}) IN (19, 23, 26) AND substr({c}, 1, 4) >= '0001' "
    "AND strftime('%Y-%m-%d %H:%M:%S', {c}, '+0 days') IS substr({c}, 1, 19) "
    "AND (length({c}) = 19 OR (substr({c}, 20, 1) = '.' AND substr({c}, 21) NOT GLOB '*[^0-9]*'))"
)


def _day(value: Any) -> str | None:
    if isinstance(value, str) and re.fullmatch(r"\d{4}-\d\d-\d\d", value, re.ASCII):
        try:
            date.fromisoformat(value)
        except ValueError:
            return "a day that there is"
        return None
    return "a day, such as 2026-11-25"


def _moment(value: Any) -> str | None:
    if isinstance(value, str) and re.fullmatch(r"\d{4}-\d\d-\d\d \d\d:\d\d:\d\d(\.\d{3}|\.\d{6})?", value, re.ASCII):
        try:
            datetime.fromisoformat(value)
        except ValueError:
            return "a moment that there is"
        return None
    return "a moment, such as 2026-11-25 14:05:00"


# --- Texts -------------------------------------------------------------------------------------------------

_PLAIN_TEXT = "typeof({c}) = 'text' AND {c} NOT GLOB '*[^ -~]*' AND instr({c}, char(0)) = 0"
"""True of texts of plain letters, which are UTF-8 whatever else they are."""


def _text(table: str, column: Column[Any], shape: Shape | None) -> Rule:
    if column.name.endswith("_json"):
        return _stored(column, shape)
    choices = _choices(table, column)
    if choices is not None:
        listed = ", ".join("'" + choice.replace("'", "''") + "'" for choice in choices)
        expected = f"one of: {', '.join(choice or 'nothing' for choice in choices)}"
        return Rule(
            f"typeof({{c}}) = 'text' AND {{c}} IN ({listed})", lambda value: None if value in choices else expected
        )
    if "made_of" in column.info:
        letters, least, most = column.info["made_of"]
        fits = re.compile(f"[{letters}]{{{least},{most}}}", re.ASCII)
        length = f"{most}" if least == most else f"{least} to {most}"
        expected = f"{length} of the letters {letters}"
        return Rule(
            f"typeof({{c}}) = 'text' AND length({{c}}) BETWEEN {least} AND {most} AND {{c}} NOT GLOB '*[^{letters}]*' "
            "AND instr({c}, char(0)) = 0",
            lambda value: None if isinstance(value, str) and fits.fullmatch(value) else expected,
        )
    return Rule(_PLAIN_TEXT, lambda value: None if isinstance(value, str) else "a text (UTF-8)")


def _choices(table: str, column: Column[Any]) -> tuple[str, ...] | None:
    """What a text is one of: as its model says, or as every form does that has a field of its name."""
    if "one_of" in column.info:
        return tuple(column.info["one_of"])
    found = [_literals(form.model_fields[name].annotation) for form, name in words.said_by_forms(table, column.name)]
    if not found or any(f is None for f in found):
        return None
    default = getattr(column.default, "arg", None)
    also = [default] if isinstance(default, str) else []
    return tuple(dict.fromkeys([*(one for f in found if f for one in f), *also]))


def _literals(annotation: Any) -> list[str] | None:
    """The texts of a `Literal`, alone or beside None; nothing for any other annotation."""
    if get_origin(annotation) is Literal:
        return [str(one) for one in get_args(annotation)]
    parts = [part for part in get_args(annotation) if part is not type(None)]
    return _literals(parts[0]) if len(parts) == 1 and type(None) in get_args(annotation) else None


def _stored(column: Column[Any], shape: Shape | None) -> Rule:
    def refuse(value: Any) -> str | None:
        if not isinstance(value, str):
            return "a text (UTF-8)"
        if value == "" and column.default is not None:
            return None
        try:
            json.loads(value, parse_constant=_no_number, parse_float=_finite)
        except (ValueError, RecursionError):
            return "stored figures (JSON)"
        try:
            if shape is not None:
                shape(value)
        except Exception:  # whatever a reader of a wrong shape raises, it is the shape that is wrong
            return "stored figures of the shape that Grainbook writes"
        return None

    # Without a reader SQL can tell: what is not plain, or may be a number beyond all numbers, is left to Python.
    plain = f"{_PLAIN_TEXT} AND json_valid({{c}}) AND {{c}} NOT GLOB '*[0-9][eE]*'"
    return Rule("0" if shape is not None else plain, refuse)


def _no_number(text: str) -> float:
    raise ValueError(text)


def _finite(text: str) -> float:
    if not math.isfinite(number := float(text)):
        raise ValueError(text)
    return number


def stands(value: Any) -> str:
    """What stands in a place, in words, cut short."""
    if value is None:
        return "nothing"
    if isinstance(value, bytes):
        return f"{len(value)} bytes"
    if isinstance(value, NotText):
        value = value.raw.decode("utf-8", "replace")
    text = str(value)
    text = "".join(c if c.isprintable() else "�" for c in text[:_SHORT]) + ("…" if len(text) > _SHORT else "")
    return f"“{text}”"


_SHORT = 60
