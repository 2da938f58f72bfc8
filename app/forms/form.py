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

from app import doubts, typed
from app.calc.base.notes import Note
from app.errors import Asked
from app.models.base import FormIn, measure_of
from app.units import KINDS, METRIC, Measure, Quantity, UnitError, UnitSystem, example, say

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
    date: (re.compile(_DAY), _WORDS["date_parsing"]),
    datetime: (re.compile(_DAY + r"[T ][0-9]{2}:[0-9]{2}.*", re.DOTALL), _WORDS["datetime_parsing"]),
}
"""What a text must look like before a model reads it: models take 0 for a day of 1970, and any length of number."""


_LARGEST = 10**15
"""A bare number from here on is a slip."""

_ANSWER = re.compile(r"(?P<how>meant|sure)\.(?P<about>\w+)\.(?P<field>.*)", re.DOTALL)
"""The name of a button that answers a question (meant), and of the answer kept in the form (sure)."""

_AGAIN = "again."
"""Before the name of what a press must carry that answers a question: what the refused press carried."""


@dataclass(frozen=True)
class Answer:
    """A button that answers a question: its name, the text that it puts in the field, and what it says."""

    name: str
    text: str
    words: str


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
    answers: list[Answer]
    answers_by: str

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
    asked: dict[str, Asked] = field(default_factory=dict)
    """Questions by the field they are about; each has its words in `errors` too."""
    sure: dict[tuple[str, str], str] = field(default_factory=dict)
    """Answers: field and question, and the text that it was about."""
    asks_at: str = ""
    """Where a button that answers sends the form by GET, if that is not where the form itself goes."""

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
            answers=self.answers(name),
            answers_by=self.asks_at,
        )

    def answers(self, name: str = "") -> list[Answer]:
        """The buttons that answer the question about a field, or about the whole form."""
        question = self.asked.get(name)
        if question is None:
            return []
        button = f"meant.{question.about}.{name or question.field or ''}"
        found = [Answer(button, text, words) for text, words in question.readings]
        if question.keep is not None:
            stands = (self._quantity(name) or Quantity(0.0, self.text(name).strip())).typed or "yes"
            found = [one for one in found if one.text != stands]
            found.append(Answer(button, stands, question.keep.format(typed=stands)))
        return found

    @property
    def kept_answers(self) -> list[tuple[str, str]]:
        """Hidden fields of a form that is shown again: answers given before, and what the refused press carried."""
        kept = [(f"sure.{about}.{name}", text) for (name, about), text in self.sure.items()]
        if self.asked:
            for name, texts in self.values.items():
                if not self._has(name) or get_origin(_plain(_locate(self.model, name)[1])) is Literal:
                    kept += [(_AGAIN + name, text) for text in texts]
        return kept

    def rows(self, name: str, spare: int = 2, least: int = 4) -> list[dict[str, BoundField]]:
        """The rows of a list field: those typed and a few empty ones."""
        row_model = _row_model(self.model.model_fields[name])
        used = {int(m[1]) for key in self.values if (m := re.match(rf"{name}\.{_PLACE}\.", key))}
        count = max(max(used, default=-1) + 1 + spare, least)
        return [{f: self.field(f"{name}.{i}.{f}") for f in row_model.model_fields} for i in range(count)]

    def check(self, units: UnitSystem) -> FormIn | None:
        """Validate what stands in the form; on a fault or a question fill `errors` and give nothing back."""
        self.units = units = self.model.reads_in({name: self.text(name) for name in self.model.model_fields}, units)
        tree, self.places = _tree(self.model, self.values)
        self._refuse_shapes()
        data = None
        try:
            data = self.model.model_validate(tree, context={"units": units})
        except ValidationError as error:
            for fault in error.errors(include_url=False):
                name = _name(fault["loc"], self.places)
                if name not in self.errors:
                    self._fault(name, dict(fault))
        self._doubt()
        if self.errors or data is None:
            return None
        return data.answering(
            (self._as_data(name), about) for (name, about), text in self.sure.items() if self._stands(name, text)
        )

    def _fault(self, name: str, fault: dict[str, Any]) -> None:
        words = self._words(name, fault)
        readings = fault.get("ctx", {}).get("readings", ()) if fault["type"] == "measure" else ()
        if fault["type"] == "measure" and not readings and (quantity := self._quantity(name)):
            measure = self._measure(name)
            assert measure is not None
            if quantity.typed != self.text(name).strip():  # a bare number beyond a bound: another unit may be meant
                readings = doubts.fitting(self.text(name), quantity, measure, self.units)
        self.errors[name] = words
        if readings:
            self.asked[name] = Asked(words, name, readings, keep=None, about="sign")

    def _doubt(self) -> None:
        """Ask about each number that can be read and can hardly be, unless it was answered."""
        for name in self.values:
            if name in self.errors or not self.text(name).strip() or (measure := self._measure(name)) is None:
                continue
            quantity = self._quantity(name)
            question = quantity and doubts.about(name, self.text(name), quantity, measure, self.units)
            if question and not self._stands(name, self.sure.get((name, question.about), "")):
                self.errors[name], self.asked[name] = say(question.message, self.units), question

    def trust(self, units: UnitSystem) -> None:
        """What stands in the form comes from the book: it is not asked about while it stays."""
        self.units = units
        for name in self.values:
            if (measure := self._measure(name)) and (quantity := self._quantity(name)):
                question = doubts.about(name, self.text(name), quantity, measure, units)
                if question:
                    self.sure[name, question.about] = self.text(name)

    def _measure(self, name: str) -> Measure | None:
        if not self._has(name):
            return None
        model, _ = _locate(self.model, name)
        return measure_of(model, name.split(".")[-1])

    def _quantity(self, name: str) -> Quantity | None:
        """What stands in a field of a measure, where it can be read."""
        measure = self._measure(name)
        if measure is None:
            return None
        try:
            return measure.read(self.text(name), self.units)
        except UnitError:
            return None

    def _stands(self, name: str, answered: str) -> bool:
        """Whether what was answered about a field is still what stands in it."""
        return answered != "" and (not self._has(name) or self.text(name).strip() == answered.strip())

    def _as_data(self, name: str) -> str:
        """The name of a field as a service knows it: its row counted among those that were filled in."""
        head, _, rest = name.partition(".")
        place, _, last = rest.partition(".")
        rows = [i for (of, i), at in self.places.items() if of == head and str(at) == place]
        return f"{head}.{rows[0]}.{last}" if rows else name

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
                elif plain is float and text.strip():
                    self._refuse_number(name, text)
                elif text.strip() and shape is not None and not shape.fullmatch(typed.fold(text)):
                    self.errors[name] = "Choose one of the list." if name.endswith("_id") else words

    def _refuse_number(self, name: str, text: str) -> None:
        try:
            if abs(typed.plain(text)) >= _LARGEST:
                self.errors[name] = _WORDS["float_parsing"]
        except typed.TwoReadings as two:
            words = f"“{text.strip()}” can mean {two.readings[0]} or {two.readings[1]}. Choose one."
            self.errors[name], self.asked[name] = words, Asked(words, name, two.readings, keep=None, about="sign")
        except typed.NoNumber as error:
            self.errors[name] = str(error) or _WORDS["float_parsing"]

    def refuse(self, field_name: str | None, message: str | Note, question: Asked | None = None) -> None:
        """Put a service's refusal beside its field, or at the head of the form; a question with its answers.

        A service counts the rows of a list that were filled in; the page may have empty ones between them.
        """
        name = field_name or ""
        if match := re.fullmatch(r"(\w+)\.(\d+)\.(\w+)", name):
            name = _name((match[1], int(match[2]), match[3]), self.places)
        if name and not self._has(name):
            name = ""
        self.errors[name] = say(message, self.units)
        if question is not None:
            self.asked[name] = question

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
        bounds = {
            "greater_than": "more than {gt}",
            "greater_than_equal": "at least {ge}",
            "less_than": "less than {lt}",
            "less_than_equal": "at most {le}",
        }
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
    """A form as it was sent: every text is kept, hidden fields are taken off, an answer stands in its field."""
    values: Texts = {}
    sure, meant = {}, {}
    for name, text in texts:
        if answer := _ANSWER.fullmatch(name):
            sure[answer["field"], answer["about"]] = text
            if answer["how"] == "meant":
                meant[answer["field"]] = [text]
        else:
            values.setdefault(name, []).append(text)
    values.update({name: text for name, text in meant.items() if name})
    version = values.pop("version", [""])[0]
    once = values.pop("once", [""])[0]
    form = Form(model, form_id, action, values, choices=dict(choices))
    form.version = whole(version)
    form.sure = sure
    form.once = once or form.once
    return form


def resent(texts: Iterable[tuple[str, str]]) -> list[tuple[str, str]]:
    """What was sent; where a button answered a question, with what the press before it carried (which button)."""
    sent = [pair for pair in texts if not pair[0].startswith(_AGAIN)]
    names = {name for name, _ in sent}
    if any(name.startswith("meant.") for name in names):
        again = ((name.removeprefix(_AGAIN), text) for name, text in texts if name.startswith(_AGAIN))
        sent += [(name, text) for name, text in again if name not in names]
    return sent


def of_model(model: type[FormIn], texts: Iterable[tuple[str, str]]) -> list[tuple[str, str]]:
    """Those of an address's texts that belong to this form, where there are several: its fields and its answers."""

    def field_of(name: str) -> str:
        answer = _ANSWER.fullmatch(name)
        return answer["field"] if answer else name

    return [(name, text) for name, text in texts if field_of(name) in model.model_fields]


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
    kinds = {"bool": "checkbox", "date": "date", "datetime": "datetime-local", "int": "whole", "float": "number"}
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
    """A bare number as the model reads it; what is none is told of beside its field."""
    if plain is int:
        return typed.fold(text)
    if plain is not float:
        return text
    try:
        return repr(float(typed.plain(text)))
    except ValueError:
        return text


def _name(place: tuple[Any, ...], rows: dict[tuple[str, int], int]) -> str:
    if len(place) >= 3 and isinstance(place[1], int):
        return f"{place[0]}.{rows.get((str(place[0]), place[1]), place[1])}.{place[2]}"
    return str(place[0]) if place else ""
