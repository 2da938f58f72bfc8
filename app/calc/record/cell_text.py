"""One cell of a logger's line: a number as people and programs write it, a clock, or words."""

import re

from app.calc.base.errors import CalcError

_PLAIN = r"[+-]?(?:[0-9]{1,30}\.?[0-9]{0,20}|\.[0-9]{1,20})(?:[eE][+-]?0?[0-9]{1,2})?"
_LABEL = r"(?:[^\W\d][\w .()/°]{0,24}[=:]\s*)"
_UNIT = r"(?:[\s,]*[^\W\d][\w/°²]{0,7}|\s*%)"
_DATE = r"(?:[0-9]{1,4}[-/.][0-9]{1,2}[-/.][0-9]{1,4}(?:[T ]|, ?)\s*)?"
_ZONE = r"(?:Z|\s?[+-][0-9]{2}:?[0-9]{2})?"
_HALF = r"(?:\s?[AaPp]\.?[Mm]\.?)?"
_CLOCK = (
    rf"{_DATE}(?:[0-9]{{1,2}}:[0-5][0-9]:[0-5][0-9](?:[.,:][0-9]{{1,9}})?|[0-5]?[0-9]:[0-5][0-9][.,][0-9]{{1,9}})"
    rf"{_HALF}{_ZONE}"
)
_CLOCK_PARTS = re.compile(rf"(?:([0-9]{{1,2}}):)?([0-9]{{1,2}}):([0-9][0-9])(?:[.,:]([0-9]{{1,9}}))?({_HALF}){_ZONE}$")
_DECIMALS = re.compile(r"[.,:]([0-9]+)(?=[^0-9]*$)")
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
    """Turn a time of day into seconds since midnight; a date before it and a zone behind it are passed over.

    Parameters
    ----------
    clock : str
        Hours, minutes and seconds with colons, and decimals; minutes and seconds alone have decimals always [-].

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
    hours, minutes, seconds, decimals, half = parts.groups()
    hour = int(hours or 0)
    if half:
        hour = hour % 12 + (12 if half.strip()[0] in "pP" else 0)
    return hour * 3600 + int(minutes) * 60 + int(seconds) + (float(f"0.{decimals}") if decimals else 0.0)


def padded(text: str, width: int) -> str:
    """Fill the decimals of a number or clock with zeros from the left, where a program left them out.

    Parameters
    ----------
    text : str
        A number or a clock [-].
    width : int
        How many digits there should be [-].

    Returns
    -------
    str
        The same with as many decimals [-].

    References
    ----------
    Common practice of programs that write seconds and milliseconds one after the other, no source.

    Examples
    --------
    >>> padded("12.5", 3), padded("10:00:07:45", 3)
    ('12.005', '10:00:07:045')
    """
    return _DECIMALS.sub(lambda m: m.group()[0] + m[1].zfill(width), text, count=1)


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
    if _NUMBERS[decimal, grouped].fullmatch(cell):
        return "number"
    if _CLOCK_CELL.fullmatch(cell):
        return "clock"
    if _MISSING.fullmatch(cell):
        return "missing"
    return "dressed" if _CELLS[decimal, grouped].fullmatch(cell) else "words"


_EITHER = [(decimal, grouped) for decimal in (".", ",") for grouped in (False, True)]
_NUMBERS = {how: re.compile(number_pattern(*how)) for how in _EITHER}
_CELLS = {how: re.compile(cell_pattern(*how, dressed=True)) for how in _EITHER}
