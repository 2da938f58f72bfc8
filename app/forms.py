"""Forms: texts typed by a person, checked by a model, shown again with the faults beside the fields.

A `Form` keeps what was typed, whatever happens. Rows of a list are named `parts.0.percent`.
"""

import re
import secrets
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from app.calc.notes import Note
from app.models.base import FormIn, measure_of
from app.units import KINDS, METRIC, UnitSystem, example, say

Choice = tuple[str, str]
Texts = dict[str, list[str]]

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

_PLACE = r"([0-9]{1,3})"
"""The number of a row in the name of its field; a page draws that many rows."""

_DAY = r"(?:199[0-9]|2[0-9]{3})-[0-9]{2}-[0-9]{2}"
_SHAPES = {
    int: (re.compile(r"[+-]?[0-9]{1,9}"), _WORDS["int_parsing"]),
    float: (re.compile(r"[+-]?(?:[0-9]{1,15}[.,]?[0-9]{0,15}|[.,][0-9]{1,15})"), _WORDS["float_parsing"]),
    date: (re.compile(_DAY), _WORDS["date_parsing"]),
    datetime: (re.compile(_DAY + r"[T ][0-9]{2}:[0-9]{2}.*", re.DOTALL), _WORDS["datetime_parsing"]),
}
"""What a text must look like before a model reads it: models take 0 for a day of 1970, and any length of number."""


@dataclass(frozen=True)
class BoundField:
    """One field of one form as a template needs it."""

    name: str
    id: str
    label: str
    hint: str | Note
    value: str
    error: str
    required: bool
    control: str
    choices: list[Choice]
    rows: int
    values: list[str]
    empty: str

    @property
    def described_by(self) -> str:
        """Identifiers of the hint and the error, for aria-describedby."""
        parts = ([f"{self.id}-hint"] if self.hint else []) + ([f"{self.id}-error"] if self.error else [])
        return " ".join(parts)


@dataclass
class Form:
    """A form on a page: its model, what stands in it, what is wrong with it."""

    model: type[FormIn]
    id: str
    action: str
    values: Texts = field(default_factory=dict)
    errors: dict[str, str] = field(default_factory=dict)
    choices: dict[str, list[Choice]] = field(default_factory=dict)
    version: int | None = None
    status: int = 422
    once: str = field(default_factory=lambda: secrets.token_urlsafe(18))
    draft_at: Any = None
    places: dict[tuple[str, int], int] = field(default_factory=dict)
    units: UnitSystem = METRIC

    @property
    def message(self) -> str:
        """A fault that belongs to no single field."""
        return self.errors.get("", "")

    @property
    def faults(self) -> list[tuple[str, str, str]]:
        """Identifier, label and message of each fault, in the order of the form."""
        found = [(n, e) for n, e in self.errors.items() if n]
        order = {name: i for i, name in enumerate(self.model.model_fields)}
        found.sort(key=lambda f: (order.get(f[0].split(".")[0], 99), f[0]))
        return [(self.field(n).id, self._label(n), e) for n, e in found]

    def _label(self, name: str) -> str:
        row = re.fullmatch(r"\w+\.(\d+)\.\w+", name)
        return self.field(name).label + (f", line {int(row[1]) + 1}" if row else "")

    def text(self, name: str) -> str:
        """What stands in a field."""
        found = self.values.get(name, [])
        return found[0] if found else ""

    def field(self, name: str) -> BoundField:
        """A field, ready to draw; `parts.0.percent` is a field of a row."""
        model, info = _locate(self.model, name)
        base = name.split(".")[-1]
        plain = _plain(info)
        choices = self.choices.get(name) or self.choices.get(re.sub(r"\.\d+\.", ".", name))
        if choices is None and get_origin(plain) is Literal:
            choices = [(str(a), str(a)) for a in get_args(plain)]
        extra = info.json_schema_extra if isinstance(info.json_schema_extra, dict) else {}
        rows = int(str(extra.get("rows", 0)))
        return BoundField(
            name=name,
            id=f"{self.id}-{name.replace('.', '-')}",
            label=info.title or base.replace("_", " ").capitalize(),
            hint=_hint(info),
            value=self.text(name),
            error=self.errors.get(name, ""),
            required=info.is_required(),
            control=_control(model, base, plain, choices, rows),
            choices=choices or [],
            rows=rows,
            values=self.values.get(name, []),
            empty="not told" if get_origin(plain) is Literal else "none",  # of a few words; else of a list of rows
        )

    def rows(self, name: str, spare: int = 2, least: int = 4) -> list[dict[str, BoundField]]:
        """The rows of a list field: those typed and a few empty ones."""
        row_model = _row_model(self.model.model_fields[name])
        used = {int(m[1]) for key in self.values if (m := re.match(rf"{name}\.{_PLACE}\.", key))}
        count = max(max(used, default=-1) + 1 + spare, least)
        return [{f: self.field(f"{name}.{i}.{f}") for f in row_model.model_fields} for i in range(count)]

    def check(self, units: UnitSystem) -> FormIn | None:
        """Validate what stands in the form; on a fault fill `errors` and give nothing back."""
        self.units = units
        tree, self.places = _tree(self.model, self.values)
        self._refuse_shapes()
        try:
            data = self.model.model_validate(tree, context={"units": units})
        except ValidationError as error:
            for fault in error.errors(include_url=False):
                name = _name(fault["loc"], self.places)
                self.errors.setdefault(name, self._words(name, dict(fault)))
        return None if self.errors else data

    def _refuse_shapes(self) -> None:
        """Find the texts that no field may hold, or that are no number or day to begin with."""
        for name, texts in self.values.items():
            if not self._has(name):
                continue
            plain = _plain(_locate(self.model, name)[1])
            if get_origin(plain) is list:
                plain = get_args(plain)[0]
            shape, words = _SHAPES.get(plain, (None, "")) if isinstance(plain, type) else (None, "")
            for text in texts:
                if "\x00" in text:
                    self.errors[name] = "There is a sign in this that cannot be written (NUL). Type it again."
                elif text.strip() and shape is not None and not shape.fullmatch(text.strip()):
                    self.errors[name] = "Choose one of the list." if name.endswith("_id") else words

    def refuse(self, field_name: str | None, message: str | Note) -> None:
        """Put a service's refusal beside its field, or at the head of the form.

        A service counts the rows of a list that were filled in; the page may have empty ones between them.
        """
        name = field_name or ""
        if match := re.fullmatch(r"(\w+)\.(\d+)\.(\w+)", name):
            name = _name((match[1], int(match[2]), match[3]), self.places)
        if name and not self._has(name):
            name = ""
        self.errors[name] = say(message, self.units)

    def _has(self, name: str) -> bool:
        try:
            _locate(self.model, name)
        except (KeyError, TypeError):
            return False
        return True

    def _words(self, name: str, fault: dict[str, Any]) -> str:
        kind, limits = fault["type"], fault.get("ctx", {})
        if kind == "measure":
            return str(limits["message"])
        if kind == "missing":
            return self._missing(name)
        if kind in _WORDS:
            return _WORDS[kind]
        bounds = {"greater_than": "more than {gt}", "greater_than_equal": "at least {ge}",
                  "less_than": "less than {lt}", "less_than_equal": "at most {le}"}  # fmt: skip
        if kind in bounds:
            plain = {name: f"{bound:.12g}" for name, bound in limits.items()}  # 1000000, not 1e6 and not 0.0
            return f"This must be {bounds[kind].format(**plain)}."
        if kind == "string_too_short":
            return f"Write at least {limits['min_length']} characters."
        if kind == "string_too_long":
            return f"Write at most {limits['max_length']} characters."
        if kind == "too_short":
            return "Fill in at least one."
        if kind == "too_long":
            return f"At most {limits['max_length']} fit."
        return str(limits.get("error") or fault["msg"]).removeprefix("Value error, ")

    def _missing(self, name: str) -> str:
        model, info = _locate(self.model, name)
        measure = measure_of(model, name.split(".")[-1])
        if measure is not None:
            return f"Type {KINDS[measure.kind].noun}, such as {example(measure.kind, measure.system(self.units))}."
        if get_origin(_plain(info)) is list:
            return "Fill in at least one."
        if name in self.choices or get_origin(_plain(info)) is Literal or name.endswith("_id"):
            return "Choose one."
        return "Fill this in."


def from_texts(
    model: type[FormIn],
    texts: Iterable[tuple[str, str]],
    form_id: str,
    action: str,
    choices: Mapping[str, list[Choice]],
) -> Form:
    """A form as it was sent: every text is kept, hidden fields are taken off."""
    values: Texts = {}
    for name, text in texts:
        values.setdefault(name, []).append(text)
    version = values.pop("version", [""])[0]
    once = values.pop("once", [""])[0]
    form = Form(model, form_id, action, values, choices=dict(choices))
    form.version = whole(version)
    form.once = once or form.once
    return form


def whole(text: str) -> int | None:
    """The whole number that a text is, if it is one of a usual length."""
    return int(text) if re.fullmatch(r"[0-9]{1,9}", text) else None


def _hint(info: FieldInfo) -> str | Note:
    """The words under a field: its description, or a note in `json_schema_extra` where they have amounts."""
    extra = info.json_schema_extra
    note = extra.get("hint") if isinstance(extra, dict) else None
    return note if isinstance(note, Note) else info.description or ""


def _plain(info: FieldInfo) -> Any:
    """The annotation without `| None`."""
    annotation = info.annotation
    if get_origin(annotation) in (Union, UnionType):
        inner = [a for a in get_args(annotation) if a is not NoneType]
        return inner[0]
    return annotation


def _row_model(info: FieldInfo) -> type[BaseModel]:
    inner = next(iter(get_args(_plain(info))), None)
    if not isinstance(inner, type) or not issubclass(inner, BaseModel):
        raise TypeError("this field holds no rows")
    return inner


def _locate(model: type[BaseModel], name: str) -> tuple[type[BaseModel], FieldInfo]:
    head, *rest = name.split(".")
    info = model.model_fields[head]
    if rest:
        if len(rest) != 2:
            raise KeyError(name)
        row = _row_model(info)
        return row, row.model_fields[rest[1]]
    return model, info


def _control(model: type[BaseModel], name: str, plain: Any, choices: list[Choice] | None, rows: int) -> str:
    if get_origin(plain) is list:
        return "many"
    if choices is not None:
        return "select"
    if measure_of(model, name) is not None:
        return "measure"
    kinds = {
        "bool": "checkbox",
        "date": "date",
        "datetime": "datetime-local",
        "int": "whole",
        "float": "number",
    }
    control = kinds.get(getattr(plain, "__name__", ""), "text")
    return "textarea" if rows and control == "text" else control


def _tree(model: type[FormIn], values: Texts) -> tuple[dict[str, Any], dict[tuple[str, int], int]]:
    """Flat texts as the tree the model checks; empty texts and wholly empty rows are left out.

    Also tells where each row of a list stood on the page, so that a fault finds its field again.
    """
    tree: dict[str, Any] = {}
    places: dict[tuple[str, int], int] = {}
    for name, info in model.model_fields.items():
        plain = _plain(info)
        if get_origin(plain) is list and _is_model(get_args(plain)[0]):
            rows = _rows(name, _row_model(info), values)
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


def _rows(name: str, row_model: type[BaseModel], values: Texts) -> list[tuple[int, dict[str, str]]]:
    rows: dict[int, dict[str, str]] = {}
    for key, texts in values.items():
        match = re.fullmatch(rf"{name}\.{_PLACE}\.(\w+)", key)
        if match and texts[0].strip() and match[2] in row_model.model_fields:
            info = row_model.model_fields[match[2]]
            rows.setdefault(int(match[1]), {})[match[2]] = _tidy(_plain(info), texts[0])
    return sorted(rows.items())


def _tidy(plain: Any, text: str) -> str:
    """A comma as decimal sign, where a bare number is wanted."""
    return text.strip().replace(",", ".") if plain is float else text


def _name(place: tuple[Any, ...], rows: dict[tuple[str, int], int]) -> str:
    if len(place) >= 3 and isinstance(place[1], int):
        return f"{place[0]}.{rows.get((str(place[0]), place[1]), place[1])}.{place[2]}"
    return str(place[0]) if place else ""
