"""Numbers as people write them, read exactly; what can mean two things is told with both readings, never guessed.

Read: `19`, `19.05`, `19,05`, `.75`, `3/4`, `1 3/4`, `1-3/4`, `1¾`, `1,234.5`, `1.234,5`, `1,234,567`, `12 345`, each
with a sign, in full-width digits too. `1,234` is a thousand and more to one person and little more than one to
another. `0,125` and `1234,567` are clear, and a point with three digits behind it is a decimal sign, as in all that
this book writes itself.
"""

import re
import unicodedata
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

_TAKE = re.compile(
    r"""\s*(?P<sign>[+\-−–]?)\s*(?:
        (?P<whole>[0-9]+)(?:\s+|-)(?P<num1>[0-9]+)\s*/\s*(?P<den1>[0-9]+)      # 1 3/4, 1-3/4
      | (?P<num>[0-9]+)\s*/\s*(?P<den>[0-9]+)                                  # 3/4
      | (?P<point>[1-9][0-9]{0,2}(?:(?:,[0-9]{3})+\.[0-9]+|(?:,[0-9]{3}){2,})) # 1,234.5 and 1,234,567
      | (?P<comma>[1-9][0-9]{0,2}(?:(?:\.[0-9]{3})+,[0-9]+|(?:\.[0-9]{3}){2,})) # 1.234,5 and 1.234.567
      | (?P<spaced>[1-9][0-9]{0,2}(?:\s[0-9]{3})+(?:[.,][0-9]+)?)              # 12 345,6
      | (?P<two>[1-9][0-9]{0,2},[0-9]{3})                                      # 1,234
      | (?P<plain>[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)                            # 19, 19.05, 19,05, .75
    )(?!\s*/?\s*[0-9]|[.,])""",
    re.VERBOSE,
)
_SIGNS = {"º": "°", "˚": "°", "\u2044": "/", "\u2215": "/", "\u22c5": "·", "\u2219": "·"}
_MINUS = "-−–"

LONGEST = 60
"""Characters of a number with its unit; more is a slip of the keyboard, and could be no number of this machine."""


class NoNumber(ValueError):
    """There is no number where one was looked for."""


class TwoReadings(ValueError):
    """A number that can mean two things; `readings` are both, written clearly, and `span` is where it stands."""

    def __init__(self, readings: tuple[str, str], span: tuple[int, int]) -> None:
        super().__init__(" or ".join(readings))
        self.readings = readings
        self.span = span


class Taken(NamedTuple):
    """A number out of a text: its exact value, and where its text ends."""

    value: Fraction
    end: int


@lru_cache(maxsize=4096)
def _folded(sign: str) -> str:
    if sign in _SIGNS:
        return _SIGNS[sign]
    if unicodedata.category(sign) == "Cf":  # marks of direction and the like, that came along when it was copied
        return ""
    how = unicodedata.decomposition(sign)
    if how.startswith("<fraction>"):
        return f" {unicodedata.normalize('NFKC', sign).replace(chr(0x2044), '/')}"
    if how.startswith("<wide>") or sign in "℃℉":
        return unicodedata.normalize("NFKC", sign)
    return " " if unicodedata.category(sign) == "Zs" else sign


def fold(text: str) -> str:
    """The text in plain signs: full-width letters, all kinds of spaces, `½`, `º` and `℃` as a keyboard has them.

    >>> fold("\uff11\uff12½\u202fºC")
    '12 1/2 °C'
    """
    return text.strip() if text.isascii() else "".join(map(_folded, text)).strip()


def take(text: str, start: int = 0) -> Taken:
    """The number that a folded text has at its start, or from a place on.

    >>> take("1-3/4 in").value
    Fraction(7, 4)

    Raises
    ------
    TwoReadings
        A comma and three digits, which can part thousands or decimals.
    NoNumber
        There is none, or it is divided by nothing.
    """
    found = _TAKE.match(text, start)
    if found is None:
        raise NoNumber("")
    if found["two"]:
        digits = found["two"]
        decimal = digits.replace(",", ".").rstrip("0").rstrip(".")
        raise TwoReadings((decimal, digits.replace(",", "")), found.span("two"))
    value = _value(found)
    return Taken(-value if found["sign"] and found["sign"] in _MINUS else value, found.end())


def _value(found: re.Match[str]) -> Fraction:
    if found["point"]:
        return Fraction(found["point"].replace(",", ""))
    if found["comma"]:
        return Fraction(found["comma"].replace(".", "").replace(",", "."))
    if found["spaced"]:
        return Fraction("".join(found["spaced"].split()).replace(",", "."))
    if found["plain"]:
        return Fraction(found["plain"].replace(",", "."))
    below = int(found["den1"] or found["den"])
    if below == 0:
        raise NoNumber("A fraction needs a number other than 0 under the line.")
    return int(found["whole"] or 0) + Fraction(int(found["num1"] or found["num"]), below)


def plain(text: str) -> Fraction:
    """The number that a text is, and nothing behind it.

    >>> plain("8,388.5")
    Fraction(16777, 2)

    Raises
    ------
    TwoReadings, NoNumber
        As `take`; also if something stands behind the number.
    """
    folded = fold(text)
    if len(folded) > LONGEST:
        raise NoNumber("")
    value, end = take(folded)
    if folded[end:].strip():
        raise NoNumber("")
    return value
