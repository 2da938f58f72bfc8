"""A record written along a line instead of down the page: turned, so that each sample has a line of its own."""

import re

from app.calc.record.cell_text import CLOCK, to_seconds

MANY = 100
"""Numbers in one line that are samples and not columns [-]: this book's choice."""

_LONG_LINES = 8  # more of them are a table with many columns
_NUMBER = re.compile(rb"\s*[+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?\s*")
_HEAD = 20_000  # letters that are looked at for moments, from either end


def turned(text: bytes) -> bytes:
    """Turn samples that stand beside each other in a line into lines.

    Parameters
    ----------
    text : bytes
        Lines [-].

    Returns
    -------
    bytes
        The same where lines are short; else each long line, or several of one length side by side, as lines [-].

    Notes
    -----
    Values are parted by semicolons, commas, tabs, blanks or colons. Words, and moments before and after, stay.

    Examples
    --------
    >>> turned(b"Start 10:00:00\\n" + b":".join([b"7"] * 120) + b"\\nEnd 10:00:12\\n").count(b"7\\n")
    120
    """
    if text.count(b"\n") > 200 or len(text) < 2 * MANY:
        return text
    lines = text.splitlines()
    long = [i for i, line in enumerate(lines) if len(line) >= 2 * MANY and _values(line)]
    if not long or len(long) > _LONG_LINES:
        return text
    rows = [_values(lines[i]) for i in long]
    if len({len(row) for row in rows}) == 1:
        down = [b";".join(row) for row in zip(*rows, strict=True)]
    else:
        down = [value for row in rows for value in row]
    return b"\n".join([*lines[: long[0]], *down, *lines[long[-1] + 1 :]]) + b"\n"


def _values(line: bytes) -> list[bytes]:
    """The cells of a line that is nearly all numbers, and many of them; else none."""
    for sign in (b";", b"\t", b",", b" ", b":"):
        parts = [part.strip() for part in line.split(sign) if part.strip()]
        if len(parts) >= MANY and sum(_NUMBER.fullmatch(part) is not None for part in parts) >= 0.95 * len(parts):
            return parts
    return []


def recorded_for(text: bytes) -> float | None:
    """Find how long a record without times took, where its file says when it began and ended.

    Parameters
    ----------
    text : bytes
        Lines, the record among them [-].

    Returns
    -------
    float or None
        From the first time of day to the last one [s]; None where there are not just two of them.

    Notes
    -----
    Looked for before and after the record, in its first and last 20,000 letters.

    References
    ----------
    ISO 8601, the extended format of a local time.

    Examples
    --------
    >>> recorded_for(b"Start 10:00:00\\n7\\n8\\nEnd 10:00:12\\n")
    12.0
    """
    parts = [text] if len(text) <= 2 * _HEAD else [text[:_HEAD], text[-_HEAD:]]
    found = [m.group() for part in parts for m in CLOCK.finditer(part.decode("utf-8", "replace"))]
    if len(found) != 2:
        return None
    length = to_seconds(found[1]) - to_seconds(found[0])
    return length % 86_400 or None
