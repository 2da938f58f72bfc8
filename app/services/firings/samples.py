"""Samples out of a logger's text: moments that rise, what was read at each of them, and what was passed over."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from app.calc.base.constants import Floats
from app.calc.base.errors import CalcError
from app.calc.record.logger_text import Layout
from app.calc.record.moments import Moments, Stretch, milliseconds_of, moments
from app.calc.record.pulses import find_burn
from app.calc.record.reduction import LEAST
from app.calc.record.runs import Lines, Progress, Skipped, Table, read_table
from app.errors import Refused
from app.models.logger_file import LayoutIn

USUAL_RATES = (10, 20, 40, 80, 100, 320, 1000)
"""Samples per second that loggers often take: common practice, no source."""

_NUMERIC, _MANY = tuple('0123456789+-."'), 0.02
"""How a line of numbers begins, and the share of them passed over that is doubtful."""

_NAMED = 4
"""Places of a file that are named; more are counted."""


@dataclass(frozen=True)
class Read:
    """Times [s] of the samples of one record, shape (N,), the columns read at them, and their lines in the file.

    `skipped` are the lines passed over; `said` tells of them and of what was done to the clock, `doubts` whether some
    of them look like samples. `records` are all records of a file whose clock began again, in words.
    """

    time: Floats
    columns: list[Floats]
    lines: Lines
    skipped: tuple[Skipped, ...]
    said: list[str]
    doubts: list[str]
    records: tuple[str, ...] = ()


def sample_columns(
    text: bytes,
    layout: Layout,
    data: LayoutIn,
    columns: Sequence[int],
    *,
    field: str,
    called: str,
    made: str,
    progress: Progress | None = None,
) -> Read:
    """The time [s] of every sample, and what stands in each of the columns.

    A refusal calls the columns and what is made of them as told, and stands beside the field. `progress` is told how
    much of the text is read.

    Raises
    ------
    Refused
        There are neither times nor a rate, a column is chosen twice, there are too few samples, or time does not rise.
    CalcError
        No line can be read.
    """
    chosen = [*columns] if data.time_column is None else [data.time_column, *columns]
    if min(chosen) < 1 or len(set(chosen)) < len(chosen):
        raise Refused(f"{called} are different columns; choose each once.", field=field)
    table = read_table(text, layout, chosen, progress)
    size = table.columns.shape[1]
    if size < LEAST:
        raise Refused(f"There are only {size} lines of numbers; {made} needs ten at least.", field="file")
    if data.time_column is None:
        time = np.arange(size) / _rate(data, table)
        said = _skipped_words(table, timed=False)
        copied = [column.copy() for column in table.columns]
        return Read(time, copied, table.lines, table.skipped, said, _doubts(table))
    clock = data.time_column in table.clocks
    if data.time_unit is None and not clock:
        raise Refused("The unit of time is not known. Choose one.", field="time_unit")
    beside = _milliseconds(text, layout, data.time_column, table) if clock else None
    found = moments(table.columns[0], data.time_unit or "s", table.lines.rows, clock)
    parts = [part for part in found.parts if part.time.size >= LEAST] or list(found.parts[:1])
    part = _part(parts, table.columns[1], data.record)
    if part.time.size < LEAST:
        raise Refused(
            f"There are only {part.time.size} lines of numbers in a row; {made} needs ten at least.", field="file"
        )
    said = _skipped_words(table, timed=True) + _clock_words(found, part, table.lines)
    if beside:
        said.append(f"Column {beside} holds the milliseconds of the clock; they were added to it.")
    doubts = _doubts(table)
    records = tuple(_record_words(one, table.lines) for one in parts) if len(parts) > 1 else ()
    if part.rows.size == size and not found.backwards:  # copies, so that the table of all can go
        return Read(
            part.time, [column.copy() for column in table.columns[1:]], table.lines, table.skipped, said, doubts
        )
    rows = part.rows
    kept = [column[rows] for column in table.columns[1:]]
    return Read(part.time, kept, table.lines.kept(rows), table.skipped, said, doubts, records)


def _milliseconds(text: bytes, layout: Layout, time_column: int, table: Table) -> int | None:
    """The column that holds the milliseconds of a clock of whole seconds, which are added to it."""
    seconds = table.columns[0]
    if not (np.diff(seconds[:1000]) == 0).any():
        return None
    for column in range(1, table.width + 1):
        try:
            other = read_table(text, layout, [time_column, column]).columns if column != time_column else None
        except CalcError:  # it holds words
            continue
        if other is not None and np.array_equal(other[0], seconds) and milliseconds_of(*other):
            seconds += other[1] / 1000
            return column
    return None


def _rate(data: LayoutIn, table: Table) -> float:
    """Samples per second of a file without times, as it was told or follows from its length."""
    size = table.columns.shape[1]
    if data.sample_rate is not None:
        return data.sample_rate
    if data.lasted is not None:
        return float((size - 1) / data.lasted.si)
    words = "Choose the column of times, or type how many samples a second there are, or how long it lasted."
    try:
        first, last = find_burn(np.arange(size, dtype=np.float64), table.columns[0])
    except CalcError:
        first, last = 0, 0
    if last > first:
        each = [f"{rate} a second, {(last - first) / rate:.2g} s" for rate in USUAL_RATES]
        words += f" The {last - first + 1:,} samples that look like the burn would last: at {'; '.join(each)}."
    raise Refused(words, field="sample_rate")


def _part(parts: Sequence[Stretch], column: Floats, record: int | None) -> Stretch:
    """The part of a record whose clock began again that is meant; without a word, the one in which most happens."""
    if record is not None:
        if record > len(parts):
            raise Refused(f"This file holds {len(parts)} records only.", field="record")
        return parts[record - 1]

    def happens(part: Stretch) -> float:
        values = column[part.rows]
        if part.time.size < LEAST or not part.time[-1] > 0:
            return 0.0
        return float(np.trapezoid(np.abs(values - np.median(values)), part.time))

    return max(parts, key=happens) if len(parts) > 1 else parts[0]


def _record_words(part: Stretch, lines: Lines) -> str:
    first, last = (lines.of(int(part.rows[i])) for i in (0, -1))
    return f"Lines {first:,} to {last:,}: {part.time[-1] - part.time[0]:.1f} s"


# --- What to say ---------------------------------------------------------------------------------


def _skipped_words(table: Table, *, timed: bool) -> list[str]:
    said = []
    if table.skipped:
        count = sum(one.count for one in table.skipped)
        shown = [f"{_lines(one)} (“{one.begins[:30]}”)" for one in table.skipped[:_NAMED]]
        more = f" and {len(table.skipped) - _NAMED} more places" if len(table.skipped) > _NAMED else ""
        words = f"Passed over, because they hold no sample: {count:,} {'line' if count == 1 else 'lines'}: "
        said.append(words + ", ".join(shown) + more + ".")
        inside = sum(one.count for one in table.skipped if 0 < one.row < table.columns.shape[1])
        if not timed and inside:
            said.append(
                f"{inside:,} of these lines lie between samples. Without times it is not known whether a sample is "
                "missing there; times after them may be too early."
            )
    if table.joined:
        said.append(f"In {table.joined:,} lines a comma was read as one that sets thousands apart.")
    return said


def _doubts(table: Table) -> list[str]:
    """A word where so many lines of numbers were passed over that the columns may be other ones."""
    like = [one for one in table.skipped if one.begins[:1] in _NUMERIC]
    count = sum(one.count for one in like)
    if count < LEAST or count < _MANY * table.columns.shape[1]:
        return []
    first = like[0]
    return [
        f"{count:,} lines that begin with a number were passed over beside {table.columns.shape[1]:,} samples. The "
        f"first, line {first.first_line}, {first.fault} (“{first.begins[:30]}”). If these are samples, choose another "
        "delimiter or decimal sign, or other columns."
    ]


def _lines(one: Skipped) -> str:
    return f"line {one.first_line}" if one.count == 1 else f"lines {one.first_line} to {one.last_line}"


def _clock_words(found: Moments, part: Stretch, lines: Lines) -> list[str]:
    said = []
    if found.backwards:
        said.append("The newest line comes first; the record was turned round.")
    if found.rolled:
        said.append(
            f"The clock was full and began at zero again in line {_places(found.rolled, lines)}; it was joined."
        )
    if found.restarts:
        first, last = (lines.of(int(part.rows[i])) for i in (0, -1))
        said.append(
            f"The clock began again in line {_places(found.restarts, lines)}: these are {len(found.parts)} records. "
            f"The one from line {first} to line {last} was read; without a choice it is the one in which most happens."
        )
    if found.strays:
        said.append(f"Out of order and left out: line {_places(found.strays, lines)}.")
    if found.others:
        said.append(f"Another table than the record, left out: line {_places(found.others, lines)}.")
    if found.repeated:
        lines_repeat = "1 line repeats" if found.repeated == 1 else f"{found.repeated:,} lines repeat"
        said.append(f"{lines_repeat} the time of the one before; such samples were spread evenly over the step.")
    return said


def _places(rows: tuple[int, ...], lines: Lines) -> str:
    more = f" and {len(rows) - _NAMED} more" if len(rows) > _NAMED else ""
    return ", ".join(str(lines.of(row)) for row in rows[:_NAMED]) + more


def refusal(error: CalcError, fields: Mapping[str, str] | None = None) -> Refused:
    """A calculation's fault as a refusal beside the field of the reading form that it is about."""
    return Refused(error.sentence, field=(fields or {}).get(error.field, error.field))
