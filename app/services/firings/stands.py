"""Stands and how their files are read: what was chosen for a file is remembered with its shape, and proposed again.

A remembered reading belongs to the stand of the name that was given with it, and to files of its shape: what parts
their columns, how many there are, what stands over each. For a file of another shape it is said what differs.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass

from sqlmodel import Session, col, select

from app.calc.base.errors import CalcError
from app.calc.record import logger_text
from app.models import Curve, StandReading
from app.models.curve import ReadIn
from app.services.firings.opened_files import Opened, as_texts

OF_ONE_FILE = ("first_line", "lasted", "start", "end", "pulse", "zero_way", "leave_out", "record", "of_sheet")
"""What is chosen for one file alone and never proposed for another one."""

FIRST_NAME = "The stand"
"""What a stand is called until it is named."""

_PARTED = {"comma": "commas", "semicolon": "semicolons", "tab": "tabs", "blank": "blanks", "colon": "colons"}
_TOLD = 4


@dataclass(frozen=True)
class Shape:
    """What the files of one stand have in common: what parts their columns, the decimal sign, what heads each."""

    delimiter: str
    decimal: str
    columns: int
    heads: tuple[str, ...]


@dataclass(frozen=True)
class Proposal:
    """How a stand was read before, as texts of the form for this file; `differs` says in what the file is another."""

    row: StandReading
    texts: dict[str, str]
    differs: list[str]


def shape_of(text: bytes) -> Shape:
    """The shape of a text.

    Raises
    ------
    CalcError
        It holds no lines of numbers.
    """
    layout = logger_text.guess_layout(text)
    return Shape(layout.delimiter, layout.decimal, layout.columns, tuple(layout.names))


def same_shape(one: bytes, other: bytes) -> bool:
    """Whether two texts are of one shape, so that what was chosen for the one fits the other."""
    shapes = [_tried(text) for text in (one, other)]
    return shapes[0] is not None and shapes[0] == shapes[1]


def remember(session: Session, curve: Curve, data: ReadIn, text: bytes) -> StandReading | None:
    """Keep what was chosen for a file as the reading of its stand, where one is named and it says something new."""
    name = data.of_stand.strip()
    if not name:
        return None
    shape = shape_of(text)
    texts = {key: value for key, value in as_texts(data).items() if key not in OF_ONE_FILE and value}
    same = next((row for row in _of(session, name) if _shape(row) == shape), None)
    if same is not None and same.texts == texts:
        return None
    row = StandReading(
        stand=name,
        curve_id=curve.pk,
        delimiter=shape.delimiter,
        decimal=shape.decimal,
        columns=shape.columns,
        heads_json=json.dumps(list(shape.heads)),
        reading_json=json.dumps(texts),
    )
    session.add(row)
    session.flush()
    return row


def _of(session: Session, name: str) -> list[StandReading]:
    return [row for row in _all(session) if row.stand.casefold() == name.casefold()]


def _all(session: Session) -> list[StandReading]:
    """Every remembered reading, the newest first."""
    return list(session.exec(select(StandReading).order_by(col(StandReading.id).desc())))


def _shape(row: StandReading) -> Shape:
    return Shape(row.delimiter, row.decimal, row.columns, tuple(row.heads))


def names(session: Session) -> list[str]:
    """The stands that something is remembered of, the last used first."""
    found: dict[str, str] = {}
    for row in _all(session):
        found.setdefault(row.stand.casefold(), row.stand)
    return list(found.values())


def proposals(session: Session, opened: Opened) -> list[Proposal]:
    """What is remembered of stands for a file, the last used first: those of its shape; where none is, the nearest one.

    Of a workbook it is the sheet of the remembered name that is looked at, where there is one.
    """
    found: list[Proposal] = []
    seen = set[tuple[str, Shape]]()
    shapes: dict[str, Shape | None] = {}
    for row in _all(session):
        key = row.stand.casefold(), _shape(row)
        if key in seen:
            continue
        seen.add(key)
        sheet = opened.known(row.texts.get("sheet", ""))
        if sheet not in shapes:
            shapes[sheet] = _tried(opened.text(sheet))
        here = shapes[sheet]
        if here is not None:
            found.append(Proposal(row, {**row.texts, "sheet": sheet}, differences(here, _shape(row))))
    same = [one for one in found if not one.differs]
    return same or sorted(found, key=lambda one: len(one.differs))[:1]


def _tried(text: bytes) -> Shape | None:
    try:
        return shape_of(text)
    except CalcError:
        return None


def differences(here: Shape, then: Shape) -> list[str]:
    """In what a file is of another shape than the one that a reading was chosen for, in words; nothing if in none."""
    said = []
    if here.delimiter != then.delimiter:
        said.append(f"its columns are parted by {_PARTED[here.delimiter]}, not by {_PARTED[then.delimiter]}")
    if here.decimal != then.decimal:
        said.append(f"its decimals stand behind “{here.decimal}”, not behind “{then.decimal}”")
    if here.columns != then.columns:
        said.append(f"it has {here.columns} columns, not {then.columns}")
    return said + _other_heads(here.heads, then.heads)


def _other_heads(here: tuple[str, ...], then: tuple[str, ...]) -> list[str]:
    if _plain(here) == _plain(then):
        return []
    if not then or not here:
        return ["its columns have heads, which they had not" if here else "its columns have no heads, which they had"]
    pairs = [
        (i, a, b) for i, (a, b) in enumerate(zip(here, then, strict=False), start=1) if _plain((a,)) != _plain((b,))
    ]
    said = [f"column {i} is headed “{a[:40]}”, not “{b[:40]}”" for i, a, b in pairs[:_TOLD]]
    return said + ([f"{len(pairs) - _TOLD} more heads are others"] if len(pairs) > _TOLD else [])


def _plain(heads: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(" ".join(head.casefold().split()) for head in heads)


def begin_with(proposed: Proposal, guessed: Mapping[str, str]) -> dict[str, str]:
    """A proposal as texts of the form; what belongs to the file alone is as it was guessed."""
    own = {name: guessed.get(name, "") for name in OF_ONE_FILE if guessed.get(name)}
    return {**proposed.texts, **own}
