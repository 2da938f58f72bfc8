"""Tables as CSV files: RFC 4180, UTF-8, one line of heads, written piece by piece so that size does not matter.

A spreadsheet takes a cell that begins like a formula for one and runs it. Text that a person typed into the book must
not become a command on somebody's machine, so such text gets an apostrophe before it; numbers are left numbers.
"""

import csv
import math
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from io import StringIO

Cell = str | int | float | date | None
"""What may stand in a table: words, a number, a day or a moment, or nothing."""

MEDIA_TYPE = "text/csv; charset=utf-8; header=present"
"""As RFC 4180, section 3, and RFC 7111 name it."""

PIECE = 64 * 1024
"""Letters gathered before they are sent on."""

_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""How a cell begins that a spreadsheet may run: OWASP, 'CSV Injection', from memory."""


def harmless(text: str) -> str:
    """Text that no spreadsheet takes for a formula: one that begins like it gets an apostrophe before it."""
    return f"'{text}" if text.startswith(_FORMULA) else text


def written(cell: Cell) -> str | int | float:
    """A cell as it is written: nothing for None and for numbers that are none, yes and no, ISO 8601 for time.

    Numbers keep every figure they have: reading them back gives the same number.
    """
    if cell is None or (isinstance(cell, float) and not math.isfinite(cell)):
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, date):
        return cell.isoformat()
    return harmless(cell) if isinstance(cell, str) else cell


def as_csv(heads: Sequence[str], rows: Iterable[Sequence[Cell]]) -> Iterator[bytes]:
    """A table in pieces of bytes; rows are asked for one by one, so a query may feed it.

    Raises
    ------
    ValueError
        A row that has not as many cells as there are heads.
    """
    text = StringIO()
    lines = csv.writer(text)  # comma, quotes doubled, CR LF: RFC 4180
    lines.writerow([harmless(head) for head in heads])
    for row in rows:
        if len(row) != len(heads):
            raise ValueError(f"{len(row)} cells under {len(heads)} heads")
        lines.writerow([written(cell) for cell in row])
        if text.tell() >= PIECE:
            yield _taken(text)
    yield _taken(text)


def _taken(text: StringIO) -> bytes:
    piece = text.getvalue()
    text.seek(0)
    text.truncate()
    return piece.encode("utf-8", "replace")
