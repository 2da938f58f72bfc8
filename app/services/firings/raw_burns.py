"""The burn in each column of a stand's file that may be the force, in the numbers as they stand, read once."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from app.calc.base.constants import Floats
from app.calc.base.errors import CalcError
from app.calc.record import columns, curve, logger_text, reduction, roles, spikes
from app.calc.record.columns import FORCE_UNITS
from app.calc.record.logger_text import Layout
from app.calc.record.roles import Force, Guess
from app.calc.record.runs import Progress, read_table
from app.errors import Refused
from app.models.curve import ReadIn
from app.services.firings import samples

MOST_COLUMNS = 4
"""Columns that are tried as the force."""

SAME = 1.02
"""Impulses of two columns that differ by less are of one signal."""

LARGE = 6_000_000
"""A text above this is not read whole only to guess: it is asked [bytes]."""

SLIGHT = 0.3
"""Share of the impulse that a burn of the other sign must have to be offered."""

STRAY = 0.05
"""Share of the impulse that stray samples must change for the record without them to be offered."""

_LOOKED_AT = 1000  # numbers that tell whether a column holds whole ones


Known = tuple[Layout, Guess, list[str]]
"""How a text is made up, what its columns probably are, what heads them."""


@dataclass(frozen=True)
class Burn:
    """The burn in a column as its numbers stand: area and peak over the zero, times in seconds of a trial unit."""

    force: Force
    turned: bool
    cleaned: bool
    time: Floats
    height: Floats
    area: float
    burn_time: float
    zero: float
    whole: bool
    most: float

    @property
    def peak(self) -> float:
        """The highest reading over the zero."""
        return float(self.height.max())


def guessed(text: bytes, data: ReadIn) -> Known:
    """The layout as told, what its columns probably are, and what heads them."""
    try:
        layout = logger_text.guess_layout(text)
        if (layout.delimiter, layout.decimal, layout.first_line) != (data.delimiter, data.decimal, data.first_line):
            lines = logger_text.sample_lines(text, data.first_line)
            count = max((len(logger_text.cells(line, data.delimiter)) for line in lines[:50]), default=1)
            layout = Layout(data.delimiter, data.decimal, data.first_line, count)
        heads, above = roles.heads_over(text, layout)
        return layout, roles.guess_roles(logger_text.first_numbers(text, layout), heads, above), heads
    except CalcError as error:
        raise samples.refusal(error) from None


def settled(text: bytes, layout: Layout, guess: Guess) -> Guess:
    """A guess with its force where several columns may be it but a single one, or one signal in two units, burns."""
    if guess.force is not None or not guess.forces or len(text) > LARGE:
        return guess
    rate = {"sample_rate": 100.0} if guess.time is None else {"time_column": guess.time, "time_unit": guess.time_unit}
    shape = {"delimiter": layout.delimiter, "decimal": layout.decimal, "first_line": layout.first_line}
    data = ReadIn.model_validate({**shape, **rate, "stand": "level"})
    try:
        found = burns(text, layout, data, tried(guess, data))
    except (CalcError, Refused):
        return guess
    sizes = [burn.area * FORCE_UNITS.get(burn.force.unit or "", 0.0) for burn in found]
    alike = bool(sizes) and min(sizes) > 0 and max(sizes) < SAME * min(sizes)
    columns_found = {burn.force.column for burn in found}
    if not found or (len(columns_found) > 1 and not (alike and len({burn.force.unit for burn in found}) > 1)):
        return guess
    first = min(found, key=lambda burn: [one.column for one in guess.forces].index(burn.force.column)).force
    words = f"Only column {first.column} rises and falls as a burn does."
    if len(columns_found) > 1:
        words = f"Columns {' and '.join(map(str, sorted(columns_found)))} hold the same force in two units."
    return replace(guess, force=first.column, force_unit=first.unit, said=(*guess.said, words))


def time_unit_said(guess: Guess, heads: Sequence[str], data: ReadIn) -> str | None:
    """The unit of time that the file says of the column that was chosen; seconds of a clock, or where there is none."""
    if data.time_column is None:
        return "s"
    clock = data.time_column <= len(heads) and logger_text.TIME_OF_DAY in heads[data.time_column - 1]
    return "s" if clock else guess.time_unit if guess.time == data.time_column else None


def tried(guess: Guess, data: ReadIn) -> list[Force]:
    """The columns that are tried: the one that was chosen first."""
    taken = (data.time_column, data.pressure_column)
    forces = [one for one in guess.forces if one.column not in taken]
    if data.force_column is not None:
        chosen = next((one for one in forces if one.column == data.force_column), Force(data.force_column, None))
        forces = [chosen, *(one for one in forces if one.column != data.force_column)]
    return forces[:MOST_COLUMNS]


def burns(
    text: bytes, layout: Layout, data: ReadIn, forces: Sequence[Force], progress: Progress | None = None
) -> list[Burn]:
    """The burn in each of the columns that holds one, either sign, as the numbers stand.

    Raises
    ------
    Refused
        The text cannot be read so, or there are neither times nor a rate; beside the field.
    """
    if not forces:
        return []
    trial = data.model_copy(update={"time_unit": trial_unit(text, layout, data)})
    out: list[Burn] = []
    for force, time, values in _read(text, layout, trial, forces, progress):
        out += _burns_of(force, time, values)
    return out


def trial_unit(text: bytes, layout: Layout, data: ReadIn) -> str:
    """The unit of time that the burn is looked for with."""
    if data.time_unit or data.time_column is None:
        return data.time_unit or "s"
    first = logger_text.first_numbers(text, layout)
    if not 0 < data.time_column <= len(first):
        return "s"
    return columns.usual_time_unit(first[data.time_column - 1])


def rise(text: bytes, data: ReadIn, column: int) -> float | None:
    """How far the numbers of a column rise over their usual level, stray ones left out; None where it holds none."""
    layout = Layout(data.delimiter, data.decimal, data.first_line, 0)
    try:
        (values,) = read_table(text, layout, [column]).columns
    except CalcError:
        return None
    clean = spikes.without_spikes(values, spikes.find_spikes(values))
    height = float(clean.max() - np.median(clean[: max(1, clean.size // 50)]))
    return height if height > 0 else None


def _read(
    text: bytes, layout: Layout, data: ReadIn, forces: Sequence[Force], progress: Progress | None
) -> Iterator[tuple[Force, Floats, Floats]]:
    """Times [s] of the trial unit and numbers of each column that can be read; all of them at once where that goes."""
    read_of = partial(
        samples.sample_columns, text, layout, data, field="force_column", called="Time and force", made="a curve"
    )
    try:
        read = read_of([one.column for one in forces], progress=progress)
        yield from ((force, read.time, values) for force, values in zip(forces, read.columns, strict=True))
        return
    except CalcError as error:
        fault = samples.refusal(error)
    except Refused as error:
        fault = error
    got = False
    for force in forces if len(forces) > 1 else ():
        try:
            read = read_of([force.column])
        except (CalcError, Refused):
            continue
        got = True
        yield force, read.time, read.columns[0]
    if not got:
        raise fault


def _burns_of(force: Force, time: Floats, values: Floats) -> list[Burn]:
    """The burn in a column of either sign, as it came and without its stray samples where these change much."""
    stray = spikes.find_spikes(values)
    clean = spikes.without_spikes(values, stray) if stray else values
    whole = bool((values[:_LOOKED_AT] == np.round(values[:_LOOKED_AT])).all())
    most = float(np.abs(clean).max())
    out: list[Burn] = []
    for turned in (False, True):
        sign = -1.0 if turned else 1.0
        as_it_came = _burn(time, sign * values)
        without = _burn(time, sign * clean) if stray else None
        if without is not None and as_it_came is not None:
            a, b = (one[1].total_impulse * one[2] for one in (as_it_came, without))
            without = without if abs(a - b) > STRAY * min(a, b) else None
        for cleaned, one in ((False, as_it_came), (True, without)):
            if one is not None:
                found, shape, peak = one
                zero = found.zero.before if found.zero.before is not None else found.zero.after or 0.0
                area = shape.total_impulse * peak
                out.append(
                    Burn(force, turned, cleaned, found.time, found.thrust, area, shape.burn_time, zero, whole, most)
                )
    most_area = max((one.area for one in out if not one.cleaned or len(out) == 1), default=0.0)
    return [one for one in out if one.cleaned or one.area > SLIGHT * most_area]


def _burn(time: Floats, values: Floats) -> tuple[reduction.Reduced, curve.Figures, float] | None:
    """The burn in numbers that rise with thrust, its figures over its peak, and the peak; None where there is none."""
    try:
        found = reduction.reduce_record(time, values)
        peak = float(found.thrust.max())
        return found, curve.figures(found.time, found.thrust / peak), peak
    except CalcError:
        return None
