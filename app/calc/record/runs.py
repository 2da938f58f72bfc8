"""Samples out of a text: every line that fits the usual shape, whatever stands between, and what was passed over.

Lines are counted from 1, as an editor does; rows of numbers from 0.
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from app.calc.base.constants import Floats
from app.calc.base.errors import CalcError
from app.calc.record.digits import plain_decimals
from app.calc.record.logger_text import DELIMITERS, Layout, cells
from app.calc.record.shapes import Shape, shape_of

_BLOCK = 250_000  # letters that are read at a time: what the processor keeps near
_CUT, _CUT_FROM = 0.35, 0.03  # of its neighbours, and they of the largest, that a number lies below if it was cut
_AT_ONCE = 50_000  # numbers that are looked through at a time
_MOST_CUT = 200  # numbers that are looked at so
_EXPLAINED = 500  # places passed over of which each is told what is wrong with it

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

    A line has `width` columns. `clocks` are those of the wanted ones that hold times of day, turned into seconds;
    `joined` counts lines in which a comma was read as one that sets thousands apart; the decimals of `unpadded`
    columns stood without the zeros before them.
    """

    columns: Floats
    lines: Lines
    skipped: tuple[Skipped, ...] = ()
    clocks: frozenset[int] = frozenset()
    joined: int = 0
    width: int = 1
    unpadded: frozenset[int] = frozenset()


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

    def skip(self, row: int, line: int, words: str, shape: Shape) -> None:
        last = self.skipped[-1] if self.skipped else None
        if last is not None and last.row == row:
            self.skipped[-1] = replace(last, last_line=line)
        else:
            fault = shape.fault(words) if len(self.skipped) < _EXPLAINED else "holds no sample"
            self.skipped.append(Skipped(line, line, words.strip()[:60], fault, row))


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
    of commas a line with too many cells is read with its comma as one of thousands if it fits so. A last number far
    below its neighbours and with fewer decimals was cut short. Blocks in which all
    is well are handed to NumPy whole.

    Examples
    --------
    >>> found = read_table(b"t;F\\n0;2,5\\nready\\n1;2,6\\n", Layout("semicolon", ",", 2, 2), [2])
    >>> found.columns.tolist(), found.lines.of(1), found.skipped[0].begins
    ([[2.5, 2.6]], 4, 'ready')
    """
    shape = shape_of(text, layout, tuple(wanted))
    start = _line_start(text, layout.first_line)
    most = text.count(b"\n", start) + 1
    table = np.empty((len(wanted), most))  # filled by blocks: ten million lines need no second copy of them all
    found, line, rows = _Found(), layout.first_line, 0
    while start < len(text):
        end = text.find(b"\n", start + _BLOCK) + 1 or len(text)
        block = text[start:end]
        count = block.count(b"\n") + (not block.endswith(b"\n"))
        numbers = _whole(block, count, shape)
        if numbers is not None:
            found.sample(rows, line, count)
        else:
            numbers = _between(block, shape, found, line, rows)
        if numbers is None:
            numbers = _by_lines(block, shape, found, line, rows)
        table[:, rows : rows + numbers.shape[1]] = numbers
        rows += numbers.shape[1]
        line += count
        start = end
        if progress is not None:
            progress(end / len(text))
    if not rows:
        raise _nothing(found, layout, wanted)
    lines = Lines(np.array(found.rows, np.int64), np.array(found.lines, np.int64))
    columns, lines = _without_cut(text, table[:, :rows], lines, shape, found)
    return Table(
        columns, lines, tuple(found.skipped), shape.clocks, found.joined, shape.usual, frozenset(shape.unpadded)
    )


def _without_cut(text: bytes, table: Floats, lines: Lines, shape: Shape, found: _Found) -> tuple[Floats, Lines]:
    """What is left of a table when lines whose last number was cut short are passed over.

    Looked at are numbers far below both their neighbours, in the last column: a cut one has fewer decimals than those,
    or, in a text that ends without a line's end, fewer digits.
    """
    if shape.usual not in shape.wanted or table.shape[1] < 3:
        return table, lines
    column = table[list(shape.wanted).index(shape.usual)]
    least = _CUT_FROM * max(float(column.max()), -float(column.min()))
    rows: list[int] = []
    for start in range(0, column.size - 2, _AT_ONCE):
        some = np.abs(column[start : start + _AT_ONCE + 2])
        near = np.minimum(some[:-2], some[2:])
        rows += (np.flatnonzero((some[1:-1] < _CUT * near) & (near > least)) + start + 1).tolist()
    if len(rows) > _MOST_CUT:
        return table, lines
    last = table.shape[1] - 1
    before_last = abs(float(column[-2]))
    ends = not text.endswith(b"\n") and abs(float(column[-1])) < _CUT * before_last and before_last > least
    cut = [i for i in rows if _is_cut(text, [lines.of(j) for j in (i, i - 1, i + 1)], shape)]
    cut += [last] if ends and _is_cut(text, [lines.of(j) for j in (last, last - 1)], shape, whole=True) else []
    for i in cut:
        words = _line(text, lines.of(i)).strip()[:60]
        found.skipped.append(Skipped(lines.of(i), lines.of(i), words, "ends in a number that was cut short", i))
    if not cut:
        return table, lines
    found.skipped.sort(key=lambda one: one.first_line)
    left = np.delete(np.arange(table.shape[1]), cut)
    found.skipped = [replace(one, row=int(np.searchsorted(left, one.row))) for one in found.skipped]
    return table[:, left], lines.kept(left)


def _is_cut(text: bytes, at: list[int], shape: Shape, *, whole: bool = False) -> bool:
    """Whether the last number of the first of some lines has fewer digits than those of the others."""
    held = [cells(_line(text, line), shape.layout.delimiter) for line in at]
    parts = [re.split(r"[.,]", row[min(shape.usual, len(row)) - 1])[-2:] for row in held]
    digits = [sum(map(str.isdigit, part[0])) for part in parts]
    decimals = [sum(map(str.isdigit, part[-1])) if len(part) > 1 else 0 for part in parts]
    fewer = decimals[0] < min(decimals[1:])
    return fewer or (whole and max(decimals) == 0 and digits[0] < min(digits[1:]))


def _line(text: bytes, line: int) -> str:
    start = _line_start(text, line)
    end = text.find(b"\n", start)
    return text[start : end if end >= 0 else len(text)].decode("latin-1")


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


def _line_start(text: bytes, line: int) -> int:
    """Where a line begins."""
    start = 0
    for _ in range(line - 1):
        start = text.find(b"\n", start) + 1 or len(text)
    return start


def _whole(block: bytes, count: int, shape: Shape) -> Floats | None:
    """All lines of a block as numbers, or None where one of them is no sample."""
    layout = shape.layout
    sign = DELIMITERS[layout.delimiter]
    comma = layout.decimal == ","
    if shape.by_lines or (comma and sign == ","):
        return None
    wanted = [c - 1 for c in shape.wanted]
    if sign is not None:
        lines = block.replace(b"\r\n", b"\n") if b"\r" in block else block
        if not lines.endswith(b"\n"):
            lines += b"\n"
        plain = plain_decimals(lines, sign, layout.decimal, shape.usual)
        if plain is not None:
            return plain[wanted]
        if block.count(sign.encode()) != count * (shape.usual - 1):
            return None
    elif len(block.split()) != count * shape.usual:
        return None
    if b'"' in block or (comma and b"." in block):
        return None
    try:
        numbers = np.loadtxt(
            (block.replace(b",", b".") if comma else block).split(b"\n")[:count],
            delimiter=sign,
            usecols=wanted,
            ndmin=2,
            comments=None,
            encoding="latin-1",
        )
    except (ValueError, IndexError):
        return None
    if len(numbers) != count or not np.isfinite(numbers).all():  # empty lines are passed over by NumPy
        return None
    return np.asarray(numbers.T)


def _between(block: bytes, shape: Shape, found: _Found, line: int, row: int) -> Floats | None:
    """The samples of a block in which words stand between lines of plain numbers; None where it is anything else."""
    sign = DELIMITERS[shape.layout.delimiter]
    if shape.odd is None or sign is None or shape.by_lines:
        return None
    block = block if block.endswith(b"\n") else block + b"\n"
    odd = [match.span() for match in shape.odd.finditer(block)]
    ends = [0, *(end for _, end in odd)]
    good = b"".join(block[end:start] for end, start in zip(ends, [*(s for s, _ in odd), len(block)], strict=True))
    numbers = plain_decimals(good.replace(b"\r\n", b"\n"), sign, shape.layout.decimal, shape.usual)
    words = [block[start:end].decode("utf-8", "replace").rstrip("\r\n") for start, end in odd]
    if numbers is None or any(shape.match(w) or shape.with_thousands(w) for w in words):
        return None
    done = 0
    for (start, end), said in zip([*odd, (len(block), len(block))], [*words, ""], strict=True):
        count = block.count(b"\n", done, start)
        if count:
            found.sample(row, line, count)
        row, line, done = row + count, line + count, end
        if said.strip():
            found.skip(row, line, said, shape)
        line += 1
    return numbers[[c - 1 for c in shape.wanted]]


def _by_lines(block: bytes, shape: Shape, found: _Found, line: int, row: int) -> Floats:
    """The samples of a block, line by line."""
    fits = shape.match
    kept: list[tuple[str, ...]] = []
    others: dict[int, list[float]] = {}
    at = row
    for number, raw in enumerate(block.removesuffix(b"\n").split(b"\n"), start=line):
        try:
            words = raw.decode("utf-8")
        except UnicodeDecodeError:
            words = raw.decode("latin-1")
        words = words.rstrip("\r")
        match = fits(words)
        if match is not None:
            kept.append(match.groups())
            found.sample(at, number)
            at += 1
            continue
        if not words.strip():
            continue
        again = shape.with_thousands(words)
        if again is not None:
            others[at - row] = again
            kept.append(())
            found.sample(at, number)
            found.joined += 1
            at += 1
        else:
            found.skip(at, number, words, shape)
    return _numbers(kept, others, shape)


def _numbers(kept: list[tuple[str, ...]], others: dict[int, list[float]], shape: Shape) -> Floats:
    order = sorted(set(shape.wanted))
    plain = not shape.clocks and not shape.grouped and not shape.unpadded
    if plain and not others and shape.layout.decimal == "." and kept:
        table = np.array(kept, dtype="S64").astype(float) if len(kept) else np.empty((0, len(order)))
    else:
        table = np.array(
            [others[i] if i in others else shape.numbers(groups) for i, groups in enumerate(kept)], dtype=float
        ).reshape(len(kept), len(order))
    return np.asarray(table[:, [order.index(c) for c in shape.wanted]].T)
