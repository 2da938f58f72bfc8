"""Lines of the checklist that take numbers: a blank is two underscores, `Water __ °C` or `Extinguisher __ bar`.

What stands behind a blank is its unit where `app.units` knows it; any other word stays the line's own. Two units with a
stroke between them, `__ °C/°F`, are the one that the workshop writes in. A number is kept as it was typed, with its
unit, and in SI beside it where the unit is known.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated, Any

from pydantic import Field, create_model

from app import units
from app.models.checklist import MARK, AnswerIn, NumberSaid
from app.units import KINDS, Measure, Quantity, UnitSystem, pint_name

KINDS_AT_A_BENCH = ("temperature", "mass", "pressure", "time", "length", "volume", "share", "speed", "force", "area")
"""Kinds that a unit in a line is looked for in, in this order: °C is a temperature, not a step of one."""

_UNIT = re.compile(r"\s*([^\s,;:!?()_]+)")
_CLAUSE = re.compile(r"[,.;:!?()](?:\s|$)")
_LONGEST_LABEL = 60


@dataclass(frozen=True)
class Blank:
    """A place in a line where a number is said."""

    name: str
    """Of its field in the form."""
    unit: str
    """That a bare number is in, as the line has it; empty where none is known."""
    kind: str
    """What the number measures, as `app.units` calls it; empty where no unit is known."""
    label: str
    """The words that it stands in, with its unit."""


@dataclass(frozen=True)
class Piece:
    """A stretch of a line: words, a blank still open, or the number that was said in one."""

    words: str
    blank: bool = False
    said: bool = False


@lru_cache(maxsize=512)
def of_line(words: str, system: UnitSystem = units.METRIC) -> tuple[Blank, ...]:
    """The blanks of a line, in order.

    >>> [(b.unit, b.kind, b.label) for b in of_line("Extinguisher __ bar, __ m away.")]
    [('bar', 'pressure', 'Extinguisher … bar'), ('m', 'length', 'Extinguisher … bar, … m away')]
    >>> [b.unit for b in of_line("Water __ °C/°F, __ buckets", units.US)]
    ['°F', '']
    """
    cut = _cut(words, system)
    said = "".join(part if isinstance(part, str) else f"\0 {part[0]}" if part[0] else "\0" for part in cut)
    places = [at for at, sign in enumerate(said) if sign == "\0"]
    found = []
    for number, (at, (unit, kind)) in enumerate(zip(places, (p for p in cut if not isinstance(p, str)), strict=True)):
        starts = [0, *(m.end() for m in _CLAUSE.finditer(said, 0, at))]
        start = starts[-1] if said[starts[-1] : at].strip(" \0") else starts[max(len(starts) - 2, 0)]
        end = min([m.start() for m in _CLAUSE.finditer(said, at)], default=len(said))
        before = " ".join(said[start:at].replace("\0", "…").split())[-_LONGEST_LABEL:].lstrip(" …")
        after = said[at + 1 : end].split("\0")[0]
        label = " ".join(f"{before} … {after}".split())
        found.append(Blank(f"number_{number + 1}", unit, kind, label if label != "…" else f"Number {number + 1}"))
    return tuple(found)


def pieces(words: str, system: UnitSystem = units.METRIC, said: list[NumberSaid] | None = None) -> list[Piece]:
    """A line cut into words and numbers: what was said in its blanks, in the reader's unit too where another was typed.

    >>> "".join(p.words for p in pieces("Water __ °C", said=[NumberSaid(typed="68 °F", kind="temperature", si=293.15)]))
    'Water 68 °F (20 °C)'
    """
    numbers = iter(said or ())
    found: list[Piece] = []
    for part in _cut(words, system):
        if isinstance(part, str):
            found.append(Piece(part))
            continue
        unit, kind = part
        number = next(numbers, None)
        if number is None:
            found.append(Piece(f"___ {unit}".strip(), blank=True))
        else:
            found.append(Piece(_as_said(number, unit, kind), said=True))
    return [piece for piece in found if piece.words]


def plain(words: str, system: UnitSystem = units.METRIC, said: list[NumberSaid] | None = None) -> str:
    """A line as one text, with what was said in it.

    >>> plain("Extinguisher __ bar, __ m/ft away.", units.US)
    'Extinguisher ___ bar, ___ ft away.'
    """
    return "".join(piece.words for piece in pieces(words, system, said))


@lru_cache(maxsize=512)
def form_of(words: str, system: UnitSystem = units.METRIC) -> type[AnswerIn]:
    """The form that answers a line with its numbers: `AnswerIn` with one field for each blank."""
    blanks = of_line(words, system)
    if not blanks:
        return AnswerIn
    fields: dict[str, Any] = {}
    for blank in blanks:
        takes: Any = Annotated[float, Field(ge=-1e9, le=1e9)]
        if blank.kind:
            kind = KINDS[blank.kind]
            takes = Annotated[Quantity, Measure(blank.kind, ge=kind.least, le=kind.most, unit=blank.unit)]
        fields[blank.name] = (takes | None, Field(None, title=blank.label))
    made: type[AnswerIn] = create_model("NumbersIn", __base__=AnswerIn, **fields)
    return made


def filled(words: str, seen: Mapping[str, str]) -> AnswerIn:
    """A line answered as done, each blank with what was seen, by the kind of its number (empty: of no kind)."""
    numbers = {blank.name: seen[blank.kind] for blank in of_line(words) if blank.kind in seen}
    return form_of(words).model_validate({"answer": "done", **numbers})


def said_in(words: str, data: AnswerIn) -> list[NumberSaid]:
    """The numbers that a form of the line was filled in with, in the order of its blanks."""
    found = []
    for blank in of_line(words):  # names are the same in any system
        value = getattr(data, blank.name, None)
        if isinstance(value, Quantity):
            found.append(NumberSaid(typed=value.typed, kind=blank.kind, si=value.si))
        elif value is not None:
            found.append(NumberSaid(typed=f"{value:.9g}", value=value))
    return found


def _as_said(number: NumberSaid, unit: str, kind: str) -> str:
    """A number with the unit it was typed in, and in the line's own where that is another."""
    if not number.kind or number.kind != kind or number.si is None:
        return number.typed
    typed_in_own = units.in_unit(number.typed, unit, kind)
    if typed_in_own is not None and units.parse(typed_in_own, kind).si == number.si:
        return number.typed
    own = units.convert(number.si, kind, units.METRIC._replace(**{kind: unit}))
    return f"{number.typed} ({own:.3g} {unit})"


def _cut(words: str, system: UnitSystem) -> list[str | tuple[str, str]]:
    """A line as its words and, between them, unit and kind of each blank; the unit is not in the words behind it."""
    return list(_cutting(words, system))


def _cutting(words: str, system: UnitSystem) -> Iterator[str | tuple[str, str]]:
    at = 0
    while (found := words.find(MARK, at)) >= 0:
        yield words[at:found]
        at = found + len(MARK)
        unit, kind, end = _unit_at(words, at, system)
        yield unit, kind
        at = end
    yield words[at:]


def _unit_at(words: str, at: int, system: UnitSystem) -> tuple[str, str, int]:
    """The unit that stands at a place of a line, its kind, and where it ends; `in` with a word behind it is none."""
    found = _UNIT.match(words, at)
    if found is None:
        return "", "", at
    token = found[1].rstrip(".")
    end = found.start(1) + len(token)
    if token.casefold() == "in" and re.match(r"\s+\w", words[end:]):
        return "", "", at
    for choice in ([token], token.split("/")):
        kinds = [name for name in KINDS_AT_A_BENCH if all(pint_name(one, KINDS[name]) for one in choice)]
        if kinds:
            liked = [one for one in choice if one in system]
            return (liked or choice)[0], kinds[0], end
    return "", "", at
