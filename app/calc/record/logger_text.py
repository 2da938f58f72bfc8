"""Text of a data logger to numbers: what is a file of columns, which column is which, and where it is wrong.

Lines are counted from 1, as an editor does; columns from 1, as a person does.
"""

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from app.calc.base.constants import Floats
from app.calc.base.errors import CalcError

DELIMITERS = {"tab": "\t", "semicolon": ";", "comma": ",", "blank": None}
"""Names of what parts the columns; blanks stand for one or more spaces or tabs [-]."""

_LOOKED_AT = 300  # lines that a guess rests on
_BLOCK = 2_000_000  # letters that are read at a time
_LONGEST = 10_000  # letters in one line; more is no table
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?|nan|[+-]?inf(inity)?", re.IGNORECASE)


@dataclass(frozen=True)
class Layout:
    """How a text is made up: what parts its columns, its decimal sign, where numbers begin, what heads them."""

    delimiter: str
    decimal: str
    first_line: int
    columns: int
    names: tuple[str, ...] = ()


def first_lines(text: bytes, count: int) -> list[str]:
    """Give the first lines of a text.

    Parameters
    ----------
    text : bytes
        From `plain_text` [-].
    count : int
        How many [-].

    Returns
    -------
    list of str
        Lines without their ends [-].

    Raises
    ------
    CalcError
        A line is longer than any table's.

    Notes
    -----
    What is no UTF-8 is read as Latin-1, which fits any byte.

    Examples
    --------
    >>> first_lines(b"a\\nb\\nc\\n", 2)
    ['a', 'b']
    """
    lines = []
    stream = io.BytesIO(text)
    for number in range(1, count + 1):
        line = stream.readline(_LONGEST + 1)
        if not line:
            break
        if len(line) > _LONGEST:
            raise CalcError("file", f"Line {number} is longer than {_LONGEST:,} letters.", "Is it a table of numbers?")
        try:
            lines.append(line.decode("utf-8").rstrip("\r\n"))
        except UnicodeDecodeError:
            lines.append(line.decode("latin-1").rstrip("\r\n"))
    return lines


def cells(line: str, delimiter: str) -> list[str]:
    """Split a line into its cells.

    Parameters
    ----------
    line : str
        One line [-].
    delimiter : str
        A key of `DELIMITERS` [-].

    Returns
    -------
    list of str
        Cells without blanks and quotation marks around them [-]; a delimiter at the end opens no cell.

    Raises
    ------
    KeyError
        There is no such delimiter.

    Notes
    -----
    No delimiter inside quotation marks: loggers write none.

    References
    ----------
    RFC 4180, of which this is the part that tables of numbers need.

    Examples
    --------
    >>> cells('"Time (s)"; Force;', "semicolon")
    ['Time (s)', 'Force']
    """
    parts = [c.strip().strip('"').strip() for c in line.split(DELIMITERS[delimiter])]
    return parts[:-1] if len(parts) > 1 and not parts[-1] else parts


def _is_number(cell: str, decimal: str) -> bool:
    return _NUMBER.fullmatch(cell.replace(",", ".") if decimal == "," else cell) is not None


def guess_layout(text: bytes) -> Layout:
    """Guess what parts the columns, the decimal sign and the first line of numbers.

    Parameters
    ----------
    text : bytes
        From `plain_text` [-].

    Returns
    -------
    Layout
        The reading under which most of the first 300 lines hold numbers, the more columns the better [-].

    Raises
    ------
    CalcError
        No reading finds two lines of numbers.

    Notes
    -----
    `1,2` alone may be two whole numbers or one with a decimal comma: two are guessed, a person decides.

    Examples
    --------
    >>> guess_layout(b"t;F\\n0,1;2,5\\n0,2;2,6\\n")
    Layout(delimiter='semicolon', decimal=',', first_line=2, columns=2, names=('t', 'F'))
    """
    lines = [(i, line) for i, line in enumerate(first_lines(text, _LOOKED_AT), start=1) if line.strip()]
    best: tuple[tuple[float, int, int], Layout] | None = None
    for rank, (delimiter, decimal) in enumerate(
        (d, point) for d in DELIMITERS for point in (".", ",") if (d, point) != ("comma", ",")
    ):
        rows = [cells(line, delimiter) for _, line in lines]
        good = [sum(_is_number(c, decimal) for c in row) for row in rows]
        usual = max(good, default=0)
        fit = [g == usual > 0 and 3 * g >= len(row) for g, row in zip(good, rows, strict=True)]
        # Numbers begin where lines of them follow each other: a header may hold a number too.
        starts = [i for i in range(len(fit) - 1) if fit[i] and fit[i + 1]]
        if not starts:
            continue
        share = sum(g / len(row) for g, row, fits in zip(good, rows, fit, strict=True) if fits)
        score = (share, min(usual, 50), -rank)
        if best is None or score > best[0]:
            first = starts[0]
            heads = next((tuple(r) for r in rows[:first][::-1] if len(r) == len(rows[first])), ())
            best = score, Layout(delimiter, decimal, lines[first][0], len(rows[first]), heads)
    if best is None:
        begins = f"It begins: “{lines[0][1][:60]}”." if lines else "Its first lines are empty."
        raise CalcError("file", "No lines of numbers were found in it.", begins)
    return best[1]


def read_columns(text: bytes, layout: Layout, wanted: Sequence[int]) -> Floats:
    """Read some columns as numbers.

    Parameters
    ----------
    text : bytes
        From `plain_text` [-].
    layout : Layout
        How it is made up [-].
    wanted : sequence of int
        Columns, counted from 1 [-].

    Returns
    -------
    ndarray
        Numbers in the units of the file [-], shape (columns wanted, rows).

    Raises
    ------
    CalcError
        A line lacks a column or holds what is no number; its line is named.

    Notes
    -----
    Empty lines are passed over. Columns that are not wanted may hold words.

    Examples
    --------
    >>> read_columns(b"t;F\\n0;2,5\\n1;2,6\\n", Layout("semicolon", ",", 2, 2), [2]).tolist()
    [[2.5, 2.6]]
    """
    stream = io.BytesIO(text)
    for _ in range(layout.first_line - 1):
        stream.readline()
    most = text.count(b"\n", stream.tell()) + 1
    table = np.empty((len(wanted), most))  # filled by blocks: ten million lines need no second copy of them all
    line, found = layout.first_line, 0
    while lines := stream.readlines(_BLOCK):
        if any(words.strip() for words in lines):
            block = _block(lines, line, layout, wanted)
            table[:, found : found + block.shape[1]] = block
            found += block.shape[1]
        line += len(lines)
    if not found:
        raise CalcError("first_line", f"There is nothing from line {layout.first_line} on.", "Type an earlier line.")
    return table[:, :found]


def _block(lines: list[bytes], first: int, layout: Layout, wanted: Sequence[int]) -> Floats:
    """Some lines as numbers; `first` is the number of the first of them."""
    comma = layout.decimal == ","
    try:
        table = np.loadtxt(
            [words.replace(b",", b".") for words in lines] if comma else lines,
            delimiter=DELIMITERS[layout.delimiter],
            usecols=[c - 1 for c in wanted],
            ndmin=2,
            comments=None,
            quotechar='"',
            encoding="latin-1",
        )
    except (ValueError, IndexError):
        raise _first_fault(lines, first, layout, wanted) from None
    if not np.isfinite(table).all():
        raise _first_fault(lines, first, layout, wanted)
    return np.asarray(table.T)


def first_numbers(text: bytes, layout: Layout) -> list[Floats]:
    """Give the first numbers of every column, faults passed over, for guessing what the columns are.

    Parameters
    ----------
    text : bytes
        From `plain_text` [-].
    layout : Layout
        How it is made up [-].

    Returns
    -------
    list of ndarray
        Numbers in the first 300 lines of each column [-]; none for a column that holds words mostly.

    Raises
    ------
    CalcError
        A line is longer than any table's.

    Notes
    -----
    For guessing only: `read_columns` passes nothing over.

    Examples
    --------
    >>> [c.tolist() for c in first_numbers(b"a -> 1\\nb -> 2\\n", Layout("blank", ".", 1, 3))]
    [[], [], [1.0, 2.0]]
    """
    lines = first_lines(text, layout.first_line + _LOOKED_AT)[layout.first_line - 1 :]
    rows = [cells(line, layout.delimiter) for line in lines if line.strip()]
    found = []
    for column in range(layout.columns):
        held = [row[column] for row in rows if len(row) > column and _is_number(row[column], layout.decimal)]
        values = np.array([float(cell.replace(",", ".")) for cell in held if 2 * len(held) > len(rows)])
        found.append(values[np.isfinite(values)])
    return found


def _first_fault(lines: list[bytes], first: int, layout: Layout, wanted: Sequence[int]) -> CalcError:
    for number, line in enumerate(lines, start=first):
        if not line.strip():
            continue
        words = line.decode("utf-8", errors="replace").rstrip("\r\n")
        row = cells(words, layout.delimiter)
        for column in wanted:
            if column > len(row):
                return CalcError(
                    "file",
                    f"Line {number} has {len(row)} of the {max(wanted)} columns: “{words[:60]}”.",
                    "Mend or cut off that line, or choose other columns.",
                )
            cell = row[column - 1]
            if not _is_number(cell, layout.decimal) or not np.isfinite(float(cell.replace(",", "."))):
                said = f"“{cell[:30]}”, which is not a number" if cell else "nothing"
                return CalcError(
                    "file",
                    f"Line {number} holds {said}, in column {column}.",
                    "Mend or cut off that line in a copy of the file, or choose other columns.",
                )
    return CalcError("file", "Some line of it could not be read.", "Choose another delimiter or decimal sign.")


def line_of(text: bytes, layout: Layout, row: int) -> int:
    """Give the line on which a row of numbers stands.

    Parameters
    ----------
    text : bytes
        From `plain_text` [-].
    layout : Layout
        How it is made up [-].
    row : int
        Row of `read_columns`, from 0 [-].

    Returns
    -------
    int
        Line, from 1 [-].

    Raises
    ------
    CalcError
        There is no such row.

    Notes
    -----
    Counts past empty lines.

    Examples
    --------
    >>> line_of(b"t\\n0\\n\\n1\\n", Layout("comma", ".", 2, 1), 1)
    4
    """
    left = row
    for number, line in enumerate(io.BytesIO(text), start=1):
        if number >= layout.first_line and line.strip():
            if left == 0:
                return number
            left -= 1
    raise CalcError("row", "lies past the end of the file.", "Read the file again.")
