"""Samples out of a text: every line that fits the usual shape, whatever stands between, and what was passed over.

Lines are counted from 1, as an editor does; rows of numbers from 0.
"""

import io
import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from app.calc.base.constants import Floats
from app.calc.base.errors import CalcError
from app.calc.record.cell_text import cell_pattern, clock_pattern, kind, to_number, to_seconds
from app.calc.record.logger_text import ARROW, DELIMITERS, Layout, cells, grouped, sample_lines, split

_BLOCK = 2_000_000  # letters that are read at a time
_EXPLAINED = 500  # places passed over of which each is told what is wrong with it
_RARE = 0.1  # share of lines from which a count of cells is usual
_GROUPED_IN_COMMAS = re.compile(r"(?<![\d.])(\d{1,3}),(\d{3}(?:\.\d+)?)(?![\d])")

Progress = Callable[[float], None]
"""Told the share of the text that is read, from 0 to 1."""


@dataclass(frozen=True)
class Skipped:
    """Lines in a row that hold no sample: the first and last of them, how the first begins, and what is said of it."""

    first_line: int
    last_line: int
    begins: str
    fault: str
    row: int

    @property
    def count(self) -> int:
        """How many lines [-]."""
        return self.last_line - self.first_line + 1


@dataclass(frozen=True)
class Lines:
    """On which line each row stands: stretches without a break by their first row and line, each shape (K,)."""

    rows: NDArray[np.int64]
    lines: NDArray[np.int64]

    def of(self, row: int) -> int:
        """The line of a row."""
        i = int(np.searchsorted(self.rows, row, side="right")) - 1
        return int(self.lines[i] + row - self.rows[i])

    def of_all(self, low: int, high: int) -> NDArray[np.int64]:
        """The lines of the rows from one to another."""
        rows = np.arange(low, high + 1)
        at = np.searchsorted(self.rows, rows, side="right") - 1
        return np.asarray(self.lines[at] + rows - self.rows[at])

    def kept(self, rows: NDArray[np.intp]) -> "Lines":
        """The same for some of the rows, in their order."""
        at = np.searchsorted(self.rows, rows, side="right") - 1
        lines = self.lines[at] + rows - self.rows[at]
        first = np.flatnonzero(np.r_[True, np.diff(lines) != 1])
        return Lines(first.astype(np.int64), lines[first])


@dataclass(frozen=True)
class Table:
    """Numbers of the wanted columns [-], shape (columns, N), their lines, and the lines that were passed over.

    `clocks` are those of the wanted columns that hold times of day, turned into seconds; `joined` counts lines in
    which a comma was read as one that sets thousands apart.
    """

    columns: Floats
    lines: Lines
    skipped: tuple[Skipped, ...] = ()
    clocks: frozenset[int] = frozenset()
    joined: int = 0


@dataclass
class _Found:
    """What is gathered while a text is read."""

    rows: list[int] = field(default_factory=list)
    lines: list[int] = field(default_factory=list)
    skipped: list[Skipped] = field(default_factory=list)
    joined: int = 0
    next_line: int = -1

    def sample(self, row: int, line: int, count: int = 1) -> None:
        if line != self.next_line:
            self.rows.append(row)
            self.lines.append(line)
        self.next_line = line + count

    def skip(self, row: int, line: int, words: str, shape: "_Shape") -> None:
        last = self.skipped[-1] if self.skipped else None
        if last is not None and last.row == row:
            self.skipped[-1] = replace(last, last_line=line)
        else:
            fault = _fault(words, shape) if len(self.skipped) < _EXPLAINED else "holds no sample"
            self.skipped.append(Skipped(line, line, words.strip()[:60], fault, row))


@dataclass(frozen=True)
class _Shape:
    """What a line must look like to be a sample."""

    layout: Layout
    wanted: tuple[int, ...]
    least: int
    usual: int
    clocks: frozenset[int]
    grouped: bool
    pattern: re.Pattern[str]
    thousands: re.Pattern[str] | None

    def numbers(self, groups: tuple[str, ...]) -> list[float]:
        """The wanted numbers of a line that fits."""
        return [
            to_seconds(text) if column in self.clocks else to_number(text, self.layout.decimal, self.grouped)
            for column, text in zip(sorted(set(self.wanted)), groups, strict=True)
        ]


def read_table(text: bytes, layout: Layout, wanted: Sequence[int], progress: Progress | None = None) -> Table:
    """Read some columns of all lines that look like samples; the others are passed over and told.

    Parameters
    ----------
    text : bytes
        From `plain_text` [-].
    layout : Layout
        How it is made up [-].
    wanted : sequence of int
        Columns, counted from 1 [-].
    progress : callable, optional
        Told the share that is read [-].

    Returns
    -------
    Table
        Numbers in the units of the file [-], shape (columns wanted, rows).

    Raises
    ------
    CalcError
        No line from the first one on holds numbers in these columns.

    Notes
    -----
    A sample has a finite number in each wanted column, and as many cells as usual: fewer are a half line; more are
    taken only if the next one is empty or a word, as of a table beside. Columns not wanted may hold words. In a text
    of commas a line with too many cells is read with its comma as one of thousands if it fits so. Blocks in which all
    is well are handed to NumPy whole.

    Examples
    --------
    >>> found = read_table(b"t;F\\n0;2,5\\nready\\n1;2,6\\n", Layout("semicolon", ",", 2, 2), [2])
    >>> found.columns.tolist(), found.lines.of(1), found.skipped[0].begins
    ([[2.5, 2.6]], 4, 'ready')
    """
    shape = _shape(text, layout, tuple(wanted))
    stream = io.BytesIO(text)
    for _ in range(layout.first_line - 1):
        stream.readline()
    most = text.count(b"\n", stream.tell()) + 1
    table = np.empty((len(wanted), most))  # filled by blocks: ten million lines need no second copy of them all
    found, line, rows = _Found(), layout.first_line, 0
    while block := stream.readlines(_BLOCK):
        numbers = _whole(block, shape)
        if numbers is None:
            numbers = _by_lines(block, shape, found, line, rows)
        else:
            found.sample(rows, line, len(block))
        table[:, rows : rows + numbers.shape[1]] = numbers
        rows += numbers.shape[1]
        line += len(block)
        if progress is not None:
            progress(stream.tell() / max(len(text), 1))
    if not rows:
        raise _nothing(found, layout, wanted)
    lines = Lines(np.array(found.rows, np.int64), np.array(found.lines, np.int64))
    return Table(table[:, :rows], lines, tuple(found.skipped), shape.clocks, found.joined)


def _nothing(found: _Found, layout: Layout, wanted: Sequence[int]) -> CalcError:
    if not found.skipped:
        return CalcError("first_line", f"There is nothing from line {layout.first_line} on.", "Type an earlier line.")
    first = found.skipped[0]
    many = "columns" if len(wanted) > 1 else "column"
    return CalcError(
        "file",
        f"No line holds numbers in {many} {' and '.join(str(c) for c in wanted)}. "
        f"Line {first.first_line} {first.fault}: “{first.begins}”.",
        "Choose other columns, or another delimiter or decimal sign.",
    )


# --- What a line looks like ----------------------------------------------------------------------


def _shape(text: bytes, layout: Layout, wanted: tuple[int, ...]) -> _Shape:
    """The usual look of a line, told by lines of several places."""
    thousands = grouped(text, layout.delimiter, layout.decimal)
    rows = [split(line, layout.delimiter) for line in sample_lines(text, layout.first_line)]
    kinds = [
        [kind(row[c - 1].strip().strip('"').strip(), layout.decimal, thousands) for c in wanted]
        for row in rows
        if len(row) >= max(wanted)
    ]
    usual = [Counter(k[i] for k in kinds).most_common(1)[0][0] if kinds else "number" for i in range(len(wanted))]
    fits = [row for row in rows if len(row) >= max(wanted)]
    counts = Counter(len(row) for row in fits if _all_fit(row, wanted, usual, layout.decimal, thousands))
    total = sum(counts.values())
    common = [n for n, times in counts.items() if times >= _RARE * total] or [max(wanted)]
    order = sorted(set(wanted))
    by_column = dict(zip(wanted, usual, strict=True))
    clocks = frozenset(c for c in order if by_column[c] == "clock")
    least, most = min(common), max(common)
    pattern = _pattern(order, by_column, layout, (least, most), thousands)
    joined = None
    if layout.delimiter == "comma" and layout.decimal == "." and not thousands:
        joined = _pattern(order, by_column, layout, (least, most), True)
    return _Shape(layout, wanted, least, most, clocks, thousands, pattern, joined)


def _all_fit(row: list[str], wanted: tuple[int, ...], usual: list[str], decimal: str, thousands: bool) -> bool:
    return all(
        kind(row[c - 1].strip().strip('"').strip(), decimal, thousands) == u for c, u in zip(wanted, usual, strict=True)
    )


def _pattern(
    order: list[int], kinds: dict[int, str], layout: Layout, counts: tuple[int, int], thousands: bool
) -> re.Pattern[str]:
    """A line that is a sample, its wanted numbers as groups."""
    sign = DELIMITERS[layout.delimiter]
    least, most = counts
    held = {
        c: clock_pattern() if kinds[c] == "clock" else cell_pattern(layout.decimal, thousands, kinds[c] == "dressed")
        for c in order
    }
    if sign is None:
        between, any_cell, blank = r"\s+", r"\S+", r"\s*"
        held = {c: p.replace(r"\s*", "") for c, p in held.items()}
    else:
        s = re.escape(sign)
        between = rf"(?:{s}|{re.escape(ARROW)})"
        any_cell = rf'(?:\s*"[^"]*"\s*|[^{s}"]*?)'
        blank = r"\s*"
    parts = [held.get(c, any_cell) for c in range(1, order[-1] + 1)]
    more = f"(?:{between}{any_cell}){{{max(least - order[-1], 0)},{max(most - order[-1], 0)}}}"
    beside = rf'(?:{between}(?:\s*(?:{between}.*)?|\s*"?[^\W\d].*))?' if sign else r"(?:\s+[^\W\d].*)?"
    return re.compile(blank + between.join(parts) + more + beside + r"\s*")


# --- Reading -------------------------------------------------------------------------------------


def _whole(block: list[bytes], shape: _Shape) -> Floats | None:
    """All lines of a block as numbers, or None where one of them is no sample."""
    layout = shape.layout
    sign = DELIMITERS[layout.delimiter]
    comma = layout.decimal == ","
    if shape.clocks or shape.grouped or shape.least != shape.usual or (comma and sign == ","):
        return None
    joined = b"".join(block)
    if sign is not None and joined.count(sign.encode()) != len(block) * (shape.usual - 1):
        return None
    if b'"' in joined or (comma and b"." in joined):
        return None
    if sign is None and len(joined.split()) != len(block) * shape.usual:
        return None
    try:
        numbers = np.loadtxt(
            [words.replace(b",", b".") for words in block] if comma else block,
            delimiter=sign,
            usecols=[c - 1 for c in shape.wanted],
            ndmin=2,
            comments=None,
            encoding="latin-1",
        )
    except (ValueError, IndexError):
        return None
    if len(numbers) != len(block) or not np.isfinite(numbers).all():  # empty lines are passed over by NumPy
        return None
    return np.asarray(numbers.T)


def _by_lines(block: list[bytes], shape: _Shape, found: _Found, line: int, row: int) -> Floats:
    """The samples of a block, line by line."""
    fits = shape.pattern.fullmatch
    kept: list[tuple[str, ...]] = []
    others: dict[int, list[float]] = {}
    at = row
    for number, raw in enumerate(block, start=line):
        try:
            words = raw.decode("utf-8")
        except UnicodeDecodeError:
            words = raw.decode("latin-1")
        words = words.rstrip("\r\n")
        match = fits(words)
        if match is not None:
            kept.append(match.groups())
            found.sample(at, number)
            at += 1
            continue
        if not words.strip():
            continue
        again = _with_thousands(words, shape)
        if again is not None:
            others[at - row] = again
            kept.append(())
            found.sample(at, number)
            found.joined += 1
            at += 1
        else:
            found.skip(at, number, words, shape)
    return _numbers(kept, others, shape)


def _numbers(kept: list[tuple[str, ...]], others: dict[int, list[float]], shape: _Shape) -> Floats:
    order = sorted(set(shape.wanted))
    if not shape.clocks and not shape.grouped and not others and shape.layout.decimal == "." and kept:
        table = np.array(kept, dtype="S64").astype(float) if len(kept) else np.empty((0, len(order)))
    else:
        table = np.array(
            [others[i] if i in others else shape.numbers(groups) for i, groups in enumerate(kept)], dtype=float
        ).reshape(len(kept), len(order))
    return np.asarray(table[:, [order.index(c) for c in shape.wanted]].T)


def _with_thousands(words: str, shape: _Shape) -> list[float] | None:
    """The numbers of a line of commas with one too many, where a comma that sets thousands apart explains it."""
    if shape.thousands is None or words.count(",") <= shape.usual - 1:
        return None
    match = shape.thousands.fullmatch(_GROUPED_IN_COMMAS.sub(r'"\1,\2"', words))
    if match is None:
        return None
    return [
        to_seconds(text) if c in shape.clocks else to_number(text, ".", True)
        for c, text in zip(sorted(set(shape.wanted)), match.groups(), strict=True)
    ]


def _fault(words: str, shape: _Shape) -> str:
    """What is wrong with a line, as it follows its number."""
    row = cells(words, shape.layout.delimiter)
    for column in shape.wanted:
        if column > len(row):
            return f"has {len(row)} of the {shape.usual} columns"
        cell = row[column - 1]
        what = kind(cell, shape.layout.decimal, shape.grouped)
        if what not in ("number", "clock", "dressed"):
            return (
                f"holds “{cell[:30]}”, which is not a number, in column {column}"
                if cell
                else (f"holds nothing in column {column}")
            )
    return f"has {len(row)} columns instead of {shape.usual}"
