"""What is wrong with a text, in words: before a model reads it, and when a model refuses it."""

import re
from datetime import date, datetime
from typing import Any

from app import typed

_WORDS = {
    "int_parsing": "Type a whole number.",
    "int_from_float": "Type a whole number.",
    "float_parsing": "Type a number, such as 0.5.",
    "literal_error": "Choose one of the list.",
    "date_from_datetime_parsing": "Type a date, such as 2026-11-25.",
    "date_parsing": "Type a date, such as 2026-11-25.",
    "datetime_parsing": "Type a date and a time, such as 2026-11-25 14:30.",
    "datetime_from_date_parsing": "Type a date and a time, such as 2026-11-25 14:30.",
}

_DAY = r"(?:199[0-9]|2[0-9]{3})-[0-9]{2}-[0-9]{2}"
_SHAPES = {
    int: (re.compile(r"[+-]?[0-9]{1,9}"), _WORDS["int_parsing"]),
    date: (re.compile(_DAY), _WORDS["date_parsing"]),
    datetime: (re.compile(_DAY + r"[T ][0-9]{2}:[0-9]{2}.*", re.DOTALL), _WORDS["datetime_parsing"]),
}
"""What a text must look like before a model reads it: models take 0 for a day of 1970, and any length of number."""

_LARGEST = 10**15
"""A bare number from here on is a slip."""

_BOUNDS = {
    "greater_than": "more than {gt}",
    "greater_than_equal": "at least {ge}",
    "less_than": "less than {lt}",
    "less_than_equal": "at most {le}",
}


def before_reading(plain: Any, text: str, is_reference: bool = False) -> tuple[str, tuple[str, str] | None]:
    """Why a text can be nothing that a field of this type holds, and both readings where it can mean two numbers.

    The words are empty where nothing is wrong. A reference is the number of a row chosen from a list.
    """
    if "\x00" in text:
        return "There is a sign in this that cannot be written (NUL). Type it again.", None
    if not text.strip():
        return "", None
    if plain is float:
        return _of_number(text)
    shape, words = _SHAPES.get(plain, (None, "")) if isinstance(plain, type) else (None, "")
    if shape is None or shape.fullmatch(typed.fold(text)):
        return "", None
    return _WORDS["literal_error"] if is_reference else words, None


def _of_number(text: str) -> tuple[str, tuple[str, str] | None]:
    try:
        return (_WORDS["float_parsing"] if abs(typed.plain(text)) >= _LARGEST else ""), None
    except typed.TwoReadings as two:
        return f"“{text.strip()}” can mean {two.readings[0]} or {two.readings[1]}. Choose one.", two.readings
    except typed.NoNumber as error:
        return str(error) or _WORDS["float_parsing"], None


def by_model(fault: dict[str, Any]) -> str:
    """What a fault that a model found means for the person (`missing` depends on the field: the form says it)."""
    kind, limits = fault["type"], fault.get("ctx", {})
    if kind == "measure":
        return str(limits["message"])
    if kind in _WORDS:
        return _WORDS[kind]
    if kind in _BOUNDS:
        plain = {name: f"{bound:.12g}" for name, bound in limits.items()}  # 1000000, not 1e6 and not 0.0
        return f"This must be {_BOUNDS[kind].format(**plain)}."
    if kind == "string_too_short":
        return f"Write at least {limits['min_length']} characters."
    if kind == "string_too_long":
        return f"Write at most {limits['max_length']} characters."
    if kind == "too_short":
        return "Fill in at least one."
    if kind == "too_long":
        return f"At most {limits['max_length']} fit."
    return str(limits.get("error") or fault["msg"]).removeprefix("Value error, ")
