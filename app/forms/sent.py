"""What a browser sends: flat texts, with answers to questions among them, and the tree that a model checks."""

import re
from collections.abc import Iterable
from typing import Any, get_args, get_origin

from pydantic import BaseModel

from app import typed
from app.forms.fields import plain_type, row_model
from app.models.base import FormIn

Texts = dict[str, list[str]]

PLACE = r"([0-9]{1,3})"
"""The number of a row in the name of its field; a page draws that many rows."""

ANSWER = re.compile(r"(?P<how>meant|sure)\.(?P<about>\w+)\.(?P<field>.*)", re.DOTALL)
"""The name of a button that answers a question (meant), and of the answer kept in the form (sure)."""

AGAIN = "again."
"""Before the name of what a press must carry that answers a question: what the refused press carried."""


def resent(texts: Iterable[tuple[str, str]]) -> list[tuple[str, str]]:
    """What was sent; where a button answered a question, with what the press before it carried (which button)."""
    sent = [pair for pair in texts if not pair[0].startswith(AGAIN)]
    names = {name for name, _ in sent}
    if any(name.startswith("meant.") for name in names):
        again = ((name.removeprefix(AGAIN), text) for name, text in texts if name.startswith(AGAIN))
        sent += [(name, text) for name, text in again if name not in names]
    return sent


def of_model(model: type[FormIn], texts: Iterable[tuple[str, str]]) -> list[tuple[str, str]]:
    """Those of an address's texts that belong to this form, where there are several: its fields and its answers."""

    def field_of(name: str) -> str:
        answer = ANSWER.fullmatch(name)
        return answer["field"] if answer else name

    return [(name, text) for name, text in texts if field_of(name) in model.model_fields]


def whole(text: str) -> int | None:
    """The whole number that a text is, if it is one of a usual length."""
    return int(text) if re.fullmatch(r"[0-9]{1,9}", text) else None


def as_tree(model: type[FormIn], values: Texts) -> tuple[dict[str, Any], dict[tuple[str, int], int]]:
    """Flat texts as the tree the model checks; empty texts and wholly empty rows are left out.

    Also tells where each row of a list stood on the page, so that a fault finds its field again.
    """
    tree: dict[str, Any] = {}
    places: dict[tuple[str, int], int] = {}
    for name, info in model.model_fields.items():
        plain = plain_type(info)
        if get_origin(plain) is list and _is_model(get_args(plain)[0]):
            rows = _rows(name, row_model(info), values)
            for i, (place, _) in enumerate(rows):
                places[name, i] = place
            tree[name] = [row for _, row in rows]
        elif get_origin(plain) is list:
            tree[name] = [t for t in values.get(name, []) if t.strip()]
        elif (text := values.get(name, [""])[0]).strip():
            tree[name] = _tidy(plain, text)
    return tree, places


def _is_model(inner: Any) -> bool:
    return isinstance(inner, type) and issubclass(inner, BaseModel)


def _rows(name: str, of: type[BaseModel], values: Texts) -> list[tuple[int, dict[str, str]]]:
    rows: dict[int, dict[str, str]] = {}
    for key, texts in values.items():
        match = re.fullmatch(rf"{name}\.{PLACE}\.(\w+)", key)
        if match and texts[0].strip() and match[2] in of.model_fields:
            info = of.model_fields[match[2]]
            rows.setdefault(int(match[1]), {})[match[2]] = _tidy(plain_type(info), texts[0])
    return sorted(rows.items())


def _tidy(plain: Any, text: str) -> str:
    """A bare number as the model reads it; what is none is told of beside its field."""
    if plain is int:
        return typed.fold(text)
    if plain is not float:
        return text
    try:
        return repr(float(typed.plain(text)))
    except ValueError:
        return text


def name_on_page(place: tuple[Any, ...], rows: dict[tuple[str, int], int]) -> str:
    """The field that a fault is about, by its place in the tree and where each row stood on the page."""
    if len(place) >= 3 and isinstance(place[1], int):
        return f"{place[0]}.{rows.get((str(place[0]), place[1]), place[1])}.{place[2]}"
    return str(place[0]) if place else ""
