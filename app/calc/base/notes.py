"""Sentences with numbers in them, before anybody has chosen units: words are made at the edge, by `app.units.say`."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from string import Formatter
from typing import NamedTuple


class Amount(NamedTuple):
    """A number in SI with its kind (a key of `app.units.KINDS`), and how many decimals to write it with."""

    value: float
    kind: str
    decimals: int | None = None


@dataclass(frozen=True)
class Note:
    """One sentence: `words` with a `{name}` for each of its `amounts`.

    Plain ratios, names and percentages may stand in the words; whatever has a unit is an amount. A `strong` one tells
    of a danger and stands before those that say how good a number is.
    """

    words: str
    amounts: Mapping[str, Amount] = field(default_factory=dict)
    strong: bool = False

    def __post_init__(self) -> None:
        self.words.format(**self.amounts)  # a name without its amount is a fault of the program, found here

    def __str__(self) -> str:
        """In SI, for a log or a traceback; a page says it in the workshop's units."""
        return self.words.format(**{name: f"{a.value:.6g} [SI, {a.kind}]" for name, a in self.amounts.items()})


def joined(*parts: "Note | str", between: str = " ") -> Note:
    """Sentences as one note, each with its amounts.

    Parameters
    ----------
    parts : Note or str
        What is said, in order; a text is taken as it is, and nothing where it is empty [-].
    between : str
        What stands between two of them [-].

    Returns
    -------
    Note
        All of it [-].

    Notes
    -----
    Any sentences.

    Examples
    --------
    >>> both = joined("A core of", Note("{size}.", {"size": Amount(0.012, "length")}))
    >>> both.words, both.amounts["n1_size"].value
    ('A core of {n1_size}.', 0.012)
    """
    words, amounts = [], {}
    for i, part in enumerate(parts):
        if isinstance(part, str):
            words.append(_plain(part))
            continue
        amounts.update({f"n{i}_{name}": amount for name, amount in part.amounts.items()})
        bits = Formatter().parse(part.words)
        words.append("".join(_plain(text) + (f"{{n{i}_{name}}}" if name else "") for text, name, _, _ in bits))
    strong = any(isinstance(part, Note) and part.strong for part in parts)
    return Note(between.join(word for word in words if word), amounts, strong)


def sentence(note: "Note | str") -> Note:
    """A note that begins with a capital letter.

    Parameters
    ----------
    note : Note or str
        Words that may stand within a sentence [-].

    Returns
    -------
    Note
        The same as a sentence of its own [-].

    Notes
    -----
    Nothing changes where it begins with an amount.

    Examples
    --------
    >>> sentence("the core is too wide.").words
    'The core is too wide.'
    """
    whole = joined(note)
    return replace(whole, words=whole.words[:1].upper() + whole.words[1:])


def strong_first(notes: Sequence["Note | str"]) -> tuple["Note | str", ...]:
    """Put those that tell of a danger before the others.

    Parameters
    ----------
    notes : sequence of Note or str
        In any order; a text is none of them [-].

    Returns
    -------
    tuple of Note or str
        The same, otherwise in their order [-].

    Notes
    -----
    Any sentences.

    Examples
    --------
    >>> strong_first(["first", Note("second", strong=True)])[0].words
    'second'
    """
    return tuple(sorted(notes, key=lambda note: isinstance(note, str) or not note.strong))


def _plain(text: str) -> str:
    return text.replace("{", "{{").replace("}", "}}")
