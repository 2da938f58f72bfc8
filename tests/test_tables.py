"""Tables as CSV: what is written is read back by Python's own reader (RFC 4180), and no cell runs as a formula."""

import csv
import io
from collections.abc import Iterable, Iterator
from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app import tables


def read(pieces: Iterable[bytes]) -> list[list[str]]:
    text = b"".join(pieces).decode("utf-8")
    return list(csv.reader(io.StringIO(text, newline=""), strict=True))


def test_the_form_is_that_of_rfc_4180() -> None:
    """RFC 4180, section 2: CR LF after each line, the last too; quotes around what needs them; quotes doubled."""
    rows = [["aaa", 'b"bb', "c,cc"], ["two\r\nlines", "", "Größe"]]
    made = b"".join(tables.as_csv(["one", "two", "three"], rows))
    assert made == 'one,two,three\r\naaa,"b""bb","c,cc"\r\n"two\r\nlines",,Größe\r\n'.encode()


def test_numbers_stay_numbers_and_times_are_iso() -> None:
    moment = datetime(2026, 11, 25, 12, 5, tzinfo=UTC)
    row = [-1.5, -3, 0.1 + 0.2, None, float("nan"), True, date(2026, 11, 25), moment]
    assert read(tables.as_csv([str(i) for i in range(8)], [row]))[1] == [
        "-1.5",
        "-3",
        "0.30000000000000004",
        "",
        "",
        "yes",
        "2026-11-25",
        "2026-11-25T12:05:00+00:00",
    ]


@pytest.mark.parametrize("first", ["=", "+", "-", "@", "\t", "\r", "\n", "＝"])
def test_text_that_begins_like_a_formula_is_made_harmless(first: str) -> None:
    (cell,) = read(tables.as_csv(["note"], [[f"{first}HYPERLINK(1)"]]))[1]
    assert cell == f"'{first}HYPERLINK(1)"


def test_heads_are_made_harmless_too() -> None:
    assert read(tables.as_csv(["=1+1"], [])) == [["'=1+1"]]


def test_half_a_letter_does_not_break_the_file() -> None:
    assert read(tables.as_csv(["a"], [["x\ud800y"]]))[1] == ["x?y"]


def test_a_row_of_another_length_is_a_fault() -> None:
    with pytest.raises(ValueError, match="1 cells under 2 heads"):
        list(tables.as_csv(["a", "b"], [["x"]]))


def test_rows_are_asked_for_as_they_are_sent() -> None:
    asked = 0

    def rows() -> Iterator[list[str]]:
        nonlocal asked
        for _ in range(10_000):
            asked += 1
            yield ["x" * 99]

    pieces = tables.as_csv(["a"], rows())
    next(pieces)
    assert asked < 1000
    assert sum(len(p) for p in pieces) > 900_000


@given(st.lists(st.lists(st.text(st.characters(exclude_categories=["Cs"])), min_size=2, max_size=2), max_size=5))
def test_whatever_text_is_read_back(rows: list[list[str]]) -> None:
    found = read(tables.as_csv(["a", "b"], rows))[1:]
    assert found == [[tables.harmless(cell) for cell in row] for row in rows]


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_every_figure_of_a_number_is_kept(value: float) -> None:
    assert float(read(tables.as_csv(["a"], [[value]]))[1][0]) == value
