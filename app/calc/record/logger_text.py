"""Text of a data logger to numbers: what is a file of columns, which column is which, and where it is wrong.

Lines are counted from 1, as an editor does; columns from 1, as a person does.
"""

import io
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from app.calc.base.constants import Floats
from app.calc.base.errors import CalcError
from app.calc.record.cell_text import cell_pattern, kind, to_number, to_seconds
from app.calc.record.tags import kinds_of_lines

DELIMITERS = {"tab": "\t", "semicolon": ";", "comma": ",", "blank": None, "colon": ":"}
"""Names of what parts the columns; blanks stand for one or more spaces or tabs [-]."""

ARROW = "->"
"""Sets a clock before a line that a serial port sent; parts columns as well [-]."""

TIME_OF_DAY = "(time of day)"
"""Put to what heads a column of clocks."""

_LOOKED_AT = 300  # lines at the beginning that a guess rests on
_FARTHER = 60  # and at each of these shares of the text
_PLACES = (0.25, 0.5, 0.75)
_MORE_PLACES = [i / 32 for i in range(1, 32)]  # where numbers begin late
_NEAR = 5  # lines within which the second sample follows the first
_FIRST_WITHIN = 10_000  # lines that numbers must begin in
_SEARCHED = 20_000_000  # letters in which thousands set apart must show
_LONGEST = 10_000  # letters in one line; more is no table
_QUOTED = re.compile(r'"[^"]*"')
_GROUP = {
    ".": rb"[1-9]\d{0,2}(?:,\d{3})+(?:\.\d+|(?<=,\d{3},\d{3}))",
    ",": rb"[1-9]\d{0,2}(?:\.\d{3})+(?:,\d+|(?<=\.\d{3}\.\d{3}))",
}
_BARE = {".": rb"[1-9]\d{0,2},\d{3}", ",": rb"[1-9]\d{0,2}\.\d{3}"}
_BESIDE = {".": rb"\d\.\d", ",": rb"\d,\d"}
_GROUPS = {
    sign: re.compile(
        rb"(?<![\d.,])" + _GROUP[sign] + rb"(?![\d.,])|"
        rb"(?m:^(?=[^\n]*" + _BESIDE[sign] + rb")[^\n]*(?<![\d.,])" + _BARE[sign] + rb"(?![\d.,]))"
    )
    for sign in (".", ",")
}
_GROUPED_IN_QUOTES = re.compile(rb'"[^"\n]*\d,\d{3}\.\d[^"\n]*"|(?m:^(?=[^\n]*\d\.\d)[^\n]*"[1-9]\d{0,2}(?:,\d{3})+")')

DRESSED = {sign: re.compile(cell_pattern(sign, dressed=True)) for sign in (".", ",")}
"""A number in its name and unit, as its only group, by its decimal sign [-]."""

_DIRECT = {"number", "missing", "clock", "dressed"}


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
    A delimiter inside quotation marks parts nothing; an arrow parts cells as the delimiter does.

    References
    ----------
    RFC 4180, of which this is the part that tables of numbers need.

    Examples
    --------
    >>> cells('"Time (s)"; Force;', "semicolon")
    ['Time (s)', 'Force']
    """
    parts = [c.strip().strip('"').strip() for c in split(line, delimiter)]
    return parts[:-1] if len(parts) > 1 and not parts[-1] else parts


def split(line: str, delimiter: str) -> list[str]:
    """Split a line into its cells as they stand.

    Parameters
    ----------
    line, delimiter : str
        As for `cells` [-].

    Returns
    -------
    list of str
        Cells [-], also an empty one behind a delimiter at the end.

    Examples
    --------
    >>> split('"1,5",2,', "comma")
    ['"1,5"', '2', '']
    """
    sign = DELIMITERS[delimiter]
    if sign is None:
        return line.split()
    if ARROW in line:
        line = line.replace(ARROW, sign)
    if '"' not in line:
        return line.split(sign)
    hidden = _QUOTED.sub(lambda m: m.group().replace(sign, "\0"), line)
    return [part.replace("\0", sign) for part in hidden.split(sign)]


def grouped(text: bytes, delimiter: str, decimal: str) -> bool:
    """Tell whether thousands are set apart, as in 1,102.84.

    Parameters
    ----------
    text : bytes
        From `plain_text` [-].
    delimiter, decimal : str
        What parts columns, a key of `DELIMITERS`, and the decimal sign [-].

    Returns
    -------
    bool
        Whether a number in it has both signs in that order, or is whole and set apart by the one sign in a line where
        another number has its decimals behind the other; among commas, inside quotation marks.

    Examples
    --------
    >>> grouped(b"0.1;1,102.84", "semicolon", "."), grouped(b"0.1,102.84", "comma", ".")
    (True, False)
    """
    text = text[:_SEARCHED]
    if delimiter == "comma":
        return decimal == "." and b'"' in text and _GROUPED_IN_QUOTES.search(text) is not None
    other = b"," if decimal == "." else b"."
    return other in text and _GROUPS[decimal].search(text) is not None


def guess_layout(text: bytes) -> Layout:
    """Guess what parts the columns, the decimal sign and the first line of numbers.

    Parameters
    ----------
    text : bytes
        From `plain_text` [-].

    Returns
    -------
    Layout
        The reading under which most lines look alike and hold numbers, the more columns the better [-].

    Raises
    ------
    CalcError
        No reading finds two lines of numbers.

    Notes
    -----
    Looks at lines of the beginning and of three places farther on, so that messages before the numbers do not lead
    astray. `1,2` alone may be two whole numbers or one with a decimal comma: two are guessed, a person decides. Colons
    part columns only where nothing else does: they stand in every time of day.

    Examples
    --------
    >>> guess_layout(b"t;F\\n0,1;2,5\\n0,2;2,6\\n")
    Layout(delimiter='semicolon', decimal=',', first_line=2, columns=2, names=('t', 'F'))
    """
    begins = first_lines(text, _LOOKED_AT)
    best = _best([line for line in [*begins, *_farther(text)] if line.strip()])
    best = best or _best([line for line in _farther(text, 0, _MORE_PLACES) if line.strip()])
    if best is None:
        first = next((line for line in begins if line.strip()), None)
        said = f"It begins: “{first[:60]}”." if first else "Its first lines are empty."
        raise CalcError("file", "No lines of numbers were found in it.", said)
    delimiter, decimal, usual, thousands = best
    first_line, heads = _where_it_begins(text, delimiter, decimal, usual, thousands)
    return Layout(delimiter, decimal, first_line, len(usual), heads)


def _best(lines: list[str]) -> tuple[str, str, tuple[bool, ...], bool] | None:
    """The delimiter, decimal sign, usual shape and way with thousands under which lines are read best."""
    best: tuple[tuple[float, int, int], str, str, tuple[bool, ...]] | None = None
    whole = "\n".join(lines)
    for rank, (delimiter, decimal) in enumerate((d, point) for d in DELIMITERS for point in (".", ",")):
        if delimiter == "colon" and best is not None and best[0][0] > len(lines) / 4:
            continue
        sign = DELIMITERS[delimiter]
        if rank > 1 and sign is not None and sign not in whole and ARROW not in whole:
            continue  # as one column it was read already
        thousands = _grouped_in(lines, delimiter, decimal)
        shapes: Counter[tuple[bool, ...]] = Counter()
        worth: dict[tuple[bool, ...], float] = {}
        for line in lines:
            row = cells(line, delimiter)
            kinds = [kind(cell, decimal, thousands) for cell in row[:60]]
            shape = tuple(k in _DIRECT for k in kinds)
            if 3 * sum(shape) >= len(shape) and any(shape):
                shapes[shape] += 1
                # What needs a name or a unit taken off is a worse reading than bare numbers.
                good = sum(0.6 if k == "dressed" else 1.0 for k, s in zip(kinds, shape, strict=True) if s)
                worth[shape] = worth.get(shape, 0.0) + good / len(shape)
        if not shapes or max(shapes.values()) < 2:
            continue
        usual = max(shapes, key=worth.__getitem__)
        score = (round(worth[usual], 6), min(sum(usual), 50), -rank)
        if shapes[usual] > 1 and (best is None or score > best[0]):
            best = score, delimiter, decimal, usual
    if best is None:
        return None
    _, delimiter, decimal, usual = best
    return delimiter, decimal, usual, _grouped_in(lines, delimiter, decimal)


def _grouped_in(lines: list[str], delimiter: str, decimal: str) -> bool:
    return grouped("\n".join(lines).encode(), delimiter, decimal)


def _farther(text: bytes, longer: int = 100_000, places: Sequence[float] = _PLACES) -> list[str]:
    """Lines from the middle of a text that is so long."""
    found: list[str] = []
    if len(text) > longer:
        for share in places:
            start = text.find(b"\n", int(share * len(text))) + 1
            piece = text[start : start + 100 * _FARTHER].decode("utf-8", "replace")
            found += piece.split("\n")[:-1][:_FARTHER]
    return [line.rstrip("\r") for line in found]


def _where_it_begins(
    text: bytes, delimiter: str, decimal: str, usual: tuple[bool, ...], thousands: bool
) -> tuple[int, tuple[str, ...]]:
    """The first of two lines of the usual shape that are near each other, and what stands over their columns."""
    heads, clocks = [""] * len(usual), set[int]()
    first, since = 0, _NEAR
    for number, line in enumerate(first_lines(text, _FIRST_WITHIN), start=1):
        if not line.strip():
            continue
        row = cells(line, delimiter)
        kinds = [kind(cell, decimal, thousands) for cell in row]
        fits = tuple(k in _DIRECT for k in kinds) == usual
        if fits and first and since < _NEAR:
            clocks = {i for i, k in enumerate(kinds) if k == "clock"}
            break
        first, since = (number, 0) if fits else (first, since + 1)
        far = not first or since >= _NEAR
        if not fits and far and 0 <= len(row) - len(usual) <= 3 and not {"number", "clock"} & set(kinds[: len(usual)]):
            heads = [cell.lstrip("#%/ ").strip() for cell in row[: len(usual)]]
    heads = [f"{head} {TIME_OF_DAY}".strip() if i in clocks else head for i, head in enumerate(heads)]
    return first or 1, tuple(heads) if any(heads) else ()


def sample_lines(text: bytes, first_line: int) -> list[str]:
    """Give lines by which to tell what the samples of a text look like.

    Parameters
    ----------
    text : bytes
        From `plain_text` [-].
    first_line : int
        Where numbers begin [-].

    Returns
    -------
    list of str
        The first 300 from there, and some from farther on where the text is long [-]; none that is empty.

    Raises
    ------
    CalcError
        A line is longer than any table's.

    Examples
    --------
    >>> sample_lines(b"t\\n1\\n\\n2\\n", 2)
    ['1', '2']
    """
    lines = first_lines(text, first_line + _LOOKED_AT)[first_line - 1 :] + _farther(text)
    return [line for line in lines if line.strip()]


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
    For guessing only: `read_table` passes nothing over.

    Examples
    --------
    >>> [c.tolist() for c in first_numbers(b"a -> 1\\na -> 2\\n", Layout("blank", ".", 1, 3))]
    [[], [], [1.0, 2.0]]
    """
    lines = sample_lines(text, layout.first_line)
    thousands = grouped(text, layout.delimiter, layout.decimal)
    rows = [cells(line, layout.delimiter) for line in lines]
    tag = kinds_of_lines(rows)
    rows = [row for row in rows if tag is None or tag.on(row)]
    found = []
    for column in range(layout.columns):
        held = [row[column] for row in rows if len(row) > column]
        values = np.array([_value(cell, layout.decimal, thousands) for cell in held])
        values = values[np.isfinite(values)]
        found.append(values if 4 * len(values) > len(rows) else values[:0])
    return found


def _value(cell: str, decimal: str, thousands: bool) -> float:
    """A cell's number, or not a number."""
    what = kind(cell, decimal, thousands)
    if what == "number":
        return to_number(cell, decimal, thousands)
    if what == "clock":
        return to_seconds(cell)
    match = DRESSED[decimal].fullmatch(cell) if what == "dressed" else None
    return to_number(match.group(1), decimal) if match else np.nan
