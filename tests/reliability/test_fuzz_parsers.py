"""Fuzz of everything that reads text: a value, or a refusal of its own kind in words; never anything else."""

import math
import string
from collections import Counter

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app import scale_lines, units
from app.calc.base.errors import CalcError
from app.calc.record import logger_text, plain_text
from app.calc.record.runs import read_table
from app.forms import from_texts, whole
from app.models.base import FormIn
from app.models.curve import ReadIn
from app.models.firing import FiringIn
from app.models.formula import FormulaIn
from app.models.workshop import WorkshopIn
from app.services.book import serials
from app.units import say
from tests.reliability.fuzz import CASES, enough, tried

_SIGNS = st.sampled_from(["", "-", "+", "−", "--", " "])
_DIGITS = st.one_of(
    st.integers(0, 10**6).map(str),
    st.floats(allow_nan=True).map(repr),
    st.sampled_from(
        [
            "1/2",
            "3 1/4",
            "1,5",
            ".5",
            "5.",
            "1.2.3",
            "1e9",
            "0x1",
            "٣",
            "²",
            "½",
            "1_0",
            "9" * 400,
            "1/0",
            "0/0",
            "1" * 400 + "/3",
            "",
            "nan",
        ]
    ),
)
_UNITS = st.sampled_from([unit for kind in units.KINDS.values() for unit in kind.accepted] + ["", "furlong", "G", " "])
_measures = st.one_of(
    st.tuples(_SIGNS, _DIGITS, st.sampled_from(["", " ", "\t", "\u00a0", "\n"]), _UNITS).map("".join),
    st.text(max_size=30),
    st.text(string.digits + ".,/-+ '\"eE°µ″", max_size=12),
)
_words = st.sampled_from(
    [
        "ST",
        "US",
        "OL",
        "GS",
        "NT",
        "TR",
        "N",
        "G",
        "T",
        "S S",
        "S D",
        "net",
        "tare",
        ",",
        ":",
        "?",
        "g",
        "kg",
        "oz",
        "+",
        "-",
        "123.4",
        "0,5",
        "9" * 30,
        "\r\n",
        "\x02",
        "\x03",
        "\x00",
        " ",
        "---",
        "Err 4",
        "2611R-04",
    ]
)
_lines = st.one_of(st.lists(_words, max_size=7).map("".join), st.lists(_words, max_size=6).map(" ".join), st.text())
_cells = st.one_of(
    st.floats().map(str),
    st.floats(-100, 100).map(lambda x: f"{x:.3f}".replace(".", ",")),
    st.integers().map(str),
    st.sampled_from(["", "nan", "inf", "time", "force [N]", '"1"', '"', "=1+1", "\x00", "1e400", "-"]),
    st.text(max_size=5),
)


@st.composite
def _files(draw: st.DrawFn) -> bytes:
    """Something like a logger's file: mostly columns of numbers, some lines of it broken, in any coding."""
    if draw(st.integers(0, 9)) == 0:
        return draw(st.binary(max_size=300))
    delimiter = draw(st.sampled_from([",", ";", "\t", " ", "  ", ", "]))
    columns = draw(st.integers(1, 4))
    number = st.floats(-50, 500).map(lambda x: f"{x:.4g}")
    rows = draw(st.lists(st.lists(number, min_size=columns, max_size=columns), max_size=25))
    for _ in range(draw(st.integers(0, 3))):
        rows.insert(draw(st.integers(0, len(rows))), draw(st.lists(_cells, max_size=5)))
    end = draw(st.sampled_from(["\n", "\r\n", "\r"]))
    text = end.join(delimiter.join(row) for row in rows) + draw(st.sampled_from(["", end]))
    raw = text.encode(draw(st.sampled_from(["utf-8", "utf-16", "latin-1", "utf-8-sig"])), "replace")
    return draw(st.sampled_from([b"", b"", b"", b"\xef\xbb\xbf", b"\x00", b"PK\x03\x04"])) + raw


def _in_words(message: str) -> str:
    assert len(message.split()) > 2
    return "refused"


def _unit(text: str, kind: str) -> str:
    try:
        found = units.parse(text, kind)
    except units.UnitError as error:
        return _in_words(str(error))
    assert math.isfinite(found.si)
    assert units.show(found.si, kind)
    if abs(found.si) < 1e12:  # what lies beyond is refused by each form's own bounds
        again = units.parse(units.editable(found.si, kind), kind)
        assert again.si == pytest.approx(found.si, rel=1e-6, abs=1e-12)
    return "read"


def _line(text: str) -> str:
    serials.scanned(text)
    serials.parts(text)
    whole(text)
    try:
        found = scale_lines.parse(text)
    except scale_lines.ScaleLineError as error:
        return _in_words(str(error))
    return _unit(found.text, "mass")


def _file(raw: bytes) -> str:
    try:
        text = plain_text.plain_text(raw)
        layout = logger_text.guess_layout(text)
        logger_text.first_lines(text, 20)
        logger_text.first_numbers(text, layout)
        found = read_table(text, layout, range(1, layout.columns + 1))
        assert found.lines.of(0) >= layout.first_line
        assert np.isfinite(found.columns).all()
    except CalcError as error:
        return _in_words(say(error.fault))
    return "read"


def _form(texts: list[tuple[str, str]], model: type[FormIn]) -> str:
    form = from_texts(model, texts, "form", "/x", {})
    found = form.check(units.METRIC)
    assert (found is None) == bool(form.errors)
    for _, label, fault in form.faults:
        assert label
        assert fault
    return "read" if found is not None else "refused"


@pytest.mark.promise("No fault and no stuck worker, whatever is sent", figure="4,000 cases")
def test_fuzz_every_parser() -> None:
    """Units, scale lines and scanned codes, logger and altimeter files, and the texts of forms."""
    seen: Counter[str] = Counter()
    part = CASES["parsers"]

    @tried(int(part * 0.35))
    @given(_measures, st.sampled_from(list(units.KINDS)))
    def measures(text: str, kind: str) -> None:
        seen[f"unit {_unit(text, kind)}"] += 1

    @tried(int(part * 0.35))
    @given(_lines)
    def lines(text: str) -> None:
        seen[f"line {_line(text)}"] += 1

    @tried(int(part * 0.2))
    @given(_files())
    def files(raw: bytes) -> None:
        seen[f"file {_file(raw)}"] += 1

    models: list[type[FormIn]] = [WorkshopIn, FormulaIn, FiringIn, ReadIn]
    fields = {name for model in models for name in model.model_fields}
    names = [*sorted(fields), "parts.0.percent", "parts.999.x", "", "."]
    texts = st.lists(st.tuples(st.sampled_from(names), st.one_of(_measures, st.text(max_size=8))), max_size=12)

    @tried(int(part * 0.12))
    @given(texts, st.sampled_from(models))
    def forms(given_texts: list[tuple[str, str]], model: type[FormIn]) -> None:
        seen[f"form {_form(given_texts, model)}"] += 1

    for try_all in (measures, lines, files, forms):
        try_all()
    enough(seen, "parsers")
    for kind in ("unit read", "unit refused", "line read", "line refused", "file read", "file refused", "form refused"):
        assert seen[kind] > 20, kind  # the generators reach both ways out
