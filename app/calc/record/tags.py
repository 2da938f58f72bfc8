"""Lines of several kinds that take turns, each kind with a word of its own in one column: which are the record."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

_MOST, _TURNS = 6, 0.3  # kinds of lines that take turns, and the share of lines at which they do
_LEAST, _MOSTLY = 0.05, 0.8  # share of the lines that each kind has at least, and that have a word there at all
_WORD = re.compile(r"[$!]?[^\W\d][\w-]{0,11}")
_FIRST = 4  # columns that such words stand in


@dataclass(frozen=True)
class Tag:
    """The word of the lines that are the record, and the column that it stands in, from 0."""

    column: int
    word: str

    def on(self, row: Sequence[str]) -> bool:
        """Whether a line is of this kind."""
        return len(row) > self.column and row[self.column].strip(' "') == self.word


def kinds_of_lines(rows: Sequence[Sequence[str]]) -> Tag | None:
    """Tell which lines are the record, where several kinds of lines take turns.

    Parameters
    ----------
    rows : sequence of sequence of str
        Cells of lines [-].

    Returns
    -------
    Tag or None
        The kind with the numbers that change most, of those that are frequent; None where lines are all of one kind,
        or one kind comes after the other, as the states of a stand do [-].

    References
    ----------
    Common practice of sentences that begin with their kind, no source.

    Examples
    --------
    >>> kinds_of_lines([["$TS", "1"], ["$TS", "2"], ["$BATT", "7"]] * 9)
    Tag(column=0, word='$TS')
    >>> kinds_of_lines([["idle", "1"]] * 9 + [["lit", "2"]] * 9)
    """
    for column in range(min(_FIRST, max(map(len, rows), default=0))):
        words = [word for row in rows if len(row) > column and _WORD.fullmatch(word := row[column].strip(' "'))]
        counts = Counter(words)
        if not 1 < len(counts) <= _MOST or len(words) < _MOSTLY * len(rows):
            continue
        turns = sum(one != other for one, other in pairwise(words))
        if min(counts.values()) >= _LEAST * len(words) and turns > _TURNS * len(words):
            most = max(counts.values())
            frequent = [word for word, count in counts.items() if count > most / 2]
            return max((Tag(column, word) for word in frequent), key=lambda tag: _changes(rows, tag))
    return None


def _changes(rows: Sequence[Sequence[str]], tag: Tag) -> int:
    """How many different last cells the lines of a kind have."""
    return len({row[-1] for row in rows if tag.on(row)})
