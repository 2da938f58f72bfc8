"""What a scale sends when it types like a keyboard, read into the mass it stands for, or refused in words.

Scales differ; what they print falls into a few shapes, all read here from the text alone:

- a number with or without a unit: `123.4 g`, `+  123.40 g`, `  123.4`
- a header of two letters with commas: `ST,GS,+0123.4g` (stable, gross), `US,NT,…` (not at rest), `OL,…`
- a letter or word before it: `N     +   123.40 g` (net), `G …` (gross), `T …` (the tare alone), `Net: 123.4 g`
- the same letters after the unit: `123.4 g N`, `123.4 g ST`
- `S S  123.40 g` (stable), `S D  123.40 g` (moving), or a question mark for a reading that is not at rest

These shapes are common practice among makers, no source. A shape not listed is refused, never guessed at.
What is typed by hand passes as it is: units and decimal sign are `app.units`' business.
"""

import re
from dataclasses import dataclass

_UNSTABLE = "The scale was not at rest. Wait until its reading stands still and send it again."
_OVER = (
    "The scale shows an overload or a fault instead of a weight. Take the grain off, let it show zero, and try again."
)
_BELOW = (
    "The scale reads {amount}, and a grain weighs more than nothing. Empty the pan, set it to zero, and weigh again."
)
_TARE = "This is the scale's tare, not the grain's weight. Send the net or the gross reading."
_LOST_UNIT = (
    "The scale sent no unit; a scale that marks its lines leaves the unit out while it is not at rest. Wait until "
    "its reading stands still and send it again."
)
_TWO = "There is more than one weight in “{line}”. Empty the field and send the reading once."

_HEADER = re.compile(r"(?P<state>ST|US|OL|QT)\s*,\s*(?:(?P<kind>GS|NT|TR|G|N|T)\s*,\s*)?(?P<rest>.*)", re.I | re.S)
_WORD = re.compile(
    r"(?P<kind>net|gross|tare|nett?o|brutto|[NGT])(?:\s+wt\.?)?\s*[:=]?\s*(?P<rest>[-+−\s].*|[\d.].*)", re.I | re.S
)
_REST = re.compile(r"S\s+(?P<state>[SDI+\-])\s*(?P<rest>.*)", re.S)
_SUFFIX = re.compile(r"(?P<rest>.*\d\s*[a-z]+)\s+(?P<kind>net|gross|N|G|NT|GS|S|ST|US|T|TR)", re.I | re.S)
_FAULT = re.compile(
    r"\s*(?:[-=_*]{2,}|E+\s*\d*|ERR(?:OR)?\.?\s*\d*|OL|O-?L|OVER(?:LOAD)?|UNDER(?:LOAD)?|H{1,6}|L{1,6})\s*", re.I
)
_SIGN = re.compile(r"^\s*(?P<sign>[+\-−])?\s*(?P<rest>.*?)\s*$", re.S)
_AMOUNT = re.compile(r"(?<![\d.,])(?:\d+(?:[.,]\d+)*|[.,]\d+)", re.ASCII)

_POUNDS = re.compile(r"\d\s*(?:lbs?|pounds?)\b,?\s*\d", re.I | re.ASCII)
"""1 lb 14 oz is one weight."""


class ScaleLineError(ValueError):
    """The line is no weight to keep; the message says what to do."""


@dataclass(frozen=True)
class ScaleLine:
    """A line that holds a weight: the text to read as a mass, and `kind`: typed, gross or net."""

    text: str
    kind: str = "typed"


def parse(line: str) -> ScaleLine:
    """Take the weight out of a line of a scale; what a person typed comes back as it was typed.

    Raises
    ------
    ScaleLineError
        The reading is not at rest, below zero, an overload, a tare, or two readings at once.
    """
    text = " ".join("".join(c if c.isprintable() else " " for c in line).split())
    if _FAULT.fullmatch(text):
        raise ScaleLineError(_OVER)
    if header := _HEADER.fullmatch(text):
        return _with_header(header)
    if rest := _REST.fullmatch(text):
        return _with_state(rest)
    if word := _WORD.fullmatch(text):
        return _with_word(word)
    if suffix := _SUFFIX.fullmatch(text):
        return _with_suffix(suffix)
    return ScaleLine(_weight(text))


def _with_header(found: re.Match[str]) -> ScaleLine:
    state = found["state"].upper()
    if state == "OL":
        raise ScaleLineError(_OVER)
    if state == "US":
        raise ScaleLineError(_UNSTABLE)
    if state == "QT":
        raise ScaleLineError("The scale is counting pieces. Set it to weigh and send the reading again.")
    kind = _kind(found["kind"] or "G")
    return ScaleLine(_weight(found["rest"]), kind)


def _with_state(found: re.Match[str]) -> ScaleLine:
    if found["state"] in "+-I":
        raise ScaleLineError(_OVER)
    if found["state"] == "D":
        raise ScaleLineError(_UNSTABLE)
    return ScaleLine(_unit_there(_weight(found["rest"])), "gross")


def _with_word(found: re.Match[str]) -> ScaleLine:
    kind = _kind(found["kind"])
    text = _weight(found["rest"])
    return ScaleLine(_unit_there(text) if len(found["kind"]) == 1 else text, kind)


def _with_suffix(found: re.Match[str]) -> ScaleLine:
    mark = found["kind"].upper()
    if mark == "US":
        raise ScaleLineError(_UNSTABLE)
    return ScaleLine(_weight(found["rest"]), "gross" if mark in ("S", "ST") else _kind(mark))


def _kind(word: str) -> str:
    first = word[0].upper()
    if first == "T":
        raise ScaleLineError(_TARE)
    return "net" if first == "N" else "gross"


def _weight(text: str) -> str:
    """The number with its unit, without a plus sign; refused if it is unstable, below zero, a fault or two of them."""
    if _FAULT.fullmatch(text):
        raise ScaleLineError(_OVER)
    if "?" in text:
        raise ScaleLineError(_UNSTABLE)
    amounts = _AMOUNT.findall(text)
    if len(amounts) > 1 and "/" not in text and not _POUNDS.search(text):
        raise ScaleLineError(_TWO.format(line=text))
    signed = _SIGN.match(text)
    assert signed is not None, "the pattern takes every text"
    if signed["sign"] in ("-", "−") and any(digit in signed["rest"] for digit in "123456789"):
        raise ScaleLineError(_BELOW.format(amount=f"−{signed['rest']}"))
    return signed["rest"]


def _unit_there(text: str) -> str:
    if not re.search(r"[^\d\s.,]", text):
        raise ScaleLineError(_LOST_UNIT)
    return text
