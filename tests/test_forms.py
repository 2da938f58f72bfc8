"""Forms: what was typed is kept, faults stand beside their fields, rows of a list keep their places."""

import re
from collections.abc import Sequence
from datetime import date, datetime
from typing import Annotated, ClassVar, Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from markupsafe import Markup
from pydantic import BaseModel, ConfigDict
from pydantic import Field as FormField

from app.forms import Form, from_texts, marks
from app.models.asking import When
from app.models.base import FormIn, as_form, build
from app.models.hardware import CastingTube, CastingTubeIn
from app.units import METRIC, Measure, Quantity, UnitSystem


class LineIn(BaseModel):
    model_config = ConfigDict(str_strip_whitespace=True)
    what: str = FormField(min_length=2, max_length=10, title="What")
    share: Annotated[Quantity, Measure("share", gt=0, lt=1)] = FormField(title="Share")
    count: int | None = FormField(None, ge=1, title="Count")


class ThingIn(FormIn):
    name: str = FormField(min_length=3, max_length=8, title="Name", description="As you say it.")
    width: Annotated[Quantity, Measure("length", gt=0, le=2)] = FormField(title="Width")
    tare: Annotated[Quantity, Measure("mass", ge=0)] | None = FormField(None, title="Tare")
    cost: float | None = FormField(None, ge=0, le=100, title="Cost")
    pieces: int = FormField(1, ge=1, le=9, title="Pieces")
    dry: bool = FormField(False, title="Dry")
    kind: Literal["static", "flight"] = FormField("static", title="Kind")
    place_id: int | None = FormField(None, title="Place")
    made_on: date | None = FormField(None, title="Made on")
    at: datetime | None = FormField(None, title="At")
    note: str = FormField("", title="Note", json_schema_extra={"rows": 3})
    lines: list[LineIn] = FormField([], max_length=3, title="Lines")
    picked: list[int] = FormField([], title="Picked")


class NeedyIn(FormIn):
    name: str = FormField(title="Name")
    width: Annotated[Quantity, Measure("length")] = FormField(title="Width")
    kind: Literal["static", "flight"] = FormField(title="Kind")
    place_id: int = FormField(title="Place")
    made_on: date = FormField(title="Made on")
    lines: list[LineIn] = FormField(min_length=1, title="Lines")


GOOD = [("name", "Gull"), ("width", "44,45 mm")]


def _form(*texts: tuple[str, str], model: type[FormIn] = ThingIn) -> Form:
    return from_texts(model, texts, "form", "/things/new", {})


def _checked(*texts: tuple[str, str]) -> ThingIn:
    form = _form(*GOOD, *texts)
    data = form.check(METRIC)
    assert data is not None, form.errors
    assert isinstance(data, ThingIn)
    return data


def _fault(name: str, *texts: tuple[str, str]) -> str:
    form = _form(*GOOD, *texts)
    form.values.update({n: [t] for n, t in texts})
    assert form.check(METRIC) is None
    return form.errors[name]


def test_a_good_form_becomes_checked_data() -> None:
    data = _checked(
        ("tare", "9.6"),
        ("cost", "38,50"),
        ("pieces", "4"),
        ("dry", "on"),
        ("kind", "flight"),
        ("made_on", "2026-11-25"),
        ("at", "2026-11-25T14:30"),
        ("place_id", "7"),
    )
    assert data.width == Quantity(0.04445, "44,45 mm")
    assert data.tare == Quantity(0.0096, "9.6 g")
    assert (data.cost, data.pieces, data.dry, data.kind, data.place_id) == (38.5, 4, True, "flight", 7)
    assert (data.made_on, data.at) == (date(2026, 11, 25), datetime(2026, 11, 25, 14, 30))


def test_empty_and_blank_fields_take_their_defaults() -> None:
    data = _checked(("tare", ""), ("cost", "  "), ("kind", ""), ("place_id", ""), ("made_on", ""), ("pieces", " "))
    assert (data.tare, data.cost, data.kind, data.pieces) == (None, None, "static", 1)
    assert (data.place_id, data.made_on) == (None, None)


def test_a_checkbox_that_is_not_sent_is_off() -> None:
    assert _checked().dry is False
    assert _checked(("dry", "on")).dry is True


def test_spaces_around_words_are_taken_off() -> None:
    assert _checked(("name", "ignored")).name == "Gull"  # the first of two texts of one name counts
    form = _form(("name", "  Gull "), ("width", "1"))
    data = form.check(METRIC)
    assert isinstance(data, ThingIn)
    assert data.name == "Gull"
    assert form.text("name") == "  Gull "  # but what was typed stands in the form as it was


@pytest.mark.parametrize(
    ("name", "typed", "words"),
    [
        ("name", "ab", "Write at least 3 characters."),
        ("name", "abcdefghi", "Write at most 8 characters."),
        ("width", "0", "This must be more than 0 mm; “0 mm” is not."),
        ("width", "-1", "This must be more than 0 mm; “-1 mm” is not."),
        ("width", "3 m", "This must be at most 2000 mm; “3 m” is not."),
        ("width", "wide", "“wide” is not a length. Type a number and a unit, such as 19 mm."),
        ("tare", "3 mm", "“mm” goes with a length; this field takes a mass, such as 123.4 g."),
        ("tare", "3 stone", "The unit “stone” is not known here. Use one of: g, kg, mg, oz, lb."),
        ("cost", "cheap", "Type a number, such as 0.5."),
        ("cost", "-0,01", "This must be at least 0."),
        ("cost", "101", "This must be at most 100."),
        ("cost", "nan", "Type a number, such as 0.5."),
        ("cost", "inf", "Type a number, such as 0.5."),
        ("pieces", "1.5", "Type a whole number."),
        ("pieces", "two", "Type a whole number."),
        ("pieces", "0", "This must be at least 1."),
        ("pieces", "10", "This must be at most 9."),
        ("kind", "orbit", "Choose one of the list."),
        ("place_id", "x", "Choose one of the list."),
        ("made_on", "25.11.2026", "Type a date, such as 2026-11-25."),
        ("made_on", "2026-02-30", "Type a date, such as 2026-11-25."),
        ("at", "noon", "Type a date and a time, such as 2026-11-25 14:30."),
    ],
)
def test_each_fault_is_told_in_words_that_say_what_to_do(name: str, typed: str, words: str) -> None:
    assert _fault(name, (name, typed)).startswith(words)


def test_what_is_missing_is_asked_for_by_its_kind() -> None:
    form = _form(model=NeedyIn)
    form.choices = {"place_id": [("1", "Pasture")]}
    assert form.check(METRIC) is None
    assert form.errors == {
        "name": "Fill this in.",
        "width": "Type a length, such as 19 mm.",
        "kind": "Choose one.",
        "place_id": "Choose one.",
        "made_on": "Fill this in.",
        "lines": "Fill in at least one.",
    }


def test_what_was_typed_is_kept_whatever_is_wrong() -> None:
    form = _form(("name", "x"), ("width", "wide"), ("note", "line 1\nline 2"), ("lines.5.what", "q"))
    assert form.check(METRIC) is None
    assert form.text("width") == "wide"
    assert form.field("note").value == "line 1\nline 2"
    assert form.rows("lines")[5]["what"].value == "q"


def test_faults_are_listed_in_the_order_of_the_form_with_their_labels() -> None:
    form = _form(("name", "x"), ("width", ""), ("cost", "x"), ("lines.1.what", "nitrate"))
    assert form.check(METRIC) is None
    assert [(i, label) for i, label, _ in form.faults] == [
        ("form-name", "Name"),
        ("form-width", "Width"),
        ("form-cost", "Cost"),
        ("form-lines-1-share", "Share, line 2"),
    ]


def test_rows_of_a_list_keep_their_places() -> None:
    """Empty rows between are left out for the check; a fault finds the row where it was typed."""
    form = _form(
        *GOOD,
        ("lines.0.what", "nitrate"),
        ("lines.0.share", "65"),
        ("lines.1.what", " "),
        ("lines.1.share", ""),
        ("lines.4.what", "sorbitol"),
        ("lines.4.share", "120"),
    )
    assert form.check(METRIC) is None
    assert list(form.errors) == ["lines.4.share"]
    assert "less than 100 %" in form.rows("lines")[4]["share"].error
    form.refuse("lines.1.what", "no such thing")  # the second row that was filled in stands fifth on the page
    assert form.rows("lines")[4]["what"].error == "no such thing"


def test_a_row_partly_filled_in_is_asked_for_the_rest() -> None:
    form = _form(*GOOD, ("lines.2.share", "65"))
    assert form.check(METRIC) is None
    assert form.errors == {"lines.2.what": "Fill this in."}


def test_rows_come_in_the_order_of_their_numbers_not_of_their_sending() -> None:
    late, early = ("lines.10.what", "second"), ("lines.2.what", "first")
    data = _checked(late, ("lines.10.share", "1"), early, ("lines.2.share", "1"))
    assert [line.what for line in data.lines] == ["first", "second"]


def test_too_many_rows_are_refused_for_the_list_as_a_whole() -> None:
    texts = [(f"lines.{i}.{f}", v) for i in range(4) for f, v in (("what", "abc"), ("share", "1"))]
    assert _fault("lines", *texts) == "At most 3 fit."


def test_strange_names_are_left_alone() -> None:
    names = ("lines.x.what", "lines.99999.what", "lines.0.other", "linesX0.what", "lines.0", "id")
    data = _checked(*((name, "abc") for name in names))
    assert data.lines == []
    assert not hasattr(data, "id")


def test_a_list_of_picks() -> None:
    assert _checked(("picked", "3"), ("picked", ""), ("picked", "1")).picked == [3, 1]
    assert _form(*GOOD, ("picked", "3"), ("picked", "x")).check(METRIC) is None


def test_a_form_shows_spare_rows() -> None:
    assert len(_form().rows("lines")) == 4
    assert len(_form(("lines.6.what", "abc")).rows("lines")) == 9
    assert len(_form().rows("lines", spare=0, least=1)) == 1


def test_a_field_as_a_template_needs_it() -> None:
    form = _form(("name", "x"))
    form.check(METRIC)
    name = form.field("name")
    assert (name.id, name.label, name.hint, name.required) == ("form-name", "Name", "As you say it.", True)
    assert name.described_by == "form-name-hint form-name-error"
    assert form.field("tare").described_by == ""
    assert not form.field("tare").required
    controls = {n: form.field(n).control for n in ThingIn.model_fields}
    assert controls == {
        "name": "text",
        "width": "measure",
        "tare": "measure",
        "cost": "number",
        "pieces": "whole",
        "dry": "checkbox",
        "kind": "select",
        "place_id": "whole",
        "made_on": "date",
        "at": "datetime-local",
        "note": "textarea",
        "lines": "many",
        "picked": "many",
    }
    assert form.field("kind").choices == [("static", "static"), ("flight", "flight")]
    form.choices = {"lines.what": [("a", "A")]}
    assert form.field("lines.3.what").control == "select"


def test_a_refusal_of_a_field_that_the_form_does_not_have_stands_at_its_head() -> None:
    form = _form(*GOOD)
    form.check(METRIC)
    form.refuse("grain_ids", "That grain is used.")
    assert form.message == "That grain is used."
    form.refuse("width", "Too wide for the tube.")
    assert form.field("width").error == "Too wide for the tube."


def test_hidden_fields_are_taken_off() -> None:
    form = _form(*GOOD, ("version", "3"), ("once", "token"))
    assert (form.version, form.once) == (3, "token")
    assert "version" not in form.values
    assert _form(("version", "x")).version is None
    assert len(_form().once) > 20  # a form sent without a token gets one of its own


def test_bare_numbers_are_taken_in_the_workshops_units() -> None:
    form = _form(("name", "Gull"), ("width", "3/4"))
    data = form.check(UnitSystem(length="in"))
    assert isinstance(data, ThingIn)
    assert data.width == Quantity(0.01905, "3/4 in")


def test_from_form_to_row_and_back() -> None:
    data = CastingTubeIn.model_validate({"name": "Paper", "inner_d": '1 3/4"', "outer_d": "47,2", "note": "thin"})
    row = build(CastingTube, data)
    assert (row.inner_d_m, row.outer_d_m, row.length_m) == (0.04445, 0.0472, None)
    texts = as_form(row, CastingTubeIn, METRIC)
    assert texts == {
        "name": "Paper",
        "inner_d": "44.45 mm",
        "outer_d": "47.2 mm",
        "length": "",
        "tare": "",
        "note": "thin",
    }
    assert build(CastingTube, CastingTubeIn.model_validate({k: v for k, v in texts.items() if v})).inner_d_m == 0.04445


NAMES = [*ThingIn.model_fields, "lines.0.what", "lines.3.share", "version"]


@given(st.lists(st.tuples(st.sampled_from(NAMES), st.text())))
def test_any_texts_are_accepted_or_answered_and_always_kept(texts: list[tuple[str, str]]) -> None:
    form = _form(*texts)
    data = form.check(METRIC)
    assert (data is None) == bool(form.errors)
    for words in form.errors.values():
        assert words.strip()
    for name, text in dict(reversed(texts)).items():
        if name != "version":
            assert form.text(name) == text


def test_an_empty_choice_says_whether_there_is_none_or_it_was_not_told() -> None:
    form = _form()
    assert (form.field("kind").empty, form.field("place_id").empty) == ("unknown", "none")


class TellingIn(FormIn):
    """Sizes that only a ring has: all needed then, but for its note."""

    whens: ClassVar[Sequence[When]] = (
        When("closure", ("ring",), ("groove", "ring"), "A ring has both."),
        When("closure", ("ring",), ("remark",)),
    )
    name: str = FormField(title="Name")
    closure: Literal["ring", "glued"] | None = FormField(None, title="Closure")
    groove: float | None = FormField(None, title="Groove")
    ring: float | None = FormField(None, title="Ring")
    remark: str = FormField("", title="Remark")


@pytest.mark.parametrize(
    ("closure", "drawn", "said"),
    [
        ("ring", "name closure groove ring remark", ["closure (optional)", "remark (optional)"]),
        ("glued", "name closure groove ring remark", ["closure (optional)", "remark (optional)"]),
        ("ring", "name closure remark", [marks.REST, "name (needed)"]),
        ("glued", "name closure remark", ["closure (optional)", "remark (optional)"]),
        ("ring", "closure groove", ["closure (optional)"]),
        ("ring", "closure remark", [marks.ALL]),
        ("ring", "remark", ["remark (optional)"]),
        ("ring", "name ring", []),
    ],
)
def test_what_is_marked_is_the_fewer_of_what_is_drawn_and_asked_for(closure: str, drawn: str, said: list[str]) -> None:
    form = _form(("closure", closure), model=TellingIn)
    page = marks.marked(Markup("\n").join(Markup("%s%s") % (name, form.field(name).mark) for name in drawn.split()))
    lines = [re.sub("<[^>]+>", "", line) for line in page.replace(Markup("</p>"), Markup("</p>\n")).splitlines()]
    assert [line for line in lines if " " in line] == said
    assert "<!--" not in page
