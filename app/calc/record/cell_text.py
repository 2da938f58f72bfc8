"""One cell of a logger's line: a number as people and programs write it, a clock, or words."""

import re

from app.calc.base.errors import CalcError

_PLAIN = r"[+-]?(?:[0-9]{1,30}\.?[0-9]{0,20}|\.[0-9]{1,20})(?:[eE][+-]?[0-9]{1,2})?"
_LABEL = r"(?:[^\W\d][\w .()/°]{0,24}[=:]\s*)"
_UNIT = r"(?:\s*[^\W\d][\w/°²]{0,7}|\s*%)"
_CLOCK = r"(?:[0-9]{1,4}[-/.][0-9]{1,2}[-/.][0-9]{1,4}[T ]\s*)?[0-9]{1,2}:[0-5][0-9]:[0-5][0-9](?:[.,:][0-9]{1,9})?Z?"
_CLOCK_PARTS = re.compile(r"([0-9]{1,2}):([0-9][0-9]):([0-9][0-9])(?:[.,:]([0-9]{1,9}))?Z?$")
CLOCK = re.compile(_CLOCK)
_CHECKED = r"(?:\*[0-9A-Fa-f]{2})?"
_CLOCK_CELL = re.compile(rf"{_LABEL}?({_CLOCK}){_CHECKED}")
_MISSING = re.compile(r"nan|[+-]?inf(?:inity)?", re.IGNORECASE)


def number_pattern(decimal: str, grouped: bool = False) -> str:
    """Give the pattern of a number.

    Parameters
    ----------
    decimal : str
        Its decimal sign, point or comma [-].
    grouped : bool
        Whether thousands are set apart by the other one [-].

    Returns
    -------
    str
        A regular expression [-].

    Examples
    --------
    >>> bool(re.fullmatch(number_pattern(".", grouped=True), "1,102.84"))
    True
    """
    plain = _PLAIN if decimal == "." else _PLAIN.replace(r"\.", "[.,]")
    if not grouped:
        return plain
    group, point = (",", r"\.") if decimal == "." else (r"\.", ",")
    bare = _PLAIN.replace(r"\.", point)
    return rf"(?:[+-]?[0-9]{{1,3}}(?:{group}[0-9]{{3}})+(?:{point}[0-9]*)?|{bare})"


def cell_pattern(decimal: str, grouped: bool = False, dressed: bool = False) -> str:
    """Give the pattern of a cell that holds a number, the number as its only group.

    Parameters
    ----------
    decimal, grouped : str, bool
        As for `number_pattern` [-].
    dressed : bool
        Whether a name before it and a unit or a checksum after it belong to it [-].

    Returns
    -------
    str
        A regular expression [-].

    Examples
    --------
    >>> re.fullmatch(cell_pattern(".", dressed=True), "Force: 12.3 N").group(1)
    '12.3'
    """
    number = f"({number_pattern(decimal, grouped)})"
    inside = rf"{_LABEL}?{number}{_UNIT}?{_CHECKED}" if dressed else number
    return rf'\s*"?\s*{inside}\s*"?\s*'


def clock_pattern() -> str:
    """Give the pattern of a cell that holds a time of day, with or without its date, as its only group.

    Returns
    -------
    str
        A regular expression [-].

    Examples
    --------
    >>> re.fullmatch(clock_pattern(), " 12:31:02.123 ").group(1)
    '12:31:02.123'
    """
    return rf'\s*"?\s*{_CLOCK_CELL.pattern}\s*"?\s*'


def to_number(text: str, decimal: str, grouped: bool = False) -> float:
    """Turn the text of a number into one.

    Parameters
    ----------
    text, decimal, grouped : str, str, bool
        What `number_pattern` fits [-].

    Returns
    -------
    float
        The number [-].

    Examples
    --------
    >>> to_number("1.102,84", ",", grouped=True)
    1102.84
    """
    if grouped:
        text = text.replace("," if decimal == "." else ".", "")
    return float(text.replace(",", "."))


def to_seconds(clock: str) -> float:
    """Turn a time of day into seconds since midnight; a date before it is passed over.

    Parameters
    ----------
    clock : str
        Hours, minutes and seconds with colons, and decimals [-].

    Returns
    -------
    float
        Seconds [s].

    Raises
    ------
    CalcError
        It is none.

    References
    ----------
    ISO 8601, the extended format of a local time.

    Examples
    --------
    >>> to_seconds("00:01:02.5")
    62.5
    """
    parts = _CLOCK_PARTS.search(clock.partition("*")[0].strip())
    if parts is None:
        raise CalcError("time_column", f"“{clock[:30]}” is no time of day.", "Choose another column.")
    hours, minutes, seconds, decimals = parts.groups()
    return int(hours) * 3600 + int(minutes) * 60 + int(seconds) + (float(f"0.{decimals}") if decimals else 0.0)


def kind(cell: str, decimal: str, grouped: bool = False) -> str:
    """Tell what a cell holds.

    Parameters
    ----------
    cell, decimal, grouped : str, str, bool
        The cell, and how its numbers are written [-].

    Returns
    -------
    str
        `number`, `dressed` (a number with its name or unit), `clock`, `missing` (not a number, infinite), `empty` or
        `words` [-].

    Examples
    --------
    >>> [kind(cell, ".") for cell in ("1.5", "t=1.5 s", "10:00:00", "nan", "", "#ERR")]
    ['number', 'dressed', 'clock', 'missing', 'empty', 'words']
    """
    if not cell:
        return "empty"
    if re.fullmatch(number_pattern(decimal, grouped), cell):
        return "number"
    if _CLOCK_CELL.fullmatch(cell):
        return "clock"
    if _MISSING.fullmatch(cell):
        return "missing"
    return "dressed" if re.fullmatch(cell_pattern(decimal, grouped, True), cell) else "words"
