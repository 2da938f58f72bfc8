"""Lines of several kinds that take turns, each kind with a word of its own at the beginning: which are the record."""

import re
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

_MOST, _TURNS = 6, 0.3  # kinds of lines that take turns, and the share of lines at which they do
_LEAST, _MOSTLY = 0.05, 0.8  # share of the lines that each kind has at least, and that begin with a word at all
_WORD = re.compile(r"[$!]?[^\W\d][\w-]{0,11}")


def of(row: Sequence[str]) -> str:
    """Give the word that a line begins with.

    Parameters
    ----------
    row : sequence of str
        Cells of the line [-].

    Returns
    -------
    str
        Its first cell without quotation marks [-].

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> of(["$TS", "3.1"])
    '$TS'
    """
    return row[0].strip(' "')


def read(rows: Sequence[Sequence[str]]) -> str:
    """Tell by which word the lines of the record begin, where several kinds of lines take turns.

    Parameters
    ----------
    rows : sequence of sequence of str
        Cells of lines [-].

    Returns
    -------
    str
        The most frequent of the words; nothing where lines are all of one kind, or one kind comes after the other, as
        the states of a stand do [-].

    References
    ----------
    Common practice of sentences that begin with their kind, no source.

    Examples
    --------
    >>> read([["$TS", "1"], ["$TS", "2"], ["$BATT", "7"]] * 9), read([["idle", "1"]] * 9 + [["lit", "2"]] * 9)
    ('$TS', '')
    """
    words = [word for row in rows if len(row) > 1 and _WORD.fullmatch(word := of(row))]
    counts = Counter(words)
    if not 1 < len(counts) <= _MOST or len(words) < _MOSTLY * len(rows) or min(counts.values()) < _LEAST * len(words):
        return ""
    turns = sum(one != other for one, other in pairwise(words))
    return counts.most_common(1)[0][0] if turns > _TURNS * len(words) else ""
