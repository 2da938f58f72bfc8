"""Lines of a logger as bare numbers: without what programs, terminals and memory cards put round or between them.

Everything here works within a line, so that lines keep their numbers; a line that does not look so stays as it is.
"""

import re
from collections.abc import Iterable

from app.calc.record.cell_text import CLOCK

_SAMPLED = 5_000  # letters at each of four places by which lines are judged
_USUAL = 0.3  # share of the lines with digits that must look so: status lines stand between the others
_NUMBER = rb"[+-]?(?:[0-9]+[.,]?[0-9]*|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?"
_DIGIT = re.compile(rb"[0-9]")
_ESCAPES = re.compile(rb"\x1b\[[0-9;?]*[A-Za-z]")
_PADDING = re.compile(rb"\0+")
_BLANKS = re.compile(rb"(?<=[0-9])(?:\xc2\xa0|\xe2\x80\xaf|\xe2\x80\x89|\xa0)(?=[0-9]{3}(?![0-9]))")
_QUOTE = rb"(?:'|\xe2\x80\x99)"
_APOSTROPHES = re.compile(rb"(?<![0-9])[0-9]{1,3}(?:" + _QUOTE + rb"[0-9]{3})+(?![0-9])")
_DECIMALS = re.compile(rb"[0-9][.,][0-9]|" + _QUOTE + rb"[0-9]{3}" + _QUOTE)
_QUOTED = re.compile(rb"^[^\n]*[0-9]" + _QUOTE + rb"[0-9]{3}[^\n]*$", re.MULTILINE)
_MINUS = b"\xe2\x88\x92"
_ARROWS = re.compile(rb"\t *-> *|(?<=->) *\t")
_KEY = re.compile(rb'"([^"\n]{1,30})"[ \t]*:')

_STAMP = re.compile(
    rb"^(?:[A-Z][ \t]*)?[\[(<][ \t]*("
    + CLOCK.pattern.encode()
    + rb"|"
    + _NUMBER
    + rb")[ \t]*[\])>]:?[ \t]*(?=[^\s,;])",
    re.MULTILINE,
)
_WRAPPED: tuple[tuple[re.Pattern[bytes], bytes], ...] = (
    (_STAMP, rb"\1 -> "),
    (re.compile(rb"^[ \t]*>+[ \t]*(?=[-+0-9.])", re.MULTILINE), b""),
    (re.compile(rb"^[ \t]*(" + _NUMBER + rb"[ \t]*[a-z]{0,5}):[ \t]+(?=[-+0-9.])", re.MULTILINE), rb"\1 -> "),
    (re.compile(rb"""^b(["'])(.*?)(?:\\r)?(?:\\n)?\1[ \t]*(\r*)$""", re.MULTILINE), rb"\2\3"),
    (re.compile(rb"^(.*?)(?:\\r)?\\n[ \t]*(\r*)$", re.MULTILINE), rb"\1\2"),
    (re.compile(rb"^[ \t]*[\[(]([^\[\]()\n]*)[\])][ \t,;]*(\r*)$", re.MULTILINE), rb"\1\2"),
    (
        re.compile(
            rb'^"((?:[^"\n]*[;\t]|[^"\n]*[0-9]\.[0-9][^"\n]*,|[^"\n]*,[^"\n]*[0-9]\.[0-9])[^"\n]*)"(\r*)$', re.MULTILINE
        ),
        rb"\1\2",
    ),
    (re.compile(rb"^([^;\n]*[0-9][^;\n]*);[ \t]*(\r*)$", re.MULTILINE), rb"\1\2"),
    (re.compile(rb"^[ \t]*\|(.*)\|[ \t]*(\r*)$", re.MULTILINE), rb"\1\2"),
)
"""What stands round a line: a stamp in brackets or before a colon, a prompt, a program's quotes, brackets, bars."""

_OBJECT = re.compile(rb"^[ \t]*\{(.*)\}[ \t,]*(\r*)$", re.MULTILINE)
_PARTED = re.compile(
    rb"^[ \t]*" + _NUMBER + rb"(?:[ \t]*([/|&_~])[ \t]*" + _NUMBER + rb")(?:[ \t]*\1[ \t]*" + _NUMBER + rb")*[ \t]*\r?$"
)
_SPACED_COMMAS = re.compile(rb"[+-]?\d+,\d+(?:,[ \t]+[+-]?\d+,\d+)+")
_SPACED = re.compile(rb",(?=[ \t])")
_WHOLE_COMMAS = re.compile(rb"[+-]?[0-9]+,[0-9]+(?:,[+-]?[0-9]+,[0-9]+)+")


def tidy(text: bytes) -> bytes:
    """Give lines without what stands round their numbers.

    Parameters
    ----------
    text : bytes
        Lines, as UTF-8 or single bytes [-].

    Returns
    -------
    bytes
        As many lines [-].

    Notes
    -----
    Taken away: colours of a terminal, zero bytes that a card was padded with (inside the text they leave a question
    mark, so that the line they fell into is none), blanks and apostrophes that set thousands apart, brackets, quotes
    and bars about whole lines. A stamp in brackets is parted by an arrow. Decimal commas between commas are told by
    decimals of one length that never have a sign and begin with zeros, and by half as many names over them.

    References
    ----------
    ECMA-48 for the colours; the rest: common practice, no source.

    Examples
    --------
    >>> tidy(b"[10:00:00.5] (3)\\n(0.5, 2)\\n(0.6, 3)\\n")
    b'10:00:00.5 -> (3)\\n0.5, 2\\n0.6, 3\\n'
    """
    text = _without_padding(text)
    if b"\x1b[" in text:
        text = _ESCAPES.sub(b"", text)
    if not text.isascii():
        text = _BLANKS.sub(b"", text.replace(_MINUS, b"-"))
    if b"'" in text or not text.isascii():
        text = _QUOTED.sub(_without_apostrophes, text)
    if b">" in text and b"\t" in text:
        text = _ARROWS.sub(b" -> ", text).replace(b"->  -> ", b"-> ")
    return _decimal_commas(_parted(_unwrapped(text)))


def _without_apostrophes(line: re.Match[bytes]) -> bytes:
    """A line without the signs that set thousands apart; where nothing else is a decimal sign, they may be that."""
    if not _DECIMALS.search(line[0]):
        return line[0]
    return _APOSTROPHES.sub(lambda number: number[0].translate(None, b"'\xe2\x80\x99"), line[0])


def _without_padding(text: bytes) -> bytes:
    if b"\0" in text:
        text = _PADDING.sub(b"?", text.strip(b"\0"))
    return text.rstrip(b"\xff") if text.endswith(b"\xff\xff") else text


def _sample(text: bytes) -> list[bytes]:
    """Lines with digits, from several places."""
    size = len(text)
    starts = [0, *(text.find(b"\n", size * i // 4) + 1 for i in (1, 2, 3))] if size > 4 * _SAMPLED else [0]
    pieces = [text[start : start + _SAMPLED] for start in starts] if len(starts) > 1 else [text]
    lines = [line for piece in pieces for line in piece.split(b"\n")]
    return [line for line in lines if _DIGIT.search(line)]


def _share(lines: list[bytes], matches: Iterable[object]) -> float:
    return sum(1 for match in matches if match) / max(len(lines), 1)


def _unwrapped(text: bytes) -> bytes:
    lines = _sample(text)
    if _share(lines, (_OBJECT.match(line) for line in lines)) >= _USUAL:
        text = _OBJECT.sub(lambda m: _KEY.sub(rb"\1:", m[1]) + m[2], text)
    for pattern, instead in _WRAPPED:
        if _share(lines, (pattern.match(line) for line in lines)) >= _USUAL:
            text = pattern.sub(instead, text)
            lines = _sample(text)
    return text


def _parted(text: bytes) -> bytes:
    """Numbers parted by a sign that parts no columns elsewhere, parted by tabs."""
    lines = _sample(text)
    bars = sum(b"|" in line for line in lines) > 0.8 * len(lines)
    if bars and not any(sign in line for line in lines for sign in (b"\t", b";")):
        return text.replace(b"|", b"\t")
    found = [_PARTED.match(line) for line in lines]
    if lines and _share(lines, found) > 1 - _USUAL:
        sign = next(match[1] for match in found if match)
        return re.sub(rb"(?<=[0-9.])([ \t]*)" + re.escape(sign) + rb"(?=[ \t]*[-+0-9.])", rb"\1\t", text)
    return text


def _decimal_commas(text: bytes) -> bytes:
    """Numbers with decimal commas that commas part, as 0,12,3,50 or 0,12, 3,50, parted by semicolons."""
    lines = [line.strip() for line in _sample(text)]
    if len(lines) >= 20 and _share(lines, (_SPACED_COMMAS.fullmatch(line) for line in lines)) >= _USUAL:
        return _SPACED.sub(b"; ", text)
    whole = [line for line in lines if _WHOLE_COMMAS.fullmatch(line)]
    if len(whole) < 20 or len(whole) < _USUAL * len(lines) or len({line.count(b",") for line in whole}) > 1:
        return text
    rows = [line.split(b",") for line in whole]
    count = len(rows[0]) // 2
    for column in range(1, 2 * count, 2):
        lengths = [len(row[column]) for row in rows]
        usual = max(set(lengths), key=lengths.count)
        decimals = [row[column] for row in rows if len(row[column]) == usual]
        if len(decimals) < 0.95 * len(rows):  # a stray sample may have others
            return text
        if usual > 1 and not any(one.startswith(b"0") for one in decimals):
            return text
    before = text[: text.find(whole[0])].split(b"\n")
    heads = [line for line in before if line.strip() and not any(48 <= letter < 58 for letter in line)]
    if any(line.count(b",") == 2 * count - 1 for line in heads):
        return text
    if all(len(row[1]) == 1 for row in rows) and not any(line.count(b",") == count - 1 for line in heads):
        return text
    pair = rb"([+-]?[0-9]+,[0-9]+)"
    lines_of = re.compile(rb"^[ \t]*" + rb",".join([pair] * count) + rb"[ \t]*(\r*)$", re.MULTILINE)
    joined = lines_of.sub(b";".join(rb"\%d" % i for i in range(1, count + 1)) + rb"\%d" % (count + 1), text)
    top = [line.replace(b",", b";") if line.count(b",") == count - 1 else line for line in before]
    return b"\n".join(top) + joined[len(b"\n".join(before)) :]
