"""Samples out of a logger's text: moments that rise, and what was read at each of them."""

from collections.abc import Mapping, Sequence

import numpy as np

from app.calc.base.constants import Floats
from app.calc.base.errors import CalcError
from app.calc.record import logger_text
from app.calc.record.columns import sample_times
from app.calc.record.logger_text import Layout
from app.calc.record.reduction import LEAST
from app.errors import Refused
from app.models.logger_file import LayoutIn


def sample_columns(
    text: bytes, layout: Layout, data: LayoutIn, columns: Sequence[int], *, field: str, called: str, made: str
) -> list[Floats]:
    """The time [s] of every sample, and what stands in each of the columns.

    A refusal calls the columns and what is made of them as told, and stands beside the field.

    Raises
    ------
    Refused
        There are neither times nor a rate, a column is chosen twice, there are too few samples, or time does not rise.
    CalcError
        A line cannot be read.
    """
    if data.time_column is None and data.sample_rate is None:
        raise Refused("Choose the column of times, or type how many samples a second there are.", field="sample_rate")
    chosen = [*columns] if data.time_column is None else [data.time_column, *columns]
    if min(chosen) < 1 or len(set(chosen)) < len(chosen):
        raise Refused(f"{called} are different columns; choose each once.", field=field)
    table = logger_text.read_columns(text, layout, chosen)
    size = table.shape[1]
    if size < LEAST:
        raise Refused(f"There are only {size} lines of numbers; {made} needs ten at least.", field="file")
    if data.time_column is None:
        time = np.arange(size) / float(data.sample_rate or 1.0)
    else:
        time, row = sample_times(table[0], data.time_unit)
        if row is not None:
            raise _not_rising(text, layout, table[0], row)
    return [time, *(column.copy() for column in table[-len(columns) :])]  # copies, so that the table of all can go


def _not_rising(text: bytes, layout: Layout, column: Floats, row: int) -> Refused:
    line = logger_text.line_of(text, layout, row)
    what = "the same time as" if column[row] == column[row - 1] else "an earlier time than"
    return Refused(
        f"Line {line} has {what} the line before it ({column[row]:g} after {column[row - 1]:g}). Mend a copy of the "
        "file; or, if the logger's clock is too coarse, choose no time column and type the samples per second.",
        field="time_column",
    )


def refusal(error: CalcError, fields: Mapping[str, str] | None = None) -> Refused:
    """A calculation's fault as a refusal beside the field of the reading form that it is about."""
    return Refused(error.sentence, field=(fields or {}).get(error.field, error.field))
