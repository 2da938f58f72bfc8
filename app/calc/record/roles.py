"""Which column of a stand's file is time, force and pressure, and in what unit: by its words, else by how it runs."""

import datetime
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from app.calc.base.constants import Floats
from app.calc.record.cell_text import kind
from app.calc.record.columns import FORCE_UNITS, TIME_UNITS
from app.calc.record.heads import FORCE, INDEX, OTHER, PRESSURE, TIME, Meaning, meaning, unit_said
from app.calc.record.logger_text import DRESSED, TIME_OF_DAY, Layout, cells, first_lines, sample_lines
from app.calc.record.moments import milliseconds_of

_MOSTLY, _FEW = 0.9, 8
_ALIKE, _WITHIN = 0.995, 0.005  # how much alike two columns of one signal are, and how near their ratio is to a unit's
_CLOCKS_AGREE = 0.1
_EPOCH = (1e9, 2.5e9)  # seconds since 1970 from 2001 on
_SLOW = 5.0  # seconds from sample to sample that no stand takes
_MOST = 8  # columns that are offered as the force
_OVER = 60  # lines over a table that are looked at
_CHECKSUM = re.compile(r"\*[0-9A-Fa-f]{2}$")


@dataclass(frozen=True)
class Force:
    """A column that may be the force, counted from 1, and its unit where the file says it."""

    column: int
    unit: str | None


@dataclass(frozen=True)
class Guess:
    """Which column is probably which, counted from 1, and in what unit.

    None is a column that is not there, or a unit or force that the file does not say: nothing is assumed. `forces` are
    all columns that may be the force, likely first; `said` tells what followed from something else than a head.
    """

    time: int | None
    time_unit: str | None
    force: int | None
    force_unit: str | None
    pressure: int | None
    pressure_unit: str | None
    forces: tuple[Force, ...] = ()
    said: tuple[str, ...] = ()


def guess_roles(columns: Sequence[Floats], names: Sequence[str], above: Sequence[str] = ()) -> Guess:
    """Guess which column is time, force and pressure, from what heads them and how they run.

    Parameters
    ----------
    columns : sequence of ndarray
        Each column's first numbers [-]; a column of words has none.
    names : sequence of str
        What heads each column, or nothing [-].
    above : sequence of str
        Lines over the table, which may say a unit [-].

    Returns
    -------
    Guess
        For a person to confirm or correct [-].

    Notes
    -----
    Words go before values. Without words a column that counts from 0 or 1 is an index, one that rises is time; of the
    others one alone is the force, of several none is taken. A unit is what a head or a line above says, or what follows
    from another column of the same signal or clock; else it stays open.

    References
    ----------
    Common practice of loggers, no source.

    Examples
    --------
    >>> found = guess_roles(np.array([[0.0, 10.0, 20.0], [5.0, 7.0, 4.0]]), ["t [ms]", "Load (kg)"])
    >>> found.time, found.time_unit, found.force, found.force_unit
    (1, 'ms', 2, 'kgf')
    """
    heads = list(names) if len(names) == len(columns) else [""] * len(columns)
    said: list[str] = []
    usable = [i for i, column in enumerate(columns) if len(column) > 1]
    if len(usable) == 1 and meaning(heads[usable[0]]).role == TIME:  # what stands over it is told of the record
        heads[usable[0]] = ""
    means = [_meant(head, heads) for head in heads]
    means = [Meaning(INDEX) if m.role != TIME and _counts_up(columns[i], heads[i]) else m for i, m in enumerate(means)]
    time = _time_column(columns, heads, means, usable) if len(usable) > 1 else None
    left = [i for i in usable if i != time]
    pressure = next((i for i in left if means[i].role == PRESSURE), None)
    forces, force = _forces(columns, means, [i for i in left if means[i].role in (FORCE, "")], said)
    if not forces:
        rest = [i for i in left if i != pressure] or [i for i in usable if i != pressure]
        forces = [i for i in rest if means[i].role == OTHER] or rest
    return Guess(
        time=None if time is None else time + 1,
        time_unit=None if time is None else _time_unit_said(time, columns, heads, means, above, said),
        force=None if force is None else force + 1,
        force_unit=None if force is None else _force_unit_said(force, columns, means, above, said),
        pressure=None if pressure is None else pressure + 1,
        pressure_unit=None if pressure is None else means[pressure].unit or _above(above, PRESSURE),
        forces=tuple(Force(i + 1, _force_unit_said(i, columns, means, above, [])) for i in forces[:_MOST]),
        said=tuple(said),
    )


def _meant(head: str, heads: Sequence[str]) -> Meaning:
    """What a head says; an N alone is newtons, unless it counts or another column is the force."""
    found = meaning(head)
    if head.strip(" ()[]") == "N" and not any(meaning(other).role == FORCE for other in heads if other is not head):
        return Meaning(FORCE, "N")
    if head.strip() == "n" and any(meaning(other).role == FORCE for other in heads if other is not head):
        return Meaning(INDEX)
    return found


def _counts_up(column: Floats, head: str) -> bool:
    """Whether a column counts its lines: one more each time, from 0 or 1, or headed as such."""
    steps = np.diff(column[:200])
    if steps.size < 2 or not (steps == 1).mean() > _MOSTLY:
        return False
    return bool(column[0] in (0, 1)) or meaning(head).role == INDEX or head.strip() in ("n", "N")


def _rises(column: Floats) -> bool:
    """Whether a column runs as a clock does: hardly ever back, and on often enough."""
    steps = np.diff(column)
    return bool(steps.size and (steps >= 0).mean() > _MOSTLY and (steps > 0).mean() > 0.05)


def _time_column(
    columns: Sequence[Floats], heads: Sequence[str], means: Sequence[Meaning], usable: Sequence[int]
) -> int | None:
    """The column of time: called so, or without words the first that rises; of several the one that repeats least."""
    named = [i for i in usable if means[i].role == TIME or TIME_OF_DAY in heads[i]]
    rising = [i for i in named if _rises(columns[i])]
    if not rising:
        rising = [i for i in usable if means[i].role == "" and _rises(columns[i])]
    if rising:
        best = min(rising, key=lambda i: (round(float((np.diff(columns[i]) == 0).mean()), 1), i))
        return next((i for i in named if i != best and _begins_again(columns[i], columns[best])), best)
    return named[0] if named else None


def _begins_again(clock: Floats, column: Floats) -> bool:
    """Whether a column holds no more than the milliseconds of a clock beside it."""
    return clock.size == column.size and milliseconds_of(clock, column)


def _forces(
    columns: Sequence[Floats], means: Sequence[Meaning], among: Sequence[int], said: list[str]
) -> tuple[list[int], int | None]:
    """The columns that may be the force, likely first, and the one that is, where that is sure."""

    def level(i: int) -> int:
        if not means[i].role:
            return 3
        firm = means[i].unit in FORCE_UNITS
        named = means[i].named or means[i].raw or means[i].smooth
        return 0 if named and firm else 1 if firm or means[i].named else 2

    order = sorted(among, key=lambda i: (level(i), means[i].smooth, i))
    best = [i for i in order if level(i) == level(order[0])] if order else []
    if not order or len(best) == 1:
        return order, best[0] if best else None
    first, *rest = best
    if all(_same(columns, first, i, means) for i in rest):
        said.append(f"Columns {' and '.join(str(i + 1) for i in best)} hold the same force in two units.")
        return order, first
    return order, None


def _same(columns: Sequence[Floats], one: int, other: int, means: Sequence[Meaning]) -> bool:
    """Whether two columns hold one signal in the two units that head them."""
    a, b = means[one].unit, means[other].unit
    ratio = _ratio(columns[one], columns[other])
    return a in FORCE_UNITS and b in FORCE_UNITS and a != b and _near(ratio, FORCE_UNITS[b] / FORCE_UNITS[a])


def _ratio(one: Floats, other: Floats) -> float:
    """How many times one column's readings are another's; 0 where they are not the same signal."""
    size = min(one.size, other.size)
    a, b = one[:size] - np.mean(one[:size]), other[:size] - np.mean(other[:size])
    size_b, size_a = float(b @ b), float(a @ a)
    if not (size > _FEW and size_a > 0 and size_b > 0) or not float(a @ b) > _ALIKE * np.sqrt(size_a * size_b):
        return 0.0
    return float(np.sqrt(size_a / size_b))


def _near(ratio: float, size: float) -> bool:
    return abs(ratio / size - 1) < _WITHIN


def _above(lines: Sequence[str], role: str) -> str | None:
    """The unit that lines over the table say, where they say one."""
    found = {unit for line in lines if (unit := unit_said(line, role))}
    return found.pop() if len(found) == 1 else None


def _force_unit_said(
    force: int, columns: Sequence[Floats], means: Sequence[Meaning], above: Sequence[str], said: list[str]
) -> str | None:
    """The unit of force as head, cells or lines above say it, or as it follows from another column."""
    if means[force].role == FORCE and means[force].unit:
        return means[force].unit
    if unit := _above(above, FORCE):
        said.append(f"A line above the numbers says the unit of force: {unit}.")
        return unit
    for i, other in enumerate(means):
        if i == force or other.unit not in FORCE_UNITS:
            continue
        ratio = _ratio(columns[force], columns[i])
        for unit, size in FORCE_UNITS.items():
            if ratio and _near(ratio, FORCE_UNITS[other.unit] / size):
                said.append(
                    f"Column {force + 1} is in {unit}: {ratio:.4g} times column {i + 1}, which is in {other.unit}."
                )
                return unit
    return None


def _time_unit_said(
    time: int,
    columns: Sequence[Floats],
    heads: Sequence[str],
    means: Sequence[Meaning],
    above: Sequence[str],
    said: list[str],
) -> str | None:
    """The unit of time as head or lines above say it, or as it follows from another clock, a rate or a date."""
    if TIME_OF_DAY in heads[time]:
        return "s"
    if means[time].role == TIME and means[time].unit:
        return means[time].unit
    if unit := _above(above, TIME):
        said.append(f"A line above the numbers says the unit of time: {unit}.")
        return unit
    column = columns[time]
    step = float(np.median(np.diff(column))) if len(column) > 1 else 0.0
    for unit, size in TIME_UNITS.items():
        since = float(column[0]) * size if len(column) else 0.0
        if _EPOCH[0] < since < _EPOCH[1] and step * size < _SLOW:
            day = datetime.datetime.fromtimestamp(since, datetime.UTC).date()
            said.append(f"The times are {unit} since 1970: this record is of {day.isoformat()}.")
            return unit
    for i in range(len(columns)):
        size = TIME_UNITS["s"] if TIME_OF_DAY in heads[i] else TIME_UNITS.get(means[i].unit or "", 0.0)
        if i != time and size and len(columns[i]) == len(column) and _rises(columns[i]):
            ratio = float(columns[i][-1] - columns[i][0]) * size / float(column[-1] - column[0] or 1.0)
            for unit, seconds in TIME_UNITS.items():
                if abs(ratio / seconds - 1) < _CLOCKS_AGREE:
                    said.append(f"The times are in {unit}: they run as the clock in column {i + 1} does.")
                    return unit
    return None


def heads_over(text: bytes, layout: Layout) -> tuple[list[str], list[str]]:
    """Give all words that may say what the columns of a table are.

    Parameters
    ----------
    text : bytes
        From `plain_text` [-].
    layout : Layout
        How it is made up [-].

    Returns
    -------
    names, above : tuple of list of str
        Of each column its head, a row of units below that, and what stands in its cells around the number [-]; and the
        lines over the table [-].

    Raises
    ------
    CalcError
        A line is longer than any table's.

    References
    ----------
    Common practice of loggers, no source.

    Examples
    --------
    >>> heads_over(b"Stand 1\\nTime;Force\\ns;kg\\n0;1 \\n1;2 \\n", Layout("semicolon", ".", 4, 2, ("s", "kg")))[0]
    ['Time s', 'Force kg']
    """
    above = [line for line in first_lines(text, min(layout.first_line - 1, _OVER)) if line.strip()]
    rows = [[cell.lstrip("#%/ ").strip() for cell in cells(line, layout.delimiter)] for line in above]
    rows = [
        row
        for row in rows
        if len(row) == layout.columns > 1 and not any(kind(c, layout.decimal) == "number" for c in row)
    ]
    names = list(layout.names) or [""] * layout.columns
    if len(rows) > 1 and rows[-1] == list(layout.names):
        names = [f"{over} {head}".strip() for over, head in zip(rows[-2], names, strict=True)]
    shown = [cells(line, layout.delimiter) for line in sample_lines(text, layout.first_line)[:20]]
    return [f"{name} {_around(shown, layout, i)}".strip() for i, name in enumerate(names)], above


def _around(rows: Sequence[Sequence[str]], layout: Layout, column: int) -> str:
    """The name and the unit that stand around the numbers of a column, in their cells or in words beside them."""
    held = [row[column] for row in rows if len(row) > column and kind(row[column], layout.decimal) == "dressed"]
    found = set()
    for cell in held:
        match = DRESSED[layout.decimal].fullmatch(cell)
        if match is not None:
            name, unit = cell[: match.start(1)].rstrip(" =:"), _CHECKSUM.sub("", cell[match.end(1) :]).strip()
            found.add(f"{name} ({unit})" if unit else name)
    if len(found) == 1 and 2 * len(held) > len(rows):
        return found.pop().strip()
    name, unit = (_always(rows, column + side, layout.decimal) for side in (-1, 1))
    name = name.rstrip("=:") if layout.delimiter == "blank" and name[-1:] in ("=", ":") else ""
    return f"{name} ({unit})" if meaning(unit).unit and not meaning(unit).named else name


def _always(rows: Sequence[Sequence[str]], column: int, decimal: str) -> str:
    """The word that stands in all rows of a column, if it is one."""
    found = {row[column] for row in rows if 0 <= column < len(row)}
    word = found.pop() if len(found) == 1 else ""
    return word if kind(word, decimal) == "words" else ""
