"""Sentences with numbers in them, before anybody has chosen units: words are made at the edge, by `app.units.say`."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple


class Amount(NamedTuple):
    """A number in SI with its kind (a key of `app.units.KINDS`), and how many decimals to write it with."""

    value: float
    kind: str
    decimals: int | None = None


@dataclass(frozen=True)
class Note:
    """One sentence: `words` with a `{name}` for each of its `amounts`.

    Plain ratios, names and percentages may stand in the words; whatever has a unit is an amount.
    """

    words: str
    amounts: Mapping[str, Amount] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.words.format(**self.amounts)  # a name without its amount is a fault of the program, found here
