"""What the program of a season's casting is made of: spans of alike evenings, and bounds on what is cast in them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from app.calc.season.melt_loads import Load, Pan, Pattern


@dataclass(frozen=True)
class Span:
    """Evenings that are alike: their days, how many melts each takes, the place in the order of time that they lie in.

    A `free` one is used anyhow; an `extra` one stands for evenings that the maker does not have, any number of them.
    """

    place: int
    days: tuple[date, ...]
    melts_each: int
    free: bool = False
    extra: bool = False


@dataclass(frozen=True)
class Bound:
    """A number of grains of a pattern, cast in these spans together."""

    spans: tuple[int, ...]
    pattern: str
    grains: int


@dataclass(frozen=True)
class Supply:
    """What there is of an ingredient for these spans, up to a place in time [kg], and its share in each formula [-]."""

    spans: tuple[int, ...]
    place: int
    ingredient: str
    there_kg: float
    shares: Mapping[str, float]


@dataclass(frozen=True)
class Window:
    """Spans in which a tool serves once: so many grains of the patterns in all of them together."""

    spans: tuple[int, ...]
    patterns: tuple[str, ...]
    sets: int


@dataclass(frozen=True)
class Setup:
    """All that the program is made of; `loads` are the full loads of each formula with the names of its patterns.

    A formula without loads is bounded by the mass and the tools of its melts together, which is never more than is
    true; `complete` tells whether all full loads are there.
    """

    spans: Sequence[Span]
    patterns: Mapping[str, Pattern]
    pan: Pan
    loads: Mapping[str, tuple[tuple[str, ...], Sequence[Load]]]
    total: Mapping[str, int]
    tools: Sequence[tuple[frozenset[str], int]] = ()
    complete: bool = True
    floors: Sequence[Bound] = ()
    ceilings: Sequence[tuple[tuple[int, ...], str, int]] = ()
    """In these spans, so many melts of a formula at most: those before a test."""
    held: Sequence[tuple[tuple[int, ...], float]] = ()
    """In these spans, the grains cast may weigh so much [kg]: what may be held, and what is flown by the last,
    less what lies there."""
    supplies: Sequence[Supply] = ()
    remelt_kg: Mapping[str, float] = field(default_factory=dict)
    remelt_limit: float = 0.15
    windows: Sequence[Window] = ()
    elastic: frozenset[str] = frozenset()
    """What may be stretched, at a cost: "supplies", "held" or both; nothing in a plan that counts."""
