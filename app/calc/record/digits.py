"""Many plain decimal numbers at once, where a block of text holds nothing else: faster than one by one."""

import numpy as np

from app.calc.base.constants import Floats

MOST_DIGITS = 15
"""Digits up to which a number is a whole one below 2**53 over a power of ten that a double holds exactly [-]."""

_POWERS = 10.0 ** np.arange(MOST_DIGITS + 2)
_ZERO, _LINE, _MINUS, _PLUS = (ord(sign) for sign in "0\n-+")


def plain_decimals(block: bytes, delimiter: str, decimal: str, columns: int) -> Floats | None:
    """Turn lines of plain decimal numbers into an array.

    Parameters
    ----------
    block : bytes
        Whole lines, each with its line feed [-].
    delimiter, decimal : str
        The one sign between columns, and the decimal sign [-].
    columns : int
        How many numbers stand in a line [-].

    Returns
    -------
    ndarray or None
        Numbers [-], shape (columns, lines); None where anything else stands in the block, be it a blank.

    Notes
    -----
    Each number is its digits as a whole number, divided once by a power of ten. Both are exact up to 15 digits, so the
    quotient is the nearest double, as any correct reader gives it.

    References
    ----------
    W. D. Clinger, How to read floating point numbers accurately, PLDI 1990: the fast path (from memory).

    Examples
    --------
    >>> plain_decimals(b"0.1,-2\\n0.2,35.50\\n", ",", ".", 2).tolist()
    [[0.1, 0.2], [-2.0, 35.5]]
    """
    letters = np.frombuffer(block, np.uint8)
    values = letters - np.uint8(_ZERO)
    digit = values < 10
    lines = letters == _LINE
    ends = np.flatnonzero(lines | (letters == ord(delimiter)))
    if not ends.size or ends.size % columns or ends.size != columns * int(lines.sum()):
        return None
    starts = np.r_[0, ends[:-1] + 1]
    points = np.flatnonzero(letters == ord(decimal))
    signs = letters[starts]
    minus = signs == _MINUS
    known = int(digit.sum()) + ends.size + points.size + int(minus.sum()) + int((signs == _PLUS).sum())
    if known != letters.size or not lines[ends[columns - 1 :: columns]].all():
        return None
    so_far = np.cumsum(digit, dtype=np.int32)
    until = so_far[ends]
    counts = np.diff(until, prepend=np.int32(0))
    pointed = np.searchsorted(ends, points)
    if counts.min() < 1 or counts.max() > MOST_DIGITS or (np.diff(pointed) < 1).any():
        return None
    behind = until.repeat(counts) - np.arange(1, until[-1] + 1, dtype=np.int32)
    numbers = np.add.reduceat(values[digit] * _POWERS[behind], until - counts)
    numbers[pointed] /= _POWERS[until[pointed] - so_far[points]]
    numbers[minus] *= -1.0
    return np.asarray(numbers.reshape(-1, columns).T)
