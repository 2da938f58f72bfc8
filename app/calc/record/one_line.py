"""A record written along a line instead of down the page: turned, so that each sample has a line of its own."""

import re
from dataclasses import dataclass
from itertools import takewhile

from app.calc.record.cell_text import CLOCK, to_seconds

MANY = 100
"""Numbers in one line that are samples and not columns [-]: this book's choice."""

_LONG_LINES = 8  # more of them are a table with many columns
_NUMBER = re.compile(rb"\s*[+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?\s*")
_MOMENT = re.compile(r"(?<![\w.,])(\d+(?:[.,]\d+)?)\s*([a-zA-Zµμ]*)")
_UNITS = {"s": "s", "sec": "s", "seconds": "s", "ms": "ms", "millis": "ms", "us": "us", "µs": "us", "μs": "us"}
_UNITS |= {"milliseconds": "ms", "micros": "us", "microseconds": "us"}
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
    before, after = ([_moment(line) for line in part] for part in (lines[: long[0]], lines[long[-1] + 1 :]))
    return b"\n".join([*before, *down, *after]) + b"\n"


def _moment(line: bytes) -> bytes:
    """A number that stands by itself before or behind the long line, told from a sample."""
    return b"at " + line if _NUMBER.fullmatch(line) else line


def _values(line: bytes) -> list[bytes]:
    """The cells of a line that is nearly all numbers, and many of them; else none."""
    for sign in (b";", b"\t", b",", b" ", b":"):
        parts = [part.strip() for part in line.split(sign) if part.strip()]
        if len(parts) >= MANY and sum(_NUMBER.fullmatch(part) is not None for part in parts) >= 0.95 * len(parts):
            return parts
    return []


@dataclass(frozen=True)
class Recorded:
    """How long a record without times took, in `unit` (s, ms, us); None where the file does not say the unit."""

    length: float
    unit: str | None


def recorded_for(text: bytes) -> Recorded | None:
    """Find how long a record without times took, where its file says when it began and ended.

    Parameters
    ----------
    text : bytes
        Lines, the record among them [-].

    Returns
    -------
    Recorded or None
        From the first moment to the last one [-]; None where there are not just two of them.

    Notes
    -----
    Two times of day, or a number in the lines before the record and one in those after it, looked for in the first and
    last 20,000 letters.

    References
    ----------
    ISO 8601, the extended format of a local time.

    Examples
    --------
    >>> recorded_for(b"Start 10:00:00\\n7\\n8\\nEnd 10:00:12\\n")
    Recorded(length=12.0, unit='s')
    >>> recorded_for(b"Start: 5200 ms\\n7\\n8\\nEnd: 9300 ms\\n").length
    4100.0
    """
    parts = [text] if len(text) <= 2 * _HEAD else [text[:_HEAD], text[-_HEAD:]]
    told = [part.decode("utf-8", "replace") for part in parts]
    found = [m.group() for part in told for m in CLOCK.finditer(part)]
    if len(found) == 2:
        length = (to_seconds(found[1]) - to_seconds(found[0])) % 86_400
        return Recorded(length, "s") if length else None
    lines = "\n".join(told).splitlines()
    begin = list(takewhile(_is_words, lines))
    end = list(takewhile(_is_words, reversed(lines)))
    ends = [_MOMENT.findall("\n".join(part)) for part in (begin, end)]
    if [len(one) for one in ends] != [1, 1]:
        return None
    (first, first_unit), (last, last_unit) = ends[0][0], ends[1][0]
    length = float(last.replace(",", ".")) - float(first.replace(",", "."))
    known = {_UNITS.get(word.casefold()) for word in (first_unit, last_unit) if word} - {None}
    return Recorded(length, known.pop() if len(known) == 1 else None) if length > 0 else None


def _is_words(line: str) -> bool:
    return _NUMBER.fullmatch(line.encode()) is None
