"""Dates in what is searched for, as people write them: 25 Nov 2026, 2026-11-25, Nov 2026, 25 Nov, 25.11.2026.

A day of the book is told by `tokens`, one for each way of asking for it; `read` finds dates in a text and says by which
tokens they are found. Where numbers can be read two ways (3/4/2026) both are meant.
"""

import re
from collections.abc import Iterator
from datetime import date

_NAMES = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_LONG = (
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
)
_MONTH = "(?P<{}>" + "|".join((*_LONG, "sept", *_NAMES)) + r")\.?"
_WRITTEN = re.compile(
    r"(?<![\w-])(?:"
    r"(?P<y1>(?:19|20|21)\d\d)-(?P<m1>\d\d)(?:-(?P<d1>\d\d))?"
    rf"|(?P<d2>\d{{1,2}})\.? {_MONTH.format('m2')}(?:,? (?P<y2>\d{{4}}))?"
    rf"|{_MONTH.format('m3')} (?P<d3>\d{{1,2}})(?:,? (?P<y3>\d{{4}}))?"
    rf"|{_MONTH.format('m4')},? (?P<y4>\d{{4}})"
    r"|(?P<a>\d{1,2})[./](?P<b>\d{1,2})[./](?P<y5>\d{4})"
    r")(?![\w-])",
    re.ASCII | re.IGNORECASE,
)


def tokens(day: date) -> list[str]:
    """By which words a day is found: the day, its month, and the day of any year."""
    return [f"d{day:%Y%m%d}", f"m{day:%Y%m}", f"a{day:%m%d}"]


def read(text: str) -> Iterator[tuple[str, list[str]]]:
    """The parts of a text in order: each date with the tokens of it, each rest between with none.

    >>> list(read("crack 25 Nov 2026"))
    [('crack ', []), ('25 Nov 2026', ['d20261125'])]
    """
    last = 0
    for found in _WRITTEN.finditer(text):
        meant = [token for year, month, day in _readings(found) if (token := _token(year, month, day))]
        if meant:
            yield from ([(text[last : found.start()], [])] if found.start() > last else [])
            yield found[0], list(dict.fromkeys(meant))
            last = found.end()
    if last < len(text):
        yield text[last:], []


def _readings(found: re.Match[str]) -> Iterator[tuple[int | None, int, int | None]]:
    """Year, month and day, as far as they are told; both ways where there are two."""
    part = found.groupdict()
    if part["a"]:
        a, b, year = int(part["a"]), int(part["b"]), int(part["y5"])
        yield from ((year, b, a), (year, a, b))
    elif part["y1"]:
        yield int(part["y1"]), int(part["m1"]), _number(part["d1"])
    else:
        way = next(n for n in "234" if part[f"m{n}"])
        month = _NAMES.index(part[f"m{way}"][:3].lower()) + 1
        yield _number(part[f"y{way}"]), month, _number(part.get(f"d{way}"))


def _number(text: str | None) -> int | None:
    return int(text) if text else None


def _token(year: int | None, month: int, day: int | None) -> str:
    """The token of a date; "" for one that there is not, as 31 February."""
    try:
        date(2000 if year is None else year, month, 1 if day is None else day)
    except ValueError:
        return ""
    if day is None:
        return f"m{year:04}{month:02}"
    return f"a{month:02}{day:02}" if year is None else f"d{year:04}{month:02}{day:02}"
