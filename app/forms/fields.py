"""Fields of a form, apart from any form: what a model says of them, and what a template needs to draw one."""

from dataclasses import dataclass
from types import NoneType, UnionType
from typing import Any, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from app.calc.base.notes import Note
from app.forms import marks
from app.models.base import measure_of

Choice = tuple[str, str]


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
    asked: str = ""
    """The classes by which a page hides it while the choice that asks for it is not made; "" if it is always asked."""
    needed: bool = False
    """Whether it must be filled in while it is asked for."""
    asked_now: bool = True
    """Whether the choices that stand in the form ask for it."""

    @property
    def must(self) -> bool:
        """Whether it must be filled in, which is said to who does not see the page too; a row of a list may be left."""
        return (self.required or self.needed) and self.control != "checkbox" and "." not in self.name

    @property
    def mark(self) -> str:
        """What is drawn behind its label and becomes words, or nothing, when its form is drawn whole (`marks`)."""
        if "." in self.name:  # of a row, which may stand empty as a whole
            return ""
        kind = marks.NEEDED if self.required or self.needed else marks.OPTIONAL
        return kind if self.asked_now else kind + marks.NOT_ASKED

    @property
    def described_by(self) -> str:
        """Identifiers of the hint and the error, for aria-describedby."""
        parts = ([f"{self.id}-hint"] if self.hint else []) + ([f"{self.id}-error"] if self.error else [])
        return " ".join(parts)


def hint_of(info: FieldInfo) -> str | Note:
    """The words under a field: its description, or a note in `json_schema_extra` where they have amounts."""
    extra = info.json_schema_extra
    note = extra.get("hint") if isinstance(extra, dict) else None
    return note if isinstance(note, Note) else info.description or ""


def plain_type(info: FieldInfo) -> Any:
    """The annotation without `| None`."""
    annotation = info.annotation
    if get_origin(annotation) in (Union, UnionType):
        inner = [a for a in get_args(annotation) if a is not NoneType]
        return inner[0]
    return annotation


def row_model(info: FieldInfo) -> type[BaseModel]:
    """What a row of a list field holds.

    Raises
    ------
    TypeError
        The field holds no rows.
    """
    inner = next(iter(get_args(plain_type(info))), None)
    if not isinstance(inner, type) or not issubclass(inner, BaseModel):
        raise TypeError("this field holds no rows")
    return inner


def locate(model: type[BaseModel], name: str) -> tuple[type[BaseModel], FieldInfo]:
    """The model that a field stands in, its rows' own for a field of a row, and what that says of the field.

    Raises
    ------
    KeyError, TypeError
        The form has no such field.
    """
    head, *rest = name.split(".")
    info = model.model_fields[head]
    if rest:
        if len(rest) != 2:
            raise KeyError(name)
        row = row_model(info)
        return row, row.model_fields[rest[1]]
    return model, info


def control_of(model: type[BaseModel], name: str, plain: Any, choices: list[Choice] | None, rows: int) -> str:
    """The kind of control a field is typed or chosen in."""
    if get_origin(plain) is list:
        return "many"
    if choices is not None:
        return "select"
    if measure_of(model, name) is not None:
        return "measure"
    kinds = {"bool": "checkbox", "date": "date", "datetime": "datetime-local", "int": "whole", "float": "number"}
    control = kinds.get(getattr(plain, "__name__", ""), "text")
    return "textarea" if rows and control == "text" else control
