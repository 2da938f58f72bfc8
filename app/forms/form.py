"""Forms: texts typed by a person, checked by a model, shown again with the faults beside the fields.

A `Form` keeps what was typed, whatever happens. Rows of a list are named `parts.0.percent`.
"""

import re
import secrets
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, get_args, get_origin

from pydantic import ValidationError

from app import doubts
from app.calc.base.notes import Note
from app.errors import Asked
from app.forms import refusals
from app.forms.fields import Answer, BoundField, Choice, control_of, hint_of, locate, plain_type, row_model
from app.forms.sent import AGAIN, ANSWER, PLACE, Texts, as_tree, name_on_page, whole
from app.models import asking
from app.models.base import FormIn, measure_of
from app.units import KINDS, METRIC, Measure, Quantity, UnitError, UnitSystem, example, say

LONGEST_TOKEN = 64
"""Characters; what is longer is no token of ours."""


def words_of(name: str) -> str:
    """The name of a field as words, where no form says them: `items.0.count` is 'Items, line 1, count'."""
    row = re.fullmatch(r"(\w+)\.(\d+)\.(\w+)", name)
    parts = [row[1], f"line {int(row[2]) + 1}", row[3]] if row else [name]
    return ", ".join(parts).replace("_", " ").capitalize()


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
    came_with_token: bool = False
    """Whether the form was sent with a token of its own, as every form on a page is."""
    asks_only: bool = False
    """Whether it was only asked what it would give, so that nothing was to be saved."""
    draft_at: Any = None
    places: dict[tuple[str, int], int] = field(default_factory=dict)
    units: UnitSystem = METRIC
    asked: dict[str, Asked] = field(default_factory=dict)
    """Questions by the field they are about; each has its words in `errors` too."""
    sure: dict[tuple[str, str], str] = field(default_factory=dict)
    """Answers: field and question, and the text that it was about."""
    left_out: list[str] = field(default_factory=list)
    """Fields with something in them that was not asked for by the choices made, and so neither checked nor kept."""
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
        return [(self.field(n).id, self.label(n), e) for n, e in found]

    def label(self, name: str) -> str:
        """A field in words, as its page calls it; one of another form by its name."""
        if not self.has(name):
            return words_of(name)
        row = re.fullmatch(r"\w+\.(\d+)\.\w+", name)
        return self.field(name).label + (f", line {int(row[1]) + 1}" if row else "")

    def text(self, name: str) -> str:
        """What stands in a field."""
        found = self.values.get(name, [])
        return found[0] if found else ""

    def field(self, name: str) -> BoundField:
        """A field, ready to draw; `parts.0.percent` is a field of a row."""
        model, info = locate(self.model, name)
        base = name.split(".")[-1]
        plain = plain_type(info)
        choices = self.choices.get(name) or self.choices.get(re.sub(r"\.\d+\.", ".", name))
        if choices is None and get_origin(plain) is Literal:
            choices = [(str(a), str(a)) for a in get_args(plain)]
        extra = info.json_schema_extra if isinstance(info.json_schema_extra, dict) else {}
        rows = int(str(extra.get("rows", 0)))
        secret = self.is_secret(name)  # never shown again, whatever went wrong
        return BoundField(
            name=name,
            id=f"{self.id}-{name.replace('.', '-')}",
            label=info.title or base.replace("_", " ").capitalize(),
            hint=hint_of(info),
            value="" if secret else self.text(name),
            error=self.errors.get(name, ""),
            required=info.is_required(),
            control="password" if secret else control_of(model, base, plain, choices, rows),
            choices=choices or [],
            rows=rows,
            values=self.values.get(name, []),
            empty="unknown" if get_origin(plain) is Literal else "none",  # of a few words; else of a list of rows
            answers=self.answers(name),
            answers_by=self.asks_at,
            asked=" ".join(when.css for when in self.model.whens if name in when.fields),
            needed=any(when.why for when in self.model.whens if name in when.fields),
            asked_now=all(when.holds(self._plain) for when in self.model.whens if name in when.fields),
        )

    @property
    def _plain(self) -> dict[str, str]:
        return {name: self.text(name) for name in self.model.model_fields}

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
                if not self.has(name) or get_origin(plain_type(locate(self.model, name)[1])) is Literal:
                    kept += [(AGAIN + name, text) for text in texts]
        return kept

    def rows(self, name: str, spare: int = 2, least: int = 4) -> list[dict[str, BoundField]]:
        """The rows of a list field: those typed and a few empty ones."""
        row_of = row_model(self.model.model_fields[name])
        used = {int(m[1]) for key in self.values if (m := re.match(rf"{name}\.{PLACE}\.", key))}
        count = max(max(used, default=-1) + 1 + spare, least)
        return [{f: self.field(f"{name}.{i}.{f}") for f in row_of.model_fields} for i in range(count)]

    def check(self, units: UnitSystem) -> FormIn | None:
        """Validate what stands in the form; on a fault or a question fill `errors` and give nothing back."""
        texts = {name: self.text(name) for name in self.model.model_fields}
        self.units = units = self.model.reads_in(texts, units)
        typed, hidden = self.values, asking.not_asked(self.model.whens, texts)
        self.left_out = [name for name, text in texts.items() if name in hidden and text.strip()]
        self.values = {name: found for name, found in typed.items() if name not in hidden}
        try:
            return self._check(units)
        finally:
            self.values = typed

    @property
    def not_kept(self) -> str:
        """What a save says of what stood in fields that were not asked for."""
        if not self.left_out:
            return ""
        told = ", ".join(f"{self.label(name)} ({self.words(name, self.text(name)).strip()})" for name in self.left_out)
        return f"Not kept, for the choices made do not ask for it: {told}."

    def _check(self, units: UnitSystem) -> FormIn | None:
        tree, self.places = as_tree(self.model, self.values)
        self._refuse_shapes()
        data = None
        try:
            data = self.model.model_validate(tree, context={"units": units})
        except ValidationError as error:
            for fault in error.errors(include_url=False):
                name = name_on_page(fault["loc"], self.places)
                if name not in self.errors:
                    self._fault(name, dict(fault))
        self._not_told()
        if self.errors:
            self._contradicted()
        self._doubt()
        if self.errors or data is None:
            return None
        return data.answering(
            (self._as_data(name), about) for (name, about), text in self.sure.items() if self._stands(name, text)
        )

    def _fault(self, name: str, fault: dict[str, Any]) -> None:
        words = self._missing(name) if fault["type"] == "missing" else refusals.by_model(fault)
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

    def _not_told(self) -> None:
        """Name each field that what stands in the form makes needed."""
        for name, why, other in asking.needed(self.model.whens, self.model.together, self._plain):
            belongs = why or f"It belongs to “{self.label(other)}”: fill in both, or neither."
            self.errors.setdefault(name, f"{self._missing(name)} {belongs}")

    def _contradicted(self) -> None:
        """Name what cannot be of what could be read; of a form without other faults its service tells it."""
        read = {name: quantity for name in self.values if (quantity := self._quantity(name))}
        for name, words in self.model.contradictions(read):
            self.errors.setdefault(name, words)

    def trust(self, units: UnitSystem) -> None:
        """What stands in the form comes from the book: it is not asked about while it stays."""
        self.units = units
        for name in self.values:
            if (measure := self._measure(name)) and (quantity := self._quantity(name)):
                question = doubts.about(name, self.text(name), quantity, measure, units)
                if question:
                    self.sure[name, question.about] = self.text(name)

    def _measure(self, name: str) -> Measure | None:
        if not self.has(name):
            return None
        model, _ = locate(self.model, name)
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
        return answered != "" and (not self.has(name) or self.text(name).strip() == answered.strip())

    def _as_data(self, name: str) -> str:
        """The name of a field as a service knows it: its row counted among those that were filled in."""
        head, _, rest = name.partition(".")
        place, _, last = rest.partition(".")
        rows = [i for (of, i), at in self.places.items() if of == head and str(at) == place]
        return f"{head}.{rows[0]}.{last}" if rows else name

    def _refuse_shapes(self) -> None:
        """Find the texts that no field may hold, or that are no number or day to begin with."""
        for name, texts in self.values.items():
            if not self.has(name):
                continue
            plain = plain_type(locate(self.model, name)[1])
            if get_origin(plain) is list:
                plain = get_args(plain)[0]
            for text in texts:
                words, readings = refusals.before_reading(plain, text, is_reference=name.endswith("_id"))
                if words:
                    self.errors[name] = words
                if readings:
                    self.asked[name] = Asked(words, name, readings, keep=None, about="sign")

    def refuse(self, field_name: str | None, message: str | Note, question: Asked | None = None) -> None:
        """Put a service's refusal beside its field, or at the head of the form; a question with its answers.

        A service counts the rows of a list that were filled in; the page may have empty ones between them.
        """
        name = field_name or ""
        if match := re.fullmatch(r"(\w+)\.(\d+)\.(\w+)", name):
            name = name_on_page((match[1], int(match[2]), match[3]), self.places)
        if name and not self.has(name):
            name = ""
        self.errors[name] = say(message, self.units)
        if question is not None:
            self.asked[name] = question

    def has(self, name: str) -> bool:
        """Whether the form has a field of this name."""
        try:
            locate(self.model, name)
        except (KeyError, TypeError):
            return False
        return True

    def is_secret(self, name: str) -> bool:
        """Whether what stands in a field is never kept as it was typed."""
        extra = locate(self.model, name)[1].json_schema_extra if self.has(name) else None
        return isinstance(extra, dict) and extra.get("secret") is True

    def words(self, name: str, text: str) -> str:
        """What a text in a field means to the person: the words of a choice, a tick, or the text itself."""
        if not self.has(name):
            return text
        found = self.field(name)
        return "ticked" if found.control == "checkbox" else dict(found.choices).get(text, text)

    def _missing(self, name: str) -> str:
        model, info = locate(self.model, name)
        measure = measure_of(model, name.split(".")[-1])
        if measure is not None:
            return f"Type {KINDS[measure.kind].noun}, such as {example(measure.kind, measure.system(self.units))}."
        if get_origin(plain_type(info)) is list:
            return "Fill in at least one."
        if name in self.choices or get_origin(plain_type(info)) is Literal or name.endswith("_id"):
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
        if answer := ANSWER.fullmatch(name):
            sure[answer["field"], answer["about"]] = text
            if answer["how"] == "meant":
                meant[answer["field"]] = [text]
        else:
            values.setdefault(name, []).append(text)
    values.update({name: text for name, text in meant.items() if name})
    version = values.pop("version", [""])[0]
    once = values.pop("once", [""])[0]
    came = 0 < len(once) <= LONGEST_TOKEN
    form = Form(model, form_id, action, values, choices=dict(choices))
    form.version = whole(version)
    form.sure = sure
    form.came_with_token = came
    form.once = once if came else form.once
    return form
