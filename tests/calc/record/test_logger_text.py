"""Texts of loggers: delimiters, decimal signs, headers, roles, and each fault told with its line."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.calc.base.constants import STANDARD_GRAVITY
from app.calc.base.errors import CalcError
from app.calc.record.columns import FORCE_UNITS, PRESSURE_UNITS, TIME_UNITS, usual_time_unit
from app.calc.record.digits import plain_decimals
from app.calc.record.logger_text import Layout, first_numbers, guess_layout
from app.calc.record.moments import moments
from app.calc.record.plain_text import plain_text
from app.calc.record.roles import guess_roles
from app.calc.record.runs import read_table

T = np.arange(40) / 100
F = np.round(200 * np.sin(np.pi * T / 0.39) ** 2, 3)


def text(
    delimiter: str = ",", decimal: str = ".", head: str = "Time (s){0}Force (N)\n", end: str = "\n", tail: str = ""
) -> bytes:
    rows = [f"{t:.2f}{delimiter}{f:.3f}" if decimal == "." else f"{t:.2f}§{f:.3f}" for t, f in zip(T, F, strict=True)]
    if decimal == ",":
        rows = [row.replace(".", ",").replace("§", delimiter) for row in rows]
    return (head.format(delimiter) + end.join(rows) + end + tail).encode()


@pytest.mark.parametrize("head", ["", "Time (s){0}Force (N)\n", "Logger 3.1\nTest of 5 May\n\nTime (s){0}Force (N)\n"])
@pytest.mark.parametrize(
    ("delimiter", "decimal", "name"),
    [
        (",", ".", "comma"),
        (";", ".", "semicolon"),
        (";", ",", "semicolon"),
        ("\t", ".", "tab"),
        ("\t", ",", "tab"),
        ("  ", ".", "blank"),
        (" ", ",", "blank"),
        (", ", ".", "comma"),
    ],
)
def test_any_delimiter_and_decimal_sign_with_or_without_a_head(
    head: str, delimiter: str, decimal: str, name: str
) -> None:
    raw = plain_text(text(delimiter, decimal, head))
    layout = guess_layout(raw)
    assert (layout.delimiter, layout.decimal, layout.columns) == (name, decimal, 2)
    assert layout.first_line == head.count("\n") + 1
    columns = read_table(raw, layout, [1, 2]).columns
    assert np.abs(columns - [T, F]).max() < 1e-12
    if head and delimiter not in ("  ", " "):
        assert layout.names == ("Time (s)", "Force (N)")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "latin-1"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_encodings_and_line_ends(encoding: str, end: str) -> None:
    words = text(head="t (µs){0}Kraft (N)\n").decode().replace("\n", end)
    raw = plain_text(words.encode(encoding))
    layout = guess_layout(raw)
    assert layout.names[0] == "t (µs)"
    assert np.abs(read_table(raw, layout, [2]).columns[0] - F).max() < 1e-12


@pytest.mark.parametrize(
    ("start", "words"),
    [
        (b"PK\x03\x04rest", "zip archive"),
        (b"\x89PNG\r\n\x1a\n", "a picture"),
        (b"\xff\xd8\xff\xe0", "a picture"),
        (b"%PDF-1.7", "a PDF"),
        (b"\x1f\x8b\x08", "compressed"),
        (b"0,1\n" + bytes(range(14, 27)) * 9, "Line 2 holds bytes"),
        (bytes(range(1, 256)) * 9, "holds bytes that are not text"),
        (b"", "is empty"),
        (b" \r\n \n", "is empty"),
    ],
)
def test_what_is_not_text_is_told_by_its_content(start: bytes, words: str) -> None:
    with pytest.raises(CalcError, match=words) as fault:
        plain_text(start + (b"" if words == "is empty" else b" more"))
    assert fault.value.field == "file"


def test_a_letter_is_no_table() -> None:
    with pytest.raises(CalcError, match=r"No lines of numbers.*Dear club"):
        guess_layout(b"Dear club,\nthe test went well.\n")
    with pytest.raises(CalcError, match="longer than"):
        guess_layout(b"1," * 20_000)


@pytest.mark.parametrize(
    ("line", "instead", "words"),
    [
        (20, "0.18,oops", "holds “oops”, which is not a number, in column 2"),
        (7, "0.05", "has 1 of the 2 columns"),
        (9, "0.07,nan", "holds “nan”, which is not a number, in column 2"),
        (30, "stopped", "holds “stopped”, which is not a number, in column 1"),
        (12, "0.1,,3", "holds nothing in column 2"),
        (33, "0.31,inf", "holds “inf”, which is not a number, in column 2"),
        (15, "0.13,1,2", "has 3 columns instead of 2"),
    ],
)
def test_a_line_that_is_no_sample_is_passed_over_and_named(line: int, instead: str, words: str) -> None:
    lines = text().decode().splitlines()
    lines[line - 1] = instead
    raw = "\n".join(lines).encode()
    found = read_table(raw, guess_layout(raw), [1, 2])
    (skipped,) = found.skipped
    assert (skipped.first_line, skipped.last_line, skipped.begins, skipped.fault) == (line, line, instead, words)
    assert found.columns[1].tolist() == np.delete(F, line - 2).tolist()
    assert found.lines.of(line - 3) == line - 1
    assert found.lines.of(line - 2) == line + 1


def test_columns_that_are_not_wanted_may_hold_words() -> None:
    raw = "\n".join(f"10:00:{i:02d},{i},{i * i},ok" for i in range(20)).encode()
    layout = guess_layout(raw)
    assert layout.columns == 4
    assert read_table(raw, layout, [2, 3]).columns[1].tolist() == [i * i for i in range(20)]


@pytest.mark.parametrize("line", ["10:00:00.123 -> {}", "Force: {} N", "ok;{};running"])
def test_words_around_a_number_are_passed_over(line: str) -> None:
    raw = "\n".join(line.format(f"{f:.2f}") for f in F).encode()
    layout = guess_layout(raw)
    found = first_numbers(raw, layout)
    force = guess_roles(found, layout.names).force
    assert force is not None
    assert np.abs(read_table(raw, layout, [force]).columns[0] - F).max() < 0.006
    assert len(found[force - 1]) == len(F)


def test_a_fault_near_the_beginning_does_not_hide_what_the_columns_are() -> None:
    lines = text().decode().splitlines()
    lines[19] = "0.18,oops"
    raw = "\n".join(lines).encode()
    layout = guess_layout(raw)
    found = guess_roles(first_numbers(raw, layout), layout.names)
    assert (found.time, found.force) == (1, 2)


def test_empty_lines_are_passed_over_and_counted() -> None:
    raw = b"t,F\n" + b"".join(b"%d,%d\n\n" % (i, i) for i in range(12))
    layout = guess_layout(raw)
    found = read_table(raw, layout, [1])
    assert found.columns[0].tolist() == list(range(12))
    assert found.lines.of(3) == 8
    assert not found.skipped
    with pytest.raises(CalcError, match="nothing from line 90"):
        read_table(raw, Layout("comma", ".", 90, 2), [1])
    with pytest.raises(CalcError, match="Line 2 has 2 of the"):
        read_table(raw, layout, [3])


@pytest.mark.parametrize(
    ("heads", "expected"),
    [
        (("Time (ms)", "Thrust [kgf]", "Pressure_psi"), (1, "ms", 2, "kgf", 3, "psi")),
        (("Chamber bar", "t (s)", "Load lbf"), (2, "s", 3, "lbf", 1, "bar")),
        (("micros", "raw", "temp"), (1, "us", 2, None, None, None)),
        (("", "", ""), (1, None, None, None, None, None)),
        (("Zeit in s", "Kraft in g", "Druck in MPa"), (1, "s", 2, "gf", 3, "MPa")),
    ],
)
def test_roles_are_guessed_from_words_or_from_how_columns_run(
    heads: tuple[str, str, str], expected: tuple[int, str | None, int | None, str | None, int | None, str | None]
) -> None:
    columns = [np.arange(30.0) * 2, np.sin(np.arange(30.0)), np.cos(np.arange(30.0))]
    if heads[0] == "Chamber bar":
        columns = [columns[1], columns[0], columns[2]]
    found = guess_roles(columns, heads)
    assert (found.time, found.time_unit, found.force, found.force_unit, found.pressure, found.pressure_unit) == expected


@pytest.mark.parametrize(("step", "unit"), [(0.001, "s"), (0.0125, "s"), (1.0, "ms"), (100.0, "ms"), (1000.0, "us")])
def test_the_unit_of_time_without_words(step: float, unit: str) -> None:
    columns = [5 + step * np.arange(50.0), np.ones(50)]
    assert usual_time_unit(columns[0]) == unit
    assert guess_roles(columns, ()).time_unit is None


def test_raw_counts_and_a_file_without_time_are_guessed() -> None:
    counts = np.array([83_000.0, 82_990.0, 400_000.0, 82_995.0])
    found = guess_roles([counts], ())
    assert (found.time, found.force, found.force_unit) == (None, 1, None)


def rows(*parts: object) -> np.ndarray:
    return np.concatenate([np.atleast_1d(np.asarray(part, float)) for part in parts])


def test_a_clock_that_rises_is_taken_as_it_is() -> None:
    found = moments(rows(5.0, 6.0, 8.0), "ms")
    assert found.parts[0].time.tolist() == [0.0, 1e-3, 3e-3]
    assert (found.rolled, found.restarts, found.strays, found.others, found.repeated) == ((), (), (), (), 0)


@pytest.mark.parametrize(
    ("unit", "full", "step"),
    [("ms", 2**32, 12.0), ("us", 2**32, 12_500.0), ("ms", 2**32 / 1e3, 10.0), ("s", 2**32 / 1e6, 0.01)],
)
def test_a_clock_of_32_bits_that_is_full_goes_on(unit: str, full: float, step: float) -> None:
    whole = full - 20.5 * step + step * np.arange(100)
    found = moments(np.where(whole < full, whole, whole - full), unit)
    assert found.rolled == (21,)
    assert found.parts[0].time == pytest.approx(step * TIME_UNITS[unit] * np.arange(100), rel=1e-6)


def test_a_day_ends_at_midnight() -> None:
    found = moments(rows(86_399 + np.arange(10) / 10, np.arange(10) / 10), "ms", clock=True)
    assert found.rolled == (10,)
    assert found.parts[0].time == pytest.approx(np.arange(20) / 10)


def test_a_clock_that_begins_again_parts_the_record() -> None:
    found = moments(rows(np.arange(40) + 700.0, np.arange(60) + 3.0), "ms")
    assert found.restarts == (40,)
    assert [part.rows.tolist() for part in found.parts] == [list(range(40)), list(range(40, 100))]
    assert found.parts[1].time[-1] == pytest.approx(0.059)


def test_lines_out_of_order_are_left_out() -> None:
    found = moments(rows(np.arange(30), 12, np.arange(30, 50)), "s")
    assert found.strays == (30,)
    assert found.parts[0].time.tolist() == list(range(50))


def test_stamps_of_a_coarse_clock_are_spread_evenly() -> None:
    """Eleven samples a second, stamps of whole seconds, the first second begun late and the last one cut."""
    true = np.arange(7, 200) / 11
    found = moments(np.floor(true) + 40_000, "s")
    assert found.repeated == true.size - 19
    assert np.abs(found.parts[0].time - (true - true[0])).max() < 1e-9
    hole = np.delete(true, np.arange(50, 105))  # five seconds lost
    kept = moments(np.floor(hole), "s").parts[0].time
    assert np.diff(kept).max() > 4.5


def test_a_short_table_below_is_none_of_the_record() -> None:
    column = rows(np.arange(100) / 10, 523.0, 12.0)
    found = moments(column, "s", np.array([0, 100, 101]))
    assert found.others == (100, 101)
    assert moments(column[:100], "s", np.array([0, 50, 51])).others == ()


def test_what_is_no_clock_is_refused() -> None:
    with pytest.raises(CalcError, match="every time in it is the same"):
        moments(np.ones(50), "s")
    with pytest.raises(CalcError, match="which no clock does"):
        moments(np.tile([0.0, 1.0], 500), "s")


def test_units_are_the_exact_ones() -> None:
    """NIST SP 811 (2008), appendix B.8: lbf 4.448222 N, psi 6894.757 Pa, kgf 9.80665 N (from memory)."""
    assert round(FORCE_UNITS["lbf"], 6) == 4.448222
    assert round(PRESSURE_UNITS["psi"], 3) == 6894.757
    assert FORCE_UNITS["kgf"] == STANDARD_GRAVITY == 1000 * FORCE_UNITS["gf"]
    assert (TIME_UNITS["ms"], TIME_UNITS["us"]) == (1e-3, 1e-6)


@pytest.mark.parametrize("text", [b"\n", b"\n" * 400, b"  \n\t\n", b"\n" * 400 + b"stopped\n"])
def test_a_file_of_empty_lines_is_refused_in_words(text: bytes) -> None:
    with pytest.raises(CalcError, match="No lines of numbers"):
        guess_layout(text)


@given(
    st.lists(
        st.tuples(st.integers(-(10**8), 10**8), st.integers(0, 10**6), st.integers(0, 6)), min_size=1, max_size=40
    ),
    st.sampled_from([(",", "."), (";", ","), ("\t", ".")]),
    st.integers(1, 4),
)
def test_decimals_at_once_are_the_nearest_doubles(
    numbers: list[tuple[int, int, int]], signs: tuple[str, str], columns: int
) -> None:
    """Python's own `float` is correctly rounded (David Gay's strtod)."""
    cells = [f"{whole}.{part:06d}"[: len(str(whole)) + 1 + digits] for whole, part, digits in numbers]
    cells += ["7"] * (-len(cells) % columns)
    rows = [cells[i : i + columns] for i in range(0, len(cells), columns)]
    block = "".join(signs[0].join(row).replace(".", signs[1]) + "\n" for row in rows).encode()
    found = plain_decimals(block, *signs, columns)
    assert found is not None
    assert found.T.tolist() == [[float(cell) for cell in row] for row in rows]


PLAIN_NOT = [
    "1,2\n3",
    "1,2\n3,4,5",
    "1,2,3\n4",
    "1,",
    "1,2 ",
    "1,2e3",
    "1.2.3,4",
    "1-2,3",
    "1,--2",
    "",
    "1,nan",
    "1,.",
    "1,-",
]


@pytest.mark.parametrize("text", [*PLAIN_NOT, "1,1234567890123456"])
def test_what_is_not_plain_is_left_to_be_read_line_by_line(text: str) -> None:
    assert plain_decimals(text.encode() + b"\n", ",", ".", 2) is None


@pytest.mark.parametrize("every", [0, 3, 1])
def test_long_texts_are_the_same_read_at_once_or_by_lines_and_progress_is_told(every: int) -> None:
    """Blocks of a quarter of a million letters; words after every row, every third or none."""
    t, force = np.arange(40_000) / 1000, np.round(100 * np.sin(np.arange(40_000) / 900), 2)
    rows = [f"{a:.3f},{f:.2f}" for a, f in zip(t, force, strict=True)]
    lines = [line for i, row in enumerate(rows) for line in ([row, "ok, sent"] if every and i % every == 0 else [row])]
    raw = ("time,force\n" + "\n".join(lines)).encode()
    told: list[float] = []
    found = read_table(raw, guess_layout(raw), [1, 2], told.append)
    assert found.columns.tolist() == [t.tolist(), force.tolist()]
    assert sum(one.count for one in found.skipped) == len(lines) - len(rows)
    assert [found.lines.of(row) for row in (0, 1, 39_999)] == [2, lines.index(rows[1]) + 2, lines.index(rows[-1]) + 2]
    assert told == sorted(told)
    assert told[-1] == 1.0
